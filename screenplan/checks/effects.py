"""What the screen does to others: what can be told, and what would be needed to tell it."""

from __future__ import annotations

import shapely

from screenplan.checks.findings import SIGHT, Finding
from screenplan.checks.stems import STEM_TOLERANCE_M

_A = {"buried": "a buried", "overhead": "an overhead"}


def judge_lines(utilities, zones, plants, position, caution) -> Finding:
    """Tell whether a stem stands in the zone of a line in the ground or in the air."""
    name = f"{position} lines"
    if utilities is None or not (utilities["position"] == position).any():
        return Finding(name, "cannot be judged", f"No {position} lines are given; that does not mean that there are none",
                       f"a utilities layer with {position} lines", caution)  # fmt: skip
    near = zones.loc[zones["feature"] == position]
    reach = shapely.union_all(shapely.buffer(near.geometry.to_numpy(), -STEM_TOLERANCE_M))
    hits = int(shapely.intersects(plants.geometry.to_numpy(), reach).sum())
    if hits:
        return Finding(
            name,
            "fails",
            f"{hits} plants stand in the zone of {_A[position]} line",
            "another place for them",
            caution,
        )
    return Finding(
        name,
        "passes",
        f"No plant stands in the zone of {_A[position]} line that is given",
        caution=caution,
    )


def judge_sight(roads) -> Finding:
    """Say that sight at the road depends on the local code."""
    says = ("No roads are given" if roads is None or not len(roads)
            else "Sight at drives and corners depends on the local code and on the spot")  # fmt: skip
    return Finding(
        "sight at the road",
        "cannot be judged",
        says,
        "the sight distances of the local code",
        SIGHT,
    )
