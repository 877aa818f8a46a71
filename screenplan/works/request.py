"""The ground about which the owners of buried lines are asked: all that is broken, with a margin, and the days.

It is the union of the planting holes at their full width, the cleared strip, a spot at each peg and at each post
of the fence, and a strip along what is built first, whose posts may stand anywhere on it. The days are those of the calendar.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from screenplan.contracts import LOCATE_REQUEST
from screenplan.contracts.tables import has_rows, layer_of
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.clearing import keep_clear
from screenplan.planting.holes import LOCATE_FIRST, hole_widths
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import Limit, LocateRequest
from screenplan.rules.limits import limit_named
from screenplan.works.quantities import cleared_strip

#: Half the width of the hole of a post, metres (custom, no source).
POST_HOLE_M = 0.15
#: Half the width of a peg, metres (custom, no source).
PEG_M = 0.025


def outline_request(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Draw the ground to be broken, with a margin, and say on which days to ask and to renew.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines, plants and schedule; pegs, fence posts and new screens if there are any. In local-frame
        metres.
    plan : Options, optional
        Of it [calendar], [works], [setbacks], [rows].
    limits, species_table : mapping, optional
        By default the shipped ones.

    Returns
    -------
    GeoDataFrame
        One row for each piece of ground, by the contract ``locate_request``. A piece may reach over the boundary by the
        margin.
    """
    asked = limit_named(limits, plan.calendar.request, LocateRequest, plan.calendar.key("request"))
    margin = plan.calendar.request_margin
    broken = _broken(layers, plan, species_table)
    shapes = [shape for shapes in broken.values() for shape in shapes]
    ground = shapely.union_all([keep_clear(shape, margin) for shape in shapes])
    days = _days(layers["schedule"], asked)
    records, pieces = [], [piece for piece in shapely.get_parts(ground) if not piece.is_empty]
    for number, piece in enumerate(pieces, 1):
        counts = {what: int(shapely.intersects(piece, shapes).sum()) for what, shapes in broken.items()}  # fmt: skip
        records.append(
            {
                "request_id": str(number),
                "area_m2": piece.area,
                "margin_m": margin,
                "holes": counts["holes"],
                "pegs": counts["pegs"],
                "posts": counts["posts"],
                **days,
                "says": _says(counts),
                "caution": LOCATE_FIRST,
                "source": f"{asked.source} ({asked.status}); margin: custom, no source",
            }
        )
    return layer_of(LOCATE_REQUEST, records, pieces, layers["plants"].crs)


def _broken(layers, plan: Options, species_table) -> dict[str, Any]:
    """Give the shapes of what is broken, by what it is."""
    plants = layers["plants"]
    new = ~plants["existing"].fillna(False).to_numpy(bool)
    widths = hole_widths(plants, new, plan.works.hole_factor, plan.setbacks.hole)
    posts, pegs, built = (layers.get(name) for name in ("fence_posts", "pegs", "new_screens"))
    return {
        "holes": [
            keep_clear(point, width / 2.0)
            for point, width in zip(plants.geometry.to_numpy()[new], widths[new], strict=True)
        ],
        "strip": shapely.get_parts(cleared_strip(layers, plan, species_table)),
        "posts": [keep_clear(post, POST_HOLE_M) for post in posts.geometry]
        if has_rows(posts)
        else [],
        "pegs": [keep_clear(peg, PEG_M) for peg in pegs.geometry] if has_rows(pegs) else [],
        "built": [keep_clear(line, POST_HOLE_M) for line in built.geometry]
        if has_rows(built)
        else [],
    }


def _days(schedule, asked: LocateRequest) -> dict[str, Any]:
    """Give the days on which to ask and to renew, from the calendar."""
    tasks = schedule.set_index("task")
    ask, renew = tasks.loc["locate"], tasks.loc["renew"]
    holds, last_date = int(asked.life_days) - 1, None
    if ask["first_date"] is not None and not pd.isna(ask["first_date"]):
        date = dt.date.fromisoformat(str(ask["first_date"]))
        last_date = (date + dt.timedelta(days=holds)).isoformat()
    return {
        "ask_day": int(ask["first_day"]),
        "answered_day": int(ask["last_day"]),
        "last_day": int(ask["first_day"]) + holds,
        "renew_day": int(renew["first_day"]),
        "renewals": int(renew["times"]),
        "ask_date": ask["first_date"],
        "last_date": last_date,
        "renew_date": renew["first_date"],
    }


def _says(counts: Mapping[str, int]) -> str:
    things = [
        f"{counts[what]} {one if counts[what] == 1 else many}"
        for what, one, many in (
            ("holes", "planting hole", "planting holes"),
            ("pegs", "peg", "pegs"),
            ("posts", "post of the fence", "posts of the fence"),
        )
        if counts[what]
    ]
    if counts["built"]:
        things.append("the line of what is built first")
    if counts["strip"]:
        things.append("the turf of the strip")
    return ", ".join(things)
