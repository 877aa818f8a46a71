"""Plants that drop their leaves in a design: by hand, and against the views."""

import numpy as np
import pytest
from scipy.sparse import csr_array
from test_views import species

from screenplan.design.winter import in_parts, kept_in_winter, level_of, levels_of
from screenplan.views.opened import Rays

GREEN, HALF, THIN = (
    species(),
    species(evergreen=False, winter_share=0.5),
    species(evergreen=False, winter_share=0.2),
)


def rays(count):
    """Rays of one view, in equal parts."""
    ends = np.zeros((count, 3))
    return Rays(["w to p"], ["w"], ["p"], np.ones(1), np.zeros(count, int), np.full(count, 1.0 / count), ends, ends)  # fmt: skip


@pytest.mark.parametrize(
    ("stand", "stopped"),
    [([GREEN], 1.0), ([HALF], 0.5), ([THIN], 0.2), ([THIN, HALF], 0.5), ([THIN, HALF, GREEN], 1.0)],
)
def test_of_plants_behind_each_other_the_densest_decides(stand, stopped):
    # By hand: all stand in the way of one ray.
    levels = levels_of([GREEN, HALF, THIN])
    found, part = in_parts(rays(1), levels)
    stops = csr_array(np.ones((len(stand), len(part)), bool))
    kept = kept_in_winter(stops, level_of(stand, levels), part)
    assert found.light.sum() == pytest.approx(1.0)
    assert found.light[kept.sum(axis=0) > 0].sum() == pytest.approx(stopped)


def test_where_all_are_evergreen_rays_stay_whole():
    whole = rays(4)
    found, part = in_parts(whole, levels_of([GREEN, GREEN]))
    assert found is whole
    assert not part.any()
