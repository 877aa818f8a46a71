"""A fence as a candidate of the design: where one as tall as a code allows is worth its price.

For each fence that is tried the planting is designed anew with the fence standing, and that is taken which leaves least
open, and of those the one that costs least, fence and plants together. No fence is tried too. First every set of sides
is tried, then stretches: what some views need of a side, from where the best fence so far can be cut or lengthened. A
wall is tried where it is cheaper than a fence, a trellis where it is cheaper than both. What is proven of the planting
holds beside the fence that was taken; the fences themselves are told apart by plantings at typical growth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.design.built_first import Fenced, Left, as_existing, as_new, nothing_planted
from screenplan.design.designing import (
    Task,
    design_planting,
    least_plants,
    least_price,
    prepare,
)
from screenplan.design.fence_stretches import Crossings, Cut, Look, find_crossings
from screenplan.design.kinds import budget_of
from screenplan.design.weights import view_weights
from screenplan.ground.errors import NoRoomError, refuse
from screenplan.ground.kept import Kept
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.instead import Instead
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import Limit
from screenplan.rules.ruleset import Rule
from screenplan.site.terrain import Terrain
from screenplan.views.opened import open_rays
from screenplan.views.sight import sight_of
from screenplan.works.boundary_screens import (
    UPRIGHT,
    Allowed,
    lay_upright,
    what_is_allowed,
    with_screens,
)
from screenplan.works.instead_laid import ASK

#: Sides along which a fence may be chosen: with so many every set of them is tried.
MOST_SIDES = 4
#: So many fences are tried at most after the sets of sides.
MOST_TRIED = 16
#: Share of the design's time for each fence.
TRYING_SHARE = 0.25
#: What is open, and what it costs, are told apart to this many decimals.
DECIMALS = 9


@dataclass(frozen=True, eq=False)
class _Kind:
    """What may be built: a fence, a wall or a trellis, along all sides where it is of use, and its price of a metre."""

    option: str
    price: float
    crossings: Crossings


@dataclass(frozen=True, eq=False)
class _Built:
    """Something that is tried: stretches of a kind, for some views; None is built without a kind."""

    kind: _Kind | None = None
    views: frozenset[int] = frozenset()
    sides: frozenset[str] = frozenset()

    @property
    def cut(self) -> Cut:
        return {} if self.kind is None else self.kind.crossings.of(self.views, self.sides)

    @property
    def key(self) -> tuple:
        stretches = [(row, *some) for row, some in self.cut.items() if len(some)]
        # Views that need nothing of it ask for no fence, of whatever kind.
        return (self.kind.option, *stretches) if self.kind and stretches else (None,)


@dataclass(frozen=True, eq=False)
class _Tried:
    """What came of it: its pieces, what they and the plants cost, what stays open, and the plan of the planting.

    If nothing is planted there is no cost of plants, and it is said why, with the cause of what stays open.
    """

    built: _Built
    screens: gpd.GeoDataFrame | None
    plan: Options
    fence: float
    plants: float | None
    still: float
    why: str = ""
    cause: str | None = None

    @property
    def cost(self) -> float:
        return self.fence + (self.plants or 0.0)

    @property
    def rank(self) -> tuple[float, float, int]:
        pieces = 0 if self.screens is None else len(self.screens)
        return (round(self.still, DECIMALS), round(self.cost, DECIMALS), pieces)


def refuse_fence(plan: Options) -> None:
    """Refuse a plan that asks for a fence among the candidates and does not say what that needs.

    Raises
    ------
    InputError
        With the key.
    """
    if not plan.instead.design:
        return
    if not plan.design.wanted:
        raise refuse(
            "a fence is chosen by a design, and this plan says its rows itself",
            "Set design.wanted to true, or compare a fence with the plants by instead.compare",
            key=Instead.key("design"),
        )
    if not any(plan.instead.price_of(option) is not None for option in UPRIGHT):
        raise refuse(
            "a fence without a price cannot be weighed against plants",
            "Write the price of a metre, such as instead.prices = { fence = 90.0 }; a wall and a trellis with a price are weighed too",
            key=Instead.key("prices"),
        )


def choose_fence(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    rules: Sequence[Rule] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    terrain: Terrain | None = None,
    kept: Kept | None = None,
) -> Fenced:
    """Choose where a fence, a wall or a trellis is built.

    The parameters are those of `screenplan.design.design_planting`.

    Raises
    ------
    InputError
        If the plan lacks what a fence needs, too many sides are left to choose among, or plants have no prices.
    """
    refuse_fence(plan)
    kept = Kept() if kept is None else kept
    allowed = what_is_allowed(layers, plan, limits)
    task = prepare(layers, plan, rules, species_table, limits=limits, terrain=terrain)
    if not task.offer.priced:
        raise refuse(
            "plants have no prices, so that a fence cannot be weighed against them",
            "Give prices by height in hand.prices, or the price of a plant in cost.prices",
            key=Instead.key("design"),
        )
    look = _look_at(layers, plan, task, terrain, kept)
    kinds = _kinds_of(layers, plan.instead, allowed, look)
    resources = {
        "rules": rules,
        "limits": limits,
        "species_table": species_table,
        "terrain": terrain,
    }
    search = _Search(layers, plan, task, look, resources | {"kept": kept})
    best = search.find(kinds)
    if best.screens is None:
        return Fenced(dict(layers), plan)
    fence = _told(best, layers, plan, allowed, look)
    if best.plants is not None:
        return fence
    light = look.left(best.screens)
    left = _left(look, light, look.is_open(light))
    alone = nothing_planted(task, look.rays, left, terrain, tried=len(search.tried), why=best.why, cause=best.cause)  # fmt: skip
    return replace(fence, alone=alone)


def _look_at(layers, plan: Options, task: Task, terrain: Terrain | None, kept: Kept) -> Look:
    """Look at the views that are open without plants; places end where the design lets them end."""
    places = task.candidates.private_places
    sight = sight_of({**layers, "private_places": places, "planting_lines": None}, plan.views, terrain, kept)  # fmt: skip
    rays = open_rays(sight, plan.views.threshold)
    ends = list(zip(rays.observers, rays.places, strict=True))
    weight = view_weights(plan.design, places, rays.views, ends)
    return Look(sight, rays, weight, plan.views.threshold)


def _kinds_of(layers, asked: Instead, allowed: Allowed, look: Look) -> list[_Kind]:
    """Lay what has a price along the sides where it stops light, but for what costs no less than what stops as much.

    Raises
    ------
    InputError
        If that are too many sides.
    """
    prices = {option: price for option in UPRIGHT if (price := asked.price_of(option)) is not None}
    solid = min((option for option in prices if option != "trellis"), key=prices.__getitem__, default=None)  # fmt: skip
    chosen = [option for option in (solid, "trellis") if option in prices]
    if solid is not None and prices.get("trellis", 0.0) >= prices[solid]:
        chosen = [solid]
    names = asked.along or tuple(layers["sides"]["side_id"].astype(str))
    kinds = []
    for option in chosen:
        laid = lay_upright(
            option, layers, asked.model_copy(update={"along": names}), allowed
        ).screens
        # A fence that stops no light is of no use, whatever stands beside it.
        crossings = find_crossings(look, laid)
        useful = laid["side_id"].iloc[np.unique(crossings.row)].drop_duplicates().tolist()
        if len(useful) > MOST_SIDES:
            raise refuse(
                f"a fence may be of use along {len(useful)} sides, and a design chooses among {MOST_SIDES} at most",
                f"Name those along which it may stand in instead.along: some of {', '.join(useful)}",
                key=Instead.key("along"),
            )
        kinds.append(_Kind(option, prices[option], crossings))
    return kinds


@dataclass(eq=False)
class _Search:
    """Tries fences, each once.

    Parameters
    ----------
    layers, plan, task
        Those of the design.
    look : Look
    resources : mapping
        What `design_planting` takes besides.
    """

    layers: Mapping[str, Any]
    plan: Options
    task: Task
    look: Look
    resources: Mapping[str, Any]
    tried: dict[tuple, _Tried] = field(default_factory=dict)
    last: int = 0

    def find(self, kinds: Sequence[_Kind]) -> _Tried:
        """Give the best: of all sets of sides first, then of stretches, from the best, from most and from none on."""
        none = best = self._try(_Built())
        most = none
        for kind in kinds:
            for built in _whole(kind):
                if not self._is_hopeless(built, best):
                    most = self._try(built)
                    best = min(best, most, key=_rank)
        self.last = len(self.tried) + MOST_TRIED
        for start in (best, most, none):
            best = min(best, self._improved(start, best, kinds), key=_rank)
        return best

    def _improved(self, found: _Tried, best: _Tried, kinds: Sequence[_Kind]) -> _Tried:
        """Go on from something that was tried to what is better, until nothing that differs little is."""
        better: _Tried | None = found
        while better is not None:
            found, better = better, None
            for built in self._others(found.built, kinds):
                # What was tried on another way is passed over, so that each way leads elsewhere.
                if built.key in self.tried or self._is_hopeless(built, min(best, found, key=_rank)):
                    continue
                if len(self.tried) >= self.last:
                    return found
                other = self._try(built)
                if other.rank < found.rank:
                    better = other
                    break
        return found

    def _others(self, built: _Built, kinds: Sequence[_Kind]) -> list[_Built]:
        """Give what differs by a view or a stretch, what saves or closes most for its length first."""
        if built.kind is None:
            single = [
                _Built(kind, frozenset(views), frozenset(kind.crossings.screens["side_id"]))
                for kind in kinds
                for views in _together(
                    kind.crossings, np.flatnonzero(kind.crossings.closed).tolist()
                )
            ]
            return sorted(single, key=lambda one: self._cost(one) / max(self._weight(one), 1e-9))
        crossings = built.kind.crossings
        alone = frozenset(view for view in built.views if crossings.closed[view])
        fewer = [
            _Built(built.kind, built.views - set(views), built.sides)
            for views in _together(crossings, sorted(built.views), built.sides)
        ]
        fewer.append(_Built(built.kind, alone, built.sides))
        more = [
            _Built(built.kind, built.views | {view}, frozenset(crossings.screens["side_id"]))
            for view in np.flatnonzero(crossings.closed).tolist()
            if view not in built.views
        ]
        return sorted(filter(_has_any, fewer), key=self._cost) + sorted(more, key=self._cost)

    def _cost(self, built: _Built) -> float:
        if built.kind is None:
            return 0.0
        return built.kind.price * sum(
            end - begin for some in built.cut.values() for begin, end in some
        )

    def _weight(self, built: _Built) -> float:
        return float(self.look.weight[list(built.views)].sum())

    def _is_hopeless(self, built: _Built, best: _Tried) -> bool:
        """Tell whether nothing may be better than the best, or there is no money for it."""
        budget, cost = budget_of(self.plan), self._cost(built)
        return (best.still <= 0.0 and cost >= best.cost) or (budget is not None and cost > budget)

    def _try(self, built: _Built) -> _Tried:
        """Design the planting beside it."""
        plan, look, key = self.plan, self.look, built.key
        if key in self.tried:
            return self.tried[key]
        screens = None if built.kind is None else built.kind.crossings.cut(built.cut)
        light = look.rays.light if screens is None else look.left(screens)
        cost, budget = self._cost(built), budget_of(plan)
        left = float(look.weight[look.is_open(light)].sum())
        # What may stay open of all that is open today; the plants are asked for the rest.
        spare = (1.0 - plan.goal.share) * float(look.weight.sum())
        rest = _rest_of(plan, cost, max(left - spare, 0.0) / left if left > 0.0 else 0.0)
        plants, still = None, left
        why = "as much as is asked is closed, and no plants are needed"
        cause: str | None = "not asked"
        least = least_price(self.task.offer, least_plants(plan, self.task.standing))
        if left > spare and budget is not None and budget - cost < least:
            why, cause = "no money is left for plants", "price"
        elif left > spare:
            mine = self.layers if screens is None else with_screens(self.layers, as_existing(screens))  # fmt: skip
            try:
                made = design_planting(mine, plan=_quick(rest), **self.resources)
            except NoRoomError:
                why, cause = "no planting beside it closes one of the other views", None
            else:
                plants = float(made.design["cost"].iloc[0])
                still = _open_weight(made.design_views)
        found = _Tried(built, screens, rest, cost, plants, max(still - spare, 0.0), why, cause)
        self.tried[key] = found
        return found


def _rank(tried: _Tried) -> tuple[float, float, int]:
    return tried.rank


def _has_any(built: _Built) -> bool:
    return bool(built.views)


def _whole(kind: _Kind) -> Iterator[_Built]:
    """Give all sets of sides, each side as far as it stops rays."""
    crossings = kind.crossings
    every = frozenset(crossings.view.tolist())
    useful = crossings.screens["side_id"].iloc[np.unique(crossings.row)].drop_duplicates().tolist()
    for size in range(1, len(useful) + 1):
        for sides in combinations(useful, size):
            yield _Built(kind, every, frozenset(sides))


def _together(
    crossings: Crossings, views: Sequence[int], sides: frozenset[str] | None = None
) -> list[list[int]]:
    """Give each view by itself, and those that have a stretch in common."""
    sides = frozenset(crossings.screens["side_id"]) if sides is None else sides
    sets: set[tuple[int, ...]] = {(view,) for view in views}
    for row, some in crossings.of(views, sides).items():
        sets |= {tuple(sorted(crossings.views_on(row, stretch) & set(views))) for stretch in some}
    return [list(one) for one in sorted(sets)]


def _told(best: _Tried, layers, plan: Options, allowed: Allowed, look: Look) -> Fenced:
    """Say what was chosen, and put it among what stands."""
    assert best.screens is not None  # a fence was chosen
    assert best.built.kind is not None
    option, price = best.built.kind.option, best.built.kind.price
    sides = tuple(dict.fromkeys(best.screens["side_id"]))
    asked = plan.instead.model_copy(update={"along": sides})
    words = lay_upright(option, layers, asked, allowed)
    light = look.left(best.screens)
    closed = _left(look, light, ~look.is_open(light))
    views = len(look.rays.views), len(closed.views)
    closes = f"closes {views[1]} of {views[0]} open views on the first day"
    pieces = len(best.screens)
    where = f"{words.along}, {{{float(best.screens.length.sum()):.1f} m}}{f' in {pieces} pieces' if pieces > 1 else ''} for {best.fence:,.2f}"
    caution = ". ".join(part[:1].upper() + part[1:] for part in (*words.says[1:], ASK[option]))
    first, rest = " first", "all else here is planned with it standing"
    if best.plants is None:
        first, rest = "", f"nothing is planted beside it: {best.why}"
    says = f"Build a new {option}{first}, {where}. It {closes}, and {rest}. {caution}"
    return Fenced(
        with_screens(layers, as_existing(best.screens)), best.plan,
        as_new(best.screens, layers["sides"], option, price, views, said(says)), closed,
    )  # fmt: skip


def _left(look: Look, light: np.ndarray, which: np.ndarray) -> Left:
    """Give some of the views, with what so much light leaves of them."""
    names = [view for view, mine in zip(look.rays.views, which, strict=True) if mine]
    return Left(names, look.weight[which], look.shares(light)[which])


def _open_weight(views: pd.DataFrame) -> float:
    """Give the weight of the views that a design leaves open."""
    return float(views.loc[~views["closed"].to_numpy(bool), "weight"].sum())


def _rest_of(plan: Options, cost: float, share: float) -> Options:
    """Give the plan for the plants beside a fence of a price, with the share of what it leaves open that is asked."""
    budget = budget_of(plan)
    design = plan.design.model_copy(
        update={"budget": None if budget is None else budget - cost} if cost else {}
    )
    goal = plan.goal.model_copy(update={"share": share} if cost else {})
    return plan.model_copy(update={"design": design, "goal": goal})


def _quick(plan: Options) -> Options:
    """Give the plan by which fences are told apart: typical growth alone, and nothing beside it."""
    seconds = TRYING_SHARE * plan.design.seconds
    quick = {"chance": 0.0, "choices": False, "compare": False, "seconds": seconds}
    return plan.model_copy(update={"design": plan.design.model_copy(update=quick)})
