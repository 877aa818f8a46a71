"""Stake-out: two tapes, running distances, the refit, and the sheet that rebuilds every stake."""

import cmath
import math
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
import sheet_reader
import works_site as site
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with

from screenplan.contracts import OUTPUTS
from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.outputs.report_tables import make_table, stakes_by_line, tables_of
from screenplan.plan import check_plan, read_plan
from screenplan.planting.lines import draw_lines
from screenplan.planting.rows import set_plants
from screenplan.planting.zones import mark_zones
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.steps import STEPS
from screenplan.site.sides import find_sides
from screenplan.site.terrain import Terrain
from screenplan.works.bases import lay_bases
from screenplan.works.control_points import ControlPoint, find_control_points, letters
from screenplan.works.obstructions import Obstructions, houses_in_the_way
from screenplan.works.pegging import set_pegs
from screenplan.works.readings import Peg
from screenplan.works.refit import SCALE, TAPE_M, fit_points, fit_stretch
from screenplan.works.stakeout import _houses_after_fit, stake_out
from screenplan.works.taping import (
    PRINTED_M,
    READING_M,
    best_pair,
    crosses_well,
    error_factor,
    tape_pair,
)

HILLSIDE = Path(__file__).parent.parent / "sample_data" / "hillside.toml"
#: "Two-tape distances reproduce the coordinates within 1 mm unrounded and 20 mm as printed."
UNROUNDED_M, PRINTED_TAPES_M = 0.001, 0.020
TERRAIN_20_PERCENT = Terrain(np.outer(np.arange(0, 80, 5), np.ones(12)) * 0.2, -5.0, -5.0, 5.0, 5.0)


def two_tapes(a: complex, b: complex, ta: float, tb: float, side: str) -> complex:
    """Own reconstruction by the law of cosines: turn from AB by the angle at A."""
    ab = b - a
    cosine = (ta**2 + abs(ab) ** 2 - tb**2) / (2 * ta * abs(ab))
    turn = math.acos(max(-1.0, min(1.0, cosine)))
    return a + ta * cmath.exp(1j * (cmath.phase(ab) + (turn if side == "left" else -turn)))


def printed(layers) -> dict:
    """What stands on the sheet: coordinates of control points to a millimetre, distances to a centimetre."""
    points, pegs, bases, stakes = layers[:4]
    return {
        "points": [(r.point_id, f"{r.x_m:.3f}", f"{r.y_m:.3f}") for r in points.itertuples()],
        "pegs": [
            (r.peg_id, r.point_a, f"{r.tape_a_m:.2f}", r.point_b, f"{r.tape_b_m:.2f}", r.side)
            for r in pegs.itertuples()
            if r.method == "two tapes"
        ],
        "offsets": [
            (r.peg_id, r.point_a, r.point_b, f"{r.along_m:.2f}", f"{r.offset_m:.2f}", r.side)
            for r in pegs.itertuples()
            if r.method == "offset"
        ],
        "by instrument": [
            (r.peg_id, f"{r.x_m:.3f}", f"{r.y_m:.3f}")
            for r in pegs.itertuples()
            if r.method == "instrument"
        ],
        "bases": [(r.base_id, r.from_peg, r.to_peg) for r in bases.itertuples()],
        "stakes": [
            (r.stake_id, r.base_id, f"{r.along_m:.2f}", f"{r.offset_m:.2f}", r.offset_side)
            for r in stakes.itertuples()
        ],
    }


def rebuild(sheet: dict) -> tuple[dict, dict]:
    """Pegs and stakes from the text of the sheet alone."""
    points = {name: complex(float(x), float(y)) for name, x, y in sheet["points"]}
    pegs = {name: complex(float(x), float(y)) for name, x, y in sheet["by instrument"]}
    to_set = [(a, b, row) for row in sheet["pegs"] for a, b in [(row[1], row[3])]]
    to_set += [(a, b, row) for row in sheet["offsets"] for a, b in [(row[1], row[2])]]
    while to_set:  # a peg may be measured from pegs that are set before it
        known = points | pegs
        ready = [reading for reading in to_set if reading[0] in known and reading[1] in known]
        assert ready, "pegs are measured from one another in a circle"
        for a, b, row in ready:
            if len(row) == 6 and row[1:4:2] == (a, b):
                name, _, ta, _, tb, side = row
                pegs[name] = two_tapes(known[a], known[b], float(ta), float(tb), side)
            else:
                name, _, _, along, offset, side = row
                u = (known[b] - known[a]) / abs(known[b] - known[a])
                left = {"left": 1j, "right": -1j, "on the line": 0}[side]
                pegs[name] = known[a] + u * (float(along) + left * float(offset))
        to_set = [reading for reading in to_set if reading not in ready]
    tapes = {}
    for name, start, end in sheet["bases"]:
        step = pegs[end] - pegs[start]
        tapes[name] = (pegs[start], step / abs(step))
    stakes = {}
    for name, base, along, offset, side in sheet["stakes"]:
        zero, u = tapes[base]
        left = {"left": 1j, "right": -1j, "on the line": 0}[side]
        stakes[name] = zero + u * (float(along) + left * float(offset))
    return pegs, stakes


def check_sheet(layers) -> None:
    pegs, stakes = rebuild(printed(layers))
    for row in layers[1].itertuples():
        out = abs(pegs[row.peg_id] - complex(row.x_m, row.y_m))
        assert out <= row.tolerance_m
        if {row.point_a, row.point_b} <= set(layers[0]["point_id"]):
            assert out <= PRINTED_TAPES_M
    for row in layers[3].itertuples():
        assert abs(stakes[row.stake_id] - complex(row.x_m, row.y_m)) <= row.tolerance_m
    for name, layer in zip(
        ("tape_points", "pegs", "base_lines", "stakes", "stake_checks"), layers, strict=True
    ):
        conform(layer, OUTPUTS[name])


# --- two tapes -----------------------------------------------------------------------------------

coordinate = st.floats(-60, 60)


@given(st.tuples(coordinate, coordinate, coordinate, coordinate, coordinate, coordinate))
def test_two_tapes_give_the_place_back(numbers):
    # Invariant: measuring a place and intersecting the tapes gives the place.
    points = np.array(numbers[:4]).reshape(2, 2)
    place = np.array(numbers[4:])
    pair = tape_pair(points, 0, 1, place)
    if (
        pair is None
        or not crosses_well(pair.crossing_deg)
        or math.hypot(*(points[1] - points[0])) < 1
    ):
        return
    back = two_tapes(*points @ (1, 1j), pair.tape_a_m, pair.tape_b_m, pair.side)
    assert abs(back - complex(*place)) < UNROUNDED_M


@pytest.mark.parametrize("crossing", [30.0, 60.0, 90.0, 120.0, 150.0])
def test_readings_to_a_centimetre_leave_less_than_the_stated_tolerance(crossing):
    # Closed form: the worst of the four corners of ±5 mm readings, for tapes of 20 m that cross so.
    angle = math.radians(crossing)
    points = 20.0 * np.array(
        [[math.sin(angle / 2), math.cos(angle / 2)], [-math.sin(angle / 2), math.cos(angle / 2)]]
    )
    pair = tape_pair(points, 0, 1, np.zeros(2))
    assert pair.crossing_deg == pytest.approx(crossing)
    worst = max(
        abs(two_tapes(*points @ (1, 1j), 20.0 + da, 20.0 + db, pair.side))
        for da in (-READING_M, READING_M)
        for db in (-READING_M, READING_M)
    )
    assert worst == pytest.approx(READING_M * error_factor(angle), rel=0.01)
    assert worst <= PRINTED_TAPES_M
    assert pair.tolerance_m == pytest.approx((READING_M + PRINTED_M) * error_factor(angle))


def test_the_side_is_seen_from_a_to_b():
    # By construction: A in the south, B in the north, the place in the west is on the left.
    points = np.array([[0.0, 0.0], [0.0, 10.0]])
    assert tape_pair(points, 0, 1, np.array([-3.0, 5.0])).side == "left"
    assert tape_pair(points, 0, 1, np.array([3.0, 5.0])).side == "right"
    assert tape_pair(points, 0, 1, np.array([0.0, 20.0])) is None  # on one line


def test_a_pair_that_crosses_well_is_preferred_and_the_best_of_those_taken():
    # By construction: from the origin, 0 and 1 cross at 90°, 0 and 2 at 10°.
    points = np.array([[10.0, 0.0], [0.0, 10.0], [10 * math.cos(0.1745), 10 * math.sin(0.1745)]])
    pair = best_pair(points, np.zeros(2), np.ones(3, bool), np.ones(3))
    assert {pair.a, pair.b} == {0, 1}
    # Two that cross badly are none.
    assert tape_pair(points, 0, 2, np.zeros(2)).crossing_deg == pytest.approx(10.0, abs=0.01)
    assert best_pair(points, np.zeros(2), np.array([True, False, True]), np.ones(3)) is None
    assert best_pair(points, np.zeros(2), np.array([True, False, False]), np.ones(3)) is None


def test_letters_go_on_after_z():
    assert [letters(n) for n in (0, 25, 26, 27, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_control_points_are_marks_own_house_corners_and_parcel_corners():
    subject = site.parcels()
    others = site.layer(
        [site.HOUSE, shapely.box(50, 0, 60, 10)], building_id=["h1", "h2"], kind=["house", "house"]
    )
    marks = site.layer([shapely.Point(1, 1)], mark_id=["m1"], name=["hydrant"], kind=["hydrant"])
    found = find_control_points(subject, others, marks)
    # By construction: 1 mark, 4 corners of the own house, 4 of the parcel; the neighbour's none.
    assert [point.kind for point in found] == ["mark"] + ["house corner"] * 4 + [
        "parcel corner"
    ] * 4
    assert found[0].name == "hydrant"
    assert {point.source_id for point in found} == {"m1", "h1", "7"}
    assert {(point.x, point.y) for point in found[1:5]} == {(12, 15), (26, 15), (26, 25), (12, 25)}


# --- the sheet -----------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", [1, 2])
@pytest.mark.parametrize("along", [("north",), ("north", "east"), ("all",)])
def test_the_printed_sheet_rebuilds_every_stake(rows, along):
    subject, lines, plants = site.planted(along=along, rows=rows)
    layers = stake_out(site.layers(subject, lines, plants, buildings=site.buildings()))
    check_sheet(layers)
    stakes = layers[3].set_index("stake_id")
    assert len(stakes) == len(plants)
    # Unrounded, a stake stands on its plant.
    own = stakes.loc[plants["plant_id"]].geometry.to_numpy()
    assert shapely.distance(own, plants.geometry.to_numpy()).max() < UNROUNDED_M
    assert (layers[1]["crossing_deg"].between(30, 150)).all()


@cache
def hillside():
    """The sample site, planted; views are not needed."""
    plan, folder = read_plan(HILLSIDE)
    read = read_inputs(plan, folder)
    return plant(plan, folder, read)


def plant(plan, folder, read):
    layers = dict(read.layers)
    for name in ("sides", "windows", "places", "across", "zones", "lines", "plants"):
        step = STEPS[name]
        layers |= step(layers, **step_arguments(step, plan, folder, read.terrain, read.frame))
    return layers, read


def test_the_printed_sheet_of_the_sample_site_rebuilds_every_stake():
    layers, read = hillside()
    laid = stake_out(site.layers(layers["parcels"], layers["planting_lines"], layers["plants"], buildings=layers["buildings"]), terrain=read.terrain)  # fmt: skip
    check_sheet(laid)
    assert len(laid[3]) == int((~layers["plants"]["existing"]).sum())
    # On one row the running distance is the plant's station, and the slope length the plant's.
    plants = layers["plants"].set_index("plant_id")
    stakes = laid[3].set_index("plant_id")
    assert stakes["along_m"].to_numpy() == pytest.approx(plants["station_m"].to_numpy(), abs=1e-6)
    assert stakes["slope_along_m"].to_numpy() == pytest.approx(
        plants["slope_station_m"].to_numpy(), abs=UNROUNDED_M
    )


@pytest.mark.evidence(
    part="Stake-out",
    kind="open data",
    against="The sheet of a real parcel, two rows on all its sides: every stake rebuilt from nothing but what is printed",
    source="data set bubenec, which the package momepy carries",
    status="run",
    tolerance="the tolerance printed beside each stake",
)
def test_the_printed_sheet_of_a_real_parcel_rebuilds_every_stake():
    momepy = pytest.importorskip("momepy")
    file = momepy.datasets.get_path("bubenec")
    plots = gpd.read_file(file, layer="plots")
    houses = gpd.read_file(file, layer="buildings")
    inside = houses.sindex.query(plots.geometry, predicate="contains")
    area = plots.area
    # The largest plot that holds a whole house.
    number = max(set(inside[0].tolist()), key=lambda place: area.iloc[place])
    x, y = gpd.GeoSeries([plots.geometry.iloc[number].representative_point()], crs=plots.crs).to_crs(4326).get_coordinates().iloc[0]  # fmt: skip
    plan = check_plan(
        {
            "layers": {
                "parcels": {"file": file, "layer": "plots", "columns": {"parcel_id": "ID"}},
                "buildings": {"file": file, "layer": "buildings", "fixed": {"height_m": "6 m"}},
            },
            "subject": {"point": [x, y]},
            "rows": {"along": ["all"], "spacing": "1.2 m", "rows": 2},
            "plants": {"species": "thuja_smaragd"},
            "site": {"boundary_accuracy": "0 m"},
        }
    )
    layers, _ = plant(plan, Path.cwd(), read_inputs(plan, Path.cwd()))
    laid = stake_out(
        site.layers(
            layers["parcels"],
            layers["planting_lines"],
            layers["plants"],
            buildings=layers["buildings"],
        )
    )
    check_sheet(laid)
    assert len(laid[3]) == len(layers["plants"]) > 20
    solid = shapely.union_all(shapely.buffer(layers["buildings"].geometry.to_numpy(), -0.06))
    assert max(tape.intersection(solid).length for tape in tapes_of(laid)) < 0.02


def test_a_staggered_second_row_is_offset_from_the_first_rows_tape():
    subject, lines, plants = site.planted(rows=2)
    *_, bases, stakes, checks = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings())
    )
    assert len(bases) == 1
    second = stakes[stakes["row"] == 2]
    # Closed form: 0.8660 of the spacing (equal-sided triangles) between the rows.
    assert second["offset_m"].to_numpy() == pytest.approx(math.sqrt(3) / 2 * 1.5, abs=1e-4)
    # The row runs west along the north side with the parcel on its left.
    assert set(second["offset_side"]) == {"left"}
    # The diagonal proves the right angle: Pythagoras.
    assert second["diagonal_m"].to_numpy() ** 2 == pytest.approx(
        second["along_m"].to_numpy() ** 2 + second["offset_m"].to_numpy() ** 2
    )
    assert (stakes.loc[stakes["row"] == 1, "offset_side"] == "on the line").all()
    assert list(checks["kind"]) == ["closing", "diagonal", "diagonal"]
    assert checks["planned_m"][0] == pytest.approx(bases["length_m"][0])


def test_distances_run_from_one_zero():
    subject, lines, plants = site.planted()
    *_, stakes, _ = stake_out(site.layers(subject, lines, plants, buildings=site.buildings()))
    # Closed form: 36.474 m evened at 1.5 m are 25 gaps. The line is 40 m less the setback at both ends:
    # half the spread of a mature plant, 2.5 ft, and 1 m.
    assert stakes["along_m"].to_numpy() == pytest.approx(np.arange(26) * 36.474 / 25, abs=1e-3)


def test_level_and_slope_lengths_on_a_plane():
    # Closed form: on a plane of 20 % that rises to the north, a tape northwards reads √1.04 longer.
    subject, lines, plants = site.planted(along=("east",))
    points, pegs, bases, stakes, _ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()), terrain=TERRAIN_20_PERCENT
    )
    assert bases["slope_m"][0] == pytest.approx(bases["length_m"][0] * math.sqrt(1.04), abs=1e-6)
    assert stakes["slope_along_m"].to_numpy() == pytest.approx(
        stakes["along_m"].to_numpy() * math.sqrt(1.04), abs=1e-6
    )
    ground = points.set_index("point_id")["ground_m"]
    for row in pegs.itertuples():
        rise = ground[row.point_a] - row.ground_m
        assert row.slope_a_m == pytest.approx(math.hypot(row.tape_a_m, rise), abs=1e-9)


def test_rows_that_meet_share_a_peg():
    subject, lines, plants = site.planted(along=("all",))
    _, pegs, bases, *_ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_tape=100.0),
    )
    assert len(bases) == 4
    assert len(pegs) == 4
    assert all(len(ends.split(", ")) == 2 for ends in pegs["base_id"])
    check_both_roles(pegs, bases)


def test_the_middle_peg_of_a_row_on_two_tapes_says_that_the_second_starts_there():
    subject, lines, plants = site.planted(along=("east",))
    _, pegs, bases, *_ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_tape=30.0),
    )
    assert len(bases) == 2  # a row of 56.78 m
    # By construction: the first peg, the middle one, and the last.
    assert pegs["role"].tolist() == ["zero", "zero", "end"]
    check_both_roles(pegs, bases)


def check_both_roles(pegs, bases):
    """Each tape's zero peg is shown as one, and a peg of two tapes says what it is to both."""
    for peg in pegs.itertuples():
        zeros = bases.loc[bases["from_peg"] == peg.peg_id, "base_id"].tolist()
        ends = bases.loc[bases["to_peg"] == peg.peg_id, "base_id"].tolist()
        assert peg.role == ("zero" if zeros else "end")
        if len(zeros + ends) > 1:
            for word, names in (("zero", zeros), ("end", ends)):
                for name in names:
                    assert f"{word} of {name}" in peg.says


def test_a_row_longer_than_the_tape_is_cut_into_equal_tapes():
    subject, lines, plants = site.planted(along=("east",))
    length = lines.geometry.iloc[0].length
    bases = lay_bases(lines, plants, tape_m=20.0)
    # Arithmetic: ceil(56.78 / 20) = 3 tapes of a third each.
    assert [base.length for base in bases] == pytest.approx([length / 3] * 3)
    assert sum(len(base.stakes) for base in bases) == len(plants)
    check_sheet(
        stake_out(
            site.layers(subject, lines, plants, buildings=site.buildings()),
            plan=plan_with(stakeout_tape=20.0),
        )
    )


def test_a_curved_row_has_pegs_where_the_tape_would_leave_it():
    circle = shapely.Point(0, 0).buffer(40, quad_segs=32)
    subject, lines, plants = site.planted(shape=circle, along=("all",))
    layers = stake_out(site.layers(subject, lines, plants))
    check_sheet(layers)
    assert layers[3]["offset_m"].max() <= 1.0 + 1e-6
    assert len(layers[2]) > 4


def test_standing_plants_get_no_stake_and_a_house_is_not_taped_through():
    subject, lines, plants = site.planted()
    plants.loc[plants.index[:3], "existing"] = True
    points, pegs, _, stakes, _ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings())
    )
    assert set(stakes["plant_id"]) == set(plants["plant_id"][3:])
    at = points.set_index("point_id").geometry
    for row in pegs.itertuples():
        for name in (row.point_a, row.point_b):
            tape = shapely.LineString([at[name], row.geometry])
            assert tape.intersection(site.HOUSE.buffer(-0.06)).length < 0.06


# --- what is in the way --------------------------------------------------------------------------

#: A house that stands across the northern row, with a shed and the garden behind it.
ACROSS = shapely.box(14.0, 45.0, 26.0, 60.0)
WALL = shapely.LineString([(20.3, 60.0), (20.3, 30.0)])
POND = shapely.Point(20.0, 52.0).buffer(7.0)
OBSTACLES = {
    "house": {"buildings": site.layer([ACROSS], building_id=["h1"], parcel_id=["7"], kind=["house"])},
    "wall": {"existing_screens": site.layer([WALL], kind=["wall"], height_m=[1.8], width_m=[0.2])},
    "fence": {"existing_screens": site.layer([WALL], kind=["fence"], height_m=[1.8])},
    "hedge": {"existing_screens": site.layer([WALL], kind=["hedge"], height_m=[1.2], width_m=[1.0])},
    "pond": {"keep_outs": site.layer([POND], kind=["Garden pond"])},
    "stream": {"keep_outs": site.layer([WALL], kind=["stream"])},
}  # fmt: skip


def planted_round(rows, **given):
    """A row along the north side of the site's parcel, with something on or near it."""
    subject = site.parcels()
    given = {"buildings": site.buildings(), **given}
    plan = plan_with(plants_species="thuja_smaragd", rows_along=["north"], rows_rows=rows)
    zones, free = mark_zones({"parcels": subject, **given}, plan=plan)
    lines = draw_lines(subject, find_sides(subject), free, zones, plan=plan)
    plants, _ = set_plants(lines, free, zones, plan=plan)
    return subject, lines, plants, given


def tapes_of(layers):
    """Every tape of the sheet as a line: to pegs, along base lines and offsets, and for the checks."""
    points, pegs, bases, stakes, checks = layers
    at = {row.point_id: row.geometry for row in points.itertuples()}
    at |= {row.peg_id: row.geometry for row in pegs.itertuples()}
    places = at | {str(row.stake_id): row.geometry for row in stakes.itertuples()}
    for row in pegs.itertuples():
        if row.method == "two tapes":
            yield from (shapely.LineString([at[peg], row.geometry]) for peg in (row.point_a, row.point_b))  # fmt: skip
        if row.method == "offset":
            a, b = at[row.point_a], at[row.point_b]
            foot = shapely.Point(np.array(a.coords[0]) + row.along_m * (np.array(b.coords[0]) - np.array(a.coords[0])) / a.distance(b))  # fmt: skip
            yield shapely.LineString([a, foot])
            yield shapely.LineString([foot, row.geometry])
        if isinstance(row.point_c, str):
            yield shapely.LineString([at[row.point_c], row.geometry])
    own = {row.base_id: row.geometry for row in bases.itertuples()}
    yield from own.values()
    for row in stakes.itertuples():
        line = own[row.base_id]
        yield shapely.LineString([line.interpolate(row.along_m), row.geometry])
        if row.diagonal_m > 0:
            yield shapely.LineString([line.coords[0], row.geometry])
    for row in checks.itertuples():
        yield shapely.LineString([places[row.from_name], places[row.to_name]])


@pytest.mark.parametrize("rows", [1, 2])
@pytest.mark.parametrize("what", OBSTACLES)
def test_no_tape_crosses_a_house_a_wall_or_a_pond(what, rows):
    subject, lines, plants, given = planted_round(rows, **OBSTACLES[what])
    layers = stake_out(site.layers(subject, lines, plants, **given))
    check_sheet(layers)
    assert len(layers[3]) == len(plants)
    # By construction: the thing lies across the row, so that no tape can go from end to end.
    (thing,) = next(iter(OBSTACLES[what].values())).geometry
    assert shapely.LineString([plants.geometry.iloc[0], plants.geometry.iloc[len(plants) // rows - 1]]).intersects(thing)  # fmt: skip
    tapes = list(tapes_of(layers))
    assert len(tapes) > len(plants)
    for tape in tapes:
        if thing.geom_type == "LineString":
            assert not tape.crosses(thing)
        else:
            assert tape.intersection(thing.buffer(-0.06)).length < 0.02
        assert tape.intersection(given["buildings"].geometry[0].buffer(-0.06)).length < 0.02


def words_of(layers, units) -> str:
    """The tables of the stake-out as the report prints them, a line for each row."""
    named = dict(zip(("tape_points", "pegs", "base_lines", "stakes"), layers[:4], strict=True))
    tables = tables_of("setting", named, units=units)
    tables += stakes_by_line(make_table("stakes", named["stakes"], units=units))
    return sheet_reader.sheet_words(tables)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("what", [*OBSTACLES, "walled in", "sighted"])
def test_the_words_of_the_sheet_rebuild_every_stake_behind_what_is_in_the_way(what, units):
    if what == "walled in":  # no control point is seen: instrument
        subject, lines, plants, given = planted_round(2)
        ring = shapely.box(1.0, 50.0, 39.0, 59.9).boundary
        given["existing_screens"] = site.layer([ring], kind=["fence"], height_m=[1.8])
    elif (
        what == "sighted"
    ):  # only two corners of a house are seen, and past them a row in their line
        subject, lines, plants, given = planted_round(1)
        subject = subject.set_geometry([shapely.box(-200, -200, 200, 200)])
        low = shapely.box(12.0, 57.0, 20.0, 58.5)
        given["buildings"] = site.layer([low], building_id=["h1"], parcel_id=["7"], kind=["shed"])
        plants = plants[plants.geometry.x > 26]
    else:
        subject, lines, plants, given = planted_round(2, **OBSTACLES[what])
    layers = stake_out(site.layers(subject, lines, plants, **given))
    method = {"walled in": "instrument", "sighted": "offset"}.get(what, "two tapes")
    assert method in set(layers[1]["method"])
    rebuilt = sheet_reader.rebuild(words_of(layers, units))
    stakes = layers[3].set_index("stake_id")
    assert set(rebuilt) == set(stakes.index)
    # In feet a reading is to an eighth of an inch, 1.6 mm; points' coordinates are printed so too.
    for number, (x, y) in rebuilt.items():
        row = stakes.loc[number]
        out = math.hypot(x - row["x_m"], y - row["y_m"])
        assert out <= max(row["tolerance_m"], PRINTED_TAPES_M)


@pytest.mark.parametrize("what", OBSTACLES)
def test_a_base_line_ends_at_the_last_stake_of_its_stretch(what):
    subject, lines, plants, given = planted_round(1, **OBSTACLES[what])
    *_, bases, stakes, checks = stake_out(site.layers(subject, lines, plants, **given))
    assert len(bases) == 2
    for base in bases.itertuples():
        own = stakes[stakes["base_id"] == base.base_id]
        assert own["along_m"].max() == pytest.approx(base.length_m, abs=UNROUNDED_M)
        assert own["along_m"].min() == pytest.approx(0.0, abs=UNROUNDED_M)
    # Between the two nothing can be measured straight.
    assert "between" not in set(checks["kind"])


def test_a_low_edging_and_a_tree_stop_no_tape():
    low = site.layer([WALL, shapely.Point(20, 55)], kind=["wall", "tree"], height_m=[0.3, 6.0])
    subject, lines, plants, given = planted_round(1)
    *_, bases, _, _ = stake_out(site.layers(subject, lines, plants, existing_screens=low, **given))
    assert len(bases) == 1


def test_one_stake_alone_behind_a_house_has_a_tape_of_its_own():
    # By construction: of the row only the last plant stands beyond the house.
    subject, lines, plants, given = planted_round(1, **OBSTACLES["house"])
    east = plants.geometry.x > 20
    keep = plants[~east.to_numpy() | (np.arange(len(plants)) == np.flatnonzero(east)[0])]
    layers = stake_out(site.layers(subject, lines, keep, **given))
    check_sheet(layers)
    lone = layers[2].loc[layers[2]["stakes"] == 1].iloc[0]
    assert lone["length_m"] >= 0.5
    assert not lone.geometry.intersects(ACROSS.buffer(-0.06))


def test_a_row_that_bends_round_a_pond_is_not_taped_through_it():
    # A row round a pool of 10 m radius, 0.2 m from its edge: a chord a metre off would cut it.
    pool = shapely.Point(20, 30).buffer(10.0, quad_segs=64)
    arc = shapely.LineString(pool.buffer(0.2, quad_segs=64).exterior.coords[:80])
    subject = site.parcels()
    lines = site.layer([arc], line_id=["1-row1"], side_id=["1"], row=[1])
    at = np.arange(0.0, arc.length, 1.0)
    plants = site.layer(
        [arc.interpolate(station) for station in at], plant_id=np.arange(1, len(at) + 1), line_id="1-row1",
        row=1, station_m=at, species="thuja_smaragd", existing=False,
    )  # fmt: skip
    water = site.layer([pool], kind=["swimming pool"])
    layers = stake_out(site.layers(subject, lines, plants, keep_outs=water))
    check_sheet(layers)
    for tape in tapes_of(layers):
        assert tape.intersection(pool.buffer(-0.06)).length < 0.02


def corner_of(letter, x, y):
    return ControlPoint(letter, letter, "house corner", "h", "h", x, y)


def set_one(place, corners, way, tape_m=50.0, others=()):
    places = [corner_of(letter, x, y) for letter, (x, y) in zip("ABCDEFG", corners, strict=False)]
    pegs = [Peg(f"P{k}", "zero", np.array(xy, float)) for k, xy in enumerate([place, *others], 1)]
    return set_pegs(pegs, places, np.array(corners, float), way, tape_m)


def test_where_tapes_cross_badly_an_offset_is_given():
    # By construction: from (0, 0) and (10, 0) the place (14, 1) is seen at a few degrees only; it lies
    # 14 m along their line and 1 m to the left of it.
    (found,) = set_one((14.0, 1.0), [(0, 0), (10, 0)], Obstructions())
    assert found.method == "offset"
    assert found.by.along_m == pytest.approx(14.0)
    assert (found.by.offset_m, found.by.side) == (pytest.approx(1.0), "left")
    # Closed form: on from B by 0.4 of the way, both points out by what printing leaves (d), the place is
    # out across by (0.4 + 1.4) d, along by d + 1 · 2 d / 10, and by two readings.
    out = math.hypot(1.8 * PRINTED_M, 1.2 * PRINTED_M) + READING_M * math.sqrt(2.0)
    assert found.tolerance_m == pytest.approx(out)
    # A place on the line itself needs no offset.
    (found,) = set_one((14.0, 0.0), [(0, 0), (10, 0)], Obstructions())
    assert (found.by.offset_m, found.by.side, found.check) == (0.0, "on the line", None)


def test_a_line_that_cannot_be_laid_to_its_other_point_gives_no_offset():
    # By construction: the place lies beside the middle of A and B; a wall crosses their line behind it, so
    # that no tape shows where the line runs.
    (found,) = set_one((5.0, 1.0), [(0, 0), (10, 0)], Obstructions())
    assert (found.method, found.by.offset_m) == ("offset", pytest.approx(1.0))
    wall = Obstructions(barriers=shapely.LineString([(8.0, -3.0), (8.0, 0.5)]))
    (found,) = set_one((5.0, 1.0), [(0, 0), (10, 0)], wall)
    assert found.method == "instrument"


def test_an_offset_is_as_exact_as_stated():
    # The worst of all points out by d and readings out by 5 mm, by trying them.
    (found,) = set_one((14.0, 1.0), [(0, 0), (10, 0)], Obstructions())
    worst = 0.0
    for turn_a in np.arange(0, 2 * math.pi, 0.3):
        for turn_b in np.arange(0, 2 * math.pi, 0.3):
            a = PRINTED_M * cmath.exp(1j * turn_a)
            b = 10 + PRINTED_M * cmath.exp(1j * turn_b)
            u = (b - a) / abs(b - a)
            for along in (14 - READING_M, 14 + READING_M):
                for offset in (1 - READING_M, 1 + READING_M):
                    worst = max(worst, abs(a + u * (along + 1j * offset) - (14 + 1j)))
    assert 0.9 * found.tolerance_m <= worst <= found.tolerance_m


def test_a_peg_that_stands_already_helps_to_set_another():
    # By construction: a wall hides P2 from B; P1 is seen from A and B, and P2 from A and P1.
    wall = Obstructions(barriers=shapely.LineString([(5.0, -5.0), (5.0, 4.0)]))
    first, second = set_one((2.0, 8.0), [(0, 0), (10, 0)], wall, others=[(3.0, 2.0)])[::1]
    assert first.method == second.method == "two tapes"
    names = {second.origins[second.by.a].name, second.origins[second.by.b].name}
    assert names == {"A", "P1"}
    # Closed form: the peg's own error adds to the reading's.
    factor = error_factor(math.radians(second.by.crossing_deg))
    assert second.tolerance_m == pytest.approx((READING_M + first.tolerance_m) * factor)


def test_a_peg_is_checked_from_a_third_point_that_the_tape_reaches():
    # By construction: of the points that are neither of the two taken, the nearest across both tapes; one
    # that lies farther off than the tape is long, or behind a wall, checks nothing.
    near = [(0, 0), (10, 0), (4, 16)]
    (found,) = set_one((4.0, 4.0), [*near, (4, 33)], Obstructions(), tape_m=20.0)
    taken = {found.by.a, found.by.b}
    assert 3 not in taken
    assert found.check in {0, 1, 2} - taken
    (alone,) = set_one((4.0, 4.0), [*near[:2], (4, 33)], Obstructions(), tape_m=20.0)
    assert {alone.by.a, alone.by.b} == {0, 1}
    assert alone.check is None
    (longer,) = set_one((4.0, 4.0), [*near[:2], (4, 33)], Obstructions(), tape_m=30.0)
    assert longer.check == 2
    wall = Obstructions(barriers=shapely.LineString([(0, 10), (8, 10)]))
    (hidden,) = set_one((4.0, 4.0), [*near[:2], (4, 33)], wall, tape_m=30.0)
    assert hidden.check is None


def test_where_nothing_can_be_taped_an_instrument_is_said_to_be_needed():
    court = shapely.box(0, 0, 20, 20).difference(shapely.box(8, 8, 12, 12))
    (found,) = set_one((10.0, 10.0), [(0, 0), (20, 0), (0, 20)], houses_in_the_way([court]))
    assert (found.method, found.by) == ("instrument", None)
    # On the whole sheet: a note, the peg's own words, and no tape.
    subject, lines, plants = site.planted()
    round_it = site.layer(
        [site.PARCEL.buffer(-0.5).difference(site.PARCEL.buffer(-3.0))], building_id=["x"],
        parcel_id=["8"], kind=["house"],
    )  # fmt: skip
    inner = plants.geometry.translate(0, -8)
    moved = plants.set_geometry(inner)
    lines = lines.set_geometry(lines.geometry.translate(0, -8))
    layers = stake_out(site.layers(subject, lines, moved, buildings=round_it))
    check_sheet(layers)
    assert set(layers[1]["method"]) == {"instrument"}
    assert layers[1]["point_a"].isna().all()
    assert layers[1]["says"].str.contains("set it by an instrument").all()
    assert any("an instrument, or found points" in note for note in notes_of(layers[0]))


def test_a_tape_that_is_too_short_is_laid_in_two_parts_only_where_the_way_is_free():
    (found,) = set_one((0.0, 0.0), [(30, 0), (0, 30)], Obstructions(), tape_m=20.0)
    assert found.method == "two tapes"
    assert found.long
    blocked = Obstructions(barriers=shapely.LineString([(15, -5), (15, 5)]))
    (found,) = set_one((0.0, 0.0), [(30, 0), (0, 30)], blocked, tape_m=20.0)
    assert found.method == "instrument"
    # Arithmetic: 50 m are three parts of a tape of 20 m.
    (found,) = set_one((0.0, 0.0), [(50, 0), (0, 50)], Obstructions(), tape_m=20.0)
    assert found.method == "instrument"


def test_fence_corners_are_pegged():
    from screenplan.works.fence import lay_fence

    subject, lines, plants = site.planted()
    stands, _, _ = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(fence_scheme="perimeter")
    )
    layers = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings(), fence_posts=stands)
    )
    posts = stands["role"].isin(["corner", "end", "gate"])
    own = layers[1][layers[1]["role"] == "fence"]
    assert len(own) == int(posts.sum()) == 6
    assert own["says"].str.contains("a post hole").all()
    check_sheet(layers)


# --- refit ---------------------------------------------------------------------------------------


def test_a_house_that_stands_elsewhere_is_found_by_three_distances():
    # The house on the ground stands (0.40, −0.25) m off the map's place: distances to it from the
    # parcel's corners are measured exactly, and the fit moves it there.
    subject, lines, plants = site.planted()
    points, *_ = stake_out(site.layers(subject, lines, plants, buildings=site.buildings()))
    xy = points.set_index("point_id")[["x_m", "y_m"]]
    shift = np.array([0.40, -0.25])
    house = [
        name for name in xy.index if points.set_index("point_id")["kind"][name] == "house corner"
    ]
    corners = [name for name in xy.index if name not in house]
    measured = [
        (a, b, float(np.hypot(*(xy.loc[a] + shift - xy.loc[b]))))
        for a, b in (
            (house[0], corners[0]),
            (house[1], corners[1]),
            (house[2], corners[2]),
            (house[3], corners[3]),
        )
    ]
    fitted, pegs, _, _, checks = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_measured=measured),
    )
    moved = fitted.set_index("point_id")[["x_m", "y_m"]] - xy
    assert moved.loc[house].to_numpy() == pytest.approx(np.tile(shift, (4, 1)), abs=0.005)
    assert moved.loc[corners].abs().to_numpy().max() < 0.005
    rows = checks[checks["kind"] == "measured"]
    assert rows["residual_m"].abs().max() < TAPE_M
    assert (rows["measured_m"] - rows["planned_m"]).abs().max() > 0.2
    # The printed tapes are those of the house as it stands.
    check_sheet(
        (
            fitted,
            pegs,
            *stake_out(
                site.layers(subject, lines, plants, buildings=site.buildings()),
                plan=plan_with(stakeout_measured=measured),
            )[2:],
        )
    )


def test_a_fit_without_contradiction_leaves_the_map_as_it_is():
    # Invariant: distances as the map has them change nothing.
    xy = np.array([[0.0, 0.0], [30.0, 0.0], [5.0, 9.0], [15.0, 9.0]])
    groups = ["", "", "h", "h"]
    exact = [(a, b, math.hypot(*(xy[a] - xy[b]))) for a, b in ((0, 2), (1, 3), (0, 1))]
    fit = fit_points(xy, groups, exact, map_accuracy_m=1.0)
    assert fit.points == pytest.approx(xy, abs=1e-9)
    assert fit.scale == pytest.approx(1.0, abs=1e-12)


def test_a_boundary_that_measures_short_stretches_the_map():
    # Closed form: one distance of 40 m read 39.96 m, weights 1/0.01² and 1/0.002²:
    # scale − 1 = −0.04·40·w / (40²·w + v), with w = 1/0.01², v = 1/0.002².
    xy = np.array([[0.0, 0.0], [40.0, 0.0]])
    fit = fit_points(xy, ["", ""], [(0, 1, 39.96)], map_accuracy_m=1.0)
    w, v = 1 / 0.01**2, 1 / 0.002**2
    assert fit.scale - 1.0 == pytest.approx(-0.04 * 40 * w / (40**2 * w + v), rel=1e-6)


def turned(layers, turn, east, north):
    from shapely.affinity import rotate, translate

    moved = []
    for layer in layers:
        shapes = [
            translate(rotate(shape, turn, origin=(0, 0)), east, north) for shape in layer.geometry
        ]
        moved.append(layer.set_geometry(gpd.GeoSeries(shapes, index=layer.index)))
    return moved


def test_what_measures_long_stretches_the_whole_sheet():
    # Closed form: every distance between the parcel's corners reads 3 per thousand more, so the scale is
    # that, drawn towards 1 by what is known of it; all of the sheet is stretched by it about the origin.
    subject, lines, plants = site.planted(rows=2, along=("north", "east"))
    given = turned((subject, lines, plants, site.buildings()), 33.0, 120.0, -40.0)
    before = stake_out(site.layers(*given))
    xy = before[0].set_index("point_id")[["x_m", "y_m"]]
    corners = [name for name, kind in zip(xy.index, before[0]["kind"], strict=True) if kind == "parcel corner"]  # fmt: skip
    apart = {
        (a, b): math.hypot(*(xy.loc[a] - xy.loc[b])) for a in corners for b in corners if a < b
    }
    after = stake_out(
        site.layers(*given),
        plan=plan_with(stakeout_measured=[(a, b, 1.003 * far) for (a, b), far in apart.items()]),
    )
    known = sum(far**2 for far in apart.values()) / TAPE_M**2
    scale = 1.0 + 0.003 * known / (known + 1.0 / SCALE**2)
    for one, two in zip(before[:4], after[:4], strict=True):
        assert shapely.get_coordinates(two.geometry) == pytest.approx(
            scale * shapely.get_coordinates(one.geometry), abs=1e-6
        )
    lengths = (
        ("x_m", "y_m"),
        ("x_m", "y_m", "tape_a_m", "tape_b_m", "along_m", "offset_m"),
        ("length_m", "slope_m"),
        ("x_m", "y_m", "along_m", "slope_along_m", "offset_m", "diagonal_m"),
    )
    for one, two, names in zip(before, after, lengths, strict=False):
        for name in names:
            assert two[name].to_numpy(float) == pytest.approx(
                scale * one[name].to_numpy(float), abs=1e-6, nan_ok=True
            )
    assert after[0]["moved_m"].to_numpy() == pytest.approx(
        (scale - 1.0) * np.hypot(before[0]["x_m"], before[0]["y_m"])
    )
    # On the sheet the column stands only where a fit has moved something.
    for layers, told in ((before, False), (after, True)):
        (table,) = tables_of("setting", {"tape_points": layers[0]})
        assert ("moved by the fit" in [head.text for head in table.headings]) == told
    assert after[2]["stretch"].tolist() == [1.0] * len(after[2])
    assert after[2]["bearing_deg"].to_numpy() == pytest.approx(before[2]["bearing_deg"].to_numpy())
    closing, measured = (after[4][after[4]["kind"] == kind] for kind in ("closing", "measured"))
    assert closing["refit_m"].to_numpy() == pytest.approx(scale * closing["planned_m"].to_numpy())
    assert measured["planned_m"].to_numpy() == pytest.approx(list(apart.values()))
    assert measured["refit_m"].to_numpy() == pytest.approx(scale * np.array(list(apart.values())))
    assert measured["residual_m"].to_numpy() == pytest.approx(
        (measured["measured_m"] - measured["refit_m"]).to_numpy()
    )
    check_sheet(after)


def test_stakes_are_as_exact_as_stated():
    # The worst of pegs out by their tolerance any way and readings out by 5 mm, by trying them. What is
    # stated takes the worst across and along the tape together, so up to √2 more.
    subject, lines, plants = site.planted(rows=2)
    _, pegs, bases, stakes, _ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings())
    )
    at = pegs.set_index("peg_id")
    turns = np.exp(1j * np.arange(0.0, 2.0 * math.pi, math.pi / 12))
    for base in bases.itertuples():
        zero, end = (
            complex(*at.loc[name, ["x_m", "y_m"]]) for name in (base.from_peg, base.to_peg)
        )
        t0, t1 = (at.loc[name, "tolerance_m"] for name in (base.from_peg, base.to_peg))
        starts, ends = (
            values.ravel() for values in np.meshgrid(zero + t0 * turns, end + t1 * turns)
        )
        way = (ends - starts) / abs(ends - starts)
        own = stakes[stakes["base_id"] == base.base_id]
        assert (own["offset_m"] > 1.0).any()
        assert (own["offset_m"] == 0.0).any()
        for stake in own.iloc[:: max(1, len(own) // 9)].itertuples():
            left = {"left": 1.0, "right": -1.0, "on the line": 0.0}[stake.offset_side]
            worst = max(
                abs(starts + way * (stake.along_m + da + 1j * left * (stake.offset_m + do))
                    - complex(stake.x_m, stake.y_m)).max()
                for da in (-READING_M, READING_M) for do in (-READING_M, READING_M)
            )  # fmt: skip
            assert worst <= stake.tolerance_m <= math.sqrt(2.0) * worst


def test_on_a_slope_tapes_lie_along_the_ground():
    # Closed form on a plane z = 0.10 x − 0.07 y, with rows that run askew: along a tape that climbs g for
    # each metre, what it reads is √(1 + g²) times the level distance.
    subject, lines, plants = site.planted(rows=2, along=("north", "east"))
    given = turned((subject, lines, plants, site.buildings()), 33.0, 20.0, 10.0)
    x, y = np.arange(-80.0, 121.0, 10.0), np.arange(-80.0, 121.0, 10.0)
    plane = Terrain(0.10 * x[None, :] - 0.07 * y[:, None], -80.0, -80.0, 10.0, 10.0)
    points, pegs, bases, stakes, checks = stake_out(site.layers(*given), terrain=plane)
    for layer in (points, pegs, stakes):
        assert layer["ground_m"].to_numpy() == pytest.approx(
            (0.10 * layer["x_m"] - 0.07 * layer["y_m"]).to_numpy(), abs=1e-9
        )
    step = shapely.get_coordinates(bases.geometry).reshape(-1, 2, 2)
    way = (step[:, 1] - step[:, 0]) / bases["length_m"].to_numpy()[:, None]
    longer = np.sqrt(1.0 + (way @ (0.10, -0.07)) ** 2)
    assert len({round(factor, 4) for factor in longer}) == 2
    assert bases["slope_m"].to_numpy() == pytest.approx(bases["length_m"] * longer)
    by_base = dict(zip(bases["base_id"], longer, strict=True))
    along = stakes["along_m"] * stakes["base_id"].map(by_base)
    assert stakes["slope_along_m"].to_numpy() == pytest.approx(along.to_numpy(), abs=1e-6)
    closing = checks[checks["kind"] == "closing"]
    assert closing["slope_m"].to_numpy() == pytest.approx(closing["refit_m"] * longer)


def test_houses_move_with_their_corners():
    # By construction: one house is shifted by the fit, one is left, and one has but two sharp corners.
    apse = shapely.union_all([shapely.box(30, 0, 36, 8), shapely.Point(33, 8).buffer(3.0)])
    houses = site.layer(
        [shapely.box(0, 0, 6, 8), shapely.box(15, 0, 21, 8), apse], building_id=["b", "a", "c"],
    )  # fmt: skip
    corners = {
        "b": [(0, 0), (6, 0), (6, 8), (0, 8)], "a": [(15, 0), (21, 0)], "c": [(30, 0), (36, 0)],
    }  # fmt: skip
    places = [
        ControlPoint("", "", "house corner", own, own, *xy)
        for own, many in corners.items()
        for xy in many
    ]
    on_map = np.array([(place.x, place.y) for place in places], float)
    shifts = {"b": (0.4, -0.3), "a": (0.0, 0.0), "c": (-0.2, 0.1)}
    fitted = on_map + np.array([shifts[place.group] for place in places])
    for shape, before, own in zip(
        _houses_after_fit(houses, places, on_map, fitted), houses.geometry, "bac", strict=True
    ):
        assert shapely.get_coordinates(shape) == pytest.approx(
            shapely.get_coordinates(before) + shifts[own]
        )


def test_contradicting_distances_show_residuals_that_balance():
    # Invariant of least squares with equal weights: two readings of one distance leave residuals
    # that are opposite.
    subject, lines, plants = site.planted()
    length = lines.geometry.iloc[0].length
    *_, bases, stakes, checks = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_measured=[("P1", "P2", length - 0.3), ("P1", "P2", length - 0.1)]),
    )
    rows = checks[checks["kind"] == "measured"]
    assert rows["residual_m"].tolist() == pytest.approx([-0.1, 0.1])
    assert rows["says"].str.contains("measure it again").all()
    assert bases["stretch"][0] == pytest.approx((length - 0.2) / length)
    # Stations follow the tape: the last stake is at the measured end.
    assert stakes["along_m"].iloc[-1] == pytest.approx(length - 0.2)


@given(st.lists(st.floats(1, 60), min_size=1, max_size=6), st.floats(0.95, 1.05))
def test_stretch_of_a_proportional_tape_is_its_factor(planned, factor):
    # Invariant: if every reading is the same share of the plan, that share is the stretch.
    assert fit_stretch(planned, [factor * length for length in planned]) == pytest.approx(factor)


def test_a_stake_on_the_tape_may_be_measured_too_and_others_are_only_compared():
    subject, lines, plants = site.planted(along=("north", "east"))
    at = float(plants["station_m"].iloc[10])
    name = str(plants["plant_id"].iloc[10])
    points, pegs, bases, _, checks = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_measured=[("P1", name, at + 0.05)]),
    )
    first = bases[bases["from_peg"] == "P1"]
    assert first["stretch"].iloc[0] == pytest.approx((at + 0.05) / at)
    peg, point = pegs.iloc[0], points.iloc[0]
    far = math.hypot(peg["x_m"] - point["x_m"], peg["y_m"] - point["y_m"])
    *_, checks = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings()),
        plan=plan_with(stakeout_measured=[("A", "P1", far + 0.02)]),
    )
    row = checks[checks["kind"] == "measured"].iloc[0]
    assert row["residual_m"] == pytest.approx(0.02)
    assert "Only compared" in row["says"]


def test_a_reading_on_a_slope_is_made_level():
    # Closed form: on 20 % along the tape, level = taut / √1.04.
    subject, lines, plants = site.planted(along=("east",))
    length = lines.geometry.iloc[0].length
    *_, checks = stake_out(site.layers(subject, lines, plants, buildings=site.buildings()), terrain=TERRAIN_20_PERCENT, plan=plan_with(stakeout_tape=100.0, stakeout_measured=[("P1", "P2", length * math.sqrt(1.04))]))  # fmt: skip
    row = checks[checks["kind"] == "measured"].iloc[0]
    assert row["measured_m"] == pytest.approx(length, abs=1e-6)
    assert row["residual_m"] == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=15)
@given(st.floats(0, 360), st.floats(-500, 500), st.floats(-500, 500))
def test_tapes_do_not_depend_on_where_the_site_lies(turn, east, north):
    # Invariance: turned and moved, every taped and running distance is the same.
    subject, lines, plants = site.planted(rows=2)
    house = site.buildings()
    before = stake_out(site.layers(subject, lines, plants, buildings=house))
    after = stake_out(site.layers(*turned((subject, lines, plants, house), turn, east, north)))
    for number, names in (
        (1, ["tape_a_m", "tape_b_m", "crossing_deg"]),
        (3, ["along_m", "offset_m"]),
    ):
        assert after[number][names].to_numpy() == pytest.approx(
            before[number][names].to_numpy(), abs=1e-6
        )


# --- refusals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"stakeout_mark": " "}, "stakes have no mark. Name a flag or paint"),
        (
            {"stakeout_measured": [("A", "Q9", 3.0)]},
            r"measured at 'Q9', which is on no sheet\. Name a tape point",
        ),
        ({"stakeout_measured": [("A", "A", 3.0)]}, "from A to A, which is no distance"),
        (
            {"stakeout_measured": [("P1", "P2", 3.0)]},
            r"3 m is measured from P1 to P2, where the map has 36\.47 m",
        ),
    ],
)
def test_refusals_say_how_to_mend(options, message):
    subject, lines, plants = site.planted()
    with pytest.raises(InputError, match=message):
        stake_out(
            site.layers(subject, lines, plants, buildings=site.buildings()),
            plan=plan_with(**options),
        )
