"""What was lost: views without plants against the views traced without them, and what is refused."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from options_kit import plan_with
from own_kit import measured
from test_missing import LINES
from test_views import GARDEN, HOUSE, TABLE, WINDOW, row, trace
from views_kit import follow

import screenplan
from screenplan.contracts import LOST_PLANTS, LOST_VIEWS
from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.losses import lives_of
from screenplan.planting.own_lost import Lost, find_lost_plants
from screenplan.planting.stand import stand_of
from screenplan.views.lost import after_loss, tell_lost

STATIONS = np.arange(18.0, 42.1, 0.9)
OPTIONS = {"growth_years": 20, "growth_curve": "straight"}


def lost(*numbers, age=7.0, **more):
    return [{"tag_id": str(number), "age_years": age, "lost": True, **more} for number in numbers]


def plants(kind="column"):
    return row(STATIONS, kind, 0.5).assign(stock="balled", side_id="north")


def told(*rows, layer=None, **options):
    layers = {
        "windows": WINDOW, "private_places": GARDEN, "planting_lines": LINES, "buildings": HOUSE,
        "plants": plants() if layer is None else layer,
        "measured_plants": measured(*rows, species=None) if rows else None,
    }  # fmt: skip
    found = follow(tell_lost, layers, species_table=TABLE, **(OPTIONS | options))
    conform(found[0], LOST_PLANTS)
    conform(found[1], LOST_VIEWS)
    return found


def shares(some, year, leaves):
    """Open shares by the whole step of views, in one year that is reported."""
    views, *_ = trace(
        WINDOW, GARDEN, some, line=LINES, views_report_years=(year,), views_leaves=leaves, **OPTIONS
    )
    return views.set_index("view_id")[f"open_y{year:02d}"]


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="every case",
    against="the views traced anew without the plants that are lost",
    source="the whole step run again",
    status="run",
    tolerance="exact",
)
@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
def test_from_the_year_after_on_the_views_are_those_traced_without_the_plants(leaves):
    gone = [13, 14]
    most = {"opaque": 0.05, "translucent": 0.4}[leaves]
    _, views = told(*lost(*gone, age=11.5), views_leaves=leaves, views_threshold=most)
    left = plants()[lambda some: ~some["plant_id"].isin(gone)]
    (view,) = views.to_dict("records")
    # Found dead in its twelfth year, 11: as it was up to year 11, without them from year 12 on.
    before, after = shares(plants(), 11, leaves), shares(left, 12, leaves)
    assert before.iloc[0] <= most < after.iloc[0]
    assert view["closes"] <= 11
    assert view["open_from"] == 12
    assert pd.isna(view["closes_bare"])
    # New plants of 0.5 m stop no ray yet.
    assert view["most_open"] == after.iloc[0]


@pytest.mark.parametrize("found", [0, 3, 11])
def test_a_plant_that_is_replaced_is_as_old_as_its_place_has_been_planted(found):
    """Closed form, and the ages by which draws of losses go."""
    stand = stand_of(plants(), years=20, curve="straight", species_table=TABLE)
    died = Lost(np.array([4]), np.array([found]))
    ages = np.where(stand.years > found, stand.years - found - 1, stand.years)
    lives = lives_of(0.5, found + 1)
    if (found + 1,) in lives.deaths:
        assert np.array_equal(lives.ages(stand.years)[lives.deaths.index((found + 1,))], ages)
    again = after_loss(stand, died, replanted=True)
    assert np.array_equal(again.height[4], stand.height[4][:, ages])
    bare = after_loss(stand, died, replanted=False)
    assert np.array_equal(bare.height[4], np.where(stand.years > found, 0.0, stand.height[4]))
    for other in (again, bare):
        assert np.array_equal(other.height[5], stand.height[5])


def test_what_is_replanted_opens_until_it_has_grown():
    _, views = told(*lost(*range(1, 28), age=11.5), growth_years=30)
    (view,) = views.to_dict("records")
    # By hand: all are lost, so that what is planted in year 12 closes as many years after it as the first did.
    assert view["closes_replanted"] == view["closes"] + 12
    assert view["open_until"] == view["closes_replanted"] - 1
    assert view["says"].startswith(f"open from year 12 to year {view['open_until']}, up to ")
    assert view["says"].endswith("open to the end if they are not")
    (note,) = notes_of(views)
    assert (
        f"1 of 1 views that close is open until the new plants have grown, to year {view['open_until']} at the latest"
        in note
    )
    assert "without new plants 1 of them stays open to the end" in note


def test_a_plant_on_which_nothing_hangs_opens_nothing():
    aside = row([1.0], "column", 0.5).assign(stock="balled", plant_id=99)
    some = pd.concat([plants(), aside], ignore_index=True)
    table, views = told(*lost(99), layer=some)
    assert table["plant_id"].tolist() == [99]
    assert views["says"].tolist() == ["closed as before"]
    assert (
        "none of 1 views that close opens; without new plants all close as well"
        in notes_of(views)[0]
    )


def test_no_lost_plant_tells_nothing():
    for rows in ((), [{"age_years": 8.0, "height_m": 3.0, "species": "column"}], [{"tag_id": "3"}]):
        table, views = told(*rows)
        assert table.empty
        assert views.empty


def test_what_to_order_again_is_counted_by_kind_and_stock():
    some = plants().assign(species=["column", "cone"] * 13 + ["column"])
    table, _ = told(*lost(1, 2, 3, age=0.5), layer=some)
    assert table["found"].tolist() == [0, 0, 0]
    (note,) = notes_of(table)
    assert (
        note
        == "3 plants are lost of 27: no. 1, 2, 3. Order again: 2 column, balled, 0.50 m; 1 cone, balled, 0.50 m"
    )


def test_the_last_record_of_a_plant_counts():
    found = find_lost_plants(
        measured(*lost(5, age=2.0), *lost(5, age=4.5), *lost(3), species=None),
        plants(), plan_with(growth_years=20), TABLE,
    )  # fmt: skip
    assert found.plant.tolist() == [2, 4]
    assert found.found.tolist() == [7, 4]


def test_the_year_follows_from_the_day_of_planting():
    some = measured({"tag_id": "5", "lost": True, "measured_year": 2031}, species=None)
    plan = plan_with(growth_years=20, calendar_planting="2027-04-10")
    assert find_lost_plants(some, plants(), plan, TABLE).found.tolist() == [4]
    with pytest.raises(
        InputError, match=r"row 1: .*when the plant 5 was found dead.*measured_year"
    ):
        find_lost_plants(some, plants(), plan_with(), TABLE)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"tag_id": ""}, r"row 1: .*nothing says which.*number, as its stake has it"),
        ({"tag_id": "77"}, r"'77' is lost, and the plan has no plant of that number"),
        ({"tag_id": "old oak"}, r"'old oak' is lost, and the plan has no plant"),
        ({"species": "cone"}, r"plant 5 is lost as 'cone', and the plan has column there.*as it was planted"),
        ({"species": "thuya"}, r"lost as 'thuya'"),
        ({"line_id": "west"}, r"on the line 'west', and the plan has it on north"),
        ({"station_m": 3.0}, r"at the station 3.00 m, and the plan has it at 21.60 m"),
        ({"age_years": -1.0}, r"died before it was planted"),
        ({"age_years": 20.0}, r"found dead 20 years after planting, and the plan looks at 20 years.*growth.years"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_row(row, message):
    with pytest.raises(InputError, match=message):
        told(lost(5)[0] | row)


def test_a_plant_that_stood_there_already_is_refused():
    with pytest.raises(
        InputError, match=r"plant 5 is lost, and it stood there before.*existing_screens"
    ):
        told(*lost(5), layer=plants().assign(existing=True))


def test_the_form_of_the_year_sheet_filled_in_is_read_to_the_end(tmp_path):
    """Round trip through a file: two dead, one measured, the rest left empty."""
    plan, own = screenplan.sample_plan(), ["calendar.planting=2027-04-10"]
    form = screenplan.run_plan(plan, only=["to_measure"], settings=own).layers["to_measure"]
    form.loc[form.index[:2], ["measured_year", "lost"]] = [2030, True]
    form.loc[form.index[2], ["measured_year", "height_m"]] = [
        2030,
        float(form["stock_height_m"].iloc[2]) + 1.0,
    ]
    form.to_file(tmp_path / "form.gpkg", layer="to_measure")
    path = str(tmp_path / "form.gpkg")
    assert len(gpd.read_file(path)) == len(form) > 3
    run = screenplan.run_plan(
        plan, only=["lost_plants", "lost_views", "own_growth"],
        settings=[*own, f"layers.measured_plants.file={path!r}"],
    )  # fmt: skip
    assert run.layers["lost_plants"]["plant_id"].tolist() == form["plant_id"].tolist()[:2]
    assert (run.layers["lost_plants"]["found"] == 3).all()
    assert run.layers["own_growth"]["plants"].sum() == 1
    (empty, dead) = notes_of(run.layers["own_growth"])[:2]
    assert empty.startswith(
        f"{len(form) - 3} of {len(form)} rows of measured_plants are passed over"
    )
    assert dead.startswith(f"2 of {len(form)} rows of measured_plants are passed over")
