"""Text from outside, shown in a sentence or a cell: of one line, without control characters."""

from __future__ import annotations

import re
import reprlib
from collections.abc import Sequence
from typing import Any

#: A quoted value is at most a line of a terminal.
LONGEST_QUOTED = 72
#: What stands for the part that is left out.
CUT = "…"
#: Characters that move the cursor, end a line or overrule the direction of writing. A lone
#: surrogate, which no file can hold, is among them.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\ud800-\udfff\ufffe\uffff]+")


class _Quoting(reprlib.Repr):
    """Python's own way to show values, of which each part is bounded."""

    def __init__(self):
        super().__init__()
        self.maxlevel, self.maxlist, self.maxtuple, self.maxdict, self.maxset = 3, 6, 6, 4, 4
        self.maxstring = self.maxother = LONGEST_QUOTED
        self.fillvalue = CUT

    def repr_int(self, value: int, level: int) -> str:  # noqa: ARG002
        # More digits than this are not turned into text at all.
        if value.bit_length() > 4 * LONGEST_QUOTED:
            digits = int(value.bit_length() * 0.30103) + 1
            return f"a number of {digits} digits"
        return repr(value)


_QUOTING = _Quoting()


def quoted(value: Any, most: int = LONGEST_QUOTED) -> str:
    """Show a value in a sentence: as Python writes it, of at most a line.

    Parameters
    ----------
    value : object
        Anything that was read.
    most : int
        Characters.

    Examples
    --------
    >>> quoted("north"), quoted([1, 2]), quoted("x" * 200, most=12)
    ("'north'", '[1, 2]', "'xxxxxxxx…x'")
    >>> quoted(10**400)
    'a number of 401 digits'
    """
    return shorten(clean_text(_QUOTING.repr(value)), most)


def clean_text(text: object) -> str:
    """Give it as text with a space for each run of control characters."""
    return _CONTROL.sub(" ", str(text))


def printable(text: object) -> str:
    """Give it as text in which each mark that is not seen, save a space, is a space."""
    text = str(text)
    if text.isprintable():  # as nearly all are
        return text
    return "".join(mark if mark.isprintable() else " " for mark in text)


def shorten(text: str, most: int) -> str:
    """Leave out the middle of a text that is too long.

    Examples
    --------
    >>> shorten("abcdefghij", 6)
    'abcd…j'
    """
    if len(text) <= most:
        return text
    tail = (most - 1) // 4
    return f"{text[: most - 1 - tail]}{CUT}{text[len(text) - tail :] if tail else ''}"


def first_few(texts: Sequence[object], most: int, apart: str = ", ") -> str:
    """Name the first few of some things, and say how many more there are.

    Examples
    --------
    >>> first_few(["a", "b", "c", "d"], 3), first_few([4, 5], 3)
    ('a, b, c and 1 more', '4, 5')
    """
    shown = apart.join(str(text) for text in texts[:most])
    return f"{shown} and {len(texts) - most} more" if len(texts) > most else shown


def shorten_quotes(text: str, most: int = LONGEST_QUOTED) -> str:
    """Shorten what stands between apostrophes.

    Examples
    --------
    >>> shorten_quotes("there is no column 'a very long name of a column' here", 12)
    "there is no column 'a very lo…mn' here"
    """
    return re.sub(rf"'[^']{{{most - 1},}}'", lambda run: f"'{shorten(run[0][1:-1], most)}'", text)


def shorten_words(text: str, most: int = LONGEST_QUOTED) -> str:
    """Shorten each run of characters without a space in it.

    Examples
    --------
    >>> shorten_words("a name of aaaaaaaaaaaaaaaaaaaaaaaa letters", 8)
    'a name of aaaaaa…a letters'
    """
    return re.sub(rf"\S{{{most + 1},}}", lambda run: shorten(run[0], most), text)


def more_stand(count: int, where: str, what: str = "") -> str:
    """Say where what is not named stands; nothing if all is named.

    Examples
    --------
    >>> more_stand(1, "under Stake out", "row"), more_stand(2, "in the table of views"), more_stand(-1, "there")
    ('1 more row stands under Stake out', '2 more stand in the table of views', '')
    """
    if count < 1:
        return ""
    what = f" {what}{'s' * (count > 1)}" if what else ""
    return f"{count} more{what} stand{'s' * (count == 1)} {where}"
