"""The stake-out: pegs by two tapes, and running distances along the tape between them.

Each peg stands at two taped distances from points that can be found, with the side and a third
distance for the check; where something is in the way of the tapes it is set by an offset, or an
instrument is needed. No tape crosses a house, a wall or water. From the zero peg a tape is laid to the end peg, and each plant has its
running distance on it, never its distance from the plant before. Level lengths and those that a tape
on the ground reads stand side by side: along the tape they follow the ground, between control point and
peg they are those of a taut tape.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import BASE_LINES, PEGS, STAKE_CHECKS, STAKES, TAPE_POINTS
from screenplan.contracts.tables import layer_of, table_of, with_notes
from screenplan.ground.datum import knows_north
from screenplan.ground.errors import refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain
from screenplan.views.opened import standing_screens
from screenplan.works import sheet_rows as sheet
from screenplan.works.bases import Base, lay_bases
from screenplan.works.built_pegs import pegs_of_built
from screenplan.works.control_points import find_control_points
from screenplan.works.ground import Ground
from screenplan.works.obstructions import find_obstructions, houses_in_the_way
from screenplan.works.pegging import INSTRUMENT, set_pegs
from screenplan.works.readings import Book, Peg, peg_at
from screenplan.works.refit import TAPE_M, fit_points, fit_stretch


def stake_out(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Lay out pegs, tapes and stakes.

    Parameters
    ----------
    layers : mapping
        By their contracts, in local-frame metres: parcels, planting lines and plants, of which those
        that stand already get no stake. With an empty layer of parcels only the row is known: its
        pegs are the line's own ends. If there are any, buildings, of which those on the subject give
        tape points and all are in a tape's way; marks, which are found monuments and other points of
        the ground; fence posts, of which corner, end and gate posts are pegged too; new screens, of
        which ends and corners are; existing screens
        and keep-outs, of which walls, fences, hedges and open water are in a tape's way.
    plan : Options, optional
        Of it [stakeout] and the accuracy of the boundary. Measured distances between tape points
        move houses and stretch the map; along one tape they stretch its stations; see
        `screenplan.works.refit`.
    terrain : Terrain, optional
        A level site without it.

    Returns
    -------
    tape_points, pegs, base_lines, stakes : GeoDataFrame
    stake_checks : DataFrame

    Raises
    ------
    InputError
        If stakes have no mark, or a measured distance names nothing or is a slip.
    """
    asked, parcels, plants = plan.stakeout, layers["parcels"], layers["plants"]
    planting_lines, buildings = layers["planting_lines"], layers.get("buildings")
    if not asked.mark.strip():
        raise refuse(
            "stakes have no mark", "Name a flag or paint and its colour", key=asked.key("mark")
        )
    places = find_control_points(parcels, buildings, layers.get("marks"))
    others = find_obstructions(layers.get("existing_screens"), layers.get("keep_outs"))
    houses = [] if buildings is None else list(buildings.geometry)
    bases = lay_bases(
        planting_lines, plants, tape_m=asked.tape, obstructions=houses_in_the_way(houses) | others,
        to_ends=not outline_known(parcels),
    )  # fmt: skip
    to_plant = _pegs(bases, layers.get("fence_posts"))
    built, legs = pegs_of_built(layers.get("new_screens"), len(to_plant))
    pegs = to_plant + built
    ground = Ground(terrain)
    book = Book(places, pegs, bases, plants)
    readings = [book.reading(*measured, ground) for measured in asked.measured]
    on_map = np.array([[place.x, place.y] for place in places]).reshape(-1, 2)
    fit = fit_points(
        on_map,
        [place.group for place in places],
        [
            (reading.start[1], reading.end[1], reading.level_m)
            for reading in readings
            if reading.between_points
        ],
        map_accuracy_m=plan.site.boundary_accuracy,
    )
    stretches = []
    for base in bases:
        own = [reading for reading in readings if reading.base is base]
        planned = [reading.planned_m * fit.scale for reading in own]
        stretches.append(fit_stretch(planned, [reading.level_m for reading in own]))
    for peg in pegs:
        peg.xy = peg.xy * fit.scale
    staked = _set_stakes(bases, fit.scale, stretches)
    moved = _houses_after_fit(buildings, places, on_map, fit.points)
    way = houses_in_the_way(moved) | others.scaled(fit.scale)
    known = () if outline_known(parcels) else _own_ends(pegs, planting_lines, fit.scale)
    settings = set_pegs(to_plant, places, fit.points, way, asked.tape, known)
    if built:
        today = find_obstructions(standing_screens(layers), layers.get("keep_outs"))
        clear = houses_in_the_way(moved) | today.scaled(fit.scale)
        settings += set_pegs(built, places, fit.points, clear, asked.tape)
    peg_rows = sheet.peg_rows(pegs, bases, settings, ground)
    out = {row["peg_id"]: row["tolerance_m"] for row in peg_rows}
    base_rows = sheet.base_rows(bases, pegs, stretches, ground, knows_north(parcels.crs))
    stake_rows = sheet.stake_rows(bases, base_rows, staked, out, plants, asked.mark, ground, way)
    own_ends = [pegs[number].name for number in known]
    checks = sheet.check_rows(bases, base_rows, stake_rows, pegs, own_ends, ground, way)
    checks += sheet.built_rows(legs, len(checks), ground)
    checks += sheet.measured_rows(readings, fit, stretches, bases, pegs, stake_rows, ground)
    crs = parcels.crs
    points = layer_of(
        TAPE_POINTS,
        sheet.point_rows(places, on_map, fit.points, peg_rows, ground),
        shapely.points(fit.points),
        crs,
    )
    peg_layer = layer_of(PEGS, peg_rows, [shapely.Point(peg.xy) for peg in pegs], crs)
    lines = [shapely.LineString([base.start * fit.scale, base.end * fit.scale]) for base in bases]
    base_layer = layer_of(BASE_LINES, base_rows, lines, crs)
    stakes = layer_of(
        STAKES,
        [{k: v for k, v in row.items() if k != "xy"} for row in stake_rows],
        [shapely.Point(row["xy"]) for row in stake_rows],
        crs,
    )
    with_notes(points, _notes(peg_rows, checks))
    return points, peg_layer, base_layer, stakes, table_of(STAKE_CHECKS, checks)


def _pegs(bases: list[Base], fence_posts: gpd.GeoDataFrame | None) -> list[Peg]:
    pegs: list[Peg] = []
    for base in bases:
        for role, xy in (("zero", base.start), ("end", base.end)):
            # Rows that meet at a corner share a peg.
            peg = peg_at(pegs, xy)
            if peg is None:
                peg = Peg(f"P{len(pegs) + 1}", role, xy.copy())
                pegs.append(peg)
            peg.ends.append((base, role))
            if role == "zero":  # running distances start here, whatever else ends here
                peg.role = role
    if fence_posts is not None and len(fence_posts):
        pegged = fence_posts["role"].isin(["corner", "end", "gate"])
        for xy in shapely.get_coordinates(fence_posts.geometry[pegged].to_numpy()):
            pegs.append(Peg(f"P{len(pegs) + 1}", "fence", xy, marks=["a post hole"]))
    return pegs


def _own_ends(pegs: list[Peg], planting_lines, scale: float) -> list[int]:
    """Positions of the pegs with which a row of which nothing else is known begins and ends."""
    known = []
    for line in planting_lines[planting_lines["row"] == 1].geometry:
        away = np.array([[math.hypot(*(peg.xy - end)) for peg in pegs]
                         for end in scale * shapely.get_coordinates(line)[[0, -1]]])  # fmt: skip
        known += [int(nearest) for nearest in away.argmin(axis=1)]
    return list(dict.fromkeys(known))


def _set_stakes(bases, scale, stretches) -> list[np.ndarray]:
    """Give running distances and signed offsets of each base's stakes after the fit, and their places."""
    staked = []
    for base, stretch in zip(bases, stretches, strict=True):
        fitted = Base(base.start * scale, base.end * scale)
        at = np.array(
            [[along * scale * stretch, offset * scale] for _, along, offset in base.stakes]
        )
        staked.append(np.column_stack([at, fitted.place(at[:, 0], at[:, 1])]))
    return staked


def _houses_after_fit(buildings, places, on_map, fitted) -> list[shapely.Geometry]:
    """Outlines of houses, moved as the fit moves their corners."""
    if buildings is None:
        return []
    shapes = []
    for number, row in enumerate(buildings.itertuples(), 1):
        own = getattr(row, "building_id", None)
        own = str(number) if own is None or pd.isna(own) else str(own)
        corners = [index for index, place in enumerate(places) if place.group == own]
        shape = row.geometry
        if len(corners) >= 2:
            dx, dy = (fitted[corners] - on_map[corners]).mean(axis=0)
            shape = shapely.transform(shape, lambda xy, move=(dx, dy): xy + move)
        shapes.append(shape)
    return shapes


def _notes(peg_rows, checks) -> list[str]:
    notes = []
    bad = [row["peg_id"] for row in peg_rows if row["method"] == INSTRUMENT]
    if bad:
        single = len(bad) == 1
        notes.append(
            f"Peg{'' if single else 's'} {', '.join(bad)} cannot be set by tapes or offsets, for something "
            f"is in the way: {'it needs' if single else 'they need'} an instrument, or found points of "
            "the ground in a layer marks"
        )
    large = [
        f"{row['from_name']} to {row['to_name']}"
        for row in checks
        if row["kind"] == "measured" and abs(row["residual_m"]) > sheet.LARGE_RESIDUAL * TAPE_M
    ]
    if large:
        notes.append(
            f"The measured distance {'; '.join(large)} does not agree with the others: measure it again"
        )
    return notes
