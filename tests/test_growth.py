"""Growth curves and crown shapes against closed forms, integration and the open plant data."""

from dataclasses import replace

import numpy as np
import pytest
from crown_kit import POWERS
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from screenplan.ground.crown_shapes import SHAPES, shape_of
from screenplan.ground.errors import InputError
from screenplan.planting.growth import (
    CURVES,
    GROWTHS,
    clear_stem_at,
    effective_years,
    height_at,
    spread_at,
    width_at,
)
from screenplan.planting.shapes import meeting_band, shape_radius
from screenplan.planting.species import load_species

TABLE = load_species()
FOOT = 0.3048
#: How far the height at 20 years lies from the open plant data, %: a frozen record of the
#: comparison, written down after it was made.
MISS_PERCENT = {
    "juniperus_scopulorum": -42, "magnolia_grandiflora": -30, "ilex_opaca": -29,
    "morella_cerifera": -15, "ilex_vomitoria": -7, "juniperus_virginiana": 1,
    "calocedrus_decurrens": 24, "chamaecyparis_thyoides": 26, "picea_abies": 28,
    "ilex_glabra": 33,
}  # fmt: skip
#: The species whose published height lies between low and high growth, likewise.
IN_BAND = {
    "juniperus_virginiana", "ilex_vomitoria", "chamaecyparis_thyoides", "calocedrus_decurrens",
}  # fmt: skip
CLOSE_PERCENT = 25
keys = st.sampled_from(sorted(TABLE))


@pytest.mark.parametrize("key", ["thuja_occidentalis", "picea_abies", "morella_cerifera"])
@pytest.mark.parametrize("growth", GROWTHS)
@pytest.mark.evidence(
    part="Plants and growth",
    kind="other software",
    against="The growth curve: its differential equation, integrated numerically",
    source="scipy.integrate.solve_ivp",
    status="run",
    tolerance="1 µm in 30 years",
)
def test_smooth_curve_against_numerical_integration(key, growth):
    s = TABLE[key]
    g, H, e = s.yearly_growth(growth), s.full_height(growth), s.establishment_years
    years = np.arange(31.0)
    # The establishment ramp t/e times the full rate, integrated by another program (scipy).
    found = solve_ivp(
        lambda t, h: g * min(t / e, 1.0) * (1 - (h / H) ** 2),
        (0, 30), [0.9], t_eval=years, rtol=1e-9, atol=1e-10, max_step=0.5,
    )  # fmt: skip
    assert height_at(s, years, growth=growth, stock_height_m=0.9) == pytest.approx(
        found.y[0], abs=1e-6
    )


def test_straight_curve_by_hand():
    # Slow 0.225 m a year, 2 years of establishment worth one: 0.9 + 0.225 (10 − 1) = 2.925.
    cedar = TABLE["thuja_occidentalis"]
    assert height_at(cedar, 10, stock_height_m=0.9, curve="straight") == pytest.approx(2.925)
    # To the cap, the mean of 25 and 40 ft.
    assert height_at(cedar, 900, curve="straight") == pytest.approx(32.5 * FOOT)
    # A plant that stands is rooted: 0.9 + 0.225 × 10.
    stood = height_at(cedar, 10, stock_height_m=0.9, curve="straight", established=True)
    assert stood == pytest.approx(3.15)


def test_establishment_is_worth_half_its_years():
    assert effective_years([0, 1, 2, 3], 2.0) == pytest.approx([0, 0.25, 1, 2])
    assert effective_years([0, 1, 5], 0.0) == pytest.approx([0, 1, 5])


@given(keys, st.sampled_from(CURVES), st.floats(0.05, 30.0), st.booleans())
def test_growth_rises_with_years_and_class_and_starts_at_the_stock(key, curve, stock, established):
    years = np.arange(0, 61)
    heights = np.array(
        [
            height_at(
                TABLE[key], years, growth=growth, stock_height_m=stock, curve=curve, established=established
            )
            for growth in GROWTHS
        ]
    )  # fmt: skip
    assert heights[:, 0] == pytest.approx(stock)
    assert (np.diff(heights, axis=1) >= -1e-12).all()
    assert (np.diff(heights, axis=0) >= -1e-12).all()
    # Nothing outgrows the greater of its mature height and its height when planted.
    for growth, h in zip(GROWTHS, heights, strict=True):
        assert h.max() <= max(TABLE[key].full_height(growth), stock) + 1e-9


def test_smooth_never_outruns_straight():
    for species in TABLE.values():
        years = np.arange(61)
        assert (
            height_at(species, years) <= height_at(species, years, curve="straight") + 1e-9
        ).all()


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Height at 20 years of {len(MISS_PERCENT)} species, grown by growth class and not fitted",
    source="USDA PLANTS characteristics",
    status="code",
    tolerance="what it gives is frozen, so that it cannot drift unseen: "
    + ", ".join(f"{key} {miss:+d} %" for key, miss in MISS_PERCENT.items()),
    misses=f"{sum(abs(miss) > CLOSE_PERCENT for miss in MISS_PERCENT.values())} of {len(MISS_PERCENT)} lie more than {CLOSE_PERCENT} % off, and {len(MISS_PERCENT) - len(IN_BAND)} outside low to high growth",
)
def test_heights_at_20_years_against_the_open_plant_data(capsys):
    # USDA PLANTS characteristics, height at 20 years in ft (open data, code). The growth rates
    # come from growth classes, not from these figures. Grown from 0.3 m plants.
    published = {
        "juniperus_virginiana": 25, "juniperus_scopulorum": 25, "ilex_opaca": 20, "ilex_vomitoria": 20,
        "ilex_glabra": 5, "chamaecyparis_thyoides": 20, "calocedrus_decurrens": 12, "picea_abies": 35,
        "magnolia_grandiflora": 40, "morella_cerifera": 10,
    }  # fmt: skip
    miss, in_band = {}, set()
    for key, feet in published.items():
        low, typical, high = (
            float(height_at(TABLE[key], 20, growth=growth, stock_height_m=0.3))
            for growth in GROWTHS
        )
        miss[key] = round(100 * (typical / (feet * FOOT) - 1))
        if low <= feet * FOOT <= high:
            in_band.add(key)
    with capsys.disabled():
        print("\nheight at 20 years against the open plant data, %: "
              + ", ".join(f"{key} {value:+d}" for key, value in sorted(miss.items(), key=lambda x: x[1])))  # fmt: skip
    # The record guards the parameters against drifting towards these figures unseen and is no
    # proof of accuracy. Only 4 of 10 come
    # within 25 %, and only 4 lie between low and high growth, so the range from low to high is no
    # confidence interval. Three growth classes from memory cannot tell ten species apart; the
    # published heights belong to wild or timber stands, not to screens; and a plant that is
    # published as full grown at 20 years (morella_cerifera) lies above a curve that only
    # approaches its mature height.
    assert miss == MISS_PERCENT
    assert in_band == IN_BAND


def test_spread_and_clear_stem_grow_to_their_caps():
    magnolia = TABLE["magnolia_grandiflora"]
    # spread_share 0.5 up to the mean of 30 and 50 ft; clear_stem_share 0.25 up to 1.8 m (its table).
    assert spread_at(magnolia, 4.0) == pytest.approx(2.0)
    assert spread_at(magnolia, 30.0) == pytest.approx(40 * FOOT)
    assert clear_stem_at(magnolia, [4.0, 30.0]) == pytest.approx([1.0, 1.8])


@pytest.mark.parametrize(
    ("shape", "low", "high"),
    # h 4, w 2, s 1, c 1, by hand: cone 1 + 3 (1 − ½); paraboloid 1 + 3 (1 − ¼);
    # ellipsoid 2.5 ± 1.5 √(1 − ¼).
    [("cone", 1, 2.5), ("column", 1, 4), ("paraboloid", 1, 3.25),
     ("ellipsoid", 2.5 - 1.5 * 0.75**0.5, 2.5 + 1.5 * 0.75**0.5)],
)  # fmt: skip
def test_closure_by_hand(shape, low, high):
    assert meeting_band(shape, 4, 2, 1, 1) == (pytest.approx(low), pytest.approx(high))
    assert meeting_band(shape_of(shape), 4, 2, 1, 1)[1] == pytest.approx(high)


def test_a_row_of_cones_closes_up_to_h_times_1_minus_s_over_w():
    h, w, s = 6.0, 2.4, np.array([0.6, 1.2, 1.8, 2.4, 3.0])
    assert meeting_band("cone", h, w, s)[1] == pytest.approx([4.5, 3.0, 1.5, 0.0, 0.0])


@given(
    st.sampled_from([*sorted(SHAPES), *POWERS]),
    st.floats(0.5, 20),
    st.floats(0.2, 8),
    st.floats(0.05, 9),
    st.floats(0, 0.6),
)
def test_crowns_are_half_the_spacing_wide_where_they_meet(shape, h, w, share, stem):
    s, c = share * w / 9.5, stem * h
    low, high = meeting_band(shape, h, w, s, c)
    assert c - 1e-9 <= low <= high <= h + 1e-9
    for z in (low, high):
        r = shape_radius(shape, h, w, c, np.clip(z, c, h))
        assert r >= s / 2 - 1e-6 * w
    middle = shape_radius(shape, h, w, c, (low + high) / 2)
    assert middle >= s / 2 - 1e-9
    # Just above, they do not touch any more (a column ends there).
    assert shape_radius(shape, h, w, c, high + 1e-6 * h) < s / 2 + 1e-3 * w or shape == "column"


@pytest.mark.parametrize("shape", SHAPES)
def test_radius_outside_the_crown_is_0(shape):
    assert shape_radius(shape, 4, 2, 1, [0.5, 4.5]) == pytest.approx([0, 0])
    assert shape_radius(shape, 1, 2, 1, 1.0) == pytest.approx(0)


def test_refused():
    cedar = TABLE["thuja_occidentalis"]
    with pytest.raises(InputError, match=r"'fast' is not a growth\. Write one of low"):
        height_at(cedar, 1, growth="fast")
    with pytest.raises(InputError, match="'wavy' is not a growth curve"):
        height_at(cedar, 1, curve="wavy")
    with pytest.raises(InputError, match="a year lies before planting"):
        height_at(cedar, [-1, 2])
    with pytest.raises(InputError, match="no height when planted"):
        height_at(cedar, 1, stock_height_m=0)
    # A shape is a word or its record, and nothing else.
    for name in SHAPES:
        assert shape_of(shape_of(name)) is shape_of(name)
    for wrong in (-1, 0, 1.5, True, None, "1"):
        with pytest.raises(InputError, match=r"is not a crown shape\. Write one of cone"):
            shape_of(wrong)
    with pytest.raises(InputError, match="'ball' is not a crown shape"):
        shape_radius("ball", 1, 1, 0, 0)


@pytest.mark.parametrize("growth", GROWTHS)
def test_a_clipped_hedge_is_as_tall_and_wide_as_it_is_kept_and_one_that_grows_freely_is_not(growth):
    # By the definitions: the spread is a share of the height up to the mature one; shears stop the height
    # at what is kept, and the width across the row, not the length along it.
    free = load_species()["carpinus_betulus"]
    kept = replace(free, key="kept", kept_height_m=2.0, kept_width_m=0.6)
    years = np.arange(0.0, 40.0)
    tall = height_at(free, years, growth=growth, stock_height_m=1.0)
    assert tall.max() > 3.0
    assert height_at(kept, years, growth=growth, stock_height_m=1.0) == pytest.approx(
        np.minimum(tall, 2.0)
    )
    heights = np.array([0.5, 1.0, 2.0, 5.0, 50.0])
    spread = np.minimum(free.spread_share * heights, free.full_spread(growth))
    assert spread_at(free, heights, growth) == pytest.approx(spread)
    assert spread_at(kept, heights, growth) == pytest.approx(spread)
    assert width_at(free, heights, growth) == pytest.approx(spread)
    assert width_at(kept, heights, growth) == pytest.approx(np.minimum(spread, 0.6))
