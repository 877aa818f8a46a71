"""The project file: ``plan.qgz`` beside the GeoPackage, for a desktop GIS to open.

It is written without the desktop GIS. All paths in it are relative, so that it moves with its
folder; its reference system is the site's local frame, in which a metre is a metre of tape and up
is true north.
"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

import pandas as pd
import shapely

from screenplan.contracts import OUTPUTS, SURROUNDINGS, WRITTEN, as_written
from screenplan.contracts.presentation import PLAN, STAKE_OUT, THEMES
from screenplan.ground.frame import LocalFrame
from screenplan.ground.said import in_units
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import find_surroundings
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.project.maplayers import (
    RASTER_ID,
    add_sun_raster,
    add_vector_layer,
)
from screenplan.outputs.project.markup import add, add_reference, plain_text
from screenplan.outputs.project.sheets import Titles, add_sheets
from screenplan.outputs.project.tree import CROWNS, TABLES, Entry, arrange
from screenplan.outputs.rasters import SUN_HOURS_NAME
from screenplan.outputs.record import describe_output
from screenplan.outputs.styles import style_qml
from screenplan.outputs.styles.sun_raster import darkest_year
from screenplan.outputs.vector import explain_failure

PROJECT_NAME = "plan.qgz"
#: The version of the desktop GIS whose form of project this is, the last release of its long-term line:
#: newer ones read it, and older ones say that it is newer.
VERSION = "3.22.16"
#: A zip file's own beginning of time: nothing in the file tells when it was written.
_EPOCH = (1980, 1, 1, 0, 0, 0)
_DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>\n'
#: Share of the site's size by which the first view is larger.
AROUND = 0.15


def write_project(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    frame: LocalFrame,
    titles: Titles,
    *,
    units: str = "metric",
) -> list[dict]:
    """Write ``plan.qgz`` into a run's folder.

    The same layers and titles give the same bytes.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, in the local frame: those that `write_layers` wrote.
    folder : path
        Where the GeoPackage is; the raster of sun hours is taken up if it is there.
    frame : LocalFrame
    titles : Titles
        For the sheets.
    units : {"metric", "us"}
        Of the scales, the scale bar and of what is measured on the map.

    Returns
    -------
    list of dict
        For the run record, as `describe_output` gives them.

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    path = Path(folder) / PROJECT_NAME
    given = {name: layers[name] for name in OUTPUTS if name in layers}
    written = split_by_kind(given, OUTPUTS) | find_surroundings(layers)
    raster = path.with_name(SUN_HOURS_NAME).is_file()
    root = make_document(written, frame, titles, units=units, raster=raster)
    entry = zipfile.ZipInfo(f"{path.stem}.qgs", _EPOCH)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = 0o644 << 16
    with explain_failure(path), zipfile.ZipFile(path, "w") as package:
        package.writestr(entry, _DECLARATION + tostring(root, encoding="unicode"))
    return [describe_output(path, {})]


def make_document(
    layers: Mapping[str, pd.DataFrame],
    frame: LocalFrame,
    titles: Titles,
    *,
    units: str = "metric",
    raster: bool = False,
) -> Element:
    """Make the project's document.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By name as written, in the local frame.
    frame, titles, units
        As of `write_project`.
    raster : bool
        Whether the raster of sun hours stands beside it.
    """
    entries = arrange(layers, WRITTEN | as_written(SURROUNDINGS))
    bounds = site_bounds(layers)
    root = Element("qgis", projectname=plain_text(titles.title), version=VERSION)
    add(root, "homePath", path="")
    add(root, "title", titles.title)
    add_reference(root, "projectCrs", frame.crs)
    sun = darkest_year(layers["sun_grid"]) if raster and "sun_grid" in layers else None
    _add_tree(root, entries, None if sun is None else f"Sun hours in year {sun[1]}")
    seen = view_bounds(layers)
    _add_canvas(root, seen, frame)
    made = add(root, "projectlayers")
    for entry in entries:
        style = style_qml(entry.name, columns=layers[entry.name].columns)
        add_vector_layer(made, entry, frame.source_crs, style, units)
    if sun is not None:
        grid = layers["sun_grid"]
        add_sun_raster(
            made, f"./{SUN_HOURS_NAME}", f"Sun hours in year {sun[1]}", frame.crs, sun[0],
            float(grid["sun_now_h"].max()),
        )  # fmt: skip
    _add_properties(root, units)
    _add_themes(root, entries)
    about = add(root, "projectMetadata")
    add(about, "title", titles.title)
    add(about, "abstract", in_units(f"Planting plan of {titles.of}. {frame.length_note}."))
    shown = {PLAN: bounds, STAKE_OUT: stake_out_bounds(layers) or bounds}
    add_sheets(add(root, "Layouts"), shown, entries, layers, titles, frame.crs, units=units)
    _add_view(root, seen, frame)
    return root


def site_bounds(layers: Mapping[str, pd.DataFrame]) -> tuple[float, float, float, float]:
    """Give the extent of the subject parcel and of the crowns and rows, in metres of the frame."""
    parcels = layers["parcels"]
    shapes = [layers[name].geometry for name in ("planting_lines", "crowns") if name in layers]
    shapes.append(parcels.geometry[parcels["is_subject"].fillna(False).astype(bool)])
    return _bounds(shapes)


def view_bounds(layers: Mapping[str, pd.DataFrame]) -> tuple[float, float, float, float]:
    """Give the extent of the first view: the site, and the houses from whose windows somebody looks in."""
    site = site_bounds(layers)
    windows, houses = layers.get("windows"), layers.get("buildings")
    if windows is None or not len(windows):
        return site
    shapes = [windows.geometry]
    if houses is not None and "building_id" in windows and len(houses):
        looked_from = set(windows["building_id"].dropna().astype(str))
        shapes.append(houses.geometry[houses["building_id"].astype(str).isin(looked_from)])
    return _bounds([pd.Series([shapely.box(*site)]), *shapes])


def stake_out_bounds(
    layers: Mapping[str, pd.DataFrame],
) -> tuple[float, float, float, float] | None:
    """Give the extent of stakes, pegs and the points from which tapes start; None without stakes."""
    if not len(layers.get("stakes", ())):
        return None
    shapes = [layers[name].geometry for name in ("stakes", "pegs", "base_lines") if name in layers]
    points = layers.get("tape_points")
    if points is not None:
        shapes.append(points.geometry[points["used"].fillna(False).astype(bool)])
    return _bounds(shapes)


def _bounds(shapes: Sequence[pd.Series]) -> tuple[float, float, float, float]:
    west, south, east, north = shapely.total_bounds(pd.concat(shapes).to_numpy())
    return float(west), float(south), float(east), float(north)


def _around(bounds: Sequence[float]) -> tuple[float, float, float, float]:
    west, south, east, north = bounds
    more = max(east - west, north - south, 1.0) * AROUND / 2.0
    return west - more, south - more, east + more, north + more


def _add_tree(root: Element, entries: Sequence[Entry], raster: str | None) -> None:
    tree = add(root, "layer-tree-group")
    groups: dict[str, Element] = {}
    for entry in entries:
        if entry.group not in groups:
            groups[entry.group] = _add_group(tree, entry.group, expanded=not groups)
        parent = groups[entry.group]
        if entry.key:
            if CROWNS not in groups:
                years = [other for other in entries if other.key]
                groups[CROWNS] = _add_group(parent, CROWNS, expanded=True)
                groups[CROWNS].set("mutually-exclusive", "1")
                shown = next((at for at, crowns in enumerate(years) if crowns.visible), -1)
                groups[CROWNS].set("mutually-exclusive-child", str(shown))
            parent = groups[CROWNS]
        _add_leaf(parent, entry.id, entry.title, entry.source, entry.visible)
    if raster is not None:
        parent = groups.get("Ground", tree)
        _add_leaf(parent, RASTER_ID, raster, f"./{SUN_HOURS_NAME}", False, provider="gdal")


def _add_group(parent: Element, name: str, *, expanded: bool) -> Element:
    return add(parent, "layer-tree-group", name=name, checked="Qt::Checked", expanded=int(expanded))


def _add_leaf(
    parent: Element, own_id: str, title: str, source: str, visible: bool, provider: str = "ogr"
) -> None:
    add(
        parent, "layer-tree-layer", id=own_id, name=title, source=source, providerKey=provider,
        checked="Qt::Checked" if visible else "Qt::Unchecked", expanded=0, legend_exp="",
        legend_split_behavior=0, patch_size="-1,-1",
    )  # fmt: skip


def _add_canvas(root: Element, bounds: Sequence[float], frame: LocalFrame) -> None:
    canvas = add(root, "mapcanvas", name="theMapCanvas", annotationsVisible=1)
    add(canvas, "units", "meters")
    extent = add(canvas, "extent")
    for tag, value in zip(("xmin", "ymin", "xmax", "ymax"), _around(bounds), strict=True):
        add(extent, tag, repr(value))
    add(canvas, "rotation", 0)
    add_reference(canvas, "destinationsrs", frame.crs)


def _add_view(root: Element, bounds: Sequence[float], frame: LocalFrame) -> None:
    west, south, east, north = _around(bounds)
    settings = add(root, "ProjectViewSettings", UseProjectScales=0, rotation=0)
    view = add(
        settings, "DefaultViewExtent", xmin=repr(west), ymin=repr(south), xmax=repr(east),
        ymax=repr(north),
    )  # fmt: skip
    add_reference(view, None, frame.crs)


def _add_properties(root: Element, units: str) -> None:
    us = units == "us"
    values = {
        "SpatialRefSys": {"ProjectionsEnabled": ("int", "1")},
        "Paths": {"Absolute": ("bool", "false")},
        # Lengths are those of the frame, which are those of a tape: no ellipsoid in between.
        "Measure": {"Ellipsoid": ("QString", "NONE")},
        "Measurement": {
            "DistanceUnits": ("QString", "feet" if us else "meters"),
            "AreaUnits": ("QString", "ft2" if us else "m2"),
        },
        "PositionPrecision": {"Automatic": ("bool", "false"), "DecimalPlaces": ("int", "2")},
        "PAL": {"DrawUnplaced": ("bool", "false"), "PlacementEngineVersion": ("int", "1")},
        "Gui": {
            f"CanvasColor{name}Part": ("int", str(int(COLOURS["paper"][at : at + 2], 16)))
            for at, name in ((1, "Red"), (3, "Green"), (5, "Blue"))
        },
    }
    properties = add(root, "properties")
    for scope, entries in values.items():
        parent = add(properties, scope)
        for name, (kind, value) in entries.items():
            add(parent, name, value, type=kind)


def _add_themes(root: Element, entries: Sequence[Entry]) -> None:
    presets = add(root, "visibility-presets")
    groups = list(dict.fromkeys(entry.group for entry in entries))
    groups += [f"{group}/{CROWNS}" for group in dict.fromkeys(e.group for e in entries if e.key)]
    for theme in THEMES:
        preset = add(presets, "visibility-preset", name=theme)
        preset.set("has-checked-group-info", "1")
        for entry in entries:
            if theme in entry.themes:
                add(preset, "layer", id=entry.id, style="default", visible=1, expanded=0)
        checked = add(preset, "checked-group-nodes")
        for group in groups:
            if group != TABLES:
                add(checked, "checked-group-node", id=group)
