"""Plan a living screen along a boundary.

The public names are imported when they are first used, so that ``import screenplan`` stays light.
"""

from importlib import import_module

from screenplan._version import __version__

_PUBLIC = {
    "InputError": "screenplan.errors",
    "LocalFrame": "screenplan.frame",
    "Plan": "screenplan.plan",
    "STEPS": "screenplan.steps",
    "Species": "screenplan.planting.species",
    "Terrain": "screenplan.site.terrain",
    "load_rules": "screenplan.rules.ruleset",
    "load_species": "screenplan.planting.species",
    "read_plan": "screenplan.plan",
    "run_plan": "screenplan.pipeline",
    "run_step": "screenplan.library",
    "sample_plan": "screenplan.commandline.sample",
    "write_run": "screenplan.writing",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str):
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'screenplan' has no attribute '{name}'")


def __dir__():
    return sorted(__all__)
