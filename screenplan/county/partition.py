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
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import COUNTY, COUNTY_SIDES, COUNTY_SKIPPED
from screenplan.contracts.tables import table_of
from screenplan.county.answer import Records, layer_of_records, rows_of, send_out
from screenplan.county.columnar import Columnar
from screenplan.county.ground import frame_on
from screenplan.county.laying import PLANNED, ROW, Laid
from screenplan.county.parcel import Planned, Planner
from screenplan.county.together import Together, cells_of, read_together
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.site.raster import RasterGround
from screenplan.site.reading import LayerSource, read_site
from screenplan.site.terrain import TerrainSource

#: So many parcels that follow each other look up their neighbours together.
TOGETHER = 256
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
    """What lies around some parcels: rows by layer, where each and each of the parcels is in the frame that they share, and what was read of all."""

    frame: LocalFrame
    tables: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    trees: dict[str, shapely.STRtree] = field(default_factory=dict)
    bounds: dict[int, np.ndarray] = field(default_factory=dict)
    read: Together | None = None

    def near(self, place: int, reach_m: float) -> dict[str, gpd.GeoDataFrame]:
        """Give the rows that may lie within a reach of a parcel, by its place along the curve."""
        west, south, east, north = self.bounds[place]
        box = shapely.box(west - reach_m, south - reach_m, east + reach_m, north + reach_m)
        return {
            name: self.tables[name].iloc[np.sort(tree.query(box))]
            for name, tree in self.trees.items()
        }


@dataclass
class _About:
    """A parcel: its identifier, its row in its file, and what was set aside of it and around it."""

    parcel_id: str
    row: int
    skipped: list[dict] = field(default_factory=list)

    def tell(self, problem: Problem) -> None:
        """List why it cannot be planned."""
        self.skipped.append(_listed(problem, "parcels", self.row, self.parcel_id))


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
    done: dict[int, tuple[_About, Records | None]] = {}
    for cell, some in _together(mine):
        done |= _plan_some(task, planner, cell, some)
    for place in mine.index:
        about, planned = done[place]
        skipped += about.skipped
        for name, records in ({} if planned is None else planned.rows).items():
            found[name] += records
    tables: dict[str, pd.DataFrame] = {
        name: layer_of_records(COUNTY[name], records, parcels.laid_crs)
        for name, records in found.items()
    }
    tables[COUNTY_SKIPPED.name] = table_of(COUNTY_SKIPPED, skipped)
    return tables


def _plan_some(
    task: Task, planner: Planner, cell: np.ndarray, some: gpd.GeoDataFrame
) -> dict[int, tuple[_About, Records | None]]:
    """Plan some parcels of a cell, by their places along the curve."""
    done: dict[int, tuple[_About, Records | None]] = {}
    with ExitStack() as held:
        around = _look_around(task, cell, some, held)
        for place, name, row in zip(some.index, some["parcel_id"], some[ROW], strict=True):
            about, planned = _About(str(name), int(row)), None
            if isinstance(around, InputError):
                about.tell(around.problems[0])
            else:
                planned = _plan_one(task, planner, around, place, about)
            done[place] = about, planned
    send_out([planned for _, planned in done.values() if planned is not None], some.crs)
    return done


def _together(parcels: gpd.GeoDataFrame) -> Iterator[tuple[np.ndarray, gpd.GeoDataFrame]]:
    """Give parcels of one cell at a time, some that follow each other along the curve."""
    cells = cells_of(parcels)
    of = np.unique(cells, axis=0, return_inverse=True)[1].reshape(-1)
    for cell in dict.fromkeys(of.tolist()):
        mine = np.flatnonzero(of == cell)
        for first in range(0, len(mine), TOGETHER):
            some = mine[first : first + TOGETHER]
            yield cells[some[0]], parcels.iloc[some]


def _look_around(
    task: Task, cell: np.ndarray, some: gpd.GeoDataFrame, held: ExitStack
) -> _Around | InputError:
    """Read what lies around some parcels of a cell; a refusal, if nobody can say where they lie.

    The terrain stays open until ``held`` is left.
    """
    reach = task.plan.site.reach + MARGIN_M
    ground = None
    try:
        around = _Around(frame_on(task.terrain, task.plan, cell, some))
        if task.terrain is not None:
            ground = held.enter_context(
                RasterGround(
                    task.terrain, around.frame, datum_tolerance_m=task.plan.site.most_datum
                )
            )
        own = around.frame.transformation_from(some.crs)
        shapes = around.frame.project_in(np.asarray(some.geometry.array, dtype=object), own)
        bounds = shapely.bounds(shapes).reshape(-1, 4)
        around.bounds = dict(zip(some.index, bounds, strict=True))
        west, south, east, north = bounds.T
        box = (
            float(west.min()) - reach, float(south.min()) - reach,
            float(east.max()) + reach, float(north.max()) + reach,
        )  # fmt: skip
        for name, laid in task.layers.items():
            file = Columnar(laid.path)
            way = around.frame.transformation_from(
                file.laid_crs, tolerance_m=task.plan.site.datum_tolerance
            )
            table = file.near(around.frame.boxes_out(box, way))
            placed = around.frame.project_in(shapely.box(*_bounds(table).T), way)
            around.tables[name], around.trees[name] = table, shapely.STRtree(placed)
    except InputError as error:
        return error
    near = {name: (task.layers[name].named, _bare(table)) for name, table in around.tables.items()}
    around.read = read_together(
        near, some["parcel_id"].astype(str).to_list(), task.plan, around.frame, ground
    )
    return around


def _bounds(table: gpd.GeoDataFrame) -> np.ndarray:
    return shapely.bounds(np.asarray(table.geometry.array, dtype=object)).reshape(-1, 4)


def _plan_one(
    task: Task, planner: Planner, around: _Around, place: int, about: _About
) -> Records | None:
    """Plan one parcel; what cannot be planned is listed, and nothing is given."""
    begun = time.monotonic()
    try:
        with _limit(task.plan.county.seconds) as look_up:
            planned = _plan_read(planner, around, about.parcel_id, look_up)
            if planned is None:
                by = _Alone(task, planner, around.frame, look_up)
                planned = _try(by, about, around.near(place, task.plan.site.reach + MARGIN_M))
            if planned is None:
                return None
            known = {"parcel_row": about.row, "parcel_id": about.parcel_id}
            return Records(planned.site.frame, rows_of(planned, known, task.wanted))
    except _TooSlowError:
        about.tell(
            Problem(
                f"it was given up after {time.monotonic() - begun:.0f} s",
                "Plan it by itself with screenplan run, or raise county.seconds",
            )
        )
    except MemoryError:
        raise
    except Exception as error:  # one parcel of a hundred thousand stops no other
        about.tell(
            Problem(
                f"an error of screenplan ({type(error).__name__}: {error})",
                "Plan it by itself with screenplan run, and report what that says",
            )
        )
    return None


def _plan_read(planner: Planner, around: _Around, parcel_id: str, look_up) -> Planned | None:
    """Plan a parcel that was read with others; None if it was not, or if something about a row is wrong: that is told when it is read by itself."""
    if around.read is None:
        return None
    site = around.read.site_of(parcel_id, planner.plan.site.reach)
    try:
        laid = around.read.laid.get(parcel_id)
        return None if site is None else planner.plan_parcel(site, look_up, laid)
    except InputError:
        return None


class _Alone(NamedTuple):
    """How a parcel is planned that is read by itself."""

    task: Task
    planner: Planner
    frame: LocalFrame
    look_up: Callable[[], None]

    def plan(self, parcel_id: str, sources: Mapping[str, LayerSource]) -> Planned:
        self.look_up()
        plan = self.planner.plan_for(parcel_id)
        site = read_site(sources, plan=plan, terrain=self.task.terrain, frame=self.frame)
        return self.planner.plan_parcel(site, self.look_up)


def _try(by: _Alone, about: _About, near: Mapping[str, gpd.GeoDataFrame]) -> Planned | None:
    """Plan a parcel, without those rows around it that cannot be read; None if it cannot be planned itself."""
    for _ in range(MOST_TRIES):
        sources = {name: _source(by.task.layers[name], table) for name, table in near.items()}
        try:
            return by.plan(about.parcel_id, sources)
        except InputError as error:
            bad = _rows_at_fault(error, near)
            if bad is None or about.row in bad.get("parcels", ()):
                for problem in error.problems[:1]:
                    about.tell(problem)
                return None
            for problem in error.problems:
                at_fault = near[f"{problem.layer}"].iloc[np.array(problem.rows, int) - 1]
                names = at_fault.get("parcel_id", [None] * len(at_fault))
                about.skipped += [
                    _listed(problem, f"{problem.layer}", int(one), name)
                    for one, name in zip(at_fault[ROW], names, strict=True)
                ]
            near = {
                name: table[~table[ROW].isin(bad.get(name, ()))] for name, table in near.items()
            }
    about.tell(
        Problem(
            "too many rows around it cannot be read", "Correct the rows that are listed around it"
        )
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
    return replace(laid.named, file=_bare(table))


def _bare(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give rows without the columns that were added, numbered anew."""
    return table.drop(columns=[ROW, PLANNED], errors="ignore").reset_index(drop=True)


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
