"""The fence: posts by the published spacings, room for the crowns, and the comparison."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
import works_site as site
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from shapely.affinity import rotate

from screenplan.contracts import FENCE_OPTIONS, FENCE_POSTS, FENCE_WIRES, GROWTHS
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.species import load_species
from screenplan.planting.stand import stand_of
from screenplan.works.enclosure import BURIED_M, Ground, enclose
from screenplan.works.fence import LONGEST_YEARS, chosen_fence, lay_fence, years_to_outgrow
from screenplan.works.posts import set_posts, spans

FOOT = 0.3048
HIGH = GROWTHS.index("high")
OPEN = Ground(
    shapely.box(-1e3, -1e3, 1e3, 1e3), shapely.box(-1e3, -1e3, 1e3, 1e3), shapely.Polygon()
)
PRICES = {
    "fence_roll": 200.0, "fence_line_post": 8.0, "fence_corner_post": 15.0, "fence_gate": 90.0,
    "fence_brace": 25.0, "fence_staple": 0.05, "cage_post": 4.0,
}  # fmt: skip


def posts(
    path, *, closed=False, spacing=14 * FOOT, brace=330 * FOOT, gates=0, gate=1.2, ground=OPEN
):
    return set_posts(
        shapely.LineString(path), ground, closed=closed, spacing_m=spacing, brace_every_m=brace,
        gates=gates, gate_m=gate,
    )  # fmt: skip


def crown_radii(plants, years):
    return stand_of(plants, years=[years]).crowns(HIGH, 0).along


def utility(geometry, diameter=0.1):
    return site.layer(
        [geometry], utility_id=["u"], kind=["water"], position=["buried"], diameter_m=[diameter]
    )


# --- posts ---------------------------------------------------------------------------------------


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Posts of woven wire and of high-tensile wire",
    source="NRCS 382, specifications of Tennessee and Virginia",
    status="read",
    tolerance="exact",
)
def test_posts_of_a_straight_run_by_the_published_spacing():
    # NRCS 382, Tennessee (read): posts at most 14 ft apart; 100 ft are 8 spans and 9 posts.
    found, runs = posts([(0, 0), (100 * FOOT, 0)])
    assert len(found) == 9
    assert spans(100 * FOOT, 14 * FOOT) == 8
    assert [post.role for post in found] == ["end"] + ["line"] * 7 + ["end"]
    assert sum(run.line.length for run in runs) == pytest.approx(100 * FOOT)
    # Virginia (read): 16.5 ft; high-tensile 30 ft.
    assert spans(100 * FOOT, 16.5 * FOOT) == 7
    assert spans(100 * FOOT, 30 * FOOT) == 4
    assert spans(98 * FOOT, 14 * FOOT) == 7  # exactly 7: rounding buys no post


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Brace assemblies at most 330 ft apart",
    source="NRCS 382, state specifications",
    status="read",
    tolerance="exact",
)
def test_a_brace_assembly_every_330_ft():
    # NRCS 382 (read): a brace assembly every 330 ft. On 1000 ft: two ends and those between, none
    # further than 330 ft from the next.
    found, _ = posts([(0, 0), (1000 * FOOT, 0)])
    braced = np.array([post.station_m for post in found if post.braces])
    assert np.diff(braced).max() <= 330 * FOOT + 1e-6
    assert len(braced) == math.ceil(1000 / 330) + 1


def test_a_closed_fence_with_a_gate():
    # By construction: 40 by 2 m; corners 4 with 2 braces each, 2 gate posts with 1.
    ring = [(0, 0), (40, 0), (40, 2), (0, 2), (0, 0)]
    found, runs = posts(ring, closed=True, spacing=4.0, gates=1, gate=1.2)
    roles = [post.role for post in found]
    assert roles.count("corner") == 4
    assert roles.count("gate") == 2
    assert sum(post.braces for post in found) == 4 * 2 + 2
    # Sides of 40 and 2 m have ceil(L/4) − 1 posts between; the gate's side has two parts of 19.4 m.
    assert roles.count("line") == (10 - 1) + 2 * (5 - 1) + 0
    wire = sum(run.line.length for run in runs if not run.gate)
    assert wire == pytest.approx(84 - 1.2)
    assert [run.line.length for run in runs if run.gate] == [pytest.approx(1.2)]
    stations = sorted(post.station_m for post in found)
    assert max(np.diff(stations)) <= 4.0 + 1e-9


def test_posts_and_runs_lie_at_their_stations():
    # By the definition of a station, on a ring that is turned, with unequal sides and two gates: each post
    # and the beginning of each run is that far along the wire's course, and runs follow one another.
    ring = rotate(shapely.Polygon([(0, 0), (41, 0), (47, 23), (3, 19)]), 27.0).exterior
    found, runs = posts(ring.coords, closed=True, spacing=3.7, brace=9.0, gates=2, gate=1.3)
    for post in found:
        at = ring.interpolate(post.station_m)
        assert (post.x, post.y) == (pytest.approx(at.x), pytest.approx(at.y))
    assert sum(post.role == "gate" for post in found) == 4
    for run in runs:
        at = ring.interpolate(run.station_m)
        assert run.line.coords[0] == (pytest.approx(at.x), pytest.approx(at.y))
    ends = np.cumsum([run.line.length for run in runs])
    assert [run.station_m for run in runs] == pytest.approx([0.0, *ends[:-1]])
    assert ends[-1] == pytest.approx(ring.length)
    assert [run.line.length for run in runs if run.gate] == pytest.approx([1.3, 1.3])
    # A brace, or a post that is braced anyway, at least every 9 m.
    braced = [post.station_m for post in found if post.braces]
    assert np.diff([*braced, braced[0] + ring.length]).max() <= 9.0 + 1e-9


@settings(max_examples=40)
@given(st.floats(5, 300), st.floats(1, 10), st.floats(1, 80), st.floats(0.7, 4))
def test_no_span_exceeds_the_spacing_and_no_post_stands_over_a_buried_line(
    length, spacing, at, wide
):
    zone = shapely.box(at - wide / 2, -5, at + wide / 2, 5)
    ground = Ground(OPEN.subject, OPEN.wire, zone)
    found, _ = posts([(0, 0), (length, 0)], spacing=spacing, ground=ground)
    stations = np.array(sorted(post.station_m for post in found))
    over = [post for post in found if zone.contains(shapely.Point(post.x, post.y))]
    # Only an end of the run itself can lie in the zone, and it says so.
    assert all(post.role == "end" and "buried" in post.says for post in over)
    assert np.diff(stations).max() <= max(spacing, wide + 0.02) + 1e-6


# --- where it stands -----------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["perimeter", "outer_side", "inner_side", "cages"])
@pytest.mark.parametrize("along", [("north",), ("north", "east")])
def test_the_fence_stays_in_the_parcel_and_clear_of_crowns(scheme, along):
    subject, lines, plants = site.planted(along=along)
    stands, runs, options = lay_fence(
        site.layers(subject, lines, plants),
        plan=plan_with(fence_scheme=scheme, fence_years=2, fence_clearance=0.2),
    )
    conform(stands, FENCE_POSTS)
    conform(runs, FENCE_WIRES)
    conform(options, FENCE_OPTIONS)
    inner = site.PARCEL.buffer(-0.3 + 1e-6, join_style="mitre")
    wires = runs.geometry.to_numpy()
    assert shapely.covers(inner, stands.geometry.to_numpy()).all()
    assert shapely.covers(inner, wires).all()
    # Crowns by the growth model, high growth, in the last year.
    species = load_species()["thuja_smaragd"]
    tall = float(height_at(species, 2.0, growth="high", stock_height_m=0.9))
    radius = float(spread_at(species, tall, "high")) / 2
    assert crown_radii(plants, 2) == pytest.approx(radius)
    # Wire of a cage is drawn as 32 chords: less than 1 % inside its circle.
    near = shapely.distance(plants.geometry.to_numpy(), shapely.union_all(wires)).min()
    assert near >= radius * (0.99 if scheme == "cages" else 1.0)
    if scheme == "perimeter":
        assert near >= radius + 0.2 - 1e-6
        assert set(stands["fence_id"]) == set(runs["fence_id"]) == {"F1"}
    assert list(options["chosen"]) == [name == scheme for name in options["scheme"]]


def test_a_perimeter_round_a_straight_row_by_closed_form():
    # The outline is a rectangle: row length and twice the distance by twice the distance, where the
    # distance is crown radius, clearance and the outline's own 0.1 m.
    subject, lines, plants = site.planted()
    stands, _, options = lay_fence(
        site.layers(subject, lines, plants),
        plan=plan_with(fence_scheme="perimeter", fence_years=5, fence_gates=0),
    )
    reach = crown_radii(plants, 5)[0] + 0.3 + 0.1
    row = lines.geometry.iloc[0].length
    assert options.set_index("scheme").loc["perimeter", "wire_m"] == pytest.approx(
        2 * (row + 2 * reach) + 4 * reach, abs=1e-6
    )
    assert (stands["role"] == "corner").sum() == 4


def bent_row(turn, xy=((12, 20), (24, 20), (30, 29))):
    """A row with a bend, in a wide parcel, turned about its first plant."""
    way = rotate(shapely.LineString(xy), turn, origin=xy[0])
    at = np.arange(0.0, way.length + 1e-9, 1.5)
    subject = site.parcels(shapely.box(-50, -50, 90, 110))
    lines = site.layer([way], line_id=["L"], side_id=["s"], row=[1], offset_m=[1.0])
    plants = site.layer(
        [way.interpolate(station) for station in at], plant_id=list(range(1, len(at) + 1)), line_id="L",
        row=1, station_m=at, gap_before_m=[math.nan] + [1.5] * (len(at) - 1), existing=False,
        stock="container", stock_height_m=0.9, species="thuja_smaragd",
    )  # fmt: skip
    return subject, lines, plants


@pytest.mark.parametrize("turn", [0.0, 35.0, 200.0])
def test_a_fence_beside_a_row_by_closed_form(turn):
    # It runs at d, the crown's radius and clearance, from the row, is d longer at both ends, and turns with
    # it: with a bend by b it is longer by 2 d tan(b / 2) on the outside, where it is d / cos(b / 2) from the
    # plant in the bend, and shorter by as much on the inside.
    subject, lines, plants = bent_row(turn)
    d = crown_radii(plants, 4)[0] + 0.3
    a, b, c = (np.array(xy) for xy in lines.geometry.iloc[0].coords)
    bend = math.acos((b - a) @ (c - b) / math.hypot(*(b - a)) / math.hypot(*(c - b)))
    found = []
    for scheme in ("outer_side", "inner_side"):
        _, runs, _ = lay_fence(
            site.layers(subject, lines, plants),
            plan=plan_with(fence_scheme=scheme, fence_years=4, fence_gates=0),
        )
        wire = shapely.union_all(runs.geometry.to_numpy())
        away = shapely.distance(plants.geometry.to_numpy(), wire)
        in_bend = plants["station_m"].to_numpy() == 12.0
        assert away[~in_bend] == pytest.approx(np.full(len(plants) - 1, d), abs=1e-3)
        found.append((runs["length_m"].sum(), away[in_bend][0]))
    straight = plants["station_m"].max() + 2.0 * d
    more = 2.0 * d * math.tan(bend / 2.0)
    assert sorted(found) == [
        (
            pytest.approx(straight - more, abs=2e-3),
            pytest.approx(d / math.cos(bend / 2.0), abs=2e-3),
        ),
        (pytest.approx(straight + more, abs=2e-3), pytest.approx(d, abs=2e-3)),
    ]


@pytest.mark.parametrize("kept_m", [0.3, 1.2])
@pytest.mark.parametrize("turn", [0.0, 35.0])
def test_a_fence_round_clipped_plants_far_apart_by_closed_form(turn, kept_m):
    # Two boxes far apart in their row: round each the outline is a rectangle that lies as it does, by the
    # clearance and the outline's own 0.1 m larger all round.
    table = load_species()
    table["kept"] = replace(
        table["thuja_smaragd"], key="kept", shape="box", kept_height_m=1.6, kept_width_m=kept_m
    )
    subject, lines, plants = bent_row(turn, ((12, 20), (40, 20)))
    pair = (
        plants.iloc[[1, 15]]
        .assign(species="kept", stock_height_m=1.6, gap_before_m=21.0)
        .reset_index(drop=True)
    )
    crown = stand_of(pair, years=[4], species_table=table).crowns(HIGH, 0)
    assert (crown.along[0] > crown.across[0]) == (kept_m == 0.3)
    ground = Ground(subject.geometry[0], subject.geometry[0], shapely.Polygon())
    outlines = enclose(lines, pair, ground, crown, 0.3)
    assert len(outlines) == 2
    across, along = (float(half[0]) + 0.3 + 0.1 for half in (crown.across, crown.along))
    for stem in pair.geometry:
        (outline,) = [outline for outline in outlines if outline.contains(stem)]
        box = shapely.box(stem.x - along, stem.y - across, stem.x + along, stem.y + across)
        box = rotate(box, turn, origin=stem)
        assert outline.symmetric_difference(box).area < 0.03 * box.area


def test_the_fence_keeps_out_of_what_is_kept_clear_and_posts_off_buried_lines():
    subject, lines, plants = site.planted()
    x, y = plants.geometry.iloc[12].x, plants.geometry.iloc[12].y
    drive = shapely.box(x - 1.0, y - 20, x + 1.0, y + 5)
    keep_outs = site.layer([drive], keep_out_id=["d"], kind=["driveway"])
    plants = plants.drop(index=[11, 12, 13]).reset_index(drop=True)
    pipe = shapely.LineString([(30.2, 0), (30.2, 60)])
    stands, runs, _ = lay_fence(site.layers(subject, lines, plants, utilities=utility(pipe), keep_outs=keep_outs), plan=plan_with(fence_scheme="perimeter", fence_years=3, fence_clearance=0.1))  # fmt: skip
    own = stands.geometry.to_numpy()
    assert not shapely.intersects(own, drive).any()
    assert not shapely.intersects(runs.geometry.to_numpy(), drive).any()
    assert len(set(stands["fence_id"])) == 2  # one on each side of the drive
    assert shapely.distance(own, pipe).min() >= BURIED_M + 0.05
    assert stands["says"].isna().all()


def test_what_is_too_small_to_fence_splits_no_fence():
    # By construction: a pipe crosses the row where no corner post stands, and a well ring lies over it, in
    # which 0.2 by 0.2 m are free. Wire may pass over the pipe, so one fence runs round the whole row.
    subject, lines, plants = site.planted()
    x = float(plants.geometry.iloc[12].x + plants.geometry.iloc[13].x) / 2.0
    y = float(plants.geometry.iloc[12].y)
    pipe = shapely.LineString([(x, 0), (x, 60)])
    ring = shapely.box(x - 0.3, y - 0.3, x + 0.3, y + 0.3)
    ring = ring.difference(shapely.box(x - 0.2, y - 0.2, x + 0.2, y + 0.2))
    well = site.layer([ring], keep_out_id=["w"], kind=["well"])
    stands, runs, _ = lay_fence(
        site.layers(subject, lines, plants, utilities=utility(pipe), keep_outs=well),
        plan=plan_with(fence_scheme="perimeter", fence_years=4, fence_gates=0),
    )
    assert set(stands["fence_id"]) == {"F1"}
    assert (stands["role"] == "corner").sum() == 4
    assert shapely.distance(stands.geometry.to_numpy(), pipe).min() >= BURIED_M + 0.05
    assert runs["length_m"].sum() == pytest.approx(
        2 * (lines.geometry.iloc[0].length + 2 * (crown_radii(plants, 4)[0] + 0.4))
        + 4 * (crown_radii(plants, 4)[0] + 0.4)
    )


def test_a_corner_over_a_buried_line_moves_the_fence():
    subject, lines, plants = site.planted()
    end = plants.geometry.iloc[-1]
    # A pipe along the end of the fence, where its corner posts would stand.
    reach = crown_radii(plants, 2)[0] + 0.6 + 0.1
    pipe = shapely.LineString([(end.x - reach - 0.3, 0), (end.x - reach - 0.3, 60)])
    stands, _, _ = lay_fence(site.layers(subject, lines, plants, utilities=utility(pipe)), plan=plan_with(fence_scheme="perimeter", fence_years=2, fence_clearance=0.6))  # fmt: skip
    own = stands.geometry.to_numpy()
    assert shapely.distance(own, pipe).min() >= BURIED_M + 0.05


def test_no_room_is_refused_with_the_plants_and_the_remedy():
    subject, lines, plants = site.planted()
    with pytest.raises(
        InputError,
        match=r"no room for the fence: the wire would stand .* of plant 1, 2.*fewer years",
    ):
        lay_fence(
            site.layers(subject, lines, plants),
            plan=plan_with(fence_scheme="perimeter", fence_boundary=1.5, fence_years=15),
        )
    _, _, options = lay_fence(
        site.layers(subject, lines, plants),
        plan=plan_with(fence_scheme="none", fence_boundary=1.5, fence_years=15),
    )
    row = options.set_index("scheme").loc["perimeter"]
    assert not row["possible"]
    assert row["says"].startswith("There is no room for the fence")


def test_cages_that_overlap_are_refused():
    subject, lines, plants = site.planted(spacing=0.7)
    with pytest.raises(
        InputError, match=r"cages 1\.20 m wide do not fit: there is room for 0\.\d\d m"
    ):
        lay_fence(
            site.layers(subject, lines, plants),
            plan=plan_with(fence_scheme="cages", fence_cage=1.2, fence_years=1),
        )


def test_where_all_plants_stand_none_gets_a_cage():
    # Evidence: trivial; a row that stands already has no new plant to be kept from browsing.
    subject, lines, plants = site.planted()
    plants["existing"] = True
    _, _, options = lay_fence(site.layers(subject, lines, plants))
    row = options.set_index("scheme").loc["cages"]
    assert not row["possible"]
    assert row["says"] == "All plants stand already, and none of them gets a cage"
    with pytest.raises(InputError, match=r"key fence\.scheme: all plants stand already"):
        lay_fence(site.layers(subject, lines, plants), plan=plan_with(fence_scheme="cages"))


# --- quantities and words ------------------------------------------------------------------------


def test_cages_by_closed_form():
    # Wire 2πr and 0.15 m overlap, 3 posts each (common practice, no source).
    subject, lines, plants = site.planted()
    stands, runs, options = lay_fence(
        site.layers(subject, lines, plants),
        plan=plan_with(fence_scheme="cages", fence_cage=0.9, fence_years=1),
    )
    row = options.set_index("scheme").loc["cages"]
    assert row["wire_m"] == pytest.approx(26 * (math.pi * 0.9 + 0.15))
    assert row["line_posts"] == 3 * 26
    assert row["rolls"] == 1
    assert list(runs["role"]) == ["cage"] * 26
    assert list(stands["role"]) == ["cage"] * 3 * 26


@pytest.mark.evidence(
    part="Planting work",
    kind="trade",
    against="A fence round a row is cheaper than cages where plants stand close, and dearer where they stand far apart",
    source="Customs of the trade; the prices are made up",
    status="common practice",
    tolerance="at spacings of 1.1 m and 12 m",
)
def test_at_close_spacing_a_perimeter_is_cheaper_than_cages_and_at_wide_spacing_not():
    # Common practice, no source: a perimeter fence is cheaper than cages at close spacing. Prices are
    # made up; cages pay again where few plants stand far apart.
    def costs(spacing):
        subject, lines, plants = site.planted(spacing=spacing)
        _, _, options = lay_fence(
            site.layers(subject, lines, plants),
            plan=plan_with(fence_years=1, fence_cage=1.0, cost_prices=PRICES, fence_roll=5.0),
        )
        return options.set_index("scheme")["cost"]

    close, wide = costs(1.1), costs(12.0)
    assert close["perimeter"] < close["cages"]
    assert wide["cages"] < wide["perimeter"]


def test_cost_is_the_bill_times_the_prices_and_never_invented():
    subject, lines, plants = site.planted()
    _, _, options = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(cost_prices=PRICES, fence_years=3)
    )
    row = options.set_index("scheme").loc["perimeter"]
    assert row["cost"] == pytest.approx(
        200 * row["rolls"] + 8 * row["line_posts"] + 15 * (row["corner_posts"] + row["gate_posts"])
        + 90 * row["gates"] + 25 * row["braces"] + 0.05 * row["staples"]
    )  # fmt: skip
    _, _, options = lay_fence(site.layers(subject, lines, plants), plan=plan_with(fence_years=3))
    assert options["cost"].isna().all()
    _, _, options = lay_fence(
        site.layers(subject, lines, plants),
        plan=plan_with(cost_prices={"fence_roll": 1.0}, fence_years=3),
    )
    assert options["cost"].isna().all()
    assert "give the price of" in options["says"][0]


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Height of a fence against deer: 8 ft; a low one only discourages them (common practice)",
    source="Craven and Hygnstrom, Deer, 1994",
    status="read",
    tolerance="exact",
)
def test_words_are_honest():
    # 8 ft against deer: Craven and Hygnstrom 1994 (read); a low fence only discourages (common practice).
    subject, lines, plants = site.planted()
    _, _, tall = lay_fence(site.layers(subject, lines, plants), plan=plan_with(fence_years=3))
    assert tall["height_m"][0] == pytest.approx(8 * FOOT)
    assert "it is not proof" in tall["says"][0]
    _, _, low = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(fence_height=1.2, fence_years=3)
    )
    assert "only discourages deer" in low["says"][0]
    for says in tall.loc[tall["possible"], "says"]:
        assert "Ask for the local limits on fences" in says
    assert "animals walk round it" in tall.set_index("scheme").loc["outer_side", "says"]


def test_years_until_plants_outgrow_browsing():
    # Invariant of the growth model: low growth is above 1.8 m in that year, and not the year before.
    *_, plants = site.planted(species="thuja_standishii_plicata")
    stand = stand_of(plants, years=LONGEST_YEARS)
    years = years_to_outgrow(stand, ~plants["existing"].to_numpy(bool), 1.8)
    species = load_species()["thuja_standishii_plicata"]
    after, before = (
        height_at(species, y, growth="low", stock_height_m=0.9) for y in (years, years - 1)
    )
    assert after > 1.8 >= before


def test_no_fence_is_an_empty_layer():
    subject, lines, plants = site.planted()
    stands, runs, options = lay_fence(site.layers(subject, lines, plants))
    assert len(stands) == len(runs) == 0
    assert not options["chosen"].any()
    conform(stands, FENCE_POSTS)
    conform(runs, FENCE_WIRES)


def test_the_fence_that_is_built_is_the_one_that_is_marked():
    options = pd.DataFrame({"scheme": ["perimeter", "cages"], "chosen": [False, True]})
    assert chosen_fence(options)["scheme"] == "cages"
    assert chosen_fence(options.assign(chosen=False)) is None
    assert chosen_fence(None) is None
