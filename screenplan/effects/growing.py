"""When crowns meet a thing, and the first year in which something holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.planting.footprints import crown_areas
from screenplan.planting.stand import Stand

#: Things closer than this touch: the precision to which a stake is set.
TOUCH_M = 0.005


@dataclass(frozen=True)
class Meeting:
    """Where the crowns of plants meet a thing in plan.

    Parameters
    ----------
    away : ndarray, (plants,)
        Distance from the stem to the thing, metres; of a box that meets it to what it meets.
    reach : ndarray, (plants, growths, years)
        How far the crown reaches towards that, metres.
    holds : ndarray of bool, (plants, growths, years)
        Whether the crown covers some of the thing, touching apart.
    """

    away: np.ndarray
    reach: np.ndarray
    holds: np.ndarray


def meet(stand: Stand, shape, slack_m: float = 0.0) -> Meeting:
    """Find when crowns meet a thing in plan: round ones by distance, boxes by their outline.

    Parameters
    ----------
    stand : Stand
    shape : Geometry
        The thing.
    slack_m : float
        A crown that reaches so far into the thing only touches it, metres.
    """
    away = shapely.distance(stand.points, shape)
    reach = stand.radius.copy()
    holds = stand.radius > away[:, None, None] + slack_m
    near = away < stand.farthest.max(axis=(1, 2), initial=0.0)
    for plant in np.flatnonzero(stand.box):
        holds[plant] = False
        if not near[plant]:
            continue
        away[plant], reach[plant], holds[plant] = _meet_box(
            stand.points[plant], stand.way[plant], stand.radius[plant], stand.across[plant],
            shape, slack_m,
        )  # fmt: skip
    return Meeting(away, reach, holds)


def _meet_box(stem, way, along, across, shape, slack_m: float):
    """Give distance, reach and years of one box; see `meet`."""
    half = np.stack([along.ravel(), across.ravel()], axis=1)
    sizes, which = np.unique(half, axis=0, return_inverse=True)
    inner = np.maximum(sizes - slack_m, 0.0)
    boxes = crown_areas(
        np.full(len(sizes), stem, object), inner[:, 0], inner[:, 1], np.ones(len(sizes), bool),
        np.tile(way, (len(sizes), 1)),
    )  # fmt: skip
    met = shapely.intersects(boxes, shape)
    holds = met[which].reshape(along.shape)
    away = float(shapely.distance(stem, shape))
    widest = int(np.argmax(sizes.sum(axis=1)))
    if not met[widest]:
        return away, across, holds
    first = shapely.shortest_line(stem, shapely.intersection(boxes[widest], shape))
    u = np.diff(shapely.get_coordinates(first), axis=0)[0]
    length = float(np.hypot(*u))
    if length == 0.0:
        return 0.0, across, holds
    ahead, aside = abs(u @ way) / length, abs(u[1] * way[0] - u[0] * way[1]) / length
    with np.errstate(divide="ignore"):
        reach = np.minimum(
            along / ahead if ahead > 0.0 else np.inf, across / aside if aside > 0.0 else np.inf
        )
    return length, reach, holds


def first_years(holds) -> dict[str, int | None]:
    """First year in which something holds, by growth, under the names of the columns.

    Parameters
    ----------
    holds : ndarray of bool, (growths, years)
        Low, typical, high growth.

    Returns
    -------
    dict
        ``year_low``, ``year``, ``year_high``; None where it never does.
    """
    found = [int(row.argmax()) if row.any() else None for row in np.asarray(holds, bool)]
    return dict(zip(("year_low", "year", "year_high"), found, strict=True))


def earliest(years: Mapping[str, int | None]) -> int | None:
    """Earliest of the years of all growths."""
    there = [year for year in years.values() if year is not None]
    return min(there) if there else None
