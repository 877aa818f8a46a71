"""Height, spread and clear stem of a plant by year.

The laws are those of `screenplan.planting.curves`, the figures those of the species: a curve of Chapman
and Richards that starts at the height of the stock, and a width by the height. Symbols: t years since
planting, e years of establishment, τ effective years of growth.

Establishment: growth rises evenly from nothing to its full rate over e years, so τ = t²/(2e) for t < e,
and t − e/2 after. A thicker stem takes longer, so that small stock catches up; e is that of the zone, the
stem (by the height) and the kind of stock, or the species' own figure. A curve whose years are years since
planting holds the establishment of the trees to which it was fitted, field-grown ones of a known height in
mild zones. Then e is counted from theirs: what it exceeds it by slows the start as above, and what it
falls short of it by is made up for at once: with d = −e > 0 years less, τ = 2t − t²/(2d) for t < d, and
t + d/2 after.

Where weeds are left alone, a share s of the growth of the first n years is lost. A plant that was set then grows in
those years as in 1 − s of the time: t − s min(t, n) takes the place of t, so that it stays s n years behind.

Growth "low", "typical", "high" takes the figures of a plant that one in ten stays below, of the middle,
and of one that one in ten grows above; they share the exponent of the curve, so that they never cross.
Curve "straight" rises by the greatest yearly growth of the smooth one until the plant is grown.

A plant that is kept at a height stops there, and is held in the shape that it has then: its spread stays that of
a plant of that height. A crown whose top alone is cut off after it grew taller holds this crown in it, for shapes
that widen all the way down, so that privacy is not told too well; if its sides are left to grow it takes more light than is told. A plant never shrinks: one that is planted taller than it grows keeps
its height. Height rises with t and with the growth class in every case.
"""

from __future__ import annotations

from typing import Any, NamedTuple, get_args

import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.ground.errors import refuse
from screenplan.plan.planting import Curve
from screenplan.planting import curves
from screenplan.planting.curves import HeightCurve, greatest_yearly_growth
from screenplan.planting.measured import load_establishment, months_to_root, stem_inches
from screenplan.planting.species_model import MILD_ZONE, Species

TYPICAL = GROWTHS.index("typical")
CURVES: tuple[str, ...] = get_args(Curve)
#: Stock of a plant whose kind of stock is not known.
USUAL_STOCK = "container"
MONTHS = 12.0


def effective_years(years, establishment_years) -> np.ndarray:
    """Years of full growth that ``years`` since planting are worth (τ of the module text).

    Examples
    --------
    Two years of establishment are worth one; two less than the curve holds are worth one more.

    >>> effective_years([1.0, 2.0, 4.0], 2.0).tolist(), effective_years([1.0, 2.0, 4.0], -2.0).tolist()
    ([0.25, 1.0, 3.0], [1.75, 3.0, 5.0])
    """
    t, e = np.broadcast_arrays(np.asarray(years, float), np.asarray(establishment_years, float))
    d = np.where(e == 0.0, 1.0, np.abs(e))
    slow = np.where(t < d, t**2 / (2.0 * d), t - d / 2.0)
    return np.where(e == 0.0, t, np.where(e > 0.0, slow, 2.0 * t - slow))


def establishment_years(species: Species, stock_height_m, stock: str = USUAL_STOCK) -> np.ndarray:
    """Years until stock of that height and kind is rooted.

    Parameters
    ----------
    species : Species
        Its own figure, if it has one, holds for all stock.
    stock_height_m : array_like
        Metres.
    stock : str
        Kind of stock: what is grown in a pot takes longer than what was dug from a field; bare roots are
        back to their growth in the second season.

    Examples
    --------
    An inch of stem in a mild zone: six months, in a pot seven and a half.

    >>> from screenplan import load_species
    >>> holly = load_species()["ilex_opaca"]
    >>> tall = (2.54 / 1.548) ** (1 / 1.42)
    >>> [float(establishment_years(holly, tall, stock).round(3)) for stock in ("balled", "container")]
    [0.5, 0.625]
    """
    height = np.asarray(stock_height_m, float)
    if species.establishment_years is not None:
        return np.full(height.shape, species.establishment_years)
    if stock == "bare_root":
        return np.full(height.shape, load_establishment()["bare_root"]["years"])
    return _months(species, species.rooting_zone, height, stock != "balled") / MONTHS


def _months(species: Species, zone: int, height, container: bool) -> np.ndarray:
    return months_to_root(zone, stem_inches(species.leaf, height), container)


def _more_establishment(species: Species, height, stock: str) -> np.ndarray:
    """Years of establishment beyond those that the curve holds."""
    planted = species.height_curve.planted_m
    if planted is None:
        return establishment_years(species, height, stock)
    held = _months(species, MILD_ZONE, planted, container=False) / MONTHS
    return establishment_years(species, height, stock) - held


def height_at(
    species: Species,
    years,
    *,
    growth: str = "typical",
    stock_height_m=None,
    stock: str = USUAL_STOCK,
    curve: str = "smooth",
    established: bool = False,
) -> np.ndarray:
    """Height of a plant so many years after planting.

    Parameters
    ----------
    species : Species
    years : array_like
        Years since planting, or from today for a plant that stands already; 0 or more.
    growth : {"low", "typical", "high"}
    stock_height_m : array_like, optional
        Height at year 0, metres, broadcast with ``years``; by default the species'.
    stock : str
        Kind of stock.
    curve : {"smooth", "straight"}
    established : bool
        True for a plant that stands and is rooted: no establishment period.

    Returns
    -------
    ndarray
        Metres.

    Examples
    --------
    Own figures: 0.2 m a year at first, up to 10 m; the curve with m = 1, set at 1 m, rooted.

    >>> from screenplan import load_species
    >>> own = load_species({"own": {
    ...     "latin": "Taxus sp.", "shape": "cone", "yearly_growth": ["0.2 m", "0.2 m", "0.2 m"],
    ...     "mature_height": ["10 m", "10 m"], "mature_spread": ["3 m", "3 m"]}})["own"]
    >>> float(height_at(own, 10, stock_height_m=1.0, established=True).round(3))
    2.631
    """
    _check(growth, curve)
    h0 = species.stock_height_m if stock_height_m is None else stock_height_m
    start = _Start(h0, stock, established)
    return _grown(
        species, (species.curve(growth), species.full_height(growth)), years, start, curve
    )


def heights_at(
    species: Species,
    quantiles,
    years,
    *,
    stock_height_m: float,
    stock: str = USUAL_STOCK,
    curve: str = "smooth",
    established: bool = False,
) -> np.ndarray:
    """Heights of plants that lie so many standard deviations from the usual one, (quantiles, years), metres.

    Parameters
    ----------
    species : Species
    quantiles : array_like, (quantiles,)
        Standard deviations, as `Species.at_quantile` takes one.
    years : array_like, (years,)
    stock_height_m, stock, curve, established
        As `height_at` takes them.

    Examples
    --------
    >>> from screenplan import load_species
    >>> holly = load_species()["ilex_opaca"]
    >>> low, middle = heights_at(holly, [-1.2816, 0.0], [5, 10], stock_height_m=1.0)
    >>> bool(np.allclose(middle, height_at(holly, [5, 10], stock_height_m=1.0)))
    True
    """
    _check("typical", curve)
    law = species.curve_at(np.asarray(quantiles, float)[:, None])
    return _grown(species, law, years, _Start(stock_height_m, stock, established), curve)


class _Start(NamedTuple):
    height_m: float | np.ndarray
    stock: str
    established: bool


def _grown(
    species: Species, goes: tuple[HeightCurve, Any], years, start: _Start, curve: str
) -> np.ndarray:
    """Grow by a curve of the height up to where it stops; its figures may be arrays that broadcast with the years."""
    (law, full), t = goes, np.asarray(years, float)
    h0 = np.asarray(start.height_m, float)
    if np.any(~(t >= 0)):
        raise refuse("a year lies before planting", "Give years of 0 or more")
    if np.any(~(h0 > 0)):
        raise refuse("a plant has no height when planted", "Give a stock height above 0")
    if curve == "straight" and law.exponent:
        law = HeightCurve(law.asymptote_m, greatest_yearly_growth(law) / law.asymptote_m, 0.0)
    grows = t - species.slowed_share * np.minimum(t, species.slowed_years)
    rooting = None if start.established else _more_establishment(species, h0, start.stock)
    grown = curves.height_at(law, t if rooting is None else effective_years(grows, rooting), h0)
    # What is planted taller than it grows keeps its height.
    grown = np.maximum(np.minimum(grown, full), h0)
    if species.kept_height_m is not None:
        grown = np.minimum(grown, species.kept_height_m)
    return grown


def spread_at(species: Species, height, growth: str = "typical") -> np.ndarray:
    """Diameter of the crown of a plant of that height, metres.

    By the law of the species' width up to its mature spread; from then on the plant grows only taller.

    Examples
    --------
    The share of the height falls as the plant grows.

    >>> from screenplan import load_species
    >>> cedar = load_species()["thuja_occidentalis"]
    >>> spread_at(cedar, [1.0, 4.0, 20.0]).round(2).tolist()
    [0.67, 2.29, 3.35]
    """
    _check(growth)
    return curves.width_at(species.width(growth), height)


def width_at(species: Species, height, growth: str = "typical") -> np.ndarray:
    """Width of the crown across its row, metres: the spread, or what a clipped hedge is kept at."""
    spread = spread_at(species, height, growth)
    return spread if species.kept_width_m is None else np.minimum(spread, species.kept_width_m)


def clear_stem_at(species: Species, height) -> np.ndarray:
    """Height of the lowest leaves, metres: a share of the height up to the species' clear stem."""
    return np.minimum(species.clear_stem_share * np.asarray(height, float), species.clear_stem_m)


class CrownLaw(NamedTuple):
    """How the crown of a plant follows from its height.

    Attributes
    ----------
    coefficient, exponent, widest_m : float
        Of the width.
    kept_width_m : float
        Width across its row at which a hedge is kept; infinite for others.
    clear_share, clear_m : float
        The bare stem is that share of the height, up to so many metres.
    """

    coefficient: float
    exponent: float
    widest_m: float
    kept_width_m: float
    clear_share: float
    clear_m: float

    def sizes(self, height) -> np.ndarray:
        """Height, half the spread, clear stem and half the width across, metres, (4, ...)."""
        h = np.asarray(height, float)
        spread = np.minimum(self.coefficient * h**self.exponent, self.widest_m)
        across = np.minimum(spread, self.kept_width_m)
        clear = np.minimum(self.clear_share * h, self.clear_m)
        return np.stack([h, spread / 2.0, clear, across / 2.0])


def crown_law(species: Species, growth: str = "typical") -> CrownLaw:
    """Give the law by which `spread_at`, `width_at` and `clear_stem_at` go, for what is compiled.

    Examples
    --------
    >>> from screenplan import load_species
    >>> cedar = load_species()["thuja_occidentalis"]
    >>> bool(2.0 * crown_law(cedar).sizes(4.0)[1] == spread_at(cedar, 4.0))
    True
    """
    law = species.width(growth)
    kept = np.inf if species.kept_width_m is None else species.kept_width_m
    return CrownLaw(
        law.coefficient, law.exponent, law.widest_m, kept, species.clear_stem_share,
        species.clear_stem_m,
    )  # fmt: skip


def growth_number(growth: str) -> int:
    """Give the number of a growth among `GROWTHS`."""
    if growth not in GROWTHS:
        raise refuse(f"{growth!r} is not a growth", f"Write one of {', '.join(GROWTHS)}")
    return GROWTHS.index(growth)


def _check(growth: str, curve: str = "smooth") -> None:
    growth_number(growth)
    if curve not in CURVES:
        raise refuse(f"{curve!r} is not a growth curve", f"Write one of {', '.join(CURVES)}")
