"""The published guidance on hedge height: how tall a hedge may be kept before it takes too much light.

It was written for evergreen hedges in England and Wales and is law only there; elsewhere it is a
yardstick that neighbours can agree on. With D the distance of a window from the hedge, A the area
of a garden, L the length of the hedge along it and s how far it stands behind the boundary,

    window opposite the hedge   H = D / 2 + 1 m
    hedge beside the window     H = D + 1 m
    garden                      H = factor × A / L, + s where s is more than 1 m

H counts from the ground at the window, or from the mean ground of the garden. What is told counts
from the ground where the row stands nearest to the window, or from its mean along the garden. The
lower of the results counts, and never less than 2 m above the row's own ground. How each factor is
known is said by the limit that carries it (`screenplan rules`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import HEDGE_HEIGHTS
from screenplan.contracts.called import target_called, target_names
from screenplan.contracts.findings import FAILS, PASSES, TALK, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of, numbers
from screenplan.effects.growing import first_years
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import WINDS, HedgeHeight, Limit
from screenplan.rules.limits import limit_of
from screenplan.site.overlay import without
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain

#: A hedge is opposite a window if its nearest point lies within this angle of straight out.
OPPOSITE_DEG = 45.0
#: A hedge farther than this from a garden is not at it.
AT_GARDEN_M = 10.0
#: The ground along a row is looked at in steps of this length.
GROUND_STEP_M = 0.5


def window_height(distance_m: float, rule: HedgeHeight, *, opposite: bool) -> float:
    """Height of a hedge that leaves a window enough light, metres above the window's ground.

    Parameters
    ----------
    distance_m : float
        From the window to the hedge, metres.
    rule : Limit
        Of the kind ``hedge_height``.
    opposite : bool
        True for a hedge opposite the window, False for one beside it.

    Examples
    --------
    >>> from screenplan.rules.limits import load_limits
    >>> window_height(10.0, load_limits()["high_hedge"], opposite=True)
    6.0
    """
    name = "window_opposite_per_distance" if opposite else "window_side_per_distance"
    return getattr(rule, name) * distance_m + rule.window_plus_m


def garden_height(
    area_m2: float, hedge_m: float, wind: str, rule: HedgeHeight, *, set_back_m: float = 0.0
) -> float:
    """Height of a hedge that leaves a garden enough light, metres above the garden's ground.

    Parameters
    ----------
    area_m2, hedge_m : float
        Area of the garden, and length of the hedge along it.
    wind : str
        Side of the garden on which the hedge stands, one of the eight winds.
    rule : Limit
        Of the kind ``hedge_height``.
    set_back_m : float
        How far the hedge stands behind the boundary; counts beyond 1 m.
    """
    more = set_back_m if set_back_m > rule.set_back_beyond_m else 0.0
    return rule.garden_factors[wind] * area_m2 / hedge_m + more


def guide_heights(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Give the height to which each row may be kept for each neighbour's window and garden.

    Parameters
    ----------
    layers : mapping
        Parcels, planting lines and plants, and windows and buildings if there are any: by their
        contracts, in local-frame metres. Windows of the subject's own buildings are passed over.
    plan : Options, optional
        Of it [light], [windows] and [growth]. Unless the guidance is asked for the layer is empty.
    terrain : Terrain, optional
        Ground heights: the result is turned into a height above the ground at the row.
    limits, species_table : mapping, optional
        By default the shipped ones.

    Returns
    -------
    GeoDataFrame
        By the contract ``hedge_heights``.
    """
    parcels, plants = layers["parcels"], layers["plants"]
    windows, buildings = layers.get("windows"), layers.get("buildings")
    rule = limit_of(limits, HedgeHeight)
    if (
        not plan.light.hedge_guidance
        or rule is None
        or not len(plants)
        or not outline_known(parcels)
    ):
        return layer_of(HEDGE_HEIGHTS, [], [], parcels.crs)
    stand = planned_stand(plants, plan, species_table)
    evergreen = np.array([start.species.evergreen for start in stand.starts])[stand.start]
    made = []
    for line in layers["planting_lines"].itertuples():
        mine = np.flatnonzero((plants["line_id"] == line.line_id).to_numpy() & evergreen)
        if len(mine) < 2:  # the guidance holds for two or more evergreens
            continue
        row = _Row(line, stand.height[mine], rule, terrain)
        if has_rows(windows):
            made += row.windows(_neighbours(windows, buildings, parcels), plan.windows.reach)
        made += row.gardens(parcels, buildings)
    return layer_of(HEDGE_HEIGHTS, [row for row, _ in made], [at for _, at in made], parcels.crs)


class _Row:
    def __init__(self, line, heights, rule, terrain):
        self.line, self.heights, self.rule, self.terrain = line, heights, rule, terrain

    def windows(self, windows, reach_m):
        facing = np.radians(numbers(windows, "facing_deg", np.nan))
        for row, name in enumerate(identifiers(windows, "window_id")):
            point = windows.geometry.iloc[row]
            away = shapely.distance(self.line.geometry, point)
            if away > reach_m or not np.isfinite(facing[row]) or away == 0:
                continue
            out = np.array([np.sin(facing[row]), np.cos(facing[row])])
            # The part of the row that lies before the wall, to within a finger's breadth.
            xy = shapely.get_coordinates(shapely.segmentize(self.line.geometry, 0.5))
            if not (((xy - (point.x, point.y)) @ out) > 0.05).any():
                continue
            near = shapely.get_coordinates(shapely.shortest_line(point, self.line.geometry))
            way = (near[1] - near[0]) / away
            opposite = bool(way @ out >= np.cos(np.radians(OPPOSITE_DEG)))
            height = window_height(away, self.rule, opposite=opposite)
            formula = "window opposite the row" if opposite else "row beside the window"
            # A row may climb along its length: what counts is its ground before the window.
            rise = self._ground(point) - self._ground(shapely.Point(near[1]))
            yield self._made("window", name, formula, away, height, rise), point

    def gardens(self, parcels, buildings):
        subject = parcels.loc[parcels["is_subject"].astype(bool)].geometry.iloc[0]
        for parcel in parcels.loc[~parcels["is_subject"].astype(bool)].itertuples():
            garden = garden_of(parcel.geometry, buildings)
            away = shapely.distance(self.line.geometry, garden)
            if garden.is_empty or away > AT_GARDEN_M:
                continue
            beside = shapely.intersection(
                self.line.geometry, shapely.buffer(garden, away + self.rule.set_back_beyond_m)
            )
            middle, centre = beside.centroid, garden.centroid
            wind = wind_of(middle.x - centre.x, middle.y - centre.y)
            if not beside.length > 0:
                continue
            # Behind the boundary with this garden: how near the row comes to another one is no matter.
            across = shapely.shortest_line(beside, parcel.geometry)
            set_back = shapely.intersection(across, subject).length
            height = garden_height(garden.area, beside.length, wind, self.rule, set_back_m=set_back)
            formula = f"garden, row on its {wind} side"
            rise = self._ground(garden) - self._ground(beside)
            yield self._made("garden", str(parcel.parcel_id), formula, away, height, rise), garden

    def _ground(self, shape) -> float:
        """Height of the ground under a point, on average along a line or under an area."""
        if self.terrain is None:
            return 0.0
        if shape.area > 0:
            return self.terrain.mean_under(shape)
        if shape.geom_type == "Point":
            return float(self.terrain.height_at(shape.x, shape.y))
        ends = [
            shapely.get_coordinates(part)
            for part in shapely.get_parts(shapely.segmentize(shape, GROUND_STEP_M))
        ]
        middles = np.concatenate([(xy[1:] + xy[:-1]) / 2.0 for xy in ends])
        lengths = np.concatenate([np.hypot(*(xy[1:] - xy[:-1]).T) for xy in ends])
        return float(np.average(self.terrain.height_at(*middles.T), weights=lengths))

    def _made(self, kind, name, formula, away, height, rise) -> dict:
        kept = max(height + rise, self.rule.never_below_m)
        holds = (self.heights > kept).any(axis=0)
        return {
            "height_id": f"{self.line.line_id} {kind} {name}",
            "line_id": str(self.line.line_id),
            "kind": kind,
            "target_id": name,
            "formula": formula,
            "distance_m": away,
            "guided_m": height,
            "keep_below_m": kept,
            **first_years(holds),
            "status": self.rule.status,
            "source": self.rule.source,
        }


def garden_of(parcel, buildings):
    """Ground of a parcel that no building covers."""
    if not has_rows(buildings):
        return parcel
    return without(parcel, shapely.union_all(buildings.geometry.to_numpy()))


def wind_of(dx: float, dy: float) -> str:
    """Name one of the eight winds for a direction."""
    return WINDS[int(np.floor(np.degrees(np.arctan2(dx, dy)) / 45.0 + 0.5)) % 8]


def _neighbours(windows, buildings, parcels):
    """Windows that are not in a building of the subject."""
    if not has_rows(buildings) or "parcel_id" not in buildings.columns:
        return windows
    subject = set(parcels.loc[parcels["is_subject"].astype(bool), "parcel_id"].astype(str))
    own = set(buildings.loc[buildings["parcel_id"].astype(str).isin(subject), "building_id"].astype(str))  # fmt: skip
    keep = ~windows["building_id"].astype(object).map(
        lambda building_id: not pd.isna(building_id) and str(building_id) in own
    )
    return windows.loc[keep.to_numpy(bool)]


def judge_hedge_heights(hedge_heights, plan, layers=None) -> Iterator[Finding]:
    """Hold the rows against the published guidance, where the plan asks for it."""
    if not plan.light.hedge_guidance:
        return
    name = "hedge-height guidance"
    if not has_rows(hedge_heights):
        yield Finding(name, UNKNOWN, "No evergreen row stands before a neighbour's window or garden that is given",
                      "windows, neighbours' parcels, and an evergreen row")  # fmt: skip
        return
    names = target_names(layers or {})
    over = hedge_heights.loc[hedge_heights["year"].notna()]
    lowest = hedge_heights.loc[hedge_heights["keep_below_m"].idxmin()]
    says = (f"The lowest height is {{{lowest['keep_below_m']:.2f} m}} above the ground at row {lowest['line_id']}, for "
            f"{target_called(lowest['kind'], lowest['target_id'], names)} ({lowest['formula']})")  # fmt: skip
    note = f"The factors are {lowest['status']}; the guidance was written for England and Wales"
    if not len(over):
        yield Finding(name, PASSES, f"{says}; no row passes its own", caution=note)
        return
    first = over.loc[over["year"].astype(int).idxmin()]
    count = over["target_id"].nunique()
    what = f"{count} neighbours' windows or gardens have"
    if count == 1:
        what = "1 neighbour's window or garden has"
    yield Finding(
        name, FAILS,
        f"{what} a taller row before {'it' if count == 1 else 'them'} than the guidance "
        f"allows, first {target_called(first['kind'], first['target_id'], names)} in year {int(first['year'])}, when it passes "
        f"{{{first['keep_below_m']:.2f} m}}. {says}",
        "keeping the row below that height from then on, or a lower species", f"{note}. {TALK}",
    )  # fmt: skip
