"""The species table: complete, sourced, extensible, and strict."""

import pytest

from screenplan.contracts import GROWTHS, HIGHEST_PLANT_M
from screenplan.ground.errors import InputError
from screenplan.planting.curves import HeightCurve
from screenplan.planting.kinds import CANES, TAPERED
from screenplan.planting.measured import GRADED, load_kinds, load_measured
from screenplan.planting.species import GROWTH_CLASSES, load_species, species_of
from screenplan.planting.species_model import CUSTOM_SPACING_M, OWN, WIDEST_AT_SHARE
from screenplan.planting.stock import HOLE_PER_BALL, STOCKS, hole_width

TABLE = load_species()
FOOT = 0.3048
LEAST_KINDS = 45


def test_the_table_serves_screens():
    assert len(TABLE) >= LEAST_KINDS
    assert set(TABLE) == set(load_kinds())
    # A clipped hedge is what a plan makes of a species.
    assert {species.shape for species in TABLE.values()} == {TAPERED, CANES, "ellipsoid"}
    assert any(not species.evergreen for species in TABLE.values())
    assert any(species.clear_stem_m > 0 for species in TABLE.values())


@pytest.mark.parametrize("species", TABLE.values(), ids=TABLE)
def test_every_value_has_a_source_and_is_possible(species):
    for name in (
        "height_curve",
        "width_law",
        "profile",
        "leaf_density",
        "mature_height",
        "mature_spread",
        "hardiness_zones",
        "shape",
        *species.tolerances,
    ):
        assert species.sources[name]
    assert set(species.grades) == set(GRADED)
    # Low, typical and high growth share the exponent, and a plant of more growth is never smaller, less
    # wide or more pointed.
    curves = [species.curve(growth) for growth in GROWTHS]
    assert len({curve.exponent for curve in curves}) == 1
    for values in (
        [curve.asymptote_m for curve in curves],
        [curve.rate for curve in curves],
        [species.full_height(growth) for growth in GROWTHS],
        [species.width(growth).coefficient for growth in GROWTHS],
        [species.width(growth).widest_m for growth in GROWTHS],
        [species.full_spread(growth) for growth in GROWTHS],
        [-(species.exponent(growth) or 1.0) for growth in GROWTHS],
        list(species.leaf_density),
    ):
        assert values == sorted(values)
        assert values[0] > 0 or values[-1] < 0
    assert 0 < species.mature_height_m[0] <= species.mature_height_m[1] <= HIGHEST_PLANT_M
    assert 0 < species.mature_spread_m[0] <= species.mature_spread_m[1]
    assert 0 < species.stock_height_m <= species.mature_height_m[1]
    assert species.latin_name.startswith(species.genus)
    # Half-evergreen privet alone keeps less than all of its leaves and is called evergreen.
    assert species.winter_share == 1 or not species.evergreen or species.sources["winter_share"]
    assert species.winter_share < 1 or species.evergreen


@pytest.mark.parametrize("key", TABLE)
def test_figures_of_the_shipped_species_are_the_fitted_ones(key):
    species, kind = TABLE[key], load_measured()[key]
    assert species.curve("typical") == kind.curve
    assert species.width("typical").coefficient == kind.width.coefficient
    assert species.leaf_density == kind.leaf_density
    # The published exponent is the best that is known, the paraboloid the cautious end.
    if species.shape == TAPERED:
        assert [species.exponent(growth) for growth in GROWTHS] == list(kind.profile[::-1])
    else:
        assert species.profile is None
    assert species.grades == dict(kind.grades)


# USDA PLANTS characteristics, mature height in ft (open data, code).
USDA = {
    "juniperus_virginiana": 50,
    "juniperus_scopulorum": 50,
    "ilex_opaca": 40,
    "ilex_vomitoria": 25,
    "ilex_glabra": 8,
    "chamaecyparis_thyoides": 50,
    "calocedrus_decurrens": 100,
    "picea_abies": 130,
    "magnolia_grandiflora": 100,
    "morella_cerifera": 10,
}


@pytest.mark.parametrize(("key", "feet"), USDA.items())
@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Mature heights of {len(USDA)} species",
    source="USDA PLANTS characteristics",
    status="code",
    tolerance="exact",
)
def test_mature_heights_against_the_open_plant_data(key, feet):
    assert TABLE[key].mature_height_m[1] == pytest.approx(feet * FOOT)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="Height and spread of northern white cedar",
    source="University of Florida IFAS, fact sheet ST-629, 1994",
    status="read",
    tolerance="exact",
)
def test_white_cedar_against_the_fact_sheet():
    # 25 to 40 ft tall, 10 to 12 ft spread (UF/IFAS ST-629, 1994, read).
    cedar = TABLE["thuja_occidentalis"]
    assert cedar.mature_height_m == pytest.approx((25 * FOOT, 40 * FOOT))
    assert cedar.mature_spread_m == pytest.approx((10 * FOOT, 12 * FOOT))


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="Screening that is left after leaf fall: 60 %",
    source="Conservation Buffers 6.7, USDA Forest Service National Agroforestry Center",
    status="read",
    tolerance="exact",
)
def test_deciduous_screens_lose_40_percent():
    # Conservation Buffers 6.7 (read).
    assert TABLE["carpinus_betulus"].winter_share == pytest.approx(0.6)


def test_a_plan_changes_and_adds_species():
    table = load_species(
        {
            "thuja_occidentalis": {"mature_height": ["5 m", "7 m"]},
            "narrow": {"like": "thuja_occidentalis", "shape": "column", "latin": "Thuja sp."},
            "own": {
                "latin": "Taxus baccata",
                "shape": "cone",
                "yearly_growth": ["0.1 m", "6 in", "0.2 m"],
                "mature_height": ["3 m", "6 m"],
                "mature_spread": ["2 m", "4 m"],
                "hardiness_zones": [6, 8],
            },
        }
    )
    assert table["thuja_occidentalis"].mature_height_m == (5, 7)
    assert table["thuja_occidentalis"].sources["mature_height"] == "the user's value"
    assert (
        table["thuja_occidentalis"].mature_spread_m == TABLE["thuja_occidentalis"].mature_spread_m
    )
    assert table["narrow"].shape == "column"
    assert table["own"].yearly_growth_m == pytest.approx((0.1, 0.1524, 0.2))
    assert table["own"].genus == "Taxus"
    assert load_species() == TABLE


def test_own_figures_become_curves_by_the_rule_and_are_graded_own():
    own = {
        "latin": "Taxus baccata", "shape": "cone", "mature_height": ["4 m", "8 m"],
        "mature_spread": ["2 m", "4 m"],
    }  # fmt: skip
    known = TABLE["picea_pungens"]
    table = load_species(
        {
            # By yearly growth: m = 1, A the mature height (low, mean, high), k = g / A.
            "rated": {**own, "growth_class": "moderate", "spread_share": 0.5},
            # By the curve's own figures, with a width through the mature size.
            "curved": {
                **own,
                "height_curve": {
                    "asymptote": ["5 m", "6 m", "7 m"], "rate": [0.05, 0.06, 0.07], "exponent": 1.5,
                },
            },
            "straight": {**own, "yearly_growth": ["0.1 m", "0.2 m", "0.3 m"], "height_curve": {"exponent": 0}},
            "taller": {"like": "picea_pungens", "mature_height": ["20 m", "30 m"]},
            "wider": {"like": "picea_pungens", "mature_spread": ["5 m", "7 m"], "leaf_density": [1, 3]},
            "quick": {"like": "picea_pungens", "yearly_growth": ["1 m", "1 m", "1 m"]},
        }
    )  # fmt: skip
    for growth, rate, tall in zip(
        GROWTHS, GROWTH_CLASSES["moderate"], (4.0, 6.0, 8.0), strict=True
    ):
        assert table["rated"].curve(growth) == HeightCurve(tall, rate / tall, 1.0)
    assert [table["rated"].width("high").coefficient, table["rated"].width("high").exponent] == [
        0.5,
        1.0,
    ]
    assert table["rated"].grades == {"height": OWN, "width": OWN, "profile": OWN}
    assert table["curved"].curve("typical") == HeightCurve(6.0, 0.06, 1.5)
    assert table["straight"].curve("high") == HeightCurve(8.0, 0.3 / 8.0, 0.0)
    # A known kind keeps its rate and exponent, and takes the stated size.
    assert table["taller"].curve("typical") == HeightCurve(
        25.0, known.curve("typical").rate, known.curve("typical").exponent
    )
    assert table["taller"].full_height("high") == 30.0
    assert table["taller"].grades == {**known.grades, "height": OWN}
    assert table["taller"].sources["mature_height"] == "the user's value"
    assert table["wider"].width("typical").widest_m == 6.0
    assert table["wider"].width("typical").coefficient == known.width("typical").coefficient
    assert table["wider"].leaf_density == (1.0, 2.0, 3.0)
    assert table["wider"].grades == {**known.grades, "width": OWN, "leaves": OWN}
    assert table["quick"].curve("typical") == HeightCurve(
        sum(known.mature_height_m) / 2, 1 / (sum(known.mature_height_m) / 2), 1.0
    )
    assert table["quick"].evidence == "own figures"


def test_the_weakest_grade_is_the_one_that_is_told():
    assert TABLE["tsuga_canadensis"].grades["height"] == "published"
    assert TABLE["tsuga_canadensis"].grade("height") == "published"
    assert TABLE["tsuga_canadensis"].grade("height", "width") == "memory"
    assert TABLE["tsuga_canadensis"].evidence == "from memory"
    assert TABLE["thuja_occidentalis"].evidence == "published range"


def test_the_usual_spacing_has_a_source_or_is_custom():
    laurel, spruce = TABLE["prunus_laurocerasus"], TABLE["picea_pungens"]
    assert laurel.usual_spacing_m == 0.45
    assert laurel.spacing_source == laurel.sources["spacing"]
    assert spruce.spacing_source == "custom"
    for species in TABLE.values():
        if species.spacing_source == "custom":
            assert CUSTOM_SPACING_M[0] <= species.usual_spacing_m <= CUSTOM_SPACING_M[1]
            assert species.usual_spacing_m < species.mature_spread_m[1]


BAD = [
    ({"a": "thuja"}, "key species.a: 'a' is not a species but 'thuja'"),
    ({"a": {"latin": "A b"}}, "key species.a.shape: this key is missing"),
    ({"a": {"like": "nothing"}}, "there is no species 'nothing'"),
    (
        {"thuja_occidentalis": {"shape": "ball"}},
        "key species.thuja_occidentalis.shape: 'ball' is not one of the choices. Write 'cone'",
    ),
    (
        {"thuja_occidentalis": {"hieght": 3}},
        "key species.thuja_occidentalis.hieght: there is no such key",
    ),
    ({"thuja_occidentalis": {"mature_height": ["9 m", "5 m"]}}, "not in rising order"),
    (
        {"thuja_occidentalis": {"mature_height": "9 m"}},
        "'9 m' is not a list of 2. Write low and high",
    ),
    ({"thuja_occidentalis": {"mature_height": [5, 9]}}, "5 has no unit"),
    (
        {"thuja_occidentalis": {"mature_height": ["5 m", "9999 m"]}},
        "'9999 m' is out of range. Give at most 60 m",
    ),
    (
        {"thuja_occidentalis": {"yearly_growth": ["0 m", "1 m", "2 m"]}},
        "'0 m' is out of range. Give more than 0 m",
    ),
    (
        {"thuja_occidentalis": {"growth_class": "brisk"}},
        "growth_class: 'brisk' is not one of the choices. Write one of slow",
    ),
    ({"thuja_occidentalis": {"evergreen": "yes"}}, "evergreen: 'yes' is neither true nor false"),
    (
        {"thuja_occidentalis": {"leaf_density": [4, 2]}},
        "leaf_density: [4, 2] is not in rising order",
    ),
    (
        {"thuja_occidentalis": {"spread_share": 0}},
        "spread_share: 0 is out of range. Give at least 0.02",
    ),
    (
        {"thuja_occidentalis": {"establishment_years": -1}},
        "establishment_years: -1 is out of range. Give at least 0",
    ),
    ({"thuja_occidentalis": {"stock_height": "20 m"}}, "never grows above"),
    (
        {
            "a": {
                "latin": "A b",
                "shape": "cone",
                "mature_height": ["4 m", "5 m"],
                "mature_spread": ["1 m", "2 m"],
            }
        },
        "key species.a.yearly_growth: nothing says how fast it grows. Write yearly_growth or growth_class",
    ),
    (
        {
            "thuja_occidentalis": {
                "yearly_growth": ["1 m", "1 m", "1 m"],
                "height_curve": {"exponent": 2},
            }
        },
        "height_curve.exponent: a curve with the exponent 2 does not follow from a yearly growth",
    ),
    (
        {"thuja_occidentalis": {"height_curve": {"rate": [0.2, 0.1, 0.3]}}},
        "height_curve.rate: [0.2, 0.1, 0.3] is not in rising order",
    ),
    (
        {"thuja_occidentalis": {"width_law": {"exponent": 1.5}}},
        "width_law.exponent: 1.5 is out of range. Give at most 1",
    ),
    (
        {"thuja_occidentalis": {"profile": [0.2, 0.3]}},
        "profile: [0.2, 0.3] is not a list of 3. Write one number, or three",
    ),
    (
        {"thuja_occidentalis": {"profile": [0.2, 0.3, 0.4]}},
        "profile: [0.2, 0.3, 0.4] is not in falling order. Write the greatest",
    ),
    ({"thuja_occidentalis": {"latin": 3}}, "latin: 3 is not a text"),
    ({"thuja_occidentalis": {"sources": "a book"}}, "sources: 'a book' is not a table"),
    (
        {"thuja_occidentalis": {"clear_stem": "-1 m"}},
        "clear_stem: '-1 m' is out of range. Give at least 0 m",
    ),
    ({"thuja_occidentalis": {"yearly_growth": ["1 m", "2 m", "4 m"]}}, "Give at most 3 m"),
    ({"thuja_occidentalis": {"hardiness_zones": [3.5, 4]}}, "3.5 is not a whole number"),
    ({"thuja_occidentalis": {"use": False}}, "use: there is no such key"),
    (
        {"thuja_occidentalis": {"tolerances": {"shdae": "tolerant"}}},
        "tolerances.shdae: 'shdae' is not one of the choices",
    ),
]


@pytest.mark.parametrize(("extra", "says"), BAD, ids=[says[:40] for _, says in BAD])
def test_refused(extra, says):
    with pytest.raises(InputError) as caught:
        load_species(extra)
    assert says in str(caught.value)
    assert f"key species.{next(iter(extra))}" in str(caught.value)


def test_species_are_found_by_any_name():
    assert species_of("Thuja occidentalis").key == "thuja_occidentalis"
    assert species_of("northern white cedar").key == "thuja_occidentalis"
    with pytest.raises(
        InputError, match=r"no species 'oak'\. Write one of those that `screenplan species`"
    ):
        species_of("oak")
    with pytest.raises(InputError, match=r"Did you mean taxus_baccata\?"):
        species_of("taxus_bacata")


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Widths of the balls of conifers of 3 and 10 ft, and holes two to three times as wide",
    source="ANSI Z60.1 (widths); University of Minnesota Extension (holes, read)",
    status="memory",
    tolerance="exact",
)
def test_holes_by_stock():
    # Balls of 3 ft and 10 ft conifers 14 and 34 in (memory), holes 2 to 3 times as wide (read).
    assert 2 <= HOLE_PER_BALL <= 3
    assert hole_width("balled", 3 * FOOT) == pytest.approx(HOLE_PER_BALL * 14 * 0.0254)
    assert hole_width("balled", 10 * FOOT) == pytest.approx(HOLE_PER_BALL * 34 * 0.0254)
    # The same plant needs the smallest hole as a plug, the widest balled.
    widths = [hole_width(kind, 0.6) for kind in ("plug", "container", "balled")]
    assert widths == sorted(widths)
    assert set(STOCKS) == {"plug", "bare_root", "container", "balled"}
    with pytest.raises(InputError, match="there is no kind of stock 'bag'"):
        hole_width("bag", 1.0)


@pytest.mark.parametrize("growth", GROWTHS)
def test_a_kind_of_which_only_the_spread_is_known_is_as_wide_as_that_at_its_share_of_the_height(
    growth,
):
    # Closed form: w = a h^b goes through the mature spread at that share of the mature height.
    kind = load_species(
        {"a": {"latin": "A b", "shape": "cone", "mature_height": ["4 m", "5 m"], "mature_spread": ["1.5 m", "2.5 m"], "yearly_growth": ["0.2 m", "0.3 m", "0.4 m"]}}
    )["a"]  # fmt: skip
    law, number = kind.width(growth), GROWTHS.index(growth)
    wide = (1.5, 2.0, 2.5)[number]
    assert law.widest_m == pytest.approx(wide)
    at = WIDEST_AT_SHARE * kind.full_height(growth)
    assert law.coefficient * at**law.exponent == pytest.approx(wide)


@pytest.mark.parametrize("value", [0.0, 0.4, 1])
def test_one_exponent_stands_for_all_growths(value):
    own = load_species({"thuja_occidentalis": {"profile": value}})["thuja_occidentalis"]
    assert own.profile == (value,) * 3


@pytest.mark.parametrize("value", [-0.1, 1.1])
def test_one_exponent_out_of_range_is_refused_once(value):
    with pytest.raises(InputError, match=rf"{value} is out of range\. Write a number from 0 to 1"):
        load_species({"thuja_occidentalis": {"profile": value}})
