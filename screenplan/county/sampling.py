"""How closely the views of a parcel of a county are looked at: as many rays as are allowed, no more."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd

from screenplan.plan import Options
from screenplan.views.sampling import FEWEST_POSITIONS, MOST_TARGETS

#: Eyes, and heads in a place, are seated and standing.
HEIGHTS = 2
#: The distance between targets is raised in steps of this, so that it can be written, metres.
STEP_M = 0.25
#: The widest distance that a plan may say, metres.
WIDEST_M = 20.0


@dataclass(frozen=True)
class Sampling:
    """The two keys of [views] by which the number of rays goes.

    Parameters
    ----------
    target_spacing_m : float
        Distance between the points of a place that are looked at.
    eyes_across : int
        Eye positions over the width of a window.
    """

    target_spacing_m: float
    eyes_across: int

    def put_into(self, plan: Options) -> Options:
        """Give a plan that looks so closely."""
        views = plan.views.model_copy(
            update={"target_spacing": self.target_spacing_m, "eyes_across": self.eyes_across}
        )
        return plan.model_copy(update={"views": views})


def sampling_for(plan: Options, windows: gpd.GeoDataFrame, places: gpd.GeoDataFrame) -> Sampling:
    """Choose how closely a parcel is looked at, by its windows and the size of its places.

    The rays are counted as if every window saw every position; fewer pass the openings. Where the plan's own sampling
    is too many, one eye position is left over the width of a window, and the grid over the places is widened.

    Parameters
    ----------
    plan : Options
        Of it [views] and the rays of [county].
    windows, places : GeoDataFrame
        By their contracts, in local-frame metres.
    """
    full = Sampling(plan.views.target_spacing, plan.views.eyes_across)
    most, areas = plan.county.rays, places.geometry.area.to_numpy(float)
    if not most or _rays(full, len(windows), areas) <= most:
        return full
    found = Sampling(full.target_spacing_m, 1)
    while _rays(found, len(windows), areas) > most and found.target_spacing_m < WIDEST_M:
        steps = math.floor(found.target_spacing_m / STEP_M) + 1
        found = Sampling(min(steps * STEP_M, WIDEST_M), 1)
    return found


def _rays(sampling: Sampling, windows: int, areas) -> float:
    positions = sum(
        min(max(area / sampling.target_spacing_m**2, FEWEST_POSITIONS), MOST_TARGETS)
        for area in areas
    )
    return windows * sampling.eyes_across * HEIGHTS * positions * HEIGHTS
