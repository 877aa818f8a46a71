"""Choices made up for the tests of the design, and every planting of a small one."""

import itertools

import numpy as np
from scipy.sparse import csr_array

from screenplan.design.choice import Choice, breaks_of, counts


def choice_of(stops, *, light=None, price=None, stretch=None, kind=None, genus=None, exclusive=(),
              need=None, weight=None):  # fmt: skip
    """A choice by its table of plants and rays; one view of all rays in equal parts unless told."""
    stops = np.asarray(stops, bool)
    plants, rays = stops.shape
    light = np.full((1, rays), 1.0 / max(rays, 1)) if light is None else np.asarray(light, float)
    kind = np.zeros(plants, int) if kind is None else np.asarray(kind)
    return Choice(
        np.ones(plants) if price is None else np.asarray(price, float),
        np.zeros(plants, int) if stretch is None else np.asarray(stretch),
        kind,
        kind,
        kind if genus is None else np.asarray(genus),
        tuple(np.asarray(spot) for spot in exclusive),
        csr_array(stops),
        csr_array(light),
        np.full(len(light), 0.9) if need is None else np.asarray(need, float),
        np.ones(len(light)) if weight is None else np.asarray(weight, float),
    )


def made_up(seed, *, plants=10, rays=14, views=3, kinds=2):
    """A choice by chance: two stretches of each kind, some plants on the same ground."""
    rng = np.random.default_rng(seed)
    stretch = np.sort(rng.integers(0, 3, plants))
    stops = rng.random((plants, rays)) < 0.35
    light = rng.random((views, rays)) * (rng.random((views, rays)) < 0.6)
    light /= np.maximum(light.sum(axis=1, keepdims=True), 1e-9)
    pairs = rng.integers(0, plants, (3, 2))
    return choice_of(
        stops, light=light, price=rng.integers(1, 5, plants), stretch=stretch,
        kind=stretch % kinds, need=rng.uniform(0.3, 0.8, views), weight=rng.integers(0, 3, views),
        exclusive=[pair for pair in pairs if stretch[pair[0]] != stretch[pair[1]]],
    )  # fmt: skip


def every_planting(choice, limits):
    """All plantings that keep to the limits, by trying every subset."""
    for bits in itertools.product((False, True), repeat=len(choice.price)):
        planted = np.array(bits)
        if not breaks_of(choice, limits, planted):
            yield planted


def least_of_all(choice, limits):
    """What the best of all plantings counts, by trying every subset."""
    return min(counts(choice, limits, planted) for planted in every_planting(choice, limits))
