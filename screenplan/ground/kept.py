"""What a run makes of its layers and keeps, so that steps that need the same make it once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class Kept:
    """Things that are made once of the same parts.

    The parts are compared by identity: within a run no step changes a layer that it is handed, so
    that a layer of other content is another object. The last thing of each maker is kept.

    Examples
    --------
    >>> kept, layer = Kept(), [1, 2]
    >>> kept(sorted, layer) is kept(sorted, layer)
    True
    >>> kept(sorted, layer) is kept(sorted, [1, 2])
    False
    """

    def __init__(self):
        self._made: dict[Callable, tuple[tuple, Any]] = {}

    def __call__(self, make: Callable, *parts: Any) -> Any:
        """Give what a function makes of some parts."""
        of, thing = self._made.get(make, ((), None))
        if len(of) != len(parts) or any(
            one is not other for one, other in zip(of, parts, strict=True)
        ):
            thing = make(*parts)
            self._made[make] = parts, thing
        return thing
