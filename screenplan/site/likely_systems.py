"""In which reference systems coordinates would lie where other things are known to lie.

A help for whoever must say the system of a file that states none, or a wrong one: systems are named, none is
taken, because several lie so near to each other that nobody can tell them apart by their coordinates.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from screenplan.ground.datum import WGS84
from screenplan.site.frames import Bounds, meets

#: Systems are tried whose area holds a box of this half size around the place, degrees.
AROUND_DEG = 0.01
#: A layer lies at another one if their boxes are no farther apart than this, degrees.
APART_DEG = 0.02
#: So many systems are named.
MOST_NAMED = 6
#: Boxes that agree in so many decimals of a degree, centimetres, are one.
_SAME_DIGITS = 7


def in_degrees(bounds: Bounds | None, crs: CRS | None) -> Bounds | None:
    """Give the box of a layer in longitude and latitude; None where it cannot be had."""
    if bounds is None or crs is None:
        return None
    try:
        way = Transformer.from_crs(crs, WGS84, always_xy=True)
        box = way.transform_bounds(*bounds)
    except (CRSError, ProjError):
        return None
    return box if np.isfinite(box).all() and abs(box[3]) <= 90.0 else None


def likely_systems(
    bounds: Bounds | None, others: Sequence[tuple[Bounds | None, CRS | None]]
) -> list[str]:
    """Name systems in which coordinates lie at all of some other layers.

    Parameters
    ----------
    bounds : tuple of float or None
        West, south, east, north of the coordinates, as they stand.
    others : sequence of tuple
        The same of each other layer, and its CRS; one without a place does not count.

    Returns
    -------
    list of str
        ``EPSG:2249 (NAD83 / Massachusetts Mainland (ftUS))``, those on the datum of another layer first, then
        those that are made for the smallest area; `MOST_NAMED` at most.
    """
    known = [(box, crs) for at, crs in others if (box := in_degrees(at, crs)) is not None]
    if bounds is None or not known:
        return []
    places = [box for box, _ in known]
    if _lies_at(bounds, places):
        return [f"{WGS84} (WGS 84)"]
    datums = {_datum_of(CRS(crs)) for _, crs in known}
    west, south, east, north = places[0]
    x, y = (west + east) / 2.0, (south + north) / 2.0
    area = AreaOfInterest(x - AROUND_DEG, y - AROUND_DEG, x + AROUND_DEG, y + AROUND_DEG)
    found: dict = {}
    for info in query_crs_info(
        auth_name="EPSG", pj_types=[PJType.PROJECTED_CRS], area_of_interest=area, contains=True
    ):
        if info.deprecated or info.area_of_use is None:
            continue
        crs = CRS.from_authority(info.auth_name, info.code)
        box = _on_its_datum(bounds, crs)
        if box is None or not _lies_at(box, places):
            continue
        use, datum = info.area_of_use, _datum_of(crs)
        width = (use.east - use.west) % 360.0 or 360.0
        is_turned = crs.axis_info[0].direction != "east"
        rank = (datum not in datums, width * (use.north - use.south), is_turned, int(info.code))
        # Of one datum, a system whose axes are only written in another order is the same.
        key = (datum, tuple(np.round(box, _SAME_DIGITS)))
        if key not in found or rank < found[key][0]:
            found[key] = (rank, f"EPSG:{info.code} ({info.name})")
    return [name for _, name in sorted(found.values())[:MOST_NAMED]]


def say_likely(bounds: Bounds | None, others: Sequence[tuple[Bounds | None, CRS | None]]) -> str:
    """Say in which systems a layer would lie at the others; empty if none is found."""
    named = likely_systems(bounds, others)
    if not named:
        return ""
    return f": in {', '.join(named)} it would lie where the others do; whoever made it knows which it is"


def _datum_of(crs: CRS) -> str:
    geodetic = crs.geodetic_crs
    assert geodetic is not None  # both kinds of CRS that are asked have places on earth
    return geodetic.name


def _on_its_datum(bounds: Bounds, crs: CRS) -> Bounds | None:
    """Give a box in longitude and latitude by the projection alone, which is found far faster than a change of datum.

    Datums differ by some hundred metres at most, far less than `APART_DEG`.
    """
    west, south, east, north = bounds
    try:
        lon, lat = Proj(crs)([west, east, east, west], [south, south, north, north], inverse=True)
    except (CRSError, ProjError):
        return None
    return (min(lon), min(lat), max(lon), max(lat)) if np.isfinite([lon, lat]).all() else None


def _lies_at(box: Bounds, places: Sequence[Bounds]) -> bool:
    west, south, east, north = box
    wide = (west - APART_DEG, south - APART_DEG, east + APART_DEG, north + APART_DEG)
    return all(meets(place, wide) for place in places)
