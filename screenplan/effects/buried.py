"""Buried lines and drains: where nothing is dug but by hand, and which holes touch that."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import DEEP_ROOTS, HOLES_AT_LINES, LOCATE_ZONES
from screenplan.contracts.findings import FAILS, LOCATE, PASSES, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of, numbers, texts, with_notes
from screenplan.effects.growing import first_years
from screenplan.effects.telling import first_to_grow, holds_lines, how_many_grow, span_of_years
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.effects import Lines
from screenplan.planting.clearing import keep_clear
from screenplan.planting.growth import TYPICAL
from screenplan.planting.holes import LOCATE_FIRST, hole_widths
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import ByHeight, Limit, Tolerance
from screenplan.rules.limits import limit_named, limit_of


def mark_buried(
    plants: gpd.GeoDataFrame,
    utilities: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Draw the tolerance zones of buried lines, and list the holes that touch one.

    Parameters
    ----------
    plants, utilities : GeoDataFrame
        Layers in the local frame. Plants that stand already need no hole.
    plan : Options, optional
        Of it [lines], [setbacks] and [works].
    limits : mapping, optional
        By default the shipped limits.

    Returns
    -------
    locate_zones, holes_at_lines : GeoDataFrame
        The zones, diameter + twice the margin wide; and the holes in them, dug by hand if at all.
        Both carry the caution to have lines located first, whether or not any is given.
    """
    rule = limit_named(limits, plan.lines.locate, Tolerance, Lines.key("locate"))
    zones, outlines, holes, spots = [], [], [], []
    lines = utilities.loc[utilities["position"] == "buried"] if has_rows(utilities) else None
    if has_rows(lines):
        half = numbers(lines, "diameter_m", 0.0) / 2.0
        kinds = texts(lines, "kind")
        points, ids = plants.geometry.to_numpy(), plants["plant_id"].to_numpy()
        dug = ~plants["existing"].fillna(False).to_numpy(bool)
        half_hole = hole_widths(plants, dug, plan.works.hole_factor, plan.setbacks.hole) / 2.0
        for row, name in enumerate(identifiers(lines, "utility_id")):
            reach = half[row] + rule.margin_m
            shape = lines.geometry.iloc[row]
            zones.append(
                {
                    "zone_id": f"locate-{name}",
                    "utility_id": name,
                    "kind": kinds[row],
                    "width_m": 2.0 * reach,
                    "rule": rule.key,
                    "reason": rule.reason,
                    "source": rule.source,
                    "caution": LOCATE_FIRST,
                }
            )
            outlines.append(keep_clear(shape, reach))
            away = shapely.distance(points, shape)
            for plant in np.flatnonzero(dug & (away < reach + half_hole)):
                holes.append(
                    {
                        "hole_id": f"{ids[plant]} {name}",
                        "plant_id": int(ids[plant]),
                        "utility_id": name,
                        "edge_m": max(away[plant] - half_hole[plant] - half[row], 0.0),
                        "rule": rule.key,
                        "caution": LOCATE_FIRST,
                    }
                )
                spots.append(shapely.buffer(points[plant], half_hole[plant]))
    notes = [LOCATE_FIRST]
    return (
        with_notes(layer_of(LOCATE_ZONES, zones, outlines, plants.crs), notes),
        with_notes(layer_of(HOLES_AT_LINES, holes, spots, plants.crs), notes),
    )


def reach_drains(
    plants: gpd.GeoDataFrame,
    keep_outs: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Tell in which year plants have grown taller than they stand away from a septic field.

    Parameters
    ----------
    plants, keep_outs : GeoDataFrame
        Layers in the local frame.
    plan : Options, optional
        Of it [growth].

    Returns
    -------
    GeoDataFrame
        By the contract ``deep_roots``.
    """
    rule = limit_of(limits, ByHeight)
    # Roots do not know of the shears: a clipped hedge counts as it would grow without.
    stand = planned_stand(plants, plan, species_table).unclipped()
    records, shapes = [], []
    if rule is not None and has_rows(keep_outs) and len(plants):
        ids = plants["plant_id"].to_numpy()
        kinds = [kind.strip().lower().replace(" ", "_") for kind in texts(keep_outs, "kind")]
        for row, name in enumerate(identifiers(keep_outs, "keep_out_id")):
            if kinds[row] != rule.feature:
                continue
            away = shapely.distance(stand.points, keep_outs.geometry.iloc[row])
            needed = np.maximum(rule.times_height * stand.height, rule.at_least_m)
            holds = needed > away[:, None, None]
            for plant in np.flatnonzero(holds.any(axis=(1, 2))):
                records.append(
                    {
                        "root_id": f"{ids[plant]} {name}",
                        "plant_id": int(ids[plant]),
                        "keep_out_id": name,
                        "distance_m": away[plant],
                        "needed_m": needed[plant, TYPICAL, -1],
                        **first_years(holds[plant]),
                        "rule": rule.key,
                        "source": rule.source,
                    }
                )
                shapes.append(stand.points[plant])
    return layer_of(DEEP_ROOTS, records, shapes, plants.crs)


def judge_digging(utilities, holes_at_lines) -> Finding:
    """Tell whether a hole touches the zone about a buried line."""
    name = "holes at buried lines"
    if not holds_lines(utilities, "buried"):
        return Finding(name, UNKNOWN, "No buried lines are given; that does not mean that there are none",
                       "a utilities layer with buried lines", LOCATE)  # fmt: skip
    if holes_at_lines is None:
        return Finding(
            name, UNKNOWN, "Holes were not looked at", "the layer holes_at_lines", LOCATE
        )
    if has_rows(holes_at_lines):
        near = holes_at_lines.loc[holes_at_lines["edge_m"].idxmin()]
        apart_m = near["edge_m"]
        count = holes_at_lines["plant_id"].nunique()
        holes = "1 hole touches" if count == 1 else f"{count} holes touch"
        return Finding(name, FAILS, f"{holes} the zone in which nothing is dug but by hand, "
                       f"nearest that of plant {near['plant_id']}, {{{apart_m:.2f} m}} from buried line {near['utility_id']}",
                       "another place for these plants", LOCATE)  # fmt: skip
    return Finding(
        name,
        PASSES,
        "No hole comes near a buried line that is given",
        caution=LOCATE,
    )


def judge_drains(keep_outs, deep_roots) -> Finding:
    """Tell whether a plant grows taller than it stands away from a septic field."""
    name = "roots and the septic field"
    if not (
        has_rows(keep_outs)
        and keep_outs["kind"].str.strip().str.lower().str.replace(" ", "_").eq("septic_field").any()
    ):
        return Finding(name, UNKNOWN, "No septic field is given; that does not mean that there is none",
                       "keep_outs of the kind septic_field", LOCATE)  # fmt: skip
    if deep_roots is None:
        return Finding(name, UNKNOWN, "Growth was not looked at", "the layer deep_roots", LOCATE)
    if has_rows(deep_roots):
        first = first_to_grow(deep_roots)
        return Finding(name, FAILS, f"{how_many_grow(deep_roots)} taller than they stand away from the field: plant "
                       f"{first['plant_id']}, {{{first['distance_m']:.1f} m}} away, {span_of_years(first)}; its roots may reach the drains",
                       "a lower species there, or a place farther away", LOCATE)  # fmt: skip
    return Finding(name, PASSES, "No plant grows taller than it stands away from the field", caution=LOCATE)  # fmt: skip
