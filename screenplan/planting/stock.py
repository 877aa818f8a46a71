"""Kinds of planting stock, and the width of the hole that each needs.

Holes are two to three times as wide as the root ball (2 common practice, 3 University of Minnesota
Extension, read); `HOLE_PER_BALL` takes the middle. Balls by height of cone-shaped conifers are from
memory, unverified; sizes of plugs, bare roots and containers are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.ground.errors import refuse
from screenplan.ground.said import FOOT_M, INCH_M
from screenplan.plan.planting import Plants
from screenplan.plan.site import Setbacks
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import Limit, PlantingSeason
from screenplan.rules.limits import load_limits

HOLE_PER_BALL = 2.5
#: Depth of roots per width, where no standard says it (common practice, no source).
DEPTH_PER_WIDTH = {"plug": 2.0, "bare_root": 0.75, "container": 1.0}


@dataclass(frozen=True)
class Stock:
    """One kind of stock.

    Parameters
    ----------
    key, meaning : str
    heights_m, balls_m : tuple of float
        Width of root ball (or root spread) by plant height, metres; between them a straight line,
        beyond the last in proportion to the height.
    roots : str
        What people call that which goes into the hole.
    has_soil : bool
        Whether the roots bring soil of their own, which takes the room of earth that was dug.
    """

    key: str
    meaning: str
    heights_m: tuple[float, ...]
    balls_m: tuple[float, ...]
    roots: str = "root ball"
    has_soil: bool = True


STOCKS = {
    stock.key: stock
    for stock in (
        Stock("plug", "Seedling with its roots in a small plug", (0.15, 0.5), (0.05, 0.08), "plug"),
        Stock(
            "bare_root", "Dug without soil, in its rest", (0.3, 1.2), (0.20, 0.40),
            "spread of the roots", has_soil=False,
        ),
        Stock("container", "Grown in a pot", (0.3, 0.9, 1.8), (0.16, 0.28, 0.45), "pot"),
        Stock(
            "balled",
            "Dug with its soil and wrapped",
            tuple(feet * FOOT_M for feet in (2, 3, 4, 5, 6, 7, 8, 10)),
            tuple(inch * INCH_M for inch in (12, 14, 16, 20, 22, 24, 27, 34)),
        ),
    )
}  # fmt: skip


def stock_of(stock: str) -> Stock:
    """Find a kind of stock.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    if stock in STOCKS:
        return STOCKS[stock]
    raise refuse(
        f"there is no kind of stock '{stock}'",
        f"Write one of {', '.join(STOCKS)}",
        key=Plants.key("stock"),
    )


def season_of(
    limits: Mapping[str, Limit] | None, stock: str, *, evergreen: bool
) -> PlantingSeason | None:
    """Find the months in which stock of that kind is set.

    Parameters
    ----------
    limits : mapping, optional
        By default the shipped ones.
    stock : str
    evergreen : bool

    Returns
    -------
    PlantingSeason or None
        The last that was added; None if all are switched off.
    """
    limits = load_limits() if limits is None else limits
    roots = "with_soil" if stock_of(stock).has_soil else "bare"
    leaves = "evergreen" if evergreen else "deciduous"
    fits = [
        limit
        for limit in limits.values()
        if isinstance(limit, PlantingSeason) and (limit.roots, limit.leaves) == (roots, leaves)
    ]
    return fits[-1] if fits else None


def ball_width(stock: str, stock_height_m: float) -> float:
    """Width of the root ball (or root spread) of stock of that kind and height, metres."""
    kind = stock_of(stock)
    if not stock_height_m > 0:
        raise refuse(
            "the stock has no height", "Give a stock height above 0", key=Plants.key("stock_height")
        )
    ball = float(np.interp(stock_height_m, kind.heights_m, kind.balls_m))
    return ball * max(1.0, stock_height_m / kind.heights_m[-1])


def ball_depth(stock: str, stock_height_m: float) -> float:
    """Depth of the root ball of stock of that kind and height, metres.

    Balled stock by ANSI Z60.1 (read, UF/IFAS): 75 % of the width below 20 in, 66 % from 20 to 30 in,
    60 % above. Pots are taken as deep as they are wide, bare roots three quarters as deep, plugs twice
    as deep (common practice, no source).
    """
    width = ball_width(stock, stock_height_m)
    if stock == "balled":
        inches = width / INCH_M
        return width * (0.75 if inches < 20 else 0.66 if inches <= 30 else 0.60)
    return width * DEPTH_PER_WIDTH[stock]


def planted_height(species: Species, stock_height_m: float | None = None) -> float:
    """Give the height of a species' stock when planted, metres; by default the species table's.

    Raises
    ------
    InputError
        If nothing is that high, or the species never grows so tall.
    """
    height = species.stock_height_m if stock_height_m is None else stock_height_m
    if not 0 < height <= HIGHEST_PLANT_M:
        raise refuse(
            f"the stock is {{{height} m}} high",
            f"Give a height above {{0 m}} and up to {{{HIGHEST_PLANT_M:g} m}}",
            key=Plants.key("stock_height"),
        )
    most = species.final_height("high")
    if height > most:
        grows = "never grows" if most == species.full_height("high") else "is not kept"
        raise refuse(
            f"the stock is {{{height:g} m}} high, but {species.called} {grows} above {{{most:g} m}}",
            "Give a smaller stock height, or another species",
            key=Plants.key("stock_height"),
        )
    return height


def hole_width(
    stock: str,
    stock_height_m: float,
    *,
    factor: float = HOLE_PER_BALL,
    at_least_m: float | None = None,
) -> float:
    """Width of the planting hole for stock of that kind and height, metres.

    Parameters
    ----------
    stock : str
        One of `STOCKS`.
    stock_height_m : float
        Height when planted, metres.
    factor : float
        Width of the hole per width of the root ball.
    at_least_m : float, optional
        A width that is dug even where the ball asks for less, metres.

    Examples
    --------
    A pot 0.28 m wide asks for 2.5 times as much; a machine that digs 0.9 m digs 0.9 m.

    >>> round(hole_width("container", 0.9), 3), hole_width("container", 0.9, at_least_m=0.9)
    (0.7, 0.9)
    """
    if at_least_m is not None and not (math.isfinite(at_least_m) and at_least_m >= 0):
        raise refuse(
            f"a hole of {{{at_least_m} m}} cannot be dug",
            "Give a length of {0 m} or more",
            key=Setbacks.key("hole"),
        )
    return max(factor * ball_width(stock, stock_height_m), at_least_m or 0.0)
