"""Lengths on the ground: level, along the slope, and of a taut tape."""

from __future__ import annotations

import math

import numpy as np

from screenplan.site.terrain import ground_at
from screenplan.works.bases import Base


class Ground:
    """Heights and lengths on the ground."""

    def __init__(self, terrain=None):
        self.terrain = terrain

    def height(self, xy) -> np.ndarray:
        """Give heights of the ground at points, metres."""
        return ground_at(self.terrain, xy)

    def taut(self, a, b, level: float | None = None) -> float:
        """Give what a taut tape between the ground at two points reads, metres."""
        if level is None:
            level = math.hypot(*(np.asarray(b) - np.asarray(a)))
        za, zb = self.height([a, b])
        return math.hypot(level, zb - za)

    def level(self, a, b, taut: float) -> float | None:
        """Level distance under a taut tape's reading; None if it is shorter than the rise."""
        za, zb = self.height([a, b])
        rise = zb - za
        return math.sqrt(taut**2 - rise**2) if taut > abs(rise) else None

    def along(self, base: Base, at: np.ndarray) -> np.ndarray:
        """Lengths along the ground from the zero peg to running distances, metres."""
        at = np.asarray(at, float)
        if self.terrain is None or not at.size:
            return at.copy()
        order = np.unique(np.concatenate([[0.0], at]))
        xy = base.place(order, np.zeros_like(order))
        return np.interp(at, order, self.terrain.slope_length(xy[:, 0], xy[:, 1]))
