"""One step of the library as a form."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingParameterFeatureSink

from . import forms
from .algorithm import Algorithm, whole_path
from .handover import take_back
from .help_text import step_help
from .words import tr


class StepAlgorithm(Algorithm):
    """A step: its layers and values in, its layers out."""

    def __init__(self, toolbox, step):
        super().__init__(toolbox)
        self.step = step
        self.layers, self.values = step["inputs"], step["parameters"]

    def createInstance(self):
        return StepAlgorithm(self.toolbox, self.step)

    def name(self):
        return self.step["name"]

    def displayName(self):
        does = tr(self.step["does"])
        # The desktop GIS sorts by name: the number keeps the order in which the steps run.
        return f"{self.step['number']:02d} {tr(self.step['title'])}: {does[0].lower()}{does[1:]}"

    def group(self):
        return tr(self.step["group"])

    def groupId(self):
        return self.step["group_id"]

    def shortDescription(self):
        return tr(self.step["does"]) + "."

    def shortHelpString(self):
        return step_help(self.step, tr)

    def tags(self):
        return [self.step["name"], *(layer["name"] for layer in self.step["outputs"])]

    def initAlgorithm(self, configuration=None):  # noqa: ARG002
        self.add_layers()
        for entry in self.values:
            self.addParameter(forms.value_parameter(entry))
        for parameter in forms.ground_parameters(used=self.step["on_terrain"]):
            self.addParameter(parameter)
        for parameter in forms.common_parameters():
            self.addParameter(parameter)
        first = True
        for layer in self.step["outputs"]:
            for part in layer["parts"]:
                self.addParameter(
                    QgsProcessingParameterFeatureSink(
                        output_name(part),
                        tr(part["title"]),
                        forms.FILTERS[part["kind"]],
                        None,
                        not first,
                        True,
                    )
                )
                first = False

    def processAlgorithm(self, parameters, context, feedback):
        parameters = self.by_word(parameters)
        with self.job_folder() as folder:
            crs = self._results_crs(parameters, context)
            job = {
                "task": "step",
                "step": self.step["name"],
                **self.handed_over(parameters, context, folder, feedback),
                "plan": whole_path(self.parameterAsFile(parameters, forms.PLAN, context)) or None,
                "crs": crs.authid(),
                "crs_wkt": crs.toWkt(crs.WKT2_2019) if crs.isValid() else "",
                "result": str(folder / "result.gpkg"),
            }
            self.run_library(job, folder, feedback)
            results = {}
            for layer in self.step["outputs"]:
                for part in layer["parts"]:
                    name = output_name(part)
                    destination = take_back(
                        self, name, job["result"], part["name"], parameters, context, crs, feedback
                    )
                    if destination is not None:
                        results[name] = destination
                        self.style(destination, part["name"], context)
            return results

    def _results_crs(self, parameters, context):
        """Give the system chosen in the form, or that of the parcels, or that of the first layer."""
        chosen = self.parameterAsCrs(parameters, forms.CRS, context)
        if parameters.get(forms.CRS) not in (None, "") and chosen.isValid():
            return chosen
        layers = sorted(self.step["inputs"], key=lambda layer: layer["name"] != "parcels")
        for layer in layers:
            for part in layer["parts"]:
                name = part["name"].upper()
                if part["kind"] != "table" and parameters.get(name) not in (None, ""):
                    source = self.parameterAsSource(parameters, name, context)
                    if source is not None and source.sourceCrs().isValid():
                        return source.sourceCrs()
        return QgsCoordinateReferenceSystem()


def output_name(part):
    """Name of the form's output for a layer as it is written."""
    return f"OUTPUT_{part['name'].upper()}"
