"""From a file to a plan, with every wrong key said in words."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import (
    ValidationError,
)

from screenplan.errors import InputError, Problem, refuse
from screenplan.plan.model import SECTIONS, Plan, is_length
from screenplan.plan.site import Ground, LayerSource
from screenplan.plan.values import instead_of


def read_plan(path: Path | str, settings: Sequence[str] = ()) -> tuple[Plan, Path]:
    """Read a plan file.

    Parameters
    ----------
    path : path
        A TOML file.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.spacing="5 ft"``: values that replace those of the file.

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
    >>> plan, folder = read_plan(screenplan.sample_plan(), ['rows.spacing="5 ft"'])
    >>> plan.rows.spacing, plan.value("plants.stock")
    (1.524, 'container')
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise refuse(
            "there is no such plan file",
            "Check the path, or make one with 'screenplan start'",
            file=str(path),
        ) from None
    except IsADirectoryError:
        raise refuse(
            "this is a folder, not a plan file", "Name the .toml file in it", file=str(path)
        ) from None
    except UnicodeDecodeError:
        raise refuse(
            "the plan file is not UTF-8 text", "Save it as UTF-8 in your editor", file=str(path)
        ) from None
    except OSError as error:
        raise refuse(
            f"the plan file cannot be read ({error.strerror})",
            "Check its permissions",
            file=str(path),
        ) from None
    try:
        content = tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise refuse(
            f"the plan file is not valid TOML: {error}",
            "Mend that line: text stands in quotes, and a key stands only once",
            file=str(path),
        ) from None
    return check_plan(change_plan(content, settings), file=str(path)), path.resolve().parent


def change_plan(content: Mapping[str, Any], settings: Sequence[str]) -> dict[str, Any]:
    """Give the content of a plan with some values replaced.

    Parameters
    ----------
    content : mapping
        Sections and keys as in a plan file; not changed.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.spacing="5 ft"``.

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
        raise refuse(f"--set {setting} sets no key", 'Write KEY=VALUE, such as rows.spacing="5 ft"')
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        value = text.strip()
    table = content.setdefault(section, {})
    if not isinstance(table, dict):
        raise refuse(f"{section} is not a section of the plan", "Write it as a table, [section]")
    table[name] = value


def check_plan(content: dict[str, Any], file: str | None = None) -> Plan:
    """Turn the content of a plan file into a `Plan`.

    Raises
    ------
    InputError
        With one problem for each wrong key.
    """
    try:
        return Plan.model_validate(content)
    except ValidationError as error:
        raise InputError(_say(item, file) for item in error.errors()) from None


def _say(item: dict[str, Any], file: str | None) -> Problem:
    """Put one finding of the validator into our words."""
    place = [str(part) for part in item["loc"]]
    key = ".".join(place)
    kind, context = item["type"], item.get("ctx", {})
    value = item.get("input")
    if kind == "value_error":
        what, _, mend = str(context["error"]).partition(". ")
        return Problem(what, mend or "Correct it", file=file, key=key or None)
    if kind == "extra_forbidden":
        known = (
            SECTIONS[place[0]].model_fields
            if len(place) > 1 and place[0] in SECTIONS
            else (
                LayerSource.model_fields
                if place[0] == "layers"
                else Ground.model_fields
                if place[0] == "terrain" and len(place) > 1
                else Plan.model_fields
            )
        )
        return Problem("there is no such key", instead_of(place[-1], known), file=file, key=key)
    if kind == "missing":
        return Problem("this key is missing", "Add it", file=file, key=key)
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        word = {
            "greater_than": "more than",
            "greater_than_equal": "at least",
            "less_than": "less than",
            "less_than_equal": "at most",
        }[kind]
        section_key = ".".join(place[:2])
        unit = " m" if place[0] in SECTIONS and is_length(section_key) else ""
        return Problem(
            f"{value!r} is out of range", f"Give {word} {limit:g}{unit}", file=file, key=key
        )
    if kind == "literal_error":
        return Problem(
            f"{value!r} is not one of the choices",
            f"Write {context['expected']}",
            file=file,
            key=key,
        )
    if kind in ("tuple_type", "list_type") and key != "subject.point":
        one = f'"{value}"' if isinstance(value, str) else value
        return Problem(f"{value!r} is not a list", f"Write [{one}]", file=file, key=key)
    message = item["msg"][0].lower() + item["msg"][1:]
    return Problem(
        f"{value!r} does not fit: {message}",
        "Correct the value; 'screenplan keys' lists every key with its range",
        file=file,
        key=key,
    )
