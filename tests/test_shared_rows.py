"""Who plants which part of a shared boundary, and the rows that give way."""

from itertools import pairwise

import geopandas as gpd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import layer_of
from screenplan.plan.street import Street
from screenplan.planting.shared_rows import (
    LEAST_PLANTS,
    SAME_PLACE_M,
    drawn_sides,
    give_way,
    settle,
    share_out,
    spans_beside,
)
from screenplan.site.shared import Shared

#: Distance between plants, metres.
SPACING = 1.5
LONG = 40.0
BOUNDARY = LineString([(20, 0), (20, LONG)])
STRETCH = Shared(("a", "b"), ("a east", "b west"), (BOUNDARY, shapely.reverse(BOUNDARY)))
ALL = [(0.0, LONG)]


def halves(room=(ALL, ALL), needed=ALL):
    one = settle(STRETCH, Street(), ["a", "b"], {"a east"})
    return share_out(one, room, SPACING, needed)


def planters(shares):
    return [(share.planter, round(share.line.length, 6)) for share in shares]


def test_it_is_settled_by_agreement_then_by_the_plan():
    ids, wanted = ["b", "a"], {"b west"}
    assert settle(STRETCH, Street(), ids, set()).how == "not needed"
    agreed = settle(STRETCH, Street(agreed=[["b", "a"]], shared="first"), ids, wanted)
    assert (agreed.how, agreed.asks("b"), agreed.asks("a")) == ("agreed", "b west", None)
    assert settle(STRETCH, Street(shared="first"), ids, wanted).asks("b") == "b west"
    half = settle(STRETCH, Street(), ids, wanted)
    assert (half.asks("a"), half.asks("b"), half.asks("c")) == ("a east", "b west", None)


def test_each_plants_half_and_half_a_spacing_is_free_at_the_middle():
    first, second = halves()
    assert planters([first, second]) == [("a", 20.0), ("b", 20.0)]
    # What b leaves to a goes half a spacing past the middle, and the other way about.
    assert first.left.length == pytest.approx(20 + SPACING / 2) == second.left.length
    assert first.takes_from("b", "b west")
    assert not first.takes_from("a", "a east")


def test_where_one_lot_alone_has_room_it_plants():
    # a has no room up to 10: b plants there; of the 30 m that both could plant each plants 15.
    assert planters(halves(([(10.0, LONG)], ALL))) == [("b", 10.0), ("a", 15.0), ("b", 15.0)]
    # Room in which no row fits is none.
    assert planters(halves(([(0.0, 1.0), (10.0, LONG)], ALL)))[0] == ("b", 10.0)
    assert planters(halves(([], []))) == [("a", LONG)]
    assert [share.how for share in halves(([], ALL))] == ["whole"]
    assert {share.how for share in halves()} == {"half"}


def test_halves_are_those_of_what_is_needed():
    assert planters(halves(needed=[(20.0, LONG)])) == [("a", 30.0), ("b", 10.0)]
    # Two runs, 4 m and 20 m: the half would be 12 m, 8 m into the second one.
    assert planters(halves(needed=[(2.0, 6.0), (20.0, LONG)])) == [("a", 28.0), ("b", 12.0)]
    # Nearer to the end of a run than three plants it is not cut: each plants one of the runs.
    assert planters(halves(needed=[(2.0, 12.0), (28.0, LONG)])) == [("a", 28.0), ("b", 12.0)]


def test_a_short_boundary_is_planted_by_the_lot_that_has_more_room():
    line = LineString([(0, 0), (0, 5)])
    short = Shared(("a", "b"), ("a east", "b west"), (line, shapely.reverse(line)))
    one = settle(short, Street(), ["a", "b"], {"a east"})
    assert planters(share_out(one, ([], [(0.0, 5.0)]), SPACING)) == [("b", 5.0)]


@st.composite
def spans(draw):
    ends = sorted(draw(st.lists(st.floats(0, LONG), min_size=2, max_size=6)))
    return list(zip(ends[::2], ends[1::2], strict=False))


@given(spans(), spans(), spans())
def test_the_parts_are_the_whole_boundary_and_take_turns(first, second, needed):
    shares = halves((first, second), needed)
    assert sum(share.line.length for share in shares) == pytest.approx(LONG)
    assert all(a.planter != b.planter for a, b in pairwise(shares))
    assert [share.line.coords[0][1] for share in shares] == pytest.approx(
        [0.0, *(share.line.coords[-1][1] for share in shares[:-1])]
    )
    assert min(share.line.length for share in shares) >= SAME_PLACE_M
    # Nobody plants where only the other has room for a row.
    wide = [[s for s in some if s[1] - s[0] >= 2 * SPACING] for some in (first, second)]
    for share in shares:
        mine, other = wide if share.planter == "a" else wide[::-1]
        a, b = share.line.coords[0][1], share.line.coords[-1][1]
        for begin, end in other:
            lone = shapely.box(begin, 0, end, 1)
            for some in mine:
                lone = lone.difference(shapely.box(some[0], -1, some[1], 2))
            part = shapely.box(a, -1, b, 2).intersection(lone)
            assert part.area <= SAME_PLACE_M * 8


def lines(*shapes, side="b west", row=1, offset=2.0) -> gpd.GeoDataFrame:
    records = [
        {"line_id": f"{side}-row{row}", "side_id": side, "row": row, "offset_m": offset,
         "length_m": shape.length, "plantable_m": shape.length}
        for shape in shapes
    ]  # fmt: skip
    return layer_of(PLANTING_LINES, records, shapes, None)


ROW = LineString([(22, LONG), (22, 0)])
GROUND = shapely.box(21, -1, 40, LONG + 1)


def test_a_row_gives_way_to_what_the_neighbour_plants():
    shares = halves()
    (left,) = give_way(lines(ROW), "b", shares, GROUND, SPACING).itertuples()
    # b plants from the middle to the far end, but for half a spacing.
    assert left.length_m == pytest.approx(20 - SPACING / 2) == left.plantable_m
    assert left.geometry.coords[0] == (22, LONG)
    assert left.line_id == "b west-row1"
    assert give_way(lines(ROW), "c", shares, GROUND, SPACING).geometry.iloc[0] == ROW


def test_a_row_that_is_cut_in_the_middle_goes_on_in_parts():
    # Until it is known what is needed, a plants all that it has room for.
    shares = halves(([(10.0, 30.0)], ALL), needed=None)
    assert [share.planter for share in shares] == ["b", "a", "b"]
    cut = give_way(lines(ROW), "b", shares, GROUND, SPACING)
    assert list(cut["line_id"]) == ["b west-row1-part1", "b west-row1-part2"]
    assert cut["length_m"].tolist() == pytest.approx([line.length for line in cut.geometry])


def test_what_holds_no_plant_is_left_out():
    none = shapely.box(30, 0, 40, 40)
    assert not len(give_way(lines(ROW), "b", halves(), none, SPACING))


def test_room_beside_a_boundary_is_that_of_the_first_row():
    ground = shapely.union(shapely.box(21, 0, 40, 10), shapely.box(21, 25, 40, LONG))
    found = spans_beside(lines(ROW), "b west", ground, BOUNDARY)
    assert [end for span in found for end in span] == pytest.approx([0, 10, 25, LONG], abs=0.01)
    assert not spans_beside(lines(ROW, row=2), "b west", ground, BOUNDARY)


def test_a_lot_draws_what_it_wants_and_what_it_may_plant_for_the_other():
    sides = gpd.GeoDataFrame(
        {"side_id": ["b west", "b north"]},
        geometry=[STRETCH.lines[1], LineString([(40, LONG), (20, LONG)])],
    )
    half = [settle(STRETCH, Street(), ["a", "b"], {"a east"})]
    assert drawn_sides("b", sides, ["b north"], half) == ["b west", "b north"]
    agreed = [settle(STRETCH, Street(agreed=[["a", "b"]]), ["a", "b"], {"b west"})]
    assert drawn_sides("b", sides, ["b west", "b north"], agreed) == ["b north"]
    assert LEAST_PLANTS * SPACING < LONG
