"""What is known of a corridor before anything is computed: frozen columns, one array per fact.

All positions are in the working frame: easting and northing [m] on its grid, elevation [m] above the
datum of the ground raster. Lengths along and across the line are ground lengths [m].
"""

from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from corridor.arrays import Array, Booleans, Integers, Texts
from corridor.conductor.conductor import Conductor

__all__ = [
    "Case",
    "Framings",
    "LayerRead",
    "Limit",
    "Measured",
    "Obstacles",
    "Option",
    "OtherState",
    "OwnWires",
    "RightOfWay",
    "Structures",
    "Tightened",
    "Wiring",
]

#: What a structure does to the wires it carries.
ROLES = ("suspension", "strain", "terminal")
#: How a wire hangs at a structure.
STRINGS = ("suspension", "strain", "link", "post", "vee")
#: What a wire is for.
KINDS = ("phase", "shield")


@dataclass(frozen=True)
class Structures:
    """The structures of every line, sorted by line and order; columns of shape (structure,).

    `base_elevation` [m] is nan where the ground raster shall give it; `crossarm_azimuth` [deg, grid azimuth of
    the crossarm, clockwise from grid north] is nan where the crossarm bisects the line angle.
    """

    line: Texts
    structure: Texts
    order: Integers
    role: Texts
    framing: Texts
    easting: Array
    northing: Array
    base_elevation: Array
    crossarm_azimuth: Array

    def __len__(self) -> int:
        return len(self.structure)

    def lines(self, tail: Integers, head: Integers) -> Texts:
        """Return the straight lines in plan between structures, `tail` and `head` their indices."""
        place = np.stack([self.easting, self.northing], axis=-1)
        return shapely.linestrings(np.stack([place[tail], place[head]], axis=1))


@dataclass(frozen=True)
class Framings:
    """Where wires hang on each kind of structure; columns of shape (framing x wire,).

    `offset` [m] is right of the line looking along it; `height` [m] above the base, of the point where the
    string hangs; `string_length` [m], of a `vee` how far below that point it holds the wire; `string_mass` [kg], of
    both arms of a `vee`.
    Where it is `strain` the wire ends there; a `link` is a strain string of that length and mass between there and
    the wire.
    `stiffness` [N/m] of posts along the line, inf where the wire is held; `string_area` [m²], projected, on which the
    wind blows; None stands for that of all: inf and 0.
    `window_left`, `window_right`, `window_below`, `window_above` [m] from where the string hangs to the body of the
    structure on that side, `swing_limit` [deg] of the string, `vee_angle` [deg] between both arms of a `vee`; nan, or
    None for all, where it is not given.
    """

    framing: Texts
    wire: Texts
    kind: Texts
    circuit: Texts
    offset: Array
    height: Array
    string: Texts
    string_length: Array
    string_mass: Array
    stiffness: Array | None = None
    string_area: Array | None = None
    window_left: Array | None = None
    window_right: Array | None = None
    window_below: Array | None = None
    window_above: Array | None = None
    swing_limit: Array | None = None
    vee_angle: Array | None = None


@dataclass(frozen=True)
class Obstacles:
    """What the wires may come too near; columns of shape (obstacle,).

    `geometry` holds shapely geometries in the working frame, points, lines or polygons (single or multi).
    `absolute` is True where the geometry's own Z [m] is the top; else the top is `height` [m] above the ground
    (nan: unknown, so not assessed). `voltage` [V, line to line] is nan where the object is not a line.
    `radius` [m] widens points (a crown) and lines (half the width of a road).
    `fault` is "" or the reason why the feature cannot be assessed at all (empty, null, Z of -9999 ...).
    `falls` tells what can fall over about its foot; None: nothing can. `states` holds an OtherState for wires of other
    lines that have one, else None; None: nothing has.
    """

    layer: Texts
    obstacle: Texts
    category: Texts
    geometry: Texts
    absolute: Booleans
    height: Array
    voltage: Array
    radius: Array
    fault: Texts
    falls: Booleans | None = None
    states: Texts | None = None

    def __len__(self) -> int:
        return len(self.obstacle)


@dataclass(frozen=True)
class LayerRead:
    """What a layer of obstacles held: numbers of `features`, and of those `near` enough to the line to be kept.

    `bounds` least easting and northing, greatest easting and northing of all of them [m]; `swapped` whether they would
    be near with their axes exchanged; `without_unit` names and voltages [V] of those kept where these are numbers
    without unit. `left_out` columns and values for which the study leaves rows out, with their numbers: these are no
    features here; `counted` numbers of the rows that the study does not leave out, where it leaves out any; `several`
    number of those near that hold more than one voltage.
    """

    name: str
    features: int
    near: int
    bounds: Array
    swapped: bool
    without_unit: tuple[tuple[str, float], ...] = ()
    left_out: Counter[tuple[str, str]] = field(default_factory=Counter)
    several: int = 0
    counted: Integers | None = None


@dataclass(frozen=True)
class OtherState:
    """How a wire of another line hangs.

    `start`, `end` (state, 3) on the grid [m], `length` (state,) ground length between them [m] and `constant` (state,)
    of its catenary [m] in each of its states; `below`, `above` numbers of the states that count where it is below our
    wires, and above them, for each case of the study; None: it is as surveyed. It may be up to `movement` [m] off: a
    survey in an unknown state, or a bundle about its middle.
    `told_below`, `told_above` the same in words, for each case.
    """

    start: Array | None
    end: Array | None
    length: Array | None
    constant: Array | None
    below: tuple[Integers | list[int], ...] | None
    above: tuple[Integers | list[int], ...] | None
    told_below: tuple[str, ...]
    told_above: tuple[str, ...]
    movement: float = 0.0


@dataclass(frozen=True)
class RightOfWay:
    """The strip the line may use: a half width [m] about the line, or one (multi)polygon; else both None."""

    half_width: float | None = None
    polygon: object | None = None


@dataclass(frozen=True)
class OwnWires:
    """That own wires shall be compared with each other; `galloping` "no", "single", "double" or "both" loops."""

    galloping: str = "no"


@dataclass(frozen=True)
class Case:
    """A state of weather and load in which wires are looked at.

    `temperature` [°C] is a number, or "maximum" or "emergency" for those of the option; `ice` [m] radial, or instead
    `ice_weight` [N/m] and `ice_weight_per_diameter` [N/m²], which times the diameter of the bare wire is added to it;
    `ice_density` [kg/m³]; `wind` [Pa] on the projected area; `condition` "initial" or "final";
    `checks` a subset of ("vertical", "horizontal", "tension"). `ice_spans` "all", or "odd" or "even" places within each
    section, the first being odd, or "each" or "others": the span that is looked at alone, or all others; `ice_on` names
    of the only spans with ice; `ice_off_wire` a wire that dropped it; `ice_elsewhere` [m] on what is left out. `broken`
    "back" or "ahead": the wire is broken in the span before or after that looked at, None: nowhere. `constant` [N/m] is
    added to the resultant where tension is asked for, never for clearance. `district` is the name of the load district
    that the case is of, "" of none. `shield` is the state of shield wires where they are in another: a case of the same
    name, condition, wind and checks; None, where they are in this one.
    """

    name: str
    temperature: float | str
    condition: str = "final"
    ice: float = 0.0
    ice_density: float = 913.0
    wind: float = 0.0
    checks: tuple[str, ...] = ("vertical", "tension")
    ice_spans: str = "all"
    ice_on: tuple[str, ...] = ()
    ice_off_wire: str | None = None
    ice_elsewhere: float = 0.0
    constant: float = 0.0
    district: str = ""
    shield: "Case | None" = None
    broken: str | None = None
    ice_weight: float = 0.0
    ice_weight_per_diameter: float = 0.0

    @property
    def uneven(self) -> bool:
        """Whether spans of a section, or wires of a kind, are not all in one state: by their ice, or by one broken."""
        own = self.ice_spans != "all" or bool(self.ice_on) or self.ice_off_wire is not None or self.broken is not None
        return own or (self.shield is not None and self.shield.uneven)

    @property
    def by_span(self) -> bool:
        """Whether the state of a section is another for each of its spans that is looked at."""
        own = self.ice_spans in ("each", "others") or self.broken is not None
        return own or (self.shield is not None and self.shield.by_span)

    @property
    def break_step(self) -> int:
        """How many spans after the one that is looked at the wire is broken: 1, -1 for before, 0 for nowhere."""
        return {None: 0, "back": -1, "ahead": 1}[self.broken]

    @property
    def ordinary(self) -> bool:
        """Whether wires are bare, whole and in still air."""
        return not self.icy and not self.wind and self.broken is None

    @property
    def icy(self) -> bool:
        """Whether wires carry ice in this state, by whatever it is given."""
        return self.ice > 0 or self.by_weight

    @property
    def by_weight(self) -> bool:
        """Whether the ice is given by its weight."""
        return self.ice_weight > 0 or self.ice_weight_per_diameter > 0

    @property
    def ice_told(self) -> str:
        """The ice in words."""
        if not self.by_weight:
            return f"{self.ice * 1e3:g} mm of ice"
        parts = [f"{self.ice_weight:g} N/m"] * (self.ice_weight > 0)
        parts += [f"{self.ice_weight_per_diameter / 1e3:g} N/m per mm of diameter"] * (self.ice_weight_per_diameter > 0)
        return f"{' and '.join(parts)} of ice of {self.ice_density:g} kg/m³"

    @property
    def iced(self) -> bool:
        """Whether any wires carry ice."""
        return self.icy or (self.shield is not None and self.shield.icy)

    def of(self, kind: str) -> "Case":
        """Return the state that wires of a kind are in, "phase" or "shield"."""
        return self.shield if kind == "shield" and self.shield is not None else self

    def without_ice(self) -> "Case":
        """Return the case with all wires bare."""
        return replace(self, ice=0.0, ice_weight=0.0, ice_weight_per_diameter=0.0,
                       shield=None if self.shield is None else self.shield.without_ice())

    def unbroken(self) -> "Case":
        """Return the case with all wires whole."""
        return replace(self, broken=None, shield=None if self.shield is None else self.shield.unbroken())


@dataclass(frozen=True)
class Limit:
    """A stringing limit: `kind` "tension" [N], "share" of the rated tensile strength [-] or "constant" [m].

    It holds in a named case, or in the bare wire without wind at `temperature` [°C]. Of the kind "existing" the
    bound is what the existing wire is tensioned to, in the same case and condition; `value` is a factor.
    """

    text: str
    kind: str
    value: float
    temperature: float | None
    case: str | None
    condition: str


@dataclass(frozen=True)
class Measured:
    """What was measured of the wire in one section, bare: it hangs final with this tension, or, where it is `initial`,
    was strung to it and all that years and loads will do to it is to come.

    `line` "" stands for every line; `temperature` [°C]; `horizontal_tension` [N], across the load, or else nan and
    the catenary `constant` [m]; `slant` of the load, wind over weight [-].
    """

    line: str
    section: str
    temperature: float
    horizontal_tension: float
    constant: float
    slant: float = 0.0
    initial: bool = False


@dataclass(frozen=True)
class Tightened:
    """A section that is strung tauter than its limits say, by a share of each [-]; `line` "" stands for every line."""

    line: str
    section: str
    share: float


@dataclass(frozen=True)
class Wiring:
    """A conductor and how it is strung; temperatures [°C], `emergency_temperature` None where there is none.

    `everyday_temperature` is that of the years in which the wire creeps, `age` [years] their number;
    `stringing_temperature` that of the day it is strung, on which it is tensioned to `pretension` [N] (0: it is not)
    before it is sagged. `measured` holds the sections whose tension is known, `tightened` those whose limits are more.
    `bundle` subconductors per phase, neighbours at their `spacing` [m] in an `arrangement` of
    `corridor.clearance.bundles`; None where they are not given.
    `loads_seen` whether cases with ice or wind have come, or names of those that have; None: that is not known.
    """

    conductor: Conductor
    maximum_temperature: float
    emergency_temperature: float | None
    stringing: tuple[Limit, ...]
    bundle: int = 1
    everyday_temperature: float = 15.0
    stringing_temperature: float = 15.0
    age: float = 10.0
    pretension: float = 0.0
    measured: tuple[Measured, ...] = ()
    tightened: tuple[Tightened, ...] = ()
    spacing: float | None = None
    arrangement: str | None = None
    loads_seen: bool | tuple[str, ...] | None = None

    def has_seen(self, case: Case) -> bool:
        """Whether a case counts among what the wire has been through."""
        if not (case.icy or case.wind) or self.loads_seen is None or self.loads_seen is True:
            return True
        return self.loads_seen is not False and case.name in self.loads_seen


@dataclass(frozen=True)
class Option:
    """One choice of phase conductor for the whole study."""

    name: str
    wiring: Wiring
    existing: bool = False
