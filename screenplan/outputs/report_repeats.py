"""What the report has said is not said again: whole cells, sources of rules, and notes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from screenplan.outputs.report_tables import LONG_TEXT, Table

#: Stands for a sentence that is the same as in the row above.
AS_ABOVE = "as above"
#: Begins a caution, which stands whole wherever work can hurt someone.
WATCH = "Watch:"


def say_once(tables: Sequence[Table]) -> list[Table]:
    """Shorten the sentences of tables that stand one after the other, so that none is read twice.

    A long cell that is the one above it is "as above". A sentence that has been said before loses what stands in
    brackets and behind them, as the source of a rule. A cell with a caution stays whole.

    Examples
    --------
    >>> from screenplan.outputs.report_tables import Heading
    >>> how = "Slowly, over the root ball. Not while birds nest (by the Wildlife Act): the law decides"
    >>> tables = [Table("t", "T", [Heading("how", long=True)], [[text], [text]]) for text in (how, how[28:])]
    >>> [row for table in say_once(tables) for row in table.rows][1:]
    [['as above'], ['Not while birds nest'], ['as above']]
    """
    said: set[str] = set()
    return [
        replace(table, rows=[_row_once(table, number, said) for number in range(len(table.rows))])
        for table in tables
    ]


def _row_once(table: Table, number: int, said: set[str]) -> list[str]:
    row, above = (
        table.rows[number],
        table.rows[number - 1] if number else [""] * len(table.headings),
    )
    return [
        cell
        if not head.long or len(cell) <= LONG_TEXT or WATCH in cell
        else AS_ABOVE
        if cell == before
        else ". ".join(_sentence_once(sentence, said) for sentence in cell.split(". "))
        for head, cell, before in zip(table.headings, row, above, strict=True)
    ]


def _sentence_once(sentence: str, said: set[str]) -> str:
    if sentence in said:
        return sentence.partition(" (")[0]
    said.add(sentence)
    return sentence


def not_said(notes: Iterable[str], tables: Iterable[Table]) -> list[str]:
    """Give the notes that no sentence of the tables holds, also behind a word and a colon.

    Examples
    --------
    >>> table = Table("design", "The design", [], [], notes=["9 plants close 4 views; they cost 90"])
    >>> not_said(["Design: 9 plants close 4 views", "The ground is level"], [table])
    ['The ground is level']
    """
    told = "\n".join(
        text
        for table in tables
        for text in (table.lead, *table.notes, *(cell for row in table.rows for cell in row))
    )
    return [note for note in notes if not any(part in told for part in _parts(note))]


def _parts(note: str) -> list[str]:
    """Give the note and what stands behind its first colon."""
    return [part.rstrip(".") for part in (note, note.partition(": ")[2]) if part]
