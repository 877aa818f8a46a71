"""Limits, and what the screen does to others."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import (
    Field,
)

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.plan.values import File, Length, Section

#: What a site may do to a plant.
Exposure = Literal["browse", "salt", "shade", "wet"]


class Limits(Section):
    """Limits on what the screen does to others. Shipped ones are examples: confirm them locally."""

    file: File | None = Field(
        None,
        description="A rule file of your own; its limits replace shipped ones of the same key",
    )
    rules: dict[str, dict[str, Any]] = Field(
        default_factory=dict, description="Changes to single limits, by key"
    )


class Light(Section):
    """Sun and light of the sky that the row takes."""

    time_zone: str = Field(
        "UTC", description="Name of the site's time zone, such as Europe/Berlin or America/Chicago"
    )
    calendar_year: int = Field(
        2027, ge=1950, le=2100, description="Year whose sun and daylight saving are taken"
    )
    days: int = Field(
        1, ge=1, le=31, description="Days that stand for each month; 31 takes every day"
    )
    step: int = Field(
        30,
        ge=1,
        le=240,
        description="Steps of the sun in minutes: each change between sun and shade is placed to within half a step",
        json_schema_extra={"unit": "min"},
    )
    cell: Length = Field(
        2.0, ge=0.25, le=20, description="Size of the cells of the sun-hours raster"
    )
    reach: Length = Field(
        30.0, gt=0, le=500, description="Ground farther from the rows is not looked at"
    )
    most_sun_lost: float | None = Field(
        None,
        ge=0,
        le=1,
        description="Share of a year's sun hours that a neighbour's window or garden, a panel or a bed may lose; without it only the loss is told",
    )
    most_sky_lost: float | None = Field(
        None,
        ge=0,
        le=1,
        description="Share of an overcast sky's light that a neighbour's window may lose; a fifth is held to be noticed (memory, unverified)",
    )
    hedge_guidance: bool = Field(
        False,
        description="Whether the published guidance on hedge height (England and Wales) is held against the rows",
    )


class Road(Section):
    """Sight at drives and corners."""

    drive: str = Field(
        "drive_10ft",
        description="Sight triangle at drives; screenplan rules lists those that there are",
    )
    corner: str = Field("corner_25ft", description="Sight triangle where two roads meet")


class Lines(Section):
    """Wires above, pipes and cables below, and walls beside the plants."""

    wires: str = Field(
        "wires_15_65ft",
        description="Heights allowed near overhead lines; published zonings disagree",
    )
    allowance: Length | None = Field(
        None,
        ge=0,
        le=30,
        description="Room that the sag and swing of a wire take, as its owner states it",
    )
    locate: str = Field(
        "locate_24in", description="Zone about buried lines in which nothing is dug but by hand"
    )
    walls: str = Field("walls_by_height", description="Heights allowed near walls")


class Boundary(Section):
    """Crowns and heights at the boundary line."""

    most_height: Length | None = Field(
        None, gt=0, le=HIGHEST_PLANT_M, description="Height that plants at the boundary may have"
    )
    most_height_at_road: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height that plants may have at a side across which a road lies, if it is another",
    )
    within: Length = Field(
        2.0, ge=0, le=50, description="Distance from the boundary within which these heights hold"
    )


class Noise(Section):
    """Noise of roads: what foliage takes away, which for one row is nothing."""

    wanted: float | None = Field(
        None,
        gt=0,
        le=30,
        description="Reduction that is hoped for, dB at 500 Hz",
        json_schema_extra={"unit": "dB"},
    )


class Health(Section):
    """What can befall the plants."""

    most_of_one_species: float | None = Field(
        None, gt=0, le=1, description="Share of all plants that one species may make up"
    )
    most_of_one_genus: float | None = Field(
        None, gt=0, le=1, description="Share of all plants that one genus may make up"
    )
    zone: int | None = Field(None, ge=1, le=13, description="Hardiness zone of the site")
    exposed_to: tuple[Exposure, ...] = Field(
        (), description="What plants must stand here: of browse, salt, shade, wet"
    )
    livestock_sides: tuple[str, ...] = Field(
        (),
        description="Sides across which livestock grazes, by name; a keep-out of the kind livestock, pasture or paddock says it by its ground. No poisonous kind may grow within its reach, and a design plants none there",
    )
    livestock_reach: Length = Field(
        2.0,
        ge=0,
        le=10,
        description="How far an animal reaches over its fence, from the edge of the grown crown (custom; one horse broke a tree 6 ft outside its fence, its owner's account, read)",
    )
    kinds_lost: bool = Field(
        False,
        description="Whether it is told of a mixed row which views open, and which most, if one kind dies out, in the year of views.missing_year",
    )
    hosts_apart: bool = Field(
        False,
        description="Whether kinds that host the same disease must not stand side by side in a row, nor both hosts of a rust in one planting; a design then plants no two such kinds",
    )
