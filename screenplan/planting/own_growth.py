"""What plants that were measured on the site say of its growth: a conjugate normal of a log factor.

Symbols: s the site's log factor, θ that of one kind on the site, y what one plant says of θ, v its
variance; σₛ, σₖ, σₚ the spreads between sites, between kinds and between plants of a site
(``between_sites_log_sd``, ``between_kinds_log_sd``, ``within_site_log_sd``).

    prior          s ~ N(0, σₛ²),  θ = s + d,  d ~ N(0, σₖ²): σₖ is 0 for a kind that was measured itself
    own kind       yᵢ ~ N(θ, vᵢ)
    other kinds    of the same type of leaf: yⱼ ~ N(s + b, vⱼ), one b ~ N(0, B²) for all plants of a kind, B the
                   spread between the kinds of that leaf
    y              the log spread at which the kind's typical curve (`scenario`) is as tall at the plant's age
    v = σₚ² + (τ/g)²,  g = (log height − log height of the typical curve) / y

Other kinds come first: each is one observation of s with the variance B² + 1/Σ(1/vⱼ). Then θ has the prior
N(mean of s, variance of s + σₖ²), and

    1/V = 1/prior variance + Σ 1/vᵢ        mean = V (prior mean / prior variance + Σ yᵢ/vᵢ)

A young plant says less. τ is the log spread of its height that is not growth on the site: the height of
the stock where nobody gives it, the years of establishment, the reading of the height. g is the share of a
log factor that shows in the height: near 0 while the stock's height is most of it, near 1 when years
have passed, 0 for a plant that is as tall as its kind gets or is kept clipped. So τ/g falls with age.

The mean moves all three curves as `scenario` does; √(V + σₚ²) in place of √(σₛ² + σₖ² + σₚ²) brings low and
high nearer to the typical one. Widths are held against the law of the width at the measured height,
and shift its coefficient; one spread of them is known, which is shared out between sites and plants as that of
the kind's height is, and widths of other kinds do not count.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from math import exp, log
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from screenplan.contracts import GROWTHS
from screenplan.planting.curves import SHARE_OF_ASYMPTOTE, SHARE_OF_RATE
from screenplan.planting.growth import TYPICAL, establishment_years, height_at
from screenplan.planting.kinds import stops_of
from screenplan.planting.measured import load_kinds, load_measured, stem_log_sd
from screenplan.planting.species_model import OWN, Species

#: A plant says at most that its site grows so many times as fast or slow, on the log scale: four
#: standard deviations of all spreads together.
MOST = 2.0
_GRID = np.linspace(-MOST, MOST, 161)
#: Log spread of the height of stock of which nobody gives the height: half to double in 95 of 100
#: (custom, no source); and that of a height or width that was read from a pole or tape (the same).
STOCK_LOG_SD, READING_LOG_SD = 0.35, 0.05
#: A plant in whose height less than this share of a factor shows says nothing.
LEAST_SHARE = 0.02


class Normal(NamedTuple):
    """A normal distribution of a log factor."""

    mean: float
    variance: float


@dataclass(frozen=True)
class Spreads:
    """Standard deviations of the logarithm of the height of a kind, and of its width.

    Parameters
    ----------
    sites, kinds, plants : float
        Of the height: between sites, between kinds where the curve is of others, between plants of a site.
    others : float
        Between the kinds of its type of leaf; infinite where none was estimated.
    width : float
        Of the width at a height.
    """

    sites: float
    kinds: float
    plants: float
    others: float
    width: float

    @property
    def of_kind(self) -> Normal:
        """What is known of the kind's factor before anything is measured."""
        return Normal(0.0, self.sites**2 + self.kinds**2)

    def left(self, variance: float) -> tuple[float, float, float]:
        """Share the variance that is left of a kind's factor out to sites and kinds, as it was before; and that of plants."""
        of_site = self.sites**2 / self.of_kind.variance
        return (variance * of_site, variance * (1.0 - of_site), self.plants**2)

    @property
    def width_of_kind(self) -> Normal:
        """The same for the width."""
        return Normal(0.0, self.width**2 * self.of_kind.variance / self._whole)

    @property
    def width_plants(self) -> float:
        """Part of the width's spread that is between plants of a site."""
        return self.width * self.plants / self._whole**0.5

    @property
    def _whole(self) -> float:
        return self.of_kind.variance + self.plants**2


def spreads_of(kind: str) -> Spreads:
    """Give the spreads of a kind of the shipped table.

    Examples
    --------
    Junipers were measured, so that their curve is not of other kinds.

    >>> spreads_of("juniperus_virginiana").kinds, spreads_of("juniperus_chinensis").kinds > 0
    (0.0, True)
    """
    measured, known = load_measured(), load_kinds()
    of = measured[kind].figures["height"]
    others = max(
        measured[key].figures["height"]["between_kinds_log_sd"]
        for key, other in known.items()
        if other["leaf"] == known[kind]["leaf"]
    )
    return Spreads(
        of["between_sites_log_sd"], of["between_kinds_log_sd"], of["within_site_log_sd"],
        others or float("inf"), measured[kind].width_log_sd,
    )  # fmt: skip


def posterior(prior: Normal, said: ArrayLike, variances: ArrayLike) -> Normal:
    """Draw a prior towards observations.

    Parameters
    ----------
    prior : Normal
    said, variances : array_like, (n,)
        What each observation says, and its variance; an infinite one says nothing.

    Examples
    --------
    One observation as sure as the prior meets it halfway; none leaves it as it is.

    >>> posterior(Normal(0.0, 1.0), [0.4], [1.0])
    Normal(mean=0.2, variance=0.5)
    >>> posterior(Normal(0.0, 1.0), [], [])
    Normal(mean=0.0, variance=1.0)
    """
    sure = 1.0 / np.asarray(variances, float)
    precision = 1.0 / prior.variance + float(sure.sum())
    pulled = prior.mean / prior.variance + float((sure * np.asarray(said, float)).sum())
    return Normal(pulled / precision, 1.0 / precision)


def site_factor(of: Spreads, others: Iterable[tuple[np.ndarray, np.ndarray]]) -> Normal:
    """Draw the site's factor towards plants of other kinds, and give the prior of the kind.

    Parameters
    ----------
    of : Spreads
        Those of the kind whose factor is asked for.
    others : iterable of (said, variances)
        One entry a kind.
    """
    means, variances = [], []
    for said, each in others:
        sure = 1.0 / np.asarray(each, float)
        if sure.sum() > 0.0:
            means.append(float((sure * said).sum() / sure.sum()))
            variances.append(of.others**2 + 1.0 / float(sure.sum()))
    site = posterior(Normal(0.0, of.sites**2), means, variances)
    return Normal(site.mean, site.variance + of.kinds**2)


def heights_say(
    species: Species, ages, heights, stock_heights, spread_of_plants: float
) -> tuple[np.ndarray, np.ndarray]:
    """Tell what measured heights say of the log factor of their kind.

    Parameters
    ----------
    species : Species
        As it grows without them.
    ages, heights : array_like, (n,)
        Years since planting, and metres.
    stock_heights : array_like, (n,)
        Metres; NaN where nobody gives it.
    spread_of_plants : float
        σₚ.

    Returns
    -------
    said, variances : ndarray, (n,)
        y and v of the module text; v is infinite for a plant that says nothing.
    """
    ages, heights, given = (np.asarray(values, float) for values in (ages, heights, stock_heights))
    start = np.where(np.isnan(given), species.stock_height_m, given)

    def grown(years, start_height, factor=0.0):
        return np.log(height_at(shifted(species, factor), years, stock_height_m=start_height))

    curves = np.array([grown(ages, start, factor) for factor in _GRID])
    usual = grown(ages, start)
    said = np.array(
        [np.interp(log(high), curve, _GRID) for high, curve in zip(heights, curves.T, strict=True)]
    )
    # Near 0 the quotient is the slope of the curve.
    away = np.where(np.abs(said) < _GRID[-1] / 100.0, _GRID[-1] / 100.0, said)
    reached = np.array(
        [np.interp(factor, _GRID, curve) for factor, curve in zip(away, curves.T, strict=True)]
    )
    share = (reached - usual) / away
    stock_sd = np.where(np.isnan(given), STOCK_LOG_SD, READING_LOG_SD)
    of_stock = (
        grown(ages, start * np.exp(stock_sd)) - grown(ages, start * np.exp(-stock_sd))
    ) / 2.0
    # Years of establishment cost half as many years of growth.
    late = establishment_years(species, start) * stem_log_sd(species.leaf) / 2.0
    of_rooting = usual - grown(np.maximum(ages - late, 0.0), start)
    other = of_stock**2 + of_rooting**2 + READING_LOG_SD**2
    with np.errstate(divide="ignore"):
        variances = spread_of_plants**2 + other / share**2
    return said, np.where(share < LEAST_SHARE, np.inf, variances)


def widths_say(
    species: Species, heights, widths, spread_of_plants: float
) -> tuple[np.ndarray, np.ndarray]:
    """Tell what widths say of the log factor of their kind's width.

    A plant says nothing if by the law it would be as wide as its kind gets.

    Returns
    -------
    said, variances : ndarray, (n,)
    """
    law = species.width("typical")
    by_law = law.coefficient * np.asarray(heights, float) ** law.exponent
    said = np.clip(np.log(np.asarray(widths, float) / by_law), -MOST, MOST)
    variance = spread_of_plants**2 + READING_LOG_SD**2
    return said, np.where(by_law >= law.widest_m, np.inf, variance)


@dataclass(frozen=True)
class OwnSpecies(Species):
    """A kind as it grows on this site, by plants that were measured on it.

    Parameters
    ----------
    own_words : str
        What its growth rests on; empty if that is as without them.
    variances : tuple of 3 floats
        Of the log height, as far as the plants leave it open: between sites, between kinds, between plants.
    """

    own_words: str = field(default="", compare=False)
    variances: tuple[float, float, float] = field(default=(0.0, 0.0, 1.0), compare=False)

    @property
    def evidence(self) -> str:
        """What its growth rests on, in words."""
        return self.own_words or super().evidence


def shifted(
    species: Species, factor: float, ratio: float = 1.0, width: tuple[float, float] = (0.0, 1.0)
) -> Species:
    """Give a species as it grows with other factors.

    Parameters
    ----------
    species : Species
    factor : float
        Log factor of the height, shared out to asymptote and rate as `scenario` does.
    ratio : float
        How far low and high growth are from typical, for 1 before; by their logarithms.
    width : (float, float)
        The same two of the width.

    Examples
    --------
    >>> from screenplan import load_species
    >>> spruce = load_species()["picea_pungens"]
    >>> quick = shifted(spruce, 0.2, 0.5)
    >>> [quick.curve(g).asymptote_m > spruce.curve(g).asymptote_m for g in ("low", "typical")]
    [True, True]
    """
    curves = [species.curve(growth) for growth in GROWTHS]
    asymptotes = _moved([law.asymptote_m for law in curves], SHARE_OF_ASYMPTOTE * factor, ratio)
    rates = _moved([law.rate for law in curves], SHARE_OF_RATE * factor, ratio)
    laws = [species.width(growth) for growth in GROWTHS]
    return replace(
        species,
        height_curve=replace(
            species.height_curve, asymptote_m=asymptotes, rate=rates,
            exponent=curves[TYPICAL].exponent, tallest_m=_stops(species, asymptotes),
        ),
        width_law=replace(
            species.width_law,
            coefficient=_moved([law.coefficient for law in laws], *width),
            exponent=laws[TYPICAL].exponent,
            widest_m=tuple(law.widest_m for law in laws),
        ),
    )  # fmt: skip


def _moved(values: list[float], factor: float, ratio: float) -> tuple[float, float, float]:
    middle = values[TYPICAL]
    return tuple(middle * exp(factor) * (value / middle) ** ratio for value in values)


def _stops(species: Species, asymptotes: tuple[float, ...]) -> tuple[float, float, float]:
    """Give where the growth stops: by the rule of shipped kinds, or where a person says so."""
    of = species.height_curve
    since_planting = of.planted_m is not None and of.asymptote_m is not None
    own = [species.curve(growth).asymptote_m for growth in GROWTHS]
    by_rule = stops_of(own, species.mature_height_m, since_planting)
    full = [species.full_height(growth) for growth in GROWTHS]
    if of.tallest_m is None or np.allclose(full, by_rule):
        low, typical, high = stops_of(asymptotes, species.mature_height_m, since_planting)
    else:
        low, typical, high = map(min, asymptotes, of.tallest_m)
    return low, typical, high


def as_own(
    species: Species, words: str, variances: tuple[float, float, float], *parts: str
) -> OwnSpecies:
    """Give a species whose growth rests on own plants.

    Parameters
    ----------
    species : Species
    words : str
        What its growth rests on; empty if that is as before.
    variances : tuple of 3 floats
        As of `OwnSpecies`.
    *parts : str
        Of height and width those whose grade becomes "own".
    """
    told: Mapping[str, str] = species.grades | dict.fromkeys(parts, OWN)
    values = {field.name: getattr(species, field.name) for field in fields(Species)}
    return OwnSpecies(**{**values, "grades": told}, own_words=words, variances=variances)
