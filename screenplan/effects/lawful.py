"""What a law or code lets plants be at the boundary, counted of one planting: once grown freely, once kept low.

The heights are those by which `screenplan.effects.boundary` judges; the distances are those of the set of rules that the
plan names (`setbacks.law`), each plant by the height and the form (clipped or free) that it has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.holes import hole_widths
from screenplan.planting.judging import STEM_TOLERANCE_M
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.planting.zones import size_judged, under_rule
from screenplan.rules.laws import boundary_heights, law_of
from screenplan.rules.ruleset import Rule
from screenplan.site.ownership import outline_known, subject_outlines


def lawful_effects(
    layers: Mapping[str, Any],
    plan: Options,
    rules: Sequence[Rule],
    species_table: Mapping[str, Species],
) -> Iterator[tuple[str, str, str, float]]:
    """Give what the heights and distances that are chosen say of the plants.

    Parameters
    ----------
    layers : mapping
        Parcels, plants and ``outgrown``, by their contracts.
    plan : Options
        Of it [setbacks] law, [boundary] and [growth].
    rules : sequence of Rule
        All that hold, those of the law among them.
    species_table : mapping
        Species by key; those that are kept say so.

    Yields
    ------
    tuple
        Key of the effect, what it is, its unit, and how much it is with typical growth; of distances the plants count
        as tall as they ever get, which is the safe side. Nothing where no height or distance is chosen.
    """
    plants, law = layers["plants"], law_of(plan)
    heights = boundary_heights(plan)
    tops = [
        *([] if heights.most_m is None else [f"{{{heights.most_m:.2f} m}}"]),
        *([] if heights.at_road_m is None else [f"{{{heights.at_road_m:.2f} m}} at a road"]),
    ]
    if tops:
        over = layers["outgrown"]
        over = over.loc[(over["what"] == "height at the boundary") & over["year"].notna()]
        what = f"Plants that outgrow the {' and '.join(tops)} allowed at the boundary"
        yield "boundary_height", what, "plants", float(over["plant_id"].nunique())
    if law is None:
        return
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    stand = planned_stand(new, plan, species_table)
    if law.complaint_above_m is not None:
        tall = stand.height[:, TYPICAL].max(axis=1) > law.complaint_above_m
        what = f"Plants that outgrow the {{{law.complaint_above_m:.2f} m}} above which a neighbour may complain"
        yield "complaint_height", what, "plants", float(tall.sum())
    own = [rule for rule in rules if rule.key in law.setbacks and rule.feature == "boundary"]
    if own and outline_known(layers["parcels"]):
        asked = asked_distances([stand.starts[k].species for k in stand.start], own, _holes(new, plan))  # fmt: skip
        away = _inside(stand.points, subject_outlines(layers["parcels"]))
        what = f"Greatest distance from the boundary that the law asks of a plant ({law.name})"
        yield "law_distance", what, "metres", float(asked.max(initial=0.0))
        yield "law_nearer", "Plants that stand nearer to the boundary than it asks", "plants", float((away < asked - STEM_TOLERANCE_M).sum())  # fmt: skip


def asked_distances(
    species: Sequence[Species], rules: Sequence[Rule], holes_m: np.ndarray
) -> np.ndarray:
    """Give the distance from the boundary that rules ask of each plant, metres, (plants,); 0 where none holds.

    Parameters
    ----------
    species : sequence of Species, (plants,)
    rules : sequence of Rule
        For the boundary.
    holes_m : ndarray, (plants,)
        Widths of the planting holes.
    """
    return np.array([
        max((rule.stem_distance_m(*size_judged(rule, kind), hole) for rule in rules if under_rule(rule, kind)), default=0.0)
        for kind, hole in zip(species, holes_m, strict=True)
    ])  # fmt: skip


def _holes(plants, plan: Options) -> np.ndarray:
    every = np.ones(len(plants), bool)
    return hole_widths(plants, every, plan.works.hole_factor, plan.setbacks.hole)


def _inside(points: np.ndarray, outlines: np.ndarray) -> np.ndarray:
    """Give how far inside the boundary of its own lot each stem stands, metres; below 0 for those outside."""
    own = outlines[shapely.distance(points[:, None], outlines).argmin(axis=1)]
    sign = np.where(shapely.intersects(own, points), 1.0, -1.0)
    return sign * shapely.distance(points, shapely.boundary(own))
