"""The figures of kinds: complete, graded, and with their sources."""

from collections import Counter
from inspect import signature
from pathlib import Path

import numpy as np
import pytest

from docs.generate.markdown import plain
from screenplan.ground.units import parse_length
from screenplan.planting.curves import height_at
from screenplan.planting.growth import spread_at
from screenplan.planting.measured import (
    GRADED,
    GRADES,
    load_establishment,
    load_kinds,
    load_measured,
    months_to_root,
    stem_inches,
)
from screenplan.planting.species import load_species
from screenplan.planting.species_model import TOLERANCE_LEVELS, TOLERANCES

LEAST_KINDS = 45


def test_every_kind_of_the_species_table_is_there_and_many_more():
    assert set(load_species()) <= set(load_measured())
    assert len(load_measured()) >= LEAST_KINDS
    assert set(load_kinds()) == set(load_measured())


def test_at_most_half_of_the_grades_are_of_groups_and_a_quarter_from_memory():
    grades = Counter(kind.grades[what] for kind in load_measured().values() for what in GRADED)
    assert set(grades) <= set(GRADES)
    weak = grades["group"] + grades["published"] + grades["memory"]
    assert weak <= 0.5 * grades.total()
    assert grades["memory"] <= 0.25 * grades.total()


@pytest.mark.parametrize("key", sorted(load_measured()))
def test_figures_say_where_they_come_from(key):
    kind = load_measured()[key]
    for what in ("height", "width"):
        of = kind.figures[what]
        assert of["source"]
        if of["grade"] == "measured":
            assert of["n"] >= 10
            assert of["regions"]
    if kind.grades["height"] == "measured":
        low, high = kind.figures["height"]["ages"]
        assert 0 < low < high
    assert kind.profile[0] <= kind.profile[1] <= kind.profile[2] + 0.01
    assert list(kind.leaf_density) == sorted(kind.leaf_density)
    slow, usual, fast = (
        height_at(kind.grown(growth), np.arange(1.0, 41.0), 0.9)
        for growth in ("low", "typical", "high")
    )
    assert np.all(slow <= usual)
    assert np.all(usual <= fast)


@pytest.mark.parametrize("key", sorted(load_kinds()))
def test_what_is_published_of_a_kind_is_readable_and_has_its_source(key):
    kind = load_kinds()[key]
    for size in ("mature_height", "mature_spread"):
        low, high = (parse_length(value, key=size) for value in kind[size])
        assert 0 < low <= high
    coldest, warmest = kind["hardiness_zones"]
    assert 1 <= coldest <= warmest <= 13
    for what, level in kind.get("tolerances", {}).items():
        assert what in TOLERANCES
        assert level in TOLERANCE_LEVELS
    for what in ("tolerances", "spacing", "winter_share"):
        assert (what in kind) == (what in kind["sources"])
    assert all("(" in warning or "cold winters" in warning for warning in kind.get("warnings", []))


@pytest.mark.parametrize(
    "key",
    ["prunus_laurocerasus", "taxus_baccata", "ligustrum_ovalifolium", "photinia_fraseri",
     "fagus_sylvatica", "carpinus_betulus"],
)  # fmt: skip
def test_hedges_of_which_no_height_by_year_was_found_say_so(key):
    assert "no height by year" in load_kinds()[key]["note"]
    assert load_measured()[key].grades["height"] != "measured"


def test_no_warning_rests_on_memory():
    """Whoever is warned of poison, weeds or bans is told who says so."""
    for key, kind in load_kinds().items():
        assert not [text for text in kind.get("warnings", []) if "memory" in text], key


@pytest.mark.parametrize(
    ("key", "words"),
    [
        # Poison: yew, laurels, privets, hollies, photinia.
        *((key, "poison") for key in (
            "taxus_baccata", "prunus_laurocerasus", "prunus_lusitanica", "prunus_caroliniana", "photinia_fraseri",
            "ilex_opaca", "ilex_aquifolium", "ilex_nellie_stevens", "ilex_vomitoria", "ilex_glabra",
            "pittosporum_undulatum",
        )),
        *((key, "killed cattle") for key in ("ligustrum_japonicum", "ligustrum_lucidum", "ligustrum_ovalifolium")),
        # Spreading.
        *((key, "nva") for key in (
            "prunus_laurocerasus", "prunus_lusitanica", "ligustrum_lucidum", "ligustrum_ovalifolium",
            "ilex_aquifolium", "pittosporum_undulatum", "elaeagnus_pungens", "phyllostachys_aurea",
        )),
        # Law.
        ("prunus_laurocerasus", "Switzerland forbids"),
        ("ligustrum_ovalifolium", "removed by law"),
        ("phyllostachys_aurea", "Forbidden in New York State"),
        ("metrosideros_excelsa", "must be removed"),
        ("pinus_halepensis", "declared weed"),
        # Roots.
        ("phyllostachys_aurea", "roots run"),
        ("ficus_benjamina", "Roots crack paths"),
    ],
)  # fmt: skip
def test_plants_that_harm_are_warned_of(key, words):
    """What the sources that stand beside it say."""
    assert any(
        words in warning.lower() or words in warning for warning in load_kinds()[key]["warnings"]
    )


def test_no_crowding_is_taken_and_the_reason_is_told():
    """What there is of evidence: a row 8 ft wide on 6.5 ft centres (arboretum, read)."""
    crowding = load_establishment()["crowding"]
    assert crowding["taken"] == 0.0
    assert "8 ft wide" in crowding["source"]
    assert "no comparison of rows with lone plants was found" in crowding["source"]
    # A plant's width hangs on its height, its kind and its growth, and on no neighbour.
    assert "spacing" not in signature(spread_at).parameters
    page = Path(__file__).parents[1] / "docs/reference/growth_evidence.md"
    assert plain(crowding["source"]) in page.read_text(encoding="utf-8")


def test_rooting_takes_longer_where_it_is_cold_and_in_containers():
    """Published table: 12, 6 and 3 months an inch; containers one to two months an inch longer."""
    assert [float(months_to_root(zone, 1.0)) for zone in (1, 6, 7, 9, 12)] == [12, 12, 6, 3, 3]
    assert months_to_root(8, 2.0, container=True) > months_to_root(8, 2.0)
    assert "not_found" in load_establishment()["losses"]


# Closed form of the measured law: 2.54 cm are an inch, and a plant twice as tall has a stem 2^b as thick.
def test_stems_grow_by_the_measured_law():
    coefficient, exponent = 1.548, 1.42  # broad leaves, n 663: `python -m tests.fitting`
    assert stem_inches("broadleaf", 1.0) == pytest.approx(coefficient / 2.54)
    one, two = stem_inches("broadleaf", [1.5, 3.0])
    assert two / one == pytest.approx(2.0**exponent)
    assert stem_inches("bamboo", 2.0) == stem_inches("broadleaf", 2.0)
    assert stem_inches("needle", 2.0) != stem_inches("broadleaf", 2.0)
