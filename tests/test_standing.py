"""A design around plants that stand: what they stop, their gaps, and the ground that is theirs."""

import numpy as np
import pandas as pd
import pytest
import shapely
from design_site import PRICE, TABLE, design, options, site
from parcel_kit import layer
from shapely.geometry import Point
from test_views import windows

from screenplan.contracts.tables import notes_of
from screenplan.design.standing import find_standing
from screenplan.ground.errors import InputError


def standing(*at, height_m=4.0, species="column", y=-0.001):
    return layer(
        screen_id=[f"s{k}" for k in range(len(at))], kind=["plant"] * len(at),
        height_m=[height_m] * len(at), species=[species] * len(at),
        geometry=[Point(x, y) for x in at],
    )  # fmt: skip


def new_ones(made):
    plants = made["plants"]
    return plants.loc[~plants["existing"]]


# By hand: the only opening is where one plant of a row has died.
@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="a row that stands with one plant missing before a window: one plant in the gap is the best",
    source="no planting closes the view with fewer than one",
    status="run",
    tolerance="the number of plants, and where it stands",
)
def test_a_dead_plant_is_replaced_where_somebody_sees_in():
    row = standing(*(x for x in range(-6, 7) if x != 0))
    made = design(site((0.0,), existing_screens=row))
    new = new_ones(made)
    assert len(new) == 1
    assert new.geometry.iloc[0].distance(Point(0, 0)) < 0.01
    # It is a plant of the row that stands.
    assert made["planting_lines"]["line_id"].tolist() == ["existing-row1"]
    own = made["plants"]
    assert own["station_m"].is_monotonic_increasing
    assert own["gap_before_m"].iloc[1:].to_numpy() == pytest.approx(np.ones(12))
    assert own["plant_id"].tolist() == list(range(1, 14))
    (found,) = made["design"].itertuples()
    assert (found.plants, found.cost, found.views_closed) == (1, PRICE, 1)
    # Without those that stand it takes a run.
    assert len(design(site((0.0,)))["plants"]) == 3


def test_a_gap_before_which_nobody_looks_stays_a_gap():
    row = standing(*(x for x in range(-6, 7) if x not in (0, 5)))
    new = new_ones(design(site((0.0,), existing_screens=row)))
    assert len(new) == 1
    assert abs(new.geometry.iloc[0].x) < 0.01


def test_what_stands_is_enough_where_it_grows_up_in_time():
    row = standing(*range(-4, 5), height_m=0.5)
    made = design(site((0.0,), existing_screens=row))
    (found,) = made["design"].itertuples()
    assert (found.plants, found.cost, found.views_open, found.views_closed) == (0, 0.0, 1, 1)
    assert found.says.startswith("No new plants: those that stand close 1 of 1 open views")
    assert len(made["plants"]) == 9
    assert made["plants"]["existing"].all()
    # They grow from today's height, rooted: earlier than any new plant of 0.9 m, but not by year 1.
    early = design(site((0.0,), existing_screens=row), design_year=1)
    assert not early["design_views"]["closed"].any()


def test_new_plants_keep_off_those_that_stand():
    # One that stands alone, half a metre off the line, before the middle window; its kind is set a metre apart.
    lone = standing(0.4, height_m=0.5, y=-0.5)
    made = design(site(existing_screens=lone))
    new = new_ones(made)
    room = 0.5 * (1.0 + TABLE["column"].usual_spacing_m)
    assert shapely.distance(new.geometry.to_numpy(), Point(0.4, -0.5)).min() >= room - 1e-6
    assert made["plants"]["existing"].sum() == 1
    assert set(made["plants"]["line_id"]) == set(made["planting_lines"]["line_id"])


def test_a_row_is_lengthened_where_it_ends_too_early():
    # By hand: the row ends 2 m before the window at x = 0, and its plants count for the run.
    row = standing(*range(-10, -1))
    made = design(site((0.0,), existing_screens=row))
    new = new_ones(made)
    assert made["design_views"]["closed"].all()
    assert len(new) <= 3
    assert new["line_id"].isin(["existing-row1"]).all() or len(new) == 3


def test_shares_of_a_kind_are_not_held_to_and_it_says_so():
    # By hand: one new plant is all of one kind.
    row = standing(*(x for x in range(-6, 7) if x != 0))
    made = design(site((0.0,), existing_screens=row), health_most_of_one_genus=0.7)
    assert len(new_ones(made)) == 1
    assert any("does not hold to the share" in f"{note}" for note in notes_of(made["design"]))


def test_rows_are_told_apart_by_side_and_distance():
    far = standing(-3, -2, -1, y=-9.0)
    near = standing(-3, -2, -1, 1, 2, 3)
    both = pd.concat([near, far.assign(screen_id=["t0", "t1", "t2"])], ignore_index=True)
    layers = site((0.0,), existing_screens=both)
    found = find_standing(layers, options(), TABLE)
    assert [len(row.plants) for row in found.rows] in ([6, 3], [3, 6])
    for row in found.rows:
        assert np.diff(row.stations).min() > 0.9
        stems = [one.point for one in row.plants]
        assert shapely.distance(row.line, stems).max() < 1e-9


def test_a_species_that_is_not_given_is_taken_for_the_plans_and_it_says_so():
    row = standing(*range(-4, 5)).drop(columns="species")
    layers = site((0.0,), existing_screens=row, windows=windows((0, 6), sill=1.0, floor_m=0.0))
    made = design(layers, plants_species="column", design_kinds=["column"])
    assert set(made["plants"]["species"]) == {"column"}
    assert any("is not given" in f"{note}" for note in notes_of(made["design"]))


def test_a_standing_plant_without_a_height_is_refused_by_row():
    row = standing(-1, 0, 1)
    row.loc[1, "height_m"] = np.nan
    with pytest.raises(InputError, match="a standing plant has no height"):
        design(site((0.0,), existing_screens=row))
