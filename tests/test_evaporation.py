"""Water that the air takes by month: a published example, another library, and what follows from the formula."""

import numpy as np
import pytest

from screenplan.rules.limits import MONTH_DAYS
from screenplan.works.evaporation import (
    HOT_C,
    MM_PER_MJ,
    day_hours,
    evaporated_by_range_mm,
    evaporated_mm,
    radiation_mj,
    shares_of_peak,
)

#: Richmond Hill, 43.87° N: temperatures, water of a month of 30 days of 12 hours, and of the months as they are, mm.
RICHMOND_LATITUDE = 43.87
RICHMOND_C = (-6.2, -4.9, -0.3, 6.9, 13.3, 18.7, 21.4, 20.3, 15.9, 9.1, 3.1, -2.7)
RICHMOND_EVEN = (0.0, 0.0, 0.0, 29.91, 62.44, 91.50, 106.44, 100.33, 76.28, 40.80, 12.19, 0.0)
RICHMOND_MM = (0.0, 0.0, 0.0, 33.1, 78.3, 116.4, 136.9, 119.3, 78.7, 38.1, 9.6, 0.0)
#: The page rounds two figures of the exponent, and takes the sun of one day of each month.
PUBLISHED_SHARE = 0.02
#: Aberdeen, 57.1526° N, in 2014.
ABERDEEN_LATITUDE = 57.1526
ABERDEEN_C = (3.1, 3.5, 5.0, 6.7, 9.3, 12.1, 14.3, 14.1, 11.8, 8.9, 5.5, 3.8)
ABERDEEN_HOURS = (
    7.182842574993897, 9.13512841264262, 11.523002734356053, 14.035348256722466, 16.277003584884323, 17.505213218539176,
    16.891449464611544, 14.861767363416547, 12.394150156712453, 9.88498386070613, 7.658250142104072, 6.489516585536734,
)  # fmt: skip
ABERDEEN_MM = (
    11.04590543317501, 14.225860424373405, 27.802870598091953, 43.178869424774305, 70.47694909766452, 93.99420906995957,
    109.69881616481408, 95.24491684988213, 64.9945211942068, 41.06371810827504, 19.562094545836995, 12.090183352107148,
)  # fmt: skip
LIBRARY_SHARE = 1e-6
#: Lowest and highest temperatures of a cool place (made up), and by another library the water that a day of each month
#: takes there at 43.87° north and south, mm.
LOWEST_C = (-10.3, -9.3, -4.8, 1.6, 7.4, 12.8, 15.6, 14.7, 10.5, 4.3, -0.7, -6.3)
HIGHEST_C = (-2.1, -0.9, 4.2, 12.0, 19.3, 24.4, 27.1, 25.9, 21.1, 14.0, 6.9, 0.8)
RANGE_NORTH_MM = (
    0.392257, 0.609817, 1.2394, 2.466404, 3.936459, 4.842691, 5.03527, 4.248913, 2.878646, 1.571267, 0.742591, 0.417571,
)  # fmt: skip
RANGE_SOUTH_MM = (
    1.301752, 1.255209, 1.399343, 1.477502, 1.352973, 1.23832, 1.490821, 2.070464, 2.607972, 2.679619, 2.197741, 1.635163,
)  # fmt: skip
#: That library takes the heat of evaporation by temperature, MJ a millimetre, where the paper takes one of all.
HEAT_MJ, HEAT_MJ_PER_C = 2.501, -0.002361
RANGE_SHARE = 1e-3
#: MJ by which the paper's examples are rounded.
RADIATION_MJ = 0.05
#: Millimetres of a month by which the drawn curve and the formula are apart where they meet, 135 mm: both are fits.
MEETING_MM = 2.0


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Water that the air takes in each month of Richmond Hill, before and after day length and days",
    source="Sustainable Technologies Evaluation Program, wiki, Evapotranspiration (Thornthwaite and Mather), example",
    status="read",
    tolerance=f"{PUBLISHED_SHARE:.0%}",
)
def test_a_published_example():
    even = evaporated_mm(RICHMOND_C) * 30.0
    assert even == pytest.approx(RICHMOND_EVEN, rel=PUBLISHED_SHARE)
    months = evaporated_mm(RICHMOND_C, day_hours(RICHMOND_LATITUDE)) * MONTH_DAYS
    assert months == pytest.approx(RICHMOND_MM, rel=PUBLISHED_SHARE)


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Day lengths, and water that the air takes in each month of Aberdeen in 2014",
    source="pyeto, manual, Thornthwaite equation",
    status="read",
    tolerance=f"{LIBRARY_SHARE:g} of a value",
)
def test_another_librarys_example():
    hours = day_hours(ABERDEEN_LATITUDE)
    assert hours == pytest.approx(ABERDEEN_HOURS, rel=LIBRARY_SHARE)
    months = evaporated_mm(ABERDEEN_C, hours) * MONTH_DAYS
    assert months == pytest.approx(ABERDEEN_MM, rel=LIBRARY_SHARE)


@pytest.mark.parametrize("latitude", [0.0, 20.0, 50.0, 66.0, 80.0])
def test_days_of_both_halves_of_the_earth_make_24_hours(latitude):
    # Identity: what is day in the north is night in the south.
    assert day_hours(latitude) + day_hours(-latitude) == pytest.approx(24.0)


@pytest.mark.parametrize("mean", [0.0, -0.1, -30.0])
def test_a_month_at_0_degrees_or_below_takes_nothing(mean):
    shares = shares_of_peak([mean, *[18.0] * 11], 40.0)
    assert shares[0] == 0.0
    assert (shares[1:] > 0.0).all()
    assert (shares_of_peak([mean] * 12, 40.0) == 0.0).all()


@pytest.mark.parametrize("mean", [0.5, 12.0, 26.4, 26.5, 33.0])
def test_months_of_one_temperature_are_equal_up_to_day_length(mean):
    assert shares_of_peak([mean] * 12, None) == pytest.approx(1.0)
    hours = day_hours(45.0)
    assert shares_of_peak([mean] * 12, 45.0) == pytest.approx(hours / hours.max())


def test_more_warmth_never_takes_less_water():
    # Property, with the other months as they are: also across the place where the curve begins, and above its top.
    means = np.linspace(-5.0, 45.0, 200)
    taken = [evaporated_mm([*RICHMOND_C[:6], mean, *RICHMOND_C[7:]])[6] for mean in means]
    assert (np.diff(taken) >= -MEETING_MM / 30.0).all()
    for index in (10.0, 20.0, 26.4):
        # Wherever the other months are, formula and curve meet.
        below, above = (
            evaporated_mm([*[index] * 11, hot])[11] * 30.0 for hot in (HOT_C - 1e-9, HOT_C)
        )
        assert below == pytest.approx(above, abs=MEETING_MM)


@pytest.mark.parametrize(("latitude", "day", "published"), [(-20.0, 246, 32.2), (45.72, 196, 40.6)])
@pytest.mark.evidence(
    part="Planting work", kind="published", status="second-hand", tolerance=f"{RADIATION_MJ} MJ",
    against="The sun's radiation above the air at 20° south on 3 September, and at Lyon on 15 July",
    source="FAO Irrigation and Drainage Paper 56, examples 8 and 20, in the tests of a library that quotes them",
)  # fmt: skip
def test_the_sun_above_the_air_by_the_examples_of_the_paper(latitude, day, published):
    assert radiation_mj(latitude, np.array([day]))[0] == pytest.approx(published, abs=RADIATION_MJ)


@pytest.mark.evidence(
    part="Planting work",
    kind="other software",
    against="Water that a day of each month takes by its lowest and highest temperatures, north and south",
    source="pyet 1.5.0, hargreaves, run day by day with the same months and its own heat of evaporation",
    status="run",
    tolerance=f"{RANGE_SHARE:g} of a value",
)
@pytest.mark.parametrize(
    ("latitude", "published"), [(43.87, RANGE_NORTH_MM), (-43.87, RANGE_SOUTH_MM)]
)
def test_another_library_with_lowest_and_highest_temperatures(latitude, published):
    found = evaporated_by_range_mm(LOWEST_C, HIGHEST_C, latitude)
    heat = HEAT_MJ + HEAT_MJ_PER_C * (np.array(LOWEST_C) + np.array(HIGHEST_C)) / 2.0
    assert found / MM_PER_MJ / heat == pytest.approx(published, rel=RANGE_SHARE)


def test_lowest_and_highest_temperatures_take_the_place_of_the_mean_where_the_latitude_is_known():
    means = [(low + high) / 2.0 for low, high in zip(LOWEST_C, HIGHEST_C, strict=True)]
    shares = shares_of_peak(means, 43.87, LOWEST_C, HIGHEST_C)
    taken = evaporated_by_range_mm(LOWEST_C, HIGHEST_C, 43.87)
    assert shares == pytest.approx(taken / taken.max())
    assert shares.max() == 1.0
    by_mean = shares_of_peak(means, None)
    assert shares_of_peak(means, None, LOWEST_C, HIGHEST_C).tolist() == by_mean.tolist()
    assert np.abs(shares - shares_of_peak(means, 43.87)).max() > 0.01


@pytest.mark.parametrize("latitude", [-90.0, -66.6, 0.0, 51.5, 90.0])
def test_no_place_has_a_day_of_less_than_no_sun(latitude):
    assert (radiation_mj(latitude, np.arange(1, 366)) >= 0.0).all()
    assert (evaporated_by_range_mm([-60] * 12, [-40] * 12, latitude) == 0.0).all()
