"""Rows of a layer that cannot be used, told together by what is wrong with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from screenplan.ground.errors import InputError, Problem


class Faults:
    """What is wrong with rows of a layer.

    Parameters
    ----------
    layer : str
        The contract's name.
    *faults : tuple of ndarray of bool, str and str
        For each fault which rows have it, (rows,), what is wrong, and how to mend it.

    Examples
    --------
    >>> faults = Faults("plants", (np.array([False, True]), "a plant has no place", "Give it a point"))
    >>> print(faults.problems[0])
    layer plants, row 2: a plant has no place. Give it a point.
    """

    def __init__(self, layer: str, *faults: tuple[np.ndarray, str, str]):
        self.layer = layer
        self._rows: dict[tuple[str, str], list[int]] = {}
        for fault in faults:
            self.note(*fault)

    def note(self, wrong: np.ndarray | int, what: str, mend: str) -> None:
        """Note a fault of the rows that are marked, or of one by its number from 0."""
        rows = np.flatnonzero(wrong) if np.ndim(wrong) else [wrong]
        if len(rows):
            self._rows.setdefault((what, mend), []).extend(int(row) + 1 for row in rows)

    def note_doubles(self, ids: Sequence[str], mend: str) -> None:
        """Note the rows of each identifier that stands there more than once."""
        named = np.asarray(ids, object)
        names, counts = np.unique(named.astype(str), return_counts=True)
        for name, count in zip(names, counts, strict=True):
            if count > 1:
                self.note(named == name, f"the identifier {name} stands there {count} times", mend)

    @property
    def problems(self) -> list[Problem]:
        """A problem for each fault, in the order in which they were noted."""
        return [
            Problem(what, mend, layer=self.layer, rows=rows)
            for (what, mend), rows in self._rows.items()
        ]

    def raise_any(self) -> None:
        """Refuse the layer if anything is wrong with it.

        Raises
        ------
        InputError
            With every problem.
        """
        if self._rows:
            raise InputError(self.problems)
