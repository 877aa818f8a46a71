"""Measured plants as they are taken from their layers, and what is refused by row."""

import geopandas as gpd
import numpy as np
import pytest
from own_kit import KIND, measured

from screenplan.ground.errors import InputError
from screenplan.planting.own_measured import WIDEST_TIMES, measured_plants
from screenplan.planting.own_plants import bases_of
from screenplan.planting.species import load_species

OWN = {
    "mine": {"latin": "Photinia sp.", "shape": "cone", "growth_class": "moderate",
             "mature_height": ["3 m", "5 m"], "mature_spread": ["2 m", "3 m"]},
    "dense": {"like": "picea_abies", "mature_height": ["3 m", "5 m"]},
    "denser": {"like": "dense"},
}  # fmt: skip
TABLE = load_species(OWN)
BASES = bases_of(TABLE, OWN)


def take(*rows, screens=None):
    return measured_plants(
        {"measured_plants": measured(*rows), "existing_screens": screens}, TABLE, BASES
    )


def screens(**columns):
    n = len(next(iter(columns.values())))
    points = gpd.points_from_xy(np.arange(n), np.zeros(n))
    return gpd.GeoDataFrame({"kind": ["plant"] * n, "screen_id": list("abcdef"[:n]), **columns}, geometry=points)  # fmt: skip


def test_a_plant_is_taken_with_its_age_or_by_its_years_and_by_any_of_its_names():
    found = take(
        {"age_years": 8, "height_m": 3.0, "width_m": 1.5, "stock_height_m": 0.6},
        {"planted_year": 2016, "measured_year": 2024, "height_m": 3.0, "species": "Eastern red cedar"},
        {"age_years": 8, "planted_year": 2016, "measured_year": 2024, "height_m": 3.0,
         "species": "Juniperus virginiana"},
    )  # fmt: skip
    assert [(plant.row, plant.species, plant.age_years) for plant in found] == [
        (k, KIND, 8.0) for k in (1, 2, 3)
    ]
    assert (found[0].width_m, found[0].stock_height_m) == (1.5, 0.6)
    assert np.isnan(found[1].width_m)


def test_the_last_measurement_of_a_plant_counts_with_the_stock_of_the_first():
    (plant,) = take(
        {"tag_id": "a", "age_years": 9, "height_m": 3.4},
        {"tag_id": "a", "age_years": 4, "height_m": 1.6, "stock_height_m": 0.5},
    )
    assert (plant.age_years, plant.height_m, plant.stock_height_m) == (9.0, 3.4, 0.5)
    assert len(take({"age_years": 9, "height_m": 3.4}, {"age_years": 9, "height_m": 3.4})) == 2


def test_a_standing_plant_of_known_age_counts_and_no_other():
    layer = screens(
        kind=["plant", "hedge", "wall", "tree", "plant"],
        height_m=[3.0, 2.5, 2.0, 4.0, 3.0],
        width_m=[1.2, np.nan, 0.2, np.nan, np.nan],
        species=[KIND, KIND, None, KIND, KIND],
        age_years=[8.0, 7.0, 9.0, np.nan, np.nan],
    )
    found = take(screens=layer)
    assert [(plant.layer, plant.row) for plant in found] == [
        ("existing_screens", 1),
        ("existing_screens", 2),
    ]
    assert found[0].width_m == 1.2
    # A layer of an earlier version has no such column.
    assert take(screens=layer.drop(columns="age_years")) == []
    with pytest.raises(InputError, match=r"existing_screens, row 1: .*of which species") as refused:
        take(screens=layer.assign(species=None))
    assert [problem.rows for problem in refused.value.problems] == [[1], [2]]


def test_species_are_like_what_they_are_like():
    assert BASES["denser"] == "picea_abies"
    assert "mine" not in BASES
    assert bases_of(TABLE, {"mine": {"like": "mine"}}).get("mine") is None


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"age_years": 0, "height_m": 1.0}, r"row 1: .*on the day on which it was planted.*above 0"),
        ({"age_years": -2, "height_m": 1.0}, r"row 1: .*before it was planted, at an age of -2 years"),
        ({"planted_year": 2024, "measured_year": 2016, "height_m": 1.0}, r"before it was planted, at an age of -8"),
        ({"age_years": 2016, "height_m": 1.0}, r"2016 years old.*planted_year"),
        ({"height_m": 1.0}, r"how old.*Give age_years, or planted_year and measured_year"),
        ({"planted_year": 2016, "height_m": 1.0}, r"how old"),
        ({"age_years": 3, "planted_year": 2016, "measured_year": 2024, "height_m": 1.0}, r"3 years old, and 8 by"),
        ({"age_years": 8}, r"no height above 0"),
        ({"age_years": 8, "height_m": 0.0}, r"no height above 0"),
        ({"age_years": 8, "height_m": 2.0, "stock_height_m": 0.0}, r"no height when it was planted"),
        ({"age_years": 8, "height_m": 1.0, "stock_height_m": 1.2}, r"shrunk: .*planted at 1\.2 m.*1 m tall"),
        ({"age_years": 8, "height_m": 2.0, "width_m": 0.0}, r"no width above 0"),
        ({"age_years": 8, "height_m": 2.0, "species": None}, r"of which species"),
        ({"age_years": 8, "height_m": 2.0, "species": "thuya"}, r"no species 'thuya'.*screenplan species"),
        ({"age_years": 8, "height_m": 2.0, "species": "mine"}, r"no evidence.*Photinia.*like ="),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_row(row, message):
    with pytest.raises(InputError, match=message):
        take(row)


@pytest.mark.parametrize(
    ("height", "unit", "word"),
    [(9.8, "ft", "feet"), (300.0, "cm", "centimetres"), (118.0, "in", "inches"), (3000.0, "mm", "millimetres")],
)  # fmt: skip
def test_a_height_in_another_unit_is_guessed_by_what_the_kind_reaches(height, unit, word):
    # Each is 3 m, which a red cedar of 8 years has; 2.96 m by the table.
    with pytest.raises(
        InputError, match=rf"measured in {word}, (2\.99|3\.00) m.*height_m = \"{unit}\""
    ):
        take({"age_years": 8, "height_m": height, "stock_height_m": 0.9})


def test_a_height_that_fits_no_unit_and_one_that_is_far_too_small_are_refused():
    with pytest.raises(InputError, match=r"hardly more than .*Correct the value, its unit"):
        take({"age_years": 8, "height_m": 40.0})
    with pytest.raises(InputError, match=r"0\.05 m tall after 8 years; the kind gets"):
        take({"age_years": 8, "height_m": 0.05})
    assert len(take({"age_years": 8, "height_m": 1.2})) == 1


@pytest.mark.parametrize("key", ["picea_abies", "thuja_standishii_plicata", "ilex_glabra"])
def test_a_young_plant_that_grew_well_is_taken(key):
    # Read to 5 %, and grown by less than the 0.9 m of rapid growth.
    rows = [{"age_years": 0.1, "height_m": 2.1}, {"age_years": 1, "height_m": 2.7}]
    assert len(take(*({"species": key, "stock_height_m": 2.0} | row for row in rows))) == 2
    with pytest.raises(InputError, match="hardly more than"):
        take({"species": key, "stock_height_m": 2.0, "age_years": 1, "height_m": 3.5})


def test_a_width_beyond_twice_the_greatest_is_refused():
    # The widest that were measured, beyond the 6.1 m that are published.
    widest = TABLE[KIND].width("high").widest_m
    assert widest > TABLE[KIND].mature_spread_m[1]
    assert len(take({"age_years": 8, "height_m": 3.0, "width_m": WIDEST_TIMES * widest})) == 1
    with pytest.raises(InputError, match=rf"25 m wide, more than twice the {widest:.2f} m"):
        take({"age_years": 8, "height_m": 3.0, "width_m": 25.0})
    with pytest.raises(InputError, match=r"wide.*centimetres.*width_m = \"cm\""):
        take({"age_years": 8, "height_m": 3.0, "width_m": 180.0})


def test_plants_that_shrink_or_change_are_refused_with_both_rows():
    rows = [
        {"tag_id": "a", "age_years": 8, "height_m": 3.0},
        {"tag_id": "a", "age_years": 9, "height_m": 2.5},
    ]
    with pytest.raises(
        InputError, match=r"rows 1, 2: the plant 'a' has shrunk from 3 m after 8 years to 2\.5 m"
    ):
        take(*rows)
    with pytest.raises(InputError, match=r"rows 1, 2: .*measured twice at the same age"):
        take(rows[0], rows[1] | {"age_years": 8})
    with pytest.raises(InputError, match=r"rows 1, 2: .*of two species"):
        take(rows[0], rows[1] | {"species": "ilex_opaca"})
    # Within what a pole is read to nothing has shrunk.
    assert len(take(rows[0], rows[1] | {"height_m": 2.9})) == 1


def test_all_that_is_wrong_is_said_at_once():
    with pytest.raises(InputError) as refused:
        take(
            {"age_years": 0, "height_m": 1.0}, {"age_years": 8, "height_m": 2.0}, {"height_m": 1.0}
        )
    assert [problem.rows for problem in refused.value.problems] == [[1], [3]]
    assert {problem.layer for problem in refused.value.problems} == {"measured_plants"}


def test_a_point_of_a_clipped_hedge_is_no_taller_than_it_is_kept():
    # It says nothing of the growth, but it is no error: the kind may be as tall.
    table = load_species({"kept": {"like": "taxus_baccata", "shape": "box", "kept_height": "1 m", "stock_height": "0.5 m"}})  # fmt: skip
    layers = {"measured_plants": measured({"species": "kept", "age_years": 10, "height_m": 1.0})}
    assert len(measured_plants(layers, table, {"kept": "taxus_baccata"})) == 1
