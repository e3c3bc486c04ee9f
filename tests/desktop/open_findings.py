"""Opens findings as a person would, in the Python of a desktop GIS, and tells what it sees as JSON.

Run by `test_gis.py` with the interpreter that has the bindings of QGIS; the arguments are the GeoPackage and a folder
for pictures. It adds each layer by its name and changes nothing of how it looks.
"""

import json
import os
import sys
from collections import Counter
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsMapRendererSequentialJob,
    QgsMapSettings,
    QgsRectangle,
    QgsRenderContext,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

WIDE, HIGH = 1500, 560


def rows_by_rule(layer, scale=5000):
    """How many rows each rule of the renderer draws, by its label in the legend."""
    renderer = layer.renderer().clone()
    labels = {rule.ruleKey(): rule.label() for rule in renderer.rootRule().children()}
    context = QgsRenderContext()
    context.setRendererScale(scale)
    context.expressionContext().setFields(layer.fields())
    renderer.startRender(context, layer.fields())
    counts = Counter()
    for feature in layer.getFeatures():
        context.expressionContext().setFeature(feature)
        counts.update(labels[key] for key in renderer.legendKeysForFeature(feature, context) if key in labels)
    renderer.stopRender(context)
    return counts


def picture(layers, path, extent, times=None):
    """Draw layers, the first above the others, at a range of times; return scale and count of pixels, one in 16, that
    are drawn on."""
    settings = QgsMapSettings()
    settings.setLayers(layers)
    settings.setOutputSize(QSize(WIDE, HIGH))
    settings.setOutputDpi(120)
    settings.setDestinationCrs(layers[0].crs())
    settings.setExtent(extent)
    settings.setBackgroundColor(QColor("white"))
    if times is not None:
        settings.setIsTemporal(True)
        settings.setTemporalRange(times)
    job = QgsMapRendererSequentialJob(settings)
    job.start()
    job.waitForFinished()
    image = job.renderedImage()
    image.save(str(path))
    drawn = sum(image.pixelColor(x, y).lightness() < 250 for x in range(0, WIDE, 4) for y in range(0, HIGH, 4))
    return {"scale": settings.scale(), "pixels": drawn}


def told(layer):
    """What the GIS has read about a layer."""
    fields = layer.fields()
    facts = {"title": layer.metadata().title(), "abstract": layer.metadata().abstract(),
             "aliases": {fields[i].name(): layer.attributeAlias(i) for i in range(len(fields))},
             "rows": layer.featureCount(), "spatial": layer.isSpatial()}
    if layer.isSpatial():
        facts |= {"crs": layer.crs().authid(), "renderer": layer.renderer().type(), "rules": rows_by_rule(layer),
                  "labelled": layer.labelsEnabled(), "extent": layer.extent().toString(1)}
        if layer.labelsEnabled():
            settings = layer.labeling().settings()
            facts |= {"label": settings.fieldName, "label_scale": settings.minimumScale}
    return facts


def main(source, folder, names):
    layers = {name: QgsVectorLayer(f"{source}|layername={name}", name, "ogr") for name in names}
    answer = {name: told(layer) for name, layer in layers.items() if layer.isValid()}
    spatial = {name: layer for name, layer in layers.items() if layer.isSpatial()}
    for name, layer in spatial.items():
        whole = QgsRectangle(layer.extent())
        whole.grow(60)
        answer[name] |= picture([layer], Path(folder) / f"{name}.png", whole)
    # As a GIS stacks layers that are added at once: points above lines above areas.
    stack = sorted(spatial.values(), key=lambda layer: layer.geometryType())
    near = QgsRectangle(layers["structures"].extent())
    answer["map"] = picture(stack, Path(folder) / "map.png", near)
    east, north = near.xMinimum(), near.yMinimum()
    answer["near"] = picture(stack, Path(folder) / "near.png", QgsRectangle(east, north, east + 1200, north + 448))
    print(json.dumps(answer))


def in_gis(work):
    """Do `work(file, folder, others)` with the arguments of the command, in the GIS, and end."""
    application = QgsApplication([], False)
    application.initQgis()
    work(sys.argv[1], sys.argv[2], sys.argv[3:])
    sys.stdout.flush()
    os._exit(0)  # the bindings fall over when layers outlive the application


if __name__ == "__main__":
    in_gis(main)
