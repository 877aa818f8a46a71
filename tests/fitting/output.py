"""The figures as TOML, by hand of nobody: written by `python -m tests.fitting PATH --write`."""

from __future__ import annotations

import math
from collections.abc import Mapping

HEAD = """\
# Figures of plants, fitted to open data. Written by `python -m tests.fitting PATH --write`: do not edit.
#
# height   h(t) = A (1 - exp(-k (t + t0)))^m, t0 so that it starts at the stock's height; exponent 0 is the
#          straight line that rises by k A a year up to A. clock "since planting": street trees, whose years
#          of establishment are in the curve; "since seed": published curves, in which they are not.
# width    w = coefficient h^exponent up to widest, metres: where taller trees are no wider, "taller" of them in
#          the open; with none the mean of the published spread, or the law at the tallest tree
# profile  r(z) = R ((h - z)/(h - c))^p
# leaves   one-sided leaf area over the volume of a crown of crown_exponent, m2/m3: 10 %, median, 90 %
# log_sd   standard deviations of the natural logarithm
# grade    measured (trees of this kind), relatives (same genus, leaf and habit), group (same leaf, scaled to
#          its published size), published (published curves of the kind or of a parent), memory
"""

POINTS_HEAD = """\
# Points for the pictures of the reference. Written by `python -m tests.fitting PATH --write`: do not edit.
#
# heights  rows of region, n, median age (years since planting), and the quartiles of the height, m
# widths   rows of region, n, median height, and the quartiles of the crown's width, m
# curves   a published curve at the site of the figures: its name, ages since seed, heights, m
"""


def as_toml(tables: Mapping) -> str:
    """Write nested tables as TOML.

    Examples
    --------
    >>> print(as_toml({"a": {"n": 1, "b": {"x": [0.5, "y"]}}}))
    [a]
    n = 1
    <BLANKLINE>
    [a.b]
    x = [0.5, "y"]
    <BLANKLINE>
    """
    lines: list[str] = []
    _table(tables, (), lines)
    return "\n".join(lines).strip("\n") + "\n"


def _table(values: Mapping, path: tuple[str, ...], lines: list[str]) -> None:
    plain = {key: value for key, value in values.items() if not isinstance(value, Mapping)}
    if path and plain:
        lines.append(f"[{'.'.join(path)}]")
    lines += [f"{key} = {_value(value)}" for key, value in plain.items()]
    if plain:
        lines.append("")
    for key, value in values.items():
        if isinstance(value, Mapping):
            _table(value, (*path, key), lines)


def _value(value) -> str:
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(entry) for entry in value) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan"
    return repr(value)
