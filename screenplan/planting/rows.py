"""Plants set along the planting lines: the step, of one plan and of many lots.

How they are set stands in `setting.py`, what is told of them in `set_layers.py`. A gap above the spacing that a
plant of another line leaves is a dropped station with the word `CORNER_RULE` in place of a rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from screenplan.contracts.tables import with_notes
from screenplan.ground.errors import refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Rows
from screenplan.planting.existing import EXISTING_WITHIN_M, Standing, standing_plants_each
from screenplan.planting.mixes import kinds_in, with_spacing
from screenplan.planting.set_layers import Asked, dropped_layer, plants_layer
from screenplan.planting.setting import Setting
from screenplan.planting.species_model import Species
from screenplan.planting.stock import planted_height
from screenplan.planting.zones import plantable_ground
from screenplan.site.lots import Lots, Many
from screenplan.site.terrain import Terrain


def set_plants(
    planting_lines: gpd.GeoDataFrame,
    plantable_zone: gpd.GeoDataFrame,
    no_plant_zones: gpd.GeoDataFrame,
    existing_screens: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Set plants along the lines.

    Parameters
    ----------
    planting_lines, plantable_zone, no_plant_zones : GeoDataFrame
        In the local frame, metres.
    existing_screens : GeoDataFrame, optional
        Its rows of the kind ``plant`` near a line are kept as they stand, even inside a zone.
    terrain : Terrain, optional
        Ground heights; without it the site is flat at height 0.
    plan : Options, optional
        Of it [rows] and [plants]. A second row is staggered: it stands in the middle of the first
        row's gaps.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    plants, dropped_stations : GeoDataFrame
        Plants in the order of the lines and along each; ``gap_before_m`` of the first plant after a
        shared corner runs along both lines. Standing plants that belong to no line are named in
        ``attrs["notes"]`` of the plants.

    Raises
    ------
    InputError
        If no species has such stock, or no plant can be set at all.
    """
    zone = plantable_ground(plantable_zone, no_plant_zones, planting_lines)
    around = {} if existing_screens is None else {"existing_screens": existing_screens}
    made = _set_rows(
        Lots(around, np.zeros(1, dtype=int)),
        Many.one(planting_lines),
        np.array([zone], dtype=object),
        Many.one(no_plant_zones),
        Asked(plan, terrain, species_table),
    )
    if not len(made.plants.layer):
        rules = {rule for some in made.rules for rule in some}
        raise refuse(
            "no plant can be set on the planting lines"
            + (f"; stations are forbidden by {', '.join(sorted(rules))}" if rules else ""),
            "Let stations move further, give a smaller spacing, or choose another line",
            key=Rows.key("move"),
            kind="room",
        )
    notes = [
        f"standing plant {plant.screen_id} is farther than {{{EXISTING_WITHIN_M} m}} from every planting line and is not counted"
        for plant in made.standing
        if plant.line is None
    ]
    return with_notes(made.plants.layer, notes), made.dropped.layer


def set_plants_each(
    lots: Lots,
    layers: Mapping[str, Many],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[Many, Many]:
    """Set plants along the lines of several lots; see `set_plants`.

    Parameters
    ----------
    lots : Lots
        Existing screens around them are kept as there.
    layers : mapping of str to Many
        ``planting_lines``, ``plantable_zone`` and ``no_plant_zones``.
    plan, terrain, species_table
        As there.

    Returns
    -------
    plants, dropped_stations : Many
        None of a lot on whose lines no plant can be set; plants and stations are numbered in each lot.
    """
    made = _set_rows(
        lots,
        layers["planting_lines"],
        layers["plantable_zone"].united,
        layers["no_plant_zones"],
        Asked(plan, terrain, species_table),
    )
    return made.plants, made.dropped


@dataclass(frozen=True)
class _Made:
    """What was set: plants, stations that were dropped and the rules that forbid each, and the plants that stood before."""

    plants: Many
    dropped: Many
    rules: list[list[str]]
    standing: list[Standing]


def _set_rows(lots: Lots, lines: Many, grounds: np.ndarray, zones: Many, asked: Asked) -> _Made:
    """Set the plants of lots on their grounds, (lots,)."""
    kinds = kinds_in(asked.plan.plants.species, asked.species_table)
    heights = {kind: planted_height(kind, asked.plan.plants.stock_height) for kind in kinds}
    standing = standing_plants_each(lots, lines)
    setting = Setting(lines, grounds, with_spacing(asked.plan, asked.species_table).rows)
    for plant in standing:
        if plant.line is not None:
            spot = plant.point.x, plant.point.y
            setting.planted[plant.line].add(plant.station_m, spot, plant)
    setting.join_corners()
    for some in setting.waves(1):
        setting.plant_lines(some)
    for some in setting.waves(2):
        setting.stagger_lines(some)
    setting.fill_second_row()
    plants = plants_layer(setting, asked, kinds, heights)
    return _Made(plants, *dropped_layer(setting, zones), standing)
