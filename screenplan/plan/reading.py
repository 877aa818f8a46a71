"""From a file to a plan, with every wrong key said in words."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from tomllib import TOMLDecodeError
from typing import Any

from pydantic import ValidationError

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.toml_files import check_values, parse_toml, read_toml
from screenplan.plan.findings import problems_of
from screenplan.plan.model import PLAN_TABLES, Options, Plan
from screenplan.plan.places import placed_error


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
    changed, set_keys = change_plan(content, settings), [_key_of(one) for one in settings]
    try:
        plan = check_plan(changed, file=str(path), given=given, folder=Path(path).parent)
    except InputError as error:
        raise placed_error(error, PLAN_TABLES, str(path), set_keys) from None
    plan._set_keys = tuple(set_keys)
    return plan, Path(path).resolve().parent


def find_plan(
    plan: Plan | Mapping[str, Any] | Path | str,
    folder: Path | str | None,
    settings: Sequence[str],
    given: Collection[str],
) -> tuple[Plan, Path]:
    """Give a plan, and the folder to which its paths are relative, of what a caller names.

    Parameters
    ----------
    plan : path, mapping or Plan
        The file that holds a plan, the sections of one, or one that was read.
    folder : path or None
        That of a mapping or a `Plan`, by default the current one.
    settings, given
        As in `read_plan`.

    Raises
    ------
    InputError
        As `read_plan` does, and where settings would change a plan that was read.
    """
    if isinstance(plan, Plan) and settings:
        raise refuse(
            "settings change a plan file or a mapping, not a plan that was read already",
            "Give the file, or give the settings to read_plan",
        )
    if isinstance(plan, Mapping):
        plan = check_plan(change_plan(plan, settings), given=given, folder=folder)
    if isinstance(plan, Plan):
        return plan, Path.cwd() if folder is None else Path(folder)
    return read_plan(plan, settings, given)


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
    changed = dict(content)
    for setting in settings:
        _put(changed, setting)
    return changed


def _key_of(setting: str) -> str:
    return setting.partition("=")[0].strip()


def _put(content: dict[str, Any], setting: str) -> None:
    """Put one ``KEY=VALUE`` into a plan's content; a value that is no TOML is text."""
    key, equals, text = setting.partition("=")
    *path, name = key.strip().split(".")
    if not (equals and path):
        raise refuse(
            f"--set {quoted(setting)} sets no key", 'Write KEY=VALUE, such as rows.spacing="2.2 m"'
        )
    try:
        value = parse_toml(f"value = {text}")["value"]
    except (TOMLDecodeError, KeyError):
        value = text.strip()
    table = content
    for depth, part in enumerate(path, 1):
        inner = table.get(part, {})
        if not isinstance(inner, Mapping):
            what = "a section" if depth == 1 else "a table"
            raise refuse(
                f"{quoted('.'.join(path[:depth]))} is not {what} of the plan",
                f"Write it as a table, [{'.'.join(path[:depth])}]",
            )
        # The caller's tables stay as they are.
        table[part] = dict(inner)
        table = table[part]
    if path == ["subject"]:
        # Its keys are ways to say the same: one that is set takes the place of the others.
        table.clear()
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
    content: Mapping[str, Any],
    file: str | None = None,
    given: Collection[str] = (),
    folder: Path | str | None = None,
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
    folder : path, optional
        The one to which a file of normals is relative, by default the current one.

    Raises
    ------
    InputError
        With one problem for each wrong key.
    """
    return _check(content, Plan, file, given, folder)


def _check(content: Mapping[str, Any], model, file: str | None = None, given=(), folder=None):
    check_values(content, file)
    try:
        made = model.model_validate(content, context={"given": given, "folder": folder or "."})
    except ValidationError as error:
        refusal = InputError(problems_of(error, model, file))
        about = content.get("plan")
        if isinstance(about, Mapping) and about.get("units") == "us":
            refusal.units = "us"
        raise refusal from None
    made._file = file
    return made
