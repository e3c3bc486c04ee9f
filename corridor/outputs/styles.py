"""How the layers of the findings look when a desktop GIS opens them.

Meaning is never in the colour alone: what is clear is thin, a violation is wide or crossed by
a bar, what could not be assessed is dashed or hollow. A row that no filter takes, above all one
whose number is null, is drawn as not assessed: it must not look clear.
"""

from dataclasses import dataclass

__all__ = ["COLOURS", "LABELS", "STYLES", "Label", "Marker", "Outline", "Rule", "Stroke"]

#: Colours by meaning. Those of the three outcomes stay apart where red and green look alike.
COLOURS = {
    "clear": "#3f4c57",
    "short": "#c84a00",
    "unknown": "#b5739f",
    "neutral": "#737373",
    "wire": "#1f6a96",
}


@dataclass(frozen=True)
class Stroke:
    """A drawn line: `colour` of COLOURS, `width` [mm on the map], `dash` "solid" or "dash"."""

    colour: str
    width: float
    dash: str = "solid"


@dataclass(frozen=True)
class Outline(Stroke):
    """The drawn edge of an area, as a `Stroke`; the area stays empty."""


@dataclass(frozen=True)
class Marker:
    """A drawn point: `shape` of the QML, `size` [mm on the map], filled or not, `angle` [deg]."""

    shape: str
    colour: str
    size: float
    filled: bool = True
    angle: float = 0.0


@dataclass(frozen=True)
class Rule:
    """A row's look: its `label` in the legend, the `filter` that takes it, what is `drawn`.

    Rules have no range of scales: where the rule of a row is out of range, the row may fall to "ELSE". A filter
    compares truth with `true`, never with 1: a GIS takes those for text, and no row would match.
    """

    label: str
    filter: str
    drawn: tuple[Stroke | Marker, ...]


@dataclass(frozen=True)
class Label:
    """What is written beside a row.

    `expression` gives the text, null for none; `colour` of COLOURS; `size` [pt]; `widest` the smallest scale at which
    it is written, 1 to this; `priority` an expression, 0 to 10: which label stays where two do not fit.
    """

    expression: str
    colour: str
    size: float
    widest: float
    priority: str = "5"
    bold: bool = False


_RING = (Marker("circle", "short", 3.4, filled=False),)
_BARRED = (*_RING, Marker("line", "short", 5.0, angle=45))
_BARRED_TWICE = (*_BARRED, Marker("line", "short", 5.0, angle=-45))
_UNKNOWN_POINT = (Marker("diamond", "unknown", 3.0, filled=False),)
#: Takes the rows whose load is above the capacity of their structure.
_OVER = '"over_capacity" = true'
_UNKNOWN_LINE = (Stroke("unknown", 0.7, "dash"),)

#: The rules of each spatial layer. A GIS draws every rule that matches, so the filters exclude each
#: other; "" takes every row, "ELSE" those that no other rule takes.
STYLES = {
    "structures": (
        Rule("suspension", "\"role\" = 'suspension'", (Marker("circle", "neutral", 1.8, False),)),
        Rule("strain", "\"role\" = 'strain'", (Marker("square", "neutral", 2.2),)),
        Rule("terminal", "\"role\" = 'terminal'", (Marker("pentagon", "neutral", 3.0),)),
        Rule("other", "ELSE", _UNKNOWN_POINT),
    ),
    "spans": (Rule("span", "", (Stroke("neutral", 0.2),)),),
    "wires": (Rule("wire", "", (Stroke("wire", 0.13),)),),
    "clearances": (
        Rule("violation", '"margin_m" < 0', _BARRED),
        Rule("clear", '"margin_m" >= 0', (Marker("circle", "clear", 0.8),)),
        Rule("not assessed", "ELSE", _UNKNOWN_POINT),
    ),
    "violations": (
        Rule("nearer than the electrical distance", "\"severity\" = 'flashover'", _BARRED_TWICE),
        Rule("the rule is met, the buffer is not", "\"severity\" = 'buffer'", _RING),
        Rule("short of the rule", "ELSE", _BARRED),
    ),
    "violation_stretches": (Rule("violation", "", (Stroke("short", 1.1),)),),
    "parcels": (
        Rule("below the swung wires", '"overlap_m2" > 0', (Outline("neutral", 0.5),)),
        Rule("beside them", "ELSE", (Outline("neutral", 0.2, "dash"),)),
    ),
    "swing_envelopes": (
        Rule("leaves the right-of-way", '"room_left_m" < 0 OR "room_right_m" < 0', (Outline("short", 0.7),)),
        Rule("within the right-of-way", '"room_left_m" >= 0 AND "room_right_m" >= 0', (Outline("wire", 0.2),)),
        Rule("no right-of-way known", "ELSE", (Outline("unknown", 0.2, "dash"),)),
    ),
    "structure_loads": (
        Rule("above the existing wire", f'"above_existing" = true AND NOT coalesce({_OVER}, false)',
             (Marker("triangle", "short", 3.2, filled=False),)),
        Rule("lifts its string", '"uplift" = true AND ("above_existing" = false OR "above_existing" IS NULL) '
             f'AND NOT coalesce({_OVER}, false)', (Marker("arrow", "short", 3.2),)),
        Rule("no more than the existing wire", f'"above_existing" = false AND "uplift" = false '
             f'AND NOT coalesce({_OVER}, false)', (Marker("circle", "neutral", 0.8),)),
        Rule("above its capacity", _OVER, (Marker("triangle", "short", 3.6),)),
        Rule("not compared", "ELSE", _UNKNOWN_POINT),
    ),
    "structure_capacity": (
        Rule("above its capacity", _OVER, (Marker("triangle", "short", 4.0),)),
        Rule("within its capacity", '"over_capacity" = false', (Marker("circle", "neutral", 1.2),)),
        Rule("not compared", "ELSE", _UNKNOWN_POINT),
    ),
    "limits": (
        Rule("short below the maximum temperature, or under ice", '"limit_temperature_c" < "maximum_temperature_c" '
             "OR \"governs\" = 'no temperature clears' OR \"governs\" = 'ice'", (Stroke("short", 1.0),)),
        Rule("clear at the maximum temperature", '"limit_temperature_c" >= "maximum_temperature_c" '
             "AND \"governs\" <> 'ice'", (Stroke("clear", 0.36),)),
        Rule("no limit known", "ELSE", _UNKNOWN_LINE),
    ),
    "fields": (
        Rule("more current in a vehicle than is allowed", '"above_limit" = true', (Stroke("short", 0.7),)),
        Rule("field known", '"field_kv_per_m" IS NOT NULL AND ("above_limit" = false OR "above_limit" IS NULL)',
             (Stroke("neutral", 0.2),)),
        Rule("not known", "ELSE", _UNKNOWN_LINE),
    ),
    "surveyed_wires": (
        Rule("starts the check", '"used" = true', (Stroke("wire", 0.5),)),
        Rule("does not count", "ELSE", _UNKNOWN_LINE),
    ),
    "surveyed_spans": (
        Rule("hangs lower than described", '"sag_difference_m" > 0.05', (Stroke("short", 0.6),)),
        Rule("hangs as described, or higher", '"sag_difference_m" <= 0.05', (Stroke("neutral", 0.4),)),
        Rule("no wire counts", "ELSE", _UNKNOWN_LINE),
    ),
    "doubts": (
        Rule("accepted", '"accepted" = true', (Marker("circle", "neutral", 2.4, filled=False),)),
        Rule("serious", "\"accepted\" = false AND \"severity\" = 'serious'",
             (Marker("triangle", "unknown", 4.6, filled=False), Marker("line", "unknown", 2.2))),
        Rule("minor", "ELSE", (Marker("triangle", "neutral", 3.0, filled=False),)),
    ),
    # So wide that it is seen where a GIS puts the layers of wires and spans above it.
    "not_assessed": (Rule("not assessed", "", (Stroke("unknown", 2.0, "dash"),)),),
}

_PLACE = "coalesce(\"against\", 'everything')"

#: What is written on the map, by layer. Where labels do not fit, the worst stays.
LABELS = {
    "structures": Label('"structure"', "clear", 8.0, 50_000.0, priority="8", bold=True),
    "spans": Label("format_number(\"length_m\", 0) || ' m'", "neutral", 7.0, 15_000.0, priority="2"),
    "violations": Label("\"option\" || ' ' || format_number(\"margin_m\", 2) || "
                        "coalesce(' ± ' || format_number(\"margin_sd_m\", 2), '') || ' m'", "short", 8.0, 40_000.0,
                        priority='min(10, 6 - "margin_m")', bold=True),
    "limits": Label("CASE WHEN \"limit_temperature_c\" < \"maximum_temperature_c\" THEN \"option\" || ' up to ' || "
                    "format_number(\"limit_temperature_c\", 0) || ' °C' "
                    "WHEN \"governs\" = 'no temperature clears' THEN \"option\" || ' never clears' END",
                    "short", 7.0, 10_000.0, priority="3"),
    "structure_loads": Label('CASE WHEN "ratio_to_existing" >= 1.005 THEN "option" || \' \' || '
                             "format_number(\"ratio_to_existing\", 2) || ' of existing' END", "short", 7.0, 10_000.0,
                             priority='min(10, 2 * "ratio_to_existing")'),
    "surveyed_spans": Label("'surveyed ' || format_number(\"sag_difference_m\", 2) || ' m'", "neutral", 7.0, 10_000.0,
                            priority="4"),
    "doubts": Label("'doubt: ' || \"doubt\"", "unknown", 8.0, 40_000.0, priority="9", bold=True),
    "not_assessed": Label(f"'not assessed: ' || {_PLACE}", "unknown", 8.0, 40_000.0, priority="10", bold=True),
}
