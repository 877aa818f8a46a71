"""The kinds of plants that are set: each species, stock and height is one, with a hole of its own."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stock import Stock, ball_depth, ball_width, hole_width, stock_of
from screenplan.works.earth import Hole


@dataclass(frozen=True)
class Kind:
    """Plants that are ordered, dug for and watered alike.

    Parameters
    ----------
    species : Species
    stock : Stock
    height_m : float
        Height when planted, metres.
    rows : ndarray of int
        Which of the new plants they are, by position.
    ending : str
        What sets its items apart from those of another kind; empty if there is only one.
    """

    species: Species
    stock: Stock
    height_m: float
    rows: np.ndarray
    ending: str = ""

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.rows)

    def hole(self, factor: float, at_least_m: float | None) -> Hole:
        """Give the hole that each of them needs."""
        ball = ball_width(self.stock.key, self.height_m)
        width = hole_width(self.stock.key, self.height_m, factor=factor, at_least_m=at_least_m)
        depth = ball_depth(self.stock.key, self.height_m)
        return Hole(ball, depth, width / ball, self.stock.has_soil)


def kinds_of(
    plants: gpd.GeoDataFrame, species_table: Mapping[str, Species] | None = None
) -> list[Kind]:
    """Sort new plants into kinds, in the order in which they first stand.

    Parameters
    ----------
    plants : GeoDataFrame
        Without those that stand already.
    species_table : mapping, optional
        The species table, by default the shipped one.
    """
    found: dict[tuple[str, str, float], list[int]] = {}
    columns = (plants["species"].astype(str), plants["stock"].astype(str), plants["stock_height_m"])
    for row, (species, stock, height) in enumerate(zip(*columns, strict=True)):
        found.setdefault((species, stock, float(height)), []).append(row)
    return [
        Kind(
            species_of(kind[0], species_table),
            stock_of(kind[1]),
            kind[2],
            np.array(rows),
            _ending(kind, found),
        )
        for kind, rows in found.items()
    ]


def _ending(kind: tuple[str, str, float], every: Collection[tuple[str, str, float]]) -> str:
    """Name a kind by its species, and by stock and height too where a species has several."""
    if len(every) == 1:
        return ""
    species, stock, height = kind
    alike = sum(other[0] == species for other in every)
    return f" {species}" if alike == 1 else f" {species} {stock} {height:g} m"
