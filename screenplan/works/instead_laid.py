"""What is laid to be compared with planting: a fence, a wall, a trellis, an awning, or the place moved.

Each is laid as an obstacle that does not grow, or the place is laid elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
import shapely.affinity

from screenplan.contracts.tables import has_rows
from screenplan.ground.errors import InputError, refuse
from screenplan.plan.instead import Instead
from screenplan.site.compass import bearing_deg, compass_name
from screenplan.site.overlay import without
from screenplan.site.ownership import subject_outline
from screenplan.views.obstacles import AWNING
from screenplan.views.sight import Sight
from screenplan.views.timeline import Timelines
from screenplan.works.boundary_screens import UPRIGHT, Allowed, lay_upright, with_screens

#: The place is tried on at most so many spots, an even choice of them.
MOST_SPOTS = 40
#: A moved place keeps so far from buildings and from planting lines, metres (custom, no source).
CLEAR_M = 1.0
#: What to ask before building, by what is built (common practice, no source).
ASK = {
    "fence": "Have buried lines located before posts are dug in",
    "wall": "A wall needs a footing below the frost that stands up to wind: ask a licensed builder, and have buried lines located first",
    "trellis": "Have buried lines located before posts are dug in, which must hold in the wind",
    "awning": "What holds it must stand up to wind and snow, and it takes sun: ask whether it needs a permit",
}


@dataclass(frozen=True)
class Case:
    """One thing that is compared: the layers with it, the rows of screens that it is, and what is said of it."""

    option: str
    layers: Mapping[str, Any]
    height_m: float | None = None
    length_m: float | None = None
    area_m2: float | None = None
    says: tuple[str, ...] = ()
    screens: gpd.GeoDataFrame | None = None


@dataclass(frozen=True)
class Seen:
    """A sight with its rays followed: whether each view is open on the first day without plants, and later with them."""

    sight: Sight
    told: Timelines
    first: dict[str, bool]
    later: dict[str, bool]


def lay_cases(
    layers: Mapping[str, Any],
    asked: Instead,
    allowed: Allowed,
    today: Seen,
    look: Callable[[Mapping[str, Any]], Seen],
) -> Iterator[Case]:
    """Lay what the plan names, one after the other.

    Parameters
    ----------
    layers : mapping
        Those of `screenplan.works.compare_instead`.
    asked : Instead
    allowed : Allowed
    today : Seen
        How things are.
    look : callable
        Follows the rays of other layers.

    Raises
    ------
    InputError
        If there is no such side, or an awning of a depth has no house.
    """
    for option in asked.compare:
        if option in UPRIGHT:
            yield _along_boundary(option, layers, asked, allowed)
        elif option == "awning":
            yield _awning(layers, asked)
        else:
            yield _moved(layers, asked, today, look)


def _along_boundary(option: str, layers, asked: Instead, allowed: Allowed) -> Case:
    laid = lay_upright(option, layers, asked, allowed)
    screens = laid.screens
    return Case(
        option, with_screens(layers, screens), float(screens["height_m"].max()) if len(screens) else 0.0,
        float(screens.length.sum()), None, (*laid.says, ASK[option]), screens,
    )  # fmt: skip


def _awning(layers, asked: Instead) -> Case:
    """Lay a level sheet over each place, or over the strip of it that is next to a house."""
    places = layers["private_places"]
    shapes = [shape for shape in places.geometry.to_numpy() if shape.area > 0.0]
    where = "over the whole place"
    if asked.awning_depth is not None:
        if not has_rows(layers.get("buildings")):
            raise refuse(
                "an awning reaches out from a house, and there is none",
                "Leave the depth out, so that it covers the whole place, or give buildings",
                key=Instead.key("awning_depth"),
            )
        houses = shapely.union_all(layers["buildings"].geometry.to_numpy())
        reach = shapely.buffer(houses, asked.awning_depth)
        shapes = [shapely.intersection(shape, reach) for shape in shapes]
        where = f"{{{asked.awning_depth:.2f} m}} out from the house"
    shapes = [
        part
        for shape in shapes
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area > 0.0
    ]
    screens = gpd.GeoDataFrame(
        {
            "screen_id": [f"awning {number}" for number in range(1, len(shapes) + 1)],
            "kind": [AWNING] * len(shapes), "height_m": asked.awning_height, "opacity": 1.0,
        },
        geometry=shapes, crs=places.crs,
    )  # fmt: skip
    says = f"{{{asked.awning_height:.2f} m}} up, {where}" if shapes else "No place lies within its reach"  # fmt: skip
    return Case(
        "awning", with_screens(layers, screens), asked.awning_height, None,
        float(sum(shape.area for shape in shapes)), (f"{says}; its sides stay open", ASK["awning"]), screens,
    )  # fmt: skip


def _moved(layers, asked: Instead, today: Seen, look) -> Case:
    """Lay the place that most look at on other spots of the parcel, and take the one on which fewest do."""
    places = layers["private_places"].reset_index(drop=True)
    open_rays = np.bincount(
        today.sight.pairs[:, 1], weights=today.told.now * today.told.rays, minlength=len(places)
    )
    row = int(open_rays.argmax()) if len(places) else 0
    spots = _spots(layers, places, row, asked.move_step)
    best, tried = None, 0
    for dx, dy in spots:
        shapes = places.geometry.to_numpy().copy()
        shapes[row] = shapely.affinity.translate(shapes[row], dx, dy)
        mine = {**layers, "private_places": places.set_geometry(shapes, crs=places.crs)}
        try:
            seen = look(mine)
        except InputError:  # somebody would stand in the place
            continue
        tried += 1
        worth = (
            sum(seen.first.values()),
            round(float(seen.told.now.sum()), 6),
            float(np.hypot(dx, dy)),
        )
        if best is None or worth < best[0]:
            best = (worth, dx, dy, mine)
    name = places["place_id"].astype(str).iloc[row] if len(places) else ""
    if best is None:
        return Case("place_moved", layers, says=(f"{name}: the parcel has no other room for it",))
    (_, dx, dy, mine) = best
    way = compass_name(float(bearing_deg(dx, dy)))
    return Case(
        "place_moved", mine,
        says=(f"{name} {{{float(np.hypot(dx, dy)):.1f} m}} to the {way}, the best of {tried} spots",),
    )  # fmt: skip


def _spots(layers, places, row: int, step_m: float) -> list[tuple[float, float]]:
    """Give ways to move a place so that it lies within the parcel, off buildings, plants and other places."""
    room = subject_outline(layers["parcels"])
    taken = [shapely.buffer(line, CLEAR_M) for line in layers["planting_lines"].geometry]
    if has_rows(layers.get("buildings")):
        taken += [shapely.buffer(shape, CLEAR_M) for shape in layers["buildings"].geometry]
    taken += [shape for number, shape in enumerate(places.geometry) if number != row]
    room = without(room, shapely.union_all(taken))
    place = places.geometry.iloc[row]
    west, south, east, north = (shapely.bounds(room) - shapely.bounds(place)) / step_m
    ways = [
        (i * step_m, j * step_m)
        for i in range(int(np.ceil(west)), int(np.floor(east)) + 1)
        for j in range(int(np.ceil(south)), int(np.floor(north)) + 1)
        if (i, j) != (0, 0)
    ] if not shapely.is_empty(room) else []  # fmt: skip
    shapely.prepare(room)
    fits = [way for way in ways if shapely.contains(room, shapely.affinity.translate(place, *way))]
    return fits[:: -(-len(fits) // MOST_SPOTS) or 1]
