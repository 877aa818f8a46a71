"""The fence: posts by the published spacings, room for the crowns, and the comparison."""

import math

import numpy as np
import pytest
import shapely
import works_site as site
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.contracts import FENCE_OPTIONS, FENCE_POSTS, FENCE_WIRES
from screenplan.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.footprints import crowns_in_year
from screenplan.planting.growth import height_at
from screenplan.planting.species import load_species
from screenplan.works.enclosure import BURIED_M, Ground
from screenplan.works.fence import lay_fence, years_to_outgrow
from screenplan.works.posts import set_posts, spans

FOOT = 0.3048
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
    return crowns_in_year(plants, years, growth="high", curve="smooth").along


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


@settings(deadline=None, max_examples=40)
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
        subject, lines, plants, scheme=scheme, stands_years=5, clearance_m=0.2
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
    tall = float(height_at(species, 5.0, growth="high", stock_height_m=0.9))
    radius = min(species.spread_share * tall, species.full_spread("high")) / 2
    assert crown_radii(plants, 5) == pytest.approx(radius)
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
        subject, lines, plants, scheme="perimeter", stands_years=5, gates=0
    )
    reach = crown_radii(plants, 5)[0] + 0.3 + 0.1
    row = lines.geometry.iloc[0].length
    assert options.set_index("scheme").loc["perimeter", "wire_m"] == pytest.approx(
        2 * (row + 2 * reach) + 4 * reach, abs=1e-6
    )
    assert (stands["role"] == "corner").sum() == 4


def test_the_fence_keeps_out_of_what_is_kept_clear_and_posts_off_buried_lines():
    subject, lines, plants = site.planted()
    x, y = plants.geometry.iloc[12].x, plants.geometry.iloc[12].y
    drive = shapely.box(x - 1.0, y - 20, x + 1.0, y + 5)
    keep_outs = site.layer([drive], keep_out_id=["d"], kind=["driveway"])
    plants = plants.drop(index=[11, 12, 13]).reset_index(drop=True)
    pipe = shapely.LineString([(30.2, 0), (30.2, 60)])
    stands, runs, _ = lay_fence(
        subject, lines, plants, None, utility(pipe), keep_outs, scheme="perimeter", stands_years=3,
        clearance_m=0.1,
    )  # fmt: skip
    own = stands.geometry.to_numpy()
    assert not shapely.intersects(own, drive).any()
    assert not shapely.intersects(runs.geometry.to_numpy(), drive).any()
    assert len(set(stands["fence_id"])) == 2  # one on each side of the drive
    assert shapely.distance(own, pipe).min() >= BURIED_M + 0.05
    assert stands["says"].isna().all()


def test_a_corner_over_a_buried_line_moves_the_fence():
    subject, lines, plants = site.planted()
    end = plants.geometry.iloc[-1]
    # A pipe along the end of the fence, where its corner posts would stand.
    reach = crown_radii(plants, 2)[0] + 0.6 + 0.1
    pipe = shapely.LineString([(end.x - reach - 0.3, 0), (end.x - reach - 0.3, 60)])
    stands, _, _ = lay_fence(subject, lines, plants, None, utility(pipe), scheme="perimeter", stands_years=2, clearance_m=0.6)  # fmt: skip
    own = stands.geometry.to_numpy()
    assert shapely.distance(own, pipe).min() >= BURIED_M + 0.05


def test_no_room_is_refused_with_the_plants_and_the_remedy():
    subject, lines, plants = site.planted()
    with pytest.raises(
        InputError,
        match=r"no room for the fence: the wire would stand .* of plant 1, 2.*fewer years",
    ):
        lay_fence(subject, lines, plants, scheme="perimeter", boundary_m=1.5, stands_years=15)
    _, _, options = lay_fence(
        subject, lines, plants, scheme="none", boundary_m=1.5, stands_years=15
    )
    row = options.set_index("scheme").loc["perimeter"]
    assert not row["possible"]
    assert row["says"].startswith("There is no room for the fence")


def test_cages_that_overlap_are_refused():
    subject, lines, plants = site.planted(spacing=0.7)
    with pytest.raises(
        InputError, match=r"cages 1\.20 m wide do not fit: there is room for 0\.\d\d m"
    ):
        lay_fence(subject, lines, plants, scheme="cages", cage_m=1.2, stands_years=1)


# --- quantities and words ------------------------------------------------------------------------


def test_cages_by_closed_form():
    # Wire 2πr and 0.15 m overlap, 3 posts each (common practice, no source).
    subject, lines, plants = site.planted()
    stands, runs, options = lay_fence(
        subject, lines, plants, scheme="cages", cage_m=0.9, stands_years=3
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
    tolerance="at spacings of 0.75 m and 12 m",
)
def test_at_close_spacing_a_perimeter_is_cheaper_than_cages_and_at_wide_spacing_not():
    # Common practice, no source: a perimeter fence is cheaper than cages at close spacing. Prices are
    # made up; cages pay again where few plants stand far apart.
    def costs(spacing):
        subject, lines, plants = site.planted(spacing=spacing)
        _, _, options = lay_fence(
            subject, lines, plants, stands_years=3, cage_m=0.6, prices=PRICES, roll_m=5.0
        )
        return options.set_index("scheme")["cost"]

    close, wide = costs(0.75), costs(12.0)
    assert close["perimeter"] < close["cages"]
    assert wide["cages"] < wide["perimeter"]


def test_cost_is_the_bill_times_the_prices_and_never_invented():
    subject, lines, plants = site.planted()
    _, _, options = lay_fence(subject, lines, plants, prices=PRICES, stands_years=3)
    row = options.set_index("scheme").loc["perimeter"]
    assert row["cost"] == pytest.approx(
        200 * row["rolls"] + 8 * row["line_posts"] + 15 * (row["corner_posts"] + row["gate_posts"])
        + 90 * row["gates"] + 25 * row["braces"] + 0.05 * row["staples"]
    )  # fmt: skip
    _, _, options = lay_fence(subject, lines, plants, stands_years=3)
    assert options["cost"].isna().all()
    _, _, options = lay_fence(subject, lines, plants, prices={"fence_roll": 1.0}, stands_years=3)
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
    _, _, tall = lay_fence(subject, lines, plants, stands_years=3)
    assert tall["height_m"][0] == pytest.approx(8 * FOOT)
    assert "it is not proof" in tall["says"][0]
    _, _, low = lay_fence(subject, lines, plants, height_m=1.2, stands_years=3)
    assert "only discourages deer" in low["says"][0]
    for says in tall.loc[tall["possible"], "says"]:
        assert "Ask for the local limits on fences" in says
    assert "animals walk round it" in tall.set_index("scheme").loc["outer_side", "says"]


def test_years_until_plants_outgrow_browsing():
    # Invariant of the growth model: low growth is above 1.8 m in that year, and not the year before.
    *_, plants = site.planted(species="thuja_standishii_plicata")
    years = years_to_outgrow(plants, 1.8)
    species = load_species()["thuja_standishii_plicata"]
    after, before = (
        height_at(species, y, growth="low", stock_height_m=0.9) for y in (years, years - 1)
    )
    assert after > 1.8 >= before


def test_no_fence_is_an_empty_layer():
    subject, lines, plants = site.planted()
    stands, runs, options = lay_fence(subject, lines, plants)
    assert len(stands) == len(runs) == 0
    assert not options["chosen"].any()
    conform(stands, FENCE_POSTS)
    conform(runs, FENCE_WIRES)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"scheme": "moat"}, "'moat' is no way to fence. Write one of none, perimeter"),
        ({"animal": "bear"}, "nothing is known about fences against 'bear'. Write one of deer"),
        ({"height_m": -1.0}, r"key fence\.height: -1\.0 m is out of range\. Give 0\.2 to 4 m"),
        ({"post_spacing_m": 0.0}, r"key fence\.post_spacing: 0\.0 m is out of range"),
        ({"stands_years": 0}, "the fence stands 0 years. Give 1 to 20"),
        ({"gates": -1}, "-1 gates are asked for"),
        ({"prices": {"fence_roll": -5}}, r"key cost\.prices: -5 for fence_roll is negative"),
    ],
)
def test_absurd_parameters_are_refused(options, message):
    subject, lines, plants = site.planted()
    with pytest.raises(InputError, match=message):
        lay_fence(subject, lines, plants, **options)
