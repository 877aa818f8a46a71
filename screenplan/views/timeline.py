"""One view through the years: its rays, what stops them already, and when plants close them.

Rays are made, followed and summed in portions, so that memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import Runs, follow_years
from screenplan.views.leaves import light_through
from screenplan.views.obstacles import Obstacles
from screenplan.views.sampling import rays_through

#: Rays that are followed at a time.
PORTION = 200_000


@dataclass(frozen=True)
class Scene:
    """What rays meet: obstacles that stay, and plants that grow.

    Parameters
    ----------
    obstacles : Obstacles
    runs, crowns : Runs, CrownTable
    dim : float, optional
        Where it is given leaves let light through, and a ray of which at most this share passes
        them counts as stopped when holes are looked for. By default crowns are opaque.
    """

    obstacles: Obstacles
    runs: Runs
    crowns: CrownTable
    dim: float | None = None

    @property
    def years(self) -> int:
        """Number of years, year 0 included."""
        return self.crowns.height.shape[2]


@dataclass(frozen=True)
class Portion:
    """Some rays of a view, followed.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    light : ndarray, (rays,)
        Share of each ray's light that what exists lets through.
    owner : ndarray of int, (rays,)
        What stops the rest (an index into the obstacles' names), or -1.
    masks : ndarray of int64, (rays, layers, growths)
        Years in which plants are in the way; where leaves let light through, in which they dim the
        ray to the scene's ``dim`` (and one layer).
    opened : ndarray, (growths, 2, years)
        Light of all the rays by growth, season and year.
    """

    origin: np.ndarray
    target: np.ndarray
    light: np.ndarray
    owner: np.ndarray
    masks: np.ndarray
    opened: np.ndarray

    def open_in(self, year: int, growth: int) -> np.ndarray:
        """Tell which rays let light through in that year with no leaf fallen."""
        blocked = np.bitwise_or.reduce(self.masks[:, :, growth], axis=1)
        return (self.light > 0.0) & ((blocked >> year) & 1 == 0)


@dataclass(frozen=True)
class Timeline:
    """Shares of one view.

    Parameters
    ----------
    rays : int
        Rays that pass the opening.
    now : float
        Share of light that what exists lets through.
    closed_by : str
        What stops most of the rest, or an empty string.
    open : ndarray, (growths, 2, years)
        Open share by growth, season (summer, winter) and year.
    """

    rays: int
    now: float
    closed_by: str
    open: np.ndarray

    def differs_from(self, other: Timeline) -> float:
        """Greatest difference of the open shares, over growths, seasons and years."""
        return float(max(abs(self.now - other.now), np.abs(self.open - other.open).max()))


def follow(
    opening: np.record | None, eyes, targets, scene: Scene, portion: int = PORTION
) -> Iterator[Portion]:
    """Follow the rays of one view, some at a time.

    Parameters
    ----------
    opening : record or None
        The window, by `OPENING`; None for an onlooker out of doors.
    eyes, targets : ndarray, (n, 3)
        Points between which rays run.
    scene : Scene
        What they meet.
    portion : int
        About how many rays are held at a time.
    """
    at_a_time = max(portion // max(len(targets), 1), 1)
    step = min(portion, len(targets)) or 1
    for first in range(0, len(eyes), at_a_time):
        for low in range(0, len(targets), step):
            origin, target = rays_through(
                opening, eyes[first : first + at_a_time], targets[low : low + step]
            )
            if not len(origin):
                continue
            light, owner = scene.obstacles.light_left(origin, target)
            if scene.dim is None:
                opened, masks = follow_years(origin, target, light, scene.runs, scene.crowns)
            else:
                opened, masks = light_through(
                    origin, target, light, scene.runs, scene.crowns, dim=scene.dim
                )
            yield Portion(origin, target, light, owner, masks, opened)


def sum_up(portions: Iterator[Portion], scene: Scene) -> Timeline:
    """Sum the light of a view's rays over its portions."""
    growths, years = scene.crowns.height.shape[1:]
    rays, light, opened = 0, 0.0, np.zeros((growths, 2, years))
    stopped = np.zeros(len(scene.obstacles.names))
    for portion in portions:
        rays += len(portion.light)
        light += portion.light.sum()
        opened += portion.opened
        hit = portion.owner >= 0
        stopped += np.bincount(
            portion.owner[hit], weights=1.0 - portion.light[hit], minlength=len(stopped)
        )
    if rays == 0:
        return Timeline(0, 0.0, "", opened)
    closed_by = scene.obstacles.names[int(np.argmax(stopped))] if stopped.max() > 0.0 else ""
    # The running sums leave rounding of the order of 1e-16 per ray.
    return Timeline(rays, light / rays, closed_by, np.clip(opened / rays, 0.0, 1.0).round(12))


def year_closed(shares, threshold: float) -> int | None:
    """First year from which the open share stays at or below the threshold; None if it never does.

    Parameters
    ----------
    shares : array_like, (years,)
        Open share in each year.
    threshold : float
        Share that may stay open.
    """
    above = np.flatnonzero(np.asarray(shares) > threshold)
    if not len(above):
        return 0
    first = int(above[-1]) + 1
    return first if first < len(shares) else None


def last_open(shares, threshold: float, years: int) -> int | None:
    """Last year looked at in which a view is open; None for none.

    A view that is closed in the last year looked at and opens again gives the year in which it does.

    Parameters
    ----------
    shares : array_like, (years,)
        Open share in each year, those looked at and those followed after them.
    threshold : float
        Share that may stay open.
    years : int
        Last year looked at.

    Examples
    --------
    >>> last_open([1.0, 0.5, 0.0], 0.1, 2), last_open([1.0, 0.0, 0.5], 0.1, 1)
    (1, 2)
    """
    is_open = np.flatnonzero(np.asarray(shares) > threshold)
    if not len(is_open):
        return None
    if is_open[-1] <= years:
        return int(is_open[-1])
    return int(is_open[is_open >= years][0])


def opens_again(shares, threshold: float) -> int | None:
    """First year in which a view is open after it was closed; None if it is not.

    Examples
    --------
    >>> opens_again([1.0, 0.0, 0.5], 0.1), opens_again([1.0, 0.5, 0.0], 0.1)
    (2, None)
    """
    is_open = np.asarray(shares) > threshold
    closed = np.flatnonzero(~is_open)
    if not len(closed) or not is_open[closed[0] :].any():
        return None
    return int(closed[0] + is_open[closed[0] :].argmax())
