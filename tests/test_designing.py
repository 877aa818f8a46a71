"""The step as a whole: plantings known by hand, limits, causes, and what is refused."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from design_site import PRICE, TABLE, design, options, site, stations
from options_kit import plan_with
from parcel_kit import layer
from shapely.geometry import LineString, box
from test_views import species, windows

import screenplan
from screenplan.commandline.sample import demo_plan
from screenplan.contracts.tables import notes_of
from screenplan.design import rounds
from screenplan.design.chosen import plan_of
from screenplan.design.designing import design_planting, design_year, limits_of
from screenplan.ground.errors import InputError, NobodyLooksError, NoRoomError
from screenplan.plan import read_plan
from screenplan.planting.judging import judge_stems
from screenplan.rules.ruleset import Rule
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.pipeline import rehearse_plan, run_plan, steps_for
from screenplan.running.steps import STEPS
from screenplan.views.views import trace_views

#: Views of the site by hand: each window sees the place opposite.
VIEWS = {"w0 to p0", "w1 to p1", "w2 to p2"}


def only(species_table):
    assert len(species_table) == 1
    return species_table.iloc[0]


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="a site whose best planting is known by hand: three openings far apart, three plants each",
    source="three runs of the least length cannot be fewer",
    status="run",
    tolerance="the number of plants and the cost",
)
def test_the_best_planting_of_a_site_that_is_known_by_hand():
    # The views pass y = 0 at x = -15, 0 and 15, each farther from the others than a run of three is long.
    made = design()
    found = only(made["design"])
    assert (found.views_open, found.views_closed, found.plants, found.runs) == (3, 3, 9, 3)
    assert (found.cost, found.least_cost, found.gap_share) == (9 * PRICE, 9 * PRICE, 0.0)
    assert bool(found.in_time)
    groups = np.split(stations(made["plants"]), [3, 6])
    for group, middle in zip(groups, (-15, 0, 15), strict=True):
        assert np.diff(group) == pytest.approx(1.0, abs=0.03)
        assert abs(group.mean() - middle) < 1.6
    assert made["design_views"]["closed"].all()
    assert set(made["design_views"]["view_id"]) == VIEWS
    assert "no planting that closes as much costs less" in found.proof


def test_two_rows_that_a_plan_names_are_designed():
    made = design(rows_rows=2)
    found, plants, lines = only(made["design"]), made["plants"], made["planting_lines"]
    assert found.views_closed == 3
    # By hand: three plants of the first row, and the two that stand behind them, at each opening.
    assert found.plants == len(plants) == 15
    assert plants.groupby("row").size().to_dict() == {1: 9, 2: 6}
    assert set(plants["row"]) == {1, 2}
    assert sorted(lines["line_id"]) == sorted(f"north-row{row}-part{part}" for row in (1, 2) for part in range(1, found.runs + 1))  # fmt: skip
    inward = {row: own.geometry.y.mean() for row, own in plants.groupby("row")}
    # Closed form: equal-sided triangles of the spacing of 1 m, which is evened.
    assert inward[1] - inward[2] == pytest.approx(np.sqrt(3) / 2, abs=1e-6)
    assert plants["gap_before_m"].max() <= 1.0 + 1e-9
    for line_id, own in plants.groupby("line_id"):
        (line,) = lines.loc[lines["line_id"] == line_id].geometry
        assert set(own["row"]) == set(lines.loc[lines["line_id"] == line_id, "row"])
        assert own.distance(line).max() < 1e-6
        assert own["station_m"].to_numpy() == pytest.approx([line.project(stem) for stem in own.geometry])  # fmt: skip
    said = plan_of(options(rows_rows=2), plants)
    assert (said.rows.rows, said.plants.species) == (2, "column")


def test_two_rows_are_chosen_only_where_they_cost_no_more():
    # By hand: nine columns in single rows are enough, and no fewer plants stand in runs of three.
    made = design(design_two_rows=True)
    found = only(made["design"])
    assert (found.views_closed, found.plants, found.cost, found.gap_share) == (3, 9, 90.0, 0.0)


def test_the_layers_are_those_of_rows_that_a_plan_says():
    layers, made = site(), design()
    traced = trace_views(
        {**layers, "planting_lines": made["planting_lines"], "plants": made["plants"]},
        plan=options(), species_table=TABLE, second_sample=False,
    )[0]  # fmt: skip
    assert (traced["year_closed"] <= 10).all()
    lines, plants = made["planting_lines"], made["plants"]
    assert sorted(lines["line_id"]) == [f"north-row1-part{k}" for k in (1, 2, 3)]
    assert (plants.groupby("line_id")["station_m"].min() == 0.0).all()
    for line_id, own in plants.groupby("line_id"):
        (line,) = lines.loc[lines["line_id"] == line_id].geometry
        assert own["station_m"].max() == pytest.approx(line.length)
        assert own.distance(line).max() < 1e-9
        assert own["gap_before_m"].iloc[1:].to_numpy() == pytest.approx(np.diff(own["station_m"]))
    assert np.abs(plants.geometry.y).max() < 0.01
    assert plants["plant_id"].tolist() == list(range(1, 10))
    assert not len(made["dropped_stations"])


def test_views_that_weigh_nothing_are_not_planted_for():
    made = design(design_weights={"w1 to p1": 0.0})
    assert only(made["design"]).plants == 6
    left = made["design_views"].loc[~made["design_views"]["closed"]]
    assert set(left["cause"]) == {"not asked"}


def test_a_budget_buys_what_closes_most():
    # By hand: two runs are bought, and the view that matters least is left.
    made = design(design_budget=6 * PRICE, design_weights={"p1": 3.0, "w2": 2.0})
    found = only(made["design"])
    assert (found.plants, found.views_closed) == (6, 2)
    assert found.closed_share == pytest.approx(5 / 6)
    (left,) = made["design_views"].loc[~made["design_views"]["closed"]].itertuples()
    assert (left.view_id, left.cause) == ("w0 to p0", "limits")
    assert "the budget is 60" in left.says
    assert "at least 1 stays open whatever is planted for as much" in found.proof
    assert left.says.startswith("3 plants would close it alone, but not with")


def test_a_share_of_the_views_is_enough_where_no_more_is_asked():
    made = design(goal_share=0.5, design_weights={"p1": 3.0})
    assert only(made["design"]).plants == 3
    assert set(made["design_views"]["cause"].dropna()) == {"not asked"}


def test_a_view_may_stay_open_for_money():
    # By hand: 30 for the view in the middle is less than 2 times 16, for each other it is more than 16.
    made = design(design_open_price=16.0, design_weights={"p1": 2.0})
    assert only(made["design"]).plants == 3
    left = made["design_views"].loc[~made["design_views"]["closed"]]
    assert left["cause"].tolist() == ["price"] * 2


def test_a_view_that_is_worth_its_price_is_left_for_the_budget():
    # By hand: the view that is left costs 30 and may stay open for 40, so that its price keeps nobody from it.
    made = design(
        design_open_price=40.0, design_budget=6 * PRICE, design_weights={"p1": 3.0, "w2": 2.0}
    )
    (left,) = made["design_views"].loc[~made["design_views"]["closed"]].itertuples()
    assert (left.view_id, left.cause) == ("w0 to p0", "limits")


def test_a_longer_least_run_is_kept_to():
    made = design(design_least_run=5)
    sizes = made["plants"].groupby("line_id").size()
    assert sizes.tolist() == [5, 5, 5]


def test_no_gap_is_narrower_than_asked():
    # By hand: stems stand at whole metres. Of two openings 9 m apart each needs the plant before it and two
    # beside that, so that eight stations may be left free; where nine must be, the row goes through.
    layers, aslant = site(at=(-9.0, 0.0)), {"w0 to p1": 0.0, "w1 to p0": 0.0}
    wide = design(layers, design_weights=aslant, design_least_gap=8)["plants"]
    assert (len(wide), wide["line_id"].nunique()) == (6, 2)
    through = design(layers, design_weights=aslant, design_least_gap=9)["plants"]
    assert (len(through), through["line_id"].nunique()) == (10, 1)


def test_dearer_kinds_are_left_for_cheaper_ones_and_no_more_kinds_stand_than_are_asked():
    prices = {"plant column": 10.0, "plant other": 9.0}
    kinds = ["column", "other"]
    made = design(design_kinds=kinds, cost_prices=prices)
    assert set(made["plants"]["species"]) == {"other"}
    assert only(made["design"]).cost == 81.0
    # Half of each at most asks for both.
    mixed = design(
        design_kinds=kinds, cost_prices=prices, health_most_of_one_genus=0.7, design_least_run=3
    )
    assert mixed["plants"]["species"].value_counts().to_dict() == {"other": 6, "column": 3}
    assert only(mixed["design"]).cost == 84.0


def test_a_size_without_a_price_is_named_and_left_out():
    made = design(
        cost_prices={}, hand_prices={"0.9 m": 7.0}, design_stock_heights=[0.9, 1.5],
    )  # fmt: skip
    assert set(made["plants"]["stock_height_m"]) == {0.9}
    assert any(
        "no price is given for column {1.5 m}" in f"{note}" for note in notes_of(made["design"])
    )


def test_without_prices_plants_are_weighted_and_it_says_so():
    found = design(cost_prices={})
    row = only(found["design"])
    assert not row.priced
    assert row.cost == pytest.approx(9 * 0.9**2)
    assert any("no prices of plants are given" in f"{note}" for note in notes_of(found["design"]))


@pytest.mark.parametrize(
    ("layers", "values", "cause"),
    [
        # By hand: from 10.4 m it passes y = 0, seven twelfths of the way, at 5.1 m; a column is 4.5 m high in year 12.
        ({"windows": windows((-15, 6), (0, 6), (15, 6), sill=np.array([1.0, 9.2, 1.0]), floor_m=[0.0, 9.0, 0.0])}, {}, "higher than a screen"),
        # A metre from the row, it passes it at 4.9 m.
        ({"windows": windows((-15, 6), (0, 0.9), (15, 6), sill=np.array([1.0, 5.2, 1.0]), floor_m=[0.0, 5.0, 0.0])}, {}, "wall at the boundary"),
        # Ground that nothing may stand on before one of the windows.
        ({"keep_outs": layer(keep_out_id=["k"], kind=["lawn"], geometry=[box(-5, -1, 5, 1)])}, {}, "no ground to plant"),
        # From 8 m it passes at 4.15 m; a column is 3.9 m high in year 10 and 4.5 m in year 12.
        ({"windows": windows((-15, 6), (0, 6), (15, 6), sill=np.array([1.0, 6.8, 1.0]), floor_m=[0.0, 6.6, 0.0])}, {}, "too early"),
    ],
)  # fmt: skip
def test_a_view_that_cannot_be_closed_is_listed_with_its_cause(layers, values, cause):
    made = design(site(**layers), **values)
    views = made["design_views"].set_index("view_id")
    assert bool(views.loc["w0 to p0", "closed"])
    assert views.loc["w1 to p1", "cause"] == cause
    assert views.loc["w1 to p1", "best_share"] > 0.1


@pytest.mark.parametrize(("width", "named"), [(1.0, True), (1.9, False)])
def test_where_a_narrower_kind_has_room_it_is_named(width, named):
    # By hand: crowns stay inside the line, at y = 2; behind it a terrace that is kept clear by each one's own width
    # begins at y = 0.4. So 1.6 m are there, too few for the broad kind of 2 m and enough for one of a metre.
    narrow = replace(species("column", width), key="narrow", common_name="narrow kind")
    broad = replace(TABLE["broad"], key="broad")
    rules = (
        Rule("crown", "boundary", per_mature_spread=0.5, measured_from="line", reason="test"),
        Rule("terrace", "private_place", per_mature_spread=0.5, measured_from="outside_edge", reason="test"),
    )  # fmt: skip
    terrace = [box(-2, -6, 2, 0.4), box(14, -6, 15, -5)]
    table = {"broad": broad, "narrow": narrow}
    plan = options(design_kinds=["broad"], cost_prices={})
    layers = site(at=(0.0, 15.0), places=terrace)
    made = dict(zip(STEPS["design"].gives, design_planting(layers, plan=plan, rules=rules, species_table=table), strict=True))  # fmt: skip
    views = made["design_views"].set_index("view_id")
    assert bool(views.loc["w1 to p1", "closed"])
    assert views.loc["w0 to p0", "cause"] == "no ground to plant"
    assert (
        "Narrow kind has room: add narrow to design.kinds" in f"{views.loc['w0 to p0', 'says']}"
    ) == named


def test_where_no_view_can_be_closed_the_causes_are_in_the_refusal():
    high = site(sill=9.2)
    high["windows"]["floor_m"] = 9.0
    with pytest.raises(NoRoomError, match=r"closes a view\. w0 to p0: It looks over any screen"):
        design(high)


def test_a_view_that_is_open_through_bare_branches_is_told_so():
    # Its rays are stopped by crowns in leaf: the views, which look in winter too, find it open.
    bare = {"column": species(evergreen=False, winter_share=0.6)}
    with pytest.raises(
        NoRoomError, match="w0 to p0: Only plants that drop their leaves stand in its way"
    ):
        design(species_table=bare, design_seconds=1.0)


def test_where_nothing_is_open_there_is_nothing_to_design():
    away = site()
    away["windows"]["facing_deg"] = 0.0
    with pytest.raises(NobodyLooksError, match="no view is open that matters"):
        design(away)
    with pytest.raises(NobodyLooksError, match="no view is open that matters"):
        design(design_weights={"p0": 0.0, "p1": 0.0, "p2": 0.0})


def test_out_of_time_there_is_a_planting_and_it_says_what_is_not_known():
    found = only(design(design_seconds=0.0)["design"])
    assert (found.made_by, bool(found.in_time)) == ("greedy", False)
    assert found.views_closed == 3
    assert found.gap_share == 1.0
    assert "not known how much might be saved" in found.proof


def test_a_choice_of_rays_is_made_good_until_all_hold(monkeypatch):
    layers = site(at=(-10, 10), places=[box(-12, -8, -6, -4), box(4, -8, 12, -4)])
    whole = design(layers, design_seconds=3.0)
    monkeypatch.setattr(rounds, "MOST_GROUPS", 12)
    made = design(layers, design_seconds=3.0)
    assert made["design_views"]["closed"].tolist() == whole["design_views"]["closed"].tolist()
    assert made["design_views"]["closed"].all()


def test_lines_beside_a_place_are_planted_where_the_sides_cannot_be():
    blocked = site(
        at=(0.0,), places=[box(-4, -9, 4, -5)],
        keep_outs=layer(keep_out_id=["k"], kind=["lawn"], geometry=[box(-19, -2, 19, 2)]),
    )  # fmt: skip
    made = design(blocked, design_inner=True, design_seconds=2.0)
    assert only(made["design"]).views_closed == 1
    assert all(side.startswith("p0-edge") for side in made["plants"]["side_id"])
    # Grown crowns, half a metre wide, keep off the place.
    assert made["plants"].distance(made["private_places"].geometry.iloc[0]).min() >= 0.5


@pytest.mark.parametrize(
    ("values", "what", "key"),
    [
        ({"design_budget": 25.0}, "does not buy 3 plants, the least run", "design.budget"),
        ({"design_budget": 25.0, "cost_prices": {}}, "a budget is given, but no price of column 0.9 m", "design.budget"),
        ({"hand_budget": 25.0, "hand_prices": {"1.5 m": 9.0}, "design_stock_heights": [0.9, 1.2], "cost_prices": {}}, "no price of column 0.9 m, column 1.2 m", "hand.budget"),
        ({"hand_budget": 25.0, "hand_prices": {"0.9 m": 9.0}}, "the cheapest cost 30", "hand.budget"),
        ({"design_year": 13}, "year 13 is after the last one that is looked at, growth.years = 12", "design.year"),
        ({"goal_closed_by": 13}, "year 13 is after the last one that is looked at, growth.years = 12", "goal.closed_by"),
        ({"design_least_run": 1, "design_budget": 5.0}, "the budget of 5 does not buy one plant: the cheapest cost 10", "design.budget"),
        ({"design_weights": {"w0 to p7": 2.0}}, "no view, window, onlooker or place 'w0 to p7'", "design.weights"),
        ({"design_kinds": ["nothing"]}, "there is no species 'nothing'", "design.kinds"),
        ({"design_weights": {"w7": 2.0}}, "no view, window, onlooker or place 'w7'", "design.weights"),
        ({"health_most_of_one_genus": 0.5}, "asks for 2 kinds, but the design may plant 1", "health.most_of_one_genus"),
        ({"design_stock_heights": [50.0]}, "no species can be had in any of the stock heights", "design.stock_heights"),
    ],
)  # fmt: skip
def test_what_cannot_be_chosen_among_is_refused(values, what, key):
    with pytest.raises(InputError) as refusal:
        design(**values)
    assert what in refusal.value.problems[0].what
    assert refusal.value.problems[0].key == key


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"design_weights": {"w0": -1.0}}, "-1"),
        ({"design_budget": -5.0}, "-5"),
        ({"design_most_kinds": 0}, "0"),
        ({"design_least_run": 0}, "0"),
        ({"design_open_price": 0.0}, "0"),
    ],
)
def test_numbers_that_cannot_be_meant_are_refused_by_the_plan(values, says):
    with pytest.raises(InputError, match=f"{says}.*range"):
        plan_with(**values)


def test_the_year_and_the_limits_are_those_of_the_plan():
    assert design_year(plan_with()) == 10
    assert design_year(plan_with(goal_closed_by=7)) == 7
    assert design_year(plan_with(goal_closed_by=7, design_year=5)) == 5
    assert design_year(plan_with(growth_years=4)) == 4
    asked = limits_of(plan_with(goal_share=0.4, health_most_of_one_species=0.6))
    assert (asked.share, asked.most_of_kind, asked.most_of_genus) == (0.4, 0.6, 1.0)
    assert asked.budget == np.inf


@pytest.fixture(scope="module")
def run():
    """The sample site, designed among the two species that its plan names."""
    settings = ["design.wanted=true", "design.seconds=1.0", "design.choices=false"]
    only = ["plants", "views", "design_views", "needed_years", "closure"]
    return run_plan(screenplan.sample_plan(), settings=settings, only=only)


def test_a_run_leaves_the_spacing_to_the_design_where_the_plan_names_none():
    plan = plan_with(design_wanted=True)
    spacing = {
        name: step_arguments(STEPS[name], plan, Path())["plan"].rows.spacing
        for name in ("design", "lines", "needed")
    }
    assert spacing["design"] is None
    assert spacing["lines"] == spacing["needed"] > 0.0
    named = plan_with(design_wanted=True, rows_spacing=1.1)
    assert step_arguments(STEPS["design"], named, Path())["plan"].rows.spacing == 1.1


def test_a_run_goes_on_with_what_was_chosen(run):
    layers = run.layers
    told = layers["design_views"].set_index("view_id")
    views = layers["views"].set_index("view_id").loc[told.index]
    assert ((views["year_closed"] <= 10).fillna(False) == told["closed"]).all()
    assert only(layers["design"]).closed_share >= 0.4  # the goal of the sample's plan
    assert set(layers["closure"]["line_id"]) == set(layers["plants"]["line_id"])
    kinds = ", ".join(dict.fromkeys(layers["plants"]["species"]))
    planned = layers["needed_years"]
    assert set(planned.loc[planned["planned"].astype(bool), "species"]) == {kinds}
    # Of the plan as it was written nothing is changed.
    assert run.plan.plants.species == ("juniperus_virginiana", "ilex_vomitoria")


def test_each_kind_keeps_to_the_zones_of_its_own(run):
    layers = run.layers
    zones = layers["no_plant_zones"]
    assert len(set(layers["plants"]["species"])) == 2
    assert set(zones["species"]) == set(layers["plants"]["species"])
    (found,) = judge_stems(layers["plants"], zones, layers["parcels"])
    assert found.result == "passes"
    # Not by the zones of the other: those of the wider one hold more ground.
    (strict, *_) = judge_stems(
        layers["plants"].assign(species=""), zones.assign(species=None), layers["parcels"]
    )
    areas = zones.groupby("species").geometry.apply(lambda shapes: shapes.union_all().area)
    assert (strict.result == "passes") == (
        areas.max() - areas.min() < 1e-6
    ) or strict.result == "fails"


def test_a_check_of_the_plan_refuses_what_a_run_would():
    settings = ["design.wanted=true"]
    plan, folder = read_plan(screenplan.sample_plan(), settings)
    site_read = read_inputs(plan, folder)
    rehearse_plan(plan, folder, site_read)
    plan, folder = read_plan(screenplan.sample_plan(), [*settings, "design.weights={nobody=2.0}"])
    with pytest.raises(InputError, match="no view, window, onlooker or place 'nobody'"):
        rehearse_plan(plan, folder, site_read)
    plan, folder = read_plan(screenplan.sample_plan(), [*settings, "design.budget=100.0"])
    with pytest.raises(InputError, match="the budget of 100 does not buy 3 plants"):
        rehearse_plan(plan, folder, site_read)


def test_the_demo_leaves_the_choice_to_the_program():
    plan, folder = read_plan(demo_plan())
    assert plan.design.wanted
    assert not plan.rows.along
    assert not {"species", "stock_height"} & plan.plants.model_fields_set
    rehearse_plan(plan, folder, read_inputs(plan, folder))
    # It is the site of the plan that says its rows.
    said, _ = read_plan(screenplan.sample_plan())
    assert plan.layers == said.layers
    assert plan.terrain == said.terrain


@pytest.mark.parametrize(
    ("setting", "what", "key"),
    [
        ("alternatives.rows=[2]", "a design chooses among kinds, sizes and spacings by itself", "alternatives"),
        ("rows.fill=true", "a design plants only what closes views", "rows.fill"),
    ],
)  # fmt: skip
def test_what_a_design_cannot_keep_to_is_refused(setting, what, key):
    settings = ["design.wanted=true", setting]
    with pytest.raises(InputError, match=what) as refusal:
        run_plan(screenplan.sample_plan(), settings=settings, only=["sides"])
    assert refusal.value.problems[0].key == key


def test_rows_are_as_the_plan_says_unless_a_design_is_wanted():
    assert "design" not in [step.name for step in steps_for(())]
    designed = [step.name for step in steps_for((), designs=True)]
    assert not {"zones", "lines", "room", "plants"} & set(designed)
    assert designed.index("design") < designed.index("needed")


def test_where_only_a_row_is_known_it_is_chosen_from():
    drawn = layer(line_id=["mine"], geometry=[LineString([(-19, 0), (19, 0)])])
    row = site(planting_line=drawn)
    row["parcels"], row["sides"] = row["parcels"].iloc[:0], row["sides"].iloc[:0]
    made = design(row, rows_along=())
    assert only(made["design"]).plants == 9
    assert set(made["plants"]["side_id"]) == {"mine"}
    del row["planting_line"]
    with pytest.raises(InputError, match="there is no ground to choose from"):
        design(row, rows_along=())


def test_a_design_counts_bare_plants_as_the_views_do():
    # The programme's own stopped light is that of the views in winter: what it says is closed is closed when traced,
    # without another round; with evergreens among the kinds they are taken, and not the bare ones.
    table = {"column": species(), "cone": species(evergreen=False, winter_share=0.6)}
    made = design(species_table=table, design_kinds=("column", "cone"), design_seconds=1.0)
    assert made["design"]["views_closed"].item() == made["design"]["views_open"].item()
    assert set(made["plants"]["species"]) == {"column"}
