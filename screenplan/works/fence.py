"""A fence against browsing: round the planting, along one side, or a cage for each plant.

Heights and reach by animal:

- deer: 8 ft of woven wire (Craven and Hygnstrom, *Deer*, 1994, read); deer browse up to 1.8 m
  (common practice, no source);
- rabbit: 0.75 m of fine mesh (common practice, no source);
- livestock: 1.2 m (common practice, no source).

Posts: woven wire at most 14 ft (NRCS 382, Tennessee) or 16.5 ft (Virginia) apart, high-tensile 30 ft,
a brace assembly every 330 ft, posts at least 24 in deep (read). Two brace assemblies at a corner and
one at an end or gate post are common practice, no source, and so are staples and the posts of cages.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import FENCE_OPTIONS, FENCE_POSTS, FENCE_WIRES
from screenplan.contracts.tables import layer_of, table_of
from screenplan.ground.errors import InputError, refuse
from screenplan.planting.growth import GROWTHS
from screenplan.planting.species import Species
from screenplan.planting.stand import Stand, stand_of
from screenplan.works.enclosure import beside, enclose, fence_ground, no_room
from screenplan.works.money import check_prices
from screenplan.works.posts import set_posts

SCHEMES = ("perimeter", "outer_side", "inner_side", "cages")
#: A fence is not planned for longer than this, years.
LONGEST_YEARS = 20
#: Posts of a cage, and how far its mesh overlaps itself, metres (common practice, no source).
CAGE_POSTS = 3
CAGE_OVERLAP_M = 0.15
#: Height for each staple on a post, metres (common practice, no source).
STAPLE_EVERY_M = 0.15


@dataclass(frozen=True)
class Animal:
    """A browsing animal: the fence that keeps most of them out, and how high it reaches."""

    fence_m: float
    reach_m: float
    source: str


ANIMALS = {
    "deer": Animal(2.4384, 1.8, "8 ft: Craven and Hygnstrom, Deer, 1994 (read)"),
    "rabbit": Animal(0.75, 0.6, "common practice, no source"),
    "livestock": Animal(1.2, 1.8, "common practice, no source"),
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
    parcels: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    utilities: gpd.GeoDataFrame | None = None,
    keep_outs: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    *,
    scheme: str = "none",
    animal: str = "deer",
    height_m: float | None = None,
    stands_years: int | None = None,
    post_spacing_m: float = 4.2672,
    brace_every_m: float = 100.584,
    clearance_m: float = 0.3,
    boundary_m: float = 0.3,
    gates: int = 1,
    gate_m: float = 1.2,
    roll_m: float = 100.0,
    cage_m: float | None = None,
    prices: Mapping[str, float] | None = None,
    curve: str = "smooth",
    table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Lay a fence, and compare the ways to fence the plants.

    Parameters
    ----------
    parcels, planting_lines, plants : GeoDataFrame
        In the local frame.
    buildings, utilities, keep_outs, roads : GeoDataFrame, optional
        What the fence keeps out of.
    scheme : {"none", "perimeter", "outer_side", "inner_side", "cages"}
        Which fence the layers hold.
    animal : {"deer", "rabbit", "livestock"}
    height_m : float, optional
        By default the height that keeps most of the animals out, metres.
    stands_years : int, optional
        Years that it must stand; by default until plants of low growth are above the animal's reach,
        at most `LONGEST_YEARS`.
    post_spacing_m, brace_every_m : float
        Greatest distances, metres.
    clearance_m, boundary_m : float
        Between the crowns of high growth and the wire, and between boundary and wire, metres.
    gates : int
        Gates in each closed fence.
    gate_m : float
        Clear width of a gate, metres.
    roll_m : float
        Length of wire or mesh on a roll, metres.
    cage_m : float, optional
        Diameter of a cage; by default what the crowns need, metres.
    prices : mapping, optional
        Price by item: fence_roll, fence_line_post, fence_corner_post, fence_gate, fence_brace,
        fence_staple, cage_post.
    curve : {"smooth", "straight"}
    table : mapping, optional
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
        If a parameter is out of range, or there is no room for the chosen scheme.
    """
    _check(
        scheme, animal, height_m, stands_years, post_spacing_m, brace_every_m, clearance_m,
        boundary_m, gates, gate_m, roll_m, cage_m,
    )  # fmt: skip
    prices = check_prices(prices or {})
    kind = ANIMALS[animal]
    height = kind.fence_m if height_m is None else float(height_m)
    new = ~plants["existing"].to_numpy(bool)
    stand = stand_of(plants, years=LONGEST_YEARS, curve=curve, table=table)
    years = (
        years_to_outgrow(stand, new, kind.reach_m) if stands_years is None else int(stands_years)
    )
    crown = stand.crowns(GROWTHS.index("high"), years)
    ground = fence_ground(parcels, buildings, utilities, keep_outs, roads, boundary_m=boundary_m)
    options, chosen = [], None
    for name in SCHEMES:
        try:
            if name == "cages":
                laid = _cages(plants, ground, crown, clearance_m, cage_m, height)
            else:
                laid = _fences(
                    name, planting_lines, plants, ground, crown, clearance_m, height,
                    spacing_m=post_spacing_m, brace_every_m=brace_every_m, gates=gates, gate_m=gate_m,
                )  # fmt: skip
        except InputError as error:
            if name == scheme:
                raise
            options.append(
                {"scheme": name, "chosen": False, "possible": False, "height_m": height,
                 "stands_years": years, "says": _sentence(error.problems[0].what)}
            )  # fmt: skip
            continue
        options.append(_option(name, laid, scheme, height, years, roll_m, prices, kind, animal))
        if name == scheme:
            chosen = laid
    chosen = chosen or _Laid()
    return (
        layer_of(FENCE_POSTS, chosen.posts, chosen.places, parcels.crs),
        layer_of(FENCE_WIRES, chosen.wires, chosen.runs, parcels.crs),
        table_of(FENCE_OPTIONS, options),
    )


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


def _fences(name, planting_lines, plants, ground, crown, clearance, height, **posting) -> _Laid:
    closed = name == "perimeter"
    if closed:
        rings = enclose(planting_lines, plants, ground, crown, clearance)
        paths = [shapely.LineString(ring.exterior.coords) for ring in rings]
    else:
        paths = beside(planting_lines, plants, ground, crown, clearance, name == "inner_side")
        posting["gates"] = 0
    laid = _Laid()
    for number, path in enumerate(paths, 1):
        posts, runs = set_posts(path, ground, closed=closed, **posting)
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


def _cages(plants, ground, crown, clearance, cage_m, height) -> _Laid:
    new = ~plants["existing"].to_numpy(bool)
    if not new.any():
        raise refuse(
            "all plants stand already, and none of them gets a cage",
            "Fence the row (fence.scheme), or leave the fence out",
            key="fence.scheme",
        )
    points = plants.geometry.to_numpy()
    asked = (
        2.0 * float((crown.farthest + clearance)[new].max()) if cage_m is None else float(cage_m)
    )
    others = shapely.get_coordinates(points)
    apart = np.hypot(*(others[:, None] - others[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    to_edge = shapely.distance(points, ground.wire.boundary)
    room = min(float(apart[new].min()) / 2.0, float(to_edge[new].min()))
    radius = asked / 2.0 if cage_m is not None else min(asked / 2.0, room)
    if radius > room + 1e-9:
        raise refuse(
            f"cages {{{asked:.2f} m}} wide do not fit: there is room for {{{2.0 * room:.2f} m}} between the "
            "plants and to the boundary",
            "Give a narrower cage (fence.cage), a wider spacing, or fence the whole planting",
            key="fence.cage",
        )
    tight = new & (crown.farthest > radius + 1e-3)
    if tight.any():
        names = ", ".join(str(name) for name in plants["plant_id"].to_numpy()[tight][:8])
        raise no_room(radius, f"plant {names}")
    laid = _Laid()
    length = 2.0 * math.pi * radius + CAGE_OVERLAP_M
    for point, number in zip(points[new], plants["plant_id"].to_numpy()[new], strict=True):
        base = {"fence_id": f"cage {number}", "height_m": height, "plant_id": int(number)}
        for count, place in enumerate(_cage_posts(point, radius, ground), 1):
            over = shapely.intersects(ground.buried, place)
            laid.posts.append(
                base
                | {"part_id": f"cage{number}-post{count}", "role": "cage", "braces": 0,
                   "says": "in the tolerance zone of a buried line: have it located and move this post"
                   if over else None}
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
    best = None
    for turn in range(12):
        angles = 2.0 * math.pi * (np.arange(CAGE_POSTS) / CAGE_POSTS + turn / 12 / CAGE_POSTS)
        places = [
            shapely.Point(point.x + radius * math.sin(one), point.y + radius * math.cos(one))
            for one in angles
        ]
        best = best or places
        if not shapely.intersects(ground.buried, places).any():
            return places
    return best


def _option(name, laid: _Laid, scheme, height, years, roll_m, prices, kind, animal) -> dict:
    cages = name == "cages"
    corner, gate_posts = laid.count("corner", "end"), laid.count("gate")
    line = laid.count("cage") if cages else laid.count("line", "brace")
    braces = sum(post["braces"] or 0 for post in laid.posts)
    gates = sum(wire["role"] == "gate" for wire in laid.wires)
    rolls = math.ceil(laid.wire_m / roll_m - 1e-9)
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
    says = _words(name, height, kind, animal, years)
    if missing and prices:
        says += f". For its cost, give the price of {', '.join(missing)}"
    return {
        "scheme": name, "chosen": name == scheme, "possible": True, "height_m": height,
        "stands_years": years, "wire_m": laid.wire_m, "rolls": rolls, "line_posts": line,
        "corner_posts": corner, "gate_posts": gate_posts, "braces": braces, "gates": gates,
        "staples": staples, "cost": cost, "says": says,
    }  # fmt: skip


def _words(name: str, height: float, kind: Animal, animal: str, years: int) -> str:
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


def _check(
    scheme, animal, height_m, stands_years, post_spacing_m, brace_every_m, clearance_m, boundary_m,
    gates, gate_m, roll_m, cage_m,
) -> None:  # fmt: skip
    if scheme not in ("none", *SCHEMES):
        raise refuse(
            f"'{scheme}' is no way to fence",
            f"Write one of none, {', '.join(SCHEMES)}",
            key="fence.scheme",
        )
    if animal not in ANIMALS:
        raise refuse(
            f"nothing is known about fences against '{animal}'",
            f"Write one of {', '.join(ANIMALS)}",
            key="fence.animal",
        )
    for key, value, low, high in (
        ("height", height_m, 0.2, 4.0),
        ("post_spacing", post_spacing_m, 0.5, 30.0),
        ("brace_every", brace_every_m, 5.0, 1000.0),
        ("clearance", clearance_m, 0.0, 5.0),
        ("boundary", boundary_m, 0.0, 20.0),
        ("gate_width", gate_m, 0.5, 10.0),
        ("roll", roll_m, 1.0, 1000.0),
        ("cage", cage_m, 0.2, 10.0),
    ):
        if value is not None and not low <= value <= high:
            raise refuse(
                f"{{{value} m}} is out of range",
                f"Give {{{low:g} to {high:g} m}}",
                key=f"fence.{key}",
            )
    if stands_years is not None and not 1 <= stands_years <= LONGEST_YEARS:
        raise refuse(
            f"the fence stands {stands_years} years",
            f"Give 1 to {LONGEST_YEARS}",
            key="fence.years",
        )
    if not 0 <= gates <= 10:
        raise refuse(f"{gates} gates are asked for", "Give 0 to 10", key="fence.gates")
