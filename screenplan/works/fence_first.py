"""One sentence for a plan without [instead]: what a fence would close on the first day.

The fence is laid as `screenplan.works.instead_laid` lays it where the plan asks for it, and the rays that are open
today meet it; no plant is followed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from screenplan.contracts.instead import CLOSES_MOST
from screenplan.contracts.model import LOT
from screenplan.contracts.tables import has_rows
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.rules.limit_kinds import Limit
from screenplan.site.terrain import Terrain
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.sight import Sight, sight_of
from screenplan.works.boundary_screens import lay_upright, what_is_allowed


def fence_first(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    limits: Mapping[str, Limit] | None = None,
    kept: Kept | None = None,
) -> str | None:
    """Say how many of the open views a fence of the allowed height closes on the first day.

    Parameters
    ----------
    layers : mapping
        Those of `screenplan.works.compare_instead`.
    plan : Options, optional
        What views go by.
    terrain, limits : optional
        By default level ground at 0, and the shipped limits.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    str or None
        None if the plan says something in [instead], if there is no boundary or no fence has room on it, and if it
        closes no view. None of a street, for which nothing is compared.
    """
    asked, sides = plan.instead, layers.get("sides")
    if asked != DEFAULTS.instead or not has_rows(sides) or LOT.name in sides.columns:
        return None
    laid = lay_upright("fence", layers, asked, what_is_allowed(layers, plan, limits))
    sight = sight_of(layers, plan.views, terrain, kept)
    before, after = _open_shares(sight, laid.screens)
    opens = before > plan.views.threshold
    closes = int((opens & (after <= plan.views.threshold)).sum())
    if not closes:
        return None
    views = int(opens.sum())
    many = f"closes {closes} of {views} open views" if 2 * closes <= views else CLOSES_MOST
    of = f", {closes} of {views}" if 2 * closes > views else ""
    return (
        f"A fence alone {many} on the first day{of}: one as tall as the published code {asked.code} allows, "
        f"{laid.along}. Ask your own code. "
        'In the plan: instead.compare = ["fence"]'
    )


def _open_shares(sight: Sight, screens) -> tuple[np.ndarray, np.ndarray]:
    """Give the open share of each view today, and with more screens, (views,) each."""
    more = lay_obstacles(None, screens, sight.ground, sight.within)
    views = len(sight.pairs)
    rays, before, after = np.zeros(views), np.zeros(views), np.zeros(views)
    for some, light in sight.lit():
        left = light * more.light_left(some.origin, some.target)[0]
        rays += np.bincount(some.view, minlength=views)
        before += np.bincount(some.view, light, views)
        after += np.bincount(some.view, left, views)
    rays = np.maximum(rays, 1.0)
    return before / rays, after / rays
