"""Views through the years: its rays, what stops them already, and when plants close them.

Rays are made, followed and summed in portions, so that memory does not grow with their number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import Runs, block_parts, follow_years
from screenplan.views.leaves import light_through
from screenplan.views.light import open_light_each
from screenplan.views.obstacles import Obstacles
from screenplan.views.runs import runs_between
from screenplan.views.together import PORTION, Ends, rays_of


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
    own : ndarray of int, (views, 2), optional
        The first of the runs that stand in the way of each view, and the one after the last: of several lots each has
        its own. Views with the same ones follow each other. By default all runs do.
    before : Obstacles, optional
        What stands today, where the obstacles hold what is built first too; light is compared with it. By default
        the obstacles stand today.
    """

    obstacles: Obstacles
    runs: Runs
    crowns: CrownTable
    dim: float | None = None
    own: np.ndarray | None = None
    before: Obstacles | None = None

    @property
    def years(self) -> int:
        """Number of years, year 0 included."""
        return self.crowns.height.shape[2]

    def runs_of(self, view: int) -> Runs:
        """Give the runs that stand in the way of a view."""
        return self.runs if self.own is None else runs_between(self.runs, *self.own[view])

    def parts(self, view: np.ndarray, views: tuple[int, int]) -> np.ndarray:
        """Part rays by the runs of their own that stand in the way of their views, (parts, 4) as in `block_parts`.

        Rays are of views from one up to but not including another, and ``view`` counts from the first.
        """
        assert self.own is not None  # asked only then
        own = self.own[slice(*views)]
        begin = np.append(0, np.flatnonzero(np.any(own[1:] != own[:-1], axis=1)) + 1)
        ends = np.searchsorted(view, np.append(begin, len(own)))
        return np.column_stack([ends[:-1], ends[1:], own[begin]])


@dataclass(frozen=True)
class Portion:
    """Some rays of views, followed.

    Parameters
    ----------
    views : tuple of 2 int
        The first of these views, and the one after the last.
    view : ndarray of int, (rays,)
        The view of each ray, ascending.
    origin, target : ndarray, (rays, 3)
    light : ndarray, (rays,)
        Share of each ray's light that what exists lets through.
    owner : ndarray of int, (rays,)
        What stops the rest (an index into the obstacles' names), or -1.
    masks : ndarray of int64, (rays, layers, growths)
        Years in which plants are in the way; where leaves let light through, in which they dim the
        ray to the scene's ``dim`` (and one layer).
    opened : ndarray, (views, growths, 2, years)
        Light of all the rays by view, growth, season and year.
    """

    views: tuple[int, int]
    view: np.ndarray
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

    def of_view(self, view: int) -> Portion:
        """Give the rays of one view."""
        mine = slice(*np.searchsorted(self.view, [view, view + 1]))
        row = view - self.views[0]
        return Portion(
            (view, view + 1), self.view[mine], self.origin[mine], self.target[mine], self.light[mine],
            self.owner[mine], self.masks[mine], self.opened[row : row + 1],
        )  # fmt: skip


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


@dataclass(frozen=True)
class Timelines:
    """Shares of views.

    Parameters
    ----------
    rays : ndarray of int, (views,)
    now : ndarray, (views,)
    closed_by : ndarray of int, (views,)
        A number among the obstacles' names; -1 for none.
    open : ndarray, (views, growths, 2, years)
    names : tuple of str
    """

    rays: np.ndarray
    now: np.ndarray
    closed_by: np.ndarray
    open: np.ndarray
    names: tuple[str, ...]

    def of_view(self, view: int) -> Timeline:
        """Give those of one view."""
        by = int(self.closed_by[view])
        return Timeline(
            int(self.rays[view]),
            float(self.now[view]),
            self.names[by] if by >= 0 else "",
            self.open[view],
        )


def follow_each(ends: Ends, scene: Scene, portion: int = PORTION) -> Iterator[Portion]:
    """Follow the rays of views, some at a time: of several whole views, or of a part of a large one.

    Parameters
    ----------
    ends : Ends
        Of the rays.
    scene : Scene
        What they meet.
    portion : int
        About how many rays are held at a time.
    """
    for first, last in ends.batches(portion):
        for piece in ends.only(first, last).pieces(portion):
            view, origin, target = rays_of(piece)
            if len(view):
                light, owner = scene.obstacles.light_left(origin, target)
                masks, opened = close_each(view, (first, last), origin, target, light, scene)
                yield Portion(
                    (first, last), view + first, origin, target, light, owner, masks, opened
                )


def close_each(
    view: np.ndarray, views: tuple[int, int], origin, target, light: np.ndarray, scene: Scene
) -> tuple[np.ndarray, np.ndarray]:
    """Tell when plants are in the way of each ray, and how much light they leave to each view.

    Parameters
    ----------
    view : ndarray of int, (rays,)
        The view of each ray, ascending, counted from the first of these.
    views : tuple of 2 int
        The first of these views, and the one after the last.
    origin, target : ndarray, (rays, 3)
    light : ndarray, (rays,)
        Share of each ray's light that what exists lets through.
    scene : Scene

    Returns
    -------
    masks, opened : ndarray
        As in `Portion`.
    """
    first, last = views
    runs, crowns = scene.runs, scene.crowns
    if scene.dim is None:
        if scene.own is None:
            masks = follow_years(origin, target, light, runs, crowns)[1]
        else:
            masks = block_parts(scene.parts(view, views), origin, target, light, runs, crowns)
        return masks, open_light_each(
            masks, light, crowns.leafless, scene.years, view, last - first
        )
    dimmed, opened = [], []
    for number in range(last - first):
        mine = slice(*np.searchsorted(view, [number, number + 1]))
        passes, dark = light_through(
            origin[mine], target[mine], light[mine], scene.runs_of(first + number), crowns, dim=scene.dim
        )  # fmt: skip
        dimmed.append(dark)
        opened.append(passes)
    return np.concatenate(dimmed), np.stack(opened)


def sum_each(portions: Iterable[Portion], scene: Scene, views: tuple[int, int]) -> Timelines:
    """Sum the light of the rays of views, from one up to but not including another, over its portions."""
    first, count = views[0], views[1] - views[0]
    growths, years = scene.crowns.height.shape[1:]
    rays, light = np.zeros(count, int), np.zeros(count)
    opened, names = np.zeros((count, growths, 2, years)), scene.obstacles.names
    stopped = np.zeros((count, len(names)))
    for portion in portions:
        low, high = portion.views[0] - first, portion.views[1] - first
        view, some = portion.view - portion.views[0], high - low
        rays[low:high] += np.bincount(view, minlength=some)
        light[low:high] += np.bincount(view, weights=portion.light, minlength=some)
        opened[low:high] += portion.opened
        hit = portion.owner >= 0
        stopped[low:high] += np.bincount(
            view[hit] * len(names) + portion.owner[hit],
            weights=1.0 - portion.light[hit], minlength=some * len(names),
        ).reshape(some, -1)  # fmt: skip
    closed_by = np.where(stopped.max(axis=1, initial=0.0) > 0.0, stopped.argmax(axis=1), -1)
    return Timelines(rays, light / np.maximum(rays, 1), closed_by, shares_of(opened, rays), names)


def shares_of(opened: np.ndarray, rays: np.ndarray) -> np.ndarray:
    """Give the open shares of views, (views, growths, 2, years), of the light that is left to them and their rays."""
    # The running sums leave rounding of the order of 1e-16 per ray.
    return np.clip(opened / np.maximum(rays, 1)[:, None, None, None], 0.0, 1.0).round(12)


def follow(
    opening: np.record | None, eyes, targets, scene: Scene, portion: int = PORTION
) -> Iterator[Portion]:
    """Follow the rays of one view, some at a time; see `follow_each`.

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
    return follow_each(Ends.of_one(opening, eyes, targets), scene, portion)


def sum_up(portions: Iterable[Portion], scene: Scene) -> Timeline:
    """Sum the light of one view's rays over its portions."""
    return sum_each(portions, scene, (0, 1)).of_view(0)


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


def years_closed(shares: np.ndarray, threshold: float, years: int) -> np.ndarray:
    """First years looked at from which views stay closed, (views,): see `year_closed`; infinite for none.

    Parameters
    ----------
    shares : ndarray, (views, years followed)
    threshold : float
    years : int
        Last year looked at.

    Examples
    --------
    >>> years_closed(np.array([[1.0, 0.5, 0.0], [0.0, 0.0, 0.0], [1.0, 0.0, 0.5]]), 0.1, 2).tolist()
    [2.0, 0.0, inf]
    """
    above = shares > threshold
    followed = shares.shape[1]
    first = np.where(above.any(axis=1), followed - above[:, ::-1].argmax(axis=1), 0)
    return np.where(first > min(years, followed - 1), np.inf, first)


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
