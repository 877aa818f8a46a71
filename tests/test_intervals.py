"""Heights at which crowns begin and cease to stop rays: closed forms, the kernel's tests, what is put in words."""

import numpy as np
import pytest
from test_views import row, species

from screenplan.planting.draws import WIDTHS, Draws
from screenplan.planting.stand import stand_of
from screenplan.views.chance import drawing_of
from screenplan.views.intervals import BLOCK, TURN_M, WORD, classes_of, incidence_of, of_plants

#: From the start of a level ray to its end.
ON = np.array([20.0, 0.0, 0.0])
TABLE = {
    "column": species(),
    "cone": species("cone", 2.0),
    "bare": species("column", clear_stem_share=0.5, clear_stem_m=5.0),
}


def incidence(kinds, origin, target, stations=None, light=None):
    plants = row(np.arange(len(kinds)) if stations is None else stations, kinds)
    stand = drawing_of(stand_of(plants, years=20, species_table=TABLE), Draws(1)).stand
    light = np.ones(len(origin)) if light is None else light
    origin, target = (np.asarray(ends, float) for ends in (origin, target))
    return incidence_of(origin, target, light, len(origin), stand, classes_of(stand)), stand


# A level ray at 2 m through the stem at x = -30: the column is met above 2 m; with a stem that is bare for
# half its height, until that rises above 2 m, at 4 m. A ray that goes 0.6 m beside the stem of a cone, 1 m
# wide at its foot: radius (h - 2) / h > 0.6 from h = 5 m on.
@pytest.mark.parametrize(
    ("kind", "y", "heights"),
    [("column", 0.0, [2.0]), ("bare", 0.0, [2.0, 4.0]), ("cone", 0.6, [5.0]), ("column", 0.6, [])],
)
def test_turns_of_one_ray(kind, y, heights):
    view, _ = incidence([kind], [(-40, y, 2)], [(-20, y, 2)])
    assert view.turns.height == pytest.approx(heights, abs=TURN_M)
    assert view.every == view.rays == 1


def test_an_upright_ray_is_stopped_too():
    view, _ = incidence(["column"], [(-30, 0.2, 8)], [(-30, 0.2, 3)])
    assert view.turns.height == pytest.approx([3.0], abs=TURN_M)


def test_rays_without_a_plant_take_no_part():
    view, _ = incidence(["column"], [(-40, 0, 2), (-40, 9, 2)], [(-20, 0, 2), (-20, 9, 2)])
    assert (view.rays, view.every, len(view.turns.light)) == (2, 2.0, 1)


def test_rays_of_one_light_share_words():
    origin = [(-40, 0, 1 + 0.01 * k) for k in range(2 * WORD)]
    light = np.tile([1.0, 0.3], WORD)
    view, _ = incidence(["column"], origin, np.array(origin) + ON, light=light)
    assert view.turns.light.tolist() == [0.3, 1.0]
    assert view.every == pytest.approx(WORD * 1.3)


def test_states_are_the_turns_below():
    # By definition: bits are set that have an odd number of turns below.
    rng = np.random.default_rng(3)
    origin = np.column_stack(
        [np.full(300, -40.0), rng.uniform(-0.4, 0.4, 300), rng.uniform(1, 4, 300)]
    )
    view, _ = incidence(["bare"] * 3, origin, origin + ON, stations=[0.0, 2.0, 4.0])
    turns = view.turns
    for j in range(len(turns.plant)):
        low, words = turns.word[j]
        for k in range(turns.state_first.shape[1]):
            begin, end = turns.first[j, k : k + 2]
            for block in range((end - begin) // BLOCK + 1):
                at = turns.state_first[j, k] + block * words
                state = turns.state[at : at + words]
                odd = np.bincount(
                    turns.bit[begin : begin + block * BLOCK] - low * WORD, minlength=words * WORD
                )
                bits = (state[:, None] >> np.arange(WORD, dtype=np.uint64)) & np.uint64(1)
                assert (bits.ravel() == odd % 2).all()


def test_some_plants_alone():
    origin = np.array([(-40, 0, 2.0)])
    view, _ = incidence(["column"] * 3, origin, origin + 2 * ON)
    assert view.turns.plant.tolist() == [0, 1, 2]
    assert of_plants(view, [True, False, True]).turns.plant.tolist() == [0, 2]


def test_classes_that_look_alike_are_worked_out_once():
    _, stand = incidence(["column"], [(-40, 0, 2)], [(-20, 0, 2)])
    assert len(classes_of(stand).boxed) == 1
    wide = stand_of(row([1.0], "thuja_smaragd"), years=5)
    assert len(classes_of(drawing_of(wide, Draws(1)).stand).boxed) == 3 * len(WIDTHS)
