"""Rays that the same plants stop, taken together: exact, because they are open or stopped together.

Rays that nearly the same plants stop are joined where a bound is enough.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array


def merge_rays(stops: csr_array, light: csr_array) -> tuple[csr_array, csr_array]:
    """Take rays together that the same plants stop; those that none stops are left out.

    What a view needs stays the same: rays that are left out are never stopped.

    Parameters
    ----------
    stops : csr_array of bool, (plants, rays)
    light : csr_array of float, (views, rays)

    Returns
    -------
    stops : csr_array of bool, (plants, groups)
    light : csr_array of float, (views, groups)
        Sums over the rays of each group.

    Examples
    --------
    The first and the last ray are stopped by the same plant, the second by none.

    >>> stops = csr_array(np.array([[True, False, True]]))
    >>> stops, light = merge_rays(stops, csr_array(np.array([[0.25, 0.25, 0.5]])))
    >>> light.toarray().tolist()
    [[0.75]]
    """
    by_ray = csr_array(stops.T)
    by_ray.sort_indices()
    kept = np.flatnonzero(np.diff(by_ray.indptr) > 0)
    first, group = _alike(by_ray, kept)
    into = csr_array((np.ones(len(kept)), (kept, group)), shape=(by_ray.shape[0], len(first)))
    return csr_array(by_ray[first].T, dtype=bool), csr_array(light @ into)


def _alike(rows: csr_array, kept: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the first row of each group of those that hold the same columns, and the group of each, in their order.

    Rows whose columns have the same sum of random numbers are held to be alike, and then compared; none is empty.
    """
    if not len(kept):
        return kept, kept
    begin, size = rows.indptr[kept], np.diff(rows.indptr)[kept]
    rng = np.random.default_rng(0)
    while True:
        number = rng.integers(0, 2**63, rows.shape[1], dtype=np.uint64)
        sums = np.add.reduceat(number[rows.indices], begin)
        _, at, group = np.unique(sums, return_index=True, return_inverse=True)
        order = np.argsort(at)
        group, at = np.argsort(order)[group], at[order]
        same = at[group]
        if (size[same] == size).all():
            step = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
            own, other = (
                rows.indices[np.repeat(start, size) + step] for start in (begin, begin[same])
            )
            if (own == other).all():
                return kept[at], group


def join_rays(stops: csr_array, light: csr_array, alike: float) -> tuple[csr_array, csr_array]:
    """Join groups of rays that share so many of their plants: whatever stops one of them then stops all.

    So no planting stops less than before, and what the best costs is never more: a bound of it holds.

    Parameters
    ----------
    stops : csr_array of bool, (plants, groups)
    light : csr_array of float, (views, groups)
    alike : float
        Plants that stop both, as a share of those that stop either.

    Returns
    -------
    stops, light : csr_array
        As `merge_rays` gives them.

    Examples
    --------
    >>> stops = csr_array(np.array([[True, True, False], [True, True, False], [False, True, True]]))
    >>> stops, light = join_rays(stops, csr_array(np.array([[0.25, 0.25, 0.5]])), 0.6)
    >>> light.toarray().tolist(), stops.toarray()[2].tolist()
    ([[0.5, 0.5]], [True, True])
    """
    groups = light.shape[1]
    by_group, size = csr_array(stops.T, dtype=float), np.diff(csr_array(stops.T).indptr)
    shares = light.toarray()
    most_of = shares.argmax(axis=0) if shares.size else np.zeros(groups, int)
    into, count = np.full(groups, -1), 0
    for view in range(len(shares)):
        mine = np.flatnonzero(most_of == view)
        both = (by_group[mine] @ by_group[mine].T).toarray()
        share = both / np.maximum(size[mine][:, None] + size[mine][None, :] - both, 1.0)
        left = np.ones(len(mine), bool)
        for group in np.argsort(-shares[view, mine], kind="stable"):
            if left[group]:
                near = left & ((share[group] >= alike) | (np.arange(len(mine)) == group))
                into[mine[near]], count = count, count + 1
                left &= ~near
    joined = csr_array((np.ones(groups), (np.arange(groups), into)), shape=(groups, count))
    return csr_array(stops.astype(float) @ joined).astype(bool), csr_array(light @ joined)
