"""What a finished plan is held against: the rules, the goal, and what cannot be judged.

Each finding is measured again from the layers, not taken from the steps that laid them, so that a
row which a person gave or which stands already is judged like any other.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import CHECKS
from screenplan.planting.species import Species, load_species
from screenplan.tables import table_of

#: A stem may lie this far outside a zone: the zones' outlines are rounded by less.
STEM_TOLERANCE_M = 0.005
#: Gaps are compared at the precision to which a stake can be set.
GAP_TOLERANCE_M = 0.005

_A = {"buried": "a buried", "overhead": "an overhead"}

LOCATE = (
    "Before any digging have buried lines located by the local locating service; "
    "maps and this plan do not replace it"
)
SURVEY = "Where the line matters, have it marked by a licensed surveyor"
WIRES = "Ask the owner of the line; keep yourself and tools away from wires"
SIGHT = "Ask the road authority which heights and distances hold at the drive and the corner"


@dataclass(frozen=True)
class Finding:
    """One line of the checks."""

    check: str
    result: str
    says: str
    needs: str = ""
    caution: str = ""


def judge_plan(
    parcels,
    planting_lines,
    plants,
    no_plant_zones,
    views,
    closure,
    utilities=None,
    roads=None,
    private_places=None,
    *,
    spacing_m: float = 1.5,
    closed_by: int | None = None,
    share: float = 1.0,
    threshold: float = 0.10,
    assumed_parcel: bool = False,
    table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Judge a plan by the rules that made it and by its goal.

    Parameters
    ----------
    parcels, planting_lines, plants, no_plant_zones, views, closure : GeoDataFrame or DataFrame
        Layers of a run, in the local frame.
    utilities, roads : GeoDataFrame, optional
        Without them what concerns them cannot be judged, and the table says so.
    private_places : GeoDataFrame, optional
        Gives the weight of each place; without it all weigh the same.
    spacing_m : float
        Asked spacing, m.
    closed_by : int, optional
        Year by which views should be closed at typical growth; without it the goal is not judged.
    share : float
        Share of the views' weight that should be closed by then, 0 to 1.
    threshold : float
        Share of a view that may stay open, for the sentence.
    assumed_parcel : bool
        True if the parcel's outline is only assumed.
    table : mapping, optional
        Species by key; by default the shipped table.

    Returns
    -------
    DataFrame
        By the contract ``checks``.
    """
    table = load_species() if table is None else table
    weights = (
        {}
        if private_places is None
        else dict(zip(private_places["place_id"], private_places["weight"], strict=True))
    )
    findings = [
        *_judge_stems(plants, no_plant_zones),
        _judge_crowns(parcels, plants, table, assumed_parcel),
        _judge_gaps(planting_lines, plants, no_plant_zones, spacing_m),
        *_judge_closure(closure),
        _judge_goal(views, closed_by, share, threshold, weights),
        _judge_lines(utilities, no_plant_zones, plants, "buried", LOCATE),
        _judge_lines(utilities, no_plant_zones, plants, "overhead", WIRES),
        _judge_sight(roads),
    ]
    return table_of(CHECKS, [vars(finding) for finding in findings])


def _judge_stems(plants, zones) -> Iterator[Finding]:
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


def _judge_crowns(parcels, plants, table, assumed) -> Finding:
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


def _judge_gaps(lines, plants, zones, spacing_m) -> Finding:
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


def _judge_closure(closure) -> Iterator[Finding]:
    for row in closure.loc[closure["growth"] == "typical"].itertuples():
        name = f"closure of {row.line_id}"
        if pd.isna(row.year_closed):
            yield Finding(name, "fails", f"At {row.spacing_m:.2f} m the row never closes up to {row.asked_height_m:.2f} m; "
                          f"it meets up to {row.mature_closed_height_m:.2f} m", "a closer spacing or a wider species")  # fmt: skip
        else:
            yield Finding(
                name,
                "passes",
                f"Crowns meet up to {row.asked_height_m:.2f} m in year {int(row.year_closed)} at typical growth",
            )


def _judge_goal(views, closed_by, share, threshold, weights) -> Finding:
    name = "views closed"
    seen = views.loc[views["status"].isin(["closes", "stays open"])]
    if not len(seen):
        return Finding(
            name,
            "cannot be judged",
            "No view is open today, or there are no windows and places",
            "windows and private places",
        )
    closes = int((seen["status"] == "closes").sum())
    if closed_by is None:
        return Finding(
            name,
            "cannot be judged",
            f"{closes} of {len(seen)} open views close in the years looked at; no goal is set",
            "goal.closed_by",
        )
    weight = seen["place_id"].map(lambda place: weights.get(place, 1.0)).to_numpy(float)
    done = (seen["year_closed"] <= closed_by).fillna(False).to_numpy(bool)
    if weight.sum() <= 0:
        return Finding(
            name, "cannot be judged", "Every place that is seen has weight 0", "a weight above 0"
        )
    reached = float(weight[done].sum() / weight.sum())
    says = (f"{done.sum()} of {len(seen)} open views ({reached:.0%} by weight) are closed to {1 - threshold:.0%} "
            f"by year {closed_by}; {share:.0%} are asked")  # fmt: skip
    return Finding(name, "passes" if reached >= share - 1e-9 else "fails", says)


def _judge_lines(utilities, zones, plants, position, caution) -> Finding:
    name = f"{position} lines"
    if utilities is None or not (utilities["position"] == position).any():
        return Finding(name, "cannot be judged", f"No {position} lines are given; that does not mean that there are none",
                       f"a utilities layer with {position} lines", caution)  # fmt: skip
    near = zones.loc[zones["feature"] == position]
    reach = shapely.union_all(shapely.buffer(near.geometry.to_numpy(), -STEM_TOLERANCE_M))
    hits = int(shapely.intersects(plants.geometry.to_numpy(), reach).sum())
    if hits:
        return Finding(
            name,
            "fails",
            f"{hits} plants stand in the zone of {_A[position]} line",
            "another place for them",
            caution,
        )
    return Finding(
        name,
        "passes",
        f"No plant stands in the zone of {_A[position]} line that is given",
        caution=caution,
    )


def _judge_sight(roads) -> Finding:
    says = ("No roads are given" if roads is None or not len(roads)
            else "Sight at drives and corners depends on the local code and on the spot")  # fmt: skip
    return Finding(
        "sight at the road",
        "cannot be judged",
        says,
        "the sight distances of the local code",
        SIGHT,
    )
