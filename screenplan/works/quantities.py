"""What to order, dig, haul and pour: amounts unrounded, and rounded as goods are sold."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import QUANTITIES
from screenplan.contracts.tables import has_rows, table_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Plants
from screenplan.plan.works import Weeds, Works
from screenplan.planting.measured import load_establishment
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.species_model import Species
from screenplan.planting.zones import open_ground
from screenplan.rules.limit_kinds import Limit
from screenplan.site.ownership import outline_known, subject_ground
from screenplan.works import water
from screenplan.works.boundary_screens import LEFT_OPEN
from screenplan.works.clipping import clipped_faces, clips_told
from screenplan.works.earth import SWELL, nearest_gaps, ring_area, strip_along
from screenplan.works.fence import chosen_fence
from screenplan.works.kinds import Kind, kinds_of
from screenplan.works.rates import BULK, NOISE
from screenplan.works.seasons import Seasons
from screenplan.works.water_months import by_stage, months_given
from screenplan.works.watering import litres_of, round_litres
from screenplan.works.weeds import times_of

#: Every key that [cost] prices and hours may name, with what it is. In a row of several kinds of
#: plants those of one kind go by the key, a space and the species.
ITEMS = {
    "plant": "Plants",
    "raised": "Plants that you raise",
    "cutting": "Cuttings to take",
    "seed": "Seeds to sow, as many as must come up",
    "plant_again": "Plants that replace the dead",
    "flag": "Flags or paint marks, one a plant",
    "peg": "Pegs for the stake-out",
    "line": "String line between the pegs",
    "clearing": "Strip to clear of grass and weeds",
    "weeding": "Strip to weed, all passes",
    "hole": "Holes to dig",
    "hole_width": "Width of each hole",
    "hole_depth": "Depth of each hole",
    "dug": "Earth to dig, as it lies in the ground",
    "spoil": "Earth heaped beside the holes, loosened",
    "backfill": "Earth that goes back into the holes",
    "surplus": "Earth left over, as it lay in the ground",
    "mulch": "Mulch",
    "mulch_again": "Mulch to top up",
    "mulch_bulk": "Mulch in bulk, a load",
    "water_round": "Water each time, all plants",
    "water_daily": "Water in weeks 1 and 2",
    "water_often": "Water in weeks 3 to 12",
    "water_weekly": "Water from week 13 to the end of the first year",
    "water_later": "Water after the first year, until established",
    "water_winter": "Water in winter",
    "fence_roll": "Wire or mesh of the fence",
    "fence_line_post": "Line posts",
    "fence_corner_post": "Corner, end and gate posts",
    "fence_brace": "Brace assemblies",
    "fence_gate": "Gates",
    "fence_staple": "Staples or clips",
    "cage_post": "Posts of the cages",
    "clipped": "Square metres to clip, of a row that is kept",
    "new_fence": "New fence, built first",
    "new_wall": "New wall, built first",
    "new_trellis": "New trellis, built first",
}
DIG = said(
    "Have buried lines located before any digging; dig by hand within {0.61 m} of a marked line"
)
#: String line is sold on rolls of this length, metres (common practice, no source).
LINE_ROLL_M = 50.0
#: Mulch is topped up in so many years.
MULCH_YEARS = 3
_COMMON, _ARITHMETIC = "common practice, no source", "arithmetic"


#: Years over which `growth.losses` are lost.
DEATH_YEARS = 2


def cleared_strip(
    layers: Mapping[str, Any],
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> shapely.Geometry:
    """Draw the ground that is cleared along the rows: see `strip_along`.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants.
    plan : Options
        Of it [works] and [rows].
    species_table : mapping, optional
    """
    parcels = layers["parcels"]
    return strip_along(
        layers["planting_lines"], layers["plants"],
        subject_ground(parcels) if outline_known(parcels) else open_ground(),
        width_m=plan.works.strip, spacing_m=planned_spacing(plan, species_table),
    )  # fmt: skip


def count_material(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    position_deg: tuple[float, float] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Count what the work needs.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants, of which those that stand already need nothing; if there
        are any, stakes, pegs and base lines of the stake-out, what is clipped year by year, fence options, of which
        the chosen row is counted, and new screens; water by month, if the plan has normals of rain. By their contracts, in local-frame metres.
    plan : Options, optional
        Of it [works], [weeds], [setbacks], [rows], [plants], [fence] and [calendar] planting. Cleared strips are
        broken at gaps wider than the spacing.
    position_deg : tuple of 2 floats, optional
        Longitude and latitude of the site: with it and a day of planting watering rests in winter.
    limits, species_table : mapping, optional
        By default the shipped ones.

    Returns
    -------
    DataFrame
        Amounts in metres, square and cubic metres and litres; packs as whole numbers.

    Raises
    ------
    InputError
        If no plant is to be set and nothing is built, or root balls are wider than the plants are apart.
    """
    works, plants = plan.works, layers["plants"]
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    if not len(new) and has_rows(layers.get("new_screens")):
        return table_of(QUANTITIES, [*_marking(layers), *_building(layers.get("new_screens"))])
    if not len(new):
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    kinds = kinds_of(new, species_table)
    holes = [kind.hole(works.hole_factor, plan.setbacks.hole) for kind in kinds]
    gaps = nearest_gaps(plants)
    usual = float(np.median(gaps)) if len(gaps) else math.inf
    for kind, hole in zip(kinds, holes, strict=True):
        if hole.ball_m >= usual:
            raise refuse(
                f"the {kind.stock.roots} is {{{hole.ball_m:.2f} m}} wide, and plants stand {{{usual:.2f} m}} "
                "apart",
                "Take smaller stock (plants.stock_height), or a wider spacing",
                key=plan.rows.key("spacing"),
            )
    strip = cleared_strip(layers, plan, species_table)
    months = months_given(layers.get("water_by_month"))
    seasons = Seasons.of(plan.calendar, position_deg)
    stages = litres_of(kinds, works, seasons, limits) if months is None else by_stage(months)
    records = [
        *_plants(kinds, works.losses, plan.plants),
        *_replacing(kinds, works.losses, plan.growth.losses, plan.growth.replaced),
        *_marking(layers),
        _done("clearing", "ground", strip.area, "m2",
              f"{{{works.strip:g} m}} wide along the rows and half of it beyond their ends", _ARITHMETIC, DIG),
        *_weeding(plan.weeds, strip.area),
        *_clipping(layers.get("clipping"), plan),
        *_holes(kinds, holes),
        *_mulching(works, strip.area, plants, len(new)),
        *_watering(kinds, works, stages),
        *_fencing(layers.get("fence_options"), plan.fence.roll),
        *_building(layers.get("new_screens")),
    ]  # fmt: skip
    return with_notes(table_of(QUANTITIES, records), _doubts(new, kinds, holes, gaps, usual))


def _doubts(new, kinds, holes, gaps, usual: float) -> Iterator[str]:
    if len(gaps):
        balls = np.zeros(len(new))
        for kind, hole in zip(kinds, holes, strict=True):
            balls[kind.rows] = hole.ball_m
        tight = gaps <= balls
        if tight.any():
            names = ", ".join(str(plant_id) for plant_id in new["plant_id"].to_numpy()[tight])
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


def _done(item, part, amount, unit, how, source, caution=None) -> dict:
    return {
        "item": item, "part": part, "name": ITEMS[item], "amount": amount, "unit": unit, "how": how,
        "source": source, "caution": caution,
    }  # fmt: skip


def _bought(row: dict, pack: str, pack_amount: float = 1.0) -> dict:
    """Tell of what is counted in a row how many packs are bought."""
    packs = math.ceil(row["amount"] / pack_amount - NOISE)
    return row | {"pack_amount": pack_amount, "pack": pack, "packs": packs}


def _plants(kinds: Sequence[Kind], losses: float, plants: Plants) -> Iterator[dict]:
    """Count the plants that are ordered; or those that are raised, and what they are raised from."""
    if plants.raised == "bought":
        yield from _ordering(kinds, losses)
        return
    item = {"cuttings": "cutting", "seed": "seed"}[plants.raised]
    for kind, row in zip(kinds, _ordering(kinds, losses), strict=True):
        needed = math.ceil(row["amount"] - NOISE)
        yield row | _called("raised", kind) | dict.fromkeys(("pack", "pack_amount", "packs"))
        how = f"{needed} plants, and {plants.raised_losses:.0%} of what is set is lost until they are planted"
        made = _done(item, "plants", needed / (1.0 - plants.raised_losses), "each", how, _COMMON)
        yield _bought(made, item) | _called(item, kind)


def _called(item: str, kind: Kind) -> dict:
    """Call an item by the kind of plant that it is for."""
    name = f"{ITEMS[item]}: {kind.species.both_names}"
    return {"item": f"{item}{kind.ending}", "name": name}


def _of_kind(item: str, kind: Kind) -> dict:
    """Say which plants are bought."""
    return _called(item, kind) | {
        "species": kind.species.key, "plant_name": kind.species.both_names,
        "stock": kind.stock.key, "stock_height_m": kind.height_m,
    }  # fmt: skip


def _ordering(kinds: Sequence[Kind], losses: float) -> Iterator[dict]:
    for kind in kinds:
        how = (
            f"{kind.count} plants, {kind.stock.key.replace('_', ' ')}, {{{kind.height_m:.2f} m}} high, and "
            f"{losses:.0%} for losses"
        )
        row = _done("plant", "plants", kind.count * (1.0 + losses), "each", how, _COMMON)
        yield _bought(row, "plant") | _of_kind("plant", kind) | {"plants": kind.count}


def _replacing(kinds: Sequence[Kind], spare: float, deaths: float, years: int) -> Iterator[dict]:
    """Count what is bought again: those that die while they are replaced, but for the spare ones."""
    known = load_establishment()["losses"]
    share = 1.0 - (1.0 - deaths) ** (years / DEATH_YEARS)
    for kind in kinds:
        again = kind.count * (share - spare)
        if again <= 0.0:
            continue
        how = (
            f"{share:.0%} of {kind.count} plants die over {years} years and are replaced; {spare:.0%} are "
            f"ordered at first; evidence of the losses: {known['default_grade']}"
        )
        row = _done("plant_again", "replacements", again, "each", how, known["default_source"])
        yield _bought(row, "plant") | _of_kind("plant_again", kind)


def _marking(layers: Mapping[str, Any]) -> Iterator[dict]:
    stakes, pegs, base_lines = (layers.get(name) for name in ("stakes", "pegs", "base_lines"))
    if stakes is not None and len(stakes):
        row = _done("flag", "stake-out", len(stakes), "each", "one a plant", _ARITHMETIC)
        yield _bought(row, "flag")
    if pegs is not None and len(pegs):
        how = "ends of the base lines, and corners, ends and gates of the fence"
        yield _bought(_done("peg", "stake-out", len(pegs), "each", how, _ARITHMETIC, DIG), "peg")
    if base_lines is not None and len(base_lines):
        how = "the longest base line along the ground; it is moved from tape to tape"
        row = _done("line", "stake-out", float(base_lines["slope_m"].max()), "m", how, _COMMON)
        yield _bought(row, "roll", LINE_ROLL_M)


def _weeding(weeds: Weeds, strip_area: float) -> Iterator[dict]:
    times = times_of(weeds)
    if times:
        how = f"{times} times the cleared strip, {{{strip_area:.1f} m²}}"
        if weeds.prepare:
            how += f"; {weeds.prepare} of them before planting"
        yield _done("weeding", "ground", times * strip_area, "m2", how, _ARITHMETIC)


def _clipping(clipping, plan: Options) -> Iterator[dict]:
    faces = clipped_faces(clipping, plan)
    if faces:
        first = int(clipping["year"].min())
        how = f"sides and top in the yearly clips from year {first} to {first + clips_told(first, plan) - 1}, typical growth"
        yield _done("clipped", "ground", faces, "m2", how, _ARITHMETIC)


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


def _mulching(works: Works, strip_area: float, plants, count: int) -> Iterator[dict]:
    depth, clear = works.mulch_depth, works.mulch_clear
    if works.mulch == "none" or depth == 0:
        return
    if works.mulch == "strip":
        area = max(strip_area - count * math.pi * clear**2, 0.0)
        where = "the cleared strip"
    else:
        area = ring_area(plants, ring_m=works.ring, clear_m=clear)
        where = f"rings {{{works.ring:g} m}} wide"
    row = _done(
        "mulch", "mulch", area * depth, "m3",
        f"{where}, {{{area:.1f} m²}}, {{{depth * 100:g} cm}} deep, kept {{{clear * 100:g} cm}} off each stem",
        _ARITHMETIC, "Never heap mulch against a stem",
    )  # fmt: skip
    yield _bought(row, *_mulch_pack(works, area * depth))
    again = works.mulch_top_up * area * depth
    if again > 0.0:
        row = _done(
            "mulch_again", "mulch", MULCH_YEARS * again, "m3",
            f"{MULCH_YEARS} times, once a year, {{{again:.2f} m³}} each: {works.mulch_top_up:.0%} of it has rotted",
            _COMMON,
        )  # fmt: skip
        # Each year's mulch is bought in that year, so each time is rounded up.
        pack, size = _mulch_pack(works, again)
        packs = MULCH_YEARS * math.ceil(again / size - NOISE)
        yield _bought(row, pack, size) | {"packs": packs}


def _mulch_pack(works: Works, amount_m3: float) -> tuple[str, float]:
    """Say how so much mulch is sold, and what one of it holds, m³."""
    if works.mulch_bulk is not None and amount_m3 >= works.mulch_bulk:
        return BULK, works.mulch_load
    return "bag", works.mulch_bag


def _watering(
    kinds: Sequence[Kind], works: Works, stages: Mapping[str, tuple[float, str]]
) -> Iterator[dict]:
    caliper = works.caliper
    litres = [round_litres(kind, works) for kind in kinds]
    told = dict.fromkeys(
        f"{{{each / kind.count:.1f} l}} a plant: {_water_rule(kind, caliper)}"
        for each, kind in zip(litres, kinds, strict=True)
    )
    yield _done(
        "water_round", "water", sum(litres), "l", "; ".join(told), water.SOURCE,
        "Feel the soil first: none is needed while it is moist or frozen, or after an inch of rain",
    )  # fmt: skip
    for key, (amount, how) in stages.items():
        yield _done(key, "water", amount, "l", how, water.SOURCE)


def _water_rule(kind: Kind, caliper) -> str:
    if caliper is not None:
        low, high = water.GALLONS_PER_INCH
        return f"{high:g} gal per inch of caliper ({low:g} to {high:g} published)"
    if not kind.stock.has_soil:
        return "an inch of water over the spread of the roots (as much rain saves a watering)"
    return f"a third of the {kind.stock.roots}'s volume (a quarter to a third published, for containers)"


def _fencing(options, roll_m) -> Iterator[dict]:
    fence = chosen_fence(options)
    if fence is None:
        return
    cages = fence["scheme"] == "cages"
    how = f"{fence['scheme'].replace('_', ' ')}, {{{fence['height_m']:.2f} m}} high"
    row = _done("fence_roll", "fence", float(fence["wire_m"]), "m", f"{how}; gates left out", _ARITHMETIC)  # fmt: skip
    yield _bought(row, "roll", roll_m)
    source = _COMMON if cages else "spacing of posts: NRCS 382 state specifications (read)"
    for item, amount, pack, why, caution in (
        ("cage_post" if cages else "fence_line_post", fence["line_posts"], "post", source, DIG),
        ("fence_corner_post", fence["corner_posts"] + fence["gate_posts"], "post", source, None),
        ("fence_brace", fence["braces"], "assembly", "every 330 ft: NRCS 382 (read); at corners: " + _COMMON, None),
        ("fence_gate", fence["gates"], "gate", "the plan", None),
        ("fence_staple", fence["staples"], "staple", _COMMON, None),
    ):  # fmt: skip
        if amount:
            yield _bought(_done(item, "fence", int(amount), "each", how, why, caution), pack)


def _building(screens) -> Iterator[dict]:
    """Count the metres of what the design builds first."""
    if screens is None:
        return
    for option, mine in screens.groupby("option", sort=False):
        length = float(mine["length_m"].sum())
        tall = " and ".join(f"{{{height:.2f} m}}" for height in dict.fromkeys(mine["height_m"]))
        how = f"{tall} high, along {', '.join(dict.fromkeys(mine['side_id']))}; {LEFT_OPEN}"
        row = _done(f"new_{option}", "fence", length, "m", how, _ARITHMETIC, DIG)
        yield _bought(row, str(option), length)
