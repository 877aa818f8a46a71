"""The figures of each kind, from the best evidence there is of it, with its grade.

measured    trees of this kind
relatives   trees of the same genus, leaf and habit, 10 or more; for profiles a score lent by its
            genus or group
group       trees of the same leaf, scaled to a published size of this kind
published   published curves of this kind or of a parent
memory      the same as group, where the size of this kind has no source
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from screenplan.ground.units import parse_length
from screenplan.planting.curves import HeightCurve, height_at
from screenplan.planting.raised import CUTTING_M

from . import heights, published, shapes
from .coverage import CONIFERS
from .reading import UTD, Data

KINDS = Path(__file__).parents[2] / "screenplan/planting/kinds.toml"
CURVES_SOURCE = (
    "Carmean, Hahn and Jacobs 1989, GTR NC-128, as coded in the Forest Vegetation Simulator"
)
THUJA_SOURCE = "Kurucz 1985 and Nigh 2000, as coded in bcgov/VDYP"
UTD_SOURCE = "Urban Tree Database (McPherson et al. 2016), street trees, years since planting"
PROFILE_SOURCE = "Purves, Lichstein and Pacala 2007, scores as in fastfuels-core"
LEAVES = ("scale", "needle", "broadleaf", "deciduous")
#: Bamboo reaches nine tenths of its height in so many years: memory, unverified.
BAMBOO_YEARS = 5.0
#: Kinds of a leaf that tell how k falls with A; fewer are taken with all others.
LEAST_KINDS = 15
#: Trees up to this height tell the stem diameter of stock.
STOCK_M = 6.0


def read_kinds(path: Path = KINDS) -> dict:
    """Read the kinds, their published sizes in metres."""
    kinds = tomllib.loads(path.read_text(encoding="utf-8"))
    for key, kind in kinds.items():
        for size in ("mature_height", "mature_spread"):
            kind[size] = [parse_length(value, key=f"{key}.{size}") for value in kind[size]]
        kind["size_known"] = not kind["sources"]["size"].startswith("memory")
        kind["spread_known"] = (
            kind["size_known"] and "spread: memory" not in kind["sources"]["size"]
        )
    return kinds


class Fitting:
    """All that is fitted once, and the figures of a kind from it."""

    def __init__(self, data: Data, kinds: dict):
        self.data, self.kinds = data, kinds
        self._reach: float | None = None
        self.street = data.trees[data.trees["source"] == UTD]
        conifer = self.street["leaf"].isin(CONIFERS)
        self.starts = {
            leaf: heights.planted_size(self.street[conifer == (leaf in CONIFERS)])
            for leaf in LEAVES
            if (self.street["leaf"] == leaf).any()
        }
        self.aged = heights.aged(self.street)
        mature = {
            name: kind["mature_height"][1]
            for kind in kinds.values()
            if kind["size_known"]
            for name in kind.get("measured_as", [])
        }
        self.fits, self.exponents = heights.fit_kinds(self.aged, self.starts, mature)
        self.spreads = heights.spreads(self.aged, self.fits)
        leaf_of = dict(zip(self.street["name"], self.street["leaf"], strict=True))
        self.sites = published.street_site(data.curves, self.fits, leaf_of)
        self._fit_groups(leaf_of)

    def _fit_groups(self, leaf_of) -> None:
        """Fit the curve and width of each group of leaves, and how k falls with A over all kinds."""
        self.groups, self.group_kinds, self.group_widths = {}, {}, {}
        self.width_exponents: dict[str, float] = {}
        for leaf, of in self.aged.groupby("leaf"):
            fit = heights.fit_together(of, self.starts[leaf], self.exponents[leaf])
            spread = heights.between_kinds(of, fit, self.spreads[leaf])
            self.groups[leaf], self.group_kinds[leaf] = fit, spread
            street = self.street[self.street["leaf"] == leaf]
            self.width_exponents[leaf] = shapes.common_exponent(street)
            self.group_widths[leaf] = shapes.fit_width(
                street.assign(region="all"), self.width_exponents[leaf]
            )
        known = [value for value in self.group_kinds.values() if np.isfinite(value)]
        for leaf, value in self.group_kinds.items():
            if not np.isfinite(value):
                self.group_kinds[leaf] = float(np.mean(known)) if known else 0.0
        points = [
            (leaf_of[name], np.log(fit.curve.asymptote_m), np.log(fit.curve.rate))
            for name, fit in self.fits.items()
            if fit.curve.exponent > 0
        ]
        table = pd.DataFrame(points, columns=["leaf", "log_a", "log_k"])
        #: k of a kind falls with its asymptote by this power: by leaf where there are kinds enough.
        self.rate_powers = {
            leaf: _slope(table if len(of) < LEAST_KINDS else of)
            for leaf in self.groups
            for of in [table[table["leaf"] == leaf]]
        }

    def scaled(self, fit: heights.Fit, asymptote_m: float, leaf: str) -> HeightCurve:
        """Return the curve of relatives or of a group, brought to a kind's own mature height."""
        ratio = asymptote_m / fit.curve.asymptote_m
        return HeightCurve(
            asymptote_m, fit.curve.rate * ratio ** self.rate_powers[leaf], fit.curve.exponent
        )

    def height(self, kind: dict) -> dict:
        """Height figures of a kind."""
        leaf, (low, high) = kind["leaf"], kind["mature_height"]
        middle = 0.5 * (low + high)
        own = next((name for name in kind.get("measured_as", []) if name in self.fits), None)
        if kind["habit"] == "bamboo":
            curve = HeightCurve(middle, float(np.log(10.0)) / BAMBOO_YEARS, 1.0)
            return self._height(
                "memory",
                curve,
                "broadleaf",
                "memory, unverified",
                "mature height",
                0,
                [],
                [0, 0],
                0.0,
            )
        if own:
            fit = self.fits[own]
            grade = "relatives" if kind.get("other_form") else "measured"
            return self._of_fit(grade, fit, fit.curve, leaf, f"{UTD_SOURCE}: {own}", fit.bound, 0.0)
        if kind.get("curves"):
            curve = published.fit_published(self.data.curves, kind["curves"], self.sites[leaf])
            named = isinstance(kind["curves"][0], str)
            which = ", ".join(str(curve) for curve in kind["curves"])
            source = f"{THUJA_SOURCE if named else CURVES_SOURCE}: {which}"
            made = self._height(
                "published", curve, leaf, source, "published curves", len(kind["curves"]), [],
                [published.FITTED[0], published.FITTED[-1]], self.group_kinds[leaf],
            )  # fmt: skip
            return {**made, "clock": "since seed", "site_m_at_50": round(self.sites[leaf], 1)}
        if kind.get("heights_by_year"):
            return self._of_words(kind, middle)
        if kind["habit"] == "tree":
            genus = self.aged[(self.aged["genus"] == kind["genus"]) & (self.aged["leaf"] == leaf)]
            if len(genus) >= heights.LEAST_RELATIVES:
                return self._relatives(kind, genus, middle)
        fit = self.groups[leaf]
        grade = "group" if kind["size_known"] else "memory"
        return self._of_fit(
            grade, fit, self.scaled(fit, middle, leaf), leaf,
            f"{UTD_SOURCE}: {leaf}, scaled to its mature height", "mature height",
            self.group_kinds[leaf],
        )  # fmt: skip

    def _of_words(self, kind: dict, middle: float) -> dict:
        """Return the curve through published heights by year, from a cutting up to the mature height."""
        leaf, points = kind["leaf"], kind["heights_by_year"]
        years = np.array([year for year, _ in points], float)
        logs = np.log([parse_length(text, key="heights_by_year") for _, text in points])

        def apart(log_k, m):
            curve = HeightCurve(middle, float(np.exp(log_k[0])), m)
            return np.log(height_at(curve, years, CUTTING_M)) - logs

        tried = [(least_squares(apart, [np.log(0.1)], args=(m,)), m) for m in heights.EXPONENTS]
        best, m = min(tried, key=lambda item: item[0].cost)
        return self._height(
            "published", HeightCurve(middle, float(np.exp(best.x[0])), m), leaf,
            kind["sources"]["heights_by_year"], "mature height", len(points), [],
            [years.min(), years.max()], self.group_kinds[leaf],
        )  # fmt: skip

    def _relatives(self, kind, genus: pd.DataFrame, middle: float) -> dict:
        leaf = kind["leaf"]
        fit = heights.fit_together(genus, self.starts[leaf], self.exponents[leaf])
        kinds = heights.between_kinds(genus, fit, self.spreads[leaf])
        curve = self.scaled(fit, middle, leaf) if kind["size_known"] else fit.curve
        return self._of_fit(
            "relatives", fit, curve, leaf, f"{UTD_SOURCE}: {', '.join(sorted(set(genus['name'])))}",
            "mature height" if kind["size_known"] else fit.bound,
            kinds if np.isfinite(kinds) else self.group_kinds[leaf],
        )  # fmt: skip

    def _of_fit(self, grade, fit, curve, leaf, source, bound, kinds) -> dict:
        return self._height(
            grade, curve, leaf, source, bound, fit.n, list(fit.regions), list(fit.ages), kinds
        )

    def _height(self, grade, curve, leaf, source, bound, n, regions, ages, kinds) -> dict:
        spread = self.spreads[leaf]
        return {
            "grade": grade,
            "asymptote_m": round(curve.asymptote_m, 2),
            "rate": round(curve.rate, 5),
            "exponent": curve.exponent,
            "asymptote_bound": bound,
            "clock": "since planting",
            "planted_m": round(self.starts[leaf], 2),
            "between_sites_log_sd": round(spread.between_sites, 3),
            "within_site_log_sd": round(spread.within_site, 3),
            "between_kinds_log_sd": round(float(kinds), 3),
            "source": source,
            "n": n,
            "regions": regions,
            "ages": [float(age) for age in ages],
        }

    def width(self, kind: dict) -> dict:
        """Width figures of a kind."""
        leaf, trees = kind["leaf"], self.data.trees
        own = trees[trees["name"].isin(kind.get("measured_as", [])) & trees["w"].notna()]
        if len(own) >= shapes.LEAST:
            grade = "relatives" if kind.get("other_form") else "measured"
            return self._width(grade, shapes.fit_width(own, self.width_exponents[leaf]), kind, own)
        if kind["habit"] == "tree":
            genus = trees[
                (trees["genus"] == kind["genus"]) & (trees["leaf"] == leaf) & trees["w"].notna()
            ]
            if len(genus) >= shapes.LEAST:
                return self._width(
                    "relatives", shapes.fit_width(genus, self.width_exponents[leaf]), kind, genus
                )
        group = self.group_widths["broadleaf" if kind["habit"] == "bamboo" else leaf]
        height, spread = (0.5 * sum(kind[size]) for size in ("mature_height", "mature_spread"))
        law = shapes.Width(
            spread / (self.reach() * height) ** group.exponent, group.exponent, spread, 0, group.log_sd,
            group.n, group.regions, group.heights,
        )  # fmt: skip
        grade = "group" if kind["spread_known"] and kind["habit"] != "bamboo" else "memory"
        made = self._width(grade, law, kind, None)
        return {**made, "source": f"{UTD_SOURCE}: {leaf}, through its mature size"}

    def reach(self) -> float:
        """Share of its published mature height at which a kind has its published mature spread.

        The median of the kinds whose width was measured: they are broad long before they are tall.
        """
        if self._reach is None:
            found = []
            for kind in self.kinds.values():
                own = self.data.trees[
                    self.data.trees["name"].isin(kind.get("measured_as", []))
                    & self.data.trees["w"].notna()
                ]
                if len(own) >= shapes.LEAST and kind["spread_known"]:
                    law = shapes.fit_width(own, self.width_exponents[kind["leaf"]])
                    height, spread = (
                        0.5 * sum(kind[s]) for s in ("mature_height", "mature_spread")
                    )
                    found.append((spread / law.coefficient) ** (1.0 / law.exponent) / height)
            self._reach = float(np.median(found)) if found else 1.0
        return self._reach

    def _width(self, grade, law: shapes.Width, kind, trees) -> dict:
        widest, taller = law.widest_m, law.taller
        if grade != "measured":
            widest, taller = 0.5 * sum(kind["mature_spread"]), 0
        sources = "" if trees is None else ", ".join(sorted(set(trees["source"])))
        names = "" if trees is None else ", ".join(sorted(set(trees["name"])))
        return {
            "grade": grade,
            "coefficient": round(law.coefficient, 4),
            "exponent": round(law.exponent, 3),
            "widest_m": round(widest, 2),
            "taller": taller,
            "log_sd": round(law.log_sd, 3),
            "source": f"{sources}: {names}",
            "n": law.n,
            "regions": list(law.regions),
            "heights_m": [round(height, 2) for height in law.heights],
        }

    def profile(self, kind: dict) -> dict:
        """Exponent of the profile: published, typical and the cautious end."""
        latin = kind["latin"].split(" '")[0]
        found = shapes.find_profile(
            self.data.profiles, latin, kind["genus"], kind["leaf"] not in CONIFERS
        )
        cultivar = "'" in kind["latin"] and found.grade == "measured"
        return {
            "grade": "relatives" if cultivar else found.grade,
            "published": round(found.exponent, 4),
            "typical": round(shapes.typical_exponent(found.exponent), 3),
            "cautious": shapes.PARABOLOID,
            "source": f"{PROFILE_SOURCE}: {found.of}",
        }

    def leaves(self, kind: dict, exponent: float) -> dict:
        """Leaf area density, of crowns with that exponent."""
        trees, leaf = self.street, kind["leaf"] if kind["leaf"] in LEAVES else "broadleaf"
        group = trees[trees["leaf"] == leaf]
        genus = group[group["genus"] == kind["genus"]]
        own = trees[trees["name"].isin(kind.get("measured_as", []))]
        tried = [("group", group)]
        if kind["habit"] == "tree":
            tried = [("measured", own), ("relatives", genus), *tried]
        tried.append(("group", trees[trees["leaf"].isin(CONIFERS) == (leaf in CONIFERS)]))
        grade, found = next(
            (grade, found)
            for grade, of in tried
            if (found := shapes.fit_leaves(of, exponent)) is not None
        )
        if grade == "measured" and kind.get("other_form"):
            grade = "relatives"
        if kind["habit"] == "bamboo":
            grade = "memory"
        low, middle, high = found.density
        return {
            "grade": grade,
            "density": [round(value, 2) for value in (low, middle, high)],
            "crown_exponent": exponent,
            "n": found.n,
            "regions": list(found.regions),
        }

    def stems(self) -> dict:
        """Stem diameter of a plant by its height: ln d = a + b ln h, d in cm, by leaf."""
        made = {}
        for leaf, of in self.street.groupby("leaf"):
            used = of[(of["h"] <= STOCK_M) & of["dbh_cm"].notna()]
            if len(used) < shapes.LEAST:
                continue
            x, y = np.log(used["h"]), np.log(used["dbh_cm"])
            slope, level = np.polyfit(x, y, 1)
            made[leaf] = {
                "coefficient_cm": round(float(np.exp(level)), 3),
                "exponent": round(float(slope), 3),
                "log_sd": round(float((y - level - slope * x).std(ddof=2)), 3),
                "n": len(used),
            }
        return made

    def all_kinds(self) -> dict:
        """Figures of every kind."""
        made = {}
        for key, kind in self.kinds.items():
            profile = self.profile(kind)
            made[key] = {
                "height": self.height(kind),
                "width": self.width(kind),
                "profile": profile,
                "leaves": self.leaves(kind, profile["typical"]),
            }
        return made


def _slope(table: pd.DataFrame) -> float:
    """Power by which k goes with A, within leaves; from -1 (equal growth of the young) to 0."""
    centred = table[["log_a", "log_k"]] - table.groupby("leaf")[["log_a", "log_k"]].transform(
        "mean"
    )
    square = float((centred["log_a"] ** 2).sum())
    product = float((centred["log_a"] * centred["log_k"]).sum())
    return float(np.clip(product / square, -1.0, 0.0)) if square > 0 else 0.0
