"""The questions of ``screenplan start``: one after the other in a terminal, there and back."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import click

from screenplan.commandline.answers import (
    USUAL,
    Usual,
    read_budget,
    read_day,
    read_direction,
    read_kinds,
    read_line,
    read_place,
    read_plants,
    read_position,
    read_window,
)
from screenplan.commandline.gathering import Given
from screenplan.commandline.starting import check_target
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.ground.units import units_of

#: What takes a person to the question before, leaves something out, and ends it.
BACK, NONE, END = ("back", "<"), ("none", "-"), ("end", "quit", "exit")
#: Letters in a line of a question.
WIDTH = 88
#: A person types more windows than this into the plan file.
MOST_WINDOWS = 100
_HEAD = (
    "Answer each question and press Enter. An empty line takes what stands in [brackets].",
    'Write "back" for the question before, "none" to leave something out, "end" to stop: nothing is '
    "written before the last answer.",
)


class EndedError(Exception):
    """The person wants no plan."""


@dataclass(frozen=True)
class Question:
    """One question.

    Parameters
    ----------
    name : str
        The field of `Given` that it fills; ``target`` for the plan file.
    text : callable
        Gives what is asked, by the usual lengths in the unit typed first.
    read : callable
        Reads an answer; refuses what cannot be meant.
    default : callable
        Gives what an empty line stands for; empty where that is nothing.
    many : bool
        Whether it is asked again until an empty line.
    as_read : bool
        Whether what was read is kept; else the answer's own words are, as an option has them.
    may_be_none : bool
        Whether it may be left out.
    asked : callable
        Whether it is asked at all, by the answers so far.
    """

    name: str
    text: Callable[[Usual], str]
    read: Callable[[str, dict[str, Any]], Any]
    default: Callable[[Usual], str] = lambda _: ""
    many: bool = False
    as_read: bool = False
    may_be_none: bool = True
    asked: Callable[[dict[str, Any]], bool] = lambda _: True


QUESTIONS = (
    Question(
        "length",
        lambda _: (
            "How long is the line that is to be planted, with its unit? Such as 30 m, 100 ft or 85 ft 6 in"
        ),
        lambda text, _: read_line(text),
        lambda usual: usual.length,
        may_be_none=False,
    ),
    Question(
        "bearing",
        lambda _: (
            "Face the line from the garden: its left end is the zero peg. In which direction does it run from there? "
            'Such as NE, 45 or "N 45 E"; an empty line if you do not know: then nothing is said of the sun'
        ),
        lambda text, _: read_direction(text),
    ),
    Question(
        "at",
        lambda _: (
            "Where on earth is the zero peg? Latitude and longitude in degrees, such as 41.26 -95.93; an empty line leaves it out"
        ),
        lambda text, _: read_position(text),
        as_read=True,
        asked=lambda so_far: so_far.get("bearing") is not None,
    ),
    Question(
        "hidden",
        lambda usual: (
            "What is to be hidden, and how far from the line is it? Then, if you like, how far along its middle is, how wide and how deep it is. "
            f"Such as {usual.place}, or {usual.place}, {usual.middle}, {usual.width}, {usual.depth}"
        ),
        lambda text, so_far: read_place(text, so_far["length"]),
        lambda usual: usual.place,
    ),
    Question(
        "windows",
        lambda usual: (
            "Who looks in? A window a line: name, how far beyond the line, how far along it, height of sill, of head, "
            f"how much higher (or, with a minus, lower) its ground is than that at the line. Such as {usual.window}. "
            f"Left out: the middle of the line, {usual.sill}, {usual.head}, level. An empty line: no more windows"
        ),
        lambda text, so_far: read_window(text, so_far["length"]),
        many=True,
    ),
    Question(
        "species",
        lambda _: (
            "What may be planted? A key that `screenplan species` lists; several, parted by commas, for a mixed row. Such as ilex_opaca, juniperus_virginiana"
        ),
        lambda text, _: read_kinds(text),
        lambda _: "thuja_occidentalis",
    ),
    Question(
        "planting",
        lambda _: "When is it planted? A day such as 2027-04-10; an empty line if that is open",
        lambda text, _: read_day(text),
    ),
    Question(
        "plants",
        lambda _: "How many plants do you have at hand? Such as 20; an empty line if none",
        lambda text, _: read_plants(text),
        as_read=True,
    ),
    Question(
        "budget",
        lambda usual: (
            "What may the plants cost, what does one cost, and how tall is it at that price? "
            f"Such as 600, 12.50, {usual.stock}; an empty line if that is open"
        ),
        lambda text, so_far: read_budget(text, USUAL[units_of(so_far["length"])].unit),
    ),
    Question(
        "target",
        lambda _: "Which file is the plan written to? Such as hedge.toml",
        lambda text, so_far: check_target(text.strip(), so_far["force"]),
        lambda _: "hedge.toml",
        may_be_none=False,
    ),
)


def ask_for_plan(target: str | None, *, us: bool, force: bool) -> tuple[str, Given]:
    """Ask for what a plan of a line needs.

    Parameters
    ----------
    target : str or None
        The plan file, if it was named already: it is not asked for then.
    us : bool
        Whether the first question's default is in feet.
    force : bool
        Whether a plan file that is there may be replaced.

    Returns
    -------
    target : str
    given : Given

    Raises
    ------
    EndedError
        If the person ends it.
    InputError
        If the plan file that was named cannot be written.
    """
    if target is not None:
        check_target(target, force)
    for line in _HEAD:
        click.echo(textwrap.fill(line, WIDTH))
    so_far: dict[str, Any] = {"force": force}
    units, at = "us" if us else "metric", 0
    passed: list = []
    typed: dict = {}
    questions = [question for question in QUESTIONS if question.name != "target" or target is None]
    while at < len(questions):
        question = questions[at]
        usual = USUAL[units_of(so_far["length"]) if "length" in so_far else units]
        if not question.asked(so_far):
            so_far[question.name] = None
            at += 1
            continue
        click.echo()
        skipped = at - len(passed)
        text = f"{at + 1 - skipped} of {len(questions) - skipped}. {question.text(usual)}."
        click.echo(textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False))
        if question.many:
            said = answer = _ask_many(question, so_far, typed.get(question.name, []))
        else:
            before = typed.get(question.name, question.default(usual))
            said, answer = _prompt(question, so_far, "Answer", before)
        if answer is BACK:
            at = passed.pop() if passed else 0
            continue
        if question.name == "length" and units_of(said) != units_of(typed.get("length", said)):
            typed.clear()  # bare numbers were in the other unit
        so_far[question.name], typed[question.name] = answer, said
        passed.append(at)
        at += 1
    given = {name: answer for name, answer in so_far.items() if name not in ("target", "force")}
    return target or so_far["target"], Given(
        **given | {"hidden": [given["hidden"]] if given["hidden"] else []}
    )


def _ask_many(question: Question, so_far: dict[str, Any], before: list[str]):
    """Ask for row after row until an empty line; gives their texts, or `BACK` from before the first."""
    rows = list(before)
    for number, row in enumerate(rows, start=1):
        click.echo(f"Window {number}: {row}")
    while len(rows) < MOST_WINDOWS:
        _, answer = _prompt(question, so_far, f"Window {len(rows) + 1}", "")
        if answer is None:
            break
        if answer is not BACK:
            rows.append(answer)
        elif rows:
            rows.pop()
            click.echo(f"Window {len(rows) + 1} is taken back.")
        else:
            return BACK
    return rows


def _prompt(question: Question, so_far: dict[str, Any], label: str, default: str):
    """Ask until there is an answer; gives what was typed, and it, None for nothing, or `BACK`."""

    def read(text: str):
        word = text.strip().lower()
        if word in END:
            raise EndedError
        if word in BACK:
            return "", BACK
        if not word or (word in NONE and question.may_be_none):
            return "", None
        try:
            found = question.read(text, so_far)
        except InputError as error:
            problem = error.problems[0]
            units = units_of(so_far["length"]) if "length" in so_far else "metric"
            stop = "" if problem.mend.endswith(("?", ".")) else "."
            said = in_units(f"{problem.what}. {problem.mend}{stop}", units)
            raise click.UsageError(said) from None
        return text.strip(), found if question.as_read else text.strip()

    return click.prompt(
        label, default=default, show_default=bool(default), value_proc=read, prompt_suffix=": "
    )
