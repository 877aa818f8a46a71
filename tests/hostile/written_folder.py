"""Hold the folder that a run wrote against what is promised of it."""

from __future__ import annotations

import csv
import hashlib
import html
import json
import re
import warnings
from pathlib import Path

import numpy as np
import pyogrio
import shapely

from screenplan.contracts import OUTPUTS, SURROUNDINGS, as_written
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform

from .outcome import FaultError

#: How a number that is none, or an empty value, looks where a program forgot it. None begins sentences.
FORGOTTEN = re.compile(
    r"(?<![\w.'-])(nan|NaN|NAN|NaT|<NA>|[-+]?inf|-?Infinity|nan m|None m)(?![\w'-])"
)
#: Written only where the plan asks for it.
_IF_ASKED = (
    "alternatives", "design", "design_views", "choices", "choice_plants", "choice_views", "shared_boundaries",
    "lot_costs", "browsed_views", "instead", "water_by_month", "drip_lines", "kinds_lost", "lost_plants", "lost_views", "kept_effects", "kept_open", "instead_lines", "new_screens",
)  # fmt: skip
_TEXTS = (".csv", ".ics", ".gpx", ".kml", ".dxf")


def hold_folder(folder: Path) -> dict[str, int]:
    """Raise a `FaultError` if a file is not as promised; give the rows of each layer."""
    record = _json(folder / "run.json")
    _hold_files(folder, record)
    rows = {}
    for name, contract in as_written(OUTPUTS | SURROUNDINGS).items():
        rows[name] = _hold_layer(folder, name, contract)
    for path in sorted(folder.rglob("*")):
        if path.suffix in _TEXTS:
            _hold_text(path.name, path.read_text(encoding="utf-8", errors="strict"))
    for path in sorted(folder.glob("tables/*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as stream:
            widths = {len(row) for row in csv.reader(stream)}
        if len(widths) != 1:
            raise FaultError(f"{path.name}: rows of {sorted(widths)} cells")
    _hold_text("report.html", _visible((folder / "report.html").read_text(encoding="utf-8")))
    return rows


def failing_checks(folder: Path) -> list[str]:
    """Give the checks of a written run that fail."""
    with (folder / "tables" / "checks.csv").open(encoding="utf-8-sig", newline="") as stream:
        return [row["check"] for row in csv.DictReader(stream) if row["result"] == "fails"]


def _hold_files(folder: Path, record) -> None:
    listed = {entry["file"]: entry for entry in record["outputs"]}
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    if there != {*listed, "run.json"}:
        raise FaultError(f"files that the record does not list, or that are not there: {sorted(there ^ {*listed, 'run.json'})}")  # fmt: skip
    for name, entry in listed.items():
        if hashlib.sha256((folder / name).read_bytes()).hexdigest() != entry["sha256"]:
            raise FaultError(f"{name} is not the file that the record lists")


def _json(path: Path):
    def refuse_number(word):
        raise FaultError(f"{path.name} holds {word}")

    return json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse_number)


def _hold_layer(folder: Path, name: str, contract) -> int:
    package = folder / "plan.gpkg"
    if name not in {str(layer) for layer in pyogrio.list_layers(package)[:, 0]}:
        asked = contract.only_drawn or name in _IF_ASKED
        if name in as_written(OUTPUTS) and not asked:
            raise FaultError(f"plan.gpkg has no layer {name}")
        return 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = pyogrio.read_dataframe(package, layer=name, datetime_as_string=True)
    for column in contract.columns:
        if (
            column.type == "boolean" and column.name in table
        ):  # empty cells make numbers of the others
            table[column.name] = table[column.name].astype("boolean")
    try:
        conform(table, contract)
    except InputError as error:
        raise FaultError(f"plan.gpkg, {name}: {error}") from None
    if contract.geometry:
        _hold_shapes(name, table.geometry.to_numpy())
        path = folder / "layers" / f"{name}.geojson"
        if path.exists():
            features = _json(path)["features"]
            if len(features) != len(table):
                raise FaultError(f"{path.name} has {len(features)} rows, the package {len(table)}")
            _hold_shapes(path.name, shapely.from_wkb(pyogrio.raw.read(path)[2]))
    return len(table)


def _hold_shapes(name: str, shapes: np.ndarray) -> None:
    shapes = shapes[~shapely.is_missing(shapes)]
    if not np.isfinite(shapely.get_coordinates(shapes)).all():
        raise FaultError(f"{name}: coordinates that are no numbers")
    if not shapely.is_valid(shapes).all():
        raise FaultError(f"{name}: a geometry that is not valid")


def _hold_text(name: str, text: str) -> None:
    found = FORGOTTEN.search(text)
    if found:
        around = text[max(found.start() - 60, 0) : found.end() + 40]
        raise FaultError(f"{name} says {' '.join(around.split())!r}")


def _visible(page: str) -> str:
    """Give what a person reads of a page, and the coordinates of its drawings."""
    page = re.sub(r"(?s)<(style|script).*?</\1>", " ", page)
    drawn = " ".join(re.findall(r'\s(?:d|points|x|y|x1|y1|x2|y2|width|height|cx|cy|r|transform|viewBox)="([^"]*)"', page))  # fmt: skip
    return html.unescape(re.sub(r"(?s)<[^>]*>", " ", page)) + " " + drawn
