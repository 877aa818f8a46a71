"""Pegs of what is built first: ends and corners by hand, tapes that no fence stops which is not built yet."""

import math

import pytest
import shapely
import works_site as site
from options_kit import plan_with
from test_stakeout import UNROUNDED_M, two_tapes

from screenplan.contracts import OUTPUTS
from screenplan.outputs.conform import conform
from screenplan.works.built_pegs import pegs_of_built
from screenplan.works.stakeout import stake_out


def new(*lines):
    shapes = [shapely.LineString(line) for line in lines]
    names = [f"new fence {number}" for number in range(1, len(shapes) + 1)]
    return site.layer(shapes, piece_id=names, option=["fence"] * len(shapes))


def test_pegs_stand_at_ends_and_corners_and_none_at_the_stubs_round_a_corner():
    # By hand: two pieces that meet, as they are cut from the outline 0.1 m within the parcel.
    north = [(0.15, 59.9), (0.1, 59.9), (0.1, 20.0)]
    west = [(39.9, 59.85), (39.9, 59.9), (0.1, 59.9), (0.1, 59.85)]
    pegs, legs = pegs_of_built(new(north, west), 4)
    assert [peg.name for peg in pegs] == ["P5", "P6", "P7"]
    assert [tuple(peg.xy) for peg in pegs] == [(0.1, 59.9), (0.1, 20.0), (39.9, 59.9)]
    assert [peg.marks for peg in pegs] == [
        ["new fence 1 begins here", "new fence 2 ends here"], ["new fence 1 ends here"],
        ["new fence 2 begins here"],
    ]  # fmt: skip
    assert [(a.name, b.name, name) for a, b, name in legs] == [
        ("P5", "P6", "new fence 1"), ("P7", "P5", "new fence 2"),
    ]  # fmt: skip


def test_a_piece_that_turns_has_a_peg_there_and_one_that_bends_little_has_none():
    angle = [(0.0, 0.0), (10.0, 0.0), (15.0, 5.0)]
    # 4 cm off the line from end to end.
    bow = [(20.0, 0.0), (25.0, 0.04), (30.0, 0.0)]
    pegs, _ = pegs_of_built(new(angle, bow), 0)
    assert [peg.marks[0].split()[3] for peg in pegs] == [
        "begins",
        "turns",
        "ends",
        "begins",
        "ends",
    ]
    assert pegs_of_built(None, 3) == ([], [])


def staked(**more):
    parcels, lines, plants = site.planted(offset=3.0)
    layers = site.layers(parcels, lines, plants, site.buildings(), **more)
    return stake_out(layers, plan=plan_with(stakeout_mark="orange flag"))


def test_tapes_set_the_pegs_as_if_the_new_fence_did_not_stand():
    fence = new([(0.5, 56.0), (39.5, 56.0)])
    stands = fence.assign(screen_id=fence["piece_id"], kind="fence", height_m=1.8)
    points, pegs, bases, stakes, checks = staked(existing_screens=stands, new_screens=fence)
    mine = pegs.loc[pegs["role"] == "fence"]
    assert [(row.x_m, row.y_m) for row in mine.itertuples()] == [(0.5, 56.0), (39.5, 56.0)]
    assert mine["says"].str.contains("new fence 1 begins here|new fence 1 ends here").all()
    # Invariant: the places are those where the two tapes of the sheet meet.
    known = {row.point_id: complex(row.x_m, row.y_m) for row in points.itertuples()}
    known |= {row.peg_id: complex(row.x_m, row.y_m) for row in pegs.itertuples()}
    assert (mine["method"] == "two tapes").all()
    for row in mine.itertuples():
        there = two_tapes(
            known[row.point_a], known[row.point_b], row.tape_a_m, row.tape_b_m, row.side
        )
        assert abs(there - complex(row.x_m, row.y_m)) < UNROUNDED_M
    proof = checks.iloc[-1]
    assert (proof["kind"], proof["from_name"], proof["to_name"]) == ("between", *mine["peg_id"])
    assert proof["refit_m"] == pytest.approx(39.0)
    assert proof["says"] == "Proves the two pegs between which new fence 1 stands"
    assert checks["check_id"].is_unique
    for name, layer in zip(("tape_points", "pegs", "base_lines", "stakes", "stake_checks"), (points, pegs, bases, stakes, checks), strict=True):  # fmt: skip
        conform(layer, OUTPUTS[name])
    # The plants' own pegs and stakes are those of a site where the fence stands.
    before = staked(existing_screens=stands)
    assert before[1].equals(pegs.loc[pegs["role"] != "fence"])
    assert before[3].equals(stakes)
    # A fence that stands stops tapes from the house; a new one does not.
    across = new([(0.5, 27.0), (39.5, 27.0)])
    beyond = new([(15.0, 40.0), (25.0, 40.0)])
    wall = across.assign(screen_id=["wall"], kind="wall", height_m=2.0)

    def tapes(**layers):
        """From where tapes of the fence's pegs run over the line."""
        points, pegs = staked(**layers)[:2]
        at = points.set_index("point_id")["y_m"]
        fence = pegs.loc[pegs["role"] == "fence"]
        return [at[name] < 27.0 for name in (*fence["point_a"], *fence["point_b"]) if name in at]

    both = shapely.union_all([*across.geometry, *beyond.geometry])
    assert math.isfinite(both.length)
    free = tapes(
        existing_screens=beyond.assign(screen_id=beyond["piece_id"], kind="fence", height_m=1.8),
        new_screens=beyond,
    )
    barred = tapes(existing_screens=wall, new_screens=beyond)
    assert any(free)
    assert not any(barred)
