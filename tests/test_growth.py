"""Growth curves and crown shapes against closed forms, integration and the open plant data."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from crown_kit import POWERS
from hypothesis import given
from hypothesis import strategies as st
from plant_checks import AT_20_FT
from scipy.integrate import solve_ivp

from screenplan.contracts import GROWTHS
from screenplan.ground.crown_shapes import SHAPES, shape_of
from screenplan.ground.errors import InputError
from screenplan.planting import curves
from screenplan.planting.curves import years_to
from screenplan.planting.growth import (
    CURVES,
    clear_stem_at,
    effective_years,
    establishment_years,
    height_at,
    heights_at,
    spread_at,
    width_at,
)
from screenplan.planting.measured import load_measured, months_to_root, stem_inches
from screenplan.planting.shapes import meeting_band, shape_radius
from screenplan.planting.species import load_species

TABLE = load_species()
FOOT = 0.3048
PLANTING = Path(curves.__file__).parent
#: How far the height at 20 years lies from the open plant data, %: a frozen record of the
#: comparison, written down after it was made; frozen regression: measured growth.
MISS_PERCENT = {
    "magnolia_grandiflora": -42, "juniperus_scopulorum": -30, "juniperus_virginiana": -29,
    "ilex_vomitoria": -23, "morella_cerifera": -19, "picea_abies": -16, "ilex_opaca": -5,
    "chamaecyparis_thyoides": 18, "ilex_glabra": 32, "calocedrus_decurrens": 142,
}  # fmt: skip
#: The species whose published height lies between low and high growth, likewise.
IN_BAND = {
    "chamaecyparis_thyoides", "ilex_glabra", "ilex_opaca", "ilex_vomitoria", "juniperus_scopulorum",
    "juniperus_virginiana", "morella_cerifera", "picea_abies",
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
    s = replace(TABLE[key], establishment_years=2.0)
    law, e = s.curve(growth), 2.0 - _held(s)
    A, k, m = law.asymptote_m, law.rate, law.exponent
    years = np.arange(31.0)

    def rooted(t):
        # The rate rises evenly from nothing over e years; what the curve holds more than that of rooting is
        # made up for by a start at twice the rate.
        return min(t / e, 1.0) if e > 0 else max(2.0 + t / e, 1.0)

    # dh/dt of Chapman and Richards, integrated by another program (scipy).
    found = solve_ivp(
        lambda t, h: rooted(t) * k * m * (A * (h / A) ** (1.0 - 1.0 / m) - h),
        (0, 30), [0.9], t_eval=years, rtol=1e-10, atol=1e-11, max_step=0.1,
    )  # fmt: skip
    assert height_at(s, years, growth=growth, stock_height_m=0.9) == pytest.approx(
        np.minimum(found.y[0], s.full_height(growth)), abs=1e-6
    )


def _held(species) -> float:
    """Years of rooting that the curve of a species holds: those of field-grown stock in a mild zone."""
    planted = species.height_curve.planted_m
    if planted is None:
        return 0.0
    return float(months_to_root(7, stem_inches(species.leaf, planted))) / 12.0


def test_straight_curve_by_hand():
    # Slow 0.225 m a year, 2 years of establishment worth one: 0.9 + 0.225 (10 − 1) = 2.925.
    slow = load_species(
        {"slow": {"like": "thuja_occidentalis", "growth_class": "slow", "establishment_years": 2.0}}
    )["slow"]
    assert height_at(slow, 10, stock_height_m=0.9, curve="straight") == pytest.approx(2.925)
    # To the cap, the mean of 25 and 40 ft.
    assert height_at(slow, 900, curve="straight") == pytest.approx(32.5 * FOOT)
    # A plant that stands is rooted: 0.9 + 0.225 × 10.
    stood = height_at(slow, 10, stock_height_m=0.9, curve="straight", established=True)
    assert stood == pytest.approx(3.15)


def test_a_kind_whose_data_are_a_straight_line_grows_by_one():
    line = TABLE["platycladus_orientalis"]
    assert line.curve("typical").exponent == 0
    heights = height_at(line, [5, 6, 7, 8], established=True)
    assert np.diff(heights, n=2) == pytest.approx(0.0, abs=1e-12)


def test_establishment_is_worth_half_its_years():
    assert effective_years([0, 1, 2, 3], 2.0) == pytest.approx([0, 0.25, 1, 2])
    assert effective_years([0, 1, 5], 0.0) == pytest.approx([0, 1, 5])
    # Less than the curve holds: the reverse, by as much ahead as the other is behind.
    assert effective_years([0, 1, 2, 3], -2.0) == pytest.approx([0, 1.75, 3, 4])


@given(st.floats(-5.0, 5.0).filter(lambda e: abs(e) > 1e-6))
def test_effective_years_never_go_back(establishment):
    tau = effective_years(np.linspace(0.0, 12.0, 121), establishment)
    assert tau[0] == 0.0
    assert np.diff(tau).min() > 0.0


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="Months an inch of stem until stock is rooted: 12, 6 and 3 in zones 2 to 6, 7 and 8, 9 to 11; one to two more in pots; bare roots by the second season",
    source="Gilman, UF/IFAS; EDIS EP113; Watson and Hewitt",
    status="read",
    tolerance="exact",
)
def test_rooting_takes_as_long_as_is_published():
    # A stem of an inch, by the law of its leaf type: height = (2.54 / a)^(1/b).
    law = tomllib.loads((PLANTING / "measured.toml").read_text("utf-8"))["about"]["stems"]["needle"]
    tall = (2.54 / law["coefficient_cm"]) ** (1.0 / law["exponent"])
    for zone, months in ((4, 12.0), (7, 6.0), (10, 3.0)):
        spruce = load_species(zone=zone)["picea_pungens"]
        assert establishment_years(spruce, tall, "balled") == pytest.approx(months / 12.0)
        assert establishment_years(spruce, tall, "container") == pytest.approx(
            (months + 1.5) / 12.0
        )
        assert establishment_years(spruce, 2.0, "bare_root") == 1.0
    own = replace(TABLE["picea_pungens"], establishment_years=3.0)
    assert establishment_years(own, tall, "balled") == 3.0


@pytest.mark.parametrize("key", ["picea_pungens", "ilex_opaca", "thuja_plicata"])
def test_small_stock_catches_up(key):
    """Invariant of rooting that takes longer the thicker the stem; the colder, the more."""
    years = np.arange(0.0, 12.0, 0.25)
    for zone in (4, 7, 10):
        kind = load_species(zone=zone)[key]
        law = kind.curve("typical")
        small, tall = (height_at(kind, years, stock_height_m=start) for start in (0.9, 2.4))
        assert (small < tall).all()
        # The lead, in the years that the small one needs to be as tall, never grows. When both are rooted
        # it has shrunk by half of what the thicker stem takes longer, and by no more: the curve alone
        # never makes it shrink.
        lead = years_to(law, tall, small)
        longer = float(establishment_years(kind, 2.4) - establishment_years(kind, 0.9))
        assert longer > 0.0
        assert np.diff(lead).max() <= 1e-9
        assert lead[0] - lead[-1] == pytest.approx(longer / 2.0, abs=1e-6)
    # Where it is cold even the lead in height shrinks from the day of planting, and stays below.
    cold = load_species(zone=4)[key]
    small, tall = (height_at(cold, years, stock_height_m=start) for start in (0.9, 2.4))
    assert (tall - small).min() < 1.5 - 0.1


def test_rooting_that_a_curve_holds_is_not_counted_twice():
    # Field-grown stock of the height at which the measured trees were set, in a mild zone, grows by the
    # curve as it is; a forest curve, whose years are years of growth, is entered only after rooting.
    street, forest = TABLE["picea_pungens"], TABLE["picea_abies"]
    assert street.height_curve.planted_m is not None
    assert forest.height_curve.planted_m is None
    years = np.arange(0.0, 30.0)
    set_at = street.height_curve.planted_m
    assert height_at(street, years, stock_height_m=set_at, stock="balled") == pytest.approx(
        curves.height_at(street.curve("typical"), years, set_at)
    )
    late = float(establishment_years(forest, 1.0, "balled"))
    assert height_at(forest, 20.0, stock_height_m=1.0, stock="balled") == pytest.approx(
        float(curves.height_at(forest.curve("typical"), 20.0 - late / 2.0, 1.0))
    )


@pytest.mark.parametrize("key", sorted(TABLE))
def test_a_plant_set_taller_than_it_grows_keeps_its_height(key):
    for growth in GROWTHS:
        tall = 1.2 * TABLE[key].full_height(growth)
        assert height_at(
            TABLE[key], [0, 10, 99], growth=growth, stock_height_m=tall
        ) == pytest.approx(tall)


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
    # The straight curve rises by the greatest yearly growth of the smooth one.
    for species in TABLE.values():
        years = np.arange(61)
        smooth, straight = (height_at(species, years, curve=curve) for curve in CURVES)
        assert (smooth <= straight + 1e-9).all()


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Height at 20 years of {len(MISS_PERCENT)} species, grown by what was measured elsewhere",
    source="USDA PLANTS characteristics",
    status="code",
    tolerance="what it gives is frozen, so that it cannot drift unseen: "
    + ", ".join(f"{key} {miss:+d} %" for key, miss in MISS_PERCENT.items()),
    misses=f"{sum(abs(miss) > CLOSE_PERCENT for miss in MISS_PERCENT.values())} of {len(MISS_PERCENT)} lie more than {CLOSE_PERCENT} % off, and {len(MISS_PERCENT) - len(IN_BAND)} outside low to high growth",
)
def test_heights_at_20_years_against_the_open_plant_data(capsys):
    # USDA PLANTS characteristics, height at 20 years in ft (open data, code). The curves were fitted
    # to other data, not to these figures. Grown from 0.3 m plants.
    miss, in_band = {}, set()
    for key, feet in AT_20_FT.items():
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
    # proof of accuracy. The published heights are one figure a species, of wild or timber stands;
    # 12 ft for incense cedar is half of what street trees of it measure at that age, or less. A plant
    # of 0.3 m is smaller than any that was measured, so that its first years are extrapolated.
    assert miss == MISS_PERCENT
    assert in_band == IN_BAND


def test_spread_and_clear_stem_grow_to_their_caps():
    magnolia = TABLE["magnolia_grandiflora"]
    # w = a h^b up to the widest; clear_stem_share 0.25 up to 1.8 m (its tables).
    law = load_measured()["magnolia_grandiflora"].width
    assert spread_at(magnolia, 4.0) == pytest.approx(law.coefficient * 4.0**law.exponent)
    # Enough trees are taller than one of the widest; of a kind of which none is measured it is the mean of the
    # published 10 and 12 ft.
    assert spread_at(magnolia, 30.0) == pytest.approx(law.widest_m)
    assert spread_at(TABLE["thuja_occidentalis"], 30.0) == pytest.approx(11 * FOOT)
    # The share of the height falls as it grows.
    shares = spread_at(magnolia, [1.0, 5.0, 10.0]) / [1.0, 5.0, 10.0]
    assert (np.diff(shares) < 0.0).all()
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
    # By the definitions: the spread follows the height up to the mature one; shears stop the height
    # at what is kept, and the width across the row, not the length along it.
    free = load_species()["carpinus_betulus"]
    kept = replace(free, key="kept", shape="box", kept_height_m=2.0, kept_width_m=0.6)
    years = np.arange(0.0, 40.0)
    tall = height_at(free, years, growth=growth, stock_height_m=1.0)
    assert tall.max() > 3.0
    assert height_at(kept, years, growth=growth, stock_height_m=1.0) == pytest.approx(
        np.minimum(tall, 2.0)
    )
    heights = np.array([0.5, 1.0, 2.0, 5.0, 50.0])
    law = free.width(growth)
    spread = np.minimum(law.coefficient * heights**law.exponent, law.widest_m)
    assert spread_at(free, heights, growth) == pytest.approx(spread)
    assert spread_at(kept, heights, growth) == pytest.approx(spread)
    assert width_at(free, heights, growth) == pytest.approx(spread)
    assert width_at(kept, heights, growth) == pytest.approx(np.minimum(spread, 0.6))


@pytest.mark.parametrize("stock", ["container", "bare_root"])
@pytest.mark.parametrize("curve", CURVES)
def test_weeds_that_are_left_alone_keep_a_plant_behind(curve, stock):
    # Closed form: a share s of n years is lost, so that from year n on it is as tall as another s n years before.
    cedar = load_species()["thuja_occidentalis"]
    slowed = replace(cedar, slowed_share=0.6, slowed_years=5.0)
    how = {"stock_height_m": 0.5, "curve": curve, "stock": stock}
    years = np.arange(5.0, 40.0)
    assert height_at(slowed, years, **how) == pytest.approx(height_at(cedar, years - 3.0, **how))
    early = np.linspace(0.0, 5.0, 11)
    assert height_at(slowed, early, **how) == pytest.approx(height_at(cedar, 0.4 * early, **how))
    # What stands already is past it, and none is lost where nothing is.
    stands = how | {"established": True}
    assert height_at(slowed, years, **stands).tolist() == height_at(cedar, years, **stands).tolist()
    weeded = replace(cedar, slowed_share=0.0, slowed_years=5.0)
    assert height_at(weeded, years, **how).tolist() == height_at(cedar, years, **how).tolist()


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("stands", [False, True])
def test_heights_of_many_quantiles_are_those_of_each_species_so_drawn(curve, stands):
    """Invariant: the array form is the species at each quantile, grown by itself."""
    quantiles, years = [-4.0, -1.2816, 0.0, 0.5, 3.0], [0, 3, 10, 60]
    how = {"stock_height_m": 1.2, "curve": curve, "established": stands}
    for free in load_species().values():
        slowed = replace(free, slowed_share=0.5, slowed_years=3.0)
        for species in (free, slowed, replace(free, kept_height_m=2.5)):
            each = [height_at(species.at_quantile(height=z), years, **how) for z in quantiles]
            together = heights_at(species, quantiles, years, **how)
            assert together == pytest.approx(np.stack(each), rel=1e-12)
