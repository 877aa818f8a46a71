"""Closed lines, as drawings and tracks give areas."""

from __future__ import annotations

import shapely

from screenplan.contracts import Contract
from screenplan.contracts.model import POLYGONS


def takes_only_areas(contract: Contract) -> bool:
    """Tell whether a layer can hold nothing but areas, so that a closed line of it is meant as one."""
    return bool(contract.geometry) and set(contract.geometry) <= set(POLYGONS)


def as_area(shape: shapely.Geometry | None) -> shapely.Geometry | None:
    """Make an area of a closed line; anything else is given back as it is.

    Examples
    --------
    >>> as_area(shapely.LineString([(0, 0), (3, 0), (3, 4), (0, 0)])).area
    6.0
    >>> as_area(shapely.LineString([(0, 0), (3, 0), (3, 4)])).geom_type
    'LineString'
    """
    line = shape
    if shape is not None and shape.geom_type == "MultiLineString" and len(shape.geoms) == 1:
        line = shape.geoms[0]
    if line is None or line.geom_type != "LineString" or len(line.coords) < 4 or not line.is_closed:
        return shape
    return shapely.Polygon(line.coords)
