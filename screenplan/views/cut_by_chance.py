"""A view in one year where each plant is cut off below a height by chance, each by itself.

A ray is stopped by a plant that is cut if it meets what is left of its crown, and by one that is whole if it meets
any of it. So of each ray two things decide: whether what is left of some plant stops it, and which plants stop it
only while they are whole. Rays of which both are alike are taken together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import Runs
from screenplan.views.stoppers import list_stoppers


@dataclass(frozen=True, eq=False)
class CutView:
    """Rays of a view in one year.

    Parameters
    ----------
    weight : ndarray, (rays,)
        Share of the view's light that each brings, or several that are alike.
    stopped : ndarray of bool, (layers, rays)
        Whether what is left of a plant stops it though every plant is cut, by how much passes such plants in winter.
    whole : tuple of csr_array of float, (rays, plants), one for each layer
        Which plants stop it only while they are whole.
    passes : ndarray, (layers,)
        Share of the light that passes in winter, rising.
    """

    weight: np.ndarray
    stopped: np.ndarray
    whole: tuple[csr_array, ...]
    passes: np.ndarray


def cut_view(
    ends, light, whole: tuple[Runs, CrownTable], cut: tuple[Runs, CrownTable], time: tuple[int, int]
) -> CutView:
    """Look at the rays of a view past plants that are whole, and past the same plants cut.

    Parameters
    ----------
    ends : tuple of 2 ndarray, (rays, 3)
    light : ndarray, (rays,)
        Share of each ray's light that what exists lets through.
    whole, cut : tuple of Runs and CrownTable
        The same plants in the same order.
    time : tuple of 2 int
        The numbers of the year and of the growth.
    """
    runs, crowns = whole
    plants = len(runs.x)
    meets, left = (_who_stops(ends, planted, time, plants) for planted in (whole, cut))
    only = ((meets - left) > 0).astype(bool)
    # The kernel's plants stand in the order of the runs; the numbers are those of the stand.
    layer = np.empty(plants, np.int64)
    layer[runs.order] = crowns.layer[runs.kind]
    layers = range(len(crowns.leafless))
    stopped = np.stack([left[:, layer == k].sum(axis=1) > 0 for k in layers], axis=1)
    alike = np.concatenate([np.packbits(only.toarray(), axis=1), stopped.astype(np.uint8)], axis=1)
    _, at, of = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    weight = np.bincount(of.ravel(), weights=light) / max(len(light), 1)
    spared = only[at].astype(float)
    return CutView(
        weight,
        stopped[at].T,
        tuple(csr_array(spared.multiply((layer == k)[None, :])) for k in layers),
        crowns.leafless,
    )


def expected_open(view: CutView, chance: float) -> float:
    """Give the open share to be expected, in the season in which more is open, if each plant is cut with a chance."""
    stays = [
        np.where(stopped, 1.0, 1.0 - chance ** _sum(whole))
        for stopped, whole in zip(view.stopped, view.whole, strict=True)
    ]
    return float(_open(view, np.stack(stays)[:, :, None])[0])


def drawn_open(view: CutView, cut: np.ndarray) -> np.ndarray:
    """Give the open share in each draw, in the season in which more is open, (draws,).

    Parameters
    ----------
    view : CutView
    cut : ndarray of bool, (plants, draws)
        Which plants are cut, in the order of the stand.
    """
    stays = [
        stopped[:, None] | (whole @ (~cut).astype(np.float32) > 0.0)
        for stopped, whole in zip(view.stopped, view.whole, strict=True)
    ]
    return _open(view, np.stack(stays).astype(float))


def _open(view: CutView, stays: np.ndarray) -> np.ndarray:
    """Sum the light that passes, by how surely plants of each layer stop each ray, (layers, rays, draws)."""
    winter, free = np.zeros(stays.shape[2]), np.ones(stays.shape[1:])
    for stop, passes in zip(stays, view.passes, strict=True):
        winter += passes * (view.weight @ (free * stop))
        free = free * (1.0 - stop)
    summer = view.weight @ free
    return np.maximum(summer, winter + summer).clip(0.0, 1.0).round(12)


def _who_stops(
    ends, planted: tuple[Runs, CrownTable], time: tuple[int, int], plants: int
) -> csr_array:
    """Give which plants stop each ray, each by itself, as 1, (rays, plants)."""
    (origin, target), (runs, crowns), (year, growth) = ends, planted, time
    first, found = list_stoppers(origin, target, runs, crowns, year, growth)
    return csr_array((np.ones(len(found), np.int8), found, first), shape=(len(ends[0]), plants))


def _sum(whole: csr_array) -> np.ndarray:
    return np.asarray(whole.sum(axis=1)).ravel()
