"""The open data as tables with plain names, in metres and years."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

SCALE_LEAVED = {
    "Calocedrus", "Chamaecyparis", "Cupressus", "Juniperus", "Platycladus", "Thuja",
}  # fmt: skip
#: Deciduous kinds that are planted as hedges; street trees with bare crowns are none of our groups.
HEDGE_GENERA = {"Carpinus", "Fagus"}
#: Set down as a conifer in the data, and none.
MISCODED = {"Celtis laevigata"}
#: Leaf areas of these cities lie five to ten times below those of the same kinds elsewhere: another
#: method, it seems.
OTHER_LEAF_METHOD = {"GulfCo", "Piedmt", "InterW"}
UTD = "Urban Tree Database"


@dataclass(frozen=True)
class Data:
    """All that is read.

    Parameters
    ----------
    trees : DataFrame
        name, genus, leaf, region, source, age, h, w, depth (of the crown), leaf_area, dbh_cm;
        what was not measured is NaN.
    profiles : DataFrame
        latin, genus, score, exponent.
    curves : DataFrame
        Height-by-age curves by ``index``.
    """

    trees: pd.DataFrame
    profiles: pd.DataFrame
    curves: pd.DataFrame


def read_data(folder: Path) -> Data:
    """Read the folder.

    Raises
    ------
    FileNotFoundError
        If a file is missing.
    """
    trees = pd.concat([_street_trees(folder), _brown(folder), _claveau(folder)], ignore_index=True)
    return Data(
        trees,
        _profiles(folder),
        pd.read_csv(folder / "fvs/carmean_1989_coefficients.csv").set_index("index"),
    )


def leaf_of(genus: str, tree_type: str) -> str | None:
    """Kind of leaf from the genus and the type of the data, None for what is in no group of ours."""
    if tree_type.startswith("CE"):
        return "scale" if genus in SCALE_LEAVED else "needle"
    if tree_type.startswith("BE"):
        return "broadleaf"
    return "deciduous" if tree_type.startswith("BD") and genus in HEDGE_GENERA else None


def _street_trees(folder: Path) -> pd.DataFrame:
    raw = pd.read_csv(folder / "utd/TS3_Raw_tree_data.csv", encoding="latin-1", low_memory=False)
    names = raw["ScientificName"].str.replace("\xa0", " ").str.strip()
    found = pd.DataFrame(
        {
            "name": names,
            "genus": names.str.split().str[0],
            "region": raw["Region"].str.strip(),
            "source": UTD,
            "age": _measured(raw["Age"], zero=True),
            "h": _measured(raw["TreeHt (m)"]),
            "w": _measured(raw["AvgCdia (m)"]),
            "depth": _measured(raw["CrnHt (m)"]),
            "leaf_area": _measured(raw["Leaf (m2)"]),
            "dbh_cm": _measured(raw["DBH (cm)"]),
        }
    )
    types = raw["TreeType"].str.strip()
    found["leaf"] = [leaf_of(g, t) for g, t in zip(found["genus"], types, strict=True)]
    kept = found["leaf"].notna() & found["h"].notna() & ~found["name"].isin(MISCODED)
    return found[kept]


def _measured(column: pd.Series, *, zero: bool = False) -> pd.Series:
    """Numbers; -1, and 0 for a size, stand for what was not collected."""
    values = pd.to_numeric(column, errors="coerce")
    return values.where(values >= 0 if zero else values > 0)


def _brown(folder: Path) -> pd.DataFrame:
    raw = pd.read_csv(folder / "baad/brown1978_thuja_plicata.csv")
    # Its ages are of suppressed trees in the forest: a tree of 55 years is 1.6 m tall.
    return _forest("Thuja plicata", "scale", "Brown 1978", raw["h_t"], raw["cw"], raw["h_c"])


def _claveau(folder: Path) -> pd.DataFrame:
    raw = pd.read_csv(folder / "baad/claveau2002_crowns.csv")
    return pd.concat(
        [
            _forest(name, "needle", "Claveau et al. 2002", of["h.t"], of["d.cr"], of["c.d"])
            for name, of in raw.groupby("species")
            if " x " not in name
        ]
    )


def _forest(name, leaf, source, height, width, depth) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "name": name,
            "genus": name.split()[0],
            "leaf": leaf,
            "region": source,
            "source": source,
            "h": _measured(height).to_numpy(),
            "w": _measured(width).to_numpy(),
            "depth": _measured(depth).to_numpy(),
            "age": np.nan,
            "leaf_area": np.nan,
            "dbh_cm": np.nan,
        }
    ).dropna(subset=["h", "w"])


def _profiles(folder: Path) -> pd.DataFrame:
    raw = pd.read_csv(folder / "purves_2007_crown_profile.csv")
    latin = raw["genus"] + " " + raw["species"]
    return pd.DataFrame(
        {
            "latin": latin.where(
                raw["variety"].isna(), latin + " var. " + raw["variety"].fillna("")
            ),
            "genus": raw["genus"],
            "score": raw["trait_score"],
            "exponent": raw["exponent"],
        }
    )
