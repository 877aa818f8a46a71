"""Windows that look out of the neighbours' houses: those that are given, or derived ones."""

from __future__ import annotations

import math

import geopandas as gpd

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns, with_notes
from screenplan.ground.errors import refuse
from screenplan.site.facades import derive_windows
from screenplan.site.given_windows import GivenWindows, LaidWindows
from screenplan.site.ownership import outline_known


def lay_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    windows: gpd.GeoDataFrame | None = None,
    terrain=None,
    *,
    derive: bool = True,
    spacing_m: float = 4.0,
    storey_height_m: float = 2.8,
    sill_m: float = 0.9,
    height_m: float = 1.2,
    width_m: float = 1.2,
    reach_m: float = 60.0,
) -> gpd.GeoDataFrame:
    """Complete the windows that are given, or derive them from the footprints.

    A given window is moved onto the nearest wall within 1.5 m and gets that wall's outward
    normal as its facing, its storey from its sill, and the height of its room's floor. One that
    has no building near is kept as it stands if its facing is given. Windows in the subject's own
    buildings are left out: `examine_windows` tells which. With no windows given, they are derived
    for the walls that look towards the subject; see `screenplan.site.facades.derive_windows`.

    Parameters
    ----------
    parcels : GeoDataFrame
        Contract ``parcels``, in metres.
    buildings : GeoDataFrame, optional
        Contract ``buildings``.
    windows : GeoDataFrame, optional
        Contract ``windows``; an empty layer counts as none.
    terrain : Terrain, optional
        Anything with ``height_at(x, y)``; without it the ground is flat at 0.
    derive : bool, default True
        Whether to derive windows when none are given.
    spacing_m : float, default 4
        The most that derived windows are apart along a wall, metres.
    storey_height_m : float, default 2.8
        From floor to floor, metres.
    sill_m, height_m, width_m : float, default 0.9, 1.2, 1.2
        Sill above the floor of its storey, and opening, of a derived window, metres; the opening
        also of a given one that does not state it.
    reach_m : float, default 60
        The farthest that a derived window is from the subject, metres.

    Returns
    -------
    GeoDataFrame
        Contract ``windows``; given ones keep their index. ``sill_m`` counts from the building's
        ground-floor datum, ``floor_m`` is the room's floor in the terrain's own heights.
        What was left out and what is doubtful stands in ``attrs["notes"]``.

    Raises
    ------
    InputError
        With every row that cannot be used, and why.
    """
    laid = examine_windows(
        parcels,
        buildings,
        windows,
        terrain,
        derive=derive,
        spacing_m=spacing_m,
        storey_height_m=storey_height_m,
        sill_m=sill_m,
        height_m=height_m,
        width_m=width_m,
        reach_m=reach_m,
    )
    return with_notes(laid.layer, laid.notes)


def examine_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    windows: gpd.GeoDataFrame | None = None,
    terrain=None,
    *,
    derive: bool = True,
    spacing_m: float = 4.0,
    storey_height_m: float = 2.8,
    sill_m: float = 0.9,
    height_m: float = 1.2,
    width_m: float = 1.2,
    reach_m: float = 60.0,
) -> LaidWindows:
    """Do what `lay_windows` does, and tell what was left out and what is doubtful."""
    for key, value in (
        ("windows.spacing", spacing_m),
        ("site.storey_height", storey_height_m),
        ("windows.height", height_m),
        ("windows.width", width_m),
        ("windows.reach", reach_m),
    ):
        if not (math.isfinite(value) and value > 0.0):
            raise refuse(f"{value} m is no length to work with", "Choose one above 0", key=key)
    if windows is not None and len(windows):
        site = GivenWindows(parcels, buildings, terrain, storey_height_m, height_m, width_m)
        return site.lay(windows)
    known = outline_known(parcels)
    if derive and known and buildings is not None and len(buildings):
        layer = derive_windows(
            parcels,
            buildings,
            terrain,
            spacing_m=spacing_m,
            storey_height_m=storey_height_m,
            sill_m=sill_m,
            height_m=height_m,
            width_m=width_m,
            reach_m=reach_m,
        )
        return LaidWindows(
            layer,
            notes=(f"{len(layer)} windows are derived from footprints: nobody has surveyed them",),
        )
    empty = layer_of_columns(
        WINDOWS, {column.name: [] for column in WINDOWS.columns}, [], parcels.crs
    )
    why = (
        "deriving them is switched off"
        if not derive
        else "no buildings are given"
        if known or buildings is None or not len(buildings)
        else "without the parcel's outline nobody can tell which houses are the neighbours'"
    )
    return LaidWindows(empty, notes=(f"there are no windows: none are given and {why}",))


def own_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None,
    windows: gpd.GeoDataFrame | None,
) -> tuple[str, ...]:
    """Tell which of the given windows are in the subject's own buildings."""
    return examine_windows(parcels, buildings, windows, derive=False).own
