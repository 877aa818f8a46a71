"""Stems against the rules, crowns against the line, gaps against the spacing."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
import shapely

from screenplan.checks.findings import LOCATE, SURVEY, Finding

#: A stem may lie this far outside a zone: the zones' outlines are rounded by less.
STEM_TOLERANCE_M = 0.005
#: Gaps are compared at the precision to which a stake can be set.
GAP_TOLERANCE_M = 0.005


def judge_stems(plants, zones) -> Iterator[Finding]:
    """Look for stems in ground that a rule keeps clear."""
    if not len(plants):
        yield Finding("plants", "fails", "No plant can stand anywhere along the chosen sides",
                      needs="another side, a narrower species, or a smaller setback")  # fmt: skip
        return
    inner = shapely.buffer(zones.geometry.to_numpy(), -STEM_TOLERANCE_M)
    keep = ~shapely.is_empty(inner)
    tree = shapely.STRtree(inner[keep])
    stem, zone = tree.query(plants.geometry.to_numpy(), predicate="intersects")
    if not len(stem):
        yield Finding("setbacks", "passes", f"All {len(plants)} stems stand clear of every rule")
        return
    hit = zones[keep].iloc[zone].assign(plant=plants["plant_id"].to_numpy()[stem])
    for rule, rows in hit.groupby("rule", sort=False):
        names = ", ".join(str(plant) for plant in sorted(set(rows["plant"]))[:10])
        yield Finding("setbacks", "fails", f"Plants {names} stand where rule {rule} allows none: {rows['reason'].iloc[0]}",
                      caution=LOCATE if "buried" in set(rows["feature"]) else "")  # fmt: skip


def judge_crowns(parcels, plants, table, assumed) -> Finding:
    """Look for mature crowns that reach over the line."""
    name = "crowns inside the parcel"
    if assumed:
        return Finding(
            name, "cannot be judged", "The parcel's outline is not known", "a parcels layer", SURVEY
        )
    if not len(plants):
        return Finding(name, "cannot be judged", "There are no plants", "plants")
    outline = shapely.boundary(parcels.loc[parcels["is_subject"]].geometry.iloc[0])
    reach = plants["species"].map(
        {key: max(species.mature_spread_m) / 2 for key, species in table.items()}
    )
    over = reach.to_numpy() - shapely.distance(plants.geometry.to_numpy(), outline)
    outside = over > STEM_TOLERANCE_M
    if not outside.any():
        return Finding(
            name, "passes", "Every mature crown stays inside the line as drawn", caution=SURVEY
        )
    return Finding(name, "fails", f"{outside.sum()} mature crowns reach over the line, by up to {over.max():.2f} m",
                   "a larger offset, a narrower species, or clipping", SURVEY)  # fmt: skip


def judge_gaps(lines, plants, zones, spacing_m) -> Finding:
    """Look for gaps that are wider than asked though nothing forbids a plant in them."""
    wide, explained = [], 0
    forbidden = shapely.union_all(zones.geometry.to_numpy())
    shapely.prepare(forbidden)
    for line_id, row in plants.groupby("line_id", sort=False):
        line = lines.loc[lines["line_id"] == line_id].geometry.iloc[0]
        stations = np.sort(row["station_m"].to_numpy())
        for start, end in itertools.pairwise(stations):
            if end - start <= spacing_m + GAP_TOLERANCE_M:
                continue
            # A plant would fit where the free stretch between the two is not all forbidden.
            between = shapely.line_interpolate_point(line, np.linspace(start, end, 51)[1:-1])
            if shapely.intersects(forbidden, between).any():
                explained += 1
            else:
                wide.append((line_id, start, end))
    if wide:
        line_id, start, end = wide[0]
        return Finding("gaps", "fails", f"{len(wide)} gaps are wider than asked, the first on {line_id} from {start:.2f} to {end:.2f} m",
                       "more plants, or a wider spacing in the plan")  # fmt: skip
    note = f"; {explained} wider ones lie at exclusions" if explained else ""
    return Finding(
        "gaps", "passes", f"No gap between neighbours is wider than {spacing_m:.2f} m{note}"
    )
