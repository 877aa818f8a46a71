"""A finished run to its folder: layers, tables and record, all or nothing."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

from screenplan.contracts import OUTPUTS
from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.layers import write_layers
from screenplan.outputs.record import RunRecord, write_record
from screenplan.pipeline import Run


def default_folder(plan: str | Path) -> Path:
    """Give the folder that a plan is written to by default: named after it, beside it."""
    plan = Path(plan)
    return plan.with_name(f"{plan.stem}_plan")


@contextmanager
def open_folder(target: str | Path):
    """Hold an output folder, so that it is refused before anything is computed if it cannot be.

    Yields
    ------
    OutputFolder
        For `write_run`.
    """
    with OutputFolder(target) as folder:
        yield folder


def write_run(run: Run, target: str | Path | OutputFolder) -> Path:
    """Write a run: GeoJSON and CSV files, one GeoPackage, and ``run.json``.

    Parameters
    ----------
    run : Run
        A finished run.
    target : path or OutputFolder
        The folder; it appears whole or not at all.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If it cannot be written or holds files that no run wrote.
    """
    if not isinstance(target, OutputFolder):
        with open_folder(target) as folder:
            return write_run(run, folder)
    frame = run.site.frame
    layers = {name: run.layers[name] for name in OUTPUTS if name in run.layers}
    with target.staged() as beside:
        outputs = write_layers(layers, beside, send_out=frame.send_out, crs=frame.source_crs)
        record = RunRecord(
            frame=frame.to_dict(),
            inputs=run.site.inputs,
            parameters=run.plan.model_dump(mode="python"),
            transformations=run.site.transformations,
            repairs=run.site.repairs,
            warnings=run.warnings,
            outputs=outputs,
        )
        write_record(record, beside, base=run.folder)
    return target.target
