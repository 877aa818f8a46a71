"""Works: what the crew does, with which material, when and for how much."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "choose_to_measure": "measuring",
        "compare_instead": "instead",
        "count_material": "quantities",
        "count_years": "years",
        "lay_clipping": "clipping",
        "lay_drip_lines": "drip",
        "lay_fence": "fence",
        "lay_water": "water_months",
        "look_browsed": "browsing",
        "outline_request": "request",
        "price_work": "cost",
        "schedule_work": "calendar",
        "stake_out": "stakeout",
    },
)
