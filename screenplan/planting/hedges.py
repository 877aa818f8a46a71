"""Hedges that are kept by clipping: the evergreens that hedging guides list, at the height and width of a plan."""

from __future__ import annotations

from typing import Any

from screenplan.ground.units import parse_length
from screenplan.planting.kinds import USUAL_STOCK
from screenplan.planting.measured import load_kinds

#: Evergreens for which a hedging guide gives a spacing; the guides are named at the spacings in ``kinds.toml``.
HEDGES = (
    "taxus_baccata",
    "chamaecyparis_lawsoniana",
    "cupressus_leylandii",
    "prunus_laurocerasus",
    "prunus_lusitanica",
    "ilex_aquifolium",
    "photinia_fraseri",
    "ligustrum_ovalifolium",
    "griselinia_littoralis",
    "escallonia_rubra",
)
#: Heights at which rows are kept are proposed in steps of so many metres.
STEP_M = 0.1
#: What the name of such a hedge ends in.
ENDING = "_clipped"


def hedge_tables(height_m: float | None, width_m: float) -> dict[str, dict[str, Any]]:
    """Make the tables of clipped hedges by key, as a person would write them.

    Parameters
    ----------
    height_m : float or None
        Height at which they are kept, metres; None for no hedges.
    width_m : float
        Width at which they are kept, metres.

    Returns
    -------
    dict
        A hedge grows as its species, in a box of that size, at the spacing of its guide; it is planted at no more
        than that height.

    Examples
    --------
    >>> made = hedge_tables(2.0, 0.9)["taxus_baccata_clipped"]
    >>> made["like"], made["shape"], made["kept_height"], made["kept_width"]
    ('taxus_baccata', 'box', '2 m', '0.9 m')
    >>> hedge_tables(None, 0.9)
    {}
    """
    if height_m is None:
        return {}
    kinds = load_kinds()
    size = {"shape": "box", "kept_height": f"{height_m:g} m", "kept_width": f"{width_m:g} m"}
    if height_m < parse_length(USUAL_STOCK):
        size["stock_height"] = size["kept_height"]
    return {
        f"{key}{ENDING}": {"like": key, "common": f"clipped {kinds[key]['common']}", **size}
        for key in HEDGES
    }


def living_kind(key: str) -> str:
    """Give the kind of which a clipped hedge is, by key; any other kind as it is.

    Examples
    --------
    >>> living_kind("taxus_baccata_clipped"), living_kind("taxus_baccata")
    ('taxus_baccata', 'taxus_baccata')
    """
    return key.removesuffix(ENDING)
