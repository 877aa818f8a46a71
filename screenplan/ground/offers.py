"""What a package offers, imported when it is first used, so that importing the package stays light."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def offer(
    package: str, homes: Mapping[str, str]
) -> tuple[list[str], Callable[[str], Any], Callable[[], list[str]]]:
    """Give ``__all__``, ``__getattr__`` and ``__dir__`` of a package.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    homes : mapping
        Each public name, and the module below the package that holds it.

    Examples
    --------
    >>> names, get, _ = offer("screenplan", {"InputError": "ground.errors"})
    >>> names, get("InputError").__module__
    (['InputError'], 'screenplan.ground.errors')
    """
    names = sorted(homes)

    def find(name: str) -> Any:
        if name in homes:
            return getattr(import_module(f"{package}.{homes[name]}"), name)
        raise AttributeError(f"module '{package}' has no attribute '{name}'")

    return names, find, lambda: names
