"""The stand: who grows plants, how often, and what a stand holds."""

import ast
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from effects_kit import row

from screenplan import sample_plan
from screenplan.ground.errors import InputError
from screenplan.planting import growth, stand
from screenplan.planting.growth import TYPICAL
from screenplan.planting.maturity import FOLLOWED_YEARS, MATURE_YEAR
from screenplan.planting.species import load_species, planned_species
from screenplan.planting.stand import Start, sizes_of, stand_of
from screenplan.running.pipeline import run_plan

PACKAGE = Path(__file__).parent.parent / "screenplan"
#: The functions that grow a plant, which only the stand calls.
GROWERS = {"height_at", "heights_at", "spread_at", "width_at", "clear_stem_at", "effective_years"}
TABLE = load_species()


def of_growth(path: Path) -> set[str]:
    """The growing functions that a module imports, or takes from the module of growth."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").endswith("planting.growth"):
            found |= {name.name for name in node.names} & GROWERS
        if isinstance(node, ast.ImportFrom) and (node.module or "").endswith("planting"):
            found |= {name.name for name in node.names} & {"growth"}
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names if name.name.endswith("planting.growth")}
    return found


#: What holds measured plants against the growth of their kind, to correct it; none of it grows a plant of the plan.
OF_OWN_PLANTS = {f"planting/own_{name}.py" for name in ("growth", "measured", "plants")}


def test_nobody_but_the_stand_grows_a_plant():
    assert all(hasattr(growth, name) for name in GROWERS)
    who = {
        path.relative_to(PACKAGE).as_posix(): names
        for path in PACKAGE.rglob("*.py")
        if (names := of_growth(path))
    }
    assert who.keys() - OF_OWN_PLANTS == {"planting/stand.py"}


def test_nobody_else_takes_the_figures_by_which_plants_grow():
    rates = {"height_curve", "width_law", "establishment_years", "clear_stem_share"}
    takers = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in rates
    }
    assert takers - OF_OWN_PLANTS == {
        "planting/growth.py",
        "planting/species.py",
        "planting/species_model.py",
    }


def test_a_run_grows_each_plant_once_however_many_steps_ask(monkeypatch):
    asked, drawn = [], []

    def height_at(species, years, **how):
        asked.append((species, *sorted(how.items())))
        return growth.height_at(species, years, **how)

    def heights_at(species, quantiles, years, **how):
        drawn.append((species, *sorted(how.items())))
        return growth.heights_at(species, quantiles, years, **how)

    monkeypatch.setattr(stand, "height_at", height_at)
    monkeypatch.setattr(stand, "heights_at", heights_at)
    stand._grow.cache_clear()
    stand.heights_at_quantiles.cache_clear()
    run = run_plan(sample_plan())
    assert len(asked) == len(set(asked))
    # What is drawn is grown once for each start; the rest are the scenarios.
    starts = (
        run.layers["plants"].groupby(["species", "stock_height_m", "existing", "stock"]).ngroups
    )
    assert len(drawn) == len(set(drawn)) == starts
    # Heights at which a row could be kept are tried, each once.
    kept = [call for call in asked if call[0].kept_height_m is not None]
    assert kept
    asked[:] = [call for call in asked if call not in set(kept)]
    table = planned_species(run.plan)
    columns = ("species", "stock_height_m", "existing", "stock")
    planted = {
        Start(table[key], height, bool(stands), stock)
        for key, height, stands, stock in zip(
            *(run.layers["plants"][name] for name in columns), strict=True
        )
    }
    # Each start at low, typical and high growth: those of the layer, and each species that is hardy there
    # as the needed height compares it.
    stock, zone = run.plan.plants.stock, run.plan.health.zone
    compared = {
        Start(species, species.stock_height_m, False, stock)
        for species in table.values()
        if species.hardy_in(zone) or species.key in set(run.layers["plants"]["species"])
    }
    assert len(asked) == 3 * len(planted | compared)
    run_plan(sample_plan())
    assert len(asked) == 3 * len(planted | compared), "a second run grows nothing anew"


@pytest.mark.parametrize("curve", growth.CURVES)
@pytest.mark.parametrize("stands", [False, True])
def test_sizes_are_those_of_growth_in_every_year(curve, stands):
    years = [0, 7, FOLLOWED_YEARS, FOLLOWED_YEARS + 3, MATURE_YEAR, MATURE_YEAR + 1]
    for species in TABLE.values():
        sizes = sizes_of([Start(species, 0.7, stands)], years, curve)[:, 0]
        for g, name in enumerate(growth.GROWTHS):
            height = growth.height_at(
                species,
                np.minimum(years, MATURE_YEAR),
                growth=name,
                stock_height_m=0.7,
                curve=curve,
                established=stands,
            )
            assert sizes[0, g] == pytest.approx(height, rel=1e-12)
            assert sizes[1, g] == pytest.approx(growth.spread_at(species, height, name), rel=1e-12)
            assert sizes[2, g] == pytest.approx(growth.width_at(species, height, name), rel=1e-12)
            assert sizes[3, g] == pytest.approx(growth.clear_stem_at(species, height), rel=1e-12)


def test_plants_of_many_subjects_are_those_of_each_alone():
    """Rows of two subjects that are called alike stay two rows, whatever lies between."""
    first = row([(0.0, 0.0), (4.0, 0.0)], step=1.0)[1]
    second = row([(4.0, 1.0), (4.0, 6.0)], step=1.0, species="ilex_opaca")[1]
    together = pd.concat([first, second], ignore_index=True)
    subject = [3] * len(first) + [8] * len(second)
    mixed = np.random.default_rng(5).permutation(len(together))
    both = stand_of(together.iloc[mixed], years=12, subject=np.array(subject)[mixed])
    assert len(set(both.row)) == 2
    assert both.order.tolist() == np.argsort(mixed).tolist()
    for number, alone in ((3, stand_of(first, years=12)), (8, stand_of(second, years=12))):
        mine = both.order[both.subject[both.order] == number]
        for name in ("height", "radius", "across", "clear", "farthest", "shape", "box", "way"):
            assert (getattr(both, name)[mine] == getattr(alone, name)).all(), name


def test_other_years_and_nobody_to_clip_it_leave_the_plants_as_they_are():
    table = load_species(
        {"hedge": {"like": "carpinus_betulus", "shape": "box", "kept_height": "2 m", "kept_width": "0.6 m"}}
    )  # fmt: skip
    kept = stand_of(
        row([(0.0, 0.0), (4.0, 0.0)], species="hedge")[1], years=20, species_table=table
    )
    free = kept.unclipped()
    assert kept.height.max() == 2.0
    assert kept.across.max() == pytest.approx(0.3)
    assert (free.height >= kept.height).all()
    assert free.height[:, TYPICAL, -1].min() > 2.0
    assert (free.points == kept.points).all()
    assert (kept.in_years([3, 20]).height == kept.height[:, :, [3, 20]]).all()


def test_sizes_that_are_kept_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        stand._grow(Start(TABLE["thuja_occidentalis"], 1.0, False), FOLLOWED_YEARS, "smooth")[:] = (
            0.0
        )


def test_plants_that_cannot_grow_are_refused_by_row():
    plants = gpd.GeoDataFrame(
        {
            "line_id": ["a"] * 4,
            "species": ["thuja_occidentalis", "palm", "thuja_occidentalis", "thuja_occidentalis"],
            "stock_height_m": [1.0, 1.0, np.nan, 80.0],
        },
        geometry=[shapely.Point(), *(shapely.Point(x, 0) for x in range(3))],
    )
    with pytest.raises(InputError) as refused:
        stand_of(plants, years=3)
    assert [
        (problem.what, problem.layer, tuple(problem.rows)) for problem in refused.value.problems
    ] == [
        ("a plant has no place", "plants", (1,)),
        ("a species is not in the table: palm", "plants", (2,)),
        ("a plant has no height when planted", "plants", (3,)),
        ("a plant is taller than 60 m", "plants", (4,)),
    ]
    for wrong in (0, 2.5):
        with pytest.raises(InputError, match="is no last year"):
            stand_of(plants.iloc[:0], years=wrong)
    assert stand_of(plants.iloc[:0], years=3).height.shape == (0, 3, 4)
