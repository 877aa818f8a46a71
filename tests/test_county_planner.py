"""What is planned of many lots at once is what is planned of each alone, to the last digit."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import CRS, PLAN, lots
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.county.cells import cells_of, frame_of
from screenplan.county.planner import Planner
from screenplan.county.together import read_together
from screenplan.plan import check_plan
from screenplan.site.lots import Lots
from screenplan.site.reading import LayerSource, read_site

REACH_M = 40.0
#: Two designs, the second of two rows that may meet the first at the corners.
TWO = PLAN | {"county": PLAN["county"] | {"spacing": {"rear": "1.2 m"}}}


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


def assert_same(mine, other):
    """The same rows in the same order, to the last digit."""
    assert_geodataframe_equal(mine, other)
    assert (mine.geometry.to_wkb() == other.geometry.to_wkb()).all()
    pd.testing.assert_frame_equal(pd.DataFrame(mine), pd.DataFrame(other), check_exact=True)


class Beside:
    """Lots that are planned at once, and what plans one alone in the same frame."""

    def __init__(self, layers, said, folder):
        plan, parcels = check_plan(said, given=layers), layers["parcels"]
        self.planner = Planner(plan, folder)
        self.sources = {name: LayerSource(layer) for name, layer in layers.items()}
        self.frame = frame_of(cells_of(parcels)[0], parcels, None)
        near = {name: (self.sources[name], layer) for name, layer in layers.items()}
        self.names = parcels["parcel_id"].tolist()
        self.read = read_together(near, self.names, plan, self.frame)

    def at_once(self, names):
        return self.planner.plan_lots(self.read.site, self.read.lots(names, REACH_M))

    def alone(self, name):
        site = read_site(self.sources, plan=self.planner.plan_for(name), frame=self.frame)
        return self.planner.plan_lots(site, Lots.one(site.layers))


def assert_told_alike(planned, number, alone):
    """A lot of several has what it has alone."""
    for name, many in planned.layers.items():
        assert_same(many.of(number), alone.layers[name].of(0))
    mine = planned.layers["sides"].lot == number
    for told in ("classes", "causes"):
        assert getattr(planned, told)[mine].tolist() == getattr(alone, told).tolist()
    assert planned.target_spacing_m[number] == alone.target_spacing_m[0]


# Invariant: other lots, their order and the cut count for nothing.
@pytest.mark.parametrize("said", [PLAN, TWO])
def test_many_lots_have_what_each_has_alone(tmp_path, said):
    @settings(max_examples=3, deadline=None)
    @given(seed=st.integers(0, 10_000), some=st.permutations(range(8)))
    def check(seed, some):
        beside = Beside(crooked(seed), said, tmp_path)
        names = [name for name in beside.names if beside.read.plain([name], REACH_M).all()]
        planned = beside.at_once(names)
        assert len(planned.layers["windows"].lot) > 10
        turned = [names[k] for k in some[:5] if k < len(names)]
        other = beside.at_once(turned) if turned else None
        for number, name in enumerate(names):
            alone = beside.alone(name)
            assert_told_alike(planned, number, alone)
            if name in turned:
                assert_told_alike(other, turned.index(name), alone)

    check()
