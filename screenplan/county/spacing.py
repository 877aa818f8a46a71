"""How closely the views of a parcel of a county are looked at: as many rays as are allowed, no more.

The grid over the places is widened, and the eyes behind the windows stay: of few eyes across a window none sees a
place at a slant, so that views are missed altogether, and no denser grid brings them back (measured on lots of a
suburb; the bench of the county prints it).
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from screenplan.plan import Options
from screenplan.site.lots import Many
from screenplan.views.positions import FEWEST_POSITIONS
from screenplan.views.sampling import MOST_TARGETS

#: What the wider grid leaves out, as `tests.benchmarks.county` measured it: every 57th lot of a suburb, 2,332 open views.
MEASURED = (
    "with 20,000 rays a parcel 6 of 100 open views of 30 suburban lots were told otherwise by year 10 than with "
    "the rays of a plan of one parcel"
)
#: Eyes, and heads in a place, are seated and standing.
HEIGHTS = 2
#: The distance between targets is raised in steps of this, so that it can be written, metres.
STEP_M = 0.25
#: The widest distance that a plan may say, metres.
WIDEST_M = 20.0


def spacing_for_each(plan: Options, windows: Many, places: Many) -> np.ndarray:
    """Choose for each lot the distance between the points of its places that are looked at, metres, (lots,).

    The rays are counted as if every window saw every position; fewer pass the openings.

    Parameters
    ----------
    plan : Options
        Of it [views] and the rays of [county].
    windows, places : Many
        By their contracts, in local-frame metres.
    """
    most = plan.county.rays or math.inf
    spacing = np.full(places.lots, plan.views.target_spacing)
    eyes = windows.count * plan.views.eyes_across * HEIGHTS
    areas = shapely.area(places.shapes)
    while True:
        rays = rays_at(spacing, eyes, areas, places.lot)
        wider = (rays > most) & (spacing < WIDEST_M)
        if not wider.any():
            return spacing
        steps = np.floor(spacing[wider] / STEP_M) + 1.0
        spacing[wider] = np.minimum(steps * STEP_M, WIDEST_M)


def rays_at(
    spacing_m: np.ndarray, eyes: np.ndarray, areas: np.ndarray, lot: np.ndarray
) -> np.ndarray:
    """Count the rays from the eyes of each lot to both heights of heads in its places, (lots,).

    Parameters
    ----------
    spacing_m : ndarray, (lots,)
    eyes : ndarray of int, (lots,)
    areas : ndarray, (places,)
        In m².
    lot : ndarray of int, (places,)
        The lot of each place.
    """
    positions = np.clip(areas / spacing_m[lot] ** 2, FEWEST_POSITIONS, MOST_TARGETS)
    return eyes * np.bincount(lot, weights=positions, minlength=len(eyes)) * HEIGHTS
