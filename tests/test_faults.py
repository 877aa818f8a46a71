"""Rows that cannot be used, told together."""

import numpy as np
import pytest

from screenplan.ground.errors import InputError
from screenplan.ground.faults import Faults


# By hand: rows are counted from 1, a fault once with all its rows, in the order in which faults were noted.
def test_rows_of_a_fault_are_told_together_in_the_order_of_the_faults():
    faults = Faults("windows", (np.array([False, False]), "no row has this", "Nothing to do"))
    faults.raise_any()
    faults.note(3, "no sill", "Give sill_m")
    faults.note(np.array([True, False, True]), "no place", "Give a point")
    faults.note(0, "no sill", "Give sill_m")
    with pytest.raises(InputError) as refused:
        faults.raise_any()
    assert [(p.what, p.mend, p.layer, list(p.rows)) for p in refused.value.problems] == [
        ("no sill", "Give sill_m", "windows", [4, 1]),
        ("no place", "Give a point", "windows", [1, 3]),
    ]


# By hand: "b" stands in the second and the fourth row; identifiers that stand once are no fault.
def test_identifiers_that_stand_twice_are_told_with_their_rows():
    faults = Faults("private_places")
    faults.note_doubles(["a", "b", "c", "b"], "Give each its own")
    (problem,) = faults.problems
    assert problem.what == "the identifier b stands there 2 times"
    assert list(problem.rows) == [2, 4]
