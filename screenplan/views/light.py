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


@njit(cache=True, error_model="numpy")
def add_changes(blocked, w, years, change):
    """Note the years in which a sight line's light w goes and comes back.

    The running sum of the changes is what is missing of the light.
    """
    is_open = ~blocked & ((np.int64(1) << years) - 1)
    if is_open & (is_open + 1) == 0:  # open at first, and closed for good
        change[_count(is_open)] -= w
        return
    if not is_open & 1:
        change[0] -= w
    turns = (is_open ^ (is_open << 1)) & ((np.int64(1) << years) - 2)
    while turns:
        bit = turns & -turns
        change[_count(bit - 1)] += w if is_open & bit else -w
        turns ^= bit


@njit(parallel=True, cache=True, error_model="numpy")
def _sum_open(masks, weight, years, changes):
    """Add up, for each block, changes of the light that no layer up to each one stops."""
    rays, layers, growths = masks.shape
    for block in prange(changes.shape[0]):
        for ray in range(block * BLOCK, min((block + 1) * BLOCK, rays)):
            w = weight[ray]
            if w <= 0.0:
                continue
            for growth in range(growths):
                blocked = np.int64(0)
                for layer in range(layers):
                    blocked |= masks[ray, layer, growth]
                    add_changes(blocked, w, years, changes[block, layer, growth])


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
    return light_of_changes(changes, weight, leafless)


@njit(cache=True, error_model="numpy")
def _sum_open_each(masks, weight, view, years, changes):
    """Add up, for each view, changes of the light that no layer up to each one stops."""
    rays, layers, growths = masks.shape
    for ray in range(rays):
        w = weight[ray]
        if w <= 0.0:
            continue
        for growth in range(growths):
            blocked = np.int64(0)
            for layer in range(layers):
                blocked |= masks[ray, layer, growth]
                add_changes(blocked, w, years, changes[view[ray], layer, growth])


def open_light_each(masks, weight, leafless, years: int, view, views: int) -> np.ndarray:
    """Sum the light of each view that is open in each year.

    Parameters
    ----------
    masks, weight, leafless, years
        As in `open_light`.
    view : ndarray of int64, (rays,)
        The view of each ray.
    views : int
        How many there are.

    Returns
    -------
    ndarray of float64, (views, growths, 2, years)
        As `open_light` gives for each.
    """
    _, layers, growths = masks.shape
    weight = np.ascontiguousarray(weight, np.float64)
    changes = np.zeros((views, layers, growths, years + 1))
    _sum_open_each(masks, weight, np.ascontiguousarray(view, np.int64), years, changes)
    every = np.repeat(np.bincount(view, weights=weight, minlength=views), growths)[:, None]
    lost = np.cumsum(changes[..., :-1], axis=3)
    passes = every + np.moveaxis(lost, 1, 0).reshape(layers, views * growths, years)
    return by_season(passes, every, leafless).reshape(views, growths, 2, years)


def light_of_changes(changes, weight, leafless) -> np.ndarray:
    """Turn changes by block, layer, growth and year into light by growth, season and year."""
    every = float(weight.sum())
    passes = every + np.cumsum(changes.sum(axis=0)[..., :-1], axis=2)
    return by_season(passes, every, leafless)


def by_season(passes, every, leafless) -> np.ndarray:
    """Turn light that passes the layers in leaf into light by season.

    Parameters
    ----------
    passes : ndarray, (layers, growths, years)
        Light that passes all layers up to each one, in leaf.
    every : float or ndarray, (growths, 1)
        Light that would pass without plants.
    leafless : ndarray, (layers,)
        Share of the light that passes each layer in winter, rising.

    Returns
    -------
    ndarray, (growths, 2, years)
    """
    leafless = np.asarray(leafless, np.float64) if len(leafless) else np.zeros(1)
    light = np.empty((passes.shape[1], 2, passes.shape[2]))
    light[:, 0] = passes[-1]
    light[:, 1] = leafless[0] * every
    for layer, next_share in enumerate([*leafless[1:], 1.0]):
        light[:, 1] += (next_share - leafless[layer]) * passes[layer]
    return light
