"""The raster of sun hours: what arrives in the file, and what a full disk leaves."""

import geopandas
import numpy as np
import pytest
import rasterio
import shapely

from screenplan.ground.errors import InputError
from screenplan.outputs.rasters import NO_DATA, write_sun_hours

COLUMNS, LINES, CELL_M = 40, 30, 2.0


@pytest.fixture
def grid():
    """Every cell but the first, each with hours of its own that no packing shortens."""
    column, line = (axis.ravel() for axis in np.meshgrid(np.arange(COLUMNS), np.arange(LINES)))
    hours = np.random.default_rng(5).uniform(0.0, 4000.0, (2, column.size))
    whole = geopandas.GeoDataFrame(
        {
            "cell_id": range(column.size), "column": column, "line": line, "cell_m": CELL_M,
            "sun_now_h": hours[0], "sun_y10": hours[1],
        },
        geometry=shapely.points(CELL_M * column, CELL_M * line),
        crs=32632,
    )  # fmt: skip
    return whole.iloc[1:]


def test_every_cell_stands_at_its_place(grid, tmp_path):
    write_sun_hours(grid, tmp_path, grid.crs)
    with rasterio.open(tmp_path / "sun_hours.tif") as read:
        assert read.descriptions == (
            "hours of sun a year, today, without the row",
            "hours of sun a year, year 10, typical growth",
        )
        for band, name in enumerate(("sun_now_h", "sun_y10"), 1):
            at = zip(grid.geometry.x, grid.geometry.y, strict=True)
            found = np.array([value[0] for value in read.sample(at, indexes=band)])
            assert found == pytest.approx(grid[name].to_numpy(), rel=1e-6)  # of 32 bits
            assert read.read(band)[-1, 0] == NO_DATA  # the cell that is not there, south-west


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_a_full_disk_is_told(grid, tmp_path, share):
    resource = pytest.importorskip("resource", reason="POSIX only")
    (tmp_path / "free").mkdir()
    write_sun_hours(grid, tmp_path / "free", grid.crs)
    size = (tmp_path / "free" / "sun_hours.tif").stat().st_size
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(share * size), before[1]))
    try:
        with pytest.raises(InputError, match="could not be written"):
            write_sun_hours(grid, tmp_path, grid.crs)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
