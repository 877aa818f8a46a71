"""Boundaries that lots share: found from both sides, whatever is digitised apart."""

import geopandas as gpd
import pytest
import shapely
from shapely import LineString, Polygon

from screenplan.plan import DEFAULTS
from screenplan.site.overlaps import SLACK_M
from screenplan.site.shared import LEAST_SHARED_M, find_shared
from screenplan.site.sides import find_sides

#: A stretch goes on past its end by as much as the lots may be digitised apart.
PAST_M = SLACK_M


def sides(polygon) -> gpd.GeoDataFrame:
    parcels = gpd.GeoDataFrame({"parcel_id": ["x"], "is_subject": [True]}, geometry=[polygon])
    return find_sides(parcels, plan=DEFAULTS)


def lots(**outlines):
    return {name: sides(outline) for name, outline in outlines.items()}


@pytest.mark.parametrize("apart", [0.0, 0.3, -0.3])
def test_neighbours_share_the_boundary_between_them(apart):
    # Closed form: 30 m, whole sides of both; each is the other's reversed.
    (found,) = find_shared(lots(a=shapely.box(0, 0, 20, 30), b=shapely.box(20 + apart, 0, 40, 30)))
    assert (found.lots, found.sides) == (("a", "b"), ("east", "west"))
    one, other = found.lines
    assert one.length == pytest.approx(30) == other.length
    assert [line.coords[0][1] for line in (one, other)] == pytest.approx([0, 30])


def test_lots_at_a_corner_or_apart_share_nothing():
    square = shapely.box(0, 0, 20, 20)
    assert not find_shared(lots(a=square, b=shapely.box(20, 20, 40, 40)))
    assert not find_shared(lots(a=square, b=shapely.box(20 + 2 * SLACK_M, 0, 40, 20)))
    # Side by side along the road: their fronts run on in one line, and are not shared.
    found = find_shared(lots(a=square, b=shapely.box(20, 0, 40, 20)))
    assert [one.sides for one in found] == [("east", "west")]


def test_a_long_lot_shares_with_each_of_those_behind_it():
    behind = shapely.box(0, 30, 40, 60)
    found = find_shared(lots(a=shapely.box(0, 0, 15, 30), b=shapely.box(15, 0, 40, 30), c=behind))
    lengths = {one.lots: one.lines[0].length for one in found}
    assert set(lengths) == {("a", "b"), ("a", "c"), ("b", "c")}
    assert lengths["a", "c"] == pytest.approx(15)
    # From the long side's own point of view the stretch ends as much later as lots may be apart.
    ends = {one.lots: one.lines[1].length for one in found}
    assert ends["a", "c"] == pytest.approx(15, abs=PAST_M + 1e-6)


def test_a_notch_cuts_a_boundary_into_stretches():
    # b steps back from the boundary for 10 m in its middle, deeper than lots are digitised apart.
    notched = Polygon(
        [(20, 0), (40, 0), (40, 60), (20, 60), (20, 35), (22, 35), (22, 25), (20, 25)]
    )
    a = gpd.GeoDataFrame({"side_id": ["east"]}, geometry=[LineString([(20, 0), (20, 60)])])
    west = LineString([(20, 60), (20, 35), (22, 35), (22, 25), (20, 25), (20, 0)])
    b = gpd.GeoDataFrame({"side_id": ["west"]}, geometry=[west])
    assert notched.exterior.covers(west)
    found = find_shared({"a": a, "b": b})
    assert [one.lines[0].length for one in found] == pytest.approx([25 + PAST_M] * 2, abs=1e-6)
    assert min(one.lines[1].length for one in found) > 25 - LEAST_SHARED_M
