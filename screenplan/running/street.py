"""A street: several lots planned together by the same steps, each boundary that two share planted once.

What belongs to a lot (its sides, its places, the ground on which it may plant, its lines) is worked out lot by lot,
by the steps as they are for a single lot. Then the lots are one planting: a window looks onto the places of the lots
for which it was laid, every plant stops whatever ray it stands in, and plants, stake-out, order and calendar are made
once. Sides and derived places are named by their lot, and every row of a layer names its lot (``lot_id``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import (
    LOT,
    LOT_COSTS,
    OUTPUTS,
    PLANTING_LINES,
    SHARED_BOUNDARIES,
    SURROUNDINGS,
)
from screenplan.contracts.street import LOOKS_ONTO
from screenplan.contracts.tables import has_rows, layer_of, notes_of, with_notes
from screenplan.ground.errors import NobodyLooksError, NoRoomError, refuse
from screenplan.ground.kept import Kept
from screenplan.plan import Plan
from screenplan.plan.planting import Rows
from screenplan.planting.existing import stands_as_row
from screenplan.planting.lines import choose_sides
from screenplan.planting.shared_rows import (
    Settled,
    Share,
    drawn_sides,
    give_way,
    settle,
    share_out,
    spans_beside,
)
from screenplan.running.inputs import rows_of_files
from screenplan.running.steps import STEPS, Step
from screenplan.running.street_layers import join, named, put_lots
from screenplan.running.street_refusals import check_agreements
from screenplan.site.ownership import subject_outlines
from screenplan.site.shared import find_shared
from screenplan.site.street_lots import layers_of, lots_of, lying_on, nearest_lot
from screenplan.works.lot_costs import LotWork, share_costs

#: Steps that know one lot: its outline, its sides or its places. All others take the street as one.
OF_A_LOT = (
    "sides", "windows", "places", "across", "zones", "lines", "room", "apart", "hedge_heights",
    "sight_triangles", "outgrown",
)  # fmt: skip
#: Of these the ones that judge plants: they are not asked of a lot that plants nothing.
OF_PLANTS = ("hedge_heights", "sight_triangles", "outgrown")
#: By which identifier a row is that of a lot, the surest first.
KNOWN_BY = ("plant_id", "line_id", "side_id", "place_id", "view_id")


@dataclass
class _Lot:
    """One lot: what it has of its own, and the sides along which it plants.

    Parameters
    ----------
    id : str
    outline : Polygon
    layers : dict
        As for a plan of it alone.
    along : list of str or None
        Sides; None where its rows are drawn or stand already, and follow no side.
    drawn : GeoDataFrame or None
        Its lines before they give way to what neighbours plant.
    places : GeoDataFrame or None
        Its private places before they leave room for the rows.
    """

    id: str
    outline: shapely.Geometry
    layers: dict[str, Any]
    along: list[str] | None = None
    drawn: gpd.GeoDataFrame | None = None
    places: gpd.GeoDataFrame | None = None

    @property
    def zone(self) -> shapely.Geometry:
        """The ground on which it may plant."""
        return shapely.union_all(self.layers["plantable_zone"].geometry.to_numpy())


class Street:
    """Runs each step for every lot, or for all of them at once.

    Parameters
    ----------
    plan : Plan
        With several lots in ``subject.ids``.
    site : Site
        What was read around all of them.
    """

    def __init__(self, plan: Plan, site):
        self.plan, self.site = plan, site
        parcels = site.layers["parcels"]
        outlines = dict(zip(lots_of(parcels), subject_outlines(parcels), strict=True))
        self.lots = [
            _Lot(name, outlines[name], layers_of(name, site.layers, plan.site.reach))
            for name in plan.subject.ids
        ]
        self.settled: list[Settled] = []
        self.shares: list[Share] = []
        self._room: tuple[Step, Mapping[str, Any]] | None = None

    @property
    def outlines(self) -> np.ndarray:
        """Grounds of the lots, (lots,)."""
        return np.array([lot.outline for lot in self.lots], object)

    def run(
        self, step: Step, layers: Mapping[str, Any], kept: Kept | None, given: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Run a step; see `Step`.

        Parameters
        ----------
        step : Step
        layers : mapping
            Those of the street so far.
        kept : Kept or None
        given : mapping
            What the step is called with.

        Returns
        -------
        dict
            What it gives of the whole street.
        """
        if step.name == "stretches":
            return self._keep_stretches(step, layers, kept, given)
        if step.name not in OF_A_LOT:
            return step(layers, kept=kept, **given)
        if step.name == "lines":
            parts = self._draw_lines(step, given)
        elif step.name == "room":
            self._room = step, given
            return self._leave_room(step, given)
        else:
            parts = [(lot, self._run_for(lot, step, given)) for lot in self._asked(step, layers)]
        return self._take(step, parts)

    def _run_for(self, lot: _Lot, step: Step, given: Mapping[str, Any]) -> dict[str, Any]:
        with rows_of_files(lot.layers, self.site.inputs, self.plan):
            return step(lot.layers, **given)

    def _take(self, step: Step, parts) -> dict[str, Any]:
        """Keep what a step gives of each lot, named by it, and give that of the street."""
        for lot, made in parts:
            for name in made:
                made[name] = named(lot.id, step.name, name, made[name])
            lot.layers |= made
        crs = self.site.frame.crs
        return {
            name: join(name, [(lot.id, made[name]) for lot, made in parts], crs)
            for name in step.gives
        }

    def _leave_room(self, step: Step, given: Mapping[str, Any]) -> dict[str, Any]:
        """End each lot's derived places where its own rows begin, as these are now."""
        for lot in self.lots:
            lot.places = lot.layers["private_places"] if lot.places is None else lot.places
            lot.layers["private_places"] = lot.places
        return self._take(step, [(lot, self._run_for(lot, step, given)) for lot in self.lots])

    def _keep_stretches(
        self, step: Step, layers: Mapping[str, Any], kept: Kept | None, given: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Keep what closes views; then halve what is to be halved by what of it is needed, and keep again."""
        cut = step(layers, kept=kept, **given)
        if not any(one.is_halved for one in self.settled):
            return cut
        spacing = given["plan"].rows.spacing
        self._divide(spacing, cut["planting_lines"])
        made = self._take(STEPS["lines"], [self._give_way(lot, spacing) for lot in self.lots])
        if self._room is not None:
            made |= self._leave_room(*self._room)
        return made | step({**layers, **made}, kept=kept, **given)

    def _asked(self, step: Step, layers: Mapping[str, Any]) -> Iterator[_Lot]:
        """Give the lots of which a step is asked; those that judge plants with the plants and lines of each."""
        if step.name not in OF_PLANTS:
            yield from self.lots
            return
        lines, plants = layers["planting_lines"], layers["plants"]
        whose = nearest_lot(lines.geometry.to_numpy(), self.outlines)
        for number, lot in enumerate(self.lots):
            own = lines[whose == number]
            lot.layers["planting_lines"] = own
            lot.layers["plants"] = plants[plants["line_id"].isin(own["line_id"])]
            if len(lot.layers["plants"]):
                yield lot

    def _draw_lines(self, step: Step, given: Mapping[str, Any]):
        """Draw the lines of each lot along the sides that it plants, and let them give way to what neighbours plant."""
        plan, refused = given["plan"], []
        self._settle(plan.rows.along)
        for lot in self.lots:
            rows = plan.rows.model_copy(update={"along": tuple(lot.along or ())})
            lot.drawn = layer_of(PLANTING_LINES, [], [], self.site.frame.crs)
            if lot.along is None or lot.along:
                asked = {**given, "plan": plan.model_copy(update={"rows": rows})}
                try:
                    lot.drawn = self._run_for(lot, step, asked)["planting_lines"]
                except NoRoomError as error:
                    refused.append(error)
                    with_notes(lot.drawn, [f"nothing is planted on it: {error.problems[0].what}"])
        if refused and not any(has_rows(lot.drawn) for lot in self.lots):
            raise refused[0]
        self._divide(plan.rows.spacing)
        return [self._give_way(lot, plan.rows.spacing) for lot in self.lots]

    def _divide(self, spacing_m: float, cut: gpd.GeoDataFrame | None = None) -> None:
        """Say who plants which part of what is shared, by the lines that are cut to what is needed, if they are."""
        self.shares = []
        of = {lot.id: lot for lot in self.lots}
        for one in self.settled:
            pair = [of[name] for name in one.stretch.lots]
            boundary = one.stretch.lines[0]
            here, there = (
                spans_beside(lot.drawn, side, lot.zone, boundary)
                for lot, side in zip(pair, one.stretch.sides, strict=True)
            )
            needed = None
            if cut is not None:
                needed = [
                    span
                    for lot, side in zip(pair, one.stretch.sides, strict=True)
                    for span in spans_beside(cut, side, lot.zone, boundary)
                ]
            self.shares += share_out(one, (here, there), spacing_m, needed)

    def _give_way(self, lot: _Lot, spacing_m: float) -> tuple[_Lot, dict[str, Any]]:
        """Give the lines of a lot without what its neighbours plant."""
        lines = lot.drawn
        assert lines is not None  # they were drawn before
        if len(lines):
            lines = give_way(lines, lot.id, self.shares, lot.zone, spacing_m)
        return lot, {"planting_lines": with_notes(lines.copy(), notes_of(lot.drawn))}

    def _settle(self, along: Sequence[str]) -> None:
        """Choose the sides of each lot, and settle who plants those that two of them share."""
        chosen, nobody = {}, []
        for lot in self.lots:
            try:
                chosen[lot.id] = _chosen_sides(lot, along)
            except NobodyLooksError as error:
                chosen[lot.id] = []
                nobody.append(error)
        self._check_sides(along)
        if not any(sides is None or sides for sides in chosen.values()):
            raise nobody[0]
        shared = find_shared({lot.id: lot.layers["sides"] for lot in self.lots})
        check_agreements(self.plan, [stretch.lots for stretch in shared])
        wanted = {side for sides in chosen.values() for side in sides or ()}
        # A lot whose rows are drawn or stand already plants those, and nothing else.
        own = {name for name, sides in chosen.items() if sides is None}
        self.settled = [
            settle(stretch, self.plan.street, self.plan.subject.ids, wanted)
            for stretch in shared
            if not own.intersection(stretch.lots)
        ]
        for lot in self.lots:
            sides = chosen[lot.id]
            if sides is not None:
                lot.along = drawn_sides(lot.id, lot.layers["sides"], sides, self.settled)

    def _check_sides(self, along: Sequence[str]) -> None:
        known = {name for lot in self.lots for name in _bare_names(lot)}
        for name in along:
            if name != "all" and name not in known:
                raise self.plan.placed(
                    refuse(
                        f"no lot has a side '{name}'",
                        f"Choose among {', '.join(sorted(known))}",
                        key=Rows.key("along"),
                    )
                )

    def finish(self, layers: Mapping[str, Any], arguments: Mapping[str, Mapping[str, Any]]) -> dict:
        """Give what a street has besides: who plants what is shared, what falls to each lot, and every row's lot.

        Parameters
        ----------
        layers : mapping
            All that the steps gave.
        arguments : mapping
            What each step is called with, by its name.
        """
        own: dict[str, Any] = {}
        if "planting_lines" in layers and "plants" in layers:
            own[SHARED_BOUNDARIES.name] = self._boundaries(layers)
        if "cost" in layers:
            own[LOT_COSTS.name] = share_costs(
                layers["cost"], [self._work(lot, layers, arguments) for lot in self.lots]
            )
        lots = self._lots_by_id(layers)
        named = {
            name: self._with_lots(layer, lots)
            for name, layer in layers.items()
            if name in OUTPUTS or name in SURROUNDINGS
        }
        return named | own

    def _boundaries(self, layers: Mapping[str, Any]) -> gpd.GeoDataFrame:
        lines, plants = layers["planting_lines"], layers["plants"]
        new = plants[~plants["existing"].to_numpy(bool)]
        side = new["line_id"].map(dict(zip(lines["line_id"], lines["side_id"], strict=True)))
        records = []
        for number, share in enumerate(self.shares, 1):
            mine = new.geometry.to_numpy()[
                (side == share.side).to_numpy(bool) & bool(share.planter)
            ]
            # Rows stand inside: a plant is that of the part beside which it stands.
            at = shapely.line_locate_point(share.line, mine)
            at = at[(at > 0.0) & (at < share.line.length)]
            records.append(
                {
                    "boundary_id": f"B{number}",
                    "lots": " and ".join(share.lots),
                    "planted_by": share.planter or None,
                    "settled": share.how,
                    "length_m": share.line.length,
                    "row_m": self._row_beside(lines, share),
                    "plants": len(at),
                    "says": _said(share, len(at)),
                }
            )
        crs = layers["parcels"].crs
        made = layer_of(SHARED_BOUNDARIES, records, [share.line for share in self.shares], crs)
        touching = {lot for one in self.settled for lot in one.stretch.lots}
        alone = [lot.id for lot in self.lots if lot.along is not None and lot.id not in touching]
        own = [lot.id for lot in self.lots if lot.along is None]
        return with_notes(
            made,
            [
                *(f"Lot {lot} shares no boundary with another that is planned" for lot in alone),
                *(
                    f"The row of lot {lot} is drawn or stands already: its boundaries are not shared out"
                    for lot in own
                ),
            ],
        )

    def _row_beside(self, lines: gpd.GeoDataFrame, share: Share) -> float:
        """Give how much of a part its row has room for plants along."""
        if not share.planter:
            return 0.0
        zone = next(lot.zone for lot in self.lots if lot.id == share.planter)
        return sum(end - begin for begin, end in spans_beside(lines, share.side, zone, share.line))

    def _work(self, lot: _Lot, layers, arguments) -> LotWork:
        """Count what one lot needs by itself."""
        lines = layers["planting_lines"]
        own = lines[nearest_lot(lines.geometry.to_numpy(), self.outlines) == self.lots.index(lot)]
        plants = layers["plants"][layers["plants"]["line_id"].isin(own["line_id"])]
        new = int((~plants["existing"].to_numpy(bool)).sum())
        counted: Mapping[str, float] = {}
        if new:
            alone = {"parcels": lot.layers["parcels"], "planting_lines": own, "plants": plants}
            table = STEPS["quantities"](alone, **arguments["quantities"])["quantities"]
            counted = dict(zip(table["item"].astype(str), table["amount"].astype(float), strict=True))  # fmt: skip
        return LotWork(lot.id, new, float(own["length_m"].sum()), counted)

    def _lots_by_id(self, layers: Mapping[str, Any]) -> dict[str, dict]:
        """Tell by each identifier whose lot it is."""
        found: dict[str, dict] = {}
        if "planting_lines" in layers:
            lines = layers["planting_lines"]
            whose = nearest_lot(lines.geometry.to_numpy(), self.outlines)
            names = [self.lots[number].id for number in whose]
            found["line_id"] = dict(zip(lines["line_id"], names, strict=True))
        if "plants" in layers and "line_id" in found:
            plants = layers["plants"]
            lot = plants["line_id"].map(found["line_id"])
            found["plant_id"] = dict(zip(plants["plant_id"], lot, strict=True))
        if "private_places" in layers:
            places = layers["private_places"]
            found["place_id"] = dict(zip(places["place_id"], places[LOT.name], strict=True))
        if "views" in layers and "place_id" in found:
            views = layers["views"]
            lot = views["place_id"].map(found["place_id"])
            found["view_id"] = dict(zip(views["view_id"], lot, strict=True))
        return found

    def _with_lots(self, layer, lots: Mapping[str, Mapping]):
        """Name the lot of each row, where rows are those of a lot."""
        if LOOKS_ONTO in layer.columns:
            onto = [", ".join(some) for some in layer[LOOKS_ONTO]]
            return put_lots(layer.drop(columns=LOOKS_ONTO), onto)
        if LOT.name in layer.columns:
            return put_lots(layer, layer[LOT.name])
        key = next((key for key in KNOWN_BY if key in layer.columns and key in lots), None)
        if key is not None:
            return put_lots(layer, [lots[key].get(value) for value in layer[key]])
        if not isinstance(layer, gpd.GeoDataFrame):
            return layer
        shapes = shapely.point_on_surface(layer.geometry.to_numpy())
        on = lying_on(shapes, self.outlines)
        return put_lots(layer, [self.lots[number].id if number >= 0 else None for number in on])


def _chosen_sides(lot: _Lot, along: Sequence[str]) -> list[str] | None:
    """Give the sides along which a lot wants rows by itself; None where its rows are drawn or stand already."""
    drawn = has_rows(lot.layers.get("planting_line"))
    if drawn or (not along and stands_as_row(lot.layers.get("existing_screens"))):
        return None
    if along and along[0] != "all":
        names = dict(zip(_bare_names(lot), lot.layers["sides"]["side_id"], strict=True))
        return [str(names[name]) for name in along if name in names]
    return choose_sides(lot.layers["sides"], tuple(along))


def _bare_names(lot: _Lot) -> list[str]:
    """Give the sides' names without that of the lot."""
    return [str(name).removeprefix(f"{lot.id} ") for name in lot.layers["sides"]["side_id"]]


def _said(share: Share, plants: int) -> str:
    if not share.planter:
        return "Nobody looks across it, so that neither lot plants it"
    how = {
        "agreed": f"agreed: {share.planter} plants",
        "half": f"half by half, for nothing is agreed: {share.planter} plants this part",
        "whole": f"nothing is agreed, and {share.planter} plants: it alone has room, or too little is needed to be halved",
        "first": f"{share.planter} stands first in the plan, and plants",
    }[share.how]
    none = "" if plants else ". No plant of it is needed, or none has room"
    return f"{how[0].upper()}{how[1:]}{none}"
