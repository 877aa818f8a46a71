"""What the steps' array functions cost a subject, called for one and for many at once."""

from __future__ import annotations

import time

import numpy as np
import shapely

from screenplan.plan import DEFAULTS
from screenplan.planting.exclusions import exclusions
from screenplan.planting.spans import plantable_stretches_each
from screenplan.site.across import Around, look_across
from screenplan.site.looks import points_of, see_targets
from screenplan.site.wall_places import window_places

from .clock import load

#: Lots of a street, metres: width, depth, and the road between two rows of them.
WIDE_M, DEEP_M, ROAD_M = 18.0, 32.0, 8.0
IN_A_ROW = 40
#: What is kept clear of the boundary, by two rules, and of houses.
REACHES_M = (2.8, 1.6, 3.05)


class Street:
    """So many lots with a house each, in rows along roads; outlines a little uneven, as surveyed ones are."""

    def __init__(self, count: int):
        rng = np.random.default_rng(0)
        place = np.arange(count)
        west = (place % IN_A_ROW) * WIDE_M
        south = (place // IN_A_ROW) * (DEEP_M + ROAD_M)
        uneven = rng.uniform(-0.3, 0.3, (count, 2))
        self.lots = shapely.box(west, south, west + WIDE_M, south + DEEP_M)
        west, south = west + 4.0 + uneven[:, 0], south + 8.0 + uneven[:, 1]
        self.houses = shapely.box(west, south, west + 10.0, south + 9.0)
        self.houses = shapely.union(self.houses, shapely.box(west, south, west + 5.0, south + 12.0))
        rows = np.unique(place // IN_A_ROW)
        y = rows * (DEEP_M + ROAD_M) - ROAD_M / 2.0
        ends = np.stack([np.full(len(y), -9.0), y, np.full(len(y), IN_A_ROW * WIDE_M + 9.0), y], 1)
        self.roads = shapely.linestrings(ends.reshape(-1, 2, 2))
        corners = shapely.get_coordinates(self.lots).reshape(count, 5, 2)
        self.sides = shapely.linestrings(
            np.stack([corners[:, :-1], corners[:, 1:]], 2).reshape(-1, 2, 2)
        )
        self.of_side = np.repeat(place, 4)


def windows(street: Street) -> int:
    """Windows of all houses that look at all lots; gives how many pairs of a window and a lot do."""
    like = DEFAULTS.windows
    places = window_places(street.houses, np.arange(len(street.houses)), like.spacing)
    tree = shapely.STRtree(street.lots)
    place, lot = tree.query(shapely.points(places.xy), predicate="dwithin", distance=like.reach)
    others = places.building[place] != lot
    place, lot = place[others], lot[others]
    targets = points_of(street.lots)
    return int(see_targets(places, street.houses, place, lot, targets, like.reach).sum())


def zones(street: Street) -> int:
    """Exclusions of boundaries and houses; gives how many there are."""
    lots, tree = len(street.lots), shapely.STRtree(street.houses)
    lot, house = tree.query(street.lots, predicate="dwithin", distance=REACHES_M[2])
    edges = shapely.boundary(street.lots)
    things = np.concatenate([edges, edges, street.houses[house]])
    own = np.concatenate([np.arange(lots), np.arange(lots), lot])
    reach = np.repeat(REACHES_M, [lots, lots, len(lot)])
    found = exclusions(things, reach, own, street.lots, passage_m=np.zeros(len(own)))
    return sum(zone is not None for zone in found)


def across(street: Street) -> int:
    """What lies across all sides; gives on how many something does."""
    lots = len(street.lots)
    names = np.array([f"road {k}" for k in range(len(street.roads))], dtype=object)
    around = Around(
        street.lots, np.array([f"p{k}" for k in range(lots)], object), np.arange(lots), street.roads, names
    )  # fmt: skip
    base = np.full(len(street.sides), DEFAULTS.sides.base)
    return sum(
        kind != "unknown" for _, kind in look_across(street.sides, base, street.of_side, around)
    )


def stretches(street: Street) -> int:
    """Plantable stretches of a line along each side; gives how many there are."""
    lines = shapely.offset_curve(street.sides, REACHES_M[0])
    free = shapely.difference(street.lots, shapely.buffer(street.houses, REACHES_M[2]))
    return len(plantable_stretches_each(lines, free[street.of_side])[0])


def bench_many(many: int = 1000) -> None:
    """Print processor time a subject of each function, for one lot and for many in one call."""
    print(f"Array functions over many subjects, processor time a lot; {load()}")
    for work in (windows, zones, across, stretches):
        said = []
        for count, repeats in ((1, 50), (many, 1)):
            street = Street(count)
            work(street)
            start = time.process_time()
            for _ in range(repeats):
                found = work(street)
            spent = 1000.0 * (time.process_time() - start) / (count * repeats)
            said.append(f"{spent:.2f} ms with {count:,} ({found:,} found)")
        print(f"  {work.__name__}: {', '.join(said)}")
