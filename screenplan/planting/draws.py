"""Plants drawn at random: which figures of their kind they have, by the spreads that were measured.

`Species.at_quantile` gives the figures of a plant that lies z standard deviations from the usual one.

The z of the height of a plant is put together of three normal numbers: one that all plants of the site
share, one that all of its kind do, and its own; their parts of the variance are those measured. The width
at a height has z of its own. How its spread is shared out was not measured: it is taken as that of the
heights. The profile and the leaf density are one for a kind: the range of the one says how little is known of
the kind, and how that of the other is shared out was not measured, so that it is not left to even out.

Every plant has its numbers by its place, so that it draws the same ones whatever else is planted.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from screenplan.planting.losses import Lives, lives_of
from screenplan.planting.measured import TENTH, load_measured
from screenplan.planting.own_growth import OwnSpecies
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, heights_at_quantiles

#: Heights are drawn at these numbers of standard deviations.
HEIGHT_STEP, MOST_SD = 0.02, 4.0
HEIGHTS = np.arange(-round(MOST_SD / HEIGHT_STEP), round(MOST_SD / HEIGHT_STEP) + 1) * HEIGHT_STEP
#: Classes of width and of profile, by standard deviations: a drawn number counts as the nearest. Whole
#: ones keep the spread of the width to within 1 %; the profiles are the cautious, typical and published one.
WIDTHS = np.arange(-2.0, 3.0)
PROFILES = TENTH * np.arange(-1, 2)
#: Plants draw by the square of this size in which they stand, metres: none is set closer. Squares begin aside of
#: round figures, so that rounding does not move a plant to the next one.
PLACE_M, ASIDE = 0.1, 0.371


def shares_of(species: Species) -> tuple[float, float, float]:
    """Parts of the variance of the heights: between sites, between kinds, between plants of a site.

    Of a species that is not shipped they are the usual ones: the middle of those measured; of one whose growth
    was corrected by own plants those that these leave.

    Examples
    --------
    >>> from screenplan import load_species
    >>> [round(part, 2) for part in shares_of(load_species()["picea_pungens"])]
    [0.19, 0.0, 0.81]
    """
    measured = load_measured()
    if isinstance(species, OwnSpecies):
        sites, kinds, plants = species.variances
    elif species.key in measured:
        sites, kinds, plants = _variances(measured[species.key].figures)
    else:
        sites, kinds, plants = _usual()
    whole = sites + kinds + plants
    return sites / whole, kinds / whole, plants / whole


@dataclass(frozen=True)
class Draws:
    """How many are drawn, and by which numbers.

    Parameters
    ----------
    count : int
    seed : int
        Another gives other numbers.
    losses : float
        Share of the plants that dies over the first two years.
    replaced : int
        Years in which the dead are replaced.
    """

    count: int = 10_000
    seed: int = 0
    losses: float = 0.11
    replaced: int = 2

    @property
    def lives(self) -> Lives:
        """Courses that a life may take."""
        return lives_of(self.losses, self.replaced)


@dataclass(frozen=True, eq=False)
class Drawn:
    """What was drawn for each plant of a stand.

    Parameters
    ----------
    height : ndarray of int, (plants, draws)
        Index into `HEIGHTS`.
    width, profile : ndarray of int, (plants, draws)
        Indices into `WIDTHS` and `PROFILES`.
    life : ndarray of int, (plants, draws)
        Course of the life, an index into `Lives`; plants that stand already live.
    leaves : ndarray of int, (plants, draws)
        Leaf density, an index into `HEIGHTS`.
    """

    height: np.ndarray
    width: np.ndarray
    profile: np.ndarray
    life: np.ndarray
    leaves: np.ndarray


def draw_plants(stand: Stand, draws: Draws) -> Drawn:
    """Draw figures and lives for the plants of a stand."""
    count, plants = draws.count, len(stand.points)
    height, leaves = (np.empty((plants, count), np.int16) for _ in range(2))
    width, profile, life = (np.empty((plants, count), np.uint8) for _ in range(3))
    lives = draws.lives
    site = _normal(_numbers(draws, "site"), count)
    kinds = {
        key: _normal(_numbers(draws, "kind", key), count, 4)
        for key in {start.species.key for start in stand.starts}
    }
    parts = [np.sqrt(shares_of(start.species)).astype(np.float32) for start in stand.starts]
    places = np.floor(stand.xy / PLACE_M + ASIDE).astype(np.int64)
    for plant, (place, start) in enumerate(zip(places, stand.start, strict=True)):
        own = _numbers(draws, "plant", *place.tolist())
        kind, of = kinds[stand.starts[start].species.key], parts[start]
        z = of[0] * site + of[1] * kind[:2] + of[2] * _normal(own, count)
        height[plant] = _nearest(z[0], HEIGHT_STEP, len(HEIGHTS))
        width[plant] = _nearest(z[1], WIDTHS[1] - WIDTHS[0], len(WIDTHS))
        profile[plant] = _nearest(kind[2], TENTH, len(PROFILES))
        leaves[plant] = _nearest(kind[3], HEIGHT_STEP, len(HEIGHTS))
        uniform = own.random(count, np.float32)
        life[plant] = 0 if stand.starts[start].stands else lives.drawn(uniform)
    return Drawn(height, width, profile, life, leaves)


def draw_befallen(stand: Stand, draws: Draws, what: str, chance: float) -> np.ndarray:
    """Draw which plants something befalls, each by itself, (plants, draws).

    Parameters
    ----------
    stand : Stand
    draws : Draws
    what : str
        Its name: other things have other numbers.
    chance : float
        That of each plant, 0 for none to 1 for all.
    """
    places = np.floor(stand.xy / PLACE_M + ASIDE).astype(np.int64)
    numbers = (_numbers(draws, what, *place) for place in places.tolist())
    drawn = [own.random(draws.count, np.float32) < chance for own in numbers]
    return np.array(drawn, bool).reshape(len(places), draws.count)


def heights_of(stand: Stand) -> np.ndarray:
    """Heights by how plants start, by `HEIGHTS` and by age, metres, (starts, heights, ages).

    Ages are the years of the stand.
    """
    quantiles, years = tuple(HEIGHTS.tolist()), tuple(stand.years.tolist())
    found = [heights_at_quantiles(start, quantiles, years, stand.curve) for start in stand.starts]
    return np.stack(found) if found else np.zeros((0, len(HEIGHTS), len(years)))


def _numbers(draws: Draws, *key) -> np.random.Generator:
    """Give the numbers that belong to a key, whatever others are drawn."""
    told = hashlib.blake2b(repr((draws.seed, *key)).encode(), digest_size=16).digest()
    return np.random.Generator(np.random.SFC64(int.from_bytes(told, "little")))


def _normal(numbers: np.random.Generator, count: int, rows: int = 2) -> np.ndarray:
    return numbers.standard_normal((rows, count), np.float32)


def _nearest(z, step: float, number: int) -> np.ndarray:
    return np.clip(np.rint(z / np.float32(step)) + number // 2, 0, number - 1)


def _variances(figures) -> tuple[float, float, float]:
    of = figures["height"]
    names = ("between_sites_log_sd", "between_kinds_log_sd", "within_site_log_sd")
    return tuple(of[name] ** 2 for name in names)


@lru_cache(maxsize=1)
def _usual() -> tuple[float, float, float]:
    every = [_variances(kind.figures) for kind in load_measured().values()]
    return tuple(np.median(every, axis=0).tolist())
