"""Rows of several kinds: who stands where, which kind decides, when they close, what people read."""

import itertools
import json

import numpy as np
import pandas as pd
import pytest
import shapely
from options_kit import plan_with
from parcel_kit import box, lay, layer, sides_of, subject
from shapely import affinity

from screenplan.contracts.tables import notes_of
from screenplan.desktop.form_values import content_of
from screenplan.effects.applied import list_rules
from screenplan.effects.health import check_health as judge_findings
from screenplan.effects.health import judge_health
from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.planting.closure import close_rows
from screenplan.planting.mixes import kinds_in, neighbours_of
from screenplan.planting.room import leave_room
from screenplan.planting.setting import shared_corners
from screenplan.planting.species import load_species
from screenplan.planting.zones import mark_zones
from screenplan.processes import describe_process, execute
from screenplan.rules.ruleset import Rule
from screenplan.running.alternatives import list_variants
from screenplan.views.closing import row_closing
from screenplan.works.kinds import kinds_of

#: Two cones and a low shrub, so that sizes are round.
TABLE = load_species(
    {
        "wide": {
            "like": "thuja_occidentalis", "shape": "cone", "growth_class": "slow", "common": "wide cone", "genus": "Wide", "spread_share": 0.5,
            "mature_height": ["6 m", "6 m"], "mature_spread": ["3 m", "3 m"],
        },
        "narrow": {
            "like": "thuja_occidentalis", "shape": "cone", "growth_class": "slow", "common": "narrow cone", "genus": "Narrow", "spread_share": 0.25,
            "mature_height": ["8 m", "8 m"], "mature_spread": ["2 m", "2 m"],
        },
        "low": {
            "like": "carpinus_betulus", "common": "low shrub", "genus": "Low", "shape": "cone", "growth_class": "moderate", "spread_share": 0.6,
            "mature_height": ["3 m", "3 m"], "mature_spread": ["1 m", "1 m"],
        },
    }
)  # fmt: skip
MIX = ("wide", "narrow")
PARCELS = {"layers": {"parcels": {"file": "lots.gpkg"}}}


def test_kinds_take_turns_in_groups_along_each_row():
    _, _, _, plants, _ = lay(box(), ["south", "north"], plants_species=MIX, plants_group=2, species_table=TABLE, rows_spacing=2.3)  # fmt: skip
    rows = plants.groupby("line_id", sort=False)["species"].agg(list)
    assert len(rows) == 2
    for row in rows:  # by arithmetic: two, two, and from the beginning, at each zero peg anew
        assert row == [MIX[number // 2 % 2] for number in range(len(row))]
        assert len(row) > 4


# Invariant: along lines that meet at corners no group ends or is joined there; the lots are turned and bent, their sides of
# any length.
@pytest.mark.parametrize("group", [1, 2, 3, 5, 7])
@pytest.mark.parametrize("kinds", [MIX, (*MIX, "low")])
@pytest.mark.parametrize("along", [["south", "east"], ["south", "east", "north"], None])
def test_groups_go_on_round_corners(group, kinds, along):
    for lot in (
        box(),
        subject(affinity.rotate(shapely.box(0, 0, 40, 30), 33)),
        subject(shapely.Polygon([(0, 0), (31, 3), (36, 27), (-4, 22)])),
    ):
        sides = sides_of(lot)
        names = (
            sides["side_id"].tolist() if along is None else sides["side_id"].tolist()[: len(along)]
        )
        lines, plants = lay(
            lot, names, sides=sides, plants_species=kinds, plants_group=group, species_table=TABLE, rows_spacing=1.3
        )[2:4]  # fmt: skip
        corners = shared_corners(lines)
        assert len(corners) == len(names) - (along is not None)
        rows = plants.groupby("line_id", sort=False)["species"].agg(list)
        chain = [name for row in rows.loc[lines["line_id"]] for name in row]
        runs = [len(list(run)) for _, run in itertools.groupby(chain)]
        assert set(runs[:-1]) == {group}
        assert 1 <= runs[-1] <= group


def test_one_text_and_a_list_of_one_are_as_before():
    single = lay(box(), "south", plants_species="narrow", species_table=TABLE, plants_group=2)[3]
    listed = lay(box(), "south", plants_species=["narrow"], species_table=TABLE)[3]
    pd.testing.assert_frame_equal(single, listed)


def test_a_kind_listed_twice_takes_two_turns():
    plants = lay(
        box(),
        "south",
        plants_species=["wide", "wide", "narrow"],
        plants_group=1,
        species_table=TABLE,
    )[3]
    assert plants["species"].to_list()[:7] == ["wide", "wide", "narrow"] * 2 + ["wide"]


def test_each_kind_is_planted_at_its_own_height_unless_one_is_given():
    table = load_species()
    mix = ["ilex_glabra", "magnolia_grandiflora"]  # 1 ft and 4 ft
    plants = lay(box(), "south", plants_species=mix, plants_group=1, species_table=table)[3]
    heights = plants.groupby("species")["stock_height_m"].unique()
    assert heights["ilex_glabra"] == pytest.approx([0.3048])
    assert heights["magnolia_grandiflora"] == pytest.approx([1.2192])
    given = lay(box(), "south", plants_species=mix, plants_stock_height=0.8, species_table=table)[3]
    assert given["stock_height_m"].unique() == pytest.approx([0.8])


def test_plants_that_stand_take_no_turn():
    standing = layer(
        screen_id=["s"], kind=["plant"], height_m=[2.0], species=["low"],
        geometry=[shapely.Point(10, 2.001)],
    )  # fmt: skip
    plants = lay(
        box(), "south", screens=standing, plants_species=MIX, plants_group=2, species_table=TABLE
    )[3]
    assert plants.loc[plants["existing"], "species"].to_list() == ["low"]
    new = plants.loc[~plants["existing"], "species"].to_list()
    assert new == [MIX[number // 2 % 2] for number in range(len(new))]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ({"plants_group": 0}, r"key plants\.group: 0 is out of range"),
        ({"plants_group": 1.5}, r"key plants\.group: 1\.5 does not fit"),
        ({"plants_group": True}, r"key plants\.group: True is not a number"),
        ({"plants_species": []}, r"key plants\.species: 0 are listed"),
        ({"plants_species": ["wide", "yew of nowhere"]}, "there is no species 'yew of nowhere'"),
        (
            {"plants_species": ["wide", "low"], "plants_stock_height": 4.0},
            "low shrub never grows above 3 m",
        ),
    ],
)
def test_what_cannot_be_mixed_is_refused(rows, message):
    with pytest.raises(InputError, match=message):
        lay(box(), "south", **({"plants_species": MIX, "species_table": TABLE} | rows))


# Invariant: what a mix may not stand on is what one of its kinds may not stand on.
def test_each_rule_keeps_off_the_kind_that_asks_for_most():
    wire = shapely.LineString([(0, 26), (40, 26)])
    features = {
        "buildings": layer(building_id=["b"], kind=["house"], geometry=[shapely.box(15, 10, 22, 16)]),
        "utilities": layer(utility_id=["w"], kind=["electric"], position=["overhead"], geometry=[wire]),
    }  # fmt: skip

    def zones(species):
        return mark_zones(
            {"parcels": box(), **features},
            species_table=TABLE,
            plan=plan_with(plants_species=species, site_boundary_accuracy=0.0),
        )[0]

    mixed, apart = (
        zones(["wide", "narrow", "low"]),
        [zones(key) for key in ("wide", "narrow", "low")],
    )
    whole = shapely.union_all([shapely.union_all(zones.geometry.to_numpy()) for zones in apart])
    assert shapely.symmetric_difference(shapely.union_all(mixed.geometry.to_numpy()), whole).area < 1e-6  # fmt: skip
    distances = mixed.set_index("rule")["distance_m"]
    assert distances["boundary_crown"] == pytest.approx(1.5)  # half of the widest, 3 m
    # The tallest, 8 m, is a tree (above 20 ft); the lowest, 3 m, a shrub: both rules hold.
    assert {"overhead_tree", "building_tree", "building_shrub"} <= set(mixed["rule"])
    assert "overhead_tree" not in set(apart[2]["rule"])


def test_a_derived_place_ends_where_the_widest_kind_begins():
    lines = layer(line_id=["r"], geometry=[shapely.LineString([(0, 2), (40, 2)])])
    place = layer(place_id=["garden"], derived=[True], geometry=[shapely.box(5, 2.2, 15, 9)])
    left = leave_room(
        place, lines, species_table=TABLE, plan=plan_with(plants_species=["narrow", "wide", "low"])
    )
    # Closed form: half of 3 m from the line at 2 m.
    assert left.geometry.iloc[0].bounds[1] == pytest.approx(3.5, abs=0.001)
    assert "grown crowns of wide cone, 1.50 m" in notes_of(left)[0]


def test_the_hole_is_that_of_the_largest_stock():
    table = load_species()
    dug = Rule("main", "buried", measured_to="hole", reason="test")
    main = layer(utility_id=["m"], kind=["water"], position=["buried"],
                 geometry=[shapely.LineString([(0, 15), (40, 15)])])  # fmt: skip

    def distance(species):
        zones, _ = mark_zones(
            {"parcels": box(), "utilities": main},
            rules=[dug],
            species_table=table,
            plan=plan_with(plants_species=species),
        )
        return zones["distance_m"].iloc[0]

    small, large = distance("ilex_glabra"), distance("magnolia_grandiflora")
    assert small < large
    assert distance(["ilex_glabra", "magnolia_grandiflora"]) == large


def test_rules_of_any_kind_apply_and_each_kind_has_its_season():
    said = list_rules(
        {},
        species_table=TABLE,
        plan=plan_with(plants_species=["narrow", "low"], plants_stock="bare_root"),
    )
    seasons = said.loc[(said["kind"] == "planting_season") & said["applies"], "rule"]
    alone = [
        list_rules(
            {}, species_table=TABLE, plan=plan_with(plants_species=key, plants_stock="bare_root")
        )
        for key in ("narrow", "low")
    ]  # an evergreen and one that drops its leaves
    each = [
        rules.loc[(rules["kind"] == "planting_season") & rules["applies"], "rule"]
        for rules in alone
    ]
    assert set(seasons) == {*each[0], *each[1]}
    assert len(seasons) == 2


def grown_band(first, second, gap):
    """Closed form: two cones meet where (1 − z/h) w/2 of both add up to the gap."""
    sizes = [
        (TABLE[key].mature_height_m[1], TABLE[key].mature_spread_m[1]) for key in (first, second)
    ]
    return (sum(w for _, w in sizes) / 2 - gap) / sum(w / (2 * h) for h, w in sizes)


@pytest.mark.parametrize(
    ("group", "weakest"),
    [(1, ("wide", "narrow")), (2, ("narrow", "narrow"))],
)
def test_a_mixed_row_closes_as_its_weakest_neighbours(group, weakest):
    gap = 1.1
    closing = row_closing(kinds_in(MIX, TABLE), gap, years=60, group=group)
    assert closing.mature_height_m == pytest.approx(grown_band(*weakest, gap), abs=1e-6)
    assert grown_band("narrow", "narrow", gap) < grown_band("wide", "narrow", gap)
    # Measured on plants that stand, too.
    _, plantable, lines, plants, _ = lay(
        box(),
        "south",
        plants_species=MIX,
        plants_group=group,
        species_table=TABLE,
        rows_spacing=gap,
        rows_fit="exact",
    )
    measured = close_rows(
        plants,
        lines,
        plantable,
        species_table=TABLE,
        plan=plan_with(growth_asked_height=1.3, growth_years=60),
    )
    measured = measured.set_index("growth")
    assert measured.loc["typical", "mature_closed_height_m"] == pytest.approx(closing.mature_height_m)  # fmt: skip
    for number, growth in enumerate(("low", "typical", "high")):
        year = measured.loc[growth, "year_closed"]
        assert (None if pd.isna(year) else year) == closing.year_reached(number, 1.3)


def test_neighbours_of_three_kinds():
    kinds = kinds_in(["wide", "narrow", "low"], TABLE)
    names = [tuple(kind.key for kind in pair) for pair in neighbours_of(kinds, 1)]
    assert names == [("wide", "narrow"), ("narrow", "low"), ("low", "wide")]
    assert len(neighbours_of(kinds, 2)) == 6
    assert neighbours_of(kinds[:1], 1) == [(kinds[0], kinds[0])]


def test_health_and_order_count_each_kind():
    plants = lay(
        box(), "south", plants_species=MIX, plants_group=3, species_table=TABLE, rows_spacing=1.9
    )[3]
    count = plants["species"].value_counts()
    shares = judge_health(
        plants,
        species_table=TABLE,
        plan=plan_with(health_most_of_one_species=0.6, health_most_of_one_genus=0.6, health_zone=5),
    )
    told = shares.loc[shares["topic"] == "species"].set_index("name")["share"]
    assert told.to_dict() == pytest.approx((count / len(plants)).to_dict())
    assert shares.loc[shares["topic"].isin(["species", "genus"]), "meets"].all()
    found = {finding.check: finding for finding in judge_findings(shares)}
    assert found["one species"].says.startswith(
        f"{count.max() / len(plants):.0%} of the plants are "
    )
    # Each kind is told, not only the first.
    assert all(f"{TABLE[key].called} is held hardy" in found["winter cold"].says for key in MIX)
    assert "cone; one pest" in found["one species"].says
    ordered = {kind.species.key: kind.count for kind in kinds_of(plants, TABLE)}
    assert ordered == count.to_dict()


@pytest.mark.parametrize(
    ("value", "read"),
    [
        ("ilex_opaca", "ilex_opaca"),
        (["ilex_opaca"], "ilex_opaca"),
        (["ilex_opaca", "ilex_glabra"], ("ilex_opaca", "ilex_glabra")),
    ],
)
def test_a_plan_takes_one_or_several(value, read):
    assert check_plan(PARCELS | {"plants": {"species": value}}).plants.species == read


@pytest.mark.parametrize(
    ("plants", "message"),
    [
        ({"species": []}, r"key plants\.species: 0 are listed\. List 1 to 20"),
        ({"species": ["a"] * 21}, r"key plants\.species: 21 are listed"),
        ({"species": ["a", 3]}, r"key plants\.species: \['a', 3\] is neither a text nor a list of texts"),
        ({"species": 3}, r"key plants\.species: 3 is neither a text nor a list of texts"),
        ({"group": 0}, r"key plants\.group: 0 is out of range\. Give at least 1"),
    ],
)  # fmt: skip
def test_a_plan_refuses_what_is_no_kind(plants, message):
    with pytest.raises(InputError, match=message):
        check_plan(PARCELS | {"plants": plants})


def test_the_form_and_the_processes_take_several():
    assert content_of({"plants.species": "ilex_opaca, ilex_glabra"}) == {
        "plants": {"species": ["ilex_opaca", "ilex_glabra"]}
    }
    assert content_of({"plants.species": "ilex_opaca"}) == {"plants": {"species": "ilex_opaca"}}
    described = describe_process("plants")["inputs"]
    assert described["plants.species"]["maxOccurs"] == 20
    assert described["plants.species"]["schema"] == {
        "type": "string",
        "default": "thuja_occidentalis",
    }
    assert described["plants.group"]["schema"]["default"] == 3
    lot = json.loads(shapely.to_geojson(shapely.box(8.0, 50.0, 8.0004, 50.0004)))
    parcels = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"parcel_id": "7"}, "geometry": lot}
    ]}  # fmt: skip

    def seasons(species):
        inputs = {"parcels": parcels, "plants.species": species, "plants.stock": "bare_root"}
        return {
            row["rule"]
            for row in execute("rules", inputs)["rules"]
            if row["applies"] and row["kind"] == "planting_season"
        }

    assert (
        seasons(["ilex_opaca"])
        == seasons("ilex_opaca")
        < seasons(["ilex_opaca", "carpinus_betulus"])
    )


def test_alternatives_are_single_kinds_and_mixes():
    content = {
        "plants": {"species": ["ilex_opaca", "ilex_glabra"]},
        "alternatives": {"species": ["ilex_opaca", ["morella_cerifera", "ilex_glabra"]]},
    }
    variants = list_variants(check_plan(PARCELS | content))
    assert [variant.plants.species for variant in variants] == [
        ("ilex_opaca", "ilex_glabra"), "ilex_opaca", ("morella_cerifera", "ilex_glabra"),
    ]  # fmt: skip


def test_an_alternative_mix_of_a_kind_that_is_not_known_is_refused():
    content = {"alternatives": {"species": [["ilex_glabra", "yew of nowhere"]]}}
    with pytest.raises(InputError, match=r"key alternatives\.species: there is no species 'yew of"):
        list_variants(check_plan(PARCELS | content))


def test_of_a_closed_round_the_first_line_begins_the_turn():
    plants = lay(box(), ["south", "east", "north", "west"], sides=sides_of(box()), plants_species=MIX,
                 plants_group=2, species_table=TABLE, rows_spacing=2.7)[3]  # fmt: skip
    assert plants["species"].tolist() == [MIX[number // 2 % 2] for number in range(len(plants))]
    assert np.isclose(plants.groupby("line_id")["station_m"].min(), 0.0).all()
