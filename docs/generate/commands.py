"""The page of the command line: its commands in the order in which a person needs them."""

from __future__ import annotations

import click

from docs.generate.markdown import page
from screenplan.commandline.main import main

_INTRO = """\
Results go to standard output, progress to standard error. The exit code is 0 if every check that can be
judged passes, 1 if one fails, 2 if the input is wrong."""


def commands_page() -> str:
    """Write the page; the arguments and options themselves are read while it is built."""
    names = main.list_commands(click.Context(main))
    lines = [
        "```{eval-rst}",
        ".. click:: screenplan.commandline.main:main",
        "   :prog: screenplan",
        "   :nested: full",
        f"   :commands: {', '.join(names)}",
        "```",
    ]
    return page("The command line", "commands", _INTRO, "\n".join(lines))
