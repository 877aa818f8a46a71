"""What is read for many parcels at once is what is read for each alone; what hangs on the parcel is read by itself."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import CRS, EAST, NORTH, PLAN, lots
from hypothesis import given, settings
from hypothesis import strategies as st
from lots_kit import assert_same

from screenplan.county.together import (
    CELL_DEG,
    cells_of,
    frame_of,
    lay_together,
    read_together,
)
from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.plan.site import Subject
from screenplan.site.places import lay_places
from screenplan.site.reading import LayerSource, read_site
from screenplan.site.sides import find_sides
from screenplan.site.windows import lay_windows

REACH_M = 40.0


def read(layers):
    """Read all parcels of some layers at once, and what reads one alone in the same frame."""
    plan = check_plan(PLAN, given=layers)
    parcels = layers["parcels"]
    frame = frame_of(cells_of(parcels)[0], parcels, None)
    sources = {name: LayerSource(layer) for name, layer in layers.items()}
    near = {name: (sources[name], layer) for name, layer in layers.items()}
    together = read_together(near, parcels["parcel_id"].tolist(), plan, frame)

    def alone(parcel_id):
        chosen = plan.model_copy(
            update={"subject": Subject.model_construct(id=parcel_id, point=None)}
        )
        return read_site(sources, plan=chosen, frame=frame)

    return together, alone


# Invariant.
def test_each_parcel_is_handed_what_it_is_handed_alone():
    layers = lots(8)
    layers["buildings"]["storeys"] = [1, 2, None, 2, 3, 2, 2, 1]
    layers["buildings"]["height_m"] = [None, None, 5.5, None, None, 4.0, None, None]
    together, alone = read(layers)
    for parcel_id in layers["parcels"]["parcel_id"]:
        site, expected = together.site_of(parcel_id, REACH_M), alone(parcel_id)
        assert site.subject_id == parcel_id
        assert set(site.layers) == set(expected.layers)
        for name, layer in expected.layers.items():
            mine = site.layers[name]
            assert mine.geometry.geom_equals_exact(layer.geometry, 0.0, align=False).all()
            columns = [column for column in layer.columns if column != "geometry"]
            assert [column for column in mine.columns if column != "geometry"] == columns
            for column in columns:
                ours, theirs = (table[column].astype(object) for table in (mine, layer))
                assert ours.where(ours.notna(), None).tolist() == theirs.where(theirs.notna(), None).tolist(), (name, column)  # fmt: skip
        assert len(site.layers["buildings"]) > 2


def broken(layers):
    """A bow tie whose mending would lose half of it."""
    x, y = EAST + 7.0, NORTH + 5.0
    knot = shapely.Polygon([(x, y), (x + 10, y + 8), (x + 10, y), (x, y + 8)])
    layers["buildings"].loc[0, "geometry"] = knot


def second_record(layers):
    """The first lot once more, by another name and another survey."""
    again = layers["parcels"].iloc[[0]].assign(parcel_id="again")
    again = again.set_geometry(again.translate(0.1, 0.0))
    layers["parcels"] = pd.concat([layers["parcels"], again], ignore_index=True)


def parts_of_a_house(layers):
    """A porch within the first house's outline, which goes into it."""
    porch = layers["buildings"].iloc[[0]].assign(building_id="porch", storeys=1)
    porch = porch.set_geometry([shapely.box(EAST + 8, NORTH + 6, EAST + 10, NORTH + 8)])
    layers["buildings"] = pd.concat([layers["buildings"], porch], ignore_index=True)


@pytest.mark.parametrize("spoil", [broken, second_record, parts_of_a_house])
def test_what_hangs_on_what_is_around_is_read_by_itself_and_only_near_it(spoil):
    # By hand: lots are 24 m wide, in a row; with a reach of 40 m the fifth does not reach the first.
    layers = {name: layer.iloc[:8].copy() for name, layer in lots(16).items()}
    spoil(layers)
    together, _ = read(layers)
    assert together.site_of("p1", REACH_M) is None
    assert together.site_of("p2", REACH_M) is None
    assert together.site_of("p6", REACH_M) is not None


def test_a_multipart_parcel_and_an_unknown_one_are_read_by_themselves():
    layers = lots(4)
    one, other = layers["parcels"].geometry.iloc[0], shapely.box(EAST - 90, NORTH, EAST - 80, NORTH + 9)  # fmt: skip
    layers["parcels"].loc[0, "geometry"] = shapely.MultiPolygon([one, other])
    together, _ = read(layers)
    assert together.site_of("p1", REACH_M) is None
    assert together.site_of("nobody", REACH_M) is None


def crooked(seed: int, count: int = 8):
    """Lots and houses whose corners are moved by up to 2 m; some houses touch, one row of each layer comes before another."""
    rng, layers = np.random.default_rng(seed), lots(count)
    for name in ("parcels", "buildings"):
        layer = layers[name]
        shapes = [
            shapely.Polygon(np.array(shape.exterior.coords[:-1]) + rng.uniform(-2.0, 2.0, (4, 2)))
            for shape in layer.geometry
        ]
        layers[name] = layer.set_geometry(gpd.GeoSeries(shapes, crs=CRS))
    beside = layers["buildings"].iloc[[1]].assign(building_id="beside").translate(10.0, 0.5)
    layers["buildings"].loc[0, "geometry"] = beside.iloc[0]
    return {
        name: layer.iloc[rng.permutation(len(layer))].reset_index(drop=True)
        for name, layer in layers.items()
    }


# Invariant: what is beyond the reach, the order of rows and the cut count for nothing.
@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000), some=st.sets(st.integers(0, 7), min_size=1))
def test_what_is_laid_of_many_parcels_is_what_is_laid_of_each_alone(seed, some):
    plan = check_plan(PLAN, given=["parcels", "buildings"])
    layers = crooked(seed)
    together, _ = read(layers)
    turned, _ = read({name: layer.iloc[::-1].reset_index(drop=True) for name, layer in layers.items()})  # fmt: skip
    ids = layers["parcels"]["parcel_id"].tolist()
    cut = lay_together(together.site, [ids[k] for k in some], plan)
    assert set(together.laid) == set(ids)
    windows = 0
    for parcel_id in ids:
        site = together.site_of(parcel_id, REACH_M)
        if site is None:  # outlines that overlap by much are read alone
            continue
        parcels, laid = site.layers["parcels"], together.laid[parcel_id]
        assert_same(laid["sides"], find_sides(parcels, site.layers["roads"], plan=plan))
        assert_same(laid["windows"], lay_windows(parcels, site.layers["buildings"], plan=plan))
        places = lay_places(parcels, site.layers["buildings"], site.layers["roads"], plan=plan)
        assert_same(laid["private_places"], places)
        windows += len(laid["windows"])
        for other in (turned.laid, cut):
            for name, layer in other.get(parcel_id, {}).items():
                assert_same(laid[name], layer)
    assert set(cut) == {ids[k] for k in some}
    assert windows > 20


def test_nothing_is_laid_together_where_it_may_hang_on_what_is_beyond_the_reach():
    # By hand: houses without names are called by their row; windows are looked for farther than the site is read.
    layers = lots(4)
    plan = check_plan(PLAN, given=layers)
    together, _ = read(layers)
    assert set(together.laid["p1"]) == {"sides", "windows", "private_places"}
    nameless = replace(together.site, layers=together.site.layers | {"buildings": together.site.layers["buildings"].assign(building_id=None)})  # fmt: skip
    assert set(lay_together(nameless, ["p1"], plan)["p1"]) == {"sides", "private_places"}
    for reach, left in ((27.0, {"sides", "private_places"}), (19.0, None)):
        near = plan.model_copy(update={"site": plan.site.model_copy(update={"reach": reach})})
        assert lay_together(together.site, ["p1"], near).get("p1", {}).keys() == (left or set())


def test_where_one_cannot_be_laid_each_is_laid_by_itself():
    layers = lots(4)
    together, _ = read(layers)
    parcels = together.site.layers["parcels"].copy()
    parcels.loc[1, "geometry"] = shapely.Polygon()
    spoiled = replace(together.site, layers=together.site.layers | {"parcels": parcels})
    assert lay_together(spoiled, ["p1", "p2"], check_plan(PLAN, given=layers)) == {}


def test_nothing_is_read_together_where_the_layer_is_wrong_as_a_whole():
    layers = lots(4)
    layers["buildings"] = layers["buildings"].drop(columns="storeys")
    assert read(layers)[0] is None


@pytest.mark.parametrize("crs", [CRS, "EPSG:4326", "EPSG:2249"])
def test_a_cell_has_one_frame_whatever_the_parcels_lie_in(crs):
    """Evidence: the cell is cut in degrees, so that its frame's middle is a round number of half cells."""
    parcels = lots(4)["parcels"] if crs == CRS else gpd.GeoDataFrame({"parcel_id": ["a"]}, geometry=[shapely.box(-71.09, 42.36, -71.089, 42.361)], crs=4326).to_crs(crs)  # fmt: skip
    cells = cells_of(parcels)
    assert (cells == cells[0]).all()
    frame = frame_of(cells[0], parcels, 120.0)
    middle = np.array([frame.lon0, frame.lat0]) / CELL_DEG
    assert np.allclose(middle - np.floor(middle), 0.5, atol=1e-6)
    assert frame.height_m == 120.0
    # No farther from its middle than half a cell: 0.01° of latitude are 1,112 m.
    placed = frame.bring_in(parcels).total_bounds
    assert np.abs(placed).max() < 1112.0 + 100.0


def test_a_parcel_without_a_place_has_no_cell():
    parcels = gpd.GeoDataFrame({"parcel_id": ["a"]}, geometry=[None], crs=CRS)
    assert np.isnan(cells_of(parcels)).all()
    with pytest.raises(InputError, match="Draw its outline anew"):
        frame_of(cells_of(parcels)[0], parcels, None)


def test_a_row_whose_ring_was_turned_is_read_with_the_others():
    # Half of the houses run clockwise, as files of mixed origin have it: the row alone decides about that.
    layers = lots(4)
    houses = layers["buildings"].geometry.to_numpy().copy()
    houses[::2] = [shapely.Polygon(house.exterior.coords[::-1]) for house in houses[::2]]
    layers["buildings"] = layers["buildings"].set_geometry(gpd.GeoSeries(houses, crs=CRS))
    together, _ = read(layers)
    assert together.site.repairs["repair"].astype(str).str.contains("rings turned").any()
    assert all(
        together.site_of(name, REACH_M) is not None for name in layers["parcels"]["parcel_id"]
    )
