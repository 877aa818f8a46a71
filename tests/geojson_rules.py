"""RFC 7946 as checks, section by section; a validator of others checks each file as well."""

import itertools
import json

import pytest
import shapely
from geojson_pydantic import FeatureCollection

GEOMETRY_TYPES = {"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}
#: How deep positions are nested in ``coordinates`` (sections 3.1.2 to 3.1.7).
DEPTHS = {"Point": 0, "MultiPoint": 1, "LineString": 1, "MultiLineString": 2, "Polygon": 2,
          "MultiPolygon": 3}  # fmt: skip
#: Beyond, a reader may round an integer (RFC 7493, section 2.2; RFC 7946, section 11).
LARGEST_SAFE_INTEGER = 2**53 - 1


def load_strictly(path):
    """Parse as sections 11 and 12 want: UTF-8 without a mark, no key twice, no NaN, no Infinity."""

    def unique(pairs):
        keys = [key for key, _ in pairs]
        assert len(keys) == len(set(keys)), f"a key stands twice in {keys}"
        return dict(pairs)

    def constant(name):
        pytest.fail(f"{name} is not JSON")

    content = path.read_bytes()
    assert not content.startswith(b"\xef\xbb\xbf"), "a byte order mark"  # RFC 8259, section 8.1
    return json.loads(content.decode("utf-8"), object_pairs_hook=unique, parse_constant=constant)


def positions(coordinates):
    if isinstance(coordinates[0], (int, float)):
        return [coordinates]
    return [position for part in coordinates for position in positions(part)]


def depth(coordinates):
    return 0 if isinstance(coordinates[0], (int, float)) else 1 + depth(coordinates[0])


def check_box(box, places):
    """Section 5: west, south, east, north; section 5.2: west above east across the antimeridian."""
    west, south, east, north = box
    lons, lats = zip(*places, strict=True)
    assert (south, north) == (min(lats), max(lats))
    if west <= east:
        assert (west, east) == (min(lons), max(lons))
    else:
        assert west == min(lon for lon in lons if lon > 0)
        assert east == max(lon for lon in lons if lon < 0)


def check_geometry(geometry):
    """Sections 3.1 and 3.1.1 to 3.1.9."""
    assert set(geometry) <= {"type", "coordinates"}
    kind, coordinates = geometry["type"], geometry["coordinates"]
    assert kind in GEOMETRY_TYPES  # 3.1.8 would rather not have collections
    assert depth(coordinates) == DEPTHS[kind]
    for position in positions(coordinates):
        assert len(position) == 2
        assert all(isinstance(number, (int, float)) for number in position)
        assert abs(position[0]) <= 180
        assert abs(position[1]) <= 90
    polygons = {"Polygon": [coordinates], "MultiPolygon": coordinates}.get(kind, [])
    lines = {"LineString": [coordinates], "MultiLineString": coordinates}.get(kind, [])
    for rings in polygons:
        assert rings
        for number, ring in enumerate(rings):
            assert len(ring) >= 4  # 3.1.6: closed, four or more positions
            assert ring[0] == ring[-1]
            # 3.1.6: by the right-hand rule the outer ring runs anticlockwise, holes clockwise.
            assert shapely.LinearRing(ring).is_ccw == (number == 0)
            lines.append(ring)
        shell = shapely.Polygon(rings[0])
        for hole in rings[1:]:
            assert shell.covers(shapely.Polygon(hole))
    for line in lines:
        assert len(line) >= 2  # 3.1.4
        # 3.1.9: what crosses the antimeridian is cut, so that no stretch spans half the globe.
        assert all(abs(second[0] - first[0]) <= 180 for first, second in itertools.pairwise(line))


def hold_to_rfc(path):
    """Check every rule of RFC 7946 that a writer can break; give the collection."""
    FeatureCollection.model_validate_json(path.read_text("utf-8"))  # a validator of others
    collection = load_strictly(path)
    assert collection["type"] == "FeatureCollection"
    # Section 4: no crs; section 7.1: no members of other types.
    assert not {"crs", "geometry", "coordinates", "geometries", "properties"} & set(collection)
    # Section 6.1 allows foreign members; GDAL writes this one and no other may slip in.
    assert set(collection) <= {"type", "bbox", "features", "xy_coordinate_resolution"}
    everywhere, ids = [], []
    for feature in collection["features"]:
        assert feature["type"] == "Feature"
        # Section 3.2: both members are there, null if there is no value.
        assert {"type", "properties", "geometry"} <= set(feature)
        assert set(feature) <= {"type", "properties", "geometry", "bbox", "id"}
        if "id" in feature:  # section 3.2: text or a number
            assert isinstance(feature["id"], (str, int, float))
            assert not isinstance(feature["id"], bool)
            ids.append(feature["id"])
        for value in feature["properties"].values():
            assert not isinstance(value, (dict, list)), "a value is nested"
            if isinstance(value, int):
                assert abs(value) <= LARGEST_SAFE_INTEGER
        geometry = feature["geometry"]
        if geometry is None:
            assert "bbox" not in feature
            continue
        check_geometry(geometry)
        places = positions(geometry["coordinates"])
        check_box(feature["bbox"], places)
        everywhere += places
    assert len(ids) == len(set(ids))
    if everywhere:
        check_box(collection["bbox"], everywhere)
    else:
        assert "bbox" not in collection
    return collection
