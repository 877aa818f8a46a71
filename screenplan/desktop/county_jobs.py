"""A county for the plugin: every parcel of a plan file's layer, one after the other."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import pyogrio

from screenplan.desktop.step_jobs import Tell
from screenplan.ground.said import in_units

#: Parcels set aside that are told one by one.
MOST_TOLD = 20


def run_county_job(job: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Plan every parcel of a plan file, and write the county's folder."""
    # Its libraries are not needed for a step, and take a while to load.
    from screenplan.county.map import MAP_NAME
    from screenplan.county.whole import CountyOptions, run_county

    def progress(_doing: str, planned: int, total: int) -> None:
        tell(
            {"progress": 100.0 * planned / max(total, 1), "doing": f"{planned} of {total} parcels"}
        )

    run = run_county(
        job["plan"],
        out=job["out"],
        settings=job["settings"],
        options=CountyOptions(workers=job["workers"], wanted=tuple(job["wanted"])),
        progress=progress,
    )
    tell({"says": f"{run.parcels} parcels were looked at, {len(run.skipped)} rows were set aside."})
    for row in run.skipped.head(MOST_TOLD).to_dict("records"):
        where = (
            row["layer"]
            if pd.isna(row["source_row"])
            else f"{row['layer']}, row {row['source_row']}"
        )
        mend = "" if pd.isna(row["remedy"]) else f". {row['remedy']}"
        tell({"note": f"{where}: {in_units(row['reason'])}{in_units(mend)}."})
    for warning in run.warnings:
        tell({"note": in_units(warning)})
    package = Path(run.folder) / MAP_NAME
    layers = (
        [name for name, kind in pyogrio.list_layers(package) if kind is not None]
        if package.is_file()
        else []
    )
    return {"folder": str(run.folder), "layers": layers}
