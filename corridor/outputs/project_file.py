"""A project of the general desktop GIS QGIS: findings, plan and ground limits with their looks, a group for each
option.

Its format is XML: a tree of layers, and for each layer its source and what a QML document holds. Sources are relative
to the project, so that a folder can be moved.
"""

import json
from pathlib import Path
from xml.etree import ElementTree

from corridor.outputs.ground_limit_raster import OUTCOMES
from corridor.outputs.ground_limit_style import ground_limit_style
from corridor.outputs.guard import MARK
from corridor.outputs.schema import layer
from corridor.outputs.style_documents import add_labels, add_symbol, rgba, style
from corridor.outputs.styles import COLOURS, Label

__all__ = ["NOT_KNOWN", "write_project"]

#: Layer of the ground that is not known.
NOT_KNOWN = "ground_not_known"
#: Layers of the group of an option from the top, and whether they are shown at first.
_OF_OPTION = {"violations": True, "not_assessed": True, "violation_stretches": True, "limits": False,
              "swing_envelopes": True, "structure_loads": False, "clearances": False, "wires": False}
_THING = "coalesce(\"obstacle\", \"against\", 'everything')"
_MARGIN = "format_number(\"margin_m\", 2) || ' m'"
#: What tells one row from another, by layer.
_SHOWN = {
    "violations": f"\"span\" || ', ' || {_THING} || ', ' || \"wire\" || ' in ' || \"case\" || ', ' || {_MARGIN}",
    "clearances": f"\"span\" || ', ' || {_THING} || ', ' || \"wire\" || ' in ' || \"case\" || ', ' || {_MARGIN}",
    "not_assessed": f"coalesce(\"span\", 'any span') || ', ' || {_THING} || ' in ' || coalesce(\"case\", 'every case')",
    "violation_stretches": f"\"span\" || ', ' || {_THING} || ', ' || \"wire\" || ' in ' || \"case\" || ', ' || "
                           "format_number(\"length_m\", 2) || ' m long'",
    "limits": "\"span\" || ' up to ' || coalesce(format_number(\"limit_temperature_c\", 0) || ' °C', 'not known')",
    "swing_envelopes": "\"span\" || ' in ' || \"case\"",
    "structure_loads": "\"structure\" || ', ' || \"wire\" || ' of ' || \"section\" || ' in ' || \"case\"",
    "wires": "\"span\" || ', ' || \"wire\" || ' in ' || \"case\"",
    "structures": '"structure"', "spans": '"span"', NOT_KNOWN: "\"span\" || ': ' || \"reason\"",
    "work_items": "\"item\" || coalesce(', outage ' || \"outage\", '')",
    "outages": "'outage ' || \"outage\" || coalesce(': ' || \"circuits_out\", '')",
    "plan": "\"where\" || ': ' || \"remedy\" || coalesce(' ' || format_number(\"amount\", 1) || ' ' || \"unit\", '')",
}
#: The worst row of each span alone is named: span, thing, margin.
_WORST = ("CASE WHEN $id = array_first(array_agg($id, group_by:=\"line\" || ' ' || \"span\", order_by:=\"margin_m\")) "
          f"THEN \"span\" || ', ' || {_THING} || ', ' || {_MARGIN} END")
#: Layers of a plan from the top: title, kind of shape, symbol and its properties, whether shown at first, columns told.
_OF_PLAN = {
    "plan": ("remedies", "Point", ("SimpleMarker", {"name": "square", "size": "3.4", "size_unit": "MM"}), True,
             ("amount", "unit", "cost")),
    "work_items": ("work", "Line", ("SimpleLine", {"line_width": "2.4", "line_width_unit": "MM", "capstyle": "round"}),
                   True, ("kind", "outage", "hours", "circuits_out", "start", "end")),
    "outages": ("outages", "Line", ("SimpleLine", {"line_width": "4.6", "line_width_unit": "MM", "capstyle": "flat"}),
                False, ("items", "hours", "circuits_out", "start", "end")),
}
_GEOMETRY = {"Point": "Point", "LineString": "Line", "Polygon": "Polygon"}


def write_project(path, title, crs, extent, findings, options, *, first=None, not_known=None, plan=None, planned=None,
                  rasters=(), surface=()):
    """Write a project.

    Parameters
    ----------
    path : Path
        The project file.
    title : str
    crs : pyproj.CRS
        Of the findings.
    extent : sequence of float
        West, south, east, north of what is shown at first [m].
    findings : str
        Path of the findings, from the folder of the project.
    options : sequence of str
    first : str, optional
        The option that is shown at first; default: the first.
    not_known, plan : str, optional
        Paths of files with the layer NOT_KNOWN, and of a plan; None: there is none.
    planned : dict of str to sequence of str
        Layers that the plan has, and their columns.
    rasters : sequence of (str, str)
        Name and path of rasters of ground limits.
    surface : sequence of str
        Paths of the rasters of what stands on the ground.
    """
    root = ElementTree.Element("qgis", projectname=title, version="3.22.0")
    root.append(ElementTree.Comment(f" {MARK} "))
    _add(root, "title", title)
    _add_crs(_add(root, "projectCrs"), crs)
    tree, layers = _add(root, "layer-tree-group"), ElementTree.Element("projectlayers")
    project = _Project(tree, layers, crs)
    project.vector(tree, "structures", findings, "structures")
    if plan is not None:
        group = ElementTree.SubElement(tree, "layer-tree-group", name="plan", expanded="1", checked="Qt::Checked")
        for name in (name for name in _OF_PLAN if name in planned):
            project.planned(group, plan, name, planned[name])
    if not_known is not None:
        project.not_known(tree, not_known)
    for option in options:
        shown = option == (options[0] if first is None else first)
        group = ElementTree.SubElement(tree, "layer-tree-group", name=option, expanded="1" if shown else "0",
                                       checked="Qt::Checked" if shown else "Qt::Unchecked")
        for name, at_first in _OF_OPTION.items():
            project.vector(group, name, findings, name, option=option, shown=at_first)
    project.vector(tree, "spans", findings, "spans")
    for name, source in rasters:
        project.raster(tree, name, source)
    for source in surface:
        project.layer(tree, f"surface: {Path(source).name}", source if Path(source).is_absolute() else f"./{source}",
                      "raster", "gdal", shown=False)
    root.append(layers)
    system = _add(_add(_add(root, "properties"), "SpatialRefSys"), "ProjectionsEnabled", "1")
    system.set("type", "int")
    _add_view(root, crs, extent)
    text = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ElementTree.tostring(root, "unicode")
    Path(path).write_text(text, encoding="utf-8")


class _Project:
    """Layers on their way: each stands in the tree and among the layers, by a name of its own."""

    def __init__(self, tree, layers, crs):
        self.tree, self.layers, self.crs, self.count = tree, layers, crs, 0

    def layer(self, group, title, source, kind, provider, *, shown=True, **attributes):
        """Add a layer to a group, and return its element."""
        self.count += 1
        name = f"corridor_layer_{self.count:03d}"  # QGIS takes one of more than ten letters alone
        ElementTree.SubElement(group, "layer-tree-layer", id=name, name=title, source=source, providerKey=provider,
                               checked="Qt::Checked" if shown else "Qt::Unchecked", expanded="0")
        made = ElementTree.SubElement(self.layers, "maplayer", type=kind, **attributes)
        for tag, text in (("id", name), ("datasource", source), ("layername", title)):
            _add(made, tag, text)
        _add_crs(_add(made, "srs"), self.crs)
        _add(made, "provider", provider).set("encoding", "UTF-8")
        return made

    def vector(self, group, title, path, name, *, option=None, shown=True):
        """Add a layer of the findings with its look, as far as an option goes."""
        quoted = "" if option is None else f"|subset=\"option\" = {_quoted(option)}"
        if option is not None and name == "not_assessed":
            quoted += ' OR "option" IS NULL'  # what was assessed for no option is open in each
        kind = _GEOMETRY[layer(name).geometry.removesuffix(" Z").removeprefix("Multi")]
        look = ElementTree.fromstring(style(name).partition("\n")[2])
        made = self.layer(group, title, f"./{path}|layername={name}{quoted}", "vector", "ogr", shown=shown,
                          geometry=kind, labelsEnabled=look.get("labelsEnabled"))
        for part in look:
            made.append(part)
        if name == "violations":
            made.find("labeling/settings/text-style").set("fieldName", _WORST)
        elif name in ("not_assessed", "limits", "structure_loads") and option is not None:
            text = made.find("labeling/settings/text-style")  # the group names the option
            text.set("fieldName", text.get("fieldName").replace("\"option\" || ' ", "'"))
        _add_shown(made, name, [column.name for column in layer(name).columns])

    def not_known(self, group, path):
        """Add the ground that is not known, hatched where that is."""
        made = self.layer(group, "ground that is not known", f"./{path}|layername={NOT_KNOWN}", "vector", "ogr",
                          geometry="Polygon", labelsEnabled="0")
        _add_single(made, "fill", [("LinePatternFill", {"angle": "45", "distance": "1.6", "distance_unit": "MM",
                                                        "color": rgba("unknown"), "line_width": "0.5"}),
                                   ("SimpleLine", {"line_color": rgba("unknown"), "line_width": "0.4"})])
        _add_shown(made, NOT_KNOWN, ["span", "reason"])

    def planned(self, group, path, name, columns):
        """Add a layer of a plan: each row with its name, and shown at its time where it has one."""
        title, shape, (symbol, looks), shown, told = _OF_PLAN[name]
        made = self.layer(group, title, f"./{path}|layername={name}", "vector", "ogr", shown=shown, geometry=shape,
                          labelsEnabled="1")
        colour = {"line_color" if shape == "Line" else "color": rgba("wire", 150)}
        _add_single(made, "line" if shape == "Line" else "marker", [(symbol, colour | looks)])
        if "start" in told and "start" in columns:
            # 2: a row has its time from two columns.
            timed = ElementTree.SubElement(made, "temporal", enabled="1", mode="2", startField="start", endField="end",
                                           durationField="", durationUnit="min", fixedDuration="0", accumulate="0",
                                           startExpression="", endExpression="", limitMode="0")
            _add(_add(timed, "fixedRange"), "start")
        add_labels(made, Label(_SHOWN[name], "wire", 8.0, 60_000.0, priority="9", bold=True), shape)
        _add_shown(made, name, [column for column in told if column in columns])

    def raster(self, group, title, path):
        """Add ground limits, and below it the cells that were not assessed."""
        made = self.layer(group, title, f"./{path}", "raster", "gdal", shown=False)
        made.append(ElementTree.fromstring(ground_limit_style().partition("-->\n")[2]).find("pipe"))
        made = self.layer(group, f"{title}: cells not assessed", f"./{path}", "raster", "gdal", shown=False)
        renderer = ElementTree.SubElement(_add(made, "pipe"), "rasterrenderer", type="paletted", band="3",
                                          opacity="1", alphaBand="-1", nodataColor="")
        ElementTree.SubElement(_add(renderer, "colorPalette"), "paletteEntry", value=str(OUTCOMES["not assessed"]),
                               color=COLOURS["unknown"], alpha="200", label="not assessed")


def _add(parent, tag, text=None):
    child = ElementTree.SubElement(parent, tag)
    child.text = text
    return child


def _add_crs(parent, crs):
    made = _add(parent, "spatialrefsys")
    crs = crs.sub_crs_list[0] if crs.is_compound else crs  # maps are in plan
    _add(made, "wkt", crs.to_wkt())
    if crs.to_authority():
        _add(made, "authid", ":".join(crs.to_authority()))


def _add_single(made, kind, parts):
    """One symbol for every row, of some symbol layers with their properties."""
    renderer = ElementTree.SubElement(made, "renderer-v2", type="singleSymbol", symbollevels="0", enableorderby="0",
                                      forceraster="0")
    add_symbol(_add(renderer, "symbols"), "0", kind, parts)


def _add_shown(made, name, columns):
    """What a row is called, and what is told of it under the pointer."""
    _add(made, "previewExpression", _SHOWN[name])
    told = [name for name in ("margin_m", "required_m", "actual_m", "rule", "severity", "station_m", "reason", "kind",
                              "amount", "unit", "cost", "outage", "items", "hours", "circuits_out", "start", "end",
                              "limit_temperature_c", "governs", "sag_m", "horizontal_tension_n", "role", "framing",
                              "base_elevation_m", "length_m", "section", "ratio_to_existing") if name in columns]
    rows = "".join(f"<tr><td>{column.replace('_', ' ')}</td><td>[% coalesce({_rounded(column)}, '') %]</td></tr>"
                   for column in told)
    _add(made, "mapTip", f"<b>[% {_SHOWN[name]} %]</b><table>{rows}</table>")


def _quoted(text):
    """A text in the filter of a layer; bars, which part a source, are put in there by their number."""
    stand_in = next(letter for letter in "¦¬~^" if letter not in text)
    quoted = "'" + text.replace("'", "''").replace("|", stand_in) + "'"
    return f"replace({quoted}, '{stand_in}', char(124))" if "|" in text else quoted


def _rounded(column):
    """An expression for a value as people read it."""
    number = column.endswith(("_m", "_c", "_n", "hours", "cost", "amount", "existing"))
    return f'format_number("{column}", 2)' if number else f'"{column}"'


def _add_view(root, crs, extent):
    canvas = ElementTree.SubElement(root, "mapcanvas", name="theMapCanvas", annotationsVisible="1")
    _add(canvas, "units", "meters")
    box = _add(canvas, "extent")
    for tag, value in zip(("xmin", "ymin", "xmax", "ymax"), extent, strict=True):
        _add(box, tag, json.dumps(float(value)))
    _add_crs(_add(canvas, "destinationsrs"), crs)
    paths = _add(_add(_add(root, "properties"), "Paths"), "Absolute", "false")
    paths.set("type", "bool")
