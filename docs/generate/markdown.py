"""Markdown in small pieces: tables, code, values and links, always written the same way."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from screenplan.ground.said import in_units

#: Stands at the head of every page that is made.
MADE = "<!-- Made from the code by `make reference`. Change the code, not this page. -->"


def page(title: str, label: str, *parts: str | Iterable[str]) -> str:
    """Put a page together: its title, the label that others link to, and its parts."""
    said = [MADE, f"(page-{label})=\n# {title}"]
    for part in parts:
        said += [part] if isinstance(part, str) else list(part)
    return "\n\n".join(part for part in said if part) + "\n"


def section(title: str, level: int = 2, label: str = "") -> str:
    """Write a heading, with a label that other pages can link to."""
    head = f"{'#' * level} {title}"
    return f"({label})=\n{head}" if label else head


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a table, one row to a line; nothing if it has no rows."""
    rows = [list(row) for row in rows]
    if not rows:
        return ""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(_cell(cell) for cell in line) + " |" for line in lines)


def bullets(entries: Iterable[str]) -> str:
    """Write a list, one entry to a line."""
    return "\n".join(f"- {entry}" for entry in entries)


def code(text: Any) -> str:
    """Write a name or a value as code; nothing if it is empty."""
    return f"`{text}`" if str(text) else ""


def codes(names: Iterable[Any]) -> str:
    """Write names as code, with commas."""
    return ", ".join(code(name) for name in names)


def plain(text: str) -> str:
    """Write a text in which no mark has a meaning of Markdown; its quantities in metres."""
    text = in_units(text)
    for mark in "\\`*_[]<>$#":
        text = text.replace(mark, f"\\{mark}")
    return text


def link(text: str, label: str) -> str:
    """Link to a label."""
    return f"[{text}](#{label})"


def number(value: Any) -> str:
    """Write a figure without digits that say nothing."""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def value(value: Any, unit: str = "") -> str:
    """Write a default as code, with its unit; nothing if there is none."""
    if value is None or value == "" or (isinstance(value, (tuple, list, Mapping)) and not value):
        return ""
    if isinstance(value, bool):
        return code(str(value).lower())
    if isinstance(value, (int, float)):
        return code(f"{value:g} {unit}".strip())
    if isinstance(value, (tuple, list)):
        return code(
            ", ".join(f"{part:g}" if isinstance(part, float) else str(part) for part in value)
        )
    if isinstance(value, Mapping):
        return code(json.dumps(dict(value)))
    return code(value)


def span(
    low: Any, high: Any, unit: str = "", *, low_open: bool = False, high_open: bool = False
) -> str:
    """Say a range in words; nothing if both ends are open to infinity."""
    tail = f" {unit}" if unit else ""
    if None not in (low, high) and not (low_open or high_open):
        return f"{low:g} to {high:g}{tail}"
    low = "" if low is None else f"{'above' if low_open else 'at least'} {low:g}{tail}"
    high = "" if high is None else f"{'below' if high_open else 'at most'} {high:g}{tail}"
    return ", ".join(part for part in (low, high) if part)


def _cell(text: str) -> str:
    return re.sub(r"[ \t\r\n]+", " ", str(text)).strip(" ").replace("|", "\\|") or " "
