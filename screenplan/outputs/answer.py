"""The report's first screen: what to order, where it goes, who sees in and who no longer, what comes first.

Each block is a title and sentences, or a small table, made from the layers alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import pandas as pd

from screenplan.contracts.findings import UNKNOWN
from screenplan.contracts.tables import records_of
from screenplan.contracts.views import WIDE_GAP
from screenplan.ground.said import in_units
from screenplan.ground.texts import first_few, more_stand
from screenplan.ground.units import format_length, format_tape
from screenplan.outputs.answer_costs import cost_lines
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.plant_list import height_words, stock_words
from screenplan.outputs.report_cells import LONGEST_TEXT, how_tapes_lie, is_missing
from screenplan.outputs.report_tables import Table
from screenplan.outputs.who_sees import NOBODY_GIVEN, closing_windows, open_windows

#: So many rows, and so many of anything else, are told; the sheets below tell all.
MOST_ROWS, MOST_LINES = 4, 5

#: What holds for every planting, whatever the layers say.
CAUTIONS = (
    "Before any digging have buried lines located by the local locating service: no map, and no plan, "
    "replaces it. Near a located line dig by hand.",
    "Keep people, tools and long plants away from overhead lines; ask their owner which heights may grow "
    "there.",
    "At drives, corners and crossings ask the road authority what must stay clear.",
    "Where the boundary matters have it marked by a licensed surveyor, and speak with the neighbour first.",
    "Local codes decide over every distance and height in this plan.",
)


@dataclass(frozen=True)
class Block:
    """One block of the first screen.

    Parameters
    ----------
    key : str
        Letters.
    title : str
    lines : list of str
        Its sentences.
    table : Table or None
    quote : str
        A sentence to hand on, as it stands.
    more : str
        What is said under it, and where the rest is.
    """

    key: str
    title: str
    lines: list[str] = field(default_factory=list)
    table: Table | None = None
    quote: str = ""
    more: str = ""


def answer(layers: Mapping, about) -> list[Block]:
    """Give the blocks of the first screen, in reading order.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name.
    about : About
        What the report says besides its layers.
    """
    blocks = (
        _built_first(layers, about.units),
        _order(layers, about.units),
        _where(layers, about.units),
        _shared(layers, about.units),
        _closed(layers),
        _open(layers, about.units),
        _before(layers),
        Block("cost", "Cost to you and to others", list(cost_lines(layers, about, MOST_LINES))),
        _memory(layers, about),
    )
    return [
        replace(
            block,
            lines=[clean(line, LONGEST_TEXT) for line in block.lines],
            quote=clean(block.quote, LONGEST_TEXT),
        )
        for block in blocks
        if block is not None
    ]


def answer_lines(block: Block) -> list[str]:
    """Give what a block says as sentences alone, its table and what is said under it too."""
    rows = [] if block.table is None else block.table.rows
    heads = [] if block.table is None else [head.text for head in block.table.headings]
    told = [
        ", ".join(f"{head} {cell}" for head, cell in zip(heads, row, strict=True)) for row in rows
    ]
    return [*block.lines, *told, *([block.more] if block.more else [])]


def _built_first(layers, units) -> Block | None:
    """Say what is built before anything is planted, or in the place of plants."""
    rows = records_of(layers.get("new_screens"))
    if not rows:
        return None
    what = rows[0]["option"]
    plants = not layers["plants"]["existing"].astype(bool).all()
    lines = [in_units(rows[0]["says"], units)]
    return Block("build", f"Build the new {what}" + ", and plant nothing" * (not plants), lines)


def _order(layers, units) -> Block | None:
    rows = records_of(layers.get("quantities"))
    plants = [row for row in rows if row["part"] == "plants"]
    bought = [
        row for row in plants if not is_missing(row["packs"]) and not is_missing(row["plants"])
    ]
    raised = [row for row in plants if is_missing(row["packs"])]
    if not plants:
        return None
    lines = [f"{int(row['packs'])} {_kind(row, units)}" for row in bought]
    lines += [f"{int(row['plants'])} {_kind(row, units)}, raised by yourself" for row in raised]
    lines += [
        f"{int(row['packs'])} {clean(row['name'], 120)}"
        for row in plants
        if row not in bought and row not in raised
    ]
    count, set_out = (sum(int(row[name]) for row in bought) for name in ("packs", "plants"))
    again = sum(int(row["packs"]) for row in rows if row["part"] == "replacements")
    told = [
        f"{set_out} are planted, {count - set_out} {'is' if count - set_out == 1 else 'are'} spare for losses"
    ] * (count > set_out)
    told += [f"{again} more later, in place of those that die"] * bool(again)
    lines += ["; ".join(told)] * bool(told)
    if hand := _hand(layers.get("plants_in_hand")):
        lines.append(hand)
    if cold := _cold(layers.get("checks")):
        lines.append(cold)
    title = (
        f"Order {count} plants"
        if count
        else f"Raise {sum(int(r['plants']) for r in raised)} plants"
    )
    return Block("order", title, lines, quote=_quote(bought, units, layers.get("schedule")))


def _cold(checks) -> str:
    """Say if nobody knows whether the plants stand the winters of the site."""
    if any(
        row["check"] == "winter cold" and row["result"] == UNKNOWN for row in records_of(checks)
    ):
        return "Whether they stand your winters was not looked at: the plan's key health.zone takes the hardiness zone"
    return ""


def _kind(row, units) -> str:
    parts = (clean(row["plant_name"], 90), stock_words(row["stock"]))
    tall = height_words(row["stock_height_m"], units)
    return ", ".join(filter(None, (*parts, f"{tall} high" if tall else "")))


def _quote(bought, units, schedule) -> str:
    """Write the order as a sentence that can be sent to a nursery."""
    if not bought:
        return ""
    kinds = [f"{int(row['packs'])} {_kind(row, units)}" for row in bought]
    listed = kinds[0] if len(kinds) == 1 else "; ".join(kinds[:-1]) + "; and " + kinds[-1]
    day = ""
    for row in records_of(schedule):
        if row["task"] == "plant" and not is_missing(row["first_date"]):
            day = f" for planting on {row['first_date']}"
    return f"Please quote, delivered: {listed}{day}. No substitute without asking."


def _hand(in_hand) -> str:
    for row in records_of(in_hand):
        if row["line_id"] == "all" and not is_missing(row["given"]):
            over = int(row["surplus"])
            rest = (
                "as many as are needed"
                if over == 0
                else f"{abs(over)} {'more than' if over > 0 else 'short of what'} this plan sets"
            )
            return f"{int(row['given'])} are in hand or offered, {rest}"
    return ""


def _where(layers, units) -> Block | None:
    stakes, lines = layers.get("stakes"), layers["planting_lines"]
    plants = layers["plants"]
    standing = plants.loc[plants["existing"].astype(bool), "line_id"].value_counts()
    bases = {row["base_id"]: row for row in records_of(layers.get("base_lines"))}
    told = []
    for line in records_of(lines):
        mine = (
            [] if stakes is None else records_of(stakes.loc[stakes["line_id"] == line["line_id"]])
        )
        if mine:
            kept = int(standing.get(line["line_id"], 0))
            told.append(_row_words(line, mine, bases, units, kept))
    if not told:
        return None
    more = len(told) - MOST_ROWS
    return Block(
        "where",
        f"Where they go, by tapes {how_tapes_lie(stakes)}",
        told[:MOST_ROWS],
        more=more_stand(more, "under Stake out", "row"),
    )  # fmt: skip


#: What is said behind a shared boundary, by how it is settled.
_AGREED = {
    "half": ", half by half: nothing is agreed",
    "whole": ": nothing is agreed, and there is nothing to halve",
    "agreed": ", as agreed",
}


def _shared(layers, units) -> Block | None:
    """Say who plants the boundaries that lots share."""
    rows = [
        row
        for row in records_of(layers.get("shared_boundaries"))
        if not is_missing(row["planted_by"])
    ]
    if not rows:
        return None
    told = [
        f"{clean(row['lots'])}: {clean(row['planted_by'])} plants {int(row['plants'])}, a row of "
        f"{format_length(float(row['row_m']), units)}{_AGREED.get(row['settled'], '')}"
        for row in rows
    ]
    more = len(told) - MOST_LINES
    return Block(
        "shared",
        "Boundaries that two lots share, planted once",
        told[:MOST_LINES],
        more=more_stand(more, "under Stake out"),
    )


def _row_words(line, stakes, bases, units, kept: int) -> str:
    """Say how a row runs: how many plants, how far apart, and where its tape begins."""
    parts = [f"{clean(line['line_id'])}: {len(stakes)} plant{'s' * (len(stakes) > 1)}"]
    if kept:
        # Stakes mark the new ones: how far apart they stand says little there.
        parts.append(f"among {kept} that stand{'s' * (kept == 1)} already")
    elif len(stakes) > 1:
        parts.append(_spacing(stakes, units))
    if not is_missing(line["offset_m"]):
        parts.append(f"{format_length(float(line['offset_m']), units)} inside the boundary")
    first, last = stakes[0], stakes[-1]
    tapes = []
    for stake in (first, last):
        tape = f" of tape {stake['base_id']}" if first["base_id"] != last["base_id"] else ""
        tapes.append(
            f"stake {stake['stake_id']} at {format_tape(float(stake['slope_along_m']), units)}{tape}"
        )
    base = bases.get(first["base_id"])
    tape = f"Tape {base['base_id']}, peg {base['from_peg']} to {base['to_peg']}: " if base else ""
    return f"{', '.join(parts)}. {tape}{', '.join(tapes)}"  # fmt: skip


def _spacing(stakes, units) -> str:
    gaps = pd.Series([
        abs(float(b["along_m"]) - float(a["along_m"]))
        for a, b in pairwise(stakes)
        if a["base_id"] == b["base_id"]
    ])  # fmt: skip
    if gaps.empty:
        return "staked from tapes of their own"
    usual = float(gaps.median())
    wide = gaps[gaps > WIDE_GAP * usual]
    near = gaps[gaps <= WIDE_GAP * usual]
    low, high = (format_length(float(gap), units) for gap in (near.min(), near.max()))
    apart = f"{low} apart" if low == high else f"{low} to {high} apart"
    if wide.empty:
        return apart
    most = format_length(float(wide.max()), units)
    return f"{apart} but for {'a gap' if len(wide) == 1 else f'{len(wide)} gaps'} of {'up to ' * (len(wide) > 1)}{most}"


def _closed(layers) -> Block | None:
    if layers.get("views") is None:
        return None
    if not len(layers["views"]):
        return Block("closed", "Who sees in", [NOBODY_GIVEN])
    table, more = closing_windows(layers)
    if table is None:
        return Block(
            "closed",
            "Who no longer sees in",
            ["Nobody: this planting closes no view that is open today"],
        )
    return Block("closed", "Who no longer sees in, and from when", table=table, more=more)  # fmt: skip


def _open(layers, units) -> Block | None:
    if layers.get("views") is None or not len(layers["views"]):
        return None
    told = open_windows(layers, units)
    if not told:
        return Block("open", "Who still sees in", ["Nobody of those that were looked at"])
    more = len(told) - MOST_LINES
    return Block(
        "open", "Who still sees in, and why", told[:MOST_LINES],
        more=more_stand(more, "in the table of views"),
    )  # fmt: skip


def _before(layers) -> Block:
    fails = [
        clean(row["check"]) for row in records_of(layers.get("checks")) if row["result"] == "fails"
    ]
    lines = list(CAUTIONS)
    if fails:
        many = "1 check fails" if len(fails) == 1 else f"{len(fails)} checks fail"
        lines.insert(0, f"{many}, so do not plant by this sheet yet: {first_few(fails, MOST_LINES)}. Under Check stands how to mend each.")  # fmt: skip
    return Block("dig", "Before you dig", lines)


def _memory(layers, about) -> Block:
    """Say which figures nobody has looked up, and on what the years rest."""
    lines = []
    views = layers.get("views")
    if views is not None and len(views) and not is_missing(views["evidence"].iloc[0]):
        lines.append(f"Growth, on which the years rest: {clean(views['evidence'].iloc[0])}")
    figures = [
        f"{', '.join(what)} of {clean(species['name'])}"
        for species in about.species
        if (what := _from_memory(species))
    ]
    if figures:
        lines.append(f"From memory, not looked up: {'; '.join(figures[:MOST_LINES])}")
    rules = layers.get("rules")
    if rules is not None and len(rules):
        mine = rules.loc[rules["applies"].astype(bool) & (rules["status"] == "memory"), "rule"]
        if len(mine):
            lines.append(
                f"Rules from memory: {first_few([str(rule).replace('_', ' ') for rule in mine], MOST_LINES)}"
            )
    for name, words in (("windows", "Windows"), ("private_places", "Private places")):
        frame = layers.get(name)
        if frame is not None and len(frame) and frame["derived"].fillna(False).astype(bool).any():
            lines.append(f"{words} are derived from footprints: nobody has surveyed them")
    return Block("memory", "What rests on memory", lines or ["No figure of this plan"])


def _from_memory(species) -> list[str]:
    """Name what of a species is from memory: the part of a source that says so, or its key."""
    found = []
    for key, text in species["sources"].items():
        for part in str(text).split(";"):
            if "memory" in part:
                head = part.partition(":")[0].strip()
                word = head if ":" in part and key.startswith("mature") else key.replace("_", " ")
                found.append(word)
    return list(dict.fromkeys(found))
