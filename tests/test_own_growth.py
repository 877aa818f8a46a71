"""What measured plants say of a site's growth: the conjugate normal, its limits, and the curves."""

import itertools
import math
import tomllib
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.contracts import GROWTHS
from screenplan.planting.curves import scenario
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.measured import TENTH, load_measured
from screenplan.planting.own_growth import (
    MOST,
    Normal,
    heights_say,
    posterior,
    shifted,
    site_factor,
    spreads_of,
    widths_say,
)
from screenplan.planting.species import load_species
from screenplan.planting.species_model import HeightFigures

SPECIES = load_species()
SPRUCE = SPECIES["picea_pungens"]
#: Rounding of sums of a few floats.
ROUNDING = 1e-9
#: The grid on which a factor is looked for is 0.025 wide; between its points the curve is nearly straight.
GRID = 2e-4
#: Steps of a grid over the factor: the sums are good to this.
BY_GRID = 1e-6

said = st.lists(st.tuples(st.floats(-1.0, 1.0), st.floats(0.01, 2.0)), min_size=0, max_size=6)


def by_grid(priors, likelihood):
    """Mean and variance by brute force over a grid; `likelihood` gives logarithms."""
    grid = np.linspace(-6.0, 6.0, 24_001)
    logs = -((grid - priors.mean) ** 2) / (2.0 * priors.variance) + likelihood(grid)
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    mean = float((weight * grid).sum())
    return mean, float((weight * (grid - mean) ** 2).sum())


# ---- the estimate ------------------------------------------------------------------------------


@settings(max_examples=60)
@given(said, st.floats(0.05, 1.0))
def test_the_posterior_is_that_of_a_grid(observed, sd):
    y, v = (np.array([pair[k] for pair in observed]) for k in (0, 1))
    prior = Normal(0.1, sd**2)
    found = posterior(prior, y, v)
    mean, variance = by_grid(prior, lambda x: -((x[:, None] - y) ** 2 / (2.0 * v)).sum(axis=1))
    assert found.mean == pytest.approx(mean, abs=BY_GRID)
    assert found.variance == pytest.approx(variance, abs=BY_GRID)


def test_no_measurement_leaves_the_prior_to_the_last_digit():
    prior = spreads_of("picea_abies").of_kind
    assert posterior(prior, [], []) == pytest.approx(prior, rel=ROUNDING)
    assert site_factor(spreads_of("picea_abies"), []) == pytest.approx(prior, rel=ROUNDING)


def test_many_measurements_give_the_sites_factor():
    n, v = 10_000, 0.3**2
    found = posterior(Normal(0.0, 0.137**2), np.full(n, 0.4), np.full(n, v))
    # Closed form: n/v against 1/σ².
    assert found.mean == pytest.approx(0.4 * (n / v) / (n / v + 1 / 0.137**2), rel=ROUNDING)
    assert found.mean == pytest.approx(0.4, abs=0.01)
    assert math.sqrt(found.variance) < 0.004


def test_plants_of_another_kind_count_as_one_observation_with_the_spread_between_kinds():
    # Against the joint normal of the site's factor s, the kind's own offset d and the other kind's b,
    # which is marginalised by linear algebra.
    of = spreads_of("picea_abies")
    y, v = np.array([0.3, 0.5, 0.1]), np.array([0.1, 0.2, 0.15])
    prior = np.diag([of.sites**2, of.kinds**2, of.others**2])
    sees = np.array([[1.0, 0.0, 1.0]] * 3)
    gain = prior @ sees.T @ np.linalg.inv(sees @ prior @ sees.T + np.diag(v))
    mean, cov = gain @ y, prior - gain @ sees @ prior
    asked = np.array([1.0, 1.0, 0.0])
    found = site_factor(of, [(y, v)])
    assert found.mean == pytest.approx(asked @ mean, rel=1e-9)
    assert found.variance == pytest.approx(asked @ cov @ asked, rel=1e-9)
    # However many there are, a kind says no more than the spread between kinds lets it.
    flood = site_factor(of, [(np.full(10_000, 0.5), np.full(10_000, 0.1))])
    limit = 0.5 / of.others**2 / (1 / of.sites**2 + 1 / of.others**2)
    assert flood.mean == pytest.approx(limit, rel=1e-3)


def test_plants_of_a_leaf_without_a_spread_between_kinds_say_nothing_of_others():
    of = spreads_of("fagus_sylvatica")
    assert of.others == math.inf
    assert site_factor(of, [(np.array([0.5]), np.array([0.1]))]) == pytest.approx(of.of_kind)


# ---- what a plant says -------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["picea_pungens", "thuja_occidentalis", "ilex_opaca"])
@pytest.mark.parametrize("factor", [-0.5, -0.1, 0.0, 0.2, 0.4])
def test_a_plant_on_the_curve_of_a_factor_says_that_factor(key, factor):
    species = SPECIES[key]
    ages = np.array([4.0, 8.0, 15.0])
    heights = height_at(shifted(species, factor), ages, stock_height_m=0.8)
    told, variances = heights_say(species, ages, heights, np.full(3, 0.8), 0.3)
    assert told == pytest.approx(np.full(3, factor), abs=GRID)
    assert (variances > 0.3**2).all()


@pytest.mark.parametrize("key", ["picea_pungens", "juniperus_virginiana", "quercus_ilex"])
def test_older_plants_say_more(key):
    species = SPECIES[key]
    ages = np.array([1.0, 2.0, 4.0, 8.0, 12.0])
    heights = height_at(species, ages) * 1.05
    for stock in (np.nan, species.stock_height_m):
        variances = heights_say(species, ages, heights, np.full(5, stock), 0.3)[1]
        assert (np.diff(variances) < 0).all()
    # A known height of the stock makes a young plant surer.
    unknown, known = (
        heights_say(species, ages[:1], heights[:1], [stock], 0.3)[1][0]
        for stock in (np.nan, species.stock_height_m)
    )
    assert known < unknown


def test_what_is_as_tall_as_its_kind_gets_or_kept_clipped_says_nothing():
    small = SPECIES["thuja_smaragd"]
    full = small.full_height("typical")
    assert heights_say(SPECIES["thuja_plicata"], [60.0], [15.0], [np.nan], 0.3)[1][0] == math.inf
    hedge = load_species(
        {
            "kept": {
                "like": "taxus_baccata",
                "shape": "box",
                "kept_height": "1 m",
                "stock_height": "0.5 m",
            }
        }
    )["kept"]
    assert heights_say(hedge, [15.0], [1.0], [np.nan], 0.3)[1][0] == math.inf
    assert np.isfinite(heights_say(small, [5.0], [0.5 * full], [np.nan], 0.3)[1][0])


def test_a_plant_that_never_grew_says_the_most_and_counts_little():
    told, variances = heights_say(SPRUCE, [3.0], [0.5], [0.5], 0.286)
    assert told[0] == -MOST
    assert variances[0] > 0.286**2


def test_widths_are_held_against_the_width_at_their_height():
    heights = np.array([2.0, 3.0])
    usual = spread_at(SPRUCE, heights)
    told, variances = widths_say(SPRUCE, heights, usual * np.exp([0.2, -0.1]), 0.2)
    assert told == pytest.approx([0.2, -0.1], abs=ROUNDING)
    assert variances == pytest.approx(np.full(2, 0.2**2 + 0.05**2))
    assert widths_say(SPRUCE, [15.0], [4.0], 0.2)[1][0] == math.inf


# ---- the curves --------------------------------------------------------------------------------


@pytest.mark.parametrize("key", sorted(SPECIES))
def test_a_factor_of_nothing_leaves_every_kind_as_it_grows(key):
    before, after = SPECIES[key], shifted(SPECIES[key], 0.0)
    years = np.array([0.0, 3.0, 10.0, 40.0])
    for growth in GROWTHS:
        tall = height_at(before, years, growth=growth)
        assert height_at(after, years, growth=growth) == pytest.approx(tall, rel=ROUNDING)
        wide = spread_at(before, tall, growth)
        assert spread_at(after, tall, growth) == pytest.approx(wide, rel=ROUNDING)


@pytest.mark.parametrize("key", ["picea_pungens", "ilex_opaca", "thuja_occidentalis"])
def test_the_typical_curve_moves_as_a_scenario_and_the_spread_is_that_of_what_is_left(key):
    of, kind = spreads_of(key), load_measured()[key]
    left = math.sqrt(0.1**2 + of.plants**2)
    after = shifted(SPECIES[key], 0.3, left / kind.height_log_sd)
    for growth, side in zip(GROWTHS, (-TENTH, 0.0, TENTH), strict=True):
        expected = scenario(kind.curve, 0.3 + side * left)
        assert after.curve(growth).asymptote_m == pytest.approx(expected.asymptote_m, rel=1e-9)
        assert after.curve(growth).rate == pytest.approx(expected.rate, rel=1e-9)


def test_a_stop_at_the_published_height_is_not_moved():
    arborvitae = SPECIES["thuja_occidentalis"]
    after = shifted(arborvitae, 1.5)
    assert [after.full_height(g) for g in GROWTHS] == [arborvitae.full_height(g) for g in GROWTHS]
    own = load_species(
        {"own": {"latin": "Taxus sp.", "shape": "cone", "growth_class": "slow",
                 "mature_height": ["4 m", "6 m"], "mature_spread": ["2 m", "3 m"]}}
    )["own"]  # fmt: skip
    assert shifted(own, 0.5).full_height("high") == 6.0
    assert shifted(own, -0.5).full_height("typical") == pytest.approx(5.0 * math.exp(-0.5))


@pytest.mark.parametrize("key", sorted(SPECIES))
def test_widths_of_a_kind_split_as_its_heights_do(key):
    of = spreads_of(key)
    assert of.width_of_kind.variance + of.width_plants**2 == pytest.approx(of.width**2)
    assert of.width_of_kind.variance / of.width**2 == pytest.approx(
        of.of_kind.variance / load_measured()[key].height_log_sd ** 2
    )


# ---- against trees that were measured ----------------------------------------------------------

STREET = tomllib.loads((Path(__file__).parent / "fitting/rows.toml").read_text())["street"].values()
SITES_SD = spreads_of("picea_pungens").sites
#: Years between the heights that are given and those that are foretold.
LATER_YEARS = 5.0
#: The mean error of the later heights falls to this share of what it is without the earlier ones.
FALLS_TO = 0.8
#: So many pairs of an earlier and a later median there are at least.
LEAST_PAIRS = 40


def later_errors():
    """Errors of the logarithm of later heights of a region, without and with its earlier ones."""
    regions = defaultdict(list)
    for row in STREET:
        regions[row["kind"], row["left_out"]].append(row)
    for rows in regions.values():
        for early, late in itertools.permutations(rows, 2):
            if late["age"] - early["age"] < LATER_YEARS:
                continue
            figures = HeightFigures(
                (early["asymptote_m"],) * 3, (early["rate"],) * 3, early["exponent"],
                planted_m=early["start_m"],
            )  # fmt: skip
            kind = replace(SPRUCE, height_curve=figures, mature_height_m=(1.0, 60.0))
            n, plants = early["n"], math.sqrt(early["log_sd"] ** 2 - SITES_SD**2)
            said, variances = heights_say(
                kind, [early["age"]] * n, [early["height_m"]] * n, [early["start_m"]] * n, plants
            )
            factor = posterior(Normal(0.0, SITES_SD**2), said, variances).mean
            yield [
                abs(math.log(late["height_m"] / height_at(species, late["age"], stock_height_m=late["start_m"])))
                for species in (kind, shifted(kind, factor))
            ]  # fmt: skip


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Median heights of street trees of a region, foretold from its own medians {LATER_YEARS:g} years earlier or more and the curve of the other regions",
    source="Urban Tree Database (McPherson et al. 2016), street trees, years since planting",
    status="run",
    tolerance=f"at least {LEAST_PAIRS} pairs; the mean error of the logarithm falls to {FALLS_TO:.0%} or less of that without the earlier heights",
    misses="trees of a region stand on many sites, so that these medians say less than plants of one site would; three pairs in ten are foretold worse",
)
def test_earlier_heights_of_a_region_foretell_later_ones():
    without, by_own = np.array(list(later_errors())).T
    assert len(without) >= LEAST_PAIRS
    assert by_own.mean() < FALLS_TO * without.mean()
    assert (by_own < without).mean() > 0.65
