"""Years by draw: against the kernel, exact enumeration and the views step; calibration; invariants."""

from dataclasses import replace
from itertools import product
from math import erf

import geopandas as gpd
import numpy as np
import pytest
from chance_kit import drawn_stand, trace_stand, traced_years
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from options_kit import plan_with
from shapely.geometry import LineString, box
from test_views import HOUSE, LINE, row, species, windows

from screenplan import load_species
from screenplan.ground.errors import InputError
from screenplan.planting.draws import HEIGHTS, Draws, shares_of
from screenplan.planting.growth import crown_law, height_at
from screenplan.planting.measured import TENTH
from screenplan.planting.stand import stand_of
from screenplan.views.chance import (
    NEVER,
    Chances,
    ClosedYears,
    drawing_of,
    lay_chances,
    view_of,
)
from screenplan.views.sight import lay_sight
from screenplan.views.views import trace_views

SHIPPED = load_species()
#: Kinds by what is hard about their crowns: stacked, with a rising clear stem, rounded, clipped,
#: without leaves in winter, and of own figures.
KINDS = {
    "blunt": SHIPPED["thuja_smaragd"],
    "stemmed": species(
        "cone", 2.0, clear_stem_share=0.4, clear_stem_m=1.5, growth=(0.2, 0.3, 0.5), tall=6.0
    ),
    "rounded": SHIPPED["ilex_glabra"],
    "hedge": species("box", 1.5, kept_height_m=2.6, kept_width_m=0.7),
    "bare": SHIPPED["carpinus_betulus"],
    "fast": species("cone", 2.4, growth=(0.3, 0.6, 0.9)),
}
SMALL = gpd.GeoDataFrame({"place_id": ["g"]}, geometry=[box(-3, -8, 3, -4)])
#: A fence through which some light passes, across part of the view.
FENCE = gpd.GeoDataFrame(
    {"screen_id": ["f"], "kind": ["fence"], "height_m": [1.9], "opacity": [0.4]},
    geometry=[LineString([(-1, -2), (9, -2)])],
)
#: How many errors a share of draws may be off.
ERRORS = 4.0


def site(plants, *points, places=SMALL, screens=None, sill=1.6):
    layers = {
        "windows": windows(*(points or [(0, 6), (3, 6)]), sill=sill), "private_places": places,
        "planting_lines": LINE, "plants": plants, "buildings": HOUSE, "existing_screens": screens,
    }  # fmt: skip
    return {name: layer for name, layer in layers.items() if layer is not None}


def laid(layers, draws, *, years=20, threshold=0.25, species_table=KINDS):
    sight = lay_sight(layers)
    stand = stand_of(layers["plants"], years=years, species_table=species_table)
    return sight, lay_chances(sight, stand, draws, threshold=threshold)


def mixed(*kinds, spacing=0.8, **more):
    stations = np.arange(24.0, 36.1, spacing)
    return row(stations, np.resize(kinds, len(stations)), stock=0.9, **more)


@pytest.mark.parametrize(
    ("kinds", "screens", "threshold"),
    [
        (["blunt"], None, 0.25),
        (["stemmed"], None, 0.25),
        (["rounded"], FENCE, 0.25),
        (["hedge"], None, 0.25),
        (["bare"], None, 0.45),
        (["fast", "bare", "stemmed"], FENCE, 0.25),
    ],
)
def test_draws_are_those_that_the_kernel_traces(kinds, screens, threshold):
    # Another way: every crown of a draw as the kernel takes it, in the draw's own sizes by year.
    layers = site(mixed(*kinds), screens=screens)
    sight, chances = laid(layers, Draws(34, losses=0.3), threshold=threshold)
    found = chances.closed_years().year
    anew = [
        traced_years(sight, chances.drawing, draw, chances.years, threshold)
        for draw in range(chances.drawing.count)
    ]
    np.testing.assert_array_equal(found.T, anew)
    assert len(np.unique(found)) > 3


def test_a_view_that_deaths_open_after_the_years_looked_at_is_not_closed():
    # Another way: the kernel follows the draw's own sizes beyond the two years looked at.
    layers = site(mixed("fast", spacing=1.2), sill=0.4)
    sight, chances = laid(layers, Draws(40, losses=0.6), years=2, threshold=0.45)
    found = chances.closed_years().year
    anew = [traced_years(sight, chances.drawing, draw, 2, 0.45) for draw in range(40)]
    np.testing.assert_array_equal(found.T, anew)
    assert len(np.unique(found)) == 3


@pytest.mark.parametrize("key", ["thuja_smaragd", "carpinus_betulus", "ilex_glabra", "stemmed"])
def test_without_a_spread_the_chance_is_0_or_1_and_the_year_that_of_the_views(key):
    kind = (SHIPPED | KINDS)[key].at_quantile()
    threshold = 0.45 if key == "carpinus_betulus" else 0.2
    layers = site(mixed("kind"), (-2, 6), (0, 6), (3, 6), screens=FENCE)
    plan = plan_with(growth_years=25, views_threshold=threshold, views_report_years=[0, 10])
    views = trace_views(layers, plan=plan, species_table={"kind": kind}, second_sample=False)[0]
    _, chances = laid(
        layers, Draws(50, losses=0.0), years=25, threshold=threshold, species_table={"kind": kind}
    )
    years = chances.closed_years()
    told = views.year_closed.fillna(NEVER).to_numpy(int)
    assert (years.year == told[:, None]).all()
    assert (told < NEVER).sum() > 0
    for year in range(26):
        assert years.chance(year).tolist() == (told <= year).astype(float).tolist()


# ---- exact enumeration

#: A column that grows straight on, with spread: 0.2, 0.3, 0.45 m a year at low, typical, high.
SPREAD = species(growth=(0.2, 0.3, 0.45), tall=9.0)
#: Three behind each other, 4 m apart along a ray that falls by 0.1 m a metre: 2.95, 2.55 and 2.15 m high
#: where it leaves each, half a metre behind its stem.
BEHIND, FALLS, LEAVES_AT = [28.0, 32.0, 36.0], 0.1, [2.95, 2.55, 2.15]
RAY = np.array([[-4.0, 0.0, 3.2]]), np.array([[10.0, 0.0, 3.2 - 14 * FALLS]])


def normal(z):
    return 0.5 * (1.0 + np.vectorize(erf)(np.asarray(z) / np.sqrt(2.0)))


def courses(q, replaced, last):
    """Chance of each course of a life as the ages by year, by a walk through the years; -1 for a gap."""
    if last == 0:
        return {(0,): 1.0}
    found = {}
    for ages, chance in courses(q, replaced, last - 1).items():
        age = ages[-1]
        dies = q if 0 <= age < 2 else 0.0
        for now, part in (
            (age + 1 if age >= 0 else -1, 1.0 - dies),
            (0 if last <= replaced else -1, dies),
        ):
            if part:
                found[*ages, now] = found.get((*ages, now), 0.0) + chance * part
    return found


def exact_chances(stock, years, losses, replaced):
    """Chance that the ray is stopped for good from each year on, over all courses and first ages."""
    site_part, kind_part, own_part = shares_of(SPREAD)
    shared = np.sqrt(site_part + kind_part)
    q = 1.0 - np.sqrt(1.0 - losses)
    lives = courses(q, replaced, years)
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    by_year = np.zeros(years + 1)
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        masks = []
        for top in LEAVES_AT:
            # Tall enough at age a: rate above (top - stock) / a.
            with np.errstate(divide="ignore", invalid="ignore"):
                needs = (
                    np.log(max(top - stock, 0.0) / np.arange(years + 1) / 0.3) / np.log(1.5) * TENTH
                )
            needs = np.where(top <= stock, -np.inf, needs)
            reaches = 1.0 - normal((needs - shared * node) / np.sqrt(own_part))
            firsts = np.diff(np.append(reaches, 1.0), prepend=0.0)  # the last: not in these years
            mine = {}
            for (ages, chance), (first, part) in product(lives.items(), enumerate(firsts)):
                mask = tuple(age >= first for age in ages)
                mine[mask] = mine.get(mask, 0.0) + chance * part
            masks.append(mine)
        for three in product(*(mine.items() for mine in masks)):
            stopped = np.any([mask for mask, _ in three], axis=0)
            if not stopped[-1]:
                continue
            is_open = np.flatnonzero(~stopped)
            year = is_open[-1] + 1 if len(is_open) else 0
            by_year[year:] += weight * np.prod([chance for _, chance in three])
    return by_year


@pytest.mark.parametrize(
    ("stock", "losses", "replaced"), [(0.5, 0.0, 2), (0.5, 0.36, 2), (2.0, 0.51, 1), (2.4, 0.64, 0)]
)
def test_chance_of_three_plants_is_that_of_all_their_courses(stock, losses, replaced):
    # Exact: all courses of three lives, all first ages, and the shared normal number by quadrature. From
    # year 6 on nothing dies any more, so that what is closed then stays closed.
    years, draws = 6, Draws(20_000, losses=losses, replaced=replaced)
    plants = row(BEHIND, "spread", stock=stock)
    stand = stand_of(plants, years=years, curve="straight", species_table={"spread": SPREAD})
    drawing = drawing_of(stand, draws)
    view = view_of(*RAY, np.ones(1), drawing)
    closed = Chances(drawing, [view], years, 0.1).closed_years()
    exact = exact_chances(stock, years, losses, replaced)
    for year in range(years + 1):
        error = np.sqrt(max(exact[year] * (1.0 - exact[year]), 1e-4) / draws.count)
        assert closed.chance(year)[0] == pytest.approx(exact[year], abs=ERRORS * error + 0.004), (
            year
        )
    assert 0.02 < exact[-1] < 1.0


# ---- calibration


def own_draw(rng, stand, starts, years, losses, replaced):
    """Heights and crowns of one draw by other numbers, without classes, each plant by the years' walk."""
    sites, kinds = rng.standard_normal(2), rng.standard_normal(3)
    q, sizes, species_of = 1.0 - np.sqrt(1.0 - losses), [], []
    for start in starts:
        parts = np.sqrt(shares_of(start.species))
        own = rng.standard_normal(2)
        z, w = parts[0] * sites + parts[1] * kinds[:2] + parts[2] * own
        kind = start.species.at_quantile(z, w, kinds[2])
        tall = height_at(kind, years, stock_height_m=start.height_m, stock=start.stock)
        age, ages = 0, [0]
        for year in years[1:]:
            dies = 0 <= age < 2 and rng.random() < q
            age = (0 if year <= replaced else -1) if dies else (age + 1 if age >= 0 else -1)
            ages.append(age)
        height = np.where(np.array(ages) < 0, 0.0, tall[np.maximum(ages, 0)])
        _, radius, clear, across = crown_law(kind).sizes(height)
        sizes.append(np.stack([height, 2 * radius, 2 * across, clear]))
        species_of.append(start._replace(species=kind))
    sizes = np.repeat(np.moveaxis(np.array(sizes), 0, 1)[:, :, None], 3, axis=2)
    return replace(stand, starts=tuple(species_of), start=np.arange(len(starts)), sizes=sizes)


def test_what_is_told_to_close_in_8_of_10_does():
    # Other numbers, continuous widths and profiles, lives by a walk through the years, followed by the kernel.
    layers = site(mixed("blunt", spacing=0.9), (-2, 6), (0, 6), (3, 6))
    draws, trials, threshold = Draws(4000), 120, 0.25
    sight, chances = laid(layers, draws, years=25, threshold=threshold)
    told = np.array([chances.closed_years().chance(year) for year in range(26)])
    stand = chances.drawing.stand
    starts = [stand.starts[start] for start in stand.start]
    rng, years = np.random.default_rng(11), []
    for _ in range(trials):
        drawn = own_draw(rng, stand, starts, stand.years, draws.losses, draws.replaced)
        years.append(trace_stand(sight, drawn, 25, threshold))
    came = np.array([(np.array(years) <= year).mean(axis=0) for year in range(26)])
    error = np.sqrt(np.maximum(told * (1.0 - told), 0.01) / trials)
    assert (np.abs(came - told) <= 3.5 * error).all()
    surely = (told > 0.7) & (told < 0.9)
    assert surely.any()
    assert came[surely].mean() == pytest.approx(told[surely].mean(), abs=3.0 * error[surely].max())


# ---- common random numbers, and what is told of the years


def test_a_plant_more_never_lowers_a_chance():
    layers = site(mixed("fast", "stemmed"))
    _, chances = laid(layers, Draws(300, losses=0.3))
    rng = np.random.default_rng(2)
    planted = rng.random(len(layers["plants"])) < 0.6
    few = chances.closed_years(planted).year
    for plant in np.flatnonzero(~planted):
        more = planted.copy()
        more[plant] = True
        assert (chances.closed_years(more).year <= few).all()
    assert (chances.closed_years().year < few).any()


def test_some_plants_of_many_are_judged_as_if_they_stood_alone():
    layers = site(mixed("fast", "stemmed"))
    sight, chances = laid(layers, Draws(100, losses=0.3))
    planted = np.arange(len(layers["plants"])) % 3 > 0
    alone = stand_of(
        layers["plants"][planted].reset_index(drop=True), years=20, species_table=KINDS
    )
    found = lay_chances(sight, alone, Draws(100, losses=0.3), threshold=0.25).closed_years()
    assert (found.year == chances.closed_years(planted).year).all()


def test_a_view_without_a_plant_stays_as_it_is():
    _, chances = laid(site(row([], "fast")), Draws(20))
    assert (chances.closed_years().year == NEVER).all()
    shut = gpd.GeoDataFrame(
        {"screen_id": ["f"], "kind": ["wall"], "height_m": [9.0], "opacity": [1.0]},
        geometry=[LineString([(-60, -2), (60, -2)])],
    )
    _, chances = laid(site(row([], "fast"), screens=shut), Draws(20))
    assert (chances.closed_years().year == 0).all()


@given(arrays(np.uint8, st.tuples(st.integers(1, 4), st.integers(1, 40))))
def test_percentiles_and_chances_rise(years):
    found = ClosedYears(years)
    low, middle, high = (found.percentile(share) for share in (0.1, 0.5, 0.9))
    assert ((low <= middle) & (middle <= high)).all()
    chances = np.array([found.chance(year) for year in range(256)])
    assert (np.diff(chances, axis=0) >= 0).all()
    # By definition: in that share of the draws it is closed by that year.
    for share in (0.1, 0.5, 0.9):
        by = found.percentile(share)
        assert all(found.chance(year)[view] >= share - 1e-9 for view, year in enumerate(by))


def test_heights_of_a_draw_are_those_of_its_stand():
    _, chances = laid(site(mixed("fast")), Draws(5, losses=0.5))
    drawing = chances.drawing
    heights = drawing.height(3)
    assert drawn_stand(drawing, 3).height[:, 0] == pytest.approx(heights)
    alive = drawing.drawn.life[:, 3] == 0
    plant = int(np.flatnonzero(alive)[0])
    z = float(HEIGHTS[drawing.drawn.height[plant, 3]])
    straight = height_at(KINDS["fast"].at_quantile(z), drawing.stand.years, stock_height_m=0.9)
    assert heights[plant] == pytest.approx(straight)


# ---- what a plan asks


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"chance_draws": 30}, "key chance.draws: 30 draws are too few for a tenth of them"),
        ({"chance_draws": -1}, "chance.draws"),
        (
            {"chance_year": 25, "growth_years": 20},
            "key chance.year: year 25 is after the last one.*growth.years = 20",
        ),
        ({"chance_seed": -3}, "chance.seed"),
    ],
)
def test_a_plan_that_asks_for_what_cannot_be_drawn_is_refused(asked, says):
    with pytest.raises(InputError, match=says):
        plan_with(**asked)


def test_the_chance_is_told_by_the_year_of_the_goal():
    assert plan_with().chance_year == 10
    assert plan_with(goal_closed_by=7).chance_year == 7
    assert plan_with(goal_closed_by=7, chance_year=12).chance_year == 12
    assert plan_with(growth_years=5).chance_year == 5


@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
def test_the_layer_tells_what_was_drawn(leaves):
    layers = site(mixed("fast"), (0, 6), (2, 6))
    plan = plan_with(
        views_leaves=leaves,
        growth_years=20,
        chance_draws=200,
        chance_year=8,
        views_threshold=0.3,
        views_report_years=[0],
    )
    table = {"fast": replace(KINDS["fast"], leaf_density=(4.0, 6.0, 9.0))}
    views = trace_views(layers, plan=plan, species_table=table, second_sample=False)[0]
    assert list(views.chance_year) == [8] * len(views)
    years = views[["year_closed_p10", "year_closed_p50", "year_closed_p90"]].fillna(NEVER)
    assert (np.diff(years.to_numpy(int), axis=1) >= 0).all()
    assert (years.year_closed_p10 < NEVER).any()
    sooner = (years.year_closed_p50 <= 8).to_numpy()
    assert (views.chance[sooner] >= 0.5).all()
    assert (views.chance[~sooner] < 0.5).all()
    if leaves == "opaque":
        stand = stand_of(layers["plants"], years=20, species_table=table)
        found = lay_chances(lay_sight(layers), stand, Draws(200), threshold=0.3).closed_years()
        assert views.chance.to_numpy() == pytest.approx(found.chance(8))
    none = trace_views(
        layers, plan=plan_with(chance_draws=0), species_table=table, second_sample=False
    )[0]
    assert none[["chance", "chance_year", "year_closed_p50"]].isna().all(axis=None)
