"""Plants of one's own that were measured, taken from their layers and refused by row where they cannot be.

Rows of plants that are lost, and rows of a form that nobody filled in, say nothing of the growth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts.tables import numbers, texts
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.said import FOOT_M, INCH_M
from screenplan.ground.texts import quoted
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.measured import load_measured
from screenplan.planting.own_growth import READING_LOG_SD, STOCK_LOG_SD, shifted
from screenplan.planting.species import GROWTH_CLASSES, species_of
from screenplan.planting.species_model import Species

#: Screens that grow, of which the age may be given.
GROWING = ("plant", "tree", "hedge")
#: No planted screen is older, and a calendar year is no age.
OLDEST_YEARS = 300.0
#: So many standard deviations above or below what is typical no plant of a thousand is.
FARTHEST_SDS = 3.0
#: The curves say little of single plants in their first years: as tall as rapid growth makes them they may be.
YOUNG_YEARS, YOUNG_GROWTH_M = 2.0, GROWTH_CLASSES["rapid"][-1]
#: Widths beyond so many times the greatest one, published or measured, are slips.
WIDEST_TIMES = 2.0
#: A height so small beside the usual one is a slip.
SMALLEST_SHARE = 0.1
#: Units in which lengths may have been written, metres; and how near to the usual size a length must be in one, as
#: a difference of logarithms, for it to be guessed.
UNITS_M = {"ft": FOOT_M, "cm": 0.01, "in": INCH_M, "mm": 0.001}
NEAR = 1.0


@dataclass(frozen=True)
class Measured:
    """One plant that was measured.

    Parameters
    ----------
    layer : str
        The layer in which it stands.
    row : int
        Its row there, from 1.
    species : str
        Key of its species.
    age_years : float
    height_m : float
    width_m, stock_height_m : float
        NaN where nobody gives it.
    """

    layer: str
    row: int
    species: str
    age_years: float
    height_m: float
    width_m: float = np.nan
    stock_height_m: float = np.nan


def measured_plants(
    layers: Mapping[str, Any], species_table: Mapping[str, Species], bases: Mapping[str, str]
) -> list[Measured]:
    """List the plants that were measured, each by its last measurement.

    Parameters
    ----------
    layers : mapping
        Of it ``measured_plants``, and ``existing_screens`` that grow and whose age is given.
    species_table : mapping
        Species by key, as they grow without own plants.
    bases : mapping
        For each species on whose growth there is evidence, the kind of the shipped table whose spreads it has.

    Raises
    ------
    InputError
        With each row that cannot be: an age of 0 or less, a height or width that its kind never has, a plant
        that shrinks, a species that is not known or of which nothing is known.
    """
    problems: list[Problem] = []
    found = []
    for name, rows in (("measured_plants", _table_rows), ("existing_screens", _standing_rows)):
        layer = layers.get(name)
        if layer is None or not len(layer):
            continue
        rows_of, wrong = rows(layer), _Refusals(name, problems)
        for row in rows_of:
            plant = _read(name, row, species_table, bases, wrong)
            if plant is not None:
                found.append((row["plant"] or f"{name} {row['row']}", plant))
    kept = _last_of_each(found, problems)
    if problems:
        raise InputError(problems)
    return kept


@dataclass(frozen=True)
class _Refusals:
    """Notes what is wrong in rows of one layer."""

    layer: str
    problems: list[Problem]

    def __call__(self, rows, what: str, mend: str) -> None:
        self.problems.append(Problem(what, mend, layer=self.layer, rows=list(rows)))


def _table_rows(layer: pd.DataFrame) -> list[dict[str, Any]]:
    columns = {
        name: numbers(layer, name, np.nan)
        for name in ("age_years", "planted_year", "measured_year", "height_m", "width_m", "stock_height_m")
    }  # fmt: skip
    words = {"species": texts(layer, "species"), "plant": texts(layer, "tag_id")}
    says = ~(are_lost(layer) | are_empty(layer))
    rows = _as_rows({**columns, **words}, range(1, len(layer) + 1))
    return [row for row, told in zip(rows, says, strict=True) if told]


def are_lost(layer: pd.DataFrame) -> np.ndarray:
    """Tell which rows of the layer ``measured_plants`` are plants that have died, (rows,)."""
    if "lost" not in layer.columns:
        return np.zeros(len(layer), bool)
    return layer["lost"].astype("boolean").fillna(False).to_numpy(bool)


def are_empty(layer: pd.DataFrame) -> np.ndarray:
    """Tell which rows nobody filled in, (rows,): not lost, and without a height, a width and an age."""
    said = [
        ~np.isnan(numbers(layer, name, np.nan)) for name in ("height_m", "width_m", "age_years")
    ]
    return ~(np.any(said, axis=0) | are_lost(layer))


def _standing_rows(layer: pd.DataFrame) -> list[dict[str, Any]]:
    asked = layer["kind"].isin(GROWING).to_numpy(bool) & ~np.isnan(
        numbers(layer, "age_years", np.nan)
    )
    own = layer.loc[asked]
    nothing = np.full(len(own), np.nan)
    return _as_rows(
        {
            **{name: numbers(own, name, np.nan) for name in ("age_years", "height_m", "width_m")},
            "planted_year": nothing, "measured_year": nothing, "stock_height_m": nothing,
            "species": texts(own, "species"), "plant": [""] * len(own),
        },
        np.flatnonzero(asked) + 1,
    )  # fmt: skip


def _as_rows(columns: Mapping[str, Any], numbered) -> list[dict[str, Any]]:
    return [
        {"row": int(row), **{name: values[k] for name, values in columns.items()}}
        for k, row in enumerate(numbered)
    ]


def _read(
    layer: str, row: Mapping[str, Any], species_table, bases, wrong: _Refusals
) -> Measured | None:
    """Read one row; note what is wrong with it."""
    number = [row["row"]]
    age, species = _age(row, number, wrong), _species(row, number, species_table, bases, wrong)
    if not row["height_m"] > 0.0:
        wrong(
            number,
            "a measured plant has no height above 0",
            "Give its height, or leave the row out",
        )
        return None
    if age is None or species is None:
        return None
    plant = Measured(
        layer, row["row"], species.key, age, row["height_m"], row["width_m"], row["stock_height_m"]
    )
    # The first that is wrong may be the cause of the next.
    fits = (
        check(plant, species, bases, wrong) for check in (_stock_fits, _height_fits, _width_fits)
    )
    return plant if all(fits) else None


def _age(row: Mapping[str, Any], number, wrong: _Refusals) -> float | None:
    age, planted, measured = row["age_years"], row["planted_year"], row["measured_year"]
    by_years = measured - planted
    if np.isnan(age) and np.isnan(by_years):
        wrong(
            number, "nothing says how old a measured plant is",
            "Give age_years, or planted_year and measured_year",
        )  # fmt: skip
        return None
    if not np.isnan(age) and not np.isnan(by_years) and abs(age - by_years) > 1.0:
        wrong(
            number,
            f"a plant is said to be {age:g} years old, and {by_years:g} by the years {planted:g} and {measured:g}",
            "Correct one of them, or leave one out",
        )
        return None
    years = by_years if np.isnan(age) else age
    if years > OLDEST_YEARS:
        wrong(
            number, f"a plant is said to be {years:g} years old",
            "Give the years since planting; a calendar year stands in the column planted_year",
        )  # fmt: skip
        return None
    if not years > 0.0:
        when = "on the day on which" if years == 0.0 else "before"
        wrong(
            number, f"a plant was measured {when} it was planted, at an age of {years:g} years",
            "Give the years from planting to measuring, above 0; what is just planted says nothing of the growth",
        )  # fmt: skip
        return None
    return float(years)


def _species(row, number, species_table, bases, wrong: _Refusals) -> Species | None:
    if not row["species"]:
        wrong(
            number,
            "nothing says of which species a measured plant is",
            "Fill in the column species",
        )
        return None
    try:
        species = species_of(row["species"], species_table)
    except InputError:
        wrong(
            number, f"there is no species {quoted(row['species'])}",
            "Write a key of the species table (screenplan species lists them), a Latin or a common name, or "
            "add the species to the plan",
        )  # fmt: skip
        return None
    if species.key not in bases:
        wrong(
            number,
            f"there is no evidence of how much the growth of {species.called} differs from site to site, so that "
            "measurements cannot be weighed",
            f'Write in the plan which known kind it is like ([species.{species.key}] like = "…"), or give its '
            "own figures and leave the row out",
        )
        return None
    return species


def _stock_fits(plant: Measured, _species: Species, _bases, wrong: _Refusals) -> bool:
    if np.isnan(plant.stock_height_m):
        return True
    if not plant.stock_height_m > 0.0:
        wrong([plant.row], "a plant had no height when it was planted", "Give the column stock_height_m a height above 0, or leave it empty")  # fmt: skip
        return False
    if plant.height_m < plant.stock_height_m * (1.0 - READING_LOG_SD):
        wrong(
            [plant.row],
            f"a plant has shrunk: it was planted at {{{plant.stock_height_m:g} m}} and is {{{plant.height_m:g} m}} tall "
            f"after {_years(plant.age_years)}",
            "Correct the heights or their units; leave out a plant that was cut back or died back",
        )
        return False
    return True


def _height_fits(plant: Measured, species: Species, bases, wrong: _Refusals) -> bool:
    """Refuse a height that no plant of the kind has at that age."""
    sd = load_measured()[bases[species.key]].height_log_sd
    stock = plant.stock_height_m
    usual_stock = species.stock_height_m if np.isnan(stock) else stock
    most_stock = usual_stock * np.exp(2.0 * STOCK_LOG_SD) if np.isnan(stock) else stock
    usual = float(height_at(species.unclipped(), plant.age_years, stock_height_m=usual_stock))
    # Where the growth is said to stop is a range of sizes, not a wall.
    quick = shifted(species.unclipped(), FARTHEST_SDS * sd)
    quick = replace(quick, height_curve=replace(quick.height_curve, tallest_m=None))
    young = most_stock * np.exp(FARTHEST_SDS * READING_LOG_SD) + YOUNG_GROWTH_M * min(
        plant.age_years, YOUNG_YEARS
    )
    most = max(float(height_at(quick, plant.age_years, stock_height_m=most_stock)), young)
    least = SMALLEST_SHARE * usual
    if least <= plant.height_m <= most:
        return True
    tall = f"a plant of {species.called} is {{{plant.height_m:g} m}} tall after {_years(plant.age_years)}"
    than = (
        f"the kind gets {{{usual:.2f} m}} by then, and hardly more than {{{most:.2f} m}}"
        if plant.height_m > most
        else f"the kind gets {{{usual:.2f} m}} by then"
    )
    mend = _mend(plant, "height_m", plant.height_m, usual)
    wrong([plant.row], f"{tall}; {than}", mend)
    return False


def _width_fits(plant: Measured, species: Species, _bases, wrong: _Refusals) -> bool:
    if np.isnan(plant.width_m):
        return True
    if not plant.width_m > 0.0:
        wrong(
            [plant.row],
            "a measured plant has no width above 0",
            "Give its width, or leave the cell empty",
        )
        return False
    widest = max(species.mature_spread_m[1], species.width("high").widest_m)
    if plant.width_m <= WIDEST_TIMES * widest:
        return True
    mend = _mend(plant, "width_m", plant.width_m, float(spread_at(species, plant.height_m)))
    wrong(
        [plant.row],
        f"a plant of {species.called} is {{{plant.width_m:g} m}} wide, more than twice the {{{widest:.2f} m}} that the "
        "kind gets",
        mend,
    )
    return False


def _years(age: float) -> str:
    return "1 year" if age == 1.0 else f"{age:g} years"


def _mend(plant: Measured, column: str, value_m: float, usual_m: float) -> str:
    """Say in which unit a length may have been written, by what the kind can reach."""
    off = {unit: abs(np.log(value_m * factor / usual_m)) for unit, factor in UNITS_M.items()}
    unit = min(off, key=lambda name: off[name])
    if off[unit] > NEAR:
        return "Correct the value, its unit, the age or the species"
    size = {"ft": "feet", "cm": "centimetres", "in": "inches", "mm": "millimetres"}[unit]
    return (
        f"Was it measured in {size}, {{{value_m * UNITS_M[unit]:.2f} m}}? Then write units = "
        f'{{ {column} = "{unit}" }} below [layers.{plant.layer}]; else correct the value, the age or the species'
    )


def _last_of_each(found: list[tuple[str, Measured]], problems: list[Problem]) -> list[Measured]:
    """Give the last measurement of each plant; note plants that shrink or change their kind."""
    plants: dict[str, list[Measured]] = {}
    for plant, measured in found:
        plants.setdefault(plant, []).append(measured)
    kept = []
    for plant, several in plants.items():
        several = sorted(several, key=lambda measured: measured.age_years)
        problems += _of_one_plant(plant, several)
        stocks = (measured.stock_height_m for measured in several)
        stock = next((height for height in stocks if height > 0), np.nan)
        kept.append(replace(several[-1], stock_height_m=stock))
    return kept


def _of_one_plant(plant: str, several: list[Measured]) -> Iterator[Problem]:
    for before, after in pairwise(several):
        rows = (before.row, after.row)
        if before.species != after.species:
            yield Problem(
                f"the plant {quoted(plant)} is of two species, {before.species} and {after.species}",
                "Correct the species, or give each plant its own tag_id", layer=after.layer, rows=rows,
            )  # fmt: skip
        elif before.age_years == after.age_years:
            yield Problem(
                f"the plant {quoted(plant)} was measured twice at the same age, {_years(after.age_years)}",
                "Leave one of the rows out, or give each plant its own tag_id", layer=after.layer, rows=rows,
            )  # fmt: skip
        elif after.height_m < before.height_m * (1.0 - READING_LOG_SD):
            yield Problem(
                f"the plant {quoted(plant)} has shrunk from {{{before.height_m:g} m}} after {_years(before.age_years)} "
                f"to {{{after.height_m:g} m}} after {after.age_years:g}",
                "Correct the heights, their units or the ages; leave out what was measured after it was cut back",
                layer=after.layer,
                rows=rows,
            )
