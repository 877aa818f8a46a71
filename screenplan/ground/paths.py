"""Whether a path can be one at all, before anything is looked for under it."""

from __future__ import annotations

import os
from pathlib import Path

from screenplan.ground.errors import refuse

#: Bytes of one name and of a whole path that file systems in use take (Linux: NAME_MAX, and PATH_MAX
#: without its final NUL).
LONGEST_NAME, LONGEST_PATH = 255, 4095
#: Bytes that names of our own, made of a file's, are longer: ``.plan~part.gpkg``.
ROOM = 24


def check_path(path: str | Path, *, writes: bool = False) -> None:
    """Refuse a path that the operating system would answer with an error of its own.

    Parameters
    ----------
    path : path
        The path as it was written.
    writes : bool
        Whether it is to be written: longer names are then made of it.

    Raises
    ------
    InputError
        If it holds a NUL or a character that no file name can hold, or is too long.

    Examples
    --------
    >>> check_path("county.gpkg")
    >>> check_path("a" * 300)
    Traceback (most recent call last):
    screenplan.ground.errors.InputError: aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa: a name in the path has 300 bytes. Give names of at most 255.
    """
    text = os.fspath(path)
    if "\0" in text:
        raise refuse("the path holds a NUL character", "Correct the path", file=text)
    try:
        names = [os.fsencode(part) for part in Path(text).parts]
    except UnicodeEncodeError:
        raise refuse(
            "the path holds a character that no file name can hold", "Correct the path", file=text
        ) from None
    room = ROOM if writes else 0
    longest = max((len(name) for name in names), default=0)
    if longest > LONGEST_NAME - room:
        raise refuse(
            f"a name in the path has {longest} bytes",
            f"Give names of at most {LONGEST_NAME - room}",
            file=text,
        )
    whole = len(os.fsencode(text))
    if whole > LONGEST_PATH - room:
        raise refuse(
            f"the path has {whole} bytes", f"Give one of at most {LONGEST_PATH - room}", file=text
        )


def check_reachable(path: str | Path, *, writes: bool = False) -> None:
    """Refuse a path that cannot be looked at, whether there is something or not.

    Parameters are those of `check_path`.

    Raises
    ------
    InputError
        As `check_path` does, or if the operating system does not let us look.
    """
    check_path(path, writes=writes)
    try:
        Path(path).stat()
    except (FileNotFoundError, NotADirectoryError):
        return
    except OSError as error:
        raise refuse(
            f"it cannot be looked at ({error.strerror})",
            "Check the path and its permissions",
            file=os.fspath(path),
        ) from None
