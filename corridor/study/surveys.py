"""The tables [[surveys]] of a study: points on wires that hang, and how warm the wires were."""

from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt

from corridor.errors import InputError
from corridor.study.table import WIRE_TEMPERATURE, FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.values import Measure

__all__ = ["Survey", "kind_of", "surveys_are_possible"]

_Class = Annotated[StrictInt, Field(ge=0, le=255)]
#: Keys of the weather, all of which a heat balance needs.
WEATHER = ("current", "ambient", "wind_speed", "solar")


class Survey(Table):
    """Points on the wires that hang today: tiles of a point cloud (LAS, LAZ; they need the extra `cloud`), layers of
    points with Z, or shots in CSV. The wire's temperature then is given, or follows from weather and current."""

    name: Text = Field(description="Unique name.")
    files: tuple[FilePath, ...] = Field(min_length=1, description=(
        "LAS or LAZ tiles, or layers of points, or CSV files with the columns easting, northing, elevation and, where "
        "it is known which wire was shot, line, span (<from>-<to>) and wire."))
    layer: Text | None = Field(None, description="Layer of a file of layers. Default: the only one.")
    crs: Text | None = Field(None, description=(
        "The CRS of the points. Default: what each tile or layer says; of CSV files that of the study."))
    vertical_unit: Literal["m", "ft", "us-ft"] | None = Field(
        None, description="Unit of the elevations. Default: what the CRS says, else m.")
    easting_unit: Unit.length = unit_of("easting", "m")
    northing_unit: Unit.length = unit_of("northing", "m")
    elevation_unit: Unit.length = unit_of("elevation", "m")
    wire_classes: tuple[_Class, ...] = Field((13, 14), description=(
        "Classes of a cloud that are looked at. Which wire a point is of is told by its place, not by its class."))
    accuracy: Annotated[float, Read(Measure("length", 0, 1, above=True))] = Field(
        0.05, description="Standard deviation of a point in each direction.")
    time: Text | None = Field(None, description="When it was surveyed, for the reader.")
    temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None, description="Temperature of the wires then. Either this or weather and `current`.")
    temperature_band: Annotated[float, Read(Measure("temperature_difference", 0, 60))] = Field(
        5.0, description=(
            "How far off that temperature may be, either way: the standard deviation that counts where `[uncertainty]` "
            "gives no survey_temperature. To take the wire for hotter than it was is on the unsafe side."))
    current: Annotated[float | None, Read(Measure("current", 0, 20_000))] = Field(
        None, description="Current per phase then; shield wires carry none.")
    ambient: Annotated[float | None, Read(Measure("temperature", -80, 70))] = Field(
        None, description="Temperature of the air then.")
    wind_speed: Annotated[float | None, Read(Measure("speed", 0, 60))] = Field(None, description="Speed of the wind.")
    wind_angle: Annotated[float, Read(Measure("angle", 0, 90))] = Field(
        90.0, description="Angle between wind and wire.")
    solar: Annotated[float | None, Read(Measure("irradiance", 0, 1500))] = Field(
        None, description="Irradiance on the wire then.")
    attachments: StrictBool = Field(False, description=(
        "true: wires hang at the elevations at which the survey saw their ends, for all options. false: at those of "
        "structures and framings; the difference is told."))


def surveys_are_possible(study):
    """A survey is of the existing wire, and says how warm it was, once."""
    if study.surveys and not any(option.existing for option in study.options):
        yield InputError(study.path, "surveys", "a survey, and no option that is existing",
                         "existing = true for the option whose wire was surveyed")
    for i, survey in enumerate(study.surveys):
        given = [key for key in WEATHER if getattr(survey, key) is not None]
        if (survey.temperature is None) == (not given):
            yield InputError(study.path, f"surveys.{i}.temperature",
                             "nothing" if survey.temperature is None else f"a temperature, and {' and '.join(given)}",
                             f"a temperature, or {', '.join(WEATHER)}")
        elif given and len(given) < len(WEATHER):
            lacking = [key for key in WEATHER if key not in given]
            yield InputError(study.path, f"surveys.{i}.{lacking[0]}", "nothing", "all of " + ", ".join(WEATHER))
        kinds = {kind_of(file) for file in survey.files}
        if len(kinds) > 1:
            yield InputError(study.path, f"surveys.{i}.files", " and ".join(sorted(kinds)), "files of one kind")


def kind_of(file):
    """Return what kind of points a file holds by its name: cloud, shots or layer."""
    ending = str(file).lower().rsplit(".", 1)[-1]
    return {"las": "cloud", "laz": "cloud", "csv": "shots"}.get(ending, "layer")
