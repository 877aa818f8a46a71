"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.design.designing import design_planting as design_planting

__all__ = [
    "design_planting",
]
