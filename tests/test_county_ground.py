"""The ground of a county: read by window, the same whatever the cut, as a plan of the parcel alone reads it."""

import numpy as np
import pytest
import rasterio
from county_kit import CRS, EAST, NORTH, PLAN, lots, sides_of
from pyproj import Transformer
from rasterio import Affine

import screenplan
from screenplan.county.cells import TILES, cells_of, frame_of
from screenplan.county.ground import Ground, frame_on, ground_of
from screenplan.plan import check_plan
from screenplan.site.raster import read_terrain
from screenplan.site.terrain import Terrain, TerrainSource

#: Size of the raster's cells, metres, and how many there are each way.
CELL_M, CELLS = 5.0, 80
REACH_M = 40.0
#: On a plane the ground is known exactly; the frames' scales differ by a millionth or so.
SAME_M = 1e-3
COUNT = 4


def raster(path, *, wave_m):
    """A hillside that rises 1 in 10 to the north-east, with waves on it."""
    along = np.arange(CELLS) * CELL_M
    x, y = np.meshgrid(along, along[::-1])
    z = 200.0 + 0.07 * (x + y) + wave_m * np.sin(x / 17.0) * np.cos(y / 11.0)
    corner = Affine(CELL_M, 0.0, EAST - 150.0, 0.0, -CELL_M, NORTH + 250.0)
    with rasterio.open(
        path, "w", driver="GTiff", width=CELLS, height=CELLS, count=1, dtype="float64", crs=CRS, transform=corner
    ) as file:  # fmt: skip
        file.write(z, 1)
        file.units = ("m",)
    return path


@pytest.fixture(scope="module")
def hills(tmp_path_factory):
    return raster(tmp_path_factory.mktemp("hills") / "hills.tif", wave_m=2.0)


# Evidence: the ground that a plan of a place alone reads, on a grid of its own; between nodes of 5 m both are out by
# what the waves bend within a cell: 2 m (1/17² + 1/11²) · 5² / 8 = 0.07 m.
def test_the_ground_of_a_tile_is_that_which_is_read_for_a_parcel(hills):
    parcels, plan = lots(COUNT)["parcels"], check_plan(PLAN, given=["parcels"])
    tile, frame = cells_of(parcels, TILES)[0], frame_of(cells_of(parcels)[0], parcels, None)
    ground = ground_of(tile, TerrainSource(hills), plan, parcels.crs, frame)
    outline = frame.bring_in(parcels).geometry.iloc[0]
    alone, *_ = read_terrain(TerrainSource(hills), frame, outline.buffer(REACH_M).bounds)
    x, y = np.random.default_rng(5).uniform(*np.reshape(outline.bounds, (2, 2)), (50, 2)).T
    assert np.abs(ground.terrain.height_at(x, y) - alone.height_at(x, y)).max() < 0.15
    assert np.ptp(alone.height_at(x, y)) > 1.0


def test_ground_is_known_where_every_node_around_it_is():
    # By hand: nodes 10 m apart, of which that at (20, 10) is not known.
    known = np.ones((4, 5), dtype=bool)
    known[1, 2] = False
    ground = Ground(Terrain(np.zeros((4, 5)), 0.0, 0.0, 10.0, 10.0), known)
    boxes = [
        (0, 0, 10, 30), (0, 0, 10.1, 9.9), (30, 0, 40, 30), (29.9, 9, 40, 30), (0, 20, 40, 30), (0, 19.9, 40, 30), (-0.1, 20, 9, 29), (31, 20, 40.1, 29),
    ]  # fmt: skip
    told = [True, False, True, False, True, False, False, False]
    assert ground.holds(np.array(boxes, dtype=float)).tolist() == told


@pytest.mark.parametrize("at_once", [1, 3])
def test_the_cut_changes_no_row_on_a_hillside(hills, tmp_path, at_once):
    # Invariant.
    plan = PLAN | {"terrain": {"file": str(hills)}}
    runs = [
        screenplan.run_county(plan, layers=lots(COUNT), out=tmp_path / f"{cut}", options={"at_once": cut})
        for cut in (at_once, 100)
    ]  # fmt: skip
    one, other = (sides_of(run).drop(columns="geometry") for run in runs)
    assert one.astype(object).where(one.notna(), None).values.tolist() == other.astype(object).where(other.notna(), None).values.tolist()  # fmt: skip
    assert not any(len(run.skipped) for run in runs)


def test_a_parcel_on_a_slope_is_what_a_plan_of_it_alone_gives(tmp_path):
    # Evidence: the plan of the parcel alone, in a frame and on a grid of its own; a plane is the same on both.
    path = raster(tmp_path / "slope.tif", wave_m=0.0)
    plan, layers = PLAN | {"terrain": {"file": str(path)}}, lots(COUNT)
    sides = sides_of(screenplan.run_county(plan, layers=layers, out=tmp_path / "out"))
    mine = sides[sides["parcel_id"] == "p2"].set_index("side_id")
    planted = mine.index[mine["side_class"] != "front"]
    alone = screenplan.run_plan(
        plan, layers=layers, only=["views", "needed_height"],
        settings=[
            "subject.id=p2", f"rows.along={list(planted)}", "chance.draws=0",
            f'views.target_spacing="{mine["target_spacing_m"].iloc[0]} m"',
        ],
    )  # fmt: skip
    needed = alone.layers["needed_height"].groupby("line_id")["needed_m"].max()
    assert mine.loc[planted, "needed_m"].astype(float).tolist() == pytest.approx(
        [needed[f"{name}-row1"] for name in planted], abs=SAME_M
    )
    views = alone.layers["views"]
    today = views[views["status"].isin(["closes", "stays open"])]
    assert mine["views_open"].sum() == len(today) > 0
    assert mine["closed_y10"].sum() == (today["year_closed"].fillna(99) <= 10).sum()


def test_a_parcel_beyond_the_terrain_is_set_aside_with_the_reason(hills, tmp_path):
    layers = lots(COUNT)
    far = {name: layer.copy() for name, layer in layers.items()}
    for name in far:
        far[name]["geometry"] = far[name].translate(230.0, 0.0)
    plan = PLAN | {"terrain": {"file": str(hills)}}
    run = screenplan.run_county(plan, layers=far, out=tmp_path / "far")
    assert len(run.skipped) == COUNT - len(set(sides_of(run)["parcel_id"])) > 0
    assert run.skipped["reason"].str.contains("The raster ends before the ground that is needed").all()  # fmt: skip


def test_a_terrain_that_is_not_there_is_refused_before_anything_is_planned(tmp_path):
    plan = PLAN | {"terrain": {"file": str(tmp_path / "none.tif")}}
    with pytest.raises(screenplan.InputError, match=r"none\.tif.*does not exist"):
        screenplan.run_county(plan, layers=lots(COUNT), out=tmp_path / "out")
    assert not list(tmp_path.glob("out/*"))


def test_a_file_that_is_no_terrain_is_refused_once_and_leaves_nothing(tmp_path):
    path = tmp_path / "notes.tif"
    path.write_text("no raster")
    plan = PLAN | {"terrain": {"file": str(path)}}
    with pytest.raises(screenplan.InputError, match=r"notes\.tif.*cannot be read as a raster"):
        screenplan.run_county(plan, layers=lots(COUNT), out=tmp_path / "out")
    assert not list(tmp_path.glob("out/*"))


def test_the_frame_of_a_cell_lies_at_the_height_of_the_ground_in_its_middle(tmp_path):
    # The closed form: a plane of 350 m in the middle, which rises 1 in 10 to the east.
    layers = lots(COUNT)
    parcels, plan = layers["parcels"], check_plan(PLAN, given=layers)
    cell = cells_of(parcels)[0]
    level = frame_on(None, plan, cell, parcels)
    assert level.height_m is None
    east, north = Transformer.from_crs(level.crs, CRS, always_xy=True).transform(0.0, 0.0)
    half = CELLS * CELL_M / 2.0
    x = (np.arange(CELLS) + 0.5) * CELL_M - half
    with rasterio.open(
        tmp_path / "plane.tif", "w", driver="GTiff", width=CELLS, height=CELLS, count=1, dtype="float64",
        crs=CRS, transform=Affine(CELL_M, 0.0, east - half, 0.0, -CELL_M, north + half),
    ) as file:  # fmt: skip
        file.write(np.broadcast_to(350.0 + 0.1 * x, (CELLS, CELLS)), 1)
        file.units = ("m",)
    source = TerrainSource(tmp_path / "plane.tif")
    assert frame_on(source, plan, cell, parcels).height_m == pytest.approx(350.0, abs=0.01)
    given = plan.model_copy(update={"site": plan.site.model_copy(update={"height": 12.0})})
    assert frame_on(source, given, cell, parcels).height_m == 12.0
