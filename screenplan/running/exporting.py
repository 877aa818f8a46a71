"""A run's folder in a format of other programs, in a folder of its own: all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
from pyproj import CRS

from screenplan.contracts import (
    OUTPUTS,
    SURROUNDINGS,
    WRITTEN,
    Contract,
    as_written,
    written_parts,
)
from screenplan.contracts.tables import give_types
from screenplan.ground.errors import refuse
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.layers import GEOPACKAGE_NAME
from screenplan.outputs.other_formats import FORMATS, write_format
from screenplan.outputs.record import RECORD_NAME, read_record, write_record
from screenplan.site.loose import read_table


@dataclass(frozen=True)
class Exported:
    """What was written.

    Parameters
    ----------
    folder : Path
        Where.
    rows : dict of str to int
        Rows by layer.
    losses : tuple of str
        What the files do not keep, as sentences.
    replaced : str or None
        What was in the folder before, as a sentence without a full stop.
    """

    folder: Path
    rows: dict[str, int]
    losses: tuple[str, ...]
    replaced: str | None = None


def export_run(
    source: str | Path, form: str, target: str | Path | None = None, *, names: Sequence[str] = ()
) -> Exported:
    """Write the layers of a run's folder in a format of other programs.

    Parameters
    ----------
    source : path
        The folder that a run wrote.
    form : str
        ``shapefile``, ``flatgeobuf``, ``geoparquet`` or ``kml``.
    target : path, optional
        The folder to write; by default beside the source, named after it and the format.
    names : sequence of str
        The layers to write; all by default.

    Returns
    -------
    Exported

    Raises
    ------
    InputError
        If the source is no run's folder, a layer is not in it, or the target cannot be written or
        holds files that no run wrote.
    """
    source = Path(source)
    if form not in FORMATS:
        raise refuse(f"there is no format '{form}'", f"Name one of {', '.join(FORMATS)}")
    if target is None:
        target = source.with_name(f"{source.resolve().name}_{form}")
    package = source / GEOPACKAGE_NAME
    lacking = [name for name in (RECORD_NAME, GEOPACKAGE_NAME) if not (source / name).is_file()]
    if lacking:
        raise refuse(
            f"it is no folder that a run wrote (it holds no {' and no '.join(lacking)})",
            "Name the folder that 'screenplan run' has written",
            file=str(source),
        )
    record = read_record(source)
    chosen = _choose(names, record.files.get(GEOPACKAGE_NAME, {}).get("layers", {}))
    frame = LocalFrame.from_dict(record.frame)
    with OutputFolder(target) as folder:
        replaced = folder.replaces
        layers = {
            name: give_types(read_table(package, name), contract)
            for name, contract in chosen.items()
        }

        def send_out(layer: gpd.GeoDataFrame, crs: CRS) -> gpd.GeoDataFrame:
            # What is in the right system already is handed on to the last digit.
            if layer.crs is not None and layer.crs.equals(crs, ignore_axis_order=True):
                return layer
            return frame.send_out(frame.bring_in(layer), crs)

        with folder.staged() as beside:
            outputs, losses = write_format(
                layers, beside, form, send_out=send_out, crs=frame.source_crs, contracts=chosen
            )
            write_record(replace(record, outputs=outputs), beside, base=source)
    rows = {name: len(layer) for name, layer in layers.items()}
    return Exported(folder.target, rows, losses, replaced)


def _choose(names: Sequence[str], there: dict[str, int]) -> dict[str, Contract]:
    """Give the contracts of the layers asked for, in reading order; a layer by its own name too."""
    known = WRITTEN | as_written(SURROUNDINGS)
    present = {name: contract for name, contract in known.items() if name in there}
    if not names:
        return present
    wanted = set()
    for name in names:
        whole = (OUTPUTS | SURROUNDINGS).get(name)
        parts = {name} if whole is None else set(written_parts(whole))
        if not parts & set(present):
            raise refuse(
                f"the run has no layer '{name}'",
                f"Name some of {', '.join(present)}",
                key="--layer",
            )
        wanted |= parts
    return {name: contract for name, contract in present.items() if name in wanted}
