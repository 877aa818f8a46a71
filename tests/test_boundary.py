"""Crowns over the line, heights at the line, walls: years and clipping against the growth curves."""

import numpy as np
import pandas as pd
import pytest
import shapely
from effects_kit import house, parcels, row
from options_kit import plan_with

from screenplan.effects.boundary import judge_outgrown, outgrow_boundary
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.species import load_species

HYBRID = load_species()["thuja_standishii_plicata"]
YEARS = np.arange(31)
HOUSE = house()


def results(found, buildings=HOUSE, *, known=True, **options):
    findings = judge_outgrown(found, buildings, known, plan_with(**options))
    return {finding.check: finding for finding in findings}


def test_the_year_in_which_crowns_reach_the_line_and_the_clipping_after():
    _, plants = row(((10, 38.5), (30, 38.5)), species="thuja_standishii_plicata")
    found = outgrow_boundary(parcels(), plants, plan=plan_with(growth_years=30))
    over = found.loc[found["what"] == "crown over the boundary"].iloc[0]
    radius = spread_at(HYBRID, height_at(HYBRID, YEARS, stock_height_m=1.0)) / 2
    first = int(np.argmax(radius > 1.5 + 0.005))
    assert over["year"] == first
    assert over["over_m"] == pytest.approx(radius[-1] - 1.5)
    # A year's growth of the radius, from the year before the first on.
    assert over["clip_m"] == pytest.approx(np.diff(radius[first - 1 :]).max())
    assert over["year_high"] <= over["year"]
    assert pd.isna(over["year_low"]) or over["year"] <= over["year_low"]
    finding = results(found)["clipping at the boundary"]
    assert finding.result == "fails"
    assert f"in year {first} at typical growth" in finding.says


def test_a_plant_that_stands_beyond_the_line_is_over_it_at_once():
    _, plants = row(((10, 40.4), (30, 40.4)))
    found = outgrow_boundary(parcels(), plants)
    assert (found.loc[found["what"] == "crown over the boundary", "year"] == 0).all()


def test_height_at_the_line():
    _, plants = row(((10, 38.5), (30, 38.5)), species="thuja_standishii_plicata")
    found = outgrow_boundary(
        parcels(), plants, plan=plan_with(boundary_most_height=2.0, boundary_within=2.0)
    )
    tall = found.loc[found["what"] == "height at the boundary"]
    heights = height_at(HYBRID, YEARS, stock_height_m=1.0)
    assert (tall["year"] == int(np.argmax(heights > 2.0))).all()
    assert results(found, boundary_most_height=2.0)["height at the boundary"].result == "fails"
    _, inner = row(((10, 37.5), (30, 37.5)))
    found = outgrow_boundary(
        parcels(), inner, plan=plan_with(boundary_most_height=2.0, boundary_within=2.0)
    )
    assert results(found, boundary_most_height=2.0)["height at the boundary"].result == "passes"


def test_walls():
    # 2 m before a wall (6.6 ft): at most 20 ft tall, and no wider than 2 m to the side.
    _, plants = row(((12, 48), (18, 48)), species="thuja_standishii_plicata")
    lots = parcels(neighbour=shapely.box(0, 80, 40, 90))
    lots.geometry = [shapely.box(0, 0, 40, 80), lots.geometry.iloc[1]]
    found = outgrow_boundary(lots, plants, house())
    heights = height_at(HYBRID, YEARS, stock_height_m=1.0)
    first = {what: int(rows["year"].min()) for what, rows in found.groupby("what")}
    assert first["height at a wall"] == int(np.argmax(heights > 20 * 0.3048))
    assert first["crown at a wall"] == int(np.argmax(spread_at(HYBRID, heights) / 2 > 2.005))
    assert results(found)["room at walls"].result == "fails"


def test_a_kept_hedge_stays_inside():
    kept = {
        **vars(HYBRID),
        "key": "kept",
        "shape": "box",
        "kept_height_m": 2.0,
        "kept_width_m": 1.0,
    }
    table = {"kept": HYBRID.__class__(**kept)}
    _, plants = row(((10, 39), (30, 39)), species="kept")
    found = outgrow_boundary(
        parcels(), plants, species_table=table, plan=plan_with(boundary_most_height=2.5)
    )
    assert not len(found)


def test_what_is_missing_cannot_be_judged():
    _, plants = row()
    found = outgrow_boundary(parcels(), plants)
    assert results(found, buildings=None)["room at walls"].result == "cannot be judged"
    assert results(found)["height at the boundary"].result == "cannot be judged"
    assert results(found, known=False)["clipping at the boundary"].result == "cannot be judged"
    assert {finding.result for finding in results(None).values()} == {"cannot be judged"}


def test_a_crown_at_a_wall_is_none_over_the_boundary():
    over = pd.DataFrame(
        {
            "what": ["crown at a wall"],
            "plant_id": [1],
            "growth": ["typical"],
            "first_year": [4],
            "clip_m": [None],
        }
    )
    line, *_ = judge_outgrown(over, None, True, plan_with())
    assert line.result == "passes"
    assert line.says == "No crown grows over the boundary as drawn, at any growth"
