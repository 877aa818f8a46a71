"""Who looks at what, and what does not grow between them: laid once, whatever is planted.

Every step that follows rays takes them from here, so that they all speak of the same ones. A sight
may hold several subjects, each with observers, places and planting lines of its own; what stands
already stands in everybody's way. The planting lines, which a run cuts when it has a sight, only leave
out positions among the stems.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from screenplan.contracts import LOT
from screenplan.contracts.street import LOOKS_ONTO
from screenplan.ground.faults import Faults
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS
from screenplan.plan.planting import Views
from screenplan.site.ragged import numbered
from screenplan.site.terrain import Terrain
from screenplan.views.observers import (
    SAMPLES,
    Observers,
    at_windows,
    out_of_doors,
    refuse_same_names,
)
from screenplan.views.obstacles import Obstacles, lay_obstacles
from screenplan.views.samples import Samples
from screenplan.views.sampling import (
    COINCIDENT_M,
    Outdoors,
    Targets,
    move_to_ends,
    rays_through,
    sample_places,
)
from screenplan.views.stems import Stems
from screenplan.views.together import Ends, Rays, as_numbers, rays_of

#: The layers of which a sight is laid; all after the first two are optional.
LAYERS = ("windows", "private_places", "onlookers", "buildings", "existing_screens")
#: The keys of [views] by which it is laid.
LAID_BY = (
    "eye_inside", "eye_seated", "eye_standing", "eyes_across", "target_spacing", "onlooker_spacing",
    "onlooker_reach",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Look:
    """One observer who looks at one place: a view before anything is followed.

    Parameters
    ----------
    view_id, observer_id, place_id, kind : str
    middles : tuple of 2 arrays of 2 floats
        Of the observer and of the place, for the drawing.
    opening : record or None
        What is looked through, by `OPENING`.
    eyes, heads : ndarray, (n, 3)
        Ends of the rays.
    more_eyes, more_heads : ndarray, (n, 3)
        Those of the second, denser sample.
    is_single : bool
        Whether the place is a single position.
    """

    view_id: str
    observer_id: str
    place_id: str
    kind: str
    middles: tuple[np.ndarray, np.ndarray]
    opening: np.record | None
    eyes: np.ndarray
    heads: np.ndarray
    more_eyes: np.ndarray
    more_heads: np.ndarray
    is_single: bool

    def rays(self) -> tuple[np.ndarray, np.ndarray]:
        """Give the ends of all rays, (rays, 3) each."""
        return rays_through(self.opening, self.eyes, self.heads)

    def may_exist(self) -> bool:
        """Tell whether some of the place lies before the window, or within an onlooker's reach."""
        if self.opening is None:
            return bool(len(self.more_eyes))
        way = self.more_heads[:, :2] - self.middles[0]
        return bool((way @ np.array(self.opening.out) > 0.0).any())

    def is_glimpsed(self) -> bool:
        """Tell whether an eye at either end of the window's width sees some of the place.

        Where eyes between them do, one of those at the ends does: the strip of eyes that see a
        point through an opening is wider than the opening.
        """
        if self.opening is None:
            return False
        ends = move_to_ends(self.opening, self.more_eyes)
        return bool(len(rays_through(self.opening, ends, self.more_heads)[0]))


@dataclass(frozen=True, eq=False)
class Sight:
    """Who looks, at what, and what stands between that does not grow.

    Parameters
    ----------
    observers : Observers
    targets : Targets
    pairs : ndarray of int, (views, 2)
        Observer and place of every view: each of a subject's observers looks at each of its places, a window of a
        street (`LOOKS_ONTO`) at those of the lots that it looks onto.
    obstacles : Obstacles
    ground : Terrain
    within : tuple of 4 floats or None
        West, south, east, north of all eyes and targets; None on level ground, which goes on as far as anybody looks.
    """

    observers: Observers
    targets: Targets
    pairs: np.ndarray
    obstacles: Obstacles
    ground: Terrain
    within: tuple[float, float, float, float] | None

    def looks(self) -> Iterator[Look]:
        """Every view, in the order of ``pairs``."""
        observers, targets = self.observers, self.targets
        for observer, place in self.pairs:
            single = bool(targets.single[place])
            yield Look(
                view_name(observers.ids[observer], targets.ids[place]),
                observers.ids[observer],
                targets.ids[place],
                observers.kind[observer],
                (observers.middle[observer], targets.middle[place]),
                observers.opening(observer),
                observers.eyes[single, False].row(observer),
                targets.coarse.row(place),
                observers.eyes[single, True].row(observer),
                targets.dense.row(place),
                single,
            )

    def rays(self) -> Iterator[tuple[int, str, np.ndarray, np.ndarray, np.ndarray]]:
        """Rays of every view that has any.

        Yields
        ------
        number, view_id : int, str
            The view's number among ``pairs``, and its identifier.
        origin, target : ndarray, (rays, 3)
            Ends of the rays.
        light : ndarray, (rays,)
            Share of each ray's light that what exists lets through.
        """
        for rays, light in self.lit():
            starts = np.flatnonzero(np.diff(rays.view, prepend=-1))
            for first, last in zip(starts, [*starts[1:], len(light)], strict=True):
                number, mine = int(rays.view[first]), slice(first, last)
                name = self.name(number)
                yield number, name, rays.origin[mine], rays.target[mine], light[mine]

    def lit(self) -> Iterator[tuple[Rays, np.ndarray]]:
        """Rays of several views at a time, all of each, and the share of each one's light that what exists lets through."""
        ends = self.ends()
        for first, last in ends.batches():
            rays = rays_of(ends.only(first, last))
            if len(rays.view):
                light = self.obstacles.light_left(rays.origin, rays.target)[0]
                yield rays._replace(view=rays.view + first), light

    def name(self, view: int) -> str:
        """Give the identifier of a view, by its number among ``pairs``."""
        observer, place = self.pairs[view]
        return view_name(self.observers.ids[observer], self.targets.ids[place])

    def ends(self, *, finer: bool = False, upright: bool = False) -> Ends:
        """Give the ends of the rays of every view, of the second, denser sample if asked for.

        With ``upright`` heads above each other follow each other, as eyes behind a window do (`lit_rays`).
        """
        observer, place = self.pairs.T
        single = self.targets.single[place]
        few = many = self.observers.eyes[False, finer]
        if single.any():
            many = self.observers.eyes[True, finer]
        heads = self.targets.dense if finer else self.targets.coarse
        eye = [
            np.where(single, many.first[at] + len(few.xyz), few.first[at])
            for at in (observer, observer + 1)
        ]
        return Ends(
            as_numbers(self.observers.openings),
            observer,
            np.concatenate([few.xyz, many.xyz]) if single.any() else few.xyz,
            np.column_stack(eye),
            heads.upright() if upright else heads.xyz,
            np.column_stack([heads.first[place], heads.first[place + 1]]),
        )


def view_name(observer_id: str, place_id: str) -> str:
    """Give the identifier of a view.

    Examples
    --------
    >>> view_name("w1", "terrace")
    'w1 to terrace'
    """
    return f"{observer_id} to {place_id}"


def sight_of(
    layers: Mapping[str, Any], views: Views, terrain: Terrain | None, kept: Kept | None
) -> Sight:
    """Lay a sight, or give the one that the run has laid of the same layers.

    It is the same one whether windows are set apart, and whether the planting lines are cut, unless a
    line keeps people away where the cut one does not.
    """
    if kept is None:
        return lay_sight(layers, views, terrain)
    looked = tuple((name, getattr(views, name)) for name in LAID_BY)
    parts = {name: layers.get(name) for name in LAYERS}
    parts["windows"] = layers["windows"].drop(columns="set_apart", errors="ignore")
    every = kept(_lay_every, looked, terrain, *parts.values())
    return kept(off_rows, every, layers.get("planting_lines"))


def _lay_every(looked: tuple[tuple[str, Any], ...], terrain: Terrain | None, *parts) -> Sight:
    views = DEFAULTS.views.model_copy(update=dict(looked))
    return lay_every(dict(zip(LAYERS, parts, strict=True)), views, terrain)


def lay_sight(
    layers: Mapping[str, Any],
    views: Views = DEFAULTS.views,
    terrain: Terrain | None = None,
    subjects: Mapping[str, Any] | None = None,
    spacing_m: np.ndarray | None = None,
) -> Sight:
    """Sample who looks and what is looked at, and make ready what stands between.

    Parameters
    ----------
    layers : mapping
        Those of `LAYERS` and planting lines, if there are any, by their contracts, in local-frame metres.
    views : Views
        How densely, and where eyes are: the plan's section.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    subjects : mapping, optional
        The subject of each row of windows, onlookers, private places and planting lines, as arrays
        of int by layer; by default all rows are one subject's.
    spacing_m : ndarray, (private places,), optional
        Distance between the points of each place that are looked at; by default that of ``views``.

    Raises
    ------
    InputError
        As `lay_every` and `off_rows` say.
    """
    every = lay_every(layers, views, terrain, subjects, spacing_m)
    return off_rows(every, layers.get("planting_lines"), (subjects or {}).get("planting_lines"))


def lay_every(
    layers: Mapping[str, Any],
    views: Views = DEFAULTS.views,
    terrain: Terrain | None = None,
    subjects: Mapping[str, Any] | None = None,
    spacing_m: np.ndarray | None = None,
) -> Sight:
    """Lay a sight as if nothing were planted, so that people may be anywhere outside the buildings.

    The parameters are those of `lay_sight`.

    Raises
    ------
    InputError
        By row; see `openings_of`, `onlooker_eyes`, `sample_places` and `lay_obstacles`. Also where an
        onlooker has the identifier of a window.
    """
    layers = {name: layers.get(name) for name in LAYERS}
    subjects = {
        name: np.asarray(
            (subjects or {}).get(name, np.zeros(0 if layer is None else len(layer), int))
        )
        for name, layer in layers.items()
    }
    ground = Terrain.flat() if terrain is None else terrain
    outdoors = Outdoors(layers["buildings"])
    observers = at_windows(layers, views, ground, subjects)
    targets = sample_places(
        layers["private_places"], outdoors, ground,
        spacing_m=views.target_spacing if spacing_m is None else spacing_m,
        subject=subjects["private_places"],
    )  # fmt: skip
    if layers["onlookers"] is not None and len(layers["onlookers"]):
        observers = observers.followed_by(out_of_doors(layers, views, outdoors, ground, subjects))
        refuse_same_names(observers, len(layers["windows"]))
    pairs = _pairs(observers, targets, layers)
    within = None if ground.is_flat else _reach_of(observers, targets)
    obstacles = lay_obstacles(layers["buildings"], layers["existing_screens"], ground, within)
    return Sight(observers, targets, pairs, obstacles, ground, within)


def _reach_of(observers: Observers, targets: Targets) -> tuple[float, float, float, float] | None:
    """Give the west, south, east and north of all eyes and targets, if there are any."""
    eyes = (observers.eyes[key].xyz for key in SAMPLES)
    ends = np.concatenate([targets.dense.xyz, *eyes])[:, :2]
    return (*ends.min(axis=0), *ends.max(axis=0)) if len(ends) else None


def _pairs(observers: Observers, targets: Targets, layers: Mapping[str, Any]) -> np.ndarray:
    """Pair each of a subject's observers with each of its places; of a street a window with the lots that it looks onto."""
    by = np.argsort(targets.subject, kind="stable")
    first, last = (
        np.searchsorted(targets.subject[by], observers.subject, side) for side in ("left", "right")
    )
    of, number = numbered(last - first)
    pairs = np.column_stack([of, by[first[of] + number]])
    windows, places = layers["windows"], layers["private_places"]
    if LOOKS_ONTO not in windows.columns or LOT.name not in places.columns:
        return pairs
    onto, lots = windows[LOOKS_ONTO].to_list(), places[LOT.name].to_list()
    looks = [
        observer >= len(onto) or lots[place] in onto[observer] for observer, place in pairs.tolist()
    ]
    return pairs[np.array(looks, bool)]


def off_rows(every: Sight, planting_lines=None, subject=None) -> Sight:
    """Leave out heads and onlookers among the stems; each subject's lines keep only its own people away.

    Parameters
    ----------
    every : Sight
        Laid as if nothing were planted.
    planting_lines : GeoDataFrame, optional
        Layer of the contract; by default there are none.
    subject : array of int, (planting lines,), optional
        The subject for which each line is planted; by default one.

    Returns
    -------
    Sight
        The same object if nobody is among the stems.

    Raises
    ------
    InputError
        By row: a line that has no length, a private place or an onlooker on a line all over, and a place
        where an eye and a target coincide.
    """
    observers, targets = every.observers, every.targets
    if planting_lines is not None:
        _check_lines(planting_lines)
        lines = Stems.of(planting_lines, subject)
        observers, targets = observers.off(lines), targets.off(lines)
    refuse_coincident(observers, targets, every.pairs)
    if observers is every.observers and targets is every.targets:
        return every
    return replace(every, observers=observers, targets=targets)


def refuse_coincident(observers: Observers, targets: Targets, pairs) -> None:
    """Refuse a place that lies in a window, in an eye behind it, or in an onlooker.

    Raises
    ------
    InputError
        With the rows of the places, naming the window or onlooker.
    """
    faults = Faults("private_places")
    indoors = ~np.isnan(observers.openings.x)
    heads = targets.coarse
    for observer, place in _near_pairs(observers, heads, pairs).tolist():
        points = observers.most_eyes(observer)[:, :2]
        if indoors[observer]:
            points = np.vstack([observers.middle[observer], points])
        apart = points[:, None] - heads.row(place)[:, :2]
        if (np.hypot(apart[..., 0], apart[..., 1]) <= COINCIDENT_M).any():
            name = observers.ids[observer]
            what = f"window {name} or an eye behind it" if indoors[observer] else f"onlooker {name}"
            faults.note(
                place,
                f"a private place has the same position as {what}",
                "Move one of the two: an eye and what it looks at cannot coincide",
            )
    faults.raise_any()


def _near_pairs(observers: Observers, heads: Samples, pairs: np.ndarray) -> np.ndarray:
    """Give the pairs of which a head may be where the observer looks from, (n, 2): the boxes of both meet."""
    if not len(pairs):
        return pairs
    observer, place = pairs.T
    # The eyes for a place that is a single position stand nearer to the jambs than these do.
    half = np.nan_to_num(observers.openings["half_width_m"])[:, None] + COINCIDENT_M
    low, high = observers.eyes[False, False].extents()
    low, high = np.minimum(low, observers.middle) - half, np.maximum(high, observers.middle) + half
    least, most = heads.extents()
    near = (low[observer] <= most[place]) & (high[observer] >= least[place])
    return pairs[near[:, 0] & near[:, 1]]


def _check_lines(planting_lines) -> None:
    shapes = planting_lines.geometry.to_numpy()
    wrong = shapely.is_missing(shapes) | (shapely.get_type_id(shapes) != 1)
    wrong |= ~(shapely.length(shapes) > 0.0)
    says = "a planting line is no line with a length"
    mend = "Give each a single line from its zero peg to its end peg"
    Faults("planting_lines", (wrong, says, mend)).raise_any()
