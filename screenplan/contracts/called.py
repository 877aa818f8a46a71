"""What people call a window, an onlooker, a private place, a view: the one home of these names.

A window is called by its house first, then by its own name, then by its floor where the name leaves
that open: "No. 9, bedroom, upstairs". Identifiers are for files; where a name is needed, it is made here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

#: Words of a name that tell the floor already.
_FLOOR = re.compile(
    r"\b(?:floor|upstairs|downstairs|upper|lower|storey|story|attic|loft|cellar|basement)", re.I
)


def house_names(buildings) -> dict[str, str]:
    """Name buildings by their identifiers.

    Parameters
    ----------
    buildings : DataFrame or None
        Contract ``buildings``. One without a name is called by its identifier in words, after its
        kind if that says nothing but a number.

    Examples
    --------
    >>> import pandas as pd
    >>> house_names(pd.DataFrame({"building_id": ["9", "wing-9", "b3"], "kind": "house", "name": [None, None, "No. 3"]}))
    {'9': 'house 9', 'wing-9': 'wing 9', 'b3': 'No. 3'}
    """
    return {
        row["building_id"]: row["name"] or _in_words(row["building_id"], row["kind"])
        for row in _rows(buildings, "building_id", "kind", "name")
    }


def with_article(name: str) -> str:
    """Put the article before a name that is none of its own: the shed, No. 7.

    Examples
    --------
    >>> with_article("shed of No. 7"), with_article("No. 7")
    ('the shed of No. 7', 'No. 7')
    """
    return f"the {name}" if name[:1].islower() else name


def observer_names(layers: Mapping[str, Any]) -> dict[str, str]:
    """Name windows and onlookers by their identifiers, as a person would say it.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        Of it ``windows``, ``onlookers`` and ``buildings``, as far as they are there.

    Examples
    --------
    >>> import pandas as pd
    >>> house = pd.DataFrame({"building_id": ["h-9"], "kind": ["house"], "name": ["No. 9"]})
    >>> windows = pd.DataFrame({
    ...     "window_id": ["a", "b", "c"], "name": ["bedroom", "No. 9, kitchen", None],
    ...     "building_id": ["h-9", "h-9", None], "storey": [1, 0, 2],
    ... })
    >>> list(observer_names({"buildings": house, "windows": windows}).values())
    ['No. 9, bedroom, upstairs', 'No. 9, kitchen', 'window c, 2 floors up']
    """
    houses = house_names(layers.get("buildings"))
    names = {}
    for row in _rows(layers.get("windows"), "window_id", "name", "building_id", "storey"):
        name = row["name"] or f"window {row['window_id']}"
        house = houses.get(row["building_id"], _in_words(row["building_id"], ""))
        said = name.casefold() + ","
        if house and not said.startswith(
            (f"{house},".casefold(), f"{row['building_id']},".casefold())
        ):
            name = f"{house}, {name}"
        names[row["window_id"]] = name + _floor(row["storey"], name)
    for row in _rows(layers.get("onlookers"), "onlooker_id", "name", "kind"):
        names.setdefault(
            row["onlooker_id"], row["name"] or _in_words(row["onlooker_id"], row["kind"])
        )
    return names


def place_names(places) -> dict[str, str]:
    """Name private places by their identifiers."""
    return {
        row["place_id"]: row["name"] or _in_words(row["place_id"], "place")
        for row in _rows(places, "place_id", "name")
    }


def view_names(layers: Mapping[str, Any]) -> dict[str, str]:
    """Name the views of a run: from which window, onto which place.

    Examples
    --------
    >>> import pandas as pd
    >>> views = pd.DataFrame({"view_id": ["9-up>terrace"], "window_id": ["9-up"], "place_id": ["terrace"]})
    >>> view_names({"views": views})
    {'9-up>terrace': 'window 9-up, onto terrace'}
    """
    observers, places = observer_names(layers), place_names(layers.get("private_places"))
    return {
        row["view_id"]: f"{observers.get(row['window_id'], 'window ' + row['window_id'])}, "
        f"onto {places.get(row['place_id'], row['place_id'])}"
        for row in _rows(layers.get("views"), "view_id", "window_id", "place_id")
    }


def target_names(layers: Mapping[str, Any]) -> dict[str, str]:
    """Name what light falls on by its identifier: windows, beds and panels; a garden is its parcel's."""
    beds = {
        row["sun_place_id"]: row["name"]
        for row in _rows(layers.get("sun_places"), "sun_place_id", "name")
        if row["name"]
    }
    return beds | observer_names(layers)


def name_as_called(layers: Mapping[str, Any]) -> dict[str, Any]:
    """Give the layers with windows, onlookers, houses, places and views named as people call them.

    A name that was made here stays what it is if it is made anew.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name. Those that hold a thing with a name are copied, the others handed on.

    Examples
    --------
    >>> import pandas as pd
    >>> house = pd.DataFrame({"building_id": ["h-9"], "kind": ["house"], "name": ["No. 9"]})
    >>> window = pd.DataFrame({"window_id": ["a"], "name": ["bedroom"], "building_id": ["h-9"], "storey": [1]})
    >>> named = name_as_called({"buildings": house, "windows": window})
    >>> list(named["windows"]["name"]), name_as_called(named)["windows"].equals(named["windows"])
    (['No. 9, bedroom, upstairs'], True)
    """
    observers = observer_names(layers)
    by_layer = {
        "windows": ("window_id", observers),
        "onlookers": ("onlooker_id", observers),
        "buildings": ("building_id", house_names(layers.get("buildings"))),
        "private_places": ("place_id", place_names(layers.get("private_places"))),
        "views": ("view_id", view_names(layers)),
    }
    named = {}
    for layer, (key, names) in by_layer.items():
        if layer in layers and {"name", key} <= set(layers[layer]):
            frame = layers[layer]
            named[layer] = frame.assign(
                name=frame[key].astype("string").map(names).astype(frame["name"].dtype)
            )
    return {**layers, **named}


def target_called(kind: str, identifier: str, names: Mapping[str, str]) -> str:
    """Name what light falls on in a sentence that a file keeps: with the identifier beside the name.

    Examples
    --------
    >>> target_called("window", "9-wing", {"9-wing": "No. 9, workshop"}), target_called("garden", "LR-9", {})
    ('No. 9, workshop (9-wing)', 'garden LR-9')
    """
    name = names.get(identifier, "")
    return f"{name} ({identifier})" if name else f"{kind.replace('_', ' ')} {identifier}"


def _floor(storey: str, name: str) -> str:
    """Say on which floor a window is, if its name does not and it is not at the ground."""
    number = int(float(storey)) if storey else 0
    if number <= 0 or _FLOOR.search(name):
        return ""
    return ", upstairs" if number == 1 else f", {number} floors up"


def _in_words(identifier: str, kind: str) -> str:
    """Write an identifier in words: ``house-9`` is house 9, and 9 of a house too."""
    words = " ".join(re.split(r"[-_\s]+", identifier)).strip()
    kind = kind.replace("_", " ")
    return f"{kind} {words}".strip() if re.fullmatch(r"[\W\d]*|[a-z]?\d+", words) else words


def _rows(frame, *columns: str):
    """Give rows as texts; what is not there is empty."""
    if frame is None:
        return
    have = [name for name in columns if name in frame]
    for values in zip(*(frame[name] for name in have), strict=True):
        row = dict.fromkeys(columns, "")
        for name, value in zip(have, values, strict=True):
            row[name] = "" if _is_missing(value) else str(value).strip()
        yield row


def _is_missing(value: Any) -> bool:
    return value is None or type(value).__name__ == "NAType" or value != value
