"""Plants that drop their leaves: the light of a ray in parts, of which in winter each plant stops some.

In winter a plant lets the share of the light through that its species says, and of several on one ray the densest
decides (`screenplan.views.results`). So a ray is as many parts as there are such shares: what the densest plants stop
alone, what those stop that let a little through, and so on. Each part is stopped or not, as a ray of evergreens is, and
what is chosen by them is what the views find in the season in which more is open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from screenplan.planting.species_model import Species
from screenplan.views.opened import Rays


def passes_of(species: Species) -> float:
    """Share of the light that a species lets through in winter."""
    return 0.0 if species.evergreen else 1.0 - species.winter_share


def levels_of(species: Sequence[Species]) -> np.ndarray:
    """Give the shares that some kinds let through, the least first, (levels,); that of evergreens is always there."""
    return np.unique([0.0, *(passes_of(kind) for kind in species)])


@dataclass(frozen=True, eq=False)
class Winter:
    """What plants stop when leaves have fallen.

    Parameters
    ----------
    levels : ndarray, (levels,)
    level : ndarray of int, (plants,)
        Of each candidate.
    part : ndarray of int, (rays,)
        Of each ray, which is a part of one.
    """

    levels: np.ndarray
    level: np.ndarray
    part: np.ndarray

    def stops(self, plant, ray) -> np.ndarray:
        """Tell which pairs of a plant and a ray that it stops in leaf hold in winter too."""
        return self.level[plant] <= self.part[ray]

    def in_leaf(self, rays: Rays, met) -> np.ndarray:
        """Share of each view's light that is stopped in leaf, (views,); ``met`` are the rays that are in winter."""
        last = met & (self.part == len(self.levels) - 1)
        return np.bincount(
            rays.view[last], rays.light[last] / (1.0 - self.levels[-1]), len(rays.views)
        )


def in_parts(rays: Rays, levels: np.ndarray) -> tuple[Rays, np.ndarray]:
    """Give the rays in parts, and the level of each part.

    Parameters
    ----------
    rays : Rays
    levels : ndarray, (levels,)

    Returns
    -------
    rays : Rays
        Those of one ray follow each other; their light is that of the ray.
    part : ndarray of int, (parts,)
        Plants of this level, and of denser ones, stop it.
    """
    count, many = len(rays.view), len(levels)
    if many == 1:
        return rays, np.zeros(count, int)
    of, part = np.repeat(np.arange(count), many), np.tile(np.arange(many), count)
    step = np.diff(np.append(levels, 1.0))
    found = replace(
        rays, view=rays.view[of], light=rays.light[of] * step[part], origin=rays.origin[of],
        target=rays.target[of],
    )  # fmt: skip
    return found, part


def level_of(species: Sequence[Species], levels: np.ndarray) -> np.ndarray:
    """Give the level of each of some kinds, (kinds,)."""
    return np.searchsorted(levels, [passes_of(kind) for kind in species])


def kept_in_winter(stops: csr_array, level: np.ndarray, part: np.ndarray) -> csr_array:
    """Leave out what plants stop in leaf alone.

    Parameters
    ----------
    stops : csr_array of bool, (plants, parts)
        What they stop in leaf.
    level : ndarray of int, (plants,)
    part : ndarray of int, (parts,)
    """
    if not len(level) or level.max() == 0:
        return stops
    each = stops.tocoo()
    plant, ray = each.coords
    kept = level[plant] <= part[ray]
    return csr_array((np.ones(int(kept.sum()), bool), (plant[kept], ray[kept])), shape=stops.shape)
