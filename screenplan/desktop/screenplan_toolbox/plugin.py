"""The plugin: it adds the provider, and takes it away."""

# ruff: noqa: D102, N802 (the names are those of the desktop GIS)

from __future__ import annotations

from qgis.core import QgsApplication

from .provider import ToolboxProvider
from .words import load_translation


class ToolboxPlugin:
    """What the desktop GIS loads; headless it calls `initProcessing` alone."""

    def __init__(self):
        self.provider = None
        self.translation = load_translation(QgsApplication.locale())

    def initProcessing(self):
        if self.provider is None:
            self.provider = ToolboxProvider()
            QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        self.initProcessing()

    def unload(self):
        if self.provider is not None:
            QgsApplication.processingRegistry().removeProvider(self.provider)
            self.provider = None
