"""The texts of the toolbox as a list for translators, in the format of Qt's tools (TS)."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

#: Under which the plugin looks a text up (`screenplan_toolbox.words`).
CONTEXT = "Screenplan"
#: Entries of a description that a form shows as they are.
SHOWN = ("title", "label", "help", "does", "group", "meaning")


def texts_of(toolbox: Mapping[str, Any], plugin: Path) -> list[str]:
    """Give every text that the forms show, each once, in the order in which it is met."""
    return list(dict.fromkeys((*_in_code(plugin), *_in_description(toolbox))))


def translation_list(toolbox: Mapping[str, Any], plugin: Path) -> str:
    """Write the list: every text, not translated yet."""
    messages = "\n".join(
        f"  <message>\n   <source>{escape(text)}</source>\n"
        '   <translation type="unfinished"></translation>\n  </message>'
        for text in texts_of(toolbox, plugin)
    )
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n<!DOCTYPE TS>\n<TS version="2.1" sourcelanguage="en">\n'
        f" <context>\n  <name>{CONTEXT}</name>\n{messages}\n </context>\n</TS>\n"
    )


def _in_code(plugin: Path) -> Iterator[str]:
    """Give the texts that the plugin's modules hand to ``tr``."""
    for path in sorted(plugin.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "tr":
                (given,) = node.args
                if isinstance(given, ast.Constant) and isinstance(given.value, str):
                    yield given.value


def _in_description(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        for key, entry in value.items():
            if key in SHOWN and isinstance(entry, str):
                if entry:
                    yield entry
            else:
                yield from _in_description(entry)
    elif isinstance(value, list):
        for entry in value:
            yield from _in_description(entry)
