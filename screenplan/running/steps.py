"""The registry of steps: each described once, for Python, the command line and the desktop GIS.

A step is a plain function from layers and a plan's options to layers. Its description names the
function, its layers by contract, and the keys of the plan that it reads; unit, range, default and
help are those of the key. This module imports nothing heavy, so that listing the
steps costs nothing; a step's function is imported when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from inspect import signature
from typing import Any

from screenplan.ground.kept import Kept

#: The keys by which a sight is laid.
_SIGHT = (
    "views.eye_inside views.eye_seated views.eye_standing views.eyes_across views.target_spacing "
    "views.onlooker_spacing views.onlooker_reach"
)


@dataclass(frozen=True)
class Step:
    """One capability.

    Parameters
    ----------
    name : str
        What it is called on the command line and in Python.
    does : str
        What it does, in one line.
    function : str
        Where its function is, as ``module:name``.
    needs, takes : tuple of str
        Names of the layers that it needs, and of those that it takes if they are there.
    gives : tuple of str
        Names of the layers that it returns, in order.
    keys : tuple of str
        The keys of the plan that it reads, such as ``rows.spacing``.
    resources : tuple of str
        Things that are neither layers nor values: ``terrain``, ``rules``,
        ``limits``, ``species_table`` (by key, as they grow on the site), ``usual`` (the same without own
        plants), ``position_deg`` (longitude and latitude of the site).
    follows : tuple of str
        Layers between which it follows sight lines or light, which takes most of its time; with
        none of their rows it still judges what it is asked.
    adds : tuple of str
        Layers that a whole run makes with those that it gives; by itself it does not.
    asked : str
        Key of the plan without which a run leaves the step out, or layer and column, as
        ``layers.measured_plants.lost``, of which a row must be true; empty if every run takes it.
    """

    name: str
    does: str
    function: str
    gives: tuple[str, ...]
    needs: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()
    resources: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    adds: tuple[str, ...] = ()
    asked: str = ""

    @property
    def layers(self) -> tuple[str, ...]:
        """Names of all layers that go in, the needed ones first."""
        return self.needs + self.takes

    def load(self):
        """Import the step's function."""
        module, name = self.function.split(":")
        return getattr(import_module(module), name)

    def __call__(
        self, layers: Mapping[str, Any], *, kept: Kept | None = None, **given: Any
    ) -> dict[str, Any]:
        """Run the step on layers in the local frame.

        Parameters
        ----------
        layers : mapping
            Layers by contract name; those that the step does not take are ignored. Parts and holes
            without a point are left out of their geometries, unless a run has read them, which does so.
        kept : Kept, optional
            What the run has made of its layers for several steps, such as the sight.
        **given
            The plan and its resources, as its function names them.

        Returns
        -------
        dict
            The layers that it gives, by contract name.
        """
        from screenplan.site.features import without_hollow

        own = {name: layers[name] for name in self.layers if layers.get(name) is not None}
        if kept is None:
            own = {name: without_hollow(layer) for name, layer in own.items()}
        function = self.load()
        named = _parameters(function)
        if "layers" in named:
            own = {"layers": own}
        if "kept" in named:
            given["kept"] = kept
        result = function(**own, **given)
        results = result if isinstance(result, tuple) else (result,)
        return dict(zip(self.gives, results, strict=True))


@cache
def _parameters(function: Callable) -> frozenset[str]:
    return frozenset(signature(function).parameters)


def _step(name: str, does: str, function: str, **names: str) -> Step:
    """Describe a step, its layers, keys and resources as names parted by blanks."""
    asked = names.pop("asked", "")
    lists = {what: tuple(some.split()) for what, some in names.items()}
    return Step(name, does, function, asked=asked, **lists)


STEPS: dict[str, Step] = {
    step.name: step
    for step in (
        _step(
            "sides",
            "Cut the parcel's outline into sides at its real corners",
            "screenplan.site:find_sides",
            needs="parcels",
            takes="roads",
            gives="sides",
            keys="sides.corner sides.base",
        ),
        _step(
            "windows",
            "Complete the windows that are given, or derive them from the footprints",
            "screenplan.site:lay_windows",
            needs="parcels",
            takes="buildings windows",
            gives="windows",
            keys=(
                "windows.derive windows.spacing windows.sill windows.height windows.width "
                "windows.reach site.storey_height views.eye_seated views.eye_standing"
            ),
            resources="terrain",
        ),
        _step(
            "places",
            "Complete the private places that are given, or derive the garden of the house",
            "screenplan.site:lay_places",
            needs="parcels",
            takes="buildings roads private_places",
            gives="private_places",
            keys="places.derive places.depth places.edge",
        ),
        _step(
            "across",
            "Count the straight lines from windows and onlookers to private places across each side",
            "screenplan.site:count_sight_lines",
            needs="sides windows private_places",
            takes="onlookers",
            gives="sides",
            keys="views.onlooker_spacing views.onlooker_reach",
        ),
        _step(
            "design",
            "Choose what is planted, and where, to close the views that matter for the least money",
            "screenplan.design:design_planting",
            needs="parcels sides windows private_places",
            takes="buildings utilities keep_outs roads existing_screens onlookers planting_line",
            gives=(
                "no_plant_zones plantable_zone planting_lines private_places plants "
                "dropped_stations design design_views choices choice_plants choice_views"
            ),
            keys=(
                "design.wanted design.choices design.year design.chance design.budget design.kinds design.most_kinds design.stock_heights "
                "design.spacings design.least_run design.least_gap design.groups design.kinds_in_turn design.closed_without_one design.inner design.two_rows design.hedge_height design.weights design.open_price "
                "design.seconds design.compare goal.closed_by goal.share hand.budget hand.prices cost.prices "
                "health.zone health.most_of_one_species health.most_of_one_genus health.livestock_sides health.livestock_reach health.hosts_apart "
                "setbacks.law boundary.most_height boundary.most_height_at_road boundary.within lines.walls lines.wires lines.allowance road.drive road.corner rows.along rows.offset rows.rows "
                "rows.row_distance rows.spacing plants.species plants.stock plants.stock_height plants.raised plants.raised_years "
                "setbacks.hole works.hole_factor site.boundary_accuracy growth.years growth.show_years growth.curve growth.losses growth.replaced chance.draws chance.seed chance.year "
                f"views.threshold views.leaves views.report_years {_SIGHT}"
            ),
            resources="rules terrain limits species_table",
            adds="new_screens",
            follows="windows private_places onlookers",
        ),
        _step(
            "own_growth",
            "Tell what plants of your own that were measured change in the growth of their kinds",
            "screenplan.planting:tell_own_growth",
            takes="measured_plants existing_screens",
            gives="own_growth",
            keys="plants.species plants.stock plants.stock_height growth.curve",
            resources="usual",
        ),
        _step(
            "zones",
            "Mark the ground where no stem may stand, and why, and the ground that is left",
            "screenplan.planting:mark_zones",
            needs="parcels",
            takes="buildings utilities keep_outs roads existing_screens private_places",
            gives="no_plant_zones plantable_zone",
            keys=(
                "plants.species setbacks.hole works.hole_factor plants.stock plants.stock_height "
                "site.boundary_accuracy"
            ),
            resources="rules species_table",
        ),
        _step(
            "lines",
            "Draw the planting lines along the chosen sides, or along a drawn line",
            "screenplan.planting:draw_lines",
            needs="parcels sides plantable_zone no_plant_zones",
            takes="planting_line existing_screens",
            gives="planting_lines",
            keys="rows.along rows.offset rows.rows rows.row_distance rows.spacing",
        ),
        _step(
            "room",
            "End a derived private place where the grown row begins",
            "screenplan.planting:leave_room",
            needs="private_places planting_lines",
            gives="private_places",
            keys="plants.species",
            resources="species_table",
        ),
        _step(
            "stretches",
            "Keep of the planting lines the stretches whose plants stop a sight line, unless sides are to be filled",
            "screenplan.views:keep_stretches",
            needs="windows private_places planting_lines plantable_zone no_plant_zones",
            takes="buildings existing_screens onlookers planting_line",
            gives="planting_lines",
            keys=(
                "rows.fill rows.along rows.spacing rows.fit rows.move rows.fill_existing plants.species "
                "plants.group plants.stock plants.stock_height design.least_run design.least_gap growth.years "
                f"growth.curve views.threshold {_SIGHT}"
            ),
            resources="terrain species_table",
            follows="windows private_places onlookers",
        ),
        _step(
            "apart",
            "Set windows apart against which no screen is planned, and tell why",
            "screenplan.planting:set_windows_apart",
            needs="windows parcels private_places",
            takes="buildings",
            gives="windows",
            keys="site.boundary_accuracy site.storey_height",
            resources="terrain rules species_table",
        ),
        _step(
            "needed",
            "Tell how tall the row must be along its line, and which species get there when",
            "screenplan.views:find_needed_height",
            needs="windows private_places planting_lines",
            takes="buildings existing_screens onlookers",
            gives="needed_height needed_profile needed_years",
            keys=(
                "views.needed_share views.needed_step rows.spacing plants.species plants.group health.zone "
                f"plants.stock plants.stock_height growth.years views.report_years growth.curve {_SIGHT}"
            ),
            resources="terrain species_table",
            follows="windows private_places onlookers",
        ),
        _step(
            "plants",
            "Set the plants along the lines",
            "screenplan.planting:set_plants",
            needs="planting_lines plantable_zone no_plant_zones",
            takes="existing_screens",
            gives="plants dropped_stations",
            keys=(
                "rows.spacing rows.fit rows.move rows.fill_existing plants.species plants.group "
                "plants.stock plants.stock_height"
            ),
            resources="terrain species_table",
        ),
        _step(
            "hand",
            "Tell what the plants or the money in hand are good for",
            "screenplan.planting:plants_in_hand",
            needs="planting_lines plants",
            gives="plants_in_hand",
            keys="rows.spacing hand.plants hand.budget hand.prices",
        ),
        _step(
            "closure",
            "Tell when and how far up the crowns of a row meet",
            "screenplan.planting:close_rows",
            needs="planting_lines plants",
            takes="plantable_zone needed_height",
            gives="closure",
            keys="rows.spacing growth.asked_height growth.asked_from growth.years growth.curve",
            resources="species_table",
        ),
        _step(
            "crowns",
            "Draw the crowns in chosen years",
            "screenplan.planting:grow_crowns",
            needs="plants",
            gives="crowns",
            keys="growth.show_years growth.curve",
            resources="species_table",
        ),
        _step(
            "views",
            "Follow the rays from windows and onlookers to private places, and tell in which year each view closes",
            "screenplan.views:trace_views",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens no_plant_zones onlookers new_screens",
            gives="views view_years view_holes",
            keys=(
                "growth.years views.report_years growth.curve views.threshold views.leaves "
                "growth.losses growth.replaced chance.draws chance.seed chance.year design.wanted design.year goal.closed_by "
                f"{_SIGHT}"
            ),
            resources="terrain species_table",
            follows="windows private_places onlookers",
        ),
        _step(
            "kept_low",
            "Tell which views stay open because the rows are kept so low, and the least height that closes them",
            "screenplan.views:look_kept",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers",
            gives="kept_open",
            keys=f"kept.height kept.in_place growth.years growth.curve views.threshold views.leaves {_SIGHT}",
            resources="terrain species_table",
            follows="windows private_places onlookers",
            asked="kept.height",
        ),
        _step(
            "own_years",
            "Tell the years of closing by your own plants beside those without them",
            "screenplan.views:tell_own_years",
            needs="windows private_places planting_lines plants views closure own_growth",
            takes="buildings existing_screens onlookers plantable_zone needed_height",
            gives="own_years",
            keys=(
                "rows.spacing growth.asked_height growth.asked_from growth.years views.report_years "
                f"growth.curve views.threshold views.leaves {_SIGHT}"
            ),
            resources="terrain usual",
            follows="windows private_places onlookers",
        ),
        _step(
            "lost",
            "Tell which plants are lost, what to order again, and which views that opens",
            "screenplan.views:tell_lost",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers measured_plants",
            gives="lost_plants lost_views",
            keys=f"calendar.planting growth.years growth.curve views.threshold views.leaves {_SIGHT}",
            resources="terrain species_table",
            follows="windows private_places onlookers",
            asked="layers.measured_plants.lost",
        ),
        _step(
            "sections",
            "Lay the sight lines of the views, and cut sections along them",
            "screenplan.views:cut_sections",
            needs="windows private_places planting_lines plants views",
            takes="onlookers buildings existing_screens",
            gives="sight_lines sight_outlines sections",
            keys=f"growth.show_years growth.curve {_SIGHT}",
            resources="terrain species_table",
        ),
        _step(
            "missing",
            "Look at the views with one plant missing at a time: what hangs on each plant",
            "screenplan.views:find_missing",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers",
            gives="plants missing_plants",
            keys=f"views.missing_year views.threshold growth.curve views.leaves {_SIGHT}",
            resources="terrain species_table",
            follows="windows private_places onlookers",
        ),
        _step(
            "kinds_lost",
            "Tell of a mixed planting which views open if one kind dies out",
            "screenplan.views:tell_kinds_lost",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers",
            gives="kinds_lost",
            keys=f"views.missing_year views.threshold growth.curve views.leaves {_SIGHT}",
            resources="terrain species_table",
            follows="windows private_places onlookers",
            asked="health.kinds_lost",
        ),
        _step(
            "rules",
            "List the rules and limits that apply to the plan, and why",
            "screenplan.effects:list_rules",
            takes="buildings utilities keep_outs roads existing_screens windows private_places parcels",
            gives="rules",
            keys=(
                "plants.species road.drive road.corner lines.wires lines.locate lines.walls "
                "calendar.request calendar.nesting plants.stock light.hedge_guidance climate.temperature "
                "health.zone plants.raised instead.compare instead.code"
            ),
            resources="rules limits species_table",
        ),
        _step(
            "light",
            "Count the sun and the light of the sky that the row takes, by month and year",
            "screenplan.effects:count_light",
            needs="parcels planting_lines plants",
            takes="windows buildings existing_screens sun_places new_screens",
            gives="light light_months sun_grid",
            keys=(
                "light.time_zone light.calendar_year light.days light.step light.cell light.reach "
                "light.most_sun_lost light.most_sky_lost views.report_years growth.years growth.curve"
            ),
            resources="terrain position_deg limits species_table",
            follows="parcels planting_lines plants windows sun_places",
        ),
        _step(
            "hedge_heights",
            "Give the height to which published guidance lets each row grow",
            "screenplan.effects:guide_heights",
            needs="parcels planting_lines plants",
            takes="windows buildings",
            gives="hedge_heights",
            keys="light.hedge_guidance windows.reach growth.years growth.curve",
            resources="terrain limits species_table",
        ),
        _step(
            "sight_triangles",
            "Draw the ground over which drivers must see, and list the plants that grow into it",
            "screenplan.effects:draw_sight_triangles",
            needs="parcels plants",
            takes="roads keep_outs sides",
            gives="sight_areas sight_plants",
            keys="road.drive road.corner growth.years growth.curve",
            resources="limits species_table",
        ),
        _step(
            "wires",
            "List the plants that grow too tall for an overhead line",
            "screenplan.effects:reach_wires",
            needs="plants",
            takes="utilities",
            gives="wire_plants",
            keys="lines.wires lines.allowance growth.years growth.curve",
            resources="terrain limits species_table",
        ),
        _step(
            "digging",
            "Mark where nothing is dug but by hand, and list the holes that touch it",
            "screenplan.effects:mark_buried",
            needs="plants",
            takes="utilities",
            gives="locate_zones holes_at_lines",
            keys="lines.locate setbacks.hole works.hole_factor",
            resources="limits",
        ),
        _step(
            "drains",
            "List the plants that grow taller than they stand away from a septic field",
            "screenplan.effects:reach_drains",
            needs="plants",
            takes="keep_outs",
            gives="deep_roots",
            keys="growth.years growth.curve",
            resources="limits species_table",
        ),
        _step(
            "outgrown",
            "Tell which plants outgrow the boundary or a wall, and the clipping that is due",
            "screenplan.effects:outgrow_boundary",
            needs="parcels plants",
            takes="buildings sides",
            gives="outgrown",
            keys="setbacks.law boundary.most_height boundary.most_height_at_road boundary.within lines.walls growth.years growth.curve",
            resources="limits species_table",
        ),
        _step(
            "noise",
            "Tell what the foliage takes away of a road's noise",
            "screenplan.effects:follow_noise",
            needs="plants",
            takes="private_places roads",
            gives="noise_paths",
            keys="noise.wanted growth.years growth.curve",
            resources="limits species_table",
        ),
        _step(
            "health",
            "Tell how much hangs on one species, and how well it stands the site",
            "screenplan.effects:judge_health",
            needs="plants",
            takes="keep_outs sides",
            gives="plant_health",
            keys=(
                "health.most_of_one_species health.most_of_one_genus health.zone health.exposed_to "
                "health.livestock_sides health.livestock_reach health.hosts_apart plants.group rows.spacing design.wanted design.groups"
            ),
            resources="species_table",
        ),
        _step(
            "fence",
            "Lay a fence against browsing, and compare the ways to fence the plants",
            "screenplan.works:lay_fence",
            needs="parcels planting_lines plants",
            takes="buildings utilities keep_outs roads",
            gives="fence_posts fence_wires fence_options",
            keys=(
                "fence.scheme fence.animal fence.height fence.years fence.post_spacing fence.brace_every "
                "fence.clearance fence.boundary fence.gates fence.gate_width fence.roll fence.cage "
                "cost.prices growth.curve"
            ),
            resources="species_table",
        ),
        _step(
            "browsed",
            "Tell which views open where animals leave no leaf within their reach",
            "screenplan.works:look_browsed",
            needs="windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers fence_options",
            gives="browsed_views",
            keys=(
                "browsing.reach browsing.from_year browsing.chance fence.animal growth.years growth.curve chance.draws chance.seed "
                f"views.threshold {_SIGHT}"
            ),
            resources="terrain species_table",
            follows="windows private_places onlookers",
            asked="browsing.reach",
        ),
        _step(
            "stakeout",
            "Lay out pegs by two tapes, and running distances from one zero for every plant",
            "screenplan.works:stake_out",
            needs="parcels planting_lines plants",
            takes="buildings marks fence_posts existing_screens keep_outs new_screens",
            gives="tape_points pegs base_lines stakes stake_checks",
            keys="stakeout.tape stakeout.mark stakeout.measured site.boundary_accuracy",
            resources="terrain",
        ),
        _step(
            "water",
            "Tell month by month what new plants need, what rain brings of it and what is poured",
            "screenplan.works:lay_water",
            needs="plants",
            gives="water_by_month",
            keys=(
                "climate.rain climate.temperature climate.lowest climate.highest calendar.planting works.caliper "
                "works.water_every cost.hours"
            ),
            resources="position_deg limits species_table",
            asked="climate.rain",
        ),
        _step(
            "drip",
            "Draw the rows for a drip line, with their lengths, levels and emitters",
            "screenplan.works:lay_drip_lines",
            needs="plants",
            gives="drip_lines",
            keys="works.emitters",
            resources="terrain",
            asked="works.emitters",
        ),
        _step(
            "kept",
            "Propose the height at which each row is kept, and count what is clipped each year",
            "screenplan.works:lay_clipping",
            needs="parcels planting_lines plants",
            takes="plantable_zone needed_height",
            gives="kept_sizes clipping",
            keys="rows.spacing growth.years growth.curve growth.asked_from growth.asked_height cost.hours",
            resources="species_table",
        ),
        _step(
            "quantities",
            "Count plants, holes, earth, mulch, water and fence material",
            "screenplan.works:count_material",
            needs="parcels planting_lines plants",
            takes="stakes pegs base_lines fence_options clipping water_by_month new_screens",
            gives="quantities",
            keys=(
                "works.losses growth.losses growth.replaced works.hole_factor setbacks.hole works.strip works.mulch works.mulch_depth "
                "works.mulch_clear works.mulch_top_up works.ring works.mulch_bag works.mulch_bulk works.mulch_load works.caliper "
                "works.water_every weeds.passes weeds.years weeds.prepare rows.spacing fence.roll plants.raised plants.raised_losses "
                "calendar.planting"
            ),
            resources="position_deg limits species_table",
        ),
        _step(
            "calendar",
            "Lay out the tasks from marking the ground to the closed row",
            "screenplan.works:schedule_work",
            needs="plants",
            takes="closure quantities fence_options water_by_month new_screens",
            gives="schedule",
            keys=(
                "browsing.reach fence.animal "
                "calendar.planting calendar.request calendar.nesting growth.years works.caliper "
                "works.water_every growth.curve plants.raised plants.raised_years crew.people crew.hours cost.hours "
                "climate.temperature health.zone weeds.passes weeds.years weeds.prepare weeds.neglect"
            ),
            resources="position_deg limits species_table",
        ),
        _step(
            "request",
            "Draw the ground about which the owners of buried lines are asked, with the days to ask and to renew",
            "screenplan.works:outline_request",
            needs="parcels planting_lines plants schedule",
            takes="pegs fence_posts new_screens",
            gives="locate_request",
            keys=(
                "calendar.request calendar.request_margin works.strip works.hole_factor setbacks.hole "
                "rows.spacing"
            ),
            resources="limits species_table",
        ),
        _step(
            "cost",
            "Price the quantities by your own prices and rates",
            "screenplan.works:price_work",
            needs="quantities",
            gives="cost",
            keys="cost.prices cost.hours cost.hour hand.prices instead.prices",
        ),
        _step(
            "years",
            "Count hours, water and money by year",
            "screenplan.works:count_years",
            needs="schedule quantities",
            takes="cost water_by_month",
            gives="year_costs",
            keys="cost.hour",
        ),
        _step(
            "measuring",
            "Choose the plants that are measured each year",
            "screenplan.works:choose_to_measure",
            needs="plants",
            gives="to_measure",
            keys="calendar.planting",
        ),
        _step(
            "instead",
            "Compare a fence, a wall, a trellis, an awning and the place moved with what is planted",
            "screenplan.works:compare_instead",
            needs="parcels sides windows private_places planting_lines plants",
            takes="buildings existing_screens onlookers keep_outs roads quantities cost",
            gives="instead instead_lines",
            keys=(
                "instead.compare instead.along instead.code instead.front instead.side instead.rear instead.inset "
                "instead.trellis_open instead.awning_height instead.awning_depth instead.move_step instead.prices "
                "road.drive road.corner rows.spacing plants.species plants.stock health.zone growth.years growth.curve "
                "goal.closed_by chance.year design.wanted design.year views.threshold views.leaves views.needed_share views.needed_step "
                f"{_SIGHT}"
            ),
            resources="terrain limits species_table",
            follows="windows private_places onlookers",
            asked="instead.compare",
        ),
        _step(
            "checks",
            "Hold the plan against its rules and its goal",
            "screenplan.checks:judge_plan",
            needs=(
                "parcels planting_lines plants no_plant_zones plantable_zone dropped_stations views "
                "closure"
            ),
            takes=(
                "utilities roads private_places buildings existing_screens keep_outs light hedge_heights sight_areas "
                "sight_plants wire_plants holes_at_lines deep_roots outgrown noise_paths plant_health "
                "view_holes needed_years windows onlookers sun_places kept_open new_screens"
            ),
            gives="checks",
            keys=(
                "rows.spacing kept.height kept.width kept.in_place goal.closed_by goal.share views.threshold light.most_sun_lost "
                "light.most_sky_lost light.hedge_guidance lines.allowance setbacks.law boundary.most_height boundary.most_height_at_road "
                f"noise.wanted growth.years growth.curve {_SIGHT}"
            ),
            resources="terrain species_table",
        ),
    )
}
