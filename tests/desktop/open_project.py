"""Opens a project as a person would, in the Python of a desktop GIS, and tells what it sees as JSON.

Run by `test_project.py` with the interpreter that has the bindings of QGIS; the arguments are the project, a folder for
pictures, and times: of what is shown at first a picture is drawn, and one at each time.
"""

import json
from pathlib import Path

from open_findings import in_gis, picture
from qgis.core import (
    QgsDateTimeRange,
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsProject,
    QgsRectangle,
)
from qgis.PyQt.QtCore import QDateTime, Qt


def words(layer, feature, text):
    """What an expression comes to for a row, and the text with expressions in it that is told under the pointer."""
    context = QgsExpressionContext()
    context.appendScopes(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(feature)
    expression = QgsExpression(text)
    expression.prepare(context)
    found = expression.evaluate(context)
    assert not expression.hasEvalError() and not expression.hasParserError(), (text, expression.evalErrorString())
    tip = QgsExpression.replaceExpressionText(layer.mapTipTemplate(), context)
    return str(found), tip


def told(layer):
    """What the GIS has read about a layer."""
    facts = {"name": layer.name(), "valid": layer.isValid(), "source": layer.source(),
             "crs": layer.crs().authid()}
    if hasattr(layer, "featureCount"):
        rows = list(layer.getFeatures())
        facts |= {"rows": len(rows), "timed": layer.temporalProperties().isActive(),
                  "called": [words(layer, row, layer.displayExpression()) for row in rows[:20]]}
        if layer.labelsEnabled():
            label = layer.labeling().settings().fieldName
            facts["labels"] = [words(layer, row, label)[0] for row in rows[:200]]
    return facts


def main(path, folder, times):
    project = QgsProject.instance()
    assert project.read(path), project.error()
    root = project.layerTreeRoot()
    groups = {group.name(): {"shown": group.itemVisibilityChecked(),
                             "layers": [told(each.layer()) for each in group.findLayers()]}
              for group in (root, *root.findGroups())}
    shown = [layer for layer in root.layerOrder() if layer in root.checkedLayers()]
    whole = QgsRectangle(next(layer for layer in shown if layer.name() == "spans").extent())
    whole.grow(200)
    answer = {"groups": groups, "crs": project.crs().authid(),
              "map": picture(shown, Path(folder) / "project.png", whole)}
    work = [layer for layer in root.layerOrder() if layer.name() in ("work", "outages")]
    for text in times:
        begin = QDateTime.fromString(text, Qt.ISODate)
        answer[text] = picture(work, Path(folder) / f"{text[:13]}.png", whole,
                               QgsDateTimeRange(begin, begin.addSecs(3600)))
    print(json.dumps(answer))


if __name__ == "__main__":
    in_gis(main)
