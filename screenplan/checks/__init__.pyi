"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.checks.judge import judge_plan as judge_plan

__all__ = [
    "judge_plan",
]
