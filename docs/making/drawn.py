"""Takes drawings out of a report, each as a picture that stands alone."""

from __future__ import annotations

import re
from pathlib import Path

_FIGURE = r'<figure class="kind-{kind}\b.*?(<svg .*?</svg>)'
_OPEN = re.compile(r'<svg ([^>]*?)style="--w:([\d.]+)mm;--h:([\d.]+)mm" viewBox="([^"]+)">')
_VARIABLE = re.compile(r"var\(--[\w-]+,\s*(#[0-9a-f]+)\)")
#: What the report's own page says of its drawings.
_STYLE = "text{font-family:sans-serif}.hidden,.of-phone{display:none}"
PAPER = "#fdfefe"


def drawing(report: Path, kind: str, number: int = 1, year: int | None = None) -> str:
    """Give one drawing of a report as SVG.

    Parameters
    ----------
    report : Path
    kind : str
        sketch, plan, growth, years, elevation, needed, section or effect.
    number : int
        Which of the kind, from 1.
    year : int, optional
        The year that is shown, where the drawing has several; by default the report's first.

    Raises
    ------
    LookupError
        If the report has no such drawing.
    """
    text = report.read_text(encoding="utf-8")
    found = re.findall(_FIGURE.format(kind=re.escape(kind)), text, re.DOTALL)
    if len(found) < number:
        raise LookupError(f"{report} has {len(found)} drawings of kind {kind}, not {number}")
    svg = found[number - 1]
    if year is not None:
        svg = re.sub(
            r'class="of-year(?: hidden)?" data-year="(\d+)"',
            lambda match: _of_year(match, year),
            svg,
        )
    return _OPEN.sub(_alone, _VARIABLE.sub(r"\1", svg), count=1)


def _of_year(match: re.Match, year: int) -> str:
    hidden = "" if int(match[1]) == year else " hidden"
    return f'class="of-year{hidden}" data-year="{match[1]}"'


def _alone(match: re.Match) -> str:
    attributes, width, height, box = match.groups()
    left, top, wide, tall = box.split()
    return (
        f'<svg {attributes}width="{width}mm" height="{height}mm" viewBox="{box}"><style>{_STYLE}</style>'
        f'<rect x="{left}" y="{top}" width="{wide}" height="{tall}" fill="{PAPER}"/>'
    )
