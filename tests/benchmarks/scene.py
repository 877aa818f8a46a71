"""The scene that is timed: a row of plants, windows on one side and gardens on the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from screenplan.ground.crown_shapes import CrownShape
from screenplan.views.crowns import CrownTable, tabulate_crowns
from screenplan.views.kernel import Runs, arrange_runs

LAST_YEAR = 30
PLANTS = 300
SPACING_M = 1.2
RAYS = 10_000_000
#: Rays that are held at a time.
PORTION = 200_000
#: Yearly growth, metres: low, typical, high.
GROWTH_M = (0.2, 0.3, 0.45)
STOCK_M, FULL_M, WIDTH_SHARE, FULL_WIDTH_M = 0.9, 6.0, 0.3, 1.6
#: Clear stem of the rows whose stems clear as they grow: a share of the height, up to so many metres.
STEM_SHARE, MOST_STEM_M = 0.25, 1.8
#: Exponent of the crowns that are timed in place of cones.
EXPONENT = 0.3
#: Extinction coefficient per metre for low, typical and high leaf density (1, 2.5 and 4 m2/m3).
EXTINCTION = (0.5, 1.25, 2.0)
#: A house every so many metres; eyes, and the garden that they look at.
HOUSE_M, EYES_Y_M, EYE_HEIGHTS_M = 18.0, 12.0, (3.4, 6.0)
GARDEN_Y_M, HEADS_M = (-14.0, -4.0), (1.0, 1.8)


@dataclass(frozen=True)
class Scene:
    """A row along the x axis."""

    x: np.ndarray
    crowns: CrownTable
    runs: Runs
    shape: str | CrownShape = "cone"

    def portions(self, rays: int, seed: int = 0, every: int = 1) -> Iterator[tuple]:
        """Rays in portions, house by house along the row, or one portion in so many of them."""
        count = -(-rays // PORTION)
        rng = np.random.default_rng(seed)
        houses = np.arange(0.5 * HOUSE_M, len(self.x) * SPACING_M, HOUSE_M)
        seeds = rng.integers(0, 2**31, count)
        for number in range(0, count, every):
            own = np.random.default_rng(seeds[number])
            here = min(PORTION, rays - number * PORTION)
            house = houses[(np.arange(here) + number * PORTION) * len(houses) // rays]
            yield (
                np.column_stack(
                    [
                        house + own.uniform(-5, 5, here),
                        np.full(here, EYES_Y_M) + own.uniform(-0.5, 0.5, here),
                        own.uniform(*EYE_HEIGHTS_M, here),
                    ]
                ),
                np.column_stack(
                    [
                        house + own.uniform(-12, 12, here),
                        own.uniform(*GARDEN_Y_M, here),
                        own.uniform(*HEADS_M, here),
                    ]
                ),
            )


def row_scene(
    plants: int = PLANTS, shape: str | CrownShape = "cone", stem_share: float = 0.0
) -> Scene:
    """A straight row of equal plants on level ground, three growths, 31 years."""
    year = np.arange(LAST_YEAR + 1)
    height = np.stack([np.minimum(STOCK_M + g * year, FULL_M) for g in GROWTH_M])[:, :, None]
    width = np.minimum(WIDTH_SHARE * height, FULL_WIDTH_M)
    stem = np.minimum(stem_share * height, MOST_STEM_M)
    crowns = tabulate_crowns(
        [shape], height, 0.5 * width, stem, extinction=np.array(EXTINCTION)[:, None]
    )
    x = np.arange(plants) * SPACING_M
    same = np.zeros(plants, np.int64)
    return Scene(x, crowns, arrange_runs(x, 0.0 * x, 0.0 * x, same, same, crowns), shape)
