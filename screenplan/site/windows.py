"""Windows that look out of the neighbours' houses: those that are given, or derived ones."""

from __future__ import annotations

import geopandas as gpd

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns, with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.site.facades import derive_windows
from screenplan.site.given_windows import GivenWindows, LaidWindows
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain


def lay_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    windows: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    *,
    plan: Options = DEFAULTS,
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
    plan : Options, optional
        Of it [windows], and the height of a storey. The height and width of a window are also those
        of a given one that does not state them.

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
    laid = examine_windows(parcels, buildings, windows, terrain, plan=plan)
    return with_notes(laid.layer, laid.notes)


def examine_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    windows: gpd.GeoDataFrame | None = None,
    terrain=None,
    *,
    plan: Options = DEFAULTS,
) -> LaidWindows:
    """Do what `lay_windows` does, and tell what was left out and what is doubtful."""
    if windows is not None and len(windows):
        site = GivenWindows(parcels, buildings, terrain, plan)
        return site.lay(windows)
    known = outline_known(parcels)
    if plan.windows.derive and known and buildings is not None and len(buildings):
        layer, buried = derive_windows(parcels, buildings, terrain, plan)
        notes = [f"{len(layer)} windows are derived from footprints: nobody has surveyed them"]
        if buried:
            notes.append(
                f"{buried} of the places for windows lie under the ground, where houses are built into the slope: no "
                "window is derived there (give floor_m of the buildings if their floors are known)"
            )
        return LaidWindows(layer, notes=tuple(notes))
    empty = layer_of_columns(
        WINDOWS, {column.name: [] for column in WINDOWS.columns}, [], parcels.crs
    )
    why = (
        "deriving them is switched off"
        if not plan.windows.derive
        else "no buildings are given"
        if known or buildings is None or not len(buildings)
        else "without the parcel's outline nobody can tell which houses are the neighbours'"
    )
    return LaidWindows(empty, notes=(f"there are no windows: none are given and {why}",))
