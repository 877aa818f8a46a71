"""How likely any planting of the candidates closes the views: by draws that all of them have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from screenplan.design.incidence import plants_of
from screenplan.design.rounds import Pool
from screenplan.design.winter import Winter
from screenplan.plan import Options
from screenplan.planting.draws import Draws, draw_plants
from screenplan.planting.species_model import Species
from screenplan.planting.stand import stand_of
from screenplan.views.chance import drawing_of
from screenplan.views.drawn_stops import DrawnStops, Meetings, Trial, meetings_of, stops_by

#: Draws by which a planting is chosen, and by which what was chosen is measured.
DRAWS, FRESH_DRAWS = 256, 1000
#: Rays that are followed: of a view at most so many, of all views at most so many.
MOST_OF_A_VIEW, MOST_RAYS = 400, 6_000
#: Heights at which crowns begin to stop rays are found to this, metres, for the draws that choose: far less than
#: heights of plants differ between draws.
TURN_M = 0.02
#: Draws that choose have other numbers than those that measure, and than those of the views.
CHOOSING, MEASURING = 1, 2


@dataclass(frozen=True, eq=False)
class Odds:
    """What is drawn for the candidates, for any year.

    Parameters
    ----------
    meetings : Meetings
        Of the rays that are followed.
    taken : ndarray of int, (rays,)
        Numbers of these rays in the pool.
    view : ndarray of int, (rays,)
    light : ndarray, (rays,)
        Share of its view's light for which each stands.
    plants : int
    stands : ndarray of bool, (plants,)
        Plants that stand already: what they stop is taken off the rays.
    measuring : Draws
        Draws that chose nothing.
    winter : Winter or None
        Of the pool; its rays are all those of the pool.
    """

    meetings: Meetings = field(repr=False)
    taken: np.ndarray
    view: np.ndarray
    light: np.ndarray
    plants: int
    stands: np.ndarray
    measuring: Draws
    winter: Winter | None = None

    def by(self, year: int) -> DrawnStops:
        """Give what is stopped by a year in the draws that choose."""
        return self._new(stops_by(self.meetings, year))

    @cached_property
    def _fresh(self) -> Meetings:
        """The same meetings with the plants of the draws that measure."""
        drawing = self.meetings.drawing
        drawn = draw_plants(drawing.stand, self.measuring)
        return replace(self.meetings, drawing=replace(drawing, drawn=drawn))

    def fresh_chance(self, year: int, need, planted) -> np.ndarray:
        """Give the chance that each view is closed by a year, by the draws that measure and the rays that are followed, (views,).

        The views themselves follow every ray, and so measure a little more exactly.
        """
        some = np.asarray(planted, bool)[self._fresh.plant]
        meetings = replace(
            self._fresh, ray=self._fresh.ray[some], plant=self._fresh.plant[some], turns=self._fresh.turns[some]
        )  # fmt: skip
        return self.trial(self._new(stops_by(meetings, year)), need, planted).chance()

    def _new(self, stops: DrawnStops) -> DrawnStops:
        """Leave out what plants stop that stand already, and in winter what is stopped in leaf alone."""
        new = ~self.stands[stops.plant]
        if self.winter is not None:
            new &= self.winter.stops(stops.plant, self.taken[stops.ray])
        return replace(
            stops, ray=stops.ray[new], plant=stops.plant[new], bits=stops.bits[new], share=stops.share[new]
        )  # fmt: skip

    def trial(self, stops: DrawnStops, need, planted) -> Trial:
        """Try a planting."""
        trial = Trial(stops, self.view, self.light, need, self.plants)
        trial.set(np.flatnonzero(planted))
        return trial


def lay_odds(
    pool: Pool,
    ground_m: np.ndarray,
    plan: Options,
    species_table: Mapping[str, Species] | None,
    *,
    until: int | None = None,
) -> Odds:
    """Draw all candidates, and find at which heights each stops the rays that are followed.

    Parameters
    ----------
    pool : Pool
    ground_m : ndarray, (plants,)
        Heights of the ground at the stems.
    plan : Options
        Of it [growth] and the seed of [chance].
    species_table : mapping or None
        Species by key.
    until : int, optional
        Last year that will be asked; by default any.
    """
    rays, plants = pool.rays, len(pool.candidates.table)
    stand = stand_of(
        plants_of(pool.candidates, np.ones(plants, bool), ground_m),
        years=plan.growth.years, curve=plan.growth.curve, species_table=species_table,
    )  # fmt: skip
    drawing = drawing_of(stand, draws_of(plan, CHOOSING, DRAWS))
    taken = _even(rays.view, len(rays.views))
    view, light = rays.view[taken], rays.light[taken]
    light = light * (rays.now / np.maximum(np.bincount(view, light, len(rays.views)), 1e-12))[view]
    return Odds(
        meetings_of(rays.origin[taken], rays.target[taken], drawing, until=until, turn_m=TURN_M),
        taken,
        view,
        light,
        plants,
        pool.candidates.stands,
        draws_of(plan, MEASURING, FRESH_DRAWS),
        pool.winter,
    )


def draws_of(plan: Options, use: int, count: int) -> Draws:
    """Give draws by the plan's growth; another use has other numbers than the plan's own seed."""
    return Draws(count, _seed(plan, use), plan.growth.losses, plan.growth.replaced)


def measuring(plan: Options, count: int):
    """Give the section of the plan by which a planting is measured."""
    return plan.chance.model_copy(update={"draws": count, "seed": _seed(plan, MEASURING)})


def _seed(plan: Options, use: int) -> int:
    return (plan.chance.seed + use) % 2**31


def _even(view: np.ndarray, views: int) -> np.ndarray:
    """Choose as many rays of each view by chance, the same in every run."""
    most = min(MOST_OF_A_VIEW, max(MOST_RAYS // max(views, 1), 1))
    order = np.random.default_rng(1).permutation(len(view))
    order = order[np.argsort(view[order], kind="stable")]
    first = np.searchsorted(view[order], np.arange(views))
    return np.sort(order[np.arange(len(order)) - first[view[order]] < most])
