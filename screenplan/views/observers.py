"""Who looks: from windows, and out of doors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from screenplan.contracts.tables import identifiers
from screenplan.ground.errors import refuse
from screenplan.ground.faults import Faults
from screenplan.plan.planting import Views
from screenplan.views.onlookers import onlooker_eyes
from screenplan.views.openings import OPENING, openings_of
from screenplan.views.samples import Samples
from screenplan.views.sampling import Outdoors, by_subject, eyes_behind_each
from screenplan.views.stems import Stems, off_lines

#: Eye positions that the second, denser sample has more over the width of a window.
MORE_ACROSS = 2
#: Times as many eye positions for a place that is a single position.
SINGLE_ACROSS = 4
#: The kind of observers at windows.
WINDOW = "window"
#: Samples of eyes: whether for a place that is a single position, and whether the denser one.
SAMPLES = [(single, finer) for single in (False, True) for finer in (False, True)]
#: The subject of those whom no planting line keeps away: who looks out of a window.
NOBODY = -1
_ON_LINE = ("an onlooker is on a planting line all over", "Draw it where people are, off the row")


@dataclass(frozen=True, eq=False)
class Observers:
    """Windows and onlookers, sampled: a row each.

    Parameters
    ----------
    ids : list of str
    kind : list of str
        "window" or the onlooker's kind.
    subject : ndarray of int, (observers,)
    middle : ndarray, (observers, 2)
        For the drawing.
    openings : recarray of `OPENING`, (observers,)
        What each looks through; NaN for onlookers, who look through nothing.
    eyes : mapping
        `Samples` by the keys of `SAMPLES`; behind windows they are laid when they are asked for.
    """

    ids: list[str]
    kind: list[str]
    subject: np.ndarray
    middle: np.ndarray
    openings: np.recarray
    eyes: Mapping[tuple[bool, bool], Samples]

    def most_eyes(self, row: int) -> np.ndarray:
        """Give the eyes from which one looks at a place that is a single position, (eyes, 3)."""
        key = (True, False)
        eyes = self.eyes
        return eyes.behind(row, key) if isinstance(eyes, EyesBehind) else eyes[key].row(row)

    def opening(self, row: int) -> np.record | None:
        """Give what one looks through; None if nothing."""
        opening = self.openings[row]
        return None if np.isnan(opening.x) else opening

    def off(self, lines: Stems) -> Observers:
        """Give the onlookers who are not among the stems of their own lines; windows stay as they are."""
        indoors = ~np.isnan(self.openings.x)
        if indoors.all():
            return self
        whose = np.where(indoors, NOBODY, self.subject)
        eyes = {key: off_lines(samples, lines, whose) for key, samples in self.eyes.items()}
        if all(eyes[key] is samples for key, samples in self.eyes.items()):
            return self
        some = self.eyes[SAMPLES[0]].counts > 0
        gone = some & np.any([samples.counts == 0 for samples in eyes.values()], axis=0)
        Faults("onlookers", (gone[~indoors], *_ON_LINE)).raise_any()
        middle = self.middle.copy()
        for row in np.flatnonzero(some & ~indoors).tolist():
            middle[row] = _middle_of(eyes[SAMPLES[0]].row(row))
        return replace(self, middle=middle, eyes=eyes)

    def followed_by(self, other: Observers) -> Observers:
        """Give these observers and then others."""
        return Observers(
            self.ids + other.ids,
            self.kind + other.kind,
            np.concatenate([self.subject, other.subject]),
            np.concatenate([self.middle, other.middle]),
            np.concatenate([self.openings, other.openings]).view(np.recarray),
            {key: eyes.followed_by(other.eyes[key]) for key, eyes in self.eyes.items()},
        )


class EyesBehind(Mapping):
    """Eyes behind windows by the keys of `SAMPLES`, each laid when it is first asked for."""

    def __init__(self, openings: np.recarray, views: Views):
        self._openings, self._views = openings, views
        self._laid: dict[tuple[bool, bool], Samples] = {}

    def __getitem__(self, key: tuple[bool, bool]) -> Samples:
        if key not in self._laid:
            self._laid[key] = self._lay(self._openings, *key)
        return self._laid[key]

    def behind(self, row: int, key: tuple[bool, bool]) -> np.ndarray:
        """Give the eyes behind one window, (eyes, 3), without laying those of all."""
        return self._lay(self._openings[row : row + 1].view(np.recarray), *key).xyz

    def _lay(self, openings: np.recarray, single: bool, finer: bool) -> Samples:
        views = self._views
        # A place of one position is seen from more eyes, so that its shares are not coarse.
        across = views.eyes_across * (SINGLE_ACROSS if single else 1) + MORE_ACROSS * finer
        return eyes_behind_each(
            openings, inside_m=views.eye_inside, heights_m=(views.eye_seated, views.eye_standing), across=across,
        )  # fmt: skip

    def __iter__(self) -> Iterator[tuple[bool, bool]]:
        return iter(SAMPLES)

    def __len__(self) -> int:
        return len(SAMPLES)


def at_windows(layers, views: Views, ground, subjects) -> Observers:
    """Give those who look from windows; ``layers`` and ``subjects`` are those of `screenplan.views.sight.lay_every`."""
    windows, heights = layers["windows"], (views.eye_seated, views.eye_standing)
    openings = openings_of(windows, layers["buildings"], ground, eye_standing_m=max(heights))
    return Observers(
        identifiers(windows, "window_id"), [WINDOW] * len(windows), subjects["windows"],
        np.column_stack([openings.x, openings.y]), openings, EyesBehind(openings, views),
    )  # fmt: skip


def out_of_doors(layers, views: Views, outdoors: Outdoors, ground, subjects) -> Observers:
    """Give the onlookers out of doors; ``layers`` and ``subjects`` are those of `screenplan.views.sight.lay_every`."""
    onlookers = layers["onlookers"]
    kinds = (
        onlookers["kind"].astype("string").fillna("path").to_list()
        if "kind" in onlookers.columns
        else ["path"] * len(onlookers)
    )
    coarse, dense = onlooker_eyes(
        onlookers, by_subject(layers["private_places"], subjects["private_places"]), outdoors, ground,
        spacing_m=views.onlooker_spacing, reach_m=views.onlooker_reach,
        subject=subjects["onlookers"],
    )  # fmt: skip
    middle = [_middle(shape, coarse.row(row)) for row, shape in enumerate(onlookers.geometry)]
    openings = np.full(len(onlookers), np.nan, OPENING).view(np.recarray)
    return Observers(
        identifiers(onlookers, "onlooker_id"), kinds, subjects["onlookers"], np.array(middle),
        openings, {(single, finer): dense if finer else coarse for single, finer in SAMPLES},
    )  # fmt: skip


def refuse_same_names(observers: Observers, windows: int) -> None:
    """Refuse an onlooker that has the identifier of a window; so many observers are windows."""
    names = list(zip(observers.subject.tolist(), observers.ids, strict=True))
    taken = set(names[:windows])
    twice = [row for row, name in enumerate(names[windows:], 1) if name in taken]
    if twice:
        raise refuse(
            f"an onlooker has the identifier of a window, {names[windows + twice[0] - 1][1]}",
            "Give each onlooker an onlooker_id of its own",
            layer="onlookers",
            rows=twice,
        )


def _middle(shape, eyes) -> tuple[float, float]:
    """Give the position that is nearest to the middle of all that count."""
    if not len(eyes):
        point = shape.representative_point()
        return (point.x, point.y)
    return _middle_of(eyes)


def _middle_of(eyes) -> tuple[float, float]:
    xy = eyes[:, :2]
    nearest = xy[np.argmin(np.hypot(*(xy - xy.mean(axis=0)).T))]
    return (float(nearest[0]), float(nearest[1]))
