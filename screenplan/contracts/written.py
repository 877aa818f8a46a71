"""A layer as it is written: one kind of geometry in each, since other programs show only one.

A layer whose rows may be areas, lines and points is written as several, one for each kind that its
contract allows: ``light`` as ``light_areas``, ``light_lines`` and ``light_points``. All of them
are always written, empty or not, so that what refers to one always finds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from screenplan.contracts.model import LINES, POINTS, POLYGONS, Contract

#: What a kind is called in a layer's name, and the geometry types that belong to it.
KINDS = {"areas": POLYGONS, "lines": LINES, "points": POINTS}


def kinds_of(contract: Contract) -> tuple[str, ...]:
    """Give the kinds of geometry that a contract allows: of areas, lines, points; none of a table."""
    return tuple(kind for kind, types in KINDS.items() if set(types) & set(contract.geometry))


def written_parts(contract: Contract) -> dict[str, Contract]:
    """Give the layers as which one layer is written.

    Parameters
    ----------
    contract : Contract
        Of the layer or table in memory.

    Returns
    -------
    dict of str to Contract
        By name as written: the contract itself if it is a table or of one kind, else one contract
        for each kind, with the same columns.
    """
    kinds = kinds_of(contract)
    if len(kinds) <= 1:
        return {contract.name: contract}
    parts = (
        replace(
            contract,
            name=f"{contract.name}_{kind}",
            geometry=tuple(name for name in contract.geometry if name in KINDS[kind]),
            meaning=f"{contract.meaning}: those that are {kind}",
            place=(kind == "areas" and contract.place_of_areas) or contract.place,
            look=f"{contract.look}_{kind}",
            whole=contract.name,
        )
        for kind in kinds
    )
    return {part.name: part for part in parts}


def as_written(contracts: Mapping[str, Contract]) -> dict[str, Contract]:
    """Give the contracts of all layers as they are written, in the same order."""
    return {
        name: part
        for contract in contracts.values()
        for name, part in written_parts(contract).items()
    }
