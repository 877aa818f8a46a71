"""What is stopped by a year, by draw: against the years by draw, and changes of a planting against laying it anew."""

import numpy as np
import pytest
from test_chance import KINDS, laid, mixed, site

from screenplan.planting.draws import Draws
from screenplan.views.drawn_stops import Trial, meetings_of, stops_by

#: Share of a view that may stay open.
THRESHOLD = 0.25


def trials(sight, drawing, year, threshold=THRESHOLD):
    """For each view what its rays need, and what its plants stop by a year."""
    for _, _, origin, target, light in sight.rays():
        lit = light > 0.0
        stops = stops_by(meetings_of(origin[lit], target[lit], drawing), year)
        share = light[lit] / len(light)
        yield Trial(
            stops, np.zeros(lit.sum(), int), share, [share.sum() - threshold], len(drawing.stand.points)
        )  # fmt: skip


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="the years in which views close by draw, of the same draws and all rays",
    source="screenplan.views.chance, which the kernel traces anew",
    status="run",
    tolerance="none: draw by draw",
)
@pytest.mark.parametrize("kinds", [["blunt"], ["rounded"], ["hedge"], ["fast", "blunt"]])
@pytest.mark.parametrize("year", [5, 9])
def test_a_view_is_closed_in_the_draws_in_which_its_year_has_come(kinds, year):
    sight, chances = laid(site(mixed(*kinds)), Draws(100, losses=0.3))
    every = np.arange(len(chances.drawing.stand.points))
    found = chances.closed_years().year <= year
    some = 0
    for view, trial in enumerate(trials(sight, chances.drawing, year)):
        trial.set(every)
        now = trial.stopped[0] >= trial.need[0] - 1e-9
        assert (now == found[view]).all()
        assert trial.chance()[0] == found[view].mean()
        some += 0 < found[view].mean() < 1
    assert some or year == 5


def test_crowns_that_draw_in_count_where_they_stay():
    # Of rising stems fewer draws are counted than are closed, never more.
    sight, chances = laid(site(mixed("stemmed")), Draws(100, losses=0.0))
    found = chances.closed_years().year <= 9
    every = np.arange(len(chances.drawing.stand.points))
    for view, trial in enumerate(trials(sight, chances.drawing, 9)):
        trial.set(every)
        assert not ((trial.stopped[0] >= trial.need[0] - 1e-9) & ~found[view]).any()


def test_changes_of_a_planting_give_what_laying_it_anew_gives():
    sight, chances = laid(site(mixed("blunt")), Draws(80))
    number = len(chances.drawing.stand.points)
    changed, anew = (next(trials(sight, chances.drawing, 9)) for _ in range(2))
    changed.set(np.arange(number))
    lack = changed.lack()
    assert (changed.lack_with([]) == lack).all()
    changed.take([0, 3, 4])
    without = changed.lack()
    changed.set([3])
    assert (without >= changed.lack() - 1e-12).all()
    anew.set([k for k in range(number) if k not in (0, 4)])
    np.testing.assert_array_equal(changed.planted, anew.planted)
    np.testing.assert_allclose(changed.stopped, anew.stopped, atol=1e-12)
    np.testing.assert_allclose(changed.lack(), anew.lack(), atol=1e-12)


def test_the_share_of_a_pair_is_that_of_its_draws():
    sight, chances = laid(site(mixed("fast")), Draws(70))
    assert "fast" in KINDS
    (_, _, origin, target, light), *_ = sight.rays()
    stops = stops_by(meetings_of(origin, target, chances.drawing), 6)
    bits = np.unpackbits(stops.bits.view(np.uint8), axis=1).sum(axis=1)
    np.testing.assert_allclose(stops.share, bits / 70)
    assert ((stops.share > 0.0) & (stops.share <= 1.0)).all()
    assert (np.diff(stops.plant) >= 0).all()
    assert len(light) > stops.ray.max()


@pytest.mark.parametrize("year", [3, 9])
def test_what_is_met_later_may_be_left_out(year):
    # Invariant: of a year that may be asked, the same is stopped, whatever is met after it.
    sight, chances = laid(site(mixed("blunt", "fast")), Draws(80))
    _, _, origin, target, _ = next(iter(sight.rays()))
    every, some = (
        stops_by(meetings_of(origin, target, chances.drawing, until=until), year)
        for until in (None, 9)
    )
    assert every.bits.any()
    assert (every.ray == some.ray).all()
    assert (every.plant == some.plant).all()
    assert (every.bits == some.bits).all()
    with pytest.raises(ValueError, match="year 10 is after the last one, 9"):
        stops_by(meetings_of(origin, target, chances.drawing, until=9), 10)
