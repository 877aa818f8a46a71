"""Stretches of a fence: where it stops rays of views, and what of it some views need."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from shapely.ops import substring

from screenplan.views.crossing import cross_line
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.opened import Rays
from screenplan.views.sight import Sight

#: A stretch goes on so far beyond the last ray that it stops, metres (custom, no source).
BEYOND_M = 0.25
#: The least length of a stretch, and of a gap between two: about the field between two posts (custom, no source).
LEAST_M = 2.0
#: Light that is taken of a ray counts from this share of it.
TAKEN = 1e-9


@dataclass(frozen=True, eq=False)
class Look:
    """The views that are open as things are, and what more screens leave of them.

    Parameters
    ----------
    sight : Sight
    rays : Rays
    weight : ndarray, (views,)
    threshold : float
        A view of which no more is open is closed.
    """

    sight: Sight
    rays: Rays
    weight: np.ndarray
    threshold: float

    def left(self, screens: gpd.GeoDataFrame) -> np.ndarray:
        """Give the light that screens leave of each ray, (rays,)."""
        more = lay_obstacles(None, screens, self.sight.ground, self.sight.within)
        return self.rays.light * more.light_left(self.rays.origin, self.rays.target)[0]

    def shares(self, light: np.ndarray) -> np.ndarray:
        """Give the share of each view that is open with so much light, (views,)."""
        return np.bincount(self.rays.view, light, len(self.rays.views))

    def is_open(self, light: np.ndarray) -> np.ndarray:
        """Tell which views are open with so much light, (views,)."""
        return self.shares(light).round(12) > self.threshold


#: Stretches by the number of their screen: where each begins and ends on it, metres.
Cut = Mapping[int, Sequence[tuple[float, float]]]


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where rays cross the screens that stop them.

    Parameters
    ----------
    screens : GeoDataFrame
        As `screenplan.works.boundary_screens.lay_upright` gives them.
    row, view : ndarray of int, (crossings,)
        The screen and the view.
    station_m : ndarray, (crossings,)
        Along the screen.
    closed : ndarray of bool, (views,)
        Which views all the screens close by themselves.
    """

    screens: gpd.GeoDataFrame
    row: np.ndarray
    view: np.ndarray
    station_m: np.ndarray
    closed: np.ndarray

    def of(self, views: Collection[int], sides: Collection[str]) -> Cut:
        """Give the stretches along some sides that stop what those sides stop of some views."""
        mine = np.isin(self.view, list(views))
        found = {}
        for row, (side, line) in enumerate(zip(self.screens["side_id"], self.screens.geometry, strict=True)):  # fmt: skip
            at = np.sort(self.station_m[mine & (self.row == row)])
            if side in sides and len(at):
                found[row] = _joined(at, line.length)
        return found

    def views_on(self, row: int, stretch: tuple[float, float]) -> set[int]:
        """Give the views of which rays are stopped on a stretch."""
        on = (self.row == row) & (self.station_m >= stretch[0]) & (self.station_m <= stretch[1])
        return set(self.view[on].tolist())

    def cut(self, stretches: Cut) -> gpd.GeoDataFrame:
        """Give the screens cut to stretches, a row for each."""
        rows = [row for row, some in stretches.items() for _ in some]
        lines = self.screens.geometry.to_numpy()
        shapes = [substring(lines[row], *one) for row, some in stretches.items() for one in some]
        pieces = self.screens.iloc[rows].set_geometry(shapes, crs=self.screens.crs)
        names = [
            f"{name.partition(' ')[0]} {number}"
            for number, name in enumerate(pieces["screen_id"], 1)
        ]
        return pieces.assign(screen_id=names).reset_index(drop=True)


def find_crossings(look: Look, screens: gpd.GeoDataFrame) -> Crossings:
    """Find where rays of open views cross the screens that stop them.

    Parameters
    ----------
    look : Look
    screens : GeoDataFrame
    """
    rows, views, stations = [], [], []
    rays = look.rays
    for row in range(len(screens)):
        one = screens.iloc[[row]]
        stopped = np.flatnonzero(look.left(one) < rays.light * (1.0 - TAKEN))
        line = shapely.get_coordinates(one.geometry.iloc[0])
        ray, station, _ = cross_line(rays.origin[stopped], rays.target[stopped], line)
        rows.append(np.full(len(ray), row))
        views.append(rays.view[stopped[ray]])
        stations.append(station)
    none: list[np.ndarray] = [np.zeros(0)]
    closed = ~look.is_open(look.left(screens)) if len(screens) else np.zeros(len(rays.views), bool)
    return Crossings(
        screens, np.concatenate([*none, *rows]).astype(int), np.concatenate([*none, *views]).astype(int),
        np.concatenate([*none, *stations]), closed,
    )  # fmt: skip


def _joined(at: np.ndarray, length_m: float) -> list[tuple[float, float]]:
    """Give the stretches that hold stations in rising order, none shorter than the least, nor the gaps between them.

    Examples
    --------
    >>> _joined(np.array([5.0, 7.0, 20.0]), 30.0)
    [(4.75, 7.25), (19.0, 21.0)]
    >>> _joined(np.array([0.5, 28.5]), 30.0)
    [(0.0, 2.0), (27.5, 30.0)]
    """
    most = max(length_m - LEAST_M, 0.0)
    begins, ends = at - BEYOND_M, at + BEYOND_M
    found: list[tuple[float, float]] = []
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        if found and begin - found[-1][1] < LEAST_M:
            found[-1] = found[-1][0], end
        else:
            found.append((begin, end))
    made: list[tuple[float, float]] = []
    for begin, end in found:
        if end - begin < LEAST_M:
            begin = 0.5 * (begin + end - LEAST_M)
            end = begin + LEAST_M
        begin, end = min(max(begin, 0.0), most), max(min(end, length_m), min(LEAST_M, length_m))
        begin, end = (0.0 if begin < LEAST_M else begin), (length_m if end > most else end)
        if made and begin - made[-1][1] < LEAST_M:
            begin, end = made[-1][0], max(end, made.pop()[1])
        made.append((begin, end))
    return made
