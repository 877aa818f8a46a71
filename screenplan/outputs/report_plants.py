"""Many plants in one row: what befalls each plant, by what befalls plants alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from screenplan.contracts import Column
from screenplan.outputs.report_cells import is_missing

#: So many plants have a row each.
MOST_ALONE = 12


def merge_plants(
    frame: pd.DataFrame, columns: Sequence[Column], cells: Sequence[list[str]]
) -> list[list[str]]:
    """Put the rows of plants that differ in figures alone into one; the figures are then ranges.

    Parameters
    ----------
    frame : DataFrame
        One plant a row, of which ``plant_id`` is its number.
    columns : sequence of Column
        Those that are shown.
    cells : sequence of list of str
        The rows as they are written.

    Returns
    -------
    list of list of str
        As given, if there are but a few rows or no plants.
    """
    if len(cells) <= MOST_ALONE or "plant_id" not in [column.name for column in columns]:
        return list(cells)
    words = [k for k, column in enumerate(columns) if column.type == "text"]
    alike: dict[tuple[str, ...], list[int]] = {}
    for number, row in enumerate(cells):
        alike.setdefault(tuple(row[k] for k in words), []).append(number)
    return [
        [
            cells[rows[0]][k]
            if k in words
            else numbers_in_words(frame["plant_id"].iloc[rows])
            if column.name == "plant_id"
            else _span(frame[column.name].iloc[rows], [cells[row][k] for row in rows])
            for k, column in enumerate(columns)
        ]
        for rows in alike.values()
    ]


def numbers_in_words(numbers: Iterable[int]) -> str:
    """Write whole numbers, those that follow each other as a range.

    Examples
    --------
    >>> numbers_in_words([5, 1, 2, 3, 9, 10])
    '1 to 3, 5, 9, 10'
    """
    runs: list[list[int]] = []
    for number in sorted({int(number) for number in numbers}):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def _span(values: pd.Series, texts: Sequence[str]) -> str:
    """Give the least and the greatest value; an empty one, such as a year that never comes, is the last."""
    ranked = sorted(
        zip(values, texts, strict=True),
        key=lambda pair: (is_missing(pair[0]), 0 if is_missing(pair[0]) else float(pair[0])),
    )
    first, last = ranked[0][1], ranked[-1][1]
    return first if first == last else f"{first} to {last or 'never'}"
