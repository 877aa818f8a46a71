"""Which stretches are planted: what stops a sight line, unless the side is to be filled."""

import numpy as np
import pandas as pd
import pytest
from design_site import TABLE, options, site
from parcel_kit import PLAIN, layer
from shapely.geometry import LineString, Point, box
from test_views import windows

from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import NobodyLooksError
from screenplan.planting.lines import draw_lines
from screenplan.planting.rows import set_plants
from screenplan.planting.zones import mark_zones
from screenplan.views.missing import find_missing
from screenplan.views.stretches import keep_stretches
from screenplan.views.views import trace_views


def planted(layers=None, *, along=(), cut=True, **values):
    """Lines and plants of the site along its northern side, cut or not."""
    layers = site() if layers is None else layers
    values = {"plants_species": "column", "rows_spacing": 1.0, "rows_along": along} | values
    plan = options(**values)
    zones, ground = mark_zones(
        {name: layers[name] for name in ("parcels", "keep_outs") if name in layers},
        plan=plan,
        rules=PLAIN,
        species_table=TABLE,
    )
    drawn, standing = layers.get("planting_line"), layers.get("existing_screens")
    sides = layers["sides"].assign(looked_across=(layers["sides"]["side_id"] == "north") * 1.0)
    lines = draw_lines(layers["parcels"], sides, ground, zones, drawn, standing, plan=plan)
    layers = {
        **layers, "planting_lines": lines, "plantable_zone": ground, "no_plant_zones": zones,
    }  # fmt: skip
    if cut:
        layers["planting_lines"] = keep_stretches(layers, plan=plan, species_table=TABLE)
    layers["plants"], layers["dropped_stations"] = set_plants(
        layers["planting_lines"], ground, zones, standing, plan=plan, species_table=TABLE
    )
    return layers, plan


def years(layers, plan):
    traced = trace_views(layers, plan=plan, species_table=TABLE, second_sample=False)[0]
    return traced.set_index("view_id")["year_closed"]


# By hand: a column half a metre to either side of its stem stands in the way of a window 15 m from the next,
# which looks across y = 0 within 0.6 m; runs are three plants long.
def test_only_what_stops_a_sight_line_is_planted_in_runs_of_three():
    layers, _ = planted()
    lines, plants = layers["planting_lines"], layers["plants"]
    assert lines["line_id"].tolist() == [f"north-row1-part{k}" for k in (1, 2, 3)]
    # Lines run anticlockwise, so from east to west.
    for line_id, middle in zip(lines["line_id"], (15, 0, -15), strict=True):
        own = plants.loc[plants["line_id"] == line_id]
        assert len(own) == 3
        assert abs(own.geometry.x.mean() - middle) < 1.1
        assert own["station_m"].iloc[0] == 0.0
    full, _ = planted(cut=False)
    (told,) = notes_of(lines)
    assert f"{told}".startswith(
        f"{len(full['plants']) - 9} of {len(full['plants'])} plants that the sides have"
    )
    assert lines["length_m"].to_numpy() == pytest.approx(lines.length)
    assert lines["plantable_m"].to_numpy() == pytest.approx(lines.length, abs=0.01)


# Invariant: the plants that are left stand where they stood, and every view closes in the same year.
@pytest.mark.parametrize("floor_m", [0.0, 3.0])
def test_the_views_close_in_the_years_of_the_full_row(floor_m):
    at = (-14.0, -6.0, 7.0)
    seen = windows(*((x, 6.0) for x in at), sill=floor_m + 1.0, floor_m=floor_m)
    cut, plan = planted(site(at, windows=seen))
    full, _ = planted(site(at, windows=seen), cut=False)
    assert len(cut["plants"]) < len(full["plants"])
    stood = np.array([(point.x, point.y) for point in full["plants"].geometry])
    for point in cut["plants"].geometry:
        assert np.hypot(*(stood - (point.x, point.y)).T).min() < 1e-6
    pd.testing.assert_series_equal(years(cut, plan), years(full, plan))


def test_no_plant_of_a_run_that_is_longer_than_the_least_is_idle_at_its_ends():
    layers, plan = planted(design_least_run=1)
    told, _ = find_missing(
        layers, plan=plan.model_copy(update={"views": plan.views.model_copy(update={"missing_year": 10})}),
        species_table=TABLE,
    )  # fmt: skip
    assert (told.groupby("line_id")["hangs_share"].max() > 0).all()
    assert (told.groupby("line_id").size() <= 3).all()


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"along": ["north"]}, "rows.along names the sides"),
        ({"rows_fill": True}, "rows.fill asks for them"),
    ],
)
def test_a_side_that_is_to_be_filled_is_filled_and_told(values, why):
    layers, _ = planted(**values)
    full, _ = planted(cut=False)
    assert len(layers["plants"]) == len(full["plants"])
    (note,) = notes_of(layers["planting_lines"])
    assert why in f"{note}"
    assert "stand for looks" in f"{note}"
    assert "set design.wanted" in f"{note}"


def test_a_drawn_line_is_filled_unless_the_plan_says_otherwise():
    drawn = layer(line_id=["mine"], geometry=[LineString([(-19, -0.2), (19, -0.2)])])
    layers, _ = planted(site(planting_line=drawn))
    assert layers["planting_lines"]["line_id"].tolist() == ["mine-row1"]
    assert "the planting line is drawn" in f"{notes_of(layers['planting_lines'])}"
    layers, _ = planted(site(planting_line=drawn), rows_fill=False)
    assert len(layers["planting_lines"]) == 3


def test_sides_that_are_named_are_cut_where_the_plan_says_so():
    layers, _ = planted(along=["north"], rows_fill=False)
    assert len(layers["plants"]) == 9


def test_gaps_that_are_narrower_than_the_least_are_planted():
    # By hand: openings 4 m apart leave two free stations at most between runs of three.
    layers, _ = planted(site((-2.0, 2.0)))
    assert layers["planting_lines"]["line_id"].tolist() == ["north-row1"]


def test_the_second_row_stands_behind_the_first():
    layers, _ = planted(rows_rows=2)
    plants = layers["plants"]
    firsts = plants.loc[plants["row"] == 1]
    seconds = plants.loc[plants["row"] == 2]
    assert len(firsts) == 9
    assert len(seconds) == 6
    for point in seconds.geometry:
        assert np.abs(firsts.geometry.x - point.x).min() == pytest.approx(0.5, abs=0.02)
    assert layers["planting_lines"]["row"].tolist() == [1, 1, 1, 2, 2, 2]


def test_plants_that_stand_are_never_cut_off():
    standing = layer(
        screen_id=["s"], kind=["plant"], height_m=[2.0], species=["column"], geometry=[Point(-8, 0)]
    )
    layers, _ = planted(site(existing_screens=standing))
    plants = layers["plants"]
    (old,) = plants.loc[plants["existing"]].itertuples()
    assert (plants["line_id"] == old.line_id).sum() >= 3


def test_where_nobody_looks_lines_stay_and_where_nothing_helps_it_is_said():
    layers = site()
    layers["windows"] = layers["windows"].iloc[:0]
    made, _ = planted(layers)
    assert len(made["planting_lines"]) == 1
    # By hand: from 31 m over the ground to heads at y = -14.5 the rays pass y = 0 at 22 m, and a column grows no taller than 12 m.
    assert TABLE["column"].full_height("typical") <= 12.0
    high = site(windows=windows((0, 6), sill=30.2, floor_m=30.0), places=[Point(0, -14.5)])
    with pytest.raises(NobodyLooksError, match="would stop a sight line"):
        planted(high)
    assert len(planted(high, rows_fill=True)[0]["planting_lines"]) == 1
    away = site()
    away["windows"]["facing_deg"] = 0.0
    with pytest.raises(NobodyLooksError, match="no view is open today"):
        planted(away)


# Invariant: ground on which nothing may stand, just before a window, leaves one useful plant at its edge.
def test_a_run_that_ends_at_ground_that_is_kept_clear_keeps_its_last_plant():
    lawn = layer(keep_out_id=["k"], kind=["lawn"], geometry=[box(0.2, -3, 6, 3)])
    full, plan = planted(site((0.0,), keep_outs=lawn), cut=False)
    cut, _ = planted(site((0.0,), keep_outs=lawn))
    assert len(cut["plants"]) < len(full["plants"])
    stood = np.sort(full["plants"].geometry.x.to_numpy())
    assert np.abs(stood[:, None] - cut["plants"].geometry.x.to_numpy()).min(axis=0).max() < 1e-6
    edge = stood[stood < 0.2].max()
    assert np.abs(cut["plants"].geometry.x - edge).min() < 1e-6
    pd.testing.assert_series_equal(years(cut, plan), years(full, plan))


# Why a design plants single rows: independent of it, both are traced.
def test_one_row_at_half_the_spacing_stops_about_as_much_as_two_staggered_rows():
    seen = []
    for rows, spacing in ((2, 2.4), (1, 1.2)):
        layers, plan = planted(
            site(places=[box(x - 3, -8, x + 3, -4) for x in (-14, 0, 14)]), along=["north"],
            rows_rows=rows, rows_spacing=spacing, plants_species="broad", views_report_years=[5],
        )  # fmt: skip
        traced = trace_views(layers, plan=plan, species_table=TABLE, second_sample=False)[0]
        seen.append((len(layers["plants"]), traced["open_y05"].to_numpy(float)))
    (two, behind_two), (one, behind_one) = seen
    assert one <= two
    assert behind_two.max() > 0.1
    assert behind_one.mean() == pytest.approx(behind_two.mean(), abs=0.01)
