"""Windows that are set apart: no screen is planned against them, though their views count as open.

Nobody is taken to look out of a shed or a garage. And where a wall is too near to the parcel's line and
to the private place, no plant stands between that is tall enough.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.apart import NO_ROOM, NOT_LIVED_IN, REASONS, TOO_HIGH
from screenplan.contracts.called import observer_names
from screenplan.contracts.tables import with_notes
from screenplan.ground.texts import first_few
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.planting.zones import size_judged, under_rule
from screenplan.rules.ruleset import Rule, load_rules
from screenplan.site.facades import building_names, is_lived_in
from screenplan.site.ownership import outline_known, subject_outline
from screenplan.site.shaping import column_or
from screenplan.site.terrain import Terrain

#: Windows that a note names.
MOST_NAMED = 10


def set_windows_apart(
    windows: gpd.GeoDataFrame,
    parcels: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    rules: Sequence[Rule] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Set windows apart against which no screen is planned, with the reason.

    A window is set apart if its building is not lived in, or if for every private place one of these
    holds: no kind of plant has room between its wall and the place, or each that has stays below the
    line from its sill to the farthest spot of the place. A kind has room if it keeps its setbacks from
    the wall and from the parcel's line, and half its width from the place; the straight way from window
    to place counts. A reason of the person's own words stays. Its views are followed as any others are, and stay open unless something closes them.

    Parameters
    ----------
    windows, parcels, private_places : GeoDataFrame
        By their contracts, in local-frame metres.
    buildings : GeoDataFrame, optional
        Of them the kind.
    plan : Options, optional
        Of it how far the boundary may be out.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    rules : sequence of Rule, optional
        By default the shipped rules.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    GeoDataFrame
        The windows, with ``set_apart`` filled; ``attrs["notes"]`` says which and why.
    """
    rules = load_rules() if rules is None else tuple(rules)
    kinds = tuple((load_species() if species_table is None else species_table).values())
    given = column_or(windows, "set_apart")
    reasons = np.full(len(windows), None, dtype=object)
    if outline_known(parcels) and len(private_places) and len(windows):
        room = _Room(subject_outline(parcels), rules, kinds, plan.site.boundary_accuracy)
        reasons = _too_near(windows, private_places, room, plan, terrain or Terrain.flat())
    reasons[_in_sheds(windows, buildings)] = NOT_LIVED_IN
    own = np.array([said is not None and said not in REASONS for said in given], dtype=bool)
    reasons[own] = given[own]
    names = observer_names({"windows": windows, "buildings": buildings})
    called = windows["window_id"].astype(str).map(names).to_numpy()
    notes = []
    for reason, why in _WHY.items():
        apart = list(called[reasons == reason])
        if apart:
            notes.append(
                f"{'1 window is' if len(apart) == 1 else f'{len(apart)} windows are'} set apart, because {why}: "
                f"{first_few(apart, MOST_NAMED, '; ')}; their views count as open until they close"
            )
    return with_notes(
        windows.assign(
            set_apart=pd.Series(reasons, index=windows.index, dtype=windows["window_id"].dtype)
        ),
        notes,
    )


_WHY = {
    NOT_LIVED_IN: "nobody is taken to look out of a building that is not lived in",
    NO_ROOM: "no plant has room between wall and private place, with its setbacks from the wall and the parcel's line",
    TOO_HIGH: "every plant that has room between wall and private place stays below the sight lines",
}


class _Room:
    """What each kind of plant asks for: its height, its width, and its distances from line and wall."""

    def __init__(self, subject, rules, kinds: Sequence[Species], accuracy_m: float):
        self.subject = subject
        sizes = [(kind.final_height("high"), kind.final_width("high") / 2.0) for kind in kinds]
        self.height, self.half = np.array(sizes).T
        self.line = accuracy_m + np.array([_distance(kind, rules, "boundary") for kind in kinds])
        self.wall = np.array([_distance(kind, rules, "building") for kind in kinds])


def _distance(kind: Species, rules, feature: str) -> float:
    """Distance from a thing to the stem, metres; the hole of the smallest stock counts as none."""
    found = 0.0
    for rule in rules:
        if rule.concerns(feature) and under_rule(rule, kind):
            found = max(found, rule.stem_distance_m(*size_judged(rule, kind), 0.0))
    return found


def _too_near(windows, places, room: _Room, plan: Options, ground: Terrain) -> np.ndarray:
    points = windows.geometry.to_numpy()
    to_line = shapely.distance(points, room.subject)
    sill = windows["sill_m"].to_numpy(float)
    # What the room's floor is above the building's datum, the sill is less above the floor.
    rise = np.minimum(windows["storey"].to_numpy(float) * plan.site.storey_height, sill)
    sill_z = windows["floor_m"].to_numpy(float) + sill - rise
    decks, heads = column_or(places, "deck_m", 0.0), column_or(places, "eye_seated_m", 1.2)
    every = []
    for shape, deck, head in zip(places.geometry, decks, heads, strict=True):
        near = shapely.distance(points, shape)
        far = _farthest(points, shape)
        middle = shape.centroid
        level = float(ground.height_at(middle.x, middle.y))
        every.append(_judge(room, to_line, near, far, sill_z - level, float(deck) + float(head)))
    # A screen before one of the places is a screen: the least reason counts.
    order = {None: 0, TOO_HIGH: 1, NO_ROOM: 2}
    return np.array(
        [min(of, key=lambda reason: order[reason]) for of in zip(*every, strict=True)], dtype=object
    )


def _judge(room: _Room, to_line, near, far, sill, head: float) -> list[str | None]:
    """Tell of each window what keeps every kind of plant from standing between it and a place."""
    first = np.maximum(to_line[:, None] + room.line, room.wall)
    last = near[:, None] - room.half
    fits = first <= last
    # The line from the sill to a head at the far end is straight: it is lowest at one end of the room.
    fall = (sill - head)[:, None] / far[:, None]
    lowest = sill[:, None] - np.maximum(fall * first, fall * last)
    tall = fits & (room.height >= lowest)
    return [
        None if good else TOO_HIGH if some else NO_ROOM
        for good, some in zip(tall.any(axis=1), fits.any(axis=1), strict=True)
    ]


def _farthest(points: np.ndarray, shape) -> np.ndarray:
    corners = shapely.points(shapely.get_coordinates(shape))
    return shapely.distance(points[:, None], corners).max(axis=1)


def _in_sheds(windows, buildings) -> np.ndarray:
    if buildings is None or not len(buildings):
        return np.zeros(len(windows), dtype=bool)
    names = np.array(building_names(buildings))
    sheds = set(names[~is_lived_in(column_or(buildings, "kind", "house"))])
    return windows["building_id"].astype(object).isin(sheds).to_numpy()
