"""A partition of a county: some parcels that follow each other along the curve, planned from what lies around them.

The answer of a parcel hangs on the parcel and on what lies within its reach, which is handed over in the order of
the curve, and on nothing else: not on the partition, the other parcels in it, or the process. Each parcel has its own
local frame, as in a plan of one parcel.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import COUNTY, COUNTY_SIDES, COUNTY_SKIPPED
from screenplan.contracts.tables import table_of
from screenplan.county.answer import layer_of_records, rows_of
from screenplan.county.columnar import Columnar
from screenplan.county.laying import PLANNED, ROW, Laid
from screenplan.county.parcel import Planner
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.site.reading import LayerSource
from screenplan.site.terrain import TerrainSource

#: So many parcels that follow each other look up their neighbours together.
TOGETHER = 64
#: What lies nearer than the reach and this is handed over; what is farther than the reach is left out when it is read.
MARGIN_M = 5.0
#: So often rows that cannot be read are left out around one parcel.
MOST_TRIES = 20


@dataclass(frozen=True)
class Task:
    """What every partition of a county needs to know; it is handed to other processes.

    Parameters
    ----------
    plan : Plan
        What holds for every parcel.
    folder : Path
        The folder to which the plan's paths are relative.
    layers : dict of str to Laid
        The layers as they lie ready; ``parcels`` among them.
    terrain : TerrainSource, optional
        The ground: read by window.
    wanted : tuple of str
        Layers that are wanted beside the sides: `COUNTY_LINES`, `COUNTY_PLANTS`.
    """

    plan: Plan
    folder: Path
    layers: Mapping[str, Laid]
    terrain: TerrainSource | None = None
    wanted: tuple[str, ...] = ()


class _TooSlowError(Exception):
    """A parcel takes longer than it may."""


@dataclass
class _Around:
    """What lies around some parcels: rows by layer, and where each is in a frame that they share."""

    frame: LocalFrame
    tables: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    trees: dict[str, shapely.STRtree] = field(default_factory=dict)


def plan_partition(task: Task, first: int, last: int) -> dict[str, pd.DataFrame]:
    """Plan the parcels from one place along the curve up to but not including another.

    Parameters
    ----------
    task : Task
    first, last : int
        Places in the layer of parcels.

    Returns
    -------
    dict of str to DataFrame
        By the contracts of `COUNTY`, in the CRS of the parcels: the sides and what was set aside, and what else is
        wanted. Rows follow the curve.

    Raises
    ------
    InputError
        If the species, a rule or a key of the plan cannot be used: what is wrong with single rows is listed.
    """
    planner = Planner(task.plan, task.folder)
    parcels = Columnar(task.layers["parcels"].path)
    mine = parcels.read(first, last)
    mine = mine[mine[PLANNED].astype(bool)]
    found: dict[str, list[dict]] = {name: [] for name in (COUNTY_SIDES.name, *task.wanted)}
    skipped: list[dict] = []
    for some in _together(mine):
        around = _look_around(task, some)
        for place in some.index:
            rows = _plan_one(task, planner, around, some.loc[place], skipped)
            for name, records in rows.items():
                found[name] += records
    tables: dict[str, pd.DataFrame] = {
        name: layer_of_records(COUNTY[name], records, parcels.laid_crs)
        for name, records in found.items()
    }
    tables[COUNTY_SKIPPED.name] = table_of(COUNTY_SKIPPED, skipped)
    return tables


def _together(parcels: gpd.GeoDataFrame) -> Iterator[gpd.GeoDataFrame]:
    for first in range(0, len(parcels), TOGETHER):
        yield parcels.iloc[first : first + TOGETHER]


def _look_around(task: Task, some: gpd.GeoDataFrame) -> _Around | InputError:
    """Read what lies around some parcels; a refusal, if nobody can say where they lie together."""
    reach = task.plan.site.reach + MARGIN_M
    try:
        around = _Around(LocalFrame.around(some, task.plan.site.height))
        for name, laid in task.layers.items():
            file = Columnar(laid.path)
            way = around.frame.transformation_from(
                file.laid_crs, tolerance_m=task.plan.site.datum_tolerance
            )
            own = around.frame.transformation_from(some.crs)
            west, south, east, north = (
                shapely.bounds(
                    around.frame.project_in(np.asarray(some.geometry.array, dtype=object), own)
                )
                .reshape(-1, 4)
                .T
            )
            ends = (
                west.min() - reach,
                south.min() - reach,
                east.max() + reach,
                north.max() + reach,
            )
            box = (float(ends[0]), float(ends[1]), float(ends[2]), float(ends[3]))
            table = file.near(around.frame.boxes_out(box, way))
            placed = around.frame.project_in(shapely.box(*_bounds(table).T), way)
            around.tables[name], around.trees[name] = table, shapely.STRtree(placed)
    except InputError as error:
        return error
    return around


def _bounds(table: gpd.GeoDataFrame) -> np.ndarray:
    return shapely.bounds(np.asarray(table.geometry.array, dtype=object)).reshape(-1, 4)


def _plan_one(
    task: Task, planner: Planner, around, parcel: pd.Series, skipped: list[dict]
) -> dict[str, list[dict]]:
    """Plan one parcel; what cannot be planned is listed, and nothing is given."""
    alone = gpd.GeoDataFrame(pd.DataFrame([parcel]), geometry="geometry", crs=_crs_of(task))
    if isinstance(around, InputError):
        # By itself: its neighbours along the curve may lie far away.
        around = _look_around(task, alone)
    parcel_id, row = str(parcel["parcel_id"]), int(parcel[ROW])
    told = partial(_told, parcel_id, row, skipped)
    if isinstance(around, InputError):
        told(around.problems[0])
        return {}
    own = around.frame.transformation_from(alone.crs)
    west, south, east, north = shapely.bounds(
        around.frame.project_in(np.asarray(alone.geometry.array, dtype=object), own)
    )[0]
    reach = task.plan.site.reach + MARGIN_M
    box = shapely.box(west - reach, south - reach, east + reach, north + reach)
    near = {
        name: around.tables[name].iloc[np.sort(tree.query(box))]
        for name, tree in around.trees.items()
    }
    begun = time.monotonic()
    try:
        with _limit(task.plan.county.seconds) as look_up:
            planned = _try(task, planner, parcel_id, row, near, skipped, look_up)
            return (
                {}
                if planned is None
                else rows_of(
                    planned, {"parcel_row": row, "parcel_id": parcel_id}, alone.crs, task.wanted
                )
            )
    except _TooSlowError:
        told(
            Problem(
                f"it was given up after {time.monotonic() - begun:.0f} s",
                "Plan it by itself with screenplan run, or raise county.seconds",
            )
        )
    except MemoryError:
        raise
    except Exception as error:  # one parcel of a hundred thousand stops no other
        told(
            Problem(
                f"an error of screenplan ({type(error).__name__}: {error})",
                "Plan it by itself with screenplan run, and report what that says",
            )
        )
    return {}


def _crs_of(task: Task):
    return Columnar(task.layers["parcels"].path).laid_crs


def _try(
    task: Task, planner: Planner, parcel_id: str, row: int, near, skipped: list[dict], look_up
):
    """Plan a parcel, without those rows around it that cannot be read; None if it cannot be planned itself."""
    for _ in range(MOST_TRIES):
        sources = {name: _source(task.layers[name], table) for name, table in near.items()}
        try:
            return planner.plan_parcel(parcel_id, sources, task.terrain, look_up)
        except InputError as error:
            bad = _rows_at_fault(error, near)
            if bad is None or row in bad.get("parcels", ()):
                for problem in error.problems[:1]:
                    _told(parcel_id, row, skipped, problem)
                return None
            for problem in error.problems:
                at_fault = near[problem.layer].iloc[np.array(problem.rows, int) - 1]
                names = at_fault.get("parcel_id", [None] * len(at_fault))
                skipped += [
                    _listed(problem, f"{problem.layer}", int(one), name)
                    for one, name in zip(at_fault[ROW], names, strict=True)
                ]
            near = {
                name: table[~table[ROW].isin(bad.get(name, ()))] for name, table in near.items()
            }
    _told(
        parcel_id,
        row,
        skipped,
        Problem(
            "too many rows around it cannot be read", "Correct the rows that are listed around it"
        ),
    )
    return None


def _rows_at_fault(
    error: InputError, near: Mapping[str, gpd.GeoDataFrame]
) -> dict[str, set[int]] | None:
    """Give the rows in their files that a refusal names, by layer; None if it is not about rows alone."""
    found: dict[str, set[int]] = {}
    for problem in error.problems:
        if problem.layer is None or problem.layer not in near or not problem.rows:
            return None
        rows = near[problem.layer][ROW].to_numpy()
        found.setdefault(problem.layer, set()).update(int(rows[row - 1]) for row in problem.rows)
    return found


def _source(laid: Laid, table: gpd.GeoDataFrame) -> LayerSource:
    frame = table.drop(columns=[ROW, PLANNED], errors="ignore").reset_index(drop=True)
    return replace(laid.named, file=frame)


def _told(parcel_id: str, row: int, skipped: list[dict], problem: Problem) -> None:
    skipped.append(_listed(problem, "parcels", row, parcel_id))


def _listed(problem: Problem, layer: str, row: int, parcel_id: str | None) -> dict:
    what = problem.what
    if problem.layer not in (None, layer):
        what = f"layer {problem.layer}: {what}"
    return {
        "layer": layer,
        ROW: row,
        "parcel_id": parcel_id,
        "reason": str(what),
        "remedy": str(problem.mend),
    }


@contextmanager
def _limit(seconds: float) -> Iterator[Callable[[], None]]:
    """Give up after some seconds: at once by an alarm where the system has one, else before the next step."""
    ends = time.monotonic() + seconds

    def look_up() -> None:
        if time.monotonic() > ends:
            raise _TooSlowError

    def ring(*_) -> None:
        raise _TooSlowError

    alarm = hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()
    if not alarm:
        yield look_up
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield look_up
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
