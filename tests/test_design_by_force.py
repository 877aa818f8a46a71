"""The design of a small site against every planting of it, each traced by the views themselves."""

import itertools

import numpy as np
import pytest
from design_site import PLAIN, PRICE, TABLE, design, options, row_of, site, stations
from parcel_kit import sides_of, subject
from shapely.geometry import Point, Polygon

from screenplan.design.designing import prepare
from screenplan.views.views import trace_views

YEAR = 10
#: Closed weights and prices agree to this.
SAME = 1e-9
#: What the design is asked; each is judged against all plantings.
ASKED = {
    "runs of three": {},
    "plants alone": {"design_least_run": 1, "design_least_gap": 1},
    "runs of two": {"design_least_run": 2, "design_least_gap": 2},
    "a budget of four plants": {"design_budget": 4 * PRICE},
    "a budget of two plants": {"design_least_run": 1, "design_least_gap": 1, "design_budget": 2 * PRICE},
    "half the views": {"goal_share": 0.5},
    "one window matters most": {"design_weights": {"w0": 3.0, "w2": 0.0}, "design_budget": 3 * PRICE},
    "views that may stay open": {"design_least_run": 1, "design_least_gap": 1, "design_open_price": 11.0},
}  # fmt: skip


def small_site():
    """Three windows that see three places through a row of seven plants."""
    made = site(at=(-2.0, 0.4, 2.5), places=[Point(-1.4, -5), Point(0.3, -5), Point(1.6, -5)])
    parcels = subject(Polygon([(-5, -15), (5, -15), (5, 2), (-5, 2)]))
    return {**made, "parcels": parcels, "sides": sides_of(parcels)}


@pytest.fixture(scope="module")
def every():
    """Which views each choice of the plants closes, by tracing it: a dict by the plants that stand."""
    layers = small_site()
    stems = sorted(
        prepare(layers, options(), PLAIN, TABLE).candidates.table.geometry, key=lambda stem: stem.x
    )
    assert len(stems) == 7
    found, views = {}, None
    for standing in itertools.product((False, True), repeat=7):
        traced = trace_views(
            {**layers, **row_of(stems, standing, layers["parcels"].crs)},
            plan=options(chance_draws=0), species_table=TABLE, second_sample=False,
        )[0]  # fmt: skip
        views = traced["view_id"].tolist()
        found[standing] = (traced["year_closed"].astype(float) <= YEAR).to_numpy(bool)
    return views, found


def keeps_to(standing, plan):
    """Judge runs, gaps and budget by themselves."""
    runs = [(key, len(list(group))) for key, group in itertools.groupby(standing)]
    inner = runs[1:-1] if len(runs) > 2 else []
    return (
        all(size >= plan.design.least_run for stands, size in runs if stands)
        and all(size >= plan.design.least_gap for stands, size in inner if not stands)
        and (plan.design.budget is None or PRICE * sum(standing) <= plan.design.budget)
    )


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="every subset of the seven plants of a site, each traced by the views themselves",
    source="enumeration",
    status="run",
    tolerance=f"closed weight and price to {SAME:g}",
)
@pytest.mark.parametrize("asked", ASKED)
def test_no_planting_of_the_site_closes_more_or_costs_less(every, asked):
    plan = options(**ASKED[asked])
    views, found = every
    made = design(small_site(), **ASKED[asked])
    told = made["design_views"].set_index("view_id")["weight"].reindex(views).fillna(0.0)
    weight = told.to_numpy(float)
    enough = (plan.goal.share or 1.0) * weight.sum()
    price = plan.design.open_price

    def counted(standing):
        still = max(enough - weight[found[standing]].sum(), 0.0)
        cost = PRICE * sum(standing)
        return (round(still, 9), cost) if price is None else (round(cost + price * still, 9),)

    allowed = [standing for standing in found if keeps_to(standing, plan)]
    best = min(map(counted, allowed))
    (row,) = made["design"].itertuples()
    chosen = tuple(np.isin(np.arange(-3, 4), np.round(stations(made["plants"]))))
    assert chosen in allowed
    assert counted(chosen) == pytest.approx(best, abs=SAME)
    assert row.cost == pytest.approx(PRICE * sum(chosen))
    assert row.closed_share * weight.sum() == pytest.approx(weight[found[chosen]].sum())
    # The bound is below each planting that leaves no more open.
    still = max(enough - weight[found[chosen]].sum(), 0.0)
    for standing in allowed:
        if max(enough - weight[found[standing]].sum(), 0.0) <= still + SAME:
            assert row.least_cost <= PRICE * sum(standing) + SAME


def test_the_small_site_is_no_easy_one(every):
    # All plants close every view, none closes any, and no single plant closes all.
    _, found = every
    assert found[(True,) * 7].all()
    assert not found[(False,) * 7].any()
    assert not any(found[tuple(np.arange(7) == k)].all() for k in range(7))
    assert len({tuple(closed) for closed in found.values()}) > 8
