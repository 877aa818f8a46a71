"""A figure as SVG that stands in a page: its type, its colours by role, its years as layers."""

from __future__ import annotations

import html
import io
import re
import sys
import warnings
from typing import Any

from screenplan.outputs.drawings.style import clean
from screenplan.outputs.palette import COLOURS

#: Begins the identifier of what only a phone shows, in the place of all other texts.
OF_PHONE = "of-phone"
_HEAD = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_METADATA = re.compile(r"<metadata>.*?</metadata>\s*", re.DOTALL)
_SIZE = re.compile(r'<svg [^>]*?viewBox="([^"]+)"[^>]*>', re.DOTALL)
_ID = re.compile(r'\bid="([^"]*)"')
_REFERENCE = re.compile(r'(url\(#|href="#)')
_FONT = re.compile(r"font: ((?:(?:italic|oblique|normal|bold|\d{3}) )*)([\d.]+)px [^;\"]+")
_FAMILY = re.compile(r"font-family: [^;\"]+;? ?")
_LAYER = re.compile(r'<g id="([\w-]+)-y(\d{2,})\.([\w.-]+)"')
_PHONE = re.compile(rf'<g (id="[\w-]+-{OF_PHONE}\.\d+")')
#: Coordinates keep two decimals, hundredths of a point.
_NUMBER = re.compile(r"(?<=\d\.\d\d)\d+")
_POINTS_PER_MM = 72.0 / 25.4


def to_svg(figure, name: str, *, title: str, says: str, shown: int | None = None) -> str:
    """Give a figure as inline SVG, and close the figure.

    Parameters
    ----------
    figure : Figure
    name : str
        Letters and hyphens; put before every identifier, so that two drawings of a page do not
        share one.
    title, says : str
        Name and alternative text.
    shown : int, optional
        The year whose layers are visible at first; the layers of other years are hidden, and all
        are marked for the page's year control. Without it everything is visible.

    Returns
    -------
    str
        An ``svg`` element. Width and height are those of the figure in millimetres; colours are
        variables by role with the light page's values as fallback.
    """
    import matplotlib as mpl

    target = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": name}), warnings.catch_warnings():
        # A letter that the drawing's own font lacks is drawn by the browser's.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        warnings.filterwarnings("ignore", message="Matplotlib currently does not support")
        figure.savefig(
            target, format="svg", transparent=True,
            metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
        )  # fmt: skip
    if "matplotlib.pyplot" in sys.modules:
        sys.modules["matplotlib.pyplot"].close(figure)
    text = _HEAD.sub("", target.getvalue(), count=1)
    text = _METADATA.sub("", text)
    text = _ID.sub(lambda match: f'id="{name}-{match[1]}"', text)
    text = _REFERENCE.sub(lambda match: match[1] + f"{name}-", text)
    # Older releases write one property of the font, newer ones several; the family is the page's.
    text = _FAMILY.sub("", _FONT.sub(_font, text))
    text = _NUMBER.sub("", text)
    for role, value in COLOURS.items():
        text = text.replace(value, f"var(--{role},{value})")
    text = _PHONE.sub(rf'<g class="{OF_PHONE}" \1', text)
    if shown is not None:
        text = _LAYER.sub(lambda match: _layer(match, shown), text)
    return _SIZE.sub(lambda match: _open(match, name, title, says), text, count=1).strip()


def _font(match: re.Match) -> str:
    words = match[1].split()
    style = "font-style:italic;" if "italic" in words else ""
    weight = "font-weight:700;" if {"bold", "700"} & set(words) else ""
    return f"{style}{weight}font-size:{match[2]}px"


def _layer(match: re.Match, shown: int) -> str:
    year = int(match[2])
    hidden = "" if year == shown else " hidden"
    return f'<g id="{match[1]}-y{match[2]}.{match[3]}" class="of-year{hidden}" data-year="{year}"'


def _open(match: re.Match, name: str, title: str, says: str) -> str:
    width, height = (float(part) / _POINTS_PER_MM for part in match[1].split()[2:])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'role="img" aria-labelledby="{name}-title {name}-says" class="drawing" '
        f'style="--w:{width:.3f}mm;--h:{height:.3f}mm" viewBox="{match[1]}">'
        f'<title id="{name}-title">{_text(title)}</title><desc id="{name}-says">{_text(says)}</desc>'
    )


def _text(value: Any) -> str:
    return html.escape(clean(value, 2000))
