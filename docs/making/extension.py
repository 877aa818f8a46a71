"""The extension of Sphinx that makes the pages before they are read."""

from __future__ import annotations

import logging
import shutil
from pathlib import Path

from sphinx.errors import ExtensionError

from docs.making.composed import compose
from docs.making.trying import PageError


def _make(app, docname: str, source: list[str]) -> None:
    page = Path(app.env.doc2path(docname))
    try:
        made = compose(page)
    except (PageError, ValueError) as error:
        raise ExtensionError(f"{page}: {error}") from error
    source[0] = made.text
    app.screenplan_sheets.update(made.sheets)


def _copy_sheets(app, failed) -> None:
    if failed or app.builder.format != "html":
        return
    target = Path(app.outdir) / "_sheets"
    for name, path in app.screenplan_sheets.items():
        target.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target / name)


def setup(app) -> dict:
    """Enter what is done before a page is read, and after all are built."""
    app.screenplan_sheets = {}
    # Sphinx shows what other libraries log; of each file that is written that is a line.
    for name in ("pyogrio", "traitlets", "fiona", "rasterio"):
        logging.getLogger(name).setLevel(logging.WARNING)
    app.connect("source-read", _make)
    app.connect("build-finished", _copy_sheets)
    return {"parallel_read_safe": False}
