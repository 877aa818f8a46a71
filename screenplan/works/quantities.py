"""What to order, dig, haul and pour: amounts unrounded, and rounded as goods are sold."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import QUANTITIES
from screenplan.contracts.tables import table_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.ground.said import said
from screenplan.planting.species import Species
from screenplan.planting.stock import HOLE_PER_BALL
from screenplan.planting.zones import open_ground, subject_of
from screenplan.site.ownership import outline_known
from screenplan.works import water
from screenplan.works.earth import SWELL, nearest_gaps, ring_area, strip_along
from screenplan.works.kinds import Kind, kinds_of

#: Every key that [cost] prices and hours may name, with what it is. In a row of several kinds of
#: plants those of one kind go by the key, a space and the species.
ITEMS = {
    "plant": "Plants",
    "flag": "Flags or paint marks, one a plant",
    "peg": "Pegs for the stake-out",
    "line": "String line between the pegs",
    "clearing": "Strip to clear of grass and weeds",
    "hole": "Holes to dig",
    "hole_width": "Width of each hole",
    "hole_depth": "Depth of each hole",
    "dug": "Earth to dig, as it lies in the ground",
    "spoil": "Earth heaped beside the holes, loosened",
    "backfill": "Earth that goes back into the holes",
    "surplus": "Earth left over, as it lay in the ground",
    "mulch": "Mulch",
    "mulch_again": "Mulch to top up",
    "water_round": "Water each time, all plants",
    "water_daily": "Water in weeks 1 and 2",
    "water_often": "Water in weeks 3 to 12",
    "water_weekly": "Water from week 13 to the end of the first year",
    "water_later": "Water after the first year, until established",
    "fence_roll": "Wire or mesh of the fence",
    "fence_line_post": "Line posts",
    "fence_corner_post": "Corner, end and gate posts",
    "fence_brace": "Brace assemblies",
    "fence_gate": "Gates",
    "fence_staple": "Staples or clips",
    "cage_post": "Posts of the cages",
}
DIG = said(
    "Have buried lines located before any digging; dig by hand within {0.61 m} of a marked line"
)
#: String line is sold on rolls of this length, metres (common practice, no source).
LINE_ROLL_M = 50.0
#: Mulch deeper than this smothers roots (common practice, no source), metres.
DEEPEST_MULCH_M = 0.15
#: Mulch is topped up in so many years.
MULCH_YEARS = 3
_COMMON, _ARITHMETIC = "common practice, no source", "arithmetic"
#: Rounding noise that must not cost another pack.
NOISE = 1e-9


def count_material(
    parcels: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    stakes: gpd.GeoDataFrame | None = None,
    pegs: gpd.GeoDataFrame | None = None,
    base_lines: gpd.GeoDataFrame | None = None,
    fence_options: pd.DataFrame | None = None,
    *,
    losses: float = 0.05,
    hole_factor: float = HOLE_PER_BALL,
    hole_m: float | None = None,
    strip_m: float = 1.0,
    mulch: str = "strip",
    mulch_depth_m: float = 0.075,
    mulch_clear_m: float = 0.1,
    mulch_top_up: float = 1.0 / 3.0,
    ring_m: float = 0.9,
    bag_m3: float = 0.05,
    caliper_m: float | None = None,
    water_every_days: int = 2,
    spacing_m: float = 1.5,
    roll_m: float = 100.0,
    table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Count what the work needs.

    Parameters
    ----------
    parcels, planting_lines, plants : GeoDataFrame
        In the local frame. Plants that stand already need nothing.
    stakes, pegs, base_lines : GeoDataFrame, optional
        The stake-out.
    fence_options : DataFrame, optional
        The chosen row is counted.
    losses : float
        Share of plants ordered beyond those that are set.
    hole_factor : float
        Width of a hole per width of the root ball.
    hole_m : float, optional
        A width that holes have at least, metres.
    strip_m : float
        Width of the strip that is cleared along each row, metres.
    mulch : {"strip", "ring", "none"}
    mulch_depth_m, mulch_clear_m : float
        Depth of the mulch, and how far it is kept off each stem, metres.
    mulch_top_up : float
        Share of the mulch that is topped up each year, for `MULCH_YEARS` years.
    ring_m : float
        Outer diameter of a mulch ring, metres.
    bag_m3 : float
        What a bag of mulch holds, m³.
    caliper_m : float, optional
        Diameter of the stems, metres, if they were measured.
    water_every_days : {2, 3}
        In weeks 3 to 12.
    spacing_m : float
        The asked spacing, metres: cleared strips are broken at wider gaps.
    roll_m : float
        Wire on a roll, metres.
    table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    DataFrame
        Amounts in metres, square and cubic metres and litres; packs as whole numbers.

    Raises
    ------
    InputError
        If a parameter is out of range, or root balls are wider than the plants are apart.
    """
    _check(
        losses=losses, hole_factor=hole_factor, strip=strip_m, mulch=mulch, mulch_depth=mulch_depth_m,
        mulch_clear=mulch_clear_m, mulch_top_up=mulch_top_up, ring=ring_m, mulch_bag=bag_m3,
    )  # fmt: skip
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    if not len(new):
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    kinds = kinds_of(new, table)
    holes = [kind.hole(hole_factor, hole_m) for kind in kinds]
    gaps = nearest_gaps(plants)
    usual = float(np.median(gaps)) if len(gaps) else math.inf
    for kind, hole in zip(kinds, holes, strict=True):
        if hole.ball_m >= usual:
            raise refuse(
                f"the {kind.stock.roots} is {{{hole.ball_m:.2f} m}} wide, and plants stand {{{usual:.2f} m}} "
                "apart",
                "Take smaller stock (plants.stock_height), or a wider spacing",
                key="rows.spacing",
            )
    subject = subject_of(parcels)[0] if outline_known(parcels) else open_ground()
    strip = strip_along(planting_lines, plants, subject, width_m=strip_m, spacing_m=spacing_m)
    rows = [
        *_ordering(kinds, losses),
        *_marking(stakes, pegs, base_lines),
        _done("clearing", "ground", strip.area, "m2",
              f"{{{strip_m:g} m}} wide along the rows and half of it beyond their ends", _ARITHMETIC, DIG),
        *_holes(kinds, holes),
        *_mulching(mulch, strip.area, plants, len(new), mulch_depth_m, mulch_clear_m, mulch_top_up,
                   ring_m, bag_m3),
        *_watering(kinds, caliper_m, water_every_days),
        *_fencing(fence_options, roll_m),
    ]  # fmt: skip
    return with_notes(table_of(QUANTITIES, rows), _doubts(new, kinds, holes, gaps, usual))


def _doubts(new, kinds, holes, gaps, usual: float) -> Iterator[str]:
    if len(gaps):
        balls = np.zeros(len(new))
        for kind, hole in zip(kinds, holes, strict=True):
            balls[kind.rows] = hole.ball_m
        tight = gaps <= balls
        if tight.any():
            names = ", ".join(str(one) for one in new["plant_id"].to_numpy()[tight])
            what = " or ".join(dict.fromkeys(kind.stock.roots for kind in kinds))
            yield (
                f"Plants {names} stand nearer to another than their {what} is wide "
                f"({{{balls[tight].max():.2f} m}}): leave one of each pair out"
            )
    widest = max(hole.width_m for hole in holes)
    if widest > usual:
        yield (
            f"Holes {{{widest:.2f} m}} wide run into each other at {{{usual:.2f} m}}: dig a trench; the "
            "earth counted is then too much"
        )


def _bought(item, part, amount, unit, pack_amount, pack, how, source, caution=None) -> dict:
    return {
        "item": item, "part": part, "name": ITEMS[item], "amount": amount, "unit": unit,
        "pack_amount": pack_amount, "pack": pack, "packs": math.ceil(amount / pack_amount - NOISE),
        "how": how, "source": source, "caution": caution,
    }  # fmt: skip


def _done(item, part, amount, unit, how, source, caution=None) -> dict:
    return {
        "item": item, "part": part, "name": ITEMS[item], "amount": amount, "unit": unit, "how": how,
        "source": source, "caution": caution,
    }  # fmt: skip


def _ordering(kinds: Sequence[Kind], losses: float) -> Iterator[dict]:
    for kind in kinds:
        how = (
            f"{kind.count} plants, {kind.stock.key.replace('_', ' ')}, {{{kind.height_m:g} m}} high, and "
            f"{losses:.0%} for losses"
        )
        yield _bought(
            "plant", "plants", kind.count * (1.0 + losses), "each", 1.0, "plant", how, _COMMON
        ) | {
            "item": f"plant{kind.ending}",
            "name": f"{ITEMS['plant']}: {kind.species.both_names}",
            "species": kind.species.key,
            "plant_name": kind.species.both_names,
            "plants": kind.count,
            "stock": kind.stock.key,
            "stock_height_m": kind.height_m,
        }


def _marking(stakes, pegs, base_lines) -> Iterator[dict]:
    if stakes is not None and len(stakes):
        yield _bought(
            "flag", "stake-out", len(stakes), "each", 1.0, "flag", "one a plant", _ARITHMETIC
        )
    if pegs is not None and len(pegs):
        yield _bought(
            "peg", "stake-out", len(pegs), "each", 1.0, "peg", "ends of the base lines, and corners, "
            "ends and gates of the fence", _ARITHMETIC, DIG,
        )  # fmt: skip
    if base_lines is not None and len(base_lines):
        yield _bought(
            "line", "stake-out", float(base_lines["slope_m"].max()), "m", LINE_ROLL_M, "roll",
            "the longest base line along the ground; it is moved from tape to tape", _COMMON,
        )  # fmt: skip


def _holes(kinds: Sequence[Kind], holes) -> Iterator[dict]:
    pairs = list(zip(kinds, holes, strict=True))
    yield _done(
        "hole", "holes", sum(kind.count for kind in kinds), "each", "one a plant", _ARITHMETIC, DIG
    )
    for kind, hole in pairs:
        of_whom = f" for {kind.species.both_names}" if kind.ending else ""
        wide = (
            f"{hole.factor:g} times the {kind.stock.roots} of {{{hole.ball_m:.2f} m}}; 2 times is common "
            "practice, 3 times the University of Minnesota Extension's (read)"
        )
        deep = f"no deeper than the {kind.stock.roots}"
        read = "ANSI Z60.1 (read, UF/IFAS)" if kind.stock.key == "balled" else _COMMON
        for item, metres, how, source in (
            ("hole_width", hole.width_m, wide, "read and common practice"),
            ("hole_depth", hole.depth_m, deep, read),
        ):
            yield _done(item, "holes", metres, "m", how, source) | {
                "item": item + kind.ending,
                "name": ITEMS[item] + of_whom,
            }
    each = " and ".join(
        f"{kind.count} cylinders of {{{hole.width_m:.2f} m}} by {{{hole.depth_m:.2f} m}}"
        for kind, hole in pairs
    )
    dug = sum(kind.count * hole.dug_m3 for kind, hole in pairs)
    back = sum(kind.count * hole.backfill_m3 for kind, hole in pairs)
    yield _done("dug", "holes", dug, "m3", each, _ARITHMETIC)
    yield _done(
        "spoil", "holes", dug * SWELL, "m3", f"{SWELL:g} times what lay in the ground", _COMMON,
        "Heap it on a sheet, uphill of the hole on a slope",
    )  # fmt: skip
    taken = _listed(f"the {kind.stock.roots}" for kind in kinds if kind.stock.has_soil)
    bare = "bare roots" if any(not kind.stock.has_soil for kind in kinds) else ""
    nothing = f"{bare} take no room" if bare else ""
    yield _done(
        "backfill", "holes", back, "m3",
        "; ".join(filter(None, (f"the holes less {taken} of each" if taken else "all of it", nothing))),
        _ARITHMETIC,
    )  # fmt: skip
    yield _done(
        "surplus", "holes", dug - back, "m3",
        "; ".join(filter(None, (f"as much as {taken} of each" if taken else "none", nothing))),
        _ARITHMETIC,
    )  # fmt: skip


def _listed(words) -> str:
    return " or ".join(dict.fromkeys(words))


def _mulching(kind, strip_area, plants, count, depth, clear, top_up, ring, bag) -> Iterator[dict]:
    if kind == "none" or depth == 0:
        return
    if kind == "strip":
        area = max(strip_area - count * math.pi * clear**2, 0.0)
        where = "the cleared strip"
    else:
        area = ring_area(plants, ring_m=ring, clear_m=clear)
        where = f"rings {{{ring:g} m}} wide"
    yield _bought(
        "mulch", "mulch", area * depth, "m3", bag, "bag",
        f"{where}, {{{area:.1f} m²}}, {{{depth * 100:g} cm}} deep, kept {{{clear * 100:g} cm}} off each stem",
        _ARITHMETIC, "Never heap mulch against a stem",
    )  # fmt: skip
    again = top_up * area * depth
    if again > 0.0:
        # Each year's bags are bought in that year, so each time is rounded up.
        yield _bought(
            "mulch_again", "mulch", MULCH_YEARS * again, "m3", bag, "bag",
            f"{MULCH_YEARS} times, once a year, {{{again:.2f} m³}} each: {top_up:.0%} of it has rotted",
            _COMMON,
        ) | {"packs": MULCH_YEARS * math.ceil(again / bag - NOISE)}  # fmt: skip


def _watering(kinds: Sequence[Kind], caliper, every) -> Iterator[dict]:
    litres = [water.litres_each_time(kind.stock.key, kind.height_m, caliper) for kind in kinds]
    told = dict.fromkeys(
        f"{{{each:.1f} l}} a plant: {_water_rule(kind, caliper)}"
        for each, kind in zip(litres, kinds, strict=True)
    )
    yield _done(
        "water_round", "water", sum(each * kind.count for each, kind in zip(litres, kinds, strict=True)),
        "l", "; ".join(told), water.SOURCE,
        "Feel the soil first: none is needed while it is moist or frozen, or after an inch of rain",
    )  # fmt: skip
    stages: dict[str, tuple[water.Stage, float]] = {}
    for each, kind in zip(litres, kinds, strict=True):
        for stage in water.water_stages(kind.stock.key, caliper, often_every_days=every):
            longest, amount = stages.get(stage.key, (stage, 0.0))
            longest = max(stage, longest, key=lambda one: one.times)
            stages[stage.key] = (longest, amount + each * kind.count * stage.times)
    for key, (stage, amount) in stages.items():
        pace = f"every {stage.every_days} days" if stage.every_days > 1 else "daily"
        yield _done(
            key, "water", amount, "l",
            f"at most: {stage.times} times, {pace}, if no rain falls and the soil never freezes",
            water.SOURCE,
        )  # fmt: skip


def _water_rule(kind: Kind, caliper) -> str:
    if caliper is not None:
        low, high = water.GALLONS_PER_INCH
        return f"{high:g} gal per inch of caliper ({low:g} to {high:g} published)"
    if not kind.stock.has_soil:
        return "an inch of water over the spread of the roots (as much rain saves a watering)"
    return f"a third of the {kind.stock.roots}'s volume (a quarter to a third published, for containers)"


def _fencing(options, roll_m) -> Iterator[dict]:
    if options is None or not options["chosen"].any():
        return
    one = options.loc[options["chosen"].to_numpy(bool)].iloc[0]
    cages = one["scheme"] == "cages"
    how = f"{one['scheme'].replace('_', ' ')}, {{{one['height_m']:.2f} m}} high"
    yield _bought(
        "fence_roll", "fence", float(one["wire_m"]), "m", roll_m, "roll", f"{how}; gates left out",
        _ARITHMETIC,
    )  # fmt: skip
    source = _COMMON if cages else "spacing of posts: NRCS 382 state specifications (read)"
    for item, amount, pack, why, caution in (
        ("cage_post" if cages else "fence_line_post", one["line_posts"], "post", source, DIG),
        ("fence_corner_post", one["corner_posts"] + one["gate_posts"], "post", source, None),
        ("fence_brace", one["braces"], "assembly", "every 330 ft: NRCS 382 (read); at corners: " + _COMMON, None),
        ("fence_gate", one["gates"], "gate", "the plan", None),
        ("fence_staple", one["staples"], "staple", _COMMON, None),
    ):  # fmt: skip
        if amount:
            yield _bought(item, "fence", int(amount), "each", 1.0, pack, how, why, caution)


def _check(*, mulch: str, **numbers: float) -> None:
    """Refuse what is out of its range; ``numbers`` go by the plan's keys."""
    if mulch not in ("strip", "ring", "none"):
        raise refuse(
            f"'{mulch}' is no way to mulch", "Write strip, ring or none", key="works.mulch"
        )
    for key, (low, high, unit) in _RANGES.items():
        value = numbers[key]
        if not (math.isfinite(value) and low <= value <= high):
            raise refuse(
                f"{value:g}{unit} is out of range",
                f"Give {low:g} to {high:g}{unit}",
                key=f"works.{key}",
            )
    ring, clear = numbers["ring"], numbers["mulch_clear"]
    if mulch == "ring" and ring <= 2.0 * clear:
        raise refuse(
            f"a mulch ring {{{ring:g} m}} wide leaves no mulch {{{clear:g} m}} off the stem",
            "Give a wider ring or a smaller works.mulch_clear",
            key="works.ring",
        )


_RANGES = {
    "losses": (0.0, 1.0, ""),
    "hole_factor": (1.0, 5.0, ""),
    "strip": (0.1, 10.0, " m"),
    "mulch_depth": (0.0, DEEPEST_MULCH_M, " m"),
    "mulch_clear": (0.0, 0.5, " m"),
    "mulch_top_up": (0.0, 1.0, ""),
    "ring": (0.2, 5.0, " m"),
    "mulch_bag": (0.001, 2.0, " m³"),
}
