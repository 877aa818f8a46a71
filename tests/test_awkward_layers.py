"""Input that cannot be used: each refusal says where, what, and how to mend it."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS
from reading_kit import read_frames, read_site
from shapely import affinity
from site_layers import (
    BUILDING_COLUMNS,
    EAST,
    NORTH,
    UTM,
    box,
    buildings,
    parcels,
    source,
    write,
    write_geojson,
)

from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.ground.said import in_units
from screenplan.site.reading import LayerSource, TerrainSource

PIN = {"parcel_id": "PIN"}
HERE = (EAST, NORTH)


def refused(layers, said, *, columns=None, units=None, fixed=None, **options):
    """Read from frames, and expect this refusal."""
    options = {"subject_id": "A-2", **options}
    if "parcels" not in layers:
        layers = {"parcels": parcels(), **layers}
    with pytest.raises(InputError, match=said) as caught:
        read_frames(
            layers, columns={"parcels": PIN, **(columns or {})}, units=units, fixed=fixed, **options
        )
    return caught.value


def refused_file(sources, said, **options):
    """Read from files, and expect this refusal."""
    with pytest.raises(InputError, match=said) as caught:
        read_site(sources, **options)
    return caught.value


def frame(geometry, **columns):
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=UTM)


def line(*points):
    with np.errstate(invalid="ignore"):  # one line below is not finite
        return shapely.LineString([(EAST + x, NORTH + y) for x, y in points])


def outline(*corners):
    return shapely.Polygon([(EAST + x, NORTH + y) for x, y in corners])


# ---- files -------------------------------------------------------------------------------------


def test_a_missing_file(tmp_path):
    refused_file(
        {"parcels": LayerSource(tmp_path / "none.gpkg")},
        r"none\.gpkg: The file does not exist\. Correct the path of the parcels layer",
    )


@pytest.mark.parametrize("name", ["lots.txt", "lots.gpkg", "lots.geojson", "lots.xyz"])
def test_a_file_that_is_no_layer(tmp_path, name):
    (tmp_path / name).write_text("a letter to the county")
    refused_file(
        {"parcels": LayerSource(tmp_path / name)},
        rf"{name}.*: The file cannot be read as vector data.*Give a complete GeoPackage, GeoJSON",
    )


def test_a_folder_that_is_no_layer(tmp_path):
    refused_file({"parcels": LayerSource(tmp_path)}, "cannot be read as vector data")


def test_an_empty_file(tmp_path):
    (tmp_path / "lots.gpkg").touch()
    refused_file(
        {"parcels": LayerSource(tmp_path / "lots.gpkg")}, r"The file is empty\. Fetch or export"
    )


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.fgb", "lots.geojson"])
@pytest.mark.parametrize("share", [0.4, 0.9])
def test_a_file_that_breaks_off(tmp_path, name, share):
    many = gpd.GeoDataFrame(
        {"PIN": [str(n) for n in range(300)]},
        geometry=[box(40 * n, 0, 40 * n + 40, 40) for n in range(300)],
        crs=UTM,
    )
    path = write(many.to_crs(4326) if name.endswith("json") else many, tmp_path / name)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    refused_file(
        {"parcels": LayerSource(path, columns=PIN)},
        r"(breaks off: it has \d+ of \d+ bytes|breaks off: 300 rows are announced|"
        r"cannot be read as vector data).*(again|complete GeoPackage)",
        subject_id="0",
    )


def test_a_shapefile_without_a_part(tmp_path):
    path = write(parcels(), tmp_path / "lots.shp")
    (tmp_path / "lots.dbf").unlink()
    refused_file(
        {"parcels": LayerSource(path)},
        r"The shapefile lacks its part lots\.dbf\. Copy all files of that name",
    )


def test_a_shapefile_without_its_prj_has_no_crs(tmp_path):
    path = write(parcels(), tmp_path / "lots.shp")
    (tmp_path / "lots.prj").unlink()
    refused_file(
        {"parcels": LayerSource(path, columns=PIN)},
        r"lots\.shp, layer lots, key layers\.parcels\.crs: The layer has no CRS\. State the CRS in which its",
        subject_id="A-2",
    )


def test_several_layers_and_none_named(tmp_path):
    path = write(parcels(), tmp_path / "both.gpkg", layer="lots")
    write(buildings(), path, layer="houses", mode="w")
    refused_file(
        {"parcels": LayerSource(path)},
        r"both\.gpkg, key layers\.parcels\.layer: The file holds 2 layers, and none is named\. "
        r"Name the one that holds the parcels: lots, houses",
    )
    refused_file(
        {"parcels": LayerSource(path, "lotz")},
        r"There is no layer 'lotz'\. Name one of its layers: lots, houses",
    )


def test_a_table_without_shapes(tmp_path):
    (tmp_path / "list.csv").write_text("PIN,owner\nA-1,x\n")
    refused_file(
        {"parcels": LayerSource(tmp_path / "list.csv")},
        r"layer list: The layer has no geometry\. Give a layer with the parcels as shapes",
    )


def test_files_at_fault_are_named_together(tmp_path):
    error = refused_file(
        {
            "parcels": LayerSource(tmp_path / "a.gpkg"),
            "buildings": LayerSource(tmp_path / "b.gpkg"),
        },
        r"a\.gpkg.*\n.*b\.gpkg",
    )
    assert len(error.problems) == 2


def test_a_layer_of_an_unknown_kind():
    refused({"hedges": parcels()}, r"key layers\.hedges: There is no layer called 'hedges'")


def test_no_parcels():
    with pytest.raises(InputError, match=r"key layers\.parcels: The layer of parcels is missing"):
        read_frames({"buildings": buildings()})


def test_a_frame_without_geometry():
    import pandas as pd

    refused({"buildings": pd.DataFrame({"a": [1]})}, "is a DataFrame without geometry")
    refused({"buildings": gpd.GeoDataFrame({"a": [1]})}, "is a GeoDataFrame without geometry")


# ---- CRS and place -----------------------------------------------------------------------------


def test_no_crs_in_two_layers_is_said_of_both():
    bare = parcels().set_crs(None, allow_override=True)
    houses = buildings().set_crs(None, allow_override=True)
    error = refused({"parcels": bare, "buildings": houses}, "layer parcels: The layer has no CRS")
    assert [problem.layer for problem in error.problems] == ["parcels", "buildings"]


MISLABELLED = {
    "metres as degrees": (
        lambda lots: lots.set_crs(4326, allow_override=True),
        r"layer parcels, row 2: Coordinates such as 500000, 5\.54e\+06 cannot lie in the CRS "
        r"'WGS 84': they look like metres or feet, not degrees\. State the CRS",
    ),
    "latitude first": (
        lambda lots: lots.to_crs(4326).translate(-9.0 + 100.0, 0).to_frame("geometry")
        .assign(PIN=lots["PIN"]).pipe(swap_axes),
        r"they look like latitude and longitude swapped",
    ),
    "degrees as metres": (
        lambda lots: lots.to_crs(4326).set_crs(UTM, allow_override=True),
        r"Coordinates such as 9, 50\.0\d+ cannot lie in the CRS 'WGS 84 / UTM zone 32N': they "
        r"look like degrees",
    ),
    "degrees as web Mercator": (
        lambda lots: lots.to_crs(4326).set_crs(3857, allow_override=True), "they look like degrees",
    ),
    "another state's plane": (
        lambda lots: lots.set_crs(2264, allow_override=True),
        r"cannot lie in the CRS 'NAD83 / North Carolina \(ftUS\)', which is for United States",
    ),
}  # fmt: skip


def swap_axes(lots):
    lots["geometry"] = shapely.transform(lots.geometry.array, lambda xy: xy[:, ::-1])
    return gpd.GeoDataFrame(lots, crs=4326)


@pytest.mark.parametrize("case", MISLABELLED)
def test_coordinates_that_cannot_be_in_the_stated_crs(case):
    make, said = MISLABELLED[case]
    refused({"parcels": make(parcels())}, said)


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.geojson"])
def test_a_file_that_states_its_crs_without_its_area_is_held_against_it_too(tmp_path, name):
    make, said = MISLABELLED["another state's plane"]
    lots = source(make(parcels()), tmp_path / name, columns=PIN)
    refused_file({"parcels": lots}, rf"{name}, .*row 2, .*{said}", subject_id="A-2")


@pytest.mark.parametrize("corner", [(1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
def test_a_place_that_the_crs_gives_other_coordinates_is_refused(corner):
    # Evidence: closed form; the cone of this CRS has its tip at 0, 0 and opens to the south and west, so that
    # nothing has coordinates above: the same place has others, or none, on the way back. No register has it.
    x, y = corner
    tip = "+proj=krovak +lat_0=49.5 +lon_0=24.9 +ellps=bessel +type=crs"
    lot = gpd.GeoDataFrame({"PIN": ["A-2"]}, geometry=[shapely.box(x, y, x + 20, y + 20)], crs=tip)
    refused({"parcels": lot}, "row 1: Coordinates cannot lie in the CRS")


def test_a_projection_that_nobody_knows_is_refused():
    # By construction: a method of that name is in no register.
    odd = CRS(UTM).to_wkt().replace('METHOD["Transverse Mercator"', 'METHOD["No Such Method"')
    odd = odd.replace('ID["EPSG",9807]', 'ID["OWN",1]').replace('ID["EPSG",16032]', 'ID["OWN",2]')
    layer = parcels().set_crs(odd.replace('ID["EPSG",32632]', 'ID["OWN",3]'), allow_override=True)
    said = "The projection of the CRS 'WGS 84 / UTM zone 32N' cannot be computed here"
    refused({"parcels": layer}, rf"row 2: {said}\. State the CRS")
    refused(
        {"buildings": layer.assign(HT=5.0)},
        f"layer buildings: {said}",
        columns={"buildings": {"height_m": "HT"}},
    )
    with pytest.raises(InputError, match=said):
        LocalFrame.around(layer)


@pytest.mark.parametrize("case", ["metres as degrees", "degrees as metres"])
def test_the_same_in_another_layer_and_by_point(case):
    make, said = MISLABELLED[case]
    said = (
        said.replace(r"layer parcels, row 2: ", "").split("Coordinates such as")[0]
        + "cannot lie in"
    )
    houses = make(parcels()).assign(HT=5.0)
    refused({"buildings": houses}, said, columns={"buildings": {"height_m": "HT"}})
    refused({"parcels": make(parcels())}, said, subject_id=None, subject_point=(9.0, 50.0))


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="GeoJSON whose coordinates are metres is no GeoJSON, and is refused by row",
    source="RFC 7946, section 4",
    status="read",
    tolerance="refused",
)
def test_geojson_in_metres_is_taken_at_its_word_and_refused(tmp_path):
    # RFC 7946 §4: coordinates are longitude and latitude in WGS 84, whatever the writer thought.
    ring = [[EAST + x, NORTH + y] for x, y in ((0, 0), (40, 0), (40, 40), (0, 40), (0, 0))]
    path = write_geojson(tmp_path / "lot.geojson", [{"type": "Polygon", "coordinates": [ring]}])
    refused_file(
        {"parcels": LayerSource(path)}, r"lot\.geojson.*row 1, key .*: Coordinates such as 500020"
    )


def test_a_layer_that_lies_elsewhere():
    refused(
        {"buildings": buildings().translate(5000, 0).to_frame("geometry").assign(HT=4.0)},
        r"layer buildings: The layer of buildings lies elsewhere: nothing in it is within 2 km of "
        r"the subject parcel\. Give the layer of this place",
        columns={"buildings": {"height_m": "HT"}},
    )


def test_a_needed_layer_with_nothing_near():
    refused(
        {"planting_line": frame([line((400, 0), (450, 0))])},
        r"Nothing of the layer of planting line is within 150 m of the subject\. Draw it",
    )


@pytest.mark.parametrize("layer", ["parcels", "planting_line"])
def test_an_empty_layer_where_one_is_needed(layer):
    empty = parcels().iloc[:0] if layer == "parcels" else frame([])
    refused({layer: empty}, rf"layer {layer}: The layer of {layer.replace('_', ' ')} is empty")


def test_a_datum_that_is_too_uncertain():
    utm19 = {"geometry": [shapely.box(330_000, 4.69e6, 330_050, 4.69e6 + 50)]}
    lots = gpd.GeoDataFrame({"PIN": ["A-2"], **utm19}, crs=26919)
    houses = gpd.GeoDataFrame({"HT": [5.0], **utm19}, crs=32619)
    said = (
        r"layer buildings, key site\.datum_tolerance: The change of datum from 'WGS 84 / UTM zone "
        r"19N' to 'NAD83 / UTM zone 19N' is good to 4 m only, the tolerance is 2 m"
    )
    columns = {"buildings": {"height_m": "HT"}}
    # Where the boundary was surveyed, or the tolerance is stated.
    for asked in ({"boundary_accuracy_m": 0.05}, {"datum_tolerance_m": 2.0}):
        refused({"parcels": lots, "buildings": houses}, said, columns=columns, **asked)
    # Else it is everyday data: it is read, and the error told.
    site = read_frames({"parcels": lots, "buildings": houses}, columns={"parcels": PIN, **columns})
    told = r"The layer of buildings was brought from .* good to 4 m \(2 m with us_noaa_nehpgn\.tif: fetch by pyproj sync --file us_noaa_nehpgn\.tif\): it may lie so far"
    assert any(re.match(told, in_units(note, "metric")) for note in site.warnings)
    # The remedy works.
    site = read_frames(
        {"parcels": lots, "buildings": houses},
        columns={"parcels": PIN, **columns},
        datum_tolerance_m=4.0,
    )
    assert len(site.layers["buildings"]) == 1


def test_a_site_grid():
    grid = 'LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]'
    lots = parcels().set_crs(grid, allow_override=True)
    houses = buildings().set_crs(grid, allow_override=True)
    refused(
        {"parcels": lots, "buildings": buildings()},
        r"layer buildings: The parcels' CRS 'site grid' gives no place on a map of the earth, and this layer "
        r"is in 'WGS 84 / UTM zone 32N'\. State the CRS in which its coordinates are",
        columns={"buildings": BUILDING_COLUMNS},
    )
    refused(
        {"buildings": houses},
        r"layer buildings: The CRS 'site grid' gives no place on a map of the earth\. State the CRS in which",
        columns={"buildings": BUILDING_COLUMNS},
    )


# ---- the subject -------------------------------------------------------------------------------


def test_an_unknown_id_names_close_ones():
    refused(
        {},
        r"key subject\.id: There is no parcel 'a-22' among 4\. Did you mean A-2",
        subject_id="a-22",
    )
    refused({}, r"Ids look like A-1, A-2, A-3, B-9", subject_id="77/140")


def test_an_id_of_several_parcels():
    refused(
        {"parcels": parcels().assign(PIN=["A-2", "A-2", "x", "y"])},
        r"rows 1, 2, key subject\.id: The id 'A-2' stands for 2 parcels of different outline\. "
        r"Choose the parcel by a point",
    )


def test_no_parcel_chosen():
    refused(
        {}, r"holds 4 parcels, and none is chosen\. Give the parcel's id \(such as A-1, A-2",
        subject_id=None,
    )  # fmt: skip


@pytest.mark.parametrize("chosen", [{"subject_id": None}, {"subject_id": "A-2"}, {"subject_id": None, "subject_point": HERE}])  # fmt: skip
def test_lines_for_parcels_are_told_so_before_one_is_looked_for(tmp_path, chosen):
    """No column of ids and none chosen: what is wrong first is the kind of geometry."""
    lines = frame([line((0, 0), (9, 0)), line((0, 5), (9, 5))])
    said = r"parcels takes Polygon or MultiPolygon, and this is a LineString\. Close these lines"
    with pytest.raises(InputError, match=said):
        read_frames({"parcels": lines}, **chosen)
    path = write(lines, tmp_path / "lots.gpkg", layer="lots")
    refused_file({"parcels": LayerSource(path)}, r"lots\.gpkg.*lots: .*" + said, **chosen)


def test_points_for_parcels_in_a_file_that_does_not_say_what_it_holds(tmp_path):
    """A GeoJSON file of points and lines: the rows say what no polygon is."""
    shapes = [shapely.Point(8, 50), shapely.LineString([(8, 50), (8.1, 50)])]
    path = write_geojson(tmp_path / "lots.geojson", [shape.__geo_interface__ for shape in shapes])
    refused_file(
        {"parcels": LayerSource(path)},
        r"and this is a LineString and a Point\. Close these lines into polygons",
    )


def test_id_and_point_at_once():
    refused({}, "given by its id and by a point", subject_point=HERE)


def test_an_id_without_a_column_of_ids():
    with pytest.raises(InputError, match=r"no column of ids.*the columns are PIN"):
        read_frames({"parcels": parcels()}, subject_id="A-2")


def test_a_point_outside_every_parcel():
    refused(
        {},
        r"key subject\.point: No parcel holds the point 500000, 5540100 .*the layer spans 499940 to",
        subject_id=None,
        subject_point=(EAST, NORTH + 100),
        subject_point_crs="parcels",
    )


def test_a_point_in_two_parcels():
    refused(
        {},
        r"rows 2, 3, key subject\.point: The point lies in 2 parcels: A-2, A-3",
        subject_id=None,
        subject_point=(EAST + 20, NORTH),
        subject_point_crs="parcels",
    )


@pytest.mark.parametrize(
    ("point", "crs", "said"),
    [
        ((50.0, 109.0), None, r"109 is not a latitude\. Write the longitude first"),
        ((500000.0, 5540000.0), None, r"not a latitude.*say in which CRS the point is"),
        (("here", 1), None, r"is not a point\. Give two numbers"),
        ((np.nan, 1.0), None, r"is not a point"),
        ((1.0, 2.0, 3.0), None, r"is not a point"),
        ((1.0, 2.0), "EPSG:0", r"'EPSG:0' is not a CRS"),
    ],
)
def test_a_point_that_is_none(point, crs, said):
    refused({}, said, subject_id=None, subject_point=point, subject_point_crs=crs)


def test_a_subject_of_several_parts_needs_a_point():
    apart = shapely.multipolygons([box(-20, -20, 20, 20), box(-20, 30, 20, 40)])
    refused(
        {"parcels": frame([apart], PIN=["A-2"])},
        r"row 1, key subject\.id: Parcel 'A-2' has 2 parts that lie apart \(1601 m², 400 m²\)\. "
        r"Choose the part by a point in it",
    )


@pytest.mark.parametrize("geometry", [None, shapely.Polygon()])
def test_a_subject_without_outline(geometry):
    refused(
        {"parcels": frame([geometry, box(20, 0, 30, 9)], PIN=["A-2", "x"])},
        r"row 1: The chosen parcel has no geometry with finite coordinates",
    )


# ---- geometry ----------------------------------------------------------------------------------

BOW_TIE = outline((20, 0), (40, 20), (40, 0), (20, 20))
WRONG_SHAPES = {
    "line for a parcel": ("parcels", line((20, 0), (30, 9)), r"takes Polygon or MultiPolygon, and this is a LineString\. Close these lines"),
    "point for a parcel": ("parcels", shapely.Point(EAST + 30, NORTH), r"and this is a Point\. Name a layer of Polygon geometry"),
    "polygon for a road": ("roads", box(20, 0, 30, 9), r"layer of roads takes LineString or MultiLineString, and this is a Polygon"),
    "polygon for a window": ("windows", box(20, 0, 30, 9), r"layer of windows takes Point, and this is a Polygon"),
    "points for a window": ("windows", shapely.multipoints([[EAST, NORTH], [EAST, NORTH + 1]]), r"this is a MultiPoint of several parts\. Split it"),
    "mixture": ("keep_outs", shapely.GeometryCollection([box(0, 0, 1, 1), line((0, 0), (5, 5))]), r"this is a GeometryCollection"),
    "bow tie": ("parcels", BOW_TIE, r"The polygon is invalid \(self-intersection\), and a repair would change its area from 0\.0 to 200\.2 m²\. Redraw it"),
    "hole larger than the outline": ("keep_outs", shapely.Polygon(box(0, 0, 10, 10).exterior, [box(5, 5, 35, 35).exterior]), r"is invalid \([a-z -]+\), and its holes have more area than its outline\. Redraw"),
    "overlapping parts": ("keep_outs", shapely.multipolygons([box(0, 0, 10, 10), box(5, 0, 15, 10)]), r"would change its area from 200\.2 to 150\.1 m²"),
    "no area": ("parcels", outline((20, 0), (40, 0), (30, 0)), r"The polygon has no area \(less than 0\.01 m²\)\. Redraw or delete"),
    "not a number": ("roads", line((20, 0), (np.nan, 9)), r"A coordinate is not a finite number\. Correct or delete"),
    "infinite": ("keep_outs", shapely.Point(np.inf, NORTH), r"A coordinate is not a finite number"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG_SHAPES)
def test_a_shape_that_cannot_be_used_is_refused_by_row(case):
    layer, shape, said = WRONG_SHAPES[case]
    fixed = {"keep_outs": {"kind": "pond"}, "windows": {"sill_m": 1}}
    if layer == "parcels":
        given = frame([box(-20, -20, 20, 20), shape], PIN=["A-2", "x"])
        refused({layer: given}, f"row 2: .*{said}", fixed=fixed)
    else:
        refused({layer: frame([shape])}, f"layer {layer}, row 1: .*{said}", fixed=fixed)


def test_a_crossing_subject_is_refused_too():
    refused({"parcels": frame([BOW_TIE], PIN=["A-2"])}, r"row 1: The polygon is invalid")


def test_broken_rings_of_a_file_are_left_out_by_row(tmp_path):
    lot = parcels().to_crs(4326).geometry.iloc[1].__geo_interface__
    dot = {"type": "Polygon", "coordinates": []}
    path = write_geojson(tmp_path / "lots.geojson", [lot, dot, None])
    site = read_site({"parcels": LayerSource(path)}, subject_id="1")
    left_out = site.repairs[site.repairs["repair"].str.contains("left out")]
    assert sorted(left_out["row"]) == [2, 3]
    assert site.layers["parcels"]["parcel_id"].tolist() == ["1"]
    x, y = lot["coordinates"][0][0]
    short = {"type": "Polygon", "coordinates": [[[x, y], [x + 1e-4, y], [x, y]]]}
    path = write_geojson(tmp_path / "short.geojson", [lot, short])
    refused_file({"parcels": LayerSource(path)}, r"row 2: The polygon has no area", subject_id="1")


# ---- columns -----------------------------------------------------------------------------------


def house(**columns):
    return {
        "buildings": frame([box(-50, -5, -40, 5)] * len(next(iter(columns.values()))), **columns)
    }


def screen(**columns):
    columns = {"kind": ["wall"], "height_m": [2.0], **columns}
    return {"existing_screens": frame([line((0, 0), (5, 0))] * len(columns["kind"]), **columns)}


BAD_CELLS = {
    "text for a height": (house(height_m=["tall"]), r"layer buildings, row 1: 'tall' is not a number\. Write a number without its unit"),
    "decimal comma": (house(height_m=["6,5"]), r"'6,5' is not a number\. Write it with a decimal point"),
    "truth for a height": (house(height_m=[True]), r"'True' is not a number"),
    "sentinel": (house(height_m=[9999.0, 5.0]), r"row 1: The height_m 9999 m looks like a mark for 'not known'\. Leave the cell empty"),
    "negative sentinel": (house(height_m=[-9999]), r"-9999 m looks like a mark"),
    "negative": (house(height_m=[-3.0]), r"The height_m -3 m is not possible; it must be at least 0 and at most 500 m\. Correct"),
    "too tall": (house(height_m=[800.0]), r"800 m is not possible"),
    "nothing": (house(height_m=[0.0]), r"The height_m is 0, so nothing stands there\. Leave the cell empty"),
    "infinite": (house(height_m=[np.inf]), r"'inf' is not a finite number"),
    "no height in a row": (house(height_m=[5.0, None], name=["a", "b"]), r"row 2, key layers\.buildings\.missing: The building has neither a height nor a number of storeys\. Fill in"),
    "no height at all": (house(name=["a"]), r"layer buildings: No building has a height or a number of storeys"),
    "sentinel of the floor": (house(height_m=[5.0], floor_m=[-32768.0]), r"The floor_m -32768 m looks like a mark"),
    "floor in the sky": (house(height_m=[5.0], floor_m=[12000.0]), r"The floor_m 12000 m is not possible"),
    "ids that are none": (screen(kind=["wall", "fence"], height_m=[2.0, 1.0], screen_id=["x", "x"]), r"rows 1, 2: The screen_id 'x' stands for 2 rows\. Give each its own"),
    "kind of screen": (screen(kind=["bush"]), r"'bush' is not a known kind\. Write one of wall, fence, hedge, tree, plant"),
    "empty kind": (screen(kind=[None]), r"row 1: The column kind is empty .*Fill it in, delete these rows, or give a value for rows without one: missing = \{ kind"),
    "opacity in per cent": (screen(opacity=[80]), r"The opacity 80 share is not possible; it must be at least 0 and at most 1 share"),
    "a day that is none": (screen(planted_on=["31 May 2019"]), r"'31 May 2019' is not a date\. Write the day as YYYY-MM-DD"),
    "wall of no height": (screen(height_m=[0]), r"layer existing_screens, row 1: The height_m is 0"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_CELLS)
def test_a_bad_cell_is_refused_by_row(case):
    layers, said = BAD_CELLS[case]
    refused(layers, said)


def test_limits_are_said_in_the_users_unit():
    refused(
        house(H=[2000.0]),
        r"The height_m 2000 ft is not possible; it must be at least 0 and at most 1640\.42 ft",
        columns={"buildings": {"height_m": "H"}},
        units={"buildings": {"height_m": "ft"}},
    )


BAD_MAPPINGS = {
    "missing required": (
        {"utilities": frame([line((0, 0), (5, 0))], what=["gas"])}, {},
        r"key layers\.utilities\.columns\.kind: The column kind is missing \(water, gas.*the columns are what"
        r'\. Or give one value for every row, under \[layers\.utilities\]: fixed = \{ kind = "…" \}',
    ),
    "named column is not there": (
        house(HEIGHT=[5.0]), {"columns": {"buildings": {"height_m": "HEIGTH"}}},
        r"key layers\.buildings\.columns\.height_m: There is no column 'HEIGTH', which was named for "
        r"height_m\. Did you mean 'HEIGHT'\? The file's columns are HEIGHT",
    ),
    "no such contract column": (
        house(HEIGHT=[5.0]), {"columns": {"buildings": {"tallness": "HEIGHT"}}},
        r"key layers\.buildings\.columns: The layer of buildings has no column 'tallness'\. Use one of building_id",
    ),
    "not a unit": (
        house(height_m=[5.0]), {"units": {"buildings": {"height_m": "cubit"}}},
        r"layer buildings, key layers\.buildings\.units\.height_m: 'cubit' is not a unit of length",
    ),
    "unit of a column without one": (
        house(height_m=[5.0]), {"units": {"buildings": {"storeys": "ft"}}},
        r"'ft' is not a unit for storeys\. Leave the unit out",
    ),
    "unit of speed": (
        {"roads": frame([line((0, 0), (5, 0))], speed_kmh=[50])}, {"units": {"roads": {"speed_kmh": "knots"}}},
        r"'knots' is not a unit for speed_kmh\. Convert the column to km/h",
    ),
    "unknown column of the parcels": (
        {}, {"columns": {"parcels": {"parcel_id": "PINN"}}}, r"There is no column 'PINN'.*Did you mean 'PIN'",
    ),
    "fixed value": (
        house(height_m=[5.0]), {"fixed": {"buildings": {"colour": "red"}}},
        r"key layers\.buildings\.fixed: The layer of buildings has no column 'colour'",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_MAPPINGS)
def test_a_mapping_that_cannot_be_meant(case):
    layers, options, said = BAD_MAPPINGS[case]
    refused(layers, said, **options)


def test_all_that_is_wrong_with_a_layer_is_said_at_once():
    houses = frame(
        [box(-50, -5, -40, 5), box(-40, -5, -30, 5), line((-30, 0), (-25, 0)), BOW_TIE],
        height_m=["tall", -1, 5.0, 6.0],
    )
    roads = frame([box(0, 30, 9, 39)])
    error = refused({"buildings": houses, "roads": roads}, "'tall' is not a number")
    text = str(error)
    for said in (
        "row 1: 'tall'",
        "row 2: The height_m -1",
        "row 3: The layer",
        "row 4: The polygon",
    ):
        assert said in text
    assert "layer roads, row 1" in text
    assert len(error.problems) == 5


def test_rows_with_one_fault_are_said_together():
    many = house(height_m=[9999.0] * 12)
    error = refused(many, r"rows 1, 2, 3, 4, 5, 6, 7, 8 and 4 more: The height_m 9999 m looks")
    assert len(error.problems) == 1


def test_terrain_faults_are_said_with_the_layers(tmp_path):
    refused(
        house(height_m=["tall"]),
        r"'tall' is not a number(.|\n)*none\.tif, key terrain\.file: The file does not exist",
        terrain=TerrainSource(tmp_path / "none.tif"),
    )


def test_the_remedy_of_a_refusal_works(tmp_path):
    """A person who does what the message says gets a site."""
    path = tmp_path / "houses.gpkg"
    lots = source(parcels(), tmp_path / "lots.gpkg", PIN)
    houses = source(frame([box(-50, -5, -40, 5)], H=[30]), path, {"height_m": "h"})
    with pytest.raises(InputError, match="Did you mean 'H'"):
        read_site({"parcels": lots, "buildings": houses}, subject_id="A-2")
    mended = LayerSource(path, columns={"height_m": "H"}, units={"height_m": "ft"})
    site = read_site({"parcels": lots, "buildings": mended}, subject_id="A-2")
    assert site.layers["buildings"]["height_m"].iloc[0] == pytest.approx(9.144)


# ---- extent ------------------------------------------------------------------------------------


def test_a_parcel_of_millimetres_is_refused_with_the_cause():
    # Evidence: closed form; a lot of 216 by 288 m has a diagonal of 360 m. The map's scale changes
    # by 1 in 500 over 360 km.
    lot = affinity.scale(shapely.box(0, 0, 216, 288), 1000.0, 1000.0, origin=(0, 0))
    lots = gpd.GeoDataFrame(geometry=[affinity.translate(lot, EAST, NORTH)], crs=UTM)
    said = (
        r"layer parcels, row 1.*: The parcel is 36[01] km across, and a plan covers 10 km at most; its "
        r"coordinates look like millimetres taken for metres, it would be 36[01] m across\. State the CRS"
    )
    with pytest.raises(InputError, match=said):
        read_frames({"parcels": lots})


def test_a_parcel_of_metres_called_degrees_is_refused_with_the_cause():
    lots = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 30, 45)], crs="EPSG:4326")
    with pytest.raises(InputError, match="coordinates look like metres or feet, not degrees"):
        read_frames({"parcels": lots})


def test_a_line_that_is_too_long_is_refused_and_a_large_estate_is_not():
    refused(
        {"planting_line": frame([line((0, 0), (20_000, 0))])},
        r"layer planting_line, row 1.*: The line is 20 km across, and a plan covers 10 km at most; its coordinates look like milli",
    )
    estate = gpd.GeoDataFrame(geometry=[box(-3000, -3000, 3000, 3000)], crs=UTM)
    assert read_frames({"parcels": estate}).subject.area == pytest.approx(36e6, rel=1e-3)
