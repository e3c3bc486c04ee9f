"""Conductors that could be made: a design space counted out, each candidate by geometry and materials alone.

A candidate is no product. Shaped wires fill a share `f` of the ring about the core, `A_o = f pi/4 (D^2 - D_c^2)`; round
wires are the strandings of standards, whose tables give the ratio of wire diameters. The diameters are counted out by
what wires are drawn to, or in even steps of the whole.
Mass, strength and resistance follow `corridor.conductor.stranding`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache

import numpy as np

from corridor.conductor import derivation, stranding
from corridor.conductor.conductor import Conductor, conductor_from
from corridor.conductor.materials import FOLDER, families, find_material, read_table

__all__ = ["CORES", "Candidates", "Space", "builds", "candidates_of", "designation", "entry", "material_cost",
           "prototypes", "wires_of"]

#: Words that a family of conductors is named by, for each kind of aluminium and of core.
_ALUMINIUM = {"AL1": "hard-drawn aluminium", "A0": "annealed aluminium", "AT1": "thermal alloy", "AT3": "thermal alloy"}
CORES = {"ST1A": "steel", "ST6C": "steel", "20SA": "aluminium-clad steel", "INV": "invar", "MMC": "metal matrix",
         "CF": "carbon composite"}
#: Diameters of round wires that are drawn and stranded [m] (common practice, no source).
_WIRE_LEAST, _WIRE_GREATEST = 1.5e-3, 5.0e-3
#: Tables of round strandings, the first of them for even steps.
_STANDARDS = "iec_61089", "astm_b232_sizes", "en_50182_sizes"
#: Thickness of a layer of shaped wires, and steps in which wires are drawn, the finest that make no more candidates
#: than are wanted [m] (common practice, no source).
_THIN, _THICK, _DRAWN = 2.0e-3, 5.0e-3, (1e-5, 2e-5, 5e-5, 1e-4, 2e-4, 5e-4)


@dataclass(frozen=True)
class Space:
    """A design space: materials and shapes by name; (least, greatest) of `diameter`, `core_diameter` [m], `fill` [-].

    `count` is about how many candidates it is counted out in; no material is used above `hottest`, in an emergency
    above `hottest_emergency` [°C]. `makeable`: by counts of wires and diameters that wires are drawn to, not by even
    steps of the whole.
    """

    cores: tuple[str, ...]
    aluminium: tuple[str, ...]
    shapes: tuple[str, ...]
    diameter: tuple[float, float]
    core_diameter: tuple[float, float]
    fill: tuple[float, float]
    count: int
    hottest: float = np.inf
    hottest_emergency: float = np.inf
    makeable: bool = False


@dataclass(frozen=True)
class Candidates:
    """Candidates, columns of shape (candidate,), in SI as of `Conductor`; `build` is an index of `builds(space)`.

    `outer_strands` is 0 and `outer_wire` nan where wires are shaped; `fill` is nan where they are round.
    """

    build: np.ndarray
    diameter: np.ndarray
    core_diameter: np.ndarray
    outer_area: np.ndarray
    core_area: np.ndarray
    fill: np.ndarray
    outer_strands: np.ndarray
    outer_wire: np.ndarray
    core_strands: np.ndarray
    layers: np.ndarray
    mass: np.ndarray
    rts: np.ndarray
    resistance_20: np.ndarray

    def __len__(self):
        return len(self.build)

    def __getitem__(self, index: np.ndarray) -> "Candidates":
        """Return those candidates alone."""
        return Candidates(*(getattr(self, field.name)[index] for field in fields(self)))


def builds(space: Space) -> list[tuple[str, str, str]]:
    """Return the builds of a space that a family is for: tuples (family, aluminium, core)."""
    pairs = [(f"{_ALUMINIUM[outer]} on {CORES[core]}", outer, core) for core in space.cores
             for outer in space.aluminium]
    return [build for build in pairs if build[0] in families()]


def candidates_of(space: Space) -> Candidates:
    """Return the candidates of a space, perhaps none.

    The diameter, the core and the fill are counted out in even steps, as many as make about `space.count` candidates.
    """
    return _joined([part(space, index, build) for index, build in enumerate(builds(space))
                    for shape, part in _PARTS.items() if shape in space.shapes])


def _joined(parts):
    none = np.zeros(0, int)
    columns = {f.name: np.concatenate([none, *(getattr(part, f.name) for part in parts)]) for f in fields(Candidates)}
    return Candidates(**columns | {"build": columns["build"].astype(int)})


def _steps(space):
    """Values of diameter, core diameter and fill that make about the wanted number of shaped candidates."""
    each = max(space.count / max(len(builds(space)), 1), 1.0)
    fills = np.unique(np.linspace(*space.fill, 1 if space.fill[0] == space.fill[1] else 3))
    # A range that is one value leaves its share of the steps to the other.
    varied = [ends[0] < ends[1] for ends in (space.diameter, space.core_diameter)]
    side = max(int((each / len(fills)) ** (1 / max(sum(varied), 1))), 2)
    return [np.unique(np.linspace(*ends, side)) for ends in (space.diameter, space.core_diameter)], fills


def _layered(space, build):
    """Diameter, core diameter, its wires, fill and layers of what can be made of shaped wires.

    Core wires are drawn in steps of 0.05 mm, rods of fibres made in steps of 0.1 mm; two or three layers of one
    thickness lie about them (common practice, no source).
    """
    (least, greatest), rods = space.core_diameter, build[2] == "CF"
    wires = np.round(np.arange(1, 401) * (1e-4 if rods else 5e-5), 6)
    wires = wires if rods else wires[(wires >= _WIRE_LEAST) & (wires <= _WIRE_GREATEST)]
    count = np.repeat((1,) if rods else (7, 19), len(wires))
    D_c = np.concatenate([stranding.CORE_RATIO[each] * wires for each in dict.fromkeys(count.tolist())])
    known = (D_c >= least - 1e-9) & (D_c <= greatest + 1e-9)
    for step in _DRAWN:
        t = np.arange(np.ceil(_THIN / step - 1e-9), np.floor(_THICK / step + 1e-9) + 1) * step
        grid = np.meshgrid(np.flatnonzero(known), (2, 3), t, _steps(space)[1], indexing="ij")
        core, n, t, f = (v.ravel() for v in grid)
        D = D_c[core] + 2 * n * t
        kept = (D >= space.diameter[0] - 1e-9) & (D <= space.diameter[1] + 1e-9)
        if kept.sum() * max(len(builds(space)), 1) <= space.count:
            break
    return tuple(v[kept] for v in (D, D_c[core], count[core], f, n))


def _layers_made(space, index, build):
    D, D_c, count, f, layers = _layered(space, build)
    parts = [_made(build, stranding.TYPICAL_LAY_INCREASE, build=index, diameter=D[at], core_diameter=D_c[at],
                   core_area=each / stranding.CORE_RATIO[each]**2 * np.pi / 4 * D_c[at]**2, fill=f[at],
                   outer_area=f[at] * np.pi / 4 * (D[at]**2 - D_c[at]**2), outer_strands=0, outer_wire=np.nan,
                   core_strands=each, layers=layers[at])
             for each in np.unique(count).tolist() for at in (count == each,)]
    return _joined(parts)


def wires_of(candidates: Candidates, index: int) -> tuple[tuple[int, ...], float, int, float]:
    """Return the outer wires of a candidate layer by layer, the thickness of a layer [m], core wires, and their
    diameter [m].

    Round wires are six more in every layer; shaped ones about 1.13 times as wide as a layer is thick (common practice,
    no source: of layers of 8 and 14, or 12, 18 and 24, it gives these).
    """
    c = candidates[np.array([index])]
    n, count = int(c.layers[0]), int(c.core_strands[0])
    core_wire = float(c.core_diameter[0]) / stranding.CORE_RATIO[count]
    if c.outer_strands[0]:
        first = (int(c.outer_strands[0]) - 3 * n * (n - 1)) // n
        return tuple(first + 6 * i for i in range(n)), float(c.outer_wire[0]), count, core_wire
    t = float(c.diameter[0] - c.core_diameter[0]) / 2 / n
    around = np.pi * (c.core_diameter[0] + (2 * np.arange(1, n + 1) - 1) * t)
    return tuple(int(round(each / (1.13 * t))) for each in around), t, count, core_wire


def _shaped(space, index, build):
    if space.makeable:
        return _layers_made(space, index, build)
    (D, D_c), f = _steps(space)
    D, D_c, f = (grid.ravel() for grid in np.meshgrid(D, D_c, f, indexing="ij"))
    # Two layers of wires of 2 mm at least about the core.
    fits = D - D_c >= 8e-3
    D, D_c, f = D[fits], D_c[fits], f[fits]
    count = 1 if build[2] == "CF" else 7
    A_c = derivation.CORE_FILL[count] * np.pi / 4 * D_c**2
    layers = np.maximum(2, np.round((D - D_c) / 2 / 4.5e-3))
    return _made(build, stranding.TYPICAL_LAY_INCREASE, build=index, diameter=D, core_diameter=D_c, core_area=A_c,
                 fill=f, outer_area=f * np.pi / 4 * (D**2 - D_c**2), outer_strands=0, outer_wire=np.nan,
                 core_strands=count, layers=layers)


def _round(space, index, build):
    """Round wires in the strandings of the standard; none on a rod of fibres."""
    (D, _), _ = _steps(space)
    made = _joined([_drawn(space, index, build, *each) if space.makeable else _stranded(index, build, D, *each)
                    for each in _strandings(_STANDARDS if space.makeable else _STANDARDS[:1]) if build[2] != "CF"])
    least, greatest = space.core_diameter
    return made[(made.core_diameter >= least) & (made.core_diameter <= greatest) & (made.outer_wire >= _WIRE_LEAST)
                & (made.outer_wire <= _WIRE_GREATEST)]


def _drawn(space, index, build, outer, core, ratio):
    """Candidates of one stranding with wires of diameters that are drawn: outer in steps, core to 0.01 mm."""
    each = space.count / max(len(builds(space)) * len(_strandings(_STANDARDS)), 1)
    step = next((step for step in _DRAWN if (_WIRE_GREATEST - _WIRE_LEAST) / step <= each), _DRAWN[-1])
    d_o = np.round(np.arange(_WIRE_LEAST, _WIRE_GREATEST + step / 2, step), 6)
    d_c = np.round(d_o / ratio, 5)
    made = _of_wires(index, build, d_o, d_c, outer, core)
    least, greatest = space.diameter
    return made[(made.diameter >= least - 1e-9) & (made.diameter <= greatest + 1e-9)]


_PARTS = {"trapezoidal": _shaped, "round": _round}


def _stranded(index, build, D, outer, core, ratio):
    """Candidates of one stranding: `D = d_c (c + 2 n r)`, c core over its wire, n layers, r outer over core wire."""
    c, layers = stranding.CORE_RATIO[core], stranding.LAYERS[outer]
    d_c = D / (c + 2 * layers * ratio)
    return _of_wires(index, build, ratio * d_c, d_c, outer, core)


def _of_wires(index, build, d_o, d_c, outer, core):
    """Candidates of one stranding, of wires of given diameters [m]."""
    c, layers = stranding.CORE_RATIO[core], stranding.LAYERS[outer]
    D = c * d_c + 2 * layers * d_o
    return _made(build, stranding.LAY_INCREASE[outer], build=index, diameter=D, core_diameter=c * d_c, fill=np.nan,
                 outer_area=stranding.strand_area(outer, d_o), core_area=stranding.strand_area(core, d_c),
                 outer_strands=outer, outer_wire=d_o, core_strands=core, layers=layers)


@cache
def _strandings(tables=_STANDARDS[:1]):
    """Outer wires, core wires, and ratio of their diameters, of the strandings of standards, means of their rows; of
    those whose lay is known."""
    found = {}
    for row in (row for table in tables for row in read_table(FOLDER / f"{table}.csv")):
        key = row["outer_strands"], row["core_strands"]
        if key[0] in stranding.LAY_INCREASE:
            found.setdefault(key, []).append(row["outer_wire_diameter"] / row["core_wire_diameter"])
    return tuple((*key, float(np.mean(ratios))) for key, ratios in found.items())


def _made(materials, lay, **geometry):
    """Candidates of one build from their geometry [m, m²], and the increase of the outer length by its lay."""
    o, c = (find_material(name) for name in materials[1:])
    A_o, A_c = geometry["outer_area"], geometry["core_area"]
    columns = geometry | {
        "mass": stranding.mass(o, c, A_o, A_c, outer_lay=lay, core_strands=geometry["core_strands"]),
        "rts": stranding.rated_strength(o, c, A_o, A_c), "resistance_20": stranding.resistance(o, A_o, lay)}
    return Candidates(**{name: np.broadcast_to(np.asarray(column), np.shape(A_o)) for name, column in columns.items()})


def material_cost(candidates: Candidates, space: Space, prices: Mapping[str, float]) -> np.ndarray:
    """Return what the materials of a kilometre of each conductor cost, (candidate,), nan where a price is not known.

    `prices` of a kilogram, by material. Of the mass the aluminium has its area times its density and the lay that its
    resistance tells; the core has the rest.
    """
    cost = np.full(len(candidates), np.nan)
    for build, (_, outer, core) in enumerate(builds(space)):
        own, aluminium = candidates.build == build, find_material(outer)
        lay = candidates.resistance_20[own] * candidates.outer_area[own] / aluminium.resistivity
        mass = candidates.outer_area[own] * aluminium.density * lay
        cost[own] = 1000 * (mass * prices.get(outer, np.nan)
                            + (candidates.mass[own] - mass) * prices.get(core, np.nan))
    return cost


#: Digits that a conductor is told in: those of a table, so that what is written is what was computed.
_DIGITS = {"outer_area": 7, "core_area": 7, "diameter": 5, "mass": 4, "rts": -1, "resistance_20": 9, "core_diameter": 5,
           "outer_wire_diameter": 6}


def entry(candidates: Candidates, index: int, space: Space, name: str) -> dict:
    """Return a candidate as a conductor of its own: a dict of values in SI with the digits of a table.

    It is what `[[conductors]]` of a study takes, and `corridor.conductor.conductor.conductor_from`.
    """
    c = candidates[np.array([index])]
    family, outer, core = builds(space)[c.build[0]]
    numbers = {key: float(getattr(c, key)[0]) for key in ("outer_area", "core_area", "diameter", "mass", "rts",
                                                          "resistance_20", "core_diameter")}
    if np.isfinite(c.outer_wire[0]):
        numbers["outer_wire_diameter"] = float(c.outer_wire[0])
    return {"name": name, "family": family, "outer_material": outer, "core_material": core,
            **{key: round(value, _DIGITS[key]) for key, value in numbers.items()}, "outer_layers": int(c.layers[0])}


def designation(candidates: Candidates, index: int, space: Space) -> str:
    """Return a short name of a geometry: diameter, aluminium (TW: trapezoidal wires), core and its diameter [mm]."""
    c = candidates[np.array([index])]
    _, outer, core = builds(space)[c.build[0]]
    shape = "" if c.outer_strands[0] else "TW"
    return f"{c.diameter[0] * 1e3:.1f}-{outer}{shape}/{core}-{c.core_diameter[0] * 1e3:.1f}"


def prototypes(space: Space) -> list[Conductor]:
    """Return one conductor of each build of a space, of no size in particular: its materials, law and limits."""
    return [conductor_from({"name": "prototype", "family": family, "outer_material": outer, "core_material": core,
                            "outer_area": 300e-6, "core_area": 50e-6, "diameter": 0.023, "mass": 1.1, "rts": 1e5,
                            "resistance_20": 1e-4}) for family, outer, core in builds(space)]
