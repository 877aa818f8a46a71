"""Vector files by way of GDAL: which layers they hold, which files belong to them."""

from __future__ import annotations

import hashlib
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import fiona

from screenplan.errors import InputError, refuse
from screenplan.paths import check_reachable
from screenplan.site.whole import check_whole

# GDAL's messages reach the person in our own words; without a handler they would be printed raw.
logging.getLogger("fiona").addHandler(logging.NullHandler())

#: Tables that desktop programs keep in a GeoPackage beside the layers.
NOT_LAYERS = ("layer_styles", "qgis_projects")
_HASH_CHUNK = 1 << 20


def check_file(path: Path, what: str) -> None:
    """Refuse a file that is not there or not whole."""
    check_reachable(path)
    if not path.exists():
        raise refuse(
            "The file does not exist",
            f"Correct the path of {what}; it is relative to the plan file",
            file=str(path),
        )
    check_whole(path)


def open_collection(path: Path, layer: str, **options) -> fiona.Collection:
    """Open a layer with fiona, whatever its driver."""
    return fiona.open(vsi(path), layer=layer, allow_unsupported_drivers=True, **options)


def find_files(path: Path) -> list[Path]:
    """List the files that belong to a data set, the named one first.

    A shapefile has sidecars of the same stem; a file geodatabase is a folder.
    """
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file())
    if path.suffix.lower() not in (".shp", ".tab", ".mif"):
        return [path]
    family = (
        part
        for part in path.parent.iterdir()
        if part.is_file() and part.name.split(".")[0] == path.name.split(".")[0]
    )
    sidecars = (".dbf", ".shx", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".dat", ".map", ".id",
                ".ind", ".mid")  # fmt: skip
    return [path, *sorted(part for part in family if part.suffix.lower() in sidecars)]


def hash_file(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal text."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while chunk := stream.read(_HASH_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def choose_layer(what: str, path: Path, asked: str | None, key: str | None = None) -> str:
    """Name the layer that is meant: the one asked for, or the only one with geometry."""
    with gdal(path):
        listed = [layer for layer in fiona.listlayers(vsi(path)) if layer not in NOT_LAYERS]
    if asked is not None:
        if asked in listed:
            return asked
        raise refuse(
            f"There is no layer '{asked}'",
            f"Name one of its layers: {', '.join(listed)}",
            file=str(path),
            key=key,
        )
    if len(listed) == 1:
        return listed[0]
    spatial = [layer for layer in listed if _is_spatial(path, layer)]
    if len(spatial) == 1:
        return spatial[0]
    if not spatial:
        raise refuse(
            "The file holds no layer with geometry",
            f"Give a file with the {what} as shapes",
            file=str(path),
        )
    raise refuse(
        f"The file holds {len(spatial)} layers, and none is named",
        f"Name the one that holds the {what}: {', '.join(spatial)}",
        file=str(path),
        key=key,
    )


def _is_spatial(path: Path, layer: str) -> bool:
    with (
        gdal(path, layer),
        open_collection(path, layer) as collection,
    ):
        return collection.schema["geometry"] != "None"


@contextmanager
def gdal(path: Path, layer: str | None = None) -> Iterator[None]:
    """Say GDAL's errors in our words; they have no common root, so every other one is meant."""
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", category=RuntimeWarning, module="fiona|pyogrio")
            yield
    except InputError:
        raise
    except Exception as error:
        detail = str(error).strip().splitlines()
        reason = f" ({detail[0]})" if detail and "Failed to open dataset" not in detail[0] else ""
        raise refuse(
            f"The file cannot be read as vector data{reason}",
            "Give a complete GeoPackage, GeoJSON, Shapefile or other file that GDAL reads",
            file=str(path),
            layer=layer,
        ) from None


def vsi(path: Path) -> str:
    """Path as GDAL wants it: a zipped data set is opened in place."""
    return f"/vsizip/{path}" if path.suffix.lower() == ".zip" else str(path)
