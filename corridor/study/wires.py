"""The tables of a study that are about wires: options, conductors, stringing limits and cases."""

from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt, model_validator

from corridor.constants import GLAZE_DENSITY
from corridor.study.districts import districts, filled
from corridor.study.table import WIRE_TEMPERATURE, FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.values import Limit, Measure, NameOf, ReadBound, ReadTension, TemperatureOr

__all__ = ["Case", "ConductorEntry", "Option", "ShieldState", "ShieldWire", "Stringing", "Tightened"]

Condition = Literal["initial", "final"]
Check = Literal["vertical", "horizontal", "tension"]
_MODULUS = Measure("pressure", 1e9, 1e12, slip="'55 GPa'")
_EXPANSION = Measure("expansion", -5e-6, 5e-5, slip="'23 ppm/K'")
_DIAMETER = Measure("length", 0, 0.2, above=True, slip="'28.1 mm'")
_ICE = Measure("length", 0, 0.3, slip="'12 mm'")
_ICE_WEIGHT = Measure("load", 0, 1000, slip="'15 N/m'")
_ICE_PER_DIAMETER = Measure("load_per_diameter", 0, 20_000, slip="'0.4 N/m/mm'")
_ICE_DENSITY = Measure("density", 50, 1000)


class Stringing(Table):
    """One limit that a wire is strung to; of several the one that governs is reported."""

    limit: Annotated[Limit, Read(ReadBound())] = Field(
        description="The maximum tension, share of rated tensile strength, or catenary constant."
    )
    temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None, description="Temperature of the bare wire without wind. Either this or `case`."
    )
    case: Text | None = Field(
        None, description="The load case in which the limit holds. Either this or `temperature`."
    )
    condition: Condition = Field(
        "final", description="The condition of the wire in which it holds."
    )


LOADS_SEEN = (
    "Whether the wire has been through the cases with ice or wind; or a list of the names of those that it has been "
    "through. Without it each clearance, and each load, is that of the less favourable: that they have stretched "
    "it, or that they never came."
)


class Tightened(Table):
    """A section that is strung tauter than the limits say, where someone has found that its structures bear it, or
    slacker."""

    line: Text | None = Field(None, description="Its line, where several have such a section.")
    section: Text = Field(description="Its name, <from>-<to>, the structures that end it.")
    by: Annotated[float, Read(Measure("ratio", -0.5, 1))] = Field(
        description="Share by which each limit is more than it says; negative: less.")


class Option(Table):
    """One conductor that may hang on the structures."""

    name: Text = Field(description="Unique name.")
    conductor: Text = Field(description="A catalogue designation, or a name from [[conductors]].")
    existing: StrictBool = Field(
        False,
        description=(
            "Whether this wire hangs today; at most one option, to which the others are compared."
        ),
    )
    maximum_temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        description="Maximum temperature of the wire in continuous service."
    )
    emergency_temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None,
        description=(
            "Maximum temperature of the wire for a short time. Without it, cases at the "
            "emergency temperature are not assessed for this option."
        ),
    )
    bundle: Annotated[StrictInt, Field(ge=1, le=12)] = Field(
        1, description="Subconductors per phase. Clearances are of the nearest; strings end at the bundle's middle."
    )
    bundle_spacing: Annotated[float | None, Read(Measure("length", 0.05, 2, slip="'400 mm'"))] = Field(
        None,
        description=(
            "Distance between neighbouring subconductors. Default: 0.6 m, the greatest that is usual, and a warning."
        ),
    )
    bundle_arrangement: Literal["horizontal", "vertical", "triangle", "square"] | None = Field(
        None,
        description=(
            "How subconductors of an upright bundle lie: in a level row or a column of any number, a triangle of three "
            "(pointing up or down, whichever is nearer), a square of four. Default: a ring that is turned anyhow, and "
            "a warning."
        ),
    )
    everyday_temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None,
        description=(
            "Temperature of the wire in the years in which it creeps. Default: that of the first "
            "limit that has one, else 15 °C."
        ),
    )
    stringing_temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None,
        description=(
            "Temperature of the wire on the day it is strung: that of the pretension, and the knee "
            "of a gap type. Default: `everyday_temperature`."
        ),
    )
    age: Annotated[float, Field(strict=True, ge=1, le=100)] = Field(
        10.0, description="Years after which the wire is looked at in its final condition."
    )
    pretension: Annotated[Limit | None, Read(ReadTension())] = Field(
        None,
        description=(
            "Tension the wire is drawn to before it is sagged, which leaves a permanent set. For "
            "conductors with curves or annealed aluminium."
        ),
    )
    loads_seen: StrictBool | tuple[Text, ...] | None = Field(None, description=LOADS_SEEN)
    measured: FilePath | None = Field(
        None,
        description=(
            "A CSV file of tensions measured on the wire, which are final as they are, or initial where it had just "
            "been strung: columns section, temperature [°C], and horizontal_tension [N] or sag [m] with "
            "span_length [m] and, as needed, rise [m]; swing [deg] where wind blew; condition, final or initial "
            "(default: final); line where several have such a section."
        ),
    )
    stringing: tuple[Stringing, ...] = Field(min_length=1, description="The limits; each is met.")
    measured_temperature_unit: Unit.temperature = unit_of("temperature of that file", "degC")
    measured_horizontal_tension_unit: Unit.force = unit_of("its horizontal_tension", "N")
    measured_sag_unit: Unit.length = unit_of("its sag", "m")
    measured_span_length_unit: Unit.length = unit_of("its span_length", "m")
    measured_rise_unit: Unit.length = unit_of("its rise", "m")
    measured_swing_unit: Unit.angle = unit_of("its swing", "deg")
    tightened: tuple[Tightened, ...] = Field(
        (), description="Sections that are strung tauter or slacker. Not those measured.")


class ShieldWire(Table):
    """The shield wire, where the framings hold one."""

    conductor: Text = Field(description="A catalogue designation, or a name from [[conductors]].")
    maximum_temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        50.0, description="Its temperature in the cases at maximum temperature."
    )
    stringing: tuple[Stringing, ...] = Field(min_length=1, description="The limits; each is met.")
    loads_seen: StrictBool | tuple[Text, ...] | None = Field(None, description=LOADS_SEEN)


class ConductorEntry(Table):
    """A conductor that the catalogue lacks. What is not given is the default of its family."""

    name: Text = Field(description="Unique name.")
    family: Text | None = Field(None, description="Which defaults of the materials apply.")
    outer_area: Annotated[
        float | None, Read(Measure("area", 0, 0.01, above=True, slip="'403 mm^2'"))
    ] = Field(None, description="Area of the outer part (aluminium).")
    core_area: Annotated[float | None, Read(Measure("area", 0, 0.01, slip="'65.6 mm^2'"))] = Field(
        None, description="Area of the core; 0 where there is none."
    )
    diameter: Annotated[float | None, Read(_DIAMETER)] = Field(
        None, description="Overall diameter."
    )
    mass: Annotated[
        float | None, Read(Measure("mass_per_length", 0.02, 20, slip="'1628 kg/km'"))
    ] = Field(None, description="Mass per length.")
    rts: Annotated[float | None, Read(Measure("force", 2000, 5e6, slip="'140 kN'"))] = Field(
        None, description="Rated tensile strength."
    )
    resistance_20: Annotated[
        float | None, Read(Measure("resistance", 0, 0.01, above=True, slip="'0.070 ohm/km'"))
    ] = Field(None, description="Direct-current resistance at 20 °C.")
    temperature_coefficient: Annotated[float | None, Read(Measure("expansion", 0, 0.02))] = Field(
        None, description="Temperature coefficient of the resistance at 20 °C."
    )
    outer_modulus: Annotated[float | None, Read(_MODULUS)] = Field(
        None, description="Final modulus of the outer part."
    )
    core_modulus: Annotated[float | None, Read(_MODULUS)] = Field(
        None, description="Final modulus of the core."
    )
    outer_expansion: Annotated[float | None, Read(_EXPANSION)] = Field(
        None, description="Thermal expansion of the outer part."
    )
    core_expansion: Annotated[float | None, Read(_EXPANSION)] = Field(
        None, description="Thermal expansion of the core."
    )
    elongation: Text | None = Field(
        None,
        description=(
            '"linear", "annealed", "gap", "estimated", or the name of a set of stress-strain and creep curves. '
            "Default: that of the family."
        ),
    )
    compression: Annotated[float | None, Read(Measure("pressure", 0, 1e8, slip="'10 MPa'"))] = (
        Field(
            None,
            description="Compression that the slack outer part takes before the core carries all.",
        )
    )
    compression_low: Annotated[float | None, Read(Measure("pressure", 0, 1e8, slip="'0 MPa'"))] = (
        Field(None, description="The least that this compression may be. Default: the family's.")
    )
    compression_high: Annotated[float | None, Read(Measure("pressure", 0, 1e8, slip="'18 MPa'"))] = (
        Field(None, description="The most that this compression may be. Default: the family's.")
    )
    permanent_set: Annotated[float | None, Read(Measure("strain", 0, 0.02))] = Field(
        None, description="Strain of the outer part between the initial and the final condition."
    )
    core_diameter: Annotated[float | None, Read(_DIAMETER)] = Field(
        None, description="Diameter of the core, for the skin effect and the heat in it."
    )
    outer_wire_diameter: Annotated[float | None, Read(_DIAMETER)] = Field(
        None, description="Of round outer wires, for the cooling by CIGRE TB 601; absent where they are shaped."
    )
    outer_layers: Annotated[StrictInt | None, Field(ge=1, le=10)] = Field(
        None, description="Layers of the outer part: over a magnetic core one and three have more resistance."
    )
    outer_material: Text | None = Field(None, description="Material of the outer part.")
    core_material: Text | None = Field(None, description="Material of the core.")


class _Ice:
    """Ice by any of the keys that a state has for it."""

    @property
    def by_weight(self):
        """Whether the ice is given by its weight."""
        return bool(self.ice_weight or self.ice_weight_per_diameter)

    @property
    def icy(self):
        """Whether there is ice, by whatever it is given."""
        return bool(self.ice) or self.by_weight


class ShieldState(_Ice, Table):
    """The state of shield wires where it is not that of the phases; what is not given is as in the case."""

    temperature: Annotated[
        float | str | None, Read(TemperatureOr(("maximum", "emergency"), WIRE_TEMPERATURE))
    ] = Field(None, description="Temperature of the shield wires, or the greatest that [shield_wire] gives them.")
    ice: Annotated[float | None, Read(_ICE)] = Field(None, description="Radial thickness of ice on them; 0 for none.")
    ice_weight: Annotated[float | None, Read(_ICE_WEIGHT)] = Field(None, description="Or its weight.")
    ice_weight_per_diameter: Annotated[float | None, Read(_ICE_PER_DIAMETER)] = Field(
        None, description="More of that weight for each length of diameter.")
    ice_density: Annotated[float | None, Read(_ICE_DENSITY)] = Field(None, description="Density of that ice.")
    ice_spans: Literal["all", "odd", "even", "each", "others"] | None = Field(
        None, description="Spans in which they carry it, instead of what `ice_spans` and `ice_on` of the case say.")


class Case(_Ice, Table):
    """A state of weather and load in which the wires are looked at."""

    name: Text = Field(description="Unique name.")
    district: Annotated[str | None, Read(NameOf(districts, "load district"))] = Field(None, description=(
        "Load district of a code (docs/districts.md): it fixes temperature, ice, wind and constant, which are then not "
        "given here, and asks for what the code takes from maps. Such a case checks tension unless told otherwise."))
    temperature: Annotated[
        float | str | None, Read(TemperatureOr(("maximum", "emergency"), WIRE_TEMPERATURE))
    ] = Field(None, description="Temperature of the wire, or that of the option. Needed without a district.")
    condition: Condition = Field("final", description="The condition of the wire.")
    ice: Annotated[float, Read(_ICE)] = Field(0.0, description="Radial thickness of ice.")
    ice_weight: Annotated[float, Read(_ICE_WEIGHT)] = Field(0.0, description=(
        "Or its weight on each wire, as annexes of EN 50341 give it. `ice_density` must be given then: both make the "
        "diameter on which the wind blows."))
    ice_weight_per_diameter: Annotated[float, Read(_ICE_PER_DIAMETER)] = Field(0.0, description=(
        "More of that weight for each length of diameter of the bare wire: 15 N/m and 0.4 N/m/mm of 30 mm are 27 N/m."))
    ice_density: Annotated[float, Read(_ICE_DENSITY)] = Field(GLAZE_DENSITY, description="Density of the ice.")
    wind: Annotated[float, Read(Measure("pressure", 0, 10_000))] = Field(
        0.0, description="Wind pressure on the projected area of the iced wire."
    )
    ice_spans: Literal["all", "odd", "even", "each", "others"] = Field(
        "all",
        description=(
            "Spans that carry the ice: all; or every other one of each stringing section, beginning with its first "
            "(odd) or its second (even); or each span alone while it is the one that is looked at, all others of its "
            "section without (each), or the reverse (others). Where ice is uneven in any way, method must be "
            "equilibrium; elongation and stringing limits count the ice on all of the section."
        ),
    )
    ice_on: tuple[Text, ...] = Field((), description="Names of the only spans that carry the ice, instead.")
    ice_off_wire: Text | None = Field(None, description="A wire that has dropped its ice, in all spans.")
    ice_elsewhere: Annotated[float, Read(_ICE)] = Field(
        0.0, description="Radial thickness of ice on spans and wires that the keys above leave out; less than `ice`."
    )
    broken: Literal["back", "ahead"] | None = Field(None, description=(
        "The wire is broken in the span before that which is looked at (back), or after it (ahead), all its "
        "subconductors, where that is of the same stringing section; else it is whole: columns `broken_span` tell. A "
        "study has both cases, which differ in nothing else. In still air, with even ice or none."))
    constant: Annotated[float, Read(Measure("load", 0, 100, slip="'0.30 lbf/ft'"))] = Field(
        0.0, description="Load that the code adds to the resultant of weight, ice and wind where tension is asked for.")
    shield: ShieldState | None = Field(None, description=(
        "The state of shield wires, where it is another than that of the phases: iced above phases that are bare, or "
        "at the temperature of the air above hot ones."))
    checks: tuple[Check, ...] = Field(
        default_factory=lambda given: ("tension",) if given.get("district") or given.get("constant") else (
            "horizontal" if given.get("wind") else "vertical",
            "tension",
        ),
        min_length=1,
        description='What is checked. Default: ["vertical", "tension"] without wind, '
        '["horizontal", "tension"] with wind, ["tension"] of a district or with a constant.',
    )

    @model_validator(mode="before")
    @classmethod
    def _of_district(cls, given):
        return filled(given)
