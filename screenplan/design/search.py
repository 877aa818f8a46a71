"""The search for the planting that counts least, set of kinds by set of kinds, and a bound below all of them.

A planting has the kinds of one of these sets, so that the least of their bounds holds for all. Each programme is far
smaller, and its bound nearer: that of all kinds together mixes them in parts of plants.

The programme without whole numbers tells of each plant how far its price is above what it is worth there. A planting
of those alone whose prices are not far above is found in a moment, and is mostly the best or near to it. Whether it is
the best is shown afterwards: nothing is looked for but what counts less, and mostly there is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from screenplan.design.choice import (
    SLACK,
    Choice,
    Limits,
    breaks_of,
    counts,
    open_weight,
    sets_of_kinds,
)
from screenplan.design.clock import Clock
from screenplan.design.formulation import INFEASIBLE, PROVEN, SAME_SHARE, programme_of, relax, solve
from screenplan.design.merging import join_rays, merge_rays
from screenplan.design.reduced import with_narrow_gaps, without

#: First bounds are those of a coarser programme: of more groups of rays than this, those that share so many of their
#: plants are joined.
FEW_GROUPS, ALIKE = 300, 0.6
#: Share of the time for good plantings in which all first bounds are to be found.
BOUNDS_SHARE = 0.4
#: Of the time in which good plantings are found, and is left, the most for one set of kinds; and the
#: share of the time that is left for the proof of the next set.
ONE_SHARE, NEXT_SHARE = 0.5, 0.5
#: Plants are near to being worth their price that are above it by less than this share of the mean price.
NEAR_PRICE = 0.35
#: Prices are told apart to this.
FINEST_PRICE = 1e-8


@dataclass
class Search:
    """What is known so far.

    Parameters
    ----------
    choice : Choice
    limits : Limits
    best : ndarray of bool, (plants,)
        A planting that keeps to the limits.
    most_open : float
        More weight than this stays open in no planting that counts less; infinite if that is not known.
    clock : Clock
        By which its seconds go.
    """

    choice: Choice
    limits: Limits
    best: np.ndarray
    most_open: float
    clock: Clock = field(default_factory=Clock)

    def __post_init__(self):
        self.least = counts(self.choice, self.limits, self.best)
        self.parts = [
            _Part.of(self.choice, some, self.limits)
            for some in sets_of_kinds(self.choice, self.limits)
        ]
        self.bounds = np.full(len(self.parts), -math.inf)
        self.step = _step(self.choice, self.limits) if math.isfinite(self.most_open) else 0.0

    @property
    def bound(self) -> float:
        """No planting counts less than this, or than the best."""
        return float(self.bounds.min())

    @property
    def most(self) -> float:
        """What counts less than the best counts this at most."""
        return self.least - max(0.5 * self.step, SAME_SHARE * max(self.least, 1.0))

    def left(self) -> list[int]:
        """Give the sets that may hold a better planting, the one with the least bound first."""
        return [number for number in np.argsort(self.bounds) if self.bounds[number] < self.most]

    def take(self, planted) -> bool:
        """Keep a planting if it is better than the best."""
        if planted is None or breaks_of(self.choice, self.limits, planted):
            return False
        now = counts(self.choice, self.limits, planted)
        if now >= self.least - SLACK:
            return False
        self.best, self.least = planted, now
        if math.isfinite(self.most_open):
            self.most_open = min(self.most_open, open_weight(self.choice, self.limits, planted))
        return True

    def find_good(self, seconds: float) -> bool:
        """Find a good planting of each set, and bounds; tell whether one was better than the best.

        Where the first bounds take so long that there is no time for programmes, nothing else is tried.
        """
        end, better = self.clock.worked() + seconds, False
        if len(self.parts) > 1 or self.choice.stops.shape[1] > FEW_GROUPS:
            for number, part in enumerate(self.parts):
                left = end - self.clock.worked() - (1.0 - BOUNDS_SHARE) * seconds
                if left <= 0.0:
                    return False
                self.bounds[number] = relax(
                    part.coarse(self.limits, self.most_open), self.clock.wall(left)
                ).bound
        for number in self.left():
            left = end - self.clock.worked()
            if left <= 0.0:
                break
            if self.bounds[number] >= self.most:
                continue
            part = self.parts[number]
            programme = programme_of(part.choice, self.limits, self.most_open)
            relaxed = relax(programme, self.clock.wall(left))
            self.bounds[number] = max(self.bounds[number], relaxed.bound)
            if relaxed.above is None or relaxed.values is None or self.bounds[number] >= self.most:
                continue
            plants = len(part.choice.price)
            near = relaxed.above[:plants] < NEAR_PRICE * max(part.choice.price.mean(), SLACK)
            fixed = np.where(near | (relaxed.values[:plants] > SLACK), -1, 0)
            found = solve(
                programme, plants, self.clock.wall(ONE_SHARE * max(end - self.clock.worked(), 0.0)), fixed,
                most=self.most, step=self.step,
            )  # fmt: skip
            better |= self.take(part.whole(found.planted))
        return better

    def prove(self, seconds: float) -> None:
        """Look for what counts less, set by set, and for bounds; nothing is left if every search came to its end."""
        end, order = self.clock.worked() + seconds, self.left()
        for place, number in enumerate(order):
            left = end - self.clock.worked()
            if left <= 0.0:
                return
            if self.bounds[number] >= self.most:
                continue
            part = self.parts[number]
            programme = programme_of(part.choice, self.limits, self.most_open)
            share = self.clock.wall(left if place == len(order) - 1 else NEXT_SHARE * left)
            found = solve(
                programme, len(part.choice.price), share, most=self.most, step=self.step
            )  # fmt: skip
            self.take(part.whole(found.planted))
            if found.status in (PROVEN, INFEASIBLE):
                # Whatever else the set holds counts no less than the best.
                self.bounds[number] = math.inf
            else:
                self.bounds[number] = max(self.bounds[number], found.bound)


def _step(choice: Choice, limits: Limits) -> float:
    """Give the least by which what two plantings count differs, if as much stays open or it is priced beyond all plants.

    Prices are sums of their greatest common part.
    """
    parts = np.round(choice.price / FINEST_PRICE).astype(np.int64)
    if (np.abs(choice.price - parts * FINEST_PRICE) > SLACK).any():
        return 0.0
    common = FINEST_PRICE * int(np.gcd.reduce(parts)) if len(parts) else 0.0
    # What stays open counts a hundredth more than the dearest planting.
    return min(common, 0.005 * min(float(choice.price.sum()), limits.budget))


@dataclass(frozen=True, eq=False)
class _Part:
    """The choice of some kinds."""

    kept: np.ndarray
    choice: Choice

    @classmethod
    def of(cls, choice: Choice, kinds, limits: Limits) -> _Part:
        # Where kinds take turns, groups of others may be narrower than a gap: as many kinds as may then stand.
        kept = with_narrow_gaps(np.isin(choice.kind, kinds), choice.stretch, limits.least_gap)
        if kept.all():
            return cls(kept, choice)
        part = without(choice, kept)
        stops, light = merge_rays(part.stops, part.light)
        return cls(kept, replace(part, stops=stops, light=light))

    def coarse(self, limits: Limits, most_open: float):
        """Give a smaller programme, whose bound holds for this one."""
        stops, light = self.choice.stops, self.choice.light
        if stops.shape[1] > FEW_GROUPS:
            stops, light = join_rays(stops, light, ALIKE)
        return programme_of(replace(self.choice, stops=stops, light=light), limits, most_open)

    def whole(self, found) -> np.ndarray | None:
        """Give a planting of the part as one of all plants; None for none."""
        if found is None:
            return None
        planted = np.zeros(len(self.kept), bool)
        planted[self.kept] = found
        return planted
