"""What drawings are made from: findings of one option about the line, whole or as far as one sheet shows them."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

__all__ = ["Scene", "by_sheet"]

#: Layers of which a sheet has the rows of its own spans; rows without a span stay.
_OF_SPANS = ("wires", "clearances", "violations", "not_assessed")


@dataclass(frozen=True)
class Scene:
    """What is drawn.

    `layers` findings as data frames by name; `option` and `cases` that are drawn; `sample(easting, northing)` the
    ground [m]; `shapes` geometries about the line with their names in `shape_names`; `edge` lines at the
    edge of the right-of-way, or None; `title` of the study; `windy` names of cases with wind; `heights` of shapes
    over the ground and `radii` of points [m], nan where they have none, None where that is not known; `cuts_before`
    cross-sections of the sheets before; `above(easting, northing)` what a surface has there [m], nan where nothing
    stands, or None.
    """

    layers: dict
    option: str
    cases: tuple
    sample: object
    shapes: np.ndarray
    shape_names: np.ndarray
    edge: object
    title: str
    windy: tuple = ()
    heights: np.ndarray | None = None
    radii: np.ndarray | None = None
    cuts_before: int = 0
    above: object = None

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
    tree = shapely.STRtree(scene.shapes)

    def on_sheet(sheet, half):
        keys = [(sheet.line, span) for span in sheet.spans["span"]]
        layers = {name: _taken(scene.layers[name], *places[name], keys) for name in _OF_SPANS}
        ground = _ground(sheet, half)
        seen = np.sort(tree.query(ground, predicate="intersects"))
        edge = None if scene.edge is None else shapely.clip_by_rect(scene.edge, *ground.bounds)
        return replace(scene, layers=scene.layers | layers, shapes=scene.shapes[seen],
                       shape_names=scene.shape_names[seen], edge=edge,
                       heights=None if scene.heights is None else scene.heights[seen],
                       radii=None if scene.radii is None else scene.radii[seen])

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
