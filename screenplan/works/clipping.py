"""Kept size: the height that is proposed to keep each row at, and what clipping it takes, year by year.

A row that is kept is a wall of leaves of the length L, the height h and the width w, and its clipped faces
are those of a box, two sides and the top:

    faces = 2 L h + L w        without L w until it has grown to the kept height

The height that is proposed is the least at which crowns of that height, which end in a point and not in a wall,
meet where the views need it and the plan asks the row to close (typical growth), where the plants stand, and at which
rows that no view needs still close as the plan asks, if they do free. It goes by the pairs of neighbours by which `screenplan.planting.closure` judges the row.

Hedges that are kept at a size of their own are clipped too, whatever the plan keeps.

L runs from the first plant to the last, and by half a crown beyond each. Sides that taper are a little
smaller, so that no hours are missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import CLIPPING, KEPT_SIZES
from screenplan.contracts.tables import has_rows, notes_of, table_of, with_notes
from screenplan.contracts.task_times import SLIP_DAYS, year_day
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.closure import ROUNDING_M, bands_of_crowns, lowest_sight, rows_of_pairs
from screenplan.planting.growth import TYPICAL
from screenplan.planting.hedges import STEP_M
from screenplan.planting.maturity import followed_years
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, Start, planned_stand, sizes_at, sizes_of
from screenplan.rules.limit_kinds import Nesting
from screenplan.site.ownership import outline_known, subject_ground
from screenplan.works.earth import least_gap
from screenplan.works.rates import rate_of
from screenplan.works.seasons import LONGEST_YEAR, Seasons, nesting_said
from screenplan.works.tasks import COMMON, task

#: Above this height a platform is needed (custom, no source).
REACH_M = 2.5
#: Whoever clips a face stands in so much room beyond it (custom, no source).
ROOM_M = 0.6
#: The first clip comes so many days after planting at the earliest, in the months (of the northern half) in which
#: growth slows (custom, no source).
FIRST_CLIP_DAY, LATE_SUMMER = 60, (7, 8, 9)
#: So many yearly clips stand in the calendar.
CLIPS_TOLD = 10
#: Days after the nesting months that are left for the slip of yearly clips.
LEFT_DAYS = 10
_IN_PLACE = (
    "That is where the plants stand now, and the plan's key kept.in_place keeps them so. With kept.height alone a row is "
    "laid anew, by its own width, and may close otherwise"
)
TAPER = "University of Florida, Gardening Solutions, Pruning Hedges (an excerpt read): narrower at the top than below"
BARE = (
    "Michigan State University, B. Cregg, in Fine Gardening (an excerpt read): arborvitae, juniper and false cypress "
    "form no buds on old wood"
)


def lay_clipping(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Propose at which height each row is kept, and count what is clipped of rows that are kept.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants, and plantable zone and needed height if there are any, by their contracts.
    plan : Options, optional
        Of it [kept], [growth], [rows] and [cost] hours.
    species_table : mapping, optional
        Species by key, by default the shipped ones; those that are kept say so.

    Returns
    -------
    kept_sizes : DataFrame
        One row per planting line with new plants.
    clipping : DataFrame
        One row per line and year of clipping, typical growth; empty unless a row is kept.
    """
    every = layers["plants"]
    plants = every.loc[~every["existing"].to_numpy(bool)]
    if not len(plants):
        return table_of(KEPT_SIZES, []), table_of(CLIPPING, [])
    stand = planned_stand(plants, plan, species_table)
    free = stand.unclipped().height[:, TYPICAL, -1]
    clipped = np.array([start.species.is_clipped for start in stand.starts], bool)[stand.start]
    whole = planned_stand(every, plan, species_table)
    pairs = rows_of_pairs(
        whole, every, layers["planting_lines"], layers.get("plantable_zone"),
        planned_spacing(plan, species_table),
    )  # fmt: skip
    gap = least_gap(every)
    outline = _outline(layers.get("parcels"))
    rate = rate_of("clipped", plan)
    ids = plants["line_id"].astype(str).to_numpy()
    sizes, clips, idle = [], [], [0.0]
    for line_id in dict.fromkeys(ids):
        mine = np.flatnonzero(ids == line_id)
        grown = float(free[mine].max())
        needed = _needed(layers.get("needed_height"), line_id)
        kept = bool(clipped[mine].all())
        keep = _kept_at(stand, mine) if kept else None
        proposed = keep is None and line_id in pairs
        if proposed:
            meets = height_to_keep(
                whole.starts, pairs[line_id][0], (_lowest(layers, line_id, plan), needed or 0.0), plan,
                at_least_m=float(plants["stock_height_m"].to_numpy(float)[mine].max()),
            )  # fmt: skip
            if needed is None:
                idle.append(meets or 0.0)
            else:
                keep = meets
        sizes.append((line_id, needed, keep, grown, kept, proposed))
        mine = mine[clipped[mine]]
        if len(mine):
            asked = _kept_at(stand, mine)
            tall = stand.height[mine, TYPICAL].max(axis=0)
            wide = 2.0 * stand.across[mine, TYPICAL].max(axis=0)
            length = np.ptp(_along(stand.xy[mine])) + 2.0 * stand.radius[mine, TYPICAL].max(axis=0)
            used = np.unique(stand.start[mine])
            begins = first_clip([stand.starts[k] for k in used], stand.sizes[:, used], gap)
            for number in range(len(stand.years) if begins is None else begins, len(stand.years)):
                h, w, run = float(tall[number]), float(wide[number]), float(length[number])
                topped = asked is not None and h >= asked
                near = outline is not None and bool(
                    (shapely.distance(stand.points[mine], outline) - w / 2.0 < ROOM_M).any()
                )
                faces = face_area(run, h, w, topped=topped)
                clips.append(
                    {
                        "line_id": line_id, "year": int(stand.years[number]), "length_m": run,
                        "height_m": h, "width_m": w, "faces_m2": faces,
                        "neighbour_m2": run * h if near else 0.0, "platform": h > REACH_M,
                        "hours": None if rate is None else faces * rate.hours,
                        "says": _how(near, h > REACH_M),
                        "source": f"faces: those of a box; rate: {rate.source if rate else 'none'}",
                    }
                )  # fmt: skip
    # One height holds for all rows, so that those which no view needs must close at it too, as they do free.
    told = [_size_told(*size, at_least_m=max(idle)) for size in sizes]
    return table_of(KEPT_SIZES, told), table_of(CLIPPING, clips)


def _size_told(line_id, needed, keep, grown: float, kept: bool, proposed: bool, *, at_least_m: float) -> dict:  # fmt: skip
    """Make the row of a planting line; a height that is proposed is ``at_least_m``."""
    if proposed and keep is not None:
        keep = max(keep, at_least_m)
    return {
        "line_id": line_id, "needed_m": needed, "keep_m": keep, "grown_m": grown, "kept": kept,
        "says": _said(needed, keep, grown, kept, proposed=proposed),
    }  # fmt: skip


def height_to_keep(
    starts: Sequence[Start],
    pairs: Iterable[tuple[int, int, float]],
    band_m: tuple[float, float],
    plan: Options,
    at_least_m: float = 0.0,
) -> float | None:
    """Give the least height at which a row is kept and its crowns still meet where the views need it, metres.

    Crowns that are kept low are narrow, and meet only from some way above the ground. What the free row does not
    reach is not asked of the kept one: neither the height from which it is to meet, nor that of [growth].

    Parameters
    ----------
    starts : sequence of Start
        As they grow without a kept height; those that are clipped at one of their own stay so.
    pairs : iterable of tuple
        The neighbours of the row, as `rows_of_pairs` gives them.
    band_m : tuple of 2 floats
        Heights from which and up to which the views need it.
    plan : Options
        Of it [growth].
    at_least_m : float
        Height of the stock, below which it is not kept.

    Returns
    -------
    float or None
        In steps of `STEP_M`, typical growth; None if they never meet up to the second height.

    Examples
    --------
    Columns meet up to their tops.

    >>> from screenplan.planting.species import load_species
    >>> column = load_species({"own": {"like": "thuja_occidentalis", "shape": "column"}})["own"]
    >>> height_to_keep([Start(column, 0.5, False)], [(0, 0, 1.0)], (0.0, 2.94), DEFAULTS)
    3.0
    """
    (from_m, needed_m), pairs = band_m, list(pairs)
    used = sorted({k for pair in pairs for k in pair[:2]})
    at = followed_years(plan.growth.years)[-1:]
    grown = sizes_of(starts, at, plan.growth.curve)[0, :, TYPICAL, 0]
    heights = np.arange(1, math.ceil(grown[used].max() / STEP_M) + 1) * STEP_M
    crowns = []
    for start, free in zip(starts, grown, strict=True):
        kind, tall = start.species, np.minimum(heights, free)
        crowns.append((kind.crown("typical"), tall, *sizes_at(kind, tall)))
    low, high = bands_of_crowns(crowns, pairs)
    if high[-1] < needed_m:
        return None
    begin = from_m if low[-1] <= from_m + ROUNDING_M else math.inf
    until = max(needed_m, plan.growth.asked_height)
    until = until if high[-1] >= until - ROUNDING_M else needed_m
    meets = (high >= until - ROUNDING_M) & (low <= begin + ROUNDING_M)
    return round(max(float(heights[meets.argmax()]), at_least_m), 3)


def _kept_at(stand: Stand, plants: np.ndarray) -> float | None:
    """Give the greatest height at which plants are kept; None if one of them is kept at none."""
    heights = [stand.starts[k].species.kept_height_m for k in np.unique(stand.start[plants])]
    return None if None in heights else max(heights)


def face_area(length_m: float, height_m: float, width_m: float, *, topped: bool = True) -> float:
    """Clipped faces of a row in square metres: both sides, and the top once it is cut.

    Examples
    --------
    >>> face_area(10.0, 2.0, 1.0), face_area(10.0, 2.0, 1.0, topped=False)
    (50.0, 40.0)
    """
    return 2.0 * length_m * height_m + (length_m * width_m if topped else 0.0)


def first_clip(starts: Sequence[Start], sizes: np.ndarray, gap_m: float) -> int | None:
    """Give the first year from 1 in which plants of some start touch, or are as wide or tall as they are kept; None if never.

    Parameters
    ----------
    starts : sequence of Start
    sizes : ndarray, (4, starts, growths, years)
        As `screenplan.planting.stand.sizes_of` gives them, years from 0.
    gap_m : float
        Least distance of two plants, metres.
    """
    wide = np.array([min(gap_m, start.species.kept_width_m or np.inf) for start in starts])
    tall = np.array([start.species.kept_height_m or np.inf for start in starts])
    height, spread = sizes[0, :, TYPICAL], sizes[1, :, TYPICAL]
    due = ((spread >= wide[:, None]) | (height >= tall[:, None])).any(axis=0)
    return max(1, int(due.argmax())) if due.any() else None


def clip_tasks(
    clip: int | None,
    kept_m: float | None,
    hours: float | None,
    birds: Nesting,
    seasons: Seasons,
    plan: Options,
) -> Iterator[dict]:
    """Give the first clip after planting, and the yearly ones of a row that is kept.

    Parameters
    ----------
    clip : int or None
        The year from which the row is clipped each year.
    kept_m : float or None
        The height at which it is kept, metres.
    hours : float or None
        Of one person for all of its yearly clips that are told.
    birds : Nesting
        The months in which nothing is clipped.
    seasons : Seasons
    plan : Options
        Of it [growth].
    """
    yield task(
        "clip_first", "First clip, to make the row dense", _first_summer(birds, seasons),
        "Late in summer, when the birds are done: only the tips of the sides, so that they lean in a little "
        f"towards the top; the leading shoots are left until the kept height. {nesting_said(birds, seasons)}",
        source=f"taper: {TAPER}; time: {COMMON}; nesting: {birds.source}",
    )  # fmt: skip
    if clip is None:
        return
    tall = "" if kept_m is None else f" and the top at {{{kept_m:.2f} m}}"
    times = clips_told(clip, plan)
    yield task(
        "clip_kept", "Clip the row to the size at which it is kept", _clear_of(year_day(clip) + SLIP_DAYS, birds, seasons),
        f"The sides{tall}, narrower at the top than below; into green twigs only, because many conifers do not grow "
        f"again from bare wood. {nesting_said(birds, seasons)}",
        source=f"growth of the plan, typical growth; taper: {TAPER}; bare wood: {BARE}; nesting: {birds.source}",
        times=times, every_days=365, item="clipped", hours=None if hours is None else hours / times,
    )  # fmt: skip


def clips_told(clip: int, plan: Options) -> int:
    """Give how many yearly clips stand in the calendar, from the first on."""
    return min(CLIPS_TOLD, max(1, plan.growth.years - clip + 1))


def clipped_faces(clipping: pd.DataFrame | None, plan: Options) -> float:
    """Give the faces that are clipped in all yearly clips of the calendar together, square metres."""
    if not has_rows(clipping):
        return 0.0
    years = clipping["year"].astype(int)
    first = int(years.min())
    return float(clipping.loc[years < first + clips_told(first, plan), "faces_m2"].sum())


def _first_summer(birds: Nesting, seasons: Seasons) -> int:
    """Give the first day of late summer that is out of the nesting months."""
    days = range(FIRST_CLIP_DAY, FIRST_CLIP_DAY + LONGEST_YEAR)
    late = (
        day
        for day in days
        if seasons.falls(day, LATE_SUMMER) and not seasons.falls(day, birds.months)
    )
    return next(late, _clear_of(FIRST_CLIP_DAY, birds, seasons))


def _clear_of(day: int, birds: Nesting, seasons: Seasons) -> int:
    """Give the first day from one on that stays out of the nesting months, also when leap days shift it."""
    free = seasons.after(day, birds.months)
    if seasons.start is not None and seasons.falls(free - SLIP_DAYS, birds.months):
        free += LEFT_DAYS
    return free


def _lowest(layers: Mapping[str, Any], line_id: str, plan: Options) -> float:
    """Give the height from which a row should meet: as the plan asks, else that of the lowest sight line."""
    asked = plan.growth.asked_from
    return lowest_sight(layers.get("needed_height"), line_id) if asked is None else asked


def _needed(needed_height, line_id: str) -> float | None:
    if not has_rows(needed_height):
        return None
    mine = needed_height.loc[needed_height["line_id"].astype(str) == line_id, "needed_m"]
    most = float(mine.astype(float).max()) if len(mine) else 0.0
    return most if most > 0.0 else None


def propose_height(sizes: pd.DataFrame, rows: pd.Index, height_m: float) -> pd.DataFrame:
    """Give the kept sizes with one height for some rows, at which each view closes that closes behind the free ones."""
    told = sizes.to_dict("records")
    for place in np.flatnonzero(sizes.index.isin(rows)):
        grown = float(told[place]["grown_m"])
        told[place]["keep_m"] = height_m
        told[place]["says"] = (
            _said(None, height_m, grown, kept=False, proposed=True)
            if grown <= height_m
            else f"Kept at {{{height_m:.1f} m}} it closes each view that it closes free, with typical growth; free it grows to "
            f"{{{grown:.1f} m}}. {_IN_PLACE}"
        )
    return with_notes(table_of(KEPT_SIZES, told), notes_of(sizes))


def _said(needed, keep, grown: float, kept: bool, *, proposed: bool) -> str:
    if keep is None and kept:
        return "Kept at its width alone"
    if needed is None and keep is None:
        return "No view crosses its line, and so none asks for a height"
    if keep is None:
        return (
            f"The views need {{{needed:.1f} m}}, and its crowns never meet so high, clipped or free"
        )
    if grown <= keep:
        return f"It grows to {{{grown:.1f} m}} by itself: its top is never to be clipped"
    if kept and not proposed:
        short = needed is not None and keep < needed
        lacks = f"; the views need {{{needed:.1f} m}}, so that some stay open" if short else ""
        return f"Kept at {{{keep:.1f} m}}; free it would grow to {{{grown:.1f} m}}{lacks}"
    return (
        f"Kept at {{{keep:.1f} m}} its crowns meet up to the {{{needed:.1f} m}} that the views need, with typical growth; "
        f"free it grows to {{{grown:.1f} m}}. {_IN_PLACE}"
    )


def _how(near: bool, high: bool) -> str:
    said = ["Narrower at the top than below; never into bare wood"]
    if high:
        said.append(f"from a platform, because it is above {{{REACH_M:g} m}}")
    if near:
        said.append(
            "one side is clipped from beyond the boundary: ask whoever owns that ground first"
        )
    return "; ".join(said)


def _outline(parcels):
    known = has_rows(parcels) and outline_known(parcels)
    return shapely.boundary(subject_ground(parcels)) if known else None


def _along(xy: np.ndarray) -> np.ndarray:
    """Places of the plants of a row along it, metres from the first."""
    steps = np.hypot(*np.diff(xy, axis=0).T) if len(xy) > 1 else np.zeros(0)
    return np.concatenate([[0.0], np.cumsum(steps)])
