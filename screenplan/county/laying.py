"""A layer of a county laid out to be read by partition: in the order of a curve, each row with its box.

It is read as a stream, written to buckets of the curve, and each bucket is sorted by itself, so that memory holds a
chunk or a bucket, and of all rows no more than the middle of each (16 bytes) and a hash of its identifier (8).
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import COUNTY_SKIPPED, INPUTS, PARCELS
from screenplan.contracts.tables import table_of
from screenplan.county.streams import Chunk, Stream, open_stream
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.extras import need
from screenplan.outputs.parquet import GROUP_ROWS, geo_text, with_boxes, write_layer
from screenplan.site.columns import check_mapping, to_text
from screenplan.site.composed import cells_of, is_held, parts_of
from screenplan.site.repair import Findings
from screenplan.site.sources import LayerSource

#: About as many rows are sorted at once.
BUCKET_ROWS = 50_000
#: Names of the columns that are added: the row in its file from 1, and whether a parcel is planned.
ROW, PLANNED = "source_row", "planned"
#: The place along the curve, while the rows are sorted.
_CODE = "curve_code"
#: Types that a parcel may have.
_AREAS = (3, 6)


@dataclass(frozen=True)
class Laid:
    """A layer as it lies ready.

    Parameters
    ----------
    name : str
        Its contract.
    path : Path
        The GeoParquet file.
    named : LayerSource
        How its columns are called, which keep the file's names; its file is the same.
    """

    name: str
    path: Path
    named: LayerSource


def lay_layer(name: str, source: LayerSource, folder: Path, crs: CRS | None = None) -> Laid:
    """Write a layer as GeoParquet in the order of a curve, and beside it what was set aside.

    Parameters
    ----------
    name : str
        Its contract, one of `INPUTS`.
    source : LayerSource
        A file of any format that a plan reads, a GeoParquet file, or a GeoDataFrame.
    folder : Path
        Where to: ``NAME.parquet``, which appears whole, and ``NAME_skipped.parquet``.
    crs : CRS, optional
        In place of the one that the file states.

    Raises
    ------
    InputError
        If it cannot be read, has no CRS, or a column that is named is not there.
    """
    path = folder / f"{name}.parquet"
    # Identifiers of parcels are written as text under our own name.
    columns = {ours: theirs for ours, theirs in source.columns.items() if ours != own_key(name)}
    laid = Laid(name, path, replace(source, file=path, layer=None, crs=None, columns=columns))
    if laid.path.exists():
        return laid
    stream = open_stream(name, source)
    system = crs or stream.crs
    if system is None:
        raise refuse(
            "The layer has no CRS", "State the CRS in which its coordinates are",
            file=stream.file, layer=stream.layer, key=f"layers.{name}.crs", kind="system",
        )  # fmt: skip
    _check_columns(name, source, stream)
    beside = folder / f".{name}~"
    shutil.rmtree(beside, ignore_errors=True)
    beside.mkdir(parents=True)
    try:
        _lay(name, source, stream, system, laid, beside)
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return laid


def first_rows(name: str, source: LayerSource) -> pd.DataFrame:
    """Read the attributes of the first rows of a layer, by which its columns are told; all of its columns.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    stream = open_stream(name, source)
    _, cells = next(stream.chunks(list(stream.columns)), (None, {}))
    return pd.DataFrame(cells, columns=list(stream.columns), dtype=object)


def own_key(name: str) -> str | None:
    """Give the column that is written anew by our own name: the identifier of a parcel."""
    return PARCELS.key if name == PARCELS.name else None


def skipped_file(laid: Laid) -> Path:
    """Give the file of what was set aside of a layer."""
    return laid.path.with_name(f"{laid.name}_skipped.parquet")


def _check_columns(name: str, source: LayerSource, stream: Stream) -> None:
    findings = Findings(name, stream.file, stream.layer)
    check_mapping(INPUTS[name], stream.columns, source, findings)
    if findings.problems:
        raise InputError(findings.problems)


def _lay(
    name: str, source: LayerSource, stream: Stream, crs: CRS, laid: Laid, beside: Path
) -> None:
    key = own_key(name)
    columns = _parts(
        (column.name for column in INPUTS[name].columns if column.name not in (key, *source.fixed)),
        source,
        stream,
    )
    own = (
        None
        if key is None or not is_held(source.theirs(key), stream.columns)
        else source.theirs(key)
    )
    asked = list(dict.fromkeys([*columns, *(() if own is None else parts_of(own, stream.columns))]))
    middles, hashes, rows = [], [], 0
    skipped: list[dict] = []
    numbers = dict.fromkeys(columns, True)
    for shapes, cells in stream.chunks(asked):
        numbers = {
            column: all_numbers and _are_numbers(cells[column])
            for column, all_numbers in numbers.items()
        }
        ids = _ids(cells, own)
        sound = _place(name, shapes, rows, ids, skipped)
        bounds = shapely.bounds(shapes)
        bounds[~sound] = np.nan
        middles.append((bounds[:, :2] + bounds[:, 2:]) / 2.0)
        if key is not None:
            hashes.append(_hash_names(_names(ids, rows, len(shapes))))
        rows += len(shapes)
    if not rows and key is not None:
        what = name.replace("_", " ")
        raise refuse(f"The layer of {what} is empty", "Draw what it should hold, or leave the layer out", file=stream.file, layer=stream.layer)  # fmt: skip
    at = np.concatenate([np.empty((0, 2)), *middles])
    code = _along_curve(at)
    writing = _Writing(name, own, numbers, code, _buckets(code), _found_twice(hashes), skipped)
    writing.write(stream.chunks(asked), beside)
    write_layer(table_of(COUNTY_SKIPPED, skipped), skipped_file(laid), COUNTY_SKIPPED)
    _sort_buckets(beside, crs, laid.path)


def _parts(names: Iterable[str], source: LayerSource, stream: Stream) -> list[str]:
    """Give the file's columns of which some of the contract's are made."""
    found = (parts_of(source.theirs(name), stream.columns) for name in names)
    return list(dict.fromkeys(part for parts in found for part in parts))


def _ids(cells: Mapping[str, list], own: str | None) -> list | None:
    """Give the cells of a column of identifiers, which may stand in parts; None without one."""
    return None if own is None else cells_of(pd.DataFrame(cells, dtype=object), own).tolist()


def _place(name: str, shapes: np.ndarray, first: int, ids, skipped: list[dict]) -> np.ndarray:
    """Tell which rows have a place, and list the others."""
    missing, empty = shapely.is_missing(shapes), shapely.is_empty(shapes)
    finite = np.isfinite(shapely.bounds(shapes)).all(axis=1)
    told = [
        (missing, "it has no geometry", "Draw it, or delete the row"),
        (~missing & empty, "its geometry is empty", "Draw it, or delete the row"),
        (
            ~missing & ~empty & ~finite,
            "a coordinate of it is not a finite number",
            "Correct or delete the row",
        ),
    ]
    sound = ~missing & ~empty & finite
    if name == "parcels":
        other = sound & ~np.isin(shapely.get_type_id(shapes), _AREAS)
        told.append((other, "it is no area, and a parcel is one", "Draw its outline as a polygon"))
        sound = sound & ~other
    names = _names(ids, first, len(shapes)) if name == "parcels" else [None] * len(shapes)
    for which, reason, remedy in told:
        skipped += [
            {
                "layer": name,
                ROW: first + int(k) + 1,
                "parcel_id": names[k],
                "reason": reason,
                "remedy": remedy,
            }
            for k in np.flatnonzero(which)
        ]
    return sound


def _names(ids, first: int, count: int) -> list[str]:
    """Give the identifiers of parcels as text; one without is called by its row, as a plan calls it."""
    given = [None] * count if ids is None else [to_text(value) for value in ids]
    return [name or f"row {first + k + 1}" for k, name in enumerate(given)]


def _hash_names(names: list[str]) -> np.ndarray:
    return np.array(
        [int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "big") for name in names],
        dtype=np.uint64,
    )  # fmt: skip


def _along_curve(middles: np.ndarray) -> np.ndarray:
    """Places along a curve that keeps neighbours together (Hilbert's); -1 for rows without a place."""
    code = np.full(len(middles), -1, dtype=np.int64)
    there = np.isfinite(middles).all(axis=1)
    if there.any():
        points = gpd.GeoSeries(shapely.points(middles[there]))
        code[there] = points.hilbert_distance(total_bounds=_bounds(middles[there]))
    return code


def _bounds(middles: np.ndarray) -> np.ndarray:
    """Bounds of all middles, wide enough to be divided by."""
    low, high = middles.min(axis=0), middles.max(axis=0)
    return np.concatenate([low, np.maximum(high, low + 1e-9 * np.maximum(np.abs(low), 1.0))])


def _buckets(code: np.ndarray) -> np.ndarray:
    """First places of all buckets but the first: quantiles, so that all are about as large."""
    there = np.sort(code[code >= 0])
    count = max(1, -(-len(there) // BUCKET_ROWS))
    return (
        np.unique(there[[len(there) * k // count for k in range(1, count)]])
        if len(there)
        else np.zeros(0)
    )


@dataclass(frozen=True, eq=False)
class _Writing:
    """How rows are written to the buckets of the curve.

    Parameters
    ----------
    name : str
        The layer.
    own : str or None
        How the file calls the parcels' identifiers, maybe in parts.
    numbers : dict of str to bool
        The columns that are written, and whether each holds numbers alone.
    code, starts : ndarray
        Each row's place along the curve, and where buckets begin on it.
    twice : set of int
        Hashes of identifiers that stand for several rows.
    skipped : list of dict
        Where rows that are set aside are listed.
    """

    name: str
    own: str | None
    numbers: Mapping[str, bool]
    code: np.ndarray
    starts: np.ndarray
    twice: frozenset[int]
    skipped: list[dict]

    def write(self, chunks: Iterator[Chunk], beside: Path) -> None:
        """Write all rows, a file a bucket."""
        pq = need("pyarrow.parquet")
        writers, first = {}, 0
        try:
            for shapes, cells in chunks:
                here = self.code[first : first + len(shapes)]
                columns = self._columns(cells, first, here)
                bucket = np.searchsorted(self.starts, here, side="right")
                for number in np.unique(bucket[here >= 0]):
                    mine = np.flatnonzero((bucket == number) & (here >= 0))
                    table = with_boxes(
                        {name: column.take(mine) for name, column in columns.items()},
                        shapely.force_2d(shapes[mine]),
                    )
                    if number not in writers:
                        writers[number] = pq.ParquetWriter(
                            beside / f"{number:06d}.parquet", table.schema
                        )
                    writers[number].write_table(table)
                first += len(shapes)
        finally:
            for writer in writers.values():
                writer.close()

    def _columns(self, cells: Mapping[str, list], first: int, here: np.ndarray) -> dict:
        pa = need("pyarrow")
        made = {
            column: pa.array([_as_number(value) for value in cells[column]], pa.float64())
            if numbers
            else pa.array([_as_text(value) for value in cells[column]], pa.string())
            for column, numbers in self.numbers.items()
        }
        if self.name == "parcels":
            names = _names(_ids(cells, self.own), first, len(here))
            again = np.isin(_hash_names(names), np.array(sorted(self.twice), dtype=np.uint64))
            self.skipped.extend(
                {
                    "layer": self.name, ROW: first + int(k) + 1, "parcel_id": names[k],
                    "reason": f"the parcel_id '{names[k]}' stands for several rows",
                    "remedy": "Give each parcel its own, and draw one that has several parts as one row",
                }
                for k in np.flatnonzero(again & (here >= 0))
            )  # fmt: skip
            made |= {"parcel_id": pa.array(names, pa.string()), PLANNED: pa.array(~again)}
        made[ROW] = pa.array(np.arange(first + 1, first + len(here) + 1))
        made[_CODE] = pa.array(here)
        return made


def _found_twice(hashes: list[np.ndarray]) -> frozenset[int]:
    """Hashes of identifiers that stand for several rows."""
    if not hashes:
        return frozenset()
    found, often = np.unique(np.concatenate(hashes), return_counts=True)
    return frozenset(found[often > 1].tolist())


def _are_numbers(values: list) -> bool:
    """Tell whether all values of a column are numbers that a double keeps, or empty."""
    return all(
        value is None
        or isinstance(value, float)
        or (
            isinstance(value, (int, np.number))
            and not isinstance(value, bool)
            and -(2**53) < value < 2**53
        )
        for value in values
    )


def _is_empty(value) -> bool:
    return (
        value is None
        or value is pd.NA
        or value is pd.NaT
        or (isinstance(value, float) and np.isnan(value))
    )


def _as_number(value) -> float | None:
    return None if _is_empty(value) else float(value)


def _as_text(value) -> str | None:
    return None if _is_empty(value) else to_text(value)


def _sort_buckets(beside: Path, crs: CRS, path: Path) -> None:
    """Sort each bucket and write all of them as one file."""
    pa, pq = need("pyarrow"), need("pyarrow.parquet")
    whole, writer = beside / "whole", None
    try:
        for bucket in sorted(beside.glob("*.parquet")):
            table = pq.read_table(bucket)
            edges = [
                edge.to_numpy(zero_copy_only=False)
                for edge in table.column("bbox").combine_chunks().flatten()
            ]
            keys = [table.column(ROW).to_numpy(), *edges[::-1], table.column(_CODE).to_numpy()]
            table = table.take(pa.array(np.lexsort(keys))).drop_columns([_CODE])
            table = table.replace_schema_metadata({b"geo": geo_text(crs)})
            if writer is None:
                writer = pq.ParquetWriter(whole, table.schema, compression="zstd")
            writer.write_table(table, row_group_size=GROUP_ROWS)
    finally:
        if writer is not None:
            writer.close()
    if writer is None:  # no row has a place
        empty = with_boxes({ROW: pa.array([], pa.int64())}, np.zeros(0, dtype=object))
        pq.write_table(empty.replace_schema_metadata({b"geo": geo_text(crs)}), whole)
    whole.replace(path)
