"""Works: what the crew does, with which material, when and for how much."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "compare_instead": "instead",
        "count_material": "quantities",
        "lay_fence": "fence",
        "price_work": "cost",
        "schedule_work": "calendar",
        "stake_out": "stakeout",
    },
)
