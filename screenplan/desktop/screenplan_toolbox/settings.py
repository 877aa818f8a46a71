"""The setting: which interpreter runs the library."""

from __future__ import annotations

from processing.core.ProcessingConfig import ProcessingConfig, Setting

from .toolbox import HERE, load_installed

__all__ = ["HERE", "add_settings", "interpreter", "remove_settings"]

PYTHON = "SCREENPLAN_PYTHON"


def add_settings(group, icon):
    """Show the setting in the options dialog: Processing, Providers, and the provider's name."""
    ProcessingConfig.settingIcons[group] = icon
    ProcessingConfig.addSetting(
        Setting(
            group,
            PYTHON,
            "Python in which screenplan is installed (empty: that which installed the toolbox)",
            "",
            valuetype=Setting.FILE,
        )
    )
    ProcessingConfig.readSettings()


def remove_settings():
    """Take the setting out of the options dialog; its value stays."""
    ProcessingConfig.removeSetting(PYTHON)


def interpreter():
    """Give the path of the interpreter that is chosen, or that which installed the toolbox."""
    chosen = (ProcessingConfig.getSetting(PYTHON) or "").strip()
    return chosen or load_installed().get("python", "")
