"""The validator's findings in words: what is wrong, under which key, and how to mend it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, ValidationError

from screenplan.ground.errors import Problem
from screenplan.ground.texts import quoted
from screenplan.plan.values import WrongError, instead_of, key_of, read_length

#: How the validator's findings of a range read.
_RANGES = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}


def problems_of(
    error: ValidationError, model: Any, file: str | None = None, table: str = ""
) -> list[Problem]:
    """Put what the validator found into our words.

    Parameters
    ----------
    error : ValidationError
    model : type
        What was read: a section, a dataclass, or several of them that a tag tells apart.
    file : str, optional
        Where it stands.
    table : str
        The key of the table that was read; empty for a whole file.

    Returns
    -------
    list of Problem
        One for each wrong key.
    """
    problems: dict[tuple, Problem] = {}
    for item in error.errors(include_url=False):
        place, inner, around, rows = _follow(model, item["loc"])
        if "discriminator" in item.get("ctx", {}):  # the tag that tells several apart
            place = [item["ctx"]["discriminator"].strip("'")]
            item["input"] = item["input"].get(place[0])
        key = _joined(table, *place)
        if item["type"] == "value_error" and getattr(item["ctx"]["error"], "key", None):
            key = _joined(table, item["ctx"]["error"].key)
        what, mend = _say(item, key, inner, names_of(around))
        # A value that fits none of several types is one problem.
        problems.setdefault((key, rows), Problem(what, mend, file=file, key=key, rows=rows))
    return list(problems.values())


def _joined(*parts: str) -> str | None:
    return ".".join(filter(None, parts)) or None


def _say(
    item: Mapping[str, Any], key: str | None, inner: Any, names: Sequence[str]
) -> tuple[str, str]:
    """Give what is wrong by one finding, and the remedy."""
    kind, context, value = item["type"], item.get("ctx", {}), quoted(item.get("input"))
    if kind == "value_error":
        wrong = context["error"]
        return str(wrong), wrong.mend if isinstance(wrong, WrongError) else "Correct it"
    if kind in ("extra_forbidden", "unexpected_keyword_argument"):
        return "there is no such key", instead_of(str(item["loc"][-1]), names)
    if kind == "missing" and isinstance(item["loc"][-1], int):
        return "an entry of the list is missing", "Write all of them in one pair of brackets"
    if kind in ("missing", "union_tag_not_found"):
        return "this key is missing", "Add it"
    if kind in _RANGES:
        limit = next(iter(context.values()))
        bound = f"{{{limit:g} m}}" if _is_length(inner) else f"{limit:g}"
        return f"{value} is out of range", f"Give {_RANGES[kind]} {bound}"
    if kind == "union_tag_invalid":
        return f"{value} is not one of the choices", f"Write one of {context['expected_tags']}"
    if kind == "literal_error":
        return f"{value} is not one of the choices", f"Write {context['expected']}"
    if kind in ("tuple_type", "list_type") and Ellipsis in get_args(_kinds(inner)[0]):
        entries = _kinds(get_args(_kinds(inner)[0])[0])[0]
        if get_origin(entries) is tuple:
            return (
                f"{value} is not a list",
                f"Write lists of {len(get_args(entries))} in one list: [[…], […]]",
            )
        entry = value.replace("'", '"') if isinstance(item["input"], str) else value
        return f"{value} is not a list", f"Write [{entry}]"
    if kind in ("tuple_type", "list_type"):
        count = len(get_args(_kinds(inner)[0]))
        return f"{value} is not a list of {count}", f"Write {count} entries in a pair of brackets"
    if kind == "too_long":
        most = context["max_length"]
        return f"{value} has more than {most} entries", f"Write at most {most}"
    if kind in ("model_type", "dict_type"):
        return f"{value} is not a table", f"Write [{key}], and its keys below it"
    if kind == "too_short":
        return f"{value} lists nothing", "List one or more"
    if kind == "string_too_long":
        return f"{value} has {len(item['input'])} letters", f"Write at most {context['max_length']}"
    message = item["msg"][0].lower() + item["msg"][1:]
    return (
        f"{value} does not fit: {message}",
        "Correct the value; 'screenplan keys' lists every key with its range",
    )


def names_of(kind: Any) -> tuple[str, ...]:
    """Give the keys that a table takes; none if it is no section and no dataclass."""
    if is_dataclass(kind):
        names = [field.name for field in fields(kind)]
    elif isinstance(kind, type) and issubclass(kind, BaseModel):
        names = list(kind.model_fields)
    else:
        return ()
    # What a table is called stands above it.
    keys = [key_of(name) for name in names if name != "key"]
    return (*keys, *getattr(kind, "beside", ()))


def _follow(model: Any, places: Sequence[str | int]) -> tuple[list[str], Any, Any, tuple[int, ...]]:
    """Follow the way to a value.

    Gives its places by name, its type, that of the table it stands in, and which row it is if that
    is one of a list of tables.
    """
    way: list[str] = []
    inner, around = model, model
    rows: tuple[int, ...] = ()
    for part in places:
        kinds = _kinds(inner)
        if len(kinds) > 1:  # the part is no key, but the tag that tells them apart
            inner = next(
                (of_table for of_table in kinds if part in get_args(_fields(of_table).get("kind"))),
                Any,
            )
        elif part != "[key]":  # that of an entry, which stands before it
            around = kinds[0]
            inner = _inner(around, part)
            if isinstance(part, int) and not rows and names_of(_kinds(inner)[0]):
                rows = (part + 1,)
            else:
                way.append(str(part))
    return way, inner, around, rows


def _kinds(kind: Any) -> list[Any]:
    """Give the types that a value may be of, without what is said of them."""
    if get_origin(kind) is Annotated:
        return _kinds(get_args(kind)[0])
    if get_origin(kind) in (Union, UnionType):
        return [inner for part in get_args(kind) if part is not NoneType for inner in _kinds(part)]
    return [kind]


def _fields(kind: Any) -> dict[str, Any]:
    """Give the types of a table's values by key; empty if it is no section and no dataclass."""
    hints = get_type_hints(kind, include_extras=True) if names_of(kind) else {}
    return {key_of(name): hint for name, hint in hints.items()}


def _inner(kind: Any, part: str | int) -> Any:
    """Give the type of a value in a table or a list."""
    entries = [entry for entry in get_args(kind) if entry is not Ellipsis]
    return _fields(kind).get(f"{part}", entries[-1] if entries else Any)


def _is_length(kind: Any) -> bool:
    marks = getattr(kind, "__metadata__", ())
    inner = get_args(kind) if get_origin(kind) in (Annotated, Union, UnionType) else ()
    return any(getattr(mark, "func", None) is read_length for mark in marks) or any(
        map(_is_length, inner)
    )
