"""Systems that are named to whoever must state one."""

import geopandas as gpd
import pytest
import shapely
from pyproj import CRS, Transformer
from reading_kit import read_site
from site_layers import UTM, buildings, parcels, write, write_geojson

from screenplan.ground.errors import InputError
from screenplan.site.likely_systems import in_degrees, likely_systems, say_likely
from screenplan.site.reading import LayerSource

BOSTON = (-71.12, 42.37, -71.1, 42.38)
HERE = (BOSTON, CRS(4326))


@pytest.mark.parametrize("code", [2249, 26986, 26919])
def test_the_system_of_coordinates_is_among_those_that_are_named(code):
    # Evidence: invariant; coordinates made in a system lie where it says.
    bounds = Transformer.from_crs(4326, code, always_xy=True).transform_bounds(*BOSTON)
    named = likely_systems(bounds, [(BOSTON, CRS(code).geodetic_crs)])
    assert any(name.startswith(f"EPSG:{code} (") for name in named), named
    for name in named:
        box = in_degrees(bounds, name.split()[0])
        assert box == pytest.approx(BOSTON, abs=0.03)


def test_degrees_are_known_and_nothing_is_named_where_nothing_lies():
    assert likely_systems(BOSTON, [HERE]) == ["EPSG:4326 (WGS 84)"]
    assert likely_systems((0.0, 0.0, 40.0, 30.0), [HERE]) == []
    assert say_likely(None, [HERE]) == say_likely(BOSTON, []) == ""


def test_a_file_without_a_system_is_told_in_which_it_would_lie_at_the_others(tmp_path):
    bare = parcels().set_crs(None, allow_override=True)
    file = write(bare, tmp_path / "lots.shp", driver="ESRI Shapefile", engine="fiona")
    houses = write(buildings().to_crs(4326), tmp_path / "houses.geojson", driver="GeoJSON")
    columns = {"height_m": "HT", "storeys": "FLOORS"}
    sources = {
        "parcels": LayerSource(file, columns={"parcel_id": "PIN"}),
        "buildings": LayerSource(houses, columns=columns),
    }
    said = r"The layer has no CRS\. State the CRS .*EPSG:32632 \(WGS 84 / UTM zone 32N\).*EPSG:25832 \(ETRS89 / UTM zone 32N\).*it would lie where the others do.*start with --crs parcels=CODE"
    with pytest.raises(InputError, match=said):
        read_site(sources, subject_id="A-2")
    # The remedy holds.
    sources["parcels"] = LayerSource(file, columns={"parcel_id": "PIN"}, crs=UTM)
    assert len(read_site(sources, subject_id="A-2").layers["buildings"]) == 2
    # A point in the parcel says where it lies, too.
    with pytest.raises(InputError, match=r"The layer has no CRS.*EPSG:32632 "):
        read_site({"parcels": LayerSource(file)}, subject_point=(9.0, 50.0))


def test_geojson_in_metres_and_a_garbled_prj_are_mended_by_the_key(tmp_path):
    shapes = [shape.__geo_interface__ for shape in parcels().geometry]
    metres = write_geojson(
        tmp_path / "lots.geojson", shapes, [{"PIN": pin} for pin in parcels()["PIN"]]
    )
    garbled = write(parcels(), tmp_path / "lots.shp", driver="ESRI Shapefile", engine="fiona")
    (tmp_path / "lots.prj").write_text("PROJCS[nobody knows]")
    roads = gpd.GeoDataFrame(
        geometry=[shapely.LineString([(8.99, 50.01), (9.01, 50.01)])], crs=4326
    )
    beside = LayerSource(write(roads, tmp_path / "roads.gpkg"))
    for file, said in (
        (metres, r"look like metres or feet, not degrees\. State .*EPSG:32632 "),
        (garbled, r"key layers\.parcels\.crs: The CRS that the file states cannot be understood"),
    ):
        with pytest.raises(InputError, match=said):
            read_site(
                {"parcels": LayerSource(file, columns={"parcel_id": "PIN"}), "roads": beside},
                subject_id="A-2",
            )
        stated = LayerSource(file, columns={"parcel_id": "PIN"}, crs=UTM)
        assert len(read_site({"parcels": stated}, subject_id="A-2").layers["parcels"]) == 3


def test_a_bare_table_of_points_is_read_in_the_system_that_is_stated(tmp_path):
    (tmp_path / "pins.csv").write_text("mark_id,x,y\n1,500020,5540020\n", encoding="utf-8")
    lots = LayerSource(parcels(), columns={"parcel_id": "PIN"})
    with pytest.raises(
        InputError, match=r"pins\.csv.*key layers\.marks\.crs: The layer has no CRS.*EPSG:32632 "
    ):
        read_site({"parcels": lots, "marks": LayerSource(tmp_path / "pins.csv")}, subject_id="A-2")
    stated = LayerSource(tmp_path / "pins.csv", crs="as parcels")
    (pin,) = (
        read_site({"parcels": lots, "marks": stated}, subject_id="A-2").layers["marks"].geometry
    )
    # Evidence: closed form; 20 m of the map at UTM's scale 0.9996 by the middle meridian.
    assert (pin.x, pin.y) == pytest.approx((20 / 0.9996, 20 / 0.9996), abs=0.01)
