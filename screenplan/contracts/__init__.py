"""Layer contracts: for each layer, what its rows are, what each column means, and how they are shown.

The same contract checks what is read, checks what is written, gives the desktop GIS its labels and
groups, the report its tables, and fills the data dictionary. Inside the library every length is in metres and every
direction in degrees clockwise from north, so a contract's unit is the unit of the values.
"""

from __future__ import annotations

from screenplan.contracts.county import (
    COUNTY_LINES,
    COUNTY_PLANTS,
    COUNTY_SIDES,
    COUNTY_SKIPPED,
)
from screenplan.contracts.design import CHOICE_PLANTS, CHOICE_VIEWS, CHOICES, DESIGN, DESIGN_VIEWS
from screenplan.contracts.effects import (
    CHECKS,
    DEEP_ROOTS,
    HOLES_AT_LINES,
    LOCATE_ZONES,
    NOISE_PATHS,
    OUTGROWN,
    PLANT_HEALTH,
    RULES,
    SIGHT_AREAS,
    SIGHT_PLANTS,
    WIRE_PLANTS,
)
from screenplan.contracts.instead import INSTEAD, INSTEAD_LINES, NEW_SCREENS
from screenplan.contracts.light import HEDGE_HEIGHTS, LIGHT, LIGHT_MONTHS, SUN_GRID
from screenplan.contracts.model import (
    GROWTHS,
    HIGHEST_GROUND_M,
    HIGHEST_PLANT_M,
    HIGHEST_PRICE,
    LOT,
    LOWEST_GROUND_M,
    Column,
    Contract,
    year_column,
)
from screenplan.contracts.own_plants import LOST_PLANTS, MEASURED_PLANTS, OWN_GROWTH, OWN_YEARS
from screenplan.contracts.planting import (
    CLOSURE,
    CROWNS,
    DROPPED,
    NO_PLANT_ZONES,
    PLANTABLE_ZONE,
    PLANTING_LINES,
    PLANTS,
    PLANTS_IN_HAND,
    SIDES,
)
from screenplan.contracts.reading import (
    BUILDINGS,
    EXISTING_SCREENS,
    KEEP_OUTS,
    MARKS,
    ONLOOKERS,
    PARCELS,
    PLANTING_LINE,
    PRIVATE_PLACES,
    ROADS,
    SUN_PLACES,
    UTILITIES,
    WINDOWS,
)
from screenplan.contracts.stakeout import BASE_LINES, PEGS, STAKE_CHECKS, STAKES, TAPE_POINTS
from screenplan.contracts.street import LOT_COSTS, SHARED_BOUNDARIES
from screenplan.contracts.views import (
    BROWSED_VIEWS,
    KEPT_OPEN,
    KINDS_LOST,
    LOST_VIEWS,
    MISSING_PLANTS,
    NEEDED_HEIGHT,
    NEEDED_PROFILE,
    NEEDED_YEARS,
    SECTIONS,
    SIGHT_LINES,
    SIGHT_OUTLINES,
    VIEW_HOLES,
    VIEW_YEARS,
    VIEWS,
)
from screenplan.contracts.water import DRIP_LINES, WATER_BY_MONTH
from screenplan.contracts.works import (
    ALTERNATIVES,
    CLIPPING,
    COST,
    FENCE_OPTIONS,
    FENCE_POSTS,
    FENCE_WIRES,
    KEPT_EFFECTS,
    KEPT_SIZES,
    LOCATE_REQUEST,
    QUANTITIES,
    SCHEDULE,
)
from screenplan.contracts.written import as_written, written_parts
from screenplan.contracts.years import TO_MEASURE, YEAR_COSTS


def _by_name(*contracts: Contract) -> dict[str, Contract]:
    return {contract.name: contract for contract in contracts}


#: What a person may bring.
INPUTS = _by_name(
    PARCELS,
    BUILDINGS,
    WINDOWS,
    PRIVATE_PLACES,
    ONLOOKERS,
    UTILITIES,
    KEEP_OUTS,
    ROADS,
    EXISTING_SCREENS,
    SUN_PLACES,
    PLANTING_LINE,
    MARKS,
    MEASURED_PLANTS,
)


#: What a run gives, in reading order.
OUTPUTS = _by_name(
    PARCELS,
    SIDES,
    SHARED_BOUNDARIES,
    NO_PLANT_ZONES,
    PLANTABLE_ZONE,
    PLANTING_LINES,
    NEEDED_HEIGHT,
    NEEDED_PROFILE,
    NEEDED_YEARS,
    PLANTS,
    DROPPED,
    CROWNS,
    DESIGN,
    DESIGN_VIEWS,
    CHOICES,
    CHOICE_PLANTS,
    CHOICE_VIEWS,
    NEW_SCREENS,
    WINDOWS,
    PRIVATE_PLACES,
    VIEWS,
    VIEW_HOLES,
    VIEW_YEARS,
    SIGHT_LINES,
    SIGHT_OUTLINES,
    SECTIONS,
    MISSING_PLANTS,
    KINDS_LOST,
    CLOSURE,
    OWN_GROWTH,
    OWN_YEARS,
    LOST_PLANTS,
    LOST_VIEWS,
    PLANTS_IN_HAND,
    FENCE_POSTS,
    FENCE_WIRES,
    FENCE_OPTIONS,
    BROWSED_VIEWS,
    TAPE_POINTS,
    PEGS,
    BASE_LINES,
    STAKES,
    STAKE_CHECKS,
    WATER_BY_MONTH,
    DRIP_LINES,
    QUANTITIES,
    SCHEDULE,
    KEPT_SIZES,
    KEPT_EFFECTS,
    KEPT_OPEN,
    CLIPPING,
    LOCATE_REQUEST,
    COST,
    YEAR_COSTS,
    TO_MEASURE,
    LOT_COSTS,
    ALTERNATIVES,
    INSTEAD,
    INSTEAD_LINES,
    LIGHT,
    LIGHT_MONTHS,
    SUN_GRID,
    HEDGE_HEIGHTS,
    SIGHT_AREAS,
    SIGHT_PLANTS,
    WIRE_PLANTS,
    LOCATE_ZONES,
    HOLES_AT_LINES,
    DEEP_ROOTS,
    OUTGROWN,
    NOISE_PATHS,
    PLANT_HEALTH,
    RULES,
    CHECKS,
)

#: The same as they stand in files: a layer of several kinds of geometry is written as several layers.
WRITTEN = as_written(OUTPUTS)

#: What stands on the site. A run reads it and, so that a map shows it, keeps it in the GeoPackage.
SURROUNDINGS = _by_name(
    BUILDINGS,
    ONLOOKERS,
    UTILITIES,
    KEEP_OUTS,
    ROADS,
    EXISTING_SCREENS,
    SUN_PLACES,
)

#: What a county gives, in reading order.
COUNTY = {
    contract.name: contract
    for contract in (COUNTY_SIDES, COUNTY_LINES, COUNTY_PLANTS, COUNTY_SKIPPED)
}


__all__ = [
    "COUNTY",
    "GROWTHS",
    "HIGHEST_GROUND_M",
    "HIGHEST_PLANT_M",
    "HIGHEST_PRICE",
    "INPUTS",
    "LOT",
    "LOWEST_GROUND_M",
    "OUTPUTS",
    "SURROUNDINGS",
    "WRITTEN",
    "Column",
    "Contract",
    "as_written",
    "written_parts",
    "year_column",
    *(name for name, value in globals().items() if isinstance(value, Contract)),
]
