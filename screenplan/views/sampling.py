"""Eyes, targets and the rays between them.

Eyes lie a set distance inside the room, at equal steps over the window's width and at a seated and
a standing height. Targets lie on a square grid over the place, at both heights of a head there.
A ray counts only if it crosses the window's opening. The grid is laid along the place's longest
edge and centred, so that a site that is turned, moved or mirrored gives the same rays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.errors import InputError, Problem
from screenplan.views.obstacles import building_heights, identifiers, numbers
from screenplan.views.openings import Opening

#: Eye and target are the same point when nearer than this.
COINCIDENT_M = 1e-3
#: Nobody sits this near to the stems of a row: such targets are left out.
CLEAR_OF_LINE_M = 0.5
#: A place has at least this many positions of its own, however small, if it is a polygon.
FEWEST_POSITIONS = 4
#: Spacing of the first sample over that of the second, denser one.
FINER = 1.5
#: Heads that nobody gave a height.
SEATED_M, STANDING_M = 1.2, 1.6


@dataclass(frozen=True)
class Place:
    """One private place, sampled.

    Parameters
    ----------
    coarse, dense : ndarray, (targets, 3)
        Targets of the sample, and of a second, denser one.
    middle : tuple of 2 floats
        A point of it, for the drawing.
    """

    coarse: np.ndarray
    dense: np.ndarray
    middle: tuple[float, float]

    @property
    def is_single(self) -> bool:
        """True for a place of one position."""
        return len(np.unique(self.coarse[:, :2], axis=0)) == 1


def eyes_behind(
    opening: Opening, *, inside_m: float, heights_m: tuple[float, ...], across: int
) -> np.ndarray:
    """Eye points behind a window, (eyes, 3).

    Parameters
    ----------
    opening : Opening
        The window.
    inside_m : float
        Distance of the eye from the outer face of the wall.
    heights_m : tuple of float
        Heights above the floor of the room.
    across : int
        Number of positions over the width, at the middles of equal parts.
    """
    ox, oy = opening.out
    u = ((np.arange(across) + 0.5) / across * 2.0 - 1.0) * opening.half_width_m
    u, z = (part.ravel() for part in np.meshgrid(u, np.unique(heights_m), indexing="ij"))
    return np.column_stack(
        [
            opening.x - inside_m * ox - u * oy,
            opening.y - inside_m * oy + u * ox,
            opening.floor_z + z,
        ]
    )


def rays_through(opening: Opening, eyes, targets) -> tuple[np.ndarray, np.ndarray]:
    """Rays from all eyes to all targets that cross the opening.

    Returns
    -------
    origin, target : ndarray, (rays, 3)
        Each ray begins just outside the facade, where it leaves the own wall behind.
    """
    eye = np.repeat(eyes, len(targets), axis=0)
    target = np.tile(targets, (len(eyes), 1))
    out = np.array([*opening.out, 0.0])
    facade = np.array([opening.x, opening.y, 0.0])
    way = target - eye
    ahead = way @ out
    with np.errstate(divide="ignore", invalid="ignore"):
        t = ((facade - eye) @ out) / ahead
        start = t + opening.nudge_m / ahead
    passes = (ahead > 0.0) & (t >= 0.0) & (start < 1.0)
    eye, target, way, t, start = (part[passes] for part in (eye, target, way, t, start))
    at = eye + t[:, None] * way
    u = (at[:, 1] - opening.y) * opening.out[0] - (at[:, 0] - opening.x) * opening.out[1]
    passes = (
        (np.abs(u) <= opening.half_width_m)
        & (at[:, 2] >= opening.sill_z)
        & (at[:, 2] <= opening.head_z)
    )
    origin = eye + start[:, None] * way
    return origin[passes], target[passes]


def positions_in(polygon, spacing_m: float, most: int) -> np.ndarray:
    """Positions on a centred square grid over a polygon, (positions, 2).

    Parameters
    ----------
    polygon : Polygon or MultiPolygon
        The place.
    spacing_m : float
        Asked distance between neighbours; widened so that there are at most about ``most``, and
        narrowed so that there are a few.
    most : int
        Bound on the number.
    """
    spacing = max(spacing_m, float(np.sqrt(polygon.area / most)))
    spacing = min(spacing, float(np.sqrt(polygon.area / FEWEST_POSITIONS)))
    along = _longest_edge(polygon)
    across = np.array([-along[1], along[0]])
    corners = shapely.get_coordinates(polygon)
    axes, counts = [], []
    for axis in (along, across):
        low, high = (corners @ axis).min(), (corners @ axis).max()
        count = max(int(np.ceil((high - low) / spacing - 1e-9)), 1)
        axes.append(low + (np.arange(count) + 0.5) / count * (high - low))
        counts.append(count)
    u, v = (part.ravel() for part in np.meshgrid(*axes, indexing="ij"))
    x, y = (u * along[k] + v * across[k] for k in range(2))
    inside = shapely.contains_xy(polygon, x, y)
    if not inside.any():
        point = polygon.representative_point()
        return np.array([[point.x, point.y]])
    found = np.column_stack([x[inside], y[inside]])
    if len(found) > 2 * most:  # a thin place whose edges take more cells than its area
        found = found[:: -(-len(found) // most)]
    return found


def sample_places(
    places,
    buildings=None,
    planting_lines=None,
    terrain=None,
    *,
    spacing_m: float,
    most: int,
) -> list[Place]:
    """Sample the private places.

    Parameters
    ----------
    places : GeoDataFrame
        Layer of the contract.
    buildings, planting_lines : GeoDataFrame, optional
        Positions inside a building, or within `CLEAR_OF_LINE_M` of a line, are left out.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    spacing_m, most
        As in `positions_in`; ``most`` bounds the positions of each place.

    Raises
    ------
    InputError
        By row: an empty place, one inside a building, one on a planting line, a head height that
        is no number.
    """
    shapes = places.geometry.to_numpy()
    heights = np.column_stack(
        [numbers(places, "eye_seated_m", SEATED_M), numbers(places, "eye_standing_m", STANDING_M)]
    )
    lost = ~np.isfinite(shapely.bounds(shapes)).all(axis=1)  # missing, empty, or not a number
    faults: dict[tuple[str, str], list[int]] = {}
    for row in np.flatnonzero(lost):
        faults.setdefault(_EMPTY, []).append(int(row) + 1)
    for row in np.flatnonzero(~np.isfinite(heights).all(axis=1) | (heights < 0.0).any(axis=1)):
        faults.setdefault(_HEIGHT, []).append(int(row) + 1)
    houses = _solid_footprints(buildings)
    lines = [] if planting_lines is None else list(planting_lines.geometry)
    lines = shapely.unary_union(lines) if lines else None
    sampled = []
    for row, shape in enumerate(shapes):
        if lost[row]:
            continue
        kept = []
        for finer in (1.0, FINER):
            if shape.geom_type == "Point":
                xy = np.array([[shape.x, shape.y]])
            else:
                xy = positions_in(shape, spacing_m / finer, int(most * finer**2))
            free = xy[~shapely.contains_xy(houses, xy[:, 0], xy[:, 1])] if houses else xy
            if not len(free):
                faults.setdefault(_INDOORS, []).append(row + 1)
                break
            clear = free
            if lines is not None:
                apart = shapely.distance(lines, shapely.points(free))
                clear = free[apart > CLEAR_OF_LINE_M]
            if not len(clear):
                faults.setdefault(_ON_LINE, []).append(row + 1)
                break
            kept.append(_heads(clear, np.unique(heights[row]), terrain))
        else:
            middle = shape.representative_point()
            sampled.append(Place(kept[0], kept[1], (middle.x, middle.y)))
    if faults:
        raise InputError(
            [
                Problem(what, mend, layer="private_places", rows=rows)
                for (what, mend), rows in faults.items()
            ]
        )
    return sampled


_EMPTY = ("a private place has no shape", "Draw it, or take the row out")
_HEIGHT = ("a head height is no number of 0 or more", "Give eye_seated_m and eye_standing_m")
_INDOORS = (
    "a private place lies inside a building",
    "Draw it outdoors, or take the building out if it is a deck or a canopy",
)
_ON_LINE = (
    f"a private place lies within {CLEAR_OF_LINE_M:g} m of a planting line all over",
    "Draw it where people are, away from the row",
)


def refuse_coincident(openings, eyes, windows, sampled) -> None:
    """Refuse a place that lies in a window or in an eye behind it.

    Parameters
    ----------
    openings : list of Opening
    eyes : list of ndarray, (eyes, 3)
        Eyes behind each opening.
    windows : GeoDataFrame
        For the names.
    sampled : list of Place
        The places, in the order of their rows.

    Raises
    ------
    InputError
        With the rows of the places, naming the window.
    """
    problems = []
    window_ids = identifiers(windows, "window_id")
    for opening, behind, window in zip(openings, eyes, window_ids, strict=True):
        at = np.vstack([[opening.x, opening.y], behind[:, :2]])
        for row, place in enumerate(sampled):
            near = place.coarse[:, None, :2] - at
            if np.hypot(near[..., 0], near[..., 1]).min() <= COINCIDENT_M:
                problems.append(
                    Problem(
                        f"a private place has the same position as window {window} or an eye "
                        "behind it",
                        "Move one of the two: an eye and what it looks at cannot coincide",
                        layer="private_places",
                        rows=[row + 1],
                    )
                )
    if problems:
        raise InputError(problems)


def _solid_footprints(buildings):
    if buildings is None or not len(buildings):
        return None
    solid = buildings.geometry.to_numpy()[np.nan_to_num(building_heights(buildings)) > 0.0]
    if not len(solid):
        return None
    union = shapely.unary_union(solid)
    shapely.prepare(union)
    return union


def _heads(xy, heights, terrain) -> np.ndarray:
    ground = np.zeros(len(xy)) if terrain is None else np.asarray(terrain.height_at(*xy.T), float)
    return np.concatenate([np.column_stack([xy, ground + height]) for height in heights])


def _longest_edge(polygon) -> np.ndarray:
    """Direction of the longest edge of the outline, as a unit vector."""
    edges = []
    for part in shapely.get_parts(polygon):
        xy = shapely.get_coordinates(part.exterior)
        edges.append(np.diff(xy, axis=0))
    edges = np.concatenate(edges)
    longest = edges[np.argmax(np.hypot(*edges.T))]
    return longest / np.hypot(*longest)
