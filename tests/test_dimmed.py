"""Years by draw where leaves let light through: against the kernel, and with fewer rays."""

import numpy as np
import pytest
from chance_kit import traced_years
from test_chance import FENCE, KINDS, mixed, site

from screenplan.planting.draws import Draws
from screenplan.planting.stand import stand_of
from screenplan.views import dimmed
from screenplan.views.chance import NEVER, drawing_of
from screenplan.views.dimmed import dimmed_years, dimming_of
from screenplan.views.sight import lay_sight

YEARS = 20
#: Share of the draws of which the year is the kernel's: stretches are on straight lines between heights, so
#: that a share of light which passes the threshold by next to nothing may do so a year off.
SAME = 0.9


def drawn(kinds, draws, threshold, screens=None):
    layers = site(mixed(*kinds), screens=screens)
    sight = lay_sight(layers)
    stand = stand_of(layers["plants"], years=YEARS, species_table=KINDS)
    drawing = drawing_of(stand, draws)
    views = [
        dimming_of(origin, target, light, drawing) for _, _, origin, target, light in sight.rays()
    ]
    return (
        sight,
        drawing,
        np.array([dimmed_years(view, drawing, YEARS, threshold) for view in views]),
    )


@pytest.mark.parametrize(
    ("kinds", "screens", "threshold"),
    [
        (["blunt"], None, 0.4),
        (["stemmed"], FENCE, 0.5),
        (["hedge"], None, 0.4),
        (["rounded"], None, 0.5),
        (["bare", "fast"], None, 0.6),
    ],
)
def test_draws_are_those_that_the_kernel_traces(kinds, screens, threshold, monkeypatch):
    # Another way: light through every crown of a draw as the kernel takes it, of all rays.
    monkeypatch.setattr(dimmed, "MOST_RAYS", 10_000)
    sight, drawing, found = drawn(kinds, Draws(40, losses=0.3), threshold, screens)
    anew = np.transpose(
        [traced_years(sight, drawing, draw, YEARS, threshold, threshold) for draw in range(40)]
    )
    closes = (found < NEVER) & (anew < NEVER)
    assert (found == anew).mean() >= SAME
    assert (np.abs(found.astype(int) - anew)[closes] <= 1).all()
    assert len(np.unique(anew)) > 3


def test_fewer_rays_tell_nearly_the_same(monkeypatch):
    # The share of the light that a few hundred rays keep is told to a hundredth or two by a choice of them.
    _, _, few = drawn(["blunt"], Draws(400), 0.4)
    monkeypatch.setattr(dimmed, "MOST_RAYS", 10_000)
    _, _, every = drawn(["blunt"], Draws(400), 0.4)
    for year in range(YEARS):
        assert ((few <= year).mean(axis=1)) == pytest.approx((every <= year).mean(axis=1), abs=0.06)
    assert 0.05 < (every <= YEARS).mean() < 1.0


def test_denser_leaves_close_sooner():
    layers = site(mixed("blunt"))
    sight = lay_sight(layers)
    years = []
    for density in (2.0, 4.0, 9.0):
        kind = KINDS["blunt"].at_quantile()
        kind = type(kind)(**{**vars(kind), "leaf_density": (density,) * 3})
        stand = stand_of(layers["plants"], years=YEARS, species_table={"blunt": kind})
        drawing = drawing_of(stand, Draws(100, losses=0.0))
        _, _, origin, target, light = next(iter(sight.rays()))
        found = dimmed_years(dimming_of(origin, target, light, drawing), drawing, YEARS, 0.5)
        assert len(np.unique(found)) == 1
        years.append(int(found[0]))
    assert years == sorted(years, reverse=True)
    assert years[0] > years[-1]
