"""What would outgrow a wall or a wire is no candidate, by the rule of the checks."""

from dataclasses import replace

import numpy as np
import pytest
from design_site import TABLE, design, options, site
from parcel_kit import PLAIN, layer
from shapely.geometry import LineString, box

from screenplan.contracts.tables import notes_of
from screenplan.design.candidates import find_candidates
from screenplan.design.designing import prepare
from screenplan.design.incidence import plants_of
from screenplan.design.kinds import list_options
from screenplan.effects.boundary import judge_outgrown, outgrow_boundary
from screenplan.effects.overhead import reach_wires

#: Columns are a metre wide in the end: half of that reaches into a shed 0.4 m from their stems.
SHED = layer(building_id=["shed"], height_m=[0.3], geometry=[box(-2.5, 0.4, 3.5, 1.0)])
WIRE = layer(utility_id=["wire"], kind=["electric"], position=["overhead"], height_m=[3.5],
             geometry=[LineString([(8, -20), (8, 5)])])  # fmt: skip


def both(layers, **values):
    """All candidates, and those that are left."""
    plan = options(**values)
    offer = list_options(plan, TABLE, 10)
    every = find_candidates(layers, offer.options, plan=plan, rules=PLAIN, species_table=TABLE)
    return every, prepare(layers, plan, PLAIN, TABLE).candidates, plan


def outgrown(candidates, layers, plan) -> set[float]:
    """Stems, by their x, of what the steps of the effects tell."""
    count = len(candidates.table)
    plants = plants_of(candidates, np.ones(count, bool), np.zeros(count))
    walls = outgrow_boundary(layers["parcels"], plants, layers.get("buildings"), plan=plan, species_table=TABLE)  # fmt: skip
    walls = walls.loc[walls["what"].isin(["crown at a wall", "height at a wall"])]
    wires = reach_wires(plants, layers.get("utilities"), plan=plan, species_table=TABLE)
    return {round(point.x, 6) for point in [*walls.geometry, *wires.geometry]}


def stems(candidates) -> set[float]:
    return {round(point.x, 6) for point in candidates.table.geometry}


@pytest.mark.parametrize("layers", [site(buildings=SHED), site(utilities=WIRE)], ids=["wall", "wire"])  # fmt: skip
def test_what_the_checks_would_fail_is_no_candidate(layers):
    every, left, plan = both(layers)
    gone = outgrown(every, layers, plan)
    assert gone
    assert stems(every) - stems(left) == gone
    assert not outgrown(left, layers, plan)
    # To either side of what is left out nobody is a neighbour.
    for _, own in left.table.groupby("stretch"):
        assert np.diff(own["station_m"]) == pytest.approx(own["gap_m"].iloc[0])
    assert left.table["stretch"].nunique() == every.table["stretch"].nunique() + 1
    assert set(left.lines) == set(left.table["stretch"])
    (note,) = [note for note in left.notes if "would outgrow their room" in f"{note}"]
    assert f"{note}".startswith(f"{len(gone)} of {len(every.table)} places")


def test_a_narrower_kind_is_planted_where_a_wide_one_would_outgrow_its_room():
    # By hand: a column reaches half a metre towards the shed, and the broad one a metre; 0.95 m are there.
    shed = layer(building_id=["shed"], height_m=[0.3], geometry=[box(-2.5, 0.95, 3.5, 1.5)])
    layers = site(buildings=shed)
    table = TABLE | {"broad": replace(TABLE["broad"], key="broad")}
    prices = {"plant broad": 1.0, "plant column": 10.0}
    made = design(layers, table, design_kinds=["broad", "column"], cost_prices=prices)
    plants, views = made["plants"], made["design_views"].set_index("view_id")
    assert bool(views.loc["w1 to p1", "closed"])
    near = plants.loc[plants.geometry.x.abs() < 2]
    assert set(near["species"]) == {"column"}
    assert set(plants["species"]) == {"column", "broad"}
    found = outgrow_boundary(layers["parcels"], plants, shed, plan=options(), species_table=table)
    (room,) = [one for one in judge_outgrown(found, shed, True, options()) if one.check == "room at walls"]  # fmt: skip
    assert room.result == "passes"
    assert any("outgrow their room" in f"{note}" for note in notes_of(made["design"]))


def test_where_nothing_is_near_all_stay():
    far = layer(building_id=["far"], height_m=[3.0], geometry=[box(100, 100, 110, 110)])
    every, left, _ = both(site(buildings=far))
    assert stems(every) == stems(left)
    assert not any("outgrow" in f"{note}" for note in left.notes)
