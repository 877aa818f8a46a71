"""Plants that stand already: what they stop as they grow, and the rows in whose gaps new ones may stand.

A standing plant is no obstacle but a plant, rooted and of today's height. Those along one side of the parcel at about
one distance from it are a row: its line runs through them, and on a little at either end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.ops import substring

from screenplan.contracts import PLANTING_LINES, PLANTS
from screenplan.contracts.tables import has_rows, layer_of
from screenplan.plan import Options
from screenplan.planting.existing import EXISTING_WITHIN_M, Standing, row_through, standing_plants
from screenplan.planting.mixes import kinds_in
from screenplan.planting.patterns import between_standing
from screenplan.planting.set_layers import STANDING_STOCK, species_standing
from screenplan.planting.species_model import Species
from screenplan.site.terrain import Terrain, ground_at

#: What the rows of standing plants are called.
ROW_NAME = "existing"
#: A row may be lengthened by so much at either end, metres (common practice, no source).
LONGER_M = 10.0
#: Half the length of the line of a plant that stands alone, metres.
ALONE_M = 0.5


@dataclass(frozen=True, eq=False)
class StandingRow:
    """Plants that stand in a row.

    Parameters
    ----------
    name : str
    line : LineString
        Through the plants, and `LONGER_M` on at either end.
    stations : ndarray, (plants,)
        Running distances of the plants on that line, rising.
    plants : tuple of Standing
        In that order.
    species : tuple of Species
        Of each.
    """

    name: str
    line: shapely.LineString
    stations: np.ndarray
    plants: tuple[Standing, ...]
    species: tuple[Species, ...]

    def free_stations(self, spacing_m: float) -> list[np.ndarray]:
        """Stations for new plants: before the first one that stands, between any two, and after the last."""
        first, last = self.stations[0], self.stations[-1]
        before = np.arange(first - spacing_m, -1e-9, -spacing_m)[::-1]
        after = np.arange(last + spacing_m, self.line.length + 1e-9, spacing_m)
        inside = [
            np.asarray(between_standing(a, b, spacing_m), float)
            for a, b in zip(self.stations[:-1], self.stations[1:], strict=True)
        ]
        return [before, *inside, after]


@dataclass(frozen=True, eq=False)
class StandingPlants:
    """All plants that stand.

    Parameters
    ----------
    rows : tuple of StandingRow
    notes : tuple of str
    """

    rows: tuple[StandingRow, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many there are."""
        return sum(len(row.plants) for row in self.rows)

    @property
    def stems(self) -> np.ndarray:
        """Their stems, points."""
        return np.array([plant.point for row in self.rows for plant in row.plants], object)

    @property
    def species(self) -> list[Species]:
        """Their species, in the order of their layer."""
        return [kind for row in self.rows for kind in row.species]

    @property
    def spacings_m(self) -> np.ndarray:
        """The usual distance between plants of each one's kind, metres."""
        return np.array([kind.usual_spacing_m for kind in self.species], float)

    def keep_off(self, spacing_m: float) -> shapely.Geometry:
        """Ground that new plants of that spacing leave to those that stand: half the spacing of either."""
        if not self.rows:
            return shapely.Polygon()
        return shapely.union_all(
            shapely.buffer(self.stems, 0.5 * (spacing_m + self.spacings_m), quad_segs=16)
        )

    def layers(
        self, crs, terrain: Terrain | None = None, added: Mapping[str, list[tuple]] | None = None
    ) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
        """Give lines and plants by their contracts, with new plants in the rows.

        Parameters
        ----------
        crs
            Of the layers.
        terrain : Terrain, optional
        added : mapping, optional
            By the name of a row, new plants as station, point, species key, stock and height.
        """
        lines, stems = [], []
        plants: list[dict[str, Any]] = []
        for row in self.rows:
            own = [
                (float(at), plant.point, kind.key, STANDING_STOCK, plant.height_m, True)
                for at, plant, kind in zip(row.stations, row.plants, row.species, strict=True)
            ]
            new = [(*plant, False) for plant in (added or {}).get(row.name, ())]
            every = sorted([*own, *new], key=lambda plant: plant[0])
            begin, end = every[0][0], every[-1][0]
            if end - begin < 2.0 * ALONE_M:
                begin, end = max(begin - ALONE_M, 0.0), min(end + ALONE_M, row.line.length)
            line = substring(row.line, begin, end)
            name = f"{row.name}-row1"
            lines.append(
                {
                    "line_id": name, "side_id": row.name, "row": 1, "offset_m": np.nan,
                    "length_m": line.length, "plantable_m": line.length, "geometry": line,
                }
            )  # fmt: skip
            ground = ground_at(terrain, shapely.get_coordinates([plant[1] for plant in every]))
            before = None
            for (at, point, species, stock, height, stands), z in zip(every, ground, strict=True):
                plants.append(
                    {
                        "plant_id": len(plants) + 1, "line_id": name, "side_id": row.name, "row": 1,
                        "station_m": at - begin, "slope_station_m": at - begin, "offset_m": np.nan,
                        "gap_before_m": np.nan if before is None else at - before, "ground_m": float(z),
                        "species": species, "stock": stock, "stock_height_m": float(height),
                        "existing": stands, "moved_m": 0.0,
                    }
                )  # fmt: skip
                stems.append(point)
                before = at
        return (
            layer_of(PLANTING_LINES, lines, [line["geometry"] for line in lines], crs),
            layer_of(PLANTS, plants, stems, crs),
        )


#: Where none stand.
NONE_STANDS = StandingPlants()


def find_standing(
    layers: Mapping[str, Any],
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> StandingPlants:
    """Find the plants that stand, and their rows.

    Parameters
    ----------
    layers : mapping
        Of them ``existing_screens`` of the kind ``plant``, and ``sides``.
    plan : Options
        A plant whose species is not given is taken to be the first of [plants].

    Raises
    ------
    InputError
        By row, if the height of a plant or its species is not known.
    """
    screens = layers.get("existing_screens")
    if not has_rows(screens) or "kind" not in screens.columns:
        return StandingPlants()
    nowhere = layer_of(PLANTING_LINES, [], [], screens.crs)
    found = standing_plants(screens, nowhere)
    if not found:
        return NONE_STANDS
    unknown = sum(plant.species is None for plant in found)
    notes: list[str] = []
    usual: tuple[Species, ...] = ()
    if unknown:
        usual = kinds_in(plan.plants.species, species_table)[:1]
        notes.append(
            f"the species of {unknown} standing plants is not given: they are taken for {usual[0].called}"
        )
    if plan.health.most_of_one_species is not None or plan.health.most_of_one_genus is not None:
        notes.append(
            "where plants stand already the design does not hold to the share that one species or genus may have: the "
            "table plant_health tells it of old and new plants together"
        )
    groups = _groups(found, layers.get("sides"))
    rows: list[StandingRow] = []
    for number, group in enumerate(groups, 1):
        name = ROW_NAME if len(groups) == 1 else f"{ROW_NAME} {number}"
        line = _line_through([found[k] for k in group], screens.crs)
        at = np.array([line.project(found[k].point) for k in group])
        order = np.argsort(at, kind="stable")
        own = tuple(found[group[k]] for k in order)
        species = tuple(
            species_standing(plant, species_table) if plant.species is not None else usual[0]
            for plant in own
        )
        rows.append(StandingRow(name, line, at[order], own, species))
    return StandingPlants(tuple(rows), tuple(notes))


def _groups(found: list[Standing], sides) -> list[np.ndarray]:
    """Group plants by the side that is nearest, and by their distance from it."""
    points = np.array([plant.point for plant in found], object)
    if not has_rows(sides):
        return [np.arange(len(points))]
    away = shapely.distance(points[:, None], sides.geometry.to_numpy()[None, :])
    nearest = away.argmin(axis=1)
    groups = []
    for side in np.unique(nearest):
        mine = np.flatnonzero(nearest == side)
        mine = mine[np.argsort(away[mine, side], kind="stable")]
        breaks = np.flatnonzero(np.diff(away[mine, side]) > EXISTING_WITHIN_M) + 1
        groups += np.split(mine, breaks)
    return groups


def _line_through(plants: list[Standing], crs) -> shapely.LineString:
    """Give the line through plants, longer at either end; of one alone a short one."""
    points = [plant.point for plant in plants]
    xy = np.unique(shapely.get_coordinates(points), axis=0)
    if len(xy) < 2:
        x, y = xy[0]
        return shapely.LineString([(x - ALONE_M, y), (x + ALONE_M, y)])
    layer = gpd.GeoDataFrame({"kind": ["plant"] * len(points)}, geometry=points, crs=crs)
    xy = shapely.get_coordinates(row_through(layer).geometry.iloc[0])
    ends = [_beyond(xy[1], xy[0]), _beyond(xy[-2], xy[-1])]
    return shapely.LineString([ends[0], *xy, ends[1]])


def _beyond(before, end) -> np.ndarray:
    way = (end - before) / np.hypot(*(end - before))
    return end + LONGER_M * way
