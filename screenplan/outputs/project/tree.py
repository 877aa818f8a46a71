"""What stands in the layer tree: which layers, in which groups, shown in which themes.

The tree is both the reading order and the drawing order: what is higher up is drawn later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from screenplan.contracts import OUTPUTS, SURROUNDINGS, Contract
from screenplan.contracts.written import KINDS

#: Themes: sets of layers that are looked at together. The first is shown when the project opens.
PLAN, STAKE_OUT, VIEWS, EFFECTS, MAY_STAND = THEMES = (
    "Planting plan",
    "Stake-out",
    "Views",
    "Effects",
    "Where plants may stand",
)
GROUND, TABLES, OTHERS, CROWNS = "Ground", "Tables", "Others", "Crowns by year"

#: Group: the layers in it by stem of their name, each with the themes in which it is shown.
GROUPS: dict[str, dict[str, tuple[str, ...]]] = {
    "Planting": {
        "plants": (PLAN, VIEWS, EFFECTS, MAY_STAND),
        "dropped_stations": (PLAN, MAY_STAND),
        "planting_lines": (PLAN, VIEWS, MAY_STAND),
        "crowns": (PLAN, VIEWS, EFFECTS),
    },
    "Stake-out": {
        "stakes": (STAKE_OUT,),
        "pegs": (STAKE_OUT,),
        "tape_points": (STAKE_OUT,),
        "base_lines": (STAKE_OUT,),
        "fence": (PLAN, STAKE_OUT),
    },
    "Views": {
        "windows": (PLAN, VIEWS, EFFECTS),
        "onlookers": (PLAN, VIEWS),
        "view_holes": (VIEWS,),
        "views": (VIEWS,),
        "sight_lines": (),
        "needed_height": (),
        "private_places": (PLAN, VIEWS, EFFECTS),
    },
    "Effects": {
        "sight_plants": (EFFECTS,),
        "wire_plants": (EFFECTS,),
        "outgrown": (EFFECTS,),
        "deep_roots": (EFFECTS,),
        "holes_at_lines": (PLAN, STAKE_OUT, EFFECTS),
        "locate_zones": (PLAN, STAKE_OUT, EFFECTS),
        "hedge_heights": (),
        "light": (EFFECTS,),
        "noise_paths": (),
    },
    "Site": {
        "utilities": THEMES,
        "existing_screens": THEMES,
        "buildings": THEMES,
        "keep_outs": (PLAN, STAKE_OUT, MAY_STAND),
        "sun_places": (EFFECTS,),
        "sides": (MAY_STAND,),
        "roads": THEMES,
        "parcels": THEMES,
    },
    GROUND: {
        "plantable_zone": (PLAN, MAY_STAND),
        "no_plant_zones": (MAY_STAND,),
        "sight_areas": (EFFECTS,),
        "hedge_heights_areas": (),
        "light_areas": (EFFECTS,),
        "sun_grid": (),
    },
}

#: Names that are not their layer's with blanks.
SAID = {
    "keep_outs": "Keep-outs",
    "no_plant_zones": "No-plant zones",
    "dropped_stations": "Stations left out",
    "locate_zones": "Buried line: dig by hand",
}

_WHOLE = OUTPUTS.keys() | SURROUNDINGS.keys()
#: The crowns that are shown at first are those of the reported year that is nearest to this.
FIRST_YEAR = 10


@dataclass(frozen=True)
class Entry:
    """One layer of the tree.

    Parameters
    ----------
    name : str
        The layer in the GeoPackage.
    contract : Contract
        As it is written.
    title : str
        As it is called in the tree.
    group : str
    themes : tuple of str
        In which it is shown.
    key : str
        What makes its identifier its own, besides the name.
    year : int, optional
        Of which year its rows are.
    growth : str
        Of which growth they are, if of one year.
    """

    name: str
    contract: Contract
    title: str
    group: str
    themes: tuple[str, ...] = ()
    key: str = ""
    year: int | None = None
    growth: str = ""

    @property
    def id(self) -> str:
        """Its identifier; the desktop GIS replaces one of up to 10 characters by its own."""
        return f"screenplan_{self.name}{self.key}"

    @property
    def stem(self) -> str:
        """The layer's name in memory: without its kind, where it was taken apart by kinds."""
        return self.name if self.name in _WHOLE else self.name.rpartition("_")[0]

    @property
    def said(self) -> str:
        """As a legend calls it: its kind of geometry is seen there."""
        if self.year is None:
            return said(self.stem)
        return "Crowns when planted" if self.year == 0 else f"Crowns in year {self.year}"

    @property
    def visible(self) -> bool:
        """Whether it is shown when the project opens."""
        return THEMES[0] in self.themes

    @property
    def source(self) -> str:
        """The layer in the GeoPackage beside the project."""
        where = f"./plan.gpkg|layername={self.name}"
        if self.year is None:
            return where
        return f'{where}|subset="year" = {self.year} AND "growth" = \'{self.growth}\''

    def rows(self, layer: pd.DataFrame) -> pd.DataFrame:
        """Give those rows of the layer that are shown."""
        if self.year is None:
            return layer
        return layer[(layer["year"] == self.year) & (layer["growth"] == self.growth)]


def arrange(layers: Mapping[str, pd.DataFrame], contracts: Mapping[str, Contract]) -> list[Entry]:
    """Put layers and tables into the order and the groups of the tree.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By name as written.
    contracts : mapping of str to Contract
        By name as written.

    Returns
    -------
    list of Entry
        Group by group, tables last in the contracts' order. A layer that no group names stands
        in the group `OTHERS`, under all that is drawn, and is not shown at first.
    """
    placed: dict[str, list[tuple[int, Entry]]] = {}
    for name, contract in contracts.items():
        if name not in layers:
            continue
        group, place, themes = _place(name, contract)
        entry = Entry(name, contract, _title(name, layers), group, themes)
        entries = [entry]
        if name == "crowns":
            entries = _by_year(entry, layers[name]) or entries
        placed.setdefault(group, []).extend((place, one) for one in entries)
    order = [*GROUPS, OTHERS, TABLES]
    return [
        entry
        for group in order
        for _, entry in sorted(placed.get(group, ()), key=lambda item: item[0])
    ]


def _place(name: str, contract: Contract) -> tuple[str, int, tuple[str, ...]]:
    """Find the group of a layer, its place in it and its themes, by the longest stem that fits."""
    if not contract.geometry:
        return TABLES, 0, ()
    fits = [
        (len(stem), group, place, themes)
        for group, stems in GROUPS.items()
        for place, (stem, themes) in enumerate(stems.items())
        if name == stem or name.startswith(f"{stem}_")
    ]
    if not fits:
        return OTHERS, 0, ()
    return max(fits, key=lambda fit: fit[0])[1:]


def _by_year(entry: Entry, crowns: pd.DataFrame) -> list[Entry]:
    """Give the crowns of each year as a layer of its own; one of them is shown."""
    if not len(crowns):
        return []
    growth = "typical" if (crowns["growth"] == "typical").any() else str(crowns["growth"].iloc[0])
    years = sorted(int(year) for year in crowns.loc[crowns["growth"] == growth, "year"].unique())
    first = min(years, key=lambda year: (abs(year - FIRST_YEAR), -year))
    return [
        Entry(
            entry.name,
            entry.contract,
            f"Year {year}: crowns",
            entry.group,
            entry.themes if year == first else (),
            f"_y{year:02d}",
            year,
            growth,
        )
        for year in years
    ]


def _title(name: str, layers: Mapping[str, pd.DataFrame]) -> str:
    """Say a layer's name as people do; its kind of geometry only if there is another kind of it."""
    if name in _WHOLE:
        return said(name)
    stem, _, kind = name.rpartition("_")
    others = [f"{stem}_{other}" for other in KINDS if other != kind]
    if len(layers[name]) and not any(len(layers[other]) for other in others if other in layers):
        return said(stem)
    return f"{said(stem)}, {kind}"


def said(stem: str) -> str:
    """Say the name of a layer as people do."""
    return SAID.get(stem, stem.replace("_", " ").capitalize())
