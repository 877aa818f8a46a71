"""The local frame of a site: metres along the ground, x east, y north.

Inputs are brought into it once, when read, and outputs are sent out of it once, when written; in
between nobody knows a CRS.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.exceptions import ProjError

from screenplan.ground.datum import (
    AREA_HALF_DEG,
    STATE_BOTH,
    Transformation,
    find_transformation,
    ground_plane,
    horizontal,
    is_ground,
    is_on_earth,
    knows_north,
    knows_place,
    unbind,
)
from screenplan.ground.errors import refuse
from screenplan.ground.reproject import reproject
from screenplan.ground.said import said

#: What sends a layer out of the local frame, as `LocalFrame.send_out` does: ``send_out(layer, crs)``.
SendOut = Callable[[gpd.GeoDataFrame, CRS], gpd.GeoDataFrame]

#: Name of every local frame's CRS, as a desktop GIS shows it.
FRAME_NAME = "Local frame of the site, metres along the ground"
#: A box so many times wider in another CRS is torn by an end of the map; no CRS for land stretches so.
_TORN = 1000.0
#: A place comes back from another CRS to within this; changes of datum that are solved by steps leave
#: millimetres, another place on the map is metres away or more.
_COMES_BACK_M = 0.1


@dataclass(frozen=True)
class LocalFrame:
    """A transverse Mercator in metres, centred on the site, on the parcels' own datum.

    Its scale is 1 at the site's elevation (k0 = 1 + h/R), so that a metre of the frame is a metre
    of tape. Over a kilometre from its centre the scale changes by 1 in 10⁸.

    Parameters
    ----------
    crs : pyproj.CRS
        The frame itself.
    source_crs : pyproj.CRS
        Horizontal CRS of the parcels.
    lon0, lat0 : float or None
        The centre in degrees on the datum of the parcels, east of its own prime meridian; None if
        nobody said where on earth the site lies. Layers are then in the frame as they are.
    height_m : float or None
        Height of the site above the ellipsoid; None if not known, the scale is then 1 on the
        ellipsoid.
    scale : float
        k0; on a site without a place, metres per unit of ``source_crs``.
    origin : tuple of float
        Where the frame of a site without a place has its origin, in ``source_crs``.
    """

    crs: CRS
    source_crs: CRS
    lon0: float | None
    lat0: float | None
    height_m: float | None
    scale: float
    origin: tuple[float, float] = (0.0, 0.0)

    @classmethod
    def around(
        cls, gdf: gpd.GeoDataFrame | gpd.GeoSeries, height_m: float | None = None
    ) -> LocalFrame:
        """Lay a frame around the subject parcel.

        Parameters
        ----------
        gdf : GeoDataFrame or GeoSeries
            The subject, in any CRS that has a place on the earth.
        height_m : float, optional
            Height of the site above the ellipsoid in metres. A height above sea level does
            too, and costs up to 1.7 mm in 100 m (geoid heights reach about 106 m, R is 6371 km).

        Raises
        ------
        InputError
            If there is no CRS, it has no datum, or no coordinate can be transformed.

        Examples
        --------
        Web Mercator stretches by 2 at 60° north: 60 units of the map are 30 m of tape.

        >>> import geopandas, shapely
        >>> south = 8399737.9
        >>> lot = geopandas.GeoDataFrame(
        ...     geometry=[shapely.box(0, south, 60, south + 60)], crs="EPSG:3857"
        ... )
        >>> frame = LocalFrame.around(lot)
        >>> [round(end) for end in frame.bring_in(lot).total_bounds.tolist()]
        [-15, -15, 15, 15]
        >>> [round(degrees, 3) for degrees in frame.position_deg]
        [0.0, 60.0]
        """
        if gdf.crs is None:
            raise refuse(
                "The layer has no CRS",
                "State the CRS in which its coordinates are",
                layer=None,
                kind="system",
            )
        source = horizontal(CRS(gdf.crs))
        if source.is_engineering:
            return cls._in_plane(source, gdf)
        geodetic = _find_geodetic(source)
        try:
            to_degrees = Transformer.from_crs(
                unbind(source), geodetic, always_xy=True, allow_ballpark=False
            )
        except ProjError:
            raise refuse(
                f"The projection of the CRS '{source.name}' cannot be computed here",
                "Save the layer in another CRS",
                kind="system",
            ) from None
        xy = shapely.get_coordinates(np.asarray(gdf.geometry.array, dtype=object))
        factor = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
        lon, lat = (np.asarray(value) * factor for value in to_degrees.transform(*xy.T))
        possible = np.isfinite(lon) & (np.abs(lat) < 90.0)
        lon, lat = lon[possible], lat[possible]
        if not len(lon):
            raise refuse(
                f"No coordinate can lie in the CRS '{source.name}'",
                "State the CRS in which the coordinates really are",
                kind="system",
            )
        if np.ptp(lon) > 180.0:  # a site across the antimeridian
            lon = np.where(lon < 0.0, lon + 360.0, lon)
        lon0, lat0 = (float(v.min() + v.max()) / 2.0 for v in (lon, lat))
        scale = 1.0 if height_m is None else 1.0 + height_m / mean_radius(geodetic, lat0)
        return cls(
            crs=_build(geodetic, lon0, lat0, scale),
            source_crs=source,
            lon0=lon0,
            lat0=lat0,
            height_m=None if height_m is None else float(height_m),
            scale=scale,
        )

    @classmethod
    def _in_plane(cls, source: CRS, gdf: gpd.GeoDataFrame | gpd.GeoSeries) -> LocalFrame:
        """Lay a frame in the plane of a site grid, which has no place on earth."""
        if is_ground(source):
            return cls(source, source, None, None, None, 1.0)
        bounds = shapely.bounds(np.asarray(gdf.geometry.array, dtype=object)).reshape(-1, 4)
        bounds = bounds[np.isfinite(bounds).all(axis=1)]
        if not len(bounds):
            raise refuse(
                "No coordinate is a finite number", "Draw the outline anew", kind="geometry"
            )
        low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
        return cls(
            ground_plane(north=True),
            source,
            None,
            None,
            None,
            source.axis_info[0].unit_conversion_factor,
            tuple(((low + high) / 2.0).tolist()),
        )

    @property
    def is_plane(self) -> bool:
        """Whether the site has no longitude and latitude at all."""
        return self.lat0 is None

    @property
    def is_placed(self) -> bool:
        """Whether positions on earth can be given; on an unknown datum they may be off by hundreds of metres."""
        return not self.is_plane and knows_place(self.source_crs)

    @property
    def length_note(self) -> str:
        """What the frame's lengths are worth, in one sentence."""
        if self.is_plane:
            direction = "" if knows_north(self.crs) else " and in which direction"
            return f"It is not known where on earth{direction} the site lies; lengths are as given"
        if self.height_m is None:
            return said(
                "The site's height is not known: lengths are those at sea level, and a tape on "
                "the ground reads 0.016% more for each {1000 m} of height"
            )
        return said(f"Lengths are true at {{{self.height_m:.0f} m}} above the ellipsoid")

    @property
    def note(self) -> str:
        """What the frame is, for files that cannot say it otherwise."""
        if self.is_plane:
            axes = "x east, y north" if knows_north(self.crs) else "x along the row, y to its left"
            at = "" if is_ground(self.source_crs) else (
                f"; its origin is at {self.origin[0]:.4f}, {self.origin[1]:.4f} of '{self.source_crs.name}'"
            )  # fmt: skip
            return (
                f"Coordinates are metres of the site's own plane, {axes}{at}. {self.length_note!s}."
            )
        return (
            "Coordinates are metres of the site's local frame, x east, y north; its origin is at "
            f"longitude {self.lon0:.9f}, latitude {self.lat0:.9f} on the datum of the parcels. "
            f"{self.length_note!s}."
        )

    @property
    def position_deg(self) -> tuple[float, float] | None:
        """Longitude east of Greenwich and latitude of the site, degrees; None if not known."""
        if self.lon0 is None or self.lat0 is None:
            return None
        geodetic = self.crs.geodetic_crs
        assert geodetic is not None  # a frame on earth has one
        meridian = geodetic.prime_meridian
        assert meridian is not None
        east = self.lon0 + math.degrees(meridian.longitude * float(meridian.unit_conversion_factor))
        return (east + 180.0) % 360.0 - 180.0, self.lat0

    @cached_property
    def area(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the site in degrees from Greenwich, generously."""
        position = self.position_deg
        assert position is not None  # nobody asks for it in a plane
        east, north = position
        return (
            max(east - AREA_HALF_DEG, -180.0),
            max(north - AREA_HALF_DEG, -90.0),
            min(east + AREA_HALF_DEG, 180.0),
            min(north + AREA_HALF_DEG, 90.0),
        )

    @cached_property
    def _own(self) -> Transformer:
        """From the parcels' CRS into the frame: one datum, so a projection and nothing else."""
        if self.is_plane:
            return _shift(self.scale, self.origin)
        return Transformer.from_crs(
            unbind(self.source_crs), self.crs, always_xy=True, allow_ballpark=False
        )

    def transformation_from(
        self,
        crs: CRS,
        *,
        tolerance_m: float | None = None,
        file: str | None = None,
        layer: str | None = None,
    ) -> Transformation:
        """Choose the change of datum for a layer; see `screenplan.ground.datum.find_transformation`."""
        if self.is_plane:
            flat = horizontal(CRS(crs))
            shared = flat.equals(self.source_crs, ignore_axis_order=True)
            if is_ground(self.source_crs) and not is_ground(flat):
                raise refuse(
                    "It is not known where on earth the site lies, and this layer has a place",
                    "Make the parcel or the line anew with its place (screenplan start --at, and for "
                    "a length --bearing too), or leave the layer out",
                    file=file,
                    layer=layer,
                    kind="system",
                )
            if not shared and not is_ground(flat):
                raise refuse(
                    f"The parcels' CRS '{self.source_crs.name}' gives no place on a map of the earth, and "
                    f"this layer is in '{flat.name}'",
                    STATE_BOTH,
                    file=file,
                    layer=layer,
                    kind="system",
                )
            # A layer in the frame itself goes back to the parcels' CRS, and comes in again.
            back = not shared and not is_ground(self.source_crs)
            way = _shift(self.scale, self.origin, back=back)
            still = way if back else _shift(1.0, (0.0, 0.0))
            return Transformation(flat.name, self.source_crs.name, "none", 0.0, transformer=still)
        return find_transformation(
            CRS(crs),
            self.source_crs,
            area=self.area,
            tolerance_m=tolerance_m,
            file=file,
            layer=layer,
        )

    def project_in(self, geometries: np.ndarray, transformation: Transformation) -> np.ndarray:
        """Bring bare geometries in by a transformation already chosen; may hold infinities."""

        def transform(x, y):
            return self.points_in(x, y, transformation)

        unit = self._unit_of(transformation)
        return reproject(geometries, transform, metres_per_source_unit=unit)

    def project_out(self, geometries: np.ndarray, transformation: Transformation) -> np.ndarray:
        """Undo `project_in`."""

        def transform(x, y):
            return self.points_out(x, y, transformation)

        return reproject(geometries, transform, metres_per_unit=self._unit_of(transformation))

    def _unit_of(self, transformation: Transformation) -> float:
        return 1.0 if self.is_plane else transformation.unit_m

    def _turn_of(self, transformation: Transformation) -> float:
        """Give a whole turn in a CRS's unit; 0 if it counts no degrees."""
        return 0.0 if self.is_plane else transformation.turn

    def points_in(
        self, x: np.ndarray, y: np.ndarray, transformation: Transformation
    ) -> tuple[np.ndarray, np.ndarray]:
        """Undo `points_out`."""
        return self._own.transform(*transformation.transformer.transform(x, y))

    def points_out(
        self, x: np.ndarray, y: np.ndarray, transformation: Transformation
    ) -> tuple[np.ndarray, np.ndarray]:
        """Give points of the frame in the CRS from which a transformation comes."""
        return transformation.transformer.transform(
            *self._own.transform(x, y, direction="INVERSE"), direction="INVERSE"
        )

    def come_back(
        self, geometries: np.ndarray, moved: np.ndarray, transformation: Transformation
    ) -> np.ndarray:
        """Tell which geometries of a layer's CRS lie again where they lay, once in the frame and out.

        Beyond an end of the map a CRS's coordinates have a place on earth that has others.

        Parameters
        ----------
        geometries, moved : ndarray of Geometry, (n,)
            As they are in the layer, and as `project_in` brought them in.
        transformation : Transformation

        Returns
        -------
        ndarray of bool, (n,)
        """
        xy, owner = shapely.get_coordinates(geometries, return_index=True)
        unit, turn = self._unit_of(transformation), self._turn_of(transformation)
        with np.errstate(invalid="ignore"):
            x, y = shapely.get_coordinates(moved).T
            if len(x) != len(xy):  # edges were cut, so that vertices were added
                x, y = self.points_in(xy[:, 0], xy[:, 1], transformation)
            again = np.stack(self.points_out(x, y, transformation))
            across, along = np.abs(again - xy.T)
            if turn:
                across = np.minimum(across, np.abs(across - turn))
                across *= np.cos(2.0 * np.pi / turn * xy[:, 1])
        back = np.ones(len(geometries), dtype=bool)
        back[owner[~(np.hypot(across, along) * unit <= _COMES_BACK_M)]] = False
        return back

    def boxes_out(
        self, bounds: tuple[float, float, float, float], transformation: Transformation
    ) -> list[tuple[float, float, float, float]] | None:
        """Give the boxes of a layer's CRS in which all that meets a box of the frame lies.

        Degrees may be counted to 180 or to 360, so that a box of them is given thrice, the first
        one as the CRS counts. None stands for everywhere: no box holds what an end of the map
        tears, or what lies round a pole, or what cannot be in the CRS.
        """
        (box,) = self.project_out(np.array([shapely.box(*bounds)]), transformation)
        west, south, east, north = (float(value) for value in shapely.bounds(box))
        across = max(bounds[2] - bounds[0], bounds[3] - bounds[1])
        if not (east - west) * self._unit_of(transformation) < _TORN * across:
            return None
        turn = self._turn_of(transformation)
        return [(west + by, south, east + by, north) for by in ((0.0, turn, -turn) if turn else (0.0,))]  # fmt: skip

    def bring_in(
        self, gdf: gpd.GeoDataFrame, *, tolerance_m: float | None = None, layer: str | None = None
    ) -> gpd.GeoDataFrame:
        """Bring a layer into the frame.

        Parameters
        ----------
        gdf : GeoDataFrame
            In any CRS; heights are left out.
        tolerance_m : float, optional
            Refuse a change of datum that is less accurate; None takes the best at hand.
        layer : str, optional
            Its name, for messages.

        Returns
        -------
        GeoDataFrame
            A copy with the caller's index and columns, in metres of the frame.

        Raises
        ------
        InputError
            If there is no CRS, no usable change of datum, or a coordinate that cannot be in it.
        """
        if gdf.crs is None:
            raise refuse(
                "The layer has no CRS",
                "State the CRS in which its coordinates are",
                layer=layer,
                kind="system",
            )
        if gdf.crs == self.crs:
            return gdf.copy()
        transformation = self.transformation_from(gdf.crs, tolerance_m=tolerance_m, layer=layer)
        flat = shapely.force_2d(np.asarray(gdf.geometry.array, dtype=object))
        moved = self.project_in(flat, transformation)
        lost = find_lost(moved)
        if len(lost):
            raise refuse(
                f"Coordinates cannot lie in the CRS '{gdf.crs.name}'",
                "State the CRS in which the coordinates really are",
                layer=layer,
                rows=[int(row) + 1 for row in lost],
                kind="system",
            )
        return gdf.set_geometry(gpd.GeoSeries(moved, index=gdf.index, crs=self.crs))

    def send_out(self, gdf: gpd.GeoDataFrame, target_crs: CRS | str) -> gpd.GeoDataFrame:
        """Send a layer of the frame out into another CRS.

        Parameters
        ----------
        gdf : GeoDataFrame
            In metres of the frame.
        target_crs : pyproj.CRS or str
            Such as ``EPSG:4326`` or `source_crs`; its vertical part is left out.

        Returns
        -------
        GeoDataFrame
            A copy with the caller's index and columns. `transformation_from` the same CRS states
            its accuracy.

        Raises
        ------
        InputError
            If no transformation but a ballpark one is at hand.
        """
        target = horizontal(CRS(target_crs))
        if not self.is_placed and knows_place(target):
            raise refuse(
                "It is not known where on earth the site lies, and the file would hold places on earth",
                "Write a GeoPackage, state the CRS of the parcels, or make the parcel or the line anew with its place",
                kind="system",
            )
        transformation = self.transformation_from(target)
        moved = self.project_out(np.asarray(gdf.geometry.array, dtype=object), transformation)
        return gdf.set_geometry(gpd.GeoSeries(moved, index=gdf.index, crs=target))

    def to_dict(self) -> dict[str, object]:
        """Give plain values for a run record; `from_dict` reads them."""
        return {
            "crs_wkt": self.crs.to_wkt(),
            "source_crs_wkt": self.source_crs.to_wkt(),
            "lon0_deg": self.lon0,
            "lat0_deg": self.lat0,
            "height_m": self.height_m,
            "scale": self.scale,
        } | ({} if not self.is_plane else {"origin": list(self.origin)})

    @classmethod
    def from_dict(cls, record: Mapping[str, Any]) -> LocalFrame:
        """Rebuild a frame from a run record.

        Raises
        ------
        InputError
            If a value is missing or the CRS cannot be read.
        """
        try:
            source = CRS.from_wkt(record["source_crs_wkt"])
            if is_ground(source):
                return cls(source, source, None, None, None, 1.0)
            if source.is_engineering:
                x, y = record["origin"]
                plane, scale = ground_plane(north=True), float(record["scale"])
                return cls(plane, source, None, None, None, scale, (float(x), float(y)))
            lon0, lat0 = float(record["lon0_deg"]), float(record["lat0_deg"])
            scale, height = float(record["scale"]), record["height_m"]
            # Built anew: WKT keeps 15 digits, and the record's own numbers keep all.
            crs = _build(_find_geodetic(source), lon0, lat0, scale)
            return cls(crs, source, lon0, lat0, None if height is None else float(height), scale)
        except (KeyError, TypeError, ValueError, RuntimeError) as error:
            raise refuse(
                f"The run record holds no local frame ({error})",
                "Run the plan again to write a new record",
            ) from None


def mean_radius(geodetic: CRS, lat_deg: float) -> float:
    """Gaussian mean radius of curvature √(M N) at a latitude, metres.

    M = a (1 - e²) / (1 - e² sin² φ)^(3/2), N = a / (1 - e² sin² φ)^(1/2)
    (Snyder, Map Projections: A Working Manual, USGS 1395, 1987, equations 4-18 and 4-20).
    """
    ellipsoid = geodetic.ellipsoid
    assert ellipsoid is not None  # every geodetic CRS has one
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    e2 = 1.0 - (b / a) ** 2
    w2 = 1.0 - e2 * math.sin(math.radians(lat_deg)) ** 2
    return a * math.sqrt(1.0 - e2) / w2


def find_lost(geometries: np.ndarray) -> np.ndarray:
    """Positions of geometries that hold a coordinate which is not finite."""
    xy, owner = shapely.get_coordinates(geometries, return_index=True)
    return np.unique(owner[~np.isfinite(xy).all(axis=1)])


def _shift(scale: float, origin: tuple[float, float], *, back: bool = False) -> Transformer:
    """From a plane in units of ``scale`` metres into metres from an origin in it, or back."""
    x, y = (scale * end for end in origin)
    step = f"+proj=affine +s11={scale!r} +s22={scale!r} +xoff={-x!r} +yoff={-y!r}"
    return Transformer.from_pipeline(f"+proj=pipeline +step {'+inv ' if back else ''}{step}")


def _build(geodetic: CRS, lon0: float, lat0: float, scale: float) -> CRS:
    conversion = TransverseMercatorConversion(
        latitude_natural_origin=lat0,
        longitude_natural_origin=lon0,
        false_easting=0.0,
        false_northing=0.0,
        scale_factor_natural_origin=scale,
    )
    return ProjectedCRS(conversion, name=FRAME_NAME, geodetic_crs=geodetic)


def _find_geodetic(source: CRS) -> CRS:
    if not is_on_earth(source):
        raise refuse(
            f"The CRS '{source.name}' gives no place on a map of the earth",
            "Save the layer in a geographic or projected CRS",
            kind="system",
        )
    geodetic = unbind(source).geodetic_crs
    assert geodetic is not None  # `is_on_earth`
    return horizontal(geodetic)
