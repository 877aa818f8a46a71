"""What to order, dig, haul and pour: amounts unrounded, and rounded as goods are sold."""

from __future__ import annotations

import math
from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import QUANTITIES
from screenplan.errors import refuse
from screenplan.planting.stock import HOLE_PER_BALL, ball_depth, ball_width, hole_width
from screenplan.tables import table_of, with_notes
from screenplan.works import water
from screenplan.works.earth import SWELL, Hole, nearest_gaps, ring_area, strip_along

#: Every key that [cost] prices and hours may name, with what it is.
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
    "backfill": "Earth that goes back round the root balls",
    "surplus": "Earth left over, as it lay in the ground",
    "mulch": "Mulch",
    "water_round": "Water each time, all plants",
    "water_daily": "Water in weeks 1 and 2",
    "water_often": "Water in weeks 3 to 12",
    "water_weekly": "Water from week 13 until established",
    "water_first_year": "Water in the first year",
    "fence_roll": "Wire or mesh of the fence",
    "fence_line_post": "Line posts",
    "fence_corner_post": "Corner, end and gate posts",
    "fence_brace": "Brace assemblies",
    "fence_gate": "Gates",
    "fence_staple": "Staples or clips",
    "cage_post": "Posts of the cages",
}
DIG = "Have buried lines located before any digging; dig by hand within 0.6 m (24 in) of a marked line"
#: String line is sold on rolls of this length, metres (common practice, no source).
LINE_ROLL_M = 50.0
#: Mulch deeper than this smothers roots (common practice, no source), metres.
DEEPEST_MULCH_M = 0.15
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
    ring_m: float = 0.9,
    bag_m3: float = 0.05,
    caliper_m: float | None = None,
    water_every_days: int = 2,
    spacing_m: float = 1.5,
    roll_m: float = 100.0,
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

    Returns
    -------
    DataFrame
        Amounts in metres, square and cubic metres and litres; packs as whole numbers.

    Raises
    ------
    InputError
        If a parameter is out of range, or root balls are wider than the plants are apart.
    """
    _check(losses, hole_factor, strip_m, mulch, mulch_depth_m, mulch_clear_m, ring_m, bag_m3)
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    if not len(new):
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    stock, height = str(new["stock"].iloc[0]), float(new["stock_height_m"].iloc[0])
    ball = ball_width(stock, height)
    width = hole_width(stock, height, factor=hole_factor, at_least_m=hole_m)
    hole = Hole(ball, ball_depth(stock, height), width / ball)
    gaps = nearest_gaps(plants)
    usual = float(np.median(gaps)) if len(gaps) else math.inf
    if hole.ball_m >= usual:
        raise refuse(
            f"the root balls are {hole.ball_m:.2f} m wide, and plants stand {usual:.2f} m apart",
            "Take smaller stock (plants.stock_height), or a wider spacing",
            key="rows.spacing",
        )
    subject = parcels.geometry[parcels["is_subject"].to_numpy(bool)].iloc[0]
    strip = strip_along(planting_lines, plants, subject, width_m=strip_m, spacing_m=spacing_m)
    count = len(new)
    rows = [
        _bought("plant", "plants", count * (1.0 + losses), "each", 1.0, "plant",
                f"{count} plants, {stock.replace('_', ' ')}, {height:g} m high, and {losses:.0%} for losses",
                _COMMON),
        *_marking(stakes, pegs, base_lines),
        _done("clearing", "ground", strip.area, "m2",
              f"{strip_m:g} m wide along the rows and half of it beyond their ends", _ARITHMETIC, DIG),
        *_holes(hole, count, stock),
        *_mulching(mulch, strip.area, plants, count, mulch_depth_m, mulch_clear_m, ring_m, bag_m3),
        *_watering(stock, height, caliper_m, water_every_days, count),
        *_fencing(fence_options, roll_m),
    ]  # fmt: skip
    notes = []
    tight = new["plant_id"].to_numpy()[gaps <= hole.ball_m] if len(gaps) else []
    if len(tight):
        notes.append(
            f"Plants {', '.join(str(one) for one in tight)} stand nearer to another than their root "
            f"balls are wide ({hole.ball_m:.2f} m): leave one of each pair out"
        )
    if hole.width_m > usual:
        notes.append(
            f"Holes {hole.width_m:.2f} m wide run into each other at {usual:.2f} m: dig a trench; the "
            "earth counted is then too much"
        )
    return with_notes(table_of(QUANTITIES, rows), notes)


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


def _holes(hole: Hole, count: int, stock: str) -> Iterator[dict]:
    wide = (
        f"{hole.factor:g} times the root ball of {hole.ball_m:.2f} m; 2 times is common practice, 3 "
        "times the University of Minnesota Extension's (read)"
    )
    deep = "no deeper than the root ball"
    yield _done("hole", "holes", count, "each", "one a plant", _ARITHMETIC, DIG)
    yield _done("hole_width", "holes", hole.width_m, "m", wide, "read and common practice", DIG)
    yield _done(
        "hole_depth", "holes", hole.depth_m, "m", deep,
        "ANSI Z60.1 (read, UF/IFAS)" if stock == "balled" else _COMMON, DIG,
    )  # fmt: skip
    each = f"{count} cylinders of {hole.width_m:.2f} m by {hole.depth_m:.2f} m"
    yield _done("dug", "holes", count * hole.dug_m3, "m3", each, _ARITHMETIC, DIG)
    yield _done(
        "spoil", "holes", count * hole.dug_m3 * SWELL, "m3",
        f"{SWELL:g} times what lay in the ground", _COMMON,
        "Heap it on a sheet, uphill of the hole on a slope",
    )  # fmt: skip
    yield _done(
        "backfill",
        "holes",
        count * hole.backfill_m3,
        "m3",
        "the holes less the root balls",
        _ARITHMETIC,
    )
    yield _done(
        "surplus", "holes", count * hole.ball_m3, "m3", "as much as the root balls", _ARITHMETIC
    )


def _mulching(kind, strip_area, plants, count, depth, clear, ring, bag) -> Iterator[dict]:
    if kind == "none" or depth == 0:
        return
    if kind == "strip":
        area = max(strip_area - count * math.pi * clear**2, 0.0)
        where = "the cleared strip"
    else:
        area = ring_area(plants, ring_m=ring, clear_m=clear)
        where = f"rings {ring:g} m wide"
    yield _bought(
        "mulch", "mulch", area * depth, "m3", bag, "bag",
        f"{where}, {area:.1f} m², {depth * 100:g} cm deep, kept {clear * 100:g} cm off each stem",
        _ARITHMETIC, "Never heap mulch against a stem",
    )  # fmt: skip


def _watering(stock, height, caliper, every, count) -> Iterator[dict]:
    each = water.litres_each_time(stock, height, caliper)
    low, high = water.GALLONS_PER_INCH if caliper is not None else water.SHARE_OF_BALL
    rule = (
        f"{high:g} gal per inch of caliper ({low:g} to {high:g} published)"
        if caliper is not None
        else f"a third of the {'container' if stock == 'container' else 'root ball'}'s volume (a quarter to "
        "a third published, for containers)"
    )
    yield _done(
        "water_round", "water", count * each, "l", f"{each:.1f} l a plant: {rule}", water.SOURCE,
        "Feel the soil first: none is needed while it is moist or frozen, or after an inch of rain",
    )  # fmt: skip
    first_year = 0
    for stage in water.water_stages(stock, caliper, often_every_days=every):
        yield _done(
            stage.key, "water", count * each * stage.times, "l",
            f"{stage.times} times, every {stage.every_days} days" if stage.every_days > 1
            else f"{stage.times} times, daily", water.SOURCE,
        )  # fmt: skip
        days = range(stage.first_day, stage.last_day + 1, stage.every_days)
        first_year += sum(day < 365 for day in days)
    yield _done(
        "water_first_year", "water", count * each * first_year, "l",
        f"{first_year} times in the first 365 days, if no rain falls", water.SOURCE,
    )  # fmt: skip


def _fencing(options, roll_m) -> Iterator[dict]:
    if options is None or not options["chosen"].any():
        return
    one = options.loc[options["chosen"].to_numpy(bool)].iloc[0]
    cages = one["scheme"] == "cages"
    how = f"{one['scheme'].replace('_', ' ')}, {one['height_m']:.2f} m high"
    yield _bought(
        "fence_roll", "fence", float(one["wire_m"]), "m", roll_m, "roll", f"{how}; gates left out",
        _ARITHMETIC,
    )  # fmt: skip
    source = _COMMON if cages else "spacing of posts: NRCS 382 state specifications (read)"
    for item, amount, pack, why, caution in (
        ("cage_post" if cages else "fence_line_post", one["line_posts"], "post", source, DIG),
        ("fence_corner_post", one["corner_posts"] + one["gate_posts"], "post", source, DIG),
        ("fence_brace", one["braces"], "assembly", "every 330 ft: NRCS 382 (read); at corners: " + _COMMON, DIG),
        ("fence_gate", one["gates"], "gate", "the plan", None),
        ("fence_staple", one["staples"], "staple", _COMMON, None),
    ):  # fmt: skip
        if amount:
            yield _bought(item, "fence", int(amount), "each", 1.0, pack, how, why, caution)


def _check(losses, hole_factor, strip_m, mulch, depth, clear, ring, bag) -> None:
    if mulch not in ("strip", "ring", "none"):
        raise refuse(
            f"'{mulch}' is no way to mulch", "Write strip, ring or none", key="works.mulch"
        )
    for key, value, low, high, unit in (
        ("losses", losses, 0.0, 1.0, ""),
        ("hole_factor", hole_factor, 1.0, 5.0, ""),
        ("strip", strip_m, 0.1, 10.0, " m"),
        ("mulch_depth", depth, 0.0, DEEPEST_MULCH_M, " m"),
        ("mulch_clear", clear, 0.0, 0.5, " m"),
        ("ring", ring, 0.2, 5.0, " m"),
        ("mulch_bag", bag, 0.001, 2.0, " m³"),
    ):
        if not (math.isfinite(value) and low <= value <= high):
            raise refuse(
                f"{value:g}{unit} is out of range",
                f"Give {low:g} to {high:g}{unit}",
                key=f"works.{key}",
            )
    if mulch == "ring" and ring <= 2.0 * clear:
        raise refuse(
            f"a mulch ring {ring:g} m wide leaves no mulch {clear:g} m off the stem",
            "Give a wider ring or a smaller works.mulch_clear",
            key="works.ring",
        )
