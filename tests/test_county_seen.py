"""What is seen of a parcel is what the steps of a plan say, and the lines by which views are counted do not jump."""

import numpy as np
import pytest
from county_kit import PLAN, lots

import screenplan
from screenplan.county.seen import see
from screenplan.plan import check_plan
from screenplan.planting.species import load_species
from screenplan.site.terrain import Terrain

ASKED = ["views", "needed_height", "plants"]


@pytest.fixture(scope="module")
def planned():
    layers = lots(6)
    run = screenplan.run_plan(
        PLAN, layers=layers, settings=["subject.id=p2", "rows.along=['west', 'east']", "chance.draws=0"], only=ASKED,
    )  # fmt: skip
    plan = check_plan(PLAN, given=layers)
    return run.layers, plan, see(run.layers, plan, Terrain.flat(), load_species())


# Evidence: the steps of the plan, which trace every view by itself and make the whole layers.
def test_views_are_those_of_the_steps(planned):
    layers, _, seen = planned
    views = layers["views"]
    assert seen.rays.tolist() == views["rays"].tolist()
    assert np.allclose(seen.open_now, views["open_now"].to_numpy(float))
    assert seen.is_open.tolist() == views["status"].isin(["closes", "stays open"]).tolist()
    told = views["year_closed"].astype("Float64").to_numpy(float, na_value=np.inf)
    assert seen.year_closed.tolist() == told.tolist()
    assert (np.isfinite(told) & (told > 0)).any()
    names = np.array(seen.sight.observers.ids, object)[seen.windows]
    assert names.tolist() == views["window_id"].tolist()


def test_needed_heights_are_the_greatest_of_those_of_the_step(planned):
    layers, _, seen = planned
    greatest = layers["needed_height"].groupby("line_id")["needed_m"].max()
    assert seen.needed_m.tolist() == greatest[layers["planting_lines"]["line_id"]].to_list()
    assert seen.needed_m.max() > 0.5


def test_lines_run_from_the_windows_to_the_middle_of_the_heads(planned):
    _, _, seen = planned
    for line, (window, place) in zip(
        seen.lines(np.arange(len(seen.rays))), seen.sight.pairs, strict=True
    ):
        begin, end = line.coords
        assert begin == tuple(seen.sight.observers.middle[window])
        assert end == pytest.approx(seen.sight.targets.coarse.row(place)[:, :2].mean(axis=0))


def test_without_rows_nothing_closes_and_nothing_is_needed(planned):
    layers, plan, seen = planned
    bare = layers | {name: layers[name].iloc[:0] for name in ("planting_lines", "plants")}
    none = see(bare, plan, Terrain.flat(), load_species())
    assert len(none.needed_m) == 0
    assert np.isinf(none.year_closed[none.is_open]).all()
    assert none.is_open.sum() == seen.is_open.sum()


def test_without_windows_there_is_no_view(planned):
    layers, plan, _ = planned
    none = see(layers | {"windows": layers["windows"].iloc[:0]}, plan, Terrain.flat(), load_species())  # fmt: skip
    assert len(none.rays) == len(none.lines(none.rays)) == len(none.is_open) == 0
