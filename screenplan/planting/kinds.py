"""The kinds that are shipped, as tables of the species: published facts, and figures that were fitted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp
from typing import Any

from screenplan.contracts import GROWTHS
from screenplan.ground.crown_shapes import POWER
from screenplan.ground.units import parse_length
from screenplan.planting.measured import (
    GRADED,
    TENTH,
    MeasuredKind,
    load_kinds,
    load_measured,
)

#: Crown where nothing else is said: it tapers by the exponent of its profile; canes do not.
TAPERED, CANES = POWER, "column"
#: Height when planted where nothing else is said (common practice, no source).
USUAL_STOCK = "3 ft"
_STATED = (
    "latin", "common", "genus", "leaf", "evergreen", "shape", "stock_height", "mature_height", "mature_spread",
    "clear_stem", "clear_stem_share", "winter_share", "hardiness_zones", "tolerances", "spacing",
    "warnings", "note",
)  # fmt: skip
#: Where a curve stops that was fitted to trees, and one of forests.
_STOPS = {
    True: "; high growth stops where the usual plant does, or at the mature height if that is more",
    False: "; growth stops at the mature height",
}


def shipped_kinds() -> dict[str, dict[str, Any]]:
    """Make the table of each kind that is shipped, as a person would write it.

    Examples
    --------
    >>> shipped_kinds()["picea_pungens"]["grades"]["height"]
    'measured'
    """
    return {key: _table(of, load_measured()[key]) for key, of in load_kinds().items()}


def _table(of: Mapping[str, Any], kind: MeasuredKind) -> dict[str, Any]:
    stated = {name: of[name] for name in _STATED if name in of}
    shape = of.get("shape", CANES if of["habit"] == "bamboo" else TAPERED)
    return {
        "stock_height": USUAL_STOCK,
        "shape": shape,
        **({"profile": list(kind.profile[::-1])} if shape == POWER else {}),
        **{name: value for name, value in stated.items() if name != "shape"},
        "height_curve": _height(of, kind),
        "width_law": _width(kind),
        "leaf_density": list(kind.leaf_density),
        "grades": dict(kind.grades),
        "sources": _sources(of, kind),
    }


def _height(of: Mapping[str, Any], kind: MeasuredKind) -> dict[str, Any]:
    """Give the curve of each growth, and where it stops.

    Published curves are of forests, and run on beyond their ages; a plant of these stops at its
    published mature height. The asymptote that was fitted to trees of streets holds for low and typical
    growth; for high growth, extrapolated by the spread, it would be taller than any tree measured.
    """
    curves = [kind.grown(growth) for growth in GROWTHS]
    asymptotes = [curve.asymptote_m for curve in curves]
    low, high = (parse_length(size) for size in of["mature_height"])
    tallest = stops_of(asymptotes, (low, high), kind.since_planting)
    return {
        "asymptote": _lengths(asymptotes),
        "rate": [curve.rate for curve in curves],
        "exponent": kind.curve.exponent,
        "tallest": _lengths(tallest),
        **({"planted": f"{kind.figures['height']['planted_m']} m"} if kind.since_planting else {}),
    }


def stops_of(
    asymptotes: Sequence[float], mature: tuple[float, float], since_planting: bool
) -> list[float]:
    """Give where low, typical and high growth stop, metres.

    Parameters
    ----------
    asymptotes : sequence of 3 floats
    mature : (float, float)
        Published mature height, low and high.
    since_planting : bool
        Whether the asymptotes were fitted to trees since planting; see `_height`.
    """
    low, high = mature
    if since_planting:
        return [*asymptotes[:2], max(asymptotes[1], min(high, asymptotes[2]))]
    return [min(ends) for ends in zip(asymptotes, (low, (low + high) / 2.0, high), strict=True)]


def _width(kind: MeasuredKind) -> dict[str, Any]:
    """Give the law of each growth; the published mature spread ends it, as it does for any species."""
    law, side = kind.width, TENTH * kind.width_log_sd
    return {
        "coefficient": [law.coefficient * exp(sign * side) for sign in (-1.0, 0.0, 1.0)],
        "exponent": law.exponent,
    }


def _lengths(metres) -> list[str]:
    return [f"{float(value)} m" for value in metres]


def _sources(of: Mapping[str, Any], kind: MeasuredKind) -> dict[str, str]:
    said = dict(of["sources"])
    size, tolerances = said.pop("size"), said.pop("tolerances", "")
    figures = {name: _said(name, kind) for name in GRADED}
    figures["height"] += _STOPS[kind.since_planting]
    return {
        "mature_height": size,
        "mature_spread": size,
        "shape": "as its profile",
        "stock_height": "common practice, no source",
        **({} if "winter_share" in of else {"winter_share": "evergreen"}),
        **said,
        **{name: _source_of(name, tolerances) for name in of.get("tolerances", {})},
        "height_curve": figures["height"],
        "width_law": figures["width"],
        "profile": figures["profile"],
        "leaf_density": figures["leaves"],
    }


def _said(name: str, kind: MeasuredKind) -> str:
    of = kind.figures[name]
    source = of.get("source", "Urban Tree Database (McPherson et al. 2016), leaf areas")
    regions = [region for region in of.get("regions", ()) if region != "all"]
    counted = f" (n {of['n']}{', ' + ', '.join(regions) if regions else ''})" if of.get("n") else ""
    return f"{of['grade']}: {source}{counted}"


def _source_of(name: str, said: str) -> str:
    """Find what is said of one tolerance: "salt, shade: a book (read); browse: memory"."""
    for part in said.split("; "):
        names, _, source = part.partition(": ")
        if name in names.split(", "):
            return source
    raise ValueError(f"no source of {name} in {said!r}")
