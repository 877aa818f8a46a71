"""The years of closing by plants that were measured on the site, beside those without them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from screenplan.contracts import GROWTHS, OWN_YEARS
from screenplan.contracts.tables import has_rows, table_of
from screenplan.contracts.views import OPEN_TODAY
from screenplan.ground.kept import Kept
from screenplan.ground.told_years import SCENARIOS, both_years
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.closure import close_rows
from screenplan.planting.species_model import Species
from screenplan.site.terrain import Terrain
from screenplan.views.views import trace_views


def tell_own_years(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    usual: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Work the years of closing out once more, as the plants grow without those that were measured.

    Parameters
    ----------
    layers : mapping
        Those of `trace_views` and `close_rows`, what these gave by own plants (views and closure), and
        what own plants change (own_growth).
    plan : Options
        As these two read it.
    terrain : Terrain, optional
    usual : mapping, optional
        The species table without own plants; by default the shipped one.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    DataFrame
        One row for each view that is open today, and for each row of plants; none if nothing that is planted
        changes.
    """
    own = layers["own_growth"]
    planted = set(layers["plants"]["species"].astype(str))
    if not has_rows(own) or planted.isdisjoint(own["species"].astype(str)):
        return table_of(OWN_YEARS, [])
    views, *_ = trace_views(
        layers, plan=plan.without_draws(), terrain=terrain, species_table=usual, kept=kept,
        second_sample=False,
    )  # fmt: skip
    closure = close_rows(
        layers["plants"], layers["planting_lines"], layers.get("plantable_zone"),
        layers.get("needed_height"), plan=plan, species_table=usual,
    )  # fmt: skip
    records = [
        *_both("view", _of_views(layers["views"]), _of_views(views)),
        *_both("row", _of_rows(layers["closure"]), _of_rows(closure)),
    ]
    return table_of(OWN_YEARS, records)


def _both(kind: str, own: Mapping[str, list], usual: Mapping[str, list]) -> Iterator[dict]:
    for name, years in own.items():
        without = usual[name]
        yield {
            "kind": kind, "closes_id": name,
            **dict(zip(("year_low", "year", "year_high"), years, strict=True)),
            **dict(zip(("usual_low", "usual", "usual_high"), without, strict=True)),
            "says": both_years(years, without),
        }  # fmt: skip


def _of_views(views: pd.DataFrame) -> dict[str, list]:
    """Years of closing by view, low, typical, high."""
    seen = views.loc[views["status"].isin(OPEN_TODAY)]
    return dict(zip(seen["view_id"], seen[list(SCENARIOS)].to_numpy(object).tolist(), strict=True))


def _of_rows(closure: pd.DataFrame) -> dict[str, list]:
    by_growth = closure.set_index("growth")
    return {
        line: [part["year_closed"].get(growth) for growth in GROWTHS]
        for line, part in by_growth.groupby("line_id", sort=False)
    }
