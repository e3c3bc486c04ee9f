"""The line of a new study: structures as a file has them, with what it does not say assumed."""

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np
import shapely
from pyproj import Transformer

from corridor.errors import NO_NAMES, InputError
from corridor.inputs.cells import cells, plain_text
from corridor.inputs.frame import horizontal
from corridor.inputs.route import local_grid, order_along
from corridor.inputs.selection import left_words
from corridor.inputs.structures import ONE_LINE
from corridor.jobs.new.names import STRUCTURE_COLUMNS, find_column
from corridor.jobs.new.sources import found_layers, linear_unit
from corridor.study.sources import Route

__all__ = ["STRAIN_TURN", "NewLine", "read_line"]

#: A line that turns by more at a structure is taken to end its wires there [deg]: common practice, no source.
STRAIN_TURN = 10.0
#: What structures are called by what they do, in plain names: common practice, no source.
_ROLES = {word: role for role, words in {
    "suspension": ("suspension", "susp", "tangent", "intermediate", "straight", "inline", "in line", "pin"),
    "strain": ("strain", "tension", "dead end", "deadend", "anchor", "section"),
    "terminal": ("terminal", "end", "termination", "gantry")}.items() for word in words}
#: Tags of open data for what carries wires.
_SUPPORTS = ("tower", "pole", "portal", "terminal")
_COMMON = "common practice, no source"


@dataclass(frozen=True)
class NewLine:
    """Structures in the order of their lines; columns of shape (structure,).

    `x`, `y` in the layer's own CRS, `longitude`, `latitude` on WGS 84 [deg]; `base`, `height` and `attachment` [m], nan
    where the file has none. `columns` pairs of what was looked for and the column that it was found in; `assumed` rows
    of key, value and reason.
    """

    crs: object
    x: np.ndarray
    y: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray
    line: np.ndarray
    structure: np.ndarray
    order: np.ndarray
    role: np.ndarray
    base: np.ndarray
    height: np.ndarray
    attachment: np.ndarray
    columns: tuple
    assumed: tuple

    def __len__(self):
        return len(self.structure)


def read_line(path, route, crs):
    """Return the NewLine of a file of structures.

    Parameters
    ----------
    path : Path
    route : Path or None
        The line that they stand on.
    crs : str or None
        A projected CRS to work in, and that of a table.

    Raises
    ------
    InputError
        No points, no projected CRS and none given, no names of their own, or a place in doubt.
    """
    found = _points_layer(path, crs)
    fields = [name for name in found.layer.fields if name not in (found.places or ())]
    geometry, fault, table = found.read(fields)
    keep, assumed = _supports(table, len(geometry))
    geometry, fault, table = geometry[keep], fault[keep], {name: values[keep] for name, values in table.items()}
    wrong = (fault != "") | (shapely.get_type_id(geometry) != 0)
    for i in np.flatnonzero(wrong)[:1]:
        raise InputError(path, f"layer {found.layer.name}", f"{wrong.sum()} of {len(wrong)} structures "
                         f"{fault[i] or 'with a geometry that is no point'}", "a point for each structure")
    if len(geometry) < 2:
        raise InputError(path, f"layer {found.layer.name}", "one structure only", "two or more")
    xy = shapely.get_coordinates(geometry)
    change = Transformer.from_crs(horizontal(found.layer.crs), "EPSG:4326", always_xy=True)
    longitude, latitude = (np.asarray(values) for values in change.transform(*xy.T))
    if not (np.isfinite(longitude) & np.isfinite(latitude)).all():
        raise InputError(path, f"layer {found.layer.name}", "points outside of its CRS", f"places within "
                         f"{found.layer.crs.name}")
    if horizontal(found.layer.crs).is_geographic and crs is None:
        zone = int((longitude.mean() + 180) // 6) + 1
        raise InputError(path, f"layer {found.layer.name}", f"the geographic CRS {found.layer.crs.name}",
                         "a projected CRS, or one to work in by --crs",
                         f"--crs EPSG:{(32600 if latitude.mean() >= 0 else 32700) + zone}")
    return _Reading(path, found.layer, table, xy, longitude, latitude, assumed).line(route)


def _supports(table, count):
    """Which rows are structures, by the tag of open data where there is one, and what is assumed of it."""
    for guess in find_column(table, ("power",)):
        tags = np.array([plain_text(value) for value in table[guess.column].tolist()], object)
        keep = np.isin(tags.astype(str), _SUPPORTS)
        if keep.any() and not keep.all():
            left = Counter((guess.column, tag) for tag in tags[~keep])
            return keep, [("structures.where", f"{left.total()} rows left out: {left_words(left)}",
                           f"structures are those with {guess.column} = {', '.join(_SUPPORTS)}")]
    return np.ones(count, bool), []


def _points_layer(path, crs):
    """The one layer of points of a file."""
    found = found_layers(path, "--structures", crs)
    points = [each for each in found if len(found) == 1 or (shapely.get_type_id(each.read()[0]) == 0).all()]
    if len(points) != 1:
        raise InputError(path, "--structures", f"{len(points)} layers of points",
                         "a file with one: " + ", ".join(each.layer.name for each in found))
    return points[0]


class _Reading:
    """What a table of structures says, column by column."""

    def __init__(self, path, layer, table, xy, longitude, latitude, assumed):
        self.path, self.layer, self.table, self.xy = path, layer, table, xy
        self.longitude, self.latitude = longitude, latitude
        self.columns, self.assumed = [], [*assumed]
        change = Transformer.from_crs("EPSG:4326", local_grid(longitude, latitude), always_xy=True)
        self.place = np.column_stack(change.transform(longitude, latitude))

    def line(self, route):
        """Return the NewLine."""
        lines, names = self._lines(), None
        names = self._names(lines)
        order = self._order(lines, names, route)
        sort = np.lexsort((order, lines.astype(str)))
        turn = self._turns(lines, sort)
        columns = {"base": self._number("base_elevation"), "height": self._number("height"),
                   "attachment": self._number("attachment"), "role": self._roles(lines, sort, turn)}
        return NewLine(self.layer.crs, *self.xy[sort].T, self.longitude[sort], self.latitude[sort], lines[sort],
                       names[sort], order[sort], **{key: values[sort] for key, values in columns.items()},
                       columns=tuple(self.columns), assumed=tuple(self.assumed))

    def _texts(self, column):
        return np.array([plain_text(value) for value in self.table[column].tolist()], object)

    def _lines(self):
        for guess in find_column(self.table, STRUCTURE_COLUMNS["line"]):
            texts = self._texts(guess.column)
            if (texts != "").all() and min(np.unique(texts.astype(str), return_counts=True)[1]) > 1:
                self.columns.append(("line", guess.column))
                return texts
        return np.full(len(self.xy), ONE_LINE, object)

    def _names(self, lines):
        for guess in find_column(self.table, STRUCTURE_COLUMNS["structure"]):
            texts = self._texts(guess.column)
            own = set(zip(lines, texts, strict=True))
            if len(own) == len(texts) and not ({"", *NO_NAMES} & set(texts)):
                self.columns.append(("structure", guess.column))
                return texts
        self.assumed.append(("structures.structure", "numbers of rows", "no column holds a name of its own for each"))
        return np.array([str(i + 1) for i in range(len(self.xy))], object)

    def _order(self, lines, names, route):
        """Position along the line: of a line that is given, of a column, or the shortest way through all places."""
        if route is not None:
            section = Route(file=str(route))
            order, words = order_along(section, route, self.longitude, self.latitude, lines, names)
            self.columns.append(("order", f"along {route.name}"))
            self.assumed += [("structures.order", "along the line", text) for text in words]
            return order
        for guess in find_column(self.table, STRUCTURE_COLUMNS["order"]):
            values, fault = cells(self.table[guess.column], "ratio")
            if (fault == "").all() and len(set(zip(lines, values, strict=True))) == len(values):
                self.columns.append(("order", guess.column))
                return values
        order, told = np.zeros(len(lines)), []
        for line in dict.fromkeys(lines):
            own = np.flatnonzero(lines == line)
            ways = {"the order of their names": own[sorted(range(len(own)), key=lambda i: _natural(names[own[i]]))],
                    "the order of rows": own, "from each to the nearest that is left": self._nearest(own)}
            lengths = {words: self._length(way) for words, way in ways.items()}
            best = min(lengths, key=lengths.get)
            order[ways[best]] = np.arange(1, len(own) + 1)
            told.append(f"{line}: {best}, {lengths[best] / 1000:.2f} km")
        self.assumed.append(("structures.order", "; ".join(told),
                             "no column of an order and no --line: the shortest of three ways through all structures"))
        return order

    def _length(self, way):
        return float(np.hypot(*np.diff(self.place[way], axis=0).T).sum())

    def _nearest(self, own):
        """A way from the place farthest from the middle, each time to the nearest place that is left."""
        place = self.place[own]
        way = [int(np.argmax(np.hypot(*(place - place.mean(axis=0)).T)))]
        left = np.ones(len(own), bool)
        left[way[0]] = False
        while left.any():
            away = np.where(left, np.hypot(*(place - place[way[-1]]).T), np.inf)
            way.append(int(np.argmin(away)))
            left[way[-1]] = False
        return own[way]

    def _turns(self, lines, sort):
        """Turn of the line at each structure [deg]; nan at its ends."""
        step = np.diff(self.place[sort, 0]) + 1j * np.diff(self.place[sort, 1])
        step[lines[sort][1:] != lines[sort][:-1]] = np.nan
        turn = np.full(len(sort), np.nan)
        turn[sort[1:-1]] = np.abs(np.degrees(np.angle(step[1:] * np.conj(step[:-1]))))
        return turn

    def _roles(self, lines, sort, turn):
        ends = np.isnan(turn)
        role = np.where(ends, "terminal", np.where(turn > STRAIN_TURN, "strain", "suspension")).astype(object)
        for guess in find_column(self.table, STRUCTURE_COLUMNS["role"]):
            texts = [text.lower().replace("_", " ").replace("-", " ") for text in self._texts(guess.column)]
            if not all(text in _ROLES for text in texts):
                continue
            self.columns.append(("role", guess.column))
            given = np.array([_ROLES[text] for text in texts], object)
            meant = dict.fromkeys(f"{text} = {_ROLES[text]}" for text in texts if text != _ROLES[text])
            if meant:
                self.assumed.append(("structures.role", ", ".join(meant), f"words of the column {guess.column}"))
            if (given[ends] == "suspension").any():
                self.assumed.append(("structures.role", "ends of lines as strain structures", "the file has suspension "
                                     "structures there: the line goes on beyond what is given"))
            return np.where(ends & (given == "suspension"), "strain", given).astype(object)
        strain = [str(i) for i in np.flatnonzero(role[sort] == "strain")]
        self.assumed.append((
            "structures.role", f"ends terminal, {len(strain)} strain where the line turns by more than {STRAIN_TURN:g} "
            f"deg, {int((role == 'suspension').sum())} suspension", f"no column of roles that are known; {_COMMON}; "
            "at suspension structures wires hang lower by their strings: the safe side"))
        return role

    def _number(self, key):
        """A column as lengths [m], nan where none is found."""
        own = linear_unit(self.layer.crs)
        for guess in find_column(self.table, STRUCTURE_COLUMNS[key]):
            values, fault = cells(self.table[guess.column], "length", guess.unit or own)
            if np.isin(fault.astype(str), ("", "missing")).all() and (fault == "").any():
                self.columns.append((key, guess.column))
                if guess.unit is None:
                    self.assumed.append((f"structures.{key}", f"numbers of {guess.column} in {own}",
                                         "the unit of the file's own grid: no name says another"))
                return values
        return np.full(len(self.xy), np.nan)


def _natural(text):
    """A key by which 10 comes after 9."""
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in re.split(r"(\d+)", text) if part]
