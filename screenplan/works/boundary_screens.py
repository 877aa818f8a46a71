"""A fence, a wall or a trellis along the boundary, as tall as a code allows: laid as rows of existing screens.

Nothing here says what may be built: that is the local code's.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.ground.errors import refuse
from screenplan.plan import Options
from screenplan.plan.instead import Instead
from screenplan.rules.driver_sight import SightArea, find_sight_areas, stands_in, with_rim
from screenplan.rules.limit_kinds import FenceHeight, Limit
from screenplan.rules.limits import limit_named
from screenplan.site.drives import drives_of
from screenplan.site.ownership import subject_outline
from screenplan.site.side_classes import classes_of

#: Room beside a drive, by which its end may be off the boundary too, metres (custom, no source).
BESIDE_DRIVE_M = 0.25
#: What is said of the ways through it.
LEFT_OPEN = "drives that are drawn as keep_outs are left open, gates are not"
#: What runs along the boundary.
UPRIGHT = ("fence", "wall", "trellis")


@dataclass(frozen=True)
class Allowed:
    """What may stand along the boundary by the codes that a plan names.

    Parameters
    ----------
    code : FenceHeight
        Heights by yard.
    seen_over : tuple of SightArea
        Ground over which a driver must see.
    """

    code: FenceHeight
    seen_over: tuple[SightArea, ...] = ()


def what_is_allowed(
    layers: Mapping[str, Any], plan: Options, limits: Mapping[str, Limit] | None
) -> Allowed:
    """Find what may stand along the boundary.

    Parameters
    ----------
    layers : mapping
        Parcels and sides, and roads and keep-outs if there are any.
    plan : Options
        Of it [instead] and [road].
    limits : mapping or None
        By default the shipped limits.

    Raises
    ------
    InputError
        If there is no code or sight triangle of a name that the plan gives.
    """
    code = limit_named(limits, plan.instead.code, FenceHeight, Instead.key("code"))
    return Allowed(code, tuple(find_sight_areas(layers, plan, limits)))


@dataclass(frozen=True, eq=False)
class Upright:
    """What was laid.

    Parameters
    ----------
    screens : GeoDataFrame
        A row for each piece, by the contract of existing screens, and ``side_id``.
    along : str
        How tall it is along which sides, in words; empty if no side has room for it.
    says : tuple of str
        What is said of it, the heights first.
    """

    screens: gpd.GeoDataFrame
    along: str
    says: tuple[str, ...]


def fence_lines(
    parcels: gpd.GeoDataFrame,
    side: shapely.LineString,
    inset_m: float,
    buildings=None,
    keep_outs=None,
    seen_over: Sequence[SightArea] = (),
) -> list[shapely.LineString]:
    """Give the lines of a fence along a side, within the parcel; it stops at buildings, and leaves drives and more open.

    Parameters
    ----------
    parcels : GeoDataFrame
    side : LineString
    inset_m : float
        Its distance from the boundary.
    buildings, keep_outs : GeoDataFrame, optional
    seen_over : sequence of SightArea, optional
        Ground that is left open too.

    Examples
    --------
    >>> lot = gpd.GeoDataFrame({"parcel_id": ["7"], "is_subject": [True]}, geometry=[shapely.box(0, 0, 30, 40)])
    >>> [round(line.length, 3) for line in fence_lines(lot, shapely.LineString([(0, 40), (0, 0)]), 0.0)]
    [40.0]
    """
    outline = subject_outline(parcels)
    inner = shapely.buffer(outline, -inset_m, join_style="mitre") if inset_m else outline
    near = shapely.buffer(side, 1.5 * inset_m + 1e-6, cap_style="flat")
    line = shapely.intersection(shapely.boundary(inner), near)
    if has_rows(buildings):
        line = shapely.difference(line, shapely.union_all(buildings.geometry.to_numpy()))
    for drive in drives_of(keep_outs).values():
        line = shapely.difference(line, shapely.buffer(drive, BESIDE_DRIVE_M, join_style="mitre"))
    for area in seen_over:
        line = shapely.difference(line, with_rim(area.outline))
    whole = shapely.line_merge(line)
    return [
        part
        for part in shapely.get_parts(whole)
        if part.geom_type == "LineString" and part.length > 2.0 * inset_m + 1e-3
    ]


def lay_upright(
    option: str, layers: Mapping[str, Any], asked: Instead, allowed: Allowed
) -> Upright:
    """Lay a fence, wall or trellis along the sides, by yard as tall as the plan or the code says.

    Where a driver must see over less, it is left open.

    Parameters
    ----------
    option : {"fence", "wall", "trellis"}
    layers : mapping
        Parcels and sides, and planting lines, buildings and keep-outs if there are any.
    asked : Instead
    allowed : Allowed

    Raises
    ------
    InputError
        If there is no side of a name that the plan gives.
    """
    sides = layers["sides"]
    names = sides["side_id"].astype(str).tolist()
    unknown = [name for name in asked.along if name not in names]
    if unknown:
        raise refuse(
            f"there is no side '{unknown[0]}'",
            f"Write some of {', '.join(names)}"
            if names
            else "Give the parcel, whose sides are meant",
            key=Instead.key("along"),
        )
    lines = layers.get("planting_lines")
    planted = set() if lines is None else set(lines["side_id"].astype(str))
    chosen = asked.along or [name for name in names if name in planted] or names
    code = allowed.code
    shapes, heights, of_side = [], [], []
    yards: dict[tuple[str, float], list[str]] = {}
    opened, seen_over = 0.0, dict[str, float]()
    for name, yard, side in zip(names, classes_of(sides), sides.geometry, strict=True):
        own = getattr(asked, yard)
        height = getattr(code, f"{yard}_m") if own is None else own
        if name not in chosen:
            continue
        along = layers["parcels"], side, asked.inset, layers.get("buildings"), layers.get("keep_outs")  # fmt: skip
        lines = whole = fence_lines(*along)
        areas = _in_the_way(whole, height, allowed.seen_over)
        if areas:
            lines = fence_lines(*along, areas)
            opened += sum(line.length for line in whole) - sum(line.length for line in lines)
            for area in areas:
                least = seen_over.get(area.place, area.clear_from_m)
                seen_over[area.place] = min(least, area.clear_from_m)
        if not lines:
            continue
        yards.setdefault((yard, height), []).append(name)
        shapes += lines
        heights += [(height, yard)] * len(lines)
        of_side += [name] * len(lines)
    open_share = asked.trellis_open if option == "trellis" else 0.0
    front_open = max(open_share, code.front_open_share)
    screens = gpd.GeoDataFrame(
        {
            "screen_id": [f"{option} {number}" for number in range(1, len(shapes) + 1)],
            "side_id": of_side,
            "kind": ["wall" if option == "wall" else "fence"] * len(shapes),
            "height_m": [height for height, _ in heights],
            "opacity": [1.0 - (front_open if yard == "front" else open_share) for _, yard in heights],
        },
        geometry=shapes, crs=sides.crs,
    )  # fmt: skip
    told = "; ".join(
        f"{{{height:.2f} m}} along {', '.join(mine)} ({yard})"
        for (yard, height), mine in yards.items()
    )
    says = [told or "No side has room for it", *_of_codes(asked, code, yards)]
    says.append(LEFT_OPEN)
    if seen_over:
        where = ", ".join(f"above {{{high:.2f} m}} at {place}" for place, high in seen_over.items())
        says.append(
            f"{{{opened:.1f} m}} of the boundary stays open where a driver must see: {where}"
        )
    if option == "trellis":
        says.append(f"it lets {asked.trellis_open:.0%} of the light through until something climbs it")  # fmt: skip
    return Upright(screens, told, tuple(says))


def _of_codes(
    asked: Instead, code: FenceHeight, yards: Collection[tuple[str, float]]
) -> Iterator[str]:
    """Say what the code allows and asks of heights by yard, and whose code it is."""
    allowed = {yard: getattr(code, f"{yard}_m") for yard, _ in yards}
    over = [f"{yard} {{{allowed[yard]:.2f} m}}" for yard, height in yards if height > allowed[yard] + 1e-6]  # fmt: skip
    if over:
        yield f"the code {asked.code} allows less: {', '.join(over)}"
    if code.front_open_share and "front" in allowed:
        yield f"at the front at least {code.front_open_share:.0%} of it stays open, as that code asks"
    if any(height > code.permit_above_m for _, height in yards):
        yield f"above {{{code.permit_above_m:.2f} m}} it needs a permit by that code"
    if None in (asked.front, asked.side, asked.rear):
        yield f"heights by the published code {asked.code}: yours may differ, ask it"
    else:
        yield "ask your own code how tall it may be"


def _in_the_way(
    lines: Sequence[shapely.LineString], height_m: float, areas: Sequence[SightArea]
) -> list[SightArea]:
    """Give the ground over which a driver must see and on which a fence of a height would stand."""
    outlines = np.array([area.outline for area in areas], dtype=object)
    stands = stands_in(shapely.union_all(lines), outlines).tolist()
    return [
        area
        for area, inside in zip(areas, stands, strict=True)
        if inside and height_m > area.clear_from_m
    ]


def with_screens(layers: Mapping[str, Any], screens: gpd.GeoDataFrame) -> dict[str, Any]:
    """Give the layers with more existing screens."""
    existing = layers.get("existing_screens")
    if has_rows(existing):
        screens = pd.concat([existing, screens], ignore_index=True)
    return {**layers, "existing_screens": screens}
