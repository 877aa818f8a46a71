"""Made-up parcels for the tests of rules and rows."""

import geopandas as gpd
import numpy as np
from shapely.geometry import LineString, Polygon

from screenplan.planting.lines import draw_lines
from screenplan.planting.rows import set_plants
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import Rule

#: The stem stands 2 m off the boundary and nothing else is asked.
PLAIN = (Rule("stem", "boundary", distance_m=2.0, measured_from="line", reason="test"),)


def subject(polygon) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"parcel_id": ["A"], "is_subject": [True]}, geometry=[polygon])


def box(width=40.0, depth=30.0) -> gpd.GeoDataFrame:
    return subject(Polygon([(0, 0), (width, 0), (width, depth), (0, depth)]))


def sides_of(parcels, names=("south", "east", "north", "west")) -> gpd.GeoDataFrame:
    """One side per edge of the outline, in its order."""
    xy = np.asarray(parcels.geometry.iloc[0].exterior.coords)
    lines = [LineString(xy[i : i + 2]) for i in range(len(xy) - 1)]
    return gpd.GeoDataFrame({"side_id": list(names)[: len(lines)]}, geometry=lines)


def layer(**columns) -> gpd.GeoDataFrame:
    shapes = columns.pop("geometry")
    return gpd.GeoDataFrame({**columns}, geometry=list(shapes))


def lay(parcels, along, *, sides=None, rules=PLAIN, features=None, accuracy=0.0, screens=None,
        lines=None, drawn=None, **rows):  # fmt: skip
    """Zones, lines and plants of a parcel; `features` go to the zones, `lines` to the lines."""
    sides = sides_of(parcels) if sides is None else sides
    zones, plantable = mark_zones(
        parcels, existing_screens=screens, rules=rules, boundary_accuracy_m=accuracy,
        **(features or {}),
    )  # fmt: skip
    found = draw_lines(
        parcels, sides, plantable, zones, drawn,
        along=along, spacing_m=rows.get("spacing_m", 1.5), **(lines or {}),
    )  # fmt: skip
    plants, dropped = set_plants(found, plantable, zones, screens, **rows)
    return zones, plantable, found, plants, dropped
