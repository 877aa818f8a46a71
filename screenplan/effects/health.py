"""Plant health: one species over the whole length, winter cold, what else a site does to it, and what it may do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations, pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from screenplan.contracts import PLANT_HEALTH
from screenplan.contracts.findings import FAILS, PASSES, UNKNOWN, Finding
from screenplan.contracts.tables import table_of
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.diseases import in_common
from screenplan.planting.hedges import living_kind
from screenplan.planting.livestock import Livestock, find_livestock
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.neighbours import side_by_side
from screenplan.planting.species import load_species, species_of
from screenplan.planting.species_model import Species, Tolerance

#: Plants of a kind side by side in a mixed screen, from and to; why so many is custom, no source. Others plant up to nine
#: ("odd numbers", neilsperry.com, on groups of plants, read), or thirteen (chambersdesign.net, read): so it is told, not refused.
USUAL_GROUP = 3, 7
GROUP_SOURCE = (
    "groups of 3, 5 or 7: The Augusta Chronicle, 21 May 2017, on screens of several kinds (read)"
)


def judge_health(
    plants: gpd.GeoDataFrame,
    keep_outs: gpd.GeoDataFrame | None = None,
    sides: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Tell how much hangs on one species and genus, and whether each stands the site.

    Parameters
    ----------
    plants : GeoDataFrame
        Layer of the contract.
    keep_outs, sides : GeoDataFrame, optional
        Where livestock is kept, and the sides at which it grazes.
    plan : Options, optional
        Of it [health].
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    DataFrame
        By the contract ``plant_health``. Without a limit, a zone or a sourced value ``meets`` is
        empty, and ``needs`` says what is missing. What is said of the poison, the spread and the bans of a
        species is told and never judged, but for poison within reach of livestock where there is any.

    Raises
    ------
    InputError
        As `find_livestock` says.
    """
    species_table = load_species() if species_table is None else species_table
    kinds = plants["species"].astype(str)
    found = {key: species_of(key, species_table) for key in kinds.unique()}
    records = []
    genera = kinds.map({key: species.genus for key, species in found.items()})
    for topic, names, most in (
        ("species", kinds, plan.health.most_of_one_species),
        ("genus", genera, plan.health.most_of_one_genus),
    ):
        for name, share in names.value_counts(normalize=True, sort=True).items():
            called = found[name].called if topic == "species" else str(name)
            records.append(_share(topic, str(name), called, float(share), most))
    for species in found.values():
        records.append(_hardy(species, plan.health.zone))
        records.extend(_stands(species, what) for what in plan.health.exposed_to)
        records.extend(_warned(species, text) for text in species.warnings)
    records.extend(_grazed(plants, find_livestock(keep_outs, sides, plan), found))
    asked = (plan.plants.group,), plan.plants.key("group")
    designed = plan.design.groups, plan.design.key("groups")
    groups, key = designed if plan.design.wanted else asked
    if len(found) > 1 and groups:
        records.extend(_grouped(groups, key, _largest_group(plants, plan, species_table), found))
    if plan.health.hosts_apart:
        records.extend(_infected(plants, found))
    return table_of(PLANT_HEALTH, records)


def _share(topic: str, name: str, called: str, share: float, most: float | None) -> dict:
    key = f"most_of_one_{topic}"
    says = f"{share:.0%} of the plants are {called}; one pest or disease of that {topic} can take them all"
    meets = None if most is None else share <= most + 1e-9
    if most is not None:
        says = f"{says}; {most:.0%} are allowed"
    return {
        "topic": topic, "name": name, "share": share, "limit": most, "meets": meets, "says": says,
        "source": "the user's limit" if most is not None else None,
        "needs": None if most is not None else f"health.{key}",
    }  # fmt: skip


def _hardy(species: Species, zone: int | None) -> dict:
    row = {
        "topic": "hardiness",
        "name": species.key,
        "source": species.sources.get("hardiness_zones"),
    }
    if species.hardiness_zones is None or row["source"] is None:
        return row | {
            "says": f"No sourced hardiness zone is in the table for {species.called}",
            "needs": f"species.{species.key}.hardiness_zones with its source",
        }
    low, high = species.hardiness_zones
    says = f"{species.called} is held hardy in zones {low} to {high} ({row['source']})"
    if zone is None:
        return row | {"says": says, "needs": "health.zone"}
    return row | {"meets": low <= zone <= high, "says": f"{says}; the site is in zone {zone}"}


def _stands(species: Species, what: Tolerance) -> dict:
    row = {"topic": what, "name": species.key}
    level, source = species.tolerances.get(what), species.sources.get(what)
    if level is None or source is None:
        return row | {
            "says": f"How well {species.called} stands {what} is not in the species table with a source",
            "needs": f"species.{species.key}.tolerances with {what}, and its source",
        }
    return row | {
        "meets": level != "intolerant",
        "says": f"{species.called} is {level} of {what} ({source})",
        "source": source,
    }


def _warned(species: Species, text: str) -> dict:
    return {
        "topic": "warning",
        "name": species.key,
        "says": f"{species.called.capitalize()}: {text}",
        "needs": "what your extension service and your local code say of it",
    }


def _grazed(
    plants: gpd.GeoDataFrame, livestock: Livestock, found: Mapping[str, Species]
) -> Iterator[dict]:
    """Tell which kinds that are poisonous to animals come within reach of livestock."""
    if livestock.edge is None:
        return
    kinds = plants["species"].astype(str)
    away = shapely.distance(plants.geometry.to_numpy(), livestock.edge)
    for key, species in found.items():
        row = {"topic": "livestock", "name": key}
        source = species.sources.get("poisonous_to")
        near = (kinds.eq(key) & (away < livestock.reach_of(species))).to_numpy()
        if not near.any():
            yield row | {
                "meets": True,
                "says": f"No {species.called} comes within reach of livestock",
            }
        elif not species.poisonous_to or source is None:
            yield row | {
                "says": f"{species.called.capitalize()} grows within reach of livestock; whether it is poisonous is not in "
                "the species table with a source",
                "needs": f"species.{key}.poisonous_to with its source, or the word of your extension service",
            }
        else:
            count = "1 plant" if near.sum() == 1 else f"{near.sum()} plants"
            yield row | {
                "meets": False,
                "says": f"{count} of {species.called} would come within reach of livestock, and what eats of it is poisoned: "
                f"{', '.join(species.poisonous_to)} ({source})",
                "source": source,
            }


def _largest_group(plants: gpd.GeoDataFrame, plan: Options, species_table) -> tuple[int, str]:
    """Give how many plants of one kind stand side by side at most, round corners and across two rows too, and the kind."""
    plants = plants.sort_values(["line_id", "station_m"], kind="stable")
    gap = plants["station_m"].astype(float).groupby(plants["line_id"]).diff()
    after = gap.groupby(plants["line_id"]).shift(-1)
    own = np.fmin(gap, after).fillna(planned_spacing(plan, species_table)).to_numpy()
    kinds = plants["species"].astype(str).to_numpy()
    living = np.array([living_kind(key) for key in kinds])
    one, other = side_by_side(plants.geometry.to_numpy(), own).T
    same = living[one] == living[other]
    beside = csr_array((np.ones(same.sum()), (one[same], other[same])), (len(kinds), len(kinds)))
    group = connected_components(beside, directed=False)[1]
    size = np.bincount(group)
    return int(size.max()), str(kinds[group == size.argmax()][0])


def _grouped(groups: Sequence[int], key: str, largest: tuple[int, str], found) -> Iterator[dict]:
    """Tell if the groups in which kinds take turns are smaller or larger than usual; nothing of others."""
    (fewest, most), low, high = USUAL_GROUP, groups[0], groups[-1]
    count, kind = largest
    if fewest <= low and max(high, count) <= most:
        return
    each = (
        "1 plant" if high == 1 else f"{high} plants" if low == high else f"{low} to {high} plants"
    )
    joined = f", and {count} of {found[kind].called} stand side by side where groups meet" if count > high else ""  # fmt: skip
    why = [
        "a few plants of a kind among others are soon crowded out, and the row looks restless" if low < fewest else "",
        "a pest or disease of one kind then takes a long stretch at once" if max(high, count) > most else "",
    ]  # fmt: skip
    yield {
        "topic": "groups", "name": "groups", "source": GROUP_SOURCE,
        "says": f"The kinds take turns in groups of {each}{joined}; groups of {fewest} to {most} are advised: {'; '.join(filter(None, why))}",
        "needs": f"{key} from {fewest} to {most}, or your word that it is meant so",
    }  # fmt: skip


def _infected(plants: gpd.GeoDataFrame, found: Mapping[str, Species]) -> Iterator[dict]:
    """Tell where kinds stand side by side in a row that host the same disease, or both hosts of a rust are planted."""
    beside: dict[tuple[str, str], int] = {}
    for _, row in plants.groupby("line_id", sort=True):
        for pair in pairwise(row.sort_values("station_m", kind="stable")["species"].astype(str)):
            one, other = sorted(pair)
            if one != other:
                beside[one, other] = beside.get((one, other), 0) + 1
    bad = False
    for one, other in combinations(sorted(found), 2):
        times = beside.get((one, other), 0)
        for disease in in_common(found[one], found[other]):
            if not times and not disease.other_hosts:
                continue
            bad = True
            names = f"{found[one].called} and {found[other].called}"
            where = "are both planted" if disease.other_hosts else f"stand side by side {times} times"  # fmt: skip
            yield {
                "topic": "disease", "name": disease.called, "meets": False, "source": disease.source,
                "says": f"{names} {where.replace(' 1 times', ' once')}, and {disease.called} passes between them: {disease.says}",
            }  # fmt: skip
    if not bad:
        yield {
            "topic": "disease",
            "name": "hosts apart",
            "meets": True,
            "says": "No disease of the short list that is known passes between neighbours in a row",
        }


def check_health(plant_health) -> Iterator[Finding]:
    """Hold shares and hardiness against the user's limits."""
    for topic, title in _HEALTH.items():
        rows = (
            pd.DataFrame()
            if plant_health is None
            else plant_health.loc[plant_health["topic"] == topic]
        )
        if not len(rows):
            continue
        bad = rows.loc[rows["meets"].eq(False).fillna(False)]
        unknown = rows.loc[rows["meets"].isna()]
        if len(bad):
            yield Finding(title, FAILS, "; ".join(bad["says"]), _REMEDY.get(topic, _OTHER))
        elif len(unknown):
            # Of what is unknown the first says enough; a warning is never left out.
            says = unknown["says"] if topic == "warning" else unknown["says"].iloc[:1]
            yield Finding(title, UNKNOWN, " ".join(says), unknown["needs"].iloc[0])
        else:
            # Of a share the greatest says it all; each kind stands cold and the rest by itself.
            says = rows["says"].iloc[:1] if topic in _SHARES else rows["says"]
            yield Finding(title, PASSES, "; ".join(says))


_HEALTH = {
    "species": "one species",
    "genus": "one genus",
    "hardiness": "winter cold",
    "browse": "browsing",
    "salt": "salt",
    "shade": "shade",
    "wet": "wet ground",
    "warning": "poison, weeds and bans",
    "livestock": "poison beside livestock",
    "disease": "hosts of one disease",
    "groups": "groups of a mixed row",
}

_SHARES = ("species", "genus")
_OTHER = "another species"


_REMEDY = {
    "species": "a second species in the row, mixed or by stretches",
    "genus": "a species of another genus in the row",
    "livestock": "another species there, or the row farther from the livestock",
    "disease": "other kinds, or a kind between them that hosts none of it",
}
