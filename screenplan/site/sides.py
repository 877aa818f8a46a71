"""The sides of the subject parcel, from real corner to real corner, and what lies across each."""

from __future__ import annotations

from collections import Counter

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import SIDES
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import DEFAULTS, Options
from screenplan.site.across import Around, look_across
from screenplan.site.compass import POINTS, apart_deg, bearing_deg, compass_point
from screenplan.site.corners import find_corners, fitting_bases
from screenplan.site.lots import Lots, Many
from screenplan.site.ownership import outline_known, subject_outline
from screenplan.site.ragged import firsts, numbered, turned
from screenplan.site.rings import Rings
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_DEG, steady_order_each

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
        Each has an outline, of some area. Around them ``roads``, if there are some. Their reach is `across.ROAD_REACH_M`
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
