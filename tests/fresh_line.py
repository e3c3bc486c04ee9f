"""An invented line as somebody might have it: structures without roles, ground, and things with tags of open data.

The same places, heights and ground in metres, or in feet of the United States' surveys: `write_files`.
"""

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.transform import Affine

#: North Carolina on one projection, in metres and in survey feet (EPSG).
GRIDS = {"m": "EPSG:32119", "us-ft": "EPSG:2264"}
#: Metres of a survey foot (NIST SP 811, recalled).
SURVEY_FOOT = 1200 / 3937
EAST, NORTH = 620_000.0, 230_000.0


def places():
    """Structures of a line that turns by 25 degrees at the ninth and by 6 degrees at the fourteenth [m]."""
    spans = 220 + 60 * np.sin(1.7 * np.arange(19))
    way = np.radians(np.r_[np.full(8, 80.0), np.full(5, 105.0), np.full(6, 111.0)])
    steps = spans[:, None] * np.column_stack([np.sin(way), np.cos(way)])
    return np.array([EAST, NORTH]) + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


def ground(e, n):
    """Elevation of rolling ground [m]."""
    return 120 + 8 * np.sin((e - EAST) / 300) + 5 * np.cos((n - NORTH) / 170) + 0.004 * (e - EAST)


def write_files(folder, unit="m"):
    """Write towers.gpkg, ground.tif and map.gpkg to a folder, made where it is new; return it."""
    folder.mkdir(exist_ok=True)
    k, crs = {"m": 1.0, "us-ft": 1 / SURVEY_FOOT}[unit], GRIDS[unit]
    xy = places()
    order = np.random.default_rng(4).permutation(len(xy))
    height = 30 + 3 * np.sin(2.3 * np.arange(len(xy)))
    suffix = {"m": "m", "us-ft": "ft"}[unit]
    gpd.GeoDataFrame({"Pole No.": [f"P-{i + 1}" for i in order], f"HGT_{suffix}": height[order] * k,
                      "owner": "Invented Power"}, geometry=shapely.points(k * xy[order]), crs=crs).to_file(
        folder / "towers.gpkg", layer="poles")
    low, high = xy.min(axis=0) - 300, xy.max(axis=0) + 300
    columns, rows = (int(np.ceil(side / 10)) for side in high - low)
    e = low[0] + 10 * (np.arange(columns) + 0.5)
    n = high[1] - 10 * (np.arange(rows) + 0.5)
    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", width=columns, height=rows, count=1,
                       dtype="float64", crs=crs, transform=Affine(10 * k, 0, low[0] * k, 0, -10 * k, high[1] * k)
                       ) as dataset:
        dataset.write(k * ground(*np.meshgrid(e, n)), 1)
    _write_map(folder / "map.gpkg", xy, k, crs)
    return folder


def _write_map(path, xy, k, crs):
    """Ways with tags, buildings with heights and posts without meaning."""
    def across(span, share, half=60.0):
        a, b = xy[span], xy[span + 1]
        middle, way = a + share * (b - a), (b - a)[::-1] * [1, -1] / np.hypot(*(b - a))
        return shapely.LineString(k * np.array([middle - half * way, middle + half * way]))

    tags = [(2, 0.4, {"highway": "secondary"}), (4, 0.5, {"highway": "track"}), (6, 0.6, {"railway": "rail"}),
            (7, 0.3, {"highway": "primary", "bridge": "yes"}), (10, 0.5, {"waterway": "stream"}),
            (11, 0.5, {"power": "line", "voltage": "110000;20000", "wires": "double"}), (13, 0.4, {"man_made": "dyke"})]
    keys = ("highway", "railway", "waterway", "power", "voltage", "wires", "bridge", "man_made")
    gpd.GeoDataFrame({"osm_id": [str(900 + i) for i in range(len(tags))],
                      **{key: [tag.get(key) for *_, tag in tags] for key in keys}},
                     geometry=[across(span, share) for span, share, _ in tags], crs=crs).to_file(path, layer="ways")
    spots = [xy[i] + 0.5 * (xy[i + 1] - xy[i]) + [0, 9] for i in (3, 15)]
    suffix = "m" if k == 1 else "ft"
    gpd.GeoDataFrame({"objtype": ["house", "barn"], "kind": ["house", "barn"], f"Roof_Height_{suffix}": [6 * k, 8 * k]},
                     geometry=[shapely.box(*(k * (s - 5)), *(k * (s + 5))) for s in spots], crs=crs).to_file(
        path, layer="bldg")
    gpd.GeoDataFrame({"note": ["?"]}, geometry=[shapely.Point(k * (xy[5] + 0.5 * (xy[6] - xy[5])))], crs=crs).to_file(
        path, layer="misc")
