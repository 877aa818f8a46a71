"""The sides of the subject parcel, from real corner to real corner, and what lies across each."""

from __future__ import annotations

from collections import Counter

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops

from screenplan.contracts import SIDES
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import DEFAULTS, Options
from screenplan.site.compass import apart_deg, bearing_deg, compass_name
from screenplan.site.corners import Ring, find_corners, fitting_base
from screenplan.site.ownership import is_subject, outline_known, sound, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_DEG, steady_order

#: A neighbour is across a side if its parcel begins within this distance outside it.
BAND_M = 3.0
#: It may overlap the subject by this much, as parcels digitised apart do.
OVERLAP_M = 0.5
#: A road is across a side if its centre line is within this distance and no parcel lies between.
ROAD_REACH_M = 20.0
#: What is looked across at shorter steps than this adds nothing.
PROBE_STEP_M = 0.5
#: At most this many places along a side are looked from.
MOST_PROBES = 400
#: What is seen from less than this share of a side is not across it.
LEAST_SHARE = 0.1
#: A side is curved if it leaves its chord by more than this share of the chord's length.
CURVED_SHARE = 0.1
#: Lengths that differ by less are taken as equal when sides of one name are numbered.
EQUAL_M = 0.1


def find_sides(
    parcels: gpd.GeoDataFrame,
    roads: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> gpd.GeoDataFrame:
    """Cut the subject's outline into sides at its real corners.

    A corner is a change of direction of at least ``sides.corner`` over ``sides.base``, whatever the
    number of vertices: a wide arc is one side, a street corner that is chamfered or rounded is a
    corner, and what is shorter than about the base length (a jog, a spur) is no side of its own.
    A chamfered or rounded corner is cut in its middle. An outline with no corners, such as a
    circle, is cut where it reaches farthest to the north-east, north-west, south-west and
    south-east. Holes have no sides.

    Parameters
    ----------
    parcels : GeoDataFrame
        Contract ``parcels``, in metres; exactly one row with ``is_subject`` true. An empty layer,
        whose outline is not known, has no sides.
    roads : GeoDataFrame, optional
        Contract ``roads``, in metres: names what lies across a side that no parcel adjoins.
    plan : Options, optional
        Of it [sides]; the base is shortened on a parcel less than 10 m wide to 0.4 of its width.

    Returns
    -------
    GeoDataFrame
        Contract ``sides``. The sides run anticlockwise, the parcel on their left; together they
        are exactly the outline. They are listed in the order in which one walks them, from the
        one that faces north most nearly. Sides that share a name are numbered from the longest.

    Raises
    ------
    InputError
        If there is not exactly one subject.
    """
    if not outline_known(parcels):
        return layer_of_columns(
            SIDES, {column.name: [] for column in SIDES.columns}, [], parcels.crs
        )
    subject = subject_outline(parcels)
    parts = sorted(shapely.get_parts(subject), key=lambda part: -part.area)
    pieces: list[np.ndarray] = []
    bases: list[float] = []
    for part in parts:
        base = fitting_base(part, plan.sides.base)
        ring = Ring.around(part)
        cut = ring.cut(find_corners(ring, plan.sides.corner, base))
        pieces += _from_north(cut)
        bases += [base] * len(cut)
    lines = [shapely.LineString(piece) for piece in pieces]
    chords = np.array([piece[-1] - piece[0] for piece in pieces])
    bearings = bearing_deg(chords[:, 0], chords[:, 1])
    # Anticlockwise: the parcel is on the left, the outside a quarter turn to the right.
    facings = (bearings + 90.0) % 360.0
    lengths = shapely.length(np.array(lines))
    around = _Around(subject, parcels, roads)
    seen = [_look_across(line, base, around) for line, base in zip(lines, bases, strict=True)]
    return layer_of_columns(
        SIDES,
        {
            "side_id": _name_sides(lines, facings, lengths),
            "length_m": lengths,
            "chord_m": np.hypot(chords[:, 0], chords[:, 1]),
            "bearing_deg": bearings,
            "facing_deg": facings,
            "across": [name for name, _ in seen],
            "across_kind": [kind for _, kind in seen],
            "curved": [_is_curved(line, base) for line, base in zip(lines, bases, strict=True)],
        },
        lines,
        parcels.crs,
    )


def _from_north(pieces: list[np.ndarray]) -> list[np.ndarray]:
    """Begin the walk with the side that faces north most nearly, the longest of several."""
    chords = np.array([piece[-1] - piece[0] for piece in pieces])
    off = apart_deg(bearing_deg(chords[:, 0], chords[:, 1]) + 90.0, 0.0)
    norths = [piece[:, 1].mean() for piece in pieces]
    first = steady_order(
        (off, EQUAL_DEG), (-np.hypot(*chords.T), EQUAL_M), (np.negative(norths), EQUAL_M)
    )[0]
    return pieces[first:] + pieces[:first]


def _name_sides(lines: list, facings: np.ndarray, lengths: np.ndarray) -> list[str]:
    """Name each side by the compass, and number those of one name, the longest first.

    Of sides that are equally long, the one farther out in the direction of the name comes first.
    """
    names = [compass_name(facing) for facing in facings]
    often = Counter(names)
    middles = shapely.get_coordinates(shapely.centroid(np.array(lines)))
    out = np.column_stack([np.sin(np.radians(facings)), np.cos(np.radians(facings))])
    reach = np.sum(middles * out, axis=1)
    order = steady_order((-lengths, EQUAL_M), (-reach, EQUAL_M))
    numbered = list(names)
    count: Counter[str] = Counter()
    for item in order:
        if often[names[item]] > 1:
            count[names[item]] += 1
            numbered[item] = f"{names[item]}-{count[names[item]]}"
    return numbered


def _is_curved(line: shapely.LineString, base_m: float) -> bool:
    """Tell whether a side bends, its ends up to a base length (rounded corners) not counted."""
    if line.length > 4.0 * base_m:
        line = shapely.ops.substring(line, base_m, line.length - base_m)
    ends = shapely.get_coordinates(line)[[0, -1]]
    chord = shapely.LineString(ends)
    away = shapely.distance(shapely.points(shapely.get_coordinates(line)), chord).max()
    return bool(away > CURVED_SHARE * chord.length)


class _Around:
    """What may lie across a side: the neighbours' land, and the roads."""

    def __init__(self, subject, parcels: gpd.GeoDataFrame, roads: gpd.GeoDataFrame | None):
        neighbours = ~is_subject(parcels)
        land = sound(parcels.geometry.to_numpy()[neighbours])
        self.ids = parcels["parcel_id"].astype(str).to_numpy()[neighbours]
        self.land = shapely.STRtree(land)
        self.roads = roads if roads is not None and len(roads) else None
        if self.roads is not None:
            self.names = column_or(roads, "name")
            self.numbers = column_or(roads, "road_id", "")
            # A road behind a parcel, or behind the subject's own ground, is not across a side.
            own = shapely.buffer(subject, -2.0 * OVERLAP_M)
            self.walls = shapely.STRtree(np.concatenate([land, [own], roads.geometry.to_numpy()]))

    def road(self, which: int) -> str | None:
        """Name the road that is one of the walls; None if it is land."""
        road = which - len(self.ids) - 1
        return None if road < 0 else str(self.names[road] or self.numbers[road] or "road")


def _look_across(line: shapely.LineString, base_m: float, around: _Around) -> tuple[str, str]:
    """Look straight out from many places along a side, and name what is met most often."""
    count = int(np.clip(np.ceil(line.length / PROBE_STEP_M), 8, MOST_PROBES))
    s = (np.arange(count) + 0.5) * line.length / count
    here = shapely.get_coordinates(shapely.line_interpolate_point(line, s))
    half = base_m / 2.0
    ahead = shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.minimum(s + half, line.length))
    )
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(s - half, 0)))
    along = ahead - behind
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])

    by_parcel = _first_met(here, out, -OVERLAP_M, BAND_M, around.land)
    met: Counter[tuple[str, str]] = Counter(
        (around.ids[which], "parcel") for which in by_parcel if which >= 0
    )
    if around.roads is not None:
        free = np.flatnonzero(by_parcel < 0)
        for which in _first_met(here[free], out[free], OVERLAP_M, ROAD_REACH_M, around.walls):
            if (road := around.road(which)) is not None:
                met[road, "road"] += 1
    if not met:
        return "", "unknown"
    (name, kind), often = min(met.items(), key=lambda item: (-item[1], item[0]))
    return (name, kind) if often >= LEAST_SHARE * count else ("", "unknown")


def _first_met(
    here: np.ndarray, out: np.ndarray, start_m: float, end_m: float, things: shapely.STRtree
) -> np.ndarray:
    """Find the first thing on each probe, from ``start_m`` to ``end_m`` outward; -1 if none."""
    first = np.full(len(here), -1)
    if len(here) == 0 or len(things) == 0:
        return first
    begin = here + start_m * out
    probes = shapely.linestrings(np.stack([begin, here + end_m * out], axis=1))
    probe, thing = things.query(probes, predicate="intersects")
    shared = shapely.intersection(probes[probe], things.geometries[thing])
    away = shapely.distance(shared, shapely.points(begin)[probe])
    for item in np.lexsort((-thing, -away)):
        first[probe[item]] = thing[item]
    return first
