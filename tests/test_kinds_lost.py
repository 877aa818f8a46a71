"""One kind of a mixed row gone: against the views traced anew, and a site whose answer is known by hand."""

import numpy as np
import pandas as pd
import pytest
from test_missing import LINES, missing
from test_views import GARDEN, TABLE, row, trace, windows

from screenplan.contracts.tables import notes_of

KINDS = ["cone", "column"]


def mixed(at=None):
    """Groups of three that take turns along one row."""
    plants = row(np.arange(18.0, 42.1, 1.2) if at is None else at, "cone", 3.0)
    return plants.assign(species=[KINDS[number // 3 % 2] for number in range(len(plants))])


def told(plants, **options):
    return [note for note in notes_of(missing(plants, health_kinds_lost=True, **options)[1]) if note.startswith("if all")]  # fmt: skip


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="every case",
    against="the views traced anew without each kind",
    source="the whole step run again",
    status="run",
    tolerance="a per cent, as it is told",
)
@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
def test_the_view_that_opens_most_is_that_of_the_views_traced_without_the_kind(leaves):
    plants = mixed()
    w = pd.concat([windows((0, 6)), windows((-4, 6), name="v")], ignore_index=True)
    said = told(plants, w=w, views_leaves=leaves)

    def share(some):
        views, *_ = trace(
            w, GARDEN, some, line=LINES, growth_years=4, views_report_years=(4,),
            views_leaves=leaves,
        )  # fmt: skip
        return views.set_index("view_id").open_y04

    whole = share(plants)
    assert len(said) == 2
    for kind, note in zip(plants["species"].unique(), said, strict=True):
        left = share(plants[plants["species"] != kind])
        worst = (left - whole).idxmax()
        assert (
            f"worst is {worst}, of which {left[worst]:.0%} is open instead of {whole[worst]:.0%}"
            in note
        )
        assert TABLE[kind].called in note


def test_nothing_is_said_of_one_kind_or_where_nobody_asks():
    assert told(mixed().assign(species="cone")) == []
    notes = notes_of(missing(mixed())[1])
    assert not [note for note in notes if note.startswith("if all")]


def test_a_kind_behind_which_another_stands_opens_nothing_and_the_other_all():
    # By hand: columns 8 m tall close the low window; a cone of 0.3 m stops none of its rays.
    plants = row(np.arange(20.0, 40.1, 0.5), "column", 8.0)
    plants.loc[plants.index[0], ["species", "stock_height_m"]] = ["cone", 0.3]
    low, high = told(plants, w=windows((0, 2), width_m=0.05), buildings=None)
    assert low.startswith("if all cone die, no view opens further")
    assert high.startswith("if all column die, 1 closed view opens")
    assert "100% is open instead of 0%" in high


def test_a_view_that_is_open_with_every_plant_is_not_the_worst():
    # A window with a sill of 8 m looks over most plants: more of its view is open, and less of it opens.
    w = pd.concat([windows((0, 6), sill=8.0, name="high"), windows((0, 6))], ignore_index=True)
    said = told(mixed(np.arange(20.0, 40.1, 0.5)), w=w, buildings=None)
    assert len(said) == 2
    for note in said:
        assert "worst is w0 to g" in note
