"""What is drawn for plants: the spreads that were measured, and numbers that belong to a place."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_views import row

from screenplan import load_species
from screenplan.contracts import GROWTHS
from screenplan.planting.draws import HEIGHTS, PROFILES, WIDTHS, Draws, draw_plants, shares_of
from screenplan.planting.growth import crown_law, spread_at, width_at
from screenplan.planting.measured import TENTH, load_measured
from screenplan.planting.stand import Start, heights_at_quantiles, sizes_of, stand_of

SHIPPED = load_species()
#: Draws whose moments are looked at, and how far a standard deviation of so many may be off (4 errors).
MANY = 20_000
NEAR = 4.0 / np.sqrt(2.0 * MANY)


def stand(kinds, stations=None):
    stations = np.arange(len(kinds)) if stations is None else stations
    return stand_of(row(stations, list(kinds)), years=10)


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_figures_at_a_tenth_are_those_of_low_and_high_growth(key):
    # By definition: one plant in ten stays below low growth.
    species, years = SHIPPED[key], range(0, 41, 5)
    start = Start(species, species.stock_height_m, False)
    sizes = sizes_of([start], years)[:, 0]
    for number, z in enumerate((-TENTH, 0.0, TENTH)):
        drawn = species.at_quantile(z, z, z, z)
        assert heights_at_quantiles(start, (z,), tuple(years))[0] == pytest.approx(sizes[0, number])
        law = crown_law(drawn).sizes(sizes[0, number])
        assert 2.0 * law[1] == pytest.approx(sizes[1, number])
        assert 2.0 * law[3] == pytest.approx(sizes[2, number])
        assert law[2] == pytest.approx(sizes[3, number])
        assert drawn.exponent("low") == pytest.approx(species.exponent(GROWTHS[number]))
        assert drawn.leaf_density[0] == pytest.approx(species.leaf_density[number])


@given(st.sampled_from(sorted(SHIPPED)), st.lists(st.floats(-4, 4), min_size=2, max_size=6))
def test_more_standard_deviations_are_taller_and_wider(key, quantiles):
    species = SHIPPED[key]
    quantiles = sorted(quantiles)
    heights = heights_at_quantiles(
        Start(species, species.stock_height_m, False), tuple(quantiles), (0, 3, 10, 30)
    )
    assert (np.diff(heights, axis=0) >= -1e-9).all()
    widths = [crown_law(species.at_quantile(width=z)).sizes(3.0)[1] for z in quantiles]
    assert (np.diff(widths) >= -1e-9).all()


def test_a_crown_law_is_that_by_which_plants_grow():
    hedge = load_species(
        {
            "h": {
                "like": "thuja_occidentalis",
                "shape": "box",
                "kept_height": "2 m",
                "kept_width": "0.6 m",
            }
        }
    )["h"]
    for species in (hedge, SHIPPED["magnolia_grandiflora"]):
        heights = np.linspace(0.3, 12.0, 9)
        _, radius, _, across = crown_law(species, "low").sizes(heights)
        assert 2.0 * radius == pytest.approx(spread_at(species, heights, "low"))
        assert 2.0 * across == pytest.approx(width_at(species, heights, "low"))


def test_spreads_are_those_measured():
    # The parts of the variance by site, kind and plant, as the table of measured figures gives them.
    keys = ("thuja_occidentalis", "thuja_occidentalis", "picea_pungens")
    drawn = draw_plants(stand(keys), Draws(MANY))
    z = HEIGHTS[drawn.height]
    assert z.std(axis=1) == pytest.approx(np.ones(3), abs=NEAR)
    of = load_measured()["thuja_occidentalis"].figures["height"]
    site, kind, plant = (
        of[name] ** 2
        for name in ("between_sites_log_sd", "between_kinds_log_sd", "within_site_log_sd")
    )
    together = np.corrcoef(z)
    assert together[0, 1] == pytest.approx((site + kind) / (site + kind + plant), abs=2 * NEAR)
    spruce = shares_of(SHIPPED["picea_pungens"])
    assert together[0, 2] == pytest.approx(
        np.sqrt(site / (site + kind + plant) * spruce[0]), abs=2 * NEAR
    )
    assert WIDTHS[drawn.width].std() == pytest.approx(1.0, abs=0.02)
    # One profile for a kind.
    assert (drawn.profile[0] == drawn.profile[1]).all()
    assert set(np.unique(drawn.profile)) == set(range(len(PROFILES)))


def test_a_place_draws_the_same_whatever_else_is_planted():
    alone = draw_plants(stand(["picea_pungens"], [7.0]), Draws(50))
    among = draw_plants(
        stand(["ilex_opaca", "picea_pungens", "ilex_opaca"], [6.0, 7.0, 8.0]), Draws(50)
    )
    for name in ("height", "width", "profile", "life"):
        assert (getattr(alone, name)[0] == getattr(among, name)[1]).all()
    other = draw_plants(stand(["picea_pungens"], [7.0]), Draws(50, seed=1))
    assert (alone.height != other.height).any()


def test_what_stands_already_lives():
    plants = row([1.0, 2.0], ["picea_pungens"] * 2, existing=[True, False])
    drawn = draw_plants(stand_of(plants, years=5), Draws(400, losses=0.5))
    assert (drawn.life[0] == 0).all()
    assert (drawn.life[1] != 0).mean() == pytest.approx(0.5, abs=0.1)
