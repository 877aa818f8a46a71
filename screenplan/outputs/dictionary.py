"""The data dictionary: what each column of each layer means."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from screenplan.contracts import OUTPUTS, Contract


def data_dictionary(contracts: Mapping[str, Contract] = OUTPUTS) -> pd.DataFrame:
    """List every column of every layer, in the order in which they are written.

    Parameters
    ----------
    contracts : mapping of str to Contract
        The layers; by default those that a run writes.

    Returns
    -------
    DataFrame
        Columns layer, column, type, unit, always_filled, values, meaning; all text but
        ``always_filled``, which is boolean. A per-year column is named once, as ``open_yNN``.
    """
    rows = [
        {
            "layer": contract.name,
            "column": f"{column.name}_yNN" if column.per_year else column.name,
            "type": column.type,
            "unit": column.unit,
            "always_filled": column.required,
            "values": ", ".join(column.choices),
            "meaning": column.meaning,
        }
        for contract in contracts.values()
        for column in contract.columns
    ]
    return pd.DataFrame(rows)
