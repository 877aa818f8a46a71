"""Where no stem may stand, by which rule and for what; and what is left of the parcel.

Every zone contains all ground nearer than its rule's distance: arcs are drawn around the true
circle, not inside it, so that a zone is up to `ARC_EXCESS_M` wider than its distance.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.polygon import orient

from screenplan.contracts import NO_PLANT_ZONES, PLANTABLE_ZONE
from screenplan.contracts.tables import layer_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.clearing import ARC_EXCESS_M, keep_clear_each
from screenplan.planting.mixes import kinds_in
from screenplan.planting.species_model import Species
from screenplan.planting.stock import hole_width, planted_height
from screenplan.rules.ruleset import KEEP_OUT_FEATURES, Feature, Rule, keep_out_kind, load_rules
from screenplan.site.ownership import outline_known
from screenplan.site.plausible import MOST_ACROSS_M
from screenplan.site.steady import natural_key

#: Slivers below this area are rounding, not ground.
SLIVER_M2 = 1e-6
#: A tree whose spread is unknown is taken half as wide as it is high (common practice, no source).
SPREAD_OF_UNKNOWN_TREE = 0.5

#: Kinds of which the final sizes are kept: each rule asks for them.
KEPT_SIZES = 64
#: Key and reason of a zone that no rule made: the thing itself stands there.
FOOTPRINT = "footprint"
#: What people call a feature, where that is not its own word.
CALLED = {
    "buried": "buried line",
    "overhead": "overhead wire",
    "keep_out": "ground that is kept clear",
}


@dataclass(frozen=True)
class _Thing:
    """A thing to keep clear of: its geometry, and its half width from there to its outside edge."""

    feature: str
    kind: str
    layer: str
    id: str
    geometry: shapely.Geometry
    edge_m: float = 0.0
    note: str = ""


def mark_zones(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    rules: Sequence[Rule] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Mark where no stem may stand, and the plantable zone.

    Parameters
    ----------
    layers : mapping
        Parcels, and buildings, utilities, keep-outs, roads, existing screens and private places if
        there are any: by their contracts, in local-frame metres. Existing screens of the kind ``plant`` are members of a
        row, not things to keep clear of; derived private places give way to the row
        (`screenplan.planting.room`).
    plan : Options, optional
        Of it [plants], [setbacks], [works] and [site]. Of a species its high mature height and
        spread are used: that is the safe side. A clipped hedge counts as it is kept, across its
        row; where a rule is ``unclipped``, as it would grow. Of several each rule takes the one
        that it keeps farthest away.
    rules : sequence of Rule, optional
        By default the shipped rules. With none at all, only the footprints of things are kept
        clear.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    no_plant_zones, plantable_zone : GeoDataFrame
        One polygon per thing and rule, cut to the subject; and the rest of the subject, one row per
        part, largest first, no row if nothing is left.

    Raises
    ------
    InputError
        If there is not exactly one subject, or no species has such stock.
    """
    parcels = layers["parcels"]
    rules = load_rules() if rules is None else tuple(rules)
    kinds = tuple(dict.fromkeys(kinds_in(plan.plants.species, species_table)))
    hole = max(
        hole_width(
            plan.plants.stock,
            planted_height(kind, plan.plants.stock_height),
            factor=plan.works.hole_factor,
            at_least_m=plan.setbacks.hole,
        )
        for kind in kinds
    )
    known = outline_known(parcels)
    subject, subject_id = subject_of(parcels) if known else (open_ground(), "")

    things = list(_things(subject, subject_id, layers, _farthest(rules, kinds, hole)))
    of_class = {
        (thing.feature, thing.kind): _distances(
            thing.feature, thing.kind, rules, kinds, hole, plan.site.boundary_accuracy
        )
        for thing in things
    }
    asked = [
        (thing, rule, distance)
        for thing in things
        if known or thing.feature != "boundary"
        for rule, distance in of_class[thing.feature, thing.kind] or _footprint(thing)
    ]
    shapes = exclusions(
        np.array([thing.geometry for thing, _, _ in asked], dtype=object),
        np.array([_reach(*one) for one in asked]),
        np.zeros(len(asked), dtype=int),
        np.array([subject], dtype=object),
        passage_m=np.array([rule.passage_m if known else 0.0 for _, rule, _ in asked]),
    )
    records = [
        _row(*one, shape) for one, shape in zip(asked, shapes, strict=True) if shape is not None
    ]
    for number, row in enumerate(records, 1):
        row["zone_id"] = f"z{number:03d}"
    zones = layer_of(NO_PLANT_ZONES, records, [row["geometry"] for row in records], parcels.crs)
    left = shapely.difference(subject, shapely.union_all(zones.geometry.to_numpy()))
    parts = sorted(_polygon_parts(left), key=lambda part: -part.area) if known else []
    plantable = layer_of(
        PLANTABLE_ZONE,
        [
            {"zone_id": f"p{number:02d}", "area_m2": part.area}
            for number, part in enumerate(parts, 1)
        ],
        parts,
        parcels.crs,
    )
    return with_notes(zones, _doubt_kinds(layers.get("keep_outs"), zones)), plantable


def _farthest(rules: Iterable[Rule], planted: Sequence[Species], hole_m: float) -> float:
    """Give the greatest distance that any rule keeps."""
    asked = (
        rule.stem_distance_m(*size_judged(rule, species), hole_m)
        for rule in rules
        for species in planted
    )
    return max(asked, default=0.0)


def size_judged(rule: Rule, species: Species) -> tuple[float, float]:
    """Height and width of a grown plant that a rule counts, high growth, metres.

    A clipped hedge counts as it is kept, save where a rule looks at how it would grow without.
    """
    return _size(species, rule.unclipped)


@lru_cache(maxsize=KEPT_SIZES)
def _size(species: Species, unclipped: bool) -> tuple[float, float]:
    counted = species.unclipped() if unclipped else species
    return counted.final_height("high"), counted.final_width("high")


def under_rule(rule: Rule, species: Species) -> bool:
    """Whether a plant falls under a rule by the height that the rule counts, and by being clipped or not."""
    return rule.applies_to(size_judged(rule, species)[0], clipped=species.is_clipped)


def _doubt_kinds(keep_outs: gpd.GeoDataFrame | None, zones: gpd.GeoDataFrame) -> list[str]:
    """Say which kinds of keep-outs have no rule of their own, and what they get."""
    kinds = dict.fromkeys(
        keep_out_kind(row.text("kind", "keep_out")) for row in _rows(keep_outs, "keep_out_id")
    )
    if not kinds:
        return []
    own = zones.loc[zones["source_layer"] == "keep_outs"]
    general = own.loc[own["feature"] == "keep_out", "distance_m"]
    kept = f"{{{general.max():.2f} m}}" if len(general) else "its own ground"
    return [
        f"Keep-outs of kind '{kind}' have no rule of their own: {kept} is kept clear. Kinds with one: {', '.join(sorted(KEEP_OUT_FEATURES))}"
        for kind in kinds
        if kind not in KEEP_OUT_FEATURES
    ]


def open_ground() -> shapely.Polygon:
    """Give the ground on which a row lies whose parcel is not known: it goes on as far as a plan does."""
    return shapely.box(-MOST_ACROSS_M, -MOST_ACROSS_M, MOST_ACROSS_M, MOST_ACROSS_M)


def plantable_ground(
    plantable_zone: gpd.GeoDataFrame,
    no_plant_zones: gpd.GeoDataFrame | None,
    planting_lines: gpd.GeoDataFrame,
) -> shapely.Geometry:
    """Give the ground on which plants may stand.

    It is the plantable zone. Where the parcel's outline is not known there is none, though its lines
    have plantable stretches: then it is all ground but the no-plant zones.
    """
    if len(plantable_zone) or not planting_lines["plantable_m"].sum() > 0:
        return shapely.union_all(plantable_zone.geometry.to_numpy())
    if no_plant_zones is None:
        return open_ground()
    return shapely.difference(open_ground(), shapely.union_all(no_plant_zones.geometry.to_numpy()))


def subject_of(parcels: gpd.GeoDataFrame) -> tuple[shapely.Geometry, str]:
    """Find the subject's polygon and id.

    Raises
    ------
    InputError
        If not exactly one parcel is the subject.
    """
    chosen = np.flatnonzero(parcels["is_subject"].to_numpy(bool))
    if len(chosen) != 1:
        raise refuse(
            f"{len(chosen)} parcels are marked as the subject",
            "Mark exactly one with is_subject",
            layer="parcels",
        )
    name = parcels["parcel_id"].array[chosen[0]]
    return parcels.geometry.array[chosen[0]], str(name)


def _things(
    subject, subject_id: str, layers: Mapping[str, Any], farthest_m: float
) -> Iterator[_Thing]:
    yield _Thing("boundary", "", "parcels", subject_id, subject.boundary)
    houses, near = layers.get("buildings"), None
    if houses is not None:
        # Of hundreds of houses few are near.
        away = shapely.distance(houses.geometry.to_numpy(), subject)
        near = away <= farthest_m + ARC_EXCESS_M
    for row in _rows(houses, "building_id", near):
        yield _Thing("building", row.text("kind", "house"), "buildings", row.id, row.geometry)
    for row in _rows(layers.get("utilities"), "utility_id"):
        position, kind = row.text("position", "buried"), row.text("kind", "")
        half = row.number("diameter_m", 0.0) / 2.0 if position == "buried" else 0.0
        yield _Thing(position, kind, "utilities", row.id, row.geometry, half)
    for row in _rows(layers.get("keep_outs"), "keep_out_id"):
        kind = keep_out_kind(row.text("kind", "keep_out"))
        feature = kind if kind in KEEP_OUT_FEATURES else "keep_out"
        yield _Thing(feature, kind, "keep_outs", row.id, row.geometry)
    for row in _rows(layers.get("roads"), "road_id"):
        half = row.number("width_m", 6.0) / 2.0
        yield _Thing("road", "", "roads", row.id, row.geometry, half)
    for row in _rows(layers.get("existing_screens"), "screen_id"):
        kind = row.text("kind", "")
        if kind == "plant":
            continue
        shape, flat = row.geometry, row.geometry.area == 0
        width = row.number("width_m", math.nan)
        half, note = (0.0 if math.isnan(width) else width / 2.0) if flat else 0.0, ""
        if kind == "tree":
            root = row.number("root_zone_m", math.nan)
            if not math.isnan(root):
                shape, half = shapely.centroid(shape), root
            elif flat and math.isnan(width):
                half = SPREAD_OF_UNKNOWN_TREE * row.number("height_m", 0.0) / 2.0
                note = f"; its spread is not given and taken as {{{2 * half:.1f} m}}"
        yield _Thing(kind, kind, "existing_screens", row.id, shape, half, note)
    for row in _rows(layers.get("private_places"), "place_id"):
        derived = row.value("derived")
        if pd.isna(derived) or not derived:
            yield _Thing("private_place", "", "private_places", row.id, row.geometry)


class _Columns:
    """The columns of a layer, each fetched when it is asked for."""

    def __init__(self, layer: gpd.GeoDataFrame):
        self._layer = pd.DataFrame(layer, copy=False)
        self._held: dict[str, Any] = {}

    def value(self, name: str, row: int) -> Any:
        if name not in self._held:
            there = name in self._layer.columns
            self._held[name] = self._layer[name].array if there else None
        column = self._held[name]
        return None if column is None else column[row]


@dataclass(frozen=True)
class _Row:
    id: str
    geometry: shapely.Geometry
    columns: _Columns
    place: int

    def value(self, name: str) -> Any:
        return self.columns.value(name, self.place)

    def text(self, name: str, default: str) -> str:
        value = self.value(name)
        return default if pd.isna(value) or not str(value).strip() else str(value)

    def number(self, name: str, default: float) -> float:
        value = self.value(name)
        return default if pd.isna(value) else float(value)


def _rows(layer: gpd.GeoDataFrame | None, key: str, near: np.ndarray | None = None) -> Iterator[_Row]:  # fmt: skip
    """Give the rows that have a place, by name; ``near`` tells which of them are wanted."""
    if layer is None:
        return
    columns, shapes = _Columns(layer), layer.geometry.to_numpy()
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    records = []
    for place in np.flatnonzero(there if near is None else there & near).tolist():
        given = columns.value(key, place)
        name = str(place + 1 if pd.isna(given) else given)
        records.append(_Row(name, shapes[place], columns, place))
    # By name, so that the zones' numbers do not hang on the order of the file.
    yield from sorted(records, key=lambda row: natural_key(row.id))


def _distances(
    feature: str,
    kind: str,
    rules: Iterable[Rule],
    planted: Sequence[Species],
    hole_m: float,
    boundary_accuracy_m: float,
) -> list[tuple[Rule, float]]:
    """Give the rules for things of a class, each with the distance that it keeps from the thing's outside edge."""
    found = []
    for rule in rules:
        if not rule.concerns(feature, kind):
            continue
        ruling = [size_judged(rule, species) for species in planted if under_rule(rule, species)]
        if ruling:
            distance = max(rule.stem_distance_m(*size, hole_m) for size in ruling)
            found.append((rule, distance + (boundary_accuracy_m if feature == "boundary" else 0.0)))
    return found


def _footprint(thing: _Thing) -> list[tuple[Rule, float]]:
    """Give the rule for a thing for which none is set: no stem where it stands."""
    if thing.feature == "overhead" or not (thing.edge_m > 0 or thing.geometry.area > 0):
        return []
    rule = Rule(
        FOOTPRINT,
        cast("Feature", thing.feature),
        reason="No rule is set for it, but the thing itself stands here",
        source="the layer itself",
        status="arithmetic",
        confirm_locally=False,
    )
    return [(rule, 0.0)]


def _reach(thing: _Thing, rule: Rule, distance: float) -> float:
    return distance + (thing.edge_m if rule.measured_from == "outside_edge" else 0.0)


def exclusions(
    geometries: np.ndarray,
    reach_m: np.ndarray,
    subject: np.ndarray,
    subjects: np.ndarray,
    *,
    passage_m: np.ndarray,
) -> np.ndarray:
    """Give the ground of subjects on which things let no stem stand.

    Parameters
    ----------
    geometries : ndarray of Geometry, (n,)
        The thing of each exclusion.
    reach_m : ndarray, (n,)
        How far from it no stem may stand.
    subject : ndarray of int, (n,)
        The subject whose ground is looked at.
    subjects : ndarray of Polygon or MultiPolygon, (subjects,)
    passage_m : ndarray, (n,)
        How far the way leads that goes on from a thing in the boundary, square to it; 0 where none does.

    Returns
    -------
    ndarray of Polygon, MultiPolygon or None, (n,)
        None where the thing is too far off.
    """
    ground = np.full(len(geometries), None, dtype=object)
    own = subjects[subject]
    near = np.flatnonzero(shapely.distance(geometries, own) <= reach_m + ARC_EXCESS_M)
    if not len(near):
        return ground
    things = geometries[near]
    for number in np.flatnonzero(passage_m[near] > 0.0):
        things[number] = _with_passage(things[number], passage_m[near[number]], own[near[number]])
    cut = shapely.intersection(keep_clear_each(things, reach_m[near]), own[near])
    parts, of = shapely.get_parts(cut, return_index=True)
    parts, inner = shapely.get_parts(parts, return_index=True)
    solid = _is_ground(parts)
    parts, of = parts[solid], of[inner[solid]]
    count = np.bincount(of, minlength=len(near))
    ground[near[count == 1]] = parts[(count == 1)[of]]
    for number in np.flatnonzero(count > 1):
        ground[near[number]] = shapely.MultiPolygon(parts[of == number])
    return ground


def _with_passage(
    geometry: shapely.Geometry, passage: float, subject: shapely.Geometry
) -> shapely.Geometry:
    """Join a thing in the boundary with the way that leads on from it, square to the boundary."""
    middle = geometry.centroid
    outline = _nearest_edge(subject, middle)
    (ax, ay), (bx, by) = outline
    along = np.array([bx - ax, by - ay]) / math.hypot(bx - ax, by - ay)
    inward = np.array([-along[1], along[0]])
    moved = shapely.transform(geometry, lambda xy: xy + passage * inward)
    swept = shapely.convex_hull(shapely.union_all([geometry, moved]))
    return shapely.union_all([geometry, swept])


def _nearest_edge(subject: shapely.Geometry, point: shapely.Point) -> np.ndarray:
    """Give the ends of the boundary's edge nearest to a point, the parcel on its left."""
    rings = []
    for part in map(orient, shapely.get_parts(subject)):
        rings.extend([part.exterior, *part.interiors])
    edges = np.concatenate(
        [np.stack([xy[:-1], xy[1:]], axis=1) for xy in map(shapely.get_coordinates, rings)]
    )
    edges = edges[np.hypot(*(edges[:, 1] - edges[:, 0]).T) > 0]
    return edges[np.argmin(shapely.distance(shapely.linestrings(edges), point))]


def _polygon_parts(geometry: shapely.Geometry) -> np.ndarray:
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return parts[_is_ground(parts)]


def _is_ground(parts: np.ndarray) -> np.ndarray:
    areas = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    return areas & (shapely.area(parts) > SLIVER_M2)


def _row(thing: _Thing, rule: Rule, distance: float, exclusion: shapely.Geometry) -> dict:
    return {
        "rule": rule.key,
        "feature": thing.feature,
        "source_layer": thing.layer,
        "source_id": thing.id,
        "distance_m": distance,
        "reason": rule.reason + thing.note,
        "source": rule.source,
        "confirm_locally": rule.confirm_locally,
        "geometry": exclusion,
    }


def name_of(feature: str) -> str:
    """Name the feature of a zone in a sentence: ``overhead`` is the overhead wire."""
    return f"the {CALLED.get(feature, feature.replace('_', ' '))}"
