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
    "warnings", "poisonous_to", "note",
)  # fmt: skip
#: Where a curve stops that was fitted to trees, and one of forests.
_STOPS = {
    True: "; high growth stops where the usual plant does, or at the mature height if that is more",
    False: "; growth stops at the mature height",
}
#: So many trees above the height at which widths end tell where that is.
ENOUGH_TALLER = 10


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
        "width_law": _width(of, kind),
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
    asymptotes: Sequence[float], mature: Sequence[float], since_planting: bool
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


def _width(of: Mapping[str, Any], kind: MeasuredKind) -> dict[str, Any]:
    """Give the law of each growth; one that was not measured ends at the published mature spread."""
    law, sides = kind.width, _sides(kind)
    made = {
        "coefficient": [law.coefficient * side for side in sides],
        "exponent": law.exponent,
    }
    if kind.grades["width"] != "measured":
        return made
    low, high = (parse_length(size) for size in of["mature_spread"])
    return {
        **made,
        "widest": _lengths(ends_of_width(law.widest_m, kind.taller, sides, (low, high))),
    }


def _sides(kind: MeasuredKind) -> list[float]:
    """Give the width of a plant of low, typical and high growth by that of the usual one of its height."""
    return [exp(sign * TENTH * kind.width_log_sd) for sign in (-1.0, 0.0, 1.0)]


def ends_of_width(
    widest_m: float, taller: int, sides: Sequence[float], published: tuple[float, float]
) -> list[float]:
    """Give where the width of low, typical and high growth ends, metres.

    Trees that are tall enough tell it; they vary as those of any height do. Where there are too few, the
    published mature spread holds, but for trees that were measured wider.

    Parameters
    ----------
    widest_m : float
        Width beyond which taller trees are no wider, in the middle.
    taller : int
        How many trees tell so.
    sides : sequence of 3 floats
        Widths of low, typical and high growth by the middle.
    published : (float, float)
        Published mature spread, low and high.

    Examples
    --------
    >>> ends_of_width(8.0, 33, (0.75, 1.0, 1.25), (3.0, 6.0)), ends_of_width(4.0, 3, (0.5, 1.0, 2.0), (3.0, 6.0))
    ([6.0, 8.0, 10.0], [3.0, 4.5, 8.0])
    """
    measured = [widest_m * side for side in sides]
    if taller >= ENOUGH_TALLER:
        return measured
    low, high = published
    return [max(ends) for ends in zip(measured, (low, (low + high) / 2.0, high), strict=True)]


def _lengths(metres) -> list[str]:
    return [f"{float(value)} m" for value in metres]


def _sources(of: Mapping[str, Any], kind: MeasuredKind) -> dict[str, str]:
    said = dict(of["sources"])
    size, tolerances = said.pop("size"), said.pop("tolerances", "")
    figures = {name: _said(name, kind) for name in GRADED}
    figures["height"] += _STOPS[kind.since_planting]
    figures["width"] += _ends(kind)
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


def _ends(kind: MeasuredKind) -> str:
    if kind.grades["width"] != "measured":
        return "; it ends at the mature spread"
    if kind.taller >= ENOUGH_TALLER:
        return f"; it ends as wide as {kind.taller} taller trees are"
    return "; it ends at the mature spread, or as wide as the tallest trees are if that is more"


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
