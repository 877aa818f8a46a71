"""What ``screenplan desktop install`` wrote beside this file: the steps, and the interpreter."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

HERE = Path(__file__).resolve().parent


@lru_cache(maxsize=1)
def load_toolbox() -> dict:
    """Read the description of all forms: version, digest, steps, layers and keys of a plan."""
    return json.loads((HERE / "toolbox.json").read_text(encoding="utf-8"))


def load_installed() -> dict:
    """Read what the installation chose: ``python``, the interpreter that has the library."""
    try:
        return json.loads((HERE / "installed.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def style_file(layer: str) -> Path | None:
    """Give the default style of a layer as written, or None if there is none."""
    path = HERE / "styles" / f"{layer}.qml"
    return path if path.is_file() else None


def help_url(algorithm: str) -> str:
    """Give the address of a form's help as a page of its own, beside the plugin; empty if there is none."""
    path = HERE / "help" / f"{algorithm}.html"
    return path.as_uri() if path.is_file() else ""
