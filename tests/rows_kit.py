"""Made-up lots beside each other, for the tests of rows that are set for many at once."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from options_kit import plan_with
from parcel_kit import PLAIN, layer, sides_of, subject

from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import Rule
from screenplan.site.lots import Lots, Many

RULES = (*PLAIN, Rule("shed", "building", 1.0, reason="test"))


def outline_of(rng) -> shapely.Polygon:
    """A lot with a bent front and a chamfered corner, an L, or a strip that is too narrow for a row."""
    width, depth = rng.uniform(12.0, 40.0, 2)
    kind = rng.integers(5)
    if kind == 0:
        xy = [(0, 0), (width, 0), (width, 3.0), (0, 3.0)]
    elif kind == 1:
        xy = [(0, 0), (width, 0), (width, 8), (9, 8), (9, depth), (0, depth)]
    elif kind == 2:
        xy = [(0, 0), (width / 2, -2.0), (width, 0), (width, depth - 1), (width - 1, depth), (0, depth)]  # fmt: skip
    else:
        xy = [(0, 0), (width, rng.uniform(-4, 4)), (width, depth), (rng.uniform(-6, 5), depth)]
    turn = shapely.affinity.rotate(shapely.Polygon(xy), rng.uniform(0, 360), origin=(0, 0))
    return shapely.affinity.translate(turn, *rng.uniform(-500, 500, 2))


def lots_of(seed: int, count: int) -> list[dict]:
    """Lots with sheds, each with the layers before its lines; some sides of each are chosen."""
    rng = np.random.default_rng(seed)
    lots = []
    for number in range(count):
        parcels = subject(outline_of(rng)).assign(parcel_id=[f"lot {number}"])
        sides = sides_of(parcels, [f"side-{k}" for k in range(1, 9)])
        inside = parcels.geometry.iloc[0].buffer(-1.0)
        at = shapely.get_coordinates(inside.exterior)[: rng.integers(0, 3)]
        sheds = layer(
            kind=["shed"] * len(at), geometry=[shapely.box(x, y, x + 3, y + 2) for x, y in at]
        )
        zones, plantable = mark_zones(
            {"parcels": parcels} | ({"buildings": sheds} if len(sheds) else {}),
            plan=plan_with(site_boundary_accuracy=0.0), rules=RULES,
        )  # fmt: skip
        chosen = rng.random(len(sides)) < 0.7
        chosen[rng.integers(len(sides))] = True
        lots.append({
            "parcels": parcels, "sides": sides, "plantable_zone": plantable, "no_plant_zones": zones,
            "chosen": chosen,
        })  # fmt: skip
    return lots


def together(lots: list[dict]) -> tuple[Lots, dict[str, Many]]:
    """The lots as one batch, and their layers."""
    layers = {}
    for name in sorted(set(lots[0]) - {"chosen", "parcels"}):
        frames = [lot[name] for lot in lots]
        number = np.repeat(np.arange(len(lots)), [len(frame) for frame in frames])
        layers[name] = Many(pd.concat(frames, ignore_index=True), number, len(lots))
    parcels = gpd.GeoDataFrame(pd.concat([lot["parcels"] for lot in lots], ignore_index=True))
    return Lots({"parcels": parcels}, np.arange(len(lots))), layers


def alike(one, other) -> None:
    """Hold that two layers are the same to the last digit."""
    pd.testing.assert_frame_equal(
        pd.DataFrame(one.drop(columns="geometry")), pd.DataFrame(other.drop(columns="geometry")),
        check_exact=True,
    )  # fmt: skip
    assert shapely.to_wkb(one.geometry.to_numpy()).tolist() == shapely.to_wkb(other.geometry.to_numpy()).tolist()  # fmt: skip
