"""Reading a site: from any CRS, any names and units, by file or by frame, the same site."""

import hashlib
import inspect
import struct

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from reading_kit import read_frames, read_site
from shapely.geometry import mapping
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
    write_circle,
    write_geojson,
)

from screenplan.contracts import INPUTS
from screenplan.ground.errors import InputError
from screenplan.site import reading
from screenplan.site import sources as sources_module
from screenplan.site.frames import FrameLayer
from screenplan.site.loose import column_names, read_table, read_track
from screenplan.site.opening import open_layer
from screenplan.site.reading import LayerSource, TerrainSource
from screenplan.site.terrain import Terrain

PIN = {"parcel_id": "PIN"}


def frames(**more):
    return {"parcels": parcels(), "buildings": buildings(), **more}


def read(layers=None, **options):
    """The site from frames, with its own column names."""
    options = {"subject_id": "A-2", **options}
    columns = {"parcels": PIN, "buildings": BUILDING_COLUMNS, **options.pop("columns", {})}
    return read_frames(frames() if layers is None else layers, columns=columns, **options)


def said(site, layer):
    """What was mended in a layer, as (row, text)."""
    mended = site.repairs[site.repairs["layer"] == layer]
    rows = [None if pd.isna(row) else row for row in mended["row"]]
    return list(zip(rows, mended["repair"], strict=True))


# ---- what a site holds -------------------------------------------------------------------------


def test_a_site_holds_the_contracts_columns_and_the_neighbourhood():
    site = read()
    for name, layer in site.layers.items():
        expected = [column.name for column in INPUTS[name].columns]
        assert layer.columns.tolist() == [*expected, "geometry"]
        assert layer.crs == site.frame.crs
    # The buildings' rows in the source; the barn is row 3, out of reach.
    assert site.layers["buildings"].index.tolist() == [1, 2]
    assert site.layers["buildings"].index.name == "row"
    lots = site.layers["parcels"]
    # B-9 is 880 m away, beyond the reach of 150 m.
    assert lots["parcel_id"].tolist() == ["A-1", "A-2", "A-3"]
    assert lots["is_subject"].tolist() == [False, True, False]
    assert site.subject_id == "A-2"
    assert site.subject.area == pytest.approx(1600.0, rel=1e-3)
    # The barn with its 9999 is out of reach too, so it stops nobody.
    assert len(site.layers["buildings"]) == 2
    assert site.layer("roads") is None
    assert [entry["rows_near"] for entry in site.inputs] == [3, 2]


def test_heights_come_from_storeys_and_that_is_listed():
    # Evidence: arithmetic, 2 × 2.8 m and 2 × 3 m.
    houses = read().layers["buildings"]
    assert houses["height_m"].tolist() == pytest.approx([6.0, 5.6])
    assert read(storey_height_m=3.0).layers["buildings"]["height_m"].iloc[1] == pytest.approx(6.0)
    assert said(read(), "buildings") == [(2, "height 5.6 m taken from 2 storeys of 2.8 m")]


def test_a_building_belongs_to_the_parcel_under_most_of_it():
    # The second house reaches 2 m onto A-2 and 15 m onto A-3.
    assert read().layers["buildings"]["parcel_id"].tolist() == ["A-1", "A-3"]


def test_defaults_and_row_numbers_are_filled_in():
    houses = read().layers["buildings"]
    assert houses["kind"].tolist() == ["house", "house"]
    assert houses["building_id"].tolist() == ["1", "2"]
    assert houses["storeys"].isna().tolist() == [True, False]


def test_floors_are_the_mean_ground():
    # Evidence: closed form; a plane that rises 0.1 to the east, at the middles of the houses.
    x, _ = np.meshgrid(np.arange(-300.0, 301.0, 10.0), np.arange(-300.0, 301.0, 10.0))
    site = read(terrain=Terrain(100 + 0.1 * x, -300.0, -300.0, 10.0, 10.0))
    assert site.layers["buildings"]["floor_m"].tolist() == pytest.approx([95.5, 102.65], abs=0.02)
    assert read().layers["buildings"]["floor_m"].tolist() == [0.0, 0.0]


def test_callers_frames_are_left_alone():
    given = frames()
    before = {name: frame.copy(deep=True) for name, frame in given.items()}
    read(given)
    for name, frame in given.items():
        pd.testing.assert_frame_equal(frame, before[name])
        assert frame.crs == before[name].crs


def test_another_name_of_the_geometry_and_any_index_will_do():
    odd = frames()
    odd["parcels"] = odd["parcels"].rename_geometry("outline").set_axis(list("wxyz"))
    assert read(odd).layers["parcels"]["parcel_id"].tolist() == ["A-1", "A-2", "A-3"]


# ---- any CRS, file, unit -----------------------------------------------------------------------


@pytest.mark.parametrize("lots_crs", ["EPSG:4326", "EPSG:3857", "EPSG:32631"])
@pytest.mark.parametrize("houses_crs", ["EPSG:4326", UTM])
def test_the_site_is_the_same_in_every_crs(lots_crs, houses_crs):
    # Evidence: invariant, to a tenth of a millimetre at the vertices.
    expected = read()
    site = read(
        {"parcels": parcels().to_crs(lots_crs), "buildings": buildings().to_crs(houses_crs)}
    )
    for name in ("parcels", "buildings"):
        for found, plain in zip(
            site.layers[name].geometry, expected.layers[name].geometry, strict=True
        ):
            assert shapely.hausdorff_distance(found, plain) < 1e-4
    assert [way["accuracy_m"] for way in site.transformations] == [0.0, 0.0]


FORMATS = {
    "lots.gpkg": {},
    "lots.geojson": {},
    "lots.shp": {},
    "lots.fgb": {},
    "lots.zip": {},
}


@pytest.mark.parametrize("name", FORMATS)
def test_files_give_what_frames_give(tmp_path, name):
    lots = parcels().to_crs(4326) if name.endswith("geojson") else parcels()
    if name.endswith("zip"):
        import zipfile

        write(lots, tmp_path / "lots.shp")
        with zipfile.ZipFile(tmp_path / name, "w") as packed:
            for part in tmp_path.glob("lots.[!z]*"):
                packed.write(part, part.name)
    else:
        write(lots, tmp_path / name)
    site = read_site(
        {
            "parcels": LayerSource(tmp_path / name, columns=PIN),
            "buildings": source(buildings(), tmp_path / "houses.gpkg", BUILDING_COLUMNS),
        },
        subject_id="A-2",
    )
    expected = read()
    for layer in ("parcels", "buildings"):
        found, plain = site.layers[layer], expected.layers[layer]
        pd.testing.assert_frame_equal(
            pd.DataFrame(found.drop(columns="geometry")),
            pd.DataFrame(plain.drop(columns="geometry")),
        )
        # GeoJSON keeps 7 decimals of a degree when written so: 6 mm.
        gap = shapely.hausdorff_distance(found.geometry.array, plain.geometry.array)
        assert gap.max() < 0.02


def test_hashes_are_those_of_the_files(tmp_path):
    # Evidence: trivial by construction.
    path = write(parcels(), tmp_path / "lots.shp")
    (tmp_path / "lots_old.shp").write_text("not one of its parts")
    (entry,) = read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2").inputs
    assert entry["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert sorted(entry["sidecars"]) == ["lots.cpg", "lots.dbf", "lots.prj", "lots.shx"]
    table = (tmp_path / "lots.dbf").read_bytes()
    assert entry["sidecars"]["lots.dbf"] == hashlib.sha256(table).hexdigest()
    assert (entry["rows"], entry["rows_near"], entry["crs"]) == (4, 3, UTM)


def test_units_are_those_of_the_user():
    # Evidence: the definition of the foot, and of the mile per hour.
    houses = buildings().assign(HT=[20.0, "10", None])
    roads = gpd.GeoDataFrame(
        {"mph": [30, None], "wide": [12, 8]},
        geometry=[shapely.LineString([(EAST - 90, NORTH + 30), (EAST + 90, NORTH + 30)])] * 2,
        crs=UTM,
    )
    site = read(
        {"parcels": parcels(), "buildings": houses, "roads": roads},
        units={"buildings": {"height_m": "ft"}, "roads": {"speed_kmh": "mph", "width_m": "yd"}},
        columns={"roads": {"speed_kmh": "mph", "width_m": "wide"}},
    )
    assert site.layers["buildings"]["height_m"].tolist() == pytest.approx([6.096, 3.048])
    assert site.layers["roads"]["speed_kmh"].iloc[0] == pytest.approx(48.28032)
    assert site.layers["roads"]["width_m"].tolist() == pytest.approx([10.9728, 7.3152])
    assert np.isnan(site.layers["roads"]["speed_kmh"].iloc[1])


def test_one_value_may_hold_for_all_rows():
    poles = gpd.GeoDataFrame(geometry=[shapely.Point(EAST + 5, NORTH + 25)], crs=UTM)
    site = read(
        {"parcels": parcels(), "utilities": poles},
        fixed={"utilities": {"kind": "electric", "position": "Overhead", "height_m": "20"}},
        units={"utilities": {"height_m": "ft"}},
    )
    pole = site.layers["utilities"].iloc[0]
    assert (pole["kind"], pole["position"], pole["diameter_m"]) == ("electric", "overhead", 0.0)
    assert pole["height_m"] == pytest.approx(6.096)


@pytest.mark.parametrize(
    ("given", "read_as"),
    [
        ("2019-05-01", "2019-05-01"),
        ("2019/05/01", "2019-05-01"),
        ("2019-05-01T00:00:00Z", "2019-05-01"),
        (pd.Timestamp("2019-05-01 12:30"), "2019-05-01"),
        ("20190501", "2019-05-01"),
        (None, None),
        ("  ", None),
    ],
)
def test_dates_are_iso_text(given, read_as):
    trees = gpd.GeoDataFrame(
        {"kind": ["Tree"], "height_m": ["12.5"], "planted_on": pd.Series([given], dtype=object)},
        geometry=[shapely.Point(EAST, NORTH)],
        crs=UTM,
    )
    tree = (
        read({"parcels": parcels(), "existing_screens": trees}).layers["existing_screens"].iloc[0]
    )
    assert tree["planted_on"] == read_as
    assert (tree["kind"], tree["height_m"], tree["opacity"]) == ("tree", 12.5, 1.0)


def test_numbers_name_a_parcel_as_text():
    lots = parcels().assign(PIN=[101.0, 102.0, 103.0, None])
    assert read({"parcels": lots}, subject_id=102).subject_id == "102"


# ---- the subject -------------------------------------------------------------------------------


def test_the_only_parcel_is_the_subject_and_needs_no_id():
    parcel = parcels().iloc[[1]].drop(columns="PIN")
    site = read_frames({"parcels": parcel})
    assert site.subject_id == "row 1"
    assert site.layers["parcels"]["is_subject"].tolist() == [True]


@pytest.mark.parametrize(
    ("point", "crs"),
    [((EAST + 1, NORTH + 1), "parcels"), ((EAST + 1, NORTH + 1), UTM), ("degrees", None)],
)
def test_a_point_chooses_the_parcel_under_it(point, crs):
    if point == "degrees":
        place = parcels().to_crs(4326).geometry.iloc[1].centroid
        point = (place.x, place.y)
    site = read(subject_id=None, subject_point=point, subject_point_crs=crs)
    assert site.subject_id == "A-2"


def test_the_scale_is_that_of_the_height():
    # Evidence: closed form, 1 + h/R within the spread of R over the earth (6335 to 6400 km).
    assert read().frame.scale == 1.0
    assert 1600 / 6400e3 < read(height_m=1600.0).frame.scale - 1.0 < 1600 / 6335e3
    assert "height is not known" in read().warnings[0]
    assert read(height_m=1600.0).warnings[0] == "Lengths are true at 1600 m above the ellipsoid."


def test_the_terrain_gives_the_height_if_nobody_does(tmp_path):
    import rasterio
    from affine import Affine

    path = tmp_path / "t.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=100, width=100, count=1, dtype="float32", crs=UTM,
        transform=Affine(5.0, 0.0, EAST - 250, 0.0, -5.0, NORTH + 250),
    ) as raster:  # fmt: skip
        raster.write(np.full((100, 100), 800, dtype="float32"), 1)
    site = read(terrain=TerrainSource(path, "m"))
    assert site.frame.height_m == 800.0
    assert any("terrain's height" in warning for warning in site.warnings)
    assert site.terrain.is_flat
    assert site.layers["buildings"]["floor_m"].tolist() == [800.0, 800.0]
    assert site.inputs[-1]["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert site.transformations[-1]["layer"] == "terrain"


def test_a_frame_that_is_given_is_used_and_its_own_layers_stay_as_they_are():
    # Evidence: trivial by construction, to the last digit.
    first = read(height_m=500.0)
    again = read_frames(dict(first.layers), frame=first.frame)
    assert again.frame is first.frame
    assert again.subject_id == "A-2"
    assert len(again.repairs) == 0
    for name, layer in first.layers.items():
        pd.testing.assert_frame_equal(pd.DataFrame(again.layers[name]), pd.DataFrame(layer))


def test_a_frame_of_another_place_is_refused():
    lots = parcels().translate(9000, 0).to_frame("geometry").assign(PIN=parcels()["PIN"])
    with pytest.raises(InputError, match=r"more than 5 km from the middle of the frame\. Use"):
        read({"parcels": lots}, frame=read().frame)


# ---- what is mended ----------------------------------------------------------------------------


def lots_with(*outlines):
    """The subject and further outlines as neighbours."""
    return gpd.GeoDataFrame(
        {"PIN": ["A-2", *(f"N-{n}" for n in range(len(outlines)))]},
        geometry=[box(-20, -20, 20, 20), *outlines],
        crs=UTM,
    )


def outline(*corners):
    return shapely.Polygon([(EAST + x, NORTH + y) for x, y in corners])


def test_heights_and_measures_are_left_out():
    lots = lots_with()
    lots["geometry"] = shapely.force_3d(lots.geometry.array, 7.0)
    site = read({"parcels": lots})
    assert said(site, "parcels") == [(1, "heights in the coordinates left out")]
    assert not site.layers["parcels"].has_z.any()


def test_rows_without_geometry_are_left_out_by_row():
    site = read({"parcels": lots_with(None, shapely.Polygon(), box(20, -20, 60, 20))})
    assert said(site, "parcels") == [
        (2, "no geometry: row left out"),
        (3, "empty geometry: row left out"),
    ]
    assert site.layers["parcels"]["parcel_id"].tolist() == ["A-2", "N-2"]


def test_parts_and_holes_without_a_point_are_left_out_and_listed():
    # By construction. Where two outlines were compared they ended the process.
    lot = outline((20, -20), (60, -20), (60, 20), (20, 20)).wkt
    hollow = shapely.from_wkt(lot.replace("))", "), EMPTY)"))
    in_parts = shapely.from_wkt(f"MULTIPOLYGON ({lot.removeprefix('POLYGON ')}, EMPTY)")
    whole = read({"parcels": parcels().iloc[:3]}, columns={})
    for shape, what in ((hollow, "hole"), (in_parts, "part")):
        layer = parcels().iloc[:3]
        layer.loc[2, "geometry"] = shape
        site = read({"parcels": layer}, columns={})
        assert (3, f"1 {what} without a point left out") in said(site, "parcels")
        assert shapely.equals(*(read.layers["parcels"].geometry[2] for read in (site, whole)))


def test_rings_are_turned_and_vertices_thinned():
    clockwise = outline((20, -20), (20, 20), (40, 20), (40, 20), (40, 20.0003), (40, -20))
    site = read({"parcels": lots_with(clockwise)})
    assert said(site, "parcels") == [
        (2, "2 repeated vertices taken out"),
        (2, "rings turned: the outer one anticlockwise, holes clockwise"),
    ]
    assert site.layers["parcels"].geometry.iloc[1].exterior.is_ccw


def test_the_habit_of_a_format_is_said_once(tmp_path):
    # A shapefile's outer rings run clockwise: ESRI, Shapefile Technical Description, 1998.
    site = read_site({"parcels": source(parcels(), tmp_path / "lots.shp", PIN)}, subject_id="A-2")
    assert said(site, "parcels") == [
        (None, "all rows: rings turned: the outer one anticlockwise, holes clockwise")
    ]


def test_an_invalid_polygon_whose_area_survives_is_mended():
    # A spike without area on the far side.
    spike = outline((20, -20), (60, -20), (60, 0), (75, 0), (60, 0), (60, 20), (20, 20))
    assert not spike.is_valid
    site = read({"parcels": lots_with(spike)})
    # Evidence: closed form, 40 m × 40 m at the scale of UTM's central meridian, 0.9996².
    assert site.layers["parcels"].geometry.iloc[1].area == pytest.approx(1600 / 0.9996**2, rel=1e-6)
    assert site.layers["parcels"].is_valid.all()
    ((row, text),) = said(site, "parcels")
    assert row == 2
    assert text.startswith(
        "invalid polygon (ring self-intersection) mended; area 1601.28 m² before"
    )


def test_arcs_become_short_edges_and_are_listed(tmp_path):
    # Evidence: closed form π r², and the inscribed 90-gon's area (90/2) r² sin 4°.
    path = write_circle(tmp_path / "round.gpkg", 30.0)
    site = read_site({"parcels": LayerSource(path)})
    assert said(site, "parcels") == [
        (1, "arcs made of short straight edges, 4 degrees of arc each")
    ]
    area = 45 * 30.0**2 * np.sin(np.radians(4.0)) / 0.9996**2
    assert site.subject.area == pytest.approx(area, rel=1e-6)
    assert site.subject.area == pytest.approx(np.pi * 900, rel=2e-3)


def test_a_row_of_a_geopackage_that_is_no_geometry_hides_no_other(tmp_path):
    # By construction: the second lot has latitude and longitude swapped, the third is a polygon in well-known
    # binary of one point without numbers. GDAL's search for arcs in a box gave up on that one, and the whole
    # file was unreadable.
    lot = shapely.box(179.9999, -17.0001, -179.9999 + 360.0, -16.9999)
    swapped = shapely.transform(lot, lambda xy: xy[:, ::-1])
    none = struct.pack("<BIII2d", 1, 3, 1, 1, np.nan, np.nan)
    path = tmp_path / "lots.gpkg"
    pyogrio.raw.write(
        path, geometry=np.array([*shapely.to_wkb([lot, swapped]), none], dtype=object),
        field_data=[np.array(["1", "2", "3"], dtype=object)], fields=["parcel_id"],
        geometry_type="Unknown", crs="EPSG:4326", driver="GPKG",
    )  # fmt: skip
    with pytest.raises(InputError, match=r"layer lots, row 2.*Coordinates cannot lie in the CRS"):
        read_site({"parcels": LayerSource(path)}, subject_id="1")


def test_copies_are_left_out_and_named():
    lots = lots_with(box(20, -20, 60, 20), box(20, -20, 60, 20)).assign(PIN=["A-2", "N", "N"])
    lots["note"] = ["", "first", "second"]
    site = read({"parcels": lots})
    assert said(site, "parcels") == [(3, "copy of row 2: row left out")]
    assert len(site.layers["parcels"]) == 2


def test_a_flats_outline_on_the_subjects_own_is_left_out():
    site = read({"parcels": lots_with(box(-20, -20, 20, 20))})
    assert said(site, "parcels") == [(2, "parcel 'N-0' has the subject's outline: row left out")]


def test_the_subjects_outline_recorded_twice_is_left_out_and_its_house_stays_the_subjects():
    # Evidence: closed form; one outline 0.3 m east and north of the other is 0.3 √2 = 0.42 m off.
    lots = lots_with(box(-19.7, -19.7, 20.3, 20.3))
    house = gpd.GeoDataFrame({"height_m": [6.0]}, geometry=[box(-5, -5, 5, 5)], crs=UTM)
    for subject, row, other in (("A-2", 2, "N-0"), ("N-0", 1, "A-2")):
        layers = {"parcels": lots, "buildings": house}
        site = read(layers, subject_id=subject, columns={"buildings": {}})
        assert site.layers["parcels"]["parcel_id"].tolist() == [subject]
        assert site.layers["buildings"]["parcel_id"].tolist() == [subject]
        assert said(site, "parcels") == [
            (row, f"parcel '{other}' has the subject's outline, 0.42 m off: row left out")
        ]


def test_overlapping_parcels_are_said_and_the_subject_keeps_its_house():
    # Evidence: closed forms; 20 × 40 m of the subject, and two flats of 40 × 40 m above each other, in
    # a map whose scale is 0.9996.
    flat = box(20, -20, 60, 20)
    lots = lots_with(box(-60, -20, 0, 20), flat, flat, box(19.6, 19.6, 60, 60))
    lots = lots.iloc[[1, 0, 2, 3, 4]]  # the neighbour comes first
    house = gpd.GeoDataFrame({"height_m": [6.0]}, geometry=[box(-15, -5, -5, 5)], crs=UTM)
    site = read({"parcels": lots, "buildings": house}, columns={"buildings": {}})
    assert len(site.layers["parcels"]) == 5
    assert site.layers["buildings"]["parcel_id"].tolist() == ["A-2"]
    own, theirs = (note for note in site.warnings if "m²" in note)
    assert own.startswith(
        "Ground of the subject is that of another parcel too: N-0 (row 1) and A-2 (row 2), 801 m². "
    )
    assert theirs.startswith(
        "Parcels of the neighbours overlap: N-1 (row 3) and N-2 (row 4), 1601 m². "
    )


def test_who_does_not_ask_is_not_told_what_overlaps():
    """Invariant: all else that is read is the same."""
    lots = lots_with(box(-60, -20, 0, 20))
    told, untold = (read({"parcels": lots}, warn=warn) for warn in (True, False))
    assert [note for note in told.warnings if note not in untold.warnings] == [
        note for note in told.warnings if "is that of another parcel too" in note
    ]
    assert len(told.warnings) == len(untold.warnings) + 1
    assert told.layers["parcels"].equals(untold.layers["parcels"])
    assert told.repairs.equals(untold.repairs)


def test_copies_of_the_subject_are_no_contradiction():
    lots = lots_with(box(-20, -20, 20, 20)).assign(PIN=["A-2", "A-2"])
    site = read({"parcels": lots})
    assert len(site.layers["parcels"]) == 1


def test_lines_without_length_are_left_out():
    line = shapely.LineString([(EAST, NORTH + 30), (EAST + 50, NORTH + 30)])
    dot = shapely.LineString([(EAST, NORTH), (EAST, NORTH)])
    roads = gpd.GeoDataFrame(geometry=[dot, line], crs=UTM)
    site = read({"parcels": parcels(), "roads": roads})
    assert said(site, "roads") == [(1, "line without length: row left out")]
    assert site.layers["roads"]["road_id"].tolist() == ["2"]


def multi(*outlines):
    return shapely.multipolygons(outlines)


def test_single_parts_are_unwrapped_and_neighbours_stay_multiple():
    lots = lots_with(multi(box(20, -20, 40, 20), box(50, -20, 60, 20)))
    lots.loc[0, "geometry"] = multi(lots.geometry[0])
    site = read({"parcels": lots})
    assert said(site, "parcels") == [(1, "single part taken out of its multi-part wrapping")]
    assert site.layers["parcels"].geom_type.tolist() == ["Polygon", "MultiPolygon"]


def test_touching_parts_of_the_subject_are_joined_and_crumbs_left_out():
    halves = multi(box(-20, -20, 0, 20), box(0, -20, 20, 20), box(30, 0, 30.5, 0.5))
    lots = gpd.GeoDataFrame({"PIN": ["A-2"]}, geometry=[halves], crs=UTM)
    site = read({"parcels": lots})
    assert site.subject.geom_type == "Polygon"
    assert site.subject.area == pytest.approx(1600 / 0.9996**2, rel=1e-6)
    assert [text for _, text in said(site, "parcels")][-2:] == [
        "1 crumbs of the subject below 1 m² left out",
        "parts of the subject that touch joined into one",
    ]


def test_a_point_chooses_the_part_and_the_others_become_neighbours():
    apart = multi(box(-20, -20, 20, 20), box(-20, 30, 20, 40))
    lots = gpd.GeoDataFrame({"PIN": ["A-2"]}, geometry=[apart], crs=UTM)
    site = read(
        {"parcels": lots}, subject_id=None, subject_point=(EAST, NORTH + 35), subject_point_crs=UTM
    )
    assert site.subject.area == pytest.approx(400 / 0.9996**2, rel=1e-6)
    assert site.layers["parcels"]["parcel_id"].tolist() == ["A-2", "A-2 (part 2)"]
    assert site.subject_id == "A-2"
    # And the refusal without a point: see test_awkward_layers.


def test_the_other_parts_are_numbered_by_size():
    # By the definition: the part with the point keeps the name, the others follow, the largest first.
    apart = multi(
        box(-20, 30, 20, 35), box(-20, -20, 20, 20), box(30, -20, 40, 20), box(-40, 0, -30, 60)
    )
    lots = gpd.GeoDataFrame({"PIN": ["A-2"]}, geometry=[apart], crs=UTM)
    site = read(
        {"parcels": lots}, subject_id=None, subject_point=(EAST + 35, NORTH), subject_point_crs=UTM
    )
    found = site.layers["parcels"]
    assert found["parcel_id"].tolist() == ["A-2", *(f"A-2 (part {n})" for n in (2, 3, 4))]
    assert (found.geometry.area * 0.9996**2).to_numpy() == pytest.approx(
        [400, 1600, 600, 200], rel=1e-6
    )
    (repair,) = said(site, "parcels")
    assert repair == (1, "the part of 400 m² is planned, 3 others are neighbours")


# ---- layers with little in them ----------------------------------------------------------------


def test_an_empty_layer_that_is_not_needed_is_said_and_kept():
    site = read({"parcels": parcels(), "buildings": buildings().iloc[:0]})
    assert len(site.layers["buildings"]) == 0
    assert site.layers["buildings"].columns[0] == "building_id"
    assert "The layer of buildings is empty." in site.warnings


def test_a_layer_with_nothing_in_reach_is_said_and_kept():
    far = gpd.GeoDataFrame(geometry=[box(400, 0, 410, 10)], crs=UTM)
    site = read({"parcels": parcels(), "keep_outs": far}, fixed={"keep_outs": {"kind": "pond"}})
    assert len(site.layers["keep_outs"]) == 0
    assert "The layer of keep outs holds nothing within 150 m of the subject." in site.warnings


def test_a_datum_change_is_listed_with_its_accuracy():
    site = read({"parcels": parcels().to_crs("EPSG:25832"), "buildings": buildings()})
    way = site.transformations[1]
    assert (way["layer"], way["accuracy_m"]) == ("buildings", 1.0)
    assert any("good to 1 m" in warning for warning in site.warnings)


def test_a_site_is_read_from_layers_and_options_by_name():
    # By the convention of every step: layers first, each parameter by its name, so that a number can never
    # be taken for another.
    layers, *options = inspect.signature(reading.read_site).parameters.values()
    assert layers.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD
    assert {option.kind for option in options} == {inspect.Parameter.KEYWORD_ONLY}


@pytest.mark.parametrize(
    ("attributes", "columns"), [({"LOT": ["1"], "OWNER": ["o"]}, "LOT, OWNER"), ({}, "none")]
)
def test_parcels_without_ids_name_the_columns_that_they_have(attributes, columns):
    lot = gpd.GeoDataFrame(attributes, geometry=[box(0, 0, 40, 40)], crs=UTM)
    with pytest.raises(InputError, match=f"'7' cannot be found.*the columns are {columns}"):
        read_frames({"parcels": lot}, subject_id="7")


# ---- large files -------------------------------------------------------------------------------


@pytest.mark.parametrize("whole", [None, True, False])
def test_rows_that_meet_a_box_are_read_on_every_side_of_it(tmp_path, monkeypatch, whole):
    # By construction: a box of 10 m, and squares of 4 m about it in a grid of five by five: of each side the
    # one that reaches into it or touches it is read, and the one beyond is not.
    at = [-9.0, -2.0, 3.0, 8.0, 15.0]
    squares = [shapely.box(x, y, x + 4, y + 4) for y in at for x in at]
    frame = gpd.GeoDataFrame({"n": range(25)}, geometry=squares, crs=UTM)
    frame = frame.set_geometry(frame.geometry.translate(EAST, NORTH))
    frame.loc[25] = [99, None]  # without a place it is told later
    layer = FrameLayer("parcels", frame)
    if whole is not None:
        monkeypatch.setattr(sources_module, "WHOLE_ROWS", 1000 if whole else 2)
        path = write(frame.iloc[:25], tmp_path / "squares.gpkg")
        layer = open_layer("parcels", LayerSource(path))
    assert layer.bounds == pytest.approx((EAST - 9, NORTH - 9, EAST + 19, NORTH + 19))
    assert layer.types == {"Polygon"}
    near = layer.read([(EAST, NORTH, EAST + 10, NORTH + 10)])
    inside = [1 + 5 * row + column for row in (1, 2, 3) for column in (1, 2, 3)]
    assert near.index.tolist() == inside + ([26] if whole is None else [])
    alone = layer.read([(EAST + 19, NORTH + 19, EAST + 30, NORTH + 30)])  # it touches the last
    assert alone.index.tolist() == [25] + ([26] if whole is None else [])


@pytest.mark.parametrize("whole", [True, False])
def test_rows_that_meet_one_of_some_boxes_are_read_once_and_in_the_files_order(
    tmp_path, monkeypatch, whole
):
    # By construction: the first box meets the last square, the second both, the third none.
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 1000 if whole else 2)
    squares = [box(0, 0, 9, 9), box(20, 0, 29, 9), box(40, 0, 49, 9), box(60, 0, 69, 9)]
    path = write(gpd.GeoDataFrame({"n": range(4)}, geometry=squares, crs=UTM), tmp_path / "s.gpkg")
    layer = open_layer("parcels", LayerSource(path))
    boxes = [box(45, 0, 55, 9).bounds, box(5, 0, 45, 9).bounds, box(900, 0, 909, 9).bounds]
    assert layer.read(boxes).index.tolist() == [1, 2, 3]
    assert layer.read(boxes)["n"].tolist() == [0, 1, 2]


#: Longitude and latitude of a site, and what is added to the longitudes of another layer of it.
EDGES = {
    "counted to 360": (-74.0, 40.0, 360.0),
    "counted below -180": (170.0, -40.0, -360.0),
    "at the antimeridian": (179.99995, -17.0, 0.0),
    "at the pole": (10.0, 89.9999, 0.0),
}


@pytest.mark.parametrize("whole", [True, False])
@pytest.mark.parametrize("edge", EDGES)
def test_what_lies_near_is_read_at_every_end_of_the_map(tmp_path, monkeypatch, edge, whole):
    # By construction: squares of 4 m at the corners of the lot and in its middle, and one far away.
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 1000 if whole else 2)
    lon, lat, turn = EDGES[edge]
    there = f"+proj=aeqd +lat_0={lat} +lon_0={lon} +datum=WGS84"
    lot = gpd.GeoDataFrame(
        {"parcel_id": ["1"]}, geometry=[shapely.box(-20, -20, 20, 20)], crs=there
    )
    at = [(-20, -20), (20, -20), (20, 20), (-20, 20), (0, 0), (90_000, 0)]
    ponds = gpd.GeoDataFrame(
        {"kind": ["pond"] * 6}, geometry=shapely.points(at).tolist(), crs=there
    )
    ponds = ponds.set_geometry(ponds.buffer(2.0, cap_style="square")).to_crs(4326)
    ponds = ponds.set_geometry(ponds.translate(turn, 0.0))
    site = read_site(
        {
            "parcels": source(lot.to_crs(4326), tmp_path / "lot.gpkg"),
            "keep_outs": source(ponds, tmp_path / "ponds.gpkg"),
        },
        subject_id="1",
    )
    found = site.layers["keep_outs"]
    assert found.index.tolist() == [1, 2, 3, 4, 5]
    middles = shapely.centroid(found.geometry.array)
    # Half a diagonal of the lot, in whichever direction the frame's axes point. By the pole an edge that is
    # straight in degrees bulges, and shifts the middle of a square of 4 m by some decimetres.
    assert shapely.distance(middles, middles[4]) == pytest.approx(
        [28.28, 28.28, 28.28, 28.28, 0.0], abs=0.3
    )


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.fgb"])
def test_of_a_large_layer_only_the_neighbourhood_is_read(tmp_path, monkeypatch, name):
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 2)
    lots = pd.concat([parcels(), parcels().iloc[[2]].assign(PIN="C-1")], ignore_index=True)
    # Row 4, far away, is a bow tie that would be refused were it near.
    lots.loc[3, "geometry"] = outline((900, 0), (950, 50), (950, 0), (900, 50))
    path = write(lots, tmp_path / name)
    layer = open_layer("parcels", LayerSource(path))
    near = layer.read([(EAST - 70, NORTH - 10, EAST - 30, NORTH + 10)])
    # A driver may order rows as it likes when it writes; they are numbered as they are read.
    with fiona.open(path) as collection:
        order = [row["properties"]["PIN"] for row in collection]
    assert near.index.tolist() == [order.index("A-1") + 1]
    assert near.index.name == "row"
    by_id = read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2")
    spot = read_site(
        {"parcels": LayerSource(path, columns=PIN)},
        subject_point=(EAST, NORTH),
        subject_point_crs="parcels",
    )
    for site in (by_id, spot):
        assert sorted(site.layers["parcels"]["parcel_id"]) == ["A-1", "A-2", "A-3", "C-1"]
        assert site.subject_id == "A-2"
        assert site.inputs[0]["rows"] == 5


def test_rows_of_a_large_layer_keep_their_numbers(tmp_path, monkeypatch):
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 2)
    houses = pd.concat([buildings().iloc[[2]], buildings().iloc[:1], buildings().iloc[:1]])
    houses["HT"] = [5.0, 6.0, -4.0]
    houses = houses.set_geometry([box(910, 0, 920, 9), box(-50, -5, -40, 5), box(-30, -5, -25, 5)])
    path = write(houses.set_crs(UTM), tmp_path / "h.gpkg")
    with pytest.raises(InputError, match=r"h\.gpkg, layer h, row 3: The height_m -4 m is not poss"):
        read_site(
            {
                "parcels": source(parcels(), tmp_path / "lots.gpkg", PIN),
                "buildings": LayerSource(path, columns={"height_m": "HT"}),
            },
            subject_id="A-2",
        )


def test_a_named_layer_of_several_and_styles_beside_one(tmp_path):
    path = tmp_path / "both.gpkg"
    write(parcels(), path, layer="lots")
    gpd.GeoDataFrame({"styleName": ["x"]}, geometry=[None]).drop(columns="geometry")
    with fiona.open(
        path, "w", driver="GPKG", layer="layer_styles",
        schema={"geometry": "None", "properties": {"styleName": "str"}},
    ) as table:  # fmt: skip
        table.write({"geometry": None, "properties": {"styleName": "default"}})
    assert read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2").subject_id
    write(buildings(), path, layer="houses", mode="w")
    site = read_site(
        {
            "parcels": LayerSource(path, "lots", PIN),
            "buildings": LayerSource(path, "houses", BUILDING_COLUMNS),
        },
        subject_id="A-2",
    )
    assert len(site.layers["buildings"]) == 2


def test_the_one_layer_with_shapes_is_taken_and_one_of_several_is_not(tmp_path):
    path = tmp_path / "some.gpkg"
    for name in ("notes", "owners"):
        with fiona.open(
            path, "w", driver="GPKG", layer=name,
            schema={"geometry": "None", "properties": {"text": "str"}},
        ) as table:  # fmt: skip
            table.write({"geometry": None, "properties": {"text": "x"}})
    with pytest.raises(InputError, match="The file holds no layer with geometry"):
        read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2")
    write(parcels(), path, layer="lots", mode="a")
    site = read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2")
    assert site.inputs[0]["layer"] == "lots"
    write(buildings(), path, layer="houses", mode="a")
    with pytest.raises(
        InputError, match=r"holds 2 layers, and none is named.*parcels: lots, houses"
    ):
        read_site({"parcels": LayerSource(path, columns=PIN)}, subject_id="A-2")


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="A GeoJSON polygon wound the other way, with heights, is read",
    source="RFC 7946, section 3.1.6",
    status="read",
    tolerance="read, not refused",
)
def test_geojson_with_the_other_winding_and_heights_is_read(tmp_path):
    # RFC 7946 §3.1.6: a reader should not reject the other winding.
    lot = parcels().to_crs(4326).geometry.iloc[1]
    ring = [[x, y, 3.0] for x, y in lot.reverse().exterior.coords]
    path = write_geojson(tmp_path / "lot.geojson", [{"type": "Polygon", "coordinates": [ring]}])
    site = read_site({"parcels": LayerSource(path)})
    assert site.subject.exterior.is_ccw
    assert mapping(site.subject)["type"] == "Polygon"


# ---- files without a contract ------------------------------------------------------------------


def test_a_table_is_read_as_it_is(tmp_path):
    path = write(buildings(), tmp_path / "h.gpkg")
    table = read_table(path)
    assert table.crs.equals(UTM)
    assert table["HT"].tolist()[::2] == [6.0, 9999.0]
    assert column_names(path) == ["HT", "FLOORS", "USE"]
    (tmp_path / "list.csv").write_text("a,b\n1,x\n")
    plain = read_table(tmp_path / "list.csv")
    assert not isinstance(plain, gpd.GeoDataFrame)
    assert plain["b"].tolist() == ["x"]


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="50.0" lon="9.0"/>{}</gpx>"""
POINTS = '<trkpt lat="50.0" lon="9.0"><ele>5</ele></trkpt><trkpt lat="50.001" lon="9.0"/>'
STAY = '<trkpt lat="50.0" lon="9.0"/><trkpt lat="50.0" lon="9.0"/>'


def test_a_track_is_one_line_without_heights(tmp_path):
    path = tmp_path / "walk.gpx"
    path.write_text(GPX.format(f"<trk><trkseg>{POINTS}</trkseg></trk>"))
    track = read_track(path)
    assert track.crs.to_epsg() == 4326
    assert track.geometry.iloc[0].wkt == "LINESTRING (9 50, 9 50.001)"


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        ("", r"walk\.gpx: The file holds no track\. Record a track"),
        (
            f"<trk><trkseg>{POINTS}</trkseg><trkseg>{POINTS}</trkseg></trk>",
            r"holds 2 tracks or str",
        ),
        (f"<trk><trkseg>{STAY}</trkseg></trk>", r"The track does not move"),
    ],
)
def test_a_track_that_is_none(tmp_path, inside, message):
    path = tmp_path / "walk.gpx"
    path.write_text(GPX.format(inside))
    with pytest.raises(InputError, match=message):
        read_track(path)
