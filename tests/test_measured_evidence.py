"""The figures of plants against trees, curves and rows that they were not fitted to, with what they miss.

The checks stand in `plant_checks`, which says of each what the source tells and what our figures make of it;
the reference lists them. Street trees stand alone and unclipped: they do not test hedges.
"""

import tomllib
from collections import Counter
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from plant_checks import (
    ABOUT,
    ARBORETUM,
    AT_20,
    BARE_OFF,
    CURVE_OFF,
    CURVES,
    LEAF,
    LEAF_OFF,
    LIGHT,
    LOSSES,
    MISSED,
    MORAVIA,
    ONTARIO,
    ONTARIO_POROSITY,
    OPEN,
    OPEN_CROWNS,
    OPEN_HEIGHT_M,
    OPEN_OFF,
    PLANTATION,
    ROOTING,
    ROW,
    ROW_HEIGHT_M,
    ROWS,
    SHARE,
    SHARE_OFF,
    STREET,
    STREET_OFF,
    UTD,
    WIDTH_OFF,
    ZHU,
    by_kind,
    checks_of,
    light_through,
    off,
    plant_checks,
)

from screenplan.ground.crown_shapes import power_shape
from screenplan.planting.curves import HeightCurve, height_at, scenario, width_at
from screenplan.planting.measured import TENTH, load_measured
from screenplan.planting.species import load_species
from screenplan.views import leaves
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.kernel import arrange_runs

#: Kinds and trees of the rows; a test below holds them to the file.
STREET_KINDS = 20
STREET_TREES = 874
SHARE_KINDS = 17
SHARE_TREES = 440
LEAF_KINDS = 11
LEAF_TREES = 599
PLANTATIONS = 6
#: Coverage that an 80 % range must have, as shares.
COVERED = (0.70, 0.90)
#: Fewer trees of a kind do not tell its coverage.
LEAST_COVERED = 40
#: Kinds with as many trees of which less than seven in ten lie in the range.
BELOW = {
    "Casuarina equisetifolia", "Eucalyptus globulus", "Ilex opaca", "Juniperus virginiana", "Prunus caroliniana",
}  # fmt: skip
#: Kinds with as many trees of which more than one in five is wider than high growth: few of its trees are up to
#: 12 m tall, by which the law goes, and taller ones are wider than it says.
WIDER = {"ficus_benjamina"}
OUTSIDE_OF_ONE_KIND = 0.2
#: Trees and kinds of which widths were foretold, and the share of trees that lies on each side of an 80 % range.
WIDTH_TREES = 1729
WIDTH_KINDS = 27
OUTSIDE = (0.05, 0.15)
#: The share that is wider where widths end at the published spread.
WIDER_THAN_PUBLISHED = 0.31
#: At least so many checks, and so many kinds of each of the greater sorts.
LEAST_CHECKS = 40
LEAST_KINDS = 6


def of(what):
    """Parametrize a test by the checks of one sort."""
    return pytest.mark.parametrize("check", checks_of(what), ids=lambda check: check.name)


def hold(check):
    """Assert that a check holds, or misses as it is known to."""
    assert check.holds != ((check.what, check.name) in MISSED), check


def test_there_are_enough_checks_and_each_says_what_it_is():
    checks = plant_checks()
    assert len(checks) >= LEAST_CHECKS
    assert len({(check.what, check.name) for check in checks}) == len(checks)
    counts = Counter(check.what for check in checks)
    for what in (STREET, PLANTATION, SHARE, LEAF, LIGHT):
        assert counts[what] >= LEAST_KINDS
    for check in checks:
        assert check.source
        assert check.told
        assert check.made
        assert check.n or check.what not in (STREET, SHARE, LEAF)
        assert bool(check.misses) != check.holds
    # Nothing is excused that is no check.
    assert set(MISSED) <= {(check.what, check.name) for check in checks}


def test_the_rows_are_as_many_as_is_said():
    counts = {
        rows: (len(by_kind(rows)), sum(row["n"] for row in ROWS[rows].values()))
        for rows in ("street", "shares", "leaves")
    }
    assert counts == {
        "street": (STREET_KINDS, STREET_TREES),
        "shares": (SHARE_KINDS, SHARE_TREES),
        "leaves": (LEAF_KINDS, LEAF_TREES),
    }
    assert len(ROWS["plantations"]) == PLANTATIONS


def test_no_figure_is_held_against_what_it_was_fitted_to():
    """The plantations' curves are none of those of the kinds."""
    kinds = tomllib.loads(
        (Path(__file__).parents[1] / "screenplan/planting/kinds.toml").read_text(encoding="utf-8")
    )
    fitted = {curve for kind in kinds.values() for curve in kind.get("curves", [])}
    assert not fitted & {row["curve"] for row in ROWS["plantations"].values()}


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against="The 80 % range of heights by age of street trees in regions that it was not fitted to",
    source=UTD,
    status="run",
    tolerance=f"{COVERED[0]:.0%} to {COVERED[1]:.0%} of the trees inside, and a better interval score than one range for all conifers or broadleaves",
    misses=f"the shares of A and k were chosen on every second region, the others judge; below 70 % of {LEAST_COVERED} trees or more: {', '.join(sorted(BELOW))}; street trees do not test hedges",
)
@pytest.mark.parametrize("regions", ["left_out_by_region", "left_out_regions_that_judge"])
def test_coverage_in_regions_left_out(regions):
    held = ABOUT[regions]
    for which in ("", "_own"):
        assert COVERED[0] <= held[f"inside{which}"] <= COVERED[1]
        assert held[f"score{which}"] < held[f"score_of_one_range{which}"]


def test_coverage_by_kind_adds_up_and_what_lies_below_is_named():
    rows = ROWS["coverage"].values()
    for which, counted in (("", rows), ("_own", [row for row in rows if row["by"] == "own"])):
        held = ABOUT["left_out_by_region"]
        assert sum(row["n"] for row in counted) == held[f"n{which}"]
        share = sum(row["inside"] for row in counted) / held[f"n{which}"]
        assert share == pytest.approx(held[f"inside{which}"], abs=5e-4)
    below = {
        row["kind"]
        for row in rows
        if row["n"] >= LEAST_COVERED and row["inside"] < COVERED[0] * row["n"]
    }
    assert below == BELOW


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Median heights by age of street trees of {STREET_KINDS} kinds, {STREET_TREES} trees, from the curves of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{STREET_OFF:.0%} in the geometric mean of a kind's rows",
    misses="Prunus caroliniana: with one region more it is half as tall; single rows lie up to a factor of 2.3 off (Juniperus virginiana, two regions that differ so much)",
)
@of(STREET)
def test_street_trees_by_age_in_regions_left_out(check):
    hold(check)


def test_rows_of_street_trees_lie_in_the_range_of_their_curve():
    """At least four rows in five, as of trees: medians scatter less."""
    inside = []
    for row in ROWS["street"].values():
        curve = HeightCurve(row["asymptote_m"], row["rate"], row["exponent"])
        low, high = (
            float(
                height_at(scenario(curve, side * TENTH * row["log_sd"]), row["age"], row["start_m"])
            )
            for side in (-1.0, 1.0)
        )
        inside.append(low <= row["height_m"] <= high)
    assert np.mean(inside) >= 0.8


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against=f"Heights at 20, 30 and 40 years of {PLANTATIONS} published curves that no figure is fitted to, from their height at 10",
    source=CURVES,
    status="code",
    tolerance=f"{CURVE_OFF:.0%}",
    misses="eastern white pine in northern Wisconsin, which is slower, at 20 and 30 years; the level of all of them hangs on the site, which was found by five other kinds",
)
@of(PLANTATION)
def test_curves_of_plantations(check):
    hold(check)


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="open data",
    against=f"Median crown shares up to 6 m of {SHARE_KINDS} kinds, {SHARE_TREES} trees, from the width laws of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{SHARE_OFF:.0%} in the geometric mean of a kind's rows",
    misses="Pittosporum undulatum and Sequoia sempervirens lie further off; single regions lie up to 52 % off (Juniperus virginiana)",
)
@of(SHARE)
def test_crown_shares_in_regions_left_out(check):
    hold(check)


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="open data",
    against=f"Median leaf area densities up to 9 m of {LEAF_KINDS} kinds, {LEAF_TREES} trees, from the median of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{LEAF_OFF:.0%} in the geometric mean of a kind's rows",
    misses="three cities with another method are left out; single regions lie up to a factor of 3 off (Quercus agrifolia)",
)
@of(LEAF)
def test_leaf_densities_in_regions_left_out(check):
    hold(check)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="A row of hybrid arborvitae, set at 3 to 3.5 ft on 6.5 ft centres: 18 to 20 ft tall and 8 ft wide after ten years",
    source=ARBORETUM,
    status="read",
    tolerance=f"18 ft within the high growth; crowns meet; width within {WIDTH_OFF:.0%}",
    misses="typical growth gives 12 ft, a third too little: the curve is that of one parent in the forest, and the vigour of the hybrid is in no data; its width is 30 % too great",
)
@of(ROW)
def test_the_row_of_the_arboretum(check):
    hold(check)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against="Height at 20 years of 10 kinds, from 1 ft",
    source="USDA PLANTS characteristics",
    status="code",
    tolerance="within low to high growth",
    misses="incense cedar: 12 ft there, 28 ft from street trees; southern magnolia: 40 ft there, 23 ft from 317 street trees, high growth 37 ft",
)
@of(AT_20)
def test_heights_at_20_years(check):
    hold(check)


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="published",
    against=f"Open-grown crown widths of 4 kinds at {OPEN_HEIGHT_M:g} m, by the stem diameter of street trees",
    source=OPEN_CROWNS,
    status="code",
    tolerance=f"{OPEN_OFF:.0%}",
    misses="northern white cedar: 3.3 m against 4.6 m, because its law is that of western red cedar in the forest; the stem diameters are those of a whole group of leaves",
)
@of(OPEN)
def test_open_grown_crowns(check):
    hold(check)


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="published",
    against=f"Porosity of windbreaks: {ONTARIO_POROSITY[0]:g} to {ONTARIO_POROSITY[1]:g} in the lower half of nine narrow coniferous ones, 0.13 to 0.33 of nine others, 0.10 in leaf and up to 0.50 bare of four deciduous ones, beside the light through a closed row {ROW_HEIGHT_M:g} m tall",
    source=f"{ONTARIO}; {ZHU}; {MORAVIA}",
    status="read",
    tolerance=f"the middle within the published range; bare within {BARE_OFF:g}",
    misses="American holly's row is lighter, 0.51: its leaf areas are all of Ilex paraguariensis, because those of its own two cities were found by another method; holm oak and cherry laurel are denser, 0.10; hornbeam and beech in leaf let 0.30 and 0.19 pass, and reach 0.10 only with dense leaves; bare ones are of windbreaks, and not of clipped hedges that keep their dead leaves: none was found; the windbreaks are taller than a hedge",
)
@of(LIGHT)
def test_light_through_rows(check):
    hold(check)


@pytest.mark.parametrize("key", ["picea_abies", "thuja_occidentalis"])
def test_light_through_a_row_is_what_the_sight_lines_find(key):
    """The closed form of the checks against the library's own kernel, on a row of 41 crowns."""
    kind, spacing = load_measured()[key], load_species()[key].usual_spacing_m
    wide = float(width_at(load_species()[key].width("typical"), ROW_HEIGHT_M))
    size = np.ones((1, 1, 1))
    crowns = tabulate_crowns(
        [power_shape(kind.profile[1])], ROW_HEIGHT_M * size, wide / 2.0 * size, 0.0 * size,
        extinction=[[leaves.LEAF_PROJECTION * kind.leaf_density[1]]],
    )  # fmt: skip
    places = spacing * np.arange(-20.0, 21.0)
    nothing = np.zeros(len(places))
    runs = arrange_runs(places, nothing, nothing, nothing.astype(int), nothing.astype(int), crowns)
    rays = 4000
    rng = np.random.default_rng(12)
    along, up = rng.uniform(0.0, spacing, rays), rng.uniform(0.0, ROW_HEIGHT_M / 2.0, rays)
    ends = [np.column_stack([along, np.full(rays, side), up]) for side in (-9.0, 9.0)]
    light, _ = leaves.light_through(*ends, np.ones(rays), runs, crowns)
    # A share of so many rays is known to about 0.005; the pieces of a crown are off by less.
    assert light[0, 0, 0] / rays == pytest.approx(light_through(key, (0.0, 0.5))[1], abs=0.01)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="Years until stock with an inch of stem is rooted, by another rule than the one that is taken",
    source="University of Minnesota Extension",
    status="read",
    tolerance="25 %",
    misses="1.5 years there, 1 year here, in a pot 1.1",
)
@of(ROOTING)
def test_years_to_root_by_another_rule(check):
    hold(check)


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Losses of 11 % over the first two years: trees that died bare root and balled (n 1,411), of street trees, and by year of planting",
    source="Jack-Scott 2012; Roman and Scatena 2011; Impens and Delcarte 1979",
    status="second-hand",
    tolerance="an upper bound of the first two",
    misses="the worst years of planting lost 6.5 to 19.7 % in the first year, the default 5.7 %; none of them is of hedges",
)
@of(LOSSES)
def test_losses_of_trees(check):
    hold(check)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Widths at the height of {WIDTH_TREES} street trees of {WIDTH_KINDS} kinds that were left out by fifths, beside low and high growth",
    source=UTD,
    status="run",
    tolerance=f"{OUTSIDE[0]:.0%} to {OUTSIDE[1]:.0%} narrower, and as many wider",
    misses=f"more than {OUTSIDE_OF_ONE_KIND:.0%} are wider: {', '.join(sorted(WIDER))}; a fifth of the trees is of the same cities as the others; trees that stand free do not test rows",
)
def test_one_tree_in_ten_is_narrower_than_low_growth_and_one_wider_than_high():
    rows = ROWS["widths"].values()
    trees = sum(row["n"] for row in rows)
    assert (trees, len(rows)) == (WIDTH_TREES, WIDTH_KINDS)
    for side in ("narrower", "wider"):
        assert OUTSIDE[0] <= sum(row[side] for row in rows) / trees <= OUTSIDE[1]
    many = [row for row in rows if row["n"] >= LEAST_COVERED]
    assert {row["key"] for row in many if row["wider"] > OUTSIDE_OF_ONE_KIND * row["n"]} == WIDER
    # By the published spread alone they would be far more.
    published = sum(row["wider_than_published"] for row in rows) / trees
    assert published == pytest.approx(WIDER_THAN_PUBLISHED, abs=0.005)


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against="Median crown widths of street trees by class of height up to 12 m, beside the width at high growth as it is shipped",
    source="Urban Tree Database (McPherson, van Doorn and Peper 2016), all regions",
    status="run",
    tolerance="no class wider than high growth",
    misses="the shipped widths were fitted to these trees",
)
def test_no_class_of_trees_is_wider_than_high_growth():
    points = tomllib.loads(
        (Path(__file__).parent / "fitting/points.toml").read_text(encoding="utf-8")
    )
    wider = {
        key
        for key, kind in load_species().items()
        for *_, height, _, middle, _ in points.get(key, {}).get("widths", [])
        if middle > float(width_at(kind.width("high"), height))
    }
    assert wider == set()


@pytest.mark.skipif(find_spec("fastfuels_core") is None, reason="fastfuels-core is not installed")
@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="other software",
    against="Exponents of the profiles of all kinds whose species or genus was scored: the transcription of the trait scores",
    source="fastfuels-core, its table of species and its two ends of the exponent (Purves, Lichstein and Pacala 2007)",
    status="run",
    tolerance="the four decimals that are written",
    misses="a check of the copying alone: the scores were not read in the paper, and are of forest trees",
)
def test_exponents_of_profiles_are_those_of_the_package():
    from fastfuels_core.crown_profile_models.purves import C0_B, C1_B
    from fastfuels_core.ref_data import DATA_PATH

    table = pd.read_csv(DATA_PATH / "REF_SPECIES.csv", low_memory=False)
    exponents = C0_B + (C1_B - C0_B) * table["PURVES_TRAIT_SCORE"]
    latin = table["GENUS"] + " " + table["SPECIES"]
    latin = latin.where(table["VARIETY"].isna(), latin + " var. " + table["VARIETY"].fillna(""))
    compared = 0
    for key, kind in load_measured().items():
        _, named = kind.figures["profile"]["source"].rsplit(": ", 1)
        genus, _, median = named.partition(", ")
        if median and genus in ("conifers", "broadleaves"):
            continue
        rows = exponents[table["GENUS"] == genus] if median else exponents[latin == named]
        expected = rows.median() if median else rows.iloc[0]
        # Each exponent was rounded to four decimals, and so was their median.
        assert kind.profile[0] == pytest.approx(expected, abs=1.01e-4), key
        compared += 1
    assert compared > len(load_measured()) / 2


def test_off_is_the_same_above_and_below():
    assert off(1.25) == pytest.approx(off(0.8)) == pytest.approx(0.25)
