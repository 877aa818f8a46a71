"""A small made-up site for the tests of the design: a row along y = 0 closes low windows opposite.

What is best is known by hand at typical growth, by which it is planned unless a test says a chance.

The parcel lies south of its northern side, y = 2, off which stems stand 2 m. Windows of the neighbour's
house look south from y = 6 onto places at y = -5; columns 1 m wide stand 1 m apart. The windows are so far
apart that each sees the place opposite alone.
"""

import geopandas as gpd
import numpy as np
from options_kit import plan_with
from parcel_kit import PLAIN, sides_of, subject
from shapely.geometry import LineString, Point, Polygon
from test_views import species, windows

from screenplan.contracts import PLANTING_LINES, PLANTS
from screenplan.contracts.tables import layer_of
from screenplan.design.designing import design_planting

TABLE = {
    "column": species(),
    # Wider, and no cheaper: 2 m.
    "broad": species("cone", 2.0),
    "other": species("column", 1.0),
}
TABLE["other"] = TABLE["other"].__class__(**{**TABLE["other"].__dict__, "key": "other", "genus": "other"})  # fmt: skip
TABLE["column"] = TABLE["column"].__class__(**{**TABLE["column"].__dict__, "genus": "column"})
PRICE = 10.0


def site(at=(-15.0, 0.0, 15.0), *, sill=1.0, window_y=6.0, places=None, **more):
    """Layers of the site: a window and, opposite, a place that is a single position, at each x."""
    parcels = subject(Polygon([(-20, -15), (20, -15), (20, 2), (-20, 2)]))
    points = [Point(x, -5) for x in at] if places is None else places
    ids = [f"p{k}" for k in range(len(points))]
    return {
        "parcels": parcels,
        "sides": sides_of(parcels),
        "windows": windows(*((x, window_y) for x in at), sill=sill, floor_m=0.0),
        "private_places": gpd.GeoDataFrame({"place_id": ids}, geometry=points),
        **more,
    }


def options(**values):
    """A plan that chooses among columns on the northern side, at 10 a plant."""
    usual = {
        "design_kinds": ["column"], "design_spacings": [1.0], "design_inner": False,
        "design_seconds": 20.0, "design_chance": 0.0, "design_compare": False, "design_choices": False, "rows_along": ["north"],
        "cost_prices": {"plant": PRICE},
        "growth_curve": "straight", "site_boundary_accuracy": 0.0, "growth_years": 12,
    }  # fmt: skip
    return plan_with(**(usual | values))


#: What the step gives, in order.
GIVES = (
    "no_plant_zones", "plantable_zone", "planting_lines", "private_places", "plants", "dropped_stations",
    "design", "design_views", "choices", "choice_plants", "choice_views",
)  # fmt: skip


def design(layers=None, species_table=TABLE, terrain=None, **values):
    """Design, and give what comes back by name."""
    layers = site() if layers is None else layers
    made = design_planting(
        layers, plan=options(**values), rules=PLAIN, species_table=species_table, terrain=terrain
    )
    return dict(zip(GIVES, made, strict=True))


def stations(plants):
    """Where the plants stand along x, in order."""
    return np.sort(np.array([point.x for point in plants.geometry]))


def row_of(stems, standing, crs):
    """Line and plants of a row of seven columns along y = 0, of which some stand."""
    line = {
        "line_id": "row",
        "side_id": "north",
        "row": 1,
        "offset_m": 2.0,
        "length_m": 6.0,
        "plantable_m": 6.0,
    }
    at = np.flatnonzero(standing)
    plants = [
        {"plant_id": int(k), "line_id": "row", "side_id": "north", "row": 1, "station_m": stems[k].x + 3.0,
         "slope_station_m": stems[k].x + 3.0, "offset_m": 2.0, "ground_m": 0.0, "species": "column",
         "stock_height_m": TABLE["column"].stock_height_m, "existing": False, "moved_m": 0.0}
        for k in at
    ]  # fmt: skip
    return {
        "planting_lines": layer_of(PLANTING_LINES, [line], [LineString([(-3, 0), (3, 0)])], crs),
        "plants": layer_of(PLANTS, plants, [stems[k] for k in at], crs),
    }
