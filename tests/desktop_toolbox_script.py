"""Drive the toolbox by the desktop GIS's Python bindings; run by the system's Python.

    desktop_toolbox_script.py PLUGINS SCENARIO SITE OUT

prints one JSON object. The scenarios are the functions below.
"""

# ruff: noqa: N802 (the names are those of the desktop GIS)

import json
import sys
import threading
import time
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsCoordinateTransform,
    QgsFeature,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingFeedback,
    QgsProcessingOutputLayerDefinition,
    QgsProject,
    QgsVectorLayer,
)

plugins, scenario, site, out = sys.argv[1:5]
site, out = Path(site), Path(out)

application = QgsApplication([], False)
application.initQgis()
sys.path[:0] = ["/usr/share/qgis/python/plugins", plugins]

from processing.core.Processing import Processing  # noqa: E402 (only after the desktop GIS is up)
from processing.gui.Postprocessing import handleAlgorithmResults  # noqa: E402
from screenplan_toolbox import classFactory  # noqa: E402

Processing.initialize()
plugin = classFactory(None)
plugin.initProcessing()


class Feedback(QgsProcessingFeedback):
    """Keeps what it is told."""

    def __init__(self):
        super().__init__(False)
        self.told = []

    def reportError(self, text, fatal=False):
        self.told.append(text)

    def pushInfo(self, text):
        self.told.append(text)

    def pushWarning(self, text):
        self.told.append(text)

    def setProgressText(self, text):
        self.told.append(text)


def algorithm(name):
    return QgsApplication.processingRegistry().algorithmById(f"screenplan:{name}").create()


def run(name, parameters):
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    feedback = Feedback()
    chosen = algorithm(name)
    fine, message = chosen.checkParameterValues(parameters, context)
    if not fine:
        raise QgsProcessingException(message)
    results, done = chosen.run(parameters, context, feedback)
    assert done, feedback.told
    return results, context, feedback


def parcels():
    layer = QgsVectorLayer(f"{site}/site.gpkg|layername=parcels", "parcels", "ogr")
    assert layer.isValid()
    return layer


def cancel():
    """Cancel a whole plan in the middle of it."""
    feedback = Feedback()
    progress = []

    def watch():
        while feedback.progress() < 20:
            time.sleep(0.05)
        progress.append(feedback.progress())
        feedback.cancel()

    threading.Thread(target=watch, daemon=True).start()
    context = QgsProcessingContext()
    parameters = {"PLAN": str(site / "hillside.toml"), "OUTPUT": str(out / "plan")}
    started = time.monotonic()
    try:
        algorithm("plan_file").run(parameters, context, feedback, {}, False)
    except QgsProcessingException as error:
        return {"says": str(error), "at": progress, "seconds": time.monotonic() - started}
    return {"says": None, "at": progress}


def layers():
    """Hand over layers as the desktop GIS has them: in memory, filtered, selected, edited."""
    whole = parcels()
    seen = {}

    def sides(layer, **more):
        parameters = {"PARCELS": layer, "OUTPUT_SIDES": "memory:", **more}
        results, context, _ = run("sides", parameters)
        given = context.takeResultLayer(results["OUTPUT_SIDES"])
        return {
            "rows": given.featureCount(),
            "crs": given.crs().authid(),
            "length_m": sum(row["length_m"] for row in given.getFeatures()),
        }

    seen["file"] = sides(whole, SUBJECT_ID="LR-7")

    memory = QgsVectorLayer("Polygon?crs=EPSG:4326&field=lot:string", "drawn", "memory")
    rows = [row for row in whole.getFeatures() if row["parcel_id"] == "LR-7"]
    change = QgsCoordinateTransform(whole.crs(), memory.crs(), QgsProject.instance())
    made = QgsFeature(memory.fields())
    made.setAttributes(["LR-7"])
    shape = rows[0].geometry()
    shape.transform(change)
    made.setGeometry(shape)
    memory.dataProvider().addFeatures([made])
    seen["memory"] = sides(memory, PARCEL_ID="lot")

    filtered = parcels()
    filtered.setSubsetString("parcel_id = 'LR-7'")
    seen["filtered"] = sides(filtered)

    chosen = parcels()
    QgsProject.instance().addMapLayer(chosen)
    chosen.selectByExpression("parcel_id = 'LR-7'")
    seen["selected"] = sides(QgsProcessingFeatureSourceDefinition(chosen.id(), True))

    point = rows[0].geometry().pointOnSurface().asPoint()
    seen["point"] = sides(whole, SUBJECT_POINT=f"{point.x()},{point.y()} [{whole.crs().authid()}]")

    edited = parcels()
    edited.startEditing()
    row = next(row for row in edited.getFeatures() if row["parcel_id"] == "LR-7")
    edited.changeAttributeValue(row.id(), edited.fields().indexOf("parcel_id"), "not saved")
    seen["edited"] = sides(edited, SUBJECT_ID="not saved")
    edited.rollBack()

    seen["other system"] = sides(whole, SUBJECT_ID="LR-7", CRS="EPSG:4326")
    return seen


def styled():
    """Load the results of a step and of a plan as the desktop GIS does, and look at their style."""
    project = QgsProject.instance()
    context = QgsProcessingContext()
    context.setProject(project)
    feedback = Feedback()
    chosen = algorithm("sides")
    destination = str(out / "sides.gpkg")
    parameters = {"PARCELS": parcels(), "SUBJECT_ID": "LR-7"}
    parameters["OUTPUT_SIDES"] = QgsProcessingOutputLayerDefinition(destination, project)
    _, done = chosen.run(parameters, context, feedback)
    assert done, feedback.told
    handleAlgorithmResults(chosen, context, feedback)
    loaded = list(project.mapLayers().values())
    return {
        "layers": [layer.name() for layer in loaded],
        "renderers": [layer.renderer().type() for layer in loaded],
        "aliases": [layer.attributeAlias(layer.fields().indexOf("length_m")) for layer in loaded],
        "told": feedback.told,
    }


def loaded():
    """Run a plan file and have its layers loaded, as the desktop GIS does when a form is done."""
    project = QgsProject.instance()
    context = QgsProcessingContext()
    context.setProject(project)
    feedback = Feedback()
    chosen = algorithm("plan_file")
    parameters = {"PLAN": str(site / "hillside.toml"), "OUTPUT": str(out / "plan"), "LOAD": True}
    _, done = chosen.run(parameters, context, feedback)
    assert done, feedback.told
    handleAlgorithmResults(chosen, context, feedback)
    return {
        layer.name(): {
            "rows": layer.featureCount(),
            "renderer": layer.renderer().type() if layer.isSpatial() else None,
            "symbols": len(layer.renderer().legendSymbolItems()) if layer.isSpatial() else None,
        }
        for layer in project.mapLayers().values()
    }


def forms():
    """Look at every form: the kind of each input, its unit, range and help."""
    provider = QgsApplication.processingRegistry().providerById("screenplan")
    seen = {}
    for one in provider.algorithms():
        seen[one.name()] = {
            "does": one.shortDescription(),
            "help": one.shortHelpString(),
            "icon": not one.icon().isNull(),
            "group": one.group(),
            "inputs": {
                entry.name(): {
                    "type": entry.type(),
                    "optional": bool(entry.flags() & entry.FlagOptional),
                    "help": entry.help(),
                    "filter": [int(kind) for kind in entry.dataTypes()]
                    if entry.type() == "source"
                    else None,
                    "low": entry.minimum() if entry.type() in ("distance", "number") else None,
                    "high": entry.maximum() if entry.type() in ("distance", "number") else None,
                    "default": entry.defaultValue()
                    if entry.type() in ("distance", "number")
                    else None,
                    "options": entry.options() if entry.type() == "enum" else None,
                    "unit": int(entry.defaultUnit()) if entry.type() == "distance" else None,
                }
                for entry in one.parameterDefinitions()
            },
        }
    return seen


print(json.dumps(globals()[scenario](), ensure_ascii=False, default=str))
sys.stdout.flush()
plugin.unload()
application.exitQgis()
