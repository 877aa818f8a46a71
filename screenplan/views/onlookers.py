"""People who look out of no window: on a terrace, on a balcony, along a road or a path.

A line is walked by distance: one position at the middle of each equal part of it. An area is
sampled like a private place. Only positions within a reach of some private place count.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from screenplan.contracts.tables import numbers
from screenplan.ground.faults import Faults
from screenplan.views.positions import READ_M, positions_in
from screenplan.views.samples import Samples, stand_on
from screenplan.views.sampling import FINER, STANDING_M, Outdoors

#: Positions in an area at most, about.
MOST_POSITIONS = 100
#: Positions along one line at most; beyond it an even choice of them.
MOST_ALONG = 500


def onlooker_eyes(
    onlookers,
    places: Mapping[int, shapely.Geometry],
    outdoors: Outdoors,
    terrain=None,
    *,
    spacing_m: float,
    reach_m: float,
    subject=None,
) -> tuple[Samples, Samples]:
    """Sample where onlookers are.

    Parameters
    ----------
    onlookers : GeoDataFrame
        Layer of the contract.
    places : mapping
        The private places of each subject, united (`by_subject`).
    outdoors : Outdoors
        Positions that are not on it are left out.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    spacing_m : float
        Distance between positions along a line, and in an area.
    reach_m : float
        Positions farther than this from every private place are left out.
    subject : ndarray of int, (onlookers,), optional
        The subject of each onlooker; by default one.

    Returns
    -------
    coarse, dense : Samples
        Eyes of each row, of the sample and of a second, denser one. None are left of a row that is
        out of reach all over.

    Raises
    ------
    InputError
        By row: no shape, a height that is no number, all positions inside a building.
    """
    shapes = onlookers.geometry.to_numpy()
    eye, raised = numbers(onlookers, "eye_m", STANDING_M), numbers(onlookers, "raised_m", 0.0)
    lost = ~np.isfinite(shapely.bounds(shapes)).all(axis=1)
    wrong = ~np.isfinite(eye) | (eye < 0.0) | ~np.isfinite(raised) | (raised < 0.0)
    faults = Faults("onlookers", (lost, *_EMPTY), (wrong, *_HEIGHT))
    subject = np.zeros(len(onlookers), int) if subject is None else np.asarray(subject)
    sampled: tuple[list, list] = ([], [])
    for row in np.flatnonzero(~(lost | wrong)):
        kept = []
        for finer in (1.0, FINER):
            xy = _positions(shapes[row], spacing_m / finer, finer)
            near = places.get(int(subject[row]), shapely.Point())
            xy = xy[shapely.distance(near, shapely.points(xy)) <= reach_m]
            outside = outdoors.of(xy, raised[row])
            if len(xy) and not len(outside):
                faults.note(int(row), *_INDOORS)
                break
            kept.append(stand_on(outside, shapes[row], (eye[row],), raised[row], terrain))
        else:
            for sample, eyes in zip(sampled, kept, strict=True):
                sample.append(eyes)
    faults.raise_any()
    return Samples.of(sampled[0]), Samples.of(sampled[1])


def _positions(shape, spacing_m: float, finer: float) -> np.ndarray:
    """Positions on a point, along a line or in an area, (positions, 2)."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            found.append(shapely.get_coordinates(part))
        elif part.geom_type == "LineString":
            count = max(int(np.ceil((part.length - READ_M) / spacing_m)), 1)
            middles = (np.arange(count) + 0.5) / count
            along = shapely.line_interpolate_point(part, middles, normalized=True)
            found.append(shapely.get_coordinates(along))
        else:
            found.append(positions_in(part, spacing_m, int(MOST_POSITIONS * finer**2)))
    every = np.concatenate(found)
    step = -(-len(every) // int(MOST_ALONG * finer))
    return every[step // 2 :: step] if step > 1 else every


_EMPTY = ("an onlooker has no place", "Give it a point, a line or an area, or take the row out")
_HEIGHT = (
    "the height of an onlooker's eyes or floor is no number of 0 or more",
    "Give eye_m and raised_m",
)
_INDOORS = (
    "an onlooker is inside a building",
    "Draw it outdoors, give raised_m for a roof terrace, or draw a window instead",
)
