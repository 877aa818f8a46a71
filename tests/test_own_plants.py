"""The species as they grow on a site, by plants that were measured there."""

import math

import numpy as np
import pytest
from options_kit import plan_with
from own_kit import KIND, grown, measured, nothing

from screenplan.contracts import GROWTHS, OWN_GROWTH
from screenplan.contracts.tables import notes_of
from screenplan.planting.draws import shares_of
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.own_growth import heights_say, posterior, spreads_of
from screenplan.planting.own_plants import correct_species, own_table, tell_own_growth
from screenplan.planting.species import load_species
from screenplan.planting.species_model import evidence_of

TABLE = load_species()


def corrected(layer, changes=None):
    return correct_species(load_species(changes), {"measured_plants": layer}, changes)


def test_without_a_measurement_the_table_is_as_before():
    for layers in ({}, {"measured_plants": None}, {"measured_plants": nothing()}):
        found = correct_species(TABLE, layers)
        assert found == {}
        assert own_table(TABLE, found) == TABLE
    told = tell_own_growth(nothing())
    assert len(told) == 0
    assert list(told.columns) == [column.name for column in OWN_GROWTH.columns]


@pytest.mark.parametrize("times", [0.8, 1.25])
def test_the_estimate_is_the_conjugate_normal_of_what_the_plants_say(times):
    layer = grown(times, 4)
    found = corrected(layer)[KIND]
    of = spreads_of(KIND)
    said, variances = heights_say(
        TABLE[KIND], layer["age_years"], layer["height_m"], np.full(4, np.nan), of.plants
    )
    expected = posterior(of.of_kind, said, variances)
    assert found.height == pytest.approx(expected)
    assert found.weight == pytest.approx(1.0 - expected.variance / of.of_kind.variance)
    assert (found.height.mean > 0) == (times > 1)
    # It lies between what was known and what was measured.
    before, after = (float(height_at(kind, 8.0)) for kind in (TABLE[KIND], found.own))
    assert min(before, times * before) < after < max(before, times * before)


def test_more_plants_draw_nearer_and_narrow_the_range():
    tall = [TABLE[KIND], *(corrected(grown(1.3, n))[KIND].own for n in (1, 4, 16, 200))]
    typical = [float(height_at(kind, 8.0)) for kind in tall]
    assert typical == sorted(typical)
    # 1.3 times as tall as the table has it, to the last few hundredths: many plants give the site's own.
    assert typical[-1] / typical[0] == pytest.approx(1.3, abs=0.03)
    widths = [
        math.log(kind.curve("high").asymptote_m / kind.curve("low").asymptote_m) for kind in tall
    ]
    assert widths == sorted(widths, reverse=True)


def test_older_plants_draw_more():
    pulls = [corrected(grown(1.3, 4, age=age))[KIND].weight for age in (1.0, 3.0, 8.0, 15.0)]
    assert pulls == sorted(pulls)
    assert pulls[0] < 0.1 < pulls[-1]


def test_curves_of_a_corrected_kind_do_not_cross():
    own = corrected(grown(1.3, 10))[KIND].own
    years = np.arange(0.0, 61.0)
    low, typical, high = (height_at(own, years, growth=growth) for growth in GROWTHS)
    assert [low[0], high[0]] == pytest.approx([typical[0]] * 2, rel=1e-12)
    assert (low[1:] < typical[1:]).all()
    assert (typical[1:] < high[1:]).all()


def test_relatives_count_less_and_other_leaves_not_at_all():
    found = corrected(grown(1.5, 20))
    own, sister = found[KIND], found["juniperus_scopulorum"]
    assert 0.0 < sister.height.mean < own.height.mean
    assert (sister.plants, sister.relatives, sister.weight) == ([], 20, 0.0)
    assert {TABLE[key].leaf for key in found} == {"scale"}
    assert sister.own.evidence == TABLE["juniperus_scopulorum"].evidence
    beech = corrected(grown(1.3, 5, species="fagus_sylvatica"))
    assert set(beech) == {"fagus_sylvatica"}


def test_the_evidence_says_how_many_own_plants_and_what_the_widths_rest_on():
    many = corrected(grown(1.0, 12))[KIND]
    assert many.weight > 0.5
    assert many.own.evidence == "own plants, n 12, widths measured"
    layer = grown(1.0, 12).assign(
        width_m=float(spread_at(TABLE[KIND], height_at(TABLE[KIND], 8.0)))
    )
    assert corrected(layer)[KIND].own.evidence == "own plants, n 12"
    assert corrected(grown(1.0, 1))[KIND].own.evidence == "measured, corrected by own plants, n 1"
    # A mixed row rests on the weakest of its kinds.
    own = corrected(layer)[KIND].own
    assert evidence_of([own, TABLE["ilex_opaca"]]) == "own plants, n 12"
    assert evidence_of([own, TABLE["thuja_occidentalis"]]) == "published range"


def test_widths_change_the_width_at_a_height():
    wide = 1.4 * float(spread_at(TABLE[KIND], 3.0))
    layer = measured(*[{"age_years": 8, "height_m": 3.0, "width_m": wide}] * 300)
    found = corrected(layer)[KIND]
    assert found.widths == 300
    assert float(spread_at(found.own, 3.0)) == pytest.approx(wide, rel=0.02)
    ratio = spread_at(found.own, 3.0, "high") / spread_at(found.own, 3.0, "low")
    assert ratio < spread_at(TABLE[KIND], 3.0, "high") / spread_at(TABLE[KIND], 3.0, "low")


def test_what_the_plan_adds_is_corrected_by_the_spreads_of_what_it_is_like():
    changes = {"dense": {"like": "picea_abies", "yearly_growth": ["0.2 m", "0.3 m", "0.4 m"]}}
    table = load_species(changes)
    tall = 1.4 * float(height_at(table["dense"], 10.0))
    found = corrected(measured({"species": "dense", "age_years": 10, "height_m": tall}), changes)[
        "dense"
    ]
    assert found.own.evidence == "own plants, n 1, widths " + {
        "measured": "measured", "relatives": "measured on relatives", "group": "measured on its group",
        "published": "published range", "memory": "from memory", "own": "own figures",
    }[table["dense"].grade("width")]  # fmt: skip
    assert height_at(found.own, 10.0) > height_at(table["dense"], 10.0)


def test_draws_spread_as_far_as_the_plants_leave_open():
    of, one = spreads_of(KIND), corrected(grown(1.0, 12))[KIND]
    left = one.height.variance + of.plants**2
    assert shares_of(one.own) == pytest.approx(
        (one.height.variance / left, 0.0, of.plants**2 / left)
    )
    assert shares_of(one.own)[0] < shares_of(TABLE[KIND])[0]
    # Of a kind that was not measured what is left is shared out as it was known.
    own = corrected(grown(1.0, 3, species="picea_abies"))["picea_abies"].own
    site, kind, _ = shares_of(own)
    assert site / kind == pytest.approx((0.137 / 0.372) ** 2)


# ---- the table ---------------------------------------------------------------------------------


def test_the_table_tells_both_heights():
    told = tell_own_growth(grown(1.3, 6), plan=plan_with(plants_species=KIND))
    (row,) = told.to_dict("records")
    own = corrected(grown(1.3, 6))[KIND].own
    assert row["species"] == KIND
    assert (row["plants"], row["relatives"]) == (6, 0)
    assert (row["youngest_years"], row["oldest_years"]) == (8.0, 8.0)
    assert row["height_m"] == pytest.approx(float(height_at(own, 10)))
    assert row["usual_m"] == pytest.approx(float(height_at(TABLE[KIND], 10)))
    assert row["height_low_m"] < row["height_m"] < row["height_high_m"]
    assert "by your own plants" in row["says"]
    assert "without them" in row["says"]


def test_a_planted_kind_that_relatives_change_has_a_row_and_others_none():
    layer = grown(1.3, 6)
    told = tell_own_growth(layer, plan=plan_with(plants_species="juniperus_scopulorum"))
    assert set(told["species"]) == {KIND, "juniperus_scopulorum"}
    told = tell_own_growth(layer, plan=plan_with(plants_species="ilex_opaca"))
    assert set(told["species"]) == {KIND}


def test_plants_that_say_nothing_and_heights_like_feet_are_told():
    hedge = {"like": "taxus_baccata", "shape": "box", "kept_height": "1 m", "stock_height": "0.5 m"}
    plan = plan_with(plants_species=KIND).model_copy(update={"species": {"kept": hedge}})
    layer = measured(
        {"species": "kept", "age_years": 10, "height_m": 1.0, "width_m": 0.6},
        {"species": KIND, "age_years": 8, "height_m": 3.0},
    )
    (note,) = notes_of(tell_own_growth(layer, plan=plan, usual=load_species(plan.species)))
    assert note.startswith("1 of 1 measured plants of")
    # A needle's spread between kinds lets heights in feet pass as metres.
    layer = grown(1 / 0.3048, 3, species="picea_abies")
    (note,) = notes_of(tell_own_growth(layer))
    assert "measured in feet" in note
