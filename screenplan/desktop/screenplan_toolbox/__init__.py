"""The toolbox of a desktop GIS: every step of the library as a form.

The desktop GIS loads this package into its own interpreter. It imports nothing of the library,
whose compiled parts do not go together with those of the desktop GIS: the steps and their forms
are read from ``toolbox.json`` beside this file, and the library runs in an interpreter of its own.
"""


def classFactory(iface):  # noqa: ARG001, N802 (the desktop GIS calls it so)
    """Give the plugin to the desktop GIS."""
    from .plugin import ToolboxPlugin

    return ToolboxPlugin()
