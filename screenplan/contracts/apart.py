"""Why a window is set apart from those that a screen is planned against, and how many views that concerns."""

from __future__ import annotations

#: Nobody is taken to look out of it: a shed, a garage.
NOT_LIVED_IN = "not lived in"
#: No plant has room between its wall and the private place.
NO_ROOM = "no room for a plant"
#: What has room there stays below its sight lines.
TOO_HIGH = "higher than what has room"
REASONS = (NOT_LIVED_IN, NO_ROOM, TOO_HIGH)


def tell_set_apart(views) -> str:
    """Say how many of some views are from windows that are set apart, and why; empty for none.

    Parameters
    ----------
    views : DataFrame
        Rows of the layer ``views``.

    Examples
    --------
    >>> import pandas as pd
    >>> tell_set_apart(pd.DataFrame({"set_apart": ["no room for a plant", None, "not lived in"]}))
    '2 set apart: no room for a plant 1, not lived in 1'
    """
    if "set_apart" not in views:
        return ""
    counts = views["set_apart"].value_counts()
    each = ", ".join(f"{reason} {count}" for reason, count in sorted(counts.items()))
    return f"{counts.sum()} set apart: {each}" if each else ""
