"""A case, what came of it, and what counts as a fault."""

from __future__ import annotations

import hashlib
import itertools
import traceback
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from screenplan.ground.errors import InputError

#: A sentence of a refusal longer than this quotes more than a line of what it refuses.
LONGEST_SAID = 1000


@dataclass(frozen=True)
class Case:
    """One hostile input.

    Parameters
    ----------
    name : str
        Unique in its corpus; the same seed gives the same case by this name.
    what : object
        What the corpus needs to make the input anew; it travels between processes.
    """

    name: str
    what: object = None


@dataclass(frozen=True)
class Outcome:
    """What came of a case.

    Parameters
    ----------
    kind : str
        ``done``, ``refused`` or ``fault``.
    said : str
        The refusal, or the fault.
    """

    kind: str
    said: str = ""

    @property
    def is_fault(self) -> bool:
        """Tell whether the library did what it must never do."""
        return self.kind == "fault"


class FaultError(AssertionError):
    """What a corpus finds wrong by itself: a number that is none, a file that was changed."""


def judge(work: Callable[[], object]) -> Outcome:
    """Do the work, and call its end by its name; whatever is no refusal is a fault."""
    try:
        said = work()
    except InputError as error:
        return _judge_refusal(error)
    except FaultError as fault:
        return Outcome("fault", str(fault))
    except (Exception, RecursionError) as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        return Outcome(
            "fault", f"{type(error).__name__}: {error} ({Path(place.filename).name}:{place.lineno})"
        )
    return Outcome("done", "" if said is None else str(said))


def _judge_refusal(error: InputError) -> Outcome:
    for problem in error.problems:
        said = str(problem)
        if not (problem.what.strip() and problem.mend.strip()):
            return Outcome("fault", f"a refusal without cause or remedy: {said}")
        if len(problem.what) > LONGEST_SAID or len(problem.mend) > LONGEST_SAID:
            return Outcome("fault", f"a refusal of {len(said)} letters: {said[:200]}…")
        if any(not letter.isprintable() for letter in said):
            return Outcome("fault", f"control characters in a refusal: {said!r}")
    return Outcome("refused", str(error))


def share_of(cases: Iterable[Case], share: float) -> Iterator[Case]:
    """Give a fixed share of some cases, spread evenly over them."""
    return itertools.islice(cases, 0, None, max(round(1.0 / share), 1))


@contextmanager
def left_alone(folder: Path) -> Iterator[None]:
    """Hold a folder against what it was before: the same files, with the same bytes."""
    before = fingerprint(folder)
    yield
    after = fingerprint(folder)
    if after != before:
        changed = sorted(
            name for name in before.keys() | after if before.get(name) != after.get(name)
        )
        message = f"files beside the input were changed: {', '.join(changed)}"
        raise FaultError(message)


def fingerprint(folder: Path) -> dict[str, str]:
    """SHA-256 of every file in a folder, by its path in it."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
