"""Points on wires, of surveys: from tiles of a point cloud, layers of points, and tables of shots."""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.csv_rows import read_given
from corridor.errors import InputError
from corridor.inputs.digest import digest
from corridor.inputs.frame import horizontal, read_crs, vertical
from corridor.inputs.layers import open_layer, portions
from corridor.inputs.options import column_units
from corridor.inputs.point_files import describe_tile, read_tile
from corridor.inputs.point_store import keys_of, squares_near
from corridor.inputs.rasters import UNITS
from corridor.study.surveys import kind_of

__all__ = ["SurveyPoints", "read_surveys"]

#: Points farther than this from the line in plan are none of its wires [m].
REACH = 60.0
_COLUMNS = ("easting", "northing", "elevation", "line", "span", "wire")
_ROWS = "a row for each shot"


@dataclass(frozen=True)
class SurveyPoints:
    """Points of one survey in the working frame; columns of shape (point,).

    `section` its table of the study; `kind` cloud, layer or shots; `place` (point, 3) easting, northing, elevation
    [m]; `named` (3, point) line, span and wire, "" where they are not known, None where none is; `files` rows of
    the layer `inputs`, `cautions` words to the user.
    """

    section: object
    kind: str
    place: np.ndarray
    named: np.ndarray | None
    files: tuple
    cautions: tuple = ()


def read_surveys(study, frame, structures):
    """Return the points of all surveys of a study that are near its lines.

    Parameters
    ----------
    study : Study
    frame : Frame
    structures : Structures

    Returns
    -------
    tuple of SurveyPoints

    Raises
    ------
    InputError
        A file cannot be used, or no point of a survey is near the line.
    """
    if not study.surveys:
        return ()
    chosen = np.flatnonzero(structures.line[1:] == structures.line[:-1])
    squares = squares_near(structures.lines(chosen, chosen + 1), REACH)
    return tuple(_read(study, i, section, frame, squares) for i, section in enumerate(study.surveys))


def _read(study, i, section, frame, squares):
    kind, where = kind_of(section.files[0]), study.place(f"surveys.{i}")
    read = {"cloud": _of_tile, "layer": _of_layer, "shots": _of_shots}[kind]
    parts, rows, words = [], [], []
    for file in section.files:
        found, described, cautions = read(section, study.resolve(file), where, frame)
        parts += [_near(part, squares) for part in found]
        rows.append((f"surveys.{section.name}", file, digest(study.resolve(file)), *described))
        words += cautions
    place = np.concatenate([place for place, _ in parts])
    named = None if kind == "cloud" else np.concatenate([names for _, names in parts], axis=1)
    if not len(place):
        raise InputError(study.path, f"{where}.files", f"no point within {REACH:g} m of the line",
                         "points on its wires", "another CRS of the points, or other wire_classes")
    return SurveyPoints(section, kind, place, named, tuple(rows), tuple(dict.fromkeys(words)))


def _near(part, squares):
    """Points in squares near the line, with a sound elevation."""
    place, named = part
    near = np.isfinite(place).all(axis=1)
    near[near] = np.isin(keys_of(*place[near, :2].T), squares)
    return place[near], None if named is None else named[:, near]


def _moved(x, y, z, crs, frame):
    return np.column_stack([*frame.transform_points(x, y, crs), z])


def _of_tile(section, path, where, frame):
    tile = describe_tile(path, section.crs, section.vertical_unit)
    parts = [(np.empty((0, 3)), None)]
    for x, y, z, class_ in read_tile(tile):
        wanted = np.isin(class_, section.wire_classes)
        parts.append((_moved(x[wanted], y[wanted], z[wanted], tile.crs, frame), None))
    return parts, (tile.horizontal_crs.name, tile.vertical_name, tile.unit), tile.cautions


def _of_layer(section, path, where, frame):
    layer = open_layer(path, section.layer, where)
    crs = layer.crs if section.crs is None else read_crs(section.crs, path, "crs")
    factor = layer.height_factor if section.vertical_unit is None else UNITS[section.vertical_unit]
    wanted = [name for name in _COLUMNS[3:] if name in layer.fields]
    parts = [(np.empty((0, 3)), np.empty((3, 0), object))]
    for portion in portions(layer, wanted):
        bad = np.flatnonzero((portion.fault != "") | ~np.isin(shapely.get_type_id(portion.geometry), (0, 4))
                             | ~shapely.has_z(portion.geometry))
        if len(bad):
            raise InputError(path, f"layer {layer.name}, feature {portion.fid[bad[0]]}",
                             portion.fault[bad[0]] or "no point with Z", "points with Z")
        xyz, of = shapely.get_coordinates(portion.geometry, include_z=True, return_index=True)
        names = np.full((3, len(of)), "", object)
        for k, name in enumerate(_COLUMNS[3:]):
            if name in wanted:
                names[k] = np.array(["" if v is None or v != v else str(v) for v in portion.columns[name]], object)[of]
        parts.append((_moved(*xyz[:, :2].T, xyz[:, 2] * factor, crs, frame), names))
    heights = vertical(crs)
    return parts, (horizontal(crs).name, heights and heights.name, f"{factor:g} m"), ()


def _of_shots(section, path, where, frame):
    units = {k: v for k, v in column_units(section).items() if k in _COLUMNS}
    rows = read_given(path, _COLUMNS, _COLUMNS[:3], units, _ROWS)
    x, y, z = (np.array([row.number(name, "length") for row in rows]) for name in _COLUMNS[:3])
    if section.vertical_unit is not None and units.get("elevation") is None:
        z = z * UNITS[section.vertical_unit]
    for row in rows:
        if bool(row["span"]) != bool(row["wire"]):
            raise row.error("wire" if row["span"] else "span", "span and wire together, or neither")
    crs = frame.crs if section.crs is None else read_crs(section.crs, path, "crs")
    names = np.array([[row[name] for row in rows] for name in _COLUMNS[3:]], object)
    return [(_moved(x, y, z, crs, frame), names)], (horizontal(crs).name, None, "m"), ()
