"""What drawings are made from: findings of one option about the line, whole or as far as one sheet shows them."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.outputs.cuts import About

__all__ = ["Scene", "by_sheet"]

#: Layers of which a sheet has the rows of its own spans; rows without a span stay.
_OF_SPANS = ("wires", "clearances", "violations", "not_assessed")


@dataclass(frozen=True)
class Scene:
    """What is drawn.

    `layers` findings as data frames by name; `option` and `cases` that are drawn; `about` what stands about the line;
    `title` of the study; `windy` names of cases with wind; `cuts_before` cross-sections of the sheets before.
    """

    layers: dict
    option: str
    cases: tuple
    about: About
    title: str
    windy: tuple = ()
    cuts_before: int = 0

    def rows(self, name, *, every_case=False, **wanted):
        """Return the rows of a layer with given values, of the option drawn, and the cases drawn or every case."""
        frame = self.layers[name]
        if "option" in frame:
            frame = frame[(frame["option"] == self.option) | frame["option"].isna()]
        if "case" in frame and not every_case:
            frame = frame[frame["case"].isin(self.cases) | frame["case"].isna()]
        for column, value in wanted.items():
            frame = frame[frame[column] == value]
        return frame


def by_sheet(scene):
    """Return a function that puts a scene on a sheet.

    The rows of each span and the places of shapes are looked up once, so that a sheet costs what it shows, however
    long the line is.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    callable
        `on_sheet(sheet, half)`: the scene on a `Sheet` that shows `half` metres to either side of the line.
    """
    places = {name: _places(scene.layers[name], scene.option) for name in _OF_SPANS}
    about = scene.about
    tree, land = shapely.STRtree(about.shapes), shapely.STRtree(about.parcels)

    def on_sheet(sheet, half):
        keys = [(sheet.line, span) for span in sheet.spans["span"]]
        layers = {name: _taken(scene.layers[name], *places[name], keys) for name in _OF_SPANS}
        ground = _ground(sheet, half)
        seen, there = (np.sort(each.query(ground, predicate="intersects")) for each in (tree, land))
        edge = None if about.edge is None else shapely.clip_by_rect(about.edge, *ground.bounds)
        here = {name: None if (of := getattr(about, name)) is None else of[seen]
                for name in ("shapes", "shape_names", "heights", "radii")}
        return replace(scene, layers=scene.layers | layers, about=replace(
            about, **here, edge=edge, parcels=about.parcels[there], parcel_names=about.parcel_names[there]))

    return on_sheet


def _places(frame, option):
    """Rows by line and span, and those without a span, of the option or of all."""
    own = ((frame["option"] == option) | frame["option"].isna()).to_numpy()
    known = own & frame["span"].notna().to_numpy()
    rows = np.flatnonzero(known)
    groups = frame.loc[known, ["line", "span"]].groupby(["line", "span"], sort=False).indices
    return {key: rows[group] for key, group in groups.items()}, np.flatnonzero(own & ~known)


def _taken(frame, rows, without, keys):
    chosen = [rows[key] for key in keys if key in rows]
    return frame.iloc[np.sort(np.concatenate([*chosen, without]).astype(int))]


def _ground(sheet, half):
    """The stretch of ground that a sheet shows, as an area in the grid."""
    way, left = np.array(sheet.way), np.array([-sheet.way[1], sheet.way[0]])
    origin, length = np.array(sheet.origin), sheet.end - sheet.begin
    corners = [origin + a * way + b * left for a, b in ((0, -half), (length, -half), (length, half), (0, half))]
    return shapely.polygons(corners)
