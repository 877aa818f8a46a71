"""What a format cannot hold: said in words, and column by column, in files beside the layers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from screenplan.contracts import Column, Contract
from screenplan.ground.errors import name_rows
from screenplan.outputs.tables import write_csv
from screenplan.outputs.vector import explain_failure

NOTES_NAME = "read_me.txt"
COLUMNS_NAME = "columns.csv"

#: What ``columns.csv`` holds.
WRITTEN_COLUMNS = Contract(
    "columns",
    (),
    "A column as it stands in a file",
    optional="unit lost",
    columns=(
        Column("layer", "text", "The layer"),
        Column("file", "text", "The file it stands in"),
        Column("column", "text", "Its name in the layer"),
        Column("written_as", "text", "Its name in the file"),
        Column("type", "text", "Its type"),
        Column("unit", "text", "Its unit, or empty"),
        Column("meaning", "text", "What it means"),
        Column("rows", "integer", "Number of rows"),
        Column("no_value", "integer", "Rows that have no value in it"),
        Column("lost", "text", "What the file does not keep of it, or empty"),
    ),
)


@dataclass(frozen=True)
class WrittenColumn:
    """One column of one layer, and what became of it in its file; fields as in `WRITTEN_COLUMNS`."""

    layer: str
    file: str
    column: str
    written_as: str
    type: str
    unit: str
    meaning: str
    rows: int
    no_value: int
    lost: str = ""


@dataclass(frozen=True)
class Translation:
    """What was written in a format, and what was lost on the way.

    Parameters
    ----------
    rows : dict
        Rows by layer, for each file.
    columns : tuple of WrittenColumn
        Every column of every layer.
    losses : tuple of str
        What the files do not keep, as sentences: first what holds of the format, then what was
        found in these layers.
    """

    rows: dict[Path, dict[str, int]]
    columns: tuple[WrittenColumn, ...]
    losses: tuple[str, ...]


def column_of(
    layer: str, file: str, name: str, column: Column, values: Sequence, written_as: str, lost=()
) -> WrittenColumn:
    """Describe a column that was written."""
    return WrittenColumn(
        layer=layer,
        file=file,
        column=name,
        written_as=written_as,
        type=column.type,
        unit=column.unit,
        meaning=column.meaning,
        rows=len(values),
        no_value=sum(value is None for value in values),
        lost="; ".join(lost),
    )


def found_in(layer: str, column: str, rows: Sequence[int], what: str) -> str:
    """Say what was lost of some rows, counted from 1."""
    return f"Layer {layer}, column {column}, {name_rows(rows)}: {what}."


def write_notes(title: str, translation: Translation, folder: Path) -> dict[Path, dict[str, int]]:
    """Write ``read_me.txt`` and ``columns.csv``.

    Returns
    -------
    dict
        Rows by layer, for each file.
    """
    notes, columns = folder / NOTES_NAME, folder / COLUMNS_NAME
    lines = [
        title,
        "",
        *(f"- {sentence}" for sentence in translation.losses),
        "",
        f"{COLUMNS_NAME} lists every column: its name in the layer and in the file, its unit, what it",
        "means, how many rows have no value, and what the file does not keep of it.",
        "",
    ]
    with explain_failure(notes):
        notes.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    table = pd.DataFrame(
        [vars(column) for column in translation.columns],
        columns=[column.name for column in WRITTEN_COLUMNS.columns],
    )
    return {
        notes: {"losses": len(translation.losses)},
        columns: {"columns": write_csv(table, columns, WRITTEN_COLUMNS)},
    }
