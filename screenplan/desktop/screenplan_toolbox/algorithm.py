"""What all forms have in common: how a job is given to the library, and how its answer is shown."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

import json
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

from qgis.core import (
    QgsProcessingAlgorithm,
    QgsProcessingException,
    QgsProcessingLayerPostProcessorInterface,
)
from qgis.PyQt.QtGui import QIcon

from . import forms
from .handover import hand_over
from .runner import Cancelled, NotRun, run_job
from .settings import HERE, interpreter
from .toolbox import help_url, style_file


class Style(QgsProcessingLayerPostProcessorInterface):
    """Gives a layer its default style when the desktop GIS has loaded it."""

    #: The desktop GIS keeps no reference to what Python made.
    kept: list = []  # noqa: RUF012 (shared on purpose)

    def __init__(self, file):
        super().__init__()
        self.file = str(file)
        Style.kept.append(self)

    def postProcessLayer(self, layer, context, feedback):  # noqa: ARG002
        _, fine = layer.loadNamedStyle(self.file)
        if fine:
            layer.triggerRepaint()
        else:
            feedback.pushWarning(f"The default style of {layer.name()} could not be read.")


class Algorithm(QgsProcessingAlgorithm):
    """A form whose work is done by the library, in its own interpreter."""

    def __init__(self, toolbox):
        super().__init__()
        self.toolbox = toolbox
        #: The layers and the values for which the form asks.
        self.layers: list = []
        self.values: list = []

    def icon(self):
        return QIcon(self.svgIconPath())

    def svgIconPath(self):
        return str(HERE / "icon.svg")

    def helpUrl(self):
        return help_url(self.name())

    def add_layers(self):
        """Ask for the layers, and with the parcels for the one that is planned."""
        for layer in self.layers:
            subject = forms.subject_parameters() if layer["name"] == "parcels" else ()
            for parameter in (*forms.layer_parameters(layer), *subject):
                self.addParameter(parameter)

    def checkParameterValues(self, parameters, context):
        parameters = self.by_word(parameters)
        wrong = self._wrong_value(parameters, context) or self._wrong_layer(parameters, context)
        return (False, wrong) if wrong else super().checkParameterValues(parameters, context)

    def by_word(self, parameters):
        """Give the parameters with choices by their words."""
        return forms.by_word(self.parameterDefinitions(), parameters)

    def handed_over(self, parameters, context, folder, feedback):
        """Give what every job with layers tells of them and of the values in the form."""
        values = {
            entry["key"]: forms.value_of(self, entry, parameters, context) for entry in self.values
        }
        layers = self._hand_over_layers(parameters, context, folder, feedback)
        return {
            "layers": layers,
            **(forms.subject_of(self, parameters, context) if "parcels" in layers else {}),
            "values": {key: value for key, value in values.items() if value is not None},
            "columns": self.parameterAsString(parameters, forms.COLUMNS, context),
            "terrain": self._terrain_of(parameters, context),
        }

    def _hand_over_layers(self, parameters, context, folder, feedback):
        """Write every layer that the form names; gives what the library needs to read them."""
        handed: dict = {}
        for layer in self.layers:
            for part in layer["parts"]:
                name = part["name"].upper()
                if parameters.get(name) in (None, ""):
                    continue
                source = self.parameterAsSource(parameters, name, context)
                if source is None:
                    raise QgsProcessingException(self._no_source(part, parameters[name]))
                entry = hand_over(source, part["name"], folder, context)
                handed.setdefault(layer["name"], []).append(entry)
                if feedback.isCanceled():
                    raise QgsProcessingException("Cancelled; nothing was written.")
        return handed

    def _wrong_layer(self, parameters, context):
        """Say which layer cannot be read, or is needed and not given in any of its kinds."""
        for layer in self.layers:
            names = [part["name"].upper() for part in layer["parts"]]
            for part in layer["parts"]:
                name = part["name"].upper()
                given = parameters.get(name)
                if (
                    given not in (None, "")
                    and self.parameterAsSource(parameters, name, context) is None
                ):
                    return self._no_source(part, given)
            if layer["needed"] and all(parameters.get(name) in (None, "") for name in names):
                kinds = " or ".join(part["title"] for part in layer["parts"])
                return f"The layer {layer['name']} is needed: give {kinds}."
        return ""

    def _wrong_value(self, parameters, context):
        """Say which number is out of its range."""
        for entry in self.values:
            name = forms.value_name(entry)
            if parameters.get(name) in (None, "") or entry["type"] not in forms.NUMBERS:
                continue
            value = self.parameterAsDouble(parameters, name, context)
            low, high = entry["low"], entry["high"]
            if (low is not None and value < low) or (high is not None and value > high):
                return f"{entry['title']}: {value:g} is out of range{entry['range']}."
        return ""

    def _terrain_of(self, parameters, context):
        """Read the terrain's file and unit from the form."""
        if parameters.get(forms.TERRAIN) in (None, ""):
            return {}
        file = parameters[forms.TERRAIN]
        if not isinstance(file, str) or not Path(file).is_file():
            raster = self.parameterAsRasterLayer(parameters, forms.TERRAIN, context)
            file = "" if raster is None else raster.source().split("|")[0]
            if not Path(file).is_file():
                raise QgsProcessingException(
                    f"The terrain {parameters[forms.TERRAIN]} is no raster file that can be read. "
                    "Choose a raster that is a file on this computer."
                )
        unit = self.parameterAsEnumString(parameters, forms.TERRAIN_UNIT, context)
        return {"file": whole_path(file), "unit": unit or None}

    @contextmanager
    def job_folder(self):
        """Give a folder for what goes to the library and comes back; it does not stay."""
        folder = tempfile.mkdtemp(prefix="screenplan_")
        try:
            yield Path(folder)
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    def run_library(self, job, folder, feedback):
        """Give a job to the library and wait for its answer."""
        job = {"version": self.toolbox["version"], "digest": self.toolbox["digest"], **job}
        file = Path(folder) / "job.json"
        file.write_text(json.dumps(job, ensure_ascii=False, indent=1), encoding="utf-8")

        def report(message):
            if "progress" in message:
                feedback.setProgress(message["progress"])
            if "doing" in message:
                feedback.setProgressText(message["doing"])
            if "says" in message:
                feedback.pushInfo(message["says"])
            if "note" in message:
                feedback.pushWarning(message["note"])

        try:
            return run_job(interpreter(), file, report, feedback.isCanceled)
        except (Cancelled, KeyboardInterrupt):
            raise QgsProcessingException("Cancelled; nothing was written.") from None
        except NotRun as error:
            if error.details:
                feedback.pushDebugInfo(error.details.strip())
            for message in error.messages[:-1]:
                feedback.reportError(message)
            raise QgsProcessingException(error.messages[-1]) from None

    def style(self, destination, layer, context):
        """Have a layer of results drawn in its default style, if it is loaded."""
        file = style_file(layer)
        if file is not None and context.willLoadLayerOnCompletion(destination):
            context.layerToLoadOnCompletionDetails(destination).setPostProcessor(Style(file))

    def _no_source(self, part, given):
        text = given if isinstance(given, str) else getattr(given, "source", given)
        file = str(text).split("|")[0]
        why = "It is not there"
        if Path(file).is_file():
            why = (
                "Its file is there: is it open for writing in another program, or damaged, or is "
                "the layer's name wrong"
            )
        return (
            f"The layer for {part['title']} cannot be read: {text}. {why}. Check the path and the "
            "layer, and close the file in other programs."
        )


def whole_path(path):
    """Give a path as it is meant here: the library runs in a folder of its own, which does not stay."""
    return str(Path(path).absolute()) if path else path
