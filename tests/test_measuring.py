"""The plants that are measured each year: the same few, by a rule."""

import geopandas as gpd
import pytest
import works_site as site
from options_kit import plan_with

import screenplan
from screenplan.contracts import TO_MEASURE
from screenplan.outputs.conform import conform
from screenplan.works.measuring import MOST, MOST_OF_A_KIND, choose_to_measure, middles


def test_few_plants_of_a_row_and_always_the_same():
    _, _, plants = site.planted()
    chosen = choose_to_measure(plants, plan=plan_with(calendar_planting="2027-04-10"))
    conform(chosen, TO_MEASURE)
    assert len(chosen) == MOST_OF_A_KIND
    assert set(chosen["plant_id"]) < set(plants["plant_id"])
    assert (chosen["planted_year"] == 2027).all()
    assert chosen[["measured_year", "height_m", "width_m", "lost"]].isna().all(axis=None)
    again = choose_to_measure(plants.iloc[::-1], plan=plan_with())
    assert list(again["plant_id"]) == list(chosen["plant_id"])
    assert again["planted_year"].isna().all()


def test_every_kind_is_measured():
    _, _, plants = site.planted()
    mixed = plants.assign(species=[("a", "b", "c")[k % 3] for k in range(len(plants))])
    chosen = choose_to_measure(mixed)
    assert chosen["species"].value_counts().to_dict() == dict.fromkeys("abc", MOST // 3)


def test_plants_that_stand_already_are_left_out():
    _, _, plants = site.planted()
    standing = plants.assign(existing=True)
    assert choose_to_measure(standing).empty


@pytest.mark.parametrize(("count", "parts"), [(1, 5), (5, 5), (6, 5), (23, 5), (400, 3)])
def test_middles_are_spread_evenly(count, parts):
    """Closed form: each stands in the middle of its part, to half a place."""
    found = middles(count, parts)
    assert len(found) == len(set(found)) == min(count, parts)
    if count > parts:
        wanted = [(k + 0.5) * count / parts for k in range(parts)]
        assert all(0 <= want - at < 1.0 for want, at in zip(wanted, found, strict=True))


def test_the_layer_filled_in_is_read_as_own_plants(tmp_path):
    """Round trip through a file: all five plants of a kind count, five years old, and change its growth."""
    plan = screenplan.sample_plan()
    usual = screenplan.run_plan(
        plan, only=["to_measure"], settings=["calendar.planting=2027-04-10"]
    )
    form = usual.layers["to_measure"]
    own = form["species"] == "juniperus_virginiana"
    form = form.assign(measured_year=2032, height_m=form["stock_height_m"] + 2.5)[
        own.to_numpy(bool)
    ]
    path = tmp_path / "form.gpkg"
    form.to_file(path, layer="to_measure")
    assert len(gpd.read_file(path)) == 5
    run = screenplan.run_plan(
        plan, only=["own_growth"], settings=[f"layers.measured_plants.file={str(path)!r}"]
    )
    table = run.layers["own_growth"].set_index("species")
    assert table.loc["juniperus_virginiana", "plants"] == 5
    assert table.loc["juniperus_virginiana", "youngest_years"] == 5.0
    assert (
        table.loc["juniperus_virginiana", "height_m"]
        != table.loc["juniperus_virginiana", "usual_m"]
    )
