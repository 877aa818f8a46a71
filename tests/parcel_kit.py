"""Made-up parcels for the tests of rules and rows."""

import geopandas as gpd
import numpy as np
from options_kit import plan_with
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


def lay(parcels, along=(), *, sides=None, rules=PLAIN, features=None, screens=None, drawn=None,
        terrain=None, species_table=None, **options):  # fmt: skip
    """Zones, lines and plants of a parcel; `features` are layers besides it."""
    sides = sides_of(parcels) if sides is None else sides
    along = [along] if isinstance(along, str) else list(along)
    plan = plan_with(**{"site_boundary_accuracy": 0.0, "rows_along": along, **options})
    layers = {"parcels": parcels, "existing_screens": screens, **(features or {})}
    zones, plantable = mark_zones(layers, plan=plan, rules=rules, species_table=species_table)
    found = draw_lines(parcels, sides, plantable, zones, drawn, screens, plan=plan)
    plants, dropped = set_plants(
        found, plantable, zones, screens, terrain, plan=plan, species_table=species_table
    )
    return zones, plantable, found, plants, dropped
