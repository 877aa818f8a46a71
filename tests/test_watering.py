"""Stages of watering of several kinds, broken at winters: rounds and litres."""

import pytest
import works_site as site
from options_kit import plan_with

from screenplan.works.calendar import schedule_work
from screenplan.works.kinds import kinds_of
from screenplan.works.quantities import count_material
from screenplan.works.seasons import Seasons
from screenplan.works.watering import longest_stages, poured_by_stage, round_litres, stages_of

NORTH, SOUTH = (8.0, 50.0), (172.0, -50.0)


def counted(position=None, **options):
    subject, lines, plants = site.planted(stock="balled", height=1.8)
    plan = plan_with(calendar_planting="2027-04-10", **options)
    layers = site.layers(subject, lines, plants)
    material = count_material(layers, plan=plan, position_deg=position)
    tasks = schedule_work(
        {"plants": plants, "quantities": material}, plan=plan, position_deg=position
    )
    return material.set_index("item"), tasks


@pytest.mark.parametrize("position", [None, NORTH, SOUTH])
def test_litres_are_those_of_the_rounds_in_the_calendar(position):
    # Invariant of plants that are all alike: what is counted of a stage is what its rounds pour.
    material, tasks = counted(position)
    each = material.loc["water_round", "amount"]
    rounds = tasks.loc[tasks["part"] == "water"].groupby("item")["times"].sum()
    assert len(rounds) == (4 if position is None else 5)
    for item, times in rounds.items():
        assert material.loc[item, "amount"] == pytest.approx(each * times)


def test_a_winter_takes_water_away_and_the_sheet_says_so():
    plain, _ = counted()
    broken, _ = counted(NORTH)
    assert "but not in winter" in broken.loc["water_later", "how"]
    assert "soil never freezes" in plain.loc["water_later", "how"]
    assert "in winter" not in broken.loc["water_daily", "how"]  # April has none
    assert broken.loc["water_later", "amount"] < plain.loc["water_later", "amount"]
    # Two at most in each winter (University of Nebraska-Lincoln Extension, read).
    assert "only if the soil is dry" in broken.loc["water_winter", "how"]
    assert "water_winter" not in plain.index


def test_of_several_kinds_each_is_poured_as_long_as_it_needs():
    *_, plants = site.planted(species=("thuja_smaragd", "ilex_opaca"), stock="balled", height=1.8)
    kinds, works = kinds_of(plants), plan_with().works
    assert len(kinds) == 2
    found = poured_by_stage(kinds, works, Seasons(None, None), None)
    for stage in longest_stages(kinds, works):
        own = {kind.species.key: {s.key: s.times for s in stages_of(kind, works)} for kind in kinds}
        litres = sum(own[kind.species.key].get(stage.key, 0) * round_litres(kind, works) for kind in kinds)  # fmt: skip
        assert found[stage.key].litres == pytest.approx(litres)
        assert found[stage.key].times == max(times.get(stage.key, 0) for times in own.values())
