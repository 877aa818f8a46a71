"""Rays of which what stands already leaves something: all others are open in no year, and no row closes them.

Rays between two spots of the plan, of people who sit and who stand, pass the same walls at the same places. They are
walked through the walls together, and only their heights are held against the tops.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.views.blocking import (
    NOTHING,
    enter_grid,
    follow_rest,
    leave_cell,
    meet_panel,
    top_of,
)
from screenplan.views.compiled import inner
from screenplan.views.obstacles import Obstacles
from screenplan.views.together import Ends, Rays, is_over_sill, pass_opening


class Lit(NamedTuple):
    """Rays of several views.

    Attributes
    ----------
    rays : Rays
        Those of which something is left.
    light : ndarray, (rays,)
        Share of each one's light that what exists lets through.
    passed : ndarray of int, (views,)
        How many rays pass the opening of each view, dark ones too.
    """

    rays: Rays
    light: np.ndarray
    passed: np.ndarray


def lit_rays(ends: Ends, obstacles: Obstacles) -> Lit:
    """Give the rays of views that cross their openings and of which something is left.

    They are those of `rays_of` with `Obstacles.light_left`, in another order: those between two spots of the plan
    follow each other. Points above each other count as one spot where they follow each other in ``ends``.
    """
    most = ends.most
    room, at_once = int(most.sum()), int(most.max(initial=0))
    view, light = np.empty(room, np.int64), np.empty(room)
    origin, target = np.empty((room, 3)), np.empty((room, 3))
    passed = np.zeros(len(most), np.int64)
    count = _list_lit(  # type: ignore[call-arg]  # so many as it takes
        *ends.as_arrays(), obstacles.panels, obstacles.veils, obstacles.trees, obstacles.ground,
        np.empty((2, at_once)), view, origin, target, light, passed,
    )  # fmt: skip
    rays, light = Rays(view[:count], origin[:count], target[:count]), light[:count]
    for awning in obstacles.awnings:
        stays = ~awning.stops(rays.origin, rays.target)
        rays, light = Rays(*(part[stays] for part in rays)), light[stays]
    return Lit(rays, light, passed)


def lit_each(ends: Ends, obstacles: Obstacles) -> Iterator[tuple[tuple[int, int], Lit]]:
    """Give the rays of `lit_rays` some at a time: of several whole views, or of a part of a large one.

    Yields
    ------
    views : tuple of 2 int
        The first of these views, and the one after the last.
    lit : Lit
        Its views are counted from the first.
    """
    for first, last in ends.batches():
        for piece in ends.only(first, last).pieces():
            yield (first, last), lit_rays(piece, obstacles)


@njit(cache=True, error_model="numpy")
def _list_lit(
    openings, opening, eyes, eye, heads, head, panels, veils, trees, ground, work, view, origin, target, light, passed
):  # fmt: skip
    """List the rays; tell how many there are."""
    count, terrain = 0, NOTHING
    for number in range(len(opening)):
        row = openings[opening[number]]
        last_eye, last_head = eye[number, 1], head[number, 1]
        i = eye[number, 0]
        while i < last_eye:
            next_i = _next_spot(eyes, i, last_eye)
            j = head[number, 0]
            while j < last_head:
                next_j = _next_spot(heads, j, last_head)
                x, y = eyes[i, 0], eyes[i, 1]
                dx, dy = heads[j, 0] - x, heads[j, 1] - y
                t, start = pass_opening(row, x, y, dx, dy)
                if start < 2.0:
                    ox, oy = x + start * dx, y + start * dy
                    some = 0
                    for p in range(i, next_i):
                        for q in range(j, next_j):
                            z, rise = eyes[p, 2], heads[q, 2] - eyes[p, 2]
                            if is_over_sill(row, z + t * rise):
                                work[0, some], work[1, some] = z + start * rise, heads[q, 2]
                                some += 1
                    passed[number] += some
                    dx, dy = heads[j, 0] - ox, heads[j, 1] - oy
                    some = _clear_panels(panels, ox, oy, dx, dy, some, work)
                    for ray in range(some):
                        oz, dz = work[0, ray], work[1, ray] - work[0, ray]
                        left, _ = follow_rest(
                            ox, oy, oz, dx, dy, dz, 2.0, NOTHING, veils, trees, ground, terrain
                        )
                        if left > 0.0:
                            view[count], light[count] = number, left
                            origin[count, 0], origin[count, 1], origin[count, 2] = ox, oy, oz
                            target[count, 0], target[count, 1] = heads[j, 0], heads[j, 1]
                            target[count, 2] = work[1, ray]
                            count += 1
                j = next_j
            i = next_i
    return count


@inner()
def _next_spot(points, first, end):
    """Give the first of the points after one that is not above or below it."""
    after = first + 1
    while (
        after < end
        and points[after, 0] == points[first, 0]
        and points[after, 1] == points[first, 1]
    ):
        after += 1
    return after


@inner()
def _clear_panels(panels, ox, oy, dx, dy, some, work):
    """Leave those of some rays of one way in plan that no panel stops; ``work`` holds where they begin and end in height."""
    nx, ny, cell = panels.size[0], panels.size[1], panels.corner[2]
    t1, i, j, next_i, next_j = enter_grid(panels, ox, oy, dx, dy)
    while t1 >= 0.0 and some > 0 and 0 <= i < nx and 0 <= j < ny:
        place = i * ny + j
        for slot in range(panels.cells[place], panels.cells[place + 1]):
            number = panels.members[slot]
            t, u = meet_panel(panels.ends, number, ox, oy, dx, dy)
            if t > 1.0:
                continue
            top, left = top_of(panels.top, number, u), 0
            for ray in range(some):
                oz, end = work[0, ray], work[1, ray]
                work[0, left], work[1, left] = oz, end
                left += not (oz + t * (end - oz) < top)
            some = left
        if min(next_i, next_j) > t1:
            break
        i, j, next_i, next_j = leave_cell(cell, i, j, next_i, next_j, dx, dy)
    return some
