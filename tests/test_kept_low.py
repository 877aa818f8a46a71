"""Views that a kept height leaves open: against the views of runs of their own, and how that is said."""

import numpy as np
import pytest
from options_kit import plan_with

import screenplan
from screenplan.contracts import KEPT_OPEN
from screenplan.contracts.findings import PASSES, UNKNOWN
from screenplan.contracts.tables import table_of
from screenplan.outputs.conform import conform
from screenplan.outputs.who_sees import open_windows
from screenplan.planting.hedges import STEP_M
from screenplan.planting.species import load_species, planned_species
from screenplan.planting.stand import planned_stand
from screenplan.running.pipeline import run_plan
from screenplan.views.kept_low import judge_kept, kept_at, look_kept

LOW_M = 3.9


@pytest.fixture(scope="module")
def free():
    return run_plan(screenplan.sample_plan(), only=["views"], settings=["chance.draws=0"])


def kept(free, height, only=("views", "kept_open", "checks")):
    return run_plan(
        screenplan.sample_plan(), only=list(only), reuse=free,
        settings=["chance.draws=0", "kept.in_place=true", f"kept.height={height} m"],
    )  # fmt: skip


@pytest.fixture(scope="module")
def low(free):
    return kept(free, LOW_M)


def closing(run):
    views = run.layers["views"]
    return set(views.loc[views["status"] == "closes", "view_id"])


def found(run):
    return list(judge_kept(run.layers["kept_open"], run.layers, run.plan))


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="every case",
    against="the views of runs with the same plants free, kept low, kept at the least height and a step below it",
    source="the whole step run again",
    status="run",
    tolerance="the same views",
)
def test_the_views_that_a_kept_height_leaves_open_and_the_least_height_that_closes_them(free, low):
    table = low.layers["kept_open"]
    conform(table, KEPT_OPEN)
    lost = closing(free) - closing(low)
    assert lost
    assert set(table["view_id"]) == lost
    views = low.layers["views"].set_index("view_id")
    assert (table["last_open"].to_numpy() > low.plan.views.threshold).all()
    last = views.loc[table["view_id"], "open_y30"].to_numpy(float)
    assert table["last_open"].to_numpy(float) == pytest.approx(last)
    (least,) = table["least_m"].unique()
    assert (table["kept_m"] == LOW_M).all()
    high = kept(free, least)
    assert lost <= closing(high)
    assert not len(high.layers["kept_open"])
    below = kept(free, round(least - STEP_M, 3), only=("views", "kept_open"))
    assert lost - closing(below)
    assert below.layers["kept_open"]["least_m"].unique() == [least]
    assert [line.result for line in found(high)] == [PASSES]


def test_the_check_and_the_first_screen_name_the_views_and_the_height(low):
    (line,) = found(low)
    least = float(low.layers["kept_open"]["least_m"].iloc[0])
    assert line.result == UNKNOWN
    assert f"kept at {{{LOW_M:.1f} m}}: No. 2, dining room" in f"{line.says}"
    assert "No. 9, bedroom, upstairs" in f"{line.says}"
    assert f"{{{least:.1f} m}}" in f"{line.says}"
    assert f"{line.needs}" == f"kept.height of {{{least:.1f} m}}"
    assert "kept height" in set(low.layers["checks"]["check"])
    told = next(line for line in open_windows(low.layers, "metric") if "too low" in line)
    assert told.startswith(
        f"Kept at {LOW_M:.1f} m the row is too low; these plants close it from {least:.1f} m on: "
    )
    # A row that is laid anew stands elsewhere, so that no height is promised for it.
    anew = low.plan.model_copy(
        update={"kept": low.plan.kept.model_copy(update={"in_place": False})}
    )
    (line,) = judge_kept(low.layers["kept_open"], low.layers, anew)
    assert f"{line.needs}".startswith("kept.in_place without kept.height")


def test_without_a_kept_height_nothing_is_said(free):
    assert "kept_open" not in free.layers
    layers = {name: free.layers[name] for name in ("windows", "private_places", "plants")}
    assert look_kept(layers, plan=free.plan).empty
    assert not [*judge_kept(None, {}, plan_with(kept_height=3.0))]
    assert not [*judge_kept(table_of(KEPT_OPEN, []), {}, plan_with())]


def test_only_what_the_plan_keeps_is_let_grow_and_a_hedge_with_a_size_of_its_own_stays():
    import works_site as site

    kind = "thuja_occidentalis"
    own = {"hedge": {"like": kind, "shape": "box", "kept_height": "1.5 m"}}
    *_, plants = site.planted(species=kind)
    plants["species"] = np.where(np.arange(len(plants)) % 2, "hedge", kind)
    plan = plan_with(plants_species=kind, kept_height=3.0).model_copy(update={"species": own})
    stand = planned_stand(plants, plan, planned_species(plan))
    grown = planned_stand(plants, plan, load_species(own))
    assert kept_at(stand, 3.0, None).height == pytest.approx(grown.height)
    assert kept_at(stand, 3.0, 3.0).height == pytest.approx(stand.height)
    assert kept_at(stand, 3.0, 4.0).height == pytest.approx(np.minimum(grown.height, 4.0))
