"""Whether heights can be metres: held against the storeys, the footprint, the kind of thing."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.site.repair import Findings

#: No storey of a house is taller than this; common practice, no source.
HIGHEST_STOREY_M = 6.0
#: A house is less tall than this, in sides of a square of its footprint's area ...
MOST_SLENDER = 2.0
#: ... and half of all houses of a neighbourhood are less tall than this; see `refuse_heights`.
TYPICAL_SLENDER = 1.0
#: A wall or fence between gardens is less tall than this, metres; common practice, no source.
HIGHEST_FENCE_M = 4.0


def doubt_heights(buildings: gpd.GeoDataFrame) -> list[str]:
    """Say which heights do not go with the number of storeys: feet taken for metres, mostly."""
    height, storeys = buildings["height_m"].astype(float), buildings["storeys"].astype(float)
    return [
        f"Building in row {row}: {{{height[row]:.1f} m}} for {storeys[row]:.0f} storeys. If the file counts in feet, say so: "
        'units = { height_m = "ft" }'
        for row in buildings.index[_too_tall_for_storeys(buildings)]
    ]


def refuse_heights(name: str, layer: gpd.GeoDataFrame, column: str, findings: Findings) -> None:
    """Refuse heights of which nobody says the unit, and which are hardly metres.

    A building is held against its storeys, and against the side of a square of its footprint's area.
    Of 82 houses of an American suburb with heights in metres the median is 0.51 of that side and the
    tallest 1.33; in feet that are taken for metres the median is 1.68 and the tallest 4.4. A wall or
    fence is held against `HIGHEST_FENCE_M`.

    Parameters
    ----------
    name : str
        The layer: ``buildings`` or ``existing_screens``; others are not judged.
    layer : GeoDataFrame
        By its contract, heights as they are without a unit.
    column : str
        What the file calls the column.
    findings : Findings
        Where it is noted.
    """
    rows, what = [], ""
    if name == "buildings":
        rows, what = layer.index[_too_tall_for_storeys(layer)], "the number of storeys"
        if not len(rows):
            rows, what = layer.index[_too_slender(layer)], "a building of that footprint"
    elif name == "existing_screens":
        tall = (layer["height_m"].astype(float) > HIGHEST_FENCE_M).to_numpy()
        rows = layer.index[tall & layer["kind"].isin(["wall", "fence"]).to_numpy()]
        what = "a wall or fence"
    if len(rows):
        findings.refused(
            rows,
            f"A height of {{{float(layer.loc[rows[0], 'height_m']):.1f} m}} is not plausible for {what}, "
            f"and nobody says in which unit the column {column} is",
            f'Write units = {{ height_m = "ft" }} under [layers.{name}], or "m" if it is so',
            key=f"layers.{name}.units.height_m",
        )


def _too_tall_for_storeys(buildings: gpd.GeoDataFrame) -> np.ndarray:
    height, storeys = buildings["height_m"].astype(float), buildings["storeys"].astype(float)
    return (height > HIGHEST_STOREY_M * storeys).to_numpy()


def _too_slender(buildings: gpd.GeoDataFrame) -> np.ndarray:
    slender = buildings["height_m"].astype(float) / np.sqrt(buildings.geometry.area)
    most = TYPICAL_SLENDER if slender.median() > TYPICAL_SLENDER else MOST_SLENDER
    return (slender > most).to_numpy()
