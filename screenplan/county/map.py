"""The map of a county: its layers in one GeoPackage, each with its style, written part after part."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path

from pyproj import CRS

from screenplan.contracts import COUNTY
from screenplan.county.answer import gather
from screenplan.ground.datum import horizontal
from screenplan.ground.errors import refuse
from screenplan.ground.extras import need
from screenplan.outputs.conform import conform
from screenplan.outputs.geopackage import GEOMETRY_COLUMN, VERSION
from screenplan.outputs.parquet import BOX, GEOMETRY
from screenplan.outputs.styles.delivery import add_styles
from screenplan.outputs.vector import explain_failure, gdal_options

MAP_NAME = "county.gpkg"


def write_map(parts: Mapping[str, Sequence[Path]], path: Path, crs: CRS) -> dict[str, int]:
    """Write layers with geometry into a GeoPackage, with styles and the meaning of each column.

    Parameters
    ----------
    parts : mapping of str to sequence of Path
        By the contract's name, the files of its parts.
    path : Path
        The file; it appears whole.
    crs : CRS
        Of all of them.

    Returns
    -------
    dict of str to int
        Rows by layer.

    Raises
    ------
    InputError
        If it cannot be written whole.
    """
    pa = need("pyarrow")
    from pyogrio import raw

    beside = path.with_name(f".{path.name}~.gpkg")
    beside.unlink(missing_ok=True)
    moment = dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    layouts = [conform(layer, COUNTY[name]) for name, layer in gather([], list(parts), crs).items()]
    rows = {}
    with explain_failure(path), gdal_options(OGR_SQLITE_SYNCHRONOUS="OFF"):
        for number, (layout, files) in enumerate(zip(layouts, parts.values(), strict=True)):
            contract = layout.contract
            schema, batches = _batches(files)
            raw.write_arrow(
                pa.RecordBatchReader.from_batches(schema, batches), beside,
                layer=contract.name, driver="GPKG", append=number > 0,
                geometry_name=GEOMETRY, geometry_type=contract.geometry[0], crs=horizontal(crs).to_wkt(),
                dataset_options={"VERSION": VERSION} if number == 0 else None,
                layer_options={
                    "GEOMETRY_NAME": GEOMETRY_COLUMN, "SPATIAL_INDEX": "YES",
                    "IDENTIFIER": contract.name, "DESCRIPTION": contract.meaning,
                },
            )  # fmt: skip
    with explain_failure(path), closing(sqlite3.connect(beside)) as database:
        for name, files in parts.items():
            (rows[name],) = database.execute(f'SELECT count(*) FROM "{name}"').fetchone()
            whole = sum(need("pyarrow.parquet").read_metadata(file).num_rows for file in files)
            if rows[name] != whole:
                raise refuse(
                    f"Only {rows[name]} of {whole} rows were written",
                    "Free some space on the disk and run again", file=path.name, layer=name,
                )  # fmt: skip
        add_styles(database, layouts, GEOMETRY_COLUMN, moment)
    beside.replace(path)
    return rows


def _batches(files: Sequence[Path]) -> tuple[object, Iterator]:
    """Give the parts of a layer as record batches without boxes, and their schema."""
    pa, pq = need("pyarrow"), need("pyarrow.parquet")
    whole = pq.read_schema(files[0])
    names = [name for name in whole.names if name != BOX]
    schema = pa.schema([whole.field(name) for name in names])

    def read() -> Iterator:
        for file in files:
            for batch in pq.ParquetFile(file).iter_batches(columns=names):
                yield batch.select(names).replace_schema_metadata(None).cast(schema)

    return schema, read()
