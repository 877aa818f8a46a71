"""What practitioners say of such plantings, held against the plan: common practice, no source."""

import numpy as np
import pytest

from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.patterns import exact, staggered
from screenplan.planting.shapes import meeting_band
from screenplan.planting.species import load_species

#: A columnar conifer for screens, and conifers that are vigorous by what was measured on them.
COLUMNAR = "thuja_standishii_plicata"
VIGOROUS = ("pseudotsuga_menziesii", "sequoia_sempervirens")


@pytest.fixture(scope="module")
def columnar():
    return load_species()[COLUMNAR]


@pytest.fixture(scope="module", params=VIGOROUS)
def vigorous(request):
    return load_species()[request.param]


@pytest.mark.evidence(
    part="Plants and growth",
    kind="trade",
    against="Vigorous conifers add 0.6 to 0.9 m a year once rooted",
    source="Customs of the trade",
    status="common practice",
    tolerance="within the range: Douglas fir and coast redwood",
    misses="Leyland cypress adds 1.0 to 1.2 m at these ages, hybrid arborvitae 0.3 m: its figures are the forest curve of one parent",
)
def test_vigorous_conifers_add_two_to_three_feet_a_year_once_rooted(vigorous):
    # Common practice, no source: 0.6 to 0.9 m a year.
    heights = height_at(vigorous, np.arange(4, 9), stock_height_m=1.2)
    yearly = np.diff(heights)
    assert ((yearly > 0.6) & (yearly < 0.9)).all(), yearly


@pytest.mark.parametrize("spacing", [1.0, 1.8])
@pytest.mark.evidence(
    part="Plants and growth",
    kind="trade",
    against="Columnar conifers set 1 to 1.8 m apart grow into each other",
    source="Customs of the trade",
    status="common practice",
    tolerance="closed above 1.8 m by year 15",
)
def test_plants_set_closer_than_their_free_spread_grow_into_each_other(columnar, spacing):
    # Common practice, no source: columnar conifers for a screen are set 1 to 1.8 m apart.
    assert spacing < min(columnar.mature_spread_m)
    height = height_at(columnar, np.arange(21), stock_height_m=1.2)
    crown = columnar.crown("typical")
    meets = meeting_band(crown, height, spread_at(columnar, height), spacing)[1]
    assert meets[0] == 0
    assert meets[15] > 1.8


@pytest.mark.evidence(
    part="Plants and growth",
    kind="trade",
    against="The smallest stock reaches the height of a screen a few years later",
    source="Customs of the trade",
    status="common practice",
    tolerance="at most 4 years later: Douglas fir and coast redwood",
    misses="hybrid arborvitae needs 7 years more by the forest curve of one parent",
)
def test_a_small_plant_overtakes_nothing_but_needs_only_some_years_more(vigorous):
    # Common practice, no source: the smallest stock reaches the screen's height a few years later.
    years = np.arange(31)
    small, tall = (height_at(vigorous, years, stock_height_m=h) for h in (0.3, 1.8))
    assert (small <= tall).all()
    late = np.argmax(small >= 3.0) - np.argmax(tall >= 3.0)
    assert 0 < late <= 4


@pytest.mark.parametrize(
    ("length", "spacing", "count"), [(100.0, 5.0, 21), (36.5, 1.8, 21), (10.0, 3.0, 4)]
)
def test_a_row_planted_at_both_ends(length, spacing, count):
    # Arithmetic: floor(L / s) + 1, and a staggered second row one fewer.
    assert len(exact(0.0, length, spacing)) == count
    assert len(staggered(np.arange(count) * spacing)) == count - 1
