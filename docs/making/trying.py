"""Does what a page says to do, in a folder of its own: files are written, commands are run."""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from docs.making.blocks import Block, split

#: Blocks that are done, and those that show what came of them up to there.
DONE = ("file", "run", "drawn", "sheet")
SAMPLE = Path(__file__).parents[2] / "sample_data"
#: How wide the terminal is, letters.
WIDE = 88
#: A line that tells how long a step takes; it hangs on the machine, and is not shown.
WAITING = re.compile(r"^(?:starting|step \d+ of \d+: .*), \d+\.\d min so far\n", re.MULTILINE)


class PageError(Exception):
    """A page says something that is not so."""


@dataclass(frozen=True)
class Ran:
    """A command with what it said.

    Parameters
    ----------
    command, said : str
    code : int
        Its exit code.
    """

    command: str
    said: str
    code: int


def try_page(
    page: Path, folder: Path, program: str | None = None
) -> Iterator[tuple[Block, list[Ran]]]:
    """Do the blocks of a page in their order, and hand on each as soon as it is done.

    Parameters
    ----------
    page : Path
    folder : Path
        An empty one, in which files are written and commands run.
    program : str, optional
        The program to run, a path or a name; by default this checkout's, in this process.

    Raises
    ------
    PageError
        If a command ends otherwise than the page says (0, or ``:ends:``), or does not say what the page
        promises (``:says:``, phrases parted by ``|``).
    """
    for block in split(page.read_text(encoding="utf-8"), DONE):
        if not isinstance(block, Block):
            continue
        if block.kind == "file":
            _write(block, folder)
        if block.kind != "run":
            yield block, []
            continue
        ran = [_run(line, folder, program) for line in _commands(block.lines)]
        _judge(page, block, ran)
        yield block, ran


def _write(block: Block, folder: Path) -> None:
    target = folder / block.argument
    before = target.read_text(encoding="utf-8") + "\n" if "append" in block.options else ""
    target.write_text(before + block.text + "\n", encoding="utf-8")


def _commands(lines: Iterable[str]) -> list[str]:
    """Join lines that end in a backslash, as a shell does."""
    return [line for line in "\n".join(lines).replace("\\\n", " ").splitlines() if line.strip()]


def _run(line: str, folder: Path, program: str | None) -> Ran:
    first, *words = shlex.split(line, comments=True)
    if first != "screenplan":
        raise PageError(f"{line!r}: only screenplan is run on a page")
    if any(word.startswith("sample_data/") or "=sample_data/" in word for word in words):
        shutil.copytree(SAMPLE, folder / "sample_data", dirs_exist_ok=True)
    run = _in_process if program is None else _as_program
    code, said = run(program, words, folder)
    said = WAITING.sub("", said.replace(f"{folder}{os.sep}", ""))
    return Ran(" ".join(line.split()), said, code)


def _in_process(_program: None, words: list[str], folder: Path) -> tuple[int, str]:
    from click.testing import CliRunner

    from screenplan.commandline.main import main

    with contextlib.chdir(folder):
        done = CliRunner().invoke(main, words, env={"COLUMNS": str(WIDE)})
    return done.exit_code, done.output


def _as_program(program: str, words: list[str], folder: Path) -> tuple[int, str]:
    done = subprocess.run(
        [program, *words], cwd=folder, env={**os.environ, "COLUMNS": str(WIDE), "PYTHONUTF8": "1"},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", check=False,
    )  # fmt: skip
    return done.returncode, done.stdout


def _judge(page: Path, block: Block, ran: list[Ran]) -> None:
    wanted = int(block.options.get("ends", 0))
    for command in ran:
        if command.code != wanted:
            raise PageError(
                f"{page}, line {block.at}: {command.command!r} ended with {command.code}, not {wanted}:\n{command.said}"
            )
    said = " ".join(" ".join(command.said for command in ran).split())
    for phrase in filter(None, map(str.strip, block.options.get("says", "").split("|"))):
        if phrase not in said:
            raise PageError(f"{page}, line {block.at}: nothing says {phrase!r}:\n{said}")


def main(arguments: list[str]) -> int:
    """Try pages with a program: ``python -m docs.making.trying PROGRAM PAGE ...``."""
    import tempfile

    program, *pages = arguments
    for page in pages:
        with tempfile.TemporaryDirectory() as folder:
            count = sum(len(ran) for _, ran in try_page(Path(page), Path(folder), program))
        print(f"{page}: {count} commands do what the page says")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
