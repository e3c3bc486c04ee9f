"""Doubts about wires: what a conductor weighs, bears and conducts against its areas and materials, how it is strung."""

import math

from corridor.conductor import stranding
from corridor.conductor.materials import find_family, find_material
from corridor.constants import GRAVITY
from corridor.inspection.doubt import COMMON, SERIOUS, Doubt, Kind

__all__ = ["KINDS", "conductors", "stringing", "tensions"]

_MATERIALS = "materials of the catalogue (docs/conductors.md); all its conductors are within {}"
_SETTLE = 'write the unit ("1628 kg/km"), or correct the number by the data sheet'

MASS = Kind("conductor-mass", SERIOUS, "the mass of a conductor does not follow from its areas",
            "lb per 1,000 ft written as kg/km, mass with drum, areas of another conductor",
            "less than 0.93 or more than 1.08 times the areas times the densities of the parts, with their lay",
            _MATERIALS.format("0.99 and 1.02"), _SETTLE)
RESISTANCE = Kind("conductor-resistance", SERIOUS, "the resistance of a conductor does not follow from its area",
                  "ohms per mile or per 1,000 ft, resistance at another temperature or for alternating current",
                  "less than 0.94 or more than 1.06 times the resistivity over the area, with its lay, where a core "
                  "may conduct its share", _MATERIALS.format("0.97 and 1.01"), _SETTLE)
STRENGTH = Kind("conductor-strength", SERIOUS, "the strength of a conductor does not follow from its areas",
                "kgf or lbf written as N, the strength of another conductor",
                "less than 0.8 or more than 1.25 times the areas times the stresses of the parts",
                _MATERIALS.format("0.89 and 1.15"), _SETTLE)
DIAMETER = Kind("conductor-diameter", SERIOUS, "the diameter of a conductor does not fit its areas",
                "areas of the aluminium alone, kcmil or inches turned wrong, another conductor",
                "wires fill less than 0.70 (of an optical ground wire 0.50) or more than 0.97 of its circle",
                _MATERIALS.format("0.74 and 0.94"), _SETTLE)
ELASTIC = Kind("conductor-elasticity", SERIOUS, "moduli or expansions of a conductor are unlike its parts",
               "psi written as Pa, expansion per °F, modulus of the whole conductor for that of a part",
               "outer modulus beyond 45 to 75 GPa, core modulus beyond 60 to 220 GPa, expansion of the outer part "
               "beyond 20 to 25 (shield wires and those of other lines, of steel: 210 GPa, 11), of the core above 24 "
               "millionths per K; or 15 % off the family of the conductor",
               "materials of the catalogue (docs/conductors.md)", _SETTLE)
STRINGING = Kind("stringing-unusual", SERIOUS, "a wire is strung unlike wires are",
                 "kN, kgf or lbf written as N, a tension of a bundle for that of one wire, a share of another strength",
                 "bare limits that leave less than 5 % or more than 33 % of rated strength, or a catenary constant "
                 "below 300 m or above 3,500 m; limits in loaded cases that all are above 80 %",
                 "everyday tensions of 10 to 25 % are usual: " + COMMON,
                 "write the unit of the limit, or correct it; accept it where the wire hangs so")
MEASURED = Kind("tension-unusual", SERIOUS, "a tension that was measured, or that of another line, is unlike such are",
                "kN, kgf or lbf written as N, a tension of a bundle, a sag in feet",
                "less than 3 % or more than 45 % of rated strength, or a catenary constant below 250 m or above "
                "3,500 m",
                COMMON, "write the unit, or correct the measurement")
KINDS = (MASS, RESISTANCE, STRENGTH, DIAMETER, ELASTIC, STRINGING, MEASURED)

#: Of parts whose material is not known: density [kg/m³], resistivity [ohm m], stress that counts in strength [Pa].
_OUTER = ((2680.0, 2720.0), (27.3e-9, 34e-9), (50e6, 330e6))
#: The same of shield wires and of other lines, which may be of steel or copper.
_ANY = ((2680.0, 8940.0), (16.8e-9, 200e-9), (50e6, 1770e6))
_CORE = ((1500.0, 8000.0), (20e-9, math.inf), (900e6, 2600e6))
_OPTICAL = "optical ground wire"
#: Increase of length by stranding, least and greatest.
_LAY = 1.0, 1.03


def conductors(evidence):
    """Yield doubts about what conductors are."""
    study = evidence.inputs.study
    phases = [option.wiring.conductor for option in evidence.inputs.options]
    others = [evidence.inputs.shield.conductor] if evidence.inputs.shield else []
    others += [hanging.conductor for hanging in evidence.inputs.others.values()]
    own = {entry.name for entry in study.conductors}
    unknown = {each.name: _ANY for each in others} | {each.name: _OUTER for each in phases}
    for conductor in {each.name: each for each in (*others, *phases)}.values():
        file = evidence.files["study"] if conductor.name in own else "catalogue"
        of_areas, elastic = (look(conductor, unknown[conductor.name]) for look in (_of_areas, _elastic))
        for kind, found, expected in (*of_areas, *_of_diameter(conductor), *elastic):
            yield Doubt(kind, file, conductor.name, found, expected)


def _parts(conductor, outer):
    """Range of density, resistivity and stress of each part; `outer` of an outer one whose material is not known."""
    ranges = []
    for name, unknown in ((conductor.outer_material, outer), (conductor.core_material, _CORE)):
        if not name:
            ranges.append(unknown)
            continue
        m = find_material(name)
        strong = (m.rated_stress, m.rated_stress if math.isnan(m.strength) else max(m.strength, m.rated_stress))
        R = m.resistivity if m.resistivity > 0 else math.inf
        ranges.append(((m.density,) * 2, (R, R), strong))
    return ranges


def _of_areas(conductor, unknown):
    """Mass, resistance and strength that follow from the areas."""
    outer, core = _parts(conductor, unknown)
    A, A_c = conductor.outer_area, conductor.core_area
    low, high = (stranding.stranded_mass(A, outer[0][i], _LAY[i] - 1) + A_c * core[0][i] for i in (0, 1))
    yield from _within(MASS, conductor.mass, 0.93 * low, 1.08 * high, "kg/m")
    low, high = outer[1][0] * _LAY[0] / A, outer[1][1] * _LAY[1] / A
    # A core conducts at most as its own metal does, in parallel.
    low = low if A_c == 0 else 1 / (1 / low + A_c / core[1][0])
    yield from _within(RESISTANCE, conductor.resistance_20 * 1e3, 0.94e3 * low, 1.06e3 * high, "ohm/km")
    low, high = (A * outer[2][i] + A_c * core[2][i] for i in (0, 1))
    yield from _within(STRENGTH, conductor.rts / 1e3, 0.8e-3 * low, 1.25e-3 * high, "kN")


def _of_diameter(conductor):
    A = conductor.outer_area + conductor.core_area
    fill = A / (math.pi / 4 * conductor.diameter**2)
    solid = conductor.core_area == 0 and fill > 0.97
    # Tubes of fibres fill the rest.
    least = 0.50 if conductor.family == _OPTICAL else 0.70
    yield from () if solid else _within(DIAMETER, fill, least, 0.97, "of its circle")


def _elastic(conductor, unknown):
    family = find_family(conductor.family) if conductor.family else None
    names = conductor.outer_material, conductor.core_material
    outer, core = (find_material(name) if name else None for name in names)
    stiff, still = (75, 20) if unknown is _OUTER else (210, 11)
    asked = [("outer_modulus", 1e9, "GPa", 45, stiff, family), ("outer_expansion", 1e-6, "ppm/K", still, 25, outer)]
    if conductor.core_area:
        asked += [("core_modulus", 1e9, "GPa", 60, 220, family), ("core_expansion", 1e-6, "ppm/K", 0.3, 24, core)]
    for name, unit, word, low, high, usual in asked:
        typical = math.nan if usual is None else getattr(usual, name, getattr(usual, "expansion", math.nan))
        if typical > 0:
            low, high = 0.85 * typical / unit, 1.15 * typical / unit
        for kind, found, expected in _within(ELASTIC, getattr(conductor, name) / unit, low, high, word):
            yield kind, f"{name} {found}", expected


def _within(kind, value, low, high, unit):
    if not low <= value <= high:
        yield kind, f"{value:.4g} {unit}", f"{low:.4g} to {high:.4g} {unit}"


def stringing(evidence):
    """Yield doubts about the limits that options and the shield wire are strung to."""
    wires = [(option.name, option.wiring) for option in evidence.inputs.options]
    wires += [("shield_wire", evidence.inputs.shield)] if evidence.inputs.shield else []
    loaded = {case.name for case in evidence.inputs.cases if case.icy or case.wind}
    for name, wiring in wires:
        bare, heavy = [], []
        for limit in wiring.stringing:
            if limit.kind != "existing":
                (heavy if limit.case in loaded else bare).append(_tension(limit, wiring.conductor))
        rts, w = wiring.conductor.rts, wiring.conductor.mass * GRAVITY
        if bare and not (0.05 <= min(bare) / rts <= 0.33 and 300 <= min(bare) / w <= 3500):
            yield Doubt(STRINGING, evidence.files["study"], name,
                        f"{min(bare) / 1e3:.2f} kN bare: {min(bare) / rts:.0%} of strength, a catenary constant of "
                        f"{min(bare) / w:.0f} m", "5 to 33 % of strength, 300 to 3,500 m")
        if heavy and min(heavy) / rts > 0.8:
            yield Doubt(STRINGING, evidence.files["study"], name, f"{min(heavy) / rts:.0%} of strength in loaded cases",
                        "80 % at most")


def _tension(limit, conductor):
    """Tension [N] that a limit comes to; a catenary constant is one of horizontal tension, a little less."""
    return limit.value * {"share": conductor.rts, "tension": 1.0, "constant": conductor.mass * GRAVITY}[limit.kind]


def tensions(evidence):
    """Yield doubts about tensions that were measured, and those of other lines."""
    rows = []
    for option in evidence.inputs.options:
        w = option.wiring.conductor.mass * GRAVITY
        given = next((o.measured for o in evidence.inputs.study.options if o.name == option.name), None)
        rows += [(given, f"{each.line} {each.section}".strip(), option.wiring.conductor,
                  each.constant * w if math.isnan(each.horizontal_tension) else each.horizontal_tension)
                 for each in option.wiring.measured]
    rows += [(evidence.files["study"], name, hanging.conductor, hanging.tension)
             for name, hanging in evidence.inputs.others.items()]
    for file, feature, conductor, H in rows:
        share, constant = H / conductor.rts, H / (conductor.mass * GRAVITY)
        if not (0.03 <= share <= 0.45 and 250 <= constant <= 3500):
            yield Doubt(MEASURED, file or evidence.files["study"], feature,
                        f"{H / 1e3:.2f} kN: {share:.1%} of strength, a catenary constant of {constant:.0f} m",
                        "3 to 45 % of strength, 250 to 3,500 m")
