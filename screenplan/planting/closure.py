"""When, and how far up, the crowns of a row meet.

Equal neighbours meet by the closed forms of `screenplan.planting.shapes`. Neighbours of different
size or kind meet at the greatest height z at which r₁(z) + r₂(z) reaches the gap, found on a grid
and refined by halving.

Crowding: none is taken. A plant of a row grows as tall and as wide as one that stands alone, because no
comparison of rows with lone plants was found, and the one row that was measured was wider than its
spacing (``establishment.toml``, ``crowding``; the reference shows the row beside its curve).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import CLOSURE, GROWTHS
from screenplan.contracts.findings import Finding
from screenplan.contracts.tables import table_of
from screenplan.ground.told_years import tell_year
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.maturity import followed_years, lasts_from
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.neighbours import GAP_TOLERANCE_M, OUTSIDE_M, gaps_between
from screenplan.planting.shapes import meeting_band, shape_radius
from screenplan.planting.spans import covered_spans
from screenplan.planting.species_model import Species, evidence_of
from screenplan.planting.stand import Stand, Start, sizes_of, stand_of
from screenplan.planting.zones import plantable_ground

#: Heights that differ by less are equal: rounding only.
ROUNDING_M = 1e-9
#: Heights told in a check that differ by less are the same, metres.
SAME_HEIGHT_M = 0.005
_GRID = 65
_HALVINGS = 40


def close_rows(
    plants: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plantable_zone: gpd.GeoDataFrame | None = None,
    needed_height: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Find the year in which each row closes, from what is looked through up to a height.

    A row closes where its worst pair of neighbours does: the band in which their crowns meet must
    reach from the lowest sight line that crosses the row, or from the ground, to the height. Gaps that an exclusion explains do not
    count: with a plantable zone those that leave it, otherwise those wider than the spacing.

    Parameters
    ----------
    plants, planting_lines : GeoDataFrame
    plantable_zone : GeoDataFrame, optional
    needed_height : GeoDataFrame, optional
        Gives the lowest sight line across each row.
    plan : Options, optional
        Of it [rows] and [growth].
    species_table : mapping, optional
        The species table.

    Returns
    -------
    DataFrame
        One row per line and growth. ``year_closed`` is the first year from which the row stays
        closed from the one height to the other until its plants are grown. Lines with fewer than
        two neighbours have no row.
    """
    growth = plan.growth
    at = followed_years(growth.years)
    stand = stand_of(plants, years=at, curve=growth.curve, species_table=species_table)
    pairs = rows_of_pairs(
        stand, plants, planting_lines, plantable_zone, planned_spacing(plan, species_table)
    )
    records = []
    for line_id, (found, widest_m) in pairs.items():
        said = evidence_of(stand.starts[k].species for pair in found for k in pair[:2])
        begin = growth.asked_from
        if begin is None:
            begin = lowest_sight(needed_height, line_id)
        bands = row_bands(stand.starts, found, at, growth.curve)
        for name, low, high in zip(GROWTHS, *bands, strict=True):
            closed = (high >= growth.asked_height - ROUNDING_M) & (low <= begin + ROUNDING_M)
            records.append(
                {
                    "line_id": line_id,
                    "growth": name,
                    "spacing_m": widest_m,
                    "asked_from_m": begin,
                    "asked_height_m": growth.asked_height,
                    "year_closed": lasts_from(closed, growth.years),
                    "mature_closed_height_m": float(high[-1]),
                    "mature_closed_from_m": float(low[-1]),
                    "evidence": said,
                }
            )
    return table_of(CLOSURE, records)


def rows_of_pairs(
    stand: Stand,
    plants: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plantable_zone: gpd.GeoDataFrame | None,
    spacing_m: float,
) -> dict[str, tuple[set[tuple[int, int, float]], float]]:
    """Give the neighbours of each row whose crowns must meet, without those that an exclusion parts.

    Parameters
    ----------
    stand : Stand
        Of the plants.
    plants, planting_lines : GeoDataFrame
    plantable_zone : GeoDataFrame or None
    spacing_m : float
        Distance between the plants that the plan asks for.

    Returns
    -------
    dict
        By the id of the line, in the order of the lines: its pairs as `row_bands` takes them, and the widest of
        their gaps, metres.
    """
    lines = planting_lines.geometry.to_numpy()
    zone = (
        None if plantable_zone is None else plantable_ground(plantable_zone, None, planting_lines)
    )
    clear = {}
    widest: dict[int, float] = {}
    pairs: dict[int, set[tuple[int, int, float]]] = {}
    for gap in gaps_between(plants, planting_lines):
        if zone is not None:
            if gap.line not in clear:
                clear[gap.line] = covered_spans(lines[gap.line], zone)
            covered = sum(
                max(0.0, min(b, gap.to_m) - max(a, gap.from_m)) for a, b in clear[gap.line]
            )
            explained = gap.to_m - gap.from_m - covered > OUTSIDE_M
        else:
            explained = gap.width_m > spacing_m + GAP_TOLERANCE_M
        if explained:
            continue
        widest[gap.line] = max(widest.get(gap.line, 0.0), gap.width_m)
        first, second = sorted((int(stand.start[gap.before]), int(stand.start[gap.after])))
        pairs.setdefault(gap.line, set()).add((first, second, round(gap.width_m, 6)))
    return {
        str(planting_lines["line_id"].iloc[line]): (pairs[line], widest[line])
        for line in sorted(pairs)
    }


def lowest_sight(needed_height: gpd.GeoDataFrame | None, line_id: str) -> float:
    """Height of the lowest sight line that crosses a planting line, metres; 0 if there is none."""
    if needed_height is None:
        return 0.0
    lowest = needed_height.loc[needed_height["line_id"] == line_id, "lowest_m"].astype(float).min()
    return 0.0 if pd.isna(lowest) else max(float(lowest), 0.0)


def _said(evidence) -> str:
    return "" if pd.isna(evidence) else str(evidence)


def pair_band(first: tuple, second: tuple, gap: float) -> tuple[np.ndarray, np.ndarray]:
    """Heights between which two neighbours meet.

    Parameters
    ----------
    first, second : tuple
        Shape, and height, spread and clear stem as arrays of one length, metres.
    gap : float
        Distance between the stems, metres.

    Returns
    -------
    low, high : ndarray
        Metres; both 0 where they do not meet.
    """
    if first[0] == second[0] and all(
        np.array_equal(a, b) for a, b in zip(first[1:], second[1:], strict=True)
    ):
        return meeting_band(first[0], first[1], first[2], gap, first[3])
    bottom = np.minimum(first[3], second[3])
    top = np.maximum(first[1], second[1])
    share = np.linspace(0.0, 1.0, _GRID)[:, None]
    z = bottom + (top - bottom) * share

    def over(heights: np.ndarray) -> np.ndarray:
        return (
            shape_radius(first[0], first[1], first[2], first[3], heights)
            + shape_radius(second[0], second[1], second[2], second[3], heights)
            - gap
        )

    meets = over(z) > 0
    any_meet = meets.any(axis=0)
    columns = np.arange(z.shape[1])
    ends = []
    for index, step in (
        (meets.argmax(axis=0), -1),
        (_GRID - 1 - meets[::-1].argmax(axis=0), 1),
    ):
        inside = z[index, columns]
        outside = z[np.clip(index + step, 0, _GRID - 1), columns]
        for _ in range(_HALVINGS):
            middle = (inside + outside) / 2.0
            good = over(middle) > 0
            inside, outside = np.where(good, middle, inside), np.where(good, outside, middle)
        ends.append(np.where(any_meet, inside, 0.0))
    return ends[0], ends[1]


def row_bands(
    starts: Sequence[Start], pairs: Iterable[tuple[int, int, float]], years, curve: str
) -> tuple[np.ndarray, np.ndarray]:
    """Band in which all pairs of neighbours of a row meet.

    Parameters
    ----------
    starts : sequence of Start
    pairs : iterable of tuple
        The starts of two plants, by number, and the gap between them, metres.
    years : ndarray
        Years since planting.
    curve : str

    Returns
    -------
    low, high : ndarray, (growths, years)
        Metres; both 0 where a pair does not meet, or not in one band with the others.
    """
    height, spread, _, clear = sizes_of(starts, years, curve)
    pairs = list(pairs)
    bands = [
        bands_of_crowns(
            [
                (start.species.crown(growth), height[k, g], spread[k, g], clear[k, g])
                for k, start in enumerate(starts)
            ],
            pairs,
        )
        for g, growth in enumerate(GROWTHS)
    ]
    low, high = zip(*bands, strict=True)
    return np.stack(low), np.stack(high)


def bands_of_crowns(
    crowns: Sequence[tuple], pairs: Iterable[tuple[int, int, float]]
) -> tuple[np.ndarray, np.ndarray]:
    """Band in which all pairs of neighbours of a row meet, from the sizes of their crowns.

    Parameters
    ----------
    crowns : sequence of tuple
        Of each start what `pair_band` takes, the arrays of one length n.
    pairs : iterable of tuple
        The starts of two plants, by number, and the gap between them, metres.

    Returns
    -------
    low, high : ndarray, (n,)
        Metres; both 0 where a pair does not meet, or not in one band with the others.
    """
    low, high = np.zeros_like(crowns[0][1]), np.full_like(crowns[0][1], math.inf)
    for first, second, gap in pairs:
        pair_low, pair_high = pair_band(crowns[first], crowns[second], gap)
        low, high = np.maximum(low, pair_low), np.minimum(high, pair_high)
    closed = high > low
    return np.where(closed, low, 0.0), np.where(closed, high, 0.0)


def judge_closure(closure, plan) -> Iterator[Finding]:
    """Tell of each row whether it closes up to the asked height by the year of the goal."""
    closed_by = plan.goal.closed_by
    anew = not plan.kept.in_place and plan.kept.asked
    mend = "; or kept.in_place, by which kept rows stand where free ones would" if anew else ""
    years = {
        line: part.set_index("growth")["year_closed"] for line, part in closure.groupby("line_id")
    }
    for row in closure.loc[closure["growth"] == "typical"].itertuples():
        told = tell_year(
            [years[row.line_id].get(growth, row.year_closed) for growth in GROWTHS],
            _said(getattr(row, "evidence", None)),
        )
        name = f"closure of {row.line_id}"
        band = f"from {{{row.asked_from_m:.2f} to {row.asked_height_m:.2f} m}}"
        if pd.isna(row.year_closed):
            bare = row.mature_closed_from_m > row.asked_from_m + SAME_HEIGHT_M
            if row.mature_closed_height_m >= row.asked_height_m and bare:
                says = f"In the end crowns meet only from {{{row.mature_closed_from_m:.2f} m}} on; {band} the row should close"
                yield Finding(
                    name, "fails", says,
                    f"a species that is leafy to the ground, low plants in front, or growth.asked_from{mend}",
                )  # fmt: skip
                continue
            if row.mature_closed_height_m >= row.asked_height_m:
                says = f"In the years looked at the row does not close {band}; later it does"
            elif row.mature_closed_height_m > 0:
                says = f"Set {{{row.spacing_m:.2f} m}} apart, crowns never meet higher than {{{row.mature_closed_height_m:.2f} m}}; {{{row.asked_height_m:.2f} m}} are asked"
            else:
                says = f"Set {{{row.spacing_m:.2f} m}} apart, crowns never meet"
            yield Finding(name, "fails", says, f"a closer spacing or a wider species{mend}")
            continue
        year = int(row.year_closed)
        says = f"Crowns meet {band} in {told}"
        if closed_by is None:
            yield Finding(
                name, "cannot be judged", f"{says}; no goal is set", "goal.closed_by: the year by which they should"
            )  # fmt: skip
        elif year <= closed_by:
            yield Finding(name, "passes", says)
        else:
            says = f"Crowns meet {band} not before {told}; by year {closed_by} they should"
            yield Finding(
                name, "fails", says, "taller stock, a closer spacing, a faster species, or a later goal"
            )  # fmt: skip
