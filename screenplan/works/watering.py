"""What is poured: the stages of watering of all kinds of plants, broken at winters, in rounds and litres.

The calendar walks the rounds of the kind that needs the most; each kind is given its own litres for as many of
them as it needs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from screenplan.plan.works import Works
from screenplan.rules.limit_kinds import Limit
from screenplan.works.kinds import Kind
from screenplan.works.seasons import Seasons, water_by_season
from screenplan.works.water import Stage, litres_each_time, water_stages, years_to_establish


@dataclass(frozen=True)
class Poured:
    """The water of one stage of watering, all plants.

    Parameters
    ----------
    stage : Stage
        Of the kind of plants that is watered longest, as it is without winters.
    times : int
        Rounds of that kind, without those that fall into a winter.
    litres : float
    """

    stage: Stage
    times: int
    litres: float


def stages_of(kind: Kind, works: Works) -> list[Stage]:
    """List the stages in which plants of a kind are watered, by [works]."""
    years = years_to_establish(kind, works.caliper)
    return water_stages(years, often_every_days=works.water_every)


def round_litres(kind: Kind, works: Works) -> float:
    """Give the water of one round for all plants of a kind, litres."""
    return kind.count * litres_each_time(kind.stock.key, kind.height_m, works.caliper)


def longest_stages(kinds: Sequence[Kind], works: Works) -> list[Stage]:
    """List the stages of all kinds together, each of the kind that needs most of it."""
    longest: dict[str, Stage] = {}
    for kind in kinds:
        for stage in stages_of(kind, works):
            longest[stage.key] = max(
                stage, longest.get(stage.key, stage), key=lambda stage: stage.times
            )
    return list(longest.values())


def poured_by_stage(
    kinds: Sequence[Kind], works: Works, seasons: Seasons, limits: Mapping[str, Limit] | None
) -> dict[str, Poured]:
    """Give the water of each stage by its key, all plants; of winters under ``water_winter``.

    Parameters
    ----------
    kinds : sequence of Kind
    works : Works
    seasons : Seasons
        Where none is known, no stage is broken.
    limits : mapping or None
        By default the shipped ones.
    """
    whole = {stage.key: stage for stage in longest_stages(kinds, works)}
    found: dict[str, Poured] = {}
    for kind in kinds:
        each = round_litres(kind, works)
        times: dict[str, int] = {}
        for run in water_by_season(stages_of(kind, works), seasons, limits):
            times[run.stage.key] = times.get(run.stage.key, 0) + run.stage.times
            whole.setdefault(run.stage.key, run.stage)
        for key, count in times.items():
            known = found.get(key, Poured(whole[key], 0, 0.0))
            found[key] = replace(
                known, times=max(known.times, count), litres=known.litres + count * each
            )
    return found


def litres_of(
    kinds: Sequence[Kind], works: Works, seasons: Seasons, limits: Mapping[str, Limit] | None
) -> dict[str, tuple[float, str]]:
    """Give the litres of each stage by its key, and how they are counted in words: see `poured_by_stage`."""
    found = poured_by_stage(kinds, works, seasons, limits)
    return {key: (poured.litres, _paces(poured)) for key, poured in found.items()}


def _paces(poured: Poured) -> str:
    """Say how often is watered in a stage at most."""
    stage, times = poured.stage, poured.times
    if stage.key == "water_winter":
        return f"at most: {times} times in all, only if the soil is dry and not frozen"
    pace = f"every {stage.every_days} days" if stage.every_days > 1 else "daily"
    broken = ", but not in winter" if times < stage.times else ""
    frost = "" if broken else " and the soil never freezes"
    return f"at most: {times} times, {pace}{broken}, if no rain falls{frost}"
