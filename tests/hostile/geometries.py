"""Geometries of all kinds, sound and not, through reading, sides and zones.

A parcel is tried alone, other things by the handful in one layer. Each site must end in sides and
zones that are valid, finite, the outline's own and together the parcel; or it is refused by file,
layer and row, and then the rows that are named are all that is wrong: without them it is planned.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.outputs.geojson import COORDINATE_DECIMALS, WGS84
from screenplan.outputs.valid import valid_polygons
from screenplan.plan import check_plan
from screenplan.running.course import check_positions
from screenplan.running.inputs import step_arguments
from screenplan.running.steps import STEPS
from screenplan.site.reading import LayerSource, read_site

from . import encoding, patterns
from .drawn_shapes import draw_shapes
from .outcome import Case, FaultError, Outcome, judge, left_alone, share_of

NAME = "geometries"
#: Sites for each role, and geometries in each of them; 10,000 geometries in all.
SITES = {"parcel": 4000, "neighbour": 100, "buildings": 300, "keep_outs": 350, "private_places": 200,
         "existing_screens": 100, "utilities": 75, "roads": 75}  # fmt: skip
EACH = 5
#: The layer of a role that is not called like it.
LAYERS = {"parcel": "parcels", "neighbour": "parcels"}
#: Columns that are needed beside the shape.
COLUMNS = {
    "buildings": {"height_m": 5.0},
    "keep_outs": {"kind": "pond"},
    "existing_screens": {"kind": "hedge", "height_m": 2.0, "width_m": 1.0},
    "utilities": {"kind": "gas", "position": "buried"},
}
#: How often each spot and each format is drawn.
SPOTS = {name: 3 if name in ("zone", "degrees", "feet") else 1 for name in encoding.SPOTS}
FORMATS = {"geojson": 0.6, "gpkg": 0.3, "shp": 0.1}
#: Zones and what is left may lack or overlap this much of a parcel for each metre of its outline: what
#: is thinner is no ground on which a stem stands.
WIDTH_M = 0.001
#: Grid on which zones are compared.
GRID_M = 1e-8
#: Rounding of lengths: of a sum of so many thousand edges, and as a share of the outline.
LENGTH_M, LENGTH_SHARE = 1e-6, 1e-9
#: Systems in whose planes an area is that of the ground, and to which share.
EQUAL_AREAS, AREA_SHARE = ("zone", "feet", "south"), 0.011
#: As near to the middle of the site as this, a row is looked at, or it is said why not.
LOOKED_AT_M = 100.0
#: A valid parcel that is nowhere narrower than twice the one, and as wide as twice the other somewhere,
#: may not be refused.
NECK_M, ROOM_M = 0.01, 0.5
#: How a refusal begins that is of all rows at once: of a wrong kind, in a wrong place, in a wrong CRS.
WHOLE = ("The layer of ", "No coordinate can lie in the CRS", "Coordinates such as ")
#: Key of a plan that says in which CRS the parcels are.
PARCELS_KEY = "layers.parcels.crs"
#: Words of which one stands in what is said of a row that is not in its layer.
LEFT_OUT = ("left out", "merged", "taken together")


def cases(seed: int, share: float = 1.0) -> Iterator[Case]:
    """Give the sites: which role is odd, and what its shapes are drawn from."""
    every = (
        Case(f"{role} {number}", (role, (seed, place, number)))
        for place, (role, count) in enumerate(SITES.items())
        for number in range(count)
    )
    return share_of(every, share)


def run(case: Case) -> Outcome:
    """Write a site, read it, and cut its sides and zones."""
    role, drawn_from = case.what
    drawn, spot, form = draw(role, drawn_from)
    outcome = _try(role, drawn, spot, form)
    if outcome.is_fault and len(drawn) > 1:
        alone = [name for name, shape in drawn if _try(role, [(name, shape)], spot, form).is_fault]
        drawn = [(name, None) for name in alone] or drawn
    if outcome.is_fault:
        names = ", ".join(name for name, _ in drawn)
        return Outcome("fault", f"{names} ({spot}, {form}): {outcome.said}")
    return outcome


def draw(role: str, drawn_from) -> tuple[list[tuple[str, patterns.Shape]], str, str]:
    """Draw the odd shapes of a case with what they are called, the spot and the format."""
    rng = np.random.default_rng(drawn_from)
    count = 1 if role == "parcel" else EACH
    spots = np.array(list(SPOTS.values()), dtype=float)
    spot = str(rng.choice(list(SPOTS), p=spots / spots.sum()))
    form = str(rng.choice(list(FORMATS), p=list(FORMATS.values())))
    if rng.random() < 0.5:
        number = int(rng.integers(2**32))
        drawn = draw_shapes(number, count)
        return [(f"drawn {k} of {number}", shape) for k, shape in enumerate(drawn, 1)], spot, form
    names = rng.choice(list(patterns.PATTERNS), size=count)
    drawn = [(str(name), patterns.PATTERNS[name](rng)) for name in names]
    if count > 1:
        drawn = [(name, _moved(shape, *rng.uniform(-25, 25, size=2))) for name, shape in drawn]
    return drawn, spot, form


def _moved(shape, x: float, y: float):
    if shape is None or "then" in shape:
        return shape
    return encoding.change(shape, lambda at: (at[0] + x, at[1] + y, *at[2:]))


def _try(role: str, drawn, spot: str, form: str) -> Outcome:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sources = _write(folder, role, drawn, spot, form)
        return judge(lambda: _plan(folder, sources, role, drawn, spot))


# ---- files -------------------------------------------------------------------------------------


def _write(folder: Path, role: str, drawn, spot: str, form: str) -> dict[str, LayerSource]:
    lot = patterns.polygon(patterns.box(-25, -20, 50, 40))
    odd = [shape for _, shape in drawn]
    lots = odd if role == "parcel" else [lot, *odd] if role == "neighbour" else [lot]
    rows = [(shape, {"parcel_id": f"lot {k}"}) for k, shape in enumerate(lots)]
    sources = {"parcels": _write_layer(folder, "parcels", rows, spot, form)}
    if role not in ("parcel", "neighbour"):
        rows = [(shape, {"note": "x", **COLUMNS.get(role, {})}) for shape in odd]
        sources[role] = _write_layer(folder, role, rows, spot, form)
    return sources


def _write_layer(folder: Path, name: str, rows, spot: str, form: str) -> LayerSource:
    crs = encoding.SPOTS[spot].crs
    placed = [(encoding.place(shape, spot), columns) for shape, columns in rows]
    arcs = any(encoding.has_arcs(shape) for shape, _ in rows)
    areas = all(shape is None or shape["type"] in ("Polygon", "MultiPolygon") for shape, _ in rows)
    if form == "shp" and not (areas and all(encoding.is_finite(shape) for shape, _ in placed)):
        form = "gpkg"  # a shapefile holds one kind, and no number that is none
    path = folder / f"{name}.{'gpkg' if arcs else form}"
    if path.suffix == ".geojson":
        encoding.write_geojson(path, placed, crs)
    else:
        encoding.write_features(path, placed, crs, {".gpkg": "GPKG", ".shp": "ESRI Shapefile"}[path.suffix])  # fmt: skip
    units = {column: "m" for column in rows[0][1] if column.endswith("_m")}
    return LayerSource(path, units=units)


# ---- plans -------------------------------------------------------------------------------------


def _plan(folder: Path, sources, role: str, drawn, spot: str) -> str | None:
    with left_alone(folder):
        try:
            return _compute(sources, role, drawn, spot)
        except InputError as refusal:
            rows = _rows_of(refusal)
            if role == "parcel":
                if _is_plain(drawn[0][1]):
                    raise FaultError(f"a sound parcel is refused: {refusal}") from None
                raise
            near = [name for name, shape in drawn if _is_sound(shape, role)]
            if near and not rows:
                raise FaultError(f"all rows are refused, and {near} are sound: {refusal}") from None
            first = 1 if role == "neighbour" else 0
            left = [shape for k, shape in enumerate(drawn, 1 + first) if rows and k not in rows]
            with tempfile.TemporaryDirectory() as other:
                form = next(iter(sources.values())).file.suffix[1:]
                again = _write(Path(other), role, left, spot, form) if left else None
                try:
                    if again:
                        _compute(again, role, left, spot)
                except InputError as second:
                    if not _rows_of(second):
                        raise  # such as that nothing lies near
                    raise FaultError(f"without rows {rows} it is refused still: {second}") from None
            raise


def _compute(sources, role: str, drawn, spot: str) -> str:
    plan = check_plan({"layers": {"parcels": {"file": "parcels"}}})
    site = read_site(sources, plan=plan.about("lot 0"))
    check_positions(site.frame)
    layers = dict(site.layers)
    _hold_read(site, role, drawn, spot)
    steps = ("sides", "places", "zones") if role == "private_places" else ("sides", "zones")
    for name in steps:
        step = STEPS[name]
        layers |= step(layers, **step_arguments(step, plan, Path(), site.terrain, site.frame))
    _hold_plan(layers, site.frame)
    return f"{len(layers['sides'])} sides, {len(layers['no_plant_zones'])} zones"


def _rows_of(refusal: InputError) -> set[int]:
    """Give the rows that a refusal names; raise a fault if it does not say where they stand."""
    for problem in refusal.problems:
        if problem.key == PARCELS_KEY and problem.file is None:
            continue  # the plan's own key is where it stands
        if problem.file is None:
            raise FaultError(f"a refusal that names no file: {problem}")
        if not problem.rows and not problem.what.startswith(WHOLE):
            raise FaultError(f"a refusal that names no row: {problem}")
    return {row for problem in refusal.problems for row in problem.rows}


def _hold_read(site, role: str, drawn, spot: str) -> None:
    for name, layer in site.layers.items():
        shapes = np.asarray(layer.geometry.array, dtype=object)
        _hold_shapes(name, shapes)
        wrong = {shape.geom_type for shape in shapes} - set(INPUTS[name].geometry)
        if wrong:
            raise FaultError(f"{name} holds a {wrong.pop()}")
    layer = LAYERS.get(role, role)
    said = {row: text for where, row, text in site.repairs.itertuples(index=False) if where == layer}  # fmt: skip
    if role == "parcel":
        _hold_area(site, drawn[0][1], spot, said)
    elif role != "neighbour":
        there = set(site.layers[role].index)
        for row, (name, shape) in enumerate(drawn, 1):
            texts = " ".join(site.repairs.loc[site.repairs["row"].isin((0, row)), "repair"])
            if row not in there and _is_near(shape) and not any(word in texts for word in LEFT_OUT):
                raise FaultError(f"row {row} ({name}) is not there, and nothing is said of it")


def _hold_area(site, shape, spot: str, said) -> None:
    """A sound parcel keeps its area; one that was mended may not."""
    if spot not in EQUAL_AREAS or shape is None or "then" in shape or encoding.has_arcs(shape):
        return
    try:
        given = shapely.force_2d(shapely.from_wkb(encoding.as_bytes(shape)))
    except shapely.errors.GEOSException:
        return
    finite = np.isfinite(shapely.get_coordinates(given)).all()
    if not finite or not given.is_valid or given.area < 1.0 or said:
        return
    (kept,) = site.layers["parcels"].geometry[site.layers["parcels"]["is_subject"]]
    if abs(kept.area - given.area) > AREA_SHARE * given.area:
        raise FaultError(f"{given.area:.3f} m² became {kept.area:.3f} m², and nothing is said")


def _is_sound(shape, role: str) -> bool:
    """Tell whether a shape is near, valid, and of a kind that its layer takes."""
    if not _is_near(shape) or encoding.has_arcs(shape):
        return False
    try:
        given = shapely.from_wkb(encoding.as_bytes(shape))
    except shapely.errors.GEOSException:
        return False
    long = max(given.area, given.length) > 1.0 or given.geom_type == "Point"
    return given.geom_type in INPUTS[LAYERS.get(role, role)].geometry and given.is_valid and long


def _is_plain(shape) -> bool:
    """Tell whether a shape is one valid polygon with room for a row; at each spot it must be planned."""
    if not _is_sound(shape, "parcel") or shape["type"] != "Polygon":
        return False
    given = shapely.from_wkb(encoding.as_bytes(shape))
    whole = shapely.buffer(given, -NECK_M).geom_type == "Polygon"
    return whole and not shapely.buffer(given, -ROOM_M).is_empty


def _is_near(shape) -> bool:
    """Tell whether a shape lies within `LOOKED_AT_M` all over."""
    if shape is None or "then" in shape or shape["type"] == "GeometryCollection":
        return False
    found = encoding.numbers_of(shape)
    return bool(found) and bool(np.isfinite(found).all()) and max(map(abs, found)) < LOOKED_AT_M


def _hold_plan(layers, frame) -> None:
    (outline,) = layers["parcels"].geometry[layers["parcels"]["is_subject"]]
    sides = layers["sides"].geometry.to_numpy()
    zones, free = (
        layers[name].geometry.to_numpy() for name in ("no_plant_zones", "plantable_zone")
    )
    for name, shapes in (("sides", sides), ("no_plant_zones", zones), ("plantable_zone", free)):
        _hold_shapes(name, shapes)
        try:
            conform(layers[name], OUTPUTS[name])
        except InputError as error:
            raise FaultError(f"{name} breaks its contract: {error}") from None
        for system in (frame.source_crs, WGS84):
            _hold_sent(name, np.asarray(frame.send_out(layers[name], system).geometry), system == WGS84)  # fmt: skip
    around = sum(part.exterior.length for part in shapely.get_parts(outline))
    if abs(shapely.length(sides).sum() - around) > LENGTH_M + LENGTH_SHARE * around:
        raise FaultError(f"sides of {shapely.length(sides).sum()} m round an outline of {around} m")
    allowed = WIDTH_M * outline.length
    left_out = shapely.union_all(zones).area + shapely.area(free).sum()
    # Zones and what is left share edges that nearly coincide: GEOS then needs a grid.
    with np.errstate(all="ignore"):  # edges of 1e-174 m have no slope on a grid
        twice = shapely.intersection(zones[:, None], free, grid_size=GRID_M)
        beyond = shapely.difference([*zones, *free], outline, grid_size=GRID_M)
    if abs(left_out - outline.area) > allowed or shapely.area(beyond).sum() > allowed:
        raise FaultError("zones and what is left are not the parcel")
    if shapely.area(twice).sum() > allowed:
        raise FaultError("zones and what is left overlap")


def _hold_sent(name: str, shapes: np.ndarray, rounded: bool) -> None:
    """Hold shapes as they are written: nothing is lost, and what is there is sound."""
    if rounded:
        shapes = shapely.transform(shapes, lambda xy: np.round(xy, COORDINATE_DECIMALS))
    written = valid_polygons(shapes, grid=10.0**-COORDINATE_DECIMALS if rounded else None)
    _hold_shapes(f"{name} as written", written[~shapely.is_missing(written)])


def _hold_shapes(name: str, shapes: np.ndarray) -> None:
    if shapely.is_missing(shapes).any() or shapely.is_empty(shapes).any():
        raise FaultError(f"{name}: a row without a geometry")
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise FaultError(f"{name}: coordinates that are no numbers")
    if not shapely.is_valid(shapes).all():
        raise FaultError(f"{name}: a geometry that is not valid")
