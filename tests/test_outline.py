"""Parcels from courses and corners."""

import math

import numpy as np
import pytest

from screenplan.ground.errors import InputError
from screenplan.site.outline import outline_of, read_bearing, walk_traverse


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        # Closed form: quadrant bearings to azimuths, degrees + minutes/60 + seconds/3600.
        ("N 45°30'00\" E", 45.5), ("S 12 W", 192.0), ("312.5", 312.5), ("n45e", 45.0), ("S 0 E", 180.0),
        ("N 45-30-15 W", 360 - (45 + 30 / 60 + 15 / 3600)), ("S 89d59m E", 180 - (89 + 59 / 60)), ("360", 0.0),
    ],
)  # fmt: skip
def test_bearings(text, degrees):
    assert read_bearing(text) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize(("text", "message"), [("N 95 E", "turns more than a quadrant"), ("left", "is not a bearing"),
                                               ("400", "more than 360"), ("N 10°75' E", "minutes and seconds below 60")])  # fmt: skip
def test_what_is_no_bearing_is_refused(text, message):
    with pytest.raises(InputError, match=message) as refusal:
        read_bearing(text, file="deed.csv", row=3)
    assert "deed.csv, row 3" in str(refusal.value)


def test_a_closed_rectangle_stays_as_it_is():
    # Closed form: 30 m by 20 m.
    traverse = walk_traverse([90, 0, 270, 180], [30, 20, 30, 20])
    assert traverse.misclosure_m == pytest.approx(0, abs=1e-12)
    assert outline_of(traverse.points).area == pytest.approx(600, abs=1e-9)


def test_the_compass_rule_shares_out_the_misclosure_by_length():
    # Closed form: the third course is 0.1 m too long, so after k courses the correction is
    # 0.1 m to the east times (length so far / 100.1).
    traverse = walk_traverse([90, 0, 270, 180], [30, 20, 30.1, 20])
    assert traverse.misclosure_m == pytest.approx(0.1, abs=1e-12)
    along = np.array([0, 30, 50, 80.1])
    raw_east = np.array([0, 30, 30, -0.1])
    assert traverse.points[:, 0] == pytest.approx(raw_east + 0.1 * along / 100.1, abs=1e-12)


@pytest.mark.parametrize(
    ("bearings", "distances", "message"),
    [
        ([90, 0], [10, 10], "at least three courses"),
        ([90, 0, 270, 180], [30, 20, 30, -20], "a distance is not above 0"),
        ([90, 0, 270], [30, 20, 30], "the courses end 20.00 m from where they began"),
        ([90, 225, 90, 315], [10, 10 * math.sqrt(2), 10, 10 * math.sqrt(2)], "the outline is no parcel"),
    ],
)  # fmt: skip
def test_courses_that_make_no_parcel_are_refused(bearings, distances, message):
    with pytest.raises(InputError, match=message):
        walk_traverse(bearings, distances)


def test_corners_that_make_no_parcel_are_refused():
    with pytest.raises(InputError, match="at least three corners"):
        outline_of([(0, 0), (1, 1), (0, 0)])
    with pytest.raises(InputError, match="Self-intersection"):
        outline_of([(0, 0), (2, 2), (2, 0), (0, 2)])


def test_corners_in_degrees_are_not_taken_for_one_point():
    # A first and a last corner 0.0004 degrees (44 m) apart are two corners.
    outline = outline_of([(-93.1, 45.0), (-93.0995, 45.0), (-93.0995, 45.0004), (-93.1, 45.0004)])
    assert len(outline.exterior.coords) == 5
