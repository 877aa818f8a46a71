"""Where plants may be set: on ground of their own kind, clear of places, never two on one ground."""

from itertools import combinations

import numpy as np
import pytest
import shapely
from design_site import TABLE, options, site
from options_kit import plan_with
from parcel_kit import PLAIN, layer
from scipy.sparse import csr_array
from shapely.geometry import LineString, Polygon, box
from test_views import species

from screenplan.design.candidates import exclusive_spots, find_candidates
from screenplan.design.chosen import layers_of
from screenplan.design.kinds import Offer, hedge_hint, list_options, narrower_option, short_list
from screenplan.design.reduced import useful_plants
from screenplan.design.row_lines import BEND_M
from screenplan.design.row_lines import _beside as beside
from screenplan.ground.errors import NoRoomError
from screenplan.plan import DEFAULTS
from screenplan.planting.species import load_species
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import Rule

#: Half the mature spread of each kind keeps inside the line.
BY_WIDTH = (Rule("crown", "boundary", per_mature_spread=0.5, measured_from="line", reason="test"),)
PLACES = [box(-6, -9, 2, -5)]


def found(layers=None, rules=PLAIN, **values):
    values = {"design_kinds": ["column", "broad"], "design_spacings": [1.0, 1.5], "rows_along": ()} | values  # fmt: skip
    plan = options(**values)
    layers = site(at=(0.0,), places=PLACES) if layers is None else layers
    offer = list_options(plan, TABLE, 10)
    return (
        find_candidates(layers, offer.options, plan=plan, rules=rules, species_table=TABLE),
        layers,
        plan,
    )


def test_each_stands_on_the_ground_of_its_own_kind_and_clear_of_the_places():
    candidates, layers, plan = found(rules=BY_WIDTH, design_inner=True)
    table = candidates.table
    for number, option in enumerate(candidates.options):
        # Independent: the step that marks the zones, asked for that kind alone.
        asked = plan.model_copy(
            update={"plants": plan.plants.model_copy(update={"species": option.species.key})}
        )
        zones, _ = mark_zones(layers, plan=asked, rules=BY_WIDTH, species_table=TABLE)
        stems = table.loc[table["option"] == number].geometry
        assert len(stems) > 20
        assert not shapely.intersects(shapely.union_all(zones.geometry.to_numpy()), stems).any()
        assert stems.distance(PLACES[0]).min() >= option.half_m
    # Each kind at its own setback: half its width.
    sides = table.loc[table["side_id"] == "north"]
    offsets = sides.groupby("option")["offset_m"].first().round(2).tolist()
    assert offsets == [0.5, 0.5, 1.0, 1.0]


def test_stations_are_no_farther_apart_than_the_spacing_and_reach_the_ends():
    candidates, *_ = found()
    for stretch, own in candidates.table.groupby("stretch"):
        spacing = candidates.options[own["option"].iloc[0]].spacing_m
        at = own["station_m"].to_numpy()
        assert at[0] == 0.0
        assert at[-1] == pytest.approx(candidates.lines[stretch].length)
        assert np.diff(at).max() <= spacing + 1e-9
        assert np.diff(at) == pytest.approx(own["gap_m"].iloc[0])


# By hand: a box keeps its corners, and each edge lies the distance, and what simplifying may take, outside it.
def test_lines_beside_a_place_lie_the_distance_outside_it():
    place = box(0, 0, 6, 4)
    lines = beside(place, 2.0)
    assert len(lines) == 4
    assert [line.distance(place) for line in lines] == pytest.approx([2.0 + BEND_M] * 4)
    # Round ones are simplified, and come no nearer for it.
    circle = shapely.Point(0, 0).buffer(5.0, quad_segs=32)
    assert min(line.distance(circle) for line in beside(circle, 2.0)) >= 2.0


# By hand: a plant alone stands in the middle of a line as long as its spacing, within what may be planted.
def test_a_plant_alone_stands_in_the_middle_of_its_line():
    candidates, *_ = found()
    table = candidates.table
    whole = candidates.lines[0].length
    mine = np.flatnonzero(table["stretch"] == 0)
    for k, at in ((mine[0], 0.0), (mine[3], None)):
        made = layers_of(candidates, [np.array([k])], None)
        spacing = candidates.options[int(table["option"].iloc[k])].spacing_m
        (line,), (station,) = made.planting_lines.geometry, made.plants["station_m"]
        assert station == pytest.approx(0.5 * spacing if at is None else at)
        assert line.length == pytest.approx(station + 0.5 * spacing)
        assert line.length < whole


# Independent: every pair is measured.
def test_two_on_one_ground_exclude_each_other_and_neighbours_never_do():
    candidates, layers, _ = found(design_inner=True)
    table = candidates.table
    spots = exclusive_spots(candidates, layers["sides"])
    excluded = {pair for spot in spots for pair in combinations(sorted(spot.tolist()), 2)}
    stretch, ground = table["stretch"].to_numpy(), table["ground"].to_numpy()
    gap, x = table["gap_m"].to_numpy(), table.geometry.x.to_numpy()
    stems = table.geometry.to_numpy()
    apart = shapely.distance(stems[:, None], stems[None, :])
    half = np.array([one.species.final_width("typical") / 2 for one in candidates.options])
    crown = half[table["option"].to_numpy(int)]
    checked = 0
    for one, other in combinations(range(len(table)), 2):
        room = 0.5 * (gap[one] + gap[other])
        if stretch[one] == stretch[other]:
            assert (one, other) not in excluded
        elif ground[one] != ground[other]:
            # Nor does a stem stand under a grown crown of another line.
            room = max(room, crown[one], crown[other])
            assert ((one, other) in excluded) == (apart[one, other] < room - 1e-5)
        elif ground[one] == "north" and abs(abs(x[one] - x[other]) - room) > 1e-4:
            # The northern side runs along x, whatever the setback.
            assert ((one, other) in excluded) == (abs(x[one] - x[other]) < room)
            checked += 1
    assert checked > 500


def test_neighbours_of_a_bent_side_never_exclude_each_other():
    bent = Polygon([(-20, -15), (20, -15), (20, 2), (8, 2), (0, -4), (-8, 2), (-20, 2)])
    layers = site(at=(0.0,))
    layers["parcels"] = layers["parcels"].set_geometry([bent])
    layers["sides"] = (
        layers["sides"]
        .iloc[[2]]
        .set_geometry([shapely.LineString([(20, 2), (8, 2), (0, -4), (-8, 2), (-20, 2)])])
    )
    candidates, layers, _ = found(layers, rows_along=["north"])
    stretch = candidates.table["stretch"].to_numpy()
    spots = exclusive_spots(candidates, layers["sides"])
    assert len(spots) > 50
    for spot in spots:
        assert len(np.unique(stretch[spot])) == len(spot)


def test_the_sides_that_are_named_are_kept_to_and_inner_lines_can_be_switched_off():
    candidates, *_ = found(rows_along=["north"], design_inner=False)
    assert set(candidates.table["side_id"]) == {"north"}
    candidates, *_ = found(rows_along=["north"], design_inner=True)
    assert {"north", "p0-edge1"} <= set(candidates.table["side_id"])


def test_beside_a_place_nothing_is_chosen_from_where_no_outline_is_known():
    drawn = layer(line_id=["mine"], geometry=[LineString([(-19, 0), (19, 0)])])
    row = site(at=(0.0,), places=PLACES, planting_line=drawn)
    known, *_ = found(row, rows_along=("mine",), design_inner=True)
    assert len(set(known.table["ground"])) > 1
    row["parcels"], row["sides"] = row["parcels"].iloc[:0], row["sides"].iloc[:0]
    candidates, *_ = found(row, design_inner=True)
    assert set(candidates.table["ground"]) == {"mine"}


def test_what_grows_too_tall_at_the_boundary_is_left_out_there():
    candidates, layers, _ = found(boundary_most_height=3.0, boundary_within=4.0, design_inner=True)
    outline = layers["parcels"].geometry.iloc[0].boundary
    assert len(candidates.table)
    assert candidates.table.distance(outline).min() > 4.0


def test_at_a_road_its_own_height_holds():
    layers = site(at=(0.0,), places=PLACES)
    names = layers["sides"]["side_id"].tolist()
    layers["sides"]["across_kind"] = ["parcel" if name == "north" else "road" for name in names]
    candidates, *_ = found(layers, boundary_most_height_at_road=3.0, boundary_within=4.0, design_inner=True)  # fmt: skip
    at = layers["sides"]["across_kind"] == "road"
    roads = layers["sides"].geometry[at].union_all()
    north = layers["sides"].geometry[~at].union_all()
    assert candidates.table.distance(roads).min() > 4.0
    assert candidates.table.distance(north).min() < 4.0


def test_where_nothing_may_stand_the_rules_are_named():
    blocked = site(keep_outs=layer(keep_out_id=["k"], kind=["lawn"], geometry=[box(-20, -15, 20, 2)]))  # fmt: skip
    with pytest.raises(NoRoomError, match="no plant may stand anywhere on the line"):
        found(blocked)


def test_derived_places_end_where_the_narrowest_screen_begins():
    layers = site(at=(0.0,), places=[box(-6, -9, 2, 1.9)])
    layers["private_places"]["derived"] = True
    candidates, *_ = found(layers)
    # The line lies at y = 0, and the narrowest is half a metre wide to either side.
    assert candidates.private_places.total_bounds[3] == pytest.approx(-0.5, abs=0.01)
    north = candidates.table.loc[candidates.table["side_id"] == "north"]
    # The broad one reaches a metre to either side, and stands beside the place only.
    x = north.loc[north["option"] >= 2].geometry.x
    assert not ((x > -6.8) & (x < 2.8)).any()
    assert ((north.loc[north["option"] < 2].geometry.x - 0.0).abs() < 1.0).any()


def test_the_short_list_goes_from_narrow_to_wide_and_makes_ever_more_screen():
    table = load_species()
    listed = short_list(table, 10, zone=5)
    room = [kind.final_width("high") for kind in listed]
    assert room == sorted(room)
    assert 2 <= len(listed) <= 5
    assert all(kind.hardiness_zones[0] <= 5 <= kind.hardiness_zones[1] for kind in listed)
    # By definition: no kind that is left out is as narrow and makes more screen than a listed one.
    narrow, wide = species("column", 1.0), species("column", 3.0)
    better = {"narrow": narrow, "wide": wide, "tall": species("column", 3.0, growth=(0.5, 0.6, 0.7))}  # fmt: skip
    assert [kind.mature_spread_m[0] for kind in short_list(better, 10)] == [1.0, 3.0]
    assert short_list(better, 10)[1].yearly_growth_m[1] == 0.6


@pytest.mark.parametrize("zone", range(5, 10))
def test_where_the_zone_is_not_known_what_is_listed_stands_the_winters_of_each(zone):
    # By definition of the zones: what stands the winters of one stands those of every milder one. Before, 2 of 5 kinds
    # that were listed did not in zone 5, and 1 of 5 in zone 6.
    listed = short_list(load_species(), 10)
    assert len(listed) >= 3
    assert all(kind.hardiness_zones[0] <= zone for kind in listed)


def test_a_plant_is_kept_where_a_run_may_need_it():
    stops = np.zeros((9, 1), bool)
    stops[4] = True
    kept = useful_plants(csr_array(stops), np.array([0] * 6 + [1] * 3), 3)
    # By hand: two to either side, within the stretch.
    assert np.flatnonzero(kept).tolist() == [2, 3, 4, 5]
    stops[0] = True
    # The one between 1 and 3 is no gap of two, and stays.
    kept = useful_plants(csr_array(stops), np.array([0] * 6 + [1] * 3), 2, 2)
    assert np.flatnonzero(kept).tolist() == [0, 1, 2, 3, 4, 5]
    kept = useful_plants(csr_array(stops), np.array([0] * 6 + [1] * 3), 2, 1)
    assert np.flatnonzero(kept).tolist() == [0, 1, 3, 4, 5]


def test_a_size_that_costs_no_less_and_is_never_larger_is_left_out():
    def sizes(prices, **values):
        plan = options(
            design_kinds=["column", "broad"],
            design_spacings=[1.0],
            cost_prices={},
            hand_prices=prices,
            **values,
        )
        return [(one.species.key, one.height_m) for one in list_options(plan, TABLE, 10).options]

    # Taller costs more: a choice. Taller costs the same or less: none.
    rising = {"0.9 m": 10.0, "1.5 m": 20.0}
    assert sizes(rising) == [(kind, size) for kind in ("column", "cone") for size in (0.9, 1.5)]
    assert sizes({"0.9 m": 20.0, "1.5 m": 20.0}) == [("column", 1.5), ("cone", 1.5)]
    assert sizes({"0.9 m": 20.0, "1.5 m": 10.0}) == [("column", 1.5), ("cone", 1.5)]


def test_a_clipped_hedge_of_the_plans_own_is_among_the_short_list():
    kept = {
        "like": "prunus_laurocerasus",
        "shape": "box",
        "kept_height": "3 m",
        "kept_width": "0.8 m",
    }
    listed = short_list(load_species({"hedge": kept}), 10)
    assert "hedge" in [kind.key for kind in listed]


# --- two rows ------------------------------------------------------------------------------------


def test_a_second_row_stands_in_the_middle_of_each_gap_further_in():
    candidates, *_ = found(rows_rows=2, design_kinds=["column"], design_spacings=[1.0], rows_along=["north"], design_inner=False)  # fmt: skip
    table = candidates.table
    (stretch,) = table["stretch"].unique()
    first, second = (table.loc[table["row"] == row] for row in (1, 2))
    # Closed form: one fewer, in the middle, sqrt(3) / 2 of the spacing nearer to the garden, which lies in the south.
    assert len(second) == len(first) - 1
    x = np.array([point.x for point in first.geometry])
    assert [point.x for point in second.geometry] == pytest.approx((x[:-1] + x[1:]) / 2)
    inward = first.geometry.y.iloc[0] - second.geometry.y.to_numpy()
    assert inward == pytest.approx(np.sqrt(3) / 2)
    # They follow each other from row to row, and lie on the lines of their rows.
    assert table["row"].tolist() == [1, 2] * len(second) + [1]
    assert (np.diff(table["station_m"]) > 0).all()
    assert second.distance(candidates.seconds[stretch]).max() < 1e-9
    assert second["offset_m"].iloc[0] - first["offset_m"].iloc[0] == pytest.approx(np.sqrt(3) / 2)


def test_a_second_row_stands_away_from_a_place_and_where_it_may():
    candidates, layers, plan = found(rows_rows=2, rows_row_distance=1.2, design_kinds=["column"], plants_species="column", design_inner=True)  # fmt: skip
    table = candidates.table
    zones, _ = mark_zones(layers, plan=plan, rules=PLAIN, species_table=TABLE)
    assert not shapely.intersects(
        shapely.union_all(zones.geometry.to_numpy()), table.geometry
    ).any()
    inner = table.loc[table["ground"].str.contains("-edge")]
    away = inner.groupby("row")["geometry"].agg(lambda stems: min(stem.distance(PLACES[0]) for stem in stems))  # fmt: skip
    assert away[2] > away[1] + 1.0
    # A keep-out behind the first row leaves it whole, and takes the plants that would stand there.
    pond = layer(keep_out_id=["k"], kind=["pond"], geometry=[box(3, -1.5, 6, -0.6)])
    layers = site(at=(0.0,), places=PLACES, keep_outs=pond)
    held, *_ = found(layers, rows_rows=2, design_kinds=["column"], design_spacings=[1.0], rows_along=["north"], design_inner=False)  # fmt: skip
    missing = [x for x in np.diff([p.x for p in held.table.loc[held.table["row"] == 2].geometry]) if abs(x) > 1.5]  # fmt: skip
    assert missing
    assert not shapely.intersects(pond.geometry.iloc[0], held.table.geometry).any()
    stretches = held.table.loc[held.table["row"] == 1, "stretch"].nunique()
    assert stretches == 1


def test_single_rows_and_two_never_mix_on_one_ground():
    candidates, layers, _ = found(
        design_two_rows=True, design_kinds=["column"], design_spacings=[1.0, 1.6], rows_along=["north"],
        design_inner=False,
    )  # fmt: skip
    table = candidates.table
    assert {bool(option.row_m) for option in candidates.options} == {False, True}
    pairs = set()
    for spot in exclusive_spots(candidates, layers["sides"]):
        pairs |= {tuple(sorted(pair)) for pair in combinations(map(int, spot), 2)}
    x = np.array([point.x for point in table.geometry])
    stretch, row, gap = (table[name].to_numpy() for name in ("stretch", "row", "gap_m"))
    two = np.isin(stretch, list(candidates.seconds))
    for one, other in combinations(range(len(table)), 2):
        room = 0.5 * (gap[one] + gap[other]) - 1e-4
        same_row = row[one] == row[other] or not (two[one] and two[other])
        if stretch[one] == stretch[other]:
            assert (one, other) not in pairs
        elif same_row:
            # By hand: half the spacing of each to either side.
            assert ((one, other) in pairs) == (abs(x[one] - x[other]) < room)


def test_clipped_hedges_are_named_where_the_kinds_are_left_to_the_design():
    assert "design.hedge_height" in f"{hedge_hint(DEFAULTS)}"
    assert hedge_hint(plan_with(design_hedge_height=2.0)) is None
    assert hedge_hint(options()) is None


def test_a_narrower_kind_is_looked_for_in_the_shipped_table_unless_one_is_given():
    plan, shipped = plan_with(design_kinds=("prunus_laurocerasus",)), load_species()
    offer = list_options(plan, shipped, 10)
    found = narrower_option(DEFAULTS, offer, None, 10)
    assert found.half_m < min(one.half_m for one in offer.options)
    # No kind is narrower than itself.
    assert (
        narrower_option(
            DEFAULTS, Offer((found,), False, ()), {found.species.key: found.species}, 10
        )
        is None
    )
