"""Height, spread and clear stem of a plant by year.

Symbols: h height, H mature height, g yearly growth of a young rooted plant, t years since planting,
e years of establishment, τ effective years of growth, h₀ height when planted.

Smooth curve: dh/dτ = g (1 − (h/H)²), solved by h = H tanh(g τ / H + artanh(h₀ / H)).
It starts at the rate g and slows down towards H. Straight curve: h = min(h₀ + g τ, H).

Establishment: growth rises evenly from nothing to its full rate over e years, so
τ = t²/(2e) for t < e, and t − e/2 after.

Growth "low", "typical", "high" takes the low, mean and high mature sizes and the low, typical and
high rate. A clipped hedge (shape "box" with a kept height) stops at that height, and its spread along
the row stays at that of a plant of that height. A plant never shrinks: one that is planted taller than the mature height of its growth
class keeps its height. Height rises with t and with the growth class in every case, since dh/dτ
does not fall when g or H rise.
"""

from __future__ import annotations

import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.ground.errors import refuse
from screenplan.planting.species import Species

TYPICAL = GROWTHS.index("typical")
CURVES = ("smooth", "straight")


def effective_years(years, establishment_years: float) -> np.ndarray:
    """Years of full growth that ``years`` since planting are worth (τ of the module text).

    Examples
    --------
    Two years of establishment are worth one.

    >>> effective_years([1.0, 2.0, 4.0], 2.0).tolist()
    [0.25, 1.0, 3.0]
    """
    t = np.asarray(years, float)
    e = float(establishment_years)
    if e <= 0:
        return t
    return np.where(t < e, t**2 / (2.0 * e), t - e / 2.0)


def height_at(
    species: Species,
    years,
    *,
    growth: str = "typical",
    stock_height_m=None,
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
    curve : {"smooth", "straight"}
    established : bool
        True for a plant that stands and is rooted: no establishment period.

    Returns
    -------
    ndarray
        Metres.

    Examples
    --------
    A slow plant, 0.225 m a year once rooted, set at 1 m: six years are worth five.

    >>> from screenplan import load_species
    >>> cedar = load_species()["thuja_occidentalis"]
    >>> float(height_at(cedar, 6, stock_height_m=1.0, curve="straight").round(3))
    2.125
    """
    _check(growth, curve)
    t = np.asarray(years, float)
    if np.any(~(t >= 0)):
        raise refuse("a year lies before planting", "Give years of 0 or more")
    h0 = np.asarray(species.stock_height_m if stock_height_m is None else stock_height_m, float)
    if np.any(~(h0 > 0)):
        raise refuse("a plant has no height when planted", "Give a stock height above 0")
    tau = effective_years(t, 0.0 if established else species.establishment_years)
    g, H = species.yearly_growth(growth), species.full_height(growth)
    h0, tau = np.broadcast_arrays(h0, tau)
    if curve == "straight":
        grown = np.maximum(np.minimum(h0 + g * tau, H), h0)
    else:
        full = h0 >= H
        start = np.arctanh(np.where(full, 0.0, h0 / H))
        # tanh(artanh(x)) may lose the last bit: never below the height when planted.
        grown = np.where(full, h0, np.maximum(H * np.tanh(g * tau / H + start), h0))
    if species.kept_height_m is not None:
        grown = np.minimum(grown, species.kept_height_m)
    return grown


def spread_at(species: Species, height, growth: str = "typical") -> np.ndarray:
    """Diameter of the crown of a plant of that height, metres.

    It is a fixed share of the height up to the mature spread of the growth class; from then on the
    plant grows only taller.

    Examples
    --------
    >>> from screenplan import load_species
    >>> cedar = load_species()["thuja_occidentalis"]
    >>> cedar.spread_share, spread_at(cedar, [2.0, 4.0]).round(2).tolist()
    (0.35, [0.7, 1.4])
    """
    _check(growth)
    return np.minimum(species.spread_share * np.asarray(height, float), species.full_spread(growth))


def width_at(species: Species, height, growth: str = "typical") -> np.ndarray:
    """Width of the crown across its row, metres: the spread, or what a clipped hedge is kept at."""
    spread = spread_at(species, height, growth)
    return spread if species.kept_width_m is None else np.minimum(spread, species.kept_width_m)


def clear_stem_at(species: Species, height) -> np.ndarray:
    """Height of the lowest leaves, metres: a share of the height up to the species' clear stem."""
    return np.minimum(species.clear_stem_share * np.asarray(height, float), species.clear_stem_m)


def growth_number(growth: str) -> int:
    """Give the number of a growth among `GROWTHS`."""
    if growth not in GROWTHS:
        raise refuse(f"{growth!r} is not a growth", f"Write one of {', '.join(GROWTHS)}")
    return GROWTHS.index(growth)


def _check(growth: str, curve: str = "smooth") -> None:
    growth_number(growth)
    if curve not in CURVES:
        raise refuse(f"{curve!r} is not a growth curve", f"Write one of {', '.join(CURVES)}")
