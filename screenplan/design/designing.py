"""The step: from a site to a planting that closes the views that matter for the least money.

Candidates, the rays that each stops, the programme, and then the proof by the views themselves
(`screenplan.design.rounds`); then the same with reserve, until the chance is reached (`screenplan.design.surer`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows, notes_of, with_notes
from screenplan.design.candidates import Candidates, exclusive_spots, find_candidates
from screenplan.design.causes import Cause, find_causes
from screenplan.design.choice import SLACK, Limits
from screenplan.design.choices import Point, Wish, find_points, later_years, list_wishes, measured
from screenplan.design.doubts import find_doubts
from screenplan.design.free import compare_free
from screenplan.design.incidence import find_stops, stops_of, without_stopped
from screenplan.design.kinds import Offer, budget_of, hedge_hint, list_options, narrower_option
from screenplan.design.losing import refuse_left, refuse_one_kind, say_left
from screenplan.design.mixtures import list_mixtures
from screenplan.design.odds import lay_odds
from screenplan.design.outgrowing import without_outgrown
from screenplan.design.rounds import Pool, Stage, choose
from screenplan.design.standing import NONE_STANDS, StandingPlants, find_standing
from screenplan.design.surer import choose_surely, no_dearer
from screenplan.design.told import Found, tables_of, tables_of_choices, with_free
from screenplan.design.weights import refuse_unknown, view_weights
from screenplan.design.winter import Winter, in_parts, kept_in_winter, level_of, levels_of
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.design import USUAL_CHANCE, USUAL_YEAR
from screenplan.planting.diseases import pairs_in_common
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import Limit
from screenplan.rules.ruleset import Rule
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain, ground_at
from screenplan.views.opened import Rays, open_rays
from screenplan.views.sight import sight_of

#: Views that stay open are named up to so many.
MOST_NAMED = 5
#: Shares of the solver's time, where a chance is asked for: for the planting that is enough at typical growth, with
#: its proof, and for the surer one, which has none: of a search for longer the typical planting was no better on real
#: lots, the surer one was (measured).
TYPICAL_SHARE, SURE_SHARE = 0.25, 0.6


@dataclass(frozen=True, eq=False)
class Task:
    """What there is to choose among, before anything is followed.

    Parameters
    ----------
    year : int
    offer : Offer
    candidates : Candidates
    standing : StandingPlants
    """

    year: int
    offer: Offer
    candidates: Candidates
    standing: StandingPlants


class Designed(NamedTuple):
    """What a design gives, in the order in which the step names it."""

    no_plant_zones: gpd.GeoDataFrame
    plantable_zone: gpd.GeoDataFrame
    planting_lines: gpd.GeoDataFrame
    private_places: gpd.GeoDataFrame
    plants: gpd.GeoDataFrame
    dropped_stations: gpd.GeoDataFrame
    design: pd.DataFrame
    design_views: pd.DataFrame
    choices: pd.DataFrame
    choice_plants: gpd.GeoDataFrame
    choice_views: pd.DataFrame


def prepare(
    layers: Mapping[str, Any],
    plan: Options,
    rules: Sequence[Rule] | None = None,
    species_table: Mapping[str, Species] | None = None,
    *,
    limits: Mapping[str, Limit] | None = None,
    terrain: Terrain | None = None,
) -> Task:
    """List the options and set the candidates; nothing is followed yet.

    Raises
    ------
    InputError
        If what the plan asks for cannot be chosen among, or no plant may stand anywhere.
    """
    if not outline_known(layers["parcels"]) and not has_rows(layers.get("planting_line")):
        raise refuse(
            "the parcel's outline is not known, and no planting line is drawn: there is no ground to choose from",
            "Give a layer of parcels, or draw a planting line",
            layer="parcels",
        )
    year = design_year(plan)
    if year > plan.growth.years:
        raise refuse(
            f"year {year} is after the last one that is looked at, growth.years = {plan.growth.years}",
            "Give an earlier year, or raise growth.years",
            key=(plan.goal if plan.design.year is None else plan.design).key(
                "closed_by" if plan.design.year is None else "year"
            ),
        )
    refuse_unknown(plan.design, layers)
    offer = list_options(plan, species_table, year)
    standing = find_standing(layers, plan, species_table)
    if plan.design.closed_without_one:
        refuse_one_kind(offer, plan, standing.count)
    if not standing.count:
        _refuse_contradictions(plan, offer)
    least = least_plants(plan, standing)
    cheapest = least_price(offer, least)
    budget = budget_of(plan)
    if budget is not None and offer.priced and budget < cheapest:
        raise refuse(
            f"the budget of {budget:g} does not buy {'one plant' if least == 1 else f'{least} plants, the least run'}: the cheapest cost {cheapest:g}",
            "Give a larger budget, cheaper stock, or a smaller design.least_run",
            key=(plan.hand if plan.design.budget is None else plan.design).key("budget"),
        )
    candidates = find_candidates(
        layers, offer.options, plan=plan, rules=rules, species_table=species_table, standing=standing,
        mixtures=list_mixtures(offer.options, plan),
    )  # fmt: skip
    ground_m = _ground_m(candidates, terrain)
    candidates = without_outgrown(
        candidates, layers, ground_m, plan=plan, limits=limits, species_table=species_table, terrain=terrain
    )  # fmt: skip
    return Task(year, offer, candidates, standing)


def _ground_m(candidates: Candidates, terrain: Terrain | None) -> np.ndarray:
    """Give the heights of the ground at the stems."""
    return ground_at(terrain, shapely.get_coordinates(candidates.table.geometry.to_numpy()))


def least_plants(plan: Options, standing: StandingPlants) -> int:
    """Give the fewest plants that are set together; in a row that stands already a single one may be enough."""
    return 1 if standing.count else in_both_rows(plan.design.least_run, plan)


def least_price(offer: Offer, plants: int) -> float:
    """Give the price of so many of the cheapest plants."""
    return plants * min(option.price for option in offer.options)


def design_year(plan: Options) -> int:
    """Give the year by which a design closes views."""
    if plan.design.year is not None:
        return plan.design.year
    asked = plan.goal.closed_by
    return min(USUAL_YEAR, plan.growth.years) if asked is None else asked


def design_planting(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    rules: Sequence[Rule] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    terrain: Terrain | None = None,
    kept: Kept | None = None,
) -> Designed:
    """Choose what is planted.

    Parameters
    ----------
    layers : mapping
        Parcels, sides, windows and private places, and what zones, lines and sight are made of besides:
        by their contracts, in local-frame metres.
    plan : Options, optional
        Of it [design], [goal], [cost] and [hand], and what zones, lines and views go by.
    rules, limits, species_table
        By default the shipped rules, limits and species.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    no_plant_zones, plantable_zone, planting_lines, private_places, plants, dropped_stations : GeoDataFrame
        As the steps of rows that the plan says give them. Derived private places end where the
        narrowest screen would begin.
    design, design_views : DataFrame
        What was chosen and what is proven; each view that is open today, and why it stays so.
    choices, choice_plants, choice_views : DataFrame, GeoDataFrame, DataFrame
        The chosen planting and others beside it: what they cost and bring, their plants, and their views. Empty
        unless the plan asks for them.

    Raises
    ------
    InputError
        If nothing can be chosen among, nobody looks, or nothing that may be planted closes a view.
    """
    kept = Kept() if kept is None else kept
    task = prepare(layers, plan, rules, species_table, limits=limits, terrain=terrain)

    def of_plan(other: Options, given=layers, limits=limits) -> pd.DataFrame:
        return design_planting(
            given,
            plan=other,
            rules=rules,
            limits=limits,
            species_table=species_table,
            terrain=terrain,
            kept=kept,
        ).design

    candidates, year = task.candidates, task.year
    layers = {**layers, "private_places": candidates.private_places}
    sight = sight_of({**layers, "planting_lines": None}, plan.views, terrain, kept)
    rays = open_rays(sight, plan.views.threshold)
    weight = view_weights(
        plan.design, layers["private_places"], rays.views,
        list(zip(rays.observers, rays.places, strict=True)),
    )  # fmt: skip
    if not len(rays.views) or not weight.sum() > 0.0:
        raise refuse(
            "no view is open that matters, and so there is nothing to design for",
            "Give windows, onlookers and private places between which nothing stands, or say the rows in [rows]",
            key=plan.design.key("wanted"),
            kind="onlookers",
        )
    ground_m = _ground_m(candidates, terrain)
    stage = Stage(layers, plan, terrain, species_table, year, task.standing, kept)
    kinds = [option.species for option in candidates.options]
    levels = levels_of([*kinds, *task.standing.species])
    rays, part = in_parts(rays, levels)
    rays, left = _behind_standing(stage, rays, part, levels)
    winter = None
    if len(levels) > 1:
        level = level_of(kinds, levels)[candidates.table["option"].to_numpy(int)]
        winter = Winter(levels, level, part[left])
    spots = exclusive_spots(candidates, layers["sides"])

    def stops_in(one: int):
        stops = find_stops(
            candidates, rays, ground_m, one, curve=plan.growth.curve, species_table=species_table
        )
        return stops if winter is None else kept_in_winter(stops, winter.level, winter.part)

    def pool_in(one: int) -> Pool:
        need = rays.now - plan.views.threshold
        return Pool(candidates, rays, stops_in(one), weight, spots, need, winter)

    def narrower() -> Candidates | None:
        option = narrower_option(plan, task.offer, species_table, year)
        if option is None:
            return None
        try:
            return find_candidates(layers, [option], plan=plan, rules=rules, species_table=species_table)  # fmt: skip
        except InputError:
            return None

    pool = pool_in(year)
    held_to = limits_of(plan, task.standing, task.offer)
    chance, seconds = plan.design.chance, plan.design.seconds
    typical = chosen = choose(pool, held_to, stage, seconds * (TYPICAL_SHARE if chance else 1.0))
    doubts: dict[int, Cause] = {}
    if typical.layers is not None and (chance or plan.design.choices):
        later = later_years(year, plan.growth.years) if plan.design.choices else []
        odds = lay_odds(pool, ground_m, plan, species_table, until=max([year, *later]))
    if typical.layers is not None and chance:
        chosen = choose_surely(
            typical, pool, held_to, stage, odds, chance=chance, seconds=seconds * SURE_SHARE
        )  # fmt: skip
        typical = no_dearer(typical, chosen, pool, held_to)
        doubts = find_doubts(chosen, pool, held_to, odds, chance=chance, year=year)
    causes = find_causes(
        pool, chosen.open_views(), held_to, plan, year=year,
        enough=chosen.closed_weight(pool) >= held_to.share * weight.sum() - SLACK,
        later=stops_in, narrower=narrower,
    )  # fmt: skip
    if chosen.layers is None:
        if held_to.left_share and any(cause.key == "limits" for cause in causes.values()):
            raise refuse_left(held_to)
        raise _nothing(rays.views, causes, plan, compare_free(None, plan, of_plan))
    found = Found(year, chance or None, typical, chosen, causes | doubts)
    told, told_views = tables_of(task.offer, pool, found)
    told = with_free(told, compare_free(told, plan, of_plan))
    hint = hedge_hint(plan)
    if found.causes and hint:
        told = with_notes(told, [*notes_of(told), hint])
    if held_to.left_share:
        told = with_notes(told, [*notes_of(told), say_left(chosen, pool, held_to, stage)])
    made = chosen.layers
    points: list[Point] = []
    if plan.design.choices and typical.layers is not None:
        asked = Wish("designed", "the design", (), year, chance, budget_of(plan), held_to.share)
        point = Point(asked, pool, typical, chosen if chance else measured(chosen, pool, stage))
        wishes = list_wishes(
            asked, plan.growth.years, cost=chosen.solution.cost, priced=task.offer.priced,
            least=least_price(task.offer, in_both_rows(plan.design.least_run, plan)),
        )  # fmt: skip
        # What stands is taken off the rays by the year that is asked for.
        same = [wish for wish in wishes if wish.year == year or not task.standing.count]
        points, left_out = find_points(point, same, held_to, odds, stage, pool_in=pool_in)
        told = with_notes(told, [*notes_of(told), *left_out])
    choices = tables_of_choices(points, task.offer, stage, chance or USUAL_CHANCE)
    return Designed(
        made.no_plant_zones, made.plantable_zone, made.planting_lines, candidates.private_places,
        made.plants, made.dropped_stations, told, told_views, *choices,
    )  # fmt: skip


def in_both_rows(stations: int, plan: Options, standing: StandingPlants = NONE_STANDS) -> int:
    """Give how many plants of two staggered rows stand at so many stations of the first; the same for one row.

    Rows that stand already are filled up as single ones.

    Examples
    --------
    >>> from screenplan.plan.reading import check_options
    >>> in_both_rows(3, check_options({})), in_both_rows(3, check_options({"rows": {"rows": 2}}))
    (3, 5)
    """
    return 2 * stations - 1 if plan.rows.rows > 1 and not standing.count else stations


def limits_of(
    plan: Options, standing: StandingPlants = NONE_STANDS, offer: Offer | None = None
) -> Limits:
    """Give what a planting must keep to, by the plan; what an open view counts is not said yet.

    Shares of a kind are those of new plants alone, and so are not held to where plants stand already.
    """
    budget, health = budget_of(plan), plan.health
    alone = not standing.count
    kinds = {} if offer is None else {one.species.key: one.species for one in offer.options}
    # Kinds are numbered in the order of their keys, as `Pool.choice` numbers them.
    number = {key: at for at, key in enumerate(sorted(kinds))}
    hosts = pairs_in_common(kinds.values()) if health.hosts_apart else ()
    return Limits(
        apart=tuple((number[one], number[other]) for one, other in hosts),
        share=plan.goal.share,
        budget=math.inf if budget is None else budget,
        most_kinds=plan.design.most_kinds,
        most_of_kind=_or_all(health.most_of_one_species if alone else None),
        most_of_genus=_or_all(health.most_of_one_genus if alone else None),
        least_run=in_both_rows(plan.design.least_run, plan, standing),
        least_group=plan.design.groups[0] if plan.design.groups else 1,
        left_share=plan.design.closed_without_one or 0.0,
        least_gap=in_both_rows(plan.design.least_gap, plan, standing),
    )


def _or_all(share: float | None) -> float:
    return 1.0 if share is None else share


def _behind_standing(stage: Stage, rays: Rays, part, levels) -> tuple[Rays, np.ndarray]:
    """Give the rays that plants that stand leave open in the year and after it, and which of all they are."""
    standing = stage.standing
    if not standing.count:
        return rays, np.ones(len(part), bool)
    plants = standing.layers(None, stage.terrain)[1]
    stops = stops_of(
        plants, rays, stage.year, curve=stage.plan.growth.curve, species_table=stage.species_table
    )
    stopped = kept_in_winter(stops, level_of(standing.species, levels), part).sum(axis=0) > 0
    return without_stopped(rays, stopped), ~stopped


def _refuse_contradictions(plan: Options, offer: Offer) -> None:
    """Refuse limits that no planting of the kinds keeps to."""
    species = {option.species.key: option.species.genus for option in offer.options}
    most = plan.design.most_kinds
    health = plan.health
    for name, key, share, there in (
        ("species", health.key("most_of_one_species"), health.most_of_one_species, len(species)),
        (
            "genus",
            health.key("most_of_one_genus"),
            health.most_of_one_genus,
            len(set(species.values())),
        ),
    ):
        if share is None:
            continue
        needed = math.ceil(1.0 / share - 1e-9)
        if needed > min(most, there):
            raise refuse(
                f"no more than {share:.0%} of the plants may be of one {name}, which asks for {needed} kinds, but "
                f"the design may plant {min(most, there)}",
                "Raise design.most_kinds, name more in design.kinds, or raise the share",
                key=key,
            )


def _nothing(views: list[str], causes, plan: Options, free: str | None):
    """Build the refusal of a design that plants nothing, with the causes, and what one would that is free."""
    said = [f"{views[view]}: {cause.says}" for view, cause in causes.items()]
    more = f"; and {len(said) - MOST_NAMED} more" if len(said) > MOST_NAMED else ""
    return refuse(
        f"no planting that may be chosen closes a view. {'; '.join(said[:MOST_NAMED])}{more}{f'. {free}' if free else ''}",
        "Give a later design.year, larger stock or other kinds, draw the private place elsewhere, or say the rows in [rows]",
        key=plan.design.key("wanted"),
        kind="room",
    )
