"""The stand: plants with their sizes by growth and year. Nobody else grows a plant.

How a plant grows hangs on how it starts alone: its species, its height in year 0, whether it stands
already. So sizes are worked out once for each start, through all years that are followed, and kept:
a stand takes the years that it is asked for, and one more plant of the same start costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
import shapely

from screenplan.contracts import GROWTHS, HIGHEST_PLANT_M
from screenplan.contracts.tables import numbers, texts
from screenplan.ground.crown_shapes import CrownShape
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.faults import Faults
from screenplan.plan import Options
from screenplan.plan.planting import Growth
from screenplan.planting.footprints import Footprints, farthest_edge, row_ways
from screenplan.planting.growth import (
    USUAL_STOCK,
    clear_stem_at,
    height_at,
    heights_at,
    spread_at,
    width_at,
)
from screenplan.planting.maturity import MATURE_YEAR, followed_years
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species, evidence_of

#: Starts whose sizes are kept, some 20 kB each.
KEPT_STARTS = 4096
#: Starts whose heights are kept for all quantiles that are drawn, some 100 kB each.
KEPT_SPREADS = 256


class Start(NamedTuple):
    """How a plant starts: all on which its growth hangs, but for the curve.

    Parameters
    ----------
    species : Species
    height_m : float
        Height in year 0, metres.
    stands : bool
        Whether it stands already and is rooted.
    stock : str
        Kind of stock.
    """

    species: Species
    height_m: float
    stands: bool
    stock: str = USUAL_STOCK


@dataclass(frozen=True, eq=False)
class Stand:
    """Plants of one or many subjects, and their sizes.

    Parameters
    ----------
    points : ndarray of Point, (plants,)
        The stems, in the layer's order.
    ground_m : ndarray, (plants,)
        Height of the ground at the foot; NaN where it is not given.
    subject, row : ndarray of int, (plants,)
        The subject for which each is planted, and its row: those are numbered through all subjects.
    order : ndarray of int, (plants,)
        The plants row by row, those of a row in their order along it.
    starts : tuple of Start
    start : ndarray of int, (plants,)
        How each plant starts, an index into ``starts``.
    years : ndarray of int, (years,)
        Years since planting, in rising order.
    sizes : ndarray, (4, starts, growths, years)
        Height, spread, width and clear stem, metres, as `sizes_of` gives them.
    curve : str
        Growth curve.

    Notes
    -----
    By plant, `height`, `radius`, `across` and `clear` are (plants, growths, years), `exponent` is
    (plants, growths); growths are low, typical, high.
    """

    points: np.ndarray
    ground_m: np.ndarray
    subject: np.ndarray
    row: np.ndarray
    order: np.ndarray
    starts: tuple[Start, ...]
    start: np.ndarray
    years: np.ndarray
    sizes: np.ndarray
    curve: str

    @cached_property
    def xy(self) -> np.ndarray:
        """Places of the stems in plan, (plants, 2)."""
        return shapely.get_coordinates(self.points)

    @cached_property
    def height(self) -> np.ndarray:
        """Heights, metres."""
        return self.sizes[0][self.start]

    @cached_property
    def radius(self) -> np.ndarray:
        """Half the spread, of a box half its length along the row, metres."""
        return self.sizes[1][self.start] / 2.0

    @cached_property
    def across(self) -> np.ndarray:
        """Half the width across the row, less than the radius in a hedge kept narrow, metres."""
        return self.sizes[2][self.start] / 2.0

    @cached_property
    def clear(self) -> np.ndarray:
        """Heights of the lowest leaves, metres."""
        return self.sizes[3][self.start]

    @cached_property
    def shape(self) -> np.ndarray:
        """Words for the shapes of the crowns, (plants,)."""
        return np.array([start.species.shape for start in self.starts] or [""], object)[self.start]

    @property
    def evidence(self) -> str:
        """What the growth of its plants rests on, in words: the weakest of their species."""
        return evidence_of(start.species for start in self.starts)

    @cached_property
    def exponent(self) -> np.ndarray:
        """Exponents of the crowns' radii, (plants, growths); NaN of shapes that have none."""
        found = [[start.species.exponent(growth) for growth in GROWTHS] for start in self.starts]
        return np.array(found, float).reshape(-1, len(GROWTHS))[self.start]

    def alike(self, growth: int) -> Iterator[tuple[CrownShape, np.ndarray]]:
        """Give each crown shape that there is at a growth, and which plants have it, (plants,)."""
        shapes = [start.species.crown(GROWTHS[growth]) for start in self.starts]
        for shape in dict.fromkeys(shapes):
            yield shape, np.array([other == shape for other in shapes], bool)[self.start]

    @cached_property
    def box(self) -> np.ndarray:
        """Whether each crown is a box along its row, (plants,)."""
        boxed = [start.species.crown(GROWTHS[0]).along_row for start in self.starts]
        return np.array(boxed, bool)[self.start]

    @cached_property
    def way(self) -> np.ndarray:
        """Direction of the row at each plant, of length 1, (plants, 2); east for one that is alone."""
        way = np.zeros((len(self.points), 2))
        way[self.order] = row_ways(
            self.xy[self.order, 0], self.xy[self.order, 1], self.row[self.order]
        )
        return way

    @cached_property
    def farthest(self) -> np.ndarray:
        """Greatest distance of a crown's edge from its stem, metres, (plants, growths, years)."""
        return farthest_edge(self.radius, self.across, self.box[:, None, None])

    def crowns(self, growth: int, year: int) -> Footprints:
        """Give the crowns in plan, for the numbers of a growth and of one of the years."""
        radius, across = self.radius[:, growth, year], self.across[:, growth, year]
        return Footprints(self.points, radius, across, self.box, self.way)

    def in_years(self, years) -> Stand:
        """Give the same plants in other years."""
        years = _years(years)
        return replace(self, years=years, sizes=sizes_of(self.starts, years, self.curve))

    def only(self, plants: np.ndarray, starts: Sequence[int]) -> Stand:
        """Give some of the plants.

        Parameters
        ----------
        plants : ndarray of bool, (plants,)
        starts : sequence of int
            How they start, in the order that is wanted.
        """
        number, start = np.cumsum(plants) - 1, np.zeros(len(self.starts), int)
        start[list(starts)] = np.arange(len(starts))
        return replace(
            self, points=self.points[plants], ground_m=self.ground_m[plants],
            subject=self.subject[plants], row=self.row[plants],
            order=number[self.order[plants[self.order]]],
            starts=tuple(self.starts[kind] for kind in starts), start=start[self.start[plants]],
            sizes=self.sizes[:, list(starts)],
        )  # fmt: skip

    def unclipped(self) -> Stand:
        """Give the same plants as they grow where nobody clips them."""
        free = tuple(start._replace(species=start.species.unclipped()) for start in self.starts)
        return replace(self, starts=free, sizes=sizes_of(free, self.years, self.curve))


def stand_of(
    plants,
    *,
    years: int | Sequence[int] | np.ndarray,
    curve: str = "smooth",
    species_table: Mapping[str, Species] | None = None,
    subject=None,
) -> Stand:
    """Make the stand of a layer of plants.

    Parameters
    ----------
    plants : GeoDataFrame
        Layer of the contract, in local-frame metres.
    years : int or sequence of int
        Last year, 1 or more, or all years in rising order.
    curve : {"smooth", "straight"}
    species_table : mapping, optional
        The species table, by default the shipped one.
    subject : array_like of int, (plants,), optional
        The subject of each plant where a layer holds those of several, each with rows of its own.

    Raises
    ------
    InputError
        On years out of range; by row, on a plant without a place, a known species or a height.
    """
    at = _years(years)
    starts, start = _starts(plants, species_table)
    subject = np.zeros(len(plants), int) if subject is None else np.asarray(subject, int)
    lines = plants["line_id"].astype(str).to_numpy()
    line = np.unique(lines, return_inverse=True)[1]
    row = np.unique(subject * (line.max(initial=0) + 1) + line, return_inverse=True)[1]
    return Stand(
        plants.geometry.to_numpy(), numbers(plants, "ground_m", np.nan), subject, row,
        np.lexsort((numbers(plants, "station_m", 0.0), row)),
        starts, start, at, sizes_of(starts, at, curve), curve,
    )  # fmt: skip


def planned_stand(
    plants,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
    years=None,
    subject=None,
) -> Stand:
    """Make the stand of a layer of plants as a plan has them grow: see `stand_of`.

    ``years`` are those that the plan looks at, unless others are asked for.
    """
    years = plan.growth.years if years is None else years
    return stand_of(
        plants, years=years, curve=plan.growth.curve, species_table=species_table, subject=subject
    )


def sizes_of(starts: Iterable[Start], years, curve: str = "smooth") -> np.ndarray:
    """Height, spread, width and clear stem of plants by how they start.

    Parameters
    ----------
    starts : iterable of Start
    years : sequence of int
        Years since planting, 0 or more; all after `MATURE_YEAR` are as that one.
    curve : {"smooth", "straight"}

    Returns
    -------
    ndarray, (4, starts, growths, years)
        Metres; spread is that along the row, width that across it.

    Examples
    --------
    A slow plant, 0.225 m a year once rooted, set at 1 m: with two years to root six are worth five.

    >>> from screenplan import load_species
    >>> from screenplan.planting.growth import TYPICAL
    >>> slow = {"like": "thuja_occidentalis", "growth_class": "slow", "establishment_years": 2.0}
    >>> cedar = Start(load_species({"slow": slow})["slow"], 1.0, False)
    >>> sizes_of([cedar], [0, 6], "straight")[0, 0, TYPICAL].round(3).tolist()
    [1.0, 2.125]
    """
    years = np.minimum(years, MATURE_YEAR).astype(int)
    followed = followed_years(int(years[years < MATURE_YEAR].max(initial=0)))
    at = np.searchsorted(followed, years)
    grown = [_grow(start, int(followed[-2]), curve)[..., at] for start in starts]
    return np.stack(grown, axis=1) if grown else np.zeros((4, 0, len(GROWTHS), len(years)))


def sizes_at(species: Species, heights) -> tuple[np.ndarray, np.ndarray]:
    """Spread and clear stem of a plant of each height, typical growth, metres.

    Examples
    --------
    >>> from screenplan import load_species
    >>> spread, clear = sizes_at(load_species()["thuja_occidentalis"], [1.0, 4.0])
    >>> spread.round(2).tolist(), clear.tolist()
    ([0.67, 2.29], [0.0, 0.0])
    """
    return spread_at(species, heights), clear_stem_at(species, heights)


@lru_cache(maxsize=KEPT_SPREADS)
def heights_at_quantiles(
    start: Start, quantiles: tuple[float, ...], years: tuple[int, ...], curve: str = "smooth"
) -> np.ndarray:
    """Heights of plants of one start that lie so many standard deviations from the usual one.

    Parameters
    ----------
    start : Start
    quantiles : tuple of float
        Standard deviations (`Species.at_quantile`).
    years : tuple of int
        Years since planting; all after `MATURE_YEAR` are as that one.
    curve : {"smooth", "straight"}

    Returns
    -------
    ndarray, (quantiles, years)
        Metres.

    Examples
    --------
    >>> from screenplan import load_species
    >>> holly = Start(load_species()["ilex_opaca"], 1.0, False)
    >>> low = heights_at_quantiles(holly, (-1.2816,), (5, 10))[0]
    >>> bool(np.allclose(low, sizes_of([holly], [5, 10])[0, 0, 0]))
    True
    """
    at = np.minimum(np.array(years), MATURE_YEAR)
    found = heights_at(
        start.species, quantiles, at, stock_height_m=start.height_m,
        stock=start.stock, curve=curve, established=start.stands,
    )  # fmt: skip
    found.flags.writeable = False
    return found


@lru_cache(maxsize=KEPT_STARTS)
def _grow(start: Start, last: int, curve: str) -> np.ndarray:
    """Grow a plant through the years that are followed, (4, growths, followed)."""
    sizes = np.zeros((4, len(GROWTHS), last + 2))
    for g, growth in enumerate(GROWTHS):
        height = height_at(
            start.species, followed_years(last), growth=growth, stock_height_m=start.height_m,
            stock=start.stock, curve=curve, established=start.stands,
        )  # fmt: skip
        sizes[:, g] = (
            height,
            spread_at(start.species, height, growth),
            width_at(start.species, height, growth),
            clear_stem_at(start.species, height),
        )
    sizes.flags.writeable = False
    return sizes


def _years(years) -> np.ndarray:
    if np.ndim(years):
        return np.asarray(years, int)
    if years != int(years) or years < 1:
        raise refuse(
            f"{years!r} is no last year",
            "Give a whole number of 1 or more",
            key=Growth.key("years"),
        )
    return np.arange(int(years) + 1)


def _starts(plants, species_table) -> tuple[tuple[Start, ...], np.ndarray]:
    """Tell how the plants start, and which of these each is; refuse by row what cannot."""
    stock = numbers(plants, "stock_height_m", np.nan)
    stands = (
        plants["existing"].fillna(False).to_numpy(bool)
        if "existing" in plants.columns
        else np.zeros(len(plants), bool)
    )
    keys = plants["species"].astype(str).to_numpy()
    found = {key: _species(key, species_table) for key in dict.fromkeys(keys)}
    points = plants.geometry.to_numpy()
    placed = (shapely.get_type_id(points) == 0) & ~shapely.is_empty(points)
    unknown = np.array([found[key] is None for key in keys], bool)
    Faults(
        "plants",
        (~placed, "a plant has no place", "Give it a point"),
        (
            unknown,
            f"a species is not in the table: {', '.join(sorted(set(keys[unknown])))}",
            "Use a key of the species table, or add the species to it",
        ),
        (
            ~(stock > 0.0),
            "a plant has no height when planted",
            "Give the column stock_height_m a height above 0",
        ),
        (
            stock > HIGHEST_PLANT_M,
            f"a plant is taller than {{{HIGHEST_PLANT_M:g} m}}",
            "Correct the column stock_height_m; it is in metres",
        ),
    ).raise_any()
    looks: dict[tuple[str, float, bool, str], int] = {}
    start = [
        looks.setdefault((key, float(height), bool(old), kind), len(looks))
        for key, height, old, kind in zip(
            keys, stock, stands, texts(plants, "stock", USUAL_STOCK), strict=True
        )
    ]
    of = {key: species for key, species in found.items() if species is not None}
    starts = tuple(Start(of[key], height, old, kind) for key, height, old, kind in looks)
    return starts, np.array(start, int)


def _species(key: str, species_table) -> Species | None:
    try:
        return species_of(key, species_table)
    except InputError:
        return None
