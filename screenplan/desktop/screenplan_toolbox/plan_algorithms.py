"""Whole plans: from a plan file, and from layers picked in a form."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingOutputFile,
    QgsProcessingOutputHtml,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFile,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterString,
)

from . import forms
from .algorithm import Algorithm, whole_path
from .help_text import plan_help

OUTPUT, LOAD, REPORT, PACKAGE = "OUTPUT", "LOAD", "REPORT", "PLAN_GPKG"

GIVES = (
    "It writes a folder, whole or not at all: the report (report.html), all layers and tables "
    "(plan.gpkg, and each as GeoJSON or CSV), the stake-out for other programs, and a record of the run."
)


class _Plan(Algorithm):
    """What both have in common: the folder that is written, and its layers loaded."""

    def group(self):
        return "0 Whole plan"

    def groupId(self):
        return "plan"

    def add_common(self):
        self.addParameter(
            forms.advanced(
                QgsProcessingParameterString(
                    forms.SETTINGS,
                    'Other keys of the plan, one a line, such as rows.move = "0.5 m"',
                    multiLine=True,
                    optional=True,
                )
            )
        )
        self.addParameter(
            QgsProcessingParameterBoolean(LOAD, "Load the plan's layers when it is done", True)
        )
        self.addParameter(QgsProcessingParameterFolderDestination(OUTPUT, "Folder of the plan"))
        self.addOutput(QgsProcessingOutputHtml(REPORT, "Report"))
        self.addOutput(QgsProcessingOutputFile(PACKAGE, "Layers of the plan"))

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
        return "Plan from a plan file"

    def shortDescription(self):
        return "Run every step of a plan file and write its folder."

    def shortHelpString(self):
        lead = (
            "Runs every step of a plan file, as 'screenplan run' does.",
            "'screenplan start' makes a commented plan file from the layers that you have; the form "
            "'Plan from layers' writes one too.",
            GIVES,
        )
        return plan_help(lead, ())

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.addParameter(QgsProcessingParameterFile(forms.PLAN, "Plan file", extension="toml"))
        self.add_common()

    def processAlgorithm(self, parameters, context, feedback):
        with self.job_folder() as folder:
            job = {
                "task": "plan_file",
                "plan": whole_path(self.parameterAsFile(parameters, forms.PLAN, context)),
                "settings": self.settings_of(parameters, context),
                "out": self.folder_of(parameters, context),
            }
            done = self.run_library(job, folder, feedback)
        return self.finish(done, parameters, context, feedback)


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
        return "Plan from layers"

    def shortDescription(self):
        return "Run every step on layers that you have, and write the plan's folder."

    def shortHelpString(self):
        lead = (
            "Runs every step on the layers that you pick, with the main choices; only the parcels are "
            "needed, and what cannot be judged without other layers is listed in the report.",
            "The folder also keeps the layers as they were handed over (inputs.gpkg) and the plan file "
            "(screen.toml) with every key, its help and its range: edit it, and run it again with the "
            "form 'Plan from a plan file' or 'screenplan run'. The plan itself is in screen_plan.",
            GIVES,
        )
        return plan_help(lead, self.values, self.layers)

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.add_layers()
        for parameter in forms.ground_parameters(used=True):
            self.addParameter(parameter)
        for entry in self.values:
            self.addParameter(forms.value_parameter(entry))
        self.addParameter(forms.advanced(forms.columns_parameter()))
        self.add_common()

    def processAlgorithm(self, parameters, context, feedback):
        with self.job_folder() as folder:
            job = {
                "task": "plan_layers",
                **self.handed_over(parameters, context, folder, feedback),
                "settings": self.settings_of(parameters, context),
                "out": self.folder_of(parameters, context),
            }
            done = self.run_library(job, folder, feedback)
        return self.finish(done, parameters, context, feedback)
