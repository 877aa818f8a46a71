"""Several lots in one plan: whose each row is, each shared boundary planted once, and what adds up."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner
from street_kit import CORNER, CRS, DEEP, WIDE, plan_street, street_layers

from screenplan.commandline.main import main
from screenplan.contracts import OUTPUTS
from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.pipeline import rehearse_plan, run_plan
from screenplan.running.steps import STEPS
from screenplan.running.street import OF_A_LOT, OF_PLANTS
from screenplan.running.writing import write_run

IDS = ("12", "14", "16")
#: Amounts of money and hours add up to rounding.
ROUNDING = 1e-9
#: The usual spacing of the street's species, metres: between its plants and along a boundary.
SPACING_M = 1.5
#: How far the rows of that species stand off the boundary, metres: half its spread, and what the boundary may be out.
OFFSET_M = 2.83
PRICED = {"cost": {"prices": {"plant": 20.0, "mulch": 40.0, "peg": 2.0}, "hours": {"hole": 0.25}, "hour": 30.0}}  # fmt: skip


@pytest.fixture(scope="module")
def street():
    return plan_street(IDS, **PRICED)


def planted(ids=IDS, **sections):
    """Lines and plants of a street."""
    layers = plan_street(ids, only=("plants",), **sections).layers
    return layers["planting_lines"], layers["plants"]


def facing(plants) -> int:
    """Count plants that face one of another lot across the boundary between them.

    All boundaries of the kit run north: two plants face each other if they stand in rows along it, at one northing
    within half a spacing. The plants at the lots' corners end the rows along the back.
    """
    xy, lot = shapely.get_coordinates(plants.geometry), plants["lot_id"].to_numpy()
    along = np.abs(xy[:, 0] - WIDE * np.round(xy[:, 0] / WIDE)) < OFFSET_M + 0.1
    along &= np.abs(xy[:, 1] - 0.5 * DEEP) < 0.5 * DEEP - OFFSET_M - 0.5 * SPACING_M
    xy, lot = xy[along], lot[along]
    near = np.abs(xy[:, None, 1] - xy[:, 1]) < 0.5 * SPACING_M * (1.0 - 1e-6)
    close = np.abs(xy[:, None, 0] - xy[:, 0]) < 2.0 * OFFSET_M + 0.2
    return int((near & close & (lot[:, None] != lot)).any(axis=1).sum())


def test_a_list_of_one_lot_is_that_lot():
    # Invariant: nothing of a street is in the plan of one lot.
    one, listed = plan_street("14"), plan_street(["14"])
    assert listed.plan.subject == one.plan.subject
    assert listed.layers.keys() == one.layers.keys()
    assert not {"shared_boundaries", "lot_costs"} & set(one.layers)
    for name, layer in one.layers.items():
        assert "lot_id" not in layer.columns
        assert layer.equals(listed.layers[name]), name


def test_every_step_is_asked_of_a_lot_or_of_the_street():
    assert set(OF_PLANTS) < set(OF_A_LOT) < set(STEPS)
    # Steps that know one subject refuse several; the others were run with several by `street`.
    layers = read_inputs(check_plan({"subject": {"ids": list(IDS)}}, given=("parcels",)), None, street_layers()).layers  # fmt: skip
    with pytest.raises(InputError, match="3 parcels are marked as the subject"):
        STEPS["sides"](layers, plan=check_plan({}, given=("parcels",)))


def test_every_row_names_its_lot(street):
    lots = street.layers["parcels"].dropna(subset="lot_id").set_index("lot_id").geometry
    assert set(lots.index) == set(IDS)
    for name, layer in street.layers.items():
        if name in OUTPUTS and OUTPUTS[name].geometry:
            assert "lot_id" in layer.columns or name == "shared_boundaries", name
    plants = street.layers["plants"]
    # By another way than the step's: the outline that holds the stem.
    for lot, point in zip(plants["lot_id"], plants.geometry, strict=True):
        assert lots[lot].contains(point)
    views = street.layers["views"]
    assert all(f" to {lot} " in view for view, lot in zip(views["view_id"], views["lot_id"], strict=True))  # fmt: skip


def test_identifiers_are_those_of_one_thing(street):
    for name, layer in street.layers.items():
        key = OUTPUTS[name].key if name in OUTPUTS else ""
        if key and name != "parcels":
            assert not layer[key].duplicated().any(), name


def test_a_derived_place_is_called_by_its_lot_for_people_and_for_files(street):
    places = street.layers["private_places"].set_index("lot_id").loc["12"]
    assert places["name"] == "garden behind the house of lot 12"
    assert places["place_id"].startswith("12 ")


def test_windows_of_one_house_have_names_of_their_own(street):
    windows = street.layers["windows"]
    assert not windows[["building_id", "name"]].duplicated().any()
    assert {"12, 14, 16", "12"} <= set(windows["lot_id"])


def test_there_is_one_order_one_calendar_and_one_stake_out(street):
    layers = street.layers
    plants, stakes = layers["plants"], layers["stakes"]
    assert list(plants["plant_id"]) == list(range(1, len(plants) + 1))
    assert sorted(stakes["stake_id"].astype(int)) == list(range(1, len(plants) + 1))
    ordered = layers["quantities"].set_index("item")
    assert ordered.loc["plant", "plants"] == len(plants)
    assert (layers["schedule"]["task"] == "plant").sum() == 1
    corners = layers["tape_points"].query("kind == 'parcel corner'")
    assert {name.rsplit(" ", 1)[1] for name in corners["name"]} == set(IDS)


def test_what_falls_to_the_lots_adds_up_to_the_order(street):
    costs, whole = street.layers["lot_costs"].set_index("lot"), street.layers["cost"].set_index("item")  # fmt: skip
    for name in ("cost", "hours", "labour_cost"):
        parts = costs.loc[list(IDS), name].sum()
        assert parts == pytest.approx(whole.loc["total", name], rel=ROUNDING)
        assert costs.loc["total", name] == pytest.approx(parts, rel=ROUNDING)
    assert costs.loc[list(IDS), "plants"].sum() == len(street.layers["plants"])
    assert costs.loc[list(IDS), "cost_share"].sum() == pytest.approx(1.0, rel=ROUNDING)
    # Closed form: plants are the same everywhere, so that hours for holes go by them.
    count = street.layers["plants"]["lot_id"].value_counts()
    assert costs.loc["12", "hours"] == pytest.approx(0.25 * count["12"], rel=ROUNDING)


def on_grid(run, lot=None) -> gpd.GeoDataFrame:
    """Give the plants of a run in metres of the kit's grid, from its corner."""
    plants = run.site.frame.send_out(run.layers["plants"], CRS)
    plants = plants.set_geometry(plants.geometry.translate(-CORNER[0], -CORNER[1]))
    return plants if lot is None else plants.assign(lot_id=lot)


def test_no_plant_faces_one_of_the_neighbour(street):
    # The lots by themselves plant the same boundaries twice.
    alone = pd.concat([on_grid(plan_street(lot, only=("plants",)), lot) for lot in IDS])
    assert facing(alone) > 10
    assert facing(on_grid(street)) == 0
    filled = plan_street(IDS, only=("plants",), rows={"fill": True})
    assert facing(on_grid(filled)) == 0


def test_half_by_half_gives_halves_of_the_row():
    # Lots of one shape, planted from end to end: each half is half of the room, but for half a spacing at the
    # middle and the step between two plants.
    run = plan_street(IDS, rows={"fill": True}, only=("plants",))
    shared = run.layers["shared_boundaries"]
    assert set(shared["settled"]) == {"half"}
    for _, parts in shared.groupby("lots"):
        assert sorted(parts["planted_by"]) == sorted(parts["lots"].iloc[0].split(" and "))
        rows = parts["row_m"].to_numpy()
        assert abs(rows[0] - rows[1]) <= SPACING_M
        assert rows.sum() > 12.0


@pytest.mark.parametrize("planter", ["12", "14"])
def test_who_is_agreed_on_plants_whatever_the_order_of_the_lots(planter):
    neighbour = "14" if planter == "12" else "12"
    agreed = {"street": {"agreed": [[planter, neighbour], ["14", "16"]]}}
    lines, plants = planted(**agreed)
    again, others = planted(IDS[::-1], **agreed)
    places = [sorted(map(tuple, shapely.get_coordinates(some.geometry).round(3))) for some in (plants, others)]  # fmt: skip
    assert places[0] == places[1]
    sides = {"12": "12 east", "14": "14 west"}
    assert sides[planter] in set(lines["side_id"])
    assert sides[neighbour] not in set(lines["side_id"])
    assert "16 west" not in set(lines["side_id"])
    assert set(lines["line_id"]) == set(again["line_id"])


def test_the_first_lot_plants_where_the_plan_says_so():
    first = {"street": {"shared": "first"}}
    assert {"12 east", "14 east"} <= set(planted(**first)[0]["side_id"])
    assert {"16 west", "14 west"} <= set(planted(IDS[::-1], **first)[0]["side_id"])


def test_what_one_lot_plants_screens_the_other():
    # 14 plants the boundary: what closes the views from its house into the garden of 12 stands on 14's ground.
    run = plan_street(["12", "14"], street={"agreed": [["14", "12"]]})
    site = read_inputs(run.plan, None, street_layers())
    alone = plan_street("12", only=("windows", "private_places", "planting_lines"))
    views = run.layers["views"].set_index("view_id")
    # The same step on the windows and places of 12 alone, the plants of both standing: by the single-lot way.
    own = {
        "windows": run.layers["windows"][[ "12" in lots for lots in run.layers["windows"]["lot_id"]]],
        "private_places": run.layers["private_places"].query("lot_id == '12'"),
        "buildings": site.layers["buildings"],
    }  # fmt: skip
    assert set(own["windows"]["window_id"]) == set(alone.layers["windows"]["window_id"])
    arguments = step_arguments(STEPS["views"], run.plan, None, run.site.terrain, run.site.frame)
    names = ("planting_lines", "plants", "no_plant_zones")
    together = {name: run.layers[name] for name in names}
    apart = {name: layer[(layer["lot_id"] == "12").to_numpy()] for name, layer in together.items()}
    seen, mine = (
        STEPS["views"]({**own, **rows}, **arguments)["views"].set_index("view_id")
        for rows in (together, apart)
    )
    street = views.loc[seen.index]
    pd.testing.assert_series_equal(street["year_closed"], seen["year_closed"])
    pd.testing.assert_series_equal(street["open_y15"], seen["open_y15"])
    closed = seen["year_closed"].notna() & (seen["open_now"] > 0)
    helped = closed & mine["year_closed"].isna()
    assert helped.any()
    assert not (mine["year_closed"] < seen["year_closed"]).any()


def test_lots_that_do_not_touch_are_planned_and_it_is_said():
    run = plan_street(["12", "16"], only=("plants",))
    assert not len(run.layers["shared_boundaries"])
    assert set(run.layers["plants"]["lot_id"]) == {"12", "16"}
    assert "Lot 16 shares no boundary with another that is planned" in run.warnings


def test_sides_that_are_named_are_planted_on_each_lot_that_has_them():
    lines, _ = planted(rows={"along": ["north", "east"]})
    assert {"12 north", "14 north", "16 north", "16 east"} <= set(lines["side_id"])
    assert not {"12 south", "12 west"} & set(lines["side_id"])


def test_places_that_are_given_are_those_of_the_lot_on_which_they_lie():
    layers = street_layers()
    shapes = gpd.GeoSeries([shapely.box(6, 20, 12, 26), shapely.box(60, 60, 66, 66)], crs=CRS)
    layers["private_places"] = gpd.GeoDataFrame({"place_id": ["terrace", "elsewhere"]}, geometry=shapes.translate(*CORNER))  # fmt: skip
    run = plan_street(IDS, layers, only=("private_places",))
    found = run.layers["private_places"].set_index("place_id")["lot_id"]
    assert dict(found) == {"terrace": "12", "14 garden": "14", "16 garden": "16"}


REFUSED = [
    ({"subject": {"ids": ["12", "99"]}}, r"There is no parcel '99' among 4.*(?s:.*)"),
    ({"subject": {"ids": ["12", "12"]}}, r"lot '12' is listed twice. List each lot once"),
    ({"subject": {"ids": ["12", "14"], "id": "12"}}, r"id and ids are both given"),
    ({"street": {"agreed": [["12", "99"]]}}, r"lot '99' is not one of those that are planned. Name two of 12, 14, 16"),
    ({"street": {"agreed": [["12", "16"]]}}, r"lots 12 and 16 share no boundary. Take the agreement out; boundaries are shared by 12 and 14; 14 and 16"),
    ({"street": {"agreed": [["12", "12"]]}}, r"lot 12 shares no boundary with itself"),
    ({"street": {"agreed": [["12", "14"], ["14", "12"]]}}, r"agreed on twice"),
    ({"design": {"wanted": True}}, r"a design chooses the planting of one lot, and subject.ids names 3"),
    ({"alternatives": {"spacings": ["1 m", "2 m"]}}, r"alternatives are compared for one lot"),
    ({"rows": {"along": ["nord"]}}, r"no lot has a side 'nord'. Choose among east, north, south, west"),
]  # fmt: skip


@pytest.mark.parametrize(("sections", "says"), REFUSED, ids=lambda value: str(value)[:50])
def test_what_cannot_be_meant_is_refused_with_the_remedy(sections, says):
    with pytest.raises(InputError, match=says):
        plan_street(IDS, only=("plants",), **sections)


def test_two_lots_of_one_outline_are_refused():
    layers = street_layers()
    twin = layers["parcels"].iloc[[0]].assign(parcel_id="12b")
    layers["parcels"] = pd.concat([layers["parcels"], twin], ignore_index=True)
    with pytest.raises(InputError, match=r"Lots 12 and 12b have the same outline. Keep one of them in subject.ids"):  # fmt: skip
        plan_street(["12", "12b"], layers, only=("plants",))


def test_what_a_run_refuses_a_check_refuses_too():
    content = {"subject": {"ids": list(IDS)}, "street": {"agreed": [["12", "16"]]}}
    plan = check_plan(content, given=tuple(street_layers()))
    site = read_inputs(plan, None, street_layers())
    with pytest.raises(InputError, match="share no boundary"):
        rehearse_plan(plan, None, site)
    rehearse_plan(plan.model_copy(update={"street": plan.street.model_copy(update={"agreed": ()})}), None, site)  # fmt: skip


def test_a_street_is_written_as_one_folder(street, tmp_path):
    folder = write_run(street, tmp_path / "out")
    plants = gpd.read_file(folder / "plan.gpkg", layer="plants")
    assert set(plants["lot_id"]) == set(IDS)
    costs = pd.read_csv(folder / "tables" / "lot_costs.csv", dtype={"lot": str})
    assert list(costs["lot"]) == [*IDS, "total"]
    page = (folder / "report.html").read_text(encoding="utf-8")
    assert "Boundaries that two lots share, planted once" in page
    assert "What falls to each lot" in page


def test_lots_are_named_on_the_command_line(tmp_path):
    for name, layer in street_layers().items():
        layer.to_file(tmp_path / "street.gpkg", layer=name, driver="GPKG")
    lines = [f'[layers.{name}]\nfile = "street.gpkg"\nlayer = "{name}"' for name in street_layers()]
    plan = tmp_path / "s.toml"
    plan.write_text("\n".join(['[subject]\nid = "16"', *lines]), encoding="utf-8")

    def check(*words):
        done = CliRunner().invoke(main, ["check", str(plan), *words])
        return done.exit_code, " ".join(done.output.split())

    # The lots take the place of the one that the file names.
    assert "Read for lots 12, 14" in check("--ids", "12, 14")[1]
    assert "Read for parcel 16" in check("--ids", "16")[1]
    code, said = check("--ids", "12,99")
    assert code == 2
    assert "There is no parcel '99' among 4" in said
    assert "--ids names no lot" in check("--ids", ",")[1]
    plan.write_text(plan.read_text().replace('id = "16"', 'ids = ["12", "14"]'), encoding="utf-8")
    sides = CliRunner().invoke(main, ["sides", str(plan)])
    assert "sides are listed of one lot, and 2 are named" in sides.output
    assert "--id 12" in sides.output
    # Lot 14 lies between the two others.
    between = CliRunner().invoke(main, ["sides", str(plan), "--id", "14"]).output
    assert "parcel 12" in between
    assert "parcel 16" in between
    step = CliRunner().invoke(main, ["step", "sides", str(plan), "--out", str(tmp_path / "s.gpkg")])
    assert "a step by itself takes one lot" in step.output
    assert not (tmp_path / "s.gpkg").exists()


def test_nothing_is_planted_where_no_lot_is_looked_at():
    layers = {"parcels": street_layers()["parcels"]}
    with pytest.raises(InputError, match="no side is chosen to plant along"):
        run_plan({"subject": {"ids": ["12", "14"]}}, layers=layers, only=("plants",))
