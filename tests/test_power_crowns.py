"""Crowns whose radius falls by a power of the depth below the tip: how far off, and how given."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from options_kit import plan_with
from parcel_kit import box, lay

from screenplan.contracts import CROWNS, GROWTHS
from screenplan.ground.crown_shapes import (
    PIECES,
    POWER,
    SAME_EXPONENT,
    SHAPES,
    TIP,
    error_share,
    power_shape,
    shape_of,
)
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.crowns import grow_crowns
from screenplan.planting.curves import radius_at
from screenplan.planting.shapes import is_nested, meeting_band, shape_radius
from screenplan.planting.species import load_species
from screenplan.planting.stand import stand_of

#: Published exponents lie between these two.
PUBLISHED = (0.2, 0.5)
#: Error of a crown 3 m wide, metres, that the module's description states.
STATED_M = 0.008
ROUNDING = 1e-12


def off_by(p):
    """Differences of s from u^p, but for the tip of a blunt crown."""
    low = TIP if p < 0.5 else 0.0
    u = np.concatenate([np.linspace(low, 1.0, 4001), np.geomspace(max(low, 1e-9), 1.0, 4001)])
    return np.sqrt(np.maximum(power_shape(p).square_at(u), 0.0)) - u**p


# Closed form: u^p itself. Both signs: the error is of two sides, and reaches most of its bound.
@pytest.mark.parametrize("p", [0.01, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.45, 0.55, 0.7, 0.95])
def test_the_radius_is_off_by_no_more_than_the_bound_on_both_sides(p):
    off, bound = off_by(p), error_share(p)
    assert np.abs(off).max() <= bound
    assert min(off.max(), -off.min()) > 0.8 * bound
    assert bound * 1.5 <= STATED_M


@given(st.floats(0.0, 1.0))
def test_any_exponent_keeps_its_bound(p):
    # An exponent that is taken for an exact one is off by |u^p - u^q| <= |p - q| ln(1 / u), u from TIP on.
    taken = SAME_EXPONENT * math.log(1.0 / TIP)
    assert np.abs(off_by(p)).max() <= error_share(p) + taken + ROUNDING


# Closed form: the lid of a blunt crown lies no lower than the true crown is that wide, but for TIP.
@pytest.mark.parametrize("p", [0.05, 0.2, 0.3, 0.49])
def test_the_tip_of_a_blunt_crown_is_off_in_height_by_less_than_its_bound(p):
    u = np.linspace(0.0, TIP, 101)
    s = np.sqrt(power_shape(p).square_at(u))
    assert (s >= np.maximum(u - TIP, 0.0) ** p - error_share(p)).all()
    assert (s <= (u + TIP) ** p + error_share(p)).all()


@pytest.mark.parametrize(("p", "word"), [(0.0, "column"), (0.5, "paraboloid"), (1.0, "cone")])
def test_column_paraboloid_and_cone_are_exact(p, word):
    assert power_shape(p).square == SHAPES[word].square
    assert power_shape(p).pieces == ()
    assert error_share(p) == 0.0


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_radius_never_falls_towards_the_foot_nor_as_a_crown_becomes_blunter(p, u, v):
    shape, low, high = power_shape(p), *sorted((u, v))
    assert 0.0 <= shape.square_at(low) <= shape.square_at(high) + ROUNDING
    assert shape.square_at(1.0) == pytest.approx(1.0, abs=1e-9)


# The plain definition is of another module.
@pytest.mark.parametrize("p", [0.2, 0.33, 0.7])
def test_the_radius_against_the_plain_definition(p):
    z = np.linspace(-0.5, 4.5, 1001)
    got = shape_radius(power_shape(p), 4.0, 3.0, 0.5, z)
    plain = radius_at(z, 4.0, 0.5, 3.0, p)
    below_tip = z < 4.0 - TIP * 3.5
    assert np.abs(got - plain)[below_tip].max() <= 1.5 * error_share(p) + ROUNDING
    assert (got[(z < 0.5) | (z > 4.0)] == 0.0).all()


# Closed form: neighbours s apart meet up to h - (h - c) (s / w)^(1 / p), where r is s / 2.
@pytest.mark.parametrize("p", [0.2, 0.3, 0.4, 0.7])
def test_neighbours_meet_where_the_power_says(p):
    h, w, c = 4.0, 3.0, 0.5
    s = np.array([1.0, 1.8, 2.7, 3.0, 3.3])
    shape = power_shape(p)
    low, high = meeting_band(shape, h, w, s, c)
    assert (high[3:] == 0.0).all()
    assert (low[:3] == c).all()
    for width, top in zip(s[:3], high[:3], strict=True):
        assert float(shape_radius(shape, h, w, c, top)) == pytest.approx(width / 2)
        error = error_share(p)
        # As far off as the true crown that is wider or narrower by the bound.
        most, least = (h - (h - c) * max(width / w - e, 0.0) ** (1 / p) for e in (error, -error))
        assert least - TIP * h <= top <= most + TIP * h


# Brute force: profiles at many heights.
@given(
    st.floats(0.01, 0.99),
    *[st.floats(0.5, 5), st.floats(0.1, 2), st.floats(0, 0.4)] * 2,
)
def test_nested_agrees_with_the_profiles(p, h1, r1, c1, h0, r0, c0):
    shape = power_shape(p)
    z = np.linspace(c0, h0, 300)[1:-1]
    outer = shape_radius(shape, h1, 2 * r1, c1, z)
    inner = shape_radius(shape, h0, 2 * r0, c0, z)
    if is_nested(shape, (h1, r1, c1), (h0, r0, c0)):
        assert (outer >= inner - 1e-4).all()
    # Leafy to the ground, what grows taller and wider holds what it was.
    assert is_nested(shape, (h0 + 0.1, r0, 0.0), (h0, r0, 0.0))


def test_no_lines_are_more_than_said():
    assert all(len(power_shape(p).pieces) in (0, PIECES) for p in np.linspace(0.0, 1.0, 201))


@pytest.mark.parametrize("wrong", [-0.1, 1.1, float("nan")])
def test_an_exponent_that_is_none_is_refused(wrong):
    with pytest.raises(InputError, match="is not from 0 to 1"):
        power_shape(wrong)


def test_a_power_without_its_exponent_is_refused():
    for none in (None, float("nan")):
        with pytest.raises(InputError, match=r"has no exponent\. Write the exponent"):
            shape_of(POWER, none)
    assert shape_of("cone", float("nan")) is SHAPES["cone"]


#: A shipped species whose crown has no exponent.
ROUNDED = "ilex_glabra"


def kind(**keys):
    return load_species({"mine": {"like": ROUNDED, **keys}})


def test_a_species_gives_one_exponent_or_one_for_each_growth():
    species = kind(shape=POWER, profile=0.33)["mine"]
    assert species.profile == (0.33,) * 3
    three = kind(shape=POWER, profile=[0.5, 0.4, 0.3])["mine"]
    assert [three.crown(growth) for growth in GROWTHS] == [power_shape(p) for p in (0.5, 0.4, 0.3)]
    assert three.sources["profile"] == "the user's value"
    # Another shape than that of the species it is like takes no exponent along.
    table = load_species(
        {"one": {"like": "thuja_occidentalis", "shape": POWER, "profile": 0.3},
         "two": {"like": "one", "shape": "cone"}}
    )  # fmt: skip
    assert table["two"].profile is None


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"shape": POWER}, "of the shape power has no profile"),
        ({"profile": 0.3}, "the shape ellipsoid has a profile of its own"),
        ({"shape": POWER, "profile": 1.5}, "1.5 is out of range"),
        ({"shape": POWER, "profile": "0.3"}, "is not a number"),
        ({"shape": POWER, "profile": True}, "is not a number"),
        ({"shape": POWER, "profile": [0.5, 0.3]}, "Write one number, or three"),
        ({"shape": POWER, "profile": [0.3, 0.4, 0.5]}, "not in falling order"),
    ],
)
def test_a_profile_that_cannot_be_is_refused(keys, says):
    with pytest.raises(InputError) as refused:
        kind(**keys)
    assert says in str(refused.value)
    assert len(refused.value.problems) == 1


def test_crowns_and_stands_carry_the_exponent_of_each_plant_and_growth():
    plants = lay(box(), "south")[3]
    table = kind(shape=POWER, profile=[0.5, 0.4, 0.3])
    species = np.where(np.arange(len(plants)) % 2, "mine", ROUNDED)
    mixed = plants.assign(species=species)
    stand = stand_of(mixed, years=5, species_table=table)
    mine = species == "mine"
    assert (stand.exponent[mine] == [0.5, 0.4, 0.3]).all()
    assert np.isnan(stand.exponent[~mine]).all()
    by_shape = {shape: count.sum() for shape, count in stand.alike(2)}
    assert by_shape == {power_shape(0.3): mine.sum(), SHAPES["ellipsoid"]: (~mine).sum()}
    crowns = grow_crowns(
        mixed, species_table=table, growth=GROWTHS, plan=plan_with(growth_show_years=[5])
    )
    conform(crowns, CROWNS)
    for growth, p in zip(GROWTHS, (0.5, 0.4, 0.3), strict=True):
        of_growth = crowns.loc[crowns["growth"] == growth]
        power = of_growth["shape"] == POWER
        assert (of_growth["profile_exponent"][power] == p).all()
        assert of_growth["profile_exponent"][~power].isna().all()
        assert power.sum() == mine.sum()
