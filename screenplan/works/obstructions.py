"""What a tape cannot cross: houses, walls, fences, hedges and open water."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

#: A tape may graze a house by so much, metres: along a wall it lies on the wall.
GRAZE_M = 0.05
#: Walls are thinner than houses: what a tape may graze of one, metres.
GRAZE_WALL_M = 0.01
#: A shorter stretch of a tape inside something is rounding, metres.
INSIDE_M = 0.01
#: A tape that is hooked to a point may lie over a wall or fence within so much of it: such points often
#: stand at one, on either side (common practice, no source), metres.
AT_WALL_M = 0.5
#: A tape that is held level passes over what is lower (common practice, no source), metres.
STEP_OVER_M = 0.5
#: Kinds of existing screens that stop a tape; between trees it passes.
SOLID_KINDS = ("wall", "fence", "hedge")
#: Words in a keep-out's kind that mean open water.
WATER_WORDS = ("pond", "pool", "lake", "water", "stream", "river", "creek", "canal")

_NO_AREA, _NO_LINE = shapely.Polygon(), shapely.LineString()


@dataclass(frozen=True)
class Obstructions:
    """What stands or lies in a tape's way.

    Parameters
    ----------
    solids : Geometry
        Houses and water: areas that no tape crosses, a graze smaller than they are.
    walls : Geometry
        Areas of walls and hedges.
    barriers : Geometry
        Walls, fences and streams that are drawn as lines.
    """

    solids: shapely.Geometry = _NO_AREA
    walls: shapely.Geometry = _NO_AREA
    barriers: shapely.Geometry = _NO_LINE

    def free(self, starts, ends, hooked_m=0.0) -> np.ndarray:
        """Tell which straight tapes have nothing in their way.

        Parameters
        ----------
        starts, ends : (n, 2) array_like
            One of them may be a single point, metres.
        hooked_m : float or (n,) array_like
            Within so much of its start a tape may lie over a wall or barrier; see `AT_WALL_M`.

        Returns
        -------
        (n,) ndarray of bool

        Examples
        --------
        >>> walled = Obstructions(barriers=shapely.LineString([(5, -5), (5, 5)]))
        >>> walled.free([(0, 0), (0, 0)], [(10, 0), (4, 0)]).tolist()
        [False, True]
        """
        starts, ends = np.broadcast_arrays(
            np.atleast_2d(np.asarray(starts, float)), np.atleast_2d(np.asarray(ends, float))
        )
        tapes = shapely.linestrings(np.stack([starts, ends], axis=1))
        blocked = _runs_inside(tapes, self.solids)
        if self.walls.is_empty and self.barriers.is_empty:
            return ~blocked
        way = ends - starts
        length = np.hypot(*way.T)
        spare = np.maximum(hooked_m, GRAZE_M)
        rest = length > spare + GRAZE_M
        unit = way / np.where(rest, length, 1.0)[:, None]
        inner = [starts + unit * np.reshape(spare, (-1, 1)), ends - unit * GRAZE_M]
        middle = shapely.linestrings(np.stack(inner, axis=1))
        met = _runs_inside(middle, self.walls) | _crosses(middle, self.barriers)
        return ~(blocked | (rest & met))

    def scaled(self, scale: float) -> Obstructions:
        """Give them as the fit of the map stretches them about the site's origin."""
        return Obstructions(
            *(
                shapely.transform(own, lambda xy: xy * scale)
                for own in (self.solids, self.walls, self.barriers)
            )
        )

    def __or__(self, other: Obstructions) -> Obstructions:
        """Give what is in either."""
        return Obstructions(
            shapely.union(self.solids, other.solids),
            shapely.union(self.walls, other.walls),
            shapely.union(self.barriers, other.barriers),
        )


def _runs_inside(tapes: np.ndarray, areas: shapely.Geometry) -> np.ndarray:
    return shapely.length(shapely.intersection(tapes, areas)) > INSIDE_M


def _crosses(tapes: np.ndarray, lines: shapely.Geometry) -> np.ndarray:
    """Tell which tapes meet a line in a point: one that lies along it does not cross it."""
    parts, owner = shapely.get_parts(shapely.intersection(tapes, lines), return_index=True)
    crossed = np.zeros(len(tapes), bool)
    crossed[owner[shapely.get_type_id(parts) == shapely.GeometryType.POINT]] = True
    return crossed


def houses_in_the_way(shapes) -> Obstructions:
    """Give houses, by their outlines."""
    return Obstructions(solids=_areas(shapes, GRAZE_M))


def find_obstructions(
    existing_screens: gpd.GeoDataFrame | None, keep_outs: gpd.GeoDataFrame | None
) -> Obstructions:
    """Find walls, fences, hedges and open water among the layers, all but houses.

    Parameters
    ----------
    existing_screens, keep_outs : GeoDataFrame or None
        In the local frame.
    """
    walls: list[shapely.Geometry] = []
    water: list[shapely.Geometry] = []
    if existing_screens is not None and len(existing_screens):
        stop = existing_screens["kind"].isin(SOLID_KINDS)
        stop &= ~(existing_screens["height_m"].astype(float) < STEP_OVER_M)
        walls = _with_width(existing_screens[stop.to_numpy(bool)])
    if keep_outs is not None and len(keep_outs):
        kind = keep_outs["kind"].astype(str).str.lower()
        water = list(keep_outs.geometry[kind.str.contains("|".join(WATER_WORDS)).to_numpy(bool)])
    return Obstructions(
        solids=_areas(water, GRAZE_M),
        walls=_areas(walls, GRAZE_WALL_M),
        barriers=_lines([*walls, *water]),
    )


def _with_width(screens: gpd.GeoDataFrame) -> list[shapely.Geometry]:
    """Give walls and hedges as areas where their width is known."""
    width = (
        screens["width_m"].astype(float).fillna(0.0).to_numpy()
        if "width_m" in screens
        else np.zeros(len(screens))
    )
    return [
        shapely.buffer(shape, w / 2.0, cap_style="flat")
        if w > 0 and shape.geom_type.endswith("LineString")
        else shape
        for shape, w in zip(screens.geometry, width, strict=True)
    ]


def _parts(shapes, kind: shapely.GeometryType) -> np.ndarray:
    parts = shapely.get_parts(
        np.array([shape for shape in shapes if shape is not None], dtype=object)
    )
    return parts[shapely.get_type_id(parts) == kind]


def _areas(shapes, graze_m: float) -> shapely.Geometry:
    areas = _parts(shapes, shapely.GeometryType.POLYGON)
    return shapely.union_all(shapely.buffer(areas, -graze_m)) if len(areas) else _NO_AREA


def _lines(shapes) -> shapely.Geometry:
    lines = _parts(shapes, shapely.GeometryType.LINESTRING)
    return shapely.union_all(lines) if len(lines) else _NO_LINE
