"""Which column of a file is which of a contract: guessed by its name and held against its values."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from screenplan.contracts import INPUTS, Column
from screenplan.ground.errors import Problem
from screenplan.ground.texts import quoted
from screenplan.ground.units import metres_per
from screenplan.site.columns import can_be_read, to_text
from screenplan.site.composed import TAG_COLUMNS, cells_of, is_held, metres_in, tags_within
from screenplan.site.known_columns import Match, find_known
from screenplan.site.loose import SAMPLE_ROWS
from screenplan.site.openstreetmap import given_by_tags

#: A person who is asked: the question, and the columns of which one is named.
Ask = Callable[[str, Sequence[str]], str]
#: Names without their unit that may as well be something else: a floor may be a number of floors.
_SAY_LITTLE = {"floor"}
#: So many values of a column are shown where a person is asked.
_SHOWN = 2


@dataclass
class Guess:
    """What was taken for what, and why.

    Parameters
    ----------
    columns, units : dict
        As in the plan's table of the layer.
    said : list of str
        What was taken and what not, each with its reason.
    problems : list of Problem
        Where two columns would do.
    """

    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def guess_columns(
    name: str,
    sample: pd.DataFrame,
    *,
    named: Mapping[str, str] | None = None,
    wanted: str | None = None,
    ask: Ask | None = None,
    us: bool = False,
) -> Guess:
    """Guess which columns of a file are which of a contract.

    A column is taken if its name is ours, is known (`screenplan.site.known_columns`), or is ours without the
    unit, and if its values can be meant. One whose values are the same for all rows identifies nothing. With no
    column for a key that every row must have, the only column is taken if there is just one. Of a layer
    without geometry the reader itself takes usual names, with the units that they say.

    Parameters
    ----------
    name : str
        The contract's name.
    sample : DataFrame
        Rows of the file, without their geometry: all, or the first ones.
    named : mapping of str to str, optional
        What the person said: our column to theirs.
    wanted : str, optional
        The identifier that is looked for: of columns that could hold it, that one is meant which does.
    ask : callable, optional
        Asks the person where two columns would do; without it that is a problem.
    us : bool
        Whether the plan is in feet, so that a length without a unit may be meant so, which is a problem.
    """
    guess = Guess()
    if not INPUTS[name].geometry:
        return guess
    theirs = [str(column) for column in sample.columns]
    tags = [
        f"{column}:{key}"
        for column in TAG_COLUMNS
        if column in theirs
        for key in tags_within(sample[column])
    ]
    taken, by_tags = set((named or {}).values()), given_by_tags(name, theirs)
    for column in INPUTS[name].columns:
        if column.name in (*theirs, *(named or {}), *by_tags):
            continue
        found = [
            match for match in _candidates(name, column, theirs, tags) if match.theirs not in taken
        ]
        match = _choose(name, column, found, sample, guess, wanted=wanted, ask=ask)
        if match is None:
            continue
        taken.add(match.theirs)
        guess.columns[column.name] = match.theirs
        # OpenStreetMap's lengths are metres unless a unit stands behind the number.
        unit = match.unit or ("m" if column.unit == "m" and match.theirs in tags else "")
        guess.said.append(
            f"took {quoted(match.theirs)} as {column.name} ({match.why}{f', in {unit}' if unit else ''})"
        )
        if unit:
            guess.units[column.name] = unit
        elif us and column.unit == "m" and _lacks_unit(cells_of(sample, match.theirs)):
            guess.problems.append(
                Problem(
                    f"The column {quoted(match.theirs)} holds lengths, and neither its name nor the plan says their unit",
                    f'Write units = {{ {column.name} = "ft" }} under [layers.{name}], or "m" if it is so',
                    key=f"layers.{name}.units.{column.name}",
                )
            )
    return guess


def _lacks_unit(cells: pd.Series) -> bool:
    return any(to_text(cell) is not None and metres_in(cell) is None for cell in cells)


def guess_kind(layer: str | None, guess: Guess, sample: pd.DataFrame) -> str | None:
    """Guess what standing screens are by the name of their layer, or by the code of their points."""
    words = re.findall(r"[a-z]+", (layer or "").lower())
    kinds = INPUTS["existing_screens"].column("kind").choices
    found = [kind for kind in kinds if kind in words or f"{kind}s" in words]
    if len(found) != 1 or "kind" in guess.columns or "kind" in sample.columns:
        return None
    guess.said.append(f"wrote kind = {found[0]} for all rows, as the code {layer} says")
    return found[0]


def guess_missing(sample: pd.DataFrame, guess: Guess, storey_height_m: float) -> int | None:
    """Guess the storeys of houses that have neither height nor storeys: as many as half of the others have.

    None where no house lacks both, or most do.
    """
    metres = pd.Series(np.nan, index=sample.index)
    for name, factor in (
        ("storeys", storey_height_m),
        ("height_m", metres_per(guess.units.get("height_m", "m"))),
    ):
        theirs = guess.columns.get(name, name)
        if is_held(theirs, sample.columns):
            cells = cells_of(sample, theirs)
            written = cells.map(metres_in).astype(float)
            found = written.fillna(pd.to_numeric(cells, errors="coerce").astype(float) * factor)
            metres = found.where(found > 0.0).fillna(metres)
    metres = metres[~_is_floorless(sample, guess)]
    lacking = int(metres.isna().sum())
    if not 0 < lacking <= len(metres) / 2:
        return None
    storeys = max(1, round(float(metres.median()) / storey_height_m))
    guess.said.append(
        f"{lacking} of {len(metres)} rows have neither a height nor a number of storeys: wrote missing = "
        f"{{ storeys = {storeys} }} for them, which is the middle of the others"
    )
    return storeys


def _is_floorless(sample: pd.DataFrame, guess: Guess) -> pd.Series:
    """Tell which rows are left out when they are read, because they have no floor above the ground."""
    theirs = guess.columns.get("storeys", "storeys")
    if not is_held(theirs, sample.columns):
        return pd.Series(False, index=sample.index)
    return pd.to_numeric(cells_of(sample, theirs), errors="coerce") == 0


def _candidates(
    name: str, column: Column, theirs: Sequence[str], tags: Sequence[str]
) -> list[Match]:
    """List the columns that may be meant, the best ones first."""
    contract = INPUTS[name]
    stem = column.name.removesuffix("_m").removesuffix("_kmh").removesuffix("_deg")
    known = find_known(name, column.name, theirs, tags)
    own = {column.name, *(("id",) if column.name == contract.key else ())}
    own |= {stem} - _SAY_LITTLE
    seen = {match.theirs for match in known}
    last = 1 + max((match.tier for match in known), default=0)
    known += [
        Match(one, "by its name", "", last if one.lower() == "id" else -1)
        for one in theirs
        if one.lower() in own and one not in seen
    ]
    if not known and contract.column(contract.key).required and column.name == contract.key:
        known = [Match(one, "the only column", "", 0) for one in theirs if len(theirs) == 1]
    return sorted(known, key=lambda match: match.tier)


def _choose(
    name: str,
    column: Column,
    found: Sequence[Match],
    sample: pd.DataFrame,
    guess: Guess,
    *,
    wanted: str | None,
    ask: Ask | None,
) -> Match | None:
    """Choose among columns by their values; a column that cannot be meant is told."""
    is_key = column.name == INPUTS[name].key
    good, texts = [], {}
    for match in found:
        cells = cells_of(sample, match.theirs)
        texts[match.theirs] = [to_text(cell) for cell in cells]
        doubt = _doubt(texts[match.theirs], cells, column, is_key=is_key)
        if not doubt:
            good.append(match)
        elif _matters(name, column):
            guess.said.append(f"did not take {quoted(match.theirs)} as {column.name}: {doubt}")
    if is_key and wanted is not None:
        good = [match for match in good if wanted in texts[match.theirs]] or good
    best = [match for match in good if match.tier == good[0].tier]
    alike = [match for match in best if texts[match.theirs] == texts[best[0].theirs]]
    if not best or len(alike) == len(best) or not _matters(name, column):
        return best[0] if best else None
    options = [match.theirs for match in best]
    shown = " and ".join(
        f"{quoted(match.theirs)} ({match.why}; such as {', '.join(_some(texts[match.theirs]))})"
        for match in best
    )
    what = (
        f"{len(best)} columns could be the {column.name} of the {name.replace('_', ' ')}: {shown}"
    )
    if ask is not None:
        answer = ask(what, options)
        return next(match for match in best if match.theirs == answer)
    option = " with --id-column, or" if name == "parcels" and is_key else ""
    guess.problems.append(
        Problem(
            what,
            f"Name the one that is meant{option} under [layers.{name}]: columns = {{ {column.name} = "
            f'"{options[0]}" }}',
            key=f"layers.{name}.columns.{column.name}",
        )
    )
    return None


def _matters(name: str, column: Column) -> bool:
    """Tell whether a wrong column would change the plan, not just what things are called."""
    return name == "parcels" or column.type != "text"


def _doubt(texts: Sequence[str | None], cells: pd.Series, column: Column, *, is_key: bool) -> str:
    """Say why a column cannot be meant; empty if it can."""
    given = [text for text in texts if text is not None]
    if not texts:
        return ""
    if not given:
        return "it is empty"
    if is_key and len(texts) > 1:
        if len(set(given)) == 1:
            rows = "all rows" if len(texts) < SAMPLE_ROWS else f"the first {SAMPLE_ROWS} rows"
            return f"it is {quoted(given[0])} in {rows}"
        if len(given) < len(texts):
            return f"it is empty in {len(texts) - len(given)} of {len(texts)} rows"
    bad = next((cell for cell in cells if to_text(cell) and not can_be_read(cell, column)), None)
    return "" if bad is None else f"{quoted(to_text(bad))} in it cannot be read as one"


def _some(texts: Sequence[str | None]) -> list[str]:
    return [text for text in dict.fromkeys(texts) if text is not None][:_SHOWN]
