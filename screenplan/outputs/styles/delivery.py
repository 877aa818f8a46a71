"""Styles on their way: into a GeoPackage, and as files beside the layers."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from pathlib import Path

from screenplan.outputs.conform import Layout
from screenplan.outputs.styles import KNOWN, STYLES, style_qml, style_sld
from screenplan.outputs.styles.renaming import rename_columns

STYLE_TABLE = "layer_styles"

#: As QGIS 3.22 makes it itself; see ``saveStyle`` of its OGR provider.
_MAKE_TABLE = f"""
CREATE TABLE {STYLE_TABLE} (
 id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
 f_table_catalog TEXT(256), f_table_schema TEXT(256), f_table_name TEXT(256),
 f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
 useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
 update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))
"""
_LONGEST_NAME = 30
#: The schema extension of OGC 12-128r18, annex F.8: names and descriptions of columns.
_MAKE_DICTIONARY = (
    """
CREATE TABLE gpkg_data_columns (
 table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
 mime_type TEXT, constraint_name TEXT,
 CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
 CONSTRAINT gdc_tn UNIQUE (table_name, name))
""",
    """
CREATE TABLE gpkg_data_column_constraints (
 constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
 min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
 CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value))
""",
)
_EXTENSION = ("gpkg_schema", "http://www.geopackage.org/spec121/#extension_schema", "read-write")


def add_styles(
    database: sqlite3.Connection, layouts: Sequence[Layout], geometry_column: str, moment: str
) -> None:
    """Put each layer's default style and the meaning of its columns into a GeoPackage.

    Parameters
    ----------
    database : sqlite3.Connection
        Of a GeoPackage that GDAL has written, with these layers and no styles.
    layouts : sequence of Layout
        A layer that no style is known for gets none.
    geometry_column : str
        What the layers' geometry column is called; a style is only found under this name.
    moment : str
        ISO 8601 in UTC, as GDAL writes it.
    """
    styled = [layout for layout in layouts if layout.contract.name in KNOWN]
    database.execute(_MAKE_TABLE)
    database.executemany(
        f"INSERT INTO {STYLE_TABLE} (f_table_catalog, f_table_schema, f_table_name,"
        " f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner,"
        " update_time) VALUES ('', '', ?, ?, ?, ?, ?, 1, ?, '', ?)",
        [_style_row(layout, geometry_column, moment) for layout in styled],
    )
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change,"
        " srs_id) VALUES (?, 'attributes', ?, '', ?, 0)",
        (STYLE_TABLE, STYLE_TABLE, moment),
    )
    database.execute("INSERT INTO gpkg_ogr_contents VALUES (?, ?)", (STYLE_TABLE, len(styled)))
    _add_dictionary(database, layouts)
    database.commit()


def _style_row(layout: Layout, geometry_column: str, moment: str) -> tuple:
    contract = layout.contract
    columns = [name for name, _ in layout.columns]
    spatial = contract.name in STYLES
    return (
        contract.name,
        geometry_column if spatial else "",
        contract.name[:_LONGEST_NAME],
        style_qml(contract.name, columns=columns),
        style_sld(contract.name, columns=columns) if spatial else None,
        contract.meaning,
        moment,
    )


def _add_dictionary(database: sqlite3.Connection, layouts: Sequence[Layout]) -> None:
    for statement in _MAKE_DICTIONARY:
        database.execute(statement)
    database.executemany(
        "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description)"
        " VALUES (?, ?, ?, ?, ?)",
        [
            (
                layout.contract.name,
                name,
                column.called(name),
                column.called(name),
                column.meaning,
            )
            for layout in layouts
            for name, column in layout.columns
        ],
    )
    database.execute(
        "CREATE TABLE IF NOT EXISTS gpkg_extensions (table_name TEXT, column_name TEXT,"
        " extension_name TEXT NOT NULL, definition TEXT NOT NULL, scope TEXT NOT NULL,"
        " CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"
    )
    database.executemany(
        "INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, ?)",
        [(table, *_EXTENSION) for table in ("gpkg_data_columns", "gpkg_data_column_constraints")],
    )


def write_style_beside(
    layout: Layout, path: Path, names: Mapping[str, str], *, letters: bool = False
) -> Path | None:
    """Write a layer's style beside its file, where the desktop GIS finds it.

    Parameters
    ----------
    layout : Layout
        The layer, with its columns under their own names.
    path : Path
        Its file.
    names : mapping of str to str
        What columns are called in the file, by their own names; others are called the same.
    letters : bool
        Whether yes and no are letters there.

    Returns
    -------
    Path or None
        The style; None if no style is known for the layer.
    """
    name = layout.contract.name
    if name not in STYLES:
        return None
    style = path.with_suffix(".qml")
    document = style_qml(name, columns=[column for column, _ in layout.columns])
    yes_no = [label for label, column in layout.columns if letters and column.type == "boolean"]
    style.write_text(rename_columns(document, names, yes_no), encoding="utf-8", newline="\n")
    return style


def write_style_files(layouts: Sequence[Layout], beside: Path, others: Path) -> list[Path]:
    """Write each layer's style beside its GeoJSON, where the desktop GIS finds it, and as SLD.

    Parameters
    ----------
    layouts : sequence of Layout
        Those that were written; tables and layers that no style is known for are passed over.
    beside, others : Path
        The folder of the layers, and the one for the SLD files, which is made if it is not there.

    Returns
    -------
    list of Path
        The files.
    """
    written: list[Path] = []
    for layout in layouts:
        name = layout.contract.name
        if name not in STYLES:
            continue
        path = beside / f"{name}.qml"
        columns = [column for column, _ in layout.columns]
        path.write_text(style_qml(name, columns=columns), encoding="utf-8", newline="\n")
        others.mkdir(exist_ok=True)
        other = others / f"{name}.sld"
        other.write_text(style_sld(name, columns=columns), encoding="utf-8", newline="\n")
        written += [path, other]
    return written
