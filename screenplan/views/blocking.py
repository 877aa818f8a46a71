"""Compiled tests of sight lines against what stands already: panels, crowns of trees, terrain.

A **panel** is an upright sheet over a straight piece of plan from far below up to a straight top.
Walls of buildings, fences and the sides of hedges are panels. Opaque panels stand in a plan grid
that a sight line walks through cell by cell; the few translucent things are looked at one by one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange

from screenplan.views.compiled import MANY_RAYS, called, inner
from screenplan.views.solids import form_stretch

#: Two panels that share an end must leave no slit between them: relative, rounding only.
SEAM_SLACK = 1e-9
#: A sight line that dips less than this into the terrain does not count as blocked: rounding only.
TERRAIN_SLACK_M = 1e-9
#: Code of "nothing" among owners; terrain is numbered after the last obstacle.
NOTHING = -1


class Panels(NamedTuple):
    """Opaque upright sheets, sorted into a plan grid.

    Attributes
    ----------
    ends : ndarray of float64, (panels, 4)
        x and y of both ends.
    top : ndarray of float64, (panels, 2)
        Height of the top at both ends.
    owner : ndarray of int64, (panels,)
        Number of the obstacle that it belongs to.
    corner : ndarray of float64, (3,)
        Lower left corner of the grid, and the size of a cell.
    size : ndarray of int64, (2,)
        Cells of the grid eastwards and northwards.
    cells : ndarray of int64, (nx * ny + 1,)
        Where each cell's panels begin in ``members``; the cells of a column follow each other.
    members : ndarray of int64
        Panels by cell.
    """

    ends: np.ndarray
    top: np.ndarray
    owner: np.ndarray
    corner: np.ndarray
    size: np.ndarray
    cells: np.ndarray
    members: np.ndarray


class Veils(NamedTuple):
    """Translucent sheets, by obstacle.

    Attributes
    ----------
    ends, top : ndarray
        As in `Panels`, sorted by obstacle.
    owner : ndarray of int64, (veils,)
        Number of each obstacle.
    passes : ndarray of float64, (veils,)
        Share of light that it lets through.
    first : ndarray of int64, (veils + 1,)
        Where each one's sheets begin.
    box : ndarray of float64, (veils, 4)
        Least x and y, greatest x and y.
    """

    ends: np.ndarray
    top: np.ndarray
    owner: np.ndarray
    passes: np.ndarray
    first: np.ndarray
    box: np.ndarray


class Trees(NamedTuple):
    """Crowns that stand already and do not grow.

    Attributes
    ----------
    foot : ndarray of float64, (trees, 3)
    size : ndarray of float64, (trees, 3)
        Height, radius, clear stem.
    form : ndarray of float64, (trees, 5)
        Of `crown_forms`.
    owner : ndarray of int64, (trees,)
    passes : ndarray of float64, (trees,)
    """

    foot: np.ndarray
    size: np.ndarray
    form: np.ndarray
    owner: np.ndarray
    passes: np.ndarray


class Ground(NamedTuple):
    """Terrain as a grid of heights, bilinear between the centres of its cells.

    Attributes
    ----------
    z : ndarray of float64, (rows, columns)
        Heights; row 0 is the southernmost. A flat site has one cell.
    frame : ndarray of float64, (4,)
        x and y of the centre of the first cell, and the steps in x and y.
    """

    z: np.ndarray
    frame: np.ndarray


@inner()
def meet_panel(ends, number, ox, oy, dx, dy):
    """Find where a sight line meets a panel in plan: t along the one and u along the other; t is 2 when it does not."""
    ax, ay = ends[number, 0], ends[number, 1]
    ex, ey = ends[number, 2] - ax, ends[number, 3] - ay
    turn = dx * ey - dy * ex
    if turn == 0.0:
        return 2.0, 0.0
    t = ((ax - ox) * ey - (ay - oy) * ex) / turn
    if t < 0.0 or t > 1.0:
        return 2.0, 0.0
    u = ((ax - ox) * dy - (ay - oy) * dx) / turn
    if u < -SEAM_SLACK or u > 1.0 + SEAM_SLACK:
        return 2.0, 0.0
    return t, u


@inner()
def top_of(top, number, u):
    """Give the height of a panel's top at a share of its length."""
    return top[number, 0] + u * (top[number, 1] - top[number, 0])


@inner()
def cross_panel(ends, top, number, ox, oy, oz, dx, dy, dz):
    """Find where a sight line meets a panel below its top, as t; 2 when it does not."""
    t, u = meet_panel(ends, number, ox, oy, dx, dy)
    if t <= 1.0 and oz + t * dz < top_of(top, number, u):
        return t
    return 2.0


@inner()
def enter_grid(panels, ox, oy, dx, dy):
    """Find the first cell of the grid in which a sight line is.

    Returns
    -------
    t1 : float
        Where it leaves the grid; -1 when it is never in it.
    i, j : int
        The cell.
    next_i, next_j : float
        Where it leaves the cell eastwards or westwards, and northwards or southwards.
    """
    nx, ny = panels.size[0], panels.size[1]
    if nx == 0:
        return -1.0, 0, 0, 0.0, 0.0
    x0, y0, cell = panels.corner[0], panels.corner[1], panels.corner[2]
    t0, t1 = 0.0, 1.0
    for part in range(2):
        at, step, low, count = (ox, dx, x0, nx) if part == 0 else (oy, dy, y0, ny)
        high = low + cell * count
        if step == 0.0:
            if at < low or at > high:
                return -1.0, 0, 0, 0.0, 0.0
            continue
        one, two = (low - at) / step, (high - at) / step
        if one > two:
            one, two = two, one
        t0, t1 = max(t0, one), min(t1, two)
    if t0 > t1:
        return -1.0, 0, 0, 0.0, 0.0
    i = min(max(int(np.floor((ox + t0 * dx - x0) / cell)), 0), nx - 1)
    j = min(max(int(np.floor((oy + t0 * dy - y0) / cell)), 0), ny - 1)
    next_i = 2.0 if dx == 0.0 else (x0 + cell * (i + (dx > 0.0)) - ox) / dx
    next_j = 2.0 if dy == 0.0 else (y0 + cell * (j + (dy > 0.0)) - oy) / dy
    return t1, i, j, next_i, next_j


@inner()
def leave_cell(cell, i, j, next_i, next_j, dx, dy):
    """Find the next cell of a sight line: its place, and where it is left; see `enter_grid`."""
    if next_i <= next_j:
        return i + (1 if dx > 0.0 else -1), j, next_i + cell / abs(dx), next_j
    return i, j + (1 if dy > 0.0 else -1), next_i, next_j + cell / abs(dy)


@inner()
def _first_panel(panels, ox, oy, oz, dx, dy, dz):
    """Nearest opaque panel in the way: (t, owner), or (2, nothing)."""
    best, owner = 2.0, NOTHING
    nx, ny, cell = panels.size[0], panels.size[1], panels.corner[2]
    t1, i, j, next_i, next_j = enter_grid(panels, ox, oy, dx, dy)
    while t1 >= 0.0 and 0 <= i < nx and 0 <= j < ny:
        place = i * ny + j
        for slot in range(panels.cells[place], panels.cells[place + 1]):
            number = panels.members[slot]
            t = cross_panel(panels.ends, panels.top, number, ox, oy, oz, dx, dy, dz)
            # The lower number wins a tie, so that the order of cells does not matter.
            if t < best or (t == best and t <= 1.0 and panels.owner[number] < owner):
                best, owner = t, panels.owner[number]
        leave = min(next_i, next_j)
        if best <= leave or leave > t1:
            break
        i, j, next_i, next_j = leave_cell(cell, i, j, next_i, next_j, dx, dy)
    return best, owner


@inner()
def first_ground(ground, ox, oy, oz, dx, dy, dz):
    """Tell at which t a sight line enters the terrain; 2 when it stays above.

    Within a cell the ground under the line is a quadratic in t, so its crossing is exact for the
    bilinear surface.
    """
    ny, nx = ground.z.shape
    x0, y0, step_x, step_y = ground.frame[0], ground.frame[1], ground.frame[2], ground.frame[3]
    if ny < 2 or nx < 2:
        level = ground.z[0, 0] - TERRAIN_SLACK_M
        if oz < level:
            return 0.0
        return 1.0 if oz + dz < level else 2.0
    # In units of cells.
    pu, pv, du, dv = (ox - x0) / step_x, (oy - y0) / step_y, dx / step_x, dy / step_y
    t0, t1 = 0.0, 1.0
    for part in range(2):
        at, step, high = (pu, du, nx - 1.0) if part == 0 else (pv, dv, ny - 1.0)
        if step == 0.0:
            if at < 0.0 or at > high:
                return 2.0
            continue
        one, two = -at / step, (high - at) / step
        if one > two:
            one, two = two, one
        t0, t1 = max(t0, one), min(t1, two)
    if t0 > t1:
        return 2.0
    i = min(max(int(np.floor(pu + t0 * du)), 0), nx - 2)
    j = min(max(int(np.floor(pv + t0 * dv)), 0), ny - 2)
    way_i = 1 if du > 0.0 else -1
    way_j = 1 if dv > 0.0 else -1
    next_i = 2.0 if du == 0.0 else (i + (way_i > 0) - pu) / du
    next_j = 2.0 if dv == 0.0 else (j + (way_j > 0) - pv) / dv
    over_i = 2.0 if du == 0.0 else 1.0 / abs(du)
    over_j = 2.0 if dv == 0.0 else 1.0 / abs(dv)
    enter = t0
    while True:
        leave = min(next_i, next_j, t1)
        h00, h10 = ground.z[j, i], ground.z[j, i + 1]
        h01, h11 = ground.z[j + 1, i], ground.z[j + 1, i + 1]
        top = max(max(h00, h10), max(h01, h11))
        if min(oz + enter * dz, oz + leave * dz) < top:
            # Height above the bilinear patch: k2 t^2 + k1 t + k0.
            u, v = pu - i, pv - j
            along_u, along_v, twist = h10 - h00, h01 - h00, h00 - h10 - h01 + h11
            k0 = oz - (h00 + along_u * u + along_v * v + twist * u * v) + TERRAIN_SLACK_M
            k1 = dz - (along_u * du + along_v * dv + twist * (u * dv + v * du))
            k2 = -twist * du * dv
            t = _first_below(k2, k1, k0, enter, leave)
            if t <= leave:
                return t
        if leave >= t1:
            return 2.0
        enter = leave
        if next_i <= next_j:
            i += way_i
            next_i += over_i
        else:
            j += way_j
            next_j += over_j
        if i < 0 or i > nx - 2 or j < 0 or j > ny - 2:
            return 2.0


@called()
def _first_below(k2, k1, k0, low, high):
    """First t in [low, high] where k2 t^2 + k1 t + k0 < 0; 2 when there is none."""
    if (k2 * low + k1) * low + k0 < 0.0:
        return low
    ends_below = (k2 * high + k1) * high + k0 < 0.0
    if not ends_below:
        vertex = -0.5 * k1 / k2 if k2 > 0.0 else 2.0
        if not (low < vertex < high and (k2 * vertex + k1) * vertex + k0 < 0.0):
            return 2.0
    if k2 == 0.0:
        return min(max(-k0 / k1, low), high)
    root = np.sqrt(max(k1 * k1 - 4.0 * k2 * k0, 0.0))
    q = -0.5 * (k1 + np.copysign(root, k1))
    one = q / k2
    two = k0 / q if q != 0.0 else one
    if one > two:
        one, two = two, one
    # A parabola that opens upwards falls below at its first root, one that opens downwards at its
    # second.
    return min(max(one if k2 > 0.0 else two, low), high)


@inner()
def _follow_ray(ox, oy, oz, dx, dy, dz, panels, veils, trees, ground, terrain):
    """Share of light that passes, and what stops the rest."""
    best, who = _first_panel(panels, ox, oy, oz, dx, dy, dz)
    return follow_rest(ox, oy, oz, dx, dy, dz, best, who, veils, trees, ground, terrain)


@inner()
def follow_rest(ox, oy, oz, dx, dy, dz, best, who, veils, trees, ground, terrain):
    """Share of light that passes, and what stops the rest, of a sight line of which the nearest panel is known."""
    if best > 0.0:
        t = first_ground(ground, ox, oy, oz, dx, dy, dz)
        if t < best and t <= 1.0:
            best, who = t, terrain
    left, dimmest, dim_owner = 1.0, 1.0, NOTHING
    a = dx * dx + dy * dy
    for tree in range(trees.foot.shape[0]):
        px, py, pz = ox - trees.foot[tree, 0], oy - trees.foot[tree, 1], oz - trees.foot[tree, 2]
        b, e = px * dx + py * dy, px * px + py * py
        r = trees.size[tree, 1]
        if (e - r * r) * a > b * b:
            continue
        form = trees.form[tree]
        t0, t1 = form_stretch(a, b, e, pz, dz, form[0], form[1], form[2], form[3], form[4])
        if t0 < t1:
            if trees.passes[tree] == 0.0:
                if t0 < best:
                    best, who = t0, trees.owner[tree]
            else:
                left *= trees.passes[tree]
                if trees.passes[tree] < dimmest:
                    dimmest, dim_owner = trees.passes[tree], trees.owner[tree]
    if best <= 1.0:
        return 0.0, who
    for veil in range(veils.owner.shape[0]):
        if (
            max(ox, ox + dx) < veils.box[veil, 0]
            or max(oy, oy + dy) < veils.box[veil, 1]
            or min(ox, ox + dx) > veils.box[veil, 2]
            or min(oy, oy + dy) > veils.box[veil, 3]
        ):
            continue
        for number in range(veils.first[veil], veils.first[veil + 1]):
            if cross_panel(veils.ends, veils.top, number, ox, oy, oz, dx, dy, dz) <= 1.0:
                left *= veils.passes[veil]
                if veils.passes[veil] < dimmest:
                    dimmest, dim_owner = veils.passes[veil], veils.owner[veil]
                break
    return left, dim_owner


@njit(cache=True, error_model="numpy")
def _follow_few(origin, target, panels, veils, trees, ground, terrain, light, owner):
    for ray in range(origin.shape[0]):
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        light[ray], owner[ray] = _follow_ray(
            ox, oy, oz, dx, dy, dz, panels, veils, trees, ground, terrain
        )


@njit(parallel=True, cache=True, error_model="numpy")
def _follow_many(origin, target, panels, veils, trees, ground, terrain, light, owner):
    for ray in prange(origin.shape[0]):
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        light[ray], owner[ray] = _follow_ray(
            ox, oy, oz, dx, dy, dz, panels, veils, trees, ground, terrain
        )


def light_left(origin, target, panels, veils, trees, ground, terrain: int):
    """Find how much of each sight line's light passes what exists, and what stops the rest.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines.
    panels, veils, trees, ground : Panels, Veils, Trees, Ground
        What exists.
    terrain : int
        Number that stands for the terrain among the owners.

    Returns
    -------
    light : ndarray of float64, (rays,)
        0 where something opaque is in the way; else the product of what each translucent obstacle
        lets through, each counted once.
    owner : ndarray of int64, (rays,)
        The nearest opaque obstacle, or the densest translucent one; -1 for none.
    """
    light = np.ones(len(origin))
    owner = np.full(len(origin), NOTHING, np.int64)
    follow = _follow_many if len(origin) >= MANY_RAYS else _follow_few
    follow(
        np.ascontiguousarray(origin, np.float64),
        np.ascontiguousarray(target, np.float64),
        panels, veils, trees, ground, terrain, light, owner,
    )  # fmt: skip
    return light, owner


@njit(cache=True, error_model="numpy")
def _touches(ax, ay, bx, by, x, y, cell):
    """Tell whether a segment meets a square cell, slightly widened (separating axes)."""
    slack = SEAM_SLACK * (1.0 + abs(ax) + abs(ay) + abs(bx) + abs(by))
    half = 0.5 * cell + slack
    cx, cy = x + 0.5 * cell, y + 0.5 * cell
    ex, ey = bx - ax, by - ay
    if max(ax, bx) < cx - half or min(ax, bx) > cx + half:
        return False
    if max(ay, by) < cy - half or min(ay, by) > cy + half:
        return False
    return abs((cx - ax) * ey - (cy - ay) * ex) <= half * (abs(ex) + abs(ey))


@njit(cache=True, error_model="numpy")
def _fill(ends, x0, y0, cell, nx, ny, cells, members, count_only):
    for number in range(ends.shape[0]):
        ax, ay, bx, by = ends[number, 0], ends[number, 1], ends[number, 2], ends[number, 3]
        i0 = max(int(np.floor((min(ax, bx) - x0) / cell - 1e-6)), 0)
        i1 = min(int(np.floor((max(ax, bx) - x0) / cell + 1e-6)), nx - 1)
        j0 = max(int(np.floor((min(ay, by) - y0) / cell - 1e-6)), 0)
        j1 = min(int(np.floor((max(ay, by) - y0) / cell + 1e-6)), ny - 1)
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                if _touches(ax, ay, bx, by, x0 + i * cell, y0 + j * cell, cell):
                    place = i * ny + j
                    if not count_only:
                        members[cells[place]] = number
                    cells[place] += 1


def grid_panels(ends, top, owner, cell_m: float = 4.0, most_cells: int = 65536) -> Panels:
    """Sort opaque panels into a plan grid.

    Parameters
    ----------
    ends : array_like, (panels, 4)
    top : array_like, (panels, 2)
    owner : array_like of int, (panels,)
    cell_m : float
        Size of a cell; widened so that there are at most ``most_cells``.
    """
    ends = np.ascontiguousarray(ends, np.float64).reshape(-1, 4)
    top = np.ascontiguousarray(top, np.float64).reshape(-1, 2)
    owner = np.ascontiguousarray(owner, np.int64)
    if not len(ends):
        none = np.zeros(0, np.int64)
        return Panels(ends, top, owner, np.zeros(3), np.zeros(2, np.int64), none, none)
    xs, ys = ends[:, 0::2], ends[:, 1::2]
    wide, tall = np.ptp(xs), np.ptp(ys)
    cell = max(cell_m, float(np.sqrt(wide * tall / most_cells)), max(wide, tall) / 4096)
    x0, y0 = xs.min() - 0.5 * cell, ys.min() - 0.5 * cell
    nx, ny = int(wide / cell) + 2, int(tall / cell) + 2
    counts, none = np.zeros(nx * ny, np.int64), np.zeros(0, np.int64)
    _fill(ends, x0, y0, cell, nx, ny, counts, none, True)
    cells = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    members = np.zeros(cells[-1], np.int64)
    _fill(ends, x0, y0, cell, nx, ny, cells[:-1].copy(), members, False)
    size = np.array([nx, ny], np.int64)
    return Panels(ends, top, owner, np.array([x0, y0, cell]), size, cells, members)
