"""What would outgrow a wall or a wire, or hide the road from a driver, is no candidate, by the rule of the checks."""

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
from screenplan.effects.roads import draw_sight_triangles

#: Columns are a metre wide in the end: half of that reaches into a shed 0.4 m from their stems.
SHED = layer(building_id=["shed"], height_m=[0.3], geometry=[box(-2.5, 0.4, 3.5, 1.0)])
WIRE = layer(utility_id=["wire"], kind=["electric"], position=["overhead"], height_m=[3.5],
             geometry=[LineString([(8, -20), (8, 5)])])  # fmt: skip
#: A drive between two columns, to a road along the northern side; columns within 10 ft of it grow above 30 in.
ROAD = layer(road_id=["r"], width_m=[5.0], geometry=[LineString([(-60, 6), (60, 6)])])
DRIVE = layer(keep_out_id=["d"], kind=["driveway"], geometry=[box(-2.4, -6.0, 0.4, 2.0)])
LOOK = site(roads=ROAD, keep_outs=DRIVE)
LOOK["sides"]["across_kind"] = "parcel"


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
    _, seen = draw_sight_triangles(
        layers["parcels"], plants, layers.get("roads"), layers.get("keep_outs"), plan=plan, species_table=TABLE
    )  # fmt: skip
    return {round(point.x, 6) for point in [*walls.geometry, *wires.geometry, *seen.geometry]}


def stems(candidates) -> set[float]:
    return {round(point.x, 6) for point in candidates.table.geometry}


# The drive itself parts the line in two; the others part it where they are.
@pytest.mark.parametrize(
    "layers", [site(buildings=SHED), site(utilities=WIRE), LOOK], ids=["wall", "wire", "road"]
)  # fmt: skip
def test_what_the_checks_would_fail_is_no_candidate(layers):
    every, left, plan = both(layers)
    gone = outgrown(every, layers, plan)
    assert gone
    assert stems(every) - stems(left) == gone
    assert not outgrown(left, layers, plan)
    # To either side of what is left out nobody is a neighbour.
    for _, own in left.table.groupby("stretch"):
        assert np.diff(own["station_m"]) == pytest.approx(own["gap_m"].iloc[0])
    assert left.table["stretch"].nunique() == 2
    assert set(left.lines) == set(left.table["stretch"])
    (note,) = [note for note in left.notes if "are not chosen from" in f"{note}"]
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


def test_a_design_passes_the_check_of_the_sight_at_the_road():
    # By hand: the window at x = 0 looks straight over the ground at the drive, and stays open.
    free, made = design(site()), design(LOOK)
    closed = [set(one["design_views"].loc[one["design_views"]["closed"], "view_id"]) for one in (free, made)]  # fmt: skip
    assert closed[0] - closed[1] == {"w1 to p1"}
    for one, result in ((free, "stand in it"), (made, "clear")):
        areas, seen = draw_sight_triangles(
            LOOK["parcels"], one["plants"], ROAD, DRIVE, plan=options(), species_table=TABLE
        )  # fmt: skip
        assert (areas["kind"] == "drive").sum() == 2
        assert (len(seen) == 0) == (result == "clear")
    assert any("over which a driver must see" in f"{note}" for note in notes_of(made["design"]))


def test_where_nothing_is_near_all_stay():
    far = layer(building_id=["far"], height_m=[3.0], geometry=[box(100, 100, 110, 110)])
    every, left, _ = both(site(buildings=far))
    assert stems(every) == stems(left)
    assert not any("outgrow" in f"{note}" for note in left.notes)
