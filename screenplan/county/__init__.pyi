"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.county.whole import run_county as run_county

__all__ = [
    "run_county",
]
