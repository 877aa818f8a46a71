"""What a contract is: a layer, its columns, and what each of them means."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from screenplan.contracts.presentation import Form, Place, Shown

ColumnType = Literal["text", "number", "integer", "boolean", "date"]


#: Words for the growths by which plants are followed.
GROWTHS = ("low", "typical", "high")
#: Heights of ground on earth, metres: below the Dead Sea's shore, above the highest summit.
LOWEST_GROUND_M, HIGHEST_GROUND_M = -500.0, 9000.0
#: The tallest planted screen that the growth model is meant for.
HIGHEST_PLANT_M = 60.0
#: A height above this is a slip or a sentinel such as 9999.
HIGHEST_BUILDING_M = 500.0
#: A price of one, or of an hour, above this is a slip.
HIGHEST_PRICE = 1_000_000.0

POLYGONS = ("Polygon", "MultiPolygon")
LINES = ("LineString", "MultiLineString")
POINTS = ("Point", "MultiPoint")
ANY = POLYGONS + LINES + POINTS

#: Units as they stand behind a column's label; a share is a number from 0 to 1.
UNITS = {"m2": "m²", "deg": "°", "share": "0 to 1", "year": ""}
#: Endings of names that say the unit, or that it is an identifier: no part of the words.
_ENDING = re.compile(r"_(m|m2|m3|deg|h|db|share|kmh|ids?)$")
_FORMS = {"m": "length", "deg": "degrees", "share": "share", "boolean": "yes", "number": "number"}


@dataclass(frozen=True)
class Column:
    """One column of a layer.

    Parameters
    ----------
    name : str
        Its name in the layer, with the unit as a suffix (``height_m``).
    type : {"text", "number", "integer", "boolean", "date"}
        Dates are ISO 8601 text, ``YYYY-MM-DD``.
    meaning : str
        One line for the data dictionary, and for the notes in a desktop GIS.
    unit : str
        ``m``, ``deg``, ``share`` (0 to 1), ``year`` (since planting), or empty.
    required : bool
        Whether an input must bring it, or an output always holds a value in it: the contract says so.
    expected : bool
        Whether an input must have the column, though a row may leave it empty.
    default : object
        What an input that leaves it out gets.
    low, high : float, optional
        The range of values that are possible at all; outside it a row is refused.
    choices : tuple of str
        The values allowed, or empty.
    per_year : bool
        The name is a stem, and the layer has one column per reported year: ``open_y05``.
    label : str
        What people call it in a desktop GIS, without the unit; by default the words of its name.
    heading : str
        What a table of the report calls it; by default its label.
    form : str
        How the report writes its cells; by default by its type and unit.
    usual : tuple of str
        What people call it in tables of their own, words in lower case without the unit: columns of these names
        are taken for it. Of inputs without geometry.
    same_as : str
        Name of the column of which it is the reading on a slope. A table of the report in which all such
        readings are equal to the level ones leaves them out.

    Examples
    --------
    >>> Column("length_m", "number", "Level length", unit="m").label
    'Length'
    """

    name: str
    type: ColumnType
    meaning: str
    unit: str = ""
    required: bool = True
    expected: bool = False
    default: object = None
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    per_year: bool = False
    label: str = ""
    heading: str = ""
    form: Form | Literal[""] = ""
    usual: tuple[str, ...] = ()
    same_as: str = ""

    def __post_init__(self) -> None:
        words = _ENDING.sub("", self.name).replace("_", " ")
        label = self.label or words[0].upper() + words[1:]
        form = _FORMS.get(self.unit) if self.type == "number" else None
        _fill(
            self,
            label=label,
            heading=self.heading or label[0].lower() + label[1:],
            form=self.form or form or _FORMS.get(self.type, "text"),
        )

    def called(self, name: str = "") -> str:
        """Give its label with the year and the unit: ``Open, year 5 (0 to 1)`` for ``open_y05``."""
        dated = self.per_year and name.startswith(f"{self.name}_y")
        year = f", year {int(name.removeprefix(f'{self.name}_y'))}" if dated else ""
        unit = UNITS.get(self.unit, self.unit)
        return f"{self.label}{year} ({unit})" if unit else f"{self.label}{year}"


def _fill(what: Column | Contract, **values: Any) -> None:
    """Fill in what a description leaves out."""
    for name, value in values.items():
        object.__setattr__(what, name, value)


#: The column that every layer of a street has besides its own, and no layer of a single lot.
LOT = Column(
    "lot_id",
    "text",
    "The lot of the street to which it belongs; of what several look at all of them, empty for what belongs to none",
    required=False,
    label="Lot",
)


@dataclass(frozen=True)
class Contract:
    """What one layer or table holds, and how it is shown.

    Parameters
    ----------
    name : str
        Name of the layer in a GeoPackage, and of its GeoJSON file.
    geometry : tuple of str
        The geometry types that its rows may have; empty for a table.
    meaning : str
        What one row is.
    columns : tuple of Column
        In the order in which they are written.
    key : str
        The column that names a row.
    optional : str
        Names of the columns that an input may lack and that may be empty, parted by blanks.
    title : str
        What people call it; by default the words of its name.
    place : Place, optional
        In the project's tree; a table has none.
    place_of_areas : Place, optional
        That of its areas, if it is another one because they would hide what lies below.
    look : str
        Its style in `screenplan.outputs.styles`; by default that of its name as written.
    report : tuple of Shown
        The tables of the report that show it.
    only_drawn : bool
        Whether nothing but drawings are made of it: it is written only if the plan asks for it.
    whole : str
        Of a part of a layer (`screenplan.contracts.written`) the layer's name in memory.
    """

    name: str
    geometry: tuple[str, ...]
    meaning: str
    columns: tuple[Column, ...] = field(default=())
    key: str = ""
    optional: str = ""
    title: str = ""
    place: Place | None = None
    place_of_areas: Place | None = None
    look: str = ""
    report: tuple[Shown, ...] = ()
    only_drawn: bool = False
    whole: str = ""

    def __post_init__(self) -> None:
        optional = self.optional.split()
        _fill(
            self,
            columns=tuple(
                replace(column, required=column.name not in optional) for column in self.columns
            ),
            title=self.title or self.name.replace("_", " ").capitalize(),
            look=self.look or self.name,
            whole=self.whole or self.name,
        )

    def column(self, name: str) -> Column:
        """Give the column of that name, per-year columns included (``open_y05``).

        Raises
        ------
        KeyError
            If the contract has none.
        """
        for column in self.columns:
            if column.name == name or (column.per_year and name.startswith(f"{column.name}_y")):
                return column
        if name == LOT.name:
            return LOT
        raise KeyError(name)

    def names(self, years: Sequence[int] = ()) -> tuple[str, ...]:
        """Give the names of the columns in order, those for years once for each year.

        Examples
        --------
        >>> held = Column("view_id", "text", "The view"), Column("open", "number", "Share", per_year=True)
        >>> Contract("views", (), "One view", columns=held).names((0, 5))
        ('view_id', 'open_y00', 'open_y05')
        """
        names: list[str] = []
        for column in self.columns:
            of_years = [year_column(column.name, year) for year in years]
            names += of_years if column.per_year else [column.name]
        return tuple(names)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the required columns; those for years hang on which are reported."""
        required = (column for column in self.columns if column.required)
        return tuple(column.name for column in required if not column.per_year)


def year_column(stem: str, year: int) -> str:
    """Name of a per-year column: ``year_column("open", 5)`` is ``open_y05``.

    Examples
    --------
    >>> year_column("open", 5)
    'open_y05'
    """
    return f"{stem}_y{year:02d}"
