"""The fitting: it finds what simulated trees were made with, and writes the same text every time."""

import tomllib

import numpy as np
import pandas as pd
import pytest
from fitting import figures, heights, points, published, shapes
from fitting.__main__ import FIGURES, main, work_out
from fitting.coverage import leave_one_region_out, summary
from fitting.output import as_toml
from fitting.reading import UTD, Data, leaf_of

from screenplan.planting.curves import HeightCurve, height_at

SEED = 20261129
START = 1.8
TRUE = HeightCurve(16.0, 0.06, 2.0)
TAU, SIGMA = 0.15, 0.25
#: Of 600 trees in 12 regions: how near the fit must come, shares.
NEAR = 0.12


def made_up(names=("Picea pungens",), regions=12, each=50, seed=SEED) -> pd.DataFrame:
    """Trees of a known curve, with known spreads between and within regions."""
    rng = np.random.default_rng(seed)
    tables = []
    for name in names:
        for region in range(regions):
            age = np.concatenate([[0.0], rng.uniform(2.0, 60.0, each - 1).round()])
            h = height_at(TRUE, age, START)
            h = np.where(age > 0, h * np.exp(rng.normal(0, TAU) + rng.normal(0, SIGMA, each)), h)
            w = 0.9 * h**0.8 * np.exp(rng.normal(0, 0.2, each))
            depth = 0.9 * h
            tables.append(
                pd.DataFrame(
                    {
                        "name": name,
                        "genus": name.split()[0],
                        "leaf": "needle",
                        "region": f"region {region:02d}",
                        "source": UTD,
                        "age": age,
                        "h": h,
                        "w": w,
                        "depth": depth,
                        "leaf_area": 1.5 * np.pi * (w / 2) ** 2 * depth / 2.0,
                        "dbh_cm": 1.6 * h**1.3,
                    }
                )
            )
    return pd.concat(tables, ignore_index=True)


PROFILES = pd.DataFrame(
    {
        "latin": ["Picea pungens", "Picea spp.", "Picea abies"],
        "genus": "Picea",
        "score": [0.2, 0.3, 0.3],
        "exponent": [0.259, 0.2905, 0.2905],
    }
)
CURVES = pd.DataFrame(
    {"b1": [1.0], "b2": [1.0], "b3": [-0.05], "b4": [2.0], "b5": [0.0], "bh_ft": [0.0]}
)


def test_the_curve_of_simulated_trees_is_found():
    trees = made_up()
    assert heights.planted_size(trees) == pytest.approx(START)
    fit = heights.fit_curve(heights.aged(trees), START)
    ages = np.array([5.0, 10.0, 20.0, 40.0])
    assert fit.typical(ages) == pytest.approx(height_at(TRUE, ages, START), rel=NEAR)
    assert fit.n == 12 * 49


def test_a_straight_line_is_told_from_a_curve():
    rng = np.random.default_rng(SEED)
    age = rng.uniform(2, 30, 300)
    line = pd.DataFrame(
        {"age": age, "region": "one", "h": (1.8 + 0.4 * age) * np.exp(rng.normal(0, 0.05, 300))}
    )
    assert heights.fit_curve(line, START).curve.exponent == 0
    bent = pd.DataFrame(
        {"age": age, "region": "one", "h": height_at(HeightCurve(9.0, 0.15, 2.0), age, START)}
    )
    assert heights.fit_curve(bent, START).curve.exponent > 0


def test_the_spreads_between_and_within_regions_are_found():
    names = ("Picea pungens", "Picea abies", "Pinus nigra")
    trees = heights.aged(made_up(names))
    fits, _ = heights.fit_kinds(trees, {"needle": START})
    spread = heights.variances(trees, fits)
    assert spread.within_site == pytest.approx(SIGMA, rel=0.1)
    assert spread.between_sites == pytest.approx(TAU, rel=0.4)


def test_four_in_five_trees_of_a_region_left_out_lie_in_the_range():
    found = leave_one_region_out(made_up(regions=6, each=40), {"needle": START})
    assert set(found["by"]) == {"own"}
    assert summary(found)["inside"] == pytest.approx(0.8, abs=0.1)


def test_the_interval_score_of_a_range():
    """Closed form: its width if it holds the tree, and ten times what it misses by at 80 %."""
    inside, outside = (
        heights.interval_score(np.e, 1.0, np.e**2),
        heights.interval_score(np.e**3, 1.0, np.e**2),
    )
    assert (float(inside), float(outside)) == pytest.approx((2.0, 12.0))


def test_width_and_leaves_of_simulated_trees_are_found():
    trees = made_up()
    assert shapes.common_exponent(trees) == pytest.approx(0.8, abs=0.05)
    law = shapes.fit_width(trees)
    assert (law.coefficient, law.log_sd) == pytest.approx((0.9, 0.2), rel=0.15)
    # Volume of a paraboloid is half its cylinder, so that the density is that of `made_up`.
    assert shapes.fit_leaves(trees, 0.5).density == pytest.approx((1.5, 1.5, 1.5))


def wide_trees(end_m: float, source: str = UTD) -> pd.DataFrame:
    """Trees of w = 0.9 h^0.8 exactly, up to a width."""
    h = np.arange(2.0, 20.0, 0.5)
    w = np.minimum(0.9 * h**0.8, end_m)
    return pd.DataFrame({"region": "a", "source": source, "h": h, "w": w})


@pytest.mark.parametrize(("source", "tell"), [(UTD, True), ("a forest", False)])
def test_a_width_ends_where_taller_trees_are_no_wider(source, tell):
    """By construction: the end, and the trees above the height at which the law reaches it."""
    trees = wide_trees(6.0, source)
    end, taller = shapes.width_end(trees, np.log(0.9), 0.8)
    assert end == pytest.approx(6.0)
    assert taller == (int((0.9 * trees["h"] ** 0.8 > 6.0).sum()) if tell else 0)
    # The end is found as well where plants differ.
    rng = np.random.default_rng(SEED)
    many = pd.concat([trees] * 20, ignore_index=True)
    many["w"] *= np.exp(rng.normal(0.0, 0.2, len(many)))
    assert shapes.width_end(many, np.log(0.9), 0.8)[0] == pytest.approx(6.0, rel=0.05)


def test_a_width_that_does_not_end_goes_as_far_as_the_tallest_tree():
    trees = wide_trees(np.inf)
    assert shapes.width_end(trees, np.log(0.9), 0.8) == pytest.approx((trees["w"].max(), 0))


def test_an_exponent_of_a_score_is_as_published():
    """Ends of Purves, Lichstein and Pacala 2007: 0.196 for a score of 0, 0.511 for 1."""
    assert shapes.exponent_of_score(np.array([0.0, 1.0])) == pytest.approx([0.196, 0.511])


def test_a_lent_score_is_that_of_relatives():
    assert shapes.find_profile(PROFILES, "Picea pungens", "Picea", False).grade == "measured"
    assert shapes.find_profile(PROFILES, "Picea abies", "Picea", False).grade == "relatives"
    assert shapes.find_profile(PROFILES, "Picea omorika", "Picea", False).grade == "relatives"
    assert shapes.find_profile(PROFILES, "Taxus baccata", "Taxus", False).grade == "group"


def test_a_published_curve_is_found_again_from_its_points():
    """The made-up curve has A = site, k = 0.05 and m = 2."""
    found = published.fit_published(CURVES, [0], 12.0)
    ages = np.array([10.0, 25.0, 45.0])
    expected = published.at_site(CURVES, 0, 12.0, ages)
    assert height_at(found, ages - 5.0, published.at_site(CURVES, 0, 12.0, 5.0)) == pytest.approx(
        expected, rel=0.01
    )


def test_points_are_medians_and_quartiles_of_a_class_with_trees_enough():
    trees = pd.DataFrame(
        {"region": ["a"] * 5 + ["b"] * 4, "age": [5.0, 6.0, 7.0, 8.0, 9.0, 5.0, 6.0, 7.0, 8.0],
         "h": [1.0, 2.0, 3.0, 4.0, 5.0, 1.0, 2.0, 3.0, 4.0]}
    )  # fmt: skip
    # By hand; four trees are too few, and the class is half open.
    assert points.classes(trees, "age", "h", (5.0, 10.0)) == [["a", 5, 7.0, 2.0, 3.0, 4.0]]
    assert points.classes(trees, "age", "h", (5.0, 9.0)) == []


def test_the_leaf_comes_from_genus_and_type():
    assert [leaf_of(*row) for row in [("Juniperus", "CEM"), ("Pinus", "CEL"), ("Ilex", "BES"), ("Acer", "BDL"), ("Fagus", "BDL")]] == ["scale", "needle", "broadleaf", None, "deciduous"]  # fmt: skip


@pytest.fixture(scope="module")
def written():
    kinds = {
        key: kind
        for key, kind in figures.read_kinds().items()
        if key in {"picea_pungens", "picea_omorika"}
    }
    data = Data(made_up(regions=4, each=40), PROFILES, CURVES)
    return data, kinds, work_out(data, kinds)


def test_the_text_is_the_same_every_time_and_holds_what_was_fitted(written):
    data, kinds, (text, rows, _, fitting) = written
    assert (text, rows) == work_out(data, kinds)[:2]
    read = tomllib.loads(text)
    own = read["kinds"]["picea_pungens"]
    assert own["height"]["asymptote_m"] == round(fitting.fits["Picea pungens"].curve.asymptote_m, 2)
    assert own["height"]["n"] == 4 * 39
    assert own["height"]["grade"] == "measured"
    assert read["kinds"]["picea_omorika"]["height"]["grade"] == "relatives"
    assert tomllib.loads(rows)["street"]
    # Every tree that is foretold is counted once by its kind, and so is every one inside.
    counted = pd.DataFrame(tomllib.loads(rows)["coverage"].values())
    held = read["about"]["left_out_by_region"]
    assert counted["n"].sum() == held["n"] > 0
    assert counted["inside"].sum() / counted["n"].sum() == pytest.approx(held["inside"], abs=5e-4)


def test_the_checked_in_figures_have_the_form_of_what_is_written(written):
    *_, (text, _, _, _) = written
    made, stands = tomllib.loads(text), tomllib.loads(FIGURES.read_text(encoding="utf-8"))
    # The made-up trees have no published curve, so that no site is found by them.
    assert set(made["about"]) == set(stands["about"]) - {"site_m_at_50"}
    for part, of in made["kinds"]["picea_pungens"].items():
        assert set(of) == set(stands["kinds"]["picea_pungens"][part])
    assert FIGURES.read_text(encoding="utf-8").startswith(text[:200])
    # The checked-in text is what the writer makes of its values, to the byte.
    head = text[: text.index("[about]")]
    assert FIGURES.read_text(encoding="utf-8") == head + as_toml(stands)


def test_a_wrong_folder_is_told(tmp_path, capsys):
    with pytest.raises(SystemExit):
        main([str(tmp_path)])
    assert "is not the folder of the data" in capsys.readouterr().err
