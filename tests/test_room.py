"""Room for people: no new stem in a drawn place, derived places end where the row begins."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from made_up import make_layer
from options_kit import plan_with
from parcel_kit import PLAIN, box, layer, sides_of
from shapely.geometry import LineString, Point

from screenplan.contracts import OUTPUTS
from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.planting.judging import judge_places
from screenplan.planting.lines import draw_lines
from screenplan.planting.room import leave_room
from screenplan.planting.rows import set_plants
from screenplan.planting.species import load_species
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import load_rules
from screenplan.running.pipeline import run_plan

TABLE = load_species(
    {
        "kept": {"like": "carpinus_betulus", "shape": "box", "kept_height": "2 m", "kept_width": "0.6 m", "stock_height": "1 m"}
    }
)  # fmt: skip
#: Species and half the width that they have in the end, by the table: high spread, or as kept.
HALVES = {
    "thuja_occidentalis": max(TABLE["thuja_occidentalis"].mature_spread_m) / 2.0,
    "thuja_smaragd": max(TABLE["thuja_smaragd"].mature_spread_m) / 2.0,
    "kept": 0.3,
}
RULES = (*PLAIN, *(rule for rule in load_rules() if rule.feature == "private_place"))


def place(shape, *, derived=False, name="terrace"):
    made = make_layer(OUTPUTS["private_places"], rows=1)
    return made.assign(place_id=[name], name=[name], derived=[derived], deck_m=[0.0]).set_geometry(
        [shape]
    )


def planted(places, *, species="thuja_smaragd", rules=RULES, **rows):
    parcels = box()
    plan = plan_with(
        plants_species=species, site_boundary_accuracy=0.0, rows_along=["south"], **rows
    )
    layers = {"parcels": parcels, "private_places": places}
    zones, free = mark_zones(layers, rules=rules, species_table=TABLE, plan=plan)
    lines = draw_lines(parcels, sides_of(parcels), free, zones, plan=plan)
    plants, dropped = set_plants(lines, free, zones, species_table=TABLE, plan=plan)
    return zones, lines, plants, dropped


@pytest.mark.parametrize("species", HALVES)
def test_no_new_stem_in_a_drawn_place_or_nearer_than_half_its_width(species):
    # A terrace across the row: 10 to 18 m along it, from 1 to 6 m behind the boundary.
    terrace = shapely.box(10, 1, 18, 6)
    zones, _, plants, _ = planted(place(terrace), species=species)
    away = shapely.distance(plants.geometry.to_numpy(), terrace)
    assert away.min() >= HALVES[species]
    # And no farther than it must be: plants stand at both edges of the gap.
    assert away.min() == pytest.approx(HALVES[species], abs=0.01)
    mine = zones[zones["feature"] == "private_place"]
    assert mine["distance_m"].to_list() == pytest.approx([HALVES[species]])
    assert mine[["source_layer", "source_id"]].to_numpy().tolist() == [
        ["private_places", "terrace"]
    ]


def test_a_place_that_is_one_position_is_kept_clear_too():
    bench = Point(20, 2.0)
    _, _, plants, _ = planted(place(bench))
    assert shapely.distance(plants.geometry.to_numpy(), bench).min() >= HALVES["thuja_smaragd"]


def test_a_derived_place_keeps_no_stem_away():
    zones, *_ = planted(place(shapely.box(10, 1, 18, 6), derived=True))
    assert "private_place" not in set(zones["feature"])


def test_without_the_rule_no_stem_stands_in_the_place_itself():
    terrace = shapely.box(10, 1, 18, 6)
    zones, _, plants, _ = planted(place(terrace), rules=PLAIN)
    assert not shapely.intersects(plants.geometry.to_numpy(), terrace).any()
    assert zones.loc[zones["feature"] == "private_place", "rule"].to_list() == ["footprint"]


def test_where_the_place_leaves_no_room_it_is_the_cause():
    # The whole south of the lot is a terrace.
    with pytest.raises(
        InputError,
        match=r"private_place_crown \(private_place\) on 100%.*draw the private place smaller",
    ):
        planted(place(shapely.box(0, 0, 40, 8)))


def line(*xy):
    return layer(line_id=["a"], side_id=["south"], row=[1], geometry=[LineString(xy)])


@pytest.mark.parametrize("species", HALVES)
def test_a_derived_place_ends_where_the_row_begins(species):
    # From 1 to 9 m behind the boundary, the row in it at 3 m: the part on the far side is left.
    lawn = place(shapely.box(10, 0.5, 30, 16), derived=True)
    lines = line((0, 3), (40, 3))
    left = leave_room(
        lawn, lines, species_table=TABLE, plan=plan_with(plants_species=species)
    ).geometry.iloc[0]
    half = HALVES[species]
    # Arcs are drawn around the true circle: up to half a millimetre wider.
    assert left.bounds == pytest.approx((10, 3 + half, 30, 16), abs=0.001)
    assert shapely.distance(left, lines.geometry.iloc[0]) >= half
    assert left.area == pytest.approx(20 * (13 - half), rel=1e-3)
    (note,) = notes_of(
        leave_room(lawn, lines, species_table=TABLE, plan=plan_with(plants_species=species))
    )
    assert f"{half:.2f} m to either side" in note
    assert f"{20 * 15.5 - left.area:.1f} m² of private place terrace" in note


def test_two_rows_and_more_places():
    lines = layer(
        line_id=["a", "b"], side_id=["s"] * 2, row=[1, 2],
        geometry=[LineString([(0, 2), (40, 2)]), LineString([(0, 4), (40, 4)])],
    )  # fmt: skip
    shape = shapely.box(10, 0, 30, 20)
    both = gpd.GeoDataFrame(
        gpd.pd.concat([place(shape, derived=True, name="lawn"), place(shape, name="drawn")], ignore_index=True)
    )  # fmt: skip
    found = leave_room(both, lines, species_table=TABLE, plan=plan_with(plants_species="kept"))
    assert found.geometry.iloc[0].bounds == pytest.approx((10, 4.3, 30, 20), abs=0.001)
    assert found.geometry.iloc[1].equals(shape)  # what somebody drew stays


def test_no_room_is_left_out_and_told():
    # 0.3 m deep behind the grown row: 3 m², less than the 4 m² of a few chairs.
    half = HALVES["thuja_smaragd"]
    strip = place(shapely.box(10, 2.6, 20, 3 + half + 0.3), derived=True)
    found = leave_room(strip, line((0, 3), (40, 3)), plan=plan_with(plants_species="thuja_smaragd"))
    assert len(found) == 0
    (note,) = notes_of(found)
    assert re.search(r"leave 3\.0 m² of private place terrace, which is no room for people", note)


def test_a_place_that_no_crown_reaches_is_handed_on():
    lawn = place(shapely.box(10, 10, 20, 20), derived=True)
    assert leave_room(lawn, line((0, 3), (40, 3))).geometry.iloc[0].equals(lawn.geometry.iloc[0])
    assert not notes_of(leave_room(lawn, line((0, 3), (40, 3))))


def stood(*points, species="thuja_smaragd"):
    count = len(points)
    return layer(
        plant_id=list(range(1, count + 1)), species=[species] * count,
        existing=[True] * count, geometry=[Point(xy) for xy in points],
    )  # fmt: skip


def test_the_check_names_plants_that_stand_in_a_place_or_reach_into_it():
    half = HALVES["thuja_smaragd"]
    terrace = place(shapely.box(10, 0, 20, 5))
    plants = stood((5, 2), (12, 2), (20 + half - 0.2, 2), (20 + half + 0.01, 2))
    finding = judge_places(terrace, plants, TABLE)
    assert (finding.check, finding.result) == ("private places", "fails")
    assert finding.says == (
        "Plants 2 stand in private place terrace; the grown crowns of plants 3 reach into private "
        "place terrace, by up to 0.20 m"
    )
    # A hedge that is kept narrow reaches 0.3 m.
    assert judge_places(terrace, stood((20.31, 2), species="kept"), TABLE).result == "passes"
    assert judge_places(terrace, stood((20.29, 2), species="kept"), TABLE).result == "fails"
    assert judge_places(terrace.iloc[:0], plants, TABLE).result == "cannot be judged"
    assert judge_places(None, plants, TABLE).result == "cannot be judged"
    assert judge_places(terrace, plants.iloc[:0], TABLE).result == "cannot be judged"


def small_lot(folder, **layers):
    """A lot 24 m wide and 15 deep, its house 7 m from the north line where a neighbour looks in."""
    frames = {
        "parcels": gpd.GeoDataFrame(
            {"parcel_id": ["a", "b"]}, geometry=[shapely.box(0, 0, 24, 15), shapely.box(0, 15, 24, 45)]
        ),
        "buildings": gpd.GeoDataFrame(
            {"building_id": ["own", "theirs"], "storeys": [1, 2]},
            geometry=[shapely.box(5, 1, 19, 8), shapely.box(5, 24, 19, 32)],
        ),
        "roads": gpd.GeoDataFrame({"road_id": ["r"]}, geometry=[LineString([(-20, -6), (44, -6)])]),
        **layers,
    }  # fmt: skip
    named = {}
    for name, frame in frames.items():
        frame.set_crs("EPSG:32632").translate(500_000, 5_540_000)
        moved = frame.set_geometry(frame.geometry.translate(500_000, 5_540_000)).set_crs(
            "EPSG:32632"
        )
        moved.to_file(folder / f"{name}.gpkg")
        named[name] = {"file": f"{name}.gpkg"}
    return {
        "layers": named, "subject": {"id": "a"}, "rows": {"along": ["north"]},
        "site": {"boundary_accuracy": "0 m"},
    }  # fmt: skip


def test_a_whole_plan_keeps_its_plants_out_of_the_derived_place(tmp_path):
    plan = small_lot(tmp_path) | {"plants": {"species": "thuja_smaragd"}, "rows": {"along": ["north"], "offset": "1.5 m"}, "places": {"edge": "1 m"}}  # fmt: skip
    run = run_plan(plan, tmp_path, only=["checks", "private_places", "plants"])
    places, plants = run.layers["private_places"], run.layers["plants"]
    assert places["derived"].all()
    away = shapely.distance(plants.geometry.to_numpy()[:, None], places.geometry.to_numpy())
    assert away.min() >= HALVES["thuja_smaragd"]
    # The garden, from 1 m off the line on, would have held the row.
    assert away.min() == pytest.approx(HALVES["thuja_smaragd"], abs=0.01)
    checks = run.layers["checks"].set_index("check")
    assert checks.loc["private places", "result"] == "passes"
    assert any("take" in note and "private place garden" in note for note in run.warnings)


def test_a_plan_with_plants_that_stand_in_the_place_says_so(tmp_path):
    chairs = gpd.GeoDataFrame({"place_id": ["chairs"]}, geometry=[shapely.box(8, 9, 14, 14)])
    hedge = gpd.GeoDataFrame(
        {"screen_id": [f"e{n}" for n in range(8)], "kind": ["plant"] * 8, "height_m": [2.0] * 8},
        geometry=[Point(5 + 2 * n, 13.0) for n in range(8)],
    )  # fmt: skip
    plan = small_lot(tmp_path, private_places=chairs, existing_screens=hedge)
    plan |= {"plants": {"species": "thuja_smaragd"}, "rows": {"spacing": "2 m"}}
    run = run_plan(plan, tmp_path, only=["checks", "plants"])
    plants = run.layers["plants"]
    inside = shapely.intersects(
        plants.geometry.to_numpy(), run.layers["private_places"].geometry.iloc[0]
    )
    assert np.count_nonzero(inside) == 3
    assert plants.loc[inside, "existing"].all()
    checks = run.layers["checks"].set_index("check")
    assert checks.loc["private places", "result"] == "fails"
    named = ", ".join(str(plant_id) for plant_id in plants.loc[inside, "plant_id"])
    assert f"Plants {named} stand in private place chairs" in checks.loc["private places", "says"]


def test_alternatives_start_from_the_whole_derived_place(tmp_path):
    # The plan's own wide species leaves less of the place than a narrow alternative does.
    plan = small_lot(tmp_path) | {
        "plants": {"species": "thuja_occidentalis"},
        "rows": {"along": ["north"], "offset": "2.5 m"},
        "places": {"edge": "1 m"},
        "alternatives": {"species": ["thuja_smaragd"]},
    }
    run = run_plan(plan, tmp_path, only=["alternatives", "views"])
    both = run.layers["alternatives"].set_index("species")
    alone = run_plan(
        plan | {"plants": {"species": "thuja_smaragd"}, "alternatives": {}},
        tmp_path,
        only=["views"],
    )
    for species, views in (("thuja_occidentalis", run), ("thuja_smaragd", alone)):
        status = views.layers["views"]["status"]
        assert both.loc[species, "views_open"] == status.isin(["closes", "stays open"]).sum()
        closing = views.layers["views"].loc[status == "closes", "year_closed"]
        assert both.loc[species, "views_close"] == closing.notna().sum()
