"""What stays closed if all plants of one kind die out: how much is asked, plants added until it holds, and the views traced without a kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of, counts
from screenplan.design.moves import Additions, may_go, removable
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.plan.design import Design
from screenplan.planting.hedges import living_kind
from screenplan.views.kinds_lost import open_shares
from screenplan.views.sight import sight_of

if TYPE_CHECKING:
    from screenplan.design.chosen import Layers
    from screenplan.design.kinds import Offer
    from screenplan.design.rounds import Chosen, Pool, Stage


def can_close(pool: Pool, limits: Limits) -> float:
    """Give the weight of the views that are asked for and that all candidates together close."""
    met = pool.stopped(np.ones(len(pool.candidates.table), bool))
    rays = pool.rays
    stopped = np.bincount(rays.view[met], rays.light[met], len(rays.views))
    closable = float(pool.weight[stopped >= pool.need - SLACK].sum())
    return min(limits.share * float(pool.weight.sum()), closable)


def with_least_left(limits: Limits, pool: Pool) -> Limits:
    """Give the limits with the weight that must stay closed whichever kind dies out; as they are where nothing is asked."""
    if not limits.left_share:
        return limits
    return replace(limits, least_left=limits.left_share * can_close(pool, limits))


def not_held(choice: Choice, whole: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Tell which views some of the rays hold closed without a kind, and all of them do not, (views,).

    None where all rays leave enough closed whichever kind dies out.

    Examples
    --------
    A plant of each of two kinds; of the two rays of a view each stops one, and the second ray was not among those that
    were looked at.

    >>> from scipy.sparse import csr_array
    >>> whole = Choice(np.ones(2), np.arange(2), *[np.arange(2)] * 3, (), csr_array(np.eye(2)),
    ...     csr_array(np.full((1, 2), 0.5)), np.array([0.9]), np.ones(1))
    >>> some = replace(whole, stops=csr_array(np.ones((2, 1))), light=csr_array(np.ones((1, 1))))
    >>> not_held(some, whole, Limits(least_left=1.0), np.array([True, True])).tolist()
    [True]
    """
    found = np.zeros(len(choice.need), bool)
    if whole.left_weight(planted) >= limits.least_left - SLACK:
        return found
    on_all = whole.left_closed(planted)
    for kind, held in choice.left_closed(planted).items():
        found |= held & ~on_all[kind]
    return found


def hold_without_one(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Add plants until enough stays closed whichever kind dies out, and take off what is then of no use.

    What is given back keeps to that limit only if it can be reached so.
    """
    if choice.left_weight(planted) >= limits.least_left - SLACK:
        return planted
    return _thin(choice, limits, add_until_held(choice, limits, planted))


def open_without(made: Layers, stage: Stage, views: Sequence[str]) -> dict[str, np.ndarray]:
    """Follow the views without each kind of a planting: what is open in the year, by its key, as the table of lost kinds tells it."""
    plants, plan = made.plants, stage.plan
    layers = {**stage.layers, "planting_lines": made.planting_lines, "plants": plants}
    sight = sight_of(layers, plan.views, stage.terrain, stage.kept)
    asked = plan.views.model_copy(update={"missing_year": stage.year})
    plan = plan.model_copy(update={"views": asked})
    kinds, found = plants["species"].astype(str).map(living_kind), {}
    for kind in kinds.unique():
        left = plants[kinds != kind].reset_index(drop=True)
        shares = open_shares(sight, left, plan, stage.species_table)
        # A view of which every head stands too near to the row is followed no more.
        found[str(kind)] = np.array([shares.get(view, 0.0) for view in views])
    return found


def left_closed(left: Mapping[str, np.ndarray], pool: Pool, threshold: float) -> float:
    """Give the weight that stays closed without the kind on which most hangs, by what is open without each."""
    weights = (float(pool.weight[share <= threshold].sum()) for share in left.values())
    return min(weights, default=np.inf)


def say_left(found: Chosen, pool: Pool, limits: Limits, stage: Stage) -> str:
    """Say how much stays closed if one kind dies out, as the views themselves tell it."""
    assert found.layers is not None  # something is planted
    views, can = stage.plan.views, can_close(pool, limits)
    left = left_closed(open_without(found.layers, stage, pool.rays.views), pool, views.threshold)
    share, other = min(left / max(can, SLACK), 1.0), ""
    if views.missing_year != stage.year:
        other = f", for the year of views.missing_year, {views.missing_year}"
    return said(
        f"If all plants of any one kind die, {'' if left >= limits.left_share * can - SLACK else 'only '}{share:.0%} of the "
        f"views that can be closed stay closed, by their weight (year {stage.year}, typical growth; {limits.left_share:.0%} are asked); "
        f"the table kinds_lost (health.kinds_lost = true) tells which open{other}"
    )


def refuse_one_kind(offer: Offer, plan: Options, standing: int) -> None:
    """Refuse to hold views closed without one kind where only one may be planted, or where plants stand already."""
    kinds = {living_kind(option.species.key) for option in offer.options}
    if min(plan.design.most_kinds, len(kinds)) < 2:
        raise refuse(
            "views are to stay closed if any one kind dies out, and the design may plant 1 kind",
            "Name more kinds in design.kinds, allow two in design.most_kinds, or leave design.closed_without_one out",
            key=plan.design.key("closed_without_one"),
        )
    if standing:
        raise refuse(
            "views are to stay closed if any one kind dies out, and plants stand already, of which no kind is ever left out",
            "Leave design.closed_without_one out, or the plants that stand out of the existing screens",
            key=plan.design.key("closed_without_one"),
        )


def refuse_left(limits: Limits) -> InputError:
    """Build the refusal of a design that finds nothing of which so much stays closed without one kind."""
    return refuse(
        f"no planting was found of which {limits.left_share:.0%} of the views that can be closed stay closed if any one kind dies out",
        "Ask for less, allow more kinds, a larger budget, larger stock or lines beside the places (design.inner), or leave it out",
        key=Design.key("closed_without_one"),
        kind="room",
    )


def add_until_held(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Add plants until enough stays closed whichever kind dies out, or nothing helps.

    Added is what brings the views nearest to closing for its price that the other kinds leave open, without the kind on
    which most hangs.
    """
    additions, light = Additions(choice, limits), choice.light_by_group
    others_limits = replace(limits, least_left=0.0)
    value = choice.weight / np.maximum(choice.need, SLACK)
    while True:
        left = {
            kind: float(choice.weight[closed].sum())
            for kind, closed in choice.left_closed(planted).items()
        }
        if min(left.values(), default=np.inf) >= limits.least_left - SLACK:
            return planted
        worst = min(left, key=lambda kind: left[kind])
        others = choice.dies_as != worst
        met = choice.met(planted & others) > 0
        lack = np.maximum(choice.need - light[met].sum(axis=0), 0.0)
        lack = np.where(choice.closed(others), lack, 0.0)
        helps = []
        for move in additions.among(planted, _free(choice, limits, planted)):
            helping = move[others[move]]
            groups = np.unique(choice.groups_of(helping)) if len(helping) else np.zeros(0, int)
            gain = float(np.minimum(light[groups[~met[groups]]].sum(axis=0), lack) @ value)
            if gain > SLACK:
                helps.append((gain / max(float(choice.price[move].sum()), SLACK), move))
        helps.sort(key=lambda one: -one[0])
        # A run too near to another, or more than the budget or a kind's share, is no help.
        larger = (planted | np.isin(np.arange(len(planted)), move) for _, move in helps)
        more = next((one for one in larger if not breaks_of(choice, others_limits, one)), None)
        if more is None:
            return planted
        planted = more


def _free(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Tell which plants have room, and are of a kind that may be planted too, (plants,)."""
    used = np.unique(choice.kind[planted])
    may = ~np.isin(choice.kind, list(limits.kinds_beside(used)))
    if len(used) >= limits.most_kinds:
        may &= np.isin(choice.kind, used)
    return may & ~planted & ~choice.blocked_by(planted)


def _thin(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Take off once, the dearest first, what no limit and no view needs."""
    if breaks_of(choice, limits, planted):
        return planted
    now = counts(choice, limits, planted)
    for gone in sorted(
        removable(choice, limits, planted), key=lambda some: -choice.price[some].sum()
    ):
        if not may_go(choice, limits, planted, gone):
            continue
        less = planted.copy()
        less[gone] = False
        if counts(choice, limits, less) < now - SLACK and not breaks_of(choice, limits, less):
            planted, now = less, counts(choice, limits, less)
    return planted
