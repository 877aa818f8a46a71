"""Changes of datum: stated, never a guess, refused above the tolerance."""

import pyproj.network
import pytest
from pyproj import CRS

from screenplan.ground.datum import find_transformation, horizontal
from screenplan.ground.errors import InputError

MASSACHUSETTS = (-71.2, 42.3, -71.1, 42.4)
QUEBEC = (-73.6, 45.4, -73.5, 45.5)
GERMANY = (8.2, 51.3, 8.3, 51.4)

_NAD83 = find_transformation(CRS(4269), CRS(4326), area=MASSACHUSETTS)
#: The grids are a separate download; where somebody has put them, nothing is missing.
without_grids = pytest.mark.skipif(
    not _NAD83.missing_grids, reason="the grids of the national datums are installed here"
)


@without_grids
@pytest.mark.evidence(
    part="Local frame and datum",
    kind="published",
    against="The stated accuracy of NAD83 to WGS 84: 4 m, and 2 m with the grid that is missing",
    source="EPSG transformation 1188 and its like with state grids, as PROJ's database has them",
    status="code",
    tolerance="exact",
)
def test_nad83_to_wgs84_is_refused_with_its_accuracy_the_grid_and_the_remedy():
    # Evidence: published, EPSG transformation 1188 states 4 m, and 1.5 to 2 m with state grids.
    with pytest.raises(InputError) as caught:
        find_transformation(
            CRS(4269), CRS(4326), area=MASSACHUSETTS, tolerance_m=2.0, file="b.shp", layer="b"
        )
    said = str(caught.value)
    assert said.startswith("b.shp, layer b, key site.datum_tolerance: The change of datum from")
    assert "'NAD83' to 'WGS 84' is good to 4 m only, the tolerance is 2 m" in said
    assert "the grid us_noaa_nehpgn.tif, good to 2 m, is missing" in said
    assert (
        'Go on by site.datum_tolerance="4 m", in the plan or behind --set: this layer may then lie up to 4 m'
        in said
    )
    assert (
        "fetch the grid us_noaa_nehpgn.tif with pyproj sync --file us_noaa_nehpgn.tif, or save"
        in said
    )


def test_the_remedy_works():
    way = find_transformation(CRS(4269), CRS(4326), area=MASSACHUSETTS, tolerance_m=4.0)
    assert way.accuracy_m <= 4.0
    record = way.to_record()
    assert (record["source"], record["target"]) == ("NAD83", "WGS 84")
    assert "NAD83 to WGS 84" in record["operation"]


def test_a_site_on_another_continent_is_told_where_it_lies():
    """A lot near Lake Constance with latitude and longitude swapped: no change of a European datum holds there."""
    with pytest.raises(
        InputError,
        match=r"can be used at latitude 9\.00, longitude 47\.86, where the parcel or row lies\. Look whether .* swapped"
        r".* If it does, save this layer in the CRS 'WGS 84'",
    ):
        find_transformation(CRS(25832), CRS(4326), area=(47.85, 8.99, 47.87, 9.01))


@without_grids
def test_a_ballpark_transformation_is_never_taken():
    # A datum that has nothing but a grid to any other, and a ballpark that is tens of metres out.
    with pytest.raises(
        InputError,
        match=r"No transformation from 'NAD27\(CGQ77\)' to 'NAD83' can be used: it needs the grid "
        r"ca_que_mern_\w+\.tif, which is missing here\. Fetch the grid (ca_que_\w+\.tif) with pyproj sync --file \1, "
        r"or save this layer in the CRS 'NAD83' with a program that has it",
    ):
        find_transformation(CRS(4609), CRS(4269), area=QUEBEC)


@without_grids
@pytest.mark.parametrize(
    ("source", "target", "accuracy", "grids"),
    [(4269, 6318, 4.0 + 2.0, 4), (26986, 6491, 4.0 + 2.0, 4), (4267, 4269, 10.0 + 4.0, 1)],
)
def test_two_datums_without_a_change_of_their_own_are_joined_by_way_of_wgs84(
    source, target, accuracy, grids
):
    # Evidence: published, as PROJ's database has them: EPSG 1188 (4 m), 9774 (2 m) and 1173 (10 m), one after the other.
    way = find_transformation(CRS(source), CRS(target), area=MASSACHUSETTS, tolerance_m=accuracy)
    assert way.accuracy_m == accuracy
    assert len(way.missing_grids) == grids
    with pytest.raises(InputError, match=rf"good to {accuracy:g} m only, the tolerance is 5\.9 m"):
        find_transformation(CRS(source), CRS(target), area=MASSACHUSETTS, tolerance_m=5.9)
    # Evidence: invariant; there and back.
    x, y = (240_000.0, 900_000.0) if CRS(source).is_projected else (-71.1, 42.3)
    back = way.transformer.transform(*way.transformer.transform(x, y), direction="INVERSE")
    assert back == pytest.approx((x, y), abs=1e-6)


def test_a_nameless_datum_has_no_transformation():
    # An ellipsoid alone is no datum: only a ballpark leads from it.
    nameless = CRS("+proj=utm +zone=32 +ellps=intl +units=m +type=crs")
    with pytest.raises(
        InputError, match=r"datum of the CRS '.*' is not known, so nobody can tell how 'WGS 84'"
    ):
        find_transformation(nameless, CRS(4326), area=GERMANY)


def test_parameters_without_an_accuracy_are_refused_if_one_is_asked():
    bound = CRS("+proj=utm +zone=32 +ellps=intl +towgs84=-87,-98,-121 +units=m +type=crs")
    assert find_transformation(bound, CRS(4326), area=GERMANY).accuracy_m is None
    with pytest.raises(InputError, match=r"no stated accuracy\. Save this layer in the CRS"):
        find_transformation(bound, CRS(4326), area=GERMANY, tolerance_m=50.0)


@pytest.mark.parametrize(
    ("source", "target"),
    [(4326, 4326), (4326, 3857), (3857, 32632), (2264, 4269), (4979, 4326), (5554, 25831)],
)
def test_on_one_datum_nothing_changes(source, target):
    # Evidence: trivial by construction.
    way = find_transformation(CRS(source), CRS(target), tolerance_m=0.0)
    assert (way.operation, way.accuracy_m, way.missing_grids) == ("none", 0.0, ())


@pytest.mark.evidence(
    part="Local frame and datum",
    kind="published",
    against="The stated accuracy of ETRS89 to WGS 84: 1 m",
    source="EPSG transformation 1149, as PROJ's database has it",
    status="code",
    tolerance="exact",
)
def test_an_accurate_change_is_taken_and_stated():
    # Evidence: published, EPSG transformation 1149 (ETRS89 to WGS 84) states 1 m.
    way = find_transformation(CRS(25832), CRS(4326), area=GERMANY, tolerance_m=2.0)
    assert way.accuracy_m == 1.0
    assert "ETRS89 to WGS 84 (1)" in way.operation


def test_x_comes_first_whatever_the_crs_says():
    # EPSG:4326 has latitude first; Null Island plus 10° east.
    way = find_transformation(CRS(4326), CRS(3857))
    x, y = way.transformer.transform(10.0, 0.0)
    # Evidence: closed form, a π λ/180.
    assert (x, y) == pytest.approx((6378137.0 * 3.141592653589793 / 18.0, 0.0), abs=1e-6)


def test_the_network_is_left_as_it_was():
    before = pyproj.network.is_network_enabled()
    try:
        for state in (False, True):
            pyproj.network.set_network_enabled(state)
            way = find_transformation(CRS(4269), CRS(4326), area=MASSACHUSETTS)
            # What a network could bring is not counted as being here.
            assert way.missing_grids == _NAD83.missing_grids
            assert pyproj.network.is_network_enabled() is state
    finally:
        pyproj.network.set_network_enabled(before)


def test_a_site_grid_is_no_place_on_earth():
    grid = CRS('LOCAL_CS["site grid",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]')
    with pytest.raises(InputError, match=r"roads\.gpkg: The CRS 'site grid' gives no place"):
        find_transformation(grid, CRS(4326), file="roads.gpkg")


@pytest.mark.parametrize("code", [4326, 4979, 5554, 7415, 2264])
def test_vertical_parts_are_left_out(code):
    flat = horizontal(CRS(code))
    assert len(flat.axis_info) == 2
    assert not flat.is_compound
