"""Geometries mended where their meaning is plain, and refused by row where it is not.

What is changed is listed by row. What is mended: heights and measures (left out), missing and
empty geometries (left out), arcs (made of short edges), the order of rings, repeated vertices,
holes and parts that are thinner than a vertex is exact, single parts in a multi-part wrapping, and
invalid polygons whose area survives.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import Contract
from screenplan.ground.errors import Problem
from screenplan.ground.frame import find_lost
from screenplan.ground.said import said
from screenplan.site.features import PART_OF, find_hollow, without_empty
from screenplan.site.overlay import polygons_of
from screenplan.site.shaping import kept, with_shapes

#: A repair may change a polygon's area by this share, and by no more than so many square metres;
#: a bow tie changes it by far more.
AREA_KEPT, AREA_KEPT_M2 = 0.01, 5.0
#: Vertices nearer to each other than this are one.
SAME_VERTEX_M = 0.001
#: The same in words.
_WIDTH = f"{{{SAME_VERTEX_M * 1000:g} mm}}"
#: In place of a row's number: the repair befell the layer as a whole.
WHOLE_LAYER = 0
#: A polygon smaller than this has no area: a line drawn twice, or a slip of the hand.
LEAST_AREA_M2 = 0.01


@dataclass
class Findings:
    """What was mended and what was not, while one layer is read.

    Parameters
    ----------
    layer : str
        The contract's name, for the list of repairs.
    file, source_layer : str or None
        Where the rows stand, for the problems.
    """

    layer: str
    file: str | None = None
    source_layer: str | None = None
    repairs: list[tuple[str, int, str]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    @classmethod
    def of(cls, source) -> Findings:
        """Begin with nothing found in an opened layer."""
        return cls(source.name, source.file, source.layer)

    def mended(self, rows, repair: str) -> None:
        """List one repair for each row; `WHOLE_LAYER` stands for all of them."""
        self.repairs += [(self.layer, int(row), said(repair)) for row in rows]

    def mended_among(self, index, which: np.ndarray, repair: str) -> None:
        """List a repair by row, or in one line if it befell all of several rows.

        The latter is the habit of a file format: every ring of a shapefile runs clockwise.
        """
        if len(which) > 1 and which.all():
            self.mended([WHOLE_LAYER], f"all rows: {repair}")
        else:
            self.mended(index[which], repair)

    def refused(self, rows, what: str, mend: str, key: str | None = None, kind: str = "") -> None:
        """Note one problem of several rows, or of the layer if there are none."""
        self.problems.append(
            Problem(
                what,
                mend,
                file=self.file,
                layer=self.source_layer,
                rows=tuple(int(row) for row in rows),
                key=key,
                kind=kind,
            )
        )


def flatten(frame: gpd.GeoDataFrame, curved, findings: Findings) -> gpd.GeoDataFrame:
    """Leave out what has no place and what has a third dimension, before projecting.

    Parameters
    ----------
    frame : GeoDataFrame
        As read, indexed by row number.
    curved : set of int
        Rows that had arcs in the file.
    findings : Findings
        Where it is listed.

    Returns
    -------
    GeoDataFrame
        Fewer rows, two dimensions, finite coordinates.
    """
    geometry = np.asarray(frame.geometry.array, dtype=object)
    missing = shapely.is_missing(geometry)
    findings.mended(frame.index[missing], "no geometry: row left out")
    empty = shapely.is_empty(geometry)
    findings.mended(frame.index[empty], "empty geometry: row left out")
    keep = ~missing & ~empty
    frame, geometry = kept(frame, keep), geometry[keep]
    has_z = shapely.has_z(geometry)
    findings.mended_among(frame.index, has_z, "heights in the coordinates left out")
    if hasattr(shapely, "has_m"):  # from shapely 2.1 on
        findings.mended_among(
            frame.index, shapely.has_m(geometry), "measures in the coordinates left out"
        )
    geometry = shapely.force_2d(geometry)
    for place in find_hollow(geometry):
        geometry[place], parts, holes = without_empty(geometry[place])
        for count, what in ((parts, "part"), (holes, "hole")):
            if count:
                findings.mended([frame.index[place]], f"{_count(count, what)} without a point left out")  # fmt: skip
    findings.mended(
        [row for row in frame.index if row in curved],
        "arcs made of short straight edges, 4 degrees of arc each",
    )
    lost = find_lost(geometry)
    if len(lost):
        findings.refused(
            frame.index[lost],
            "A coordinate is not a finite number",
            "Correct or delete these rows",
            kind="geometry",
        )
        keep = np.ones(len(frame), dtype=bool)
        keep[lost] = False
        frame, geometry = frame[keep], geometry[keep]
    return with_shapes(frame, geometry, frame.crs)


def mend(frame: gpd.GeoDataFrame, contract: Contract, findings: Findings) -> gpd.GeoDataFrame:
    """Mend geometries in the local frame, and note those that cannot be.

    Parameters
    ----------
    frame : GeoDataFrame
        Two-dimensional, in metres, indexed by row number.
    contract : Contract
        Which types of geometry the layer may have.
    findings : Findings
        Where repairs and problems are noted.

    Returns
    -------
    GeoDataFrame
        The rows that can be used.
    """
    geometry = _unwrap(np.asarray(frame.geometry.array, dtype=object), frame.index, findings)
    types = np.array([shape.geom_type for shape in geometry], dtype=object)
    wrong = ~np.isin(types, contract.geometry)
    for kind in dict.fromkeys(types[wrong]):
        has_single = PART_OF.get(kind) in contract.geometry
        findings.refused(
            frame.index[wrong & (types == kind)],
            f"The layer of {contract.name.replace('_', ' ')} takes "
            f"{' or '.join(contract.geometry)}, and this is a {kind}"
            + (" of several parts" if has_single else ""),
            "Split it into single parts" if has_single else _mend_type(contract, kind),
            kind="geometry",
        )
    frame, geometry = kept(frame, ~wrong), geometry[~wrong]
    geometry, thin = drop_slivers(geometry, frame.index, findings)
    frame, geometry = kept(frame, ~thin), _unwrap(geometry[~thin], frame.index[~thin])
    geometry = _thin(geometry, frame.index, findings)
    polygonal = np.isin(shapely.get_type_id(geometry), (3, 6))
    good = np.ones(len(frame), dtype=bool)
    rebuilt = polygonal & ~shapely.is_valid(geometry)
    geometry[polygonal], good[polygonal] = _validate(
        geometry[polygonal], frame.index[polygonal], findings
    )
    linear = np.isin(shapely.get_type_id(geometry), (1, 5))
    point_like = linear & (shapely.length(geometry) < SAME_VERTEX_M)
    findings.mended(frame.index[point_like], "line without length: row left out")
    good &= ~point_like
    _turn(geometry, polygonal & good, rebuilt, frame.index, findings)
    return kept(with_shapes(frame, geometry, frame.crs), good)


def check_types(types: Iterable[str], contract: Contract, findings: Findings) -> None:
    """Note it if no row of a layer can be of the kind of geometry that its contract takes.

    Parameters
    ----------
    types : iterable of str
        Types of all its geometries; if there are none, nothing is said.
    contract : Contract
        Which types the layer may have.
    findings : Findings
        Where it is noted.
    """
    taken = {kind.removeprefix("Multi") for kind in contract.geometry}
    held = sorted({kind.removeprefix("Multi") for kind in types})
    if held and all(kind in PART_OF.values() and kind not in taken for kind in held):
        findings.refused(
            (),
            f"The layer of {contract.name.replace('_', ' ')} takes "
            f"{' or '.join(contract.geometry)}, and this is a {' and a '.join(held)}",
            _mend_type(contract, held[0]).removesuffix(", or delete these rows"),
            kind="geometry",
        )


def _mend_type(contract: Contract, kind: str) -> str:
    if contract.geometry[0] == "Polygon" and kind.endswith("LineString"):
        return "Close these lines into polygons, or name the file's layer of polygons"
    return f"Name a layer of {contract.geometry[0]} geometry, or delete these rows"


def _unwrap(geometry: np.ndarray, index, findings: Findings | None = None) -> np.ndarray:
    """Take single parts out of their multi-part wrapping, and list it if asked."""
    geometry = geometry.copy()
    wrapped = _is_wrapped(geometry)
    if findings is not None:
        findings.mended_among(index, wrapped, "single part taken out of its multi-part wrapping")
    while wrapped.any():
        geometry[wrapped] = shapely.get_geometry(geometry[wrapped], 0)
        wrapped = _is_wrapped(geometry)
    return geometry


def _is_wrapped(geometry: np.ndarray) -> np.ndarray:
    return np.isin(shapely.get_type_id(geometry), (4, 5, 6, 7)) & (
        shapely.get_num_geometries(geometry) == 1
    )


def _thin(geometry: np.ndarray, index, findings: Findings) -> np.ndarray:
    """Take out vertices that repeat their neighbour."""
    thinned = _remove_repeated(geometry)
    over = shapely.get_num_coordinates(geometry) - shapely.get_num_coordinates(thinned)
    # What would lose its shape is left to the checks of area and length.
    usable = ~shapely.is_empty(thinned) & (over > 0)
    for row, count in zip(index[usable], over[usable], strict=True):
        findings.mended(
            [row], f"{count} repeated {'vertex' if count == 1 else 'vertices'} taken out"
        )
    return np.where(usable, thinned, geometry)


def _remove_repeated(geometry: np.ndarray) -> np.ndarray:
    """As GEOS does it, save that a geometry which would be none any more stays as it is."""
    try:
        return shapely.remove_repeated_points(geometry, SAME_VERTEX_M)
    except shapely.errors.GEOSException:
        thinned = geometry.copy()
        for i, shape in enumerate(geometry):
            with contextlib.suppress(shapely.errors.GEOSException):
                thinned[i] = shapely.remove_repeated_points(shape, SAME_VERTEX_M)
        return thinned


def drop_slivers(geometry: np.ndarray, index, findings: Findings) -> tuple[np.ndarray, np.ndarray]:
    """Take out holes and parts thinner than `SAME_VERTEX_M`, and refuse what is thinner all over.

    The width of a ring is its mean one, twice its area by its length: that of a long strip is the
    strip's. A line has no width; a part of it that is shorter is taken out.

    Parameters
    ----------
    geometry : ndarray of Geometry
        Two-dimensional, metres.
    index : Index
        Their row numbers.
    findings : Findings
        Where repairs and problems are noted.

    Returns
    -------
    geometry : ndarray of Geometry
        Without them.
    thin : ndarray of bool
        Polygons of which nothing is left.
    """
    geometry, thin = geometry.copy(), np.zeros(len(geometry), dtype=bool)
    for i in _find_slivers(geometry):
        geometry[i], thin[i] = _without_slivers(geometry[i], index[i], findings)
    for sliver, what in (
        (thin & (shapely.area(geometry) < LEAST_AREA_M2), f"has no area (less than {{{LEAST_AREA_M2:g} m²}})"),
        (thin & (shapely.area(geometry) >= LEAST_AREA_M2), f"is thinner than {_WIDTH}"),
    ):  # fmt: skip
        if sliver.any():
            findings.refused(
                index[sliver], f"The polygon {what}", "Redraw or delete these rows", kind="geometry"
            )
    return geometry, thin


def _find_slivers(geometry: np.ndarray) -> np.ndarray:
    """Positions of the geometries of which a ring or a part may be too thin."""
    kind = shapely.get_type_id(geometry)
    solid, lines = np.flatnonzero(np.isin(kind, (3, 6))), np.flatnonzero(kind == 5)
    polygons, of_solid = shapely.get_parts(geometry[solid], return_index=True)
    rings, of_polygon = shapely.get_rings(polygons, return_index=True)
    parts, of_line = shapely.get_parts(geometry[lines], return_index=True)
    return np.union1d(
        solid[of_solid[of_polygon[_is_narrow(rings)]]],
        lines[of_line[shapely.length(parts) < SAME_VERTEX_M]],
    ).astype(int)


def _without_slivers(shape, row: int, findings: Findings):
    """Give what is left of one geometry, and whether that is nothing; what is taken out is listed."""
    parts = shapely.get_parts(shape)
    if shapely.get_type_id(shape) == 5:
        kept = parts[shapely.length(parts) >= SAME_VERTEX_M]
        if 0 < len(kept) < len(parts):
            findings.mended([row], f"{_count(len(parts) - len(kept), 'part')} shorter than {_WIDTH} taken out")  # fmt: skip
            return shapely.multilinestrings(kept), False
        return shape, False
    kept = parts[~_is_sliver(shapely.get_exterior_ring(parts))]
    if not len(kept):
        return shape, True
    if len(kept) < len(parts):
        findings.mended([row], f"{_count(len(parts) - len(kept), 'part')} thinner than {_WIDTH} taken out")  # fmt: skip
    holes = 0
    for place, part in enumerate(kept):
        outer, *inner = shapely.get_rings(part)
        thin = _is_sliver(np.array(inner, dtype=object))
        holes += int(thin.sum())
        if thin.any():
            left = [ring for ring, is_thin in zip(inner, thin, strict=True) if not is_thin]
            kept[place] = shapely.polygons(outer, left or None)
    if holes:
        findings.mended([row], f"{_count(holes, 'hole')} thinner than {_WIDTH} taken out")
    return (kept[0] if len(kept) == 1 else shapely.multipolygons(kept)), False


def _is_narrow(rings: np.ndarray) -> np.ndarray:
    """Tell which rings have too little area for their length; of one that crosses itself areas cancel."""
    return 2.0 * shapely.area(shapely.polygons(rings)) <= SAME_VERTEX_M * shapely.length(rings)


def _is_sliver(rings: np.ndarray) -> np.ndarray:
    """Tell which rings are too thin, whether or not they cross themselves."""
    thin = _is_narrow(rings)
    if thin.any():
        area = _repaired_area(shapely.polygons(rings[thin]))
        thin[thin] = 2.0 * area <= SAME_VERTEX_M * shapely.length(rings[thin])
    return thin


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _validate(geometry: np.ndarray, index, findings: Findings) -> tuple[np.ndarray, np.ndarray]:
    """Make polygons valid where that keeps their area; say which can be used."""
    geometry = geometry.copy()
    good = np.ones(len(geometry), dtype=bool)
    for i in np.flatnonzero(~shapely.is_valid(geometry)):
        reason = shapely.is_valid_reason(geometry[i]).split("[")[0].strip().lower()
        before = shapely.area(geometry[i])
        fixed = _polygons_of(
            shapely.make_valid(geometry[i], method="structure", keep_collapsed=False)
        )
        after = 0.0 if fixed is None else fixed.area
        if fixed is not None and abs(after - before) <= min(
            AREA_KEPT * max(before, after), AREA_KEPT_M2
        ):
            geometry[i] = fixed
            findings.mended(
                [index[i]],
                f"invalid polygon ({reason}) mended; area {{{before:.2f} m²}} before, {{{after:.2f} m²}} after",
            )
            continue
        good[i] = False
        if max(before, after) < LEAST_AREA_M2:
            continue  # said below
        change = f"a repair would change its area from {{{before:.1f} to {after:.1f} m²}}"
        if before < 0.0:
            change = "its holes have more area than its outline"
        findings.refused(
            [index[i]],
            f"The polygon is invalid ({reason}), and {change}",
            "Redraw it without crossing edges",
            kind="geometry",
        )
    tiny = shapely.area(geometry) < LEAST_AREA_M2
    doubtful = np.flatnonzero(tiny & ~good)
    tiny[doubtful] = _repaired_area(geometry[doubtful]) < LEAST_AREA_M2
    if tiny.any():
        findings.refused(
            index[tiny],
            f"The polygon has no area (less than {{{LEAST_AREA_M2:g} m²}})",
            "Redraw or delete these rows",
            kind="geometry",
        )
    return geometry, good & ~tiny


def _repaired_area(geometry: np.ndarray) -> np.ndarray:
    return shapely.area(shapely.make_valid(geometry, method="structure", keep_collapsed=False))


def _polygons_of(geometry):
    """Join the polygons of a mixed geometry; None if there are none."""
    parts, _ = polygons_of(np.array([geometry]))
    if not len(parts):
        return None
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def _turn(geometry: np.ndarray, which: np.ndarray, rebuilt, index, findings: Findings) -> None:
    """Turn outer rings anticlockwise and holes clockwise, in place; a rebuilt one goes unsaid."""
    where = np.flatnonzero(which)
    turned = shapely.orient_polygons(geometry[where], exterior_cw=False)
    changed = ~shapely.equals_identical(turned, geometry[where]) & ~rebuilt[where]
    geometry[where] = turned
    findings.mended_among(
        index[where], changed, "rings turned: the outer one anticlockwise, holes clockwise"
    )
