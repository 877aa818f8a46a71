"""A partition of a county: some parcels that follow each other along the curve, planned from what lies around them.

The answer of a parcel hangs on the parcel and on what lies within its reach, which is handed over in the order of
the curve, and on nothing else: not on the partition, the other parcels in it, or the process. Parcels of a cell share a local
frame, and on a terrain those of a tile their ground.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import COUNTY_SIDES, COUNTY_SKIPPED
from screenplan.contracts.tables import table_of
from screenplan.county.answer import Known, Told, gather, tell
from screenplan.county.around import Around, Task, bare, look_around
from screenplan.county.cells import TILES, cells_of
from screenplan.county.columnar import Columnar
from screenplan.county.laying import PLANNED, ROW
from screenplan.county.planner import Planned, Planner
from screenplan.county.time_limit import TooSlowError, limit_of
from screenplan.ground.errors import InputError, Problem
from screenplan.running.inputs import rows_of_files
from screenplan.site.lots import Lots
from screenplan.site.reading import LayerSource, read_site
from screenplan.site.terrain import Terrain, TerrainSource

#: So many parcels that follow each other look up their neighbours together.
TOGETHER = 256
#: So often rows that cannot be read are left out around one parcel.
MOST_TRIES = 20


@dataclass
class _About:
    """A parcel: its place along the curve, its identifier, its row in its file, and what was set aside of it and around it."""

    place: int
    parcel_id: str
    row: int
    skipped: list[dict] = field(default_factory=list)

    def tell(self, problem: Problem) -> None:
        """List why it cannot be planned."""
        self.skipped.append(_listed(problem, "parcels", self.row, self.parcel_id))

    def tell_error(self, error: Exception) -> None:
        """List an error that no one foresaw."""
        self.tell(
            Problem(
                f"an error of screenplan ({type(error).__name__}: {error})",
                "Plan it by itself with screenplan run, and report what that says",
            )
        )


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
    told: list[_About] = []
    found: list[Told] = []
    for tile, some in _together(mine, task.terrain is not None):
        about = [
            _About(place, str(name), int(row))
            for place, name, row in zip(some.index, some["parcel_id"], some[ROW], strict=True)
        ]
        told += about
        found += _plan_some(task, planner, tile, some, about)
    tables = gather(found, (COUNTY_SIDES.name, *task.wanted), parcels.laid_crs)
    told.sort(key=lambda one: one.place)
    skipped = [row for one in told for row in one.skipped]
    return tables | {COUNTY_SKIPPED.name: table_of(COUNTY_SKIPPED, skipped)}


def _together(
    parcels: gpd.GeoDataFrame, on_terrain: bool
) -> Iterator[tuple[np.ndarray, gpd.GeoDataFrame]]:
    """Give parcels of one cell at a time, or of one tile, some that follow each other along the curve; and the tile of the first."""
    tiles = cells_of(parcels, TILES)
    whose = tiles if on_terrain else np.floor(tiles / TILES)
    of = np.unique(whose, axis=0, return_inverse=True)[1].reshape(-1)
    for one in dict.fromkeys(of.tolist()):
        mine = np.flatnonzero(of == one)
        for first in range(0, len(mine), TOGETHER):
            some = mine[first : first + TOGETHER]
            yield tiles[some[0]], parcels.iloc[some]


def _plan_some(
    task: Task, planner: Planner, tile: np.ndarray, some: gpd.GeoDataFrame, about: list[_About]
) -> Iterator[Told]:
    """Plan some parcels of a cell: those that can be planned at once first, and then the others by themselves."""
    try:
        around = look_around(task, tile, some)
    except InputError as error:
        for one in about:
            one.tell(error.problems[0])
        return
    by = _By(task, planner, around)
    waiting = {one.place: one for one in about}
    for planned, those in by.plan_at_once(about):
        for one in those:
            del waiting[one.place]
        yield from tell(planned, _known(those), task.wanted, some.crs)
    for one in waiting.values():
        alone = by.plan_alone(one)
        if alone is not None:
            yield from tell(alone, _known([one]), task.wanted, some.crs)


def _known(about: Sequence[_About]) -> Known:
    return Known(
        np.array([one.place for one in about]),
        np.array([one.row for one in about]),
        np.array([one.parcel_id for one in about], dtype=object),
    )


class _By(NamedTuple):
    """By what parcels are planned: the county's plan, and what lies around them."""

    task: Task
    planner: Planner
    around: Around

    def plan_at_once(self, about: Sequence[_About]) -> Iterator[tuple[Planned, list[_About]]]:
        """Plan those that were read together; where one is at fault they are halved until it is left, and that is not given."""
        read, reach = self.around.read, self.task.plan.site.reach
        if read is None:
            return
        known = self.around.known_under([one.place for one in about])
        plain = known & read.plain([one.parcel_id for one in about], reach)
        todo = [[one for one, can in zip(about, plain, strict=True) if can]]
        while todo:
            some = todo.pop()
            if not some:
                continue
            lots = read.lots([one.parcel_id for one in some], reach)
            try:
                # All of them may take as long as a single one may.
                with limit_of(self.task.plan.county.seconds) as look_up:
                    planned = self.planner.plan_lots(read.site, lots, look_up)
            except TooSlowError:
                return
            except MemoryError:
                raise
            except Exception:  # what is wrong with one is told where it is planned by itself
                if len(some) > 1:
                    half = len(some) // 2
                    todo += [some[half:], some[:half]]
                continue
            yield planned, some

    def plan_alone(self, about: _About) -> Planned | None:
        """Plan one parcel by itself; what cannot be planned is listed, and nothing is given."""
        begun = time.thread_time()
        try:
            with limit_of(self.task.plan.county.seconds) as look_up:
                return self._try(about, look_up)
        except TooSlowError:
            about.tell(
                Problem(
                    f"it was given up after {time.thread_time() - begun:.0f} s of processor time",
                    "Plan it by itself with screenplan run, or raise county.seconds",
                )
            )
        except MemoryError:
            raise
        except Exception as error:  # one parcel of a hundred thousand stops no other
            about.tell_error(error)
        return None

    def _try(self, about: _About, look_up: Callable[[], None]) -> Planned | None:
        """Plan it without those rows around it that cannot be read; None if it cannot be planned itself."""
        near = self.around.near(about.place)
        for _ in range(MOST_TRIES):
            sources = {
                name: replace(self.task.layers[name].named, file=bare(table))
                for name, table in near.items()
            }
            try:
                look_up()
                return self._read_and_plan(about, sources, look_up)
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
                "too many rows around it cannot be read",
                "Correct the rows that are listed around it",
            )
        )
        return None

    def _read_and_plan(
        self, about: _About, sources: Mapping[str, LayerSource], look_up: Callable[[], None]
    ) -> Planned:
        plan, ground = self.planner.plan_for(about.parcel_id), self.around.ground
        terrain: Terrain | TerrainSource | None = self.task.terrain
        # Where the tile's ground does not reach, the parcel's own is read, which tells what is missing.
        if ground is not None and self.around.known_under([about.place])[0]:
            terrain = ground.terrain
        site = read_site(sources, plan=plan, terrain=terrain, frame=self.around.frame)
        with rows_of_files(site.layers, site.inputs, plan):
            return self.planner.plan_lots(site, Lots.one(site.layers), look_up)


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
