"""What is seen of a parcel, as arrays: the years in which its views close, and how tall its rows must be.

The rays are those of the steps ``needed`` and ``views`` of a plan, laid and followed once, and by the same functions;
what only drawings and sheets need, such as where the last open rays pass, is not worked out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from screenplan.contracts.tables import texts
from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.site.terrain import Terrain
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.crossing import PlanLines
from screenplan.views.needed_height import cross_rays, joined, most_needed
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Scene, follow_each, sum_each, years_closed
from screenplan.views.together import Rays


@dataclass(frozen=True, eq=False)
class Seen:
    """The views of a parcel, and what its planting lines must be.

    Parameters
    ----------
    sight : Sight
        Who looks at what; views are its pairs.
    rays : ndarray of int, (views,)
        Rays that pass the opening; a view without any is none.
    open_now : ndarray, (views,)
        Open share on the day of planting.
    year_closed : ndarray, (views,)
        First year from which it stays closed at typical growth; infinite if it does not in the years looked at.
    is_open : ndarray of bool, (views,)
        Whether it is a view that is open on the day of planting.
    needed_m : dict of str to float
        By planting line, the greatest height that it must have.
    """

    sight: Sight
    rays: np.ndarray
    open_now: np.ndarray
    year_closed: np.ndarray
    is_open: np.ndarray
    needed_m: dict[str, float]

    @property
    def windows(self) -> np.ndarray:
        """The window of each view, by its number, (views,)."""
        return self.sight.pairs[:, 0]

    @property
    def lines(self) -> np.ndarray:
        """Straight lines from the windows to the middles of all heads in the places, (views,).

        A middle that hangs on the outline alone, for a drawing, may jump where a corner moves by a hair.
        """
        observer, place = self.sight.pairs.T
        heads = self.sight.targets.coarse
        sums = np.add.reduceat(heads.xyz[:, :2], heads.first[:-1]) if len(place) else np.zeros((0, 2))  # fmt: skip
        ends = [self.sight.observers.middle[observer], (sums / heads.counts[:, None])[place]]
        return shapely.linestrings(np.stack(ends, axis=1).reshape(-1, 2, 2))


def see(
    layers: Mapping[str, Any],
    plan: Options,
    terrain: Terrain,
    species_table: Mapping[str, Species],
) -> Seen:
    """Lay the sight of a parcel and follow it.

    Parameters
    ----------
    layers : mapping
        As the steps ``needed`` and ``views`` take them.
    plan : Options
        Of it [growth] and [views].
    terrain : Terrain
    species_table : mapping

    Raises
    ------
    InputError
        By row as those steps say.
    """
    sight = sight_of(layers, plan.views, terrain, None)
    years, threshold = plan.growth.years, plan.views.threshold
    stand = planned_stand(layers["plants"], plan, species_table, years)
    stand = stand.in_years(years_to_rest(stand))
    crowns = crowns_of(stand)
    scene = Scene(
        sight.obstacles,
        runs_of(stand, crowns),
        crowns,
        threshold if plan.views.leaves == "translucent" else None,
    )
    portions = list(follow_each(sight.ends(), scene))
    told = sum_each(portions, scene, (0, len(sight.pairs)))
    lines = layers["planting_lines"]
    shapes = lines.geometry.to_numpy()
    corners = PlanLines.of([shapely.get_coordinates(line) for line in shapes])
    met = joined(
        cross_rays(Rays(some.view, some.origin, some.target), some.light, corners, terrain)
        for some in portions
    )
    tall = most_needed(shapely.length(shapes), met, plan.views)
    needed = dict(zip(texts(lines, "line_id"), tall.tolist(), strict=True))
    closed = years_closed(told.open[:, TYPICAL].max(axis=1), threshold, years)
    seen = told.rays > 0
    return Seen(
        sight, told.rays, told.now, np.where(seen, closed, np.inf), seen & (told.now > threshold), needed,
    )  # fmt: skip
