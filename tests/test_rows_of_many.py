"""Rows of many lots at once: each lot has what it has by itself, whatever other lots there are."""

import numpy as np
import pytest
import shapely
from options_kit import plan_with
from parcel_kit import layer
from rows_kit import alike, lots_of, together

from screenplan.ground.errors import InputError
from screenplan.planting.lines import draw_lines, draw_lines_each
from screenplan.planting.room import leave_room, leave_room_each
from screenplan.planting.rows import set_plants, set_plants_each
from screenplan.site.lots import Lots
from screenplan.site.terrain import Terrain

#: Plans that draw lines at the least offset, beyond it, in two rows, and at the exact spacing.
PLANS = (
    {},
    {"rows_offset": 3.5, "rows_fit": "exact", "rows_move": 0.4},
    {"rows_rows": 2},
    {"rows_rows": 2, "rows_row_distance": 2.2, "rows_fit": "exact", "rows_spacing": 1.1},
)

#: Ground that rises by one in ten to the east, with a bump.
SLOPE = Terrain(
    np.add.outer(np.sin(np.arange(70.0)), 2.0 * np.arange(70.0)), -700.0, -700.0, 20.0, 20.0
)


def alone(lot, plan, along):
    """The lines of a lot along some sides, and the refusal."""
    rows = plan.rows.model_copy(update={"along": tuple(along)})
    try:
        return draw_lines(
            lot["parcels"], lot["sides"], lot["plantable_zone"], lot["no_plant_zones"],
            plan=plan.model_copy(update={"rows": rows}),
        ), ""  # fmt: skip
    except InputError as error:
        return None, str(error.problems[0].what)


@pytest.mark.parametrize("asked", PLANS)
def test_lines_and_causes_of_many_lots_are_those_of_each_alone(asked):
    """Invariant: whatever the order of the lots, and the cut into batches; causes are the refusals' own words."""
    plan, lots = plan_with(**asked), lots_of(5, 24)
    seen = set()
    for some in (lots, lots[::-1], lots[3:9]):
        found, layers = together(some)
        chosen = np.concatenate([lot["chosen"] for lot in some])
        lines, causes = draw_lines_each(found, layers, plan=plan, chosen=chosen)
        causes = np.split(np.array(causes, dtype=object), layers["sides"].first[1:])
        for number, lot in enumerate(some):
            names = lot["sides"]["side_id"].to_numpy(object)
            mine, refused = alone(lot, plan, names[lot["chosen"]])
            told = {}
            if mine is None:
                told = dict.fromkeys(names[lot["chosen"]], refused)
                assert not len(lines.of(number))
            else:
                alike(lines.of(number), mine)
                for name in set(names[lot["chosen"]]) - set(mine["side_id"]):
                    told[name] = alone(lot, plan, [name])[1]
            expected = [told.get(name, "") for name in names]
            assert list(causes[number]) == expected
            seen |= {cause[:20] for cause in expected}
    # Lots that are too narrow are among them, and lines on which no plant may stand.
    assert len(seen) > 1


@pytest.mark.parametrize("asked", PLANS)
@pytest.mark.parametrize("terrain", [None, Terrain.flat(3.0), SLOPE])
def test_plants_of_many_lots_are_those_of_each_alone(asked, terrain):
    """Invariant: numbers, places, gaps and what was dropped, to the last digit, whatever the order and the cut."""
    plan, lots = plan_with(**asked), lots_of(6, 18)
    counted = 0
    for some in (lots, lots[::-1], lots[2:7]):
        found, layers = together(some)
        chosen = np.concatenate([lot["chosen"] for lot in some])
        layers["planting_lines"] = draw_lines_each(found, layers, plan=plan, chosen=chosen)[0]
        plants, dropped = set_plants_each(found, layers, plan=plan, terrain=terrain)
        for number, lot in enumerate(some):
            lines = layers["planting_lines"].of(number)
            try:
                own = set_plants(
                    lines, lot["plantable_zone"], lot["no_plant_zones"], terrain=terrain, plan=plan
                )
            except InputError:
                assert not len(plants.of(number))
                continue
            counted += len(own[0])
            alike(plants.of(number), own[0])
            alike(dropped.of(number), own[1])
    assert counted > 200


def test_places_of_many_lots_end_where_the_rows_of_each_begin():
    """Invariant: as each alone; one place is cut by a row, one is left out where too little is left, one is drawn by hand."""
    plan, lots = plan_with(), lots_of(7, 12)
    for lot in lots:
        ground = lot["parcels"].geometry.iloc[0]
        corner = shapely.Point(ground.exterior.coords[1]).buffer(3.0).intersection(ground)
        lot["places"] = layer(
            place_id=["wide", "thin", "corner", "drawn"], derived=[True, True, True, False],
            geometry=[ground.buffer(-1.0), ground.difference(ground.buffer(-2.5)), corner, ground.buffer(-2.0)],
        )  # fmt: skip
        lot["places"] = lot["places"][~lot["places"].is_empty].reset_index(drop=True)
    for some in (lots, lots[::-1], lots[2:7]):
        found, layers = together(some)
        chosen = np.concatenate([lot["chosen"] for lot in some])
        lines = draw_lines_each(found, layers, plan=plan, chosen=chosen)[0]
        left = leave_room_each(layers["places"], lines, plan=plan)
        assert 0 < len(left.layer) < len(layers["places"].layer) or len(some) < len(lots)
        for number, lot in enumerate(some):
            own = leave_room(lot["places"], lines.of(number), plan=plan)
            alike(left.of(number), own.reset_index(drop=True))


def test_standing_plants_belong_to_the_lines_of_their_own_lot():
    """Invariant: a plant that stands is kept in its lot's row, and no other lot's row knows of it."""
    plan, lots = plan_with(), lots_of(5, 10)
    found, layers = together(lots)
    chosen = np.concatenate([lot["chosen"] for lot in lots])
    lines = draw_lines_each(found, layers, plan=plan, chosen=chosen)[0]
    spots = [line.interpolate(0.4, normalized=True) for line in lines.shapes[::2]]
    screens = layer(kind=["plant"] * len(spots), height_m=[1.2] * len(spots), geometry=spots)
    around = Lots({**found.around, "existing_screens": screens}, found.rows, reach_m=5.0)
    layers["planting_lines"] = lines
    plants, _ = set_plants_each(around, layers, plan=plan)
    assert plants.layer["existing"].sum() == len(spots)
    for number, lot in enumerate(lots):
        near = screens[screens.distance(lot["parcels"].geometry.iloc[0]) <= 5.0]
        if len(lines.of(number)):
            own = set_plants(
                lines.of(number), lot["plantable_zone"], lot["no_plant_zones"], near, plan=plan
            )
            alike(plants.of(number), own[0])
