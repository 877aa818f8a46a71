"""The sight: laid once in a run, whatever is planted, and of many subjects as of one."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from design_site import GIVES, options, site
from design_site import TABLE as COLUMNS
from options_kit import plan_with
from parcel_kit import PLAIN
from shapely.geometry import LineString, Point, box
from test_views import GARDEN, HOUSE, LINE, SHUT, TABLE, WINDOW, row, windows

from screenplan import run_plan, sample_plan
from screenplan.design.designing import design_planting
from screenplan.ground.errors import InputError
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS
from screenplan.views import sight
from screenplan.views.missing import find_missing
from screenplan.views.observers import SAMPLES
from screenplan.views.sight import LAYERS, lay_every, lay_sight, sight_of
from screenplan.views.stems import CLEAR_OF_LINE_M
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
        found.append(lay_every(*args, **options))
        return found[-1]

    monkeypatch.setattr(sight, "lay_every", lay)
    return found


# The windows are set apart after the first look. Of whole lines, and of lines that are cut.
@pytest.mark.parametrize(
    ("asked", "settings"),
    [
        (("needed_height", "views", "sections", "missing_plants"), ()),
        (("needed_height",), ("rows.along=[]",)),
    ],
    ids=["filled", "cut"],
)
def test_a_run_lays_it_once(laid, asked, settings):
    run = run_plan(sample_plan(), settings=settings, only=asked)
    assert set(asked) <= set(run.layers)
    assert len(laid) == 1


def test_a_design_lays_it_once_for_all_plantings_and_for_the_steps_after_it(laid):
    layers, kept, plan = site(), Kept(), options()
    made = dict(zip(GIVES, design_planting(
        layers, plan=plan, rules=PLAIN, species_table=COLUMNS, kept=kept,
    ), strict=True))  # fmt: skip
    assert len(made["plants"])
    trace_views(
        layers | {name: made[name] for name in ("private_places", "planting_lines", "plants")},
        plan=plan, species_table=COLUMNS, kept=kept, second_sample=False,
    )  # fmt: skip
    assert len(laid) == 1


def test_a_line_only_leaves_out_who_is_among_its_stems():
    kept = Kept()

    def seen_by(*ends):
        line = LINE.set_geometry([LineString(ends)])
        return sight_of(SITE | {"planting_lines": line}, DEFAULTS.views, None, kept)

    every = seen_by((-30, 0), (30, 0))
    assert seen_by((-30, 0), (-10, 0)) is every
    # By hand: the garden is 6 m deep from y = -10; a line along y = -7 runs through it.
    some = seen_by((-30, -7), (30, -7))
    assert some.obstacles is every.obstacles
    for sample in ("coarse", "dense"):
        before, after = (getattr(sight.targets, sample).xyz for sight in (every, some))
        near = np.abs(before[:, 1] + 7.0) <= CLEAR_OF_LINE_M
        assert near.any()
        assert np.array_equal(after, before[~near])
    # Along the path all who walk on it would be among the stems; a window stays where it is.
    with pytest.raises(InputError, match="an onlooker is on a planting line all over"):
        seen_by((-60, 20), (60, 20))
    half = seen_by((0, 20), (60, 20))
    eyes = half.observers.eyes[False, False]
    assert eyes.row(1)[:, 0].max() <= -CLEAR_OF_LINE_M
    assert np.array_equal(eyes.row(0), every.observers.eyes[False, False].row(0))
    assert half.observers.middle[1][0] < every.observers.middle[1][0]


def test_windows_that_are_set_apart_are_looked_through_as_before():
    kept = Kept()
    laid = [
        sight_of(SITE | {"windows": WINDOW.assign(set_apart=reason)}, DEFAULTS.views, None, kept)
        for reason in (None, "a store room")
    ]
    assert laid[0] is laid[1]


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
    assert {*empty} - {"planting_lines"} < set(LAYERS)


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
