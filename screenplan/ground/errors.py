"""What can be wrong with a person's input, said so that they can mend it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from screenplan.ground.said import in_units, said
from screenplan.ground.texts import first_few, printable, shorten, shorten_quotes, shorten_words

#: Bounds of a sentence and a remedy in which a caller quotes more than a line; the remedy may list
#: the names that there are. A word is a path or a name.
_LONGEST = {"what": 600, "mend": 2000}
_LONGEST_WORD, _LONGEST_PLACE = 120, 200
#: So many problems are said one by one.
MOST_SAID = 40


class ScreenplanError(Exception):
    """Root of every error that this library raises on purpose."""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, where it stands, and how to mend it.

    Parameters
    ----------
    what : str
        What is wrong, as a sentence without a full stop.
    mend : str
        How to mend it, as an imperative sentence.
    file, layer : str, optional
        Where it stands.
    rows : sequence of int
        Row numbers in the file's own order, counted from 1. Empty when the whole layer is meant.
    key : str, optional
        The plan-file key or command-line option that is meant, such as ``rows.spacing``.
    kind : str
        What a caller may want to tell apart, by a name in `KINDS`; empty for any other input.
    """

    what: str
    mend: str
    file: str | None = None
    layer: str | None = None
    rows: Sequence[int] = ()
    key: str | None = None
    kind: str = ""

    def __post_init__(self):
        for name, most in _LONGEST.items():
            text = printable(f"{getattr(self, name)}")
            text = shorten(shorten_words(shorten_quotes(text), _LONGEST_WORD), most)
            object.__setattr__(self, name, said(text))  # frozen: nobody else changes a problem

    @property
    def where(self) -> str:
        """The place in words, or an empty string."""
        parts = []
        if self.file:
            parts.append(_place(self.file))
        if self.layer:
            parts.append(f"layer {_place(self.layer)}")
        if self.rows:
            parts.append(name_rows(self.rows))
        if self.key:
            parts.append(f"key {_place(self.key)}")
        return ", ".join(parts)

    def __str__(self) -> str:
        return self.in_units("metric")

    def in_units(self, units: str) -> str:
        """Say it with lengths in the reader's units, ``metric`` or ``us``."""
        head = f"{self.where}: " if self.where else ""
        stop = "" if self.mend.endswith(("?", ".")) else "."
        return in_units(f"{head}{self.what}. {self.mend}{stop}", units)


class InputError(ScreenplanError):
    """The input cannot be used; carries one or more `Problem`.

    Raised before anything is written, so that a refused input leaves no output behind. If all its
    problems are of one kind it is of that kind's class in `KINDS`. ``units`` are those in which `said`
    tells its lengths: a face sets the reader's where it knows them.

    Examples
    --------
    >>> try:
    ...     raise refuse("the row is too long", "Shorten it", kind="room")
    ... except NoRoomError as error:
    ...     print(error)
    the row is too long. Shorten it.
    """

    units = "metric"
    problems: tuple[Problem, ...]

    def __new__(cls, problems: Problem | Iterable[Problem] = ()):
        """Choose the class by the kind of the problems."""
        if isinstance(problems, Iterable):
            problems = tuple(problems)
            kinds = {problem.kind for problem in problems}
        else:
            kinds = {problems.kind}
        kind = KINDS.get(kinds.pop()) if cls is InputError and len(kinds) == 1 else None
        made = super().__new__(kind or cls)
        made.problems = (problems,) if isinstance(problems, Problem) else problems
        return made

    def __init__(self, problems: Problem | Iterable[Problem]):  # noqa: ARG002
        super().__init__("\n".join(self.said))

    def __reduce__(self):
        """Let another process hand it on."""
        return InputError, (self.problems,), {"units": self.units}

    def __str__(self) -> str:
        return "\n".join(self.said)

    @property
    def said(self) -> list[str]:
        """The problems, a line each; beyond `MOST_SAID` only how many there are."""
        lines = [problem.in_units(self.units) for problem in self.problems[:MOST_SAID]]
        more = len(self.problems) - len(lines)
        return [*lines, f"{more} more problems are not listed."] if more else lines


class GeometryError(InputError):
    """A geometry is missing, invalid, or of another kind than the layer holds."""


class ReferenceSystemError(InputError):
    """A reference system is missing or wrong, or coordinates cannot be changed well enough."""


class NoRoomError(InputError):
    """No plant, row or fence can stand where it is asked for."""


class NobodyLooksError(InputError):
    """No side is chosen to plant, and nobody looks across one."""


#: The class of each kind of problem.
KINDS: dict[str, type[InputError]] = {
    "geometry": GeometryError,
    "system": ReferenceSystemError,
    "room": NoRoomError,
    "onlookers": NobodyLooksError,
}


def _place(name: str) -> str:
    return shorten(printable(name), _LONGEST_PLACE)


def refuse(
    what: str,
    mend: str,
    *,
    file: str | None = None,
    layer: str | None = None,
    rows: Sequence[int] = (),
    key: str | None = None,
    kind: str = "",
) -> InputError:
    """Build an `InputError` of one problem; the caller raises it."""
    return InputError(Problem(what, mend, file=file, layer=layer, rows=rows, key=key, kind=kind))


def name_rows(rows: Sequence[int], most: int = 8) -> str:
    """Name rows in words, the first few by number: ``rows 2, 5``."""
    return f"row{'s' * (len(rows) != 1)} {first_few(rows, most)}"
