"""Columns of a table that people call by a usual name of theirs: ``Ht (ft)`` for ``height_m``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from screenplan.contracts import Column, Contract
from screenplan.ground.texts import quoted
from screenplan.site.repair import WHOLE_LAYER, Findings
from screenplan.site.sources import LayerSource

#: How a name ends that says its unit, in `screenplan.ground.units`.
UNITS = {
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "cm": "cm", "mm": "mm", "ft": "ft",
    "foot": "ft", "feet": "ft", "in": "in", "inch": "in", "inches": "in",
}  # fmt: skip


def take_usual_names(
    contract: Contract,
    present: Sequence[str],
    named: LayerSource,
    findings: Findings,
    *,
    us: bool,
) -> LayerSource:
    """Find columns that have a usual name, and the units that these names say; tell what was taken for what.

    Our own name, and what the plan says, go before; of several usual names the first of the contract's list does. Case, blanks,
    brackets and marks between words do not count.

    Parameters
    ----------
    contract : Contract
        Of a layer without geometry, with the usual names of its columns.
    present : sequence of str
        The file's columns.
    named : LayerSource
        What the plan says of them.
    findings : Findings
        Where it is told, and where a length of which nobody says the unit is refused.
    us : bool
        Whether the plan is in feet, so that a length without a unit may be meant so.

    Returns
    -------
    LayerSource
        With the columns that were found, and their units.
    """
    columns, units = dict(named.columns), dict(named.units)
    words = {theirs: _words(theirs) for theirs in present if theirs not in columns.values()}
    for column in contract.columns:
        if column.name in columns or column.name in named.fixed or column.name in present:
            continue
        theirs, unit = _find(column, words)
        if theirs is None:
            continue
        columns[column.name] = theirs
        del words[theirs]
        said = ""
        if column.unit == "m":
            unit = units.get(column.name, unit)
            if unit is None and us:
                findings.refused(
                    (),
                    f"The column {quoted(theirs)} holds lengths, and neither its name nor the plan says their unit",
                    f'Write units = {{ {column.name} = "ft" }}, or "m" if it is so',
                    key=f"layers.{contract.name}.units.{column.name}",
                )
            units[column.name] = unit or "m"
            said = f", in {units[column.name]}"
        findings.mended(
            [WHOLE_LAYER], f"the column {quoted(theirs)} is taken for {column.name}{said}"
        )
    return replace(named, columns=columns, units=units)


def _find(column: Column, words: Mapping[str, list[str]]) -> tuple[str | None, str | None]:
    """Find the file's column by the usual names, the first of them first, and the unit that it says."""
    own = column.name.removesuffix("_m").split("_")
    for usual in (own, *(name.split() for name in column.usual)):
        for theirs, said in words.items():
            if said == usual:
                return theirs, None
            if column.unit == "m" and said[:-1] == usual and said[-1] in UNITS:
                return theirs, UNITS[said[-1]]
    return None, None


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", name.lower())
