"""Points among the stems of planting lines, where nobody sits or stands."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numba import njit

from screenplan.views.positions import READ_M
from screenplan.views.samples import Samples

#: Nobody sits this near to the stems of a row: such targets are left out.
CLEAR_OF_LINE_M = 0.5


class Stems(NamedTuple):
    """Planting lines that keep people away.

    Attributes
    ----------
    shapes : ndarray of LineString, (lines,)
    subject : ndarray of int, (lines,)
        For whom each is planted.
    """

    shapes: np.ndarray
    subject: np.ndarray

    @classmethod
    def of(cls, lines, subject=None) -> Stems:
        """Take those of a layer; by default all are one subject's."""
        subject = np.zeros(len(lines), int) if subject is None else np.asarray(subject)
        return cls(lines.geometry.to_numpy(), subject)


def off_lines(samples: Samples, lines: Stems, subject) -> Samples:
    """Leave out the points that are no farther than `CLEAR_OF_LINE_M` from a planting line of their row's subject.

    Parameters
    ----------
    samples : Samples
    lines : Stems
    subject : ndarray of int, (rows,)
        The subject of each row.

    Returns
    -------
    Samples
        The same object if all stay.
    """
    point, line = _beside(samples, lines, np.asarray(subject))
    points = shapely.points(samples.xyz[point, :2])
    near = shapely.distance(lines.shapes[line], points) <= CLEAR_OF_LINE_M
    if not near.any():
        return samples
    far = np.ones(len(samples.xyz), bool)
    far[point[near]] = False
    return samples.only(far)


def _beside(samples: Samples, lines: Stems, subject: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find the points, of rows of a subject each, and the subject's lines that may be as near as `CLEAR_OF_LINE_M`."""
    ends, line = shapely.get_coordinates(lines.shapes, return_index=True)
    edge = np.flatnonzero(line[1:] == line[:-1])
    edge = edge[np.argsort(lines.subject[line[edge]], kind="stable")]
    whose = lines.subject[line[edge]]
    own = np.column_stack([np.searchsorted(whose, subject, by) for by in ("left", "right")])
    sides = np.hstack([ends[edge], ends[edge + 1] - ends[edge]])
    of = np.repeat(np.arange(len(subject)), samples.counts)
    room = len(samples.xyz)
    while True:
        found = np.empty((2, room), np.int64)
        count = _list_near(samples.xyz, own[of], sides, CLEAR_OF_LINE_M + READ_M, found)
        if count <= room:
            break
        room = count
    return found[0, :count], line[edge[found[1, :count]]]


@njit(cache=True, error_model="numpy")
def _list_near(xyz, own, sides, reach_m, found):
    """List points and edges of their own that are so near in plan, as far as there is room; tell how many there are."""
    count = 0
    for point in range(len(xyz)):
        for k in range(own[point, 0], own[point, 1]):
            x, y = xyz[point, 0] - sides[k, 0], xyz[point, 1] - sides[k, 1]
            way_x, way_y = sides[k, 2], sides[k, 3]
            square = way_x * way_x + way_y * way_y
            share = min(max((x * way_x + y * way_y) / square, 0.0), 1.0) if square > 0.0 else 0.0
            x, y = x - share * way_x, y - share * way_y
            if x * x + y * y <= reach_m * reach_m:
                if count < found.shape[1]:
                    found[0, count], found[1, count] = point, k
                count += 1
    return count
