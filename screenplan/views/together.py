"""The rays of many views at once: which of them pass the openings.

A view's rays do not depend on which others are worked out with it, and a single view is one of one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.views.compiled import inner

#: Rays that are held at a time.
PORTION = 200_000
#: Columns of what is looked through, as numbers: see `screenplan.views.openings.OPENING`.
X, Y, OUT_X, OUT_Y, HALF, SILL, HEAD, NUDGE = range(8)


class Ends(NamedTuple):
    """Points between which the rays of views run.

    Attributes
    ----------
    openings : ndarray, (openings, 8)
        What is looked through; NaN where nothing is.
    opening : ndarray of int, (views,)
        The opening of each view.
    eyes, heads : ndarray, (n, 3)
        Points of all views; several views may share them.
    eye, head : ndarray of int, (views, 2)
        Which of them are a view's: the first, and the one after the last.
    """

    openings: np.ndarray
    opening: np.ndarray
    eyes: np.ndarray
    eye: np.ndarray
    heads: np.ndarray
    head: np.ndarray

    @classmethod
    def of_one(cls, opening: np.record | None, eyes: np.ndarray, heads: np.ndarray) -> Ends:
        """Give the ends of one view, which looks through an opening or through nothing."""
        return cls(
            np.full((1, 8), np.nan) if opening is None else as_numbers(opening.reshape(1)),
            np.zeros(1, np.int64), np.asarray(eyes, float), np.array([[0, len(eyes)]]),
            np.asarray(heads, float), np.array([[0, len(heads)]]),
        )  # fmt: skip

    def as_arrays(self) -> list[np.ndarray]:
        """Give its parts for a compiled loop, each in one layout, so that the loop is compiled once."""
        return [
            np.ascontiguousarray(part, np.int64 if number in _WHOLE else np.float64)
            for number, part in enumerate(self)
        ]

    @property
    def most(self) -> np.ndarray:
        """How many rays each view has if all pass, (views,)."""
        return np.diff(self.eye)[:, 0] * np.diff(self.head)[:, 0]

    def only(self, first: int, last: int) -> Ends:
        """Give some views that follow each other, from one up to but not including another."""
        views = slice(first, last)
        return self._replace(
            opening=self.opening[views], eye=self.eye[views], head=self.head[views]
        )

    def of(self, views: np.ndarray) -> Ends:
        """Give some views, by their numbers."""
        return self._replace(
            opening=self.opening[views], eye=self.eye[views], head=self.head[views]
        )

    def batches(self, most: int = PORTION) -> Iterator[tuple[int, int]]:
        """Part the views so that so many rays may be held at a time; a larger view is alone."""
        ends, first = np.cumsum(self.most), 0
        while first < len(ends):
            before = ends[first - 1] if first else 0
            last = max(int(np.searchsorted(ends, before + most, side="right")), first + 1)
            yield first, last
            first = last

    def pieces(self, most: int = PORTION) -> Iterator[Ends]:
        """Part a view by its eyes, and by its heads if need be, so that so many rays may be held at a time."""
        if len(self.opening) != 1 or self.most[0] <= most:
            yield self
            return
        (first, last), (low, high) = self.eye[0], self.head[0]
        at_a_time = max(most // (high - low), 1)
        step = min(most, high - low)
        for eye in range(first, last, at_a_time):
            for head in range(low, high, step):
                yield self._replace(
                    eye=np.array([[eye, min(eye + at_a_time, last)]]),
                    head=np.array([[head, min(head + step, high)]]),
                )


class Rays(NamedTuple):
    """Rays of several views.

    Attributes
    ----------
    view : ndarray of int, (rays,)
        The view of each, ascending.
    origin, target : ndarray, (rays, 3)
        Each begins just outside the facade, where it leaves the own wall behind, or at the eye where there is
        no opening.
    """

    view: np.ndarray
    origin: np.ndarray
    target: np.ndarray


def as_numbers(openings: np.ndarray) -> np.ndarray:
    """Give openings as numbers, (openings, 8)."""
    names = ("x", "y", "half_width_m", "sill_z", "head_z", "nudge_m")
    x, y, *rest = (openings[name] for name in names)
    return np.column_stack([x, y, openings["out"].reshape(-1, 2), *rest])


def rays_of(ends: Ends) -> Rays:
    """Give the rays of views that cross their openings: eye by eye, and of an eye head by head.

    Parameters
    ----------
    ends : Ends

    Returns
    -------
    Rays
        Views are counted from 0.
    """
    view, _, origin, target = _listed(ends)
    return Rays(view, origin, target)


def pairs_of(ends: Ends) -> tuple[np.ndarray, np.ndarray]:
    """Give the eye and the head of each ray of `rays_of`, by their numbers among all eyes and heads."""
    eye, head = _listed(ends)[1].T
    return eye, head


def _listed(ends: Ends) -> tuple[np.ndarray, ...]:
    room = int(ends.most.sum())
    rays = (
        np.empty(room, np.int64), np.empty((room, 2), np.int64),
        np.empty((room, 3)), np.empty((room, 3)),
    )  # fmt: skip
    count = _list_rays(*ends.as_arrays(), *rays)  # type: ignore[call-arg]  # so many as it takes
    return tuple(part[:count] for part in rays)


#: Places of the whole numbers in `Ends`.
_WHOLE = (1, 3, 5)


@inner()
def pass_opening(row, eye_x, eye_y, way_x, way_y):
    """Tell where a way from an eye passes an opening in plan, and where a ray begins on it, from 0 to 1; from 2 on where it does not pass.

    ``row`` is that of the opening as numbers; out of doors all pass.
    """
    x, y, out_x, out_y = row[X], row[Y], row[OUT_X], row[OUT_Y]
    if np.isnan(x):
        return 0.0, 0.0
    ahead = way_x * out_x + way_y * out_y
    if not ahead > 0.0:
        return 2.0, 2.0
    t = ((x - eye_x) * out_x + (y - eye_y) * out_y) / ahead
    start = t + row[NUDGE] / ahead
    u = (eye_y + t * way_y - y) * out_x - (eye_x + t * way_x - x) * out_y
    if t >= 0.0 and start < 1.0 and abs(u) <= row[HALF]:
        return t, start
    return 2.0, 2.0


@inner()
def is_over_sill(row, z):
    """Tell whether a ray at that height passes an opening between its sill and its head; out of doors all do."""
    return np.isnan(row[X]) or (z >= row[SILL] and z <= row[HEAD])


@njit(cache=True, error_model="numpy")
def _list_rays(openings, opening, eyes, eye, heads, head, view, pair, origin, target):
    """List the rays that pass; tell how many there are."""
    count = 0
    for number in range(len(opening)):
        row = openings[opening[number]]
        for i in range(eye[number, 0], eye[number, 1]):
            eye_x, eye_y, eye_z = eyes[i, 0], eyes[i, 1], eyes[i, 2]
            for j in range(head[number, 0], head[number, 1]):
                way_x, way_y, way_z = heads[j, 0] - eye_x, heads[j, 1] - eye_y, heads[j, 2] - eye_z
                t, start = pass_opening(row, eye_x, eye_y, way_x, way_y)
                if start >= 2.0 or not is_over_sill(row, eye_z + t * way_z):
                    continue
                view[count], pair[count, 0], pair[count, 1] = number, i, j
                origin[count, 0] = eye_x + start * way_x
                origin[count, 1] = eye_y + start * way_y
                origin[count, 2] = eye_z + start * way_z
                target[count, 0], target[count, 1] = heads[j, 0], heads[j, 1]
                target[count, 2] = heads[j, 2]
                count += 1
    return count
