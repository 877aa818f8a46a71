"""Whole plans: from a plan file, and from layers picked in a form."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

import json
from pathlib import Path

from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingOutputFile,
    QgsProcessingOutputHtml,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterNumber,
    QgsProcessingParameterString,
)

from . import forms
from .algorithm import Algorithm, whole_path
from .help_text import plan_help
from .words import tr

OUTPUT, LOAD, REPORT, PACKAGE = "OUTPUT", "LOAD", "REPORT", "PLAN_GPKG"
IDS, WORKERS, PLANTS, LINES = "IDS", "WORKERS", "PLANTS", "LINES"


def _gives():
    return tr(
        "It writes a folder, whole or not at all: the report (report.html), all layers and tables "
        "(plan.gpkg, and each as GeoJSON or CSV), the stake-out for other programs, and a record of the run."
    )


class _Plan(Algorithm):
    """What both have in common: the folder that is written, and its layers loaded."""

    def group(self):
        return tr("0 Whole plan")

    def groupId(self):
        return "plan"

    def add_common(self):
        self.addParameter(
            forms.advanced(
                QgsProcessingParameterString(
                    forms.SETTINGS,
                    tr('Other keys of the plan, one a line, such as rows.move = "0.5 m"'),
                    multiLine=True,
                    optional=True,
                )
            )
        )
        self.addParameter(
            QgsProcessingParameterBoolean(LOAD, tr("Load the plan's layers when it is done"), True)
        )
        self.addParameter(QgsProcessingParameterFolderDestination(OUTPUT, tr("Folder of the plan")))
        self.addOutput(QgsProcessingOutputHtml(REPORT, tr("Report")))
        self.addOutput(QgsProcessingOutputFile(PACKAGE, tr("Layers of the plan")))

    def settings_of(self, parameters, context):
        text = self.parameterAsString(parameters, forms.SETTINGS, context)
        return [line.strip() for line in text.splitlines() if line.strip()]

    def folder_of(self, parameters, context):
        folder = self.parameterAsString(parameters, OUTPUT, context)
        if not folder:
            raise QgsProcessingException("No folder is chosen for the plan. Choose one.")
        return whole_path(folder)

    def finish(self, done, parameters, context, feedback):
        """Tell what was written, and have the layers loaded."""
        folder = Path(done["folder"])
        package = folder / "plan.gpkg"
        if self.parameterAsBoolean(parameters, LOAD, context) and context.project() is not None:
            for layer in done["layers"]:
                if layer["rows"]:
                    uri = f"{package}|layername={layer['name']}"
                    details = QgsProcessingContext.LayerDetails(
                        layer["title"], context.project(), layer["name"]
                    )
                    details.forceName = True  # rather than the name in the file
                    context.addLayerToLoadOnCompletion(uri, details)
                    self.style(uri, layer["name"], context)
        feedback.pushInfo(f"Written: {folder}")
        if (folder / "plan.qgz").is_file():
            feedback.pushInfo(f"The finished map is the project {folder / 'plan.qgz'}")
        return {
            OUTPUT: self.parameterAsString(parameters, OUTPUT, context),
            REPORT: str(folder / "report.html"),
            PACKAGE: str(package),
        }


class PlanFromFile(_Plan):
    """A plan file, run."""

    def createInstance(self):
        return PlanFromFile(self.toolbox)

    def name(self):
        return "plan_file"

    def displayName(self):
        return tr("Plan from a plan file")

    def shortDescription(self):
        return tr("Run every step of a plan file and write its folder.")

    def shortHelpString(self):
        lead = (
            tr("Runs every step of a plan file, as 'screenplan run' does."),
            tr(
                "'screenplan start' makes a commented plan file from the layers that you have; the form "
                "'Plan from layers' writes one too."
            ),
            tr(
                "Several lots can be planned together, as a street: one order, one calendar, one stake-out, and costs "
                "by lot. Name their identifiers."
            ),
            _gives(),
        )
        return plan_help(lead, (), tr=tr)

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.addParameter(QgsProcessingParameterFile(forms.PLAN, tr("Plan file"), extension="toml"))
        self.addParameter(
            QgsProcessingParameterString(
                IDS,
                tr("Identifiers of several lots that are one plan, a street, such as 12, 14, 16"),
                optional=True,
            )
        )
        self.add_common()

    def processAlgorithm(self, parameters, context, feedback):
        parameters = self.by_word(parameters)
        with self.job_folder() as folder:
            job = {
                "task": "plan_file",
                "plan": whole_path(self.parameterAsFile(parameters, forms.PLAN, context)),
                "settings": [
                    *self.settings_of(parameters, context),
                    *self._lots(parameters, context),
                ],
                "out": self.folder_of(parameters, context),
            }
            done = self.run_library(job, folder, feedback)
        return self.finish(done, parameters, context, feedback)

    def _lots(self, parameters, context):
        """Give the setting for the lots of a street; none if none is named."""
        text = self.parameterAsString(parameters, IDS, context)
        names = [name.strip() for name in text.split(",") if name.strip()]
        return [f"subject.ids={json.dumps(names, ensure_ascii=False)}"] if names else []


class PlanFromLayers(_Plan):
    """Layers of the desktop GIS and the main choices, run as a plan."""

    def __init__(self, toolbox):
        super().__init__(toolbox)
        self.layers, self.values = toolbox["inputs"], toolbox["plan_values"]

    def createInstance(self):
        return PlanFromLayers(self.toolbox)

    def name(self):
        return "plan_layers"

    def displayName(self):
        return tr("Plan from layers")

    def shortDescription(self):
        return tr("Run every step on layers that you have, and write the plan's folder.")

    def shortHelpString(self):
        lead = (
            tr(
                "Runs every step on the layers that you pick, with the main choices; only the parcels are "
                "needed, and what cannot be judged without other layers is listed in the report."
            ),
            tr(
                "The folder also keeps the layers as they were handed over (inputs.gpkg) and the plan file "
                "(screen.toml) with every key, its help and its range: edit it, and run it again with the "
                "form 'Plan from a plan file' or 'screenplan run'. The plan itself is in screen_plan."
            ),
            _gives(),
        )
        return plan_help(lead, self.values, self.layers, tr)

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.add_layers()
        for parameter in forms.ground_parameters(used=True):
            self.addParameter(parameter)
        for entry in self.values:
            self.addParameter(forms.value_parameter(entry))
        self.addParameter(forms.advanced(forms.columns_parameter()))
        self.add_common()

    def processAlgorithm(self, parameters, context, feedback):
        parameters = self.by_word(parameters)
        with self.job_folder() as folder:
            job = {
                "task": "plan_layers",
                **self.handed_over(parameters, context, folder, feedback),
                "settings": self.settings_of(parameters, context),
                "out": self.folder_of(parameters, context),
            }
            done = self.run_library(job, folder, feedback)
        return self.finish(done, parameters, context, feedback)


class County(Algorithm):
    """Every parcel of a file by one plan."""

    def createInstance(self):
        return County(self.toolbox)

    def name(self):
        return "county"

    def displayName(self):
        return tr("County from a plan file")

    def group(self):
        return tr("0 Whole plan")

    def groupId(self):
        return "plan"

    def shortDescription(self):
        return tr("Plan every parcel of the plan file's layer of parcels, one after the other.")

    def shortHelpString(self):
        lead = (
            tr(
                "Plans every parcel of a file by one plan file, as 'screenplan county' does: its section [county] says "
                "which sides are planted. Nothing is designed: sides are planted from end to end."
            ),
            tr(
                "A parcel that cannot be planned is set aside and listed, and stops nothing. What was begun is gone on "
                "with when the form is run again on the same folder."
            ),
            tr(
                "It writes GeoParquet in parts, and county.gpkg, a map of the whole. It needs the library's part for "
                'counties: pip install "screenplan[county]".'
            ),
        )
        return plan_help(lead, (), tr=tr)

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.addParameter(QgsProcessingParameterFile(forms.PLAN, tr("Plan file"), extension="toml"))
        processes = QgsProcessingParameterNumber(
            WORKERS,
            tr("Processes of this machine"),
            QgsProcessingParameterNumber.Integer,
            1,
            False,
            1,
        )
        self.addParameter(processes)
        for name, label in (
            (LINES, tr("Write every row's line too")),
            (PLANTS, tr("Write every plant too")),
        ):
            self.addParameter(QgsProcessingParameterBoolean(name, label, False))
        self.addParameter(
            forms.advanced(
                QgsProcessingParameterString(
                    forms.SETTINGS,
                    tr('Other keys of the plan, one a line, such as rows.move = "0.5 m"'),
                    multiLine=True,
                    optional=True,
                )
            )
        )
        self.addParameter(
            QgsProcessingParameterBoolean(LOAD, tr("Load the map when it is done"), True)
        )
        self.addParameter(
            QgsProcessingParameterFolderDestination(OUTPUT, tr("Folder of the county"))
        )
        self.addOutput(QgsProcessingOutputFile(PACKAGE, tr("Map of the county")))

    def processAlgorithm(self, parameters, context, feedback):
        parameters = self.by_word(parameters)
        out = self.parameterAsString(parameters, OUTPUT, context)
        text = self.parameterAsString(parameters, forms.SETTINGS, context)
        with self.job_folder() as folder:
            job = {
                "task": "county",
                "plan": whole_path(self.parameterAsFile(parameters, forms.PLAN, context)),
                "settings": [line.strip() for line in text.splitlines() if line.strip()],
                "workers": self.parameterAsInt(parameters, WORKERS, context),
                "wanted": [
                    name.lower()
                    for name in (LINES, PLANTS)
                    if self.parameterAsBoolean(parameters, name, context)
                ],
                "out": whole_path(out),
            }
            done = self.run_library(job, folder, feedback)
        package = str(Path(done["folder"]) / "county.gpkg")
        if self.parameterAsBoolean(parameters, LOAD, context) and context.project() is not None:
            for layer in done["layers"]:
                details = QgsProcessingContext.LayerDetails(layer, context.project(), layer)
                context.addLayerToLoadOnCompletion(f"{package}|layername={layer}", details)
        feedback.pushInfo(f"Written: {done['folder']}")
        return {OUTPUT: out, PACKAGE: package}
