"""The table [design] of a study: which conductors are tried for the line."""

from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt

from corridor.study.table import WIRE_TEMPERATURE, Read, Table
from corridor.study.values import Measure
from corridor.study.wires import Stringing

__all__ = ["Design", "MaterialPrice"]

_SIZE = Read(Measure("length", 0, 0.2, above=True, slip="'23.5 mm'"))
_FILL = Read(Measure("ratio", 0.5, 1.0))


class MaterialPrice(Table):
    """What a material of a conductor costs, as drawn and stranded."""

    material: Literal["AL1", "A0", "AT1", "AT3", "ST1A", "ST6C", "20SA", "INV", "MMC", "CF"] = Field(
        description="Kind of aluminium, or material of the core.")
    cost_per_kg: float = Field(ge=0, description="In the units of `currency` of [plan], or one's own.")


class Design(Table):
    """The conductors that `corridor design` tries, and what they are held to. All of it has defaults."""

    cores: tuple[Literal["ST1A", "ST6C", "20SA", "INV", "MMC", "CF"], ...] = Field(
        ("ST6C", "20SA", "INV", "MMC", "CF"), min_length=1, description="Materials of the core."
    )
    aluminium: tuple[Literal["AL1", "A0", "AT1", "AT3"], ...] = Field(
        ("A0", "AT1", "AT3"), min_length=1, description="Kinds of aluminium around it."
    )
    shapes: tuple[Literal["round", "trapezoidal"], ...] = Field(
        ("round", "trapezoidal"), min_length=1,
        description="Shapes of its wires: round, in the strandings of IEC 61089, of ASTM B232 and EN 50182, too, where "
                    "sizes are makeable, or trapezoidal.",
    )
    sizes: Literal["makeable", "any"] = Field(
        "makeable", description="Makeable: counts of wires, and diameters that wires are drawn to, in steps of 0.01 to "
                                "0.5 mm as `candidates` allows. Any: even steps of the whole diameter and of the core."
    )
    diameter_least: Annotated[float | None, _SIZE] = Field(
        None, description="Minimum outer diameter. Default: 0.8 times that of the existing wire."
    )
    diameter_greatest: Annotated[float | None, _SIZE] = Field(
        None, description="Maximum outer diameter. Default: that of the existing wire."
    )
    core_diameter_least: Annotated[float | None, _SIZE] = Field(
        None, description="Minimum diameter of the core. Default: 0.2 times that of the existing wire."
    )
    core_diameter_greatest: Annotated[float | None, _SIZE] = Field(
        None, description="Maximum diameter of the core. Default: 0.55 times that of the existing wire."
    )
    fill_least: Annotated[float, _FILL] = Field(
        0.93, description="Minimum share of the ring about the core that trapezoidal wires fill."
    )
    fill_greatest: Annotated[float, _FILL] = Field(0.93, description="Greatest such share.")
    candidates: Annotated[StrictInt, Field(ge=10, le=1_000_000)] = Field(
        50_000, description="About how many conductors are tried."
    )
    finalists: Annotated[StrictInt, Field(ge=1, le=30)] = Field(
        6, description="How many of the best are checked span by span."
    )
    maximum_temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None, description="Maximum temperature in continuous service, where the materials bear more."
    )
    emergency_temperature: Annotated[float | None, Read(WIRE_TEMPERATURE)] = Field(
        None, description="Maximum temperature for a short time, where the materials bear more."
    )
    required_current: Annotated[float | None, Read(Measure("current", 0, 20_000, above=True))] = Field(
        None, description="Current that must be carried, and for which losses are told. Default: that of [rating]."
    )
    load_ratio: Annotated[float, Read(Measure("ratio", 0.1, 10.0))] = Field(
        1.0,
        description=(
            "How much of what the existing wire does to the structures a new one may do: its weight with ice, its "
            "wind, its tension, each in its own worst case."
        ),
    )
    tension_reserve: Annotated[float, Read(Measure("ratio", 0, 0.9))] = Field(
        0.0, description="Share of the tension that the existing wire has in each case which a new one leaves unused, "
                         "besides `load_ratio`."
    )
    clearance_reserve: Annotated[float, Read(Measure("length", 0, 10, slip="'0.3 m'"))] = Field(
        0.0, description="What a new wire keeps on top of every distance that a rule requires."
    )
    new_violations: StrictBool = Field(
        False, description="Whether finalists may have violations in spans where the existing wire has none."
    )
    prices: tuple[MaterialPrice, ...] = Field((), description=(
        "What materials cost. With all that are tried what a conductor costs is one more thing to be the best in."))
    stringing: tuple[Stringing, ...] = Field(
        (),
        description=(
            "The limits that candidates are strung to. Default: those of the existing option. The tension of the "
            "existing wire, times `load_ratio`, is a limit besides in every case that checks the tension."
        ),
    )
