"""Tables of measured plants, as a person would bring them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from screenplan.contracts import MEASURED_PLANTS
from screenplan.planting.growth import height_at
from screenplan.planting.species import load_species

KIND = "juniperus_virginiana"


def measured(*rows, **columns) -> pd.DataFrame:
    """Give the layer of some rows, as it is read; what a row leaves out is empty."""
    names = [column.name for column in MEASURED_PLANTS.columns]
    rows = [{"species": KIND, **columns, **row} for row in rows]
    table = pd.DataFrame([{name: row.get(name) for name in names} for row in rows], columns=names)
    for column in MEASURED_PLANTS.columns:
        if column.type in ("number", "integer"):
            table[column.name] = table[column.name].astype(float)
    return table


def grown(times: float, n: int = 6, *, age: float = 8.0, species: str = KIND) -> pd.DataFrame:
    """Give plants that are so many times as tall as their kind typically is."""
    tall = float(height_at(load_species()[species], age))
    return measured(
        *({"age_years": age, "height_m": times * tall} for _ in range(n)), species=species
    )


def nothing() -> pd.DataFrame:
    """Give the layer without a row."""
    return measured().astype({"species": object, "height_m": np.float64})
