"""What the screen does to others: one line for each, and what would be needed to tell it.

A missing layer never passes: that nothing is given does not mean that nothing is there.
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
import shapely

from screenplan.checks.findings import (
    FAILS,
    LOCATE,
    PASSES,
    SIGHT,
    SURVEY,
    TALK,
    UNKNOWN,
    WIRES,
    Finding,
)
from screenplan.checks.stems import STEM_TOLERANCE_M

_A = {"buried": "a buried", "overhead": "an overhead"}


def judge_lines(utilities, zones, plants, parcels, position, caution) -> Finding:
    """Tell whether a stem stands in the zone of a line in the ground or in the air."""
    name = f"{position} lines"
    if not _holds(utilities, position):
        return Finding(name, UNKNOWN, f"No {position} lines are given; that does not mean that there are none",
                       f"a utilities layer with {position} lines", caution)  # fmt: skip
    near = zones.loc[zones["feature"] == position]
    subject = next(iter(parcels.loc[parcels["is_subject"]].geometry), shapely.Polygon())
    crosses = utilities.loc[utilities["position"] == position].intersects(subject).any()
    if crosses and near.empty:
        return Finding(name, UNKNOWN, f"{_A[position].capitalize()} line crosses the parcel, and no setback holds for it",
                       "a setback rule for it: those that come with screenplan are switched off", caution)  # fmt: skip
    reach = shapely.union_all(shapely.buffer(near.geometry.to_numpy(), -STEM_TOLERANCE_M))
    hits = int(shapely.intersects(plants.geometry.to_numpy(), reach).sum())
    if hits:
        return Finding(
            name,
            FAILS,
            f"{hits} plants stand in the zone of {_A[position]} line",
            "another place for them",
            caution,
        )
    return Finding(
        name,
        PASSES,
        f"No plant stands in the zone of {_A[position]} line that is given",
        caution=caution,
    )


def judge_light(light, most_sun_lost, most_sky_lost) -> Iterator[Finding]:
    """Hold the light that the row takes against the user's limits, and the row's own light."""
    if not _rows(light):
        yield Finding(
            "light",
            UNKNOWN,
            "The light was not counted",
            "a parcels layer, its place on earth, and a row",
        )
        return
    for kind, words in (("window", "neighbours' windows"), ("garden", "gardens")):
        yield _sun(light.loc[light["kind"] == kind], words, most_sun_lost, f"a {kind}s layer" if kind == "window" else "parcels beside the row")  # fmt: skip
    own = light.loc[~light["kind"].isin(["window", "garden", "row"])]
    yield _sun(own, "panels and beds", most_sun_lost, "a sun_places layer")
    yield _sky(light.loc[light["kind"] == "window"], most_sky_lost)
    yield from _row_light(light.loc[light["kind"] == "row"])


def _sun(rows, words, most, layer) -> Finding:
    name = f"sun on {words}"
    if not len(rows):
        return Finding(name, UNKNOWN, f"No {words} are given", layer)
    lit = rows.loc[rows["sun_lost"].notna()]
    if not len(lit):
        return Finding(name, PASSES if most is not None else UNKNOWN,
                       "None of them gets any sun today, so there is none to lose", "" if most is not None else "light.most_sun_lost")  # fmt: skip
    worst = lit.loc[lit["sun_lost"].idxmax()]
    sure = f" (to within {worst['error_share']:.1%})" if pd.notna(worst["error_share"]) else ""
    says = (f"At most {worst['sun_lost']:.0%}{sure} of a year's sun hours are lost, at {worst['light_id']}"
            f" ({worst['sun_now_h']:.0f} hours a year today")  # fmt: skip
    if pd.notna(worst["year_worst"]):
        says += f"; most in year {int(worst['year_worst'])}, and there in month {int(worst['worst_month'])} with {worst['worst_month_h']:.0f} hours"
    says += ")"
    if most is None:
        return Finding(name, UNKNOWN, says, "light.most_sun_lost: the share that may be lost", TALK)
    over = lit.loc[lit["sun_lost"] > most + 1e-9]
    if not len(over):
        return Finding(name, PASSES, f"{says}; {most:.0%} may be")
    return Finding(name, FAILS, f"{len(over)} of {len(rows)} lose more than {most:.0%} of their sun. {says}",
                   "a lower or narrower species, clipping, or another place for the row", TALK)  # fmt: skip


def _sky(rows, most) -> Finding:
    name = "sky light at neighbours' windows"
    if not len(rows):
        return Finding(name, UNKNOWN, "No windows of neighbours are given", "a windows layer")
    seen = rows.loc[rows["sky_lost"].notna()]
    if not len(seen):
        return Finding(name, UNKNOWN, "None of them sees any sky today", "windows that see the sky")
    worst = seen.loc[seen["sky_lost"].idxmax()]
    says = f"At most {worst['sky_lost']:.0%} of the overcast sky's light is lost, at {worst['light_id']}"
    if most is None:
        return Finding(name, UNKNOWN, says, "light.most_sky_lost: the share that may be lost", TALK)
    over = int((seen["sky_lost"] > most + 1e-9).sum())
    if not over:
        return Finding(name, PASSES, f"{says}; {most:.0%} may be")
    return Finding(name, FAILS, f"{over} of {len(rows)} windows lose more than {most:.0%} of it. {says}",
                   "a lower or narrower species, clipping, or another place for the row", TALK)  # fmt: skip


def _row_light(rows) -> Iterator[Finding]:
    for row in rows.itertuples():
        name = f"light on {row.target_id}"
        says = f"Its darkest plant gets {row.season_h:.1f} hours of sun a day in the growing season"
        if pd.isna(row.asked_h):
            yield Finding(name, UNKNOWN, says, "the species' tolerance of shade with its source")
        elif row.season_h + 1e-9 >= row.asked_h:
            yield Finding(name, PASSES, f"{says}; the species asks for {row.asked_h:g}")
        else:
            yield Finding(name, FAILS, f"{says}; the species asks for {row.asked_h:g} and would grow thin there",
                          "a species that stands more shade")  # fmt: skip


def judge_hedge_heights(heights, guidance) -> Iterator[Finding]:
    """Hold the rows against the published guidance, where the plan asks for it."""
    if not guidance:
        return
    name = "hedge-height guidance"
    if not _rows(heights):
        yield Finding(name, UNKNOWN, "No evergreen row stands before a neighbour's window or garden that is given",
                      "windows, neighbours' parcels, and an evergreen row")  # fmt: skip
        return
    over = heights.loc[heights["year"].notna()]
    lowest = heights.loc[heights["keep_below_m"].idxmin()]
    says = (f"The lowest height is {lowest['keep_below_m']:.2f} m above the ground at row {lowest['line_id']}, for the "
            f"{lowest['kind']} {lowest['target_id']} ({lowest['formula']})")  # fmt: skip
    note = f"The factors are {lowest['status']}; the guidance was written for England and Wales"
    if not len(over):
        yield Finding(name, PASSES, f"{says}; no row passes its own", caution=note)
        return
    first = over.loc[over["year"].astype(int).idxmin()]
    yield Finding(
        name, FAILS,
        f"{over['target_id'].nunique()} neighbours' windows or gardens have a taller row before them than the guidance "
        f"allows, first {first['kind']} {first['target_id']} in year {int(first['year'])}, when it passes "
        f"{first['keep_below_m']:.2f} m. {says}",
        "keeping the row below that height from then on, or a lower species", f"{note}. {TALK}",
    )  # fmt: skip


def judge_sight(roads, keep_outs, areas, plants, known: bool = True) -> Finding:
    """Tell whether a plant grows into ground over which a driver must see."""
    name = "sight at the road"
    if not _rows(roads):
        return Finding(name, UNKNOWN, "No roads are given", "a roads layer", SIGHT)
    if not known:
        return Finding(name, UNKNOWN, "The parcel's outline is not known, and so not where a drive leaves it",
                       "a parcels layer", SIGHT)  # fmt: skip
    if areas is None or plants is None:
        return Finding(
            name,
            UNKNOWN,
            "Sight was not looked at",
            "the layers sight_areas and sight_plants",
            SIGHT,
        )
    if not _rows(areas):
        drives = keep_outs is not None and keep_outs["kind"].isin(["driveway", "drive"]).any()
        says = (
            "No drive of the parcel meets a road that is given" if drives else "No drive is given"
        )
        return Finding(name, UNKNOWN, f"{says}, and the parcel is at no corner of two roads",
                       "keep_outs of the kind driveway up to the boundary", SIGHT)  # fmt: skip
    unknown = not (areas["kind"] == "stopping").any() and (areas["kind"] == "drive").any()
    if _rows(plants):
        first = plants.assign(first=_earliest(plants)).sort_values("first").iloc[0]
        area = areas.loc[areas["area_id"] == first["area_id"]].iloc[0]
        what = {
            "drive": f"the sight triangle at the {area['at']}",
            "corner": f"the sight triangle at the corner of {area['at']}",
            "stopping": f"what lies before the eye of a driver who leaves the {area['at']}, within the distance in which others can only just stop",
            "emerging": f"what lies before the eye of a driver who leaves the {area['at']}, within the gap that is needed to emerge",
        }[area["kind"]]  # fmt: skip
        return Finding(
            name, FAILS,
            f"{_growing(plants)} into ground over which a driver must see: plant "
            f"{first['plant_id']} first, in year {int(first['first'])}, above {first['limit_m']:.2f} m in {what}. "
            "A child behind it would be seen too late",
            "leaving these plants out, or a species that stays below that height", SIGHT,
        )  # fmt: skip
    says = f"No plant grows into any of the {len(areas)} areas that must stay clear, at any growth"
    if unknown:
        return Finding(name, UNKNOWN, f"{says}; distances along the road were not looked at", "the road's speed_kmh", SIGHT)  # fmt: skip
    return Finding(name, PASSES, says, caution=SIGHT)


def judge_wires(utilities, plants, allowance) -> Finding:
    """Tell whether a plant outgrows what is allowed near a wire."""
    name = "growth below wires"
    if not _holds(utilities, "overhead"):
        return Finding(name, UNKNOWN, "No overhead lines are given; that does not mean that there are none",
                       "a utilities layer with overhead lines", WIRES)  # fmt: skip
    if plants is None:
        return Finding(name, UNKNOWN, "Growth was not looked at", "the layer wire_plants", WIRES)
    if _rows(plants):
        first = plants.assign(first=_earliest(plants)).sort_values("first").iloc[0]
        when = _span(first)
        line = first["utility_id"]
        what = {
            "zoning": f"passes the {first['allowed_m']:.1f} m allowed {first['distance_m']:.1f} m from line {line}",
            "wire": f"grows into line {line}, {first['allowed_m']:.1f} m above it,",
            "sag and swing": f"comes into the room that line {line} takes when it sags and swings",
        }[first["what"]]
        return Finding(name, FAILS, f"{_growing(plants)} too tall for a line: plant {first['plant_id']} {what} {when}",
                       "a lower species there, or a place farther from the line", WIRES)  # fmt: skip
    says = "No plant outgrows what the zoning allows near a line, at any growth"
    if allowance is None:
        says += (
            ", or into a wire whose height is given; the line's sag and swing were not looked at"
        )
    return Finding(name, PASSES, says, "" if allowance is not None else "lines.allowance", WIRES)


def judge_digging(utilities, holes) -> Finding:
    """Tell whether a hole touches the zone about a buried line."""
    name = "holes at buried lines"
    if not _holds(utilities, "buried"):
        return Finding(name, UNKNOWN, "No buried lines are given; that does not mean that there are none",
                       "a utilities layer with buried lines", LOCATE)  # fmt: skip
    if holes is None:
        return Finding(
            name, UNKNOWN, "Holes were not looked at", "the layer holes_at_lines", LOCATE
        )
    if _rows(holes):
        near = holes.loc[holes["edge_m"].idxmin()]
        return Finding(name, FAILS, f"{holes['plant_id'].nunique()} holes touch the zone in which nothing is dug but by hand, "
                       f"nearest that of plant {near['plant_id']}, {near['edge_m']:.2f} m from line {near['utility_id']}",
                       "another place for these plants", LOCATE)  # fmt: skip
    return Finding(
        name,
        PASSES,
        "No hole touches the zone about a line that is given",
        caution=LOCATE,
    )


def judge_drains(keep_outs, plants) -> Finding:
    """Tell whether a plant grows taller than it stands away from a septic field."""
    name = "roots and the septic field"
    if not (
        _rows(keep_outs)
        and keep_outs["kind"].str.strip().str.lower().str.replace(" ", "_").eq("septic_field").any()
    ):
        return Finding(name, UNKNOWN, "No septic field is given; that does not mean that there is none",
                       "keep_outs of the kind septic_field", LOCATE)  # fmt: skip
    if plants is None:
        return Finding(name, UNKNOWN, "Growth was not looked at", "the layer deep_roots", LOCATE)
    if _rows(plants):
        first = plants.assign(first=_earliest(plants)).sort_values("first").iloc[0]
        return Finding(name, FAILS, f"{_growing(plants)} taller than they stand away from the field: plant "
                       f"{first['plant_id']}, {first['distance_m']:.1f} m away, {_span(first)}; its roots may reach the drains",
                       "a lower species there, or a place farther away", LOCATE)  # fmt: skip
    return Finding(name, PASSES, "No plant grows taller than it stands away from the field", caution=LOCATE)  # fmt: skip


def judge_outgrown(plants, buildings, known, most_height) -> Iterator[Finding]:
    """Tell when clipping must begin at the line and at walls, and how much it is then."""
    over = plants if plants is not None else pd.DataFrame({"what": []})
    name = "clipping at the line"
    if plants is None or not known:
        yield Finding(name, UNKNOWN, "The parcel's outline is not known", "a parcels layer", SURVEY)
    else:
        yield _clipped(name, over.loc[over["what"] == "crown over the line"],
                       "crowns grow over the line", "No crown grows over the line as drawn, at any growth", SURVEY)  # fmt: skip
    name = "height at the line"
    if most_height is None:
        yield Finding(name, UNKNOWN, "No height at the boundary is set", "boundary.most_height: what your code or your neighbour allows", TALK)  # fmt: skip
    elif plants is None or not known:
        yield Finding(name, UNKNOWN, "The parcel's outline is not known", "a parcels layer", SURVEY)
    else:
        yield _clipped(name, over.loc[over["what"] == "height at the line"],
                       f"plants grow taller than the {most_height:.2f} m allowed", f"No plant at the line grows taller than {most_height:.2f} m", TALK)  # fmt: skip
    name = "room at walls"
    if not _rows(buildings):
        yield Finding(name, UNKNOWN, "No buildings are given", "a buildings layer")
    elif plants is None:
        yield Finding(name, UNKNOWN, "Growth was not looked at", "the layer outgrown")
    else:
        yield _clipped(name, over.loc[over["what"].isin(["crown at a wall", "height at a wall"])],
                       "plants outgrow their room at a wall", "No plant outgrows its room at a wall, at any growth", "")  # fmt: skip


def _clipped(name, rows, fails, passes, caution) -> Finding:
    if not len(rows):
        return Finding(name, PASSES, passes, caution=caution)
    first = rows.assign(first=_earliest(rows)).sort_values("first").iloc[0]
    clip = rows["clip_m"].max()
    much = f", and after that by up to {clip:.2f} m a year" if pd.notna(clip) else ""
    return Finding(name, FAILS, f"{rows['plant_id'].nunique()} {fails}: they must be clipped, plant {first['plant_id']} first, {_span(first)}{much}",
                   "a place farther away, a narrower or lower species, or someone who clips every year", caution)  # fmt: skip


def judge_noise(paths, wanted) -> Finding:
    """Say what foliage takes away of the noise, in honest words."""
    name = "noise"
    if not _rows(paths):
        return Finding(name, UNKNOWN, "A single row gives no measurable reduction of noise; no road and private place are given",
                       "roads and private places")  # fmt: skip
    best = paths.loc[paths["loss_db"].idxmax()]
    if wanted is None:
        return Finding(name, UNKNOWN, f"{best['says']}; no reduction is asked for", "noise.wanted")
    worst = paths.loc[paths["loss_db"].idxmin()]
    if worst["loss_db"] + 1e-9 >= wanted:
        return Finding(name, PASSES, f"{worst['says']}; {wanted:g} dB are asked for")
    return Finding(name, FAILS, f"{worst['says']}", "a solid barrier, worked out by the standard")


def judge_health(table) -> Iterator[Finding]:
    """Hold shares and hardiness against the user's limits."""
    for topic, title in _HEALTH.items():
        rows = table.loc[table["topic"] == topic] if table is not None else pd.DataFrame()
        if not len(rows):
            continue
        bad = rows.loc[rows["meets"].eq(False).fillna(False)]
        unknown = rows.loc[rows["meets"].isna()]
        if len(bad):
            yield Finding(
                title, FAILS, "; ".join(bad["says"]), _REMEDY.get(topic, "another species")
            )
        elif len(unknown):
            row = unknown.iloc[0]
            yield Finding(title, UNKNOWN, row["says"], row["needs"])
        else:
            # Of a share the greatest says it all; each kind stands cold and the rest by itself.
            says = rows["says"].iloc[:1] if topic in _REMEDY else rows["says"]
            yield Finding(title, PASSES, "; ".join(says))


_HEALTH = {
    "species": "one species",
    "genus": "one genus",
    "hardiness": "winter cold",
    "browse": "browsing",
    "salt": "salt",
    "shade": "shade",
    "wet": "wet ground",
}
_REMEDY = {
    "species": "a second species in the row, mixed or by stretches",
    "genus": "a species of another genus in the row",
}


def _rows(layer) -> bool:
    return layer is not None and len(layer) > 0


def _holds(utilities, position) -> bool:
    return utilities is not None and bool((utilities["position"] == position).any())


def _growing(plants) -> str:
    count = plants["plant_id"].nunique()
    return "1 plant grows" if count == 1 else f"{count} plants grow"


def _earliest(rows):
    return rows[["year_low", "year", "year_high"]].min(axis=1)


def _span(row) -> str:
    """Say when something happens: the year at typical growth and the range over the growths."""
    early, typical, late = row["year_high"], row["year"], row["year_low"]
    if pd.isna(typical):
        first = row[["year_high", "year_low"]].dropna()
        return f"in year {int(first.min())} at high growth, not at typical growth in the years looked at"
    span = f"in year {int(typical)} at typical growth"
    if early != typical or (pd.isna(late) or late != typical):
        span += f" ({'–' if pd.isna(early) else int(early)} to {'never' if pd.isna(late) else int(late)})"
    return span
