"""Who looks at what: windows and onlookers on one side, private places on the other.

Every step that follows rays takes its eyes, its targets and what stands between them from here, so
that they all speak of the same rays.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.site.terrain import Terrain
from screenplan.views.obstacles import Obstacles, identifiers, lay_obstacles
from screenplan.views.onlookers import onlooker_eyes
from screenplan.views.openings import Opening, openings_of
from screenplan.views.sampling import (
    COINCIDENT_M,
    Place,
    eyes_behind,
    move_to_ends,
    rays_through,
    sample_places,
)

#: Eye positions that the second, denser sample has more over the width of a window.
MORE_ACROSS = 2
#: Times as many eye positions for a place that is a single position.
SINGLE_ACROSS = 4
#: What `Looker.kind` says of a window.
WINDOW = "window"
#: What leaves may be taken for.
LEAVES = ("opaque", "translucent")
#: Distances between eyes and targets that are worked on at a time.
BLOCK = 4_000_000


@dataclass(frozen=True)
class Sampling:
    """How densely eyes and targets are laid, checked on creation.

    Parameters
    ----------
    eye_inside_m : float
        Distance of the eyes behind the outer face of the wall.
    eye_seated_m, eye_standing_m : float
        Heights of the eyes above the floor of the room.
    eyes_across : int
        Eye positions over the width of a window.
    target_spacing_m : float
        Distance between positions in a place.
    most_targets : int
        Positions in a place at most, about.
    onlooker_spacing_m : float
        Distance between positions along an onlooker's way.
    onlooker_reach_m : float
        Onlookers farther than this from every place are left out.
    """

    eye_inside_m: float = 1.0
    eye_seated_m: float = 1.2
    eye_standing_m: float = 1.6
    eyes_across: int = 3
    target_spacing_m: float = 1.0
    most_targets: int = 100
    onlooker_spacing_m: float = 5.0
    onlooker_reach_m: float = 60.0

    def __post_init__(self):
        for name in ("eye_inside", "eye_seated", "eye_standing"):
            value = getattr(self, f"{name}_m")
            if not (np.isfinite(value) and value >= 0.0):
                raise refuse(
                    f"{value} m is no length here",
                    "Give a length of 0 m or more",
                    key=f"views.{name}",
                )
        for name in ("onlooker_spacing", "onlooker_reach"):
            value = getattr(self, f"{name}_m")
            if not (np.isfinite(value) and value > 0.0):
                raise refuse(
                    f"{value} m is no length here", "Give a length above 0 m", key=f"views.{name}"
                )
        dense = np.isfinite(self.target_spacing_m) and self.target_spacing_m > 0.0
        if self.eyes_across < 1 or self.most_targets < 1 or not dense:
            raise refuse(
                "the sampling has no points",
                "Give at least one eye across and one target, and views.target_spacing above 0",
                key="views.eyes_across",
            )


@dataclass(frozen=True)
class Looker:
    """A window or an onlooker.

    Parameters
    ----------
    looker_id, kind : str
        Its identifier, and "window" or the onlooker's kind.
    middle : tuple of 2 floats
        For the drawing.
    opening : Opening or None
        What it looks through; onlookers look through nothing.
    eyes : mapping
        By (whether the place is a single position, whether the sample is the denser one).
    """

    looker_id: str
    kind: str
    middle: tuple[float, float]
    opening: Opening | None
    eyes: Mapping[tuple[bool, bool], np.ndarray]

    def may_see(self, place: Place) -> bool:
        """Tell whether some of a place lies before the window."""
        if self.opening is None:
            return bool(len(self.eyes[False, True]))
        way = place.dense[:, :2] - self.middle
        return bool((way @ np.array(self.opening.out) > 0.0).any())

    def glimpses(self, place: Place) -> bool:
        """Tell whether an eye at either end of the window's width sees some of a place.

        Where eyes between them do, one of those at the ends does: the strip of eyes that see a
        point through an opening is wider than the opening.
        """
        if self.opening is None:
            return False
        eyes = self.eyes[place.is_single, True]
        ends = move_to_ends(self.opening, eyes)
        return bool(len(rays_through(self.opening, ends, place.dense)[0]))


@dataclass(frozen=True)
class Setting:
    """Who looks, at what, and what stands between already.

    Parameters
    ----------
    lookers : list of Looker
    places : list of Place
    place_ids : list of str
    obstacles : Obstacles
    ground : Terrain
    within : tuple of 4 floats or None
        West, south, east, north of all eyes and targets.
    """

    lookers: list[Looker]
    places: list[Place]
    place_ids: list[str]
    obstacles: Obstacles
    ground: Terrain
    within: tuple[float, float, float, float] | None

    def pairs(self) -> Iterator[tuple[str, Looker, Place, str]]:
        """Every view: its identifier, who looks, the place and the place's identifier."""
        for looker in self.lookers:
            for place, place_id in zip(self.places, self.place_ids, strict=True):
                yield f"{looker.looker_id} to {place_id}", looker, place, place_id

    def rays(self) -> Iterator[tuple[int, str, np.ndarray, np.ndarray, np.ndarray]]:
        """Rays of every view that has any, from the sample that `trace_views` takes.

        Yields
        ------
        number, view_id : int, str
            The view, counted from 0, and its identifier.
        origin, target : ndarray, (rays, 3)
            Ends of the rays.
        light : ndarray, (rays,)
            Share of each ray's light that what exists lets through.
        """
        for number, (view_id, looker, place, _) in enumerate(self.pairs()):
            eyes = looker.eyes[place.is_single, False]
            origin, target = rays_through(looker.opening, eyes, place.coarse)
            if len(origin):
                yield number, view_id, origin, target, self.obstacles.light_left(origin, target)[0]


def lay_setting(
    windows,
    private_places,
    planting_lines,
    onlookers=None,
    buildings=None,
    existing_screens=None,
    terrain=None,
    *,
    sampling: Sampling,
) -> Setting:
    """Sample who looks and what is looked at, and make ready what stands between.

    Parameters
    ----------
    windows, private_places, planting_lines, onlookers, buildings, existing_screens : GeoDataFrame
        Layers of the contracts; the last three are optional.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    sampling : Sampling
        How densely.

    Raises
    ------
    InputError
        By row; see `openings_of`, `onlooker_eyes`, `sample_places` and `lay_obstacles`. Also where
        an eye and a target coincide, and where an onlooker has the identifier of a window.
    """
    _check_lines(planting_lines)
    ground = Terrain.flat() if terrain is None else terrain
    lookers = _windows(windows, buildings, ground, sampling)
    places = sample_places(
        private_places, buildings, planting_lines, ground,
        spacing_m=sampling.target_spacing_m, most=sampling.most_targets,
    )  # fmt: skip
    if onlookers is not None and len(onlookers):
        lookers += _onlookers(
            onlookers, private_places, buildings, planting_lines, ground, sampling,
            {looker.looker_id for looker in lookers},
        )  # fmt: skip
    refuse_coincident(lookers, places)
    ends = [place.dense[:, :2] for place in places]
    ends += [eyes[:, :2] for looker in lookers for eyes in looker.eyes.values()]
    ends = np.concatenate(ends) if ends else np.zeros((0, 2))
    within = (*ends.min(axis=0), *ends.max(axis=0)) if len(ends) else None
    obstacles = lay_obstacles(buildings, existing_screens, ground, within)
    place_ids = identifiers(private_places, "place_id")
    return Setting(lookers, places, place_ids, obstacles, ground, within)


def refuse_coincident(lookers: list[Looker], places: list[Place]) -> None:
    """Refuse a place that lies in a window, in an eye behind it, or in an onlooker.

    Raises
    ------
    InputError
        With the rows of the places, naming the window or onlooker.
    """
    problems = []
    for looker in lookers:
        at = looker.eyes[True, False][:, :2]
        if looker.opening is not None:
            at = np.vstack([looker.middle, at])
        for row, place in enumerate(places):
            heads = np.unique(place.coarse[:, :2], axis=0)
            if len(at) and _nearest(at, heads) <= COINCIDENT_M:
                what = (
                    f"window {looker.looker_id} or an eye behind it"
                    if looker.opening is not None
                    else f"onlooker {looker.looker_id}"
                )
                problems.append(
                    Problem(
                        f"a private place has the same position as {what}",
                        "Move one of the two: an eye and what it looks at cannot coincide",
                        layer="private_places",
                        rows=[row + 1],
                    )
                )
    if problems:
        raise InputError(problems)


def _nearest(one, two) -> float:
    step = max(BLOCK // max(len(two), 1), 1)
    return min(
        float(np.hypot(*np.moveaxis(one[k : k + step, None] - two, 2, 0)).min())
        for k in range(0, len(one), step)
    )


def _windows(windows, buildings, ground, sampling: Sampling) -> list[Looker]:
    heights = (sampling.eye_seated_m, sampling.eye_standing_m)
    openings = openings_of(windows, buildings, ground, eye_standing_m=max(heights))
    lookers = []
    for looker_id, opening in zip(identifiers(windows, "window_id"), openings, strict=True):
        # A place of one position is seen from more eyes, so that its shares are not coarse.
        eyes = {
            (single, finer): eyes_behind(
                opening,
                inside_m=sampling.eye_inside_m,
                heights_m=heights,
                across=sampling.eyes_across * (SINGLE_ACROSS if single else 1)
                + (MORE_ACROSS if finer else 0),
            )
            for single in (False, True)
            for finer in (False, True)
        }
        lookers.append(Looker(looker_id, WINDOW, (opening.x, opening.y), opening, eyes))
    return lookers


def _onlookers(
    onlookers, private_places, buildings, planting_lines, ground, sampling, taken
) -> list[Looker]:
    names = identifiers(onlookers, "onlooker_id")
    twice = [row + 1 for row, name in enumerate(names) if name in taken]
    if twice:
        raise refuse(
            f"an onlooker has the identifier of a window, {names[twice[0] - 1]}",
            "Give each onlooker an onlooker_id of its own",
            layer="onlookers",
            rows=twice,
        )
    kinds = (
        onlookers["kind"].astype("string").fillna("path").to_list()
        if "kind" in onlookers.columns
        else ["path"] * len(onlookers)
    )
    sampled = onlooker_eyes(
        onlookers, private_places, buildings, planting_lines, ground,
        spacing_m=sampling.onlooker_spacing_m, reach_m=sampling.onlooker_reach_m,
    )  # fmt: skip
    lookers = []
    for name, kind, shape, (coarse, dense) in zip(
        names, kinds, onlookers.geometry, sampled, strict=True
    ):
        middle = _middle(shape, coarse)
        eyes = {
            (single, finer): dense if finer else coarse for single in (0, 1) for finer in (0, 1)
        }
        lookers.append(Looker(name, kind, middle, None, eyes))
    return lookers


def _middle(shape, eyes) -> tuple[float, float]:
    """Give the position that is nearest to the middle of all that count."""
    if not len(eyes):
        point = shape.representative_point()
        return (point.x, point.y)
    xy = eyes[:, :2]
    nearest = xy[np.argmin(np.hypot(*(xy - xy.mean(axis=0)).T))]
    return (float(nearest[0]), float(nearest[1]))


def _check_lines(planting_lines) -> None:
    shapes = planting_lines.geometry.to_numpy()
    wrong = shapely.is_missing(shapes) | (shapely.get_type_id(shapes) != 1)
    wrong |= ~(shapely.length(shapes) > 0.0)
    if wrong.any():
        raise refuse(
            "a planting line is no line with a length",
            "Give each a single line from its zero peg to its end peg",
            layer="planting_lines",
            rows=[int(row) + 1 for row in np.flatnonzero(wrong)],
        )
