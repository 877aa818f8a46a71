"""A parcel or a line from what people without a GIS file have: corners, a survey's courses, a length.

Everything here is in metres, x east and y north from the first point; whoever calls it decides
where on earth that point lies.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from screenplan.ground.errors import refuse

#: A traverse that misses its start by more than this share of its length holds a slip.
WORST_MISCLOSURE = 0.01

_QUADRANT = re.compile(
    r"""^\s*(?P<from>[NS])\s*(?P<deg>\d+(?:\.\d+)?)\s*(?:[°d\s-]\s*(?:(?P<min>\d+(?:\.\d+)?)\s*['′m\s-]?\s*)?
        (?:(?P<sec>\d+(?:\.\d+)?)\s*["″s]?\s*)?)?(?P<to>[EW])\s*$""",
    re.IGNORECASE | re.VERBOSE,
)
_AZIMUTH = re.compile(r"^\s*(?P<deg>\d+(?:\.\d+)?)\s*°?\s*$")


@dataclass(frozen=True)
class Traverse:
    """A walked outline.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Its corners, m, the first at the origin, the last not repeated.
    misclosure_m : float
        Distance between its end and its start before it was adjusted.
    length_m : float
        Its length as given.
    """

    points: np.ndarray
    misclosure_m: float
    length_m: float


def read_bearing(text: str, *, file: str | None = None, row: int = 0) -> float:
    """Read a bearing: ``N 45°30'15" E``, ``S 12 W`` or an azimuth such as ``312.5``.

    Returns
    -------
    float
        Degrees clockwise from north, 0 to 360.

    Raises
    ------
    InputError
        If it is neither.
    """
    rows = (row,) if row else ()
    azimuth = _AZIMUTH.match(str(text))
    if azimuth:
        degrees = float(azimuth["deg"])
        if degrees > 360:
            raise refuse(
                f"the bearing {text} is more than 360 degrees",
                "Write an azimuth from 0 to 360",
                file=file,
                rows=rows,
            )
        return degrees % 360.0
    quadrant = _QUADRANT.match(str(text))
    if not quadrant:
        raise refuse(
            f"'{text}' is not a bearing",
            "Write N 45°30'00\" E, or an azimuth such as 45.5",
            file=file,
            rows=rows,
        )
    minutes, seconds = float(quadrant["min"] or 0), float(quadrant["sec"] or 0)
    angle = float(quadrant["deg"]) + minutes / 60 + seconds / 3600
    if angle > 90 or minutes >= 60 or seconds >= 60:
        raise refuse(
            f"the bearing {text} turns more than a quadrant",
            "Write 0 to 90 degrees, minutes and seconds below 60",
            file=file,
            rows=rows,
        )
    from_north = quadrant["from"].upper() == "N"
    east = quadrant["to"].upper() == "E"
    turned = angle if from_north else 180.0 - angle
    return (turned if east else 360.0 - turned) % 360.0


def walk_traverse(bearings_deg, distances_m, *, file: str | None = None) -> Traverse:
    """Walk a survey's courses round a parcel, and close it by the compass rule.

    The misclosure is shared out over the courses by their lengths (the compass rule of plane
    surveying): after course k the correction is ``-misclosure * (length up to k) / (whole length)``.

    Parameters
    ----------
    bearings_deg, distances_m : sequence of float, length n >= 3
        Course by course, degrees clockwise from north and metres.
    file : str, optional
        For messages.

    Raises
    ------
    InputError
        If there are fewer than three courses, a distance is not positive, the misclosure is more
        than a hundredth of the length, or the outline crosses itself.
    """
    bearings, distances = np.asarray(bearings_deg, float), np.asarray(distances_m, float)
    if len(distances) < 3:
        raise refuse(
            "a parcel needs at least three courses", "Give every course round the parcel", file=file
        )
    bad = np.flatnonzero(~(distances > 0)) + 1
    if len(bad):
        raise refuse(
            "a distance is not above 0", "Correct it", file=file, rows=[int(row) for row in bad]
        )
    angle = np.radians(bearings)
    ends = np.cumsum(
        np.column_stack([distances * np.sin(angle), distances * np.cos(angle)]), axis=0
    )
    run = np.cumsum(distances)
    miss = float(np.hypot(*ends[-1]))
    if miss > WORST_MISCLOSURE * run[-1]:
        raise refuse(f"the courses end {{{miss:.2f} m}} from where they began, on a way of {{{run[-1]:.1f} m}}",
                     "Check for a missing course, a slip in a bearing or a wrong unit", file=file)  # fmt: skip
    closed = ends - ends[-1] * (run / run[-1])[:, None]
    points = np.vstack([[0.0, 0.0], closed[:-1]])
    outline_of(points, file=file)
    return Traverse(points, miss, float(run[-1]))


def outline_of(points, *, file: str | None = None) -> Polygon:
    """Make a parcel of its corners in order, m.

    Raises
    ------
    InputError
        If there are fewer than three, or the outline crosses itself.
    """
    points = np.asarray(points, float)
    if len(points) > 1 and np.array_equal(points[0], points[-1]):
        points = points[:-1]
    if len(points) < 3:
        raise refuse(
            "a parcel needs at least three corners", "Give its corners in order", file=file
        )
    polygon = Polygon(points)
    if not polygon.is_valid or polygon.area == 0:
        raise refuse(
            f"the outline is no parcel ({shapely.is_valid_reason(polygon)})",
            "Give the corners in the order in which one walks round",
            file=file,
        )
    return shapely.normalize(polygon)
