"""Rows of many lots at once: each lot has what it has by itself, whatever other lots there are."""

import numpy as np
import pytest
from options_kit import plan_with
from rows_kit import alike, lots_of, together

from screenplan.ground.errors import InputError
from screenplan.planting.lines import draw_lines, draw_lines_each

#: Plans that draw lines at the least offset, beyond it, in two rows, and at the exact spacing.
PLANS = (
    {},
    {"rows_offset": 3.5, "rows_fit": "exact", "rows_move": 0.4},
    {"rows_rows": 2},
    {"rows_rows": 2, "rows_row_distance": 2.2, "rows_fit": "exact", "rows_spacing": 1.1},
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
