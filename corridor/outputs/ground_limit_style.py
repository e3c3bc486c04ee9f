"""The look of ground limits as a QML document, which desktop GIS software reads beside a raster of the same name."""

from xml.etree import ElementTree

from corridor.outputs.guard import MARK

__all__ = ["CLASSES", "ground_limit_style"]

#: Upper ends of classes of room [m], colour, opacity [0 to 255] and label.
CLASSES = (
    (-2.0, "#67001f", 255, "more than 2 m short"),
    (-0.5, "#d6604d", 255, "0.5 to 2 m short"),
    (0.0, "#f4a582", 255, "up to 0.5 m short"),
    (1.0, "#fee090", 255, "0 to 1 m of room"),
    (3.0, "#92c5de", 230, "1 to 3 m of room"),
    (float("inf"), "#2166ac", 110, "more than 3 m of room"),
)
#: Band of the room, and the value to which its classes begin [m].
_BAND, _LOWEST = 2, -50.0


def ground_limit_style():
    """Return the document, as text: classes of the second band, every violation in reds."""
    root = ElementTree.Element("qgis", version="3.22.0", styleCategories="Symbology")
    pipe = ElementTree.SubElement(root, "pipe")
    renderer = ElementTree.SubElement(
        pipe, "rasterrenderer", type="singlebandpseudocolor", band=str(_BAND), opacity="1", alphaBand="-1",
        nodataColor="", classificationMin=str(_LOWEST), classificationMax="inf")
    shader = ElementTree.SubElement(ElementTree.SubElement(renderer, "rastershader"), "colorrampshader",
                                    colorRampType="DISCRETE", classificationMode="1", clip="0",
                                    minimumValue=str(_LOWEST), maximumValue="inf")
    for upper, colour, alpha, label in CLASSES:
        ElementTree.SubElement(shader, "item", value=str(upper), color=colour, alpha=str(alpha), label=label)
    head = f"<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n<!-- {MARK} -->\n"
    return head + ElementTree.tostring(root, "unicode")
