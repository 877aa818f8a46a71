"""Tables as CSV by RFC 4180, in UTF-8."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from screenplan.contracts import Contract
from screenplan.ground.errors import refuse
from screenplan.ground.texts import clean_text
from screenplan.outputs.conform import Layout, conform
from screenplan.outputs.vector import explain_failure

#: A spreadsheet takes a cell that begins so for a formula. The apostrophe itself is among them,
#: so that taking one leading apostrophe away always gives the text back.
FORMULA_STARTS = ("=", "+", "-", "@", "'")


def write_csv(table: pd.DataFrame, path: str | Path, contract: Contract) -> int:
    """Write a table as CSV: comma, CRLF, a header line, UTF-8 without a byte order mark.

    Text that a spreadsheet would take for a formula gets a leading apostrophe, and control
    characters, line ends among them, are spaces; the GeoPackage holds both unchanged. A missing value and an empty text are both an empty cell; true and false
    are written so.

    Parameters
    ----------
    table : DataFrame
        With exactly the contract's columns, in any order.
    path : str or Path
        The file to write; one that exists is replaced.
    contract : Contract
        What the table is.

    Returns
    -------
    int
        The number of rows written.

    Raises
    ------
    InputError
        If the table breaks its contract or cannot be written.
    """
    path = Path(path)
    layout = conform(table, contract)
    if layout.geometries is not None:
        raise refuse(
            "It has geometries, which a CSV cannot hold", "Write it as GeoJSON", layer=contract.name
        )
    return write_csv_layout(layout, path)


def write_csv_layout(layout: Layout, path: Path) -> int:
    """Write a table that keeps its contract; see `write_csv`."""
    names = [name for name, _ in layout.columns]
    cells = [
        [cell_text(value) for value in layout.values[name]]
        if column.type in ("text", "boolean")
        else ["" if value is None else value for value in layout.values[name]]
        for name, column in layout.columns
    ]
    with (
        explain_failure(path, layout.contract.name),
        path.open("w", encoding="utf-8", newline="") as sink,
    ):
        writer = csv.writer(sink)
        writer.writerow(names)
        writer.writerows(zip(*cells, strict=True))
    return len(layout)


def cell_text(value: object) -> str:
    """Write one value as a CSV cell of one line that no spreadsheet takes for a formula."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = clean_text(value)
        return f"'{text}" if text.lstrip().startswith(FORMULA_STARTS) else text
    return repr(value)
