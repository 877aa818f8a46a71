"""How fast a planting is chosen, and how near the bound comes: 150 stations by 8 options, 5,000 rays."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array

from screenplan.design.choice import Choice, Limits
from screenplan.design.programme import find_planting, price_of_open

STATIONS, OPTIONS, RAYS, VIEWS = 150, 8, 5_000, 40
SECONDS = 60.0


def made_up(need: float, seed: int = 0) -> Choice:
    """A row of made-up plants, from narrow and low to wide and tall, and rays that cross it."""
    rng = np.random.default_rng(seed)
    at, height = rng.uniform(0.0, STATIONS, RAYS), rng.uniform(0.0, 1.0, RAYS) ** 0.7
    half, top = np.linspace(0.55, 1.3, OPTIONS), np.linspace(0.75, 1.05, OPTIONS)
    option, station = np.divmod(np.arange(OPTIONS * STATIONS), STATIONS)
    wide = half[option, None] * (1.0 - 0.6 * height / top[option, None])
    stops = (np.abs(at - station[:, None] - 0.5) < wide) & (height < top[option, None])
    view = (at / STATIONS * VIEWS / 2).astype(int) + VIEWS // 2 * rng.integers(0, 2, RAYS)
    light = np.zeros((VIEWS, RAYS))
    light[view, np.arange(RAYS)] = 1.0
    light /= light.sum(axis=1, keepdims=True)
    spots = tuple(np.arange(OPTIONS) * STATIONS + spot for spot in range(STATIONS))
    return Choice(
        np.linspace(10.0, 30.0, OPTIONS)[option], option, option, option, option, spots,
        csr_array(stops), csr_array(light), np.full(VIEWS, need), np.ones(VIEWS),
    )  # fmt: skip


def bench_design() -> None:
    """Print time, cost and gap of plain covering, and of runs of two kinds."""
    for name, need, limits in (
        ("plain covering", 1.0, Limits(least_run=1)),
        ("runs of three, two kinds", 0.9, Limits(least_run=3, least_gap=3, most_kinds=2)),
    ):
        choice = made_up(need)
        limits = replace(limits, open_price=price_of_open(choice, limits))
        start = time.perf_counter()
        found = find_planting(choice, limits, seconds=SECONDS)
        print(
            f"design, {name}: {time.perf_counter() - start:.1f} s, {choice.closed(found.planted).sum()} of "
            f"{VIEWS} views for {found.cost:.0f}, gap {found.gap(limits.open_price):.1%}, "
            f"{'proven' if found.proven else 'not proven'}, by {found.made_by}"
        )
