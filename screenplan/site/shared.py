"""Boundaries that lots share: where a side of one runs along a side of another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import geopandas as gpd
import numpy as np
import shapely

from screenplan.site.overlaps import SLACK_M
from screenplan.site.steady import natural_key

#: A shared stretch that is shorter is a corner at which two lots meet.
LEAST_SHARED_M = 2.0


@dataclass(frozen=True, eq=False)
class Shared:
    """A stretch of boundary that belongs to two lots.

    Parameters
    ----------
    lots : tuple of 2 str
        Identifiers, in the order in which people count.
    sides : tuple of 2 str
        The side of each that runs along it.
    lines : tuple of 2 LineString
        The stretch as each side has it, anticlockwise round its own lot: they run against each other.
    """

    lots: tuple[str, str]
    sides: tuple[str, str]
    lines: tuple[shapely.LineString, shapely.LineString]


def find_shared(sides: Mapping[str, gpd.GeoDataFrame]) -> list[Shared]:
    """Find the stretches that the sides of lots have in common.

    Lots that were digitised apart may leave a gap or overlap of `SLACK_M` between them.

    Parameters
    ----------
    sides : mapping of str to GeoDataFrame
        The sides of each lot, by its identifier: contract ``sides``, in metres.

    Returns
    -------
    list of Shared
        By pairs of lots, then in the order of the first one's sides.

    Examples
    --------
    >>> one = gpd.GeoDataFrame({"side_id": ["east"]}, geometry=[shapely.LineString([(20, 0), (20, 30)])])
    >>> two = gpd.GeoDataFrame({"side_id": ["west"]}, geometry=[shapely.LineString([(20, 40), (20, 10)])])
    >>> [(found.lots, found.lines[0].length) for found in find_shared({"9": one, "10": two})]
    [(('9', '10'), 20.5)]
    """
    found = []
    for pair in combinations(sorted(sides, key=natural_key), 2):
        ours, theirs = (sides[lot] for lot in pair)
        near = shapely.STRtree(theirs.geometry.to_numpy()).query(
            ours.geometry.to_numpy(), predicate="dwithin", distance=SLACK_M
        )
        for one, other in sorted(zip(*near.tolist(), strict=True)):
            found += _between(pair, (ours.iloc[one], theirs.iloc[other]))
    return found


def _between(pair: tuple[str, str], sides) -> list[Shared]:
    first, second = (side.geometry for side in sides)
    one, other = (str(side["side_id"]) for side in sides)
    found = []
    for line in _stretches(first, second):
        beside = max(_stretches(second, line), key=shapely.length, default=None)
        if beside is not None:
            found.append(Shared(pair, (one, other), (line, beside)))
    return found


def _stretches(side: shapely.LineString, other: shapely.LineString) -> list[shapely.LineString]:
    """Give the stretches of a side that run along another line, in their order, each long enough."""
    beside = shapely.intersection(side, shapely.buffer(other, SLACK_M))
    parts = shapely.get_parts(shapely.line_merge(beside))
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING]
    parts = parts[shapely.length(parts) >= LEAST_SHARED_M]
    ends = shapely.line_locate_point(side, shapely.get_point(parts, 0))
    after = shapely.line_locate_point(side, shapely.get_point(parts, -1))
    turned = [
        part if begin <= end else shapely.reverse(part)
        for part, begin, end in zip(parts, ends, after, strict=True)
    ]
    return [turned[k] for k in np.argsort(np.minimum(ends, after), kind="stable")]
