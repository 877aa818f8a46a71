"""The blocks of a page that are made: a fence whose first word stands in braces, its options, its lines."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

_FENCE = re.compile(r"^(`{3,})\{(\w+)\}[ ]*(.*)$")
_OPTION = re.compile(r"^:(\w+):\s*(.*)$")


@dataclass(frozen=True)
class Block:
    """One fence of a page.

    Parameters
    ----------
    kind : str
        The word in braces, such as ``run``.
    argument : str
        What stands behind it.
    options : dict of str to str
        The lines ``:name: value`` at its head.
    lines : list of str
        The others.
    at : int
        Line of the page, from 1.
    """

    kind: str
    argument: str = ""
    options: dict[str, str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    at: int = 0

    @property
    def text(self) -> str:
        """Its lines as one text."""
        return "\n".join(self.lines)


def split(text: str, kinds) -> list[str | Block]:
    """Part a page into texts and the blocks of some kinds; other fences stay in the text.

    Raises
    ------
    ValueError
        If a fence is not closed.
    """
    parts: list[str | Block] = []
    said: list[str] = []
    lines = text.splitlines()
    number = 0
    while number < len(lines):
        found = _FENCE.match(lines[number])
        if not found:
            said.append(lines[number])
            number += 1
            continue
        marks, kind, argument = found.groups()
        end = next((k for k in range(number + 1, len(lines)) if lines[k] == marks), None)
        if end is None:
            raise ValueError(f"line {number + 1}: the fence {{{kind}}} is not closed. Add {marks}")
        inside = lines[number + 1 : end]
        if kind in kinds:
            parts += ["\n".join(said), _block(kind, argument, inside, number + 1)]
            said = []
        else:
            said += lines[number : end + 1]
        number = end + 1
    return [part for part in [*parts, "\n".join(said)] if part]


def _block(kind: str, argument: str, inside: list[str], at: int) -> Block:
    options = {}
    while inside and (found := _OPTION.match(inside[0])):
        options[found[1]] = found[2]
        inside = inside[1:]
    return Block(kind, argument.strip(), options, inside, at)
