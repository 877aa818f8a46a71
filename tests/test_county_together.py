"""What is read for many parcels at once is what is read for each alone; what hangs on the parcel is read by itself."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from county_kit import CRS, EAST, NORTH, PLAN, lots

from screenplan.county.cells import cells_of, frame_of
from screenplan.county.together import (
    read_together,
)
from screenplan.plan import check_plan
from screenplan.plan.site import Subject
from screenplan.site.reading import LayerSource, read_site

REACH_M = 40.0


def read(layers, said=PLAN):
    """Read all parcels of some layers at once, and what reads one alone in the same frame."""
    plan = check_plan(said, given=layers)
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
    names = layers["parcels"]["parcel_id"].tolist()
    lots_ = together.lots(names, REACH_M)
    for number, parcel_id in enumerate(names):
        expected = alone(parcel_id)
        assert set(lots_.around) == set(expected.layers)
        for name, layer in expected.layers.items():
            lot, row = lots_.near(name)
            mine = lots_.around[name].iloc[row[lot == number]]
            assert mine.geometry.geom_equals_exact(layer.geometry, 0.0, align=False).all()
            columns = [column for column in layer.columns if column not in ("geometry", "is_subject")]  # fmt: skip
            assert [column for column in mine.columns if column not in ("geometry", "is_subject")] == columns  # fmt: skip
            for column in columns:
                ours, theirs = (table[column].astype(object) for table in (mine, layer))
                assert ours.where(ours.notna(), None).tolist() == theirs.where(theirs.notna(), None).tolist(), (name, column)  # fmt: skip
            if name == "buildings":
                assert len(mine) > 2
        assert lots_.outlines[number].equals_exact(expected.subject, 0.0)


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
    assert not together.plain(["p1"], REACH_M).any()
    assert not together.plain(["p2"], REACH_M).any()
    assert together.plain(["p6"], REACH_M).all()


def test_a_multipart_parcel_and_an_unknown_one_are_read_by_themselves():
    layers = lots(4)
    one, other = layers["parcels"].geometry.iloc[0], shapely.box(EAST - 90, NORTH, EAST - 80, NORTH + 9)  # fmt: skip
    layers["parcels"].loc[0, "geometry"] = shapely.MultiPolygon([one, other])
    together, _ = read(layers)
    assert not together.plain(["p1"], REACH_M).any()
    assert not together.plain(["nobody"], REACH_M).any()


def test_nothing_is_read_together_where_it_may_hang_on_what_is_beyond_the_reach():
    # By hand: windows are looked for farther than the site is read; places are those of a single parcel.
    layers = lots(4)
    assert read(layers)[0] is not None
    near = PLAN | {"site": {"reach": "27 m"}}
    assert read(layers, near)[0] is None
    terrace = layers["parcels"].iloc[[0]].rename(columns={"parcel_id": "place_id"})
    assert read(layers | {"private_places": terrace})[0] is None


def test_nothing_is_read_together_where_the_layer_is_wrong_as_a_whole():
    layers = lots(4)
    layers["buildings"] = layers["buildings"].drop(columns="storeys")
    assert read(layers)[0] is None


def test_a_row_whose_ring_was_turned_is_read_with_the_others():
    # Half of the houses run clockwise, as files of mixed origin have it: the row alone decides about that.
    layers = lots(4)
    houses = layers["buildings"].geometry.to_numpy().copy()
    houses[::2] = [shapely.Polygon(house.exterior.coords[::-1]) for house in houses[::2]]
    layers["buildings"] = layers["buildings"].set_geometry(gpd.GeoSeries(houses, crs=CRS))
    together, _ = read(layers)
    assert together.site.repairs["repair"].astype(str).str.contains("rings turned").any()
    assert together.plain(layers["parcels"]["parcel_id"].tolist(), REACH_M).all()
