"""Requests for the process tests: a small invented lot, and the sample site in WGS 84."""

import json

import geopandas
import shapely

from screenplan.processes import describe_process, execute

#: Metres of UTM zone 32 N: a lot 30 m by 45 m, a neighbour to the north, a house on each.
CRS = "EPSG:25832"
X, Y = 500_000.0, 5_500_000.0


def frame(columns, *boxes):
    shapes = [shapely.box(X + a, Y + b, X + c, Y + d) for a, b, c, d in boxes]
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=CRS)


def lot_layers():
    """What a person brings, in WGS 84."""
    layers = {
        "parcels": frame({"parcel_id": ["7", "9"]}, (0, 0, 30, 45), (0, 45, 30, 90)),
        "buildings": frame(
            {"building_id": ["own", "theirs"], "height_m": [6.0, 6.0], "storeys": [2, 2]},
            (8, 15, 20, 24),
            (8, 60, 20, 69),
        ),
        "private_places": frame({"place_id": ["terrace"]}, (10, 26, 16, 30)),
    }
    return {name: layer.to_crs("EPSG:4326") for name, layer in layers.items()}


def as_json(layer):
    """A layer as a FeatureCollection by GeoPandas, not by the library."""
    return json.loads(layer.to_json(drop_id=True))


def lot_request():
    return {name: as_json(layer) for name, layer in lot_layers().items()} | {
        "subject_id": "7",
        "rows.along": ["north"],
        "rows.spacing": 1.8,
        "plants.species": "thuja_occidentalis",
    }


def request_for(name, everything):
    """Of all that is there, what a process takes."""
    inputs = describe_process(name)["inputs"]
    return {key: value for key, value in everything.items() if key in inputs}


def run_chain(everything, until, run=execute):
    """Run the processes in order up to one, each on what those before it gave."""
    from screenplan.running.steps import STEPS

    given = dict(everything)
    for name in STEPS:
        given |= run(name, request_for(name, given))
        if name == until:
            return given
    return given
