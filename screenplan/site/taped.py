"""What was measured by tape from a line, as layers of the site's frame like any others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

from screenplan.contracts import (
    BUILDINGS,
    EXISTING_SCREENS,
    PLANTING_LINE,
    PRIVATE_PLACES,
    WINDOWS,
    Contract,
)
from screenplan.contracts.tables import layer_of_columns
from screenplan.ground.datum import WGS84, ground_plane
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Options
from screenplan.plan.tape import Spot, Tape, Taped, TapedRectangle, TapedScreen, TapedShape
from screenplan.plan.values import instead_of
from screenplan.site.compass import bearing_deg, compass_name
from screenplan.site.given_windows import SNAP_M
from screenplan.site.outline import read_bearing
from screenplan.site.terrain import Terrain

#: Tapes that miss each other by no more than this meet on the line: a tape is read to a centimetre.
SLACK_M = 0.02
#: Cells of the ground that is laid through what was measured; what is measured stands on a level
#: patch of this half width, so that no cell's slope moves its foot.
CELL_M = 1.0
PATCH_M = 1.5
#: More cells than this each way, and they are made larger.
MOST_CELLS = 600


#: A side along which a tape is stretched straight leaves it by no more than this.
BEND_M = 0.1


@dataclass(frozen=True)
class TapeLine:
    """The straight line along which was measured, in a frame.

    Parameters
    ----------
    frame : LocalFrame
    zero, end : ndarray, (2,)
        Its pegs.
    note : str
        What a person should know of it.
    """

    frame: LocalFrame
    zero: np.ndarray
    end: np.ndarray
    note: str = ""


def line_of_side(tape: Tape, sides: gpd.GeoDataFrame, frame: LocalFrame) -> TapeLine:
    """Find the line from the zero peg to the end peg of the side that the tape names.

    Sides run with the parcel on their left: seen from it their right end is where they begin.

    Parameters
    ----------
    tape : Tape
    sides : GeoDataFrame
        Contract ``sides``, in the frame.
    frame : LocalFrame

    Raises
    ------
    InputError
        If there is no such side, or if it is not straight.
    """
    names = sides["side_id"].astype(str).to_list()
    if tape.side is None or tape.side not in names:
        raise refuse(
            f"the parcel has no side '{tape.side}'",
            instead_of(tape.side or "", names),
            key="tape.side",
        )
    course = sides.geometry.iloc[names.index(tape.side)]
    ends = shapely.get_coordinates(course)[[0, -1]]
    bend = shapely.hausdorff_distance(course, shapely.LineString(ends))
    if bend > BEND_M:
        raise refuse(
            f"side {tape.side} bends {{{bend:.1f} m}} off the straight line between its ends, and nothing is square to it",
            "Measure from a straight side, or give these things as layers",
            key="tape.side",
        )
    zero, end = ends if tape.garden == "left" else ends[::-1]
    where = compass_name(bearing_deg(*(zero - sides.geometry.union_all().centroid.coords[0])))
    hand = "right" if tape.garden == "left" else "left"
    note = (
        f"The tape along side {tape.side} begins at its {where} end, on the {hand} as seen from the garden, "
        "and runs straight to the other."
    )
    return TapeLine(frame, zero, end, note)


@dataclass(frozen=True)
class TapedSite:
    """What a tape's measures make.

    Parameters
    ----------
    frame : LocalFrame
        The site's frame, laid around the line.
    layers : dict of str to GeoDataFrame
        By contract name; rows in the plan's order. The planting line, if it was measured, is in a system of
        its own, in which the zero peg is x = 0, y = 0; the others are in the frame's.
    terrain : Terrain or None
        The ground through the heights that were measured; None if all of it is level.
    notes : tuple of str
        What a person should know.
    """

    frame: LocalFrame
    layers: dict[str, gpd.GeoDataFrame]
    terrain: Terrain | None = None
    notes: tuple[str, ...] = ()


def lay_tape(
    tape: Tape, plan: Options, *, houses_given: bool = False, line: TapeLine | None = None
) -> TapedSite:
    """Lay what was measured by tape into a frame of its own.

    Without a bearing the line runs along x, and beyond it is y where the garden is on the right.

    Parameters
    ----------
    tape : Tape
    plan : Options
        Of it [site].
    houses_given : bool
        Whether buildings are given as a layer too: a window then faces as its wall does.
    line : TapeLine, optional
        That of a side of the parcel; without it the tape's own line is laid, which is planted.

    Raises
    ------
    InputError
        By key and row: tapes that do not meet, a window that is inside a house or under the ground.
    """
    layers = {}
    if line is None:
        drawn = _line(tape)
        frame = LocalFrame.around(drawn, plan.site.height)
        line = TapeLine(frame, *shapely.get_coordinates(frame.bring_in(drawn).geometry.iloc[0]))
        # In the line's own system, whose x and y are counted from the zero peg, so that a table of
        # such can be read as it is.
        layers[PLANTING_LINE.name] = drawn.assign(line_id="1")
    ruler = _Ruler(line.zero, line.end, tape.garden)
    shapes: dict[str, list] = {}
    problems: list[Problem] = []
    way, reach = shapely.LineString([line.zero, line.end]), plan.site.reach
    for name, rows in tape.measured.items():
        shapes[name] = []
        for number, row in enumerate(rows, start=1):
            try:
                shape = ruler.shape(row)
                if (away := shapely.distance(shape, way)) > reach:
                    raise _MissedError(
                        f"it is {{{away:.1f} m}} from the line, and nothing farther than site.reach = "
                        f"{{{reach:g} m}} is looked at",
                        "Measure again, raise site.reach, or take it out",
                    )
            except _MissedError as missed:
                problems.append(
                    Problem(str(missed), missed.mend, key=f"tape.{name}", rows=[number])
                )
                continue
            shapes[name].append(shape)
    if problems:
        raise InputError(problems)
    houses = _houses(tape, shapes)
    for name, rows in tape.measured.items():
        columns = _COLUMNS[name](rows)
        if name == WINDOWS.name:
            columns |= _place_windows(rows, shapes[name], houses, ruler, houses_given)
        layers[name] = _layer(_CONTRACTS[name], shapes[name], line.frame, **columns)
    terrain = _terrain(tape, shapes, ruler, plan.site.reach)
    notes: tuple[str, ...] = (line.note,) if line.note else ()
    if terrain is not None:
        notes += (
            "The ground is taken to slope evenly between the line and what was measured by tape, "
            "and to be level beyond it: nobody measured what lies between.",
        )
    return TapedSite(line.frame, layers, terrain, notes)


def _line(tape: Tape) -> gpd.GeoDataFrame:
    """Lay the line into a system of its own: on earth, in a plane with a north, or in one without."""
    assert tape.length is not None  # a line without one is that of a side
    if tape.bearing is None:
        return gpd.GeoDataFrame(
            geometry=[shapely.LineString([(0.0, 0.0), (tape.length, 0.0)])],
            crs=ground_plane(north=False),
        )
    try:
        angle = math.radians(read_bearing(str(tape.bearing)))
    except InputError as error:
        raise InputError(replace(error.problems[0], key="tape.bearing")) from None
    way = shapely.LineString(
        [(0.0, 0.0), (tape.length * math.sin(angle), tape.length * math.cos(angle))]
    )
    if tape.at is None:
        return gpd.GeoDataFrame(geometry=[way], crs=ground_plane(north=True))
    place = gpd.GeoDataFrame(geometry=[shapely.Point(tape.at)], crs=WGS84)
    return gpd.GeoDataFrame(geometry=[way], crs=LocalFrame.around(place).crs)


class _MissedError(Exception):
    """A place that no tape finds; its text says why."""

    def __init__(self, what: str, mend: str):
        super().__init__(what)
        self.mend = mend


class _Ruler:
    """Puts what was measured along and away from the line into the frame."""

    def __init__(self, zero: np.ndarray, end: np.ndarray, garden: str):
        self.zero, self.length = zero, float(np.hypot(*(end - zero)))
        self.along = (end - zero) / self.length
        # Beyond the line is left of it, as seen from the zero peg, if the garden is on the right.
        left = np.array([-self.along[1], self.along[0]])
        self.beyond = left if garden == "right" else -left

    def place(self, along, beyond) -> np.ndarray:
        """Give x, y of distances along the line and beyond it."""
        return (
            self.zero
            + np.multiply.outer(np.asarray(along, float), self.along)
            + np.multiply.outer(np.asarray(beyond, float), self.beyond)
        )

    def read(self, spot: Spot) -> tuple[float, float]:
        """Give the distances along and beyond of a point.

        Two tapes, a from the zero peg and b from the end peg of a line of length L, meet at
        (a² − b² + L²) / 2L along it, as far off as Pythagoras leaves.
        """
        if spot.from_zero is None or spot.from_end is None:
            assert spot.along is not None  # a spot has tapes, or a place along the line and off it
            away = spot.beyond if spot.beyond is not None else -(spot.inside or 0.0)
            return spot.along, away
        a, b, line = spot.from_zero, spot.from_end, self.length
        short = max(line - a - b, abs(a - b) - line)
        if short > SLACK_M:
            raise _MissedError(
                f"the tapes do not meet: {{{a:g} m}} from the zero peg and {{{b:g} m}} from the end peg "
                f"of a line of {{{line:g} m}}",
                "Measure both again, each from its peg",
            )
        along = (a * a - b * b + line * line) / (2.0 * line)
        away = math.sqrt(max(a * a - along * along, 0.0))
        return along, away if spot.is_beyond else -away

    def shape(self, row: Taped):
        """Give the shape of a row: a point, a line or an outline."""
        if isinstance(row, TapedShape) and row.points:
            sides = [_with_side(row, spot) for spot in row.points]
            xy = self.place(*np.transpose([self.read(spot) for spot in sides]))
            if isinstance(row, TapedScreen) and row.kind == "plant":
                return shapely.MultiPoint(xy)
            return shapely.LineString(xy) if row.fewest == 2 else _outline(shapely.Polygon(xy))
        along, beyond = self.read(row)
        if not isinstance(row, TapedRectangle) or row.width is None or row.depth is None:
            return shapely.Point(self.place(along, beyond))
        half, far = 0.5 * row.width, beyond + (row.depth if beyond >= 0.0 else -row.depth)
        corners = self.place(
            [along - half, along + half, along + half, along - half], [beyond, beyond, far, far]
        )
        return _outline(shapely.Polygon(corners))

    def facing(self, out: np.ndarray) -> float:
        """Give the direction of a vector, degrees from the frame's north."""
        return math.degrees(math.atan2(out[0], out[1])) % 360.0


def _with_side(row: Taped, spot: Spot) -> Spot:
    """Give a corner the side on which its row usually lies."""
    if spot.from_zero is None or spot.side is not None or row.usual_side is None:
        return spot
    return spot.model_copy(update={"side": row.usual_side})


def _outline(outline):
    """Give an outline that runs anticlockwise, as layers have it."""
    if not outline.is_valid or outline.area <= 0.0:
        raise _MissedError(
            "its corners make no outline: its edges cross, or it has no area",
            "Give the corners in order, one way round",
        )
    return shapely.orient_polygons(outline)


def _houses(tape: Tape, shapes) -> list[tuple[str, object, float]]:
    """List identifier, outline and ground of each measured building."""
    outlines = shapes.get(BUILDINGS.name, ())
    return [
        (name, outline, row.ground)
        for name, outline, row in zip(_named(tape.buildings), outlines, tape.buildings, strict=True)
    ]


def _place_windows(rows, points, houses, ruler: _Ruler, houses_given: bool) -> dict[str, list]:
    """Give the columns of windows that hang on their walls: facing, house, and the sill above its floor."""
    names = [name for name, _, _ in houses]
    columns: dict[str, list] = {"facing_deg": [], "building_id": [], "sill_m": [], "height_m": []}
    problems = []
    for number, (row, point) in enumerate(zip(rows, points, strict=True), start=1):
        where: dict[str, Any] = {"key": "tape.windows", "rows": [number]}
        if row.house is not None and row.house not in names:
            problems.append(
                Problem(
                    f"the window is in house '{row.house}', which was not measured",
                    f"Write one of {', '.join(names)}" if names
                    else "Add it under [[tape.buildings]], or leave house out", **where,
                )
            )  # fmt: skip
            continue
        own = [house for house in houses if row.house in (None, house[0])]
        gaps = [shapely.distance(shapely.boundary(outline), point) for _, outline, _ in own]
        near = own[int(np.argmin(gaps))] if gaps and min(gaps) <= SNAP_M else None
        inside = [house for house in houses if shapely.contains(house[1], point)]
        if near is None and inside:
            name, outline, _ = inside[0]
            deep = shapely.distance(shapely.boundary(outline), point)
            problems.append(
                Problem(
                    f"the window is inside house '{name}', {{{deep:.1f} m}} from its nearest wall",
                    f"Measure to the wall that it is in: within {{{SNAP_M} m}} it is moved onto it", **where,
                )
            )  # fmt: skip
            continue
        if near is None and row.house is not None:
            problems.append(
                Problem(
                    f"the window is {{{min(gaps):.1f} m}} from every wall of its house '{row.house}'",
                    "Measure both again, or leave house out", **where,
                )
            )  # fmt: skip
            continue
        # The ground of a house is one height: where the window's differs, its sill does.
        sill = row.sill
        if near is not None and "ground" in row.model_fields_set:
            sill += row.ground - near[2]
        if near is not None and sill < 0.0:
            problems.append(
                Problem(
                    f"the window's sill is {{{-sill:g} m}} below the ground of house '{near[0]}'",
                    "Correct sill and ground; ground is that below the window, from the ground at the line", **where,
                )
            )  # fmt: skip
            continue
        facing = row.facing
        if facing is None and near is None and not houses_given:
            facing = ruler.facing(-ruler.beyond)
        columns["facing_deg"].append(facing)
        columns["building_id"].append(None if near is None else near[0])
        columns["sill_m"].append(sill)
        columns["height_m"].append(row.head - row.sill)
    if problems:
        raise InputError(problems)
    return columns


def _terrain(tape: Tape, shapes, ruler: _Ruler, reach_m: float) -> Terrain | None:
    """Lay the ground through the heights that were measured, level at the line and in the garden.

    Between them it is linear over triangles; outside them it is as high as the nearest.
    """
    patches = [
        (row.ground, shape)
        for name, ones in tape.measured.items()
        for row, shape in zip(ones, shapes[name], strict=True)
    ]
    if not any(ground for ground, _ in patches):
        return None
    whole = shapely.union_all([shape for _, shape in patches])
    step = np.arange(-reach_m, ruler.length + reach_m + PATCH_M, PATCH_M)
    along = np.concatenate([step, step])
    beyond = np.repeat([-PATCH_M, PATCH_M], len(step))
    places, levels = [ruler.place(along, beyond)], [np.zeros(2 * len(step))]
    for ground, shape in patches:
        patch = shapely.segmentize(shapely.buffer(shape, PATCH_M, cap_style="square"), PATCH_M)
        xy = shapely.get_coordinates(patch)
        places.append(xy)
        levels.append(np.full(len(xy), ground))
    known, heights = np.concatenate(places), np.concatenate(levels)
    # What is nearer to the line than a patch is at the line.
    off = (known - ruler.zero) @ ruler.beyond
    heights = np.where(np.abs(off) <= PATCH_M, 0.0, heights)
    known, once = np.unique(known, axis=0, return_index=True)
    heights = heights[once]
    line = shapely.LineString(ruler.place([0.0, ruler.length], [0.0, 0.0]))
    west, south, east, north = shapely.union(whole, line).buffer(2.0 * PATCH_M).bounds
    cell = max(CELL_M, max(east - west, north - south) / MOST_CELLS)
    x = np.arange(west, east + cell, cell)
    y = np.arange(south, north + cell, cell)
    nodes = np.stack(np.meshgrid(x, y), axis=-1)
    z = LinearNDInterpolator(known, heights)(nodes)
    nearest = NearestNDInterpolator(known, heights)(nodes)
    return Terrain(np.where(np.isnan(z), nearest, z), float(x[0]), float(y[0]), cell, cell)


def _layer(contract: Contract, shapes, frame: LocalFrame, **columns) -> gpd.GeoDataFrame:
    """Make a layer by its contract; columns that nobody measured are left to their defaults."""
    layer = layer_of_columns(contract, columns, shapes, frame.crs)
    many = layer.geom_type == "MultiPoint"
    if many.any():
        # Each plant of a row is a row of the layer, by the number of its stem.
        layer = layer.explode(index_parts=True)
        stems = layer.index.get_level_values(1) + 1
        ids = layer[contract.key] + np.where(
            many[layer.index.get_level_values(0)], [f" {k}" for k in stems], ""
        )
        layer = layer.assign(**{contract.key: ids}).reset_index(drop=True)
    return layer.drop(columns=[c.name for c in contract.columns if c.name not in columns])


def _named(rows: Sequence[Taped]) -> list[str]:
    """Give the identifiers: the names, or the numbers of the rows; a name that comes again gets its number."""
    found: list[str] = []
    for number, row in enumerate(rows, start=1):
        name = row.name or str(number)
        found.append(f"{name} ({number})" if name in found else name)
    return found


_CONTRACTS = {
    contract.name: contract for contract in (WINDOWS, PRIVATE_PLACES, BUILDINGS, EXISTING_SCREENS)
}
_COLUMNS = {
    WINDOWS.name: lambda rows: {
        "window_id": _named(rows),
        "name": [row.name for row in rows],
        "width_m": [row.width for row in rows],
    },
    PRIVATE_PLACES.name: lambda rows: {
        "place_id": _named(rows),
        "name": [row.name for row in rows],
    },
    BUILDINGS.name: lambda rows: {
        "building_id": _named(rows),
        "height_m": [row.height for row in rows],
        "storeys": [row.storeys for row in rows],
        "floor_m": [row.ground for row in rows],
        "roof": ["flat" if row.ridge is None else "ridge" for row in rows],
        "ridge_m": [row.ridge for row in rows],
    },
    EXISTING_SCREENS.name: lambda rows: {
        "screen_id": _named(rows),
        "kind": [row.kind for row in rows],
        "height_m": [row.height for row in rows],
        "width_m": [row.width for row in rows],
        "opacity": [row.opacity for row in rows],
        "species": [row.species for row in rows],
    },
}
