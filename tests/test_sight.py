"""The sight: laid once in a run, whatever is planted, and of many subjects as of one."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from options_kit import plan_with
from shapely.geometry import LineString, Point, box
from test_views import GARDEN, HOUSE, LINE, SHUT, TABLE, WINDOW, row, windows

from screenplan import run_plan, sample_plan
from screenplan.ground.errors import InputError
from screenplan.ground.kept import Kept
from screenplan.views import sight
from screenplan.views.missing import find_missing
from screenplan.views.sight import LAYERS, SAMPLES, lay_sight, sight_of
from screenplan.views.views import trace_views

SITE = {
    "windows": WINDOW,
    "private_places": GARDEN,
    "planting_lines": LINE,
    "buildings": HOUSE,
    "onlookers": gpd.GeoDataFrame(
        {"onlooker_id": ["path"]}, geometry=[LineString([(-50, 20), (50, 20)])]
    ),
}


@pytest.fixture
def laid(monkeypatch):
    """The sights that are laid, in their order."""
    found = []

    def lay(*args, **options):
        found.append(lay_sight(*args, **options))
        return found[-1]

    monkeypatch.setattr(sight, "lay_sight", lay)
    return found


def test_a_run_lays_it_once(laid):
    asked = ("needed_height", "views", "sections", "missing_plants")
    run = run_plan(sample_plan(), only=asked)
    assert set(asked) <= set(run.layers)
    # Once to see which stretches are of use, of all lines, and once for all four, of what is planted.
    assert len(laid) == 2


def test_it_is_laid_anew_for_other_layers_and_other_eyes_not_for_other_plants(laid):
    kept, eyes = Kept(), plan_with(views_eyes_across=1)
    plan = plan_with(growth_years=5)
    for stations in (SHUT, SHUT[::2]):
        layers = SITE | {"plants": row(stations)}
        trace_views(layers, plan=plan, species_table=TABLE, kept=kept, second_sample=False)
        find_missing(layers, plan=plan, species_table=TABLE, kept=kept)
    assert len(laid) == 1
    sight_of(SITE | {"windows": windows((1, 6))}, plan.views, None, kept)
    sight_of(SITE, eyes.views, None, kept)
    assert len(laid) == 3
    assert len(laid[2].observers.eyes[False, False].row(0)) == 2


def neighbours():
    """Two subjects side by side: 25 m apart, so that the one's row runs through the other's garden."""
    east = {
        name: layer.set_geometry(layer.geometry.translate(25.0, -7.0))
        for name, layer in SITE.items()
    }
    both = {name: pd.concat([SITE[name], east[name]], ignore_index=True) for name in SITE}
    return east, both


# Invariant: each subject has the eyes, heads and views that it has alone, though they share their
# names, and what stands is in everybody's way.
def test_many_subjects_are_laid_as_each_alone():
    east, both = neighbours()
    assert both["planting_lines"].distance(GARDEN.geometry[0]).min() == 0.0
    subjects = {
        name: [0] * len(SITE[name]) + [1] * len(east[name]) for name in SITE if name != "buildings"
    }
    together = lay_sight(both, subjects=subjects)
    assert len(together.pairs) == 4  # a window and a path each, not eight
    alone = [lay_sight(site | {"buildings": both["buildings"]}) for site in (SITE, east)]
    found = list(together.looks())
    for subject, single in enumerate(alone):
        mine = [
            look
            for look, (observer, _) in zip(found, together.pairs, strict=True)
            if together.observers.subject[observer] == subject
        ]
        for one, two in zip(mine, single.looks(), strict=True):
            assert one.view_id == two.view_id
            for ours, theirs in zip(one.rays(), two.rays(), strict=True):
                assert np.array_equal(ours, theirs)
                assert len(ours)
            origin, target = one.rays()
            light = [s.obstacles.light_left(origin, target)[0] for s in (together, single)]
            assert np.array_equal(*light)


def test_a_site_without_windows_and_onlookers_has_no_views():
    empty = {"windows": WINDOW.iloc[:0], "private_places": GARDEN.iloc[:0], "planting_lines": LINE}
    none = lay_sight(empty)
    assert not list(none.looks())
    assert not list(none.rays())
    assert none.within is None
    assert set(none.observers.eyes) == set(SAMPLES)
    assert set(empty) < set(LAYERS)


def test_an_onlooker_of_another_subject_may_have_the_name_of_a_window():
    people = gpd.GeoDataFrame({"onlooker_id": ["w0"]}, geometry=[Point(1.0, 20.0)])
    garden = GARDEN.assign(place_id="other").set_geometry([box(-6, -30, 6, -24)])
    layers = SITE | {
        "onlookers": people, "private_places": pd.concat([GARDEN, garden], ignore_index=True),
    }  # fmt: skip
    laid = lay_sight(layers, subjects={"onlookers": [1], "private_places": [0, 1]})
    assert [look.view_id for look in laid.looks()] == ["w0 to g", "w0 to other"]
    with pytest.raises(InputError, match="an onlooker has the identifier of a window, w0"):
        lay_sight(layers)
