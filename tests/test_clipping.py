"""Kept size: crowns never above it, faces of a box, hours by a rate, and clips outside the nesting months."""

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import works_site as site
from options_kit import plan_with

from screenplan.contracts import CLIPPING, GROWTHS, KEPT_SIZES, SCHEDULE
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.closure import close_rows
from screenplan.planting.growth import TYPICAL
from screenplan.planting.hedges import STEP_M
from screenplan.planting.species import load_species, planned_species
from screenplan.planting.stand import Start, planned_stand
from screenplan.views.closing import row_closing
from screenplan.works.calendar import schedule_work
from screenplan.works.clipping import (
    BARE,
    CLIPS_TOLD,
    FIRST_CLIP_DAY,
    REACH_M,
    face_area,
    height_to_keep,
    lay_clipping,
)
from screenplan.works.cost import price_work
from screenplan.works.quantities import count_material
from screenplan.works.years import count_years

KIND = "thuja_occidentalis"
SHAPES = ("cone", "column", "paraboloid", "ellipsoid", "power")


def stands(species=KIND, **kept):
    """The row of the site as it grows freely, and as it is kept; and the plan of that."""
    subject, lines, plants = site.planted(species=species)
    plan = plan_with(plants_species=species, **kept)
    free = planned_stand(plants, plan, load_species())
    return site.layers(subject, lines, plants), free, planned_stand(plants, plan, planned_species(plan)), plan  # fmt: skip


# Invariant: a kept crown is the free one until it reaches the size, and never above it.
@pytest.mark.parametrize(
    "size", [{"kept_height": 3.0}, {"kept_width": 1.2}, {"kept_height": 2.5, "kept_width": 1.0}]
)
def test_a_kept_row_grows_freely_until_it_is_as_large_as_it_is_kept(size):
    _, free, kept, plan = stands(**size)
    most = plan.kept.height or np.inf
    wide = plan.kept.width or np.inf
    assert kept.height == pytest.approx(np.minimum(free.height, most))
    before = free.height <= most
    assert kept.radius[before] == pytest.approx(np.minimum(free.radius, wide / 2.0)[before])
    assert (kept.radius <= np.minimum(free.radius, wide / 2.0) + 1e-9).all()
    assert kept.across == pytest.approx(kept.radius)  # round in plan
    # What nobody clips any more is the free row again.
    assert kept.unclipped().height == pytest.approx(free.height)
    assert kept.unclipped().radius == pytest.approx(free.radius)


# Closed form: at each height the kept crown lies inside the free one of any later year, for the shapes that
# widen all the way down, so that what it closes the free one closes too.
@pytest.mark.parametrize("shape", ["cone", "column", "paraboloid", "power"])
def test_a_kept_crown_lies_inside_the_free_one_that_is_cut_off_there(shape):
    extra = {"own": {"like": KIND, "shape": shape}}
    kind = load_species(extra)["own"]
    for growth in GROWTHS:
        crown, height = kind.crown(growth), 3.0
        law = kind.width(growth)
        for grown in (3.5, 6.0, kind.full_height(growth)):
            z = np.linspace(0.0, height, 50)
            radius = [
                min(law.coefficient * tall**law.exponent, law.widest_m) / 2.0
                * np.sqrt(np.maximum(crown.square_at((tall - z) / tall), 0.0))
                for tall in (height, grown)
            ]  # fmt: skip
            assert (radius[0] <= radius[1] + 1e-3).all()


def test_sizes_that_no_plant_reaches_are_refused():
    for name, what in (("height", "taller"), ("width", "wider")):
        plan = plan_with(**{"plants_species": KIND, f"kept_{name}": 40.0})
        with pytest.raises(
            InputError, match=f"never grow {what} than .*Write a smaller kept.{name}"
        ):
            planned_species(plan)


def test_only_what_is_planted_is_kept_and_a_hedge_with_a_size_of_its_own_stays_as_it_is():
    own = {"hedge": {"like": KIND, "shape": "box", "kept_height": "1.5 m"}}
    plan = plan_with(plants_species=KIND, kept_height=3.0).model_copy(update={"species": own})
    table = planned_species(plan)
    assert table[KIND].kept_height_m == 3.0
    assert table["hedge"].kept_height_m == 1.5
    assert not table["ilex_opaca"].is_clipped


def test_kept_low_a_plant_is_bought_no_taller():
    table = planned_species(plan_with(plants_species=KIND, kept_height=0.5))
    assert table[KIND].stock_height_m == 0.5


def test_faces_are_those_of_a_box_and_hours_go_by_the_rate():
    layers, _, kept, plan = stands(kept_height=3.0)
    sizes, clips = lay_clipping(layers, plan=plan, species_table=planned_species(plan))
    conform(sizes, KEPT_SIZES)
    conform(clips, CLIPPING)
    assert sizes["kept"].all()
    last = clips.iloc[-1]
    xy = kept.xy[np.argsort(kept.xy[:, 0])]
    run = sum(float(np.hypot(*(b - a))) for a, b in pairwise(xy)) + float(last["width_m"])
    assert last["height_m"] == 3.0
    assert last["length_m"] == pytest.approx(run)
    assert last["faces_m2"] == pytest.approx(2.0 * run * 3.0 + run * last["width_m"])
    assert last["platform"] == (last["height_m"] > REACH_M)
    # The shipped rate: 20 m2 in an hour; the user's own comes first.
    assert last["hours"] == pytest.approx(last["faces_m2"] / 20.0)
    own = plan.model_copy(update={"cost": plan.cost.model_copy(update={"hours": {"clipped": 0.2}})})
    _, clips = lay_clipping(layers, plan=own, species_table=planned_species(plan))
    assert clips["hours"].to_numpy(float) == pytest.approx(0.2 * clips["faces_m2"].to_numpy(float))
    # By definition: before it has the kept height no top is cut.
    growing = clips.loc[clips["height_m"] < 3.0]
    assert growing["faces_m2"].to_numpy(float) == pytest.approx(
        (2.0 * growing["length_m"] * growing["height_m"]).to_numpy(float)
    )
    assert face_area(10.0, 2.0, 1.0) == 50.0
    # The years follow one another from the first in which crowns touch or reach the size.
    assert clips["year"].tolist() == list(range(clips["year"].iloc[0], plan.growth.years + 1))


def test_without_a_kept_size_nothing_is_clipped_and_a_height_is_proposed_only_where_a_view_needs_it():
    layers, free, _, plan = stands()
    sizes, clips = lay_clipping(layers, plan=plan)
    conform(sizes, KEPT_SIZES)
    assert not len(clips)
    assert sizes["keep_m"].isna().all()
    assert sizes["grown_m"].max() == pytest.approx(free.height[:, TYPICAL, -1].max())
    line = str(sizes["line_id"].iloc[0])
    needed = pd.DataFrame({"line_id": [line, line], "needed_m": [2.0, 0.5], "lowest_m": [1.0, 1.2]})
    sizes, _ = lay_clipping({**layers, "needed_height": needed}, plan=plan)
    # Independent: the closure of the row that is kept there meets up to the greatest need, a step lower it does not.
    keep = float(sizes["keep_m"].iloc[0])
    assert keep >= 2.0
    assert "free it grows to" in str(sizes["says"].iloc[0])
    for height, enough in ((keep, True), (keep - STEP_M, False)):
        plan = plan_with(plants_species=KIND, kept_height=height)
        closed = close_rows(
            layers["plants"], layers["planting_lines"], plan=plan, species_table=planned_species(plan)
        ).set_index("growth")  # fmt: skip
        assert (closed.loc["typical", "mature_closed_height_m"] >= 2.0) == enough


def test_a_sight_line_that_passes_low_asks_for_a_taller_row_whose_crowns_meet_from_lower_down():
    # Independent: the closure of the row that is kept there, and a step lower.
    table, plan = load_species(), plan_with(plants_group=3)
    kinds, spacing_m = [table["juniperus_scopulorum"], table["ilex_vomitoria"]], 1.2
    starts = [Start(kind, STEP_M, False) for kind in kinds]
    pairs = [(first, second, spacing_m) for first, second in ((0, 0), (0, 1), (1, 1))]

    def meets_from(kept_m):
        kept = [replace(kind, kept_height_m=kept_m) for kind in kinds] if kept_m else kinds
        return row_closing(kept, spacing_m, years=plan.growth.years, group=3, stock_height_m=STEP_M).mature_from_m  # fmt: skip

    high = height_to_keep(starts, pairs, (math.inf, 2.2), plan)
    begin = 0.5 * (meets_from(high) + meets_from(high + 1.0))
    assert meets_from(None) < begin < meets_from(high)
    keep = height_to_keep(starts, pairs, (begin, 2.2), plan)
    assert high < keep <= high + 1.0
    assert meets_from(keep) <= begin < meets_from(keep - STEP_M)
    # What the free row does not reach is not asked of the kept one.
    assert height_to_keep(starts, pairs, (0.5 * meets_from(None), 2.2), plan) == high


def test_what_the_plan_asks_the_row_to_close_up_to_is_held_too_unless_the_free_row_lacks_it():
    # Closed form: columns meet up to their tops, so that the height to keep is the greater of both heights, in steps.
    column = load_species({"own": {"like": KIND, "shape": "column"}})["own"]
    starts, pairs = [Start(column, 0.5, False)], [(0, 0, 1.0)]
    for asked, keep in ((3.44, 3.5), (1.5, 2.4), (49.0, 2.4)):
        plan = plan_with(growth_asked_height=asked)
        assert height_to_keep(starts, pairs, (0.0, 2.32), plan) == pytest.approx(keep)
    assert height_to_keep(starts, pairs, (0.0, 40.0), plan_with()) is None


def test_a_row_that_no_view_needs_still_closes_at_the_height_that_another_is_kept_at():
    # Independent: closure is worked out from the plants that are kept. The idle row stands twice as far apart.
    subject, lines, plants = site.planted(along=("north", "east"), species=KIND)
    first, idle = lines["line_id"].astype(str)
    far = np.flatnonzero(plants["line_id"].astype(str) == idle)[1::2]
    plants.loc[plants["line_id"] == idle, "gap_before_m"] *= 2.0
    plants = plants.drop(index=plants.index[far]).reset_index(drop=True)
    widest = close_rows(plants, lines, plan=plan_with(rows_spacing=9.0))["spacing_m"].max()
    plan = plan_with(plants_species=KIND, rows_spacing=float(widest))
    needed = pd.DataFrame({"line_id": [first], "needed_m": [0.5], "lowest_m": [0.4]})
    layers = site.layers(subject, lines, plants, needed_height=needed)
    sizes = lay_clipping(layers, plan=plan)[0].set_index("line_id")
    alone = site.layers(
        subject, lines, plants[plants["line_id"].astype(str) == first], needed_height=needed
    )
    lower = lay_clipping(alone, plan=plan)[0]["keep_m"].iloc[0]
    keep = sizes.loc[first, "keep_m"]
    assert keep > lower
    assert np.isnan(sizes.loc[idle, "keep_m"])

    def closed_in(height):
        held = plan_with(plants_species=KIND, rows_spacing=float(widest), kept_height=height)
        table = planned_species(held if height else plan)
        closure = close_rows(plants, lines, needed_height=needed, plan=held, species_table=table)
        typical = closure.loc[closure["growth"] == "typical"].set_index("line_id")
        return typical["year_closed"].notna()

    assert closed_in(None).all()
    assert closed_in(float(keep)).all()
    assert not closed_in(float(keep - STEP_M))[idle]
    assert closed_in(float(lower))[first]


def test_a_hedge_with_a_size_of_its_own_is_clipped_each_year_too():
    # Its faces are those of a box (closed form), and a free row beside it is not clipped.
    own = {"hedge": {"like": KIND, "shape": "box", "kept_height": "1.5 m", "kept_width": "0.8 m"}}
    table = load_species(own)
    subject, lines, plants = site.planted(species=KIND)
    plan = plan_with()
    layers = site.layers(subject, lines, plants.assign(species="hedge"))
    sizes, clips = lay_clipping(layers, plan=plan, species_table=table)
    conform(clips, CLIPPING)
    assert sizes["kept"].all()
    assert (sizes["keep_m"] == 1.5).all()
    last = clips.iloc[-1]
    run = np.hypot(*np.diff(planned_stand(layers["plants"], plan, table).xy, axis=0).T).sum()
    assert last["height_m"] == 1.5
    assert last["width_m"] == pytest.approx(0.8)
    spread = 2.0 * planned_stand(layers["plants"], plan, table).radius[:, TYPICAL, -1].max()
    assert last["faces_m2"] == pytest.approx(2.0 * (run + spread) * 1.5 + (run + spread) * 0.8)
    tasks = schedule_work({"plants": layers["plants"]}, plan=plan, species_table=table)
    assert "clip_kept" in set(tasks["task"])
    assert "1.50 m" in str(tasks.set_index("task").loc["clip_kept", "says"])
    assert not len(lay_clipping(site.layers(subject, lines, plants), plan=plan, species_table=table)[1])  # fmt: skip


def test_the_hours_and_the_price_of_clipping_have_one_home_and_come_back_in_every_table():
    layers, _, _, plan = stands(kept_height=3.0)
    table = planned_species(plan)
    plan = plan.model_copy(
        update={"cost": plan.cost.model_copy(update={"prices": {"clipped": 4.0}, "hours": {"clipped": 0.1}, "hour": 30.0})}
    )  # fmt: skip
    _, clips = lay_clipping(layers, plan=plan, species_table=table)
    quantities = count_material({**layers, "clipping": clips}, plan=plan, species_table=table)
    tasks = schedule_work({**layers, "quantities": quantities}, plan=plan, species_table=table)
    cost = price_work(quantities, plan=plan).set_index("item")
    years = count_years(tasks, quantities, cost.reset_index(), plan=plan)
    yearly = tasks.set_index("task").loc["clip_kept"]
    # By definition: the faces of the ten clips that the calendar tells.
    told = clips.loc[clips["year"] < clips["year"].min() + CLIPS_TOLD]
    assert yearly["times"] == CLIPS_TOLD == told["year"].nunique()
    faces = quantities.set_index("item").loc["clipped", "amount"]
    assert faces == pytest.approx(told["faces_m2"].sum())
    assert yearly["hours"] * yearly["times"] == pytest.approx(0.1 * faces)
    assert cost.loc["clipped", "cost"] == pytest.approx(4.0 * faces)
    assert cost.loc["clipped", "labour_cost"] == pytest.approx(3.0 * faces)
    assert years["material"].sum() == pytest.approx(cost.loc["total", "cost"])
    # A row that nobody clips adds nothing.
    assert "clipped" not in set(count_material(layers, plan=plan, species_table=table)["item"])


@pytest.mark.parametrize("planting", ["2027-04-10", "2027-02-27", "2027-11-20", "2028-08-30"])
def test_clips_of_a_kept_row_stay_out_of_the_nesting_months_in_every_year(planting):
    layers, _, _, plan = stands(kept_height=3.0, calendar_planting=planting)
    table = schedule_work(
        {"plants": layers["plants"]}, plan=plan, position_deg=(8.0, 50.0),
        species_table=planned_species(plan), today=dt.date(2027, 1, 15),
    )  # fmt: skip
    conform(table, SCHEDULE)
    rows = table.set_index("task")
    assert "clip" not in rows.index
    first, yearly = rows.loc["clip_first"], rows.loc["clip_kept"]
    # In the first September that is late enough.
    assert FIRST_CLIP_DAY <= first["first_day"] < 365 + FIRST_CLIP_DAY
    assert (dt.date.fromisoformat(planting) + dt.timedelta(days=int(first["first_day"]))).month == 9
    assert BARE in yearly["source"]
    start = dt.date.fromisoformat(planting)
    for row in (first, yearly):
        for number in range(int(row["times"])):
            day = start + dt.timedelta(days=int(row["first_day"]) + 365 * number)
            assert not 3 <= day.month <= 8  # the shipped season, March to August
