"""The provider: one algorithm for each step, and three for whole plans and counties."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .plan_algorithms import County, PlanFromFile, PlanFromLayers
from .settings import HERE, add_settings, remove_settings
from .step_algorithm import StepAlgorithm
from .toolbox import load_toolbox

NAME = "Screenplan"


class ToolboxProvider(QgsProcessingProvider):
    """The steps of the library, as the desktop GIS lists them."""

    def id(self):
        return "screenplan"

    def name(self):
        return NAME

    def longName(self):
        return f"{NAME} {load_toolbox()['version']}"

    def versionInfo(self):
        return load_toolbox()["version"]

    def icon(self):
        return QIcon(self.svgIconPath())

    def svgIconPath(self):
        return str(HERE / "icon.svg")

    def load(self):
        add_settings(NAME, self.icon())
        self.refreshAlgorithms()
        return True

    def unload(self):
        remove_settings()

    def loadAlgorithms(self):
        toolbox = load_toolbox()
        self.addAlgorithm(PlanFromFile(toolbox))
        self.addAlgorithm(PlanFromLayers(toolbox))
        self.addAlgorithm(County(toolbox))
        for step in toolbox["steps"]:
            self.addAlgorithm(StepAlgorithm(toolbox, step))
