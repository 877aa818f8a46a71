"""The sides of the subject parcel, from real corner to real corner, and what lies across each."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import SIDES
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import DEFAULTS, Options
from screenplan.site.compass import POINTS, apart_deg, bearing_deg, compass_point
from screenplan.site.corners import Rings, find_corners, fitting_bases
from screenplan.site.lots import Lots, Many
from screenplan.site.ownership import outline_known, sound, subject_outline
from screenplan.site.ragged import firsts, numbered, turned
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_DEG, steady_order_each

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
#: Lines of up to so many vertices are walked along together.
FEW_VERTICES = 16
#: What is seen from less than this share of a side is not across it.
LEAST_SHARE = 0.1
#: A side is curved if it leaves its chord by more than this share of the chord's length.
CURVED_SHARE = 0.1
#: Lengths that differ by less are taken as equal when sides of one name are numbered.
EQUAL_M = 0.1


def sides_at_roads(sides: gpd.GeoDataFrame | None) -> shapely.Geometry:
    """Give the sides across which a road lies as one geometry, empty if there is none."""
    if sides is None:
        return shapely.MultiLineString()
    return shapely.union_all(sides.geometry[column_or(sides, "across_kind") == "road"].to_numpy())


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
    subject_outline(parcels)
    layers = {"parcels": parcels} | ({} if roads is None else {"roads": roads})
    return find_sides_each(Lots.one(layers), plan=plan).layer


def find_sides_each(lots: Lots, *, plan: Options = DEFAULTS) -> Many:
    """Cut the outlines of several lots into sides; see `find_sides`.

    Parameters
    ----------
    lots : Lots
        Each has an outline, of some area. Around them ``roads``, if there are some. Their reach is `ROAD_REACH_M`
        at least.
    plan : Options, optional
        Of it [sides].

    Returns
    -------
    Many
        Contract ``sides``.
    """
    lines, bases, own = _cut_outlines(lots.outlines, plan)
    ends = shapely.get_coordinates([shapely.get_point(lines, k) for k in (0, -1)])
    chords = np.subtract(*ends.reshape(2, -1, 2)[::-1])
    bearings = bearing_deg(chords[:, 0], chords[:, 1])
    # Anticlockwise: the parcel is on the left, the outside a quarter turn to the right.
    facings = (bearings + 90.0) % 360.0
    lengths = shapely.length(lines)
    seen = look_across(lines, bases, own, Around.of(lots))
    columns = {
        "side_id": _name_sides(lines, own, facings, lengths),
        "length_m": lengths,
        "chord_m": np.hypot(chords[:, 0], chords[:, 1]),
        "bearing_deg": bearings,
        "facing_deg": facings,
        "across": [name for name, _ in seen],
        "across_kind": [kind for _, kind in seen],
        "curved": _are_curved(lines, bases),
    }
    crs = lots.around["parcels"].crs
    return Many(layer_of_columns(SIDES, columns, lines, crs), own, len(lots))


def _cut_outlines(outlines: np.ndarray, plan: Options) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cut outlines at their corners, the largest part of each first.

    Returns
    -------
    lines : ndarray of LineString, (sides,)
        Each part begins with the side that faces north most nearly, the longest of several.
    bases : ndarray, (sides,)
        The length over which each is looked at.
    own : ndarray of int, (sides,)
        The outline of each, ascending.
    """
    parts, of = shapely.get_parts(outlines, return_index=True)
    order = np.lexsort((-shapely.area(parts), of))
    parts, of = parts[order], of[order]
    bases = fitting_bases(parts, plan.sides.base)
    rings = Rings.around(parts)
    ring, corners = find_corners(rings, plan.sides.corner, bases)
    xy, count = rings.cut(ring, corners)
    first = firsts(count)
    chords = xy[first + count - 1] - xy[first]
    off = apart_deg(bearing_deg(chords[:, 0], chords[:, 1]) + 90.0, 0.0)
    norths = np.add.reduceat(xy[:, 1], first) / count
    order = steady_order_each(
        ring, (off, EQUAL_DEG), (-np.hypot(*chords.T), EQUAL_M), (-norths, EQUAL_M)
    )
    many = np.bincount(ring, minlength=len(parts))
    begin = order[firsts(many)] - firsts(many)
    piece, _ = numbered(count)
    lines = shapely.linestrings(xy, indices=piece)[turned(many, begin)]
    return lines, bases[ring], of[ring]


def _name_sides(
    lines: np.ndarray, own: np.ndarray, facings: np.ndarray, lengths: np.ndarray
) -> list[str]:
    """Name each side by the compass, and number those of one name of its own lot, the longest first.

    Of sides that are equally long, the one farther out in the direction of the name comes first.
    """
    point = compass_point(facings)
    often = Counter(zip(own.tolist(), point.tolist(), strict=True))
    middles = shapely.get_coordinates(shapely.centroid(lines))
    out = np.column_stack([np.sin(np.radians(facings)), np.cos(np.radians(facings))])
    reach = np.sum(middles * out, axis=1)
    order = steady_order_each(own, (-lengths, EQUAL_M), (-reach, EQUAL_M))
    names = [POINTS[number] for number in point.tolist()]
    count: Counter[tuple[int, int]] = Counter()
    for item, *kind in zip(order.tolist(), own[order].tolist(), point[order].tolist(), strict=True):
        same = tuple(kind)
        if often[same] > 1:
            count[same] += 1
            names[item] = f"{names[item]}-{count[same]}"
    return names


def _are_curved(lines: np.ndarray, base_m: np.ndarray) -> np.ndarray:
    """Tell which sides bend, their ends up to a base length (rounded corners) not counted."""
    curved = np.zeros(len(lines), dtype=bool)
    bent = np.flatnonzero(shapely.get_num_coordinates(lines) > 2)
    lines, length = lines[bent], shapely.length(lines[bent])
    end = np.where(length > 4.0 * base_m[bent], base_m[bent], 0.0)
    from_to = np.column_stack([end, length - end])
    ends = shapely.line_interpolate_point(lines[:, None], from_to)
    xy, of = shapely.get_coordinates(lines, return_index=True)
    on_line = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    first = firsts(np.bincount(of, minlength=len(lines)))
    at = np.cumsum(on_line)
    at -= at[first][of]
    between = (at > from_to[of, 0]) & (at < from_to[of, 1])
    chords = shapely.linestrings(shapely.get_coordinates(ends).reshape(-1, 2, 2))
    away = np.where(between, shapely.distance(shapely.points(xy), chords[of]), 0.0)
    if len(bent):
        most = np.maximum.reduceat(away, first)
        curved[bent] = most > CURVED_SHARE * shapely.length(chords)
    return curved


@dataclass(frozen=True, eq=False)
class Around:
    """What may lie across the sides of subjects: the parcels, theirs among them, and the roads.

    Parameters
    ----------
    land : ndarray of Geometry, (parcels,)
    land_ids : ndarray of object, (parcels,)
    own : ndarray of int, (subjects,)
        The parcel of each subject.
    roads : ndarray of Geometry, (roads,)
    road_names : ndarray of object, (roads,)
    """

    land: np.ndarray
    land_ids: np.ndarray
    own: np.ndarray
    roads: np.ndarray
    road_names: np.ndarray

    @classmethod
    def of(cls, lots: Lots) -> Around:
        """Take what lies around some lots, which are the subjects."""
        parcels, roads = lots.around["parcels"], lots.around.get("roads")
        land = sound(parcels.geometry.to_numpy())
        ids = parcels["parcel_id"].astype(str).to_numpy(dtype=object)
        lines, names = np.empty(0, dtype=object), np.empty(0, dtype=object)
        if roads is not None and len(roads):
            lines = roads.geometry.to_numpy()
            given = zip(column_or(roads, "name"), column_or(roads, "road_id", ""), strict=True)
            names = np.array([str(name or number or "road") for name, number in given], object)
        return cls(land, ids, lots.rows, lines, names)

    def called(self) -> list[tuple[str, str]]:
        """Give the name and the kind of each parcel, and then of each road."""
        names = [*self.land_ids.tolist(), *self.road_names.tolist()]
        kinds = ["parcel"] * len(self.land_ids) + ["road"] * len(self.road_names)
        return list(zip(names, kinds, strict=True))

    def shrunken(self) -> np.ndarray:
        """Give the subjects' own ground, without what a neighbour that was digitised apart may overlap."""
        return shapely.buffer(self.land[self.own], -2.0 * OVERLAP_M)


def look_across(
    lines: np.ndarray, base_m: np.ndarray, subject: np.ndarray, around: Around
) -> list[tuple[str, str]]:
    """Look straight out from many places along sides, and name what is met most often across each.

    Parameters
    ----------
    lines : ndarray of LineString, (sides,)
        Each with its subject on the left.
    base_m : ndarray, (sides,)
        The length over which a direction is taken.
    subject : ndarray of int, (sides,)
        The subject of each, by its place in ``around.own``.
    around : Around
        What may lie there.

    Returns
    -------
    list of (str, str)
        The name and the kind: ``parcel``, ``road`` or ``unknown``.
    """
    length = shapely.length(lines)
    count = np.clip(np.ceil(length / PROBE_STEP_M), 8, MOST_PROBES).astype(int)
    side, number = numbered(count)
    s = (number + 0.5) * length[side] / count[side]
    half = base_m[side] / 2.0
    here, ahead, behind = (
        points_along(lines, side, at)
        for at in (s, np.minimum(s + half, length[side]), np.maximum(s - half, 0))
    )
    along = ahead - behind
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])

    own = around.own[subject[side]]
    first = _first_met(here, out, (-OVERLAP_M, BAND_M), own, around.land)
    if len(around.roads):
        free = np.flatnonzero(first < 0)
        # A road behind a parcel, or behind the subject's own ground, is not across a side.
        beyond = _first_met(
            here[free], out[free], (OVERLAP_M, ROAD_REACH_M), own[free],
            np.concatenate([around.land, around.roads]), len(around.land),
            around.shrunken()[subject[side[free]]],
        )  # fmt: skip
        first[free] = np.where(beyond >= len(around.land), beyond, -1)
    met = first >= 0
    return _most_often(side[met], first[met], count, around.called())


def points_along(lines: np.ndarray, of: np.ndarray, s: np.ndarray) -> np.ndarray:
    """Give points of lines at running distances, (points, 2): ``of`` says which line each is on."""
    many = shapely.get_num_coordinates(lines)
    few = many <= FEW_VERTICES
    xy = np.empty((len(of), 2))
    rest = np.flatnonzero(~few[of])
    xy[rest] = shapely.get_coordinates(shapely.line_interpolate_point(lines[of[rest]], s[rest]))
    # To the last digit what GEOS gives, for all at once. Behind its last vertex a line stands still.
    vertices = np.full((len(lines), many[few].max(initial=1) + 1, 2), np.inf)
    line, number = numbered(many * few)
    vertices[line, number] = shapely.get_coordinates(lines[few])
    last = np.maximum(many * few - 1, 0)
    with np.errstate(invalid="ignore"):
        steps = np.diff(vertices, axis=1)
        length = np.sqrt(steps[..., 0] * steps[..., 0] + steps[..., 1] * steps[..., 1])
    end = np.cumsum(length, axis=1)
    some = np.flatnonzero(few[of])
    of, s = of[some], s[some]
    step = np.minimum((end[of] <= s[:, None]).sum(axis=1), last[of])
    begin = vertices[of, step]
    at_end = step == last[of]
    step = np.where(at_end, 0, step)
    before = np.where(step > 0, end[of, step - 1], 0.0)
    share = ((s - before) / length[of, step])[:, None]
    xy[some] = np.where(at_end[:, None], begin, begin + share * steps[of, step])
    return xy


def _most_often(
    side: np.ndarray, thing: np.ndarray, probes: np.ndarray, called: list[tuple[str, str]]
) -> list[tuple[str, str]]:
    """Name what is met most often across each side, of several the first by name.

    Parameters
    ----------
    side, thing : ndarray of int, (met,)
    probes : ndarray of int, (sides,)
        How many probes each side has.
    called : list of (str, str)
        Name and kind of each thing.
    """
    whats = sorted(set(called))
    number = {what: place for place, what in enumerate(whats)}
    of_thing = np.array([number[what] for what in called], dtype=int)
    both, often = np.unique(side * len(whats) + of_thing[thing], return_counts=True)
    side, what = np.divmod(both, max(len(whats), 1))
    order = np.lexsort((what, -often, side))
    order = order[np.diff(side[order], prepend=-1) > 0]
    order = order[often[order] >= LEAST_SHARE * probes[side[order]]]
    found = [("", "unknown")] * len(probes)
    for place, name in zip(side[order].tolist(), what[order].tolist(), strict=True):
        found[place] = whats[name]
    return found


def _first_met(
    here: np.ndarray,
    out: np.ndarray,
    reach: tuple[float, float],
    own: np.ndarray,
    things: np.ndarray,
    asked: int = 0,
    before: np.ndarray | None = None,
) -> np.ndarray:
    """Find the first thing on each probe, from one distance outward to another; -1 if none.

    Probes that meet none of the things from the one that is ``asked`` for on are not looked at. The thing that is
    a probe's ``own`` is passed over. What stands ``before`` a probe, if that is given, hides what is as far off
    or farther: then nothing is found.
    """
    first = np.full(len(here), -1)
    if not len(here) or not len(things):
        return first
    begin = here + reach[0] * out
    probes = shapely.linestrings(np.stack([begin, here + reach[1] * out], axis=1))
    probe, thing = _met_by(probes, own, things, asked)
    # Where a probe meets but one thing, and nothing stands before it, that is the first.
    hidden = np.zeros(len(here), dtype=bool)
    if before is not None:
        shapely.prepare(before)
        hidden[probe] = shapely.intersects(before[probe], probes[probe])
    which = np.flatnonzero((np.bincount(probe)[probe] > 1) | hidden[probe])
    away = np.zeros(len(probe))
    away[which] = _away(probes[probe[which]], begin[probe[which]], things[thing[which]])
    order = np.lexsort((thing, away, probe))
    probe, thing, away = probe[order], thing[order], away[order]
    nearest = np.concatenate([[True], probe[1:] != probe[:-1]])[: len(probe)]
    probe, thing, away = probe[nearest], thing[nearest], away[nearest]
    if before is not None:
        behind = np.flatnonzero(hidden[probe])
        nearer = _away(probes[probe[behind]], begin[probe[behind]], before[probe[behind]])
        seen = np.ones(len(probe), dtype=bool)
        seen[behind] = ~(nearer <= away[behind])
        probe, thing = probe[seen], thing[seen]
    first[probe] = thing
    return first


def _met_by(
    probes: np.ndarray, own: np.ndarray, things: np.ndarray, asked: int
) -> tuple[np.ndarray, np.ndarray]:
    """Find what each probe meets: pairs of a probe and a thing; see `_first_met`."""
    shapely.prepare(things)
    probe, thing = shapely.STRtree(things).query(probes)
    other = thing != own[probe]
    probe, thing = probe[other], thing[other]
    wanted = thing >= asked
    met = np.zeros(len(probe), dtype=bool)
    met[wanted] = shapely.intersects(things[thing[wanted]], probes[probe[wanted]])
    looked_at = np.zeros(len(probes), dtype=bool)
    looked_at[probe[met]] = True
    rest = ~wanted & looked_at[probe]
    met[rest] = shapely.intersects(things[thing[rest]], probes[probe[rest]])
    return probe[met], thing[met]


def _away(probes: np.ndarray, begin: np.ndarray, things: np.ndarray) -> np.ndarray:
    """Give how far from its beginning each probe meets a thing."""
    return shapely.distance(shapely.intersection(probes, things), shapely.points(begin))
