"""A stand as the kernel takes it: crowns by start, growth and year, and runs of plants."""

from __future__ import annotations

from functools import lru_cache

import geopandas as gpd
import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.contracts.tables import numbers
from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.faults import Faults
from screenplan.planting.growth import TYPICAL
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.shapes import is_nested
from screenplan.planting.stand import Stand, Start, sizes_of
from screenplan.views.crowns import MOST_YEARS, CrownTable, tabulate_crowns
from screenplan.views.holes import LineStand
from screenplan.views.kernel import Runs, arrange_runs
from screenplan.views.leaves import LEAF_PROJECTION

#: Kinds of stands, by how their plants start, of which crowns are kept, some 200 kB each.
KEPT_STANDS = 32


def crowns_of(stand: Stand, floor: tuple[float, ...] | None = None) -> CrownTable:
    """Arrange the crowns of a stand for the kernel, by how its plants start.

    Parameters
    ----------
    stand : Stand
    floor : tuple of float, (starts,), optional
        Height above the foot below which their leaves are gone, metres.
    """
    return _tabulated(stand.starts, stand.sizes.shape, stand.sizes.tobytes(), floor)


@lru_cache(maxsize=KEPT_STANDS)
def _tabulated(
    starts: tuple[Start, ...],
    shape: tuple[int, ...],
    written: bytes,
    floor: tuple[float, ...] | None,
) -> CrownTable:
    """Tabulate crowns by their starts and sizes; nobody changes what is kept."""
    # What may be written to and what may not are two types of arrays, and each loop would be made for both.
    sizes = np.frombuffer(written).reshape(shape).copy()
    species = [start.species for start in starts]
    if not species:
        none = np.zeros((*shape[2:], 1))
        return tabulate_crowns([next(iter(SHAPES))], none, none, none, [1.0])
    height, spread, width, clear = np.moveaxis(sizes, 1, -1)
    return tabulate_crowns(
        [[kind.crown(growth) for growth in GROWTHS] for kind in species],
        height,
        0.5 * spread,
        clear,
        [1.0 if kind.evergreen else kind.winter_share for kind in species],
        across=0.5 * width,
        # Low growth goes with sparse leaves, so that the range of the results holds both.
        extinction=LEAF_PROJECTION * np.array([kind.leaf_density for kind in species]).T,
        floor=floor,
    )


def runs_of(stand: Stand, crowns: CrownTable) -> Runs:
    """Put the plants of a stand into runs.

    Raises
    ------
    InputError
        By row: a plant without a ground height.
    """
    lost = ~np.isfinite(stand.ground_m)
    Faults(
        "plants", (lost, "a plant has no ground height", "Give ground_m, 0 on a flat site")
    ).raise_any()
    order = stand.order
    x, y = stand.xy[order].T
    return arrange_runs(x, y, stand.ground_m[order], stand.start[order], stand.row[order], crowns)


def years_to_rest(stand: Stand) -> np.ndarray:
    """Years to follow so that what is closed at the last of them stays closed for good.

    While each crown holds that of the year before, no sight line opens again. So the years of the
    stand are followed, and as many more as crowns still draw in somewhere: at a bare stem that rises,
    or at the foot of an ellipsoid that only grows taller. Where they never cease to, grown plants
    come last, as `MATURE_YEAR`.

    Parameters
    ----------
    stand : Stand
        In the years looked at, from 0 on.

    Returns
    -------
    ndarray of int
        In rising order, at most `MOST_YEARS`.
    """
    every = np.append(np.arange(MOST_YEARS - 1), MATURE_YEAR)
    return every[: _last_to_rest(stand.starts, stand.curve, int(stand.years[-1])) + 1]


@lru_cache(maxsize=KEPT_STANDS)
def _last_to_rest(starts: tuple[Start, ...], curve: str, last: int) -> int:
    """Give the number of the last year to follow, of `years_to_rest`."""
    every = np.append(np.arange(MOST_YEARS - 1), MATURE_YEAR)
    height, spread, width, clear = sizes_of(starts, every, curve)
    sizes = np.stack([height, 0.5 * spread, clear, 0.5 * width], axis=2)
    for start, by_growth in zip(starts, sizes, strict=True):
        for growth, size in zip(GROWTHS, by_growth, strict=True):
            nested = is_nested(start.species.crown(growth), size[:, 1:], size[:, :-1])
            last = max([last, *(np.flatnonzero(~nested) + 1).tolist()])
    return last


def stand_in_year(planting_lines: gpd.GeoDataFrame, plants, stand: Stand, year: int) -> list:
    """Give the planting lines with their plants as they stand in one year, typical growth.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
        Layers of the contracts.
    stand : Stand
        That of the plants.
    year : int
        Number of the year among those of the stand.

    Returns
    -------
    list of LineStand
    """
    ids, lines = plants["plant_id"].to_numpy(), plants["line_id"].astype(str).to_numpy()
    station = numbers(plants, "station_m", 0.0)
    widest_at = np.full(len(plants), np.nan)
    for shape, mask in stand.alike(TYPICAL):
        if shape.widest is not None:
            widest_at[mask] = shape.widest
    stands = []
    for line_id, line in zip(
        planting_lines["line_id"].astype(str), planting_lines.geometry, strict=True
    ):
        mine = stand.order[lines[stand.order] == line_id]
        height, radius, clear = (
            size[mine, TYPICAL, year] for size in (stand.height, stand.radius, stand.clear)
        )
        share = widest_at[mine]
        widest = clear + share * (height - clear)
        stands.append(
            LineStand(line_id, line, ids[mine], station[mine], height, radius, clear, widest)
        )
    return stands
