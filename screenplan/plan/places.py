"""Where a key of a plan that is refused stands: in the plan's file, or among what replaces its values."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from screenplan.ground.errors import InputError, Problem

#: Where a value stands that replaces one of the file.
SETTING = "--set"


def placed_error(
    error: InputError, sections: Collection[str], file: str | None, set_keys: Collection[str]
) -> InputError:
    """Name the place of each key that a refusal names.

    Parameters
    ----------
    error : InputError
    sections : collection of str
        What a key of a plan begins with.
    file : str, optional
        The plan's file.
    set_keys : collection of str
        Keys whose values were replaced.
    """
    placed = InputError(_placed(one, sections, file, set_keys) for one in error.problems)
    placed.units = error.units
    return placed


def _placed(
    problem: Problem, sections: Collection[str], file: str | None, set_keys: Collection[str]
) -> Problem:
    key = problem.key or ""
    elsewhere = problem.file not in (None, file) or problem.layer is not None
    if elsewhere or key.partition(".")[0] not in sections:
        return problem
    place = SETTING if any(_within(key, one) or _within(one, key) for one in set_keys) else file
    return replace(problem, file=place)


def _within(key: str, table: str) -> bool:
    return f"{key}.".startswith(f"{table}.")
