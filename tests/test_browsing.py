"""What animals leave: a cut crown is the same crown cut off, ray by ray, and what that opens."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from crown_kit import BOX, COLUMN, CONE, ELLIPSOID, PARABOLOID, POWERS
from options_kit import plan_with

from screenplan.contracts import BROWSED_VIEWS
from screenplan.contracts.tables import notes_of
from screenplan.ground.crown_shapes import shape_of
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.outputs.conform import conform
from screenplan.plan.planting import FEWEST_DRAWS
from screenplan.planting.draws import Draws, draw_befallen
from screenplan.planting.species import load_species
from screenplan.planting.stand import stand_of
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.cut_by_chance import cut_view, drawn_open, expected_open
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.kernel import arrange_runs, blocked_years
from screenplan.views.plain import is_met
from screenplan.views.stoppers import list_stoppers
from screenplan.works.browsing import BARE, _beside, look_browsed
from screenplan.works.fence import ANIMALS

SHAPES = (CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX, *POWERS)
YEARS, REACH = 6, 0.9


def rays(rng, feet, count=200):
    """Random rays about plants, level and upright ones among them."""
    middle = feet[rng.integers(0, len(feet), count)] + rng.normal(0.0, 0.9, (count, 3))
    way = rng.normal(0.0, 1.0, (count, 3)) * (6.0, 6.0, 2.0)
    way[:10, :2], way[10:40, 2] = 0.0, 0.0
    return middle - way, middle + way


def above(origin, target, z):
    """The part of each ray above a height; a point where there is none."""
    step = target[:, 2] - origin[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (z - origin[:, 2]) / step
    low = np.where((step > 0.0) & (at > 0.0), at, 0.0)
    high = np.where((step < 0.0) & (at < 1.0), at, 1.0)
    none = (low >= high) | ((step == 0.0) & (origin[:, 2] <= z))
    low, high = np.where(none, 0.0, np.minimum(low, 1.0)), np.where(none, 0.0, np.maximum(high, 0.0))  # fmt: skip
    way = target - origin
    return origin + low[:, None] * way, origin + high[:, None] * way, none


@pytest.mark.parametrize("shape", SHAPES)
def test_a_browsed_crown_is_the_same_crown_cut_off(shape):
    rng = np.random.default_rng(17)
    height = np.cumsum(rng.uniform(0.05, 0.7, (2, YEARS, 1)), axis=1)
    sizes = height, np.minimum(0.3 * height, 0.9), 0.1 * height, 0.1 * height
    feet = np.column_stack([1.1 * np.arange(5), rng.normal(0, 0.3, 5), rng.uniform(0, 1, 5)])
    origin, target = rays(rng, feet)
    crowns = tabulate_crowns([shape], *sizes[:3], across=sizes[3], floor=[REACH])
    runs = arrange_runs(*feet.T, np.zeros(5, int), np.zeros(5, int), crowns)
    found = blocked_years(origin, target, runs, crowns)[:, 0]
    ways = runs.way[np.argsort(runs.order)]
    expected = np.zeros_like(found)
    for foot, way in zip(feet, ways, strict=True):
        begin, end, none = above(origin, target, foot[2] + REACH)
        for g in range(2):
            size = [part[g, :, 0] for part in sizes]
            met = is_met(shape_of(shape), begin[:, None], end[:, None], foot, size, way)
            expected[:, g] |= np.where(none, 0, met @ (1 << np.arange(YEARS)))
    assert np.array_equal(found, expected)
    plain = tabulate_crowns([shape], *sizes[:3], across=sizes[3])
    assert (found != blocked_years(origin, target, runs, plain)[:, 0]).any()  # it cuts something


def test_for_columns_it_is_a_clear_stem():
    rng = np.random.default_rng(3)
    height = np.linspace(1.2, 3.0, YEARS)[None, :, None]
    feet = np.column_stack([1.1 * np.arange(5), np.zeros(5), np.zeros(5)])
    origin, target = rays(rng, feet)
    for shape, same in ((COLUMN, True), (BOX, True), (CONE, False)):
        masks = []
        for clear, floor in ((0.0, [REACH]), (REACH, None)):
            sizes = height, 0.5 + 0.0 * height, clear + 0.0 * height
            crowns = tabulate_crowns([shape], *sizes, floor=floor)
            runs = arrange_runs(*feet.T, np.zeros(5, int), np.zeros(5, int), crowns)
            masks.append(blocked_years(origin, target, runs, crowns))
        assert np.array_equal(*masks) is same


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes))


def site(species="hedge", eye=1.5):
    """A window that looks level through a row, 10 m before it, at a terrace 10 m behind it."""
    count = 41
    x = 0.5 * np.arange(count)
    return {
        "windows": layer([shapely.Point(10, 20)], window_id=["w"], floor_m=[0.0], sill_m=[eye - 0.2], height_m=[0.4],
                         width_m=[0.6], facing_deg=[180.0], building_id=[None]),
        "private_places": layer([shapely.box(9.5, -1, 10.5, 0)], place_id=["p"], kind=["terrace"], ground_m=[0.0]),
        "planting_lines": layer([shapely.LineString([(0, 10), (20, 10)])], line_id=["north"]),
        "plants": layer(shapely.points(x, 10.0), plant_id=np.arange(1, count + 1), line_id="north", station_m=x,
                        species=species, stock="container", stock_height_m=2.5, ground_m=0.0, existing=False),
    }  # fmt: skip


def table_of_kinds(level="intolerant"):
    return load_species(
        {
            "hedge": {
                "like": "thuja_smaragd",
                "shape": "box",
                "kept_height": "2.5 m",
                "kept_width": "0.8 m",
                "tolerances": {"browse": level},
            }
        }
    )


def looked(level="intolerant", layers=None, **options):
    found = look_browsed(
        layers or site(), plan=plan_with(**{"growth_years": 10, **options}),
        species_table=table_of_kinds(level),
    )  # fmt: skip
    conform(found, BROWSED_VIEWS)
    return found


def test_a_view_below_the_reach_opens_and_one_above_it_does_not():
    # By hand: eye and heads are below 1.8 m and above 1.0 m where the rays pass the row.
    low = looked(browsing_reach=1.8).iloc[0]
    assert low["last_fenced"] == 0.0
    assert low["last_browsed"] == 1.0
    assert low["opens"]
    assert pd.isna(low["closes_browsed"])
    high = looked(browsing_reach=0.9).iloc[0]
    assert (high["opens"], high["last_browsed"]) == (False, 0.0)
    assert high["says"] == "closed with and without a fence"


def test_it_is_gone_from_its_year_on():
    found = looked(browsing_reach=1.8, browsing_from_year=4).iloc[0]
    assert found["says"] == "opens without a fence from year 4 to the end, up to 100 %"
    assert found["last_mixed"] == found["last_browsed"]
    assert pd.isna(found["stays_closed"])


def spared(eaten):
    """The table of kinds and the site in which the plants that are not browsed are of a kind that stands it."""
    kinds = table_of_kinds()
    hardy = {**kinds["hedge"].__dict__, "key": "hardy", "tolerances": {"browse": "tolerant"}}
    layers = site()
    species = np.where(eaten, "hedge", "hardy")
    return layers | {"plants": layers["plants"].assign(species=species)}, kinds | {"hardy": kinds["hedge"].__class__(**hardy)}  # fmt: skip


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="every case",
    against="the views traced anew in each draw, with kinds that stand browsing where a plant is spared",
    source="the whole step run again",
    status="run",
    tolerance="exact",
)
@pytest.mark.parametrize("chance", [0.3, 0.9])
def test_by_chance_a_view_is_closed_in_as_many_draws_as_when_each_is_traced(chance):
    options = {
        "browsing_reach": 1.8,
        "browsing_from_year": 4,
        "chance_draws": FEWEST_DRAWS,
        "growth_years": 6,
    }
    found = looked(browsing_chance=chance, **options).iloc[0]
    layers = site()
    stand = stand_of(layers["plants"], years=6, species_table=table_of_kinds())
    drawn = draw_befallen(stand, Draws(FEWEST_DRAWS, 0), "browsed", chance)
    closed, shares = [], []
    for eaten in drawn.T:
        layers, table = spared(eaten)
        again = look_browsed(layers, plan=plan_with(**options), species_table=table).iloc[0]
        closed.append(not again["opens"])
        shares.append(again["last_browsed"])
    assert found["stays_closed"] == pytest.approx(np.mean(closed))
    assert 0.0 < np.mean(shares) < 1.0
    # By hand: the mean of draws is within five of its standard errors of what is to be expected.
    error = 5.0 * np.std(shares) / np.sqrt(FEWEST_DRAWS)
    assert abs(found["last_mixed"] - np.mean(shares)) <= error
    assert found["says"].startswith(
        "may open without a fence from year 4 to the end, up to 100 %; it stays closed"
    )


def test_with_no_chance_nothing_is_browsed_and_with_certainty_everything():
    none = looked(browsing_reach=1.8, browsing_chance=0.0).iloc[0]
    assert none["last_mixed"] == none["last_browsed"] == none["last_fenced"] == 0.0
    assert not none["opens"]
    # A chance that is nearly certain gives nearly what certainty does; without draws no chance is told.
    sure = looked(browsing_reach=1.8).iloc[0]
    nearly = looked(browsing_reach=1.8, browsing_chance=1.0 - 1e-9, chance_draws=0).iloc[0]
    assert nearly["last_mixed"] == pytest.approx(sure["last_mixed"], abs=1e-6)
    assert pd.isna(nearly["stays_closed"])


def test_the_open_share_to_be_expected_is_a_power_of_the_chance():
    """Closed form: a ray that k whole plants stop, and none that is cut, is open with the chance to the power of k."""
    layers = site()
    stand = stand_of(layers["plants"], years=6, species_table=table_of_kinds())
    planted = [
        (runs_of(stand, crowns), crowns) for crowns in (crowns_of(stand), crowns_of(stand, (1.8,)))
    ]
    origin = np.array([[10.0, 20.0, 1.4], [10.0, 20.0, 1.4], [10.0, 20.0, 2.1]])
    target = np.array([[10.0, 0.0, 1.4], [14.0, 0.0, 1.4], [10.0, 0.0, 2.1]])
    first, _ = list_stoppers(origin, target, *planted[0], 4, 1)
    view = cut_view((origin, target), np.ones(3), *planted, (4, 1))
    # The third ray passes above the reach: what is left of the crowns stops it.
    expected = (0.5 ** np.diff(first)[:2]).sum() / 3
    assert np.diff(first).min() >= 1
    assert expected_open(view, 0.5) == pytest.approx(expected)
    eaten = np.column_stack([np.zeros(41, bool), np.ones(41, bool)])
    assert drawn_open(view, eaten) == pytest.approx([0.0, 2 / 3])


def test_what_stands_browsing_keeps_its_leaves():
    found = looked("tolerant", browsing_reach=1.8)
    assert not found["opens"].any()
    assert "known to stand browsing" in notes_of(found)[0]


def test_it_says_whether_a_fence_must_stay_and_how_high():
    (note,) = notes_of(looked(browsing_reach=1.8))
    assert "1 of the 1 views that close open again" in note
    assert "2.44 m" in note  # 8 ft, Craven and Hygnstrom, 1994 (read)
    assert "1.5 m against roe deer" in in_units(note, "metric")
    assert "The plan has no fence (fence.scheme)" in note
    assert BARE in note
    (note,) = notes_of(looked(browsing_reach=0.9))
    assert "no fence has to stay" in note


@pytest.mark.parametrize(
    ("height", "years", "says"),
    [
        (2.4384, 20, "which is not long enough"),  # the view is open for good: no fence may ever go
        (1.5, 3, "1.50 m high and stands 3 years, which is too low and not long enough"),
    ],
)
def test_the_fence_of_the_plan_is_compared(height, years, says):
    options = pd.DataFrame(
        {"scheme": ["perimeter"], "chosen": [True], "height_m": [height], "stands_years": [years]}
    )
    (note,) = notes_of(
        looked(layers=site() | {"fence_options": options}, browsing_reach=1.8, browsing_from_year=2)
    )
    assert says in in_units(note, "metric")


def test_a_fence_that_stands_until_the_view_is_closed_without_it_is_enough():
    needed = pd.Series([4, 7], dtype="Int64")
    for years, height, says in (
        (7, 2.44, "enough"),
        (6, 2.44, "not long enough"),
        (7, 1.2, "too low"),
    ):
        fence = pd.Series({"height_m": height, "stands_years": years})
        assert _beside(fence, 2.4384, needed).endswith(f"which is {says}")


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="heights of fences against deer, rabbits and livestock",
    source="Craven and Hygnstrom 1994 (8 ft); Twelfth Vertebrate Pest Conference 1986 (0.75 m, abstract); NRCS 382, Mississippi, 2000 (48 in)",
    status="read",
    tolerance="0.02 m",
)
def test_heights_of_fences_are_those_published():
    published = {"deer": 8 * 0.3048, "rabbit": 0.75, "livestock": 48 * 0.0254}
    for animal, height in published.items():
        assert ANIMALS[animal].fence_m == pytest.approx(height, abs=0.02)
        assert "read)" in ANIMALS[animal].source


def test_a_year_that_is_not_looked_at_is_refused():
    with pytest.raises(InputError, match=r"from year 20 on, and the plan looks at 10 years.*browsing.from_year"):  # fmt: skip
        looked(browsing_reach=1.8, browsing_from_year=20)
