"""Heights of which nobody says the unit: refused where they are hardly metres, and mended by saying it."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from reading_kit import read_frames
from shapely import affinity

from screenplan.ground.errors import InputError
from screenplan.ground.said import FOOT_M
from screenplan.site.columns import find_foot
from screenplan.site.heights import MOST_SLENDER, TYPICAL_SLENDER

#: Massachusetts in US survey feet, in international feet, and in metres with heights in feet.
FEET = "EPSG:2249"
METRES = "EPSG:26986"
FEET_UP = "EPSG:26986+6360"
#: A place in Massachusetts, metres of `METRES`.
PLACE = (231_000.0, 903_000.0)


def lay(crs, **columns):
    """Houses of 10 by 12 m on a lot of 30 by 40 m and north of it, with these columns."""
    count = len(next(iter(columns.values())))
    shapes = [shapely.box(10, 10 + 50 * n, 20, 22 + 50 * n) for n in range(count)]
    houses = gpd.GeoDataFrame(columns, geometry=shapes, crs=METRES)
    lots = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 30, 40)], crs=METRES)
    layers = {"parcels": lots, "buildings": houses}
    for layer in layers.values():
        layer.geometry = [affinity.translate(shape, *PLACE) for shape in layer.geometry]
    if crs == FEET_UP:
        return {name: layer.set_crs(crs, allow_override=True) for name, layer in layers.items()}
    return {name: layer.to_crs(crs) for name, layer in layers.items()}


def read(layers, *, units=None, columns=None, fixed=None):
    site = read_frames(
        layers,
        columns={"buildings": {"height_m": "HEIGHT"} if columns is None else columns},
        units={"buildings": units or {}},
        fixed={"buildings": fixed or {}},
    )
    return site.layers["buildings"]["height_m"].tolist()


@pytest.mark.parametrize("crs", [FEET, FEET_UP])
@pytest.mark.parametrize("height", [19.7, 9.0])
def test_a_layer_in_feet_does_not_say_the_unit_of_its_heights(crs, height):
    layers = lay(crs, HEIGHT=[height])
    said = (
        r"layer buildings, key layers\.buildings\.units\.height_m: The CRS '.*' counts in US survey foot, "
        r"and nobody says in which unit the column HEIGHT is\. Write units = \{ height_m = \"ft\" \} under \[layers\.buildings\], or \"m\""
    )
    with pytest.raises(InputError, match=said):
        read(layers)
    # Both remedies, carried out; evidence: the definition of the foot.
    assert read(layers, units={"height_m": "ft"}) == pytest.approx([height * FOOT_M])
    assert read(layers, units={"height_m": "m"}) == [height]
    assert read(layers, columns={}, fixed={"height_m": 6.0}) == [6.0]


def test_our_own_name_of_the_column_says_metres():
    assert read(lay(FEET, height_m=[6.0]), columns={}) == [6.0]
    assert read(lay(FEET, HEIGHT_M=[6.0]), columns={"height_m": "HEIGHT_M"}) == [6.0]


def test_an_empty_column_needs_no_unit():
    layers = lay(FEET, HEIGHT=[None], storeys=[2])
    assert read(layers) == pytest.approx([5.6])


@pytest.mark.parametrize("name", ["HGT_FT", "eaves_feet", "Height_in"])
def test_a_name_that_ends_in_another_unit_is_not_taken_for_metres(name):
    layers = lay(METRES, **{name: [9.0]})
    with pytest.raises(
        InputError, match=f"By its name the column {name} is not in m, and nobody says"
    ):
        read(layers, columns={"height_m": name})
    assert read(layers, columns={"height_m": name}, units={"height_m": "ft"}) == pytest.approx(
        [9.0 * FOOT_M]
    )


def test_every_length_and_speed_of_a_layer_in_feet_needs_its_unit():
    layers = lay(FEET, height_m=[6.0])
    way = shapely.LineString([(-20, 60), (60, 60)])
    roads = gpd.GeoDataFrame(
        {"SPEED": [30], "WIDTH": [24]}, geometry=[affinity.translate(way, *PLACE)], crs=METRES
    )
    layers["roads"] = roads.to_crs(FEET)
    named = {"roads": {"speed_kmh": "SPEED", "width_m": "WIDTH"}}
    with pytest.raises(InputError, match="column SPEED is") as caught:
        read_frames(layers, columns=named)
    assert [problem.key for problem in caught.value.problems] == [
        "layers.roads.units.speed_kmh",
        "layers.roads.units.width_m",
    ]
    units = {"roads": {"speed_kmh": "mph", "width_m": "ft"}}
    road = read_frames(layers, columns=named, units=units).layers["roads"].iloc[0]
    # Evidence: the definitions of the mile and the foot.
    assert (road["speed_kmh"], road["width_m"]) == pytest.approx((30 * 1.609344, 24 * FOOT_M))


def test_heights_that_no_house_of_that_footprint_has_are_refused():
    # A house of 6 m is 19.7 ft tall: 1.8 sides of a square of 10 × 12 m.
    layers = lay(METRES, HEIGHT=[19.7, 16.0, 23.0])
    said = r"rows 1, 2, 3.*: A height of 19\.7 m is not plausible for a building of that footprint, and nobody"
    with pytest.raises(InputError, match=said):
        read(layers)
    assert read(layers, units={"height_m": "ft"}) == pytest.approx(
        [6.0046, 4.8768, 7.0104], abs=1e-4
    )
    assert read(layers, units={"height_m": "m"}) == [19.7, 16.0, 23.0]


def test_one_odd_house_among_plausible_ones_is_refused_by_row():
    side = np.sqrt(120.0)
    with pytest.raises(InputError, match=r"row 2.*is not plausible"):
        read(lay(METRES, HEIGHT=[6.0, 1.01 * MOST_SLENDER * side, 7.0]))
    tall = [6.0, 0.99 * MOST_SLENDER * side, 7.0]
    assert read(lay(METRES, HEIGHT=tall)) == pytest.approx(tall)
    usual = [0.99 * TYPICAL_SLENDER * side] * 3
    assert read(lay(METRES, HEIGHT=usual)) == pytest.approx(usual)


def test_heights_that_no_storeys_have_are_refused_and_only_told_once_the_unit_is_said():
    layers = lay(METRES, HEIGHT=[9.0], storeys=[1])
    with pytest.raises(
        InputError, match=r"A height of 9\.0 m is not plausible for the number of storeys"
    ):
        read(layers)
    site = read_frames(
        layers,
        columns={"buildings": {"height_m": "HEIGHT"}},
        units={"buildings": {"height_m": "m"}},
    )
    assert any("9.0 m for 1 storeys" in note for note in site.warnings)


def test_a_fence_of_six_is_one_of_feet():
    layers = lay(METRES, height_m=[6.0])
    way = affinity.translate(shapely.LineString([(0, 0), (30, 0)]), *PLACE)
    layers["existing_screens"] = gpd.GeoDataFrame({"HT": [6.0]}, geometry=[way], crs=METRES)
    named = {
        "columns": {"existing_screens": {"height_m": "HT"}},
        "fixed": {"existing_screens": {"kind": "fence"}},
    }
    with pytest.raises(
        InputError, match=r"A height of 6\.0 m is not plausible for a wall or fence"
    ):
        read_frames(layers, **named)
    site = read_frames(layers, units={"existing_screens": {"height_m": "ft"}}, **named)
    assert site.layers["existing_screens"]["height_m"].tolist() == pytest.approx([1.8288])


@pytest.mark.parametrize(
    ("crs", "foot"),
    [
        (FEET, "US survey foot"),
        (FEET_UP, "US survey foot"),
        ("EPSG:2222", "foot"),
        (METRES, None),
        ("EPSG:4326", None),
        ("EPSG:3857", None),
        ("+proj=utm +zone=18 +datum=NAD83 +units=us-ft +towgs84=0,0,0", "US survey foot"),
    ],
)
def test_a_crs_says_whether_it_counts_in_feet(crs, foot):
    from pyproj import CRS

    assert find_foot(CRS(crs)) == foot
