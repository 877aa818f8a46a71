"""What a contract is: a layer, its columns, and what each of them means."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

ColumnType = Literal["text", "number", "integer", "boolean", "date"]


#: A crown is never this tall: a height above it is a slip or a sentinel such as 9999.
HIGHEST_BUILDING_M = 500.0


#: Words for the shape of a crown; `screenplan.planting.shapes` holds their forms.
CROWN_SHAPES = ("cone", "column", "paraboloid", "ellipsoid", "box")


#: Heights of ground on earth, metres: below the Dead Sea's shore, above the highest summit.
LOWEST_GROUND_M, HIGHEST_GROUND_M = -500.0, 9000.0


#: The tallest planted screen that the growth model is meant for.
HIGHEST_PLANT_M = 60.0


#: A price of one, or of an hour, above this is a slip.
HIGHEST_PRICE = 1_000_000.0


POLYGONS = ("Polygon", "MultiPolygon")


LINES = ("LineString", "MultiLineString")


POINTS = ("Point", "MultiPoint")


ANY = POLYGONS + LINES + POINTS


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
        Whether an input must bring it, or an output always holds a value in it.
    default : object
        What an input that leaves it out gets.
    low, high : float, optional
        The range of values that are possible at all; outside it a row is refused.
    choices : tuple of str
        The values allowed, or empty.
    per_year : bool
        The name is a stem, and the layer has one column per reported year: ``open_y05``.
    """

    name: str
    type: ColumnType
    meaning: str
    unit: str = ""
    required: bool = False
    default: object = None
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    per_year: bool = False


@dataclass(frozen=True)
class Contract:
    """What one layer or table holds.

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
    """

    name: str
    geometry: tuple[str, ...]
    meaning: str
    columns: tuple[Column, ...] = field(default=())
    key: str = ""

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
        raise KeyError(name)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the required columns."""
        return tuple(column.name for column in self.columns if column.required)


def year_column(stem: str, year: int) -> str:
    """Name of a per-year column: ``year_column("open", 5)`` is ``open_y05``.

    Examples
    --------
    >>> year_column("open", 5)
    'open_y05'
    """
    return f"{stem}_y{year:02d}"
