"""The style of every layer that is written, for the desktop GIS (QML) and for other software (SLD)."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from screenplan.contracts import (
    COUNTY,
    OUTPUTS,
    SURROUNDINGS,
    WRITTEN,
    Column,
    Contract,
    as_written,
)
from screenplan.contracts.written import KINDS, kinds_of
from screenplan.outputs.conform import expand_columns
from screenplan.outputs.styles.county import COUNTIES
from screenplan.outputs.styles.ground import GROUND
from screenplan.outputs.styles.model import Class, Label, Style, Test
from screenplan.outputs.styles.others import OTHERS, sun_taken
from screenplan.outputs.styles.qml import write_qml
from screenplan.outputs.styles.sld import write_sld
from screenplan.outputs.styles.surroundings import SURROUNDING
from screenplan.outputs.styles.views import VIEWS
from screenplan.outputs.styles.work import WORK

#: Every style, by the name by which a contract asks for it as its ``look``.
LOOKS: dict[str, Style] = GROUND | VIEWS | WORK | OTHERS | SURROUNDING | COUNTIES
#: Every layer and table that may stand in a GeoPackage, by its name, in reading order.
KNOWN = WRITTEN | as_written(SURROUNDINGS) | as_written(COUNTY)
#: The style of each of them that has a geometry.
STYLES: dict[str, Style] = {
    name: LOOKS[contract.look]
    for name, contract in KNOWN.items()
    if contract.geometry and contract.look in LOOKS
}


def style_of(name: str, columns: Iterable[str] = ()) -> Style | None:
    """Give the style of a layer as it is written, None for a table.

    Parameters
    ----------
    name : str
        Of the layer.
    columns : iterable of str
        Its columns: the sun on the ground is drawn by the last year that it has a column of.
    """
    years = [column for column in columns if column.startswith("sun_y")]
    if name == "sun_grid" and years:
        return sun_taken(max(years, key=lambda column: int(column.removeprefix("sun_y"))))
    return STYLES.get(name)


def style_qml(name: str, geometry: str = "", columns: Iterable[str] = ()) -> str:
    """Give a layer's style for the desktop GIS.

    Parameters
    ----------
    name : str
        Of a layer or table as it is written (`screenplan.contracts.WRITTEN`), or of what was read of
        the site (`screenplan.contracts.SURROUNDINGS`).
    geometry : str
        Its geometry type (``Point``, ``MultiPolygon``, …) or kind (``areas``); needed if ``name``
        is a layer of several kinds, of which it picks one.
    columns : iterable of str
        The layer's columns; they only tell which per-year columns there are.

    Returns
    -------
    str
        A QML document. The attributes of its root, but ``version`` and ``styleCategories``, and its
        children are what a ``maplayer`` of a project file holds.

    Raises
    ------
    KeyError
        If there is no such layer.
    """
    contract = _contract(name, geometry)
    return _qml(contract.name, tuple(expand_columns(contract, columns)))


# A run writes the same documents into the GeoPackage, beside the layers and into the project.
@lru_cache(maxsize=256)
def _qml(name: str, columns: tuple[tuple[str, Column], ...]) -> str:
    contract = KNOWN[name]
    kinds = kinds_of(contract)
    style = style_of(name, [column for column, _ in columns])
    return write_qml(style, kinds[0] if kinds else None, columns, contract.meaning)


def style_sld(name: str, geometry: str = "", columns: Iterable[str] = ()) -> str:
    """Give a layer's style as a Styled Layer Descriptor 1.0.

    Parameters
    ----------
    name, geometry, columns
        As of `style_qml`; a layer with a geometry.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If there is no such layer, or it is a table.
    """
    contract = _contract(name, geometry)
    if contract.name not in STYLES:
        raise KeyError(name)
    return _sld(contract.name, tuple(expand_columns(contract, columns)))


@lru_cache(maxsize=256)
def _sld(name: str, columns: tuple[tuple[str, Column], ...]) -> str:
    style = style_of(name, [column for column, _ in columns])
    assert style is not None  # every layer of `STYLES` has one
    return write_sld(name, style, KNOWN[name].meaning)


def _contract(name: str, geometry: str) -> Contract:
    """Find the contract of a written layer; a layer of several kinds is told by its geometry."""
    if name in KNOWN:
        return KNOWN[name]
    for kind, types in KINDS.items():
        if name in OUTPUTS | SURROUNDINGS and (geometry in types or geometry == kind):
            return KNOWN[f"{name}_{kind}"]
    raise KeyError(name)


__all__ = [
    "KNOWN",
    "LOOKS",
    "STYLES",
    "Class",
    "Label",
    "Style",
    "Test",
    "style_of",
    "style_qml",
    "style_sld",
]
