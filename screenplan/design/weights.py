"""How much each view matters: the weight of its place, and what the plan says of it."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np

from screenplan.contracts.tables import identifiers, numbers
from screenplan.ground.errors import refuse
from screenplan.plan.design import Design


def view_weights(
    design: Design,
    places,
    views: Sequence[str],
    ends: Sequence[tuple[str, str]],
    known: Sequence[str] = (),
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
    known : sequence of str
        Other names of windows, onlookers, places and views that there are, open or not.

    Raises
    ------
    InputError
        If the plan weighs a view, window, onlooker or place that there is not.
    """
    of_place = dict(
        zip(identifiers(places, "place_id"), numbers(places, "weight", 1.0), strict=True)
    )
    names = {*known, *views, *(name for pair in ends for name in pair)}
    for name in design.weights:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1)
            raise refuse(
                f"there is no view, window, onlooker or place '{name}'",
                f"Did you mean {near[0]}?" if near else "Give names of the layers windows, onlookers, private_places or views",
                key=design.key("weights"),
            )  # fmt: skip
    given = design.weights
    return np.array(
        [
            of_place.get(place, 1.0)
            * given.get(view, 1.0) * given.get(observer, 1.0) * given.get(place, 1.0)
            for view, (observer, place) in zip(views, ends, strict=True)
        ],
        float,
    )  # fmt: skip
