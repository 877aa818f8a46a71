"""The report's tables, each made from a layer by its contract: headings, order, units.

A layer's contract says in which parts of the report it is shown, and which of its columns.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from screenplan.contracts import OUTPUTS, Column, Contract
from screenplan.contracts.presentation import Part, Shown
from screenplan.ground.said import in_units
from screenplan.outputs.drawings.scale import SHEET_MM
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report_cells import LONGEST_TEXT, ON_THE_RIGHT, is_missing, write_cell
from screenplan.outputs.report_plants import MOST_ALONE, merge_plants

#: Width on paper of a letter of a table, of the gap between columns, and of a box to tick.
LETTER_MM, GAP_MM, TICK_MM = 1.7, 2.0, 9.0
#: So many letters of a table fit beside each other on a phone.
PHONE_LETTERS = 42
#: A column with a text longer than this gets room for sentences.
LONG_TEXT = 30


@dataclass(frozen=True)
class Heading:
    """The head of one column.

    Parameters
    ----------
    text : str
    number : bool
        Whether its cells stand to the right.
    meaning : str
        The contract's line about it.
    year : int or None
        The year since planting to which it belongs.
    long : bool
        Whether its cells hold sentences.
    """

    text: str
    number: bool = False
    meaning: str = ""
    year: int | None = None
    long: bool = False


@dataclass
class Table:
    """A table as the report shows it; every cell is text.

    Parameters
    ----------
    key : str
        Letters and hyphens.
    title, lead : str
        Its caption, and a sentence before it.
    headings : list of Heading
    rows : list of list of str
    tick : bool
        Whether each row has a box to tick on paper.
    notes : list of str
        Sentences under it.
    on_paper : bool
        Whether it is printed.
    """

    key: str
    title: str
    headings: list[Heading]
    rows: list[list[str]]
    lead: str = ""
    tick: bool = False
    notes: list[str] = field(default_factory=list)
    on_paper: bool = True

    @property
    def crowded(self) -> bool:
        """True if its columns hardly fit a sheet: it is then set smaller, and words may break."""
        return self._width_mm() > SHEET_MM[0]

    @property
    def slim(self) -> bool:
        """True if half a sheet is enough: spread over all of it, what belongs together would stand far apart."""
        sentences = any(head.long for head in self.headings)
        return not sentences and self._width_mm() < 0.5 * SHEET_MM[0]

    def _width_mm(self) -> float:
        width = TICK_MM if self.tick else 0.0
        for k, head in enumerate(self.headings):
            texts = [head.text, *(row[k] for row in self.rows)]
            words = max(len(word) for text in texts for word in text.split() or [""])
            whole = max((len(row[k]) for row in self.rows), default=0) if head.number else 0
            width += max(words, whole, LONG_TEXT * 0.6 if head.long else 0) * LETTER_MM + GAP_MM
        return width

    def under(self, key: str, title: str = "Who no longer sees in, and from when") -> Table:
        """Give it again under another identifier."""
        return replace(self, key=key, title=title)

    @property
    def narrow(self) -> bool:
        """True if it fits the width of a phone; else its rows stand there one below another."""
        letters = 3 if self.tick else 0
        for k, head in enumerate(self.headings):
            widest = max(len(word) for word in head.text.split() or [""])
            widest = max(widest, *(len(row[k]) for row in self.rows)) if self.rows else widest
            letters += widest + 1
        return letters <= PHONE_LETTERS


def tables_of(part: Part, layers: Mapping[str, pd.DataFrame | None], **options: Any) -> list[Table]:
    """Lay out all layers that stand in one part of the report, in their order; ``options`` as of `make_table`."""
    found = sorted(
        ((shown.order, name, shown) for name, contract in OUTPUTS.items() for shown in contract.report if shown.part == part),
        key=lambda entry: entry[0],
    )  # fmt: skip
    made = (make_table(name, layers.get(name), shown=shown, **options) for _, name, shown in found)
    return [table for table in made if table]


def make_table(
    name: str,
    frame: pd.DataFrame | None,
    *,
    units: str = "metric",
    names: Mapping[str, Mapping[str, str]] | None = None,
    contracts: Mapping[str, Contract] = OUTPUTS,
    shown: Shown | None = None,
) -> Table | None:
    """Lay out a layer as a table for people.

    Parameters
    ----------
    name : str
        Name of its contract.
    frame : DataFrame or None
        The layer; its geometry is left out.
    units : {"metric", "us"}
    names : mapping of str to mapping, optional
        By the form (species, view, target) what a key stands for.
    contracts : mapping of str to Contract
    shown : Shown, optional
        Which columns are shown, and how; by default as in the layer's first table of the report, or
        whole.

    Returns
    -------
    Table or None
        None if there is nothing to show. Columns that are empty all the way down are left out.
    """
    if frame is None or frame.empty or name not in contracts:
        return None
    contract = contracts[name]
    shown = shown or next(iter(contract.report), Shown("effects", 0))
    if shown.keep is not None:
        frame = shown.keep(frame)
    columns = [
        column
        for column in _columns(contract, shown, len(frame))
        if column.name in frame and _filled(frame[column.name])
    ]
    if frame.empty or not columns:
        return None
    rows = [
        [write_cell(row, column.name, column.form, units, names or {}) for column in columns]
        for row in frame.to_dict("records")
    ]
    columns, rows = _without_level_twins(columns, rows)
    if shown.joined in frame:
        for cells, caution in zip(rows, frame[shown.joined], strict=True):
            if not is_missing(caution):
                parts = (
                    cells[-1].rstrip("."),
                    f"Watch: {clean(in_units(caution, units), LONGEST_TEXT)}",
                )
                cells[-1] = ". ".join(filter(None, parts))
    if not shown.columns:
        rows = merge_plants(frame, columns, rows)
    rows = (
        rows
        if shown.tick or shown.whole
        else [list(row) for row in dict.fromkeys(map(tuple, rows))]
    )
    headings = [
        Heading(
            shown.headings.get(column.name, column.heading),
            long=any(len(row[k]) > LONG_TEXT for row in rows),
            number=column.form in ON_THE_RIGHT
            or (column.form == "text" and column.type in ("number", "integer")),
            meaning=column.meaning,
        )
        for k, column in enumerate(columns)
    ]
    notes = _notes(frame, shown.notes, units) if shown.notes else []
    title = shown.title or contract.meaning
    key = shown.key or name.replace("_", "-")
    if shown.told:
        return Table(
            key, title, [], [], " ".join([shown.lead, *_sentences(headings, rows)]).strip()
        )
    made = Table(key, title, headings, rows, shown.lead, shown.tick, notes)
    return made if shown.whole else without_equal(made)


def _without_level_twins(
    columns: list[Column], rows: list[list[str]]
) -> tuple[list[Column], list[list[str]]]:
    """Take out the readings on a slope if every one in the table is as the level one beside it."""
    at = {column.name: k for k, column in enumerate(columns)}
    twins = {k: at[column.same_as] for k, column in enumerate(columns) if column.same_as in at}
    if any(row[k] != row[level] for row in rows for k, level in twins.items()):
        return columns, rows
    left = [k for k in range(len(columns)) if k not in twins]
    return [columns[k] for k in left], [[row[k] for k in left] for row in rows]


def _notes(frame: pd.DataFrame, columns: Sequence[str], units: str) -> list[str]:
    """Give what is said of rows in sentences under their names; rows of which the same is said share one."""
    name_of, *says = columns
    told: dict[str, list[str]] = {}
    for row in frame.to_dict("records"):
        texts = [in_units(row[what], units) for what in says if not is_missing(row[what])]
        if texts:
            said = ". ".join(clean(text, LONGEST_TEXT) for text in texts)
            head = clean(in_units(row[name_of], units), LONGEST_TEXT).replace("_", " ")
            told.setdefault(said, []).append(head)
    return [
        f"{', '.join(heads)[:1].upper()}{', '.join(heads)[1:]}: {said}"
        for said, heads in told.items()
    ]


def without_equal(table: Table, keep: Sequence[str] = ()) -> Table:
    """Take out the columns whose cells are all equal, and say them in the lead.

    The first column, which names the rows, stays, and so do those whose headings are kept, sentences, such
    as a caution at each task, and a table of one row.
    """
    equal = [
        k
        for k in range(1, len(table.headings))
        if len({row[k] for row in table.rows}) == 1
        and len(table.rows[0][k]) <= LONG_TEXT
        and table.headings[k].text not in keep
    ]
    if len(table.rows) < 2 or not equal:
        return table
    left = [k for k in range(len(table.headings)) if k not in equal]
    said = ", ".join(
        f"{table.headings[k].text} {table.rows[0][k]}"
        for k in equal
        if table.rows[0][k] not in _SAYS_NOTHING
    )
    return replace(
        table,
        headings=[table.headings[k] for k in left],
        rows=[[row[k] for k in left] for row in table.rows],
        lead=" ".join(filter(None, (table.lead, f"In every row: {said}." if said else ""))),
    )


#: Cells that are not worth saying of all rows.
_SAYS_NOTHING = ("", "–", "once")


def _columns(contract: Contract, shown: Shown, rows: int) -> list[Column]:
    """Give the columns that are shown; many plants are told together, without the key of each row."""
    if shown.columns:
        return [contract.column(name) for name in shown.columns.split()]
    together = rows > MOST_ALONE and any(column.name == "plant_id" for column in contract.columns)
    return [
        column
        for column in contract.columns
        if not column.per_year and not (together and column.name == contract.key != "plant_id")
    ]


def _sentences(headings: list[Heading], rows: list[list[str]]) -> Iterator[str]:
    """Say each cell once, column by column."""
    for k, head in enumerate(headings):
        for cell in dict.fromkeys(row[k] for row in rows):
            yield f"{f'{head.text.capitalize()}: ' if k else ''}{cell}."


def stakes_by_line(table: Table | None) -> list[Table]:
    """Split the stakes by their base line, so that each line is a list of its own on the sheet."""
    if table is None:
        return []
    column = next(
        (k for k, head in enumerate(table.headings) if head.text in ("line", "row")), None
    )
    if column is None:
        return [table]
    made = []
    for number, line in enumerate(dict.fromkeys(row[column] for row in table.rows), 1):
        rows = [row for row in table.rows if row[column] == line]
        keep = [k for k in range(len(table.headings)) if k != column]
        if all("on the line" in row for row in rows):
            keep = [k for k in keep if table.headings[k].text not in _OFFSETS]
        made.append(
            without_equal(
                Table(
                    f"{table.key}-{number}",
                    f"{table.title} on {line}",
                    [table.headings[k] for k in keep],
                    [[row[k] for k in keep] for row in rows],
                    table.lead if number == 1 else "",
                    table.tick,
                ),
                # A stake is read by its own distances, also where they are all the same.
                keep=_OFFSETS,
            )
        )
    return made


#: Columns that say nothing on a line where every stake stands on the tape.
_OFFSETS = ("offset", "to the", "diagonal from zero")


def plain_table(
    key: str, title: str, headings: Sequence[str], rows: Sequence[Sequence[Any]], lead: str = ""
) -> Table | None:
    """Make a table of texts; None if it has no rows. Columns that hold nothing are left out."""
    texts = [[clean(cell, LONGEST_TEXT) for cell in row] for row in rows]
    keep = [k for k in range(len(headings)) if any(row[k] for row in texts)]
    if not texts or not keep:
        return None
    return Table(
        key, title,
        [Heading(headings[k], long=any(len(row[k]) > LONG_TEXT for row in texts)) for k in keep],
        [[row[k] for k in keep] for row in texts],
        lead,
    )  # fmt: skip


def _filled(series: pd.Series) -> bool:
    texts = series.dropna()
    return bool(len(texts)) and any(str(value).strip() for value in texts)
