"""The steps from Python, on layers in whatever reference system the caller has them.

Inside, everything runs in the local frame; here layers go in and come back in the caller's own
system, and rows that the caller gave keep the caller's index.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.ground.errors import refuse
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Options
from screenplan.plan.reading import change_plan, check_options
from screenplan.running.inputs import refuse_several, species_in, step_arguments
from screenplan.running.steps import STEPS, Step

#: Layers of plants that were measured: they correct the species.
OWN_PLANTS = ("measured_plants", "existing_screens")


def run_step(
    name: str,
    layers: Mapping[str, pd.DataFrame],
    *,
    frame: LocalFrame | None = None,
    subject_id: str | None = None,
    subject_point: tuple[float, float] | None = None,
    terrain: Any = None,
    plan: Options | Mapping[str, Any] | None = None,
    settings: Sequence[str] = (),
) -> dict[str, Any]:
    """Run one step on GeoDataFrames.

    Parameters
    ----------
    name : str
        A step of `screenplan.STEPS`, such as ``"sides"``.
    layers : mapping
        Layers by contract name, each in its own reference system; never changed. For a step that
        takes the parcels, inputs may leave out what a contract does not require, and are checked
        and repaired as files are; for any other, their geometries must be sound. Measured plants
        and existing screens of known age correct the growth of every step that takes the species.
    frame : LocalFrame, optional
        The frame to work in; by default one around the subject parcel. Give the same frame to
        every step of a chain, so that they agree to the last digit.
    subject_id, subject_point : optional
        Which parcel is the subject, if there are several.
    terrain : Terrain, optional
        Ground heights in that frame; by default the site is flat.
    plan : Options or mapping, optional
        What the step goes by: a plan that was read, or sections and keys as in a plan file, such as
        ``{"rows": {"spacing": "2 m"}}``.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.spacing="2 m"``: values that replace those of a mapping.

    Returns
    -------
    dict
        What the step gives, by contract name, in the reference system of the parcels (or of the
        first layer).

    Raises
    ------
    InputError
        If a layer is missing or cannot be used.

    Examples
    --------
    >>> import geopandas, shapely, screenplan
    >>> lot = geopandas.GeoDataFrame(
    ...     {"parcel_id": ["7"]}, geometry=[shapely.box(0, 0, 30, 45)], crs="EPSG:25832"
    ... ).translate(500000, 5500000).to_frame("geometry").assign(parcel_id="7")
    >>> sides = screenplan.run_step("sides", {"parcels": lot})["sides"]
    >>> sorted(sides["side_id"])
    ['east', 'north', 'south', 'west']
    """
    from screenplan.planting.own_plants import correct_species, own_table

    step = _find(name)
    lacking = [layer for layer in step.needs if layers.get(layer) is None]
    if lacking:
        raise refuse(
            f"step {name} needs the layer {lacking[0]}",
            f"Give it; the step needs {', '.join(step.needs)}",
        )
    if not isinstance(plan, Options):
        plan = check_options(change_plan(plan or {}, settings))
    own = OWN_PLANTS if "species_table" in step.resources else ()
    given = {
        layer: layers[layer] for layer in (*step.layers, *own) if layers.get(layer) is not None
    }
    home = next(
        (frame_of.crs for frame_of in given.values() if getattr(frame_of, "crs", None) is not None),
        None,
    )
    plan_of_one = plan.about(subject_id, subject_point)
    refuse_several(
        plan_of_one, f"step {name} takes", "Name it as subject_id, or plan a street by run_plan"
    )
    local, frame, terrain = _bring_in(given, frame, terrain, plan_of_one)
    species_table = None
    if any(layer in local for layer in own):
        usual = species_in(plan)
        species_table = own_table(usual, correct_species(usual, local, plan.species))
    arguments = step_arguments(step, plan, Path.cwd(), terrain, frame, species_table)
    results = step(local, **arguments)
    return {
        layer: _hand_back(layer, result, given.get(layer), frame, home)
        for layer, result in results.items()
    }


def _find(name: str) -> Step:
    if name not in STEPS:
        raise refuse(f"there is no step '{name}'", f"Name one of {', '.join(STEPS)}")
    return STEPS[name]


def _bring_in(given, frame, terrain, plan):
    """Bring all layers into the frame; what a person brings is checked, what a step gave is not."""
    from screenplan.site.reading import LayerSource, read_own_table, read_site

    brought = {layer: LayerSource(table) for layer, table in given.items() if layer in INPUTS}
    if "parcels" in brought:
        site = read_site(brought, plan=plan, terrain=terrain, frame=frame)
        local, frame = dict(site.layers), site.frame
        terrain = site.terrain
    else:
        # A step may take tables only: nothing has a place then, and no frame is needed.
        first = next(
            (layer for layer in given.values() if isinstance(layer, gpd.GeoDataFrame)), None
        )
        frame = LocalFrame.around(first) if frame is None and first is not None else frame
        local = {}
    for layer, table in given.items():
        if layer not in local:
            if layer in INPUTS and isinstance(table, gpd.GeoDataFrame):
                _check_geometries(layer, table)
            if layer in INPUTS and not INPUTS[layer].geometry:
                local[layer] = read_own_table(layer, table)
            else:
                local[layer] = (
                    frame.bring_in(table) if isinstance(table, gpd.GeoDataFrame) else table
                )
    return local, frame, terrain


def _check_geometries(layer: str, table: gpd.GeoDataFrame) -> None:
    """Refuse a layer that is not read anew, if it has geometries that no step can work on."""
    shapes = table.geometry
    for wrong, what in (
        (shapes.isna() | shapes.is_empty, "there is no geometry"),
        (~shapes.is_valid & shapes.notna(), "a geometry is invalid, such as an outline that crosses itself"),
    ):  # fmt: skip
        if wrong.any():
            rows = [number for number, bad in enumerate(wrong, 1) if bad]
            raise refuse(
                what, "Mend it, or leave the row out", layer=layer, rows=rows, kind="geometry"
            )


def _hand_back(name: str, result, source, frame: LocalFrame, home):
    if isinstance(result, gpd.GeoDataFrame):
        result = frame.send_out(result, home)
    key = OUTPUTS[name].key
    if source is None or key not in source.columns:
        return result
    index = pd.Series(source.index, index=source[key].astype(str))
    kept = result[key].astype(str)
    if len(result) and index.index.is_unique and kept.isin(index.index).all():
        return result.set_axis(index.loc[kept].to_numpy(), axis=0)
    return result
