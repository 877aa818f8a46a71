"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan._version import __version__ as __version__
from screenplan.commandline.sample import sample_plan as sample_plan
from screenplan.county.whole import CountyOptions as CountyOptions
from screenplan.county.whole import run_county as run_county
from screenplan.ground.errors import GeometryError as GeometryError
from screenplan.ground.errors import InputError as InputError
from screenplan.ground.errors import NoRoomError as NoRoomError
from screenplan.ground.errors import NobodyLooksError as NobodyLooksError
from screenplan.ground.errors import ReferenceSystemError as ReferenceSystemError
from screenplan.ground.frame import LocalFrame as LocalFrame
from screenplan.plan import Options as Options
from screenplan.plan import Plan as Plan
from screenplan.plan import read_plan as read_plan
from screenplan.planting.species import load_species as load_species
from screenplan.planting.species_model import Species as Species
from screenplan.rules.ruleset import load_rules as load_rules
from screenplan.running.library import run_step as run_step
from screenplan.running.pipeline import run_plan as run_plan
from screenplan.running.steps import STEPS as STEPS
from screenplan.running.writing import write_run as write_run
from screenplan.site.terrain import Terrain as Terrain

__all__ = [
    "__version__",
    "CountyOptions",
    "GeometryError",
    "InputError",
    "LocalFrame",
    "NoRoomError",
    "NobodyLooksError",
    "Options",
    "Plan",
    "ReferenceSystemError",
    "STEPS",
    "Species",
    "Terrain",
    "load_rules",
    "load_species",
    "read_plan",
    "run_county",
    "run_plan",
    "run_step",
    "sample_plan",
    "write_run",
]
