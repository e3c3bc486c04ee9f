"""How a conductor stretches for which no curves were measured: an estimate from its parts, with its doubt.

Two charts of hard-drawn aluminium were published with their coefficients: the aluminium of 26 wires over 7 of steel,
softer at first since its layers bed down on the core, and 37 wires of aluminium alone. On the area of the aluminium
they are two samples g_1, g_2 of one thing, and the estimate for any other stranding is their mean. With d = g_1 - g_2
the standard deviation that two samples tell is |d|/sqrt(2); the band is twice as far out as the samples are, `mean - d`
to `mean + d`, 1.4 of these.

A layer of wires with the lay increase k is softer by `(1 + k)^-3`, as the cube of the cosine of its lay angle, and the
samples are scaled by that. Another temper or alloy is taken to have, at an equal share of its strength, the strain
beyond the elastic one that hard-drawn aluminium has. With r the strength and e the modulus of its wire over those of
hard-drawn aluminium and E the final modulus, creep that goes with stress by 1/c does by `1/E + (1/c - e/E)/r`, and the
curve is `f(m) = r g(k m)`, with the k that is right where g has 0.3 % of strain. A core of steel follows its initial
modulus, 0.962 of the final one in the first chart; other cores are linear.
"""

from collections.abc import Mapping

from corridor.conductor.curves import NO_CURVE, Coefficients, Creep, CurveSet, built_in, yielding
from corridor.conductor.materials import Cell, Material, find_material
from corridor.conductor.stranding import LAY_INCREASE, TYPICAL_LAY_INCREASE

__all__ = ["ESTIMATED", "STANDARD_CURVES", "curves_of", "estimate"]

#: The law of elongation by this estimate.
ESTIMATED = "estimated"
#: The measured sets that conductors have without being asked, by materials and numbers of wires.
STANDARD_CURVES: dict[tuple[Cell, ...], str] = {
    ("AL1", "ST1A", 26, 7): "aluminium on steel 26/7",
    ("AL1", None, 37, 0): "aluminium 37",
}
#: The charts of aluminium, the share of it in the area their stress is on, and their lay increase.
_SAMPLES = (("aluminium on steel 26/7", 1 - 0.13999, LAY_INCREASE[26]), ("aluminium 37", 1.0, TYPICAL_LAY_INCREASE))
#: Materials of cores that follow an initial modulus of their own.
_STEEL = ("ST1A", "ST6C", "20SA")
#: Maximum strain up to which every curve of the band rises [-].
_END = 0.40e-2
#: Strain of the samples at which other alloys are alike [-].
_LIKE = 0.30e-2


def curves_of(law: str, sets: Mapping[str, CurveSet], outer: Material, core: Material | None, strands: int,
              outer_modulus: float, core_modulus: float) -> tuple[CurveSet | None, tuple[CurveSet, ...]]:
    """Return the curves of a law, None for a linear one, and those at the ends of the band where it is an estimate.

    `sets` by the names that a law may be; the rest as in `estimate`.
    """
    if law == "annealed":
        return yielding(law, outer.yield_stress, outer.hardening, outer_modulus), ()
    if law != ESTIMATED:
        return sets.get(law), ()
    made = [estimate(outer, core, strands, outer_modulus, core_modulus, side) for side in (0.0, 1.0, -1.0)]
    return made[0], tuple(made[1:])


def estimate(outer: Material, core: Material | None, strands: int, outer_modulus: float, core_modulus: float,
             side: float = 0.0) -> CurveSet:
    """Return estimated curves, each part's stress on its own area.

    Parameters
    ----------
    outer : Material
    core : Material or None
    strands : int
        Of the outer part; 0 where their number is not known.
    outer_modulus, core_modulus : float
        Final ones [Pa].
    side : float
        0 for the estimate, 1 for the soft end of its band (more set), -1 for the stiff one.
    """
    hard = find_material("AL1")
    e, r = outer.modulus / hard.modulus, outer.rated_stress / hard.rated_stress
    lay = (1 + LAY_INCREASE.get(strands, TYPICAL_LAY_INCREASE)) ** -3
    samples = [(built_in()[name], lay * (1 + k) ** 3 / share) for name, share, k in _SAMPLES]
    curve = _between([_times(each.outer, factor) for each, factor in samples], side)
    stress = sum(c * _LIKE**k for k, c in enumerate(curve))
    faster = _LIKE / (_LIKE + stress * (r - e) / outer_modulus)
    curve = tuple(r * faster**k * c for k, c in enumerate(curve))
    steel = core is not None and core.material in _STEEL
    first = built_in()[_SAMPLES[0][0]]
    core_curve = (0.0, first.core[1] / first.core_final * core_modulus, 0.0, 0.0, 0.0) if steel else NO_CURVE
    ages = []
    for some in zip(*(each.creep for each, _ in samples), strict=True):
        c = _between([_times(age.outer, factor) for age, (_, factor) in zip(some, samples, strict=True)], side)[1]
        slope = 1 / (1 / outer_modulus + (1 / c - e / outer_modulus) / r)
        ages.append(Creep(some[0].years, (0.0, slope, 0.0, 0.0, 0.0), core_curve))
    return CurveSet(ESTIMATED, curve, core_curve, outer_modulus, core_modulus, _END / faster, float("inf"), tuple(ages),
                    " and ".join(f"{name}: {built_in()[name].source}" for name, *_ in _SAMPLES), "estimated", True)


def _times(curve: Coefficients, factor: float) -> Coefficients:
    return tuple(factor * c for c in curve)


def _between(samples: list[Coefficients], side: float) -> Coefficients:
    """Mean of two samples, moved by their difference on a side."""
    return tuple((a + b) / 2 + side * (a - b) for a, b in zip(*samples, strict=True))
