"""Checks of the rows: stems against the rules, crowns against the line, gaps against the spacing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.ops import substring

from screenplan.contracts.findings import FAILS, LOCATE, PASSES, SURVEY, UNKNOWN, WIRES, Finding
from screenplan.contracts.tables import has_rows, texts
from screenplan.ground.texts import first_few
from screenplan.planting.footprints import crown_areas
from screenplan.planting.neighbours import GAP_TOLERANCE_M, OUTSIDE_M, gaps_between
from screenplan.planting.patterns import STANDING_UNEVEN
from screenplan.planting.stand import stand_of
from screenplan.planting.ways import open_ways
from screenplan.planting.zones import plantable_ground
from screenplan.site.ownership import outline_known, subject_ground, subject_outlines

#: A stem may lie this far outside a zone: the zones' outlines are rounded by less.
STEM_TOLERANCE_M = 0.005


def judge_stems(plants, no_plant_zones, parcels, new_screens=None) -> Iterator[Finding]:
    """Look for stems in ground that a rule keeps clear."""
    if not len(plants) and has_rows(new_screens):
        what = new_screens["option"].iloc[0]
        yield Finding("plants", PASSES, f"Nothing is planted: the design builds a {what} alone")
        return
    if not len(plants):
        yield Finding("plants", FAILS, "No plant can stand anywhere along the chosen sides",
                      needs="another side, a narrower species, or a smaller setback")  # fmt: skip
        return
    # Private places are judged by themselves, each plant by its own width.
    zones = no_plant_zones.loc[no_plant_zones["feature"] != "private_place"]
    stem, zone = _stems_within(zones, plants)
    if not len(stem) and not outline_known(parcels):
        says = "The parcel's outline is not known, and so no distance to it"
        if len(zones):
            says += f"; all {len(plants)} stems stand clear of what is given"
        yield Finding("setbacks", UNKNOWN, says, "a parcels layer", SURVEY)
        return
    if not len(stem):
        yield Finding("setbacks", PASSES, f"All {len(plants)} stems stand clear of every rule")
        return
    hit = zones.iloc[zone].assign(plant=plants["plant_id"].to_numpy()[stem])
    for rule, rows in hit.groupby("rule", sort=False):
        yield Finding("setbacks", FAILS, f"Plants {_named(rows['plant'])} stand where rule {rule} allows none: {rows['reason'].iloc[0]}",
                      caution=LOCATE if "buried" in set(rows["feature"]) else "")  # fmt: skip


def _stems_within(zones, plants) -> tuple[np.ndarray, np.ndarray]:
    """Find the stems that stand in zones that hold for them, as rows of both.

    Where kinds with different setbacks are planted, each zone may hold for one species alone.
    """
    inner = shapely.buffer(zones.geometry.to_numpy(), -STEM_TOLERANCE_M)
    stem, zone = shapely.STRtree(inner).query(plants.geometry.to_numpy(), predicate="intersects")
    of_zone = np.array(texts(zones, "species"), object)[zone]
    mine = (of_zone == "") | (of_zone == plants["species"].astype(str).to_numpy()[stem])
    return stem[mine], zone[mine]


def judge_crowns(parcels, plants, species_table) -> Finding:
    """Look for mature crowns that reach over the line."""
    name = "crowns inside the parcel"
    if not outline_known(parcels):
        return Finding(
            name, UNKNOWN, "The parcel's outline is not known", "a parcels layer", SURVEY
        )
    if not len(plants):
        return Finding(name, UNKNOWN, "There are no plants", "plants")
    over = _over(subject_outlines(parcels), plants, species_table)
    outside = over > STEM_TOLERANCE_M
    if not outside.any():
        return Finding(
            name, PASSES, "Every mature crown stays inside the boundary as drawn", caution=SURVEY
        )
    return Finding(name, FAILS, f"{outside.sum()} mature crowns reach over the boundary, by up to {{{over.max():.2f} m}}",
                   "a larger offset, a narrower species, or clipping", SURVEY)  # fmt: skip


def _over(subjects, plants, species_table) -> np.ndarray:
    """How far each mature crown reaches over the line of its own lot, metres; below 0 for those inside."""
    stand = stand_of(plants, years=[0], species_table=species_table)
    points, box = stand.points, stand.box
    species = [stand.starts[k].species for k in stand.start]
    along = np.array([kind.final_spread("high") for kind in species]) / 2.0
    across = np.array([kind.final_width("high") for kind in species]) / 2.0
    subject = subjects[shapely.distance(points[:, None], subjects).argmin(axis=1)]
    sign = np.where(shapely.intersects(subject, points), 1.0, -1.0)
    over = along - sign * shapely.distance(points, shapely.boundary(subject))
    if box.any():
        areas = crown_areas(points[box], along[box], across[box], box[box], stand.way[box])
        over[box] = [
            _farthest_outside(area, own) for area, own in zip(areas, subject[box], strict=True)
        ]
    return over


def _farthest_outside(area, subject) -> float:
    """Give the distance of a crown's farthest corner beyond the line, metres; 0 if it stays inside."""
    corners = shapely.points(shapely.get_coordinates(shapely.difference(area, subject)))
    return float(shapely.distance(subject, corners).max(initial=0.0))


def judge_places(private_places, plants, species_table) -> Finding:
    """Look for plants in the places that they are to screen, and for grown crowns that reach into one.

    Plants that stand already are judged like new ones; each counts by half the width that it has in
    the end.
    """
    name = "private places"
    if private_places is None or not len(private_places):
        return Finding(name, UNKNOWN, "There is no private place", "private_places")
    if not len(plants):
        return Finding(name, UNKNOWN, "There are no plants", "plants")
    ids = plants["plant_id"].to_numpy()
    half = np.array(
        [species_table[key].final_width("high") / 2.0 for key in plants["species"].astype(str)]
    )
    said = []
    for place, shape in zip(private_places["place_id"], private_places.geometry, strict=True):
        away = shapely.distance(plants.geometry.to_numpy(), shape)
        within = away <= STEM_TOLERANCE_M
        over = half - away
        reach = (over > STEM_TOLERANCE_M) & ~within
        if within.any():
            said.append(f"plants {_named(ids[within])} stand in private place {place}")
        if reach.any():
            said.append(f"the grown crowns of plants {_named(ids[reach])} reach into private place {place}, "
                        f"by up to {{{over[reach].max():.2f} m}}")  # fmt: skip
    if not said:
        return Finding(
            name, PASSES, "No stem stands in a private place, and no grown crown reaches into one"
        )
    says = "; ".join(said)
    return Finding(name, FAILS, says[0].upper() + says[1:],
                   "the place drawn where people sit clear of the plants, narrower plants, or clipping")  # fmt: skip


def _named(plants) -> str:
    """Name the first ten plants, and say how many more there are."""
    return first_few(sorted(set(plants)), 10)


def judge_gaps(layers, plan, species_table=None) -> Finding:
    """Look for gaps that are wider than asked though nothing forbids a plant, and for seen ones.

    A gap that a rule explains fails too if a view that stays open passes it: the reason does not
    close the view.
    """
    planting_lines, plants, dropped_stations = (
        layers[name] for name in ("planting_lines", "plants", "dropped_stations")
    )
    views, view_holes, spacing_m = layers.get("views"), layers.get("view_holes"), plan.rows.spacing
    stands = set(plants.loc[plants["existing"].astype(bool), "line_id"])
    wide = [
        gap
        for gap in gaps_between(plants, planting_lines)
        if gap.width_m > _widest(gap, planting_lines, stands, spacing_m)
    ]
    zone = plantable_ground(layers["plantable_zone"], layers.get("no_plant_zones"), planting_lines)
    names = planting_lines["line_id"].to_numpy()
    open_gaps = [
        gap
        for gap in wide
        if not _is_explained(
            gap,
            planting_lines,
            zone,
            dropped_stations.loc[dropped_stations["line_id"] == names[gap.line]],
        )
    ]
    if open_gaps:
        gap = open_gaps[0]
        return Finding("gaps", FAILS, f"{len(open_gaps)} gaps are wider than asked, the first on {names[gap.line]} "
                       f"from {{{gap.from_m:.2f} to {gap.to_m:.2f} m}}", "more plants, or a wider spacing in the plan")  # fmt: skip
    known = views is not None and view_holes is not None
    if known and (
        ways := open_ways(planting_lines, plants, wide, spacing_m, views, view_holes, species_table)
    ):
        way, more = ways[0], len(ways) - 1
        passing = (
            "1 view that stays open passes"
            if way.views == 1
            else f"{way.views} views that stay open pass"
        )
        others = f"; {more} more stretches without plants let open views pass" if more else ""
        return Finding("gaps", FAILS, f"{passing} between the plants of {way.line_id} from {{{way.from_m:.2f} to {way.to_m:.2f} m}}, "
                       f"where a rule or the end of the row allows no plant{others}",
                       "a narrower species where only the crown lacks room, another place for the row, or what may stand there: a fence, a gate, a lower plant")  # fmt: skip
    note = ""
    if wide:
        note = f"; {len(wide)} wider {'one lies' if len(wide) == 1 else 'ones lie'} at exclusions or corners"
        note += ", and no view that stays open passes there" if known else ""
    return Finding(
        "gaps", PASSES, f"No gap between neighbours is wider than {{{spacing_m:.2f} m}}{note}"
    )


def _widest(gap, lines, stands, spacing_m) -> float:
    """Give the gap that counts as asked: in a row that stands already a quarter more."""
    uneven = lines["line_id"].iloc[gap.line] in stands
    return spacing_m * (STANDING_UNEVEN if uneven else 1.0) + GAP_TOLERANCE_M


def _is_explained(gap, lines, zone, dropped) -> bool:
    """Tell whether a gap leaves the plantable zone, or holds a station that was left out."""
    stretch = substring(lines.geometry.iloc[gap.line], gap.from_m, gap.to_m)
    if shapely.length(shapely.difference(stretch, zone)) > OUTSIDE_M:
        return True
    return bool(
        dropped["station_m"].between(gap.from_m - GAP_TOLERANCE_M, gap.to_m + GAP_TOLERANCE_M).any()
    )


_A = {"buried": "a buried", "overhead": "an overhead"}


def judge_lines(utilities, no_plant_zones, plants, parcels) -> Iterator[Finding]:
    """Look for stems in the zones of lines in the ground, and of those in the air."""
    for position, caution in (("buried", LOCATE), ("overhead", WIRES)):
        yield judge_lines_at(position, utilities, no_plant_zones, plants, parcels, caution)


def judge_lines_at(position, utilities, zones, plants, parcels, caution) -> Finding:
    """Tell whether a stem stands in the zone of a line in that position."""
    name = f"{position} lines"
    if utilities is None or not (utilities["position"] == position).any():
        return Finding(name, UNKNOWN, f"No {position} lines are given; that does not mean that there are none",
                       f"a utilities layer with {position} lines", caution)  # fmt: skip
    near = zones.loc[zones["feature"] == position]
    subject = subject_ground(parcels)
    crosses = utilities.loc[utilities["position"] == position].intersects(subject).any()
    if crosses and near.empty:
        return Finding(name, UNKNOWN, f"{_A[position].capitalize()} line crosses the parcel, and no setback holds for it",
                       "a setback rule for it: those that come with screenplan are switched off", caution)  # fmt: skip
    hits = len(np.unique(_stems_within(near, plants)[0]))
    if hits:
        return Finding(
            name,
            FAILS,
            f"{hits} plant{' stands' if hits == 1 else 's stand'} in the zone of {_A[position]} line",
            "another place for them",
            caution,
        )
    return Finding(
        name,
        PASSES,
        f"No plant stands in the zone of {_A[position]} line that is given",
        caution=caution,
    )
