"""What a run makes of its layers and keeps, so that steps that need the same make it once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class Kept:
    """Things that are made once of the same parts.

    Layers are the same part if they hold the same, tuples if they are equal, and other parts if they are
    one object: within a run no step changes what it is handed. The last thing of each maker is kept.

    Examples
    --------
    >>> kept, years = Kept(), [1, 2]
    >>> kept(sorted, years) is kept(sorted, years)
    True
    >>> kept(sorted, years) is kept(sorted, [1, 2])
    False
    >>> import pandas as pd
    >>> layer = pd.DataFrame({"sill_m": [0.9]})
    >>> kept(len, layer), kept(repr, layer) is kept(repr, layer.copy())
    (1, True)
    """

    def __init__(self) -> None:
        self._made: dict[Callable, tuple[tuple, Any]] = {}

    def __call__(self, make: Callable, *parts: Any) -> Any:
        """Give what a function makes of some parts."""
        of, thing = self._made.get(make, ((), None))
        if len(of) != len(parts) or any(
            not _is_same(one, other) for one, other in zip(of, parts, strict=True)
        ):
            thing = make(*parts)
            self._made[make] = parts, thing
        return thing


def _is_same(one: Any, other: Any) -> bool:
    """Tell whether two parts are one object, layers that hold the same, or tuples that are equal."""
    if one is other:
        return True
    return one == other if isinstance(one, tuple) else hasattr(one, "equals") and one.equals(other)
