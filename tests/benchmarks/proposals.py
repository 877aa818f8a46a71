"""What the default design proposes on real lots, held against what can be closed there, and against uniform rows.

``python -m tests.benchmarks.proposals [FOLDER] [LOT ...]``; without a folder the lots of the package momepy alone.
Closable weight is that of the views that are closed by the year, at typical growth and by the kernel, when the
candidates of one line stand alone, or those of all lines that fit together; each station with whichever kind stops
the ray. The floors are printed as held or missed.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import shapely
from scipy.sparse import csr_array

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import layer_of
from screenplan.design.candidates import exclusive_spots
from screenplan.design.designing import design_planting, prepare
from screenplan.design.incidence import find_stops
from screenplan.design.odds import lay_odds
from screenplan.design.rounds import Pool
from screenplan.ground.errors import InputError
from screenplan.running.steps import STEPS
from screenplan.views.opened import open_rays
from screenplan.views.sight import lay_sight
from screenplan.views.views import trace_views

from .clock import load
from .frozen import FAST_NARROW, Lot, lots

#: Floors: least share of the closable weight that is closed, most of the plants that are idle.
LEAST_CLOSED, MOST_IDLE = 0.90, 0.05
#: Half the width of a window as the start of what it sees, metres.
HALF_WINDOW_M = 0.6
#: Rows along every choice of so many sides are compared, along each and along all of more.
MOST_SIDES = 6
SLACK = 1e-9


@dataclass
class Figures:
    """What is counted on one lot, or on several; weights are those of views that are open today.

    Parameters
    ----------
    lots : int
    open, closable, closed : float
    of_closable : float
        Of the closable weight what the design closes.
    sure : float
        What is closed with the chance that is asked, by fresh draws.
    row : float
        What a row of the fast, narrow kind on every side closes, laid by the steps of rows.
    plants, idle, stops_nothing, in_place : int
        Plants; whose grown crown touches no fan from window to place; that stop no ray of an open view by the
        year; that stand in a place.
    no_cause : int
        Views that stay open and have no cause.
    better_rows : int
        Uniform rows of one kind at the same price or less that close more with the same chance.
    cost, least : float
        Price of the plants, and the bound of what closes as much at typical growth.
    seconds : float
    """

    lots: int = 1
    open: float = 0.0
    closable: float = 0.0
    closed: float = 0.0
    of_closable: float = 0.0
    sure: float = 0.0
    row: float = 0.0
    plants: int = 0
    idle: int = 0
    stops_nothing: int = 0
    in_place: int = 0
    no_cause: int = 0
    better_rows: int = 0
    cost: float = 0.0
    least: float = 0.0
    seconds: float = 0.0

    def __add__(self, other: Figures) -> Figures:
        return Figures(
            *(getattr(self, one.name) + getattr(other, one.name) for one in fields(self))
        )

    def __str__(self) -> str:
        return (
            f"{self.open:g} open, {self.closable:g} closable ({_share(self.closable, self.open)}; a row of {FAST_NARROW} on "
            f"every side closes {self.row:g}), {self.closed:g} closed ({_share(self.of_closable, self.closable)} of what is "
            f"closable), {self.sure:g} of them surely; {self.plants} plants for {self.cost:.4g} (at typical growth alone at "
            f"least {self.least:.4g}), {self.idle} idle ({_share(self.idle, self.plants)}), {self.stops_nothing} stop "
            f"nothing by the year, {self.in_place} in a place; {self.no_cause} open without a cause; "
            f"{self.better_rows} uniform rows better; {self.seconds:.1f} s"
        )

    def missed(self) -> list[str]:
        """Name the floors that are not held."""
        return [
            name
            for name, held in (
                (f"{LEAST_CLOSED:.0%} of closable", self.of_closable >= LEAST_CLOSED * self.closable - SLACK),
                (f"{MOST_IDLE:.0%} idle", self.idle <= MOST_IDLE * self.plants),
                ("none in a place", not self.in_place),
                ("a cause for each", not self.no_cause),
                ("no better uniform row", not self.better_rows),
                ("closable is what a row closes at least", self.closable >= self.row - SLACK),
            )
            if not held
        ]  # fmt: skip


def _share(part: float, whole: float) -> str:
    return f"{part / whole:.0%}" if whole else "-"


def figures(lot: Lot) -> Figures:
    """Design one lot, and count."""
    layers, plan, table = lot.layers, lot.plan, lot.species_table
    start = time.perf_counter()
    names = STEPS["design"].gives
    try:
        made = dict(
            zip(names, design_planting(layers, plan=plan, species_table=table), strict=True)
        )
    except InputError as refusal:
        print(f"  {lot.name} is refused: {refusal}")
        made = None
    seconds = time.perf_counter() - start
    task = prepare(layers, plan, species_table=table)
    candidates = task.candidates
    layers = {**layers, "private_places": candidates.private_places}
    sight = lay_sight(
        {**layers, "planting_lines": layer_of(PLANTING_LINES, [], [], layers["parcels"].crs)},
        plan.views,
    )
    rays = open_rays(sight, plan.views.threshold)
    stops = find_stops(
        candidates, rays, np.zeros(len(candidates.table)), task.year, species_table=table
    )
    closes = _Closes(rays, stops, rays.now - plan.views.threshold)
    spots = exclusive_spots(candidates, layers["sides"])
    closable = closes.any_of(_closable(candidates, layers["sides"], spots))
    found = Figures(
        open=len(rays.views), closable=int(closable.sum()),
        row=_row_everywhere(lot, layers, task.year), seconds=seconds,
    )  # fmt: skip
    if made is None:
        return found
    told = made["design_views"].set_index("view_id").reindex(rays.views)
    closed = told["closed"].to_numpy(bool)
    plants = made["plants"]
    found.closed, found.of_closable = int(closed.sum()), int((closed & closable).sum())
    (row,) = made["design"].itertuples()
    found.sure, found.cost, found.least = (
        int(row.views_sure),
        float(row.cost),
        float(row.least_cost),
    )
    found.plants = len(plants)
    found.no_cause = int((~closed & told["cause"].isna().to_numpy()).sum())
    found.in_place = int(plants.within(layers["private_places"].union_all()).sum())
    found.idle = _idle(plants, rays, layers, table)
    stands = _which(candidates, plants)
    found.stops_nothing = int((np.diff(stops[stands].indptr) == 0).sum())
    pool = Pool(candidates, rays, stops, np.ones(len(rays.views)), spots, closes.need)
    sure = _Surely(pool, closes, lot, task.year)
    own = np.zeros(len(candidates.table), bool)
    own[stands] = True
    found.better_rows = sum(
        price <= found.cost + SLACK and sure.more(row, sure(own))
        for row, price in _uniform_rows(candidates, set(layers["sides"]["side_id"].astype(str)))
    )
    return found


class _Closes:
    """Which views a set of candidates closes."""

    def __init__(self, rays, stops: csr_array, need):
        self.rays, self.stops, self.need = rays, stops, need

    def __call__(self, planted) -> np.ndarray:
        met = np.asarray(self.stops[np.flatnonzero(planted)].sum(axis=0)).ravel() > 0
        light = np.bincount(self.rays.view[met], self.rays.light[met], len(self.need))
        return light >= self.need - SLACK

    def any_of(self, plantings: Iterable[np.ndarray]) -> np.ndarray:
        """Tell which views some of the plantings close."""
        return np.logical_or.reduce([self(planted) for planted in plantings])


class _Surely:
    """How many views a set of candidates closes with the chance that the design asks for, by the same draws for all."""

    def __init__(self, pool: Pool, closes: _Closes, lot: Lot, year: int):
        self.closes, self.need, self.chance = closes, pool.need, lot.plan.design.chance
        ground = np.zeros(len(pool.candidates.table))
        self.odds = lay_odds(pool, ground, lot.plan, lot.species_table, until=year)
        self.stops = self.odds.by(year)

    def __call__(self, planted) -> int:
        chance = self.odds.trial(self.stops, self.need, planted).chance()
        return int((self.closes(planted) & (chance >= self.chance)).sum())

    def more(self, planted, than: int) -> bool:
        """Tell whether a planting closes more than so many; what it does not close at typical growth need not be drawn."""
        return int(self.closes(planted).sum()) > than and self(planted) > than


def _closable(candidates, sides, spots) -> list[np.ndarray]:
    """Give each line alone, and all lines that fit together, the sides first and the inner lines first."""
    ground = candidates.table["ground"].to_numpy()
    names = list(dict.fromkeys(ground))
    on_side = set(sides["side_id"].astype(str))
    near: dict[int, set[int]] = {}
    for spot in spots:
        for one, other in itertools.permutations(spot, 2):
            if ground[one] != ground[other]:
                near.setdefault(int(one), set()).add(int(other))
    plantings = [ground == name for name in names]
    for first in (True, False):
        stands = np.zeros(len(ground), bool)
        for name in sorted(names, key=lambda one: (one in on_side) != first):
            for plant in np.flatnonzero(ground == name):
                stands[plant] = not any(stands[other] for other in near.get(int(plant), ()))
        plantings.append(stands)
    return plantings


def _uniform_rows(candidates, sides: set[str]):
    """Give rows of one option along each choice of sides, with their prices."""
    option, ground = candidates.table["option"].to_numpy(int), candidates.table["ground"].to_numpy()
    names = [name for name in dict.fromkeys(ground) if name in sides]
    sizes = range(1, len(names) + 1) if len(names) <= MOST_SIDES else (1, len(names))
    for number, one in enumerate(candidates.options):
        for size in sizes:
            for some in itertools.combinations(names, size):
                row = (option == number) & np.isin(ground, some)
                if row.any():
                    yield row, one.price * int(row.sum())


def _which(candidates, plants) -> np.ndarray:
    """Give the candidates that stand: those of the same place, species and height."""
    tree = shapely.STRtree(candidates.table.geometry.to_numpy())
    plant, stem = tree.query(plants.geometry.to_numpy(), predicate="dwithin", distance=1e-6)
    option = candidates.table["option"].to_numpy(int)[stem]
    species = np.array([one.species.key for one in candidates.options])[option]
    height = np.array([one.height_m for one in candidates.options])[option]
    same = (species == plants["species"].to_numpy(str)[plant]) & np.isclose(
        height, plants["stock_height_m"].to_numpy(float)[plant]
    )
    _, first = np.unique(plant[same], return_index=True)
    return stem[same][first]


def _idle(plants, rays, layers, table) -> int:
    """Count plants whose grown crown touches no fan from a window to the place of an open view."""
    windows = layers["windows"].set_index(layers["windows"]["window_id"].astype(str)).geometry
    places = layers["private_places"]
    places = places.set_index(places["place_id"].astype(str)).geometry
    fans = shapely.union_all(
        [
            shapely.union(windows[who].buffer(HALF_WINDOW_M), places[where]).convex_hull
            for who, where in zip(rays.observers, rays.places, strict=True)
        ]
    )
    half = np.array([table[key].final_width("typical") / 2.0 for key in plants["species"]])
    return int((shapely.distance(plants.geometry.to_numpy(), fans) > half).sum())


def _row_everywhere(lot: Lot, layers, year: int) -> float:
    """Count the views that a row on every side closes, laid and traced as a plan that says so would."""
    kind = lot.species_table[FAST_NARROW]
    plan = lot.plan.model_copy(
        update={
            "rows": lot.plan.rows.model_copy(update={"along": ("all",), "spacing": kind.usual_spacing_m}),
            "plants": lot.plan.plants.model_copy(update={"species": FAST_NARROW}),
        }
    ).without_draws()  # fmt: skip
    own = dict(layers)
    try:
        for name in ("zones", "lines", "plants"):
            step = STEPS[name]
            given = (
                {"species_table": lot.species_table} if "species_table" in step.resources else {}
            )
            own |= step(own, plan=plan, **given)
    except InputError:
        return 0
    views = trace_views(own, plan=plan, species_table=lot.species_table, second_sample=False)[0]
    opens = views["status"].isin(["closes", "stays open"])
    return int((opens & (views["year_closed"] <= year).fillna(False)).sum())


def bench_proposals(folder: Path | None = None, only: tuple[str, ...] = ()) -> None:
    """Print the figures of each lot and of all together, and which floors are held."""
    print(f"Proposals by default on real lots, frozen; {load()}")
    total = Figures(lots=0)
    for lot in lots(folder, only):
        found = figures(lot)
        total += found
        print(
            f"  {lot.name}: {found}; {', '.join(found.missed()) or 'all floors held'}", flush=True
        )
    print(f"  {total.lots} lots: {total}")
    print(f"  floors missed: {', '.join(total.missed()) or 'none'}")


if __name__ == "__main__":
    given = sys.argv[1:]
    at = Path(given.pop(0)) if given and Path(given[0]).is_dir() else None
    bench_proposals(at, tuple(given))
