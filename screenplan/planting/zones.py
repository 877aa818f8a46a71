"""Where no stem may stand, by which rule and for what; and what is left of the parcel.

Every zone contains all ground nearer than its rule's distance: arcs are drawn around the true
circle, not inside it, so that a zone is up to `ARC_EXCESS_M` wider than its distance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any, cast

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import NO_PLANT_ZONES, PLANTABLE_ZONE
from screenplan.contracts.tables import layer_of_columns, with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.exclusions import exclusions, ground_parts, rims
from screenplan.planting.mixes import kinds_in
from screenplan.planting.species_model import Species
from screenplan.planting.stock import hole_width, planted_height
from screenplan.planting.things import Near, Thing, things_near, things_of
from screenplan.rules.ruleset import KEEP_OUT_FEATURES, Feature, Rule, load_rules
from screenplan.site.lots import Lots, Many, united
from screenplan.site.overlay import ground_left
from screenplan.site.ownership import outline_known, subject_id, subject_outline
from screenplan.site.plausible import MOST_ACROSS_M
from screenplan.site.ragged import numbered

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
    known = outline_known(parcels)
    if known:
        subject_of(parcels)
        lots = Lots.one(layers)
    else:
        # The ground goes on: there is no boundary, and no way leads in from it.
        rules = [replace(rule, passage_m=0.0) for rule in rules if rule.feature != "boundary"]
        ground = {"parcel_id": [""], "geometry": [open_ground()]}
        lots = Lots({**layers, "parcels": gpd.GeoDataFrame(ground, crs=parcels.crs)}, np.zeros(1, int))  # fmt: skip
    places = layers.get("private_places")
    zones, plantable = mark_zones_each(
        lots, {} if places is None else {"private_places": Many.one(places)},
        plan=plan, rules=rules, species_table=species_table,
    )  # fmt: skip
    noted = with_notes(zones.layer, _doubt_kinds(lots, zones.layer))
    return noted, plantable.layer if known else plantable.layer.iloc[:0]


def mark_zones_each(
    lots: Lots,
    layers: Mapping[str, Many],
    *,
    plan: Options,
    rules: Sequence[Rule],
    species_table: Mapping[str, Species] | None,
) -> tuple[Many, Many]:
    """Mark the zones of lots, each by itself; see `mark_zones`.

    Parameters
    ----------
    lots : Lots
    layers : mapping
        The private places, if there are any.
    plan, rules, species_table
        As of `mark_zones`.

    Returns
    -------
    no_plant_zones, plantable_zone : Many
        Numbered by lot; of a lot that nothing lets free no row of the second.

    Raises
    ------
    InputError
        If no species has such stock.
    """
    kinds = tuple(dict.fromkeys(kinds_in(plan.plants.species, species_table)))
    asked = _asked(lots, layers.get("private_places"), plan, rules, kinds)
    lot = np.array([near.lot for near, _, _ in asked], dtype=int)
    reach = np.array([_reach(near.thing, rule, distance) for near, rule, distance in asked])
    passage = np.array([rule.passage_m for _, rule, _ in asked])
    rim = np.array([near.thing.layer == "parcels" for near, _, _ in asked], dtype=bool) & ~(
        passage > 0.0
    )
    shapes = np.full(len(asked), None, dtype=object)
    shapes[rim], inside = rims(lots.outlines, lot[rim], reach[rim])
    other = np.flatnonzero(~rim)
    shapes[other] = exclusions(
        np.array([asked[k][0].thing.geometry for k in other], dtype=object),
        reach[other], lot[other], lots.outlines, passage_m=passage[other],
    )  # fmt: skip
    left = _left(lots, inside, shapes[other], lot[other])
    kept = np.flatnonzero(~shapely.is_missing(shapes))
    lot, shapes = lot[kept], shapes[kept]
    columns = _columns([asked[k] for k in kept], _numbers(lot, len(lots)))
    zones = layer_of_columns(NO_PLANT_ZONES, columns, shapes, lots.around["parcels"].crs)
    return Many(zones, lot, len(lots)), left


def _asked(
    lots: Lots,
    places: Many | None,
    plan: Options,
    rules: Sequence[Rule],
    kinds: Sequence[Species],
) -> list[tuple[Near, Rule, float]]:
    """Give the things near each lot, each with a rule for it and the distance from its outside edge."""
    hole = max(
        hole_width(
            plan.plants.stock,
            planted_height(kind, plan.plants.stock_height),
            factor=plan.works.hole_factor,
            at_least_m=plan.setbacks.hole,
        )
        for kind in kinds
    )
    things = things_near(lots, places, _farthest(rules, kinds, hole))
    of_class = {
        (feature, kind): _distances(
            feature, kind, rules, kinds, hole, plan.site.boundary_accuracy
        )
        for feature, kind in {(near.thing.feature, near.thing.kind) for near in things}
    }  # fmt: skip
    return [
        (near, rule, distance)
        for near in things
        for rule, distance in of_class[near.thing.feature, near.thing.kind] or _footprint(near.thing)
    ]  # fmt: skip


def _columns(kept: Sequence[tuple[Near, Rule, float]], number: np.ndarray) -> dict[str, list]:
    """Give what is told of zones, by column."""
    return {
        "zone_id": [f"z{own:03d}" for own in number],
        "rule": [rule.key for _, rule, _ in kept],
        "feature": [near.thing.feature for near, _, _ in kept],
        "source_layer": [near.thing.layer for near, _, _ in kept],
        "source_id": [near.name for near, _, _ in kept],
        "distance_m": [distance for _, _, distance in kept],
        "reason": [rule.reason + near.thing.note for near, rule, _ in kept],
        "source": [rule.source for _, rule, _ in kept],
        "confirm_locally": [rule.confirm_locally for _, rule, _ in kept],
    }


def _left(lots: Lots, inside: np.ndarray, zones: np.ndarray, lot: np.ndarray) -> Many:
    """Give the ground inside the rims of lots that no other zone covers, the largest part of a lot first."""
    there = ~shapely.is_missing(zones)
    there[there] = shapely.intersects(zones[there], inside[lot[there]])
    some = np.unique(lot[there])
    left = inside.copy()
    taken = united(zones[there], lot[there], len(lots))
    left[some] = ground_left(inside[some], taken[some])
    parts, of = ground_parts(left)
    area = shapely.area(parts)
    order = np.lexsort((-area, of))
    parts, of, area = parts[order], of[order], area[order]
    names = [f"p{own:02d}" for own in _numbers(of, len(lots))]
    plantable = layer_of_columns(
        PLANTABLE_ZONE, {"zone_id": names, "area_m2": area}, parts, lots.around["parcels"].crs
    )
    return Many(plantable, of, len(lots))


def _numbers(lot: np.ndarray, lots: int) -> np.ndarray:
    """Count the rows of each lot from 1."""
    return numbered(np.bincount(lot, minlength=lots))[1] + 1


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


def _doubt_kinds(lots: Lots, zones: gpd.GeoDataFrame) -> list[str]:
    """Say which kinds of keep-outs have no rule of their own, and what they get."""
    kinds = dict.fromkeys(near.thing.kind for near in things_of(lots, "keep_outs"))
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
    """Give the ground and the identifier of the subject parcel; see `subject_outline` for what is refused."""
    return subject_outline(parcels), subject_id(parcels)


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


def _footprint(thing: Thing) -> list[tuple[Rule, float]]:
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


def _reach(thing: Thing, rule: Rule, distance: float) -> float:
    return distance + (thing.edge_m if rule.measured_from == "outside_edge" else 0.0)


def name_of(feature: str) -> str:
    """Name the feature of a zone in a sentence: ``overhead`` is the overhead wire."""
    return f"the {CALLED.get(feature, feature.replace('_', ' '))}"
