"""The layers of several lots as one: identifiers by lot, each window once, what is said of all said once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import LOT, OUTPUTS
from screenplan.contracts.street import LOOKS_ONTO
from screenplan.contracts.tables import DTYPES, layer_of, notes_of, table_of, with_notes
from screenplan.site.steady import natural_key

#: Identifiers that the lots would give twice, by the step that gives them and the layer: each is named by its lot.
NAMED = {
    ("sides", "sides"): "side_id",
    ("zones", "no_plant_zones"): "zone_id",
    ("zones", "plantable_zone"): "zone_id",
    ("sight_triangles", "sight_areas"): "area_id",
    ("sight_triangles", "sight_plants"): "area_id",
}
#: How a derived place of a lot is told from those of the others: for files, and for people.
_OF_A_PLACE = {"place_id": "{lot} {own}", "name": "{own} of lot {lot}"}
#: The number of a derived window along its wall, in its name.
_NUMBER = re.compile(r"(\d+)(?=, )")


def named(lot: str, step: str, name: str, layer):
    """Put the lot's name before the identifiers that another lot may give too."""
    column = NAMED.get((step, name))
    if column is not None:
        layer = _renamed(layer, {column: [f"{lot} {own}" for own in layer[column]]})
    elif (step, name) == ("places", "private_places"):
        derived = layer["derived"].fillna(False).to_numpy(bool)
        layer = _renamed(
            layer,
            {
                column: [
                    form.format(lot=lot, own=own) if mine and not pd.isna(own) else own
                    for own, mine in zip(layer[column], derived, strict=True)
                ]
                for column, form in _OF_A_PLACE.items()
            },
        )
    return layer


def _renamed(layer, columns: Mapping[str, Sequence]):
    notes = notes_of(layer)
    texts = {
        name: pd.array(list(values), dtype=layer[name].dtype) for name, values in columns.items()
    }
    return with_notes(layer.assign(**texts), notes)


def join(name: str, parts: Sequence[tuple[str, Any]], crs):
    """Make one layer of those of the lots, with their notes; an empty one if no lot is asked for it."""
    notes = _notes(parts)
    some = [(lot, layer) for lot, layer in parts if len(layer)] or [*parts[:1]]
    if not some:
        contract = OUTPUTS[name]
        return layer_of(contract, [], [], crs) if contract.geometry else table_of(contract, [])
    if name == "windows":
        return with_notes(_join_windows(some), notes)
    layers = [put_lots(layer, [lot] * len(layer)) for lot, layer in some]
    # What a person gave keeps the number of its row, for refusals.
    given = any(layer.index.name for layer in layers)
    whole = layers[0] if len(layers) == 1 else pd.concat(layers, ignore_index=not given)
    return with_notes(whole, notes)


def _join_windows(parts: Sequence[tuple[str, Any]]):
    """Give each window once, with the lots onto which it looks; it is set apart if it is so for all of them."""
    given = any(layer.index.name for _, layer in parts)
    every = pd.concat(
        [layer.assign(**{LOOKS_ONTO: [(lot,)] * len(layer)}) for lot, layer in parts],
        ignore_index=not given,
    )
    ids = every["window_id"].astype(str).to_numpy()
    onto: dict[str, tuple[str, ...]] = {}
    for window, lots in zip(ids, every[LOOKS_ONTO], strict=True):
        onto[window] = (*onto.get(window, ()), *lots)
    looking = set(ids[every["set_apart"].isna().to_numpy()])
    once = every[~pd.Series(ids).duplicated().to_numpy()].copy()
    names = once["window_id"].astype(str)
    once[LOOKS_ONTO] = pd.Series([onto[name] for name in names], index=once.index, dtype=object)
    once["set_apart"] = once["set_apart"].mask(names.isin(looking).to_numpy())
    return _numbered(once)


def _numbered(windows):
    """Give derived windows new numbers along each wall: each lot has counted those alone that look onto it."""
    derived = windows["derived"].fillna(False).to_numpy(bool)
    names = windows["name"].to_list()
    count: dict = {}
    for row in sorted(np.flatnonzero(derived), key=lambda row: natural_key(str(windows["window_id"].iloc[row]))):  # fmt: skip
        before, _, wall = _NUMBER.split(names[row], maxsplit=1)
        of = windows["building_id"].iloc[row], before, wall
        count[of] = count.get(of, 0) + 1
        names[row] = f"{before}{count[of]}{wall}"
    return windows.assign(name=pd.Series(names, index=windows.index, dtype=windows["name"].dtype))


def _notes(parts: Sequence[tuple[str, Any]]) -> list[str]:
    """Give the notes of the lots, each with the lot's name; what is said of all of them once."""
    said: dict[str, list[str]] = {}
    for lot, layer in parts:
        for note in notes_of(layer):
            said.setdefault(f"{note}", []).append(lot)
    return [
        note if len(lots) == len(parts) else f"Lot {', '.join(lots)}: {note}"
        for note, lots in said.items()
    ]


def put_lots(layer, lots):
    """Give a layer with the column of lots last but for its geometry."""
    texts = pd.Series(pd.array(list(lots), dtype=DTYPES["text"]), index=layer.index)
    notes = notes_of(layer)
    return with_notes(layer.assign(**{LOT.name: texts}), notes)
