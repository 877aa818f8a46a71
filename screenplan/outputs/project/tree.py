"""What stands in the layer tree: which layers, in which groups, shown in which themes.

The tree is both the reading order and the drawing order: what is higher up is drawn later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

import pandas as pd

from screenplan.contracts import Contract
from screenplan.contracts.presentation import PLAN, Group
from screenplan.contracts.written import KINDS

#: Groups, from the top; a layer whose contract names none stands under all that is drawn.
GROUPS = get_args(Group)
OTHERS, TABLES, CROWNS = "Others", "Tables", "Crowns by year"
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
        return self.contract.whole

    @property
    def said(self) -> str:
        """As a legend calls it: its kind of geometry is seen there."""
        if self.year is None:
            return self.contract.title
        return "Crowns when planted" if self.year == 0 else f"Crowns in year {self.year}"

    @property
    def visible(self) -> bool:
        """Whether it is shown when the project opens."""
        return PLAN in self.themes

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
    groups = [*GROUPS, OTHERS, TABLES]
    placed: list[tuple[int, int, Entry]] = []
    for name, contract in contracts.items():
        if name not in layers:
            continue
        place = contract.place
        group = place.group if place else OTHERS if contract.geometry else TABLES
        themes, order = (place.themes, place.order) if place else ((), 0)
        entry = Entry(name, contract, _title(contract, layers), group, themes)
        entries = [entry]
        if name == "crowns":
            entries = _by_year(entry, layers[name]) or entries
        placed += ((groups.index(group), order, item) for item in entries)
    return [entry for *_, entry in sorted(placed, key=lambda row: row[:2])]


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


def _title(contract: Contract, layers: Mapping[str, pd.DataFrame]) -> str:
    """Say a layer's name as people do; its kind of geometry only if there is another kind of it."""
    if contract.name == contract.whole:
        return contract.title
    kind = contract.name.removeprefix(f"{contract.whole}_")
    others = [f"{contract.whole}_{other}" for other in KINDS if other != kind]
    alone = not any(len(layers[other]) for other in others if other in layers)
    return contract.title if alone and len(layers[contract.name]) else f"{contract.title}, {kind}"
