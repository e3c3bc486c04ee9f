"""A tiny invented study, every part of which a test can change before it is written and checked.

A straight line of four structures 300 m apart runs to the east over a plane; two phases hang on it.
"""

import shutil
import sys
from datetime import UTC, datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

import corridor
from tests.clouds_of_wires import hung_today, named_shots
from tests.common import run

#: The first structure of the line, on the central meridian of the grid.
EAST, NORTH = 500_000.0, 5_600_000.0
GRID = "EPSG:25832"

STUDY = """\
[study]
voltage = "110 kV"
highest_voltage = "123 kV"

[terrain]
ground = ["ground.tif"]
vertical_unit = "m"

[structures]
file = "line.gpkg"

[framings]
file = "framings.csv"

[[options]]
name = "today"
conductor = "264-AL1/62-ST1A"
existing = true
maximum_temperature = 75
emergency_temperature = 90
[[options.stringing]]
limit = "18 % RTS"
temperature = 10

[[cases]]
name = "hot"
temperature = "maximum"
checks = ["vertical"]
[[cases]]
name = "ice"
temperature = 0
ice = "12 mm"
[[cases]]
name = "swung"
temperature = 10
wind = "290 Pa"
checks = ["horizontal"]

[rules]
file = "rules.csv"

[right_of_way]
half_width = "30 m"
"""

STRENGTH = """
[[cases]]
name = "strength"
temperature = -5
ice = "38 mm"
checks = ["tension"]
"""

SECOND_OPTION = """
[[options]]
name = "alloy"
conductor = "264-AT1/62-ST1A"
maximum_temperature = 150
[[options.stringing]]
limit = "18 % RTS"
temperature = 10
"""

FRAMINGS = """\
framing,wire,kind,circuit,offset,height,string,string_length,string_mass
hold,A,phase,1,-4,18,strain,,
hold,B,phase,1,5,19,strain,,
hang,A,phase,1,-4,19,suspension,1.4,40
hang,B,phase,1,5,20,suspension,1.4,40
"""

RULES = """\
rule,against,measure,base,per_kv,above_kv,altitude_share,altitude_above,minimum,buffer
open,ground,vertical,4.5,0.01,23,0.03,50,5.6,0.4
road,road,vertical,5.5,0.01,23,,,,
"""


def plane(easting, northing):
    """Elevation of the ground [m]: rises 2 cm per metre to the east, 1 cm to the north."""
    return 100 + 0.02 * (easting - EAST) + 0.01 * (northing - NORTH)


def line_of(count=4, span=300.0, line="main"):
    """Structures to the east, terminals at the ends, every third of the others a strain structure."""
    roles = ["terminal", *("strain" if i % 3 == 2 else "suspension" for i in range(1, count - 1)), "terminal"]
    return pd.DataFrame({
        "line": line, "structure": [str(i + 1) for i in range(count)], "order": np.arange(1.0, count + 1),
        "role": roles, "framing": ["hang" if role == "suspension" else "hold" for role in roles],
        "easting": EAST + span * np.arange(count), "northing": NORTH})


def leftovers(folder):
    """What is not finished, or was left by a run that died."""
    return [path for path in folder.rglob("*") if path.name.startswith(".corridor-")]


class Findings:
    """The layers of a file of findings, read by name."""

    def __init__(self, path, result):
        self.path, self.result = path, result

    def __getitem__(self, layer):
        return pyogrio.read_dataframe(self.path, layer=layer)

    def rows(self, layer, **keys):
        """The rows of a layer whose columns have these values."""
        table = self[layer]
        chosen = np.ones(len(table), bool)
        for column, value in keys.items():
            chosen &= (table[column] == value).to_numpy(bool)
        return table[chosen].reset_index(drop=True)

    def row(self, layer, **keys):
        """The one row of a layer whose columns have these values."""
        rows = self.rows(layer, **keys)
        assert len(rows) == 1, rows
        return rows.iloc[0]


def measured_drake(study, seen=""):
    """The study with Drake measured in both sections, and a key on the loads it has seen."""
    study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "Drake"')
    study.change("maximum_temperature = 75", "maximum_temperature = 90")
    study.change("existing = true\n", f'existing = true\nmeasured = "measured.csv"\n{seen}')
    (study.folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-3,14,25000\n3-4,14,25000\n")


class TinyStudy:
    """A study in a folder; `text`, `structures`, `crs`, `framings` and `rules` are its knobs."""

    def __init__(self, folder):
        folder.mkdir(exist_ok=True)
        self.folder, self.path, self.output = folder, folder / "study.toml", folder / "findings.gpkg"
        self.text, self.framings, self.rules = STUDY, FRAMINGS, RULES
        self.structures, self.crs = line_of(), GRID
        self.write_ground()

    def change(self, old, new):
        """Replace some text of the study file."""
        assert old in self.text
        self.text = self.text.replace(old, new, 1)

    def write_ground(self, surface=plane, *, name="ground.tif", crs=GRID, low=(EAST - 400, NORTH - 400),
                     high=(EAST + 1400, NORTH + 400), cell=10.0, factor=1.0, unknown=None,
                     tile=None):
        """Write a raster of a surface [m], times a factor; `unknown(easting, northing)` is True in holes."""
        columns, rows = (int(round((b - a) / cell)) for a, b in zip(low, high, strict=True))
        transform = Affine(cell, 0, low[0], 0, -cell, low[1] + rows * cell)
        e, n = np.meshgrid(low[0] + (np.arange(columns) + 0.5) * cell,
                           low[1] + (rows - np.arange(rows) - 0.5) * cell)
        z = surface(e, n) * factor
        if unknown is not None:
            z = np.where(unknown(e, n), -9999.0, z)
        shape = {"width": columns, "height": rows, "count": 1, "dtype": "float64"}
        if tile:
            shape |= {"tiled": True, "blockxsize": tile, "blockysize": tile}
        with rasterio.open(self.folder / name, "w", driver="GTiff", nodata=-9999.0, transform=transform, crs=crs,
                           **shape) as dataset:
            dataset.write(z, 1)

    def add_obstacle(self, name, category, shapes, keys="", *, crs=GRID, **columns):
        """Write features to a layer of their own and name it in the study, with more keys as TOML."""
        table = gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)
        table.to_file(self.folder / f"{name}.gpkg", layer=name, driver="GPKG")
        self.text += f'\n[[obstacles]]\nname = "{name}"\nfile = "{name}.gpkg"\ncategory = "{category}"\n{keys}\n'

    def write(self):
        """Write what the knobs say, and return the path of the study file."""
        columns = self.structures.drop(columns=["easting", "northing"])
        points = shapely.points(self.structures[["easting", "northing"]].to_numpy(float))
        table = gpd.GeoDataFrame(columns, geometry=points, crs=self.crs)
        table.to_file(self.folder / "line.gpkg", layer="structures", driver="GPKG")
        (self.folder / "framings.csv").write_text(self.framings, encoding="utf-8")
        (self.folder / "rules.csv").write_text(self.rules, encoding="utf-8")
        self.path.write_text(self.text, encoding="utf-8")
        return self.path

    def add_roads(self):
        """Let a road cross the middle of each span."""
        e = EAST + 150 + 300.0 * np.arange(len(self.structures) - 1)
        ends = np.stack([[e, e + 20], np.broadcast_to([[NORTH - 60], [NORTH + 60]], (2, len(e)))], axis=-1)
        self.add_obstacle("roads", "road", shapely.linestrings(ends.swapaxes(0, 1)), "height = 0\nradius = 4")

    def add_shots(self, count=8):
        """Shoot points on the wires as they hang today at 20 °C, and survey the line by these."""
        self.write()
        scene, hung = hung_today(self.path, self.folder, 20.0)
        row, place = named_shots(scene, hung, count)
        rows = ["easting,northing,elevation,span,wire",
                *(f"{e:.3f},{n:.3f},{z:.3f},{span},{wire}" for (e, n, z), span, wire in zip(
                    place, scene.spans.name[scene.wires.span[row]], scene.wires.wire[row], strict=True))]
        (self.folder / "shots.csv").write_text("\n".join(rows), encoding="utf-8")
        self.text += '\n[[surveys]]\nname = "shots"\nfiles = ["shots.csv"]\ntemperature = 20\naccuracy = 0.01\n'

    def check(self, output=None, *, time=datetime(2026, 3, 1, tzinfo=UTC)):
        """Write and check the study from Python, and return its findings."""
        output = output or self.output
        return Findings(output, corridor.check_study(self.write(), output, time=time))

    def command(self, *arguments):
        """Run the command on what is written, in this process, and return its exit status."""
        return run("check", self.path, *arguments)


@pytest.fixture
def study(tmp_path):
    """A study in which everything is assessed and clear."""
    return TinyStudy(tmp_path / "study")


@pytest.fixture
def copied(checked, tmp_path):
    """A copy of the folder of the study that a module checked once, for a test to write into."""
    return shutil.copytree(checked.folder, tmp_path / "study")


@pytest.fixture
def other_study(tmp_path):
    """The same study again, in a folder of its own."""
    return TinyStudy(tmp_path / "other")


@pytest.fixture(scope="session")
def make():
    """What tests build their lines and grounds of."""
    return sys.modules[__name__]


@pytest.fixture(scope="module")
def short(make, tmp_path_factory):
    """Findings of a study whose wires are in violation of ground and roads here and there; two options."""
    study = make.TinyStudy(tmp_path_factory.mktemp("short"))
    study.text += make.SECOND_OPTION
    study.rules = study.rules.replace("4.5", "7").replace("5.5", "8")
    study.add_roads()
    return study.check()
