"""The design: which plants close the views that matter for the least money, and what is proven of it."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "design_planting": "designing",
    },
)
