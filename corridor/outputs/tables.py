"""Tables beside the findings: CSV files, a small GeoPackage of limits, and text for a terminal."""

import csv
import sqlite3
from contextlib import closing
from contextvars import ContextVar
from pathlib import Path
from textwrap import wrap

import numpy as np
import pyarrow as pa
import pyogrio

from corridor.outputs.batches import known_layer, record_batch
from corridor.outputs.columns import digits_of, rounded
from corridor.outputs.files import NOT_WHOLE
from corridor.outputs.geopackage import VERSION
from corridor.outputs.guard import MARK

__all__ = ["WIDTH", "aligned", "comparison_text", "inert", "ladder_text", "number", "rating_text", "ratings_text",
           "series_text", "weather_text", "write_csv", "write_frame", "write_layers"]


def write_csv(path, columns):
    """Write columns as a CSV file in UTF-8, units in the heads; what is not known is empty.

    Parameters
    ----------
    path : path
    columns : dict of str to array, shape (row,)
        A column "geometry" is left out.
    """
    names = [name for name in columns if name != "geometry"]
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(map(inert, names))
        writer.writerows(zip(*([_cell(value, name, digits_of(name)) for value in columns[name]] for name in names),
                             strict=True))


def inert(value):
    """Return a text that no spreadsheet takes for a formula; what is no text as it is.

    >>> inert("=1+1"), inert("N01-N02"), inert(-1.5)
    ("'=1+1", 'N01-N02', -1.5)
    """
    return f"'{value}" if isinstance(value, str) and len(value) > 1 and value[0] in "=+-@\t\r" else value


def _cell(value, name, digits):
    if value is None:
        return ""
    if isinstance(value, str):
        return inert(value)
    if isinstance(value, bool | int | np.integer):
        return value
    if np.isnan(value):
        return ""
    return f"{value:.6g}" if digits is None else f"{rounded(name, value, digits):.{digits}f}"


def write_layers(path, crs, layers):
    """Write some layers of the findings as a new GeoPackage of their own.

    Parameters
    ----------
    path : path
    crs : pyproj.CRS
    layers : dict of str to dict
        Columns by name of layer, as in `corridor.outputs.schema`.
    """
    for name, columns in layers.items():
        layer = known_layer(name)
        known = {column.name for column in layer.columns} | ({"geometry"} if layer.geometry else set())
        batch = record_batch(layer, {key: value for key, value in columns.items() if key in known})
        pyogrio.write_arrow(pa.Table.from_batches([batch]), path, layer=name, driver="GPKG",
                            geometry_name="geometry" if layer.geometry else None, geometry_type=layer.geometry,
                            crs=crs.to_wkt("WKT2_2019") if layer.geometry else None,
                            layer_options={"DESCRIPTION": f"{layer.doc} ({MARK})"})
        _need_layer(path, name, batch.num_rows, len(layer.columns))


def _need_layer(path, layer, rows, described):
    """Refuse a GeoPackage without a layer, its rows, or what tells of its columns: GDAL tells of no failure to write
    the last ones."""
    with closing(sqlite3.connect(path)) as database:
        known, = database.execute("SELECT count(*) FROM gpkg_contents WHERE table_name = ?", (layer,)).fetchone()
        told = described and database.execute("SELECT count(*) FROM gpkg_data_columns WHERE table_name = ?",
                                              (layer,)).fetchone()[0]
        if not known or told != described or database.execute(f'SELECT count(*) FROM "{layer}"').fetchone() != (rows,):
            raise sqlite3.DatabaseError(NOT_WHOLE)


def write_frame(path, layer, frame, geometry_type=None):
    """Write a data frame as a layer of a GeoPackage, beside those that it has.

    Parameters
    ----------
    path : Path
    layer : str
    frame : DataFrame or GeoDataFrame
    geometry_type : str, optional
        As the layer declares it; default: what the geometries are.
    """
    there = path.exists()
    pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", geometry_type=geometry_type, append=there,
                            layer_options={"DESCRIPTION": MARK},
                            dataset_options=None if there else {"VERSION": VERSION})
    _need_layer(path, layer, len(frame), 0)


#: Columns of a terminal that text keeps to: whoever prints on a wider one may say so.
WIDTH: ContextVar[int] = ContextVar("WIDTH", default=79)


def aligned(head, rows, *, left=1, above=None):
    """Return lines of a table: the first columns to the left, the others to the right; `above` a row over the head."""
    cells = [*([above] if above else []), head, *rows]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    return ["  ".join([*(row[i].ljust(widths[i]) for i in range(left)),
                       *(row[i].rjust(widths[i]) for i in range(left, len(head)))]).rstrip() for row in cells]


def number(value, form=".0f"):
    """Return a number as text, "-" where it is not known."""
    return "-" if value is None or not np.isfinite(value) else format(value, form)


def _rows(columns):
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def weather_text(ratings):
    """Return lines that say for which weather currents are told.

    Parameters
    ----------
    ratings : Ratings
    """
    w, sky = ratings.weather, ratings.sky
    wind = f"at {w.wind_angle:g} deg to the wire" if sky.wind_direction is None else \
        f"from {sky.wind_direction:g} deg, the minimum current of all bearings"
    sun = f"{w.solar:.0f} W/m²" if sky.latitude is None else \
        f"that of latitude {sky.latitude:g} deg, day {sky.day}, hour {sky.hour:g}, on each bearing"
    core = "temperatures are of the whole wire" if ratings.radial_conductivity is None else \
        f"temperatures are of the core, radial conductivity {ratings.radial_conductivity:g} W/m/K"
    lines = (f"Air {w.ambient:g} °C, wind {w.wind_speed:g} m/s {wind}",
             f"Sun {sun}; absorptivity {w.absorptivity:g}, emissivity {w.emissivity:g}; {w.elevation:.0f} m above sea",
             f"Method of the study {ratings.method}; {core}")
    return [part for line in lines for part in wrap(line, WIDTH.get(), subsequent_indent="  ")]


def ratings_text(ratings, tables):
    """Return lines of all that ratings come to.

    Parameters
    ----------
    ratings : Ratings
    tables : dict of dict of ndarray
        `options` and `ratings`, and `series` where the study has one, as `corridor.jobs.rating` makes them.
    """
    lines = [*weather_text(ratings), "", *comparison_text(tables["options"]), "",
             *rating_text(tables["ratings"], ratings.method)]
    return lines + (["The hours of the series", "", *series_text(tables["series"]), ""] if "series" in tables else [])


def comparison_text(columns):
    """Return lines that compare the options, both methods beside each other.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.rating_tables.comparison`.
    """
    rows = _rows(columns)
    required = rows[0]["required_current_a"]
    currents = [("continuous_current_a", ".0f"), ("emergency_current_a", ".0f"), ("short_time_current_a", ".0f"),
                ("continuous_current_change_percent", "+.0f"), ("core_excess_k", ".1f")]
    losses = [("temperature_at_required_current_c", ".1f"), ("loss_at_required_current_w_per_m", ".1f"),
              ("loss_at_required_current_change_percent", "+.1f"), ("loss_at_continuous_w_per_m", ".1f"),
              ("loss_at_continuous_change_percent", "+.0f"), ("energy_mwh_per_km_year", ".0f"),
              ("energy_change_percent", "+.1f")]
    return [
        "Current per phase [A]: of the wire alone. What spans clear may allow less:",
        "`corridor limits` and `corridor rating --table` tell.", "",
        *_compared(rows, ("normal", "emergency", "short time", "diff %", "core +K"), currents), "",
        *wrap(f"Losses of three phases: at the required {number(required)} A and at the rating [kW/km], over a year "
              "[MWh/km]", WIDTH.get()),
        "", *_compared(rows, ("°C", "required", "diff %", "rating", "diff %", "year", "diff %"), losses)]


def _compared(rows, head, columns):
    """A table of the options for each method, below each other."""
    cells = [[f"  {row['option']}", *(number(row[name], form) for name, form in columns)] for row in rows]
    lines, seen = aligned(("by method, option", *head), cells), None
    told = lines[:1]
    for row, line in zip(rows, lines[1:], strict=True):
        if row["method"] != seen:
            seen = row["method"]
            told.append(seen)
        told.append(line)
    return told


def rating_text(columns, method):
    """Return lines of the rating tables by one method: air down, wind across, in A per phase.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.rating_tables.rating_table`.
    method : str
    """
    lines = []
    chosen = columns["method"] == method
    for option in dict.fromkeys(columns["option"][chosen]):
        for state in dict.fromkeys(columns["state"][chosen & (columns["option"] == option)]):
            rows = chosen & (columns["option"] == option) & (columns["state"] == state)
            lines += [f"{option}, {state}, {number(columns['temperature_c'][rows][0], 'g')} °C, the wire alone", ""]
            lines += [*_grid(columns, rows), ""]
    return lines


def _grid(columns, rows):
    winds, ambients = np.unique(columns["wind_m_s"][rows]), np.unique(columns["ambient_c"][rows])
    current = columns["current_a"][rows].reshape(len(ambients), len(winds))
    return aligned(["air °C", *(f"{wind:g} m/s" for wind in winds)],
                    [[f"{ambient:g}", *map(number, row)] for ambient, row in zip(ambients, current, strict=True)])


def series_text(columns):
    """Return lines that say what the hours come to, option by option.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.series.option_rows`.
    """
    head = ("option", "hours", "unknown", "above max", "above em.", "median °C", "99 %", "maximum", "MWh/km")
    names = ("hours", "hours_unknown", "hours_above_maximum", "hours_above_emergency", "temperature_median_c",
             "temperature_99_percent_c", "temperature_maximum_c", "energy_mwh_per_km")
    rows = [[row["option"], *(number(row[name], ".1f" if name.endswith("_c") else ".0f") for name in names)]
            for row in _rows(columns)]
    return aligned(head, rows)


#: Columns of the ladder that are printed, and how.
_LADDER = (("limit_current_a", ".0f"), ("limit_temperature_c", ".1f"), ("emergency_limit_current_a", ".0f"),
           ("emergency_limit_temperature_c", ".1f"))


def ladder_text(columns):
    """Return lines of the ladder: for each line and option what it carries as its worst spans are remedied.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.ladder.ladder_rows`.
    """
    lines, rows = [], _rows(columns)
    for line, option in dict.fromkeys((row["line"], row["option"]) for row in rows):
        steps = [row for row in rows if (row["line"], row["option"]) == (line, option)]
        cells = [[str(row["spans_fixed"]), *(number(row[name], form) for name, form in _LADDER),
                  row["limiting_span"] or "maximum temperature"] for row in steps]
        table = aligned(("remedied", "A", "°C", "A", "°C", "limit set by"), cells,
                        above=("spans", "always", "", "emergency", "", ""))
        notes = [[], [], *(wrap(row["note"] or "", WIDTH.get(), initial_indent=" " * 4, subsequent_indent=" " * 4)
                       for row in steps)]
        lines += [f"{line}, {option}", "",
                  *(part for text, note in zip(table, notes, strict=True) for part in (text, *note)), ""]
    return lines
