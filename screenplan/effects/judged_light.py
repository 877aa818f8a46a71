"""The light that the row takes, held against what may be lost, and the row's own light."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from screenplan.contracts.called import target_called, target_names
from screenplan.contracts.findings import FAILS, PASSES, TALK, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows
from screenplan.rules.limits import MONTHS


def judge_light(light, plan, layers=None) -> Iterator[Finding]:
    """Hold the light that the row takes against the user's limits, and the row's own light."""
    names = target_names(layers or {})
    if not has_rows(light):
        yield Finding(
            "light",
            UNKNOWN,
            "The light was not counted",
            "a parcels layer, its place on earth, and a row",
        )
        return
    most_sun_lost, most_sky_lost = plan.light.most_sun_lost, plan.light.most_sky_lost
    for kind, words in (("window", "neighbours' windows"), ("garden", "gardens")):
        yield _sun(light.loc[light["kind"] == kind], words, most_sun_lost, f"a {kind}s layer" if kind == "window" else "parcels beside the row", names)  # fmt: skip
    own = light.loc[~light["kind"].isin(["window", "garden", "row"])]
    yield _sun(own, "panels and beds", most_sun_lost, "a sun_places layer", names)
    yield _sky(light.loc[light["kind"] == "window"], most_sky_lost, names)
    yield from _row_light(light.loc[light["kind"] == "row"])


def _sun(rows, words, most, layer, names) -> Finding:
    name = f"sun on {words}"
    if not len(rows):
        return Finding(name, UNKNOWN, f"No {words} are given", layer)
    lit = rows.loc[rows["sun_lost"].notna()]
    if not len(lit):
        return Finding(name, PASSES if most is not None else UNKNOWN,
                       "None of them gets any sun today, so there is none to lose", "" if most is not None else "light.most_sun_lost")  # fmt: skip
    worst = lit.loc[lit["sun_lost"].idxmax()]
    sure = f" (to within {worst['error_share']:.1%})" if pd.notna(worst["error_share"]) else ""
    says = f"{_named(worst, names)} loses most: {worst['sun_lost']:.0%}{sure} of its {worst['sun_now_h']:.0f} hours of sun a year"
    if pd.notna(worst["year_worst"]):
        month = MONTHS[int(worst["worst_month"]) - 1]
        says += f", worst in year {int(worst['year_worst'])}, when {month} loses {worst['worst_month_h']:.0f} hours"
    if most is None:
        return Finding(name, UNKNOWN, says, "light.most_sun_lost: the share that may be lost", TALK)
    over = lit.loc[lit["sun_lost"] > most + 1e-9]
    if not len(over):
        return Finding(name, PASSES, f"{says}; {most:.0%} may be")
    return Finding(name, FAILS, f"{len(over)} of {len(rows)} lose more than {most:.0%} of their sun. {says}",
                   "a lower or narrower species, clipping, or another place for the row", TALK)  # fmt: skip


def _named(row, names) -> str:
    """Name what is lit at the head of a sentence: ``No. 9, workshop (9-wing)``."""
    name = target_called(str(row["kind"]), str(row["target_id"]), names)
    return f"{name[0].upper()}{name[1:]}"


def _sky(rows, most, names) -> Finding:
    name = "sky light at neighbours' windows"
    if not len(rows):
        return Finding(name, UNKNOWN, "No windows of neighbours are given", "a windows layer")
    seen = rows.loc[rows["sky_lost"].notna()]
    if not len(seen):
        return Finding(name, UNKNOWN, "None of them sees any sky today", "windows that see the sky")
    worst = seen.loc[seen["sky_lost"].idxmax()]
    says = f"{_named(worst, names)} loses most: {worst['sky_lost']:.0%} of the light of an overcast sky"
    if most is None:
        return Finding(name, UNKNOWN, says, "light.most_sky_lost: the share that may be lost", TALK)
    over = int((seen["sky_lost"] > most + 1e-9).sum())
    if not over:
        return Finding(name, PASSES, f"{says}; {most:.0%} may be")
    return Finding(name, FAILS, f"{over} of {len(rows)} windows lose more than {most:.0%} of it. {says}",
                   "a lower or narrower species, clipping, or another place for the row", TALK)  # fmt: skip


def _row_light(rows) -> Iterator[Finding]:
    for row in rows.itertuples():
        name = f"light on {row.target_id}"
        says = f"Its darkest plant gets {row.season_h:.1f} hours of sun a day in the growing season"
        if pd.isna(row.asked_h):
            yield Finding(name, UNKNOWN, says, "the species' tolerance of shade with its source")
        elif row.season_h + 1e-9 >= row.asked_h:
            yield Finding(name, PASSES, f"{says}; the species asks for {row.asked_h:g}")
        else:
            yield Finding(name, FAILS, f"{says}; the species asks for {row.asked_h:g} and would grow thin there",
                          "a species that stands more shade")  # fmt: skip
