"""Planting lines: offsets, corners, curves, zero pegs, drawn lines and what is refused."""

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from parcel_kit import PLAIN, box, lay, layer, sides_of, subject
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from screenplan.contracts import PLANTING_LINES
from screenplan.ground.errors import InputError
from screenplan.planting.spans import CLEARANCE_M
from screenplan.rules.ruleset import Rule

#: The plain rule's 2 m, and the millimetre that lines keep off a zone.
OFFSET = 2.0 + CLEARANCE_M


def lines_of(parcels, along, **options):
    lines = lay(parcels, along, **options)[2]
    return lines.set_index("line_id")


def test_line_along_one_side_at_the_least_offset():
    line = lines_of(box(), ["south"]).loc["south-row1"]
    assert line["offset_m"] == pytest.approx(OFFSET)
    assert line["bound_by"] == "stem"
    # From mitre to mitre: 40 m less twice the offset.
    assert line["length_m"] == pytest.approx(40 - 2 * OFFSET)
    assert line["plantable_m"] == pytest.approx(line["length_m"])
    assert np.asarray(line.geometry.coords) == pytest.approx(
        np.array([(OFFSET, OFFSET), (40 - OFFSET, OFFSET)])
    )


def test_the_strictest_boundary_rule_sets_the_offset_once():
    rules = (
        *PLAIN,
        Rule("crown", "boundary", measured_from="line", measured_to="crown", reason="test"),
    )
    line = lines_of(box(), ["south"], rules=rules, site_boundary_accuracy=1.0).iloc[0]
    # Half of 12 ft (UF/IFAS ST-629, read) is less than 2 m; both widened by the accuracy.
    assert line["offset_m"] == pytest.approx(3.0 + CLEARANCE_M)
    assert line["bound_by"] == "stem"


def test_adjacent_sides_meet_at_the_mitre_corner():
    lines = lines_of(box(), ["east", "south"])
    assert list(lines["side_id"]) == ["south", "east"]  # the order in which one walks them
    corner = (40 - OFFSET, OFFSET)
    assert lines.loc["south-row1"].geometry.coords[-1] == pytest.approx(corner)
    assert lines.loc["east-row1"].geometry.coords[0] == pytest.approx(corner)


def test_second_row_stands_further_in():
    lines = lines_of(box(), ["south"], rows_rows=2)
    # Equal-sided triangles at 1.5 m: 0.8660 × 1.5 m (arithmetic).
    assert lines["offset_m"].diff().iloc[1] == pytest.approx(1.5 * math.sqrt(3) / 2)
    lines = lines_of(box(), ["south"], rows_rows=2, rows_row_distance=2.0)
    assert lines["offset_m"].diff().iloc[1] == pytest.approx(2.0)
    assert list(lines["row"]) == [1, 2]


def test_line_runs_on_through_gaps_from_one_zero_peg():
    drive = layer(kind=["driveway"], geometry=[shapely.box(10, -1, 14, 9)])
    rules = (*PLAIN, Rule("driveway", "driveway", 1.0, reason="test"))
    line = lines_of(box(), ["south"], rules=rules, features={"keep_outs": drive}).iloc[0]
    assert line["length_m"] == pytest.approx(36 - 2 * CLEARANCE_M)
    assert line["plantable_m"] == pytest.approx(line["length_m"] - 6, abs=0.005)


def test_line_starts_at_its_first_plantable_point():
    shed = layer(kind=["shed"], geometry=[shapely.box(0, 0, 8, 8)])
    rules = (*PLAIN, Rule("shed", "building", 1.0, reason="test"))
    line = lines_of(box(), ["south"], rules=rules, features={"buildings": shed}).iloc[0]
    assert line.geometry.coords[0][0] == pytest.approx(9, abs=0.003)
    assert line.geometry.coords[0][0] > 9


def curved_parcel(count=81):
    """A front that bends outwards by 6 m over 40 m, in short chords."""
    x = np.linspace(0, 40, count)
    front = np.c_[x, -6 * np.sin(np.pi * x / 40)]
    outline = np.vstack([front, [(40, 30), (0, 30)]])
    sides = gpd.GeoDataFrame(
        {"side_id": ["front", "east", "north", "west"]},
        geometry=[
            LineString(front),
            LineString([(40, 0), (40, 30)]),
            LineString([(40, 30), (0, 30)]),
            LineString([(0, 30), (0, 0)]),
        ],
    )
    return subject(Polygon(outline)), sides


def test_a_curved_side_gets_one_parallel_curve():
    parcels, sides = curved_parcel()
    lines = lines_of(parcels, ["front"], sides=sides)
    assert list(lines.index) == ["front-row1"]
    line = lines.iloc[0].geometry
    points = line.interpolate(np.linspace(0, 1, 300), normalized=True)
    distance = shapely.distance(points, parcels.geometry.iloc[0].boundary)
    assert distance == pytest.approx(np.full(300, OFFSET), abs=1e-4)


def test_a_corner_that_points_inwards_is_rounded_on_an_arc():
    outline = Polygon([(0, 0), (40, 0), (40, 20), (20, 20), (20, 40), (0, 40)])
    parcels = subject(outline)
    sides = sides_of(parcels, ("south", "east-1", "north-1", "east-2", "north-2", "west"))
    lines = lines_of(parcels, ["north-1", "east-2"], sides=sides)
    first, second = lines.geometry
    # A quarter circle round (20, 20) goes with the side before it (2 m, so π m of arc).
    assert first.length == pytest.approx(40 - OFFSET - 20 + math.pi / 2 * OFFSET, abs=2e-3)
    assert second.length == pytest.approx(40 - OFFSET - 20)
    assert first.coords[-1] == pytest.approx(second.coords[0])


def test_a_neck_cuts_a_side_into_parts():
    # A notch from the north leaves 3 m along the south side, too narrow for 2 m on both sides.
    outline = Polygon([(0, 0), (40, 0), (40, 20), (24, 20), (24, 3), (16, 3), (16, 20), (0, 20)])
    parcels = subject(outline)
    sides = sides_of(parcels, ("south", "e1", "n1", "w1", "n2", "e2", "n3", "west"))
    lines = lines_of(parcels, ["south"], sides=sides)
    assert list(lines.index) == ["south-row1-part1", "south-row1-part2"]
    assert lines.geometry.iloc[0].bounds[0] < lines.geometry.iloc[1].bounds[0]


def test_a_chamfered_corner_is_shared_by_its_two_sides():
    outline = Polygon([(0, 0), (36, 0), (40, 4), (40, 30), (0, 30)])
    sides = gpd.GeoDataFrame(
        {"side_id": ["south", "east", "north", "west"]},
        geometry=[
            LineString([(0, 0), (36, 0), (38, 2)]),
            LineString([(38, 2), (40, 4), (40, 30)]),
            LineString([(40, 30), (0, 30)]),
            LineString([(0, 30), (0, 0)]),
        ],
    )
    lines = lines_of(subject(outline), ["south", "east"], sides=sides)
    # They meet square to the chamfer's middle.
    corner = (38 - OFFSET / math.sqrt(2), 2 + OFFSET / math.sqrt(2))
    assert lines.geometry.iloc[0].coords[-1] == pytest.approx(corner)
    assert lines.geometry.iloc[1].coords[0] == pytest.approx(corner)


def test_a_drawn_line_is_kept_with_its_name():
    drawn = layer(line_id=["mine"], geometry=[LineString([(5, 10), (30, 12)])])
    lines = lines_of(box(), (), drawn=drawn, rows_rows=2, rows_row_distance=1.0)
    line = lines.loc["mine-row1"]
    assert line["side_id"] == "mine"
    assert math.isnan(line["offset_m"])
    assert line["length_m"] == pytest.approx(math.hypot(25, 2))
    second = lines.loc["mine-row2"].geometry
    assert second.distance(line.geometry) == pytest.approx(1.0)
    assert second.bounds[1] > line.geometry.bounds[1]  # away from the nearest side
    assert second.coords[0][0] < second.coords[-1][0]  # runs the same way


def test_a_drawn_line_in_two_parts_and_partly_outside():
    drawn = layer(
        line_id=[None], geometry=[MultiLineString([[(-5, 10), (10, 10)], [(15, 10), (20, 10)]])]
    )
    lines = lines_of(box(), (), drawn=drawn)
    assert list(lines.index) == ["1-row1-part1", "1-row1-part2"]
    assert lines["length_m"].iloc[0] == pytest.approx(8, abs=0.003)  # from the setback on


def test_sides_are_chosen_by_what_looks_across_them():
    parcels = box()
    sides = sides_of(parcels).assign(looked_across=[0.6, 0.02, 0.3, 0.0])
    assert list(lines_of(parcels, (), sides=sides)["side_id"]) == ["south", "north"]
    assert list(lines_of(parcels, "all")["side_id"]) == ["south", "east", "north", "west"]


def test_columns_and_crs():
    parcels = box().set_crs("EPSG:32632")
    lines = lay(parcels, "south", sides=sides_of(parcels).set_crs("EPSG:32632"))[2]
    assert list(lines.columns) == [c.name for c in PLANTING_LINES.columns] + ["geometry"]
    assert lines.crs == parcels.crs


def refused(match, parcels=None, along=("south",), **options):
    with pytest.raises(InputError, match=match):
        lay(box() if parcels is None else parcels, along, **options)


def test_refused():
    refused("the parcel has no side 'up'. Choose among south, east, north, west", along=["up"])
    refused("no side is chosen to plant along. Choose among south", along=())
    refused(
        "along, and nobody looks onto a private place across one. Choose among south",
        along=(), sides=sides_of(box()).assign(looked_across=0.0),
    )  # fmt: skip
    refused("the parcel is too narrow for a row", parcels=box(40, 3.9))
    refused("there is no room for a second row", parcels=box(40, 5.0), rows_rows=2)
    refused(r"forbidden by stem \(boundary\) on 100%", rows_offset=1.0)
    refused(
        "it lies outside the subject parcel",
        drawn=layer(line_id=["x"], geometry=[LineString([(50, 50), (60, 60)])]),
    )
    pond = layer(kind=["pond"], geometry=[shapely.box(-1, -1, 41, 9)])
    rules = (*PLAIN, Rule("pond", "pond", 1.0, reason="wet"))
    refused(r"no plant may stand anywhere on the line; forbidden by pond \(pond\) on 100%",
            rules=rules, features={"keep_outs": pond})  # fmt: skip


def test_an_existing_row_keeps_its_whole_line():
    # It stands 1 m from the boundary, where nothing new may.
    ends = [Point(5, 1), Point(30, 1)]
    screens = layer(
        screen_id=["a", "b"], kind=["plant", "plant"], height_m=[2.0, 2.0], geometry=ends
    )
    lines = lay(box(), screens=screens)[2]
    assert lines["length_m"].iloc[0] == 25
    assert lines["plantable_m"].iloc[0] == 0
