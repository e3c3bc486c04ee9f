"""How the layers of the findings look when a desktop GIS opens them.

Meaning is never in the colour alone: what is clear is thin, what falls short is wide or crossed by
a bar, what could not be assessed is dashed or hollow. A row that no filter takes, above all one
whose number is null, is drawn as not assessed: it must not look clear.
"""

from dataclasses import dataclass
from xml.etree import ElementTree

__all__ = ["COLOURS", "STYLES", "Rule", "Stroke", "Outline", "Marker", "style"]

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
    """A row's look: its `label` in the legend, the `filter` that takes it, what is `drawn`."""

    label: str
    filter: str
    drawn: tuple[Stroke | Marker, ...]


_BARRED = (Marker("circle", "short", 3.4, filled=False), Marker("line", "short", 5.0, angle=45))
_UNKNOWN_POINT = (Marker("diamond", "unknown", 3.0, filled=False),)
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
    "wires": (Rule("wire", "", (Stroke("wire", 0.26),)),),
    "clearances": (
        Rule("falls short", '"margin_m" < 0', _BARRED),
        Rule("clear", '"margin_m" >= 0', (Marker("circle", "clear", 1.2),)),
        Rule("not assessed", "ELSE", _UNKNOWN_POINT),
    ),
    "violations": (Rule("falls short", "", _BARRED),),
    "violation_stretches": (Rule("falls short", "", (Stroke("short", 1.4),)),),
    "swing_envelopes": (
        Rule("leaves the right-of-way", '"room_left_m" < 0 OR "room_right_m" < 0', (Outline("short", 0.7),)),
        Rule("within the right-of-way", '"room_left_m" >= 0 AND "room_right_m" >= 0', (Outline("wire", 0.2),)),
        Rule("no right-of-way known", "ELSE", (Outline("unknown", 0.2, "dash"),)),
    ),
    "structure_loads": (
        Rule("above the existing wire", '"above_existing" = 1', (Marker("triangle", "short", 3.2, filled=False),)),
        Rule("lifts its string", '"uplift" = 1 AND "above_existing" = 0', (Marker("arrow", "short", 3.2),)),
        Rule("no more than the existing wire", "ELSE", (Marker("circle", "neutral", 0.8),)),
    ),
    "limits": (
        Rule("short below the maximum temperature, or under ice", '"limit_temperature_c" < "maximum_temperature_c" '
             "OR \"governs\" = 'no temperature clears' OR \"governs\" = 'ice'", (Stroke("short", 1.0),)),
        Rule("clear at the maximum temperature", '"limit_temperature_c" >= "maximum_temperature_c" '
             "AND \"governs\" <> 'ice'", (Stroke("clear", 0.36),)),
        Rule("no limit known", "ELSE", _UNKNOWN_LINE),
    ),
    "not_assessed": (Rule("not assessed", "", _UNKNOWN_LINE),),
}


def _line(stroke):
    return {"line_color": _rgba(stroke.colour), "line_style": stroke.dash, "capstyle": "flat",
            "joinstyle": "round", "line_width": f"{stroke.width}", "line_width_unit": "MM"}


def _point(marker):
    fill = _rgba(marker.colour, 255 if marker.filled else 0)
    return {"name": marker.shape, "color": fill, "outline_color": _rgba(marker.colour),
            "outline_style": "solid", "outline_width": "0.5", "outline_width_unit": "MM",
            "size": f"{marker.size}", "size_unit": "MM", "angle": f"{marker.angle}"}


#: Class of the symbol layer, type of the symbol and maker of the properties, of each thing drawn.
_DRAWN = {Stroke: ("SimpleLine", "line", _line), Outline: ("SimpleLine", "fill", _line),
          Marker: ("SimpleMarker", "marker", _point)}


def _rgba(colour, alpha=255):
    code = COLOURS[colour]
    return ",".join(str(int(code[i:i + 2], 16)) for i in (1, 3, 5)) + f",{alpha}"


def _add_symbol(parent, name, drawn):
    kind = _DRAWN[type(drawn[0])][1]
    symbol = ElementTree.SubElement(parent, "symbol", type=kind, name=name, alpha="1",
                                    clip_to_extent="1", force_rhr="0")
    for part in drawn:
        layer_class, _, properties = _DRAWN[type(part)]
        layer = ElementTree.SubElement(symbol, "layer", {"class": layer_class, "enabled": "1",
                                                         "locked": "0", "pass": "0"})
        options = ElementTree.SubElement(layer, "Option", type="Map")
        for key, value in properties(part).items():
            ElementTree.SubElement(options, "Option", name=key, type="QString", value=value)


def style(name):
    """Return the QML style of a layer, a complete document.

    Parameters
    ----------
    name : str
        A key of STYLES.

    Examples
    --------
    >>> style("spans").count("<symbol ")
    1
    """
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories="Symbology")
    renderer = ElementTree.SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="0",
                                      enableorderby="0", forceraster="0")
    rules = ElementTree.SubElement(renderer, "rules", key=f"{{{name}}}")
    symbols = ElementTree.SubElement(renderer, "symbols")
    for number, rule in enumerate(STYLES[name]):
        ElementTree.SubElement(rules, "rule", key=f"{{{name}-{number}}}", symbol=str(number),
                               label=rule.label, filter=rule.filter)
        _add_symbol(symbols, str(number), rule.drawn)
    ElementTree.SubElement(root, "blendMode").text = "0"
    return '<!DOCTYPE qgis>\n' + ElementTree.tostring(root, encoding="unicode")
