"""The libraries of columnar files and of schedulers, which not everybody has installed."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

from screenplan.ground.errors import refuse


def need(name: str) -> ModuleType:
    """Import a library of the extra ``county``.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        return import_module(name)
    except ImportError:
        raise refuse(
            f"The library {name.split('.')[0]}, which counties and GeoParquet files need, is not installed",
            'Install it by pip install "screenplan[county]"',
        ) from None
