"""A fence against browsing: round the planting, along one side, or a cage for each plant.

Heights and reach by animal:

- deer: 8 ft of woven wire (Craven and Hygnstrom, *Deer*, 1994, read); deer browse up to 1.8 m
  (common practice, no source);
  the lowest that are asked for elsewhere are 1.5 m against roe deer and 1.8 m against red, sika and fallow deer
  (Scottish Forestry Grant Scheme, deer fence, 2017, read);
- rabbit: 0.75 m of mesh of 31 mm kept out more than nine in ten of adult rabbits, as 0.9 m did (Twelfth Vertebrate
  Pest Conference, 1986, abstract 42, read); 0.9 m is asked for by the Scottish Forestry Grant Scheme, 2015 (read).
  A reach of 0.6 m is common practice, no source;
- livestock: 48 in of barbed wire (NRCS 382, Mississippi, 2000, read), here 1.2 m; its reach is common practice, no source.

Posts: woven wire at most 14 ft (NRCS 382, Tennessee) or 16.5 ft (Virginia) apart, high-tensile 30 ft,
a brace assembly every 330 ft, posts at least 24 in deep (read). Two brace assemblies at a corner and
one at an end or gate post are common practice, no source, and so are staples and the posts of cages.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, get_args

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import FENCE_OPTIONS, FENCE_POSTS, FENCE_WIRES, GROWTHS
from screenplan.contracts.tables import layer_of, table_of
from screenplan.contracts.works import FenceScheme
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.works import Fence
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.works.enclosure import beside, enclose, fence_ground, no_room
from screenplan.works.posts import in_zone, set_posts

SCHEMES: tuple[str, ...] = get_args(FenceScheme)
#: A fence is not planned for longer than this, years.
LONGEST_YEARS = 20
#: Posts of a cage, and how far its mesh overlaps itself, metres (common practice, no source).
CAGE_POSTS = 3
CAGE_OVERLAP_M = 0.15
#: Height for each staple on a post, metres (common practice, no source).
STAPLE_EVERY_M = 0.15


@dataclass(frozen=True)
class Animal:
    """A browsing animal: the fence that keeps most of them out, how high it reaches, and which other heights are asked for."""

    fence_m: float
    reach_m: float
    source: str
    others: str = ""


ANIMALS = {
    "deer": Animal(
        2.4384,
        1.8,
        "8 ft: Craven and Hygnstrom, Deer, 1994 (read)",
        "at the least {1.5 m} against roe deer, and {1.8 m} against red, sika and fallow deer "
        "(Scottish Forestry Grant Scheme, 2017, read)",
    ),
    "rabbit": Animal(
        0.75,
        0.6,
        "Twelfth Vertebrate Pest Conference, 1986 (abstract read)",
        "at the least {0.9 m} (Scottish Forestry Grant Scheme, 2015, read)",
    ),
    "livestock": Animal(1.2, 1.8, "48 in of barbed wire: NRCS 382, Mississippi, 2000 (read)"),
}


@dataclass
class _Laid:
    """A scheme laid out: posts and runs of wire with their shapes, and the bill of material."""

    posts: list[dict] = field(default_factory=list)
    places: list[shapely.Point] = field(default_factory=list)
    wires: list[dict] = field(default_factory=list)
    runs: list[shapely.LineString] = field(default_factory=list)
    wire_m: float = 0.0

    def count(self, *roles: str) -> int:
        return sum(post["role"] in roles for post in self.posts)


def lay_fence(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Lay a fence, and compare the ways to fence the plants.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants, and buildings, utilities, keep-outs and roads, which the
        fence keeps out of, if there are any: by their contracts, in local-frame metres.
    plan : Options, optional
        Of it [fence], the prices of [cost] and the curve of [growth]. Without years the fence
        stands until plants of low growth are above the animal's reach, at most `LONGEST_YEARS`.
    species_table : mapping, optional
        The species table.

    Returns
    -------
    fence_posts, fence_wires : GeoDataFrame
        Posts, and wire and gates, of the chosen scheme; empty for none.
    fence_options : DataFrame
        Every scheme in material and money.

    Raises
    ------
    InputError
        If there is no room for the chosen scheme.
    """
    fence, plants = plan.fence, layers["plants"]
    kind = ANIMALS[fence.animal]
    height = kind.fence_m if fence.height is None else fence.height
    new = ~plants["existing"].to_numpy(bool)
    stand = planned_stand(plants, plan, species_table, LONGEST_YEARS)
    years = fence.years or years_to_outgrow(stand, new, kind.reach_m)
    crown = stand.crowns(GROWTHS.index("high"), years)
    ground = fence_ground(layers, fence.boundary)
    options, chosen = [], None
    # Where no plant is there is nothing to fence.
    for name in SCHEMES if len(plants) else ():
        try:
            if name == "cages":
                laid = _cages(plants, ground, crown, fence, height)
            else:
                laid = _fences(name, layers, ground, crown, fence, height)
        except InputError as error:
            if name == fence.scheme:
                raise
            options.append(
                {"scheme": name, "chosen": False, "possible": False, "height_m": height,
                 "stands_years": years, "says": _sentence(error.problems[0].what)}
            )  # fmt: skip
            continue
        options.append(_option(name, laid, fence, height, years, plan.cost.prices))
        if name == fence.scheme:
            chosen = laid
    chosen = chosen or _Laid()
    return (
        layer_of(FENCE_POSTS, chosen.posts, chosen.places, plants.crs),
        layer_of(FENCE_WIRES, chosen.wires, chosen.runs, plants.crs),
        table_of(FENCE_OPTIONS, options),
    )


def chosen_fence(options: pd.DataFrame | None) -> pd.Series | None:
    """Give the row of the table ``fence_options`` that is built; None if none is."""
    if options is None or not options["chosen"].any():
        return None
    return options.loc[options["chosen"].to_numpy(bool)].iloc[0]


def years_to_outgrow(stand: Stand, new, reach_m: float) -> int:
    """Years until every new plant of low growth is taller than an animal reaches, at least 1.

    Parameters
    ----------
    stand : Stand
        In each of the years up to `LONGEST_YEARS`.
    new : ndarray of bool, (plants,)
        Which of its plants are new.
    reach_m : float
    """
    above = stand.height[new, GROWTHS.index("low")] > reach_m
    first = np.where(above.any(axis=1), above.argmax(axis=1), LONGEST_YEARS)
    return int(first.max(initial=1))


def _fences(name, layers, ground, crown, fence: Fence, height) -> _Laid:
    closed, planted = name == "perimeter", (layers["planting_lines"], layers["plants"])
    if closed:
        rings = enclose(*planted, ground, crown, fence.clearance)
        paths = [shapely.LineString(ring.exterior.coords) for ring in rings]
    else:
        paths = beside(*planted, ground, crown, fence.clearance, name == "inner_side")
    laid = _Laid()
    for number, path in enumerate(paths, 1):
        posts, runs = set_posts(
            path, ground, closed=closed, gates=fence.gates if closed else 0, gate_m=fence.gate_width,
            spacing_m=fence.post_spacing, brace_every_m=fence.brace_every,
        )  # fmt: skip
        base = {"fence_id": f"F{number}", "height_m": height}
        for count, post in enumerate(posts, 1):
            laid.posts.append(
                base
                | {"part_id": f"F{number}-post{count}", "role": post.role,
                   "station_m": post.station_m, "braces": post.braces, "says": post.says}
            )  # fmt: skip
            laid.places.append(shapely.Point(post.x, post.y))
        for count, run in enumerate(runs, 1):
            what = "gate" if run.gate else "wire"
            laid.wires.append(
                base
                | {"part_id": f"F{number}-{what}{count}", "role": what,
                   "station_m": run.station_m, "length_m": run.line.length}
            )  # fmt: skip
            laid.runs.append(run.line)
            laid.wire_m += 0.0 if run.gate else run.line.length
    return laid


def _cages(plants, ground, crown, fence: Fence, height) -> _Laid:
    new = ~plants["existing"].to_numpy(bool)
    if not new.any():
        raise refuse(
            "all plants stand already, and none of them gets a cage",
            "Fence the row (fence.scheme), or leave the fence out",
            key=fence.key("scheme"),
        )
    points = plants.geometry.to_numpy()
    asked = fence.cage or 2.0 * float((crown.farthest + fence.clearance)[new].max())
    others = shapely.get_coordinates(points)
    apart = np.hypot(*(others[:, None] - others[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    to_edge = shapely.distance(points, ground.wire.boundary)
    room = min(float(apart[new].min()) / 2.0, float(to_edge[new].min()))
    radius = asked / 2.0 if fence.cage else min(asked / 2.0, room)
    if radius > room + 1e-9:
        raise refuse(
            f"cages {{{asked:.2f} m}} wide do not fit: there is room for {{{2.0 * room:.2f} m}} between the "
            "plants and to the boundary",
            "Give a narrower cage (fence.cage), a wider spacing, or fence the whole planting",
            key=fence.key("cage"),
        )
    tight = new & (crown.farthest > radius + 1e-3)
    if tight.any():
        raise no_room(radius, plants["plant_id"].to_numpy()[tight])
    laid = _Laid()
    length = 2.0 * math.pi * radius + CAGE_OVERLAP_M
    for point, number in zip(points[new], plants["plant_id"].to_numpy()[new], strict=True):
        base = {"fence_id": f"cage {number}", "height_m": height, "plant_id": int(number)}
        for count, place in enumerate(_cage_posts(point, radius, ground), 1):
            laid.posts.append(
                base
                | {"part_id": f"cage{number}-post{count}", "role": "cage", "braces": 0,
                   "says": in_zone(place, ground)}
            )  # fmt: skip
            laid.places.append(place)
        laid.wires.append(
            base | {"part_id": f"cage{number}-wire", "role": "cage", "length_m": length}
        )
        laid.runs.append(shapely.LineString(point.buffer(radius, quad_segs=8).exterior.coords))
        laid.wire_m += length
    return laid


def _cage_posts(point, radius, ground) -> list[shapely.Point]:
    """Place the posts of a cage, turned so that none stands over a buried line if that can be."""
    best: list[shapely.Point] = []
    for turn in range(12):
        angles = 2.0 * math.pi * (np.arange(CAGE_POSTS) / CAGE_POSTS + turn / 12 / CAGE_POSTS)
        places = [
            shapely.Point(point.x + radius * math.sin(angle), point.y + radius * math.cos(angle))
            for angle in angles
        ]
        best = best or places
        if not shapely.intersects(ground.buried, places).any():
            return places
    return best


def _option(name, laid: _Laid, fence: Fence, height, years, prices) -> dict:
    cages = name == "cages"
    corner, gate_posts = laid.count("corner", "end"), laid.count("gate")
    line = laid.count("cage") if cages else laid.count("line", "brace")
    braces = sum(post["braces"] or 0 for post in laid.posts)
    gates = sum(wire["role"] == "gate" for wire in laid.wires)
    rolls = math.ceil(laid.wire_m / fence.roll - 1e-9)
    staples = (line + corner + gate_posts) * (math.ceil(height / STAPLE_EVERY_M - 1e-9) + 1)
    bill = {
        "fence_roll": rolls,
        "cage_post" if cages else "fence_line_post": line,
        "fence_corner_post": corner + gate_posts,
        "fence_gate": gates,
        "fence_brace": braces,
        "fence_staple": staples,
    }
    missing = [item for item, count in bill.items() if count and item not in prices]
    cost = None if missing else sum(prices[item] * n for item, n in bill.items() if n)
    says = _words(name, height, fence.animal, years)
    if missing and prices:
        says += f". For its cost, give the price of {', '.join(missing)}"
    return {
        "scheme": name, "chosen": name == fence.scheme, "possible": True, "height_m": height,
        "stands_years": years, "wire_m": laid.wire_m, "rolls": rolls, "line_posts": line,
        "corner_posts": corner, "gate_posts": gate_posts, "braces": braces, "gates": gates,
        "staples": staples, "cost": cost, "says": says,
    }  # fmt: skip


def _words(name: str, height: float, animal: str, years: int) -> str:
    kind = ANIMALS[animal]
    low = height < kind.fence_m - 0.01
    what = (
        f"At {{{height:.2f} m}} it only discourages {animal}: {{{kind.fence_m:.2f} m}} keeps most of them out "
        f"({kind.source})"
        if low
        else f"It resists {animal}, it is not proof: snow, a fallen branch or a gate left open let them in"
    )
    where = {
        "perimeter": "closed all round",
        "outer_side": "open at both ends and on the inner side, so animals walk round it",
        "inner_side": "open at both ends and towards the boundary, so animals walk round it",
        "cages": "each plant alone; weeds in the cage are cut by hand, and twigs that grow out are browsed",
    }[name]
    return (
        f"{what}; {where}. It comes down after about {years} years, when slow plants are above the "
        "animals' reach; lower twigs can still be browsed then. Ask for the local limits on fences"
    )


def _sentence(text: str) -> str:
    text = f"{text}"
    return text[0].upper() + text[1:]
