"""The marks by which a plan tells the kinds of plants of a mixed row apart, without colour."""

from __future__ import annotations

from typing import NamedTuple

import pandas as pd

from screenplan.outputs.palette import COLOURS


class KindMark(NamedTuple):
    """How new plants of one kind are drawn: what a legend calls it, the marker, and its inside."""

    called: str
    marker: str
    fill: str


#: In the order in which kinds first stand; of more kinds the rest shares the last.
MARKS = (
    KindMark("dots", "o", COLOURS["plant"]),
    KindMark("rings", "o", COLOURS["paper"]),
    KindMark("diamonds", "D", COLOURS["plant"]),
    KindMark("hollow diamonds", "D", COLOURS["paper"]),
)


def kind_marks(plants: pd.DataFrame) -> dict[str, KindMark]:
    """Give each species of the new plants its mark, in the order in which they first stand.

    Parameters
    ----------
    plants : DataFrame
        The layer of that name.
    """
    new = plants.loc[~plants["existing"].astype(bool), "species"].astype(str)
    return {key: MARKS[min(k, len(MARKS) - 1)] for k, key in enumerate(new.unique())}
