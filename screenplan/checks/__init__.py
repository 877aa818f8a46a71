"""The plan held against its rules, its goal and its effects on others."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "judge_plan": "judge",
    },
)
