"""What the checks say of effects, on small tables made by hand: result, count, first and worst row."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from options_kit import plan_with

from screenplan.effects.boundary import judge_outgrown
from screenplan.effects.buried import judge_digging, judge_drains
from screenplan.effects.hedge_height import judge_hedge_heights
from screenplan.effects.judged_light import judge_light
from screenplan.effects.noise import judge_noise
from screenplan.effects.overhead import judge_wires
from screenplan.effects.roads import judge_road_sight
from screenplan.plan import DEFAULTS
from screenplan.planting.judging import STEM_TOLERANCE_M, judge_lines_at

LINES = pd.DataFrame({"position": ["buried", "overhead"]})
ROADS = pd.DataFrame({"road_id": ["r"]})
FIELD = pd.DataFrame({"kind": ["patio", " Septic field "]})
#: Years at low, typical and high growth: plant 3 is first at high growth, plant 2 at typical growth.
YEARS = {"year_low": [None, 9.0, None], "year": [8.0, 6.0, None], "year_high": [5.0, 4.0, 3.0]}


def grown(ids=(1, 2, 3), **columns):
    return pd.DataFrame({"plant_id": ids, **YEARS, **columns})


def one_of(table):
    """The same plant in several rows."""
    return table.assign(plant_id=7)


def results(findings):
    return {finding.check: finding.result for finding in findings}


# --- lines -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("position", ["buried", "overhead"])
@pytest.mark.parametrize(("off", "hits"), [(-0.5, 1), (-2.0, 1), (0.5, 0), (2.0, 0)])
def test_a_stem_on_the_edge_of_a_zone_is_none_in_it(position, off, hits):
    # By construction: zones are rounded by less than the tolerance, so that only a stem further in counts.
    zone = shapely.box(0, 0, 4, 4)
    zones = gpd.GeoDataFrame(
        {"feature": [position, "tree"]}, geometry=[zone, shapely.box(9, 9, 10, 10)]
    )
    lines = gpd.GeoDataFrame(
        {"position": [position]}, geometry=[shapely.LineString([(2, -9), (2, 9)])]
    )
    lot = gpd.GeoDataFrame({"is_subject": [True]}, geometry=[shapely.box(-20, -20, 20, 20)])
    edge = 4.0 - STEM_TOLERANCE_M
    stems = [(edge + off * STEM_TOLERANCE_M, 2.0), (9.5, 9.5), (-3.0, 2.0)]
    plants = gpd.GeoDataFrame({"species": ["tall"] * 3}, geometry=shapely.points(stems))
    finding = judge_lines_at(position, lines, zones, plants, lot, "caution")
    assert finding.result == ("fails" if hits else "passes")
    assert finding.says.startswith(f"{hits} plant" if hits else "No plant stands")
    # Another position's lines say nothing of these.
    other = {"buried": "overhead", "overhead": "buried"}[position]
    assert judge_lines_at(other, lines, zones, plants, lot, "").result == "cannot be judged"
    # A zone of another species than stands there forbids nothing.
    low = zones.assign(species=["low", None])
    assert judge_lines_at(position, lines, low, plants, lot, "").result == "passes"
    tall = zones.assign(species=["tall", None])
    assert judge_lines_at(position, lines, tall, plants, lot, "").result == finding.result


# --- light -----------------------------------------------------------------------------------------


def light(**changes):
    """Two windows, a garden, a panel and a row; the second window loses most."""
    table = pd.DataFrame(
        {
            "light_id": ["window a", "window b", "garden N", "panel p", "row r"],
            "kind": ["window", "window", "garden", "panel", "row"],
            "target_id": ["a", "b", "N", "p", "r"],
            "sun_now_h": [1000.0, 900.0, 1500.0, 1800.0, 1700.0],
            "sun_lost": [0.05, 0.20, 0.08, 0.02, None],
            "sky_lost": [0.10, 0.30, None, None, None],
            "error_share": [0.01, None, None, 0.005, None],
            "year_worst": [12, 15, 9, 11, None],
            "worst_month": [1, 12, 2, 11, None],
            "worst_month_h": [20.0, 31.0, 12.0, 8.0, None],
            "season_h": [5.0, 4.0, 6.0, 7.0, 4.5],
            "asked_h": [None, None, None, None, 4.0],
        }
    )
    return table.assign(**changes)


def test_losses_are_held_against_the_users_limits_kind_by_kind():
    found = {
        finding.check: finding
        for finding in judge_light(
            light(), plan_with(light_most_sun_lost=0.06, light_most_sky_lost=0.2)
        )
    }
    assert {check: finding.result for check, finding in found.items()} == {
        "sun on neighbours' windows": "fails",
        "sun on gardens": "fails",
        "sun on panels and beds": "passes",
        "sky light at neighbours' windows": "fails",
        "light on r": "passes",
    }
    windows = found["sun on neighbours' windows"].says
    assert windows == (
        "1 of 2 lose more than 6% of their sun. Window b loses most: 20% of its 900 hours of sun a year, "
        "worst in year 15, when December loses 31 hours"
    )
    # With the windows given it is called as a person would, with the identifier that files have.
    names = pd.DataFrame(
        {"window_id": ["b"], "name": ["bedroom"], "building_id": ["h-9"], "storey": [1]}
    )
    houses = pd.DataFrame({"building_id": ["h-9"], "kind": ["house"], "name": ["No. 9"]})
    told = judge_light(light(), plan_with(), {"windows": names, "buildings": houses})
    assert next(iter(told)).says.startswith("No. 9, bedroom, upstairs (b) loses most: 20%")
    assert "(to within 0.5%)" in found["sun on panels and beds"].says
    assert found["sky light at neighbours' windows"].says.startswith("1 of 2 windows lose more than 20%")  # fmt: skip


@pytest.mark.parametrize(
    ("most_sun", "most_sky", "sun", "sky"),
    [
        (0.2, 0.3, "passes", "passes"),  # at the limit nothing is over
        (0.19, 0.29, "fails", "fails"),
        (None, 0.5, "cannot be judged", "passes"),
        (0.5, None, "passes", "cannot be judged"),
    ],
)
def test_a_limit_is_passed_only_beyond_it(most_sun, most_sky, sun, sky):
    found = results(
        judge_light(light(), plan_with(light_most_sun_lost=most_sun, light_most_sky_lost=most_sky))
    )
    assert found["sun on neighbours' windows"] == sun
    assert found["sky light at neighbours' windows"] == sky


def test_light_that_is_not_counted_or_not_there_never_passes():
    assert results(
        judge_light(None, plan_with(light_most_sun_lost=0.1, light_most_sky_lost=0.1))
    ) == {"light": "cannot be judged"}
    assert results(
        judge_light(light().iloc[:0], plan_with(light_most_sun_lost=0.1, light_most_sky_lost=0.1))
    ) == {"light": "cannot be judged"}
    assert set(
        results(
            judge_light(
                light().iloc[4:], plan_with(light_most_sun_lost=0.1, light_most_sky_lost=0.1)
            )
        ).values()
    ) == {
        "cannot be judged",
        "passes",
    }
    dark = results(
        judge_light(
            light(sun_lost=float("nan"), sky_lost=float("nan")),
            plan_with(light_most_sun_lost=0.1, light_most_sky_lost=0.1),
        )
    )
    assert dark["sun on gardens"] == "passes"  # none gets any, so none is lost
    assert dark["sky light at neighbours' windows"] == "cannot be judged"


@pytest.mark.parametrize(
    ("asked", "result"),
    [(4.0, "passes"), (4.5, "passes"), (4.6, "fails"), (None, "cannot be judged")],
)
def test_the_rows_own_light(asked, result):
    assert results(judge_light(light(asked_h=asked), DEFAULTS))["light on r"] == result


# --- hedge heights ---------------------------------------------------------------------------------


def test_the_first_row_that_is_too_tall_and_the_lowest_height_are_told():
    heights = pd.DataFrame(
        {
            "line_id": ["n", "n", "e"], "kind": ["window", "garden", "window"],
            "target_id": ["w1", "N", "w2"], "formula": ["f1", "f2", "f3"],
            "keep_below_m": [5.5, 3.25, 4.0], "year": [9.0, None, 7.0], "status": "second-hand",
        }
    )  # fmt: skip
    (finding,) = judge_hedge_heights(heights, plan_with(light_hedge_guidance=True))
    assert finding.result == "fails"
    assert finding.says.startswith("2 neighbours' windows or gardens")
    (alone,) = judge_hedge_heights(heights.iloc[:2], plan_with(light_hedge_guidance=True))
    assert alone.says.startswith("1 neighbour's window or garden has a taller row before it than")
    assert "first window w2 in year 7, when it passes 4.00 m" in finding.says
    assert "The lowest height is 3.25 m above the ground at row n, for garden N (f2)" in finding.says  # fmt: skip
    assert results(
        judge_hedge_heights(heights.assign(year=None), plan_with(light_hedge_guidance=True))
    ) == {"hedge-height guidance": "passes"}
    assert results(judge_hedge_heights(heights.iloc[:0], plan_with(light_hedge_guidance=True))) == {
        "hedge-height guidance": "cannot be judged"
    }
    assert list(judge_hedge_heights(heights, plan_with(light_hedge_guidance=False))) == []


# --- what plants grow into -------------------------------------------------------------------------


def test_the_first_plant_into_sight_is_told_with_its_area():
    areas = pd.DataFrame({"area_id": ["A", "B"], "kind": ["drive", "stopping"], "at": ["north drive", "drive 2"]})  # fmt: skip
    plants = grown(area_id=["A", "A", "B"], limit_m=[0.9, 0.9, 0.6])
    finding = judge_road_sight(ROADS, None, areas, plants)
    assert finding.result == "fails"
    assert finding.says.startswith("3 plants grow into ground")
    assert "plant 3 first, in year 3, above 0.60 m in what lies before the eye" in finding.says
    assert judge_road_sight(ROADS, None, areas, one_of(plants)).says.startswith(
        "1 plant grows into"
    )
    assert judge_road_sight(ROADS, None, areas, plants.iloc[:0]).result == "passes"
    # Where the parcel's outline is not known nobody knows where a drive leaves it.
    assert judge_road_sight(ROADS, None, areas, plants, False).result == "cannot be judged"
    assert judge_road_sight(ROADS, None, areas, plants.iloc[:0], False).result == "cannot be judged"
    # Without the distances along the road nothing is sure.
    assert (
        judge_road_sight(ROADS, None, areas.iloc[:1], plants.iloc[:0]).result == "cannot be judged"
    )
    corner = areas.iloc[:1].assign(kind="corner")
    assert judge_road_sight(ROADS, None, corner, plants.iloc[:0]).result == "passes"
    for missing in ((None, None, areas, plants), (ROADS, None, None, plants), (ROADS, None, areas, None)):  # fmt: skip
        assert judge_road_sight(*missing).result == "cannot be judged"


@pytest.mark.parametrize(
    ("kind", "said"),
    [("driveway", "No drive of the parcel meets a road"), ("pond", "No drive is given")],
)
def test_without_an_area_of_sight_nothing_passes(kind, said):
    areas = pd.DataFrame({"area_id": [], "kind": [], "at": []})
    finding = judge_road_sight(ROADS, pd.DataFrame({"kind": [kind]}), areas, grown().iloc[:0])
    assert finding.result == "cannot be judged"
    assert finding.says.startswith(said)


def test_the_first_plant_at_a_wire_is_told():
    plants = grown(
        utility_id="u", what=["zoning", "wire", "zoning"], allowed_m=[6.1, 7.2, 12.2],
        distance_m=[3.0, 2.0, 5.0],
    )  # fmt: skip
    finding = judge_wires(LINES, plants, DEFAULTS)
    assert finding.result == "fails"
    assert finding.says.startswith("3 plants grow too tall for an overhead wire: plant 3 passes the 12.2 m allowed 5.0 m from wire u")  # fmt: skip
    assert finding.says.endswith("in year 3 at high growth, not at typical growth in the years looked at")  # fmt: skip
    told = judge_wires(LINES, plants.iloc[:2], DEFAULTS).says
    assert "2 plants grow" in told
    assert told.endswith("plant 2 grows into wire u, 7.2 m above it, in year 6 at typical growth (4 to 9)")  # fmt: skip
    assert judge_wires(LINES, plants.iloc[:1], DEFAULTS).says.startswith("1 plant grows too tall")
    assert judge_wires(LINES, plants.iloc[:1], DEFAULTS).says.endswith("in year 8 at typical growth (5 to never)")  # fmt: skip
    passes = [
        judge_wires(LINES, plants.iloc[:0], plan_with(lines_allowance=allowance))
        for allowance in (None, 2.0)
    ]
    assert [finding.result for finding in passes] == ["passes", "passes"]
    assert [finding.needs for finding in passes] == ["lines.allowance", ""]
    assert judge_wires(LINES, None, plan_with(lines_allowance=2.0)).result == "cannot be judged"
    assert (
        judge_wires(LINES.iloc[:1], plants, plan_with(lines_allowance=2.0)).result
        == "cannot be judged"
    )


def test_the_nearest_hole_at_a_line_is_told():
    holes = pd.DataFrame({"plant_id": [4, 5, 5], "edge_m": [0.3, 0.1, 0.2], "utility_id": ["u", "v", "w"]})  # fmt: skip
    finding = judge_digging(LINES, holes)
    assert finding.result == "fails"
    assert judge_digging(LINES, holes.iloc[:1]).says.startswith("1 hole touches the zone")
    assert finding.says.startswith("2 holes touch")
    assert "nearest that of plant 5, 0.10 m from buried line v" in finding.says
    assert judge_digging(LINES, holes.iloc[:0]).result == "passes"
    assert judge_digging(LINES, None).result == "cannot be judged"
    assert judge_digging(LINES.iloc[1:], holes).result == "cannot be judged"


def test_the_first_plant_at_a_septic_field_is_told():
    plants = grown(distance_m=[3.0, 4.0, 5.5], feature="septic field")
    finding = judge_drains(FIELD, plants)
    assert finding.result == "fails"
    assert finding.says.startswith("3 plants grow taller than they stand away from the field: plant 3, 5.5 m away")  # fmt: skip
    assert judge_drains(FIELD, plants.iloc[:0]).result == "passes"
    assert judge_drains(FIELD, None).result == "cannot be judged"
    assert judge_drains(FIELD.iloc[:1], plants).result == "cannot be judged"


def test_what_must_be_clipped_is_told_by_what_it_outgrows():
    plants = grown(what=["crown over the boundary", "height at the boundary", "crown at a wall"], clip_m=[0.3, 0.5, None])  # fmt: skip
    house = pd.DataFrame({"building_id": ["h"]})
    found = {
        finding.check: finding
        for finding in judge_outgrown(plants, house, True, plan_with(boundary_most_height=2.0))
    }
    assert {finding.result for finding in found.values()} == {"fails"}
    line = found["clipping at the boundary"].says
    assert "plant 1 first, in year 8" in line  # fmt: skip
    assert line.endswith("and after that by up to 0.30 m a year")
    assert "plant 2 first, in year 6" in found["height at the boundary"].says
    assert "a year" not in found["room at walls"].says.split("looked at")[1]
    both = plants.assign(what="crown over the boundary")
    (finding,) = [
        finding
        for finding in judge_outgrown(both, house, True, DEFAULTS)
        if finding.result == "fails"
    ]
    assert finding.says.startswith("3 crowns grow over the boundary: they must be clipped, plant 3 first")  # fmt: skip
    assert finding.says.endswith("by up to 0.50 m a year")
    one = both.iloc[:1]
    says = [
        f"{finding.says}"
        for what in ("crown over the boundary", "height at the boundary", "crown at a wall")
        for finding in judge_outgrown(one.assign(what=what), house, True, plan_with(boundary_most_height=2.0))
        if finding.result == "fails"
    ]  # fmt: skip
    assert [text.split(":")[0] for text in says] == [
        "1 crown grows over the boundary", "1 plant grows taller than the {2.00 m} allowed", "1 plant outgrows its room at a wall",
    ]  # fmt: skip
    assert all("it must be clipped, plant 1 first" in text for text in says)


@pytest.mark.parametrize(
    ("given", "results_of_three"),
    [
        ({}, ("passes", "passes", "passes")),
        ({"known": False}, ("cannot be judged", "cannot be judged", "passes")),
        ({"most_height": None}, ("passes", "cannot be judged", "passes")),
        ({"buildings": None}, ("passes", "passes", "cannot be judged")),
        ({"plants": None}, ("cannot be judged",) * 3),
    ],
)
def test_what_is_not_known_is_not_judged(given, results_of_three):
    usual = {
        "plants": grown(what="none", clip_m=0.0).iloc[:0], "known": True, "most_height": 2.0,
        "buildings": pd.DataFrame({"building_id": ["h"]}),
    }  # fmt: skip
    asked = usual | given
    found = judge_outgrown(
        asked["plants"],
        asked["buildings"],
        asked["known"],
        plan_with(boundary_most_height=asked["most_height"]),
    )
    assert tuple(results(found).values()) == results_of_three


def test_noise_is_held_at_the_worst_place_and_told_of_the_best():
    paths = pd.DataFrame(
        {"loss_db": [0.0, 2.0, 1.0], "foliage_m": [0.0, 9.0, 4.0], "says": ["none", "two", "one"]}
    )
    assert judge_noise(paths, DEFAULTS).says.startswith("two")
    assert judge_noise(paths, DEFAULTS).result == "cannot be judged"
    assert (
        judge_noise(paths, plan_with(noise_wanted=1.0)).result,
        judge_noise(paths, plan_with(noise_wanted=1.0)).says,
    ) == ("fails", "none")
    assert judge_noise(paths.iloc[1:], plan_with(noise_wanted=1.0)).result == "passes"
    assert judge_noise(paths.iloc[:0], plan_with(noise_wanted=1.0)).result == "cannot be judged"


def test_what_layer_is_lacking_is_named_for_windows_and_for_gardens():
    found = {finding.check: finding for finding in judge_light(light().iloc[-1:], DEFAULTS)}
    assert found["sun on neighbours' windows"].needs == "a windows layer"
    assert found["sun on gardens"].needs == "parcels beside the row"
