"""Cells: what shares a frame and the ground hangs on where a parcel lies, and on nothing else."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from county_kit import CRS, lots

from screenplan.county.cells import CELL_DEG, TILES, box_of, cells_of, frame_of
from screenplan.ground.errors import InputError


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


def test_tiles_are_parts_of_cells_and_their_boxes_hold_their_parcels():
    parcels = lots(8)["parcels"]
    tiles, cells = cells_of(parcels, TILES), cells_of(parcels)
    assert (np.floor(tiles / TILES) == cells).all()
    frame = frame_of(cells[0], parcels, None)
    middles = gpd.GeoSeries(shapely.centroid(parcels.geometry.to_numpy()), crs=CRS)
    placed = frame.bring_in(gpd.GeoDataFrame(geometry=middles)).geometry
    for tile, middle in zip(tiles, placed, strict=True):
        box = box_of(tile, TILES, parcels.crs, frame)
        assert shapely.box(*box).contains(middle)
        # Half a cell of 0.02 degrees of latitude: 0.01 of 111.2 km at 50 degrees (WGS 84).
        assert box[3] - box[1] == pytest.approx(1112.0, abs=5.0)
