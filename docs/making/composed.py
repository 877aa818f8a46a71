"""Writes a page with what came of its blocks: what commands said, drawings, sheets, notebooks."""

from __future__ import annotations

import html
import json
import shutil
from dataclasses import dataclass, field
from pathlib import Path

from docs.making.blocks import Block, split
from docs.making.drawn import drawing
from docs.making.held import held_against
from docs.making.kept import ROOT, keep
from docs.making.notebooks import gallery, notebook
from docs.making.trying import PageError, try_page

DOCS = ROOT / "docs"
#: Blocks of pages that hang on commands, and all that are made.
OF_COMMANDS = ("file", "run", "drawn", "sheet")
KINDS = (*OF_COMMANDS, "symbols", "held", "notebook", "gallery")
#: What says how a page is tried: a change of it tries all anew.
HOW = tuple(DOCS / "making" / f"{name}.py" for name in ("trying", "drawn", "blocks"))
#: Stands for lines that are not shown.
LEFT_OUT = "…"


@dataclass
class Composed:
    """A page as Markdown, and the reports that it shows.

    Parameters
    ----------
    text : str
    sheets : dict of str to Path
        By their names below ``_sheets/``.
    """

    text: str = ""
    sheets: dict[str, Path] = field(default_factory=dict)


def compose(page: Path) -> Composed:
    """Write a page of `docs/` with what came of its blocks.

    Raises
    ------
    PageError
        If a command or a drawing of the page is not as the page says.
    """
    text = page.read_text(encoding="utf-8")
    parts = split(text, KINDS)
    blocks = [part for part in parts if isinstance(part, Block)]
    if not blocks:
        return Composed(text)
    name = page.relative_to(DOCS).with_suffix("").as_posix().replace("/", "-")
    made = Composed()
    folder = said = None
    if any(block.kind in OF_COMMANDS for block in blocks):
        folder = tried(page)
        said = json.loads((folder / "said.json").read_text(encoding="utf-8"))
    written = []
    for part in parts:
        if isinstance(part, str):
            written.append(part)
        elif part.kind == "file":
            written.append(_file(part))
        elif part.kind == "run":
            written += [_ran(part, command, out) for command, out in said[str(part.at)]]
        elif part.kind == "drawn":
            written.append(
                _figure(
                    folder / f"drawn-{part.at}.svg", part.options.get("alt", part.text), part.text
                )
            )
        elif part.kind == "sheet":
            sheet = f"{name}-{part.at}.html"
            made.sheets[sheet] = folder / f"sheet-{part.at}.html"
            written.append(_sheet(sheet, part, page))
        elif part.kind == "symbols":
            written.append(_figure(_symbols(part.argument), part.options["alt"], part.text))
        elif part.kind == "held":
            written.append(held_against(part))
        elif part.kind == "notebook":
            written.append(notebook(part.argument, _from))
        else:
            written.append(gallery(_from))
    made.text = "\n\n".join(written) + "\n"
    return made


def tried(page: Path) -> Path:
    """Do what a page says, once for the same sources, and give the folder of what came of it.

    ``said.json`` holds by the line of each block its commands with what they said; ``drawn-LINE.svg`` and
    ``sheet-LINE.html`` are drawings and the report of what was run last before that line.
    """

    def make(folder: Path) -> None:
        said = {}
        for block, ran in try_page(page, folder):
            if block.kind == "run":
                said[block.at] = [(command.command, command.said) for command in ran]
            elif block.kind == "drawn":
                drawn = _drawn(page, block, folder)
                (folder / f"drawn-{block.at}.svg").write_text(drawn, encoding="utf-8")
            elif block.kind == "sheet":
                shutil.copyfile(
                    _newest_report(page, block, folder), folder / f"sheet-{block.at}.html"
                )
        (folder / "said.json").write_text(json.dumps(said), encoding="utf-8")

    name = page.relative_to(DOCS).with_suffix("").as_posix().replace("/", "-")
    made_of = "".join(path.read_text(encoding="utf-8") for path in (page, *HOW))
    return keep(name, made_of, make)


def _newest_report(page: Path, block: Block, folder: Path) -> Path:
    reports = list(folder.glob("*/report.html"))
    if not reports:
        raise PageError(f"{page}, line {block.at}: nothing was run before")
    return max(reports, key=lambda path: path.stat().st_mtime_ns)


def _drawn(page: Path, block: Block, folder: Path) -> str:
    report, year = _newest_report(page, block, folder), block.options.get("year")
    try:
        return drawing(
            report, block.argument, int(block.options.get("number", 1)), year and int(year)
        )
    except LookupError as error:
        raise PageError(f"{page}, line {block.at}: {error}") from error


def _symbols(name: str) -> Path:
    from docs.symbols import draw

    def make(folder: Path) -> None:
        draw(name, folder / "symbols.svg")

    return keep(f"symbols-{name}", "", make, ("docs/symbols",)) / "symbols.svg"


def _file(block: Block) -> str:
    where = f"at the end of {block.argument}" if "append" in block.options else block.argument
    ending = Path(block.argument).suffix
    language = {".toml": "toml", ".geojson": "json"}.get(ending, "text")
    return f"```{{code-block}} {language}\n:caption: {where}\n\n{block.text}\n```"


def _ran(block: Block, command: str, said: str) -> str:
    shown = _shown(block, said)
    # Long commands are shown as the page breaks them.
    lines = f"```sh\n{block.text if len(block.lines) > 1 and block.text.count('screenplan ') == 1 else command}\n```"
    if not shown:
        return lines
    return f"{lines}\n\n```{{code-block}} text\n:class: said\n\n{shown}\n```"


def _shown(block: Block, said: str) -> str:
    """Cut what a command said from one line to another, by what they hold."""
    if block.options.get("shows") == "nothing":
        return ""
    lines = said.rstrip().splitlines()
    first, last = 0, len(lines) - 1
    if "from" in block.options:
        first = _line(block, lines, block.options["from"], 0)
    if "to" in block.options:
        last = _line(block, lines, block.options["to"], first)
    head, tail = [LEFT_OUT] * (first > 0), [LEFT_OUT] * (last < len(lines) - 1)
    return "\n".join([*head, *(line.rstrip() for line in lines[first : last + 1]), *tail])


def _line(block: Block, lines: list[str], holds: str, begin: int) -> int:
    for number in range(begin, len(lines)):
        if holds in lines[number]:
            return number
    raise PageError(
        f"line {block.at} of the page: no line of what is said holds {holds!r}:\n"
        + "\n".join(lines)
    )


def _figure(path: Path, alt: str, caption: str) -> str:
    return f"```{{figure}} {_from(path)}\n:alt: {' '.join(alt.split())}\n\n{caption}\n```"


def _from(path: Path) -> str:
    """Name a file from the folder of the pages, as Sphinx takes it."""
    return "/" + path.relative_to(DOCS).as_posix()


def _sheet(name: str, block: Block, page: Path) -> str:
    up = "../" * len(page.relative_to(DOCS).parent.parts)
    title = html.escape(block.text or "The work sheet")
    return (
        f'```{{raw}} html\n<iframe class="sheet" loading="lazy" src="{up}_sheets/{name}" title="{title}"></iframe>\n'
        f'<p class="sheet-open"><a href="{up}_sheets/{name}">{title}, on a page of its own</a></p>\n```'
    )
