"""What is noted while a site is read: repairs, changes of datum, warnings, origins and problems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from screenplan.contracts.tables import DTYPES
from screenplan.ground.datum import Transformation, fetch_command
from screenplan.ground.errors import InputError
from screenplan.ground.said import said
from screenplan.site.repair import WHOLE_LAYER, Findings


class Noting:
    """Notes what happens to the layers of one site."""

    def __init__(self):
        self.repairs: list[tuple[str, int, str]] = []
        self.transformations: list[dict] = []
        self.warnings: list[str] = []
        self.inputs: list[dict] = []
        self.problems: list = []

    def _raise_problems(self, findings: Findings | None = None) -> None:
        """Refuse what was found wrong, with what is found of a layer by now."""
        if findings is not None:
            self.problems += findings.problems
        if self.problems:
            raise InputError(self.problems)

    def _take(
        self, source, way: Transformation | None, done: pd.DataFrame, findings: Findings
    ) -> pd.DataFrame:
        """Give a layer that is read, its repairs and its origin noted; refuse what is wrong in it."""
        if findings.problems:
            raise InputError(findings.problems)
        self.repairs += findings.repairs
        self._record(source, way, len(done))
        return done

    def _record(self, source, way: Transformation | None, near: int) -> None:
        self.inputs.append({**source.to_record(), "rows_near": near})
        what = source.name.replace("_", " ")
        self.warnings += [f"The layer of {what}: {note}." for note in source.notes]
        if way is None:
            return
        self.transformations.append({"layer": source.name, **way.to_record()})
        self._tell_change(f"The layer of {what}", way.to_record())

    def _tell_change(self, what: str, way: Mapping[str, Any]) -> None:
        """Tell how well a change of datum is known, and what would know it better."""
        if not way["accuracy_m"]:
            return
        better = ""
        if way["missing_grids"]:
            grids = way["missing_grids"]
            better = f" ({{{way['better_m']:g} m}} with {', '.join(grids)}: fetch by {fetch_command(grids)})"
        self.warnings.append(
            f"{what} was brought from '{way['source']}' to '{way['target']}', good to "
            f"{{{way['accuracy_m']:g} m}}{better}: it may lie so far beside where it belongs."
        )


def table_of_repairs(repairs: list[tuple[str, int, str]]) -> pd.DataFrame:
    """Lay the repairs out as a table; a repair of a whole layer has no row."""
    told = [(layer, row, said(repair)) for layer, row, repair in repairs]
    # As objects first: what pandas takes texts for by itself may not keep their quantities.
    table = pd.DataFrame(told, columns=["layer", "row", "repair"], dtype=object).astype(
        {"layer": DTYPES["text"], "row": "Int64", "repair": DTYPES["text"]}
    )
    return table.assign(row=table["row"].mask(table["row"] == WHOLE_LAYER))
