"""Drawings of the symbols of each model, for the pages of the method: made from code when the pages are built."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path


def draw(name: str, target: Path) -> None:
    """Draw one as SVG: each module of this folder has a function ``figure``.

    Parameters
    ----------
    name : str
        Of the module.
    target : Path
    """
    import matplotlib as mpl

    from screenplan.outputs.palette import COLOURS

    with mpl.rc_context({"svg.hashsalt": name, "font.size": 9, "hatch.linewidth": 0.6}):
        figure = import_module(f"docs.symbols.{name}").figure()
        figure.savefig(target, format="svg", facecolor=COLOURS["paper"], metadata={"Date": None})
