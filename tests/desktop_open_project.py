"""Run by the system's Python: open a project in the desktop GIS and tell what it sees, as JSON.

Read from standard input: ``project``, ``styles`` (by layer id, a QML document) and ``pictures``, a
folder for what the layouts print, or null.
"""

import json
import sys
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsExpression,
    QgsExpressionContext,
    QgsExpressionContextUtils,
    QgsFillSymbol,
    QgsLayerTreeGroup,
    QgsLayoutExporter,
    QgsLayoutItemLegend,
    QgsLayoutItemMap,
    QgsLineSymbol,
    QgsMapLayer,
    QgsProject,
    QgsReadWriteContext,
    QgsSingleSymbolRenderer,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtXml import QDomDocument

#: Of the pictures.
DPI = 300


def tree_of(node):
    """Give the tree as names: of a group with what it holds, of a layer with whether it is shown."""
    found = []
    for child in node.children():
        checked = child.itemVisibilityChecked()
        if isinstance(child, QgsLayerTreeGroup):
            inside = tree_of(child)
            found.append([child.name(), checked, child.isMutuallyExclusive(), inside])
        else:
            found.append([child.layerId(), checked, child.isVisible()])
    return found


def renderer_of(layer):
    """Give how a layer is drawn, as the desktop GIS itself would write it."""
    if layer.renderer() is None:
        return ""
    document = QDomDocument()
    document.appendChild(layer.renderer().save(document, QgsReadWriteContext()))
    return document.toString()


def styled(layer, style, folder):
    """Give how the layer would be drawn if it were opened anew and the style applied by hand."""
    path = Path(folder) / "style.qml"
    path.write_text(style, encoding="utf-8")
    bare = QgsVectorLayer(layer.source(), "bare", "ogr")
    _, fine = bare.loadNamedStyle(str(path))
    return renderer_of(bare) if fine else "the style cannot be read"


def label_of(layer):
    """Give the label of the layer's first feature, as it is worked out; None without labels."""
    feature = next(layer.getFeatures(), None)
    if not layer.labelsEnabled() or feature is None:
        return None
    settings = layer.labeling().settings()
    if not settings.isExpression:
        return str(feature[settings.fieldName])
    context = QgsExpressionContext(QgsExpressionContextUtils.globalProjectLayerScopes(layer))
    context.setFeature(feature)
    expression = QgsExpression(settings.fieldName)
    value = expression.evaluate(context)
    return expression.evalErrorString() or str(value)


def layer_seen(layer, styles, folder):
    seen = {
        "name": layer.name(),
        "valid": layer.isValid(),
        "source": layer.source(),
        "crs": layer.crs().authid(),
        "wkt": layer.crs().toWkt(),
        "crs_valid": layer.crs().isValid(),
    }
    if layer.type() == QgsMapLayer.VectorLayer and layer.isValid():
        seen["spatial"] = layer.isSpatial()
        seen["count"] = layer.featureCount()
        seen["renderer"] = renderer_of(layer)
        seen["label"] = label_of(layer)
        if layer.id() in styles:
            seen["styled"] = styled(layer, styles[layer.id()], folder)
    return seen


def rectangle(item):
    box = item.sceneBoundingRect()
    return [box.x(), box.y(), box.width(), box.height()]


def layout_seen(layout, pictures):
    page = layout.pageCollection().page(0).pageSize()
    items = {item.id(): item for item in layout.items() if getattr(item, "id", str)()}
    map_item = next(item for item in items.values() if isinstance(item, QgsLayoutItemMap))
    legend = next(item for item in items.values() if isinstance(item, QgsLayoutItemLegend))
    exporter = QgsLayoutExporter(layout)
    name = layout.name().replace(", ", "-").replace(" ", "-")
    seen = {
        "page": [page.width(), page.height()],
        "scale": map_item.scale(),
        "crs_wkt": map_item.crs().toWkt(),
        "extent": box_of(map_item.extent()),
        "theme": map_item.followVisibilityPresetName(),
        "follows": map_item.followVisibilityPreset(),
        "layers": [layer.id() for layer in map_item.layersToRender()],
        # Width that a text on one line would take, and that of its room.
        "one_line": {
            own: [items[own].sizeForText().width(), items[own].rect().width()]
            for own in ("kind of sheet", "facts", "scale")
        },
        "scale_text": items["scale"].currentText(),
        "texts": [item.currentText() for item in items.values() if hasattr(item, "currentText")],
    }
    if pictures:
        path = str(Path(pictures) / name)
        seen["pdf"] = f"{path}.pdf"
        seen["printed"] = exporter.exportToPdf(seen["pdf"], exporter.PdfExportSettings())
        exporter.renderPageToImage(0, QSize(), DPI).save(f"{path}.png")
        seen["page_png"] = f"{path}.png"
    legend.adjustBoxSize()
    seen["legend"] = [layer.name() for layer in legend.model().rootGroup().findLayers()]
    seen["items"] = {own: rectangle(item) for own, item in items.items()}
    return seen


def box_of(extent):
    return [extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()]


def measure(project, pictures):
    """Print the map of each layout with nothing but the subject's outline or the tapes, in red."""
    (parcels,), (tapes,) = map(project.mapLayersByName, ("Parcels", "Base lines"))
    parcels.setSubsetString("is_subject")
    thin = {"color": "0,0,0,0", "outline_color": "255,0,0,255", "outline_width": "0.05"}
    parcels.setRenderer(QgsSingleSymbolRenderer(QgsFillSymbol.createSimple(thin)))
    thin = {"color": "255,0,0,255", "width": "0.05"}
    tapes.setRenderer(QgsSingleSymbolRenderer(QgsLineSymbol.createSimple(thin)))
    made = {}
    for layout in project.layoutManager().printLayouts():
        (map_item,) = (item for item in layout.items() if isinstance(item, QgsLayoutItemMap))
        shown = tapes if layout.name().startswith("Stake-out") else parcels
        shown.setLabelsEnabled(False)
        map_item.setFollowVisibilityPreset(False)
        map_item.setLayers([shown])
        map_item.setKeepLayerSet(True)
        path = Path(pictures) / f"outline-{len(made)}.png"
        exporter = QgsLayoutExporter(layout)
        exporter.renderPageToImage(0, QSize(), DPI).save(str(path))
        made[layout.name()] = str(path)
    return made


def main():
    asked = json.load(sys.stdin)
    application = QgsApplication([], False)
    application.initQgis()
    project = QgsProject.instance()
    read = project.read(asked["project"])
    seen = {
        "read": read,
        "title": project.title(),
        "crs_valid": project.crs().isValid(),
        "crs_wkt": project.crs().toWkt(),
        "ellipsoid": project.ellipsoid(),
        "view": box_of(project.viewSettings().defaultViewExtent()),
        "tree": tree_of(project.layerTreeRoot()),
        "themes": {
            name: project.mapThemeCollection().mapThemeVisibleLayerIds(name)
            for name in project.mapThemeCollection().mapThemes()
        },
        "layers": {
            own: layer_seen(layer, asked["styles"], asked["home"])
            for own, layer in project.mapLayers().items()
        },
        "layouts": {
            layout.name(): layout_seen(layout, asked["pictures"])
            for layout in project.layoutManager().printLayouts()
        },
    }
    if asked["pictures"]:
        seen["outlines"] = measure(project, asked["pictures"])
    json.dump(seen, sys.stdout)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
