"""Measures of a tape as layers: where they lie, that they are looked at as layers are, what is refused."""

import csv
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from screenplan.ground.datum import ground_plane
from screenplan.ground.errors import InputError
from screenplan.ground.units import in_unit
from screenplan.plan import check_plan
from screenplan.running.inputs import read_inputs
from screenplan.running.pipeline import run_plan
from screenplan.site.taped import PATCH_M, lay_tape

#: The task's own bound: measured windows give the views of the same windows as a layer.
SAME = 1e-6
#: Lengths in feet are written to a ten-thousandth, 0.03 mm; open shares then differ by less than this.
FOOT_WRITTEN_M, IN_FEET = 1e-4, 1e-3
PLACE = {"name": "terrace", "along": "15 m", "inside": "4 m", "width": "4 m", "depth": "3 m"}
BEDROOM = {"name": "bedroom", "along": "12 m", "beyond": "15 m", "sill": "3.5 m", "head": "4.7 m"}
KITCHEN = {"name": "kitchen", "along": "21 m", "beyond": "14 m", "sill": "1 m", "head": "2.2 m"}
VIEWS = ["open_now", "open_y05", "open_y10", "year_closed"]


def plan_of(**tape):
    """Make a plan of a line of 30 m."""
    return check_plan({"tape": {"length": "30 m"} | tape})


def laid(**tape):
    plan = plan_of(**tape)
    return lay_tape(plan.tape, plan)


def read(**tape):
    return read_inputs(plan_of(**tape), Path())


def views_of(run):
    return run.layers["views"].set_index("view_id")[VIEWS].astype(float)


@pytest.fixture(scope="module")
def measured():
    """The views of two windows that were measured by tape."""
    plan = plan_of(windows=[BEDROOM, KITCHEN], private_places=[PLACE])
    return run_plan(plan, only=["views", "needed_height", "plants"])


def test_a_plan_of_a_line_has_views_years_and_needed_height(measured):
    views = measured.layers["views"]
    assert views["view_id"].is_unique
    assert len(views) == 2
    assert (views["open_now"] > 0.5).all()
    assert views["year_closed"].notna().all()
    needed = measured.layers["needed_height"]["needed_m"]
    assert needed.max() > 1.0


def test_measured_windows_give_the_views_of_the_same_windows_as_a_layer(measured):
    # Evidence: the same points, written by hand as a layer: x along the line, y beyond it.
    windows = gpd.GeoDataFrame(
        {"window_id": ["bedroom", "kitchen"], "sill_m": [3.5, 1.0], "height_m": [1.2, 1.2],
         "width_m": [1.2, 1.2], "facing_deg": [180.0, 180.0]},
        geometry=[shapely.Point(12, 15), shapely.Point(21, 14)], crs=ground_plane(north=False),
    )  # fmt: skip
    places = gpd.GeoDataFrame(
        {"place_id": ["terrace"]}, geometry=[shapely.box(13, -7, 17, -4)], crs=windows.crs
    )
    line = gpd.GeoDataFrame(
        {"line_id": ["1"]}, geometry=[shapely.LineString([(0, 0), (30, 0)])], crs=windows.crs
    )
    given = {"windows": windows, "private_places": places, "planting_line": line}
    as_layers = run_plan({}, layers=given, only=["views", "needed_height"])
    np.testing.assert_allclose(views_of(measured), views_of(as_layers), rtol=0.0, atol=SAME)
    np.testing.assert_allclose(
        measured.layers["needed_height"]["needed_m"].astype(float),
        as_layers.layers["needed_height"]["needed_m"].astype(float),
        rtol=0.0,
        atol=SAME,
    )


def test_feet_and_metres_give_the_same_plan(measured):
    feet = {
        name: [{key: in_feet(value) for key, value in row.items()} for row in rows]
        for name, rows in {"windows": [BEDROOM, KITCHEN], "private_places": [PLACE]}.items()
    }
    plan = plan_of(length=in_feet("30 m"), **feet)
    other = run_plan(plan, only=["views", "needed_height", "plants"])
    # A ten-thousandth of a foot, to which the lengths were written, is 0.03 mm; a share of rays moves
    # by one ray where one passes so near to a leaf's edge.
    np.testing.assert_allclose(views_of(measured), views_of(other), rtol=0.0, atol=IN_FEET)
    assert (views_of(measured)["year_closed"] == views_of(other)["year_closed"]).all()
    assert measured.layers["needed_height"]["needed_m"].tolist() == pytest.approx(
        other.layers["needed_height"]["needed_m"].tolist(), abs=0.011, nan_ok=True
    )
    one, two = (run.layers["plants"] for run in (measured, other))
    assert shapely.distance(one.geometry.to_numpy(), two.geometry.to_numpy()).max() < FOOT_WRITTEN_M
    for name in ("windows", "private_places"):
        same = shapely.hausdorff_distance(
            measured.layers[name].geometry.to_numpy(), other.layers[name].geometry.to_numpy()
        )
        assert (same < FOOT_WRITTEN_M).all(), name


def in_feet(text: str) -> str:
    number, _, unit = text.partition(" ")
    return in_unit(float(number), "ft") if unit == "m" else text


@pytest.mark.parametrize("garden", ["left", "right"])
def test_two_tapes_find_the_point_that_they_were_measured_to(garden):
    # Evidence: Pythagoras, from a point that was chosen to the tapes and back.
    along, beyond = 11.25, 17.5
    tapes = {"from_zero": f"{math.hypot(along, beyond)} m", "from_end": f"{math.hypot(30 - along, beyond)} m"}  # fmt: skip
    made = laid(windows=[tapes], garden=garden, private_places=[tapes])
    side = 1.0 if garden == "right" else -1.0
    assert shapely.get_coordinates(made.layers["windows"].geometry)[0] == pytest.approx(
        [along, side * beyond]
    )
    assert shapely.get_coordinates(made.layers["private_places"].geometry)[0] == pytest.approx(
        [along, -side * beyond]
    )


def test_beyond_is_left_of_a_line_whose_garden_is_on_the_right():
    # A line to the north-east: beyond it, seen from a garden on its right, is the north-west.
    made = laid(bearing="N 45 E", windows=[KITCHEN])
    (zero, end), window = (
        shapely.get_coordinates(made.layers["planting_line"].geometry),
        shapely.get_coordinates(made.layers["windows"].geometry)[0],
    )
    assert end - zero == pytest.approx([30 / math.sqrt(2)] * 2)
    h = math.sqrt(0.5)
    assert window - zero == pytest.approx([21 * h - 14 * h, 21 * h + 14 * h])
    assert made.layers["windows"]["facing_deg"][0] == pytest.approx(135.0)
    assert not made.frame.is_placed


def test_a_house_gives_its_windows_their_wall_and_its_ground():
    house = {"name": "9", "along": "12 m", "beyond": "15 m", "width": "8 m", "depth": "6 m",
             "height": "6 m", "ground": "-1 m"}  # fmt: skip
    made = laid(
        buildings=[house], windows=[BEDROOM | {"beyond": "15.3 m"}, KITCHEN | {"ground": "0.5 m"}]
    )
    assert made.layers["buildings"].geometry[0].equals(shapely.box(8, 15, 16, 21))
    assert made.layers["buildings"]["floor_m"][0] == -1.0
    windows = made.layers["windows"]
    assert windows["building_id"].fillna("").tolist() == ["9", ""]
    assert math.isnan(windows["facing_deg"].astype(float)[0])
    # It says nothing of its ground, so its sill counts from the house's.
    assert windows["sill_m"].tolist() == [3.5, 1.0]


def test_ground_that_was_measured_is_met_there_and_level_at_the_line():
    made = laid(
        windows=[KITCHEN | {"ground": "-2 m"}, BEDROOM | {"ground": "1 m"}], private_places=[PLACE]
    )
    ground = made.terrain
    assert ground.height_at(21.0, 14.0) == pytest.approx(-2.0, abs=1e-9)
    assert ground.height_at(12.0, 15.0) == pytest.approx(1.0, abs=1e-9)
    for x in np.linspace(0.0, 30.0, 7):
        assert ground.height_at(x, 0.0) == pytest.approx(0.0, abs=1e-9)
    assert ground.height_at(15.0, -5.0) == pytest.approx(0.0, abs=1e-9)
    # An even slope: half-way between the level strips of line and window half the height.
    half = 0.5 * (PATCH_M + 14.0 - PATCH_M)
    assert ground.height_at(21.0, half) == pytest.approx(-1.0, abs=0.1)
    assert laid(windows=[KITCHEN]).terrain is None


def test_a_window_below_the_line_looks_up_over_its_slope():
    low = KITCHEN | {"ground": "-2 m"}
    run = run_plan(plan_of(windows=[low], private_places=[PLACE]), only=["views"])
    assert run.layers["views"]["open_now"].iloc[0] > 0.0
    assert any("slope evenly" in note for note in run.warnings)


def test_windows_of_one_name_stay_apart():
    windows = read(windows=[BEDROOM, KITCHEN | {"name": "bedroom"}]).layers["windows"]
    assert windows["window_id"].tolist() == ["bedroom", "bedroom (2)"]
    assert windows["name"].tolist() == ["bedroom", "bedroom"]


def test_trees_and_walls_are_screens_that_stand():
    wall = {"kind": "wall", "height": "2 m", "points": [{"along": "3 m", "inside": "1 m"},
            {"along": "9 m", "inside": "1 m"}]}  # fmt: skip
    tree = {"kind": "tree", "height": "7 m", "along": "20 m", "beyond": "6 m", "width": "4 m"}
    screens = read(existing_screens=[wall, tree]).layers["existing_screens"]
    assert screens.geometry[1].equals(shapely.LineString([(3, -1), (9, -1)]))
    assert screens.geometry[2].equals(shapely.Point(20, 6))
    assert screens["height_m"].tolist() == [2.0, 7.0]


HOUSE = {"along": "12 m", "beyond": "15 m", "width": "10 m", "depth": "8 m", "height": "6 m"}


def test_plants_that_stand_are_a_row_that_is_kept_and_filled_up():
    # By hand: stems at 0, 2 and 6 m of a line of 8 m; at a spacing of 2 m one is lacking at 4 m, and one at 8 m.
    stems = [{"along": f"{at} m", "beyond": "0 m"} for at in (0, 2, 6)]
    row = {
        "name": "old",
        "kind": "plant",
        "species": "thuja_occidentalis",
        "height": "2 m",
        "points": stems,
    }
    plan = check_plan(
        {
            "tape": {"length": "8 m", "existing_screens": [row]},
            "rows": {"spacing": "2 m"},
            "plants": {"species": "thuja_occidentalis"},
        }
    )
    made = run_plan(plan, only=["plants"])
    assert made.layers["existing_screens"]["screen_id"].tolist() == ["old 1", "old 2", "old 3"]
    plants = made.layers["plants"].sort_values("station_m")
    assert plants["station_m"].tolist() == pytest.approx([0.0, 2.0, 4.0, 6.0, 8.0], abs=1e-6)
    assert plants["existing"].tolist() == [True, True, False, True, False]


REFUSED = [
    ({"windows": [BEDROOM, KITCHEN | {"beyond": "-14 m"}]}, r"row 2, key tape\.windows: beyond is -14 m, which is on the other side of the line\. Give the distance without the minus"),
    ({"windows": [{"along": "3 m", "inside": "4 m"}]}, r"row 1, key tape\.windows: the window lies on the garden's side of the line"),
    ({"windows": [KITCHEN | {"sill": "-1 m"}]}, r"row 1, key tape\.windows: the sill is at -1 m, below the ground under the window\. Give sill and head above that ground"),
    ({"windows": [KITCHEN | {"head": "0.5 m"}]}, r"row 1, key tape\.windows: the head is at 0\.5 m and the sill at 1 m"),
    ({"windows": [KITCHEN | {"beyond": "14 kg"}]}, r"row 1, key tape\.windows\.beyond: 'kg' is not a unit of length"),
    ({"windows": [KITCHEN | {"beyond": 14}]}, r"row 1, key tape\.windows\.beyond: 14 has no unit"),
    ({"windows": [KITCHEN | {"far": "1 m"}]}, r"row 1, key tape\.windows\.far: there is no such key"),
    ({"windows": [{"along": "3 m"}]}, r"row 1, key tape\.windows: its place is not known: beyond is missing"),
    ({"windows": [{"from_zero": "3 m"}]}, r"row 1, key tape\.windows: from_zero is given without from_end"),
    ({"windows": [{"from_zero": "10 m", "from_end": "12 m"}]}, r"row 1, key tape\.windows: the tapes do not meet: 10 m from the zero peg and 12 m from the end peg of a line of 30 m"),
    ({"windows": [BEDROOM, KITCHEN | {"along": "12 m", "beyond": "18 m"}], "buildings": [HOUSE]}, r"row 2, key tape\.windows: the window is inside house '1', 3\.0 m from its nearest wall"),
    ({"windows": [KITCHEN | {"ground": "-3 m", "along": "12 m", "beyond": "15 m"}], "buildings": [HOUSE]}, r"row 1, key tape\.windows: the window's sill is 2 m below the ground of house '1'"),
    ({"windows": [KITCHEN | {"house": "11"}]}, r"row 1, key tape\.windows: the window is in house '11', which was not measured"),
    ({"buildings": [{"along": "1 m", "beyond": "9 m", "height": "6 m"}]}, r"row 1, key tape\.buildings: the building has no outline"),
    ({"buildings": [{"points": [{"along": "0 m", "beyond": "9 m"}, {"along": "9 m", "beyond": "19 m"}, {"along": "9 m", "beyond": "9 m"}, {"along": "0 m", "beyond": "19 m"}], "height": "6 m"}]}, r"row 1, key tape\.buildings: its corners make no outline"),
    ({"existing_screens": [{"kind": "tree", "height": "6 m", "from_zero": "20 m", "from_end": "20 m"}]}, r"row 1, key tape\.existing_screens: two tapes from the pegs meet on both sides"),
    ({"existing_screens": [{"kind": "wall", "height": "2 m", "along": "2 m", "beyond": "2 m"}]}, r"row 1, key tape\.existing_screens: a wall runs from point to point"),
    ({"windows": [BEDROOM, KITCHEN | {"beyond": "200 m"}]}, r"row 2, key tape\.windows: it is 200\.0 m from the line, and nothing farther than site\.reach = 150 m is looked at"),
    ({"at": [9.0, 48.0]}, r"key tape\.bearing: a place is given without a direction"),
    ({"at": [9.0, 95.0], "bearing": 3}, r"key tape\.at: 9 95 is no place for a garden"),
    ({"bearing": "up"}, r"key tape\.bearing: 'up' is not a bearing"),
    ({"length": "0 m"}, r"key tape\.length: '0 m' is out of range\. Give more than 0 m"),
]  # fmt: skip


@pytest.mark.parametrize(("tape", "message"), REFUSED)
def test_what_cannot_have_been_measured_is_refused_by_key_and_row(tape, message):
    with pytest.raises(InputError, match=message):
        read(**tape)


def test_what_is_given_twice_is_refused():
    for layers, message in (
        ({"windows": {"file": "w.gpkg"}}, r"key tape\.windows: tape\.windows and layers\.windows are both given"),
        ({"parcels": {"file": "w.gpkg"}}, r"key tape\.length: the line is given by tape\.length, and layers\.parcels is given too"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=message):
            check_plan({"tape": {"length": "9 m", "windows": [KITCHEN | {"along": "3 m"}]}, "layers": layers})  # fmt: skip
    with pytest.raises(InputError, match=r"layers\.parcels is given too"):
        check_plan({"tape": {"length": "9 m"}}, given=["parcels"])
    parcels = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 9, 9)], crs=ground_plane(north=False))
    with pytest.raises(InputError, match="a layer of parcels is given too"):
        read_inputs(plan_of(), Path(), {"parcels": parcels})
    with pytest.raises(InputError, match="the ground is given by the terrain and by tape"):
        check_plan(
            {
                "tape": {"length": "9 m", "windows": [KITCHEN | {"ground": "1 m"}]},
                "terrain": {"file": "t.tif"},
            }
        )


def windows_file(folder: Path, head, rows) -> Path:
    with (folder / "windows.csv").open("w", newline="", encoding="utf-8") as target:
        csv.writer(target).writerows([head, *rows])
    return folder / "windows.csv"


@pytest.mark.parametrize("where", [{}, {"bearing": 60}, {"bearing": 60, "at": [10.0, 50.0]}])
def test_a_table_of_x_and_y_is_measured_from_the_zero_peg(where, tmp_path):
    windows_file(tmp_path, ["window_id", "x", "y", "sill_m", "facing_deg"],
                 [["a", 12, 15, 3.5, 180], ["b", 21, 14, 1, 180]])  # fmt: skip
    windows = {"file": "windows.csv", "crs": "as planting_line"}
    plan = check_plan({"tape": {"length": "30 m"} | where, "layers": {"windows": windows}})
    layers = read_inputs(plan, tmp_path).layers
    zero = shapely.get_coordinates(layers["planting_line"].geometry)[0]
    points = shapely.get_coordinates(layers["windows"].geometry)
    # North at the line's middle, 13 m east of the peg, is turned by 13 m × tan 50° / 6371 km against
    # that at the peg: over 25 m that is 0.06 mm.
    assert points - zero == pytest.approx(np.array([[12, 15], [21, 14]]), abs=1e-4)
    assert layers["windows"]["sill_m"].tolist() == [3.5, 1.0]


def test_a_table_of_lon_and_lat_needs_a_place_on_earth(tmp_path):
    lon, lat = 10.0, 50.0
    windows_file(tmp_path, ["window_id", "lon", "lat", "sill_m", "facing_deg"],
                 [["a", lon, lat + 15 / 111_230, 3.5, 180]])  # fmt: skip
    layers = {"windows": {"file": "windows.csv"}}
    tape = {"length": "30 m", "bearing": 90, "at": [lon, lat]}
    site = read_inputs(check_plan({"tape": tape, "layers": layers}), tmp_path)
    zero = shapely.get_coordinates(site.layers["planting_line"].geometry)[0]
    window = shapely.get_coordinates(site.layers["windows"].geometry)[0]
    # A degree of latitude at 50° north is 111 230 m (WGS 84, arithmetic; good to a hundredth).
    assert window - zero == pytest.approx([0.0, 15.0], abs=0.15)
    with pytest.raises(InputError, match="not known where on earth the site lies"):
        read_inputs(check_plan({"tape": {"length": "30 m"}, "layers": layers}), tmp_path)


def test_a_table_without_places_is_no_layer_of_points(tmp_path):
    windows_file(tmp_path, ["window_id", "right", "up", "sill_m"], [["a", 12, 15, 3.5]])
    plan = check_plan({"tape": {"length": "30 m"}, "layers": {"windows": {"file": "windows.csv"}}})
    with pytest.raises(InputError, match=r"has no geometry"):
        read_inputs(plan, tmp_path)
