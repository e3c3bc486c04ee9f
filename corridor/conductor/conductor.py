"""A conductor: two parts, an outer one of aluminium and a core, and what each of them does.

`Conductor` is a fact; `conductor_from` makes one of what a table or a study says and fills the
rest from the family and the materials. What fills a gap is an estimate for the build, not a
measurement of the wire.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

from corridor.conductor.curves import CurveSet, built_in
from corridor.conductor.estimate import ESTIMATED, STANDARD_CURVES, curves_of
from corridor.conductor.materials import Cell, Family, Material, find_family, find_material
from corridor.conductor.stranding import (
    CORE_LAY_INCREASE,
    LAY_INCREASE,
    LAYERS,
    TYPICAL_LAY_INCREASE,
    core_diameter,
    stranded_mass,
)
from corridor.errors import InputError, nearest

__all__ = ["Conductor", "conductor_from"]

#: Laws of elongation that a conductor may name, besides a set of curves.
ELONGATIONS = ("linear", "annealed", "gap", ESTIMATED)
#: Maximum compression in the literature on steel cores [Pa] (CIGRE TB 244 and TB 324, recalled).
GREATEST_COMPRESSION = 18e6


@dataclass(frozen=True)
class Conductor:
    """One conductor, in SI.

    Attributes
    ----------
    name, family : str
    outer_area, core_area : float
        Metallic areas [m²]; the core's is 0 in a homogeneous conductor.
    diameter : float
        Over the outer wires [m].
    mass : float
        Without grease unless the source says so [kg/m].
    rts : float
        Rated tensile strength [N].
    resistance_20 : float
        Dc, at 20 °C [ohm/m].
    temperature_coefficient : float
        Of resistance, at 20 °C [1/K].
    outer_modulus, core_modulus : float
        Final moduli of the parts as stranded, on their own areas [Pa]; 0 without a core.
    outer_expansion, core_expansion : float
        [1/K]; 0 without a core.
    permanent_set : float
        Strain of the outer part between the initial and the final state [-].
    compression : float
        Compression that the slack outer part takes before the core carries all, positive [Pa].
    elongation : str
        Law of elongation: "linear", "annealed", "gap", or the name of a set of curves.
    outer_wire_diameter : float
        Of a round outer wire [m]; nan where the wires are not round or it is not known.
    core_diameter : float
        [m]; 0 without a core, nan where not known.
    outer_layers : int or nan
        Layers of aluminium, nan where not known.
    maximum_temperature, emergency_temperature : float
        What the materials bear continuously and for a short time [°C]; nan where the family
        does not say.
    outer_heat, core_heat : float
        Heat capacity of the parts [J/(m K)]; the core's is nan where its material is not known.
    outer_material, core_material : str
    source, confidence : str
        Where the row is from, and how far to trust it, in words.
    derived : bool
        True where the row was computed by a geometry rule and is no product of a table.
    curves : CurveSet or None
        Of stress against strain, for the laws that have them.
    set_given : bool
        True where the permanent set is taken as it stands: it was given, or it is the family's and no predictor of
        creep is for such a wire.
    compression_low, compression_high : float
        Band in which the compression is believed to lie [Pa].
    core_expansion_above, core_expansion_change : float
        Expansion of the core [1/K] past the temperature [°C] at which it changes; inf where it does not.
    """

    name: str
    family: str
    outer_area: float
    core_area: float
    diameter: float
    mass: float
    rts: float
    resistance_20: float
    temperature_coefficient: float
    outer_modulus: float
    core_modulus: float
    outer_expansion: float
    core_expansion: float
    permanent_set: float
    compression: float
    elongation: str
    outer_wire_diameter: float
    core_diameter: float
    outer_layers: float
    maximum_temperature: float
    emergency_temperature: float
    outer_heat: float
    core_heat: float
    outer_material: str
    core_material: str
    source: str
    confidence: str
    derived: bool = False
    curves: CurveSet | None = None
    curves_band: tuple[CurveSet, ...] = ()
    set_given: bool = False
    compression_low: float = math.nan
    compression_high: float = math.nan
    core_expansion_above: float = math.nan
    core_expansion_change: float = math.inf


_STRANDS = ("outer_strands", "core_strands", "core_wire_diameter")
_COMPUTED = ("curves", "curves_band", "set_given", "core_expansion_above", "core_expansion_change")
_KNOWN = (*(f.name for f in fields(Conductor) if f.name not in _COMPUTED), *_STRANDS, "alias")


def conductor_from(values: Mapping[str, Cell], where: str | None = None, file: Path | str | None = None, *,
                   curves: Mapping[str, CurveSet] | None = None) -> Conductor:
    """Make a conductor of given values and, for the rest, of what its family and materials have.

    Parameters
    ----------
    values : mapping
        Names of `Conductor` to values in SI or text; None, or "" for text, is the same as absent.
        The numbers of wires, `outer_strands` and `core_strands`, with `core_wire_diameter` [m],
        refine heat capacity, core diameter and layers. `core_area` 0 makes a homogeneous
        conductor.
    where, file : str, optional
        Place and file that an error names.
    curves : dict of CurveSet, optional
        Sets by name that `elongation` may name, besides the built-in ones.

    Returns
    -------
    Conductor
        What stands in `values` is kept as it stands. Without a family nothing mechanical is
        assumed, save that an explicit `elongation` "linear" means a wire without permanent set.

    Raises
    ------
    InputError
        A name, family, material or law that is not known; a number that is missing, impossible,
        or that does not fit the others (areas larger than the diameter holds, a mass no such
        metal has).

    Examples
    --------
    >>> wire = dict(name="ours", family="hard-drawn aluminium on steel", outer_area=403e-6,
    ...             core_area=65.6e-6, diameter=0.0281, mass=1.628, rts=140e3, resistance_20=7e-5)
    >>> conductor_from(wire).core_expansion
    1.15e-05
    >>> conductor_from({"name": "ours"}, "conductors.0", "study.toml")
    Traceback (most recent call last):
    corridor.errors.InputError: study.toml: conductors.0.outer_area: found nothing; accepted: ...
    """
    place = _Place(where, file)
    given = _given(values, place)
    build, sets = _build(given, place), {**built_in(), **(curves or {})}
    law = _law(given, build, sets, place)
    filled = {**_defaults(given, build), **given}
    zero = _ZERO + (() if build.has_core else _ZERO_WITHOUT_CORE)
    numbers = {name: _number(filled, name, place, zero) for name in _REQUIRED}
    known = {name: _number(given, name, place) for name in _OPTIONAL if name in given}
    own, band = curves_of(law, sets, build.metal, build.core, int(known.get("outer_strands", 0)),
                          numbers["outer_modulus"], numbers["core_modulus"])
    _check_whole(numbers, place)
    return Conductor(
        name=_text(given, "name"),
        family=_text(given, "family"),
        outer_material=build.outer.material if build.outer else "",
        core_material=build.core.material if build.core else "",
        elongation=law,
        source=_text(given, "source"),
        confidence=_text(given, "confidence"),
        derived=bool(given.get("derived", False)),
        curves=own,
        curves_band=band,
        set_given="permanent_set" in given or build.family is None or not build.has_core
        or not math.isnan(build.metal.yield_stress),
        **numbers,
        **_heat_facts(known, numbers, build),
        **_compression_band(known, numbers, build),
        **_second_expansion(numbers, build),
    )


#: Unit and the range in which any overhead conductor lies: a wrong unit falls outside.
_REQUIRED = {
    "outer_area": ("m2", 1e-6, 5e-3), "core_area": ("m2", 1e-6, 2e-3), "diameter": ("m", 2e-3, 0.1),
    "mass": ("kg/m", 0.01, 20.0), "rts": ("N", 500.0, 2e6), "resistance_20": ("ohm/m", 5e-6, 2e-2),
    "temperature_coefficient": ("1/K", 1e-3, 1e-2), "outer_modulus": ("Pa", 1e10, 1e12),
    "core_modulus": ("Pa", 1e10, 1e12), "outer_expansion": ("1/K", 1e-7, 1e-4),
    "core_expansion": ("1/K", 1e-7, 1e-4), "permanent_set": ("-", 1e-6, 0.02),
    "compression": ("Pa", 1e3, 1e8),
}
_OPTIONAL = {
    "outer_wire_diameter": ("m", 5e-4, 0.02), "core_diameter": ("m", 5e-4, 0.05),
    "outer_layers": ("-", 1, 10),
    "maximum_temperature": ("degC", 20, 400), "emergency_temperature": ("degC", 20, 400),
    "outer_heat": ("J/(m K)", 1, 2e4), "core_heat": ("J/(m K)", 1, 2e4),
    "compression_low": ("Pa", 1e3, 1e8), "compression_high": ("Pa", 1e3, 1e8),
    "outer_strands": ("-", 1, 200), "core_strands": ("-", 1, 200),
    "core_wire_diameter": ("m", 5e-4, 0.02),
}
_BOUNDS = {**_REQUIRED, **_OPTIONAL}
_ZERO = ("core_area", "permanent_set", "compression", "compression_low", "compression_high", "core_strands",
         "core_diameter", "core_heat")
_ZERO_WITHOUT_CORE = ("core_modulus", "core_expansion")
_ABSENT = {
    **dict.fromkeys(("outer_modulus", "core_modulus", "outer_expansion", "core_expansion", "compression"),
                    "; or a family that has it"),
    "core_area": "; 0 for a conductor without a core",
    "permanent_set": '; or a family that has it; or elongation = "linear" for a wire without',
}


@dataclass(frozen=True)
class _Place:
    where: str | None
    file: Path | str | None

    def key(self, name: str) -> str:
        return f"{self.where}.{name}" if self.where else name

    def error(self, name: str, found: str, accepted: str, hint: str | None = None) -> InputError:
        return InputError(self.file, self.key(name), found, accepted, hint)


@dataclass(frozen=True)
class _Build:
    """Family and materials of a conductor, None where they are not said; without a core it has no core material."""

    family: Family | None
    outer: Material | None
    core: Material | None
    has_core: bool

    @property
    def metal(self) -> Material:
        """The outer material; hard-drawn aluminium where it is not said."""
        return self.outer or find_material("AL1")


def _given(values: Mapping[str, Cell], place: _Place) -> dict[str, str | float]:
    """What stands in `values`, with every name known and a name for the conductor."""
    for key in values:
        if key not in _KNOWN:
            raise place.error(key, "an unknown name", ", ".join(sorted(_KNOWN)), nearest(key, _KNOWN))
    given = {key: value for key, value in values.items() if value is not None and value != ""}
    if "name" not in given:
        raise place.error("name", "nothing", "the name of the conductor")
    return given


def _text(given: Mapping[str, Cell], name: str) -> str:
    return str(given.get(name, ""))


def _build(given: Mapping[str, Cell], place: _Place) -> _Build:
    """Family and materials by their names, those of the family where the conductor names none."""
    def material(key: str, of_family: str) -> Material | None:
        name = _text(given, key) or of_family
        return find_material(name, where=place.key(key), file=place.file) if name else None

    name = _text(given, "family")
    family = find_family(name, where=place.key("family"), file=place.file) if name else None
    if "core_area" in given:
        has_core = _number(given, "core_area", place) > 0
    else:
        has_core = family is None or bool(family.core_material)
    outer = material("outer_material", family.outer_material if family else "")
    core = material("core_material", family.core_material if family else "") if has_core else None
    return _Build(family, outer, core, has_core)


def _law(given: Mapping[str, Cell], build: _Build, sets: Mapping[str, CurveSet], place: _Place) -> str:
    """Law of elongation: what is asked for, or else what is usual; one that is not known or does not fit is refused."""
    law, known = _text(given, "elongation") or _usual_law(given, build), (*ELONGATIONS, *sets)
    if law not in known:
        close = nearest(law, known)
        raise place.error("elongation", repr(law), ", ".join(known), close and repr(close))
    if not build.has_core and (law == "gap" or (law in sets and not sets[law].own_area)):
        raise place.error("elongation", repr(law), "linear for a conductor without a core")
    if law == "annealed" and math.isnan(build.metal.yield_stress):
        raise place.error("elongation", repr(law), "an outer material that yields, such as A0")
    return law


def _usual_law(given: Mapping[str, Cell], build: _Build) -> str:
    """The family's law, the standard curves for its strands, or the linear one where a set is given."""
    law = build.family.elongation if build.family else "linear"
    if "permanent_set" in given and law != "gap":
        return "linear"
    materials = [None if each is None else each.material for each in (build.outer, build.core)]
    made: tuple[Cell, ...] = *materials, given.get("outer_strands"), given.get("core_strands") or 0
    return STANDARD_CURVES.get(made, law) if law == ESTIMATED else law


def _defaults(given: Mapping[str, Cell], build: _Build) -> dict[str, float]:
    """Values that family, materials and the absence of a core give; nan entries are left out."""
    filled, family = {"temperature_coefficient": build.metal.temperature_coefficient}, build.family
    if build.outer:
        filled["outer_expansion"] = build.outer.expansion
    if build.core:
        filled["core_expansion"] = build.core.expansion
    if family:
        filled |= {"outer_modulus": family.outer_modulus, "core_modulus": family.core_modulus,
                   "permanent_set": family.permanent_set, "compression": family.compression}
    elif given.get("elongation") == "linear":
        filled["permanent_set"] = 0.0
    if not build.has_core:
        filled |= dict.fromkeys(("core_area", "core_modulus", "core_expansion", "compression"), 0.0)
    return {name: value for name, value in filled.items() if not math.isnan(value)}


def _number(filled: Mapping[str, Cell], name: str, place: _Place, zero: tuple[str, ...] = _ZERO) -> float:
    """Return a number within its range, or say what is wrong with it."""
    unit, low, high = _BOUNDS[name]
    accepted = f"{low:g} to {high:g} [{unit}]" + (" or 0" if name in zero else "")
    value = filled.get(name)
    if value is None:
        raise place.error(name, "nothing", accepted + _ABSENT.get(name, ""))
    if isinstance(value, bool | str):
        raise place.error(name, repr(value), accepted)
    if not (low <= value <= high or (value == 0 and name in zero)):
        raise place.error(name, f"{value:g}", accepted)
    return float(value)


def _check_whole(numbers: Mapping[str, float], place: _Place) -> None:
    """Refuse numbers that no such conductor has: a wrong unit somewhere shows here."""
    D, m, rts, R = (numbers[name] for name in ("diameter", "mass", "rts", "resistance_20"))
    A = numbers["outer_area"] + numbers["core_area"]
    for name, value, low, high, found, accepted in (
            ("diameter", A / (math.pi / 4 * D**2), 0.5, 1.01, f"{D:.6g} m around {A:.6g} m² of wire",
             "a diameter whose circle the wires fill by half or more, and do not exceed"),
            ("mass", m / A, 2000, 9300, f"{m:.6g} kg/m for {A:.6g} m², {m / A:.0f} kg/m³",
             "a mass of 2000 to 9300 kg per m³ of wire"),
            ("resistance_20", R * A, 17e-9, 250e-9, f"{R:.6g} ohm/m, {R * A * 1e9:.3g} nohm m",
             "a resistivity of 17 to 250 nohm m of the whole area"),
            ("rts", rts / A, 20e6, 2500e6, f"{rts:.6g} N on {A:.6g} m², {rts / A / 1e6:.0f} MPa",
             "a strength of 20 to 2500 MPa of the whole area")):
        if not low < value < high:
            raise place.error(name, found, accepted)


def _heat_facts(known: Mapping[str, float], numbers: Mapping[str, float], build: _Build) -> dict[str, float]:
    """What thermal computing wants, nan where it is not known."""
    strands, core_strands = (int(known.get(name, 0)) for name in ("outer_strands", "core_strands"))
    outer, core, A_c = build.metal, build.core, numbers["core_area"]
    outer_mass = stranded_mass(numbers["outer_area"], outer.density, LAY_INCREASE.get(strands, TYPICAL_LAY_INCREASE))
    core_heat, across = (math.nan, math.nan) if A_c else (0.0, 0.0)
    if A_c and core:
        core_heat = stranded_mass(A_c, core.density, CORE_LAY_INCREASE.get(core_strands, 0.0)) * core.specific_heat
    if A_c and core_strands and "core_wire_diameter" in known:
        across = core_diameter(core_strands, known["core_wire_diameter"])
    parts = [material for material in (build.outer, core) if material] if build.outer else []
    facts = {
        "outer_wire_diameter": math.nan,
        "core_diameter": across,
        "outer_layers": LAYERS.get(strands, math.nan),
        "outer_heat": outer_mass * outer.specific_heat,
        "core_heat": core_heat,
        "maximum_temperature": min((part.maximum_temperature for part in parts), default=math.nan),
        "emergency_temperature": min((part.emergency_temperature for part in parts), default=math.nan),
    }
    return {name: known.get(name, fact) for name, fact in facts.items()}


def _compression_band(known: Mapping[str, float], numbers: Mapping[str, float], build: _Build) -> dict[str, float]:
    family, value = build.family, numbers["compression"]
    low, high = (family.compression_low, family.compression_high) if family else (0.0, GREATEST_COMPRESSION)
    if not build.has_core:
        low = high = 0.0
    return {"compression_low": min(known.get("compression_low", low), value),
            "compression_high": max(known.get("compression_high", high), value)}


def _second_expansion(numbers: Mapping[str, float], build: _Build) -> dict[str, float]:
    core = build.core
    if core is None or math.isnan(core.expansion_change):
        return {"core_expansion_above": numbers["core_expansion"], "core_expansion_change": math.inf}
    return {"core_expansion_above": core.expansion_above, "core_expansion_change": core.expansion_change}
