"""Lives at a place in a row: chances that add up, ages after a replacement, gaps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screenplan.planting.losses import GONE, RISK_YEARS, lives_of
from screenplan.planting.maturity import MATURE_YEAR

SHARES = st.floats(0.0, 0.9)
REPLACED = st.integers(0, 2)


@given(SHARES, REPLACED)
def test_chances_are_those_of_independent_years(losses, replaced):
    # Closed form: 1 - L lives through the two years at risk, and each course ends the sum at 1.
    lives = lives_of(losses, replaced)
    assert lives.upto[-1] == pytest.approx(1.0)
    assert lives.upto[0] == pytest.approx(1.0 - losses)
    assert lives.deaths[0] == ()


@given(SHARES, REPLACED, st.integers(5, 30))
def test_a_place_is_empty_only_after_a_death_that_is_not_replaced(losses, replaced, last):
    lives = lives_of(losses, replaced)
    ages = lives.ages(np.arange(last + 1))
    assert (ages[0] == np.arange(last + 1)).all()
    for deaths, age in zip(lives.deaths, ages, strict=True):
        assert (age == GONE).any() == any(death > replaced for death in deaths)
        if deaths and deaths[-1] <= replaced:
            assert (age[deaths[-1] :] == np.arange(last + 1 - deaths[-1])).all()


def test_courses_by_hand():
    # By hand: a plant dies in year 1 and is replaced; the second dies in year 3, its second, for good.
    lives = lives_of(0.19, 2)
    number = lives.deaths.index((1, 3))
    assert lives.ages(np.arange(6))[number].tolist() == [0, 0, 1, GONE, GONE, GONE]
    # q = 0.1: dead in 1, alive in 2, dead in 3.
    chance = np.diff(lives.upto, prepend=0.0)[number]
    assert chance == pytest.approx(0.1 * 0.9 * 0.1)
    assert lives.settled == 2 + RISK_YEARS
    assert lives_of(0.0, 2).deaths == ((),)


def test_grown_plants_stay_grown():
    years = np.append(np.arange(10), MATURE_YEAR)
    lives = lives_of(0.2, 2)
    ages = lives.ages(years)
    assert ages[lives.deaths.index((2,))].tolist() == [0, 1, 0, 1, 2, 3, 4, 5, 6, 7, 10]


@given(SHARES, REPLACED)
def test_a_number_draws_the_course_of_its_chance(losses, replaced):
    lives = lives_of(losses, replaced)
    drawn = lives.drawn((np.arange(10_000) + 0.5) / 10_000)
    share = np.bincount(drawn, minlength=len(lives.deaths)) / 10_000
    assert share == pytest.approx(np.diff(lives.upto, prepend=0.0), abs=2e-4)
