"""What probes meet: straight ways among outlines and lines, taken as edges and asked in a compiled loop.

A probe has a beginning, a direction of length 1 and a length. It meets ground, which an outline holds, where it begins
in it or reaches its outline, and a line where it reaches it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numba import njit


class Edges(NamedTuple):
    """Things as the edges from vertex to vertex, one thing after the other.

    Parameters
    ----------
    xy : ndarray, (vertices, 2)
    onward : ndarray of bool, (vertices,)
        Whether an edge leads from each to the next.
    ground : ndarray of bool, (vertices,)
        Whether it is of the outline of some ground.
    first : ndarray of int, (things + 1,)
        Where the vertices of each thing begin; the last is their number.
    """

    xy: np.ndarray
    onward: np.ndarray
    ground: np.ndarray
    first: np.ndarray

    @classmethod
    def of(cls, shapes: np.ndarray) -> Edges:
        """Take geometries as edges, (things,); points have none."""
        parts, thing = shapely.get_parts(shapes, return_index=True)
        parts, again = shapely.get_parts(parts, return_index=True)  # what is repaired may be nested
        thing, dimension = thing[again], shapely.get_dimensions(parts)
        rings, of = shapely.get_rings(parts[dimension == 2], return_index=True)
        thing = np.concatenate([thing[dimension == 2][of], thing[dimension == 1]])
        whole = np.concatenate([rings, parts[dimension == 1]])
        order = np.argsort(thing, kind="stable")
        thing, ground = thing[order], order < len(rings)
        xy, line = shapely.get_coordinates(whole[order], return_index=True)
        first = np.searchsorted(thing[line], np.arange(len(shapes) + 1))
        return cls(xy, np.diff(line, append=-1) == 0, ground[line], first)


class Probes(NamedTuple):
    """Straight ways, those that look at the same things beside each other.

    Parameters
    ----------
    begin, out : ndarray, (probes, 2)
        Where each begins, and its direction, of length 1.
    length_m : float
        How long all of them are.
    group : ndarray of int, (probes,)
        Those of a group look at the same things; ascending.
    """

    begin: np.ndarray
    out: np.ndarray
    length_m: float
    group: np.ndarray

    def only(self, chosen: np.ndarray) -> Probes:
        """Give some of the probes, in their order."""
        return self._replace(
            begin=self.begin[chosen], out=self.out[chosen], group=self.group[chosen]
        )


class Nearby(NamedTuple):
    """The things that probes look at, by their group.

    Parameters
    ----------
    first : ndarray of int, (groups + 1,)
        Where the things of each group begin; the last is their number.
    things : ndarray of int
        Those of a group ascending.
    """

    first: np.ndarray
    things: np.ndarray

    @classmethod
    def of(cls, probes: Probes, tree: shapely.STRtree, own: np.ndarray) -> Nearby:
        """Find what the probes of each group may meet, by its box.

        Parameters
        ----------
        probes : Probes
        tree : STRtree
            Of the things.
        own : ndarray of int, (groups,)
            The thing that each group passes over; -1 for none.
        """
        there, first = np.unique(probes.group, return_index=True)
        box, thing = np.zeros((2, 0), dtype=np.int64)
        if len(there):
            end = probes.begin + probes.length_m * probes.out
            low = np.minimum.reduceat(np.minimum(probes.begin, end), first)
            high = np.maximum.reduceat(np.maximum(probes.begin, end), first)
            box, thing = tree.query(shapely.box(*low.T, *high.T))
        order = np.lexsort((thing, box))
        group, thing = there[box[order]], thing[order]
        other = thing != own[group]
        group, thing = group[other], thing[other]
        return cls(np.searchsorted(group, np.arange(len(own) + 1)), thing)


def find_nearest(probes: Probes, edges: Edges, nearby: Nearby) -> tuple[np.ndarray, np.ndarray]:
    """Find the first thing that each probe meets.

    Returns
    -------
    thing : ndarray of int, (probes,)
        Of several that are equally far the first; -1 where nothing is met.
    away_m : ndarray, (probes,)
        How far along the probe it is; infinite where nothing is met.

    Examples
    --------
    >>> edges = Edges.of(np.array([shapely.box(3, -1, 5, 1), shapely.box(8, -1, 9, 1)]))
    >>> east = Probes(np.zeros((1, 2)), np.array([[1.0, 0.0]]), 10.0, np.array([0]))
    >>> find_nearest(east, edges, Nearby(np.array([0, 2]), np.array([0, 1])))
    (array([0]), array([3.]))
    """
    found = np.full(len(probes.group), -1, dtype=np.int64)
    away = np.full(len(probes.group), np.inf)
    _find_nearest(probes, edges, nearby, found, away)
    return found, away


@njit(cache=True, error_model="numpy")
def _find_nearest(probes, edges, nearby, found, away):
    kept = np.empty(len(edges.xy), dtype=np.int64)
    until = 0
    for group in range(len(nearby.first) - 1):
        begin = until
        while until < len(probes.group) and probes.group[until] == group:
            until += 1
        if begin == until:
            continue
        box = _box_of(probes, begin, until)
        for item in range(nearby.first[group], nearby.first[group + 1]):
            count = _edges_beside(edges, nearby.things[item], box, kept)
            for probe in range(begin, until):
                far = _way_to(probes, probe, edges, kept, count)
                if far < away[probe]:
                    found[probe], away[probe] = nearby.things[item], far


@njit(cache=True, error_model="numpy")
def _box_of(probes, begin, until):
    """Give west, south, east and north of some probes."""
    west, south, east, north = np.inf, np.inf, -np.inf, -np.inf
    for probe in range(begin, until):
        for far in (0.0, probes.length_m):
            x = probes.begin[probe, 0] + far * probes.out[probe, 0]
            y = probes.begin[probe, 1] + far * probes.out[probe, 1]
            west, south, east, north = min(west, x), min(south, y), max(east, x), max(north, y)
    return west, south, east, north


@njit(cache=True, error_model="numpy")
def _edges_beside(edges, thing, box, kept):
    """Keep the edges of a thing that lie in a box or east of it, by the vertices at which they end; gives how many.

    No other one is met from the box, nor crossed on the way from it straight to the east.
    """
    west, south, _, north = box
    count = 0
    for vertex in range(edges.first[thing] + 1, edges.first[thing + 1]):
        if edges.onward[vertex - 1]:
            x, y = edges.xy[vertex, 0], edges.xy[vertex, 1]
            x0, y0 = edges.xy[vertex - 1, 0], edges.xy[vertex - 1, 1]
            if max(x, x0) >= west and max(y, y0) >= south and min(y, y0) <= north:
                kept[count] = vertex
                count += 1
    return count


@njit(cache=True, error_model="numpy")
def _way_to(probes, probe, edges, ends, count):
    """Give how far along a probe one of some edges is met, 0 from within; infinite if none is.

    From within some ground the way straight to the east crosses its outline an odd number of times.
    """
    x0, y0 = probes.begin[probe, 0], probes.begin[probe, 1]
    east, north = probes.out[probe, 0], probes.out[probe, 1]
    nearest = np.inf
    inside = False
    for item in range(count):
        end = ends[item]
        # How far both vertices lie from the beginning, along the probe and beside it.
        x_1, y_1 = edges.xy[end - 1, 0] - x0, edges.xy[end - 1, 1] - y0
        x_2, y_2 = edges.xy[end, 0] - x0, edges.xy[end, 1] - y0
        if edges.ground[end] and (y_1 > 0.0) != (y_2 > 0.0):
            rising = x_1 * y_2 - x_2 * y_1 > 0.0
            inside ^= rising == (y_2 > y_1)
        beside_1, beside_2 = x_1 * north - y_1 * east, x_2 * north - y_2 * east
        if beside_1 * beside_2 > 0.0:
            continue
        along_1, along_2 = x_1 * east + y_1 * north, x_2 * east + y_2 * north
        if beside_1 == 0.0 and beside_2 == 0.0:
            far = min(along_1, along_2)
            if far < 0.0 <= max(along_1, along_2):
                far = 0.0
        elif beside_1 == 0.0:  # to the last digit that of the other edge which ends there
            far = along_1
        elif beside_2 == 0.0:
            far = along_2
        else:
            far = (along_1 * beside_2 - along_2 * beside_1) / (beside_2 - beside_1)
        if 0.0 <= far <= probes.length_m:
            nearest = min(nearest, far)
    return 0.0 if inside else nearest


@njit(cache=True, error_model="numpy")
def find_points(vertices: np.ndarray, first: np.ndarray, of: np.ndarray, s: np.ndarray):
    """Give points of lines at running distances, (points, 2), to the last digit what GEOS gives.

    Parameters
    ----------
    vertices : ndarray, (vertices, 2)
        Of all lines, one line after the other.
    first : ndarray of int, (lines + 1,)
        Where the vertices of each begin; the last is their number.
    of : ndarray of int, (points,)
        The line of each point.
    s : ndarray, (points,)
        Distances from the beginning of the line; behind its end a line stands still.
    """
    xy = np.empty((len(of), 2))
    for point in range(len(of)):
        left = s[point]
        behind = 0.0
        vertex, last = first[of[point]], first[of[point] + 1] - 1
        while vertex < last:
            east = vertices[vertex + 1, 0] - vertices[vertex, 0]
            north = vertices[vertex + 1, 1] - vertices[vertex, 1]
            length = np.sqrt(east * east + north * north)
            if behind + length > left:
                share = (left - behind) / length
                xy[point, 0] = vertices[vertex, 0] + share * east
                xy[point, 1] = vertices[vertex, 1] + share * north
                break
            behind += length
            vertex += 1
        else:
            xy[point] = vertices[last]
    return xy
