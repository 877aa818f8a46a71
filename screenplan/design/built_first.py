"""What a design builds before it plants, as it is told: in the tables of the design, and as a layer of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import (
    CHOICE_PLANTS,
    CHOICE_VIEWS,
    CHOICES,
    DESIGN,
    DESIGN_VIEWS,
    EXISTING_SCREENS,
    NEW_SCREENS,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.tables import (
    DTYPES,
    layer_of,
    layer_of_columns,
    notes_of,
    table_of,
    with_notes,
)
from screenplan.design.chosen import layers_of
from screenplan.design.designing import Designed, Task
from screenplan.ground.said import said
from screenplan.ground.told_years import DRAWN
from screenplan.plan import Options
from screenplan.site.terrain import Terrain
from screenplan.views.opened import Rays

#: Columns that count views, and shares of their weight that are closed.
_COUNTS, _SHARES = (
    ("views_open", "views_closed", "views_sure"),
    ("closed_share", "sure_share", "mean_chance"),
)
#: Costs of the plants.
_COSTS = ("cost", "typical_cost", "least_cost")


@dataclass(frozen=True, eq=False)
class Left:
    """Views, and what a fence leaves of them without plants.

    Parameters
    ----------
    views : list of str
    weight : ndarray, (views,)
    share : ndarray, (views,)
        What stays open of each.
    """

    views: list[str] = field(default_factory=list)
    weight: np.ndarray = field(default_factory=lambda: np.zeros(0))
    share: np.ndarray = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, eq=False)
class Fenced:
    """A fence, wall or trellis that was chosen, or none.

    Parameters
    ----------
    layers : dict
        The layers with it among the existing screens.
    plan : Options
        What is left to ask of the plants: the budget less the fence, and the share of the views that it leaves.
    screens : GeoDataFrame or None
        Its pieces, by the contract ``new_screens``; None for none.
    closed : Left
        The views that it closes by itself, on the first day.
    alone : Designed or None
        What the design of the plants gives if nothing is planted beside it, and so nothing is designed.
    """

    layers: dict[str, Any]
    plan: Options
    screens: gpd.GeoDataFrame | None = None
    closed: Left = field(default_factory=Left)
    alone: Designed | None = None

    @property
    def cost(self) -> float:
        """What it costs; 0 for none."""
        return 0.0 if self.screens is None else float(self.screens["cost"].sum())

    def told(self, given: Mapping[str, Any]) -> dict[str, Any]:
        """Put it into what the design of the plants gives: its price, the views that it closes, its words.

        Parameters
        ----------
        given : mapping
            Of it ``design``, ``design_views``, ``choices`` and ``choice_views``, by their contracts.

        Returns
        -------
        dict
            All that was given, and ``new_screens``; the same as was given for none.
        """
        if self.screens is None:
            return dict(given)
        rest = float(given["design_views"]["weight"].sum())
        choices = given["choices"]
        return {
            **given,
            "design": self._in_design(given["design"], rest),
            "design_views": _before(DESIGN_VIEWS, self._views(), given["design_views"]),
            "choices": choices.assign(**self._changed(choices, rest)),
            "choice_views": _before(CHOICE_VIEWS, self._views_of(choices["choice"]), given["choice_views"]),
            "new_screens": self.screens,
        }  # fmt: skip

    def _in_design(self, design: pd.DataFrame, rest: float) -> pd.DataFrame:
        assert self.screens is not None  # else nothing is told
        changed = self._changed(design, rest)
        what, many = self.screens["option"].iloc[0], len(self.closed.views)
        says = said(
            f"{design['says'].iloc[0]}. A new {what} closes {many} view{'s' * (many != 1)} on the first day; with it all is "
            f"{changed['cost'].iloc[0]:,.2f}"
        )
        told = design.assign(**changed, says=pd.array([says], DTYPES["text"]))
        notes = [f"Design: {says}", self.screens["says"].iloc[0], *notes_of(design)[1:]]
        return with_notes(told, notes)

    def _changed(self, table: pd.DataFrame, rest: float) -> dict[str, pd.Series]:
        """Give the columns that it changes: costs, counts of views, and shares of a weight of which the rest is the plants'."""
        mine = float(self.closed.weight.sum())
        changed = {name: table[name] + self.cost for name in _COSTS if name in table}
        changed |= {name: table[name] + len(self.closed.views) for name in _COUNTS if name in table}
        return changed | {
            name: (table[name] * rest + mine) / (rest + mine) for name in _SHARES if name in table
        }

    def _views(self) -> list[dict[str, Any]]:
        closed = self.closed
        return [
            {
                "view_id": view, "weight": weight, "closed": True, "closed_in": 0, "chance": 1.0, "open_share": share,
                "best_share": share,
            }
            for view, weight, share in zip(closed.views, closed.weight.tolist(), closed.share.tolist(), strict=True)
        ]  # fmt: skip

    def _views_of(self, choices: Sequence[str]) -> list[dict[str, Any]]:
        years = dict.fromkeys(DRAWN, 0)
        return [
            {
                "choice_view_id": f"{choice}/{view}", "choice": choice, "view_id": view, "closed": True, "closed_in": 0,
                "chance": 1.0, **years,
            }
            for choice in choices
            for view in self.closed.views
        ]  # fmt: skip


def _before(contract: Contract, rows: list[dict[str, Any]], table: pd.DataFrame) -> pd.DataFrame:
    """Put rows before those of a table."""
    more = table_of(contract, rows)
    return with_notes(pd.concat([more, table], ignore_index=True), notes_of(table))


def nothing_planted(
    task: Task,
    rays: Rays,
    left: Left,
    terrain: Terrain | None,
    *,
    tried: int,
    why: str,
    cause: str | None,
) -> Designed:
    """Give what a design gives that plants nothing beside a fence; plants that stand stay.

    Parameters
    ----------
    task : Task
    rays : Rays
        Those of the views that are open without the fence.
    left : Left
        The views that stay open.
    terrain : Terrain or None
    tried : int
        How many fences were tried.
    why : str
        Why nothing is planted.
    cause : str or None
        Why the views stay open, one of the contract's words, if one of them says it.
    """
    candidates = task.candidates
    made = layers_of(candidates, [], terrain, task.standing)
    row = {
        "year": task.year, "views_open": len(left.views), "views_closed": 0, "closed_share": 0.0,
        "candidates": len(candidates.table), "rays": len(rays.view), "plants": 0, "runs": 0, "kinds": "", "priced": True,
        "cost": 0.0, "typical_plants": 0, "typical_cost": 0.0, "says": f"Nothing is planted: {why}",
        "proof": f"Nothing is proven: of {tried} fences that were tried, each with the best planting that was found beside it, this is the best",
    }  # fmt: skip
    views = [
        {
            "view_id": view, "weight": weight, "closed": False, "open_share": share, "cause": cause, "says": why,
        }
        for view, weight, share in zip(left.views, left.weight.tolist(), left.share.tolist(), strict=True)
    ]  # fmt: skip
    design = with_notes(table_of(DESIGN, [row]), [f"Design: {row['says']}"])
    crs = candidates.table.crs
    return Designed(
        made.no_plant_zones, made.plantable_zone, made.planting_lines, candidates.private_places, made.plants,
        made.dropped_stations, design, table_of(DESIGN_VIEWS, views), table_of(CHOICES, []),
        layer_of_columns(CHOICE_PLANTS, {}, [], crs), table_of(CHOICE_VIEWS, []),
    )  # fmt: skip


def as_existing(screens: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give pieces that were laid as rows of existing screens, which are told from those that stand."""
    rows = [{**row, "screen_id": _name(row)} for row in screens.to_dict("records")]
    return layer_of(EXISTING_SCREENS, rows, screens.geometry, screens.crs)


def as_new(
    screens: gpd.GeoDataFrame,
    sides: gpd.GeoDataFrame,
    option: str,
    price: float,
    views: tuple[int, int],
    says: str,
) -> gpd.GeoDataFrame:
    """Give pieces that were laid by the contract ``new_screens``.

    Parameters
    ----------
    screens : GeoDataFrame
        As `lay_upright` gives them.
    sides : GeoDataFrame
    option : {"fence", "wall", "trellis"}
    price : float
        Of a metre.
    views : (int, int)
        How many are open as things are, and how many of these are closed by all pieces.
    says : str
    """
    lines = dict(zip(sides["side_id"].astype(str), sides.geometry, strict=True))
    rows = [
        {
            "piece_id": _name(row), "option": option, "side_id": row["side_id"],
            **_span(row["geometry"], lines[row["side_id"]]), "height_m": row["height_m"],
            "length_m": row["geometry"].length, "cost": price * row["geometry"].length, "views_open": views[0],
            "closes_first": views[1], "says": says,
        }
        for row in screens.to_dict("records")
    ]  # fmt: skip
    return layer_of(NEW_SCREENS, rows, screens.geometry, screens.crs)


def _name(row: Mapping[str, Any]) -> str:
    return f"new {row['screen_id']}"


def _span(piece: shapely.LineString, side: shapely.LineString) -> dict[str, float]:
    """Give from where to where a piece stands along its side."""
    ends = shapely.line_locate_point(side, shapely.points(shapely.get_coordinates(piece)[[0, -1]]))
    return {"from_m": float(ends.min()), "to_m": float(ends.max())}
