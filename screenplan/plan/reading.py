"""From a file to a plan, with every wrong key said in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Any

from pydantic import (
    ValidationError,
)

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.toml_files import check_values, parse_toml, read_toml
from screenplan.plan.model import SECTIONS, Options, Plan, is_length
from screenplan.plan.site import Ground, LayerSource
from screenplan.plan.values import WrongError, instead_of


def read_plan(
    path: Path | str, settings: Sequence[str] = (), given: Collection[str] = ()
) -> tuple[Plan, Path]:
    """Read a plan file.

    Parameters
    ----------
    path : path
        A TOML file.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.offset="7 ft"``: values that replace those of the file.
    given : collection of str
        Names of layers that need no file, because they are in memory.

    Returns
    -------
    plan : Plan
    folder : Path
        The folder to which the plan's paths are relative.

    Raises
    ------
    InputError
        If it is missing, is no TOML, or a key or value is wrong; every wrong key is listed.

    Examples
    --------
    >>> import screenplan
    >>> plan, folder = read_plan(screenplan.sample_plan(), ['rows.spacing="4 ft"'])
    >>> plan.rows.spacing, plan.value("plants.stock")
    (1.2192, 'balled')
    """
    content = read_toml(path, "plan file", "Check the path, or make one with 'screenplan start'")
    plan = check_plan(change_plan(content, settings), file=str(path), given=given)
    return plan, Path(path).resolve().parent


def change_plan(content: Mapping[str, Any], settings: Sequence[str]) -> dict[str, Any]:
    """Give the content of a plan with some values replaced.

    Parameters
    ----------
    content : mapping
        Sections and keys as in a plan file; not changed.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.offset="7 ft"``.

    Raises
    ------
    InputError
        If a setting sets no key.
    """
    changed = {
        key: dict(table) if isinstance(table, Mapping) else table for key, table in content.items()
    }
    for setting in settings:
        _put(changed, setting)
    return changed


def _put(content: dict[str, Any], setting: str) -> None:
    """Put one ``KEY=VALUE`` into a plan's content; a value that is no TOML is text."""
    key, equals, text = setting.partition("=")
    section, dot, name = key.strip().partition(".")
    if not (equals and dot):
        raise refuse(
            f"--set {quoted(setting)} sets no key", 'Write KEY=VALUE, such as rows.spacing="2.2 m"'
        )
    try:
        value = parse_toml(f"value = {text}")["value"]
    except (TOMLDecodeError, KeyError):
        value = text.strip()
    table = content.setdefault(section, {})
    if not isinstance(table, dict):
        raise refuse(
            f"{quoted(section)} is not a section of the plan", "Write it as a table, [section]"
        )
    table[name] = value


def check_options(content: Mapping[str, Any]) -> Options:
    """Turn the sections of a plan that reads nothing into `Options`.

    Raises
    ------
    InputError
        With one problem for each wrong key.
    """
    return _check(content, Options)


def check_plan(
    content: Mapping[str, Any], file: str | None = None, given: Collection[str] = ()
) -> Plan:
    """Turn the content of a plan file into a `Plan`.

    Parameters
    ----------
    content : mapping
        Sections and keys.
    file : str, optional
        The file, for messages.
    given : collection of str
        Names of layers that need no file, because they are in memory.

    Raises
    ------
    InputError
        With one problem for each wrong key.
    """
    return _check(content, Plan, file, given)


def _check(content: Mapping[str, Any], model, file: str | None = None, given=()):
    check_values(content, file)
    try:
        return model.model_validate(content, context={"given": given})
    except ValidationError as error:
        problems: dict[str | None, Problem] = {}
        for problem in (_say(item, file) for item in error.errors(include_url=False)):
            problems.setdefault(problem.key, problem)  # one that fits none of several types is one
        raise InputError(problems.values()) from None


def _say(item: dict[str, Any], file: str | None) -> Problem:
    """Put one finding of the validator into our words."""
    place = [str(part) for part in item["loc"]]
    if place[:1] == ["layers"] and place[2:3] == ["fixed"]:
        place = place[:4]  # the validator adds the type that it tried
    key = ".".join(place)
    kind, context = item["type"], item.get("ctx", {})
    value = quoted(item.get("input"))
    if kind == "value_error":
        wrong = context["error"]
        if isinstance(wrong, WrongError):
            return Problem(wrong.what, wrong.mend, file=file, key=wrong.key or key or None)
        return Problem(str(wrong), "Correct it", file=file, key=key or None)
    if kind == "extra_forbidden":
        return Problem(
            "there is no such key", instead_of(place[-1], _known_at(place)), file=file, key=key
        )
    if kind == "missing":
        return Problem("this key is missing", "Add it", file=file, key=key)
    if kind in _RANGES:
        limit = next(iter(context.values()))
        unit = " m" if place[0] in SECTIONS and is_length(".".join(place[:2])) else ""
        return Problem(
            f"{value} is out of range", f"Give {_RANGES[kind]} {limit:g}{unit}", file=file, key=key
        )
    if kind == "literal_error":
        return Problem(
            f"{value} is not one of the choices",
            f"Write {context['expected']}",
            file=file,
            key=key,
        )
    if kind in ("tuple_type", "list_type") and key != "subject.point":
        one = value.replace("'", '"') if isinstance(item["input"], str) else value
        return Problem(f"{value} is not a list", f"Write [{one}]", file=file, key=key)
    if kind in ("model_type", "dict_type"):
        return Problem(
            f"{value} is not a table", f"Write [{key}], and its keys below it", file=file, key=key
        )
    if kind == "too_short":
        return Problem(f"{value} lists nothing", "List one or more", file=file, key=key)
    if kind == "string_too_long":
        return Problem(
            f"{value} has {len(item['input'])} letters",
            f"Write at most {context['max_length']}",
            file=file,
            key=key,
        )
    message = item["msg"][0].lower() + item["msg"][1:]
    if len(place) == 4 and place[2] == "fixed":
        message = "one value for all rows is a text, a number, true or false"
    return Problem(
        f"{value} does not fit: {message}",
        "Correct the value; 'screenplan keys' lists every key with its range",
        file=file,
        key=key,
    )


#: How the validator's findings of a range read.
_RANGES = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}


def _known_at(place: list[str]):
    """Give the names that there are at the place of one that is not known."""
    if place[0] in SECTIONS and len(place) > 1:
        return SECTIONS[place[0]].model_fields
    if place[0] == "layers" and len(place) > 1:
        return LayerSource.model_fields
    if place[0] == "terrain" and len(place) > 1:
        return Ground.model_fields
    return Plan.model_fields
