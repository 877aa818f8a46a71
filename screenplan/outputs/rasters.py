"""The grid of sun hours as a GeoTIFF, one band for today and one for each reported year."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from pyproj import CRS

from screenplan.outputs.record import describe_output
from screenplan.outputs.styles.sun_raster import write_sun_qml
from screenplan.outputs.vector import explain_failure

SUN_HOURS_NAME = "sun_hours.tif"
#: Cells that were not looked at.
NO_DATA = -9999.0


def write_sun_hours(sun_grid: pd.DataFrame, folder: str | Path, crs: CRS) -> list[dict]:
    """Write the layer ``sun_grid`` as a GeoTIFF in the local frame, hours of sun a year, with its style.

    Parameters
    ----------
    sun_grid : GeoDataFrame
        By its contract, in metres of the frame; nothing is written for an empty one.
    folder : path
        Where to.
    crs : pyproj.CRS
        The local frame.

    Returns
    -------
    list of dict
        For the run record, as `describe_output` gives them.
    """
    import rasterio

    if not len(sun_grid):
        return []
    path = Path(folder) / SUN_HOURS_NAME
    cell = float(sun_grid["cell_m"].iloc[0])
    column = sun_grid["column"].to_numpy(int)
    line = sun_grid["line"].to_numpy(int)
    column, line = column - column.min(), line.max() - line  # the first line is the northernmost
    west = sun_grid.geometry.x.min() - cell / 2.0
    north = sun_grid.geometry.y.max() + cell / 2.0
    years = [name for name in sun_grid.columns if name.startswith("sun_y")]
    names = ["sun_now_h", *years]
    said = ["today, without the row", *(f"year {int(name[5:])}, typical growth" for name in years)]
    shape = (len(names), line.max() + 1, column.max() + 1)
    bands = np.full(shape, NO_DATA, np.float32)
    for band, name in enumerate(names):
        bands[band, line, column] = sun_grid[name].to_numpy(float)
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": shape[0], "height": shape[1], "width": shape[2],
        "crs": rasterio.crs.CRS.from_wkt(crs.to_wkt()), "transform": rasterio.Affine(cell, 0.0, west, 0.0, -cell, north),
        "nodata": NO_DATA, "compress": "deflate", "predictor": 3,
    }  # fmt: skip
    # Everything goes into the file itself, so that no side file lies about in the folder.
    with (
        explain_failure(path, "sun_grid"),
        rasterio.Env(GDAL_PAM_ENABLED="NO"),
        rasterio.MemoryFile() as memory,
    ):
        with memory.open(**profile) as sink:
            sink.write(bands)
            for band, text in enumerate(said, 1):
                sink.set_band_description(band, f"hours of sun a year, {text}")
        # GDAL says nothing where a full disk takes the end of the file; Python does.
        path.write_bytes(memory.read())
    style = path.with_suffix(".qml")
    with explain_failure(style, "sun_grid"):
        style.write_text(write_sun_qml(sun_grid), encoding="utf-8", newline="\n")
    return [describe_output(path, {"sun_grid": len(sun_grid)}), describe_output(style, {})]
