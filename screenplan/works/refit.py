"""Fit the stake-out to distances that the user measured on the ground.

Two things can be wrong with a map: a house stands elsewhere on its parcel than drawn, and lengths
are out by a share. So each house with a measured distance is shifted (x, y) and turned about its
middle, and everything else (parcel, marks, rows) is stretched by one scale. The unknowns u are
those that make

    Σ ((measured − distance(u)) / TAPE_M)² + Σ (shift / map_accuracy)² + (turn / TURN_DEG)²
    + ((scale − 1) / SCALE)²

least (Gauss-Newton on a weighted least-squares problem; the last three terms keep unknowns that no
distance speaks of at the map's own value).

A distance along one tape, between its pegs or from its zero peg to a stake, stretches the stations
of that tape instead: by the factor Σ planned · measured / Σ planned² that leaves the least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

#: How well a person with a tape measures a distance (common practice, no source), metres.
TAPE_M = 0.01
#: How far a drawn house may be turned, and a map's lengths out (common practice, no source).
TURN_DEG = 1.0
SCALE = 0.002
_ROUNDS = 30
_STEP = 1e-6


@dataclass(frozen=True)
class Fit:
    """What the measured distances say.

    Parameters
    ----------
    points : (n, 2) ndarray
        The control points after the fit, metres.
    scale : float
        By which parcel, marks and rows are stretched about the site's origin.
    """

    points: np.ndarray
    scale: float


def fit_points(
    points: np.ndarray,
    groups: Sequence[str],
    measured: Sequence[tuple[int, int, float]],
    *,
    map_accuracy_m: float,
) -> Fit:
    """Fit control points to measured distances between them.

    Parameters
    ----------
    points : (n, 2) ndarray
        Where the map has them, metres.
    groups : sequence of str
        For each point the house that it belongs to, or an empty text if it stays with the rows.
    measured : sequence of (int, int, float)
        Two points and the level distance between them, metres.
    map_accuracy_m : float
        How far the map may be out (one standard deviation of a shift), metres.
    """
    points = np.asarray(points, float)
    if not measured:
        return Fit(points.copy(), 1.0)
    group_of = np.asarray(groups, dtype=object)
    touched = {group_of[end] for first, second, _ in measured for end in (first, second)} - {""}
    moving = sorted(touched)
    members = [np.flatnonzero(group_of == group) for group in moving]
    first, second, target = (np.array(column) for column in zip(*measured, strict=True))
    spread = np.array([map_accuracy_m, map_accuracy_m, math.radians(TURN_DEG)] * len(moving))
    spread = np.append(np.maximum(spread, 1e-4), SCALE)

    def apply(unknown: np.ndarray) -> np.ndarray:
        fitted = points * (1.0 + unknown[-1])
        for number, own in enumerate(members):
            dx, dy, turn = unknown[3 * number : 3 * number + 3]
            # A house keeps its size: it is shifted and turned, not stretched.
            middle = points[own].mean(axis=0)
            c, s = math.cos(turn), math.sin(turn)
            turned = (points[own] - middle) @ np.array([[c, s], [-s, c]])
            fitted[own] = middle * (1.0 + unknown[-1]) + turned + (dx, dy)
        return fitted

    def misfit(unknown: np.ndarray) -> np.ndarray:
        fitted = apply(unknown)
        distance = np.hypot(*(fitted[first] - fitted[second]).T)
        return np.concatenate([(distance - target) / TAPE_M, unknown / spread])

    unknown = np.zeros(len(spread))
    for _ in range(_ROUNDS):
        now = misfit(unknown)
        slope = np.column_stack(
            [
                (misfit(unknown + _STEP * unit) - misfit(unknown - _STEP * unit)) / (2.0 * _STEP)
                for unit in np.eye(len(unknown))
            ]
        )
        step = np.linalg.lstsq(slope, -now, rcond=None)[0]
        unknown = unknown + step
        if np.abs(step / spread).max() < 1e-10:
            break
    return Fit(apply(unknown), 1.0 + float(unknown[-1]))


def fit_stretch(planned: Sequence[float], measured: Sequence[float]) -> float:
    """Give the factor by which a tape's stations are stretched; 1 with nothing measured."""
    laid, read = np.asarray(planned, float), np.asarray(measured, float)
    if not laid.size:
        return 1.0
    return float((laid @ read) / (laid @ laid))
