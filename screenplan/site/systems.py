"""Which reference system each layer is read in: the one that its file states, or that the plan does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pyproj import CRS
from pyproj.exceptions import CRSError

from screenplan.ground.errors import InputError, Problem, refuse

#: Before the name of the layer in whose system another one is.
AS = "as "


def settle_systems(
    layers: Mapping[str, Any], stated: Mapping[str, str | None]
) -> tuple[dict[str, Any], list[str]]:
    """Give each layer the system that the plan states for it.

    Parameters
    ----------
    layers : mapping of str to FileLayer
        As opened, each with the system that its file states, or None.
    stated : mapping of str to str
        Layer: a code, WKT, or ``as`` and the name of another layer; None leaves it to the file.

    Returns
    -------
    layers : dict of str to FileLayer
    notes : list of str
        Where the plan and a file disagree.

    Raises
    ------
    InputError
        With one problem for each text that names no system.
    """
    settled, notes = {}, []
    problems: list[Problem] = []
    for name, layer in layers.items():
        try:
            crs = find_system(stated.get(name), layers, stated, key=layer.crs_key, own=name)
        except InputError as error:
            problems += error.problems
            continue
        if crs is None:
            settled[name] = layer
            continue
        settled[name] = replace(layer, crs=crs)
        if layer.crs is not None and not layer.crs.equals(crs, ignore_axis_order=True):
            notes.append(
                f"The layer of {name.replace('_', ' ')} is read in the CRS '{crs.name}', as the plan "
                f"says; its file states '{layer.crs.name}'."
            )
    if problems:
        raise InputError(problems)
    return settled, notes


def find_system(
    text: str | None,
    layers: Mapping[str, Any],
    stated: Mapping[str, str | None],
    *,
    key: str,
    own: str = "",
) -> CRS | None:
    """Find the system that a text names; None for None, and for that of a layer that has none.

    Parameters
    ----------
    text : str or None
        A code, WKT, or ``as`` and the name of a layer.
    layers, stated : mapping
        As in `settle_systems`.
    key : str
        The plan's key, for messages.
    own : str
        The layer whose system is looked for.
    """
    passed = {own}
    while text is not None and text.strip().startswith(AS):
        other = text.strip()[len(AS) :].strip()
        if other not in layers or other in passed:
            others = ", ".join(name for name in layers if name != own) or "none"
            raise refuse(
                f"'{text}' names no other layer whose CRS it could be",
                f'Write {AS}and the name of another layer of the plan ({others}), or a code such as "EPSG:2249"',
                key=key,
                kind="system",
            )
        passed.add(other)
        text = stated.get(other)
        if text is None:
            return layers[other].crs
    return None if text is None else _read_system(text, key)


def _read_system(text: str, key: str) -> CRS:
    try:
        return CRS.from_user_input(text.strip())
    except CRSError:
        raise InputError(
            Problem(
                f"'{text}' is not a CRS",
                f'Write a code such as "EPSG:2249", WKT, or "{AS}parcels" for that of the layer parcels',
                key=key,
                kind="system",
            )
        ) from None
