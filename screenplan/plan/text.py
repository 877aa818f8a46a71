"""A plan file as text: every key with its help, what was chosen, and what is the default.

The text is made from the same fields that check the plan, so a key cannot be there without its
help, or with a range that does not hold.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import PydanticUndefined

from screenplan.ground.units import VOLUME_UNITS, in_unit, round_feet
from screenplan.plan import (
    SECTIONS,
    entry_limits,
    has_lengths,
    is_length,
    is_volume,
    key_choices,
    key_field,
    key_limits,
)

_WIDTH = 96


def plan_text(
    chosen: Mapping[str, Mapping[str, Any]],
    layers: Mapping[str, Mapping[str, Any]],
    *,
    head: Sequence[str] = (),
    notes: Mapping[str, Sequence[str]] | None = None,
    terrain: Mapping[str, Any] | None = None,
) -> str:
    """Write a plan file.

    Parameters
    ----------
    chosen : mapping
        Section: key: value as it should stand there. Keys left out are written as comments with
        their defaults, in round feet where [plan] says units = "us". ``species`` holds tables of species.
    layers : mapping
        Layer name: the keys of its source (``file``, ``layer``, ``columns``, ``units``).
    head : sequence of str
        Sentences for the top of the file.
    notes : mapping, optional
        Key such as ``rows.along``: sentences to stand above it.
    terrain : mapping, optional
        The keys of the terrain raster.
    """
    notes, units = notes or {}, chosen.get("plan", {}).get("units", "metric")
    lines = [f"# {line}" for sentence in head for line in textwrap.wrap(sentence, _WIDTH)]
    for section, model in SECTIONS.items():
        lines += ["", f"[{section}]", f"# {model.__doc__}"]
        for name, field in model.model_fields.items():
            key = f"{section}.{name}"
            lines.append("")
            for sentence in (
                (field.description or "") + range_text(key, units),
                *notes.get(key, ()),
            ):
                lines += textwrap.wrap(
                    sentence, _WIDTH, initial_indent="# ", subsequent_indent="#   "
                )
            value = chosen.get(section, {}).get(name)
            if value is not None:
                lines.append(f"{name} = {toml_value(value)}")
            else:
                lines.append(f"# {name} = {default_text(key, units)}".rstrip())
        if section == "subject":
            lines += _layer_lines(layers, terrain, notes)
    for key, table in chosen.get("species", {}).items():
        # A key may be written in any letters, and is quoted for that.
        lines += ["", f"[species.{toml_value(key)}]", *_key_lines(table)]
    return "\n".join(lines).lstrip("\n") + "\n"


def short_text(content: Mapping[str, Any], *, head: Sequence[str] = ()) -> str:
    """Write a plan file that holds what was chosen and nothing else.

    Parameters
    ----------
    content : mapping
        Sections, each a mapping of keys; a list of mappings is written as tables under its section.
    head : sequence of str
        Sentences for the top of the file.
    """
    lines = [f"# {line}" for sentence in head for line in textwrap.wrap(sentence, _WIDTH)]
    for name, section in content.items():
        tables = {key: value for key, value in section.items() if isinstance(value, Mapping)}
        rows = {
            key: value
            for key, value in section.items()
            if isinstance(value, list) and value and isinstance(value[0], Mapping)
        }
        own = {key: value for key, value in section.items() if key not in rows}
        if name == "layers":  # each is a table of its own
            own, rows = {}, {}
        if own:
            lines += ["", f"[{name}]", *_key_lines(own)]
        if name == "layers":
            for key, table in tables.items():
                lines += ["", f"[{name}.{key}]", *_key_lines(table)]
        for key, listed in rows.items():
            for row in listed:
                lines += ["", f"[[{name}.{key}]]", *_key_lines(row)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _key_lines(table: Mapping[str, Any]) -> list[str]:
    return [
        f"{key} = {toml_value(value)}"
        for key, value in table.items()
        if value not in (None, {}, [])
    ]


def _layer_lines(layers, terrain, notes) -> list[str]:
    lines = []
    for name, source in layers.items():
        lines += ["", f"[layers.{name}]"]
        lines += [
            f"# {line}"
            for sentence in notes.get(f"layers.{name}", ())
            for line in textwrap.wrap(sentence, _WIDTH)
        ]
        lines += [
            f"{key} = {toml_value(value)}"
            for key, value in source.items()
            if value not in (None, {})
        ]
    if terrain:
        lines += ["", "[terrain]"]
        lines += [
            f"{key} = {toml_value(value)}" for key, value in terrain.items() if value is not None
        ]
    return lines


def toml_value(value: Any) -> str:
    """Write a value as TOML: text, number, boolean, list or inline table.

    Examples
    --------
    >>> toml_value({"plant": 42.0, "kinds": ["cone", "box"], "asked": True})
    '{ "plant" = 42.0, "kinds" = ["cone", "box"], "asked" = true }'
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        return (
            "{ "
            + ", ".join(
                f"{toml_value(str(key))} = {toml_value(entry)}" for key, entry in value.items()
            )
            + " }"
        )
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml_value(entry) for entry in value) + "]"
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    text = "".join(
        mark if mark >= " " and mark != "\x7f" else f"\\u{ord(mark):04X}" for mark in text
    )
    return f'"{text}"'


def default_text(key: str, units: str = "metric") -> str:
    """Write the default of a key as it would stand in the file, for ``us`` in round feet; empty if it has none."""
    field = key_field(key)
    default = field.get_default(call_default_factory=True)
    if default is None or default is PydanticUndefined:
        return ""
    if is_length(key):
        return toml_value(round_feet(default) if units == "us" else f"{default:g} m")
    if is_volume(key):
        feet = default / VOLUME_UNITS["cu ft"]
        return toml_value(f"{feet:.2g} cu ft" if units == "us" else f"{default:g} m3")
    return toml_value(default)


def range_text(key: str, units: str = "metric") -> str:
    """Say the range of a key in words, or its choices, in brackets."""
    limits = key_limits(key) or entry_limits(key)
    measured, us = is_length(key) or has_lengths(key), units == "us"

    def amount(limit: float) -> str:
        if is_volume(key):
            return f"{limit / VOLUME_UNITS['cu ft']:.3g} cu ft" if us else f"{limit:g} m3"
        return in_unit(limit, "ft" if us else "m", 2 if us else 4) if measured else f"{limit:g}"

    low = (
        f"at least {amount(limits['ge'])}"
        if "ge" in limits
        else f"above {amount(limits['gt'])}"
        if "gt" in limits
        else ""
    )
    high = (
        f"at most {amount(limits['le'])}"
        if "le" in limits
        else f"below {amount(limits['lt'])}"
        if "lt" in limits
        else ""
    )
    choices = [str(choice) for choice in key_choices(key)]
    said = ", ".join(part for part in (low, high, " or ".join(choices)) if part)
    return f" ({said})" if said else ""
