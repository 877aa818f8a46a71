"""Each check fails where the plan is spoiled by hand, and passes on the plan as it was made."""

import pandas as pd
import pytest
import shapely

from screenplan.checks.effects import judge_lines
from screenplan.checks.goals import judge_closure, judge_goal
from screenplan.checks.stems import judge_crowns, judge_gaps, judge_stems
from screenplan.commandline.sample import sample_plan
from screenplan.inputs import read_inputs, step_arguments
from screenplan.plan import read_plan
from screenplan.planting.species import load_species
from screenplan.steps import STEPS

SPACING = 1.8


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
    assert results(judge_stems(laid["plants"], laid["no_plant_zones"])) == ["passes"]
    main = laid["no_plant_zones"].query("feature == 'buried'").geometry.iloc[0]
    spoiled = moved(laid["plants"], 3, main.representative_point())
    found = [
        finding
        for finding in judge_stems(spoiled, laid["no_plant_zones"])
        if "buried_line" in finding.says
    ]
    assert results(found) == ["fails"]
    assert "Plants 3 stand where rule buried_line allows none" in found[0].says
    assert "located" in found[0].caution


def test_no_plants_at_all_is_a_failure(laid):
    assert results(judge_stems(laid["plants"].iloc[:0], laid["no_plant_zones"])) == ["fails"]


def test_a_crown_over_the_line_fails_by_as_much_as_it_hangs_over(laid):
    table = load_species()
    assert judge_crowns(laid["parcels"], laid["plants"], table, assumed=False).result == "passes"
    subject = laid["parcels"].query("is_subject").geometry.iloc[0]
    corner = shapely.Point(subject.exterior.coords[0])
    found = judge_crowns(laid["parcels"], moved(laid["plants"], 3, corner), table, assumed=False)
    # Closed form: a stem on the line hangs half its greatest spread over it.
    half = max(table["thuja_standishii_plicata"].mature_spread_m) / 2
    assert found.result == "fails"
    assert f"by up to {half:.2f} m" in found.says
    assert (
        judge_crowns(laid["parcels"], laid["plants"], table, assumed=True).result
        == "cannot be judged"
    )


def test_a_missing_plant_leaves_a_gap_that_nothing_explains(laid):
    lines, zone, dropped = laid["planting_lines"], laid["plantable_zone"], laid["dropped_stations"]
    assert judge_gaps(lines, laid["plants"], zone, dropped, SPACING).result == "passes"
    fewer = laid["plants"].loc[laid["plants"]["plant_id"] != 10].reset_index(drop=True)
    # The gap before the next plant is now the sum of two.
    fewer.loc[fewer["plant_id"] == 11, "gap_before_m"] += laid["plants"].set_index("plant_id")[
        "gap_before_m"
    ][10]
    found = judge_gaps(lines, fewer, zone, dropped, SPACING)
    assert found.result == "fails"
    assert "1 gaps are wider than asked, the first on north-row1" in found.says


@pytest.mark.parametrize(
    ("year", "mature", "result", "says"),
    [
        (9, 6.0, "passes", "in year 9"),
        (pd.NA, 6.0, "fails", "later it does"),
        (pd.NA, 1.2, "fails", "never meet higher than 1.20 m"),
        (pd.NA, 0.0, "fails", "crowns never meet"),
    ],
)
def test_a_row_that_closes_late_low_or_never(year, mature, result, says):
    row = {
        "line_id": "r",
        "growth": "typical",
        "spacing_m": 1.8,
        "asked_height_m": 1.8,
        "year_closed": year,
        "mature_closed_height_m": mature,
    }
    (found,) = judge_closure(pd.DataFrame([row]))
    assert found.result == result
    assert says in found.says


VIEWS = pd.DataFrame(
    {
        "status": ["closes", "closes", "stays open", "closed already"],
        "place_id": ["a", "b", "b", "a"],
        "year_closed": pd.array([5, 12, pd.NA, 0], dtype="Int64"),
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
    assert judge_goal(VIEWS, closed_by, share, 0.1, weights).result == result


def test_lines_that_are_missing_or_have_no_rule_are_not_passed(laid):
    utilities, zones, plants, parcels = (
        laid[name] for name in ("utilities", "no_plant_zones", "plants", "parcels")
    )
    assert judge_lines(utilities, zones, plants, parcels, "buried", "caution").result == "passes"
    assert (
        judge_lines(None, zones, plants, parcels, "buried", "caution").result == "cannot be judged"
    )
    without = zones.loc[zones["feature"] != "buried"]
    found = judge_lines(utilities, without, plants, parcels, "buried", "caution")
    assert found.result == "cannot be judged"
    assert "switched off" in found.needs
