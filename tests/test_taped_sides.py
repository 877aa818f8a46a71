"""What was measured from a side of the parcel is an ordinary input of a plan with that parcel."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.running.pipeline import run_plan
from screenplan.site.taped import BEND_M

#: Measured windows give the views of the same windows as a layer.
SAME = 1e-6
#: A metre of it is one of tape, as in a survey of the lot.
CRS = "+proj=tmerc +lat_0=50 +lon_0=10 +k=1 +ellps=GRS80 +units=m"
WEST, SOUTH = -15.0, -20.0
#: A lot of 30 m by 40 m; seen from the garden the north side begins at its north-west corner.
LOT = shapely.box(WEST, SOUTH, WEST + 30.0, SOUTH + 40.0)
TERRACE = {"name": "terrace", "along": "15 m", "inside": "8 m", "width": "4 m", "depth": "3 m"}
BEDROOM = {"name": "bedroom", "along": "12 m", "beyond": "15 m", "sill": "3.5 m", "head": "4.7 m"}
HOUSE = {
    "name": "No. 9",
    "along": "12 m",
    "beyond": "15 m",
    "width": "9 m",
    "depth": "7 m",
    "height": "6 m",
}
VIEWS = ["open_now", "open_y05", "open_y10", "year_closed"]


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS)


def parcels(lot=LOT):
    return layer([lot], parcel_id=["7"])


def run(tape, lot=LOT, **given):
    plan = {"tape": tape, "rows": {"along": ["north"]}} if tape else {"rows": {"along": ["north"]}}
    return run_plan(plan, layers={"parcels": parcels(lot), **given}, only=["views", "windows"])


def views_of(made):
    return made.layers["views"].set_index("view_id")[VIEWS].astype(float)


@pytest.mark.parametrize("garden", ["right", "left"])
def test_measured_windows_give_the_views_of_the_same_windows_as_a_layer(garden):
    """Evidence: the same points, written by hand in the lot's own system."""
    tape = {
        "side": "north", "garden": garden, "windows": [BEDROOM | {"house": "No. 9"}],
        "private_places": [TERRACE], "buildings": [HOUSE],
    }  # fmt: skip
    # From the left end 12 m are 12 m east of the north-west corner, from the right one west of the other.
    x = WEST + (12.0 if garden == "right" else 18.0)
    given = {
        "windows": layer(
            [shapely.Point(x, SOUTH + 55.0)], window_id=["bedroom"], name=["bedroom"],
            building_id=["No. 9"], sill_m=[3.5], height_m=[1.2], width_m=[1.2],
        ),
        "buildings": layer(
            [shapely.box(x - 4.5, SOUTH + 55.0, x + 4.5, SOUTH + 62.0)], building_id=["No. 9"], height_m=[6.0],
        ),
        "private_places": layer(
            [shapely.box(WEST + 13.0, SOUTH + 29.0, WEST + 17.0, SOUTH + 32.0)], place_id=["terrace"],
        ),
    }  # fmt: skip
    measured, as_layers = run(tape), run(None, **given)
    assert len(measured.layers["views"]) == 1
    np.testing.assert_allclose(views_of(measured), views_of(as_layers), rtol=0.0, atol=SAME)
    for name in ("windows", "buildings", "private_places"):
        apart = shapely.hausdorff_distance(
            measured.layers[name].geometry.to_numpy(), as_layers.layers[name].geometry.to_numpy()
        )
        assert apart.max() < SAME, name


def test_a_window_by_tape_hangs_on_the_wall_of_a_footprint_that_is_given():
    house = layer(
        [shapely.box(WEST + 5.0, SOUTH + 55.2, WEST + 20.0, SOUTH + 65.0)],
        building_id=["h"],
        height_m=[6.0],
    )
    made = run(
        {"side": "north", "windows": [BEDROOM], "private_places": [TERRACE]}, buildings=house
    )
    (window,) = made.layers["windows"].to_dict("records")
    assert window["building_id"] == "h"
    assert window["facing_deg"] == pytest.approx(180.0, abs=1.0)


def test_it_is_said_where_the_tape_begins():
    told = run({"side": "north", "private_places": [TERRACE], "windows": [BEDROOM]}).site.warnings
    assert any("side north" in f"{note}" and "north-west" in f"{note}" for note in told)


BENT = shapely.Polygon(
    [(WEST, SOUTH), (WEST + 30, SOUTH), (WEST + 30, SOUTH + 40), (WEST + 15, SOUTH + 40 + 3 * BEND_M), (WEST, SOUTH + 40)]
)  # fmt: skip


@pytest.mark.parametrize(
    ("tape", "lot", "message"),
    [
        ({"side": "nord"}, LOT, r"key tape\.side: the parcel has no side 'nord'.*north"),
        ({"side": "north"}, BENT, r"key tape\.side: side north bends .* off the straight line"),
    ],
)
def test_a_side_that_no_tape_runs_along_is_refused(tape, lot, message):
    with pytest.raises(InputError, match=message):
        run(tape | {"windows": [BEDROOM], "private_places": [TERRACE]}, lot)


@pytest.mark.parametrize(
    ("tape", "layers", "message"),
    [
        ({"side": "north"}, {}, r"tape\.side names a side of the parcel, and no parcel is given"),
        ({}, {"parcels": {"file": "lot.gpkg"}}, "neither length nor side is given"),
        ({"side": "north", "length": "30 m"}, {"parcels": {"file": "lot.gpkg"}}, "length and side are both given"),
        ({"side": "north", "bearing": 40}, {"parcels": {"file": "lot.gpkg"}}, "bearing is given, and the parcel says"),
        ({"length": "30 m"}, {"parcels": {"file": "lot.gpkg"}}, r"side = \"north\""),
    ],
)  # fmt: skip
def test_what_goes_with_a_side_and_what_does_not(tape, layers, message):
    with pytest.raises(InputError, match=message):
        check_plan({"tape": tape, "layers": layers})
