"""Points for the pictures of the reference: what trees of a kind measure, by region, and published curves.

They are medians and quartiles with their numbers, facts of the data; the data themselves stay outside.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from . import published
from .figures import Fitting

#: Classes of ages in years and of heights in metres, and the trees that a class needs.
AGES = (1.0, 5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0)
HEIGHTS_M = (0.3, 2.0, 4.0, 6.0, 9.0, 12.0)
LEAST = 5
#: Quartiles that are written.
QUARTERS = (0.25, 0.5, 0.75)


def all_points(fitting: Fitting) -> dict:
    """Points of each kind that has any.

    Returns
    -------
    dict
        By kind: ``heights``, rows of region, n, median age, and the quartiles of the height in metres;
        ``widths``, the same by median height; ``curves``, what a published curve gives at the ages to
        which ours was fitted.
    """
    made = {}
    for key, kind in fitting.kinds.items():
        names = kind.get("measured_as", [])
        grown = fitting.aged[fitting.aged["name"].isin(names)]
        wide = fitting.data.trees[
            fitting.data.trees["name"].isin(names) & fitting.data.trees["w"].notna()
        ]
        found = {
            "heights": classes(grown, "age", "h", AGES),
            "widths": classes(wide, "h", "w", HEIGHTS_M),
            "curves": _curves(fitting, kind),
        }
        if any(found.values()):
            made[key] = {name: rows for name, rows in found.items() if rows}
    return made


def classes(trees: pd.DataFrame, by: str, of: str, edges: tuple[float, ...]) -> list[list]:
    """Rows of region, n, median of ``by`` and quartiles of ``of``, in each class with trees enough."""
    rows = []
    for region, own in trees.groupby("region"):
        for low, high in pairwise(edges):
            inside = own[(own[by] >= low) & (own[by] < high)]
            if len(inside) >= LEAST:
                quarters = [round(float(q), 2) for q in inside[of].quantile(QUARTERS)]
                rows.append([region, len(inside), round(float(inside[by].median()), 2), *quarters])
    return rows


def _curves(fitting: Fitting, kind: dict) -> list[list]:
    site = fitting.sites.get(kind["leaf"])
    rows = []
    for which in kind.get("curves", []) if site else []:
        tops = published.at_site(fitting.data.curves, which, site, published.FITTED)
        known = np.isfinite(tops)
        ages = published.FITTED[known].tolist()
        rows.append([str(which), ages, [round(float(top), 2) for top in tops[known]]])
    return rows
