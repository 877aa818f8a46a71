"""Open styled layers in the desktop GIS, headless, say how they are drawn, and draw them.

Run by the system's Python. Reads a JSON list of jobs from standard input: ``address`` of a layer;
``sld``, a style to load instead of the layer's own; ``picture``, where to draw it; ``with``, addresses
of layers drawn below it; ``scale``, the denominator of the picture's scale. Writes a JSON list. It must not
import anything of the project or of its environment.
"""

import json
import sys

from qgis.core import (
    QgsApplication,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsFeatureRequest,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsRasterLayer,
    QgsRectangle,
    QgsRenderContext,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

WIDTH, HEIGHT, DPI = 1000, 750, 96


def describe_symbol(symbol):
    found = []
    for layer in symbol.symbolLayers():
        entry = {"class": layer.layerType(), "colour": layer.color().name(), "fill": None}
        entry["properties"] = layer.properties()
        inner = layer.subSymbol()
        if inner:
            entry["inner"] = describe_symbol(inner)
        entry["overrides"] = [
            layer.dataDefinedProperties().property(key).asExpression()
            for key in layer.dataDefinedProperties().propertyKeys()
            if layer.dataDefinedProperties().property(key).isActive()
        ]
        found.append(entry)
    return found


def describe_classes(layer):
    renderer = layer.renderer()
    kind = renderer.type()
    classes = []
    if kind == "singleSymbol":
        classes.append({"label": None, "test": None, "symbol": describe_symbol(renderer.symbol())})
    elif kind == "categorizedSymbol":
        for rule in renderer.categories():
            classes.append(
                {
                    "label": rule.label(),
                    "test": rule.value(),
                    "symbol": describe_symbol(rule.symbol()),
                }
            )
    elif kind == "graduatedSymbol":
        for rule in renderer.ranges():
            classes.append(
                {
                    "label": rule.label(),
                    "test": [rule.lowerValue(), rule.upperValue()],
                    "symbol": describe_symbol(rule.symbol()),
                }
            )
    elif kind == "RuleRenderer":
        for rule in renderer.rootRule().children():
            test = "ELSE" if rule.isElse() else rule.filterExpression()
            classes.append(
                {
                    "label": rule.label(),
                    "test": test,
                    "smallest": rule.minimumScale(),
                    "symbol": describe_symbol(rule.symbol()) if rule.symbol() else None,
                }
            )
    return classes


def count_by_class(layer):
    """Count features by the label of the class that draws them; None counts those that none draws."""
    renderer = layer.renderer().clone()
    context = QgsRenderContext()
    context.setRendererScale(100)
    scope = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setExpressionContext(scope)
    labels = {
        item.ruleKey(): item.label() for item in renderer.legendSymbolItems() if item.symbol()
    }
    renderer.startRender(context, layer.fields())
    # As drawing does it: what the renderer asks the file for is all that can be drawn.
    request = QgsFeatureRequest()
    wanted = renderer.filter(layer.fields())
    if wanted:
        request.setFilterExpression(wanted)
    counts = {}
    for feature in layer.getFeatures(request):
        context.expressionContext().setFeature(feature)
        symbols = renderer.originalSymbolsForFeature(feature, context)
        keys = renderer.legendKeysForFeature(feature, context) if symbols else set()
        for label in {labels[key] for key in keys if key in labels} or {None}:
            counts[str(label)] = counts.get(str(label), 0) + 1
    renderer.stopRender(context)
    return counts


def describe_labels(layer):
    labelling = layer.labeling()
    if labelling is None or not layer.labelsEnabled():
        return None
    if labelling.type() == "rule-based":
        rules = labelling.rootRule().children()
        settings, below = rules[0].settings(), rules[0].minimumScale()
    else:
        settings, below = labelling.settings(), labelling.settings().minimumScale
    text = settings.format()
    return {
        "type": labelling.type(),
        "field": settings.fieldName,
        "is_expression": settings.isExpression,
        "scale_limited": settings.scaleVisibility,
        "below": below,
        "size": text.size(),
        "colour": text.color().name(),
        "families": text.families(),
        "halo": text.buffer().enabled(),
        "halo_mm": text.buffer().size(),
        "displays_all": settings.displayAll,
        "placement": int(settings.placement),
        "valid": not settings.isExpression or not settings.getLabelExpression().hasParserError(),
    }


def draw(layer, job):
    below = [QgsVectorLayer(address, address, "ogr") for address in job.get("with", [])]
    settings = QgsMapSettings()
    settings.setLayers([layer, *reversed(below)])
    settings.setDestinationCrs((below[0] if below else layer).crs())
    if job.get("crs"):
        from qgis.core import QgsCoordinateReferenceSystem

        settings.setDestinationCrs(QgsCoordinateReferenceSystem.fromWkt(job["crs"]))
    settings.setOutputSize(QSize(WIDTH, HEIGHT))
    settings.setOutputDpi(DPI)
    settings.setBackgroundColor(QColor("white"))
    extent = job.get("extent")
    if extent:
        settings.setExtent(QgsRectangle(*extent))
    else:
        box = settings.layerExtentToOutputExtent(layer, layer.extent())
        box.scale(1.15)
        settings.setExtent(box)
    if job.get("scale"):
        box = settings.visibleExtent()
        box.scale(job["scale"] / settings.scale())
        settings.setExtent(box)
    work = QgsMapRendererParallelJob(settings)
    work.start()
    work.waitForFinished()
    work.renderedImage().save(job["picture"])
    return {"scale": settings.scale(), "errors": [error.message for error in work.errors()]}


def describe_raster(job):
    layer = QgsRasterLayer(job["raster"], job.get("title", "raster"), "gdal")
    renderer = layer.renderer()
    found = {"valid": layer.isValid(), "renderer": renderer.type(), "crs": layer.crs().isValid()}
    if renderer.type() == "singlebandpseudocolor":
        items = renderer.shader().rasterShaderFunction().colorRampItemList()
        found["band"] = renderer.band()
        found["items"] = [[item.value, item.color.name(), item.label] for item in items]
    if job.get("picture"):
        found["drawn"] = draw(layer, job)
    return found


def describe(job):
    if job.get("raster"):
        return describe_raster(job)
    layer = QgsVectorLayer(job["address"], job.get("title", "layer"), "ogr")
    if not layer.isValid():
        return {"valid": False}
    said = None
    if job.get("sld"):
        said, fine = layer.loadSldStyle(job["sld"])
        if not fine:
            return {"valid": True, "loaded": False, "said": said}
    found = {"valid": True, "loaded": True, "said": said, "count": layer.featureCount()}
    found["aliases"] = {field.name(): field.alias() for field in layer.fields()}
    found["notes"] = layer.customProperty("userNotes")
    if layer.isSpatial():
        renderer = layer.renderer()
        found |= {
            "renderer": renderer.type(),
            "attribute": renderer.classAttribute() if hasattr(renderer, "classAttribute") else None,
            "ordered": renderer.orderByEnabled()
            and [c.expression().expression() for c in renderer.orderBy().list()],
            "classes": describe_classes(layer),
            "counts": count_by_class(layer),
            "labels": describe_labels(layer),
            "below": layer.minimumScale() if layer.hasScaleBasedVisibility() else None,
            "crs": layer.crs().isValid(),
        }
        if job.get("picture"):
            found["drawn"] = draw(layer, job)
    return found


def main():
    application = QgsApplication([], False)
    application.initQgis()
    said = []
    application.messageLog().messageReceived.connect(
        lambda text, tag, level: said.append(f"{tag}: {text}") if level else None
    )
    found = [describe(job) for job in json.load(sys.stdin)]
    application.exitQgis()
    json.dump({"layers": found, "said": said}, sys.stdout, default=str)


if __name__ == "__main__":
    main()
