"""The figures of plants against trees, curves and rows that they were not fitted to, with what they miss.

The rows of `tests/fitting/rows.toml` are medians of one region beside what was fitted to the other regions
alone. Street trees stand alone and unclipped: they do not test hedges.
"""

import tomllib
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest

from screenplan.planting.curves import HeightCurve, WidthLaw, height_at, scenario, width_at
from screenplan.planting.measured import TENTH, load_establishment, load_kinds, load_measured

ROWS = tomllib.loads((Path(__file__).parent / "fitting/rows.toml").read_text(encoding="utf-8"))
ABOUT = tomllib.loads(
    (Path(__file__).parents[1] / "screenplan/planting/measured.toml").read_text(encoding="utf-8")
)["about"]
FOOT_M = 0.3048
UTD = "Urban Tree Database (McPherson, van Doorn and Peper 2016), one region left out at a time"

#: Kinds and trees of the rows; the last test holds them to the file.
STREET_KINDS = 20
STREET_TREES = 874
SHARE_KINDS = 17
SHARE_TREES = 440
LEAF_KINDS = 11
LEAF_TREES = 599
PLANTATIONS = 6
#: Coverage that an 80 % range must have, as shares.
COVERED = (0.70, 0.90)
#: How far the mean of a kind's rows may lie off, as a share.
KIND_OFF = 0.15
#: Kinds that lie further off.
KINDS_MISSED = {"Prunus caroliniana"}
#: How far a plantation may lie off at 20, 30 and 40 years, as a share.
CURVE_OFF = 0.15
CURVES_MISSED = {(103, 20.0), (103, 30.0)}
#: How far the median crown share of a region may lie off, as a share.
SHARE_OFF = 0.30
#: How far the median leaf area density of a region may lie off that of the others, as a share.
LEAF_OFF = 0.50


def by_kind(rows):
    """Rows of each kind."""
    found = defaultdict(list)
    for row in ROWS[rows].values():
        found[row["kind"]].append(row)
    return found


def off(ratio: float) -> float:
    """How far a ratio lies from 1, the same above and below."""
    return float(np.exp(abs(np.log(ratio)))) - 1.0


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against="The 80 % range of heights by age of street trees in regions that it was not fitted to",
    source=UTD,
    status="run",
    tolerance=f"{COVERED[0]:.0%} to {COVERED[1]:.0%} of the trees inside, and a better interval score than one range for all conifers or broadleaves",
    misses="the shares of A and k were chosen on every second region, the others judge; by kind it is shown by the script and not asserted; street trees do not test hedges",
)
@pytest.mark.parametrize("regions", ["left_out_by_region", "left_out_regions_that_judge"])
def test_coverage_in_regions_left_out(regions):
    held = ABOUT[regions]
    for which in ("", "_own"):
        assert COVERED[0] <= held[f"inside{which}"] <= COVERED[1]
        assert held[f"score{which}"] < held[f"score_of_one_range{which}"]


def _street_ratio(row):
    curve = HeightCurve(row["asymptote_m"], row["rate"], row["exponent"])
    return float(height_at(curve, row["age"], row["start_m"])) / row["height_m"]


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Median heights by age of street trees of {STREET_KINDS} kinds, {STREET_TREES} trees, from the curves of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{KIND_OFF:.0%} in the geometric mean of a kind's rows",
    misses=f"{', '.join(sorted(KINDS_MISSED))}: with one region more it is half as tall; single rows lie up to a factor of 2.3 off (Juniperus virginiana, two regions that differ so much)",
)
@pytest.mark.parametrize("kind", sorted(by_kind("street")))
def test_street_trees_by_age_in_regions_left_out(kind):
    ratios = [_street_ratio(row) for row in by_kind("street")[kind]]
    assert (off(float(np.exp(np.mean(np.log(ratios))))) > KIND_OFF) == (kind in KINDS_MISSED)


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
    source="Carmean, Hahn and Jacobs 1989, GTR NC-128, as coded in the Forest Vegetation Simulator",
    status="code",
    tolerance=f"{CURVE_OFF:.0%}",
    misses="eastern white pine in northern Wisconsin, which is slower, at 20 and 30 years; the level of all of them hangs on the site, which was found by five other kinds",
)
@pytest.mark.parametrize("row", ROWS["plantations"].values(), ids=lambda row: row["words"])
def test_curves_of_plantations(row):
    curve = load_measured()[row["key"]].curve
    ages = np.array(row["ages"])
    grown = height_at(curve, ages - ages[0], row["heights_m"][0])
    missed = {
        (row["curve"], age)
        for age, made, told in zip(ages, grown, row["heights_m"], strict=True)
        if off(made / told) > CURVE_OFF
    }
    assert missed == {one for one in CURVES_MISSED if one[0] == row["curve"]}


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="open data",
    against=f"Median crown shares up to 6 m of {SHARE_KINDS} kinds, {SHARE_TREES} trees, from the width laws of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{SHARE_OFF:.0%} in the geometric mean of a kind's rows",
    misses="single regions lie up to 52 % off (Juniperus virginiana)",
)
@pytest.mark.parametrize("kind", sorted(by_kind("shares")))
def test_crown_shares_in_regions_left_out(kind):
    ratios = []
    for row in by_kind("shares")[kind]:
        law = WidthLaw(row["coefficient"], row["exponent"], row["widest_m"])
        ratios.append(float(width_at(law, row["height_m"])) / row["height_m"] / row["share"])
    missed = off(float(np.exp(np.mean(np.log(ratios))))) > SHARE_OFF
    assert missed == (kind in SHARES_MISSED)


SHARES_MISSED = {"Pittosporum undulatum", "Sequoia sempervirens"}


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="open data",
    against=f"Median leaf area densities up to 9 m of {LEAF_KINDS} kinds, {LEAF_TREES} trees, from the median of the other regions",
    source=UTD,
    status="run",
    tolerance=f"{LEAF_OFF:.0%} in the geometric mean of a kind's rows",
    misses="three cities with another method are left out; single regions lie up to a factor of 3 off (Quercus agrifolia)",
)
@pytest.mark.parametrize("kind", sorted(by_kind("leaves")))
def test_leaf_densities_in_regions_left_out(kind):
    ratios = [row["others"][1] / row["density"] for row in by_kind("leaves")[kind]]
    assert off(float(np.exp(np.mean(np.log(ratios))))) <= LEAF_OFF


def _height_ft(key, growth, years, start_ft):
    grown = height_at(load_measured()[key].grown(growth), years, start_ft * FOOT_M)
    return float(grown) / FOOT_M


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="A row of hybrid arborvitae, set at 3 to 3.5 ft on 6.5 ft centres: 18 to 20 ft tall and 8 ft wide after ten years",
    source="US National Arboretum, question page on the hybrid, about 2008",
    status="read",
    tolerance="18 ft within the high growth; crowns meet; width within 35 %",
    misses="typical growth gives 12 ft, a third too little: the curve is that of one parent in the forest, and the vigour of the hybrid is in no data; its width is 30 % too great",
)
def test_the_row_of_the_arboretum():
    heights = [
        _height_ft("thuja_standishii_plicata", growth, 10.0, 3.25) for growth in ("typical", "high")
    ]
    assert heights[0] < 18.0 < heights[1]
    width = (
        float(width_at(load_measured()["thuja_standishii_plicata"].width, 19.0 * FOOT_M)) / FOOT_M
    )
    assert width > 6.5
    assert width / 8.0 == pytest.approx(1.0, abs=0.35)


#: Height at 20 years, ft.
AT_20 = {
    "juniperus_virginiana": 25, "juniperus_scopulorum": 25, "ilex_opaca": 20, "ilex_vomitoria": 20,
    "ilex_glabra": 5, "chamaecyparis_thyoides": 20, "calocedrus_decurrens": 12, "picea_abies": 35,
    "magnolia_grandiflora": 40, "morella_cerifera": 10,
}  # fmt: skip
#: Kinds whose range from low to high does not hold it.
AT_20_MISSED = {"calocedrus_decurrens", "magnolia_grandiflora"}


@pytest.mark.evidence(
    part="Plants and growth",
    kind="open data",
    against=f"Height at 20 years of {len(AT_20)} kinds, from 1 ft",
    source="USDA PLANTS characteristics",
    status="code",
    tolerance="within low to high growth",
    misses="incense cedar: 12 ft there, 28 ft from street trees; southern magnolia: 40 ft there, 23 ft from 317 street trees, high growth 37 ft",
)
@pytest.mark.parametrize("key", AT_20)
def test_heights_at_20_years(key):
    low, high = (_height_ft(key, growth, 20.0, 1.0) for growth in ("low", "high"))
    assert (low <= AT_20[key] <= high) == (key not in AT_20_MISSED)


#: Open-grown crown width, ft, by stem diameter, in: b0 + b1 d^power.
OPEN_GROWN = {
    "thuja_occidentalis": ("scale", 3.496, 1.093, 1.0),
    "picea_glauca": ("needle", 3.594, 1.963, 0.882),
    "picea_abies": ("needle", 5.057, 1.1313, 1.0),
    "pinus_strobus": ("needle", 1.62, 3.197, 0.7981),
}
OPEN_OFF = 0.35
OPEN_HEIGHT_M = 6.0


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="published",
    against=f"Open-grown crown widths of {len(OPEN_GROWN)} kinds at {OPEN_HEIGHT_M:g} m, by the stem diameter of street trees",
    source="Ek 1974 and Krajicek, Brinkman and Gingrich 1961, as coded in the Forest Vegetation Simulator",
    status="code",
    tolerance=f"{OPEN_OFF:.0%}",
    misses="northern white cedar: 3.3 m against 4.6 m, because its law is that of western red cedar in the forest; the stem diameters are those of a whole group of leaves",
)
@pytest.mark.parametrize("key", OPEN_GROWN)
def test_open_grown_crowns(key):
    leaf, b0, b1, power = OPEN_GROWN[key]
    stem = ABOUT["stems"][leaf]
    inches = stem["coefficient_cm"] * OPEN_HEIGHT_M ** stem["exponent"] / 2.54
    published = FOOT_M * (b0 + b1 * inches**power)
    made = float(width_at(load_measured()[key].width, OPEN_HEIGHT_M))
    assert (off(made / published) > OPEN_OFF) == (key == "thuja_occidentalis")


def _through(key, height_m, share=1.0):
    """Light through the middle of a row, for 90 %, the median and 10 % of the leaf area densities."""
    kind = load_measured()[key]
    # The mean chord of a circle is π/4 of its diameter; leaves of all directions stop half their area.
    chord = np.pi / 4.0 * float(width_at(kind.width, height_m))
    return [
        float(np.exp(-0.5 * share * density * chord)) for density in reversed(kind.leaf_density)
    ]


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="published",
    against="Porosity of nine tree windbreaks, 0.13 to 0.33, beside the light through a row 5 m tall",
    source="Zhu et al. 2002, abstract",
    status="read",
    tolerance="the range from dense to thin leaves meets the published one",
    misses="American holly's row is lighter, 0.49 in the middle: its leaf areas are all of Ilex paraguariensis, because those of its own two cities were found by another method",
)
@pytest.mark.parametrize(
    "key", ["picea_pungens", "picea_abies", "juniperus_virginiana", "thuja_plicata", "quercus_ilex", "ilex_opaca"]
)  # fmt: skip
def test_light_through_evergreen_rows(key):
    dense, _, thin = _through(key, 5.0)
    low, high = load_establishment()["porosity"]["trees"]
    assert dense <= high
    assert thin >= low


@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="published",
    against="Porosity of four deciduous windbreaks, 0.10 in leaf and 0.50 bare: a winter share of 0.56",
    source="four windbreaks in Moravia, abstract",
    status="read",
    tolerance="0.05 of the winter share; 0.10 in leaf within the range of the leaves",
    misses="the winter share is of windbreaks, and not of clipped hedges that keep their dead leaves: none was found",
)
@pytest.mark.parametrize("key", ["carpinus_betulus", "fagus_sylvatica"])
def test_deciduous_rows_in_leaf_and_bare(key):
    porosity = load_establishment()["porosity"]
    left = (1.0 - porosity["deciduous_bare"]) / (1.0 - porosity["deciduous_in_leaf"])
    assert load_kinds()[key]["winter_share"] == pytest.approx(left, abs=0.05)
    dense, _, thin = _through(key, 5.0)
    assert dense <= porosity["deciduous_in_leaf"] <= thin


def test_the_page_counts_the_rows_that_there_are():
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
