"""What the plan is about: its layers, the subject, the site, its sides, windows, places and setbacks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Literal

from pydantic import (
    Field,
    field_validator,
    model_validator,
)

from screenplan.contracts import HIGHEST_GROUND_M, LOWEST_GROUND_M
from screenplan.ground.said import said
from screenplan.ground.texts import quoted
from screenplan.plan.values import (
    Degrees,
    File,
    Identifier,
    Length,
    Section,
    Single,
    WrongError,
    read_length,
)

#: Lots that are planned together at most; of more a county is made.
MOST_LOTS = 100
#: A boundary that is known better than this was surveyed, metres.
SURVEYED_BELOW_M = 1.0
#: Errors of a change of datum that are accepted where the plan states none, metres: with a surveyed boundary
#: as before, else that of NAD83 to NAD83(2011) by way of WGS 84, 4 m and 2 m (EPSG transformations 1188 and 9774).
SURVEYED_DATUM_M, EVERYDAY_DATUM_M = 2.0, 6.0


class About(Section):
    """What the plan is called and in which units people read it."""

    called: ClassVar[str] = "plan"

    title: str = Field(
        "", max_length=200, description="Name of the plan, as it stands on the sheets"
    )
    units: Literal["metric", "us"] = Field(
        "metric", description="Units in summaries and sheets; layers are always in metres"
    )
    drawing_tables: bool = Field(
        False,
        description="Whether the tables of which only drawings are made are written too: sections, sight_outlines, needed_profile",
    )


class Subject(Section):
    """Which parcel is planned. With no key, the parcels layer must hold just one; without that layer only the row is known."""

    id: Identifier | None = Field(None, description="Its identifier in the parcels layer")
    point: tuple[Degrees, Degrees] | None = Field(
        None, description="Or a point in it: longitude, latitude in degrees"
    )
    ids: tuple[Identifier, ...] = Field(
        (),
        max_length=MOST_LOTS,
        description='Or identifiers of several lots that are planned together, a street: ["12", "14"]; their boundaries are shared by [street]',
    )

    @model_validator(mode="before")
    @classmethod
    def _one_lot_is_no_street(cls, content: Any) -> Any:
        """Take a list of one for that one, so that it is planned as a single lot is."""
        if isinstance(content, Mapping) and content.get("id") is None:
            ids = content.get("ids")
            if isinstance(ids, (list, tuple)) and len(ids) == 1:
                return {**content, "ids": (), "id": ids[0]}
        return content

    @model_validator(mode="after")
    def _one_of_all(self):
        given = [name for name in ("id", "point", "ids") if getattr(self, name) not in (None, ())]
        if len(given) > 1:
            raise WrongError(
                f"{' and '.join(given)} are {'both' if len(given) == 2 else 'all'} given",
                "Keep the one that you trust",
            )
        twice = [name for name in dict.fromkeys(self.ids) if self.ids.count(name) > 1]
        if twice:
            raise WrongError(
                f"lot {quoted(twice[0])} is listed twice", "List each lot once", self.key("ids")
            )
        return self

    @field_validator("point", mode="after")
    @classmethod
    def _on_earth(cls, point):
        if point is not None and not (abs(point[0]) <= 360.0 and abs(point[1]) <= 90.0):
            raise WrongError(
                f"{quoted(list(point))} is no longitude and latitude",
                "Write the longitude first, then the latitude, in degrees",
            )
        return point


class LayerSource(Section):
    """A layer that is read, and how its columns are called there."""

    file: File = Field(description="The file, relative to the plan file")
    layer: str | None = Field(None, description="Layer in the file, if it holds several")
    crs: str | None = Field(
        None,
        description='Reference system of its coordinates, where the file states none or a wrong one: a code such as "EPSG:2249", WKT, or "as parcels" for that of another layer',
    )
    columns: dict[str, str] = Field(
        default_factory=dict,
        description='Our column = your column, or what it is made of: "other_tags:height" is a tag of OpenStreetMap, "SECTION + NUMERO" two texts, "height - roof:height" a length less another',
    )
    units: dict[str, str] = Field(
        default_factory=dict, description='Our column = unit of the values, such as "ft"'
    )
    fixed: dict[str, Single] = Field(
        default_factory=dict,
        description="Our column = one value for every row, such as storeys = 2",
    )

    missing: dict[str, Single] = Field(
        default_factory=dict,
        description="Our column = value for the rows that lack one, such as storeys = 2",
    )

    @field_validator("fixed", "missing", mode="after")
    @classmethod
    def _lengths_in_metres(cls, values):
        return {
            name: read_length(value) if name.endswith("_m") and isinstance(value, str) else value
            for name, value in values.items()
        }


class Ground(Section):
    """The terrain raster. Without it the site is taken as flat."""

    file: File = Field(description="A raster of ground heights, relative to the plan file")
    unit: str | None = Field(
        None, description='Unit of its heights, such as "ft"; by default the one that it states'
    )
    crs: str | None = Field(
        None,
        description='Its reference system, where the file states none or a wrong one: a code, WKT, or "as parcels" for that of a layer',
    )
    extend: bool = Field(False, description="Go on flat where the raster ends, instead of refusing")


class Where(Section):
    """How well the site is known."""

    called: ClassVar[str] = "site"

    height: Length | None = Field(
        None,
        ge=LOWEST_GROUND_M,
        le=HIGHEST_GROUND_M,
        description=said(
            "Ellipsoidal height of the site; without it lengths are those at height 0, {16 mm} per {100 m} short at {1000 m}"
        ),
    )
    boundary_accuracy: Length = Field(
        SURVEYED_BELOW_M,
        ge=0,
        le=20,
        description=said("How far the boundary line may be out; {1 m} unless it was surveyed"),
    )
    datum_tolerance: Length | None = Field(
        None,
        ge=0,
        le=50,
        description=said(
            f"Largest error of a change of datum that is accepted; by default {{{EVERYDAY_DATUM_M:g} m}}, and "
            f"{{{SURVEYED_DATUM_M:g} m}} where boundary_accuracy says that the boundary was surveyed (below {{{SURVEYED_BELOW_M:g} m}})"
        ),
    )
    reach: Length = Field(
        150.0,
        gt=0,
        le=2000,
        description="Neighbours and things farther away than this are not looked at",
    )
    storey_height: Length = Field(2.8, ge=2, le=6, description="Height of a storey, floor to floor")

    @property
    def most_datum(self) -> float:
        """Largest error of a change of datum that is accepted, as stated or by default, metres."""
        if self.datum_tolerance is not None:
            return self.datum_tolerance
        surveyed = self.boundary_accuracy < SURVEYED_BELOW_M
        return SURVEYED_DATUM_M if surveyed else EVERYDAY_DATUM_M


class Sides(Section):
    """How the outline is cut into sides."""

    corner: float = Field(
        30.0,
        ge=5,
        le=120,
        description="Change of direction that makes a corner, degrees",
        json_schema_extra={"unit": "deg"},
    )
    base: Length = Field(
        4.0, ge=0.1, le=50, description="Length over which the change at a corner is measured"
    )


class Windows(Section):
    """Windows derived from footprints, where none are given."""

    derive: bool = Field(True, description="Derive windows where no windows layer is given")
    spacing: Length = Field(4.0, ge=0.5, le=50, description="Distance between windows along a wall")
    sill: Length = Field(0.9, ge=0, le=3, description="Height of a sill above its floor")
    height: Length = Field(1.2, ge=0.1, le=5, description="Height of a window")
    width: Length = Field(1.2, ge=0.1, le=10, description="Width of a window")
    reach: Length = Field(
        60.0, gt=0, le=500, description="Houses farther away than this get no windows"
    )


class Places(Section):
    """The private place derived from the house, where none are given: its garden."""

    derive: bool = Field(
        True, description="Derive the garden as a place where no private_places layer is given"
    )
    depth: Length = Field(
        10.0, ge=3, le=50, description="How far from the house the derived place reaches"
    )
    edge: Length = Field(
        4.7,
        ge=0,
        le=50,
        description="Width of the strip along the parcel's line, the room of a grown row, that the derived place keeps clear of if the lot is wide enough",
    )


class Setbacks(Section):
    """Which limits hold. Shipped rules are common practice: confirm them locally."""

    law: str | None = Field(
        None,
        max_length=60,
        description="The law of a place by its name, such as france, whose distances and heights at the boundary hold; screenplan rules --laws lists them",
    )
    file: File | None = Field(
        None, description="A rule file of your own; its rules replace shipped ones of the same key"
    )
    rules: dict[str, dict[str, Any]] = Field(
        default_factory=dict, description="Changes to single rules, by key"
    )
    hole: Length | None = Field(
        None,
        gt=0,
        le=3,
        description="Least width of a planting hole, such as that of a machine; by default a hole is as wide as the root ball asks for (works.hole_factor)",
    )
