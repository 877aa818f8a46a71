"""The sentence on a fence for a plan without [instead]: what it counts, when it stands, where it is read."""

import pandas as pd
import pytest
from options_kit import plan_with
from test_instead import LOT, OBLIQUE, SIDES, fence
from test_views import GARDEN, HOUSE, LINE, SHUT, TABLE, row, windows

from screenplan.contracts import LOT as OF_A_LOT
from screenplan.contracts.instead import CLOSES_MOST
from screenplan.outputs.answer import answer
from screenplan.outputs.report import About, make_report
from screenplan.running.pipeline import run_plan
from screenplan.works import compare_instead
from screenplan.works.fence_first import fence_first

#: At the ground: every ray to a head in the garden stays below a fence of 1.83 m on level ground. And one upstairs.
LOW, UP = windows((0, 6), (3, 6), sill=1.0, name="low"), windows((3, 6), sill=3.7, name="up")


def both(*parts):
    return pd.concat(parts, ignore_index=True)


def site(w, **more):
    return {
        "parcels": LOT, "sides": SIDES, "windows": w, "private_places": GARDEN, "buildings": HOUSE,
        "planting_lines": LINE.assign(side_id="north"), "plants": row(SHUT), **more,
    }  # fmt: skip


def test_it_counts_the_views_that_run_below_the_fence():
    # By hand: of two windows below the fence and one above, two are closed.
    assert f"A fence alone {CLOSES_MOST} on the first day, 2 of 3: one as tall" in fence_first(
        site(both(LOW, UP))
    )
    three = both(LOW[:1], UP, windows((-3, 6), sill=3.7, name="left"))
    says = fence_first(site(three))
    assert "A fence alone closes 1 of 3 open views on the first day: one as tall as" in says
    assert "fence_3_6ft allows, {1.83 m} along north (rear). Ask your own code." in says
    assert says.endswith('In the plan: instead.compare = ["fence"]')
    # Half of them is not most.
    assert "closes 1 of 2 open views" in fence_first(site(both(LOW[:1], UP)))


@pytest.mark.parametrize("stands", [None, fence(1.5, 1.0), fence(1.2, opacity=[0.6])])
def test_it_counts_as_the_comparison_does(stands):
    # Another way to the same: the comparison follows all rays anew, with the fence among all that stands.
    near = windows((-4, 6), (4, 6), sill=1.0, name="near")
    layers = site(both(OBLIQUE, near), existing_screens=stands)
    plan = plan_with(plants_species="column", growth_years=12)
    asked = plan.model_copy(
        update={"instead": plan.instead.model_copy(update={"compare": ("fence",)})}
    )
    first = compare_instead(layers, plan=asked, species_table=TABLE)[0].set_index("option")["open_first"]  # fmt: skip
    closes = first["nothing"] - first["fence"]
    says = fence_first(layers, plan=plan)
    if closes == 0:
        assert says is None
    else:
        assert f" {closes} of {first['nothing']}" in says


def test_nothing_is_said_where_it_is_not_true_or_was_asked():
    assert fence_first(site(UP)) is None
    assert fence_first(site(LOW[:0])) is None
    layers = site(LOW)
    assert fence_first(layers) is not None
    assert fence_first(layers, plan=plan_with(instead_compare=["wall"])) is None
    assert fence_first(layers, plan=plan_with(instead_rear=1.0)) is None
    assert fence_first({**layers, "sides": SIDES[:0]}) is None
    assert fence_first({**layers, "sides": SIDES.assign(**{OF_A_LOT.name: "7"})}) is None


def test_it_is_on_the_first_screen_only_if_it_closes_most():
    layers = {"planting_lines": LINE, "plants": row(SHUT).assign(existing=False)}
    for says, is_first in (
        (fence_first(site(both(LOW, UP))), True),
        (fence_first(site(both(LOW[:1], UP))), False),
    ):
        blocks = answer(layers, About(warnings=[says], units="us"))
        lines = [line for block in blocks for line in block.lines if "A fence alone" in line]
        assert len(lines) == is_first
        # In the reader's units: 6 feet.
        assert all("6.0 ft" in line for line in lines)


def test_a_run_says_it_once_and_a_part_of_one_does_not(tmp_path):
    plan = {
        "layers": {}, "plants": {"species": "ilex_opaca"}, "growth": {"years": 5}, "rows": {"along": ["north"]},
        "views": {"target_spacing": "2 m"}, "chance": {"draws": 0},
    }  # fmt: skip
    given = {
        name: frame.set_crs("EPSG:25832").set_geometry(frame.translate(500000, 5500000))
        for name, frame in (("parcels", LOT), ("windows", LOW), ("private_places", GARDEN), ("buildings", HOUSE))
    }  # fmt: skip
    run = run_plan(plan, tmp_path, layers=given)
    (says,) = (note for note in run.warnings if "A fence alone" in note)
    assert "2 of 2" in says
    page = make_report(run.layers, About(warnings=run.warnings))
    assert page.count("A fence alone") == 1
    part = run_plan(plan, tmp_path, layers=given, only=["plants"])
    assert not any("A fence alone" in note for note in part.warnings)
