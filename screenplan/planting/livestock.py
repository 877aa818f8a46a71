"""Where livestock reaches: the ground on which it is kept, and the sides across which it grazes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.ground.errors import refuse
from screenplan.plan import Options
from screenplan.planting.species_model import Species
from screenplan.rules.ruleset import keep_out_kind

#: Keep-outs of these kinds are ground on which livestock is kept.
LIVESTOCK_KINDS = ("livestock", "paddock", "pasture")


@dataclass(frozen=True, eq=False)
class Livestock:
    """Where livestock stands, and how far it reaches.

    Parameters
    ----------
    edge : Geometry or None
        Ground and sides at which it stands; None if there is none.
    reach_m : float
        How far an animal reaches over its fence, metres.
    """

    edge: shapely.Geometry | None
    reach_m: float

    def reach_of(self, species: Species) -> float:
        """Distance of a stem from livestock within which an animal reaches the grown crown, metres."""
        return species.final_width("high") / 2.0 + self.reach_m


def find_livestock(
    keep_outs: gpd.GeoDataFrame | None, sides: gpd.GeoDataFrame | None, plan: Options
) -> Livestock:
    """Find the ground and the sides at which livestock stands.

    Parameters
    ----------
    keep_outs, sides : GeoDataFrame or None
        Layers of the contracts.
    plan : Options
        Of it health.livestock_sides and health.livestock_reach.

    Raises
    ------
    InputError
        If the parcel has no side of that name.
    """
    shapes = [*_grounds(keep_outs), *_sides(sides, plan)]
    edge = shapely.union_all(shapes) if shapes else None
    return Livestock(edge, plan.health.livestock_reach)


def _grounds(keep_outs) -> Iterator[shapely.Geometry]:
    if has_rows(keep_outs):
        for kind, shape in zip(keep_outs["kind"], keep_outs.geometry, strict=True):
            if isinstance(kind, str) and keep_out_kind(kind) in LIVESTOCK_KINDS:
                yield shape


def _sides(sides, plan: Options) -> Iterator[shapely.Geometry]:
    asked = plan.health.livestock_sides
    if not asked:
        return
    known = dict(zip(sides["side_id"].astype(str), sides.geometry, strict=True)) if has_rows(sides) else {}  # fmt: skip
    for name in asked:
        if name not in known:
            choose = f"Choose among {', '.join(known)}" if known else "Give the parcel's outline"
            raise refuse(
                f"the parcel has no side '{name}', at which livestock would graze",
                f"{choose}, or draw the pasture as a keep-out of the kind livestock",
                key=plan.health.key("livestock_sides"),
            )
        yield known[name]
