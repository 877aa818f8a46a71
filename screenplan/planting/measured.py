"""The fitted figures of plants, by kind, with the grade of their evidence.

The figures stand in ``measured.toml``, which `tests.fitting` writes from open data; what is known of
each kind from published pages (sizes, hardiness, tolerances, spacing, warnings) in ``kinds.toml``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, get_args

import numpy as np

from screenplan.planting.curves import HeightCurve, WidthLaw, scenario

#: Grades of evidence, the best first: trees of this kind; trees of the same genus, leaf and habit;
#: trees of the same leaf; published curves; a size from memory.
Grade = Literal["measured", "relatives", "group", "published", "memory"]
GRADES: tuple[str, ...] = get_args(Grade)
#: What is graded of a kind.
Graded = Literal["height", "width", "profile", "leaves"]
GRADED: tuple[Graded, ...] = get_args(Graded)
#: Standard deviations from the middle to the plant that one in ten stays below.
TENTH = 1.2816
CM_PER_INCH = 2.54


@dataclass(frozen=True)
class MeasuredKind:
    """Figures of one kind.

    Parameters
    ----------
    key : str
        Its name in the tables.
    curve : HeightCurve
    height_log_sd : float
        Spread of the logarithm of the height: between sites, between plants of a site, and between
        kinds where the curve is of others.
    since_planting : bool
        True if the curve's years are years since planting, so that they hold the establishment;
        False if they are years of growth.
    width : WidthLaw
    taller : int
        Trees that tell where the width ends: they are taller than one of the widest.
    width_log_sd : float
    profile : tuple of 3 floats
        Exponent as published, typical, and the cautious end.
    leaf_density : tuple of 3 floats
        10 %, median and 90 %, m²/m³.
    grades : mapping
        Of `GRADED`, one of `GRADES`.
    figures : mapping
        All of the table, with sources, numbers, regions and ages.
    """

    key: str
    curve: HeightCurve
    height_log_sd: float
    since_planting: bool
    width: WidthLaw
    taller: int
    width_log_sd: float
    profile: tuple[float, float, float]
    leaf_density: tuple[float, float, float]
    grades: Mapping[str, str]
    figures: Mapping[str, Any]

    def grown(self, growth: str) -> HeightCurve:
        """Curve of the growth "low", "typical" or "high": of one plant in ten, of the middle, of nine in ten.

        Examples
        --------
        >>> holly = load_measured()["ilex_opaca"]
        >>> holly.grown("low").asymptote_m < holly.grown("high").asymptote_m
        True
        """
        side = {"low": -TENTH, "typical": 0.0, "high": TENTH}[growth]
        return scenario(self.curve, side * self.height_log_sd)


@cache
def load_measured() -> Mapping[str, MeasuredKind]:
    """Load the figures by kind.

    Examples
    --------
    >>> load_measured()["picea_pungens"].grades["height"]
    'measured'
    """
    return MappingProxyType(
        {key: _kind(key, of) for key, of in _table("measured.toml")["kinds"].items()}
    )


@cache
def load_kinds() -> Mapping[str, Mapping[str, Any]]:
    """Load what is known of each kind from published pages, as it is written.

    Examples
    --------
    >>> load_kinds()["taxus_baccata"]["latin"]
    'Taxus baccata'
    """
    return MappingProxyType(_table("kinds.toml"))


@cache
def load_establishment() -> Mapping[str, Any]:
    """Load what is known of rooting and losses, as it is written.

    Examples
    --------
    >>> load_establishment()["months_per_inch"]["warm"]["months"]
    3.0
    """
    return MappingProxyType(_table("establishment.toml"))


def months_to_root(zone: int, stem_inches, container: bool = False) -> np.ndarray:
    """Months until a plant is rooted, by USDA hardiness zone, stem and stock.

    Container-grown stock takes longer than field-grown; the middle of what is published.

    Examples
    --------
    A stem of two inches.

    >>> [float(months_to_root(zone, 2.0)) for zone in (5, 7, 10)]
    [24.0, 12.0, 6.0]
    >>> float(months_to_root(7, 2.0, container=True))
    15.0
    """
    known = load_establishment()
    belts = [belt for belt in known["months_per_inch"].values() if isinstance(belt, Mapping)]
    # Zones beyond the published ones count as the nearest.
    nearest = min(belts, key=lambda belt: max(belt["zones"][0] - zone, zone - belt["zones"][1], 0))
    more = known["container_more_months_per_inch"]
    extra = 0.5 * (more["low"] + more["high"]) if container else 0.0
    return np.asarray(stem_inches, float) * (nearest["months"] + extra)


def stem_inches(leaf: str, height_m) -> np.ndarray:
    """Diameter of the stem of a plant of that height, inches: the measured law of its leaf type.

    Parameters
    ----------
    leaf : str
        needle, scale, broadleaf or deciduous; others count as broadleaf.
    height_m : array_like

    Examples
    --------
    >>> float(stem_inches("broadleaf", 1.9).round(2))
    1.52
    """
    law = _stems(leaf)
    return law["coefficient_cm"] * np.asarray(height_m, float) ** law["exponent"] / CM_PER_INCH


def stem_log_sd(leaf: str) -> float:
    """Give the spread of the logarithm of the stem at a height, so of the months until it is rooted.

    Examples
    --------
    >>> stem_log_sd("needle")
    0.466
    """
    return float(_stems(leaf)["log_sd"])


def _stems(leaf: str) -> Mapping[str, float]:
    laws = _table("measured.toml")["about"]["stems"]
    return laws.get(leaf, laws["broadleaf"])


@cache
def _table(name: str) -> dict[str, Any]:
    text = resources.files("screenplan.planting").joinpath(name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _kind(key: str, of: Mapping[str, Any]) -> MeasuredKind:
    height, width, profile, leaves = (of[name] for name in GRADED)
    return MeasuredKind(
        key=key,
        curve=HeightCurve(height["asymptote_m"], height["rate"], height["exponent"]),
        height_log_sd=float(
            np.hypot(
                np.hypot(height["between_sites_log_sd"], height["within_site_log_sd"]),
                height["between_kinds_log_sd"],
            )
        ),
        since_planting=height["clock"] == "since planting",
        width=WidthLaw(width["coefficient"], width["exponent"], width["widest_m"]),
        taller=width["taller"],
        width_log_sd=width["log_sd"],
        profile=(profile["published"], profile["typical"], profile["cautious"]),
        leaf_density=tuple(leaves["density"]),
        grades=MappingProxyType({name: of[name]["grade"] for name in GRADED}),
        figures=MappingProxyType(dict(of)),
    )
