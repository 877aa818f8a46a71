"""The rays of the views that are open today: what plants are planted against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np

from screenplan.contracts.tables import has_rows
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.sight import Sight


@dataclass(frozen=True, eq=False)
class Rays:
    """The rays of the views that are open today.

    Parameters
    ----------
    views : list of str
        Names of the views.
    observers, places : list of str
        Who looks from where, by view.
    now : ndarray, (views,)
        Share of each view's light that is open today.
    view : ndarray of int, (rays,)
        The view of each ray, in rising order.
    light : ndarray, (rays,)
        Share of its view's light.
    origin, target : ndarray, (rays, 3)
    """

    views: list[str]
    observers: list[str]
    places: list[str]
    now: np.ndarray
    view: np.ndarray
    light: np.ndarray
    origin: np.ndarray
    target: np.ndarray


def open_rays(sight: Sight, threshold: float) -> Rays:
    """Collect the rays of the views that are open: those of which more than the threshold passes."""
    looks = list(sight.looks())
    names: list[str] = []
    who, where, now, parts = [], [], [], []
    for number, view_id, origin, target, light in sight.rays():
        is_open = light > 0.0
        share = float(light.sum()) / len(light)
        if not round(share, 12) > threshold:
            continue
        parts.append(
            (
                np.full(is_open.sum(), len(names)), light[is_open] / len(light), origin[is_open],
                target[is_open],
            )
        )  # fmt: skip
        names.append(view_id)
        who.append(looks[number].observer_id)
        where.append(looks[number].place_id)
        now.append(share)
    none = (np.zeros(0, int), np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    view, light, origin, target = (np.concatenate(part) for part in zip(none, *parts, strict=True))
    return Rays(names, who, where, np.array(now), view, light, origin, target)


def standing_screens(layers: Mapping[str, Any]) -> gpd.GeoDataFrame | None:
    """Give the existing screens that stand today: without new ones, which a run puts among them.

    Parameters
    ----------
    layers : mapping
        Of it existing screens, and new screens if there are any.
    """
    new, screens = layers.get("new_screens"), layers.get("existing_screens")
    if not has_rows(new) or screens is None:
        return screens
    return screens.loc[~screens["screen_id"].isin(new["piece_id"]).to_numpy(bool)]


def shares_before(sight: Sight, layers: Mapping[str, Any]) -> np.ndarray | None:
    """Give the open share of each view before new screens are built, (views,); NaN without a ray.

    Parameters
    ----------
    sight : Sight
        With them among the existing screens.
    layers : mapping
        Of it new screens, existing screens and buildings.

    Returns
    -------
    ndarray or None
        None if nothing is built.
    """
    if not has_rows(layers.get("new_screens")):
        return None
    before = lay_obstacles(layers.get("buildings"), standing_screens(layers), sight.ground, sight.within)  # fmt: skip
    shares = np.full(len(sight.pairs), np.nan)
    for number, _, _, _, light in replace(sight, obstacles=before).rays():
        shares[number] = light.sum() / len(light)
    return shares
