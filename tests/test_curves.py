"""The laws of height, width and profile: closed forms, inverses, and that scenarios never cross."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screenplan.ground.errors import InputError
from screenplan.planting.curves import (
    HeightCurve,
    WidthLaw,
    crown_volume,
    height_at,
    radius_at,
    scenario,
    width_at,
    years_to,
)

ROUNDING = 1e-9
curves = st.builds(
    HeightCurve,
    st.floats(2.0, 40.0),
    st.floats(0.005, 0.3),
    st.sampled_from([0.0, 1.0, 1.25, 2.0, 2.5]),
)


def test_chapman_and_richards_from_seed():
    """Closed form: from next to nothing the curve is A (1 - exp(-k t))^m."""
    curve = HeightCurve(20.0, 0.05, 2.0)
    t = np.array([5.0, 20.0, 60.0])
    assert height_at(curve, t, 1e-12) == pytest.approx(
        20.0 * (1 - np.exp(-0.05 * t)) ** 2, rel=1e-5
    )


@given(curves, st.floats(0.1, 1.9), st.floats(0.5, 60.0))
def test_years_to_is_the_inverse_of_height(curve, start, years):
    height = height_at(curve, years, start)
    if height < 0.999 * curve.asymptote_m:
        assert years_to(curve, height, start) == pytest.approx(years, rel=1e-6)


@given(curves, st.floats(0.1, 1.9), st.floats(0.01, 1.0))
def test_a_faster_plant_is_never_behind(curve, start, spread):
    """Invariant: with one exponent and one start, curves of different spread do not cross."""
    t = np.linspace(0.0, 80.0, 41)
    slow, usual, fast = (
        height_at(scenario(curve, side * spread), t, start) for side in (-1.0, 0.0, 1.0)
    )
    assert np.all(slow <= usual + ROUNDING)
    assert np.all(usual <= fast + ROUNDING)


@given(curves, st.floats(0.1, 60.0))
def test_a_plant_never_shrinks(curve, start):
    grown = height_at(curve, np.linspace(0.0, 50.0, 26), start)
    assert grown[0] == pytest.approx(start)
    assert np.all(np.diff(grown) >= -ROUNDING)
    if start >= curve.asymptote_m:
        assert np.all(grown == start)


def test_a_later_start_on_the_curve_is_the_same_curve():
    """Invariant: the age at the stock's height is not counted twice."""
    curve = HeightCurve(15.0, 0.06, 1.5)
    at_four = float(height_at(curve, 4.0, 0.5))
    assert height_at(curve, 6.0, at_four) == pytest.approx(float(height_at(curve, 10.0, 0.5)))


def test_the_share_of_the_width_falls():
    h = np.array([1.0, 2.0, 4.0, 8.0, 30.0])
    widths = width_at(WidthLaw(0.9, 0.8, 4.0), h)
    assert np.all(np.diff(widths / h) < 0)
    assert widths[-1] == 4.0


@given(st.floats(0.0, 1.0))
def test_the_volume_is_the_integral_of_the_profile(exponent):
    z = np.linspace(1.0, 5.0, 20_001)
    area = np.pi * radius_at(z, 5.0, 1.0, 3.0, exponent) ** 2
    assert crown_volume(5.0, 1.0, 3.0, exponent) == pytest.approx(np.trapezoid(area, z), rel=1e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: HeightCurve(0.0, 0.1, 1.0), "asymptote and a rate above 0"),
        (lambda: HeightCurve(1.0, 0.1, float("nan")), "asymptote and a rate above 0"),
        (lambda: WidthLaw(1.0, 1.1, 3.0), "exponent above 0 and up to 1"),
        (lambda: height_at(HeightCurve(9.0, 0.1, 1.0), -1.0, 1.0), "years of 0 or more"),
        (lambda: height_at(HeightCurve(9.0, 0.1, 1.0), 1.0, 0.0), "height above 0"),
        (lambda: years_to(HeightCurve(9.0, 0.1, 1.0), 2.0, 0.0), "height above 0"),
        (lambda: width_at(WidthLaw(1.0, 0.5, 3.0), -1.0), "heights of 0 or more"),
        (lambda: radius_at(1.0, 2.0, 0.0, 1.0, 1.5), "0.5 for a paraboloid"),
    ],
)
def test_what_no_plant_has_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
