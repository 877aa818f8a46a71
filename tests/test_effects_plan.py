"""The sample lot planted carelessly: every kind of effect fails, each with a sentence for a neighbour."""

from pathlib import Path

import pandas as pd
import pytest

from screenplan.contracts import OUTPUTS
from screenplan.running.pipeline import run_plan

FOLDER = Path(__file__).parent.parent / "sample_data"

#: Each kind of effect, and words that its sentence must hold.
FAILING = {
    "sight at the road": "A child behind it would be seen too late",
    "growth below wires": "plants grow too tall for an overhead wire",
    "holes at buried lines": "in which nothing is dug but by hand",
    "roots and the septic field": "its roots may reach the drains",
    "clipping at the boundary": "they must be clipped",
    "height at the boundary": "taller than the 2.00 m allowed",
    "room at walls": "plants outgrow their room at a wall",
    "sun on neighbours' windows": "lose more than 5% of their sun",
    "sun on gardens": "lose more than 5% of their sun",
    "sun on panels and beds": "lose more than 5% of their sun",
    "sky light at neighbours' windows": "windows lose more than 20% of it",
    "light on east-row1": "would grow thin there",
    "hedge-height guidance": "a taller row before them than the guidance allows",
    "noise": "A single row gives no measurable reduction of noise",
    "one species": "can take them all",
    "one genus": "can take them all",
    "winter cold": "the site is in zone 3",
    "browsing": "intolerant of browse",
    "salt": "intolerant of salt",
    "shade": "intolerant of shade",
    "wet ground": "intolerant of wet",
}


@pytest.fixture(scope="module")
def careless():
    # Coarser than the plan itself, for the test's sake.
    return run_plan(
        FOLDER / "troubles.toml", settings=["light.step=120", "light.cell='6 m'", "views.target_spacing='4 m'"]
    )  # fmt: skip


@pytest.mark.parametrize(("check", "words"), FAILING.items())
def test_each_kind_of_effect_fails_and_says_why(careless, check, words):
    found = careless.layers["checks"].set_index("check").loc[check]
    assert found["result"] == "fails"
    assert words in found["says"]
    assert pd.notna(found["needs"])  # how to mend it


def test_what_fails_can_be_drawn(careless):
    for name in ("sight_areas", "sight_plants", "wire_plants", "locate_zones", "holes_at_lines", "deep_roots",
                 "outgrown", "light", "sun_grid", "hedge_heights", "noise_paths"):  # fmt: skip
        layer = careless.layers[name]
        assert len(layer), name
        assert not layer.geometry.is_empty.any(), name
        assert set(layer.geometry.geom_type) <= set(OUTPUTS[name].geometry), name


def test_every_required_column_is_filled(careless):
    for name in ("sight_areas", "sight_plants", "wire_plants", "locate_zones", "holes_at_lines", "deep_roots", "outgrown",
                 "light", "light_months", "sun_grid", "hedge_heights", "noise_paths", "plant_health", "rules"):  # fmt: skip
        table = careless.layers[name]
        assert not table[list(OUTPUTS[name].required)].isna().any().any(), name
        plain = [column.name for column in OUTPUTS[name].columns if not column.per_year]
        assert set(plain) <= set(table.columns), name


def test_the_careful_plan_breaks_no_limit_that_it_knows():
    run = run_plan(
        FOLDER / "hillside.toml", settings=["light.step=120", "light.cell='6 m'", "views.target_spacing='4 m'"]
    )  # fmt: skip
    checks = run.layers["checks"].set_index("check")["result"]
    effects = [name for name in FAILING if name in checks.index]
    assert not (checks[effects] == "fails").any()
    # Without the users' limits the effects are told, not judged.
    assert checks["sun on neighbours' windows"] == "cannot be judged"


def test_with_nothing_but_the_parcel_nothing_passes_unseen(tmp_path):
    import geopandas as gpd
    import shapely

    lot = gpd.GeoDataFrame({"parcel_id": ["1"]}, geometry=[shapely.box(5e5, 5.54e6, 5e5 + 30, 5.54e6 + 40)], crs=32632)  # fmt: skip
    lot.to_file(tmp_path / "lot.gpkg")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[layers.parcels]\nfile = "lot.gpkg"\n[rows]\nalong = ["north"]\n[light]\nstep = 120\n',
        encoding="utf-8",
    )
    checks = run_plan(plan).layers["checks"].set_index("check")
    for name in ("sight at the road", "growth below wires", "holes at buried lines", "roots and the septic field", "noise",
                 "sun on neighbours' windows", "sky light at neighbours' windows", "sun on panels and beds", "room at walls"):  # fmt: skip
        assert checks.loc[name, "result"] == "cannot be judged", name
        assert pd.notna(checks.loc[name, "needs"]), name
