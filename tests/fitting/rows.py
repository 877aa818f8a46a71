"""Rows for the tests: what trees of one region measure, beside what was fitted to the others alone.

They are medians with their numbers, facts of the data; the data themselves stay outside.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from screenplan.planting.kinds import ends_of_width
from screenplan.planting.measured import TENTH

from . import published, shapes
from .figures import UTD_SOURCE, Fitting

#: Curves that neither a figure is fitted to nor the site is found by, and the kind that they test.
OTHER_CURVES = (
    (65, "picea_abies", "Norway spruce plantations, southern Ontario"),
    (66, "picea_glauca", "white spruce, Minnesota, since breast height"),
    (67, "picea_glauca", "white spruce, Minnesota"),
    (69, "picea_glauca", "white spruce plantations, north central Ontario"),
    (103, "pinus_strobus", "eastern white pine, northern Wisconsin"),
    (105, "pinus_strobus", "eastern white pine plantations, Illinois"),
)
#: Bins of ages in years, and the trees that a bin needs.
BINS = ((8.0, 12.0), (13.0, 18.0), (19.0, 26.0), (27.0, 36.0))
LEAST = 6
#: Crown shares are of trees up to this height.
SHARE_M = 6.0
#: Trees are left out by fifths where widths are foretold.
FIFTHS = 5


def street_rows(found: pd.DataFrame) -> list[dict]:
    """Median heights by age of kinds in a region left out, with the curve from the other regions."""
    made = []
    own = found[found["by"] == "own"]
    for (name, region), of in own.groupby(["name", "region"]):
        for low, high in BINS:
            trees = of[(of["age"] >= low) & (of["age"] <= high)]
            if len(trees) >= LEAST:
                row = trees.iloc[0]
                made.append(
                    {
                        "kind": name,
                        "left_out": region,
                        "n": len(trees),
                        "age": float(trees["age"].median()),
                        "height_m": round(float(trees["h"].median()), 2),
                        "asymptote_m": round(float(row["asymptote_m"]), 2),
                        "rate": round(float(row["rate"]), 5),
                        "exponent": float(row["exponent"]),
                        "start_m": round(float(row["start_m"]), 2),
                        "log_sd": round(float(row["log_sd"]), 3),
                    }
                )
    return made


def share_rows(fitting: Fitting) -> list[dict]:
    """Median crown shares up to `SHARE_M` in a region left out, with the law from the others."""
    made = []
    trees = fitting.street[fitting.street["w"].notna()]
    for name, of in trees.groupby("name"):
        for region in sorted(set(of["region"])):
            rest, test = of[of["region"] != region], of[of["region"] == region]
            test = test[test["h"] <= SHARE_M]
            if len(test) < LEAST or len(rest) < 2 * shapes.LEAST:
                continue
            law = shapes.fit_width(rest, fitting.width_exponents[of["leaf"].iloc[0]])
            made.append(
                {
                    "kind": name,
                    "left_out": region,
                    "n": len(test),
                    "height_m": round(float(test["h"].median()), 2),
                    "share": round(float((test["w"] / test["h"]).median()), 3),
                    "coefficient": round(law.coefficient, 4),
                    "exponent": round(law.exponent, 3),
                    "widest_m": round(law.widest_m, 2),
                }
            )
    return made


def leaf_rows(fitting: Fitting, exponent: float = 0.4) -> list[dict]:
    """Median leaf area densities in a region left out, and the range from the others."""
    made = []
    for name, of in fitting.street.groupby("name"):
        for region in sorted(set(of["region"])):
            test = shapes.leaf_densities(of[of["region"] == region], exponent)
            rest = shapes.fit_leaves(of[of["region"] != region], exponent)
            if len(test) >= LEAST and rest is not None:
                made.append(
                    {
                        "kind": name,
                        "left_out": region,
                        "n": len(test),
                        "density": round(float(test.median()), 3),
                        "others": [round(value, 3) for value in rest.density],
                    }
                )
    return made


def width_rows(fitting: Fitting) -> list[dict]:
    """Count by kind the trees of fifths left out that are narrower than low growth and wider than high growth.

    Kinds whose width was measured on trees in the open; one that was measured in one region alone tells of it.
    ``wider_than_published`` counts those wider than high growth would be if it ended at the published spread.
    """
    made = []
    trees = fitting.street[fitting.street["w"].notna()]
    for key, kind in fitting.kinds.items():
        own = trees[trees["name"].isin(kind.get("measured_as", []))]
        if len(own) < LEAST * FIFTHS or kind.get("other_form"):
            continue
        own = own.sort_values(["region", "h", "w"], kind="stable")
        counted = {"narrower": 0, "wider": 0, "wider_than_published": 0}
        for fifth in range(FIFTHS):
            out = np.arange(len(own)) % FIFTHS == fifth
            low, high = width_range(own[~out], own[out]["h"], kind, fitting.width_exponents)
            w, published = own[out]["w"].to_numpy(), np.minimum(high, kind["mature_spread"][1])
            for name, told in (
                ("narrower", w < low),
                ("wider", w > high),
                ("wider_than_published", w > published),
            ):
                counted[name] += int(told.sum())
        made.append({"key": key, "n": len(own), **counted})
    return made


def width_range(trees: pd.DataFrame, heights_m, kind: dict, exponents: dict[str, float]):
    """Widths at low and high growth of trees of those heights, by others of their kind, metres."""
    law = shapes.fit_width(trees, exponents[kind["leaf"]])
    sides = np.exp(TENTH * law.log_sd * np.array([-1.0, 0.0, 1.0]))
    ends = ends_of_width(law.widest_m, law.taller, sides, tuple(kind["mature_spread"]))
    free = law.coefficient * np.asarray(heights_m, float) ** law.exponent
    return np.minimum(free * sides[0], ends[0]), np.minimum(free * sides[2], ends[2])


def plantation_rows(fitting: Fitting) -> list[dict]:
    """Heights of `OTHER_CURVES` at the site of the figures."""
    made = []
    for which, key, words in OTHER_CURVES:
        if key not in fitting.kinds or which not in fitting.data.curves.index:
            continue
        leaf = fitting.kinds[key]["leaf"]
        ages = np.array([10.0, 20.0, 30.0, 40.0])
        tops = published.at_site(fitting.data.curves, which, fitting.sites[leaf], ages)
        made.append(
            {
                "curve": which,
                "words": words,
                "key": key,
                "ages": ages.tolist(),
                "heights_m": [round(float(top), 2) for top in tops],
            }
        )
    return made


def coverage_rows(found: pd.DataFrame) -> list[dict]:
    """Count by kind the trees of regions left out that lie in the 80 % range, and say by what it was foretold."""
    inside = (found["h"] >= found["low"]) & (found["h"] <= found["high"])
    return [
        {"kind": name, "by": by, "n": len(of), "inside": int(of["inside"].sum())}
        for (name, by), of in found.assign(inside=inside).groupby(["name", "by"])
    ]


def all_rows(fitting: Fitting, found: pd.DataFrame) -> dict:
    """All of them, for the tests."""
    return {
        "source": UTD_SOURCE,
        "street": _numbered(street_rows(found)),
        "shares": _numbered(share_rows(fitting)),
        "leaves": _numbered(leaf_rows(fitting)),
        "widths": _numbered(width_rows(fitting)),
        "plantations": _numbered(plantation_rows(fitting)),
        "coverage": _numbered(coverage_rows(found)),
    }


def _numbered(rows: list[dict]) -> dict:
    return {f"r{number:03d}": row for number, row in enumerate(rows)}
