"""What a key may hold: callables that read a value, and words for what they accept."""

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import date, datetime, time

from corridor.errors import nearest
from corridor.units import KINDS, QuantityError, quantity, share

__all__ = [
    "ClockTime",
    "Day",
    "DayOfYear",
    "HourOfDay",
    "Limit",
    "Measure",
    "NameOf",
    "OneOrMore",
    "ReadBound",
    "ReadLimit",
    "ReadTension",
    "TemperatureOr",
    "UnitOf",
    "ValueFault",
    "Words",
]


class ValueFault(ValueError):
    """A value that cannot be used; `reason` says why, `hint` what was perhaps meant."""

    def __init__(self, reason, hint=None):
        self.reason, self.hint = reason, hint
        super().__init__(reason)


@dataclass(frozen=True)
class Words:
    """A mark on a type: words for what it accepts, where the type alone does not tell."""

    accepts: str


@dataclass(frozen=True)
class OneOrMore:
    """Read a text, or a list of texts, each once, as a tuple.

    >>> OneOrMore("a path")("roads.gpkg"), OneOrMore("a path")(["a.gpkg", "b.gpkg"])
    (('roads.gpkg',), ('a.gpkg', 'b.gpkg'))
    """

    one: str

    @property
    def accepts(self):
        """Words for what may be written."""
        return f"{self.one}, or a list of them"

    def __call__(self, value):
        """Return the texts, or raise ValueFault."""
        texts = (value,) if isinstance(value, str) else value
        if not isinstance(texts, list | tuple) or not texts or not all(isinstance(t, str) and t.strip() for t in texts):
            raise ValueFault("neither a text nor a list of texts")
        if len(set(texts)) < len(texts):
            raise ValueFault("one is there twice")
        return tuple(texts)


@dataclass(frozen=True)
class NameOf:
    """Read a name that a table of the package knows: `names()` returns all of them, of the kind of `thing`.

    >>> NameOf(lambda: ("heavy", "light"), "load district")("heavy")
    'heavy'
    """

    names: Callable[[], Collection[str]]
    thing: str

    @property
    def accepts(self):
        """Words for what may be written."""
        return " | ".join(f'"{name}"' for name in self.names())

    def __call__(self, value):
        """Return the name, or raise ValueFault."""
        if not isinstance(value, str) or value not in self.names():
            match = nearest(value, self.names()) if isinstance(value, str) else None
            raise ValueFault(f"no {self.thing} that is known", match and repr(match))
        return value


@dataclass(frozen=True)
class Measure:
    """Read a quantity of one kind between two bounds, in SI.

    `above` is True where `low` itself is refused; `slip` is the hint for a number out of
    bounds, which is mostly a number in another unit.
    """

    kind: str
    low: float = -float("inf")
    high: float = float("inf")
    above: bool = field(default=False, kw_only=True)
    slip: str | None = field(default=None, kw_only=True)

    @property
    def accepts(self):
        """Words for what may be written."""
        low = f"above {self.low:g}" if self.above else f"from {self.low:g}"
        bounds = [low] if self.low > -float("inf") else []
        bounds += [f"to {self.high:g}"] if self.high < float("inf") else []
        facts = KINDS[self.kind]
        unit = facts.unit
        example = self.slip or f"'{facts.example}'"
        return facts.accepts.replace(f"'{facts.example}'", example) + (
            f" ({' '.join(bounds)}{' ' * bool(unit)}{unit})" if bounds else ""
        )

    def __call__(self, value):
        """Return the SI value, or raise ValueFault."""
        number = _in_si(value, self.kind)
        if number > self.high or number < self.low or (self.above and number == self.low):
            si = f"{number:g} {KINDS[self.kind].unit}".strip()
            side = "large" if number > self.high else "small"
            raise ValueFault(
                f"{si} is too {side}", self.slip if not isinstance(value, str) else None
            )
        return number


@dataclass(frozen=True)
class UnitOf:
    """Read the unit of a column of one kind.

    >>> UnitOf("length")("ft")
    'ft'
    """

    kind: str

    @property
    def accepts(self):
        """Words for what may be written."""
        known = KINDS[self.kind].known
        return f"a unit of {KINDS[self.kind].noun}, such as " + ", ".join(f"'{unit}'" for unit in known)

    def __call__(self, value):
        """Return the unit as it was written."""
        if not isinstance(value, str) or any(letter.isdigit() for letter in value[:1]):
            raise ValueFault("no unit")
        _in_si(f"1 {value}", self.kind)
        return value.strip()


@dataclass(frozen=True)
class TemperatureOr:
    """Read a temperature [°C], or a word that stands for a temperature of the option."""

    words: tuple[str, ...]
    measure: Measure

    @property
    def accepts(self):
        """Words for what may be written."""
        return " | ".join(f'"{word}"' for word in self.words) + f" | {self.measure.accepts}"

    def __call__(self, value):
        """Return a float or the word."""
        return value if isinstance(value, str) and value in self.words else self.measure(value)


@dataclass(frozen=True)
class Limit:
    """A stringing limit: `text` is what the study says.

    `kind` is "tension" [N], "share" of the rated tensile strength [-],
    "constant" of the catenary [m], or "existing": the tension of the existing wire.
    """

    kind: str
    value: float
    text: str


class ReadLimit:
    """Read a stringing limit; the unit tells which kind it is.

    >>> ReadLimit()("20 % RTS")
    Limit(kind='share', value=0.2, text='20 % RTS')
    >>> ReadLimit()("1800 m").kind
    'constant'
    """

    accepts = (
        "a share of the rated tensile strength ('20 % RTS', at most 100 %), a tension (a number in "
        "N or '25 kN', from 100 N), or a catenary constant ('1800 m', from 50 m)"
    )
    #: Least and maximum value of each kind; beyond them a number is a slip of its unit.
    bounds = {"share": (0.001, 1.0), "tension": (100.0, 1e6), "constant": (50.0, 20_000.0)}

    def __call__(self, value):
        """Return the Limit."""
        kind, number = self._read(value)
        low, high = self.bounds[kind]
        if number > high or number < low:
            unit = {"share": "of RTS", "tension": "N", "constant": "m"}[kind]
            hint = None if isinstance(value, str) else f"'{value:g} % RTS' or '{value:g} kN'"
            raise ValueFault(
                f"{number:g} {unit} is too {'large' if number > high else 'small'}", hint
            )
        return Limit(kind, number, value if isinstance(value, str) else f"{value:g} N")

    def _read(self, value):
        if isinstance(value, str) and "%" in value:
            return "share", _share(value)
        try:
            return "tension", quantity(value, "force")
        except QuantityError as fault:
            first = fault
        try:
            return "constant", quantity(value, "length")
        except QuantityError:
            raise ValueFault(first.reason, first.hint) from None


class ReadBound(ReadLimit):
    """Read a stringing limit, which may be the tension of the existing wire.

    >>> ReadBound()("existing").kind
    'existing'
    """

    accepts = ReadLimit.accepts + ', or "existing": no more than the existing wire in that state'

    def __call__(self, value):
        """Return the Limit."""
        return Limit("existing", 1.0, value) if value == "existing" else super().__call__(value)


class ReadTension(ReadLimit):
    """Read a tension, or a share of the rated tensile strength."""

    accepts = "a share of the rated tensile strength ('30 % RTS'), or a tension (a number in N or '40 kN', from 100 N)"

    def __call__(self, value):
        """Return the Limit."""
        limit = super().__call__(value)
        if limit.kind == "constant":
            raise ValueFault("a length is no tension")
        return limit


class DayOfYear:
    """Read a day of the year, as a number or as a TOML date."""

    accepts = "a whole number from 1 to 366, or a date such as 2021-06-10"

    def __call__(self, value):
        """Return the number of the day."""
        if isinstance(value, date):
            return value.timetuple().tm_yday
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 366:
            raise ValueFault("no day of the year")
        return value


class Day:
    """Read a day: a TOML date, or the same as text."""

    accepts = "a date such as 2027-03-01"

    def __call__(self, value):
        """Return the date."""
        if isinstance(value, str):
            try:
                value = date.fromisoformat(value)
            except ValueError:
                raise ValueFault("no date") from None
        if not isinstance(value, date) or isinstance(value, datetime):
            raise ValueFault("no date")
        return value


class ClockTime:
    """Read a time of the day in hours since midnight."""

    accepts = 'a time such as "07:30", or a number of hours from 0 to 24'

    def __call__(self, value):
        """Return the hour."""
        if isinstance(value, str):
            try:
                value = time.fromisoformat(value)
            except ValueError:
                raise ValueFault("no time of the day") from None
        if isinstance(value, time):
            return value.hour + value.minute / 60 + value.second / 3600
        return HourOfDay()(value)


class HourOfDay:
    """Read a solar time in hours since midnight."""

    accepts = "a number of hours from 0 to 24"

    def __call__(self, value):
        """Return the hour."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 24:
            raise ValueFault("no hour of the day")
        return float(value)


def _in_si(value, kind):
    try:
        return quantity(value, kind)
    except QuantityError as fault:
        raise ValueFault(fault.reason, fault.hint) from None


def _share(text):
    try:
        return share(text)
    except QuantityError as fault:
        number = text.split("%")[0].strip()
        raise ValueFault(fault.reason, f"'{number} % RTS'" if number.isdigit() else None) from None
