"""What a profile shows, as stations and elevations: ground, wires, the room that the ground requires, structures.

Stations are ground distances along the line; a span in the grid may be shorter or longer than on the ground.
"""

from dataclasses import dataclass

import numpy as np
import shapely

__all__ = ["Profile", "Wire", "case_words", "gap_lines", "gap_stretches", "profile_of"]

#: Distance of the places at which ground is taken [m].
_STEP = 1.0


@dataclass(frozen=True)
class Wire:
    """One wire of one span: its `kind`, `case` and `span`, and its stations and elevations [m]."""

    kind: str
    case: str
    span: str
    station: np.ndarray
    elevation: np.ndarray


@dataclass(frozen=True)
class Profile:
    """What a sheet's profile shows.

    `start`, `length` station and length of each span by its name [m]; `grounds` stations and elevations below the
    centre, the left and the right outer wire; `required` elevations above the first of them below which no wire may
    be, nan where no rule is vertical over ground; `surface` elevations there of the highest that a surface has below
    centre and outer wires, nan where nothing stands, None without one; `wires` of the cases drawn: of each span and
    case the lowest phase wire and, in the first case, the shield wires; `tops` elevation of the highest wire end at
    structures by name;
    `low`, `high` the least and maximum elevation of all this [m].
    """

    start: dict
    length: dict
    grounds: tuple
    required: np.ndarray
    surface: np.ndarray | None
    wires: tuple
    tops: dict
    low: float
    high: float


def profile_of(scene, sheet):
    """Return what the profile of a sheet shows.

    Parameters
    ----------
    scene : corridor.outputs.drawings.scenes.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    """
    rows = scene.rows("wires", line=sheet.line)
    rows = rows[rows["span"].isin(sheet.spans["span"])]
    start, length, chords = _starts(sheet), _lengths(sheet), _chords(sheet)
    grounds = _below(scene.about.sample, sheet, rows, start, chords)
    surface = None if scene.about.above is None else np.fmax.reduce(
        [z for _, z in _below(scene.about.above, sheet, rows, start, chords)])
    bases = sheet.structures["base_elevation_m"].to_numpy()
    ends = shapely.get_coordinates(rows.geometry.values, include_z=True)[:, 2]
    z = np.concatenate([ends, *(elevation for _, elevation in grounds), bases, *([] if surface is None else [surface])])
    z = z[np.isfinite(z)] if np.isfinite(z).any() else np.array([0.0, 10.0])  # nothing known: an empty profile
    return Profile(start, length, grounds, _required(scene, sheet, grounds[0], start, length),
                   surface, tuple(_chosen(scene, rows, start, length, chords)), _tops(sheet, rows),
                   float(z.min()), float(z.max()))


def case_words(scene, case):
    """Return the name of a case with the temperature of the wires in it."""
    rows = scene.layers["wires"]
    T = rows.loc[(rows["case"] == case) & (rows["option"] == scene.option) & (rows["kind"] == "phase"),
                 "conductor_temperature_c"].dropna()
    if T.empty:
        return case
    low, high = f"{T.min():.0f}", f"{T.max():.0f}"
    return f"{case} {low} °C" if low == high else f"{case} {low} to {high} °C"


def gap_stretches(scene, sheet, profile):
    """Yield what was not assessed below each span, in words, and where: stretches of stations [m].

    Where ground alone was not assessed, and is not known below part of a span, that part; else the whole span.

    Parameters
    ----------
    scene : corridor.outputs.drawings.scenes.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    profile : Profile
    """
    rows = scene.rows("not_assessed", every_case=True, line=sheet.line)
    for span, part in rows[rows["span"].isin(profile.start)].groupby("span"):
        begin, end = profile.start[span], profile.start[span] + profile.length[span]
        holes = list(_holes(profile, begin, end)) if (part["against"] == "ground").all() else []
        things = ", ".join(dict.fromkeys(part["against"].fillna("everything")))
        yield span, things, holes or [(begin, end)]


def gap_lines(scene, sheet, profile):
    """Yield what was not assessed below each span, in words, and where in the grid: lines along the chord of the span,
    as long as the stretches of `gap_stretches`."""
    chords = _chords(sheet)
    for span, things, stretches in gap_stretches(scene, sheet, profile):
        share = (np.array(stretches) - profile.start[span]) / profile.length[span]
        begin, end = chords[span]
        yield things, shapely.linestrings(begin + share[..., None] * (end - begin))


def _holes(profile, begin, end):
    """Stretches where the ground is not known below the centre or an outer wire, up to where it is known again."""
    station = profile.grounds[0][0]
    known = np.all([np.isfinite(z) for _, z in profile.grounds], axis=0)
    own = np.flatnonzero((station >= begin) & (station <= end))
    bare = own[~known[own]]
    for run in np.split(bare, np.flatnonzero(np.diff(bare) > 1) + 1) if len(bare) else []:
        yield station[max(run[0] - 1, own[0])], station[min(run[-1] + 1, own[-1])]


def _starts(sheet):
    at = dict(zip(sheet.structures["structure"], sheet.structures["station_m"], strict=True))
    return {name: at[first] for name, first in zip(sheet.spans["span"], sheet.spans["from_structure"], strict=True)}


def _lengths(sheet):
    return dict(zip(sheet.spans["span"], sheet.spans["length_m"], strict=True))


def _chords(sheet):
    """Start and end of each span in plan, by its name."""
    points = shapely.get_coordinates(sheet.spans.geometry.values).reshape(-1, 2, 2)
    return dict(zip(sheet.spans["span"], points, strict=True))


def _along(points, chord):
    """Share of the way along a span, and distance right of it [m], of places in plan."""
    way, off = chord[1] - chord[0], points - chord[0]
    length = np.hypot(*way)
    return off @ way / length**2, (off[:, 0] * way[1] - off[:, 1] * way[0]) / length


def _outer(rows, chords):
    """Offsets of the outermost wires at rest of each span [m]: left and right, 0 where no wire is known."""
    offsets = {name: [0.0] for name in chords}
    for name, shape in zip(rows["span"], rows.geometry, strict=True):
        points = shapely.get_coordinates(shape)
        middle = _along((points[:1] + points[-1:]) / 2, chords[name])[1]
        offsets[name].append(float(middle[0]))
    return {name: (min(values), max(values)) for name, values in offsets.items()}


def _below(sample, sheet, rows, start, chords):
    """Stations and elevations of the ground, or of what `sample` knows, below the centre and the left and right outer
    wires, span by span."""
    outer = _outer(rows[rows["swing_deg"] == 0], chords)
    lines = ([], [], [])
    for name, length in zip(sheet.spans["span"], sheet.spans["length_m"], strict=True):
        share = np.linspace(0, 1, max(int(length / _STEP), 2) + 1)
        chord = chords[name]
        way = (chord[1] - chord[0]) / np.hypot(*(chord[1] - chord[0]))
        for line, offset in zip(lines, (0.0, *outer[name]), strict=True):
            places = chord[0] + share[:, None] * (chord[1] - chord[0]) + offset * np.array([way[1], -way[0]])
            line.append((start[name] + share * length, sample(*places.T)))
    return tuple(tuple(np.concatenate(part) for part in zip(*line, strict=True)) for line in lines)


def _required(scene, sheet, ground, start, length):
    """The ground at the centre and the maximum clearance required over it in the cases drawn [m]."""
    rules = scene.rows("clearances", line=sheet.line, against="ground", measure="vertical")
    most = rules.groupby("span")["required_m"].max()
    station, elevation = ground
    need = np.full(len(station), np.nan)
    for name in sheet.spans["span"]:
        if name in most:
            need[(station >= start[name]) & (station <= start[name] + length[name])] = most[name]
    return elevation + need


def _chosen(scene, rows, start, length, chords):
    """Yield the lowest phase wire of each span and case, and the shield wires of the first case."""
    points = shapely.get_coordinates(rows.geometry.values, include_z=True)
    first = np.r_[0, np.cumsum(shapely.get_num_coordinates(rows.geometry.values))]
    rows = rows.assign(row=np.arange(len(rows)), lowest=[points[a:b, 2].mean() for a, b in
                                                         zip(first[:-1], first[1:], strict=True)])
    rows = rows.dropna(subset="lowest")
    phases = rows[rows["kind"] == "phase"].sort_values("lowest").drop_duplicates(["span", "case"])
    shields = rows[(rows["kind"] == "shield") & (rows["case"] == scene.cases[0])]
    for row in [*phases.itertuples(), *shields.itertuples()]:
        part = points[first[row.row]:first[row.row + 1]]
        share, _ = _along(part[:, :2], chords[row.span])
        yield Wire(row.kind, row.case, row.span, start[row.span] + share * length[row.span], part[:, 2])


def _tops(sheet, rows):
    """Elevation of the highest wire end at each structure [m]."""
    ends = dict(zip(sheet.spans["span"], zip(sheet.spans["from_structure"], sheet.spans["to_structure"], strict=True),
                    strict=True))
    tops = {}
    for span, shape in zip(rows["span"], rows.geometry, strict=True):
        z = shapely.get_coordinates(shape, include_z=True)[[0, -1], 2]
        for name, value in zip(ends[span], z, strict=True):
            if np.isfinite(value):
                tops[name] = max(tops.get(name, -np.inf), value)
    return tops
