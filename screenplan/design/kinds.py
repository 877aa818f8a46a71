"""The kinds of plants to choose among: species with a spacing and a size, each with its price."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from screenplan.ground.errors import refuse
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.hedges import ENDING
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.mixes import kinds_in
from screenplan.planting.patterns import EQUILATERAL
from screenplan.planting.species import load_species, species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Start, sizes_of
from screenplan.planting.stock import planted_height
from screenplan.works.cost import plant_price

#: Without a word in the plan the usual spacing of a species, and this share of it, are tried.
CLOSER_SHARE = 0.7
#: No closer than this without a word in the plan, metres (common practice, no source).
CLOSEST_M = 0.4
#: Zones in all of which a kind is hardy that is chosen where nobody knows the site's: what stands the winters of the
#: first stands those of every milder one (custom, no source).
UNKNOWN_ZONES = (5, 7)
#: Most species of the short list.
MOST_LISTED = 5


@dataclass(frozen=True)
class Option:
    """Plants of one species, size and spacing, in one row or in two.

    Parameters
    ----------
    species : Species
    stock : str
    height_m : float
        When planted, metres.
    spacing_m : float
        Between plants of one row, metres.
    price : float
        Of one plant; without prices its weight.
    row_m : float
        Distance of a second, staggered row from the first, metres; 0 for one row.
    """

    species: Species
    stock: str
    height_m: float
    spacing_m: float
    price: float
    row_m: float = 0.0

    @property
    def half_m(self) -> float:
        """Half the width that it has in the end, high growth, metres."""
        return self.species.final_width("high") / 2.0


@dataclass(frozen=True)
class Offer:
    """All options, and what must be said of them.

    Parameters
    ----------
    options : tuple of Option
    priced : bool
        Whether the prices are money; else plants are weighted by the square of their height.
    notes : tuple of str
    """

    options: tuple[Option, ...]
    priced: bool
    notes: tuple[str, ...]


def budget_of(plan: Options) -> float | None:
    """Give the most that the plants may cost; None if nobody says."""
    return plan.hand.budget if plan.design.budget is None else plan.design.budget


def list_options(plan: Options, species_table: Mapping[str, Species] | None, year: int) -> Offer:
    """List species, sizes and spacings to choose among, with prices.

    What the plan names in [plants] and [rows] is kept to.

    Raises
    ------
    InputError
        If a species is not known, no size can be had, or a budget has no prices to count by.
    """
    species_table = load_species() if species_table is None else species_table
    notes: list[str] = []
    kept: list[str] = []
    found: list[tuple[Species, float, float, float]] = []
    for kind in _kinds(plan, species_table, year):
        for height in _heights(plan, kind):
            if height > kind.final_height("high"):
                continue
            found += [
                (kind, height, spacing, row_m)
                for spacing in _spacings(plan, kind)
                for row_m in _row_distances(plan, spacing)
            ]
        if kind.kept_height_m is not None:
            kept.append(kind.called)
    if kept:
        notes.append(
            f"{', '.join(kept)}: kept by clipping each year, which is no part of the price of a plant"
        )
    if not found:
        raise refuse(
            "no species can be had in any of the stock heights",
            "Give smaller heights in design.stock_heights, or other species in design.kinds",
            key=plan.design.key("stock_heights"),
        )
    stock = plan.plants.stock
    prices = [plant_price(plan, kind.key, stock, height) for kind, height, *_ in found]
    priced = any(price is not None for price in prices)
    lacking = list(
        dict.fromkeys(
            f"{kind.called} {{{height:g} m}}"
            for (kind, height, *_), price in zip(found, prices, strict=True)
            if price is None
        )
    )
    if priced and lacking:
        notes.append(f"no price is given for {', '.join(lacking)}: the design leaves them out")
    if not priced:
        if budget_of(plan) is not None:
            raise refuse(
                f"a budget is given, but no price of {', '.join(lacking)}",
                "Give cost.prices or hand.prices",
                key=(plan.hand if plan.design.budget is None else plan.design).key("budget"),
            )
        notes.append(
            "no prices of plants are given: the design counts each plant by the square of its height "
            "in metres (how prices rise with size is from memory, unverified)"
        )
        prices = [height**2 for _, height, *_ in found]
    options = tuple(
        Option(kind, stock, height, spacing, float(price), row_m)
        for (kind, height, spacing, row_m), price in zip(found, prices, strict=True)
        if price is not None
    )
    return Offer(without_dominated(options, year), priced, tuple(map(said, notes)))


def hedge_hint(plan: Options) -> str | None:
    """Say that clipped hedges may be chosen among too; None where they are, or where the plan names its kinds."""
    named = plan.design.kinds or "species" in plan.plants.model_fields_set
    if named or plan.design.hedge_height is not None:
        return None
    return said(
        'clipped hedges are not among the kinds: design.hedge_height = "2 m" adds them. They take less room, and must be '
        "clipped each year"
    )


def narrower_option(
    plan: Options, offer: Offer, species_table: Mapping[str, Species] | None, year: int
) -> Option | None:
    """Give an option of the narrowest kind that a design would list by itself; None if none offered is wider."""
    species_table = load_species() if species_table is None else species_table
    listed = short_list(species_table, year, zone=plan.health.zone, stock=plan.plants.stock)
    half = min(option.half_m for option in offer.options)
    kind = min(listed, key=lambda one: one.final_width("high"))
    if kind.final_width("high") / 2.0 >= half:
        return None
    return Option(kind, plan.plants.stock, planted_height(kind), kind.usual_spacing_m, 0.0)


def without_dominated(options: Sequence[Option], year: int) -> tuple[Option, ...]:
    """Leave out sizes that are never worth their price.

    A size is left out if a plant of the same species, spacing and rows costs no more and is in no year smaller: it
    stands on the same ground and, of a crown that holds its own of the year before, stops each ray that the other stops.
    """
    years = sorted({year, *(year + more for more in (1, 2, 3, 5, 10, 20)), MATURE_YEAR})
    kept: list[Option] = []
    for number, one in enumerate(options):
        others = (
            other
            for at, other in enumerate(options)
            if at != number
            and (other.species.key, other.spacing_m, other.row_m)
            == (one.species.key, one.spacing_m, one.row_m)
            and (other.price, -other.height_m) < (one.price, -one.height_m)
        )
        if not (_is_nested(one.species) and any(_as_large(other, one, years) for other in others)):
            kept.append(one)
    return tuple(kept)


def _is_nested(species: Species) -> bool:
    """Tell whether a taller crown of a species holds a smaller one."""
    bare = species.has_clear_stem
    return not bare and species.crown("typical").widest in (0.0, None)


def _as_large(other: Option, one: Option, years: Sequence[int]) -> bool:
    starts = [Start(each.species, each.height_m, False, each.stock) for each in (other, one)]
    sizes = sizes_of(starts, years)[:3, :, TYPICAL]
    return bool((sizes[:, 0] >= sizes[:, 1] - 1e-9).all())


def _kinds(plan: Options, species_table: Mapping[str, Species], year: int) -> tuple[Species, ...]:
    asked, zone = plan.design.kinds, plan.health.zone
    if asked:
        where = plan.design.key("kinds")
        return tuple(dict.fromkeys(species_of(one, species_table, key=where) for one in asked))
    if "species" in plan.plants.model_fields_set:
        return tuple(dict.fromkeys(kinds_in(plan.plants.species, species_table)))
    coldest, mildest = UNKNOWN_ZONES if zone is None else (zone, zone)
    listed = {
        key: kind
        for key, kind in species_table.items()
        if not key.endswith(ENDING) or (kind.hardy_in(coldest) and kind.hardy_in(mildest))
    }
    return short_list(listed, year, zone=zone, stock=plan.plants.stock)


def short_list(
    species_table: Mapping[str, Species],
    year: int,
    *,
    zone: int | None = None,
    stock: str = "container",
) -> tuple[Species, ...]:
    """List the species of which none else makes more screen in as little room.

    The screen of a species is that of one plant of a row in its usual spacing, at typical growth in the
    year: its height, times the share of the spacing that its crown spans. The room is the width that
    it has in the end, high growth, by which it keeps off the boundary. Evergreens that are hardy
    in the site's zone are looked at. If that is not known, those that are in cold and mild ones, `UNKNOWN_ZONES`, and
    the plan's own clipped hedges.

    Examples
    --------
    >>> [kind.key for kind in short_list(load_species(), 10)]
    ['thuja_smaragd', 'thuja_occidentalis', 'calocedrus_decurrens', 'pinus_thunbergii', 'pinus_strobus']
    """
    coldest, mildest = UNKNOWN_ZONES if zone is None else (zone, zone)
    hardy = [
        kind
        for kind in species_table.values()
        if kind.evergreen
        and (
            kind.hardiness_zones is None
            or (kind.hardiness_zones[0] <= coldest and mildest <= kind.hardiness_zones[1])
            or (zone is None and kind.kept_width_m is not None)
        )
    ]
    if not hardy:
        return tuple(kind for kind in species_table.values() if kind.evergreen)
    starts = [Start(kind, planted_height(kind), False, stock) for kind in hardy]
    height, spread = sizes_of(starts, [year])[:2, :, TYPICAL, 0]
    spacing = np.array([kind.usual_spacing_m for kind in hardy])
    screen = height * np.minimum(spread / spacing, 1.0)
    room = np.array([kind.final_width("high") for kind in hardy])
    best, chosen = 0.0, []
    # Of hedges that are kept at one size that first of which fewest are needed.
    for k in np.lexsort((-spacing, -screen, room)):
        if screen[k] > best:
            best = screen[k]
            chosen.append(k)
    while len(chosen) > MOST_LISTED:
        # The one that adds least to the screen of the next narrower goes.
        gains = np.diff(screen[chosen])
        del chosen[int(np.argmin(gains[:-1])) + 1]
    return tuple(hardy[k] for k in chosen)


def _heights(plan: Options, kind: Species) -> tuple[float, ...]:
    if plan.design.stock_heights:
        return plan.design.stock_heights
    if plan.plants.stock_height is not None:
        return (plan.plants.stock_height,)
    return tuple(plan.hand.price_by_height) or (planted_height(kind),)


def _spacings(plan: Options, kind: Species) -> tuple[float, ...]:
    if plan.design.spacings:
        return plan.design.spacings
    if plan.rows.spacing is not None:
        return (plan.rows.spacing,)
    usual = kind.usual_spacing_m
    closer = max(round(CLOSER_SHARE * usual, 2), CLOSEST_M)
    return (usual, closer) if closer < usual else (usual,)


def _row_distances(plan: Options, spacing_m: float) -> tuple[float, ...]:
    """Give the distances between two rows that are tried, 0 for one row; what the plan says of its rows is kept to."""
    apart = plan.rows.row_distance
    apart = EQUILATERAL * spacing_m if apart is None else apart
    if plan.rows.rows > 1:
        return (apart,)
    return (0.0, apart) if plan.design.two_rows else (0.0,)
