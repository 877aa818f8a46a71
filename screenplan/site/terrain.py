"""The ground: a grid of heights in the local frame, or a flat site."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from pyproj import CRS

if TYPE_CHECKING:
    import shapely

#: A flat site's grid: two cells of this size each way, about the frame's centre.
FLAT_CELL_M = 1.0e6


@dataclass(frozen=True)
class TerrainSource:
    """Where the terrain comes from.

    Parameters
    ----------
    file : Path
        A GeoTIFF, Esri ASCII, SRTM, DTED, USGS DEM, Erdas Imagine or other raster that holds its cells itself.
    unit : str, optional
        Unit of its heights, such as ``"ft"``; by default the one that the raster states.
    extend : bool
        Go on flat, at the nearest known height, where it knows none.
    band : int
        Which band, from 1.
    crs : CRS or str, optional
        Its CRS, where the file states none or a wrong one: a code, WKT, or ``"as parcels"`` for that
        of a layer.
    """

    file: Path
    unit: str | None = None
    extend: bool = False
    band: int = 1
    crs: CRS | str | None = None


@dataclass(frozen=True)
class Terrain:
    """Heights of the ground on a regular grid of the local frame, bilinear between its nodes.

    Parameters
    ----------
    z : (rows, columns) array of float
        Heights in metres, at least 2 by 2; row 0 is the southernmost.
    x0, y0 : float
        Centre of cell [0, 0] in metres.
    dx, dy : float
        Cell size in metres.
    """

    z: np.ndarray
    x0: float
    y0: float
    dx: float
    dy: float

    def __post_init__(self):
        z = np.array(self.z, dtype=float, order="C")
        if z.ndim != 2 or min(z.shape) < 2:
            raise ValueError(f"z must have at least 2 rows and 2 columns, not shape {z.shape}")
        if not np.isfinite(z).all():
            raise ValueError("z must be finite throughout")
        if not (self.dx > 0.0 and self.dy > 0.0):
            raise ValueError(f"dx and dy must be positive, not {self.dx} and {self.dy}")
        z.flags.writeable = False
        object.__setattr__(self, "z", z)

    @classmethod
    def flat(cls, z: float = 0.0) -> Terrain:
        """Lay a level site.

        Parameters
        ----------
        z : float
            Its height in metres.

        Examples
        --------
        >>> float(Terrain.flat(12.0).height_at(7.0, -3.0))
        12.0
        """
        half = FLAT_CELL_M / 2.0
        return cls(np.full((2, 2), float(z)), -half, -half, FLAT_CELL_M, FLAT_CELL_M)

    @property
    def is_flat(self) -> bool:
        """True if all nodes have one height."""
        return bool((self.z == self.z[0, 0]).all())

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the nodes in metres."""
        rows, columns = self.z.shape
        return (
            self.x0,
            self.y0,
            self.x0 + (columns - 1) * self.dx,
            self.y0 + (rows - 1) * self.dy,
        )

    def node_errors(self) -> np.ndarray:
        """Give the error of heights in the cells about each node, as far as bends tell, metres.

        In the middle of a cell bilinear heights are out by (dx² z_xx + dy² z_yy) / 8, and the
        second differences of the nodes are dx² z_xx and dy² z_yy. What is smaller than a cell, a
        kerb or a low wall, no node shows.
        """
        z = self.z
        bend = np.zeros_like(z)
        bend[:, 1:-1] += np.abs(z[:, 2:] - 2.0 * z[:, 1:-1] + z[:, :-2])
        bend[1:-1] += np.abs(z[2:] - 2.0 * z[1:-1] + z[:-2])
        return bend / 8.0

    @property
    def cell_error_m(self) -> float:
        """Error of heights between the nodes that 95 of 100 nodes keep (`node_errors`), metres."""
        return float(np.percentile(self.node_errors(), 95.0))

    def height_at(self, x: ArrayLike, y: ArrayLike) -> np.ndarray:
        """Height of the ground.

        Bilinear: z = z00 + u (z10 - z00) + v (z01 - z00) + u v (z11 - z10 - z01 + z00), with u
        and v the shares of a cell. Written in differences, a level cell gives its height exactly.

        Parameters
        ----------
        x, y : array_like of float
            Points in metres, any shapes that broadcast.

        Returns
        -------
        ndarray of float
            Heights in metres. Beyond the grid the height of its edge goes on.

        Examples
        --------
        >>> ground = Terrain(np.array([[0.0, 3.0], [0.0, 3.0]]), 0.0, 0.0, 4.0, 4.0)
        >>> float(ground.height_at(2.0, 1.0))
        1.5
        """
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        z = self.z
        if self.is_flat:
            return np.where(np.isfinite(x) & np.isfinite(y), z[0, 0], np.nan)
        rows, columns = z.shape
        across = np.clip((x - self.x0) / self.dx, 0.0, columns - 1.0)
        along = np.clip((y - self.y0) / self.dy, 0.0, rows - 1.0)
        return bilinear(z, across, along)

    def mean_under(self, polygon: shapely.Geometry, spacing_m: float | None = None) -> float:
        """Mean height of the ground under a polygon, by a regular sample of at least 16 points.

        Parameters
        ----------
        polygon : shapely Polygon or MultiPolygon
            In metres.
        spacing_m : float, optional
            Distance of the sample points; by default half a cell, or less for a small polygon.
        """
        import shapely

        if self.is_flat:
            return float(self.z[0, 0])
        west, south, east, north = polygon.bounds
        if spacing_m is None:
            spacing_m = min(self.dx / 2.0, self.dy / 2.0, max(polygon.area, 1e-6) ** 0.5 / 4.0)
        columns = max(int(np.ceil((east - west) / spacing_m)), 1)
        rows = max(int(np.ceil((north - south) / spacing_m)), 1)
        x = west + (np.arange(columns) + 0.5) * (east - west) / columns
        y = south + (np.arange(rows) + 0.5) * (north - south) / rows
        x, y = (grid.ravel() for grid in np.meshgrid(x, y))
        inside = shapely.contains_xy(polygon, x, y)
        if not inside.any():  # a sliver between the sample points
            point = polygon.representative_point()
            return float(self.height_at(point.x, point.y))
        return float(self.height_at(x[inside], y[inside]).mean())

    def slope_length(self, x: ArrayLike, y: ArrayLike) -> np.ndarray:
        """Give the running distance along the ground over a chain of points.

        Parameters
        ----------
        x, y : (n,) array_like of float
            The points in metres.

        Returns
        -------
        (n,) ndarray of float
            Metres that a tape lying on the ground reads at each point, 0 at the first. On a plane
            it is the level distance times √(1 + slope²). A leg is followed in steps of at most
            half a cell.

        Examples
        --------
        On ground that rises 3 m in 4 m the tape reads 5 m.

        >>> ground = Terrain(np.array([[0.0, 3.0], [0.0, 3.0]]), 0.0, 0.0, 4.0, 4.0)
        >>> ground.slope_length([0.0, 4.0], [2.0, 2.0]).tolist()
        [0.0, 5.0]
        """
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        legs = np.hypot(np.diff(x), np.diff(y))
        if self.is_flat or len(x) < 2:
            return np.concatenate([np.zeros(min(len(x), 1)), np.cumsum(legs)])
        steps = np.maximum(np.ceil(legs / (0.5 * min(self.dx, self.dy))).astype(int), 1)
        # Position along the chain in legs: 0, 1/3, 2/3, 1, 1.5, 2, …
        at = np.concatenate(
            [[0.0], *(leg + np.arange(1, n + 1) / n for leg, n in enumerate(steps))]
        )
        nodes = np.arange(len(x))
        fine_x, fine_y = np.interp(at, nodes, x), np.interp(at, nodes, y)
        rise = np.diff(self.height_at(fine_x, fine_y))
        pieces = np.hypot(np.repeat(legs / steps, steps), rise)
        run = np.concatenate([[0.0], np.cumsum(pieces)])
        return run[np.concatenate([[0], np.cumsum(steps)])]


def bilinear(z: np.ndarray, across: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Interpolate a grid at fractional column and row positions inside it; see `height_at`."""
    column = np.clip(np.floor(across).astype(int), 0, z.shape[1] - 2)
    row = np.clip(np.floor(along).astype(int), 0, z.shape[0] - 2)
    u, v = across - column, along - row
    z00, z10 = z[row, column], z[row, column + 1]
    z01, z11 = z[row + 1, column], z[row + 1, column + 1]
    return z00 + u * (z10 - z00) + v * (z01 - z00) + u * v * ((z11 - z10) - (z01 - z00))


def ground_at(terrain: Terrain | None, xy) -> np.ndarray:
    """Heights of the ground at positions, 0 where no terrain is known, (positions,).

    Parameters
    ----------
    terrain : Terrain or None
        Anything with ``height_at(x, y)``.
    xy : array_like, (positions, 2)

    Examples
    --------
    >>> ground_at(None, [[3.0, 4.0]]), ground_at(Terrain.flat(12.0), [[3.0, 4.0]])
    (array([0.]), array([12.]))
    """
    x, y = np.reshape(np.asarray(xy, float), (-1, 2)).T
    return np.zeros(len(x)) if terrain is None else np.asarray(terrain.height_at(x, y), float)
