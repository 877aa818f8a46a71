"""One kind of a mixed row gone: against the views traced anew, and a site whose answer is known by hand."""

import numpy as np
import pandas as pd
import pytest
from test_missing import LINES
from test_views import GARDEN, HOUSE, TABLE, row, trace, windows
from views_kit import follow

from screenplan.contracts import KINDS_LOST
from screenplan.contracts.tables import notes_of
from screenplan.outputs.conform import conform
from screenplan.running.pipeline import steps_for
from screenplan.views.kinds_lost import tell_kinds_lost

KINDS = ["cone", "column"]


def mixed(at=None):
    """Groups of three that take turns along one row."""
    plants = row(np.arange(18.0, 42.1, 1.2) if at is None else at, "cone", 3.0)
    return plants.assign(species=[KINDS[number // 3 % 2] for number in range(len(plants))])


def lost(plants, *, w, buildings=HOUSE, **options):
    """Give the table of the step."""
    layers = {
        "windows": w, "private_places": GARDEN, "planting_lines": LINES, "plants": plants,
        "buildings": buildings,
    }  # fmt: skip
    options = {
        "species_table": TABLE,
        "growth_curve": "straight",
        "views_missing_year": 4,
    } | options
    found = follow(tell_kinds_lost, layers, **options)
    conform(found, KINDS_LOST)
    assert notes_of(found) == tuple(found["says"])
    return found


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="every case",
    against="the views traced anew without each kind",
    source="the whole step run again",
    status="run",
    tolerance="1e-9",
)
@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
def test_the_view_that_opens_most_is_that_of_the_views_traced_without_the_kind(leaves):
    plants = mixed()
    w = pd.concat([windows((0, 6)), windows((-4, 6), name="v")], ignore_index=True)
    table = lost(plants, w=w, views_leaves=leaves)

    def share(some):
        views, *_ = trace(
            w, GARDEN, some, line=LINES, growth_years=4, views_report_years=(4,),
            views_leaves=leaves,
        )  # fmt: skip
        return views.set_index("view_id").open_y04

    whole = share(plants)
    assert table["species"].tolist() == KINDS
    for record in table.to_dict("records"):
        kind = record["species"]
        left = share(plants[plants["species"] != kind])
        worst = (left - whole).idxmax()
        assert record["worst_view"] == worst
        assert [record["open"], record["open_without"]] == pytest.approx(
            [whole[worst], left[worst]], abs=1e-9
        )
        opened = left.index[(whole <= 0.05) & (left > 0.05)]
        assert record["views_opened"] == len(opened)
        assert record["plants"] == (plants["species"] == kind).sum()
        assert (
            f"worst is {worst}, of which {left[worst]:.0%} is open instead of {whole[worst]:.0%}"
            in record["says"]
        )
        assert TABLE[kind].called in record["says"]
    assert table["share"].sum() == pytest.approx(1.0)


# Invariant: a hedge that is clipped dies with its kind, so that what is lost is the same whichever of both is planted.
def test_a_kind_and_its_own_clipped_hedge_die_as_one():
    w, plants = windows((0, 6)), mixed()
    some = plants["species"].where(
        (plants["species"] != "cone") | (plants.index % 2 == 0), "cone_clipped"
    )
    assert some.nunique() == 3
    table = TABLE | {"cone_clipped": TABLE["cone"]}
    found = lost(plants.assign(species=some), w=w, species_table=table)
    pd.testing.assert_frame_equal(found, lost(plants, w=w))
    cones = plants.assign(species=some)[plants["species"] == "cone"].reset_index(drop=True)
    assert lost(cones, w=w, species_table=table).empty


def test_nothing_is_said_of_one_kind_or_where_nobody_asks():
    assert lost(mixed().assign(species="cone"), w=windows((0, 6))).empty
    (step,) = [step for step in steps_for([]) if step.name == "kinds_lost"]
    assert step.asked == "health.kinds_lost"


def test_a_kind_behind_which_another_stands_opens_nothing_and_the_other_all():
    # By hand: columns 8 m tall close the low window; a cone of 0.3 m stops none of its rays.
    plants = row(np.arange(20.0, 40.1, 0.5), "column", 8.0)
    plants.loc[plants.index[0], ["species", "stock_height_m"]] = ["cone", 0.3]
    table = lost(plants, w=windows((0, 2), width_m=0.05), buildings=None)
    assert table["views_opened"].tolist() == [0, 1]
    assert table["opened"].tolist()[1] == "w0 to g"
    low, high = table["says"]
    assert low.startswith("if all cone die, no view opens further")
    assert high.startswith("if all column die, 1 closed view opens")
    assert "100% is open instead of 0%" in high


def test_a_view_that_is_open_with_every_plant_is_not_the_worst():
    # A window with a sill of 8 m looks over most plants: more of its view is open, and less of it opens.
    w = pd.concat([windows((0, 6), sill=8.0, name="high"), windows((0, 6))], ignore_index=True)
    table = lost(mixed(np.arange(20.0, 40.1, 0.5)), w=w, buildings=None)
    assert table["worst_view"].tolist() == ["w0 to g"] * 2
