"""The plan held against its rules, its goal and its effects on others."""

from screenplan.checks.judge import judge_plan

__all__ = ["judge_plan"]
