"""Windows that are given: each put on its wall, and completed, or refused with the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns
from screenplan.ground.faults import Faults
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.site.compass import apart_deg, unit_vector
from screenplan.site.facades import building_names
from screenplan.site.floors import floors_of
from screenplan.site.ownership import outline_known, parcels_of, sound, subject_id, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.terrain import ground_at
from screenplan.site.walls import ADJOINING_M, Walls, walls_of

#: A window that is given may be this far off its wall, and is moved onto it.
SNAP_M = 1.5
#: Of two walls that differ by less in their distance (at a corner), the better facing one counts.
CORNER_M = 0.3
#: A sill may be lower than the floor of its storey by this share of a storey (split levels).
SPLIT_SHARE = 0.5
#: A sill this little below a floor is taken to stand on it (a window down to the floor).
FLOOR_M = 0.05


@dataclass(frozen=True)
class LaidWindows:
    """What came of the windows that were given.

    Parameters
    ----------
    layer : GeoDataFrame
        Contract ``windows``: those from which a neighbour can look.
    own : tuple of str
        Identifiers of the windows in the subject's own buildings, which are left out.
    notes : tuple of str
        What a person should know before they trust the layer.
    """

    layer: gpd.GeoDataFrame
    own: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Spot:
    """Where a window is: its point, its building's row (-1 if none), its wall's normal."""

    xy: np.ndarray
    building: int
    normal_deg: float


class GivenWindows:
    """The site, as the windows that are given need it; see `screenplan.site.windows`."""

    def __init__(
        self,
        parcels: gpd.GeoDataFrame,
        buildings: gpd.GeoDataFrame | None,
        terrain,
        plan: Options,
    ):
        known = outline_known(parcels)
        self.subject = subject_outline(parcels) if known else shapely.Polygon()
        self.subject_id = subject_id(parcels) if known else None
        self.crs = parcels.crs
        self.terrain = terrain
        self.storey_height_m = plan.site.storey_height
        self.opening = (plan.windows.height, plan.windows.width)
        if buildings is None or len(buildings) == 0:
            self.footprints = np.empty(0, dtype=object)
            self.names, self.owner, self.floors = [], np.empty(0, dtype=object), np.empty(0)
        else:
            self.footprints = sound(buildings.geometry.to_numpy())
            self.names = building_names(buildings)
            self.owner = parcels_of(buildings, parcels)
            self.floors = floors_of(buildings, terrain)
        self.walls: dict[int, Walls] = {}

    def lay(self, windows: gpd.GeoDataFrame) -> LaidWindows:
        """Put every window on its wall and complete it.

        Raises
        ------
        InputError
            With every row that cannot be used.
        """
        ids = [
            str(row if name is None else name)
            for row, name in enumerate(column_or(windows, "window_id"), start=1)
        ]
        faults = Faults("windows")
        faults.note_doubles(ids, "Give each window its own window_id")
        columns: dict[str, list] = {column.name: [] for column in WINDOWS.columns}
        points, kept, own, notes = [], [], [], []
        numbers = {
            name: column_or(windows, name, np.nan).astype(float)
            for name in ("storey", "sill_m", "height_m", "width_m", "facing_deg")
        }
        names, apart = column_or(windows, "name"), column_or(windows, "set_apart")
        wanted = column_or(windows, "building_id")
        for row, (point, number) in enumerate(zip(windows.geometry, ids, strict=True)):
            given = {name: float(values[row]) for name, values in numbers.items()}
            try:
                spot = self._find_spot(point, given["facing_deg"], wanted[row])
                storey = self._find_storey(given["sill_m"], given["storey"])
            except _UnusableError as unusable:
                faults.note(row, f"window {number} {unusable}", unusable.mend)
                continue
            if self._is_own(spot):
                own.append(number)
                continue
            notes += self._doubts(number, spot, storey, given["sill_m"])
            facing = spot.normal_deg if math.isnan(given["facing_deg"]) else given["facing_deg"]
            rise = min(storey * self.storey_height_m, given["sill_m"])
            columns["window_id"].append(number)
            columns["name"].append(names[row] or f"window {number}")
            columns["building_id"].append(self.names[spot.building] if spot.building >= 0 else None)
            columns["storey"].append(storey)
            columns["sill_m"].append(given["sill_m"])
            for name, default in zip(("height_m", "width_m"), self.opening, strict=True):
                columns[name].append(default if math.isnan(given[name]) else given[name])
            columns["facing_deg"].append(facing % 360.0)
            columns["floor_m"].append(self._datum(spot) + rise)
            columns["derived"].append(False)
            columns["set_apart"].append(apart[row])
            points.append(shapely.Point(spot.xy))
            kept.append(row)
        faults.raise_any()
        if own:
            notes.append(
                f"{len(own)} windows are in the subject's own buildings and are left out: "
                + ", ".join(own)
            )
            if not kept:
                notes.append("no window of a neighbour is given")
        if kept and not len(self.footprints):
            notes.append(
                "No building is given: windows stand free, and their heights count from the ground below them"
            )
        layer = layer_of_columns(WINDOWS, columns, points, self.crs)
        layer.index = windows.index[kept]
        return LaidWindows(layer, tuple(own), tuple(map(said, notes)))

    def _find_spot(self, point, facing_deg: float, building_id) -> _Spot:
        if point is None or point.is_empty or not np.isfinite(shapely.get_coordinates(point)).all():
            raise _UnusableError("has no place", "Give it a point on its wall")
        at = shapely.get_coordinates(point)[0]
        near = self._buildings_near(point, building_id)
        if len(near) == 0:
            if math.isnan(facing_deg):
                raise _UnusableError(
                    f"has no wall within {{{SNAP_M} m}} and states no facing",
                    "Move it onto a wall of a building, or give its facing",
                )
            return _Spot(at, -1, facing_deg)
        faces = [
            (float(away), int(building), wall)
            for building in near
            for wall, away in enumerate(
                shapely.distance(self._walls(building).lines(), shapely.Point(at))
            )
        ]
        nearest = min(faces)[0]
        faces = [face for face in faces if face[0] <= nearest + CORNER_M]
        free = [face for face in faces if not self._is_covered(at, face)]
        if not free:
            raise _UnusableError(
                f"opens into another building beside {self.names[faces[0][1]]}",
                "Move it to an outer wall, or leave it out",
            )
        if math.isnan(facing_deg):
            chosen = min(free)
        else:
            outward = [face for face in free if apart_deg(self._normal(face), facing_deg) < 90.0]
            if not outward:
                raise _UnusableError(
                    f"faces {facing_deg:.0f}°, into its own building {self.names[min(free)[1]]}, "
                    f"whose wall faces {self._normal(min(free)):.0f}°",
                    "Turn the facing round, or leave it out to take the wall's",
                )
            chosen = min(outward)
        return _Spot(self._on_wall(at, chosen), chosen[1], self._normal(chosen))

    def _buildings_near(self, point, building_id) -> np.ndarray:
        if len(self.footprints) == 0:
            if building_id is not None:
                raise _UnusableError(
                    f"is in building {building_id}, but there is no building",
                    "Add the layer of buildings, or leave building_id out",
                )
            return np.empty(0, dtype=int)
        away = shapely.distance(shapely.boundary(self.footprints), point)
        if building_id is not None:
            rows = np.flatnonzero(np.array(self.names) == str(building_id))
            if len(rows) == 0:
                raise _UnusableError(
                    f"is in building {building_id}, which is not in the layer of buildings",
                    "Correct building_id, or leave it out to take the nearest building",
                )
            if away[rows].min() > SNAP_M:
                raise _UnusableError(
                    f"is {{{away[rows].min():.1f} m}} from every wall of its building {building_id}",
                    f"Move it onto the wall, to within {{{SNAP_M} m}}",
                )
            return rows[away[rows] <= SNAP_M]
        near = np.flatnonzero(away <= SNAP_M)
        if len(near) == 0:
            inside = np.flatnonzero(shapely.contains(self.footprints, point))
            if len(inside):
                raise _UnusableError(
                    f"is inside building {self.names[inside[0]]}, {{{away[inside[0]]:.1f} m}} from its "
                    "nearest wall",
                    f"Move it onto the wall, to within {{{SNAP_M} m}}",
                )
        return near

    def _find_storey(self, sill_m: float, storey: float) -> int:
        if not math.isfinite(sill_m) or sill_m < 0.0:
            raise _UnusableError(
                "has no height of its sill"
                if math.isnan(sill_m)
                else f"has its sill at {{{sill_m} m}}",
                "Give the height of its sill above the ground floor of its building",
            )
        if math.isnan(storey):
            return int((sill_m + FLOOR_M) // self.storey_height_m)
        floor = storey * self.storey_height_m
        if sill_m < floor - SPLIT_SHARE * self.storey_height_m:
            raise _UnusableError(
                f"has its sill at {{{sill_m:g} m}}, below the floor of storey {storey:.0f} at {{{floor:g} m}}",
                "Count the sill from the building's ground floor, not from its own storey's, "
                "or correct the storey",
            )
        return int(storey)

    def _walls(self, building: int) -> Walls:
        if building not in self.walls:
            self.walls[building] = walls_of(self.footprints[building])
        return self.walls[building]

    def _normal(self, face) -> float:
        return float(self._walls(face[1]).facing_deg[face[2]])

    def _on_wall(self, at: np.ndarray, face) -> np.ndarray:
        line = self._walls(face[1]).lines()[face[2]]
        on_face = shapely.get_coordinates(shapely.shortest_line(line, shapely.Point(at)))[0]
        outline = shapely.boundary(self.footprints[face[1]])
        return shapely.get_coordinates(shapely.shortest_line(outline, shapely.Point(on_face)))[0]

    def _is_covered(self, at: np.ndarray, face) -> bool:
        """Tell whether another building stands right before the wall at this place."""
        before = self._on_wall(at, face) + ADJOINING_M * np.array(unit_vector(self._normal(face)))
        inside = shapely.contains_xy(self.footprints, *before)
        inside[face[1]] = False
        return bool(inside.any())

    def _is_own(self, spot: _Spot) -> bool:
        if spot.building < 0:
            return bool(shapely.contains_xy(self.subject, *spot.xy))
        if self.subject_id is None:
            return False
        return self.owner[spot.building] == self.subject_id

    def _datum(self, spot: _Spot) -> float:
        if spot.building >= 0:
            return float(self.floors[spot.building])
        return float(ground_at(self.terrain, spot.xy)[0])

    def _doubts(self, number: str, spot: _Spot, storey: int, sill_m: float) -> list[str]:
        doubts = []
        if spot.building < 0 and len(self.footprints):
            doubts.append(
                f"window {number} has no building within {{{SNAP_M} m}}: it stands free, and its "
                "heights count from the ground below it"
            )
        if sill_m >= (storey + 1) * self.storey_height_m:
            doubts.append(
                f"window {number} has its sill above the ceiling of storey {storey}: "
                "nobody on that floor looks out of it"
            )
        return doubts


class _UnusableError(Exception):
    """A window that cannot be used; its text follows the window's name."""

    def __init__(self, what: str, mend: str):
        super().__init__(what)
        self.mend = mend
