"""Open layers in the desktop GIS, headless, and say what it sees; run by the system's Python.

Reads a JSON list of layer addresses from standard input and writes a JSON list to standard
output. It must not import anything of the project or of its environment.
"""

import json
import sys

from qgis.core import (
    QgsApplication,
    QgsCoordinateReferenceSystem,
    QgsVectorLayer,
    QgsWkbTypes,
)

KINDS = {
    QgsWkbTypes.PointGeometry: "points",
    QgsWkbTypes.LineGeometry: "lines",
    QgsWkbTypes.PolygonGeometry: "areas",
}


def describe(address):
    layer = QgsVectorLayer(address, "layer", "ogr")
    if not layer.isValid():
        return {"address": address, "valid": False}
    features = list(layer.getFeatures())
    extent = layer.extent()
    crs = layer.crs()
    geometries = [feature.geometry() for feature in features if feature.hasGeometry()]
    return {
        "address": address,
        "valid": True,
        "promised": layer.featureCount(),
        "count": len(features),
        "crs_valid": crs.isValid(),
        "crs": crs.authid(),
        "crs_wkt": crs.toWkt(QgsCoordinateReferenceSystem.WKT2_2019),
        "extent": [extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()],
        "kind": KINDS.get(layer.geometryType()),
        "layer_type": QgsWkbTypes.displayString(layer.wkbType()),
        "types": sorted({QgsWkbTypes.displayString(shape.wkbType()) for shape in geometries}),
        "all_valid": all(shape.isGeosValid() for shape in geometries),
        "fields": {field.name(): field.typeName() for field in layer.fields()},
        "first": [str(value) for value in features[0].attributes()] if features else [],
    }


def main():
    application = QgsApplication([], False)
    application.initQgis()
    found = [describe(address) for address in json.load(sys.stdin)]
    application.exitQgis()
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
