"""Overhead lines: which plants grow taller than the zoning allows, or into the wires' room."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import WIRE_PLANTS
from screenplan.contracts.findings import FAILS, PASSES, UNKNOWN, WIRES, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of, numbers
from screenplan.effects.growing import earliest, first_years
from screenplan.effects.telling import first_to_grow, holds_lines, how_many_grow, span_of_years
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.effects import Lines
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import Limit, Zoning
from screenplan.rules.limits import allowed_height, limit_named
from screenplan.site.terrain import Terrain, ground_at


def reach_wires(
    plants: gpd.GeoDataFrame,
    utilities: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Tell in which year plants outgrow the zoning at overhead lines, or come near the wire.

    Parameters
    ----------
    plants, utilities : GeoDataFrame
        Layers in the local frame.
    terrain : Terrain, optional
        Ground heights; a wire's height is above the ground under it.
    plan : Options, optional
        Of it [lines] and [growth].

    Returns
    -------
    GeoDataFrame
        By the contract ``wire_plants``: plants that come into conflict at any growth.

    Notes
    -----
    A crown comes near a wire when the box around it does: level distance less its radius (of a
    clipped hedge half its diagonal), and
    height of the wire less its own. That is the safe side.
    """
    rule = limit_named(limits, plan.lines.wires, Zoning, Lines.key("wires"))
    allowance_m = plan.lines.allowance
    stand = planned_stand(plants, plan, species_table)
    records, shapes = [], []
    wires = utilities.loc[utilities["position"] == "overhead"] if has_rows(utilities) else None
    if not has_rows(wires) or not len(plants):
        return layer_of(WIRE_PLANTS, [], [], plants.crs)
    ids = plants["plant_id"].to_numpy()
    ground = np.nan_to_num(stand.ground_m)
    reach = max(rule.within_m[-1], allowance_m or 0.0) + stand.farthest.max(initial=0.0)
    heights = numbers(wires, "height_m", np.nan)
    for wire, wire_id in enumerate(identifiers(wires, "utility_id")):
        shape = wires.geometry.iloc[wire]
        away = shapely.distance(stand.points, shape)
        for plant in np.flatnonzero(away < reach):
            most = allowed_height(rule, away[plant])
            found = {"zoning": (most, stand.height[plant] > most)}
            if np.isfinite(heights[wire]):
                top = heights[wire] + _under(shape, stand.points[plant], terrain) - ground[plant]
                level = np.maximum(away[plant] - stand.farthest[plant], 0.0)
                up = np.maximum(top - stand.height[plant], 0.0)
                if allowance_m is None:
                    found["wire"] = (top, np.hypot(level, up) <= 0.0)
                else:
                    found["sag and swing"] = (
                        top - allowance_m,
                        np.hypot(level, up) < allowance_m,
                    )
            for what, (limit, holds) in found.items():
                when = first_years(holds)
                if earliest(when) is None:
                    continue
                records.append(
                    {
                        "wire_plant_id": f"{ids[plant]} {wire_id} {what}",
                        "plant_id": int(ids[plant]),
                        "utility_id": wire_id,
                        "what": what,
                        "distance_m": away[plant],
                        "allowed_m": max(limit, 0.0),
                        "height_m": stand.height[plant, TYPICAL, -1],
                        **when,
                        "rule": plan.lines.wires if what == "zoning" else "lines.allowance",
                        "source": {
                            "zoning": rule.source,
                            "wire": "the wire's height as given",
                            "sag and swing": "the user's allowance",
                        }[what],
                    }
                )
                shapes.append(stand.points[plant])
    return layer_of(WIRE_PLANTS, records, shapes, plants.crs)


def _under(shape, point, terrain) -> float:
    """Height of the ground under the wire where it is nearest to a plant."""
    nearest = shape.interpolate(shape.project(point)) if shape.geom_type != "Point" else shape
    return float(ground_at(terrain, shapely.get_coordinates(nearest))[0])


def judge_wires(utilities, wire_plants, plan) -> Finding:
    """Tell whether a plant outgrows what is allowed near a wire."""
    name = "growth below wires"
    if not holds_lines(utilities, "overhead"):
        return Finding(name, UNKNOWN, "No overhead lines are given; that does not mean that there are none",
                       "a utilities layer with overhead lines", WIRES)  # fmt: skip
    if wire_plants is None:
        return Finding(name, UNKNOWN, "Growth was not looked at", "the layer wire_plants", WIRES)
    if has_rows(wire_plants):
        first = first_to_grow(wire_plants)
        when = span_of_years(first)
        line = first["utility_id"]
        what = {
            "zoning": f"passes the {{{first['allowed_m']:.1f} m}} allowed {{{first['distance_m']:.1f} m}} from wire {line}",
            "wire": f"grows into wire {line}, {{{first['allowed_m']:.1f} m}} above it,",
            "sag and swing": f"comes into the room that wire {line} takes when it sags and swings",
        }[first["what"]]
        return Finding(name, FAILS, f"{how_many_grow(wire_plants)} too tall for an overhead wire: plant {first['plant_id']} {what} {when}",
                       "a lower species there, or a place farther from the wire", WIRES)  # fmt: skip
    says = "No plant outgrows what the zoning allows near an overhead wire, at any growth"
    allowed = plan.lines.allowance is not None
    if not allowed:
        says += (
            ", or into a wire whose height is given; the wire's sag and swing were not looked at"
        )
    return Finding(name, PASSES, says, "" if allowed else "lines.allowance", WIRES)
