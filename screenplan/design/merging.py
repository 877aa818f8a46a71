"""Rays that the same plants stop, taken together: exact, because they are open or stopped together."""

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
    first, group_of = [], np.full(by_ray.shape[0], -1)
    known: dict[bytes, int] = {}
    for ray in range(by_ray.shape[0]):
        plants = by_ray.indices[by_ray.indptr[ray] : by_ray.indptr[ray + 1]]
        if not len(plants):
            continue
        group = known.setdefault(plants.tobytes(), len(known))
        if group == len(first):
            first.append(ray)
        group_of[ray] = group
    kept = group_of >= 0
    into = csr_array(
        (np.ones(kept.sum()), (np.flatnonzero(kept), group_of[kept])),
        shape=(by_ray.shape[0], len(first)),
    )
    return csr_array(by_ray[first].T, dtype=bool), csr_array(light @ into)
