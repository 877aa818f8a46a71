"""All plants that stop a sight line, against each plant standing alone."""

import numpy as np
import pytest
from test_missing import TABLE, two_rows

from screenplan.planting.growth import TYPICAL
from screenplan.planting.stand import stand_of
from screenplan.views.compiled import MANY_RAYS
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.kernel import blocked_years
from screenplan.views.stoppers import list_stoppers, sole_blockers

YEAR = 4


def rays(count, seed=1):
    rng = np.random.default_rng(seed)
    origin = rng.uniform((-15, -8, 0.5), (15, -2, 5), (count, 3))
    target = rng.uniform((-15, 3, 0.5), (15, 8, 3), (count, 3))
    # A few upright ones, and one that runs along the rows.
    target[:5] = origin[:5] + np.array([0.0, 0.0, 3.0])
    origin[:5, 1] = target[:5, 1] = 0.0
    origin[5], target[5] = (-12, 0.0, 1.0), (12, 0.0, 1.0)
    return origin, target


def standing(plants):
    stand = stand_of(plants, years=YEAR, curve="straight", species_table=TABLE)
    crowns = crowns_of(stand)
    return stand, runs_of(stand, crowns), crowns


# Independent: each plant planted alone, and the kernel of the views asked whether the ray is blocked.
@pytest.mark.parametrize("kind", ["cone", "ellipsoid", "column"])
def test_a_plant_is_listed_where_it_would_stop_the_ray_alone(kind):
    plants, (origin, target) = two_rows(kind), rays(400)
    stand, runs, crowns = standing(plants)
    first, found = list_stoppers(origin, target, runs, crowns, YEAR, TYPICAL)
    listed = np.zeros((len(origin), len(plants)), bool)
    listed[np.repeat(np.arange(len(origin)), np.diff(first)), stand.order[found]] = True
    alone = np.zeros_like(listed)
    for plant in range(len(plants)):
        _, own, table = standing(plants.iloc[[plant]])
        masks = blocked_years(origin, target, own, table)[:, :, TYPICAL]
        alone[:, plant] = (np.bitwise_or.reduce(masks, axis=1) >> YEAR) & 1
    assert listed.any(axis=1).mean() > 0.3
    assert (listed.sum(axis=1) > 2).any()
    assert (listed == alone).all()
    # Found once each.
    assert listed.sum() == len(found)


def test_the_only_plant_is_the_one_that_is_missed():
    origin, target = rays(MANY_RAYS + 10)
    _, runs, crowns = standing(two_rows())
    first, found = list_stoppers(origin, target, runs, crowns, YEAR, TYPICAL)
    stopped, only = sole_blockers(origin, target, runs, crowns, YEAR, TYPICAL)
    assert (stopped == (np.diff(first) > 0)).all()
    alone = np.diff(first) == 1
    assert alone.any()
    assert (only[alone] == found[first[:-1][alone]]).all()
    assert (only[~alone] == -1).all()


def test_without_plants_nothing_is_listed():
    _, runs, crowns = standing(two_rows().iloc[:0])
    first, found = list_stoppers(*rays(10), runs, crowns, YEAR, TYPICAL)
    assert first.tolist() == [0] * 11
    assert not len(found)
