"""TOML files of people, with what is wrong in them said in words."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.paths import check_path
from screenplan.ground.texts import quoted

#: A plan with every key and its help has some 20 kB; a file above this is something else.
LARGEST_BYTES = 2_000_000
#: The deepest value of a plan stands 4 tables and lists down.
DEEPEST = 8
#: Integers beyond are no amount of anything, and no floating-point number either.
LARGEST = 10**30
_SOME = 20
#: Text may have tabs and line ends, and nothing else that is no letter.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


def read_toml(path: Path | str, called: str, missing: str) -> dict[str, Any]:
    """Read a TOML file.

    Parameters
    ----------
    path : path
        The file.
    called : str
        What it is, such as ``plan file``.
    missing : str
        What to do if it is not there.

    Raises
    ------
    InputError
        If it is missing, is no TOML, is nested deeper than any plan, or holds a number that is
        none of a measure.
    """
    check_path(path)
    path, file = Path(path), str(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise refuse(f"there is no such {called}", missing, file=file) from None
    except IsADirectoryError:
        raise refuse(
            f"this is a folder, not a {called}", "Name the .toml file in it", file=file
        ) from None
    except OSError as error:
        raise refuse(
            f"the {called} cannot be read ({error.strerror})",
            "Check the path and its permissions",
            file=file,
        ) from None
    if len(content) > LARGEST_BYTES:
        raise refuse(
            f"the {called} has more than {LARGEST_BYTES / 1e6:g} MB",
            f"Name the {called}, not a layer; layers stay in files of their own",
            file=file,
        )
    try:
        text = content.decode("utf-8").removeprefix("\ufeff").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise refuse(
            f"the {called} is not UTF-8 text", "Save it as UTF-8 in your editor", file=file
        ) from None
    try:
        values = parse_toml(text)
    except tomllib.TOMLDecodeError as error:
        raise refuse(
            f"the {called} is not valid TOML: {error}",
            "Mend that line: text stands in quotes, and a key stands only once",
            file=file,
        ) from None
    check_values(values, file)
    return values


def parse_toml(text: str) -> dict[str, Any]:
    """Parse TOML.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is no TOML, or nested or with numbers that are beyond Python's own parser.
    """
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise tomllib.TOMLDecodeError("lists or tables stand too deep in each other") from None
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, OverflowError, ArithmeticError):
        # Python turns no more than 4300 digits into a number, and knows years 1 to 9999.
        raise tomllib.TOMLDecodeError("a number or a date is beyond what can be read") from None


def check_values(content: Mapping[str, Any], file: str | None = None) -> None:
    """Refuse what no key of a plan or a rule can mean, whatever it is called.

    Parameters
    ----------
    content : mapping
        Tables and values, as parsed.
    file : str, optional
        Where they stand.

    Raises
    ------
    InputError
        By key: values that are nested too deep, integers that are too large, and text with control
        characters.
    """
    problems = []
    for key, value, depth in _walk(content):
        if _CONTROL.search(key) or (isinstance(value, str) and _CONTROL.search(value)):
            problems.append(
                Problem(
                    "the text holds a control character"
                    if isinstance(value, str)
                    else "the key holds a control character",
                    "Take it out; they are written as \\u and four digits",
                    file=file,
                    key=key,
                )
            )
        elif depth > DEEPEST:
            problems.append(
                Problem(
                    "lists or tables stand too deep in each other",
                    f"Write the value plainly; {DEEPEST} deep is more than any key takes",
                    file=file,
                    key=key,
                )
            )
        elif isinstance(value, int) and abs(value) > LARGEST:
            problems.append(
                Problem(
                    f"{quoted(value)} is out of range",
                    f"Give a number of at most {math.log10(LARGEST):g} digits",
                    file=file,
                    key=key,
                )
            )
        if len(problems) == _SOME:
            break
    if problems:
        raise InputError(problems)


def _walk(content: Any) -> Iterator[tuple[str, Any, int]]:
    """Go through all values with their keys and depths, and no deeper than is refused."""
    waiting = [("", content, 0)]
    while waiting:
        key, value, depth = waiting.pop()
        yield key, value, depth
        if depth > DEEPEST:
            continue
        inner = (
            [(f"{key}.{name}" if key else str(name), content) for name, content in value.items()]
            if isinstance(value, Mapping)
            else [(key, content) for content in value]
            if isinstance(value, (list, tuple))
            else []
        )
        waiting += [(name, content, depth + 1) for name, content in reversed(inner)]
