"""What stands on the site, as every plan drawing shows it: parcels, houses, roads, lines."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from screenplan.contracts.called import house_names
from screenplan.outputs.drawings.style import HAIR, HEAVY, LINE, SMALL, THIN, clean, write
from screenplan.outputs.palette import COLOURS

#: Kinds of lines in the ground and in the air: their dashes.
_BURIED, _OVERHEAD = (0, (8, 2, 1.5, 2, 1.5, 2)), (0, (1.2, 1.6))


def parts_of(geometry, *kinds: str) -> list:
    """Give the parts of a geometry that are of some kinds; empty ones are left out."""
    if geometry is None or geometry.is_empty:
        return []
    return [part for part in shapely.get_parts(geometry) if part.geom_type in kinds]


def add_areas(ax, geometries, **options):
    """Draw polygons, holes included; gives the artist, or None if there is nothing to draw."""
    from matplotlib.collections import PathCollection
    from matplotlib.path import Path

    paths = []
    for geometry in geometries:
        for part in parts_of(geometry, "Polygon"):
            rings = [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
            codes = [
                np.array([Path.MOVETO, *[Path.LINETO] * (len(ring) - 2), Path.CLOSEPOLY])
                for ring in rings
            ]
            paths.append(Path(np.concatenate(rings), np.concatenate(codes)))
    if not paths:
        return None
    return ax.add_collection(PathCollection(paths, **options), autolim=False)


def add_lines(ax, geometries, **options):
    """Draw lines; gives the artist, or None if there is nothing to draw."""
    from matplotlib.collections import LineCollection

    pieces = [
        shapely.get_coordinates(part)
        for geometry in geometries
        for part in parts_of(geometry, "LineString", "LinearRing")
    ]
    if not pieces:
        return None
    return ax.add_collection(LineCollection(pieces, **options), autolim=False)


def draw_site(
    ax, layers: Mapping, window: tuple[float, float, float, float], *, labels: bool = True
) -> None:
    """Draw what stands on the site and around it.

    Parameters
    ----------
    ax : Axes
        Data coordinates are metres, east and north.
    layers : mapping of str to GeoDataFrame
        By contract name; what is not there is not drawn.
    window : tuple of 4 floats
        West, south, east, north of the drawing: labels stand inside it.
    labels : bool
        Whether things are named.
    """
    frame = shapely.box(*window)
    near = frame.buffer(MOST_BESIDE_M)
    layers = {
        name: layer[shapely.intersects(layer.geometry.to_numpy(), near)]
        for name in _DRAWN
        if (layer := layers.get(name)) is not None
    }
    _parcels(ax, layers, frame, labels)
    _roads(ax, layers.get("roads"), frame, labels)
    _keep_outs(ax, layers.get("keep_outs"), frame, labels)
    _buildings(ax, layers.get("buildings"), frame, labels)
    _screens(ax, layers.get("existing_screens"), labels)
    _places(ax, layers.get("private_places"), frame, labels)
    _windows(ax, layers.get("windows"), window)
    _utilities(ax, layers.get("utilities"), frame, labels)


#: What is farther outside the drawing than this is not on it, whatever the width of its line or mark, metres.
MOST_BESIDE_M = 30.0
_DRAWN = (
    "parcels", "roads", "keep_outs", "buildings", "existing_screens", "private_places", "windows", "utilities",
)  # fmt: skip


def label_in(ax, geometry, frame, text, **options) -> None:
    """Name a thing at a point of the part of it that is on the drawing, clear of its edge."""
    inset = 0.035 * (frame.bounds[2] - frame.bounds[0])
    seen = shapely.intersection(geometry, frame.buffer(-inset, join_style="mitre"))
    if clean(text) and not seen.is_empty:
        point = (
            seen.centroid
            if seen.geom_type == "Polygon" and seen.contains(seen.centroid)
            else shapely.point_on_surface(seen)
        )
        write(ax, point.x, point.y, clean(text), **options)


def _parcels(ax, layers, frame, labels) -> None:
    parcels = layers.get("parcels")
    if parcels is None:
        return
    mine = parcels["is_subject"].astype(bool).to_numpy()
    add_areas(
        ax, parcels.geometry[~mine], facecolor="none", edgecolor=COLOURS["faint"],
        linewidth=THIN, zorder=2,
    )  # fmt: skip
    add_areas(
        ax, parcels.geometry[mine], facecolor="none", edgecolor=COLOURS["ink"],
        linewidth=HEAVY, linestyle=(0, (9, 2, 1.5, 2)), zorder=12,
    )  # fmt: skip
    if not labels:
        return
    margin = 0.03 * (frame.bounds[3] - frame.bounds[1])
    inner = frame.buffer(-margin, join_style="mitre")
    built = layers.get("buildings")
    built = shapely.Polygon() if built is None else shapely.union_all(built.geometry.to_numpy())
    # One parcel that is planned is the title's; of several each is named.
    named = ~mine if mine.sum() == 1 else np.ones(len(mine), bool)
    for name, shape in zip(parcels["parcel_id"][named], parcels.geometry[named], strict=True):
        free = shapely.difference(shapely.intersection(shape, inner), built.buffer(margin))
        free = free.buffer(-margin / 2.0)
        if not free.is_empty:
            free = max(parts_of(free, "Polygon"), key=lambda part: part.area)
            point = shapely.point_on_surface(free)
            write(ax, point.x, point.y, name, role="quiet", fontsize=SMALL, fontstyle="italic")


def _roads(ax, roads, frame, labels) -> None:
    if roads is None or not len(roads):
        return
    widths = roads["width_m"].fillna(6.0).to_numpy(float)
    surfaces = shapely.buffer(roads.geometry.to_numpy(), widths / 2.0, cap_style="flat")
    add_areas(ax, surfaces, facecolor=COLOURS["paper"], edgecolor=COLOURS["faint"],
              linewidth=THIN, zorder=1.5)  # fmt: skip
    add_lines(ax, roads.geometry, color=COLOURS["faint"], linewidth=HAIR,
              linestyle=(0, (10, 4, 2, 4)), zorder=1.6)  # fmt: skip
    if labels:
        inner = frame.buffer(-0.05 * (frame.bounds[2] - frame.bounds[0]), join_style="mitre")
        for name, line in zip(roads["name"], roads.geometry, strict=True):
            for part in parts_of(shapely.intersection(line, inner), "LineString")[:1]:
                point = part.interpolate(0.5, normalized=True)
                write(ax, point.x, point.y, name, role="quiet", fontsize=SMALL, fontstyle="italic")


def _keep_outs(ax, keep_outs, frame, labels) -> None:
    if keep_outs is None or not len(keep_outs):
        return
    style = {"edgecolor": COLOURS["forbid"], "linewidth": THIN, "zorder": 4}
    add_areas(ax, keep_outs.geometry, facecolor="none", linestyle=(0, (4, 2)), **style)
    add_lines(ax, keep_outs.geometry, color=COLOURS["forbid"], linewidth=HEAVY * 1.6, zorder=13)
    for row in keep_outs.itertuples():
        for point in parts_of(row.geometry, "Point"):
            ax.plot(point.x, point.y, marker="s", markersize=3, color=COLOURS["forbid"], zorder=13)
    if labels:
        for row in keep_outs.itertuples():
            label_in(ax, row.geometry, frame, clean(row.name) or clean(row.kind).replace("_", " "),
                     role="quiet", fontsize=SMALL)  # fmt: skip


def _buildings(ax, buildings, frame, labels) -> None:
    if buildings is None or not len(buildings):
        return
    add_areas(ax, buildings.geometry, facecolor=COLOURS["built"], edgecolor=COLOURS["ink"],
              linewidth=LINE, zorder=5)  # fmt: skip
    if labels:
        names = house_names(buildings)
        for building_id, shape in zip(buildings["building_id"], buildings.geometry, strict=True):
            label_in(ax, shape, frame, names.get(str(building_id), ""), fontsize=SMALL, halo=False)


def _screens(ax, screens, labels) -> None:
    if screens is None:
        return
    for row in screens.loc[screens["kind"] != "plant"].itertuples():
        edge = {"edgecolor": COLOURS["ink"], "linewidth": THIN, "zorder": 6}
        for point in parts_of(row.geometry, "Point"):
            spread = row.width_m if row.width_m == row.width_m else 0.4 * row.height_m
            add_areas(ax, [point.buffer(spread / 2.0)], facecolor="none", linestyle=(0, (3, 1.5)),
                      **edge)  # fmt: skip
            if labels:
                write(ax, point.x, point.y, row.kind, role="quiet", fontsize=SMALL)
        thick = HEAVY * 1.5 if row.kind in ("wall", "fence") else HEAVY
        add_lines(ax, [row.geometry], color=COLOURS["ink"], linewidth=thick, zorder=6,
                  linestyle="solid" if row.kind == "wall" else (0, (3, 1.2)))  # fmt: skip
        add_areas(ax, [row.geometry], facecolor="none", hatch="..", **edge)
        for line in parts_of(row.geometry, "LineString")[:1] if labels else ():
            point = line.interpolate(0.5, normalized=True)
            write(ax, point.x, point.y, row.kind, role="quiet", fontsize=SMALL)


def _places(ax, places, frame, labels) -> None:
    if places is None or not len(places):
        return
    add_areas(ax, places.geometry, facecolor="none", edgecolor=COLOURS["place"],
              linewidth=LINE, linestyle=(0, (1, 1.4)), hatch="xx", alpha=0.45, zorder=4.5)  # fmt: skip
    for row in places.itertuples():
        for point in parts_of(row.geometry, "Point"):
            ax.plot(point.x, point.y, marker="P", markersize=5, color=COLOURS["place"],
                    markeredgecolor=COLOURS["paper"], markeredgewidth=0.5, zorder=14)  # fmt: skip
        if labels:
            name = clean(row.name) or clean(row.place_id)
            if row.geometry.geom_type == "Point":
                write(ax, row.geometry.x, row.geometry.y, name, role="place", fontsize=SMALL,
                      va="top", ha="center")  # fmt: skip
            else:
                label_in(ax, row.geometry, frame, name, role="place", fontsize=SMALL)


def _windows(ax, windows, window) -> None:
    if windows is None or not len(windows):
        return
    frame = shapely.box(*window)
    sheets = []
    for row in windows.itertuples():
        if row.facing_deg == row.facing_deg and frame.intersects(row.geometry):
            angle = np.radians(row.facing_deg)
            along = np.array([np.cos(angle), -np.sin(angle)]) * (row.width_m / 2.0)
            middle = np.array([row.geometry.x, row.geometry.y])
            sheets.append(shapely.LineString([middle - along, middle + along]))
    add_lines(ax, sheets, color=COLOURS["open"], linewidth=2.2, zorder=7, capstyle="butt")
    add_lines(ax, sheets, color=COLOURS["paper"], linewidth=0.8, zorder=7.1, capstyle="butt")


def _utilities(ax, utilities, frame, labels) -> None:
    if utilities is None or not len(utilities):
        return
    for position, dashes in (("buried", _BURIED), ("overhead", _OVERHEAD)):
        rows = utilities.loc[utilities["position"] == position]
        add_lines(ax, rows.geometry, color=COLOURS["ink"], linewidth=LINE, linestyle=dashes,
                  zorder=8)  # fmt: skip
        for row in rows.itertuples():
            for point in parts_of(row.geometry, "Point"):
                ax.plot(point.x, point.y, marker="D", markersize=3, color=COLOURS["ink"], zorder=8)
            if not labels:
                continue
            for part in parts_of(shapely.intersection(row.geometry, frame), "LineString")[:1]:
                point = part.interpolate(0.38, normalized=True)
                write(ax, point.x, point.y, f"{clean(row.kind)}, {position}", fontsize=SMALL,
                      rotation=_turn(part), rotation_mode="anchor")  # fmt: skip


def _turn(line) -> float:
    """Angle at which a text follows a line and stays readable."""
    a, b = line.interpolate(0.36, normalized=True), line.interpolate(0.40, normalized=True)
    angle = float(np.degrees(np.arctan2(b.y - a.y, b.x - a.x)))
    return angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle
