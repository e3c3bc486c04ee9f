"""The schema of the study file. It is its documentation: the reference page is made from it.

Every class is one table of the file, every attribute one key, by the same name. Values are SI
floats once validated: m, m², N, Pa, °C, V, A, kg/m, ohm/m, deg.
"""

from copy import deepcopy
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from corridor.study import voltages
from corridor.study.accepted import Accepted
from corridor.study.assumptions import Assumption, assumed_words
from corridor.study.capacity import Capacity
from corridor.study.currents import Load, ReadList, Resistance, Series
from corridor.study.design import Design
from corridor.study.mixes import Mix
from corridor.study.named_files import ADDRESS
from corridor.study.obstacles import Obstacle
from corridor.study.other_lines import OwnWires
from corridor.study.places import place_of
from corridor.study.plan import Plan
from corridor.study.point_clouds import PointCloud
from corridor.study.seasons import Fault, Season, Strength
from corridor.study.sources import StructureColumns, Structures
from corridor.study.stringing import Stringing
from corridor.study.surveys import Survey
from corridor.study.table import FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.terrain import Terrain
from corridor.study.uncertainty import UncertaintyTable
from corridor.study.values import DayOfYear, HourOfDay, Measure
from corridor.study.wires import Case, ConductorEntry, Option, ShieldWire

__all__ = [
    "Framings",
    "Obstacle",
    "Rating",
    "RightOfWay",
    "RuleChoice",
    "StructureColumns",
    "Structures",
    "Study",
    "StudySection",
    "Terrain",
    "may_read",
]


class StudySection(Table):
    """What the study is about."""

    title: Text = Field("", description="Title of the study, for reports.")
    crs: Text | None = Field(None, description=(
        "A projected CRS in metres, such as EPSG:25832, to work in and to write the findings of all lines in, of "
        "several zones, too, as far as its scale is within 0.006 of one (docs/conventions.md). Default: that of the "
        "structures where it is projected and its scale within 0.002 of one, else a local one that the run names."))
    voltage: Annotated[float, Read(voltages.SystemVoltage())] = Field(
        description="Nominal voltage, line to line."
    )
    highest_voltage: Annotated[float | None, Read(voltages.SystemVoltage())] = Field(
        None,
        description=(
            "Highest voltage of the system, line to line. Default: that of IEC 60038 or ANSI "
            "C84.1 for the nominal voltage, where they list it, else 1.05 times the nominal."
        ),
    )
    frequency: Annotated[float, Read(Measure("frequency", 0, 100, above=True))] = Field(
        50.0, description="Frequency of the system."
    )
    method: Literal["equilibrium", "ruling_span"] = Field(
        "equilibrium",
        description=(
            "How wires are hung: the exact equilibrium of every section, or one level span for each, which errs on the "
            "unsafe side in short spans when hot."
        ),
    )
    output: FilePath = Field("findings.gpkg", description="The GeoPackage or folder of GeoParquet (.parquet) to write.")
    wires: Literal["all", "governing"] = Field("all", description=(
        "Which wires stand in the layer `wires`: in every case, or in those alone that are the least favourable of a "
        "span to anything, and those with a violation. Of long lines the findings are much smaller so; drawings and "
        "the page show no others."))

    @property
    def highest_voltage_or_default(self):
        """Highest voltage of the system [V]: as given, else as `highest_voltage_source` tells."""
        return self.highest_voltage or voltages.highest(self.voltage)[0]

    @property
    def highest_voltage_source(self):
        """Words that say where the highest voltage is from."""
        if self.highest_voltage:
            return "given in the study"
        return voltages.highest(self.voltage)[1]


class Framings(Table):
    """Where the wires hang on each kind of structure."""

    file: FilePath = Field(
        description=(
            "A CSV file with the columns framing, wire, kind, circuit, offset, height, string, "
            "string_length, string_mass; where known also stiffness [N/m] of posts along the line and string_wind_area "
            "[m²]. A string is suspension, strain, link, post or vee. Where it is strain the wire ends at its "
            "height; a link is a strain string of string_length and string_mass between that point and the wire. A vee "
            "is a V-string that holds the wire string_length below its height, which is midway between its two arms; "
            "it swings along the line alone. window_left, window_right, window_below, window_above: how far from where "
            "a string hangs the body of the structure is on that side; swing_limit: the maximum swing allowed; "
            "vee_angle: the angle between the two arms of a vee, without which nobody knows whether both pull in wind."
        )
    )
    offset_unit: Unit.length = unit_of("offset", "m")
    height_unit: Unit.length = unit_of("height", "m")
    string_length_unit: Unit.length = unit_of("string_length", "m")
    string_mass_unit: Unit.mass = unit_of("string_mass", "kg")
    stiffness_unit: Unit.stiffness = unit_of("stiffness", "N/m")
    string_wind_area_unit: Unit.area = unit_of("string_wind_area", "m2")
    window_left_unit: Unit.length = unit_of("window_left", "m")
    window_right_unit: Unit.length = unit_of("window_right", "m")
    window_below_unit: Unit.length = unit_of("window_below", "m")
    window_above_unit: Unit.length = unit_of("window_above", "m")
    swing_limit_unit: Unit.angle = unit_of("swing_limit", "deg")
    vee_angle_unit: Unit.angle = unit_of("vee_angle", "deg")


class RuleChoice(Table):
    """The required clearances: a built-in table, a file, or a table whose rows a file overrides."""

    table: Text | None = Field(None, description="Name of a built-in table.")
    file: FilePath | None = Field(
        None,
        description=(
            "A CSV file with at least the columns rule, against, measure, base; and as needed "
            "per_kv, above_kv, altitude_share, altitude_above, buffer, cases, authority, edition, "
            "clause, confidence, note."
        ),
    )
    base_unit: Unit.length = unit_of("base", "m")
    per_kv_unit: Unit.length = unit_of("per_kv, for each kV", "m")
    above_kv_unit: Unit.voltage = unit_of("above_kv", "kV")
    other_per_kv_unit: Unit.length = unit_of("other_per_kv, for each kV", "m")
    other_above_kv_unit: Unit.voltage = unit_of("other_above_kv", "kV")
    altitude_above_unit: Unit.length = unit_of("altitude_above", "m")
    altitude_step_unit: Unit.length = unit_of("altitude_step", "m")
    max_altitude_unit: Unit.length = unit_of("max_altitude", "m")
    buffer_unit: Unit.length = unit_of("buffer", "m")
    minimum_unit: Unit.length = unit_of("minimum", "m")
    min_kv_unit: Unit.voltage = unit_of("min_kv", "kV")
    max_kv_unit: Unit.voltage = unit_of("max_kv", "kV")


class RightOfWay(Table):
    """The strip that the line may use: a half width about the line, or polygons."""

    half_width: Annotated[float | None, Read(Measure("length", 0, 1000, above=True))] = Field(
        None, description="Half of its width. Either this or `file`."
    )
    file: FilePath | None = Field(None, description="A vector file of polygons.")
    layer: Text | None = Field(None, description="Its layer. Default: the only one.")


class Rating(Table):
    """The weather for which currents are computed."""

    method: Literal["ieee738", "cigre601"] = Field(
        "ieee738", description="IEEE Std 738 or CIGRE TB 601."
    )
    ambient: Annotated[float, Read(Measure("temperature", -80, 70))] = Field(
        description="Temperature of the air."
    )
    wind_speed: Annotated[float, Read(Measure("speed", 0, 60))] = Field(
        description="Speed of the wind."
    )
    wind_angle: Annotated[float, Read(Measure("angle", 0, 90))] = Field(
        90.0, description="Angle between wind and wire; 90 deg is across it."
    )
    emissivity: Annotated[float, Read(Measure("ratio", 0, 1))] = Field(
        0.8, description="Emissivity of the wire."
    )
    absorptivity: Annotated[float, Read(Measure("ratio", 0, 1))] = Field(
        0.8, description="Absorptivity of the wire for sunlight."
    )
    solar: Annotated[float | None, Read(Measure("irradiance", 0, 1500))] = Field(
        None, description="Irradiance on the wire. Either this or `latitude`, `day` and `hour`."
    )
    latitude: Annotated[float | None, Read(Measure("angle", -90, 90))] = Field(
        None, description="Latitude, north positive."
    )
    day: Annotated[int | None, Read(DayOfYear())] = Field(None, description="Day of the year.")
    hour: Annotated[float | None, Read(HourOfDay())] = Field(
        None, description="Solar time, hours since midnight."
    )
    atmosphere: Literal["clear", "industrial"] = Field("clear", description="Clearness of the air.")
    elevation: Annotated[float | None, Read(Measure("length", -500, 6000))] = Field(
        None,
        description=(
            "Elevation for which the density of the air is taken. Default: that of the highest "
            "structure base."
        ),
    )
    required_current: Annotated[float | None, Read(Measure("current", 0, 20_000, above=True))] = (
        Field(None, description="Current for which the temperature of the wire is found.")
    )
    wind_direction: Annotated[float | None, Read(Measure("angle", 0, 360))] = Field(
        None,
        description=(
            "Where the wind comes from, clockwise from north: each span then has its own angle to it, "
            "and the line the minimum current of its spans. Instead of `wind_angle`."
        ),
    )
    radial_conductivity: Annotated[float | None, Read(Measure("conductivity", 0.1, 250))] = Field(
        None,
        description=(
            "Effective thermal conductivity across the strands. Where it is given, temperatures are "
            "those of the core, which sag follows, and currents are lower. Without it the wire has one "
            "temperature, and the excess of the core is only told, for 0.7 W/m/K."
        ),
    )
    emergency_duration: Annotated[float | None, Read(Measure("duration", 60, 86_400, slip="'15 min'"))] = Field(
        None, description="How long an emergency lasts. Together with `pre_load`."
    )
    pre_load: Annotated[float | None, Read(Measure("current", 0, 20_000))] = Field(
        None, description="Current per phase before the emergency, flowing since long."
    )
    table_ambients: Annotated[tuple[float, ...], Read(ReadList(Measure("temperature", -80, 70)))] = Field(
        (0.0, 10.0, 20.0, 30.0, 40.0), description="Temperatures of the air in the rating tables."
    )
    table_winds: Annotated[tuple[float, ...], Read(ReadList(Measure("speed", 0, 60)))] = Field(
        (0.0, 0.5, 1.0, 2.0, 4.0), description="Speeds of the wind in the rating tables."
    )
    resistances: tuple[Resistance, ...] = Field((), description="Measured resistances.")
    loads: tuple[Load, ...] = Field((), description="The load-duration curve of a year.")


class Study(Table):
    """The whole study file."""

    include: tuple[FilePath, ...] = Field((), description=(
        "TOML files that hold parts of the study, as several studies share them: their tables are merged into it. A "
        "key, or a list of tables, stands in one of the files alone; paths in a file are relative to that file."))
    curves: FilePath | None = Field(
        None, description="A CSV file of stress-strain and creep curves, for conductors of one's own."
    )
    study: StudySection = Field(description="What the study is about.")
    terrain: Terrain = Field(description="The ground.")
    structures: Structures = Field(description="Where the structures stand.")
    framings: Framings = Field(description="Where the wires hang.")
    capacity: Capacity | None = Field(None, description="What the structures bear.")
    options: tuple[Option, ...] = Field(min_length=1, description="The conductors in question.")
    mixes: tuple[Mix, ...] = Field((), description="Other options in some sections only.")
    shield_wire: ShieldWire | None = Field(None, description="The shield wire.")
    conductors: tuple[ConductorEntry, ...] = Field(
        (), description="Conductors that the catalogue lacks."
    )
    stringing: Stringing | None = Field(None, description="How new wires are strung.")
    cases: tuple[Case, ...] = Field(min_length=1, description="Weather and load.")
    rules: RuleChoice = Field(description="The required clearances.")
    obstacles: tuple[Obstacle, ...] = Field((), description="What the wires may come too near.")
    point_clouds: tuple[PointCloud, ...] = Field((), description="Surveyed points that the wires may come too near.")
    surveys: tuple[Survey, ...] = Field((), description="Points on the wires that hang today.")
    own_wires: OwnWires | None = Field(
        None, description="Compare the wires of the same structures with each other.")
    right_of_way: RightOfWay | None = Field(None, description="The strip that the line may use.")
    rating: Rating | None = Field(None, description="The weather for currents.")
    ratings: tuple[Season, ...] = Field((), description="Named seasons and durations.")
    series: Series | None = Field(None, description="Currents and weather hour by hour.")
    strength: Strength | None = Field(None, description="What strength may be lost by heat.")
    fault: Fault | None = Field(None, description="A short circuit.")
    design: Design | None = Field(None, description="What `corridor design` tries.")
    plan: Plan | None = Field(None, description="What putting it right costs, for `corridor plan`.")
    uncertainty: UncertaintyTable | None = Field(None, description="How sure inputs are, and so margins.")
    accepted: tuple[Accepted, ...] = Field((), description="Doubts about the data that are settled, with the reason.")
    assumptions: tuple[Assumption, ...] = Field((), description="What was assumed, and whether it is confirmed.")

    _path: Path = PrivateAttr(default=Path("study.toml"))
    _digest: str = PrivateAttr(default="")
    _tables: dict = PrivateAttr(default_factory=dict)
    _trust: bool | tuple = PrivateAttr(default=True)

    @property
    def path(self):
        """Path of the study file; of a dict the folder of its paths, and a name."""
        return self._path

    @property
    def folder(self):
        """Folder of the study file, to which its paths are relative."""
        return self._path.parent

    @property
    def unconfirmed(self):
        """Assumptions that nobody has confirmed, one line each."""
        return tuple(each.words() for each in self.assumptions if not each.confirmed)

    @property
    def cautions(self):
        """What to be careful of before all else: how much is assumed; nothing where all is confirmed."""
        words = assumed_words(len(self.unconfirmed))
        return (f"{words.upper()}: they are in run.assumptions and in the study.",) if words else ()

    @property
    def digest(self):
        """SHA-256 of the bytes of the study file and what it includes, or of a dict's content, in hexadecimal."""
        return self._digest

    @property
    def tables(self):
        """The tables as they were given, with those that the study includes, a copy."""
        return deepcopy(self._tables)

    def place(self, where):
        """Return the place of a key, such as "options.0.age", with the names of items for their numbers."""
        return place_of(self._tables, where)

    def resolve(self, relative):
        """Return the path of a file that the study names."""
        return self.folder / relative

    def may_read(self, name):
        """Return whether a file may be read: of a study that is trusted any, else one in its folder or in a folder that
        is trusted, wherever links lead."""
        return may_read(name, self.folder, self._trust)

    def trusts(self, name):
        """Return whether a file is trusted, whatever it refers to: of a study that is trusted any, else one in a folder
        that is trusted."""
        return self._trust is True or _lies_in(self.folder / name, self._trust or ())

    @classmethod
    def of_file(cls, tables, path, digest, trust=True):
        """Return the validated study that knows the file its tables were read from."""
        study = cls.model_validate(tables)
        study._path, study._digest, study._trust = Path(path), digest, trust
        study._tables = {key: value for key, value in tables.items() if key != "include"}
        return study

    def __reduce__(self):
        tables = self._tables | ({"include": list(self.include)} if self.include else {})
        return Study.of_file, (tables, self._path.absolute(), self._digest, self._trust)


def may_read(name, folder, trust):
    """Return whether a file that a study in a folder names may be read; `trust` as of `load_study`."""
    return trust is True or not ADDRESS.match(str(name)) and _lies_in(Path(folder) / name, (folder, *(trust or ())))


def _lies_in(path, folders):
    """Whether a path lies in one of some folders, wherever links lead."""
    path = path.resolve()
    return any(root == path or root in path.parents for root in (Path(each).resolve() for each in folders))
