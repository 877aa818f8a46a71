"""Geometries as a reader hands them over: what is one stays, what is none becomes an empty one in its place."""

from types import SimpleNamespace

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from site_layers import write_geojson

from screenplan.site.features import shape_of, without_empty, without_hollow

LOT = [(0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 0.0)]
HOLE = [(5.0, 1.0), (6.0, 1.0), (6.0, 2.0), (5.0, 1.0)]


def given(kind, coordinates):
    return SimpleNamespace(__geo_interface__={"type": kind, "coordinates": coordinates})


#: By construction: a ring needs three points, a line two, a point one; rings are closed.
CASES = {
    "sound": ("Polygon", [LOT, HOLE], "POLYGON ((0 0, 9 0, 9 9, 0 0), (5 1, 6 1, 6 2, 5 1))"),
    "unclosed": ("Polygon", [LOT[:3]], "POLYGON ((0 0, 9 0, 9 9, 0 0))"),
    "no ring": ("Polygon", [], "POLYGON EMPTY"),
    "an empty ring": ("Polygon", [[]], "POLYGON EMPTY"),
    "a ring of two": ("Polygon", [LOT[:2]], "POLYGON EMPTY"),
    "a hole of one": ("Polygon", [LOT, [(5, 1)]], "POLYGON ((0 0, 9 0, 9 9, 0 0), EMPTY)"),
    "a hole that is none by one that is": (
        "Polygon", [LOT, [], HOLE], "POLYGON ((0 0, 9 0, 9 9, 0 0), EMPTY, (5 1, 6 1, 6 2, 5 1))",
    ),
    "a hole and no shell": ("Polygon", [[], HOLE], "POLYGON EMPTY"),
    "parts that are none": (
        "MultiPolygon", [[LOT], [], [[]], [[(5, 1)]]], "MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)), EMPTY, EMPTY, EMPTY)",
    ),
    "no parts": ("MultiPolygon", [], "MULTIPOLYGON EMPTY"),
    "a line of one": ("LineString", [(0, 0)], "LINESTRING EMPTY"),
    "an empty line": ("LineString", [], "LINESTRING EMPTY"),
    "lines that are none": (
        "MultiLineString", [LOT[:2], [], [(1, 1)]], "MULTILINESTRING ((0 0, 9 0), EMPTY, EMPTY)",
    ),
    "an empty point": ("Point", [], "POINT EMPTY"),
    "no points": ("MultiPoint", [], "MULTIPOINT EMPTY"),
    "a point that is none": ("MultiPoint", [(0, 0), ()], "MULTIPOINT ((0 0), EMPTY)"),
    "heights": ("LineString", [(0, 0, 7), (9, 0, 8)], "LINESTRING Z (0 0 7, 9 0 8)"),
    "heights of some": ("Polygon", [[(0, 0, 7), (9, 0), (9, 9, 7)]], "POLYGON EMPTY"),
}  # fmt: skip


#: GDAL takes these as no geometry, or gives all their points a height.
NOT_IN_FILES = ("a point that is none", "heights of some")


@pytest.mark.parametrize("case", CASES)
def test_what_is_a_geometry_stays_and_what_is_none_is_empty(case):
    kind, coordinates, expected = CASES[case]
    found = shape_of(given(kind, coordinates))
    assert shapely.equals_identical(found, shapely.from_wkt(expected)), found.wkt


def test_no_geometry_stays_none():
    assert shape_of(None) is None


def test_members_of_a_collection_are_taken_one_by_one():
    # By construction: the first is none, the second is sound.
    members = [
        {"type": "Polygon", "coordinates": [[(1, 1)]]},
        {"type": "Polygon", "coordinates": [LOT]},
    ]
    both = SimpleNamespace(__geo_interface__={"type": "GeometryCollection", "geometries": members})
    expected = "GEOMETRYCOLLECTION (POLYGON EMPTY, POLYGON ((0 0, 9 0, 9 9, 0 0)))"
    assert shapely.equals_identical(shape_of(both), shapely.from_wkt(expected))


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("odd", [np.nan, np.inf, 1e308])
def test_numbers_that_are_none_stay_and_nothing_is_printed(odd):
    # By construction; they are refused by row later.
    found = shape_of(given("MultiPolygon", [[[*LOT[:2], (odd, 3.0), LOT[0]]], []]))
    xy = shapely.get_coordinates(found)
    assert np.array_equal(xy[2], [odd, 3.0], equal_nan=True)
    assert len(xy) == 4


@pytest.mark.parametrize("case", [name for name in CASES if name not in NOT_IN_FILES])
def test_a_file_gives_the_same(tmp_path, case):
    # Evidence: other software; what GDAL's own reader hands over, but for what it takes as no geometry at all.
    kind, coordinates, expected = CASES[case]
    path = write_geojson(tmp_path / "one.geojson", [{"type": kind, "coordinates": coordinates}])
    with fiona.open(path) as rows:
        (row,) = rows
    found, wanted = shape_of(row.geometry), shapely.from_wkt(expected)
    assert found is None or found.geom_type == wanted.geom_type
    if not wanted.is_empty:
        ((left, _, _), (whole, _, _)) = without_empty(found), without_empty(wanted)
        assert shapely.equals(left, whole)
    elif found is not None:
        assert found.is_empty


@pytest.mark.parametrize(
    ("text", "left", "parts", "holes"),
    [
        ("POINT (1 2)", "POINT (1 2)", 0, 0),
        ("POLYGON ((0 0, 9 0, 9 9, 0 0), EMPTY, (5 1, 6 1, 6 2, 5 1), EMPTY)",
         "POLYGON ((0 0, 9 0, 9 9, 0 0), (5 1, 6 1, 6 2, 5 1))", 0, 2),
        ("POLYGON ((0 0, 9 0, 9 9, 0 0), EMPTY)", "POLYGON ((0 0, 9 0, 9 9, 0 0))", 0, 1),
        ("MULTIPOLYGON (EMPTY, ((0 0, 9 0, 9 9, 0 0), EMPTY), EMPTY)", "MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)))", 2, 1),
        ("MULTILINESTRING (EMPTY, (0 0, 9 0))", "MULTILINESTRING ((0 0, 9 0))", 1, 0),
        ("MULTIPOINT (EMPTY, (0 0))", "MULTIPOINT ((0 0))", 1, 0),
        ("GEOMETRYCOLLECTION (POINT EMPTY, MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0), EMPTY), EMPTY))",
         "GEOMETRYCOLLECTION (MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0))))", 2, 1),
    ],
)  # fmt: skip
def test_parts_and_holes_without_a_point_are_left_out_and_counted(text, left, parts, holes):
    # By construction: each EMPTY of the text is one.
    found = without_empty(shapely.from_wkt(text))
    assert shapely.equals_identical(found[0], shapely.from_wkt(left))
    assert found[1:] == (parts, holes)
    assert shapely.equals(found[0], found[0])  # GEOS lives


def test_what_has_no_such_part_is_the_same_object():
    lots = shapely.from_wkt("MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0), (5 1, 6 1, 6 2, 5 1)))")
    assert without_empty(lots)[0] is lots


# By construction: the hollow part goes, rows without a geometry and sound ones stay, and so does a table.
def test_a_layer_loses_its_hollow_parts_and_nothing_else():
    lot = "MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)))"
    shapes = [lot, lot.replace(")))", ")), EMPTY)"), "MULTIPOLYGON EMPTY", None]
    layer = gpd.GeoDataFrame(
        {"lot": list("abcd")}, geometry=[w and shapely.from_wkt(w) for w in shapes], crs=25832
    )
    left = without_hollow(layer)
    assert [None if shape is None else shape.wkt for shape in left.geometry] == [
        lot,
        lot,
        *shapes[2:],
    ]
    assert (list(left["lot"]), left.crs) == (list("abcd"), layer.crs)
    sound = layer.iloc[[0, 2, 3]]
    assert without_hollow(sound) is sound
    table = pd.DataFrame({"a": [1]})
    assert without_hollow(table) is table
