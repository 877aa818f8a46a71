"""The ground around parcels that lie beside each other, read at once: each row is made ready once, and handed to every parcel that it matters to.

A parcel is handed what `screenplan.site.reading.read_site` would give it, in a frame that it shares with its
neighbours. Where that hangs on the parcel itself (rows that were mended together with others, outlines in parts, a
second record of the same outline), and where a row cannot be read, nothing is handed over: it is then read by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from screenplan.contracts.tables import has_rows
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.plan.site import Subject
from screenplan.site.buildings import fill_floors
from screenplan.site.facades import BESIDE_M, derive_windows_each
from screenplan.site.lots import Lots
from screenplan.site.overlaps import SLACK_M
from screenplan.site.places import lay_places_each
from screenplan.site.raster import RasterGround
from screenplan.site.reading import LayerSource, read_site
from screenplan.site.sides import ROAD_REACH_M, find_sides_each
from screenplan.site.site import Site
from screenplan.site.terrain import Later

#: Parcels whose middles lie in one cell of so many degrees share a frame, whatever else lies in the file. It reaches
#: 1.6 km from its middle at most, where its scale is 3 in 10⁸ and its north 0.01° off.
CELL_DEG = 0.02
#: Parcels of a map that is on no place of the earth share a frame by squares of so many units.
CELL_UNITS = 2000.0
#: All rows that are handed over lie nearer to each other.
FAR_M = 100_000.0
#: So often rows that cannot be read are left out.
MOST_TRIES = 5
#: Repairs that a row gets by itself, whatever is around it: these words stand in them.
_BY_ITSELF = ("storeys of", "rings turned")


def cells_of(parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Give the cell in which the middle of each parcel lies, (parcels, 2); NaN where it has none.

    Parameters
    ----------
    parcels : GeoDataFrame
        In their own CRS.
    """
    middle, (size, to_degrees) = _middles(parcels), _grid(parcels.crs)
    with np.errstate(invalid="ignore"):
        if to_degrees is not None:
            middle = np.column_stack(to_degrees.transform(*middle.T))
        cells = np.floor(middle / size)
    cells[~np.isfinite(cells).all(axis=1)] = np.nan
    return cells


def frame_of(cell: np.ndarray, parcels: gpd.GeoDataFrame, height_m: float | None) -> LocalFrame:
    """Lay the frame that the parcels of a cell share.

    Raises
    ------
    InputError
        If nobody can say where they lie.
    """
    if not np.isfinite(cell).all():
        raise refuse("No coordinate of it is a finite number", "Draw its outline anew")
    size, to_degrees = _grid(parcels.crs)
    x, y = ((float(place) + 0.5) * size for place in cell)
    if to_degrees is not None:
        x, y = to_degrees.transform(x, y, direction="INVERSE")
    return LocalFrame.around(gpd.GeoSeries([shapely.Point(x, y)], crs=parcels.crs), height_m)


def _middles(parcels: gpd.GeoDataFrame) -> np.ndarray:
    bounds = shapely.bounds(np.asarray(parcels.geometry.array, dtype=object)).reshape(-1, 4)
    return (bounds[:, :2] + bounds[:, 2:]) / 2.0


def _grid(crs) -> tuple[float, Transformer | None]:
    """Size of a cell, and the way from a CRS to its degrees, if it has a place on the earth."""
    geodetic = crs.geodetic_crs
    if geodetic is None or crs.is_engineering:
        return CELL_UNITS, None
    unit = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
    flat = geodetic.to_2d()
    return CELL_DEG / unit, Transformer.from_crs(crs, flat, always_xy=True)


@dataclass
class Together:
    """What was read around some parcels.

    Parameters
    ----------
    site : Site
        All rows, in the frame of the parcels; one of them is marked as the subject.
    trees : dict of str to STRtree
        The rows of each layer.
    rows : dict of str to int
        Where each parcel stands in the layer of parcels, by its identifier.
    odd : shapely geometry
        Ground near which a parcel is read by itself.
    ground : RasterGround, optional
        The terrain, of which each parcel is handed what it needs; level ground by default.
    laid : dict of str to dict
        By parcel, the sides, windows and places that were laid of all at once; see `lay_together`.
    """

    site: Site
    trees: dict[str, shapely.STRtree]
    rows: dict[str, int]
    odd: shapely.Geometry
    ground: RasterGround | None = None
    laid: dict[str, dict[str, gpd.GeoDataFrame]] = field(default_factory=dict)

    def site_of(self, parcel_id: str, reach_m: float) -> Site | None:
        """Give what lies within the reach of a parcel, it being the subject; None if it is to be read by itself."""
        place = self.rows.get(parcel_id)
        if place is None:
            return None
        parcels = self.site.layers["parcels"]
        subject = parcels.geometry.iloc[place]
        if subject.geom_type != "Polygon" or shapely.dwithin(self.odd, subject, reach_m):
            return None
        layers = {}
        for name, tree in self.trees.items():
            rows = np.sort(tree.query(subject, predicate="dwithin", distance=reach_m))
            layers[name] = self.site.layers[name].iloc[rows]
            if name == "parcels":
                land = layers[name]
                if _same_bounds(land.geometry.to_numpy(), subject).sum() > 1:
                    return None
                land["is_subject"] = rows == place
                land.index = pd.RangeIndex(len(land))
        return self._on_ground(layers, subject, reach_m, parcel_id)

    def _on_ground(self, layers: dict, subject, reach_m: float, parcel_id: str) -> Site | None:
        """Lay the ground of a parcel; None where the terrain does not know it."""
        terrain = self.site.terrain
        if self.ground is not None:
            west, south, east, north = subject.bounds
            box = (west - reach_m, south - reach_m, east + reach_m, north + reach_m)
            try:
                terrain, *_ = self.ground.read(box)
            except InputError:
                return None
            if "buildings" in layers:
                layers["buildings"] = fill_floors(layers["buildings"], terrain)
        return replace(self.site, layers=layers, terrain=terrain, subject_id=parcel_id)


def _same_bounds(shapes: np.ndarray, subject) -> np.ndarray:
    apart = np.abs(shapely.bounds(shapes) - np.array(subject.bounds)).max(axis=1)
    return apart <= SLACK_M


def read_together(
    near: Mapping[str, tuple[LayerSource, gpd.GeoDataFrame]],
    names: Sequence[str],
    plan: Plan,
    frame: LocalFrame,
    ground: RasterGround | None = None,
) -> Together | None:
    """Read all that lies around some parcels; None if each is to be read by itself.

    Parameters
    ----------
    near : mapping
        By layer, how its columns are called, and all its rows within the reach of any of them.
    names : sequence of str
        Identifiers of the parcels.
    plan : Plan
    frame : LocalFrame
        That of `frame_of`.
    ground : RasterGround, optional
        The terrain, open in that frame.
    """
    odd, tried = [], list(names)
    left = {name: table for name, (_, table) in near.items()}
    for _ in range(MOST_TRIES):
        if not tried:
            return None
        about = plan.site.model_copy(update={"reach": FAR_M})
        chosen = Subject.model_construct(id=tried[0], point=None)
        try:
            sources = {name: replace(near[name][0], file=table) for name, table in left.items()}
            site = read_site(
                sources, plan=plan.model_copy(update={"subject": chosen, "site": about}),
                terrain=None if ground is None else Later.GROUND, frame=frame,
            )  # fmt: skip
        except InputError as error:
            found = list(_out_of(left, error))
            if not found:
                return None
            for name, kept, shapes in found:
                odd.append((shapes, kept.crs))
                left[name] = kept
            held = set(left["parcels"]["parcel_id"].astype(str))
            tried = [name for name in tried if name in held]
            continue
        break
    else:
        return None
    placed = [box for shapes, crs in odd for box in _boxes(shapes, crs, frame)]
    placed += _mended(site, left, frame)
    layers = {name: layer for name, layer in site.layers.items() if hasattr(layer, "geometry")}
    if len(layers) < len(site.layers):
        return None
    ids = layers["parcels"]["parcel_id"].astype(str)
    rows = {name: place for place, name in enumerate(ids)}
    return Together(
        site,
        {name: shapely.STRtree(layer.geometry.to_numpy()) for name, layer in layers.items()},
        rows if len(rows) == len(ids) else {},
        shapely.union_all(placed),
        ground,
        lay_together(site, names, plan) if ground is None else {},
    )


def lay_together(
    site: Site, names: Sequence[str], plan: Plan
) -> dict[str, dict[str, gpd.GeoDataFrame]]:
    """Lay the sides and the private places of parcels, and the windows that look at them, of all at once.

    Each parcel has what it would have by itself, because nothing beyond its reach counts. Windows are laid where
    they are derived on level ground, from houses that have names; places where none are given.

    Parameters
    ----------
    site : Site
        All rows around the parcels.
    names : sequence of str
        Identifiers of the parcels.
    plan : Plan

    Returns
    -------
    dict of str to dict
        By parcel, its layers by name; nothing where one of them cannot be laid: then each is laid by itself, and
        the one that is to blame is told.
    """
    parcels, houses = site.layers["parcels"], site.layers.get("buildings")
    ids = parcels["parcel_id"].astype(str).to_numpy(dtype=object)
    outlines = shapely.get_type_id(parcels.geometry.to_numpy()) == shapely.GeometryType.POLYGON
    asked = outlines & np.isin(ids, list(names))
    if not asked.any() or plan.site.reach < ROAD_REACH_M:
        return {}
    lots = Lots(site.layers, np.flatnonzero(asked), plan.site.reach)
    laid = {}
    try:
        laid["sides"] = find_sides_each(lots, plan=plan)
        derived = plan.windows.derive and not has_rows(site.layers.get("windows"))
        named = has_rows(houses) and houses["building_id"].notna().all()
        if derived and named and plan.site.reach >= plan.windows.reach + BESIDE_M:
            laid["windows"], _ = derive_windows_each(lots, terrain=site.terrain, plan=plan)
        if not has_rows(site.layers.get("private_places")):
            laid["private_places"], _ = lay_places_each(lots, plan=plan)
    except Exception:  # what is wrong with one is told where it is laid by itself
        return {}
    return {
        name: {layer: many.of(lot) for layer, many in laid.items()}
        for lot, name in enumerate(lots.names)
    }


def _out_of(
    tables: Mapping[str, gpd.GeoDataFrame], error: InputError
) -> Iterator[tuple[str, gpd.GeoDataFrame, list]]:
    """Give the layers of which rows cannot be read, without them, and the outlines of these; nothing if it is not about rows."""
    bad: dict[str, set[int]] = {}
    for problem in error.problems:
        if problem.layer is None or problem.layer not in tables or not problem.rows:
            return
        bad.setdefault(problem.layer, set()).update(problem.rows)
    for name, rows in bad.items():
        frame = tables[name]
        at = np.isin(np.arange(1, len(frame) + 1), list(rows))
        yield name, frame[~at].reset_index(drop=True), list(frame.geometry[at])


def _mended(site: Site, tables: Mapping[str, gpd.GeoDataFrame], frame: LocalFrame) -> Iterator:
    """Give the boxes of rows that were mended, which may hang on what is around them."""
    repairs: pd.DataFrame = site.repairs
    for name, row, repair in zip(repairs["layer"], repairs["row"], repairs["repair"], strict=True):
        # What befell all rows is a habit of the file.
        alone = pd.isna(row) or any(words in str(repair) for words in _BY_ITSELF)
        if name in tables and not alone:
            table = tables[name]
            yield from _boxes([table.geometry.iloc[int(row) - 1]], table.crs, frame)


def _boxes(shapes: Sequence, crs, frame: LocalFrame) -> list:
    """Give the boxes of shapes that have one, in the frame."""
    bounds = shapely.bounds(np.array(shapes, dtype=object)).reshape(-1, 4)
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    return list(frame.project_in(shapely.box(*bounds.T), frame.transformation_from(crs)))
