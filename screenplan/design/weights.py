"""How much each view matters: the weight of its place, and what the plan says of it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from screenplan.contracts.tables import has_rows, identifiers, numbers
from screenplan.ground.errors import refuse
from screenplan.plan.design import Design
from screenplan.views.sight import view_name


def refuse_unknown(design: Design, layers: Mapping[str, Any]) -> None:
    """Refuse weights of a view, window, onlooker or place that there is not, open or not.

    Parameters
    ----------
    design : Design
    layers : mapping
        Of them windows, onlookers and private places.
    """
    places = identifiers(layers["private_places"], "place_id")
    observers = list(identifiers(layers["windows"], "window_id"))
    if has_rows(layers.get("onlookers")):
        observers += identifiers(layers["onlookers"], "onlooker_id")
    names = {*places, *observers, *(view_name(one, place) for one in observers for place in places)}
    for name in design.weights:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            raise refuse(
                f"there is no view, window, onlooker or place '{name}'",
                f"Did you mean {near[0]}?" if near else "Give names of the layers windows, onlookers, private_places or views",
                key=design.key("weights"),
            )  # fmt: skip


def view_weights(
    design: Design, places, views: Sequence[str], ends: Sequence[tuple[str, str]]
) -> np.ndarray:
    """Give the weight of each view, (views,).

    Parameters
    ----------
    design : Design
    places : GeoDataFrame
        Private places, whose column ``weight`` counts.
    views : sequence of str
        Names of the views that are open.
    ends : sequence of (str, str)
        Observer and place of each.
    """
    of_place = dict(
        zip(identifiers(places, "place_id"), numbers(places, "weight", 1.0), strict=True)
    )
    given = design.weights
    return np.array(
        [
            of_place.get(place, 1.0)
            * given.get(view, 1.0) * given.get(observer, 1.0) * given.get(place, 1.0)
            for view, (observer, place) in zip(views, ends, strict=True)
        ],
        float,
    )  # fmt: skip
