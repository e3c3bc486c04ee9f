"""The styles of the findings as QML documents, which open desktop GIS software reads from the file itself.

A document has three parts, all of them made from facts: how rows are drawn (`STYLES`), what is written beside them
(`LABELS`), and what people read over the columns (the schema). A plain table has the last alone.
"""

from functools import lru_cache
from xml.etree import ElementTree

from corridor.outputs.schema import layer
from corridor.outputs.styles import COLOURS, LABELS, STYLES, Marker, Outline, Stroke

__all__ = ["add_labels", "style"]


def _line(stroke):
    return {"line_color": rgba(stroke.colour), "line_style": stroke.dash, "capstyle": "flat",
            "joinstyle": "round", "line_width": f"{stroke.width}", "line_width_unit": "MM"}


def _point(marker):
    fill = rgba(marker.colour, 255 if marker.filled else 0)
    return {"name": marker.shape, "color": fill, "outline_color": rgba(marker.colour),
            "outline_style": "solid", "outline_width": "0.5", "outline_width_unit": "MM",
            "size": f"{marker.size}", "size_unit": "MM", "angle": f"{marker.angle}"}


#: Class of the symbol layer, type of the symbol and maker of the properties, of each thing drawn.
_DRAWN = {Stroke: ("SimpleLine", "line", _line), Outline: ("SimpleLine", "fill", _line),
          Marker: ("SimpleMarker", "marker", _point)}


def rgba(colour, alpha=255):
    code = COLOURS[colour]
    return ",".join(str(int(code[i:i + 2], 16)) for i in (1, 3, 5)) + f",{alpha}"


def add_symbol(parent, name, kind, parts):
    """Add a symbol of a kind: pairs of the class of a symbol layer and its properties, one over the other."""
    symbol = ElementTree.SubElement(parent, "symbol", type=kind, name=name, alpha="1", clip_to_extent="1",
                                    force_rhr="0")
    for layer_class, properties in parts:
        drawn = ElementTree.SubElement(symbol, "layer", {"class": layer_class, "enabled": "1", "locked": "0",
                                                         "pass": "0"})
        options = ElementTree.SubElement(drawn, "Option", type="Map")
        for key, value in properties.items():
            ElementTree.SubElement(options, "Option", name=key, type="QString", value=value)


def _add_renderer(root, name):
    renderer = ElementTree.SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="0",
                                      enableorderby="0", forceraster="0")
    rules = ElementTree.SubElement(renderer, "rules", key=f"{{{name}}}")
    symbols = ElementTree.SubElement(renderer, "symbols")
    for number, rule in enumerate(STYLES[name]):
        ElementTree.SubElement(rules, "rule", key=f"{{{name}-{number}}}", symbol=str(number),
                               label=rule.label, filter=rule.filter)
        add_symbol(symbols, str(number), _DRAWN[type(rule.drawn[0])][1],
                   [(_DRAWN[type(part)][0], _DRAWN[type(part)][2](part)) for part in rule.drawn])


#: Along a line, above it or below; around a point, where there is room. The numbers are those of the format.
_PLACEMENTS = {"Line": {"placement": "2", "placementFlags": "10", "dist": "1", "overrunDistance": "25",
                        "overrunDistanceUnit": "MM"},
               "Point": {"placement": "6", "dist": "0.6", "offsetType": "1",
                         "predefinedPositionOrder": "TR,TL,BR,BL,R,L,TSR,BSR"}}


def add_labels(root, label, kind):
    """Write beside the rows of a layer, with a white edge about the letters.

    Parameters
    ----------
    root : Element
        Of the layer.
    label : Label
    kind : str
        "Point" or "Line".
    """
    settings = ElementTree.SubElement(ElementTree.SubElement(root, "labeling", type="simple"), "settings")
    text = ElementTree.SubElement(
        settings, "text-style", fieldName=label.expression, isExpression="1", fontSize=f"{label.size:g}",
        fontSizeUnit="Point", textColor=rgba(label.colour), textOpacity="1", fontWeight="75" if label.bold else "50")
    ElementTree.SubElement(text, "text-buffer", bufferDraw="1", bufferSize="0.7", bufferSizeUnits="MM",
                           bufferColor="255,255,255,255", bufferOpacity="1")
    ElementTree.SubElement(settings, "placement", **_PLACEMENTS[kind], distUnits="MM")
    ElementTree.SubElement(settings, "rendering", drawLabels="1", scaleVisibility="1", scaleMin="1",
                           scaleMax=f"{label.widest:.0f}", obstacle="1")
    _add_option(ElementTree.SubElement(settings, "dd_properties"), None, {
        "name": "", "type": "collection",
        "properties": {"Priority": {"active": True, "expression": label.priority, "type": 3}}})


def _add_option(parent, name, value):
    """Add a value, or values by name, in the manner of the format."""
    made = ElementTree.SubElement(parent, "Option", {} if name is None else {"name": name})
    if isinstance(value, dict):
        made.set("type", "Map")
        for key, inner in value.items():
            _add_option(made, key, inner)
    else:
        made.set("type", {bool: "bool", int: "int"}.get(type(value), "QString"))
        made.set("value", str(value).lower() if isinstance(value, bool) else str(value))


@lru_cache
def style(name):
    """Return the QML style of a layer, a complete document.

    Parameters
    ----------
    name : str
        A layer of the schema.

    Examples
    --------
    >>> style("spans").count("<symbol "), style("run").count("<symbol ")
    (1, 0)
    """
    categories = ["Symbology"] * (name in STYLES) + ["Labeling"] * (name in LABELS) + ["Fields"]
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories="|".join(categories),
                               labelsEnabled=str(int(name in LABELS)))
    if name in STYLES:
        _add_renderer(root, name)
    if name in LABELS:
        add_labels(root, LABELS[name], layer(name).geometry.removesuffix(" Z").removesuffix("String"))
    aliases = ElementTree.SubElement(root, "aliases")
    for index, column in enumerate(layer(name).columns, start=1):  # 0 is the key that GDAL adds
        ElementTree.SubElement(aliases, "alias", index=str(index), field=column.name, name=column.alias)
    if name in STYLES:
        ElementTree.SubElement(root, "blendMode").text = "0"
    return "<!DOCTYPE qgis>\n" + ElementTree.tostring(root, encoding="unicode")
