"""A county: the same rows as single plans, whatever the cut, the order of rows, and what lies far away."""

import sqlite3
from contextlib import closing

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import CRS, DEPTH_M, EAST, NORTH, PLAN, WIDTH_M, lots, sides_of, told_alone

import screenplan
from screenplan.contracts.county import COUNTED_YEARS
from screenplan.county.columnar import Columnar
from screenplan.outputs.record import is_unchanged, read_record

#: Frozen rows differ in their parcels' places in the file alone.
ROW = ["parcel_row"]
#: Coordinates go through a projection and back: below a micrometre on the ground.
SAME_M = 1e-6


@pytest.fixture(scope="module")
def layers():
    return lots(6)


@pytest.fixture(scope="module")
def run(layers, tmp_path_factory):
    out = tmp_path_factory.mktemp("county") / "whole"
    return screenplan.run_county(PLAN, layers=layers, out=out, options={"at_once": 3, "wanted": ("plants", "lines")})  # fmt: skip


def differ(one, other, leave=()):
    """Rows of two counties by their cells, without geometry, must be the same to the last digit."""
    columns = [name for name in one.columns if name not in ("geometry", *leave)]
    pd.testing.assert_frame_equal(one[columns], other[columns])


def hold_to_its_plan(mine, layers):
    """A parcel's sides in a county are what the plan of it alone tells, along the sides that the county plants."""
    alone = told_alone(PLAN, layers, mine)
    mine = mine.set_index("side_id")
    planted = mine.index[mine["side_class"] != "front"]
    assert mine["plants"].to_dict() == {name: alone["plants"].get(name, 0) for name in mine.index}
    for name in ("plantable_m", "needed_m"):
        told = mine.loc[planted, name].astype(float).to_dict()
        assert told == pytest.approx(alone[name], abs=SAME_M)
    for name in ("views_open", *(f"closed_y{year:02d}" for year in COUNTED_YEARS)):
        assert mine[name].sum() == alone[name]
    assert alone["views_open"] > 0
    last = mine.loc[mine["views_open"] > 0, "year_closed"]
    assert (None if last.isna().any() else last.max()) == alone["year_closed"]
    assert mine["rays"].iloc[0] == alone["rays"]
    # 20 apiece by height in the plan's prices.
    assert mine["cost"].astype(float).tolist() == (20.0 * mine["plants"].astype(float)).tolist()


@pytest.mark.parametrize("parcel_id", ["p1", "p5"])
def test_a_parcel_of_a_county_is_what_a_plan_of_it_alone_gives(run, layers, parcel_id):
    # Evidence: the plan of a single parcel.
    sides = sides_of(run)
    hold_to_its_plan(sides[sides["parcel_id"] == parcel_id], layers)


def test_so_it_is_among_walls_hedges_and_trees_that_stand_already(run, layers, tmp_path):
    # Evidence: the plan of a single parcel; a tree keeps plants away, all three stop looks.
    standing = gpd.GeoDataFrame(
        {
            "screen_id": ["wall", "hedge", "tree"], "kind": ["wall", "hedge", "tree"],
            "height_m": [2.0, 1.6, 7.0], "width_m": [0.2, 1.0, 4.0], "opacity": [1.0, 0.8, 0.6],
        },
        geometry=[
            shapely.linestrings([[EAST + WIDTH_M, NORTH + 8.0], [EAST + WIDTH_M, NORTH + 20.0]]),
            shapely.linestrings([[EAST + 4.0, NORTH + DEPTH_M - 3.0], [EAST + 12.0, NORTH + DEPTH_M - 3.0]]),
            shapely.points(EAST + 18.0, NORTH + DEPTH_M - 2.0),
        ],
        crs=CRS,
    )  # fmt: skip
    among = layers | {"existing_screens": standing}
    other = sides_of(screenplan.run_county(PLAN, layers=among, out=tmp_path / "among"))
    mine = other[other["parcel_id"] == "p1"]
    hold_to_its_plan(mine, among)
    # They do change what is told of the parcel.
    bare = sides_of(run).query("parcel_id == 'p1'")
    assert mine["plants"].sum() < bare["plants"].sum()
    assert mine["closed_y05"].sum() != bare["closed_y05"].sum()


@pytest.mark.parametrize("at_once", [1, 4, 100])
def test_the_cut_into_partitions_changes_no_row(run, layers, tmp_path, at_once):
    # Invariant.
    other = screenplan.run_county(PLAN, layers=layers, out=tmp_path / "cut", options={"at_once": at_once})  # fmt: skip
    assert other.parts == -(-6 // at_once)
    differ(sides_of(run), sides_of(other))
    for one, two in zip(sides_of(run).geometry, sides_of(other).geometry, strict=True):
        assert one.equals(two)


def test_neither_the_order_of_rows_nor_what_is_far_away_changes_a_row(run, layers, tmp_path):
    # Invariant; the far lots lie 20 km to the east, and a house and a road beside them.
    far = {name: layer.translate(20_000.0, 0.0) for name, layer in lots(4).items()}
    mixed = {}
    for name, layer in layers.items():
        more = gpd.GeoDataFrame(layer.iloc[: len(far[name])].drop(columns="geometry"), geometry=far[name].to_numpy()[: len(layer)], crs=CRS)  # fmt: skip
        key = {"parcels": "parcel_id", "buildings": "building_id", "roads": "road_id"}[name]
        more[key] = "far " + more[key]
        whole = pd.concat([layer, more], ignore_index=True)
        mixed[name] = whole.sample(frac=1.0, random_state=5).reset_index(drop=True)
    other = screenplan.run_county(
        PLAN, layers=mixed, out=tmp_path / "mixed", options={"at_once": 4}
    )
    assert other.parcels == 10
    sides = sides_of(other)
    near = sides[~sides["parcel_id"].str.startswith("far")].reset_index(drop=True)
    differ(sides_of(run), near, leave=ROW)
    # The row in the file is that of the shuffled layer.
    at = dict(zip(mixed["parcels"]["parcel_id"], range(1, 11), strict=True))
    assert sides["parcel_row"].tolist() == [at[name] for name in sides["parcel_id"]]


def test_totals_are_the_sums_of_the_rows_and_of_the_plants(run):
    # Invariant: counted once more from the files.
    sides = sides_of(run)
    for name in ("plants", "windows", "views_open", "closed_y05", "closed_y10", "closed_y20"):
        assert run.totals[name] == sides[name].astype(int).sum()
    assert run.totals["cost"] == pytest.approx(sides["cost"].astype(float).sum())
    assert run.totals["unpriced"] == 0
    files = sorted((run.folder / "county_plants").glob("*.parquet"))
    assert run.totals["plants"] == sum(Columnar(path).rows for path in files)
    assert run.parcels == run.totals["planned"] == 6


def test_the_parts_are_geoparquet_that_others_read_in_the_parcels_system(run, layers):
    # Another library: geopandas' own reader, with the box column for a filter.
    path = run.folder / "county_sides" / "part-000000.parquet"
    whole = gpd.read_parquet(path)
    assert whole.crs == CRS
    outline = layers["parcels"].union_all()
    assert outline.buffer(SAME_M).covers(shapely.union_all(whole.geometry.to_numpy()))
    west, south, _, _ = whole.total_bounds
    box = (west - 1.0, south - 1.0, west + 1.0, south + 1.0)
    some = gpd.read_parquet(path, bbox=box)
    assert 0 < len(some) < len(whole)
    assert len(some) == whole.geometry.intersects(shapely.box(*box)).sum()


def test_the_record_names_every_file_and_the_totals(run):
    record = read_record(run.folder)
    assert {"county.gpkg", "county_skipped.csv", "county_plants/part-000001.parquet"} <= set(
        record.files
    )
    for name, entry in record.files.items():
        assert is_unchanged(run.folder / name, entry)
    assert record.parameters["totals"]["plants"] == run.totals["plants"]
    assert [entry["name"] for entry in record.inputs] == ["parcels", "buildings", "roads"]
    assert "ground is taken as level" in " ".join(record.warnings)


def test_the_map_holds_every_side_with_its_style(run):
    path = run.folder / "county.gpkg"
    sides = gpd.read_file(path, layer="county_sides")
    assert len(sides) == len(sides_of(run))
    assert sides.crs == CRS
    with closing(sqlite3.connect(path)) as database:
        styled = {name for (name,) in database.execute("SELECT f_table_name FROM layer_styles")}
    assert styled == {"county_sides", "county_lines", "county_plants"}


def test_without_buildings_there_are_rows_only_and_it_says_so(layers, tmp_path):
    some = {name: layers[name] for name in ("parcels", "roads")}
    run = screenplan.run_county(PLAN, layers=some, out=tmp_path / "bare")
    sides = sides_of(run)
    assert sides["views_open"].astype(int).sum() == 0 < sides["plants"].astype(int).sum()
    # Plants of 0.9 m cost 20, and these have a price; of another height none has.
    other = screenplan.run_county(PLAN, layers=some, out=tmp_path / "tall", settings=['plants.stock_height="1.2 m"'])  # fmt: skip
    assert other.totals["unpriced"] == other.totals["plants"] > 0 == other.totals["cost"]
    assert any("there are rows only" in warning for warning in run.warnings)


def test_a_lot_without_room_says_for_each_side_why(tmp_path):
    # 5 m wide: no stem stands off both lines by what the boundary rules ask.
    lot = gpd.GeoDataFrame({"parcel_id": ["thin"]}, geometry=[shapely.box(EAST, NORTH, EAST + 5.0, NORTH + 30.0)], crs=CRS)  # fmt: skip
    run = screenplan.run_county(PLAN, layers={"parcels": lot}, out=tmp_path / "thin")
    sides = sides_of(run)
    assert not len(run.skipped)
    assert sides["cause"].str.contains("too narrow for a row").all()
    assert sides["plants"].astype(int).sum() == 0
    assert sides["needed_m"].isna().all()


def bad_layers():
    """Lots with others among them that cannot be used, and which of them is which."""
    good = lots(6)
    west = EAST + 200.0
    bad = {
        "none": None,
        "empty": shapely.Polygon(),
        "point": shapely.Point(west, NORTH),
        "bow tie": shapely.Polygon([(west, NORTH), (west + 30, NORTH + 30), (west + 30, NORTH), (west, NORTH + 30)]),
        "giant": shapely.box(EAST + 40_000.0, NORTH + 40_000.0, EAST + 90_000.0, NORTH + 90_000.0),
        "endless": shapely.Polygon([(west, NORTH), (west + 10, np.inf), (west + 10, NORTH)]),
    }  # fmt: skip
    twice = [shapely.box(west, NORTH + y, west + 20.0, NORTH + y + 20.0) for y in (100.0, 130.0)]
    parcels = gpd.GeoDataFrame(
        {"parcel_id": [*good["parcels"]["parcel_id"], *bad, "twice", "twice"]},
        geometry=[*good["parcels"].geometry, *bad.values(), *twice],
        crs=CRS,
    )
    return good | {"parcels": parcels}, list(bad)


def test_what_cannot_be_used_is_listed_and_stops_nothing(run, tmp_path):
    layers, bad = bad_layers()
    other = screenplan.run_county(PLAN, layers=layers, out=tmp_path / "bad", options={"at_once": 5})
    sides = sides_of(other)
    differ(sides_of(run), sides[~sides["parcel_id"].isin([*bad, "twice"])].reset_index(drop=True))
    told = other.skipped.set_index("parcel_id")
    assert sorted(told.index) == sorted([*bad, "twice", "twice"])
    says = dict(zip(other.skipped["parcel_id"], other.skipped["reason"], strict=True))
    assert "no geometry" in says["none"]
    assert "empty" in says["empty"]
    assert "no area" in says["point"]
    assert "not a finite number" in says["endless"]
    assert "several rows" in says["twice"]
    assert "covers" in says["giant"]
    assert other.skipped["remedy"].notna().all()
    rows = dict(zip(other.skipped["parcel_id"], other.skipped["source_row"], strict=True))
    assert rows["none"] == 7
    assert other.parcels == 14
    written = pd.read_csv(other.folder / "county_skipped.csv")
    assert len(written) == len(other.skipped)


def test_a_broken_neighbour_is_listed_once_and_stops_nobody(tmp_path):
    layers = lots(3)
    x = EAST + 2 * 24.0
    knot = shapely.Polygon([(x, NORTH), (x + 24, NORTH + 30), (x + 24, NORTH), (x, NORTH + 30)])
    beside = gpd.GeoDataFrame({"parcel_id": ["knot"]}, geometry=[knot], crs=CRS)
    parcels = pd.concat([layers["parcels"], beside], ignore_index=True)
    run = screenplan.run_county(PLAN, layers=layers | {"parcels": parcels}, out=tmp_path / "knot")
    assert run.skipped[["source_row", "parcel_id"]].to_numpy().tolist() == [[4, "knot"]]
    assert set(sides_of(run)["parcel_id"]) == {"p1", "p2", "p3"}
    assert run.parcels == 4
    assert run.totals["planned"] == 3


def test_overlapping_parcels_are_planned_as_by_themselves(tmp_path):
    good = lots(2)
    again = good["parcels"].iloc[[0]].translate(3.0, 0.0)
    extra = gpd.GeoDataFrame({"parcel_id": ["over"]}, geometry=again.to_numpy(), crs=CRS)
    parcels = pd.concat([good["parcels"], extra], ignore_index=True)
    run = screenplan.run_county(PLAN, layers=good | {"parcels": parcels}, out=tmp_path / "over")
    assert set(sides_of(run)["parcel_id"]) | set(run.skipped["parcel_id"]) == {"p1", "p2", "over"}


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        ({"design": {"wanted": True}}, "design.wanted: this is for a single parcel"),
        ({"rows": {"along": ["north"]}}, "classes of sides in county.planted"),
        ({"subject": {"id": "p1"}}, "Leave the section subject out"),
        ({"county": {"planted": ["back"]}}, "'back' is no class of sides"),
        ({"county": {"spacing": {"back": "2 m"}}}, "'back' is no class of sides"),
    ],
)
def test_what_is_for_one_parcel_is_refused(layers, tmp_path, plan, says):
    with pytest.raises(screenplan.InputError, match=says):
        screenplan.run_county(plan, layers=layers, out=tmp_path / "refused")
    assert not (tmp_path / "refused").exists()


def test_layers_that_a_county_does_not_read_are_refused(layers, tmp_path):
    with pytest.raises(screenplan.InputError, match="reads no layer marks"):
        screenplan.run_county(PLAN, layers=layers | {"marks": layers["roads"]}, out=tmp_path / "no")
    plan = tmp_path / "every.toml"
    plan.write_text('[layers.sun_places]\nfile = "beds.gpkg"\n', encoding="utf-8")
    with pytest.raises(
        screenplan.InputError, match=r"every\.toml, key layers\.sun_places: A county"
    ):
        screenplan.run_county(plan, layers=layers, out=tmp_path / "no")
    with pytest.raises(screenplan.InputError, match="parcels is missing"):
        screenplan.run_county({}, layers={}, out=tmp_path / "no")
    with pytest.raises(screenplan.InputError, match="'trees' is not written of a county"):
        screenplan.run_county(PLAN, layers=layers, out=tmp_path / "no", options={"wanted": ("trees",)})  # fmt: skip
    with pytest.raises(screenplan.InputError, match="workers is 0"):
        screenplan.run_county(PLAN, layers=layers, out=tmp_path / "no", options={"workers": 0})


def test_a_class_of_sides_can_have_a_design_of_its_own(layers, tmp_path):
    changed = PLAN | {"county": PLAN["county"] | {"species": {"rear": "ilex_opaca"}, "spacing": {"rear": "3 m"}}}  # fmt: skip
    run = screenplan.run_county(changed, layers=layers, out=tmp_path / "own", options={"wanted": ("plants",)})  # fmt: skip
    plants = gpd.read_parquet(run.folder / "county_plants" / "part-000000.parquet")
    sides = sides_of(run).set_index(["parcel_id", "side_id"])["side_class"]
    classes = np.array([sides[key] for key in zip(plants["parcel_id"], plants["side_id"], strict=True)])  # fmt: skip
    assert set(plants["species"][classes == "rear"]) == {"ilex_opaca"}
    assert set(plants["species"][classes == "side"]) == {"thuja_occidentalis"}
    # Those of two designs keep half the spacing of the later one apart.
    first = plants[(plants["parcel_id"] == "p1").to_numpy(bool)]
    rear = classes[(plants["parcel_id"] == "p1").to_numpy(bool)] == "rear"
    apart = shapely.distance(first.geometry[rear].to_numpy()[:, None], first.geometry[~rear].to_numpy()[None, :])  # fmt: skip
    assert apart.min() >= 1.5 - SAME_M
    # Numbered along the parcel's rows from 1.
    assert sorted(first["plant_id"]) == list(range(1, len(first) + 1))


def test_parcels_in_degrees_are_planned_as_those_in_metres(run, layers, tmp_path):
    # Invariant: the same ground in another system; coordinates agree to the last digits of a double in degrees.
    turned = {name: layer.to_crs("EPSG:4326") for name, layer in layers.items()}
    other = screenplan.run_county(PLAN, layers=turned, out=tmp_path / "degrees")
    mine, theirs = sides_of(other), sides_of(run)
    assert list(mine.crs.to_authority()) == ["EPSG", "4326"]
    for name in ("side_id", "side_class", "plants", "windows", "views_open", "closed_y10"):
        assert mine[name].tolist() == theirs[name].tolist()
    assert mine["needed_m"].fillna(-1).astype(float).tolist() == pytest.approx(
        theirs["needed_m"].fillna(-1).astype(float).tolist(), abs=1e-4
    )


@pytest.mark.parametrize(
    "outline", [None, shapely.box(EAST, NORTH, EAST + 90_000.0, NORTH + 90_000.0)]
)
def test_a_file_of_which_no_parcel_can_be_planned_says_so(tmp_path, outline):
    lot = gpd.GeoDataFrame({"parcel_id": ["a"]}, geometry=[outline], crs=CRS)
    run = screenplan.run_county(PLAN, layers={"parcels": lot}, out=tmp_path / "none")
    assert run.totals["planned"] == 0
    assert run.skipped["parcel_id"].tolist() == ["a"]
    assert "No parcel was planned." in run.warnings
    assert read_record(run.folder).files


def test_an_error_of_ours_on_one_parcel_stops_no_other(layers, tmp_path, monkeypatch):
    from screenplan.county.planner import Planner

    real = Planner.plan_lots

    def fail(self, site, lots, *rest):
        if "p2" in lots.names:
            raise ZeroDivisionError("by zero")
        return real(self, site, lots, *rest)

    monkeypatch.setattr(Planner, "plan_lots", fail)
    some = layers | {"parcels": layers["parcels"].iloc[:3]}
    run = screenplan.run_county(PLAN, layers=some, out=tmp_path / "error")
    assert run.skipped["reason"].tolist() == ["an error of screenplan (ZeroDivisionError: by zero)"]
    assert set(sides_of(run)["parcel_id"]) == {"p1", "p3"}
