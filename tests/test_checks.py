"""Each check fails where the plan is spoiled by hand, and passes on the plan as it was made."""

from inspect import signature

import design_site
import geopandas as gpd
import pandas as pd
import pytest
import shapely
from options_kit import plan_with
from shapely.geometry import LineString, Point
from test_views import row, species

from screenplan.checks import judge
from screenplan.commandline.sample import sample_plan
from screenplan.contracts import CHECKS
from screenplan.contracts.findings import PASSES, Finding
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, read_plan
from screenplan.planting.closure import judge_closure
from screenplan.planting.judging import judge_crowns, judge_gaps, judge_lines_at, judge_stems
from screenplan.planting.species import load_species, planned_species
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.steps import STEPS
from screenplan.views.goals import judge_goal, judge_use
from screenplan.views.needed_height import find_needed_height
from screenplan.views.views import trace_views

SPACING = 1.3


@pytest.fixture(scope="module")
def laid():
    """The sample site up to its plants and the closure of its rows."""
    plan, folder = read_plan(sample_plan())
    site = read_inputs(plan, folder)
    layers = dict(site.layers)
    for name in ("sides", "windows", "places", "across", "zones", "lines", "plants", "closure"):
        step = STEPS[name]
        layers |= step(layers, **step_arguments(step, plan, folder, site.terrain, site.frame))
    return layers


def moved(plants, number, point):
    shifted = plants.copy()
    shifted.loc[shifted["plant_id"] == number, "geometry"] = point
    return shifted


def results(findings):
    return [finding.result for finding in findings]


def test_stems_as_laid_pass_and_one_in_a_zone_fails(laid):
    assert results(judge_stems(laid["plants"], laid["no_plant_zones"], laid["parcels"])) == [
        "passes"
    ]
    main = laid["no_plant_zones"].query("feature == 'buried'").geometry.iloc[0]
    spoiled = moved(laid["plants"], 3, main.representative_point())
    found = [
        finding
        for finding in judge_stems(spoiled, laid["no_plant_zones"], laid["parcels"])
        if "buried_line" in finding.says
    ]
    assert results(found) == ["fails"]
    assert "Plants 3 stand where rule buried_line allows none" in found[0].says
    assert "located" in found[0].caution


def test_no_plants_at_all_is_a_failure(laid):
    assert results(
        judge_stems(laid["plants"].iloc[:0], laid["no_plant_zones"], laid["parcels"])
    ) == ["fails"]


def test_a_crown_over_the_line_fails_by_as_much_as_it_hangs_over(laid):
    # As the sample's plan has them: its red cedars are a narrow selection.
    table = planned_species(read_plan(sample_plan())[0])
    assert judge_crowns(laid["parcels"], laid["plants"], table).result == "passes"
    subject = laid["parcels"].query("is_subject").geometry.iloc[0]
    corner = shapely.Point(subject.exterior.coords[0])
    found = judge_crowns(laid["parcels"], moved(laid["plants"], 3, corner), table)
    # Closed form: a stem on the line hangs half its greatest spread over it.
    half = max(table[laid["plants"].set_index("plant_id")["species"][3]].mature_spread_m) / 2
    assert found.result == "fails"
    assert f"by up to {half:.2f} m" in found.says
    unknown = laid["parcels"].iloc[:0]
    assert judge_crowns(unknown, laid["plants"], table).result == "cannot be judged"


def test_without_an_outline_setbacks_are_not_judged_but_what_is_given_is(laid):
    unknown, zones = laid["parcels"].iloc[:0], laid["no_plant_zones"]
    (found,) = judge_stems(laid["plants"], zones.iloc[:0], unknown)
    assert (found.result, found.says) == (
        "cannot be judged", "The parcel's outline is not known, and so no distance to it",
    )  # fmt: skip
    (found,) = judge_stems(laid["plants"], zones, unknown)
    assert "stand clear of what is given" in found.says
    spoiled = moved(laid["plants"], 3, zones.geometry.iloc[0].representative_point())
    assert "fails" in results(judge_stems(spoiled, zones, unknown))


#: The layers by which a gap of the plants is judged, besides these and the views.
SET_BY = ("planting_lines", "plantable_zone", "dropped_stations")


def test_a_missing_plant_leaves_a_gap_that_nothing_explains(laid):
    alone = {name: laid[name] for name in ("plants", *SET_BY)}
    plan = plan_with(rows_spacing=SPACING)
    assert judge_gaps(alone, plan).result == "passes"
    fewer = laid["plants"].loc[laid["plants"]["plant_id"] != 10].reset_index(drop=True)
    # The gap before the next plant is now the sum of two.
    fewer.loc[fewer["plant_id"] == 11, "gap_before_m"] += laid["plants"].set_index("plant_id")[
        "gap_before_m"
    ][10]
    found = judge_gaps(alone | {"plants": fewer}, plan)
    assert found.result == "fails"
    assert "1 gaps are wider than asked, the first on north-row1" in found.says


def test_a_station_that_was_left_out_explains_no_other_gap(laid):
    alone = {name: laid[name] for name in ("plants", *SET_BY)}
    north = laid["plants"].set_index("plant_id")
    fewer = laid["plants"].loc[laid["plants"]["plant_id"] != 10].reset_index(drop=True)
    before, after = north["station_m"][9], north["station_m"][11]
    fewer.loc[fewer["plant_id"] == 11, "gap_before_m"] = after - before
    for station, result in ((0.5 * before, "fails"), (0.5 * (before + after), "passes")):
        dropped = laid["dropped_stations"].iloc[:0].copy()
        dropped.loc[0, ["line_id", "station_m"]] = "north-row1", station
        found = judge_gaps(
            alone | {"plants": fewer, "dropped_stations": dropped}, plan_with(rows_spacing=SPACING)
        )
        assert found.result == result


def through(line_id, from_m, to_m, kind="gap", low_m=0.5, view_id="a"):
    """A hole of a view, as the step that follows the views gives it."""
    return {"view_id": view_id, "line_id": line_id, "from_m": from_m, "to_m": to_m, "low_m": low_m,
            "open_until": pd.NA, "kind": kind}  # fmt: skip


def held(laid, holes, plants=None, status="stays open"):
    """Judge the gaps of the sample with these holes; views a and b are given."""
    views = pd.DataFrame({"view_id": ["a", "b"], "status": status})
    layers = {name: laid[name] for name in SET_BY} | {
        "plants": laid["plants"] if plants is None else plants,
        "views": views,
        "view_holes": pd.DataFrame(holes),
    }
    return judge_gaps(layers, plan_with(rows_spacing=SPACING), load_species())


def test_a_gap_at_an_exclusion_fails_once_an_open_view_passes_it(laid):
    # The tree on the north side keeps plants 20 and 21 apart by 3.8 m (the layer's own gap).
    north = laid["plants"].set_index("plant_id")
    before, after = north["station_m"][20], north["station_m"][21]
    assert north["gap_before_m"][21] > 2 * SPACING
    inside = [through("north-row1", before + 1, after - 1, view_id=view) for view in "ab"]
    found = held(laid, inside)
    assert found.result == "fails"
    assert (
        f"2 views that stay open pass between the plants of north-row1 from {before:.2f} to {after:.2f} m"
        in found.says
    )
    # The same gap without an open view in it is explained by the tree.
    assert held(laid, inside, status="closes").result == "passes"
    # No plant would stop what passes over the grown row, nor is a hole beside the gap the gap's own.
    assert held(laid, [through("north-row1", before + 1, after - 1, low_m=30.0)]).result == "passes"
    assert held(laid, [through("north-row1", before - 3, before - 1)]).result == "passes"
    assert (
        held(laid, [through("north-row1", before + 1, after - 1, kind="over")]).result == "passes"
    )


def test_ground_left_bare_at_an_end_or_all_along_fails_once_an_open_view_passes_it(laid):
    lines = laid["planting_lines"].set_index("line_id")
    east = lines["length_m"]["east-row1"]
    few = laid["plants"].loc[laid["plants"]["plant_id"] <= 28].reset_index(drop=True)
    last = few["station_m"].iloc[-1]
    beyond = [through("east-row1", last + 2, east + 5, kind="beyond")]
    assert f"of east-row1 from {last:.2f} to {east:.2f} m" in held(laid, beyond, few).says
    # Where plants stand up to the end, the same rays pass beside the line, not through it.
    outside = [through("east-row1", east + 1, east + 5, kind="beyond")]
    assert held(laid, outside).result == "passes"
    none = few.loc[few["line_id"] == "north-row1"].reset_index(drop=True)
    bare = [through("east-row1", 3, 5, kind="bare")]
    assert f"of east-row1 from 0.00 to {east:.2f} m" in held(laid, bare, none).says


@pytest.mark.parametrize(
    ("year", "mature", "closed_by", "result", "says"),
    [
        (9, (0.0, 6.0), 9, "passes", "meet from 0.40 to 1.80 m in year 9"),
        (28, (0.4, 6.0), 10, "fails", "not before year 28; by year 10 they should"),
        (28, (0.0, 6.0), None, "cannot be judged", "in year 28"),
        (pd.NA, (0.4, 6.0), None, "fails", "later it does"),
        (pd.NA, (0.5, 6.0), None, "fails", "crowns meet only from 0.50 m on; from 0.40 to 1.80 m"),
        (pd.NA, (0.5, 1.2), None, "fails", "never meet higher than 1.20 m"),
        (pd.NA, (0.0, 0.0), None, "fails", "crowns never meet"),
    ],
)
def test_a_row_that_closes_late_low_bare_or_never(year, mature, closed_by, result, says):
    row = {
        "line_id": "r",
        "growth": "typical",
        "spacing_m": 1.8,
        "asked_from_m": 0.4,
        "asked_height_m": 1.8,
        "year_closed": year,
        "mature_closed_from_m": mature[0],
        "mature_closed_height_m": mature[1],
    }
    (found,) = judge_closure(pd.DataFrame([row]), plan_with(goal_closed_by=closed_by))
    assert found.result == result
    assert says in found.says


VIEWS = pd.DataFrame(
    {
        "status": ["closes", "closes", "stays open", "closed already"],
        "place_id": ["a", "b", "b", "a"],
        "year_closed": pd.array([5, 12, pd.NA, 0], dtype="Int64"),
        "opens_again": pd.array([pd.NA] * 4, dtype="Int64"),
    }
)


@pytest.mark.parametrize(
    ("closed_by", "share", "weights", "result"),
    [
        # By hand: of the three open views one is closed by year 10, two by year 12.
        (10, 0.34, {}, "fails"),
        (10, 0.33, {}, "passes"),
        (12, 0.66, {}, "passes"),
        # Place a weighs 4 of 6, so its one view is two thirds.
        (10, 0.66, {"a": 4.0, "b": 1.0}, "passes"),
        (None, 1.0, {}, "cannot be judged"),
        (10, 0.5, {"a": 0.0, "b": 0.0}, "cannot be judged"),
    ],
)  # fmt: skip
def test_the_goal_by_share_and_weight(closed_by, share, weights, result):
    places = pd.DataFrame({"place_id": list(weights), "weight": list(weights.values())})
    assert (
        judge_goal(
            VIEWS,
            plan_with(goal_closed_by=closed_by, goal_share=share, views_threshold=0.1),
            places,
        ).result
        == result
    )


def test_views_of_windows_that_are_set_apart_count_as_open_and_are_told():
    # By hand: one of the two is closed by the plants, and needs no reason.
    apart = VIEWS.assign(set_apart=["not lived in", None, "no room for a plant", None])
    plan = plan_with(goal_closed_by=10, goal_share=1.0, views_threshold=0.1)
    says = judge_goal(apart, plan).says
    assert says.startswith("1 of 3 open views (33% by weight)")
    assert "; of those that stay open 1 set apart: no room for a plant 1; 100% are asked" in says


def test_a_plan_that_closes_no_view_fails_without_a_goal_too():
    open_ones = VIEWS.assign(status=["stays open"] * 3 + ["closed already"])
    found = judge_goal(open_ones, plan_with(goal_share=1.0, views_threshold=0.1))
    assert found.result == "fails"
    assert "none of the 3 views that are open today closes" in found.says.lower()
    shut = judge_goal(
        VIEWS.assign(status="closed already"), plan_with(goal_share=1.0, views_threshold=0.1)
    )
    assert shut.result == "cannot be judged"
    assert "all 4 views are closed by what stands already" in shut.says


def test_a_new_row_that_no_view_crosses_is_planted_for_nothing():
    needed = pd.DataFrame(
        {"line_id": ["a", "b", "c"], "planned": True, "needed_m": [2.0, 0.0, 0.0]}
    )
    plants = pd.DataFrame(
        {"line_id": ["a", "b", "b", "c"], "existing": [False, False, False, True]}
    )
    alone = {}, DEFAULTS, None, None, None
    found = list(judge_use(needed, plants, VIEWS, *alone))
    # Row c stands already: nobody plants it for nothing.
    assert [(finding.check, finding.result) for finding in found] == [
        ("use of a", "passes"), ("use of b", "fails")
    ]  # fmt: skip
    assert "its 2 new plants" in found[1].says
    # No view is open: nothing to judge by.
    assert not list(judge_use(needed, plants, VIEWS.iloc[3:], *alone))
    assert not list(judge_use(None, plants, VIEWS, *alone))


# By hand: half way down to the place rays from a window of 1.2 m pass within 0.6 m of x = 0. A column of 2 m that
# stands at x = 1.1 reaches them, one at x = 3.6 does not. Both lines run beside the rays.
def test_a_short_row_is_of_use_whose_crowns_reach_views_beside_its_line():
    table = design_site.TABLE | {"column": species("column", 2.0)}
    layers, plan = design_site.site(at=(0.0,)), design_site.options(plants_species="column")
    ends = {"near": (1.1, 2.3), "far": (3.6, 4.8)}
    stems = [
        row(x, stock=3.0).assign(line_id=name).set_geometry([Point(at, 0.0) for at in x])
        for name, x in ends.items()
    ]
    layers["plants"] = pd.concat(stems, ignore_index=True).assign(plant_id=range(1, 5))
    layers["planting_lines"] = gpd.GeoDataFrame(
        {"line_id": list(ends), "side_id": "north", "row": 1},
        geometry=[LineString([(a, 0.0), (b, 0.0)]) for a, b in ends.values()],
    )
    given = {"plan": plan, "species_table": table}
    needed = find_needed_height(layers, **given)[2]
    assert (needed["needed_m"] == 0.0).all()

    def traced(plants):
        views = trace_views({**layers, "plants": plants}, **given, second_sample=False)[0]
        return views, views[f"open_y{plan.views.report_years[-1]:02d}"].iloc[0]

    views, left = traced(layers["plants"])
    for known in (None, Kept()):
        given = {"plan": plan, "species_table": table, "terrain": None, "kept": known}
        found = list(judge_use(needed, layers["plants"], views, layers, **given))
        assert [(one.check, one.result) for one in found] == [
            ("use of near", "passes"), ("use of far", "fails")
        ]  # fmt: skip
    assert "beside its line, through the crowns" in found[0].says
    # The views themselves say the same: without the one row more is open, without the other as much.
    given = {"plan": plan, "species_table": table}
    far = layers["plants"]["line_id"] == "far"
    assert traced(layers["plants"].loc[far])[1] > left + 0.01
    assert traced(layers["plants"].loc[~far])[1] == left


def test_lines_that_are_missing_or_have_no_rule_are_not_passed(laid):
    utilities, zones, plants, parcels = (
        laid[name] for name in ("utilities", "no_plant_zones", "plants", "parcels")
    )
    assert judge_lines_at("buried", utilities, zones, plants, parcels, "caution").result == "passes"
    assert (
        judge_lines_at("buried", None, zones, plants, parcels, "caution").result
        == "cannot be judged"
    )
    without = zones.loc[zones["feature"] != "buried"]
    found = judge_lines_at("buried", utilities, without, plants, parcels, "caution")
    assert found.result == "cannot be judged"
    assert "switched off" in found.needs


def test_each_check_stands_beside_its_step():
    # By the rule: the room of the checks only folds; it judges nothing itself.
    rooms = {check.__module__.split(".")[1] for check in judge.EVERY_CHECK}
    assert rooms == {"planting", "views", "effects"}
    assert len(set(judge.EVERY_CHECK)) == len(judge.EVERY_CHECK)


# Invariant: a layer that a check names and the step does not take would be None for ever.
def test_the_step_takes_every_layer_that_a_check_names():
    named = {name for check in judge.EVERY_CHECK for name in signature(check).parameters}
    taken = {*STEPS["checks"].layers, "layers", "plan", "terrain", "species_table", "kept", "known"}
    assert not named - taken, "name them at the step 'checks' in running/steps.py"


def test_a_check_is_one_function_and_one_entry(monkeypatch, laid):
    def count_plants(plants, plan):
        yield Finding("plants", PASSES, f"{len(plants)} plants {plan.rows.spacing:g} m apart")

    monkeypatch.setattr(judge, "EVERY_CHECK", (count_plants, judge_crowns))
    layers = {name: laid[name] for name in ("parcels", "plants")}
    found = judge.judge_plan(layers, plan=plan_with(rows_spacing=2.0))
    assert list(found.columns) == [column.name for column in CHECKS.columns]
    assert found["check"].tolist() == ["plants", "crowns inside the parcel"]
    assert found["says"].iloc[0] == f"{len(laid['plants'])} plants 2 m apart"
