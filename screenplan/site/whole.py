"""Is a file all there? GDAL reads what is left of a broken-off one without a word."""

from __future__ import annotations

import struct
from pathlib import Path

from screenplan.ground.errors import refuse
from screenplan.ground.sqlite import is_database

_SHAPEFILE = 9994


def check_whole(path: Path) -> None:
    """Compare the size that a file's header announces with the size that it has.

    Shapefile: the length in 16-bit words at byte 24, big-endian (ESRI, Shapefile Technical
    Description, 1998). GeoPackage: page size at byte 16 and page count at byte 28 of an SQLite
    file, valid if the change counter at 24 equals the version at 92 (SQLite file format 1.3).
    Other formats are left to GDAL.

    Raises
    ------
    InputError
        If the file is empty or shorter than it should be.
    """
    if path.is_dir():
        return
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(100)
    announced = _announced(head)
    if size == 0 or (announced is not None and size < announced):
        raise refuse(
            f"The file breaks off: it has {size} of {announced} bytes"
            if size
            else "The file is empty",
            "Fetch or export the file again",
            file=str(path),
        )
    if path.suffix.lower() == ".shp":
        for suffix in (".shx", ".dbf"):
            if not any(path.with_suffix(s).exists() for s in (suffix, suffix.upper())):
                raise refuse(
                    f"The shapefile lacks its part {path.with_suffix(suffix).name}",
                    "Copy all files of that name that lie beside the original",
                    file=str(path),
                )


def _announced(head: bytes) -> int | None:
    if len(head) < 100:
        return None
    if is_database(head):
        page = struct.unpack(">H", head[16:18])[0]
        pages = struct.unpack(">I", head[28:32])[0]
        return (65536 if page == 1 else page) * pages if head[24:28] == head[92:96] else None
    if struct.unpack(">i", head[:4])[0] == _SHAPEFILE:
        return 2 * struct.unpack(">i", head[24:28])[0]
    return None
