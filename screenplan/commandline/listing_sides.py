"""``screenplan sides``: the sides of the parcel in a plan, or in a file of parcels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from screenplan.commandline.gathering import split_source
from screenplan.commandline.guessing import guess_columns
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import Plan, check_plan, read_plan
from screenplan.running.inputs import (
    read_inputs,
    refuse_several,
    rows_of_files,
    step_arguments,
)
from screenplan.running.steps import STEPS
from screenplan.site.loose import sample_rows
from screenplan.site.reading import LayerSource


def sides_of(
    source: str,
    *,
    subject_id: str | None = None,
    id_column: str | None = None,
    crs: str | None = None,
    point: Sequence[float] | None = None,
    us: bool = False,
):
    """Find the sides of the parcel in a plan file, or in a file of parcels.

    Returns
    -------
    sides : GeoDataFrame
    units : str
    """
    asked = {"id": subject_id, "point": point or None}
    subject = {key: value for key, value in asked.items() if value is not None}
    if source.lower().endswith(".toml"):
        plan, folder = read_plan(source)
        if subject and "parcels" in plan.layers:
            parcels = {"file": plan.layers["parcels"].file}
            chosen = check_plan({"layers": {"parcels": parcels}, "subject": subject}).subject
            plan = plan.model_copy(update={"subject": chosen})
        plan = _change_parcels(plan, id_column, crs)
    else:
        file, layer = split_source(source)
        sample = sample_rows("parcels", LayerSource(file, layer, crs=crs))
        theirs = list(map(str, sample.columns))
        columns: dict[str, str | None] = {"parcel_id": id_column}
        if not id_column:
            guess = guess_columns("parcels", sample, wanted=subject_id)
            if guess.problems and subject_id is not None:
                raise InputError(
                    replace(problem, file=str(file), layer=layer) for problem in guess.problems
                )
            columns = dict(guess.columns)
        if subject_id is not None and not columns and "parcel_id" not in theirs:
            raise refuse(
                f"no column is known to hold the parcels' ids, so parcel '{subject_id}' cannot be found",
                f"Name it with --id-column; the columns are {', '.join(theirs) or 'none'}",
                file=str(file),
                layer=layer,
            )
        given = {"file": file, "layer": layer, "columns": columns, "crs": crs}
        plan = check_plan({"layers": {"parcels": given}, "subject": subject})
        folder = Path.cwd()
    refuse_several(plan, "sides are listed of", f"Name it: --id {next(iter(plan.subject.ids), '')}")
    site = read_inputs(plan, folder)
    layers = dict(site.layers)
    if not len(layers["parcels"]):
        raise refuse(
            "the plan knows only its row, and a row has no sides",
            "Give the parcel: name a file that holds it under [layers.parcels]",
            key="layers.parcels",
        )
    names = (
        ("sides", "windows", "places", "across")
        if "buildings" in layers or "windows" in layers
        else ("sides",)
    )
    for name in names:
        with rows_of_files(layers, site.inputs, plan):
            layers |= STEPS[name](layers, **step_arguments(STEPS[name], plan, folder, site.terrain))
    return layers["sides"], "us" if us else plan.plan.units


def _change_parcels(plan: Plan, id_column: str | None, crs: str | None) -> Plan:
    """Give a plan whose parcels have another column of ids or another CRS."""
    parcels = plan.layers.get("parcels")
    if parcels is None or (id_column is None and crs is None):
        return plan
    columns = parcels.columns if id_column is None else {**parcels.columns, "parcel_id": id_column}
    changed = parcels.model_copy(update={"columns": columns, "crs": crs or parcels.crs})
    return plan.model_copy(update={"layers": {**plan.layers, "parcels": changed}})
