"""Light that is open by year, summed over sight lines.

In winter the densest plant in the way decides, so what passes is the first leafless share, and over
layers the sum of (next leafless share - this one) where nothing up to this layer is in the way.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

#: Rays that are summed at a time by one core.
BLOCK = 16_384


@njit(cache=True, error_model="numpy")
def _count(mask):
    """Count the set bits of a mask that is not negative."""
    mask = mask - ((mask >> 1) & 0x5555555555555555)
    mask = (mask & 0x3333333333333333) + ((mask >> 2) & 0x3333333333333333)
    mask = (mask + (mask >> 4)) & 0x0F0F0F0F0F0F0F0F
    mask += mask >> 8
    mask += mask >> 16
    mask += mask >> 32
    return mask & 0x7F


@njit(parallel=True, cache=True, error_model="numpy")
def _sum_open(masks, weight, years, changes):
    """Add up, for each block, changes of the light that no layer up to each one stops."""
    rays, layers, growths = masks.shape
    every = (np.int64(1) << years) - 1
    for block in prange(changes.shape[0]):
        for ray in range(block * BLOCK, min((block + 1) * BLOCK, rays)):
            w = weight[ray]
            if w <= 0.0:
                continue
            for growth in range(growths):
                blocked = np.int64(0)
                for layer in range(layers):
                    blocked |= masks[ray, layer, growth]
                    is_open = ~blocked & every
                    if is_open & (is_open + 1) == 0:  # open at first, and closed for good
                        changes[block, layer, growth, _count(is_open)] -= w
                        continue
                    # Add where it opens and take away where it closes.
                    if not is_open & 1:
                        changes[block, layer, growth, 0] -= w
                    turns = (is_open ^ (is_open << 1)) & every & ~np.int64(1)
                    while turns:
                        bit = turns & -turns
                        changes[block, layer, growth, _count(bit - 1)] += w if is_open & bit else -w
                        turns ^= bit


def open_light(masks, weight, leafless, years: int) -> np.ndarray:
    """Sum the light that is open in each year.

    Parameters
    ----------
    masks : ndarray of int64, (rays, layers, growths)
        As `blocked_years` gives them.
    weight : ndarray of float64, (rays,)
        Share of each ray's light that what exists lets through.
    leafless : ndarray of float64, (layers,)
        Share of the light that passes each layer in winter, rising (`CrownTable.leafless`).
    years : int
        Number of years, year 0 included.

    Returns
    -------
    ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays.
    """
    rays, layers, growths = masks.shape
    weight = np.ascontiguousarray(weight, np.float64)
    changes = np.zeros((-(-rays // BLOCK), layers, growths, years + 1))
    if rays:
        _sum_open(masks, weight, years, changes)
    changes = changes.sum(axis=0)
    every = weight[weight > 0.0].sum()
    passes = every + np.cumsum(changes[..., :years], axis=2)
    return by_season(passes, every, leafless)


def by_season(passes, every: float, leafless) -> np.ndarray:
    """Turn light that passes the layers in leaf into light by season.

    Parameters
    ----------
    passes : ndarray, (layers, growths, years)
        Light that passes all layers up to each one, in leaf.
    every : float
        Light that would pass without plants.
    leafless : ndarray, (layers,)
        Share of the light that passes each layer in winter, rising.

    Returns
    -------
    ndarray, (growths, 2, years)
    """
    leafless = np.asarray(leafless, np.float64) if len(leafless) else np.zeros(1)
    steps = np.diff(leafless, append=1.0)
    winter = leafless[0] * every + np.tensordot(steps, passes, axes=1)
    return np.stack([passes[-1], winter], axis=1)
