"""What the command ``species`` prints: which species where, how large when, and how that is known."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from screenplan.commandline.printing import show_json, show_table
from screenplan.contracts import GROWTHS
from screenplan.ground.said import in_units
from screenplan.ground.told_years import soonest_first, tell_year
from screenplan.ground.units import format_length, parse_length
from screenplan.planting.prospects import ASKED_HEIGHT_M, Prospect, prospect_of
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species

#: Tolerances that the list tells.
TOLD_TOLERANCES = ("browse", "salt", "shade")


def find_species(
    zone: int | None = None, height: str | None = None
) -> list[tuple[Species, Prospect]]:
    """Find the shipped species that are hardy in a zone, and whose row closes up to a height, the quickest first.

    Parameters
    ----------
    zone : int, optional
        Plants root by it too.
    height : str, optional
        With its unit; a species fits if a row at its usual spacing closes up to there at typical growth.

    Raises
    ------
    InputError
        On a height that is no length above 0.
    """
    asked = ASKED_HEIGHT_M if height is None else parse_length(height, key="--height")
    found = []
    for species in load_species(zone=zone).values():
        if not species.hardy_in(zone):
            continue
        told = prospect_of(species, asked_height_m=asked)
        if height is None or told.closes[GROWTHS.index("typical")] is not None:
            found.append((species, told))
    return sorted(found, key=lambda pair: soonest_first(pair[1].closes))


def show_species(
    units: str, *, zone: int | None = None, height: str | None = None, as_json: bool
) -> None:
    """Show the species table."""
    found = find_species(zone, height)
    if as_json:
        show_json({species.key: _facts(species, told) for species, told in found})
        return
    asked = format_length(ASKED_HEIGHT_M if height is None else parse_length(height), units, 1)
    years = ", ".join(str(year) for year in (found[0][1].years if found else ()))
    show_table(
        "Species",
        [
            "key",
            f"size in years {years}",
            f"row closed up to {asked}; where; growth",
        ],
        [_row(species, told, units) for species, told in found],
        note="Height and width at typical growth; years of closing at typical growth, and the range from low "
        "to high. Add your own in the plan: [species.KEY]",
    )


def _facts(species: Species, told: Prospect) -> dict[str, Any]:
    sizes = zip(GROWTHS, told.height_m, told.width_m, told.closes, strict=True)
    return {
        **asdict(species),
        # In files and to programs quantities are metric and without braces.
        "warnings": [in_units(text) for text in species.warnings],
        "sources": {name: in_units(text) for name, text in species.sources.items()},
        "usual_spacing_m": told.spacing_m,
        "spacing_source": in_units(species.spacing_source),
        "years": list(told.years),
        "growth": {
            growth: {"height_m": high.tolist(), "width_m": wide.tolist(), "year_closed": year}
            for growth, high, wide, year in sizes
        },
        "evidence": species.evidence,
    }


def _row(species: Species, told: Prospect, units: str) -> list[str]:
    typical = GROWTHS.index("typical")
    hardy = species.hardiness_zones
    custom = "" if species.spacing_m is not None else " (custom)"
    stands = [
        f"{what} {species.tolerances[what]}"
        for what in TOLD_TOLERANCES
        if what in species.tolerances
    ]
    where = ["zones unknown" if hardy is None else f"zones {hardy[0]} to {hardy[1]}"]
    where += ["evergreen" if species.evergreen else "sheds its leaves", *stands]
    return [
        species.key,
        f"tall {_sizes(told.height_m[typical], units)}\nwide {_sizes(told.width_m[typical], units)}",
        f"{tell_year(told.closes)}, set {format_length(told.spacing_m, units, 1)} apart{custom}; "
        f"{', '.join(where)}; {species.evidence}",
    ]


def _sizes(metres, units: str) -> str:
    *first, last = (format_length(float(value), units, 1) for value in metres)
    return ", ".join([*(text.split(" ")[0] for text in first), last])
