"""The years of closing by own plants beside those without them: through the command line, and by themselves."""

import contextlib
import csv
import html

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
import shapely.affinity
from click.testing import CliRunner
from own_kit import KIND, grown, measured, nothing
from process_kit import lot_request

import screenplan
from screenplan.commandline.main import main
from screenplan.desktop.plan_jobs import write_inputs
from screenplan.ground.errors import InputError
from screenplan.ground.told_years import both_years
from screenplan.planting.growth import height_at
from screenplan.planting.species import load_species
from screenplan.processes import execute

SYSTEM = "EPSG:25832"
#: The last measured plant is this many times as tall as the table has it.
TIMES = 1.6
PLAN = f"""
[layers.parcels]
file = "site.gpkg"
layer = "parcels"

[layers.windows]
file = "site.gpkg"
layer = "windows"

[layers.private_places]
file = "site.gpkg"
layer = "private_places"

[rows]
along = ["north"]
spacing = "1.5 m"

[plants]
species = "{KIND}"

[growth]
years = 20
"""


def shifted(*shapes):
    """Move shapes to where their system is meant for."""
    return [shapely.affinity.translate(shape, 500000.0, 5500000.0) for shape in shapes]


def site():
    """A lot of 38 m by 33 m, a window north of it that looks down on a terrace."""
    return {
        "parcels": gpd.GeoDataFrame(
            {"parcel_id": ["7"]}, geometry=shifted(shapely.box(-4, 0, 34, 33)), crs=SYSTEM
        ),
        "windows": gpd.GeoDataFrame(
            {"window_id": ["w"], "sill_m": [1.0], "facing_deg": [180.0]},
            geometry=shifted(shapely.Point(15, 45)), crs=SYSTEM,
        ),
        "private_places": gpd.GeoDataFrame(
            {"place_id": ["terrace"]}, geometry=shifted(shapely.box(13, 14, 17, 18)), crs=SYSTEM
        ),
    }  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    for name, layer in site().items():
        layer.to_file(tmp_path / "site.gpkg", layer=name, driver="GPKG", engine="fiona")
    (tmp_path / "screen.toml").write_text(PLAN)
    return tmp_path


def call(folder, *arguments):
    with contextlib.chdir(folder):
        result = CliRunner().invoke(main, ["run", "screen.toml", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def table(folder, name):
    with (folder / "screen" / "tables" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def measure(folder, rows):
    with (folder / "own.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    text = PLAN + '\n[layers.measured_plants]\nfile = "own.csv"\nunits = { height_m = "ft" }\n'
    text += 'columns = { height_m = "tall" }\n'
    (folder / "screen.toml").write_text(text)


def test_own_plants_of_a_table_correct_a_plan_from_its_file_to_its_report(folder, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    before = call(folder, "--out", "screen")
    usual = table(folder, "closure")
    assert not (folder / "screen/tables/own_years.csv").exists()
    assert "own plants" not in before.output
    tall = TIMES * float(height_at(load_species()[KIND], 8.0)) / 0.3048
    measure(
        folder,
        [{"species": KIND, "age_years": 8, "tall": tall + k / 10.0} for k in (-3, -1, 0, 1, 3) * 3],
    )
    after = call(folder, "--all", "--out", "screen")
    (growth,) = table(folder, "own_growth")
    assert int(growth["plants"]) == 15
    assert 1.1 < float(growth["factor"]) < TIMES
    rows = {(row["kind"], row["closes_id"]): row for row in table(folder, "own_years")}
    view = rows["view", "w to terrace"]
    assert int(view["year"]) < int(view["usual"])
    (row,) = (row for row in rows.values() if row["kind"] == "row")
    assert row["says"] in after.output
    assert "growth: own plants, n 15, widths measured" in after.output
    report = (folder / "screen/report.html").read_text(encoding="utf-8")
    assert view["says"] in report
    # What stands as without own plants is what the run without them found.
    for row in usual:
        column = {"low": "usual_low", "typical": "usual", "high": "usual_high"}[row["growth"]]
        assert rows["row", row["line_id"]][column] == row["year_closed"]


def test_wrong_rows_are_told_with_file_layer_and_row(folder):
    measure(folder, [{"species": KIND, "age_years": 8, "tall": 10}, {"species": KIND, "age_years": 8, "tall": 300}])  # fmt: skip
    result = call(folder)
    assert result.exit_code == 2
    assert "own.csv, layer own, row 2: a plant of eastern red cedar" in result.output
    assert not (folder / "screen").exists()


def named(folder, row, plan=PLAN):
    """Write one row under the names of its own, and a plan that names no column."""
    pd.DataFrame([row] * 3).to_csv(folder / "own.csv", index=False)
    (folder / "screen.toml").write_text(plan + '\n[layers.measured_plants]\nfile = "own.csv"\n')


def test_usual_names_of_columns_are_taken_with_their_units_and_told(folder, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    tall_m = TIMES * float(height_at(load_species()[KIND], 8.0))
    named(folder, {"Botanical name": "Juniperus virginiana", "Planted": 2015, "Year measured": 2023,
                   "Ht (ft)": tall_m / 0.3048, "SPREAD_CM": 150.0})  # fmt: skip
    after = call(folder, "--all", "--out", "screen")
    (growth,) = table(folder, "own_growth")
    assert (int(growth["plants"]), int(growth["widths"])) == (3, 3)
    # The same as by our own names, in metres.
    rows = measured(*[{"age_years": 8.0, "height_m": tall_m, "width_m": 1.5}] * 3)
    (own,) = run(measured_plants=rows)["own_growth"].to_dict("records")
    assert float(growth["factor"]) == pytest.approx(own["factor"], abs=1e-3)
    report = (folder / "screen/report.html").read_text(encoding="utf-8")
    for told in ("'Botanical name' is taken for species", "'Ht (ft)' is taken for height_m, in ft", "'SPREAD_CM' is taken for width_m, in cm"):  # fmt: skip
        assert told in html.unescape(report)
    assert after.exit_code == 0


def test_a_usual_name_without_a_unit_is_refused_in_a_plan_in_feet(folder):
    row = {"species": KIND, "age": 8, "height": 10.0}
    named(folder, row, PLAN + '\n[plan]\nunits = "us"\n')
    result = call(folder)
    assert result.exit_code == 2
    assert (
        "The column 'height' holds lengths, and neither its name nor the plan says their unit"
        in result.output
    )
    assert 'units = { height_m = "ft" }' in result.output
    with (folder / "screen.toml").open("a") as file:
        file.write('units = { height_m = "ft" }\n')
    assert call(folder).exit_code == 0


ONLY = ["own_years", "own_growth", "views", "closure"]
ASKED = {"rows": {"along": ["north"], "spacing": "1.5 m"}, "plants": {"species": KIND}, "growth": {"years": 20}}  # fmt: skip


def run(**layers):
    return screenplan.run_plan(ASKED, layers={**site(), **layers}, only=ONLY).layers


@pytest.fixture(scope="module")
def plain():
    return run()


def test_without_own_plants_nothing_is_told_twice_and_all_is_as_before(plain):
    for layers in ({"measured_plants": nothing()},):
        found = run(**layers)
        assert len(found["own_years"]) == len(found["own_growth"]) == 0
        for name in ("views", "closure"):
            assert found[name].equals(plain[name])
    assert len(plain["own_years"]) == 0


def test_the_years_without_own_plants_are_those_of_a_run_without_them(plain):
    found = run(measured_plants=grown(TIMES, 12))
    told = found["own_years"].set_index("closes_id")
    years = ["year_closed_low", "year_closed", "year_closed_high"]
    seen = plain["views"][plain["views"]["status"] != "no view"].set_index("view_id")
    assert len(told) == len(seen) + plain["closure"]["line_id"].nunique()
    for view_id, row in seen.iterrows():
        usual, own = told.loc[view_id], found["views"].set_index("view_id").loc[view_id]
        assert (
            usual[["usual_low", "usual", "usual_high"]].isna().tolist()
            == row[years].isna().tolist()
        )
        assert usual["usual"] == row["year_closed"]
        assert usual["year"] == own["year_closed"]
        assert usual["says"] == both_years(own[years], row[years])
        assert own["evidence"].startswith("own plants, n 12")
        assert row["evidence"] == "measured"


def test_measured_plants_of_a_kind_that_is_not_planted_change_nothing(plain):
    # Invariant: the plan plants another kind, with other leaves, so its years have nothing beside them.
    found = run(measured_plants=grown(TIMES, 12, species="ilex_opaca"))
    assert found["own_growth"]["species"].tolist() == ["ilex_opaca"]
    assert len(found["own_years"]) == 0
    assert found["views"].equals(plain["views"])


def test_a_standing_plant_of_known_age_corrects_the_plan(plain):
    tall = TIMES * float(height_at(load_species()[KIND], 8.0))
    standing = gpd.GeoDataFrame(
        {"kind": "tree", "species": KIND, "age_years": 8.0, "height_m": tall, "opacity": 0.0},
        index=range(12), geometry=shifted(*[shapely.Point(k, 1.0) for k in range(12)]), crs=SYSTEM,
    )  # fmt: skip
    found = run(existing_screens=standing)
    by_table = run(measured_plants=grown(TIMES, 12))
    (one,), (other,) = (layers["own_growth"].to_dict("records") for layers in (found, by_table))
    assert one["factor"] == pytest.approx(other["factor"])
    assert found["own_years"]["year"].notna().any()
    # Without its age it stands there and says nothing.
    assert len(run(existing_screens=standing.drop(columns="age_years"))["own_growth"]) == 0


def test_a_single_step_from_python_goes_by_own_plants_too(plain):
    layers = {name: plain[name] for name in ("plants", "planting_lines")}
    own = screenplan.run_step("crowns", layers | {"measured_plants": grown(TIMES, 12)})["crowns"]
    usual = screenplan.run_step("crowns", layers)["crowns"]
    later = (own["year"] == 10) & (own["growth"] == "typical")
    assert (own.loc[later, "height_m"] > usual.loc[later, "height_m"]).all()


def test_points_and_frames_without_geometry_are_read_alike():
    layer = grown(TIMES, 3).drop(columns=["measurement_id", "tag_id"])
    points = gpd.GeoDataFrame(
        layer, geometry=gpd.points_from_xy(np.full(3, 9e6), np.zeros(3)), crs="EPSG:3857"
    )
    found = [run(measured_plants=one)["own_growth"] for one in (layer, points)]
    pd.testing.assert_frame_equal(*found)
    with pytest.raises(InputError, match="column height_m is missing"):
        run(measured_plants=layer.drop(columns="height_m"))


# ---- the other faces ---------------------------------------------------------------------------

ROW = {"species": KIND, "age_years": 8.0, "height_m": 3.5}


def test_a_process_takes_measured_plants_as_rows():
    asked = {"plants.species": KIND, "parcels": lot_request()["parcels"], "subject_id": "7"}
    (one,) = execute("own_growth", {"measured_plants": [ROW] * 3, **asked})["own_growth"]
    assert one["plants"] == 3
    assert execute("own_growth", {"measured_plants": [], **asked})["own_growth"] == []
    with pytest.raises(InputError, match="'tall' is not a number"):
        execute("own_growth", {"measured_plants": [{**ROW, "height_m": "tall"}], **asked})


def test_rows_that_are_handed_to_a_step_are_read_by_the_contract():
    with pytest.raises(InputError, match="column height_m is missing"):
        screenplan.run_step("own_growth", {"measured_plants": pd.DataFrame([{"species": KIND}])})
    with pytest.raises(InputError, match=r"measured_plants, row 2: nothing says of which species"):
        screenplan.run_step("own_growth", {"measured_plants": pd.DataFrame([ROW, {**ROW, "species": None}])})  # fmt: skip


def test_the_desktop_hands_a_table_over_as_it_is(folder):
    measure(folder, [ROW | {"tall": 11.5}])
    handed = {"measured_plants": [{"file": str(folder / "own.csv"), "layer": "own"}]}
    package = folder / "inputs.gpkg"
    assert set(write_inputs(handed, package)) == {"measured_plants"}
    kept = pyogrio.read_dataframe(package, layer="measured_plants")
    assert "geometry" not in kept
    assert kept["species"].tolist() == [KIND]


def test_a_single_step_of_the_command_line_goes_by_own_plants(folder):
    call(folder)
    tall = TIMES * float(height_at(load_species()[KIND], 8.0)) / 0.3048
    measure(folder, [{"species": KIND, "age_years": 8, "tall": tall}] * 12)
    with contextlib.chdir(folder):
        result = CliRunner().invoke(
            main, ["step", "closure", "screen.toml", "--out", "closure.csv"]
        )
    assert result.exit_code == 0, result.output
    assert "own plants, n 12" in (folder / "closure.csv").read_text(encoding="utf-8")
