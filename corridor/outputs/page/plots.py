"""The plots of a page: Bokeh figures without data, which the scripts of the page fill from its block.

A figure is told here as what a general library draws: which glyph, by which columns, in which order. Sources and texts
of a figure have names; the scripts find them by those. No word of a study stands in a figure.
"""

from bokeh.embed import json_item
from bokeh.models import (
    BoxZoomTool,
    ColumnDataSource,
    FactorRange,
    HoverTool,
    NumeralTickFormatter,
    PanTool,
    Range1d,
    ResetTool,
    SaveTool,
    ScaleBar,
    WheelZoomTool,
)
from bokeh.plotting import figure

__all__ = ["FONT", "plot_items"]

FONT = '"Source Sans 3", "Noto Sans", "DejaVu Sans", Verdana, sans-serif'
_INK, _SOFT, _RULE, _PAPER = "#22292e", "#6b6a64", "#e8e4da", "#fdfcf9"
_TEXT = {"text": "text", "x": "x", "y": "y", "text_color": "colour", "text_align": "align",
         "text_baseline": "middle", "x_offset": "dx", "y_offset": "dy", "text_font_style": "style",
         "text_font_size": "12px", "text_font": FONT, "background_fill_color": "#fdfcf9",
         "background_fill_alpha": 0.78, "padding": 1}
_LINES = {"xs": "xs", "ys": "ys", "line_color": "colour", "line_width": "width", "line_dash": "dash",
          "line_cap": "butt", "line_join": "round"}
_AREAS = {"xs": "xs", "ys": "ys", "fill_color": "colour", "line_color": "colour", "fill_alpha": "alpha",
          "line_width": "width"}
_BARS = {"x0": "x0", "y0": "y0", "x1": "x1", "y1": "y1", "line_color": "colour", "line_width": "width",
         "line_dash": "dash"}
_MARKS = {"x": "x", "y": "y", "size": "size", "marker": "marker", "fill_color": "fill", "line_color": "colour",
          "line_width": "width", "angle": "angle", "fill_alpha": "alpha"}
#: Texts among the properties that are values; every other text names a column of the source.
_VALUES = {"middle", "butt", "round", "top_left", "12px", FONT, "#fdfcf9", "right_diagonal_line"}

#: Glyphs of each plot from the back to the front: name of the source, glyph, properties, whether a tip is shown.
_GLYPHS = {
    "map": (
        ("tiles", "image_url", {"url": "url", "x": "x", "y": "y", "w": "w", "h": "h", "anchor": "top_left"}, False),
        ("areas", "multi_polygons", _AREAS, True), ("discs", "circle", {
            "x": "x", "y": "y", "radius": "radius", "fill_color": "colour", "line_color": "colour",
            "fill_alpha": "alpha"}, True),
        ("ways", "multi_line", _LINES, True), ("edges", "multi_line", _LINES, False),
        ("envelopes", "multi_polygons", _AREAS, True), ("work", "multi_line", _LINES, True),
        ("wires", "multi_line", _LINES, False), ("chosen", "segment", _BARS, False), ("spans", "segment", _BARS, True),
        ("structures", "scatter", _MARKS, False), ("raises", "scatter", _MARKS, True),
        ("names", "text", _TEXT, False), ("rings", "scatter", _MARKS, True), ("strokes", "scatter", _MARKS, False)),
    "profile": (
        ("earth", "patches", {"xs": "xs", "ys": "ys", "fill_color": "colour", "line_color": None}, False),
        ("unknown", "quad", {"left": "left", "right": "right", "bottom": "bottom", "top": "top", "line_color": None,
                             "fill_color": None, "hatch_pattern": "right_diagonal_line", "hatch_color": "colour",
                             "hatch_alpha": "alpha", "hatch_scale": "scale"}, False),
        ("lines", "multi_line", _LINES, True), ("bars", "segment", _BARS, False), ("marks", "scatter", _MARKS, True),
        ("names", "text", _TEXT, False), ("rings", "scatter", _MARKS, True), ("strokes", "scatter", _MARKS, False)),
    "cut": (
        ("earth", "patches", {"xs": "xs", "ys": "ys", "fill_color": "colour", "line_color": None}, False),
        ("lines", "multi_line", _LINES, True), ("bars", "segment", _BARS, False), ("marks", "scatter", _MARKS, True),
        ("names", "text", _TEXT, False)),
    "sag": (
        ("lines", "multi_line", _LINES, True), ("bars", "segment", _BARS, False), ("marks", "scatter", _MARKS, True),
        ("names", "text", _TEXT, False)),
    "ladder": (
        ("lines", "multi_line", _LINES, True), ("marks", "scatter", _MARKS, True), ("names", "text", _TEXT, False)),
    "calendar": (
        ("bars", "hbar", {"y": "item", "left": "left", "right": "right", "height": "height", "fill_color": "colour",
                          "line_color": "colour", "hatch_pattern": "hatch", "hatch_color": "ink"}, True),
        ("names", "text", _TEXT | {"y": "item"}, False)),
}
#: Height [px] and names of the axes. A wheel turns the page until a plot is entered.
_FRAMES = {"map": (430, "", ""), "profile": (440, "station [m]", "elevation [m]"),
           "cut": (380, "right of the centre of the span [m]", "elevation [m]"),
           "sag": (330, "temperature of the wire [°C]", "sag [m]"),
           "ladder": (330, "worst spans remedied", "continuous current of the line [A]"),
           "calendar": (300, "hours of outage, one outage after the other [h]", "")}


def plot_items():
    """Return every plot as its JSON item by name, alike in every run (Bokeh numbers its models anew in each)."""
    return {name: _numbered(json_item(_plot(name), target=name), name) for name in _GLYPHS}


def _plot(name):
    height, x_label, y_label = _FRAMES[name]
    y_range = FactorRange() if name == "calendar" else Range1d(0, 1)
    plot = figure(name=name, height=height, sizing_mode="stretch_width", x_range=Range1d(0, 1), y_range=y_range,
                  tools=[], x_axis_label=x_label, y_axis_label=y_label, output_backend="canvas", min_border=0,
                  background_fill_color=_PAPER, border_fill_color=None, outline_line_color="#d8d4ca")
    sources, tipped = {}, []
    for source, glyph, style, tip in _GLYPHS[name]:
        renderer = _glyph(plot, sources, f"{name}:{source}", glyph, style)
        tipped += [renderer] if tip else []
    _look(plot)
    _tools(plot, tipped, same=name in ("map", "cut"))
    if name == "map":
        plot.add_layout(_scale_bar(plot))
    return plot


def _glyph(plot, sources, name, glyph, style):
    """Add a glyph whose columns, and a text of its tip, are in a source of that name."""
    columns = {v for v in style.values() if isinstance(v, str) and v not in _VALUES}
    source = sources.setdefault(name, ColumnDataSource(name=name, data={c: [] for c in sorted(columns | {"tip"})}))
    plain = {key: v for key, v in style.items() if key in ("anchor", "padding")}
    values = {key: {"field": v} if v in columns else {"value": v} for key, v in style.items() if key not in plain}
    return getattr(plot, glyph)(source=source, name=f"{name} drawn", **values, **plain)


def _look(plot):
    for axis in plot.axis:
        axis.update(axis_line_color=None, major_tick_line_color="#b9b4a7", minor_tick_line_color=None,
                    major_label_text_color=_SOFT, major_label_text_font=FONT, major_label_text_font_size="12px",
                    axis_label_text_color=_SOFT, axis_label_text_font=FONT, axis_label_text_font_style="normal",
                    axis_label_text_font_size="12px", axis_label_standoff=4)
    for axis in plot.axis if plot.name != "calendar" else plot.xaxis:
        axis.formatter = NumeralTickFormatter(format="0[.]0" if plot.name != "map" else "0")
    plot.grid.grid_line_color = None if plot.name == "map" else _RULE
    plot.xaxis.name, plot.yaxis.name = f"{plot.name}:x axis", f"{plot.name}:y axis"


def _tools(plot, tipped, *, same):
    pan, zoom = PanTool(), WheelZoomTool()
    plot.add_tools(pan, zoom, BoxZoomTool(match_aspect=same), ResetTool(), SaveTool(),
                   HoverTool(renderers=tipped, tooltips="@tip", point_policy="follow_mouse"))
    plot.toolbar.update(logo=None, active_drag=pan, active_scroll=None)
    plot.toolbar_location = "right"


def _scale_bar(plot):
    return ScaleBar(range=plot.x_range, unit="m", location="bottom_right", bar_length=0.14,
                    background_fill_color="white", background_fill_alpha=0.75, border_line_color=None,
                    bar_line_color=_INK, label_text_color=_INK, label_text_font=FONT, label_text_font_size="12px",
                    padding=6, margin=6)


def _numbered(item, name):
    """The item with its models numbered from one, in the order in which they stand."""
    numbers = {}

    def renumber(value):
        if isinstance(value, dict):
            return {key: numbers.setdefault(inner, f"{name}-{len(numbers) + 1}") if key in ("id", "root_id") else
                    renumber(inner) for key, inner in value.items()}
        return [renumber(each) for each in value] if isinstance(value, list) else value

    return renumber(item)
