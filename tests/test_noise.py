"""Noise: the standard's table, its worked path, and honest words."""

import math

import numpy as np
import pytest
import shapely
from effects_kit import layer, row
from options_kit import plan_with

from screenplan.effects.noise import NO_REDUCTION, belt_for, foliage_loss, follow_noise, judge_noise
from screenplan.plan import DEFAULTS
from screenplan.rules.limit_kinds import FoliageNoise
from screenplan.rules.limits import limit_of

RULE = limit_of(None, FoliageNoise)


@pytest.mark.parametrize(
    ("metres", "loss"),
    [
        # ISO 9613-2, Annex A, table A.1, by octave band from 63 Hz to 8 kHz.
        (0, [0] * 8), (4, [0] * 8), (9.99, [0] * 8), (10, [0, 0, 1, 1, 1, 1, 2, 3]), (15, [0, 0, 1, 1, 1, 1, 2, 3]),
        (20, [0, 0, 1, 1, 1, 1, 2, 3]), (25, [0.5, 0.75, 1, 1.25, 1.5, 2, 2.25, 3]),
        (200, [4, 6, 8, 10, 12, 16, 18, 24]), (250, [4, 6, 8, 10, 12, 16, 18, 24]),
    ],
)  # fmt: skip
@pytest.mark.evidence(
    part="Effects on others",
    kind="standard",
    against="Sound that dense foliage takes away, by octave band and path",
    source="ISO 9613-2, Annex A, table A.1: four programs agree on it; exactly 20 m is in two rows, read as the first",
    status="code",
    tolerance="exact",
)
def test_the_table(metres, loss):
    assert foliage_loss(metres, RULE) == pytest.approx(loss)


@pytest.mark.evidence(
    part="Effects on others",
    kind="standard",
    against="A path of 56.57 m through foliage: 2.828 dB at 500 Hz",
    source="ISO 9613-2, Annex A, table A.1, worked by arithmetic",
    status="code",
    tolerance="0.001 dB",
)
def test_the_worked_path():
    # From (0, 0) to (100, 100) through foliage at x 30 to 90, y 40 to 80: 40 √2 = 56.5685 m, 2.828 dB at 500 Hz.
    path = shapely.LineString([(0, 0), (100, 100)])
    inside = shapely.intersection(path, shapely.box(30, 40, 90, 80)).length
    assert inside == pytest.approx(56.5685, abs=1e-4)
    assert foliage_loss(inside, RULE)[3] == pytest.approx(2.828, abs=1e-3)


def test_the_belt_that_would_be_needed_gives_what_is_wanted():
    for wanted in (0.5, 1.0, 1.2, 3.0, 10.0):
        depth = belt_for(wanted, RULE)
        assert foliage_loss(depth, RULE)[3] >= wanted - 1e-9
    assert belt_for(1.0, RULE) == 10.0
    assert belt_for(5.0, RULE) == pytest.approx(100.0)
    assert math.isinf(belt_for(10.01, RULE))  # the table ends at 200 m: 10 dB
    assert belt_for(0.0, RULE) == 0.0


def road():
    return layer([shapely.LineString([(-50, 60), (90, 60)])], road_id=["r"])


def place():
    return layer([shapely.Point(20, 20)], place_id=["terrace"])


def test_one_row_gives_no_measurable_reduction_and_says_so():
    _, plants = row()
    found = follow_noise(plants, place(), road(), plan=plan_with(noise_wanted=5.0))
    assert found["loss_db"].tolist() == [0.0]
    assert found["says"].iloc[0].startswith(NO_REDUCTION)
    assert "100 m of dense belt, or a solid barrier" in found["says"].iloc[0]
    assert 0 < found["foliage_m"].iloc[0] < 10
    finding = judge_noise(found, plan_with(noise_wanted=5.0))
    assert finding.result == "fails"
    assert "no measurable reduction of noise" in finding.says
    assert judge_noise(found, DEFAULTS).result == "cannot be judged"


def test_a_belt_along_the_path_counts_by_the_table():
    # A dense belt of rows 1 m apart along the way of the sound, 25 to 55 m: more than 20 m of it.
    _, plants = row(((20, 25), (20, 55)), step=1.0, stock=3.0)
    found = follow_noise(plants, place(), road(), plan=plan_with(growth_years=30))
    inside = found["foliage_m"].iloc[0]
    assert inside > 25
    assert found["loss_db"].iloc[0] == pytest.approx(0.05 * inside)
    assert "if one cannot see through them" in found["says"].iloc[0]
    assert judge_noise(found, plan_with(noise_wanted=1.0)).result == "passes"


def test_without_a_road_or_a_place_it_cannot_be_judged():
    _, plants = row()
    for given in ((None, road()), (place(), None)):
        found = follow_noise(plants, *given)
        assert not len(found)
        assert judge_noise(found, plan_with(noise_wanted=3.0)).result == "cannot be judged"
    assert NO_REDUCTION in judge_noise(None, DEFAULTS).says


def test_the_loss_never_falls_with_the_depth_within_each_range():
    depths = np.concatenate([np.linspace(0, 20, 50), [200.0, 300.0]])
    losses = np.array([foliage_loss(depth, RULE) for depth in depths])
    assert (np.diff(losses[:50], axis=0) >= 0).all()
