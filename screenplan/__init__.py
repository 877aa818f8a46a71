"""Plan a living screen along a boundary.

The public names are imported when they are first used, so that ``import screenplan`` stays light.
"""

from screenplan._version import __version__
from screenplan.ground.offers import offer

_names, __getattr__, __dir__ = offer(
    __name__,
    {
        "GeometryError": "ground.errors",
        "InputError": "ground.errors",
        "LocalFrame": "ground.frame",
        "NoRoomError": "ground.errors",
        "NobodyLooksError": "ground.errors",
        "Options": "plan",
        "Plan": "plan",
        "ReferenceSystemError": "ground.errors",
        "STEPS": "running.steps",
        "Species": "planting.species_model",
        "Terrain": "site.terrain",
        "load_rules": "rules.ruleset",
        "load_species": "planting.species",
        "read_plan": "plan",
        "CountyOptions": "county.whole",
        "run_county": "county.whole",
        "run_plan": "running.pipeline",
        "run_step": "running.library",
        "sample_plan": "commandline.sample",
        "write_run": "running.writing",
    },
)
__all__ = ["__version__", *_names]
