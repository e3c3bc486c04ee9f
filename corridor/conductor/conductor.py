"""A conductor: two parts, an outer one of aluminium and a core, and what each of them does.

`Conductor` is a fact; `conductor_from` makes one of what a table or a study says and fills the
rest from the family and the materials. What fills a gap is an estimate for the build, not a
measurement of the wire.
"""

import math
from dataclasses import dataclass, fields

from corridor.conductor.curves import CurveSet, built_in
from corridor.conductor.geometry_rules import (
    CORE_LAY_INCREASE,
    LAY_INCREASE,
    LAYERS,
    TYPICAL_LAY_INCREASE,
    core_diameter,
    stranded_mass,
)
from corridor.conductor.laws import choose_law, elongation_of
from corridor.conductor.materials import find_family, find_material
from corridor.errors import InputError, nearest

__all__ = ["Conductor", "conductor_from"]

@dataclass(frozen=True)
class Conductor:
    """One conductor, in SI.

    Attributes
    ----------
    name, family : str
    outer_area, core_area : float
        Metallic areas [m2]; the core's is 0 in a homogeneous conductor.
    diameter : float
        Over the outer wires [m].
    mass : float
        Without grease unless the source says so [kg/m].
    rts : float
        Rated tensile strength [N].
    resistance_20 : float
        Dc, at 20 degC [ohm/m].
    temperature_coefficient : float
        Of resistance, at 20 degC [1/K].
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
        What the materials bear continuously and for a short time [degC]; nan where the family
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
        Expansion of the core [1/K] past the temperature [degC] at which it changes; inf where it does not.
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
    set_given: bool = False
    compression_low: float = math.nan
    compression_high: float = math.nan
    core_expansion_above: float = math.nan
    core_expansion_change: float = math.inf


_TEXTS = ("family", "elongation", "outer_material", "core_material", "source", "confidence")
_STRANDS = ("outer_strands", "core_strands", "core_wire_diameter")
_COMPUTED = ("curves", "set_given", "core_expansion_above", "core_expansion_change")
_KNOWN = (*(f.name for f in fields(Conductor) if f.name not in _COMPUTED), *_STRANDS, "alias")


def conductor_from(values, where=None, file=None, *, curves=None):
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
    text = {name: str(given.get(name, "")) for name in _TEXTS}
    core_less = _has_no_core(given, text, place)
    sets = {**built_in(), **(curves or {})}
    _fill_names(text, core_less, place)
    choose_law(text, given, core_less, sets, place)
    filled = {**_defaults(text, core_less, given), **given}
    zero = _ZERO + (_ZERO_WITHOUT_CORE if core_less else ())
    numbers = {name: _number(filled, name, place, zero) for name in _REQUIRED}
    for name in (name for name in _OPTIONAL if name in given):
        _number(given, name, place)
    _check_whole(numbers, place)
    return Conductor(
        name=given["name"],
        **text,
        **numbers,
        **_details(filled, numbers, text),
        **elongation_of(text, given, numbers, core_less, sets),
        derived=bool(given.get("derived", False)),
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
    file: str | None

    def key(self, name):
        return f"{self.where}.{name}" if self.where else name

    def error(self, name, found, accepted, hint=None):
        return InputError(self.file, self.key(name), found, accepted, hint)


def _given(values, place):
    """What stands in `values`, with every name known and a name for the conductor."""
    for key in values:
        if key not in _KNOWN:
            raise place.error(
                key, "an unknown name", ", ".join(sorted(_KNOWN)), nearest(key, _KNOWN)
            )
    given = {key: value for key, value in values.items() if value is not None and value != ""}
    if "name" not in given:
        raise place.error("name", "nothing", "the name of the conductor")
    return given


def _has_no_core(given, text, place):
    if "core_area" in given:
        return _number(given, "core_area", place) == 0
    return (
        bool(text["family"])
        and not find_family(
            text["family"], where=place.key("family"), file=place.file
        ).core_material
    )


def _fill_names(text, core_less, place):
    """Complete the names of materials and law in `text`, and refuse those not known."""
    if text["family"]:
        family = find_family(text["family"], where=place.key("family"), file=place.file)
        text["outer_material"] = text["outer_material"] or family.outer_material
        text["core_material"] = text["core_material"] or family.core_material
    if core_less:
        text["core_material"] = ""
    for key in ("outer_material", "core_material"):
        if text[key]:
            find_material(text[key], where=place.key(key), file=place.file)


def _defaults(text, core_less, given):
    """Values that family, materials and the absence of a core give; nan entries are left out."""
    outer = find_material(text["outer_material"] or "AL1")
    filled = {"temperature_coefficient": outer.temperature_coefficient}
    if text["outer_material"]:
        filled["outer_expansion"] = outer.expansion
    if text["core_material"]:
        filled["core_expansion"] = find_material(text["core_material"]).expansion
    if text["family"]:
        family = find_family(text["family"])
        for name in ("outer_modulus", "core_modulus", "permanent_set", "compression"):
            filled[name] = getattr(family, name)
    elif given.get("elongation") == "linear":
        filled["permanent_set"] = 0.0
    if core_less:
        filled.update(core_area=0.0, core_modulus=0.0, core_expansion=0.0, compression=0.0)
    return {name: value for name, value in filled.items() if not math.isnan(value)}


def _number(filled, name, place, zero=_ZERO):
    """Return a number within its range, or say what is wrong with it."""
    unit, low, high = _BOUNDS[name]
    accepted = f"{low:g} to {high:g} [{unit}]" + (" or 0" if name in zero else "")
    if name not in filled:
        raise place.error(name, "nothing", accepted + _ABSENT.get(name, ""))
    value = filled[name]
    if isinstance(value, (bool, str)):
        raise place.error(name, repr(value), accepted)
    if not (low <= value <= high or (value == 0 and name in zero)):
        raise place.error(name, f"{value:g}", accepted)
    return float(value)


def _check_whole(numbers, place):
    """Refuse numbers that no such conductor has: a wrong unit somewhere shows here."""
    area = numbers["outer_area"] + numbers["core_area"]
    circle = math.pi / 4 * numbers["diameter"] ** 2
    if not 0.5 * circle < area < 1.01 * circle:
        raise place.error(
            "diameter",
            f"{numbers['diameter']:.6g} m around {area:.6g} m2 of wire",
            "a diameter whose circle the wires fill by half or more, and do not exceed",
        )
    density = numbers["mass"] / area
    if not 2000 < density < 9000:
        raise place.error(
            "mass",
            f"{numbers['mass']:.6g} kg/m for {area:.6g} m2, {density:.0f} kg/m3",
            "a mass of 2000 to 9000 kg per m3 of wire",
        )
    resistivity = numbers["resistance_20"] * area
    if not 20e-9 < resistivity < 250e-9:
        raise place.error(
            "resistance_20",
            f"{numbers['resistance_20']:.6g} ohm/m, {resistivity * 1e9:.3g} nohm m",
            "a resistivity of 20 to 250 nohm m of the whole area",
        )
    stress = numbers["rts"] / area
    if not 20e6 < stress < 2500e6:
        raise place.error(
            "rts",
            f"{numbers['rts']:.6g} N on {area:.6g} m2, {stress / 1e6:.0f} MPa",
            "a strength of 20 to 2500 MPa of the whole area",
        )


def _details(filled, numbers, text):
    """What thermal computing wants, nan where it is not known."""
    outer = find_material(text["outer_material"] or "AL1")
    core = find_material(text["core_material"]) if text["core_material"] else None
    strands, nan = filled.get("outer_strands"), math.nan
    outer_lay = LAY_INCREASE.get(strands, TYPICAL_LAY_INCREASE)
    core_lay = CORE_LAY_INCREASE.get(filled.get("core_strands"), 0.0)
    limits = {
        name: min((getattr(m, name) for m in (outer, core) if m), default=nan)
        if text["outer_material"]
        else nan
        for name in ("maximum_temperature", "emergency_temperature")
    }
    details = {
        "outer_wire_diameter": nan,
        "core_diameter": _core_diameter(filled, numbers),
        "outer_layers": LAYERS.get(strands, nan),
        "outer_heat": stranded_mass(numbers["outer_area"], outer.density, outer_lay)
        * outer.specific_heat,
        "core_heat": _core_heat(numbers["core_area"], core, core_lay),
        **limits,
    }
    return {name: filled.get(name, default) for name, default in details.items()}


def _core_diameter(filled, numbers):
    if numbers["core_area"] == 0:
        return 0.0
    if filled.get("core_strands") and "core_wire_diameter" in filled:
        return core_diameter(filled["core_strands"], filled["core_wire_diameter"])
    return math.nan


def _core_heat(area, core, lay):
    if area == 0:
        return 0.0
    return stranded_mass(area, core.density, lay) * core.specific_heat if core else math.nan
