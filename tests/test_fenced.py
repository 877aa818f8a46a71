"""A fence as a candidate of the design: sites whose best is known, every subset of a small one, refusals."""

import itertools
import re

import pandas as pd
import pytest
import shapely
from design_site import PLAIN, PRICE, TABLE, options, row_of, site
from hostile.written_folder import hold_folder
from parcel_kit import sides_of, subject
from shapely.geometry import LineString, Point, Polygon
from test_views import windows

import screenplan
from screenplan.design import fenced
from screenplan.design.designing import design_planting, prepare
from screenplan.design.fenced import choose_fence
from screenplan.ground.errors import InputError
from screenplan.outputs.answer import answer
from screenplan.outputs.report import About
from screenplan.outputs.who_sees import view_counts
from screenplan.running.pipeline import run_plan
from screenplan.running.writing import write_run
from screenplan.views.views import trace_views
from screenplan.works.boundary_screens import with_screens

YEAR, FOOT_M = 10, 0.3048
#: A fence is cut from the outline with a margin of some micrometres; costs agree to this.
LITTLE = 1e-3
#: The shortest stretch of a fence: the rays of one window of this site cross less of its line.
STRETCH_M = 2.0
#: How far a stretch goes on beyond its last ray; the outermost sampled rays pass a little inside the window's ends.
BEYOND_M = 0.25
ENDS_M = 0.3
#: The north side is the rear: the road is in the south.
FACING = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}


def as_sides(layers):
    """The site with all that a fence asks of its sides."""
    sides = layers["sides"]
    return {
        **layers,
        "sides": sides.assign(
            across_kind=["road" if name == "south" else "parcel" for name in sides["side_id"]],
            facing_deg=[FACING[name] for name in sides["side_id"]], length_m=sides.length,
        ),
    }  # fmt: skip


def plan_of(price, **values):
    return options(
        design_wanted=True, instead_design=True, instead_prices={"fence": price}, **values
    )


def designed(layers, plan):
    """The fence, and what the design beside it gives, with the fence in it."""
    fence = choose_fence(layers, plan=plan, rules=PLAIN, species_table=TABLE)
    made = fence.alone
    if made is None:
        made = design_planting(fence.layers, plan=fence.plan, rules=PLAIN, species_table=TABLE)
    return fence, fence.told(made._asdict())


def high_and_low():
    """Two windows below a fence, and one of which the rays pass above it and below grown columns."""
    made = site()
    high = windows((15.0, 6), sill=2.2, floor_m=1.2, name="high")
    both = pd.concat([made["windows"].iloc[:2], high], ignore_index=True)
    return as_sides({**made, "windows": both})


def test_a_fence_does_what_plants_would_cost_more_for():
    # By hand: the least run of three columns closes one window for 30. The rays of each of two others cross less than
    # the shortest stretch of a fence, 2 m, and so 4 m for 4 close both; the third takes three columns.
    fence, made = designed(high_and_low(), plan_of(1.0))
    told = made["design"]
    assert fence.cost == pytest.approx(2.0 * STRETCH_M, abs=LITTLE)
    assert len(made["plants"]) == 3
    assert told["cost"].iloc[0] == pytest.approx(2.0 * STRETCH_M + 3 * PRICE, abs=LITTLE)
    assert (told["views_open"].iloc[0], told["views_closed"].iloc[0]) == (3, 3)
    assert told["closed_share"].iloc[0] == 1.0
    views = made["design_views"].set_index("view_id")
    assert views["closed"].all()
    assert views["closed_in"].tolist()[:2] == [0, 0]
    assert views.index.tolist() == ["w0 to p0", "w1 to p1", "high0 to p2"]
    assert (
        told["says"]
        .iloc[0]
        .endswith(
            "they cost 30.00. A new fence closes 2 views on the first day; with it all is 34.00"
        )
    )
    design, first = told.attrs["notes"][:2]
    assert design == f"Design: {told['says'].iloc[0]}"
    assert first.startswith(
        "Build a new fence first, 1.83 m along north (rear), 4.0 m in 2 pieces for 4.00. It closes 2 of 3 open views on the "
        "first day, and all else here is planned with it standing. Heights by the published code"
    )
    assert first.endswith("Have buried lines located before posts are dug in")


def test_a_stretch_stands_where_the_rays_cross():
    # By similar triangles: eyes at y = 6 look at places at y = -5 straight across, and so meet the fence at the window's
    # x, whatever its height. The side runs from east to west.
    fence, _ = designed(high_and_low(), plan_of(1.0))
    screens = fence.screens
    middles = sorted(piece.interpolate(0.5, normalized=True).x for piece in screens.geometry)
    assert middles == pytest.approx([-15.0, 0.0], abs=0.01)
    assert screens.length.tolist() == pytest.approx([STRETCH_M] * 2)
    assert sorted(screens["from_m"]) == pytest.approx([20.0 - 1.0, 35.0 - 1.0], abs=0.01)
    assert (screens["to_m"] - screens["from_m"]).tolist() == pytest.approx([STRETCH_M] * 2)
    assert screens["piece_id"].tolist() == fence.layers["existing_screens"]["screen_id"].tolist()


def upstairs():
    """The same as layers that a person brings, with a plan that chooses, and what asks it for a fence."""
    layers = high_and_low()
    # Upstairs: its rays pass a line above the fence and below a grown row.
    layers["windows"] = (
        layers["windows"].assign(storey=[0, 0, 1], sill_m=[1.0, 1.0, 3.7]).drop(columns="floor_m")
    )
    given = {
        name: layers[name].set_crs("EPSG:25832", allow_override=True).set_geometry(layers[name].translate(500000, 5500000))
        for name in ("parcels", "windows", "private_places")
    }  # fmt: skip
    plan = {
        "design": {"wanted": True, "kinds": ["thuja_smaragd"], "year": 20, "seconds": 4.0, "chance": 0.0, "choices": False, "compare": False},
        "rows": {"along": ["north"], "spacing": "0.7 m"}, "cost": {"prices": {"plant": 100.0}}, "chance": {"draws": 0},
        "plants": {"stock_height": "1.8 m"}, "growth": {"years": 25},
    }  # fmt: skip
    return given, plan, {"instead": {"design": True, "along": ["north"], "prices": {"fence": 1.0}}}


def test_a_run_plans_beside_the_fence_and_says_so_on_the_first_screen(tmp_path):
    given, plan, wants = upstairs()
    run = run_plan(
        plan | wants,
        tmp_path,
        layers=given,
        only=["design", "views", "cost", "year_costs", "locate_request"],
    )
    stands = run.layers["existing_screens"]
    assert stands["screen_id"].tolist() == ["new fence 1", "new fence 2"]
    assert (stands["kind"] == "fence").all()
    # The frame is true to scale there: as long as by hand.
    length = float(stands.length.sum())
    assert length == pytest.approx(2.0 * STRETCH_M, abs=0.01)
    # Nobody has built it yet: the views are open today, and it closes them.
    views = run.layers["views"].set_index("view_id")
    behind = views.loc[["w0 to p0", "w1 to p1"]]
    assert sorted(behind["closed_by"]) == ["new fence 1", "new fence 2"]
    assert (behind["year_closed"] == 0).all()
    seen = views.loc[views["status"] != "no view"]
    assert (seen["status"] == "closes").all()
    assert (seen["open_now"] == 1.0).all()
    counts = view_counts(run.layers["views"], run.layers["new_screens"])
    assert (
        counts
        == "All 3 views that are open today close: 2 on the first day behind the new fence, 1 later behind plants."
    )
    (row,) = run.layers["design"].itertuples()
    assert row.cost == pytest.approx(length + 100.0 * row.plants, abs=0.01)
    # One price: that of the design is in the table of cost, by the metre, and in the years.
    cost = run.layers["cost"].set_index("item")
    assert cost.loc["new_fence", ["per", "price"]].tolist() == ["m", 1.0]
    assert cost.loc["new_fence", "cost"] == pytest.approx(length)
    assert cost.loc["total", "cost"] == pytest.approx(cost["cost"].drop("total").sum())
    assert run.layers["year_costs"]["material"].sum() == pytest.approx(cost.loc["total", "cost"])
    ordered = run.layers["quantities"].set_index("item").loc["new_fence"]
    assert (ordered["packs"], ordered["pack"], ordered["pack_amount"]) == (
        1,
        "fence",
        pytest.approx(length),
    )
    task = run.layers["schedule"].set_index("task").loc["build"]
    locate = run.layers["schedule"].set_index("task").loc["locate"]
    assert locate["last_day"] <= task["first_day"] <= 0
    asked = run.layers["locate_request"]
    assert shapely.covers(shapely.union_all(asked.geometry), shapely.union_all(stands.geometry))
    blocks = answer(run.layers, About(warnings=run.warnings))
    assert blocks[0].title == "Build the new fence"
    lines = [line for block in blocks for line in block.lines]
    assert sum("Build a new fence first, 1.83 m" in line for line in lines) == 1
    with pytest.raises(
        InputError, match=r"the price of 'new_fence' is told elsewhere.*instead\.prices, as fence"
    ):
        run_plan(
            plan | wants | {"cost": {"prices": {"plant": 100.0, "new_fence": 1.0}}},
            tmp_path,
            layers=given,
            only=["cost"],
        )
    # A fence that costs more than all plants is not built, and that is said.
    dear = {"instead": wants["instead"] | {"prices": {"fence": 1e5, "wall": 1e6}}}
    unfenced = run_plan(plan | dear, tmp_path, layers=given, only=["design"])
    assert unfenced.layers.get("new_screens") is None
    assert sum("No new fence or wall is built: of those" in note for note in unfenced.notes) == 1
    # Nothing of it without the key.
    plain = run_plan(plan, tmp_path, layers=given, only=["design"])
    assert plain.layers.get("existing_screens") is None
    assert not any("fence" in note for note in plain.notes)


def test_plants_are_chosen_where_they_are_cheaper():
    # By hand: at 16 a metre a stretch of 2 m costs 32, and three columns in its place 30.
    layers = high_and_low()
    fence, made = designed(layers, plan_of(16.0))
    assert fence.cost == 0.0
    assert len(made["plants"]) == 9
    assert made["design"]["cost"].iloc[0] == pytest.approx(9 * PRICE)
    assert "fence" not in made["design"]["says"].iloc[0]
    assert "new_screens" not in made
    assert fence.layers.keys() == layers.keys()
    # At 14 it is the other way round.
    fence, made = designed(layers, plan_of(14.0))
    assert made["design"]["cost"].iloc[0] == pytest.approx(2 * 28.0 + 30.0, abs=LITTLE)
    # And so they are where the fence is beyond the budget.
    fence, _ = designed(layers, plan_of(15.5, design_budget=30.5))
    assert fence.cost == 0.0


def test_the_budget_and_the_share_are_of_fence_and_plants_together():
    fence, made = designed(high_and_low(), plan_of(10.0, design_budget=70.0))
    assert made["design"]["cost"].iloc[0] == pytest.approx(70.0, abs=LITTLE)
    assert fence.plan.design.budget == pytest.approx(70.0 - 40.0, abs=LITTLE)


def test_a_fence_alone_is_an_answer():
    # Two of three views are asked for. Two stretches of fence close them, for less than six columns.
    fence, made = designed(high_and_low(), plan_of(1.0, goal_share=2 / 3))
    assert fence.alone is not None
    assert len(made["plants"]) == len(made["planting_lines"]) == 0
    (row,) = made["design"].to_dict("records")
    assert (row["views_open"], row["views_closed"], row["plants"]) == (3, 2, 0)
    assert row["closed_share"] == pytest.approx(2 / 3)
    assert row["cost"] == pytest.approx(2.0 * STRETCH_M, abs=LITTLE)
    views = made["design_views"].set_index("view_id")
    assert views["closed"].tolist() == [True, True, False]
    assert views.loc["high0 to p2", "cause"] == "not asked"
    assert (
        "nothing is planted beside it: as much as is asked is closed"
        in made["design"].attrs["notes"][1]
    )
    # Of 33 these stretches leave too little for three columns, which close but one view.
    fence, made = designed(high_and_low(), plan_of(1.0, design_budget=33.0))
    assert fence.cost == pytest.approx(2.0 * STRETCH_M, abs=LITTLE)
    assert made["design_views"].set_index("view_id").loc["high0 to p2", "cause"] == "price"
    # A window above all that grows in ten years: nothing may be planted that closes its view, and nothing else is left.
    layers = high_and_low()
    layers["windows"].loc[2, ["sill_m", "floor_m"]] = [14.1, 14.0]
    fence, made = designed(layers, plan_of(1.0))
    assert fence.alone is not None
    assert (
        made["design_views"]["says"].iloc[2]
        == "no planting beside it closes one of the other views"
    )


def test_a_run_without_plants_is_written_whole(tmp_path):
    layers, plan, wants = upstairs()
    share = {"goal": {"share": 0.6}, "calendar": {"planting": "2027-04-10"}}
    run = run_plan(plan | wants | share, tmp_path, layers=layers)
    assert len(run.layers["plants"]) == 0
    assert run.layers["quantities"]["item"].tolist() == ["peg", "new_fence"]
    cost = run.layers["cost"].set_index("item")["cost"]
    assert cost["total"] == pytest.approx(2.0 * STRETCH_M, abs=0.01)
    assert run.layers["schedule"]["task"].tolist() == ["ask", "mark", "locate", "build", "renew"]
    pegs = run.layers["pegs"]
    assert pegs["says"].str.extract(r"(new fence \d \w+) here")[0].tolist() == [
        "new fence 1 begins", "new fence 1 ends", "new fence 2 begins", "new fence 2 ends",
    ]  # fmt: skip
    new = run.layers["new_screens"]
    assert shapely.get_coordinates(pegs.geometry) == pytest.approx(
        shapely.get_coordinates(new.geometry)
    )
    mark = run.layers["schedule"].set_index("task").loc["mark", "says"]
    assert mark.startswith(
        "White paint, no peg and no flag yet: the line of the new fence. Two people"
    )
    checks = run.layers["checks"].set_index("check")
    assert not (checks["result"] == "fails").any()
    assert checks.loc["plants", "says"] == "Nothing is planted: the design builds a fence alone"
    blocks = answer(run.layers, About(warnings=run.warnings))
    assert blocks[0].title == "Build the new fence, and plant nothing"
    assert [block.key for block in blocks] == ["build", "closed", "open", "dig", "cost", "memory"]
    assert view_counts(run.layers["views"], run.layers["new_screens"]) == (
        "2 of the 3 views that are open today close, 1 stays open: on the first day, behind the new fence."
    )
    light = run.layers["light"].set_index("light_id")
    # Its shade falls on the ground beside it from the day on which it stands.
    assert 0.0 < light.loc["garden A", "sun_lost"] < 0.2
    assert light.loc["garden A", "year_worst"] == 0
    folder = write_run(run, tmp_path / "out")
    hold_folder(folder)
    # No empty page, and nothing to measure.
    sheet = (folder / "years.html").read_text(encoding="utf-8")
    assert re.findall(r"<h2[^>]*>([^<]*)", sheet) == ["Until it is built", "First year"]
    assert "easure" not in sheet
    assert "1 × fence of 4 m" in (folder / "order_list.csv").read_text(encoding="utf-8-sig")


def test_a_wall_or_trellis_is_built_where_it_is_cheaper():
    # A wall stops what a fence stops, and costs less here.
    layers = high_and_low()
    both = options(
        design_wanted=True, instead_design=True, instead_prices={"fence": 2.0, "wall": 1.0}
    )
    fence, made = designed(layers, both)
    assert set(fence.screens["option"]) == {"wall"}
    assert set(fence.layers["existing_screens"]["kind"]) == {"wall"}
    assert fence.cost == pytest.approx(2.0 * STRETCH_M, abs=LITTLE)
    assert made["design"].attrs["notes"][1].startswith("Build a new wall first, 1.83 m along north")
    # A trellis lets 30 % through, and where so much may stay open it closes the views for less.
    dim = {
        "instead_prices": {"fence": 1.0, "trellis": 0.5},
        "design_wanted": True,
        "instead_design": True,
    }
    fence, _ = designed(layers, options(**dim, views_threshold=0.31))
    assert set(fence.screens["option"]) == {"trellis"}
    fence, _ = designed(layers, options(**dim, views_threshold=0.29))
    assert set(fence.screens["option"]) == {"fence"}


def small_site():
    """Windows in the north and one in the west, places behind a row of seven plants on the northern side."""
    made = site(at=(-2.0, 0.4), places=[Point(-1.4, -5), Point(1.6, -5)])
    parcels = subject(Polygon([(-5, -15), (5, -15), (5, 2), (-5, 2)]))
    west = windows((-9.0, -6.0), sill=1.0, floor_m=0.0, facing=90.0, name="west")
    high = windows((2.0, 6.0), sill=2.2, floor_m=1.2, name="high")
    sides = as_sides({"sides": sides_of(parcels)})["sides"]
    return {**made, "windows": pd.concat([made["windows"], west, high], ignore_index=True),
            "parcels": parcels, "sides": sides}  # fmt: skip


def stretches():
    """Fences by hand: none, whole sides, and each stretch that some of the low views need, of two sides together."""
    # By similar triangles: rays from x_w at y = 6 to x_p at y = -5 meet the line of the fence, 0.1 m within the parcel,
    # at x_p + (x_w - x_p) 6.9 / 11; those through the ends of the window, 0.6 m beside its middle, so much beside it.
    crosses = sorted(
        place + (window - place) * 6.9 / 11.0 for window in (-2.0, 0.4) for place in (-1.4, 1.6)
    )
    beside = 0.6 * 6.9 / 11.0 + BEYOND_M
    assert crosses[0] - beside > -4.9 + STRETCH_M - 0.5
    north = [(), (LineString([(-4.9, 1.85), (-4.9, 1.9), (4.9, 1.9), (4.9, 1.85)]),)]
    for first, last in itertools.combinations_with_replacement(crosses, 2):
        middle, length = 0.5 * (first + last), max(last - first + 2.0 * beside, STRETCH_M)
        north.append((LineString([(middle - 0.5 * length, 1.9), (middle + 0.5 * length, 1.9)]),))
    # The rays of the window in the west meet the other side between y = -6.3 and -4.9.
    west = [
        (),
        (LineString([(-4.85, 1.9), (-4.9, 1.9), (-4.9, -14.9), (-4.85, -14.9)]),),
        (LineString([(-4.9, -6.6), (-4.9, -4.6)]),),
    ]
    return [(*one, *other) for one, other in itertools.product(north, west)]


@pytest.fixture(scope="module")
def every():
    """Length of each fence, plants and open views of each set of both, by tracing it."""
    layers = small_site()
    stems = sorted(prepare(layers, options(), PLAIN, TABLE).candidates.table.geometry, key=lambda stem: stem.x)  # fmt: skip
    assert len(stems) == 7
    found = []
    for shapes in stretches():
        mine = layers
        if shapes:
            screens = subject(Polygon()).iloc[[0] * len(shapes)].set_geometry(list(shapes))
            names = [f"fence {k}" for k in range(len(shapes))]
            screens = screens.assign(screen_id=names, kind="fence", height_m=6 * FOOT_M).reset_index(drop=True)  # fmt: skip
            mine = with_screens(layers, screens)
        length = sum(shape.length for shape in shapes)
        for standing in itertools.product((False, True), repeat=7):
            runs = [len(list(group)) for stands, group in itertools.groupby(standing) if stands]
            if any(size < 3 for size in runs):
                continue
            traced = trace_views(
                {**mine, **row_of(stems, standing, layers["parcels"].crs)},
                plan=options(chance_draws=0), species_table=TABLE, second_sample=False,
            )[0]  # fmt: skip
            closed = traced["year_closed"].astype(float) <= YEAR
            found.append((length, sum(standing), int((~closed).sum())))
    return found


@pytest.mark.evidence(
    part="Design", kind="every case", against="every set of stretches of fences along two sides, drawn by hand, with every subset of seven plants, each traced by the views themselves",
    source="enumeration", status="run", tolerance=f"views left open exactly; it costs no more than the best by hand, and less only by what its ends are shorter, {ENDS_M:g} m of fence",
)  # fmt: skip
@pytest.mark.parametrize("price", [0.5, 4.0, 8.0, 14.0, 40.0])
def test_no_set_of_fences_and_plants_closes_more_or_costs_less(every, price):
    still, least = min((still, price * length + PRICE * plants) for length, plants, still in every)  # fmt: skip
    _, made = designed(small_site(), plan_of(price))
    views, cost = made["design_views"], made["design"]["cost"].iloc[0]
    assert int((~views["closed"].astype(bool)).sum()) == still
    assert least - ENDS_M * price - LITTLE <= cost <= least + LITTLE


def test_no_fence_is_tried_twice(monkeypatch):
    # Invariant: what is tried differs in its lines or its kind; what needs no stretch of any is no fence, tried once.
    found = []
    search = fenced._Search.find
    monkeypatch.setattr(fenced._Search, "find", lambda self, kinds: (found.append(self), search(self, kinds))[1])  # fmt: skip
    designed(small_site(), plan_of(8.0))
    tried = [one.screens for one in found[0].tried.values()]
    lines = [None if screens is None else tuple(screens.geometry.to_wkb()) for screens in tried]
    assert len(set(lines)) == len(lines)
    assert sum(not line for line in lines) == 1
    assert len(lines) > 4


def test_what_a_fence_needs_is_refused():
    layers = high_and_low()
    with pytest.raises(
        InputError, match=r"a fence without a price.*instead\.prices = \{ fence = 90\.0 \}"
    ):
        choose_fence(
            layers,
            plan=options(design_wanted=True, instead_design=True),
            rules=PLAIN,
            species_table=TABLE,
        )
    with pytest.raises(InputError, match=r"plants have no prices"):
        choose_fence(layers, plan=plan_of(1.0, cost_prices={}), rules=PLAIN, species_table=TABLE)
    with pytest.raises(InputError, match=r"a fence is chosen by a design.*design\.wanted"):
        run_plan(screenplan.sample_plan(), settings=["instead.design=true"])
