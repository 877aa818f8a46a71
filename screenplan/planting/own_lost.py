"""Plants of the plan that have died, as the layer ``measured_plants`` records them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from math import floor
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts.tables import numbers, texts
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.texts import quoted
from screenplan.plan import Options
from screenplan.planting.own_measured import are_lost
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species

#: Stations that differ by less are the same: files round them.
SAME_STATION_M = 0.1
_CHANGED = "Run the plan as it was planted, so that its plants have the numbers of their stakes, or correct the row"


@dataclass(frozen=True)
class Lost:
    """Plants that have died.

    Parameters
    ----------
    plant : ndarray of int, (lost,)
        Their rows in the layer of plants, from 0, in rising order.
    found : ndarray of int, (lost,)
        The year since planting in which each was found dead. It counts as standing at the beginning of that
        year and as gone from the next one on, at the beginning of which it is replaced.
    """

    plant: np.ndarray
    found: np.ndarray


def find_lost_plants(
    measured_plants: pd.DataFrame | None,
    plants: pd.DataFrame,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> Lost:
    """Find the plants that are recorded as lost, each by its last record.

    Parameters
    ----------
    measured_plants : DataFrame or None
        Layer of the contract; rows that are not marked as lost are passed over.
    plants : DataFrame
        Those of the plan.
    plan : Options
        Of it the day of planting, for rows that do not say it, and the years that are looked at.
    species_table : mapping, optional
        By default the shipped table.

    Raises
    ------
    InputError
        With each row of which no plant of the plan is known, or no year.
    """
    found: dict[int, int] = {}
    if measured_plants is None:
        return Lost(np.zeros(0, int), np.zeros(0, int))
    place = {int(plant): row for row, plant in enumerate(plants["plant_id"])}
    problems = []
    for record in _records(measured_plants, plan):
        plant = place.get(record["number"])
        wrong = _wrong(record, None if plant is None else plants.iloc[plant], species_table, plan)
        if wrong:
            what, mend = wrong
            problems.append(Problem(what, mend, layer="measured_plants", rows=[record["row"]]))
        elif plant is not None:
            found[plant] = max(floor(record["age"]), found.get(plant, 0))
    if problems:
        raise InputError(problems)
    rows = np.array(sorted(found), int)
    return Lost(rows, np.array([found[row] for row in rows], int))


def _records(layer: pd.DataFrame, plan: Options) -> list[dict[str, Any]]:
    """Give the rows that are marked as lost, each with its number and its age."""
    planting = plan.calendar.planting
    usual = np.nan if planting is None else float(dt.date.fromisoformat(planting).year)
    by_years = numbers(layer, "measured_year", np.nan) - numbers(layer, "planted_year", usual)
    ages = numbers(layer, "age_years", np.nan)
    columns = zip(
        texts(layer, "tag_id"), texts(layer, "species"), texts(layer, "line_id"),
        numbers(layer, "station_m", np.nan), np.where(np.isnan(ages), by_years, ages), are_lost(layer),
        strict=True,
    )  # fmt: skip
    return [
        {
            "row": row, "number": _number(tag), "tag": tag, "species": species, "line": line,
            "station": station, "age": age,
        }
        for row, (tag, species, line, station, age, is_lost) in enumerate(columns, start=1)
        if is_lost
    ]  # fmt: skip


def _number(tag: str) -> int | None:
    return int(tag) if tag.isascii() and tag.isdigit() else None


def _wrong(record, plant, species_table, plan: Options) -> tuple[str, str] | None:
    """Say what is wrong with a record, and how to mend it; None if nothing is."""
    tag, age, last = record["tag"], record["age"], plan.growth.years
    if not tag:
        return (
            "a plant is lost, and nothing says which",
            "Write its number, as its stake has it, in the column plant_id",
        )
    if plant is None:
        return (
            f"the plant {quoted(tag)} is lost, and the plan has no plant of that number",
            "Write its number, as its stake has it; what stood there before the plan is no plant of it",
        )
    if bool(plant["existing"]):
        return (
            f"the plant {tag} is lost, and it stood there before the plan",
            "Take it out of the layer existing_screens",
        )
    if not _is_of(record["species"], str(plant["species"]), species_table):
        return (
            f"the plant {tag} is lost as {quoted(record['species'])}, and the plan has {plant['species']} there",
            _CHANGED,
        )
    if record["line"] and record["line"] != str(plant["line_id"]):
        return (
            f"the plant {tag} is lost on the line {quoted(record['line'])}, and the plan has it on {plant['line_id']}",
            _CHANGED,
        )
    if abs(record["station"] - float(plant["station_m"])) > SAME_STATION_M:
        return (
            f"the plant {tag} is lost at the station {{{record['station']:.2f} m}}, and the plan has it at "
            f"{{{float(plant['station_m']):.2f} m}}",
            _CHANGED,
        )
    if np.isnan(age):
        return (
            f"nothing says when the plant {tag} was found dead",
            "Give measured_year beside planted_year, or age_years",
        )
    if age < 0.0:
        return (
            f"the plant {tag} is said to have died before it was planted",
            "Correct the years; measured_year is not before planted_year",
        )
    if floor(age) >= last:
        return (
            f"the plant {tag} was found dead {age:g} years after planting, and the plan looks at {last} years",
            "Correct the year, or look at more years (growth.years)",
        )
    return None


def _is_of(said: str, key: str, species_table) -> bool:
    """Tell whether a kind that a row names is that of the plant; a row may leave it out."""
    if not said:
        return True
    try:
        return species_of(said, species_table).key == key
    except InputError:
        return False
