"""The ground around parcels that lie beside each other, read at once: each row is made ready once, for every parcel that it matters to.

A parcel is planned from what `screenplan.site.reading.read_site` would give it, in a frame that it shares with its
neighbours. Where that hangs on the parcel itself (rows that were mended together with others, outlines in parts, a
second record of the same outline, half a house), and where a row cannot be read, the parcel is left out: it is then read by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.plan.site import Subject
from screenplan.site.across import ROAD_REACH_M
from screenplan.site.lots import Lots
from screenplan.site.overlaps import SLACK_M
from screenplan.site.ownership import share_a_house
from screenplan.site.reading import LayerSource, read_site
from screenplan.site.site import Site
from screenplan.site.terrain import Terrain
from screenplan.site.wall_places import BESIDE_M

#: All rows that are handed over lie nearer to each other.
FAR_M = 100_000.0
#: So often rows that cannot be read are left out.
MOST_TRIES = 5
#: Repairs that a row gets by itself, whatever is around it: these words stand in them.
_BY_ITSELF = ("storeys of", "rings turned")


@dataclass(frozen=True, eq=False)
class Together:
    """What was read around some parcels.

    Parameters
    ----------
    site : Site
        All rows, in the frame of the parcels; one of them is marked as the subject.
    rows : dict of str to int
        Where each parcel stands in the layer of parcels, by its identifier.
    odd : shapely geometry
        Ground near which a parcel is read by itself.
    halves : ndarray of bool, (parcels,)
        Parcels on which half a house stands: whose it is hangs on who is asked.
    """

    site: Site
    rows: dict[str, int]
    odd: shapely.Geometry
    halves: np.ndarray

    def plain(self, names: Sequence[str], reach_m: float) -> np.ndarray:
        """Tell which parcels may be planned with others, from what was read here, (names,).

        Parameters
        ----------
        names : sequence of str
            Identifiers of parcels.
        reach_m : float
            What lies farther from a parcel does not matter to it.
        """
        parcels = self.site.layers["parcels"].geometry.to_numpy()
        rows = np.array([self.rows.get(name, -1) for name in names], dtype=int)
        known = np.flatnonzero(rows >= 0)
        own = parcels[rows[known]]
        found = shapely.get_type_id(own) == shapely.GeometryType.POLYGON
        shapely.prepare(self.odd)
        found &= ~self.halves[rows[known]]
        found &= ~shapely.dwithin(self.odd, own, reach_m)
        # A second record of an outline is told where the parcel is read by itself.
        lot, other = shapely.STRtree(parcels).query(own, predicate="intersects")
        apart = np.abs(shapely.bounds(parcels[other]) - shapely.bounds(own[lot])).max(axis=1, initial=0.0)  # fmt: skip
        found &= np.bincount(lot[apart <= SLACK_M], minlength=len(own)) <= 1
        plain = np.zeros(len(names), dtype=bool)
        plain[known[found]] = True
        return plain

    def lots(self, names: Sequence[str], reach_m: float) -> Lots:
        """Give parcels as lots among all that was read."""
        rows = np.array([self.rows[name] for name in names], dtype=int)
        return Lots(self.site.layers, rows, reach_m)


def read_together(
    near: Mapping[str, tuple[LayerSource, gpd.GeoDataFrame]],
    names: Sequence[str],
    plan: Plan,
    frame: LocalFrame,
    terrain: Terrain | None = None,
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
    terrain : Terrain, optional
        The ground, by default level.
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
                terrain=terrain, frame=frame, warn=False,
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
    if not _can_be_planned_together(site, plan):
        return None
    placed = [box for shapes, crs in odd for box in _boxes(shapes, crs, frame)]
    placed += _mended(site, left, frame)
    if not all(hasattr(layer, "geometry") for layer in site.layers.values()):
        return None
    ids = site.layers["parcels"]["parcel_id"].astype(str)
    rows = {name: place for place, name in enumerate(ids)}
    houses, parcels = site.layers.get("buildings"), site.layers["parcels"]
    halves = np.zeros(len(parcels), dtype=bool)
    if has_rows(houses):
        halves = share_a_house(houses, parcels)
    return Together(site, rows if len(rows) == len(ids) else {}, shapely.union_all(placed), halves)


def _can_be_planned_together(site: Site, plan: Plan) -> bool:
    """Tell whether all that the steps of a county look at lies within the reach, and is theirs for many lots."""
    given = any(has_rows(site.layers.get(name)) for name in ("windows", "private_places"))
    return not given and plan.site.reach >= max(ROAD_REACH_M, plan.windows.reach + BESIDE_M)


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
