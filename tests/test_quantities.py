"""Quantities by closed forms and published tables."""

import math
from dataclasses import replace

import pandas as pd
import pytest
import shapely
import works_site as site
from options_kit import plan_with

from screenplan.contracts import QUANTITIES
from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.ground.units import VOLUME_UNITS, parse_volume
from screenplan.outputs.conform import conform
from screenplan.planting.species import load_species
from screenplan.planting.stock import ball_depth, ball_width, hole_width, planted_height
from screenplan.works.earth import SWELL, Hole, ring_area, strip_along
from screenplan.works.fence import lay_fence
from screenplan.works.kinds import kinds_of
from screenplan.works.quantities import count_material
from screenplan.works.stakeout import stake_out
from screenplan.works.water import litres_each_time, water_stages, years_to_establish

INCH, FOOT, GALLON = 0.0254, 0.3048, 3.785411784


def count(**options) -> pd.DataFrame:
    subject, lines, plants = site.planted(**{k: options.pop(k) for k in list(options) if k in SITE})
    table = count_material(site.layers(subject, lines, plants), plan=plan_with(**options))
    conform(table, QUANTITIES)
    return table.set_index("item")


SITE = {"along", "rows", "spacing", "stock", "height", "species", "shape", "offset"}


def straight_row(number: int, spacing: float):
    """Plants along the x axis, far from any boundary."""
    subject = site.parcels(shapely.box(-50, -50, 200, 50))
    line = shapely.LineString([(0, 0), ((number - 1) * spacing, 0)])
    lines = site.layer([line], line_id=["L"], side_id=["s"], row=[1], offset_m=[1.0])
    plants = site.layer(
        [shapely.Point(i * spacing, 0) for i in range(number)], plant_id=list(range(1, number + 1)),
        line_id="L", row=1, station_m=[i * spacing for i in range(number)],
        gap_before_m=[math.nan] + [spacing] * (number - 1), existing=False, stock="container",
        stock_height_m=0.9, species="thuja_smaragd",
    )  # fmt: skip
    return subject, lines, plants


# --- plants --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("losses", "order"), [(0.0, 26), (0.05, 28), (0.10, 29), (1.0, 52), (1 / 13, 28)]
)
def test_plants_to_order_are_rounded_up_and_the_unrounded_number_is_kept(losses, order):
    # Arithmetic: ceil(26 (1 + losses)); 26 · 14/13 is 28 exactly, and rounding noise buys no more.
    row = count(works_losses=losses).loc["plant"]
    assert row["packs"] == order
    assert row["amount"] == pytest.approx(26 * (1 + losses))


@pytest.mark.parametrize(
    ("deaths", "years", "spare", "share"),
    # 11 % over two years are 1 - 0.89^½ in one; spare plants that were ordered go first.
    [
        (0.11, 2, 0.05, 0.06),
        (0.11, 1, 0.05, 1 - 0.89**0.5 - 0.05),
        (0.11, 2, 0.0, 0.11),
        (0.4, 2, 0.05, 0.35),
    ],
)
def test_the_dead_are_replaced_at_a_cost(deaths, years, spare, share):
    row = count(works_losses=spare, growth_losses=deaths, growth_replaced=years).loc["plant_again"]
    assert row["amount"] == pytest.approx(26 * share)
    assert row["packs"] == math.ceil(26 * share)
    assert row["part"] == "replacements"
    assert "group" in row["how"]


@pytest.mark.parametrize(
    "options", [{"growth_losses": 0.04}, {"growth_replaced": 0}, {"works_losses": 0.11}]
)
def test_nothing_is_bought_again_where_spare_plants_do_or_none_are_replaced(options):
    assert "plant_again" not in count(**options).index


def test_an_order_names_species_stock_height_and_count():
    # Arithmetic: 26 plants and 5 % are 27.3, so 28; the names are the species table's own.
    row = count().loc["plant"]
    assert row["name"] == "Plants: emerald green arborvitae (Thuja occidentalis 'Smaragd')"
    assert row[["species", "stock", "stock_height_m", "packs"]].tolist() == [
        "thuja_smaragd", "container", 0.9, 28,
    ]  # fmt: skip
    nameless = replace(load_species()["thuja_smaragd"], common_name="")
    assert nameless.both_names == "Thuja occidentalis 'Smaragd'"


def mixed_row():
    """Plants of two species, heights and kinds of stock: 4 and 6 of them."""
    subject, lines, plants = straight_row(10, 1.5)
    plants.loc[[1, 3, 5, 7], "species"] = "ilex_opaca"
    plants.loc[[1, 3, 5, 7], "stock"] = "balled"
    plants.loc[[1, 3, 5, 7], "stock_height_m"] = 1.2
    return subject, lines, plants


def test_a_mixed_row_is_ordered_and_dug_kind_by_kind():
    # Arithmetic: each kind by itself, 6 · 1.05 = 6.3 and 4 · 1.05 = 4.2; earth and water are sums.
    subject, lines, plants = mixed_row()
    table = count_material(
        site.layers(subject, lines, plants), plan=plan_with(works_hole_factor=2.0)
    )
    conform(table, QUANTITIES)
    table = table.set_index("item")
    assert table.loc["plant thuja_smaragd", ["stock", "packs"]].tolist() == ["container", 7]
    assert table.loc["plant ilex_opaca", ["stock_height_m", "packs"]].tolist() == [1.2, 5]
    assert "American holly" in table.loc["plant ilex_opaca", "name"]
    kinds = ((6, "container", 0.9), (4, "balled", 1.2))
    cylinder = [n * math.pi / 4 * ball_width(s, h) ** 2 * ball_depth(s, h) for n, s, h in kinds]
    assert table.loc["dug", "amount"] == pytest.approx(4.0 * sum(cylinder))
    assert table.loc["surplus", "amount"] == pytest.approx(sum(cylinder))
    for (_, stock, height), item in zip(kinds, ("thuja_smaragd", "ilex_opaca"), strict=True):
        assert table.loc[f"hole_width {item}", "amount"] == pytest.approx(
            2.0 * ball_width(stock, height)
        )
        assert table.loc[f"hole_depth {item}", "amount"] == pytest.approx(ball_depth(stock, height))
    assert table.loc["water_round", "amount"] == pytest.approx(1000 / 3 * sum(cylinder))
    # Each kind is watered until it is established.
    times = {}
    for kind in kinds_of(plants):
        stages = water_stages(years_to_establish(kind))
        times[kind.stock.key] = sum(stage.times for stage in stages)
    assert times["balled"] != times["container"]
    stages = [
        name
        for name in ("water_daily", "water_often", "water_weekly", "water_later")
        if name in table.index
    ]
    assert table.loc[stages, "amount"].sum() == pytest.approx(
        1000 / 3 * sum(c * times[k[1]] for c, k in zip(cylinder, kinds, strict=True))
    )


# --- holes ---------------------------------------------------------------------------------------


def test_holes_by_closed_form():
    # Cylinder π/4 W² d; the ball's own π/4 b² d is left over.
    table = count(works_hole_factor=3.0)
    b, d, n = ball_width("container", 0.9), ball_depth("container", 0.9), 26
    dug = n * math.pi / 4 * (3 * b) ** 2 * d
    ball = n * math.pi / 4 * b**2 * d
    assert table.loc["dug", "amount"] == pytest.approx(dug)
    assert table.loc["surplus", "amount"] == pytest.approx(ball)
    assert table.loc["backfill", "amount"] == pytest.approx(dug - ball)
    assert table.loc["spoil", "amount"] == pytest.approx(SWELL * dug)
    assert table.loc["hole_width", "amount"] == pytest.approx(3 * b)
    assert table.loc["hole_depth", "amount"] == pytest.approx(d)
    assert count(setbacks_hole=1.2).loc["hole_width", "amount"] == pytest.approx(
        1.2
    )  # a machine's width
    for item in ("hole", "clearing"):
        assert "buried lines located before any digging" in table.loc[item, "caution"]


def test_bare_roots_leave_no_earth_over_and_are_watered_over_their_spread():
    # Bare roots bring no soil: all that was dug goes back. An inch of water over a circle of w:
    # 25.4 mm · π/4 w², and 1 mm over 1 m² is 1 l (arithmetic).
    table = count(stock="bare_root", height=0.9)
    assert table.loc["surplus", "amount"] == 0.0
    assert table.loc["backfill", "amount"] == pytest.approx(table.loc["dug", "amount"])
    each = 25.4 * math.pi / 4 * ball_width("bare_root", 0.9) ** 2
    assert table.loc["water_round", "amount"] == pytest.approx(26 * each)
    told = " ".join(table["how"]) + " ".join(table["name"])
    assert "ball" not in told
    assert "spread of the roots" in table.loc["hole_width", "how"]


@pytest.mark.parametrize(
    ("stock", "word"),
    [("container", "pot"), ("balled", "root ball"), ("plug", "plug"), ("bare_root", "roots")],
)
def test_quantities_speak_of_what_the_stock_has(stock, word):
    table = count(stock=stock, height=0.5)
    for item in ("hole_width", "hole_depth", "backfill", "water_round"):
        assert word in table.loc[item, "how"], item
        assert word == "root ball" or "ball" not in table.loc[item, "how"], item


@pytest.mark.evidence(
    part="Planting work",
    kind="trade",
    against="A hole is at least twice as wide as the ball, for every kind of stock",
    source="Customs of the trade",
    status="common practice",
    tolerance="at least",
)
def test_facts_of_the_trade():
    # Common practice, no source: a hole at least twice the ball's width, and no deeper than the ball.
    for stock in ("plug", "bare_root", "container", "balled"):
        assert hole_width(stock, 0.5) >= 2 * ball_width(stock, 0.5)
    hole = Hole(0.4, 0.3, 2.0)
    assert hole.width_m == 0.8
    # The earth that goes back is three quarters of what comes out: 1 − 1/2².
    assert hole.backfill_m3 / hole.dug_m3 == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("height_ft", "ball_in", "share"), [(4, 16, 0.75), (6, 22, 0.66), (10, 34, 0.60)]
)
@pytest.mark.evidence(
    part="Planting work",
    kind="standard",
    against="Depth of root balls: 75, 66 and 60 % of their width",
    source="ANSI Z60.1, by University of Florida IFAS; the widths themselves are from memory",
    status="read",
    tolerance="exact",
)
def test_depth_of_balled_stock_is_that_of_the_standard(height_ft, ball_in, share):
    # ANSI Z60.1 (read, UF/IFAS): 75 % below 20 in, 66 % to 30 in, 60 % to 48 in.
    assert ball_width("balled", height_ft * FOOT) == pytest.approx(ball_in * INCH)
    assert ball_depth("balled", height_ft * FOOT) == pytest.approx(share * ball_in * INCH)


def test_stock_may_be_as_high_as_the_message_says():
    # The message names the greatest height that may be given: it is allowed, and nothing above it.
    own = {"like": "thuja_smaragd", "mature_height": ["30 m", "60 m"]}
    giant = load_species({"giant": own})["giant"]
    assert planted_height(giant, 60.0) == 60.0
    assert planted_height(giant) == giant.stock_height_m
    for wrong in (0.0, -1.0, 60.001, math.nan):
        with pytest.raises(InputError, match=r"Give a height above 0 m and up to 60 m"):
            planted_height(giant, wrong)
    with pytest.raises(InputError, match="never grows above"):
        planted_height(load_species()["thuja_smaragd"], 59.0)


# --- ground and mulch ----------------------------------------------------------------------------


def test_a_cleared_strip_by_closed_form():
    # A straight row of length L with half the width w beyond its ends: (L + w) w.
    subject, lines, plants = straight_row(21, 1.0)
    strip = strip_along(lines, plants, subject.geometry.iloc[0], width_m=1.2, spacing_m=1.0)
    assert strip.area == pytest.approx((20 + 1.2) * 1.2)


@pytest.mark.parametrize(("asked", "strips"), [(2.0, 1), (None, 1), (1.9, 8)])
def test_a_strip_narrower_than_the_spacing_runs_through(asked, strips):
    # Closed form: 8 plants 2 m apart and half a metre: one strip of (14 + 0.5) 0.5 m², or where the
    # spacing is wider than was asked, eight squares.
    subject, lines, plants = straight_row(8, 2.0)
    strip = strip_along(lines, plants, subject.geometry.iloc[0], width_m=0.5, spacing_m=asked)
    assert shapely.get_num_geometries(strip) == strips
    assert strip.area == pytest.approx(14.5 * 0.5 if strips == 1 else 8 * 0.25)
    # Between plants that stand already nothing is cleared; from them to a new one it is.
    plants["existing"] = [True, True, True, False, False, True, True, True]
    strip = strip_along(lines, plants, subject.geometry.iloc[0], width_m=0.5, spacing_m=asked)
    assert strip.area == pytest.approx(6.5 * 0.5 if strips == 1 else 2 * 0.25)


def test_a_strip_breaks_where_nothing_is_planted_and_stays_inside_the_parcel():
    subject, lines, plants = straight_row(21, 1.0)
    plants = plants.drop(index=[10, 11]).reset_index(drop=True)
    plants.loc[10, "gap_before_m"] = 3.0
    whole = subject.geometry.iloc[0]
    broken = strip_along(lines, plants, whole, width_m=1.0, spacing_m=1.0)
    # Closed form: two strips of 9 and 8 m, a metre longer and a metre wide.
    assert broken.area == pytest.approx(10.0 + 9.0)
    inside = strip_along(lines, plants, shapely.box(-50, -50, 5, 0.2), width_m=1.0, spacing_m=1.0)
    assert inside.area == pytest.approx(5.5 * 0.7)


@pytest.mark.parametrize(("inches", "square_feet"), [(1, 324), (2, 162), (3, 108), (4, 81)])
def test_a_cubic_yard_of_mulch_covers_what_the_table_says(inches, square_feet):
    # Arithmetic table: 1 yd³ covers 324 ft² at 1 in, 162 at 2, 108 at 3, 81 at 4.
    subject, lines, plants = straight_row(21, 1.0)
    width = 1.0
    table = count_material(site.layers(subject, lines, plants), plan=plan_with(works_strip=width, works_mulch_depth=inches * INCH, works_mulch_clear=0.0, works_mulch_bag=parse_volume("1 yd3"), rows_spacing=1.0)).set_index("item")  # fmt: skip
    area = 21.0 * width / FOOT**2
    row = table.loc["mulch"]
    assert row["amount"] / row["pack_amount"] == pytest.approx(area / square_feet, rel=1e-9)
    assert row["packs"] == math.ceil(area / square_feet)


def test_mulch_rings_by_closed_form_and_union():
    # n π/4 (D² − 4 c²), as long as rings do not overlap.
    _, _, plants = straight_row(10, 1.0)
    assert ring_area(plants, ring_m=0.9, clear_m=0.1) == pytest.approx(
        10 * math.pi / 4 * (0.81 - 0.04)
    )
    # Overlapping circles of radius r at distance d: lens 2 r² acos(d/2r) − d/2 √(4r² − d²), counted once.
    r, d = 0.75, 1.0
    lens = 2 * r**2 * math.acos(d / (2 * r)) - d / 2 * math.sqrt(4 * r**2 - d**2)
    both = 10 * math.pi * r**2 - 9 * lens - 10 * math.pi * 0.01
    assert ring_area(plants, ring_m=1.5, clear_m=0.1) == pytest.approx(both, rel=2e-3)


def test_mulch_is_ordered_for_each_time_that_it_is_topped_up():
    # Arithmetic: three times a third of it; bags are bought anew each year, so rounded up each time.
    table = count(works_mulch_top_up=0.25)
    first, again = table.loc["mulch"], table.loc["mulch_again"]
    assert again["amount"] == pytest.approx(3 * 0.25 * first["amount"])
    assert again["packs"] == 3 * math.ceil(0.25 * first["amount"] / first["pack_amount"])
    assert count().loc["mulch_again", "amount"] == pytest.approx(first["amount"])
    assert "mulch_again" not in count(works_mulch="none").index
    assert "mulch_again" not in count(works_mulch_top_up=0.0).index


def test_much_mulch_comes_in_bulk_and_each_topping_up_is_judged_by_itself():
    # Arithmetic: of 2.9 m³ or so the first filling is above 2 m³, a third of it each year is not.
    plain, table = count(), count(works_mulch_bulk=2.0, works_mulch_load=0.5)
    first, again = table.loc["mulch"], table.loc["mulch_again"]
    assert first["amount"] > 2.0 > again["amount"] / 3
    assert (first["pack"], first["pack_amount"]) == ("load", 0.5)
    assert first["packs"] == math.ceil(first["amount"] / 0.5)
    assert again.equals(plain.loc["mulch_again"])
    every = count(works_mulch_bulk=0.1, works_mulch_load=0.5).loc["mulch_again"]
    assert every["packs"] == 3 * math.ceil(again["amount"] / 3 / 0.5)
    assert count(works_mulch_bulk=50.0).equals(plain)


def test_mulch_keeps_off_the_stems_and_none_is_none():
    strip = count(works_mulch_clear=0.1).loc["mulch", "amount"]
    full = count(works_mulch_clear=0.0).loc["mulch", "amount"]
    assert full - strip == pytest.approx(26 * math.pi * 0.01 * 0.075)
    assert "mulch" not in count(works_mulch="none").index


# --- water ---------------------------------------------------------------------------------------


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Water after planting: how often, how long, how much for each inch of stem",
    source="University of Minnesota Extension",
    status="read",
    tolerance="exact",
)
def test_water_by_the_extensions_table():
    # University of Minnesota Extension (read): daily in weeks 1 and 2, every 2 to 3 days in weeks 3
    # to 12, then weekly; 1.5 gal per inch of caliper at most; 1.5 years per inch to establish.
    (kind,) = kinds_of(site.planted()[2])
    daily, often, weekly, later = water_stages(years_to_establish(kind, 2 * INCH))
    assert (daily.first_day, daily.every_days, daily.times) == (0, 1, 14)
    assert (often.first_day, often.every_days, often.times) == (14, 2, 35)
    assert often.last_day < 84
    assert weekly.first_day == 84
    assert weekly.last_day == 364
    assert (later.first_day, later.every_days) == (371, 7)
    assert 3 * 365.25 - 7 < later.last_day <= 3 * 365.25
    assert water_stages(3.0, often_every_days=3)[1].times == 24
    assert litres_each_time("balled", 1.5, 2 * INCH) == pytest.approx(3 * GALLON)
    assert years_to_establish(kind, 2 * INCH) == pytest.approx(3.0)
    # Unmeasured, the stem follows from the height: 3.557 h^1.126 cm, what trees with scale leaves measure.
    assert years_to_establish(kind) == pytest.approx(1.5 * 3.557 * 0.9**1.126 / 2.54)


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Water for a shrub: a third of its container",
    source="University of Minnesota Extension",
    status="read",
    tolerance="exact",
)
def test_water_without_a_caliper_is_a_third_of_the_container():
    # University of Minnesota Extension (read): a quarter to a third of the container's volume.
    volume = math.pi / 4 * ball_width("container", 0.9) ** 2 * ball_depth("container", 0.9)
    table = count()
    each = volume * 1000 / 3
    assert table.loc["water_round", "amount"] == pytest.approx(26 * each)
    assert table.loc["water_daily", "amount"] == pytest.approx(14 * 26 * each)
    assert table.loc["water_often", "amount"] == pytest.approx(35 * 26 * each)
    # Arithmetic: the weeks from day 84 up to 364, 41 of them, then those up to the day on which a stem
    # of 3.557 h^1.126 cm is established, 1.5 years an inch.
    assert table.loc["water_weekly", "amount"] == pytest.approx(41 * 26 * each)
    last = 1.5 * 3.557 * 0.9**1.126 / 2.54 * 365.25
    weeks = math.floor((last - 84) / 7) + 1
    assert table.loc["water_later", "amount"] == pytest.approx((weeks - 41) * 26 * each)
    assert "water_first_year" not in table.index


@pytest.mark.parametrize("years", [0.1, 0.25, 0.9, 1.0, 2.0, 6.0])
@pytest.mark.parametrize("every", [2, 3])
def test_no_day_is_watered_in_two_stages(years, every):
    # Invariant: the rows of water add up, so that their sum is what is poured.
    days = [
        day
        for stage in water_stages(years, often_every_days=every)
        for day in range(stage.first_day, stage.last_day + 1, stage.every_days)
    ]
    assert len(days) == len(set(days))
    assert days == sorted(days)


# --- stake-out and fence -------------------------------------------------------------------------


def test_stakes_line_and_fence_are_counted():
    subject, lines, plants = site.planted()
    posts, runs, options = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(fence_scheme="perimeter")
    )
    _, pegs, bases, stakes, _ = stake_out(
        site.layers(subject, lines, plants, buildings=site.buildings(), fence_posts=posts)
    )
    table = count_material(
        site.layers(
            subject,
            lines,
            plants,
            stakes=stakes,
            pegs=pegs,
            base_lines=bases,
            fence_options=options,
        ),
        plan=plan_with(fence_roll=50.0),
    ).set_index("item")
    assert table.loc["flag", "packs"] == 26
    assert table.loc["peg", "packs"] == len(pegs)
    assert table.loc["line", "amount"] == pytest.approx(bases["slope_m"].max())
    assert table.loc["fence_line_post", "packs"] == int(posts["role"].isin(["line", "brace"]).sum())
    assert table.loc["fence_corner_post", "packs"] == int(
        posts["role"].isin(["corner", "gate"]).sum()
    )
    wire = runs.loc[runs["role"] == "wire", "length_m"].sum()
    assert table.loc["fence_roll", "amount"] == pytest.approx(wire)
    assert table.loc["fence_roll", "packs"] == math.ceil(wire / 50.0)
    assert "buried lines located" in table.loc["fence_line_post", "caution"]


def test_standing_plants_need_nothing():
    subject, lines, plants = site.planted()
    plants.loc[plants.index[:6], "existing"] = True
    table = count_material(
        site.layers(subject, lines, plants), plan=plan_with(works_losses=0.0)
    ).set_index("item")
    assert table.loc["plant", "packs"] == table.loc["hole", "amount"] == 20


# --- units ---------------------------------------------------------------------------------------


def test_volumes_as_people_write_them():
    # Exact by definition: 1 ft = 0.3048 m, 1 gal = 231 in³.
    assert parse_volume("50 l") == 0.05
    assert parse_volume("2 cu ft") == pytest.approx(2 * FOOT**3)
    assert parse_volume("1 yd³") == pytest.approx(27 * FOOT**3)
    assert VOLUME_UNITS["gal"] == pytest.approx(GALLON / 1000)
    for wrong in ("50", "l", "50 kg", 5, "-3 l"):
        with pytest.raises(InputError, match="is not a volume"):
            parse_volume(wrong)


def test_sentences_in_the_users_units():
    text = "rings {0.9 m} wide, {43.5 m²}, {7.5 cm} deep, {2 m³}, {10.0 l} a plant: 24 in, 2 more"
    assert (
        in_units(text)
        == "rings 0.9 m wide, 43.5 m², 7.5 cm deep, 2 m³, 10.0 l a plant: 24 in, 2 more"
    )
    # Arithmetic: 0.9/0.3048, 43.5/0.3048², 7.5/2.54, 2/0.764555, 10/3.785412.
    assert in_units(text, "us") == (
        "rings 3.0 ft wide, 468 sq ft, 3.0 in deep, 2.62 cu yd, 2.6 gal a plant: 24 in, 2 more"
    )


# --- refusals ------------------------------------------------------------------------------------


def test_a_ring_that_leaves_no_mulch_is_refused():
    with pytest.raises(
        InputError, match=r"key works\.ring: .* leaves no mulch 0\.1 m off the stem"
    ):
        count(works_mulch="ring", works_ring=0.2, works_mulch_clear=0.1)


def test_a_ball_larger_than_the_spacing_is_refused_and_holes_that_meet_are_told():
    subject, lines, plants = site.planted(
        stock="balled", height=3.0, species="thuja_occidentalis", spacing=0.8
    )
    with pytest.raises(
        InputError, match=r"the root ball is 0\.85 m wide, and plants stand 0\.\d+ m apart"
    ):
        count_material(site.layers(subject, lines, plants))
    subject, lines, plants = site.planted(spacing=0.5)
    assert "dig a trench" in notes_of(count_material(site.layers(subject, lines, plants)))[0]


def test_a_pair_of_plants_that_stand_in_each_others_balls_is_told():
    subject, lines, plants = straight_row(6, 1.0)
    plants.loc[3, "geometry"] = shapely.Point(2.1, 0)
    notes = notes_of(count_material(site.layers(subject, lines, plants)))
    assert notes[0].startswith("Plants 3, 4 stand nearer to another than their pot is wide")
