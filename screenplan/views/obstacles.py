"""What stands already: buildings, walls, fences, hedges, trees and terrain, made ready for rays.

Buildings are extruded from below the ground to a flat roof at their eaves, or to a roof with a
ridge; both heights refer to one floor datum for each building.
Walls, fences and hedges follow the ground. An awning is a level sheet at its height above the highest ground below it. A tree given as a point is an ellipsoid on a clear
stem. Rows of plants that are kept (`kind` "plant") grow, and are no obstacles but plants.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.crown_shapes import shape_of
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.faults import Faults
from screenplan.site.floors import floors_of
from screenplan.site.ragged import numbered
from screenplan.site.terrain import Terrain
from screenplan.views.blocking import Ground, Panels, Trees, Veils, grid_panels, light_left
from screenplan.views.roofs import ridge_sheets
from screenplan.views.solids import FORM, crown_forms

#: A terrain is lengthened beyond its grid to no more nodes than this.
MOST_NODES = 8_000_000
#: Height of a storey of a building that gives only their number (common practice, no source).
STOREY_M = 2.8
#: The kind of screen that is a level sheet; none that a person brings is one.
AWNING = "awning"
#: From this opacity on a thing lets no light through that one could see by.
OPAQUE = 0.995
#: Crown of an existing tree given only by its height: spread and clear stem as shares of the height
#: (common practice, no source; on the narrow side, so that screening is not overrated).
TREE_SPREAD_SHARE, TREE_STEM_SHARE = 0.4, 0.2
#: Shapes of the crowns of such trees, and of hedges given as points.
TREE_SHAPE, HEDGE_SHAPE = "ellipsoid", "column"
#: Thickness of a hedge that is given as a point or a line without one (common practice, no source).
HEDGE_WIDTH_M = 0.8
#: Shapely's numbers of lines and rings.
LINES = (1, 2)
#: On sloping ground the tops of walls and hedges follow it in steps of this length.
FOLLOW_GROUND_M = 1.0


@dataclass(frozen=True)
class Awning:
    """A level sheet that stops every ray through it.

    Attributes
    ----------
    shape : Polygon
    z : float
    owner : int
        Its number among the names.
    """

    shape: shapely.Geometry
    z: float
    owner: int

    def stops(self, origin, target) -> np.ndarray:
        """Tell which rays cross it, (rays,)."""
        rise = target[:, 2] - origin[:, 2]
        crosses = (origin[:, 2] - self.z) * (target[:, 2] - self.z) < 0.0
        along = np.where(crosses, (self.z - origin[:, 2]) / np.where(crosses, rise, 1.0), 0.0)
        at = origin[:, :2] + along[:, None] * (target[:, :2] - origin[:, :2])
        return crosses & shapely.contains_xy(self.shape, *at.T)


@dataclass(frozen=True)
class Obstacles:
    """All that stands already, in the arrays of the compiled tests.

    Attributes
    ----------
    panels, veils, trees, ground : Panels, Veils, Trees, Ground
        The arrays.
    names : tuple of str
        Identifier of each obstacle; the last is the terrain.
    awnings : tuple of Awning
    """

    panels: Panels
    veils: Veils
    trees: Trees
    ground: Ground
    names: tuple[str, ...]
    awnings: tuple[Awning, ...] = ()

    def light_left(self, origin, target):
        """Share of light that passes, and what stops the rest (`blocking.light_left`)."""
        light, owner = light_left(
            origin, target, self.panels, self.veils, self.trees, self.ground, len(self.names) - 1
        )
        for awning in self.awnings:
            stops = (light > 0.0) & awning.stops(origin, target)
            light[stops], owner[stops] = 0.0, awning.owner
        return light, owner

    def within(self, box: tuple[float, float, float, float]) -> Obstacles:
        """Give those that rays may meet which stay in a box of the plan: west, south, east, north.

        Of hundreds of houses and trees few are left, so that a ray is followed as fast as at one lot.
        """
        panels, veils, trees = self.panels, self.veils, self.trees
        (x0, y0), (x1, y1) = panels.ends[:, :2].T, panels.ends[:, 2:].T
        low, high = np.minimum, np.maximum
        some = _meets(box, low(x0, x1), low(y0, y1), high(x0, x1), high(y0, y1))
        veil = np.flatnonzero(_meets(box, *veils.box.T))
        of, number = numbered(np.diff(veils.first)[veil])
        sheets = veils.first[veil][of] + number
        (x, y), wide = trees.foot[:, :2].T, trees.size[:, 1]
        tree = _meets(box, x - wide, y - wide, x + wide, y + wide)
        return replace(
            self,
            panels=grid_panels(panels.ends[some], panels.top[some], panels.owner[some]),
            veils=Veils(
                veils.ends[sheets], veils.top[sheets], veils.owner[veil], veils.passes[veil],
                np.append(0, np.cumsum(np.diff(veils.first)[veil])).astype(np.int64), veils.box[veil],
            ),
            trees=Trees(*(part[tree] for part in trees)),
            awnings=tuple(one for one in self.awnings if _meets(box, *one.shape.bounds)),
        )  # fmt: skip


def _meets(box, west, south, east, north):
    """Tell which boxes have something in common with one."""
    return (west <= box[2]) & (east >= box[0]) & (south <= box[3]) & (north >= box[1])


@dataclass
class _Builder:
    walls: tuple = (np.zeros((0, 4)), np.zeros((0, 2)), np.zeros(0, int))  # ends, top, owner
    sheets: list = field(default_factory=list)  # (ends, top, owner, passes)
    trees: list = field(default_factory=list)  # (foot, size, shape, owner, passes)
    awnings: list = field(default_factory=list)
    names: list = field(default_factory=list)
    problems: list = field(default_factory=list)

    def add_ring(self, coords, top, owner, passes):
        coords = np.asarray(coords, float)
        if len(coords) < 2:
            return
        ends = np.hstack([coords[:-1], coords[1:]])
        tops = np.column_stack([top[:-1], top[1:]])
        apart = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) > 0.0
        self.sheets.append((ends[apart], tops[apart], owner, passes))


def lay_obstacles(buildings=None, existing_screens=None, terrain=None, within=None) -> Obstacles:
    """Make what stands already ready for rays.

    Parameters
    ----------
    buildings, existing_screens : GeoDataFrame, optional
        Layers of the contracts, in local-frame metres.
    terrain : Terrain, optional
        Ground heights; by default a level ground at height 0.
    within : tuple of 4 floats, optional
        West, south, east, north of all sight lines: beyond its grid the terrain blocks them with
        the height of its edge, as `Terrain.height_at` tells it.

    Raises
    ------
    InputError
        By row: a building or screen without a shape or a height, a ridge that is not above the
        eaves, a wall drawn as a point, an opacity that is no share.
    """
    terrain = Terrain.flat() if terrain is None else terrain
    made = _Builder()
    if buildings is not None and len(buildings):
        _add_buildings(made, buildings, terrain)
    if existing_screens is not None and len(existing_screens):
        _add_screens(made, existing_screens, terrain)
    if made.problems:
        raise InputError(made.problems)
    solid = [sheet for sheet in made.sheets if sheet[3] == 0.0]
    ends, tops, owners = map(np.concatenate, zip(made.walls, *_columns(solid), strict=True))
    panels = grid_panels(ends, tops, owners)
    return Obstacles(
        panels,
        _veils([sheet for sheet in made.sheets if sheet[3] > 0.0]),
        _trees(made.trees),
        ground_grid(terrain, within),
        (*made.names, "terrain"),
        tuple(made.awnings),
    )


def ground_grid(terrain, within=None) -> Ground:
    """Terrain as the compiled tests take it; a flat one as a single height.

    With ``within`` (west, south, east, north) the edge's heights go on as far as that.
    """
    if terrain.is_flat:
        return Ground(np.array([[terrain.z[0, 0]]]), np.array([0.0, 0.0, 1.0, 1.0]))
    frame = np.array([terrain.x0, terrain.y0, terrain.dx, terrain.dy], np.float64)
    # A copy that may be written to: compiled code is made once for it, not twice.
    z = np.array(terrain.z, np.float64, order="C")
    if within is not None:
        west, south, east, north = terrain.bounds
        over = np.array([south - within[1], within[3] - north, west - within[0], within[2] - east])
        cell = np.array([terrain.dy, terrain.dy, terrain.dx, terrain.dx])
        more = np.ceil(np.maximum(over, 0.0) / cell).astype(int)
        if (z.shape[0] + more[:2].sum()) * (z.shape[1] + more[2:].sum()) > MOST_NODES:
            raise refuse(
                f"the terrain ends {{{over.max():.0f} m}} before what is looked at",
                "Give a terrain that covers the windows and places",
            )
        z = np.pad(z, (tuple(more[:2]), tuple(more[2:])), mode="edge")
        frame[:2] -= more[2] * terrain.dx, more[0] * terrain.dy
    return Ground(z, frame)


def building_heights(buildings) -> np.ndarray:
    """Height of each building: as given, or from its storeys; NaN where neither is known."""
    height = numbers(buildings, "height_m", np.nan)
    return np.where(np.isnan(height), numbers(buildings, "storeys", np.nan) * STOREY_M, height)


def has_ridge(buildings) -> np.ndarray:
    """Tell which buildings have a roof with a ridge."""
    if "roof" not in buildings.columns:
        return np.zeros(len(buildings), bool)
    return np.array([roof == "ridge" for roof in buildings["roof"].array], bool)


def ridge_heights(buildings) -> np.ndarray:
    """Height of each ridge above the building's floor datum; NaN under a flat roof."""
    ridged = has_ridge(buildings)
    if not ridged.any():
        return np.full(len(buildings), np.nan)
    return np.where(ridged, numbers(buildings, "ridge_m", np.nan), np.nan)


def top_heights(buildings) -> np.ndarray:
    """Height of the highest part of each building above its floor datum."""
    return np.fmax(building_heights(buildings), ridge_heights(buildings))


def width_of(kind: str, height: float, width: float, *, is_point: bool) -> float:
    """Width of a screen: as given, or the usual spread of a tree, thickness of a hedge; 0 of a wall."""
    if np.isfinite(width):
        return width
    if is_point and kind != "hedge":
        return TREE_SPREAD_SHARE * height
    return HEDGE_WIDTH_M if kind in ("hedge", "tree") else 0.0


def plan_xy(points) -> np.ndarray:
    """Give the coordinates of points, (rows, 2); NaN where a row has no point."""
    points = np.asarray(points, object)
    there = ~(shapely.is_missing(points) | shapely.is_empty(points))
    there &= shapely.get_type_id(points) == 0
    xy = np.full((len(points), 2), np.nan)
    xy[there] = shapely.get_coordinates(points[there])
    return xy


def _add_buildings(made: _Builder, buildings, terrain) -> None:
    heights, ridges = building_heights(buildings), ridge_heights(buildings)
    shapeless = ~np.isfinite(shapely.bounds(buildings.geometry.to_numpy())).all(axis=1)
    made.problems += Faults(
        "buildings",
        (shapeless, "a building has no outline", "Draw it, or take the row out"),
        (
            ~np.isfinite(heights),
            "a building has neither a height nor storeys, so it is not known what it hides",
            "Give height_m or storeys",
        ),
        (
            has_ridge(buildings) & ~(np.isfinite(ridges) & (ridges > heights)),
            "a roof has a ridge, but no height of it above the eaves",
            "Give ridge_m, greater than height_m, or roof = flat",
        ),
    ).problems
    if made.problems:
        return
    datums, first = floors_of(buildings, terrain), len(made.names)
    made.names += identifiers(buildings, "building_id")
    shapes = buildings.geometry.to_numpy()
    stands = heights > 0.0
    flat = np.flatnonzero(stands & ~np.isfinite(ridges))
    parts, of = shapely.get_parts(shapes[flat], return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    owner = flat[of[part]][ring]
    top = (datums + heights)[owner]
    edge = np.flatnonzero((ring[1:] == ring[:-1]) & (xy[1:] != xy[:-1]).any(axis=1))
    made.walls = (
        np.hstack([xy[edge], xy[edge + 1]]),
        np.column_stack([top[edge], top[edge]]),
        first + owner[edge],
    )
    for row in np.flatnonzero(stands & np.isfinite(ridges)):
        datum = datums[row]
        for coords, tops in ridge_sheets(shapes[row], datum + heights[row], datum + ridges[row]):
            made.add_ring(coords, tops, first + row, 0.0)


def _add_screens(made: _Builder, screens, terrain) -> None:
    heights = numbers(screens, "height_m", np.nan)
    widths = numbers(screens, "width_m", np.nan)
    opacities = numbers(screens, "opacity", 1.0)
    kinds = screens["kind"].astype(str).to_numpy()
    stands = kinds != "plant"
    types = shapely.get_type_id(screens.geometry.to_numpy())
    shapeless = ~np.isfinite(shapely.bounds(screens.geometry.to_numpy())).all(axis=1)
    made.problems += Faults(
        "existing_screens",
        (shapeless, "an existing screen has no shape", "Draw it, or take the row out"),
        (stands & ~np.isfinite(heights), "an existing screen has no height", "Give height_m"),
        (
            np.isin(kinds, ("wall", "fence")) & np.isin(types, (0, 4)),
            "a wall or fence drawn as a point has no length",
            "Draw it as a line",
        ),
        (stands & np.isinf(widths), "a width is no number", "Correct width_m"),
        (
            stands & ((opacities < 0.0) | (opacities > 1.0)),
            "an opacity is not between 0 and 1",
            "Give the share of the light that it stops",
        ),
    ).problems
    if made.problems:
        return
    for row, (name, shape) in enumerate(
        zip(identifiers(screens, "screen_id"), screens.geometry, strict=True)
    ):
        if not stands[row] or heights[row] <= 0.0 or opacities[row] <= 0.0:
            continue
        made.names.append(name)
        owner = len(made.names) - 1
        if kinds[row] == AWNING:
            made.awnings.append(_awning(shape, heights[row], owner, terrain))
            continue
        passes = 0.0 if opacities[row] >= OPAQUE else 1.0 - opacities[row]
        for part in shapely.get_parts(shape):
            add = _add_crown if part.geom_type == "Point" else _add_sheet
            add(made, part, kinds[row], heights[row], widths[row], owner, passes, terrain)


def _awning(shape, height, owner, terrain) -> Awning:
    below = shapely.get_coordinates(shapely.segmentize(shape, FOLLOW_GROUND_M))
    ground = float(np.max(terrain.height_at(*below.T)))
    return Awning(shape, ground + height, owner)


def _add_crown(made, point, kind, height, width, owner, passes, terrain) -> None:
    foot = (point.x, point.y, float(terrain.height_at(point.x, point.y)))
    width = width_of(kind, height, width, is_point=True)
    if kind == "hedge":
        made.trees.append((foot, (height, 0.5 * width, 0.0), HEDGE_SHAPE, owner, passes))
        return
    size = (height, 0.5 * width, TREE_STEM_SHARE * height)
    made.trees.append((foot, size, TREE_SHAPE, owner, passes))


def _add_sheet(made, part, kind, height, width, owner, passes, terrain) -> None:
    if part.geom_type == "LineString":
        width = width_of(kind, height, width, is_point=False)
        if width > 0.0:
            part = part.buffer(0.5 * width, cap_style="flat", join_style="mitre")
    for ring in _rings(part):
        if not terrain.is_flat:
            ring = shapely.segmentize(ring, FOLLOW_GROUND_M)
        coords = shapely.get_coordinates(ring)
        made.add_ring(coords, terrain.height_at(coords[:, 0], coords[:, 1]) + height, owner, passes)


def _rings(shape) -> list:
    """Outlines of polygons, holes included, and lines themselves."""
    parts = shapely.get_parts(shape)
    return [*shapely.get_rings(parts), *parts[np.isin(shapely.get_type_id(parts), LINES)]]


def _columns(sheets) -> list[tuple]:
    return [(ends, tops, np.full(len(ends), owner)) for ends, tops, owner, _ in sheets]


def _veils(sheets) -> Veils:
    owners = sorted({sheet[2] for sheet in sheets})
    ends, tops, first, passes, box = [np.zeros((0, 4))], [np.zeros((0, 2))], [0], [], []
    for owner in owners:
        mine = [sheet for sheet in sheets if sheet[2] == owner]
        piece = np.concatenate([sheet[0] for sheet in mine])
        ends.append(piece)
        tops.append(np.concatenate([sheet[1] for sheet in mine]))
        first.append(first[-1] + len(piece))
        passes.append(mine[0][3])
        xs, ys = piece[:, 0::2], piece[:, 1::2]
        box.append((xs.min(), ys.min(), xs.max(), ys.max()))
    return Veils(
        np.concatenate(ends),
        np.concatenate(tops),
        np.asarray(owners, np.int64),
        np.asarray(passes, np.float64),
        np.asarray(first, np.int64),
        np.asarray(box, np.float64).reshape(-1, 4),
    )


def _trees(trees) -> Trees:
    foot, size, shape, owner, passes = zip(*trees, strict=True) if trees else ((),) * 5
    forms = [
        crown_forms(shape_of(word), *np.array([h, r, c, r]))
        for word, (h, r, c) in zip(shape, size, strict=True)
    ]
    return Trees(
        np.asarray(foot, np.float64).reshape(-1, 3),
        np.asarray(size, np.float64).reshape(-1, 3),
        np.array(forms, np.float64).reshape(-1, FORM),
        np.asarray(owner, np.int64),
        np.asarray(passes, np.float64),
    )
