"""Where rows meet whose kinds take turns: at a corner, or one beside the end of another.

Two groups of one kind that meet would be one group, larger than the plan allows. So plants of one kind never stand side
by side there: that is more than the largest group asks for, and is the same whichever parts of the rows are planted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from screenplan.planting.hedges import living_kind
from screenplan.planting.neighbours import side_by_side


def meeting_pairs(table, kinds: Sequence[str], mixed: np.ndarray | None) -> list[np.ndarray]:
    """List the pairs of candidates of one kind that stand side by side in two rows, one of which at least is mixed.

    Parameters
    ----------
    table : GeoDataFrame
        As `Candidates` has it.
    kinds : sequence of str
        The species of each, by key. A clipped hedge is of the kind that is clipped.
    mixed : ndarray of bool, (plants,), or None
        Which stand in rows of which kinds take turns; None for none.
    """
    if mixed is None:
        return []
    new, stretch = ~table["stands"].to_numpy(bool), table["stretch"].to_numpy(int)
    one, other = side_by_side(table.geometry.to_numpy(), table["gap_m"].to_numpy(float)).T
    living = np.array([living_kind(key) for key in kinds])
    met = (stretch[one] != stretch[other]) & (living[one] == living[other]) & new[one] & new[other]
    met &= mixed[one] | mixed[other]
    return list(np.column_stack([one, other])[met])
