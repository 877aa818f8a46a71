"""Works: what the crew does, with which material, when and for how much."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "count_material": "quantities",
        "lay_fence": "fence",
        "look_browsed": "browsing",
        "outline_request": "request",
        "price_work": "cost",
        "schedule_work": "calendar",
        "stake_out": "stakeout",
    },
)
