"""A fence as a candidate of the design: along which sides one as tall as a code allows is worth its price.

For each set of sides the planting is designed anew with the fence standing, and the set is taken that leaves least open,
and of those the one that costs least, fence and plants together. No fence is a set too. What is proven of the planting
holds beside the fence that was taken; the sets themselves are told apart by plantings at typical growth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import pandas as pd

from screenplan.contracts import EXISTING_SCREENS
from screenplan.contracts.instead import BUILD_FIRST
from screenplan.contracts.tables import DTYPES, layer_of, notes_of, with_notes
from screenplan.design.designing import design_planting, prepare
from screenplan.design.kinds import budget_of
from screenplan.design.weights import view_weights
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.instead import Instead
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import FenceHeight, Limit
from screenplan.rules.limits import limit_named
from screenplan.rules.ruleset import Rule
from screenplan.site.terrain import Terrain
from screenplan.views.opened import open_rays
from screenplan.views.sight import sight_of
from screenplan.works.boundary_screens import Upright, lay_upright, with_screens
from screenplan.works.instead_laid import ASK

#: Sides along which a fence may be chosen: with so many every set of them is tried.
MOST_SIDES = 4
#: Share of the design's time for each set.
TRYING_SHARE = 0.25
#: What is open, and what it costs, are told apart to this many decimals.
DECIMALS = 9


@dataclass(frozen=True, eq=False)
class Fenced:
    """A fence that was chosen, or none.

    Parameters
    ----------
    layers : dict
        The layers with it among the existing screens.
    plan : Options
        What is left to ask of the plants: the budget less the fence, and the share of the views that it leaves.
    cost : float
        0 for none.
    says : str
        Where it stands, what it costs and closes, and what to ask first; empty for none.
    """

    layers: dict[str, Any]
    plan: Options
    cost: float = 0.0
    says: str = ""

    def told(self, design: pd.DataFrame) -> pd.DataFrame:
        """Put the fence into the table ``design``: its price into the costs, its words behind the plants'."""
        if not self.says:
            return design
        notes = notes_of(design)
        (row,) = design.to_dict("records")
        says = said(
            f"{row['says']}. With a new fence beside them it is {row['cost'] + self.cost:,.2f} in all"
        )
        costs = {name: row[name] + self.cost for name in ("cost", "typical_cost", "least_cost")}
        return with_notes(
            design.assign(says=pd.array([says], DTYPES["text"]), **costs),
            [f"Design: {says}", self.says, *notes[1:]],
        )


@dataclass(frozen=True)
class _Tried:
    """A set of sides: what its fence and its plants cost, what stays open, and the plan of its planting."""

    sides: tuple[str, ...]
    plan: Options
    fence: float
    plants: float | None
    still: float
    views: int

    @property
    def rank(self) -> tuple[float, float, int]:
        cost = self.fence + (self.plants or 0.0)
        return (round(self.still, DECIMALS), round(cost, DECIMALS), len(self.sides))


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
    if "fence" not in plan.instead.prices:
        raise refuse(
            "a fence without a price cannot be weighed against plants",
            "Write the price of a metre, such as instead.prices = { fence = 90.0 }",
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
    """Choose the sides along which a fence is built.

    The parameters are those of `screenplan.design.design_planting`.

    Raises
    ------
    InputError
        If the plan lacks what a fence needs, too many sides are left to choose among, plants have no prices, or a
        fence alone is the best.
    """
    refuse_fence(plan)
    asked, kept = plan.instead, Kept() if kept is None else kept
    code = limit_named(limits, asked.code, FenceHeight, Instead.key("code"))
    price, budget = asked.prices["fence"], budget_of(plan)
    task = prepare(layers, plan, rules, species_table, limits=limits, terrain=terrain)
    if not task.offer.priced:
        raise refuse(
            "plants have no prices, so that a fence cannot be weighed against them",
            "Give prices by height in hand.prices, or the price of a plant in cost.prices",
            key=Instead.key("design"),
        )

    def opens(mine: Mapping[str, Any]) -> tuple[float, int, float]:
        """Weight and number of the views that are open without plants, and their light."""
        rays = open_rays(sight_of({**mine, "planting_lines": None}, plan.views, terrain, kept), plan.views.threshold)  # fmt: skip
        ends = list(zip(rays.observers, rays.places, strict=True))
        weights = view_weights(plan.design, mine["private_places"], rays.views, ends)
        return float(weights.sum()), len(rays.views), float(rays.light.sum())

    def fence_of(sides: Sequence[str]) -> Upright:
        return lay_upright("fence", layers, asked.model_copy(update={"along": tuple(sides)}), code)

    today = opens(layers)
    names = list(asked.along) or layers["sides"]["side_id"].astype(str).tolist()
    # A fence that stops no light is of no use, whatever stands beside it.
    useful = [name for name in names if opens(with_screens(layers, fence_of([name]).screens))[2] < today[2]]  # fmt: skip
    if len(useful) > MOST_SIDES:
        raise refuse(
            f"a fence may be of use along {len(useful)} sides, and a design chooses among {MOST_SIDES} at most",
            f"Name those along which it may stand in instead.along: some of {', '.join(useful)}",
            key=Instead.key("along"),
        )

    def tried() -> Iterator[_Tried]:
        for sides in (some for size in range(len(useful) + 1) for some in combinations(useful, size)):  # fmt: skip
            screens = fence_of(sides).screens if sides else None
            cost = 0.0 if screens is None else price * float(screens.length.sum())
            if budget is not None and cost > budget:
                continue
            mine = layers if screens is None else with_screens(layers, screens)
            left, views, _ = opens(mine)
            # What may stay open of all that is open today; the plants are asked for the rest.
            spare = (1.0 - plan.goal.share) * today[0]
            rest = _rest_of(plan, cost, max(left - spare, 0.0) / left if left > 0.0 else 0.0)
            plants, still = None, left
            if left > spare:
                try:
                    made = design_planting(
                        mine, plan=_quick(rest), rules=rules, limits=limits, species_table=species_table,
                        terrain=terrain, kept=kept,
                    )  # fmt: skip
                except InputError:
                    # Nothing that may be planted beside the fence closes a view, or no money is left for it.
                    pass
                else:
                    plants = float(made[6]["cost"].iloc[0])
                    still = float(made[7]["weight"][~made[7]["closed"].to_numpy(bool)].sum())
            yield _Tried(sides, rest, cost, plants, max(still - spare, 0.0), views)

    best = min(tried(), key=lambda one: one.rank)
    if not best.sides:
        return Fenced(dict(layers), plan)
    fence = fence_of(best.sides)
    closes = f"closes {today[1] - best.views} of {today[1]} open views on the first day"
    says = f"{fence.along}, {{{float(fence.screens.length.sum()):.1f} m}} for {best.fence:,.2f}"
    caution = ". ".join(part[:1].upper() + part[1:] for part in (*fence.says[1:], ASK["fence"]))
    if best.plants is None:
        why = (
            "no planting beside it closes one of the others"
            if best.still
            else "no planting does as much for less"
        )
        raise refuse(
            f"a fence alone is the best that was found, {says}: it {closes}, and {why}",
            f"Plant nothing, and build it. {caution}. Or set instead.design to false, and plant",
            key=Instead.key("design"),
        )
    return Fenced(
        with_screens(layers, _as_screens(fence)), best.plan, best.fence,
        f"{BUILD_FIRST}, {says}. It {closes}, and all else here counts it as standing already. {caution}",
    )  # fmt: skip


def _as_screens(fence: Upright):
    """Give a fence as rows of existing screens."""
    rows = [{**row, "screen_id": f"new {row['screen_id']}"} for row in fence.screens.to_dict("records")]  # fmt: skip
    return layer_of(EXISTING_SCREENS, rows, fence.screens.geometry, fence.screens.crs)


def _rest_of(plan: Options, cost: float, share: float) -> Options:
    """Give the plan for the plants beside a fence of a price, with the share of what it leaves open that is asked."""
    budget = budget_of(plan)
    design = plan.design.model_copy(
        update={"budget": None if budget is None else budget - cost} if cost else {}
    )
    goal = plan.goal.model_copy(update={"share": share} if cost else {})
    return plan.model_copy(update={"design": design, "goal": goal})


def _quick(plan: Options) -> Options:
    """Give the plan by which sets are told apart: typical growth alone, and nothing beside it."""
    seconds = TRYING_SHARE * plan.design.seconds
    quick = {"chance": 0.0, "choices": False, "compare": False, "seconds": seconds}
    return plan.model_copy(update={"design": plan.design.model_copy(update=quick)})
