"""Real lots whose windows, places, kinds and growth are frozen in ``lots.toml``, so that figures of different days compare.

The lots themselves are not part of the project: those of the package momepy are read from where it is
installed, those of a suburb from a folder that is given (OpenStreetMap, © its contributors, ODbL).
``python -m tests.benchmarks.frozen FOLDER`` writes the file anew, by the defaults of that day; every figure told
before is then of another day.
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import momepy
import numpy as np
import shapely

from screenplan.contracts import PRIVATE_PLACES, WINDOWS
from screenplan.contracts.tables import layer_of
from screenplan.plan import Plan, check_plan
from screenplan.planting.growth import establishment_years
from screenplan.planting.species_model import MILD_ZONE, HeightFigures, Species, WidthFigures

FILE = Path(__file__).with_name("lots.toml")
#: The suburb's file below the folder that is given.
SUBURB = Path("osm_suburb/suburb.gpkg")
#: Every 150th plot of the suburb, and the first of the town that momepy carries on which a plant may stand and 30 views are open.
SUBURB_LOTS = tuple(f"T{number:04d}" for number in range(100, 1601, 150))
TOWN_LOTS = ("208", "204", "203", "1629", "1631", "1684")
#: A row of this kind on every side is what closable weight is held against: it makes a wall soonest of the narrow ones.
FAST_NARROW = "thuja_smaragd"
#: Values of a window that are written, in this order.
OF_WINDOW = ("building_id", "sill_m", "height_m", "width_m", "facing_deg", "floor_m")
#: Of a species these are words about its figures.
WORDS = ("tolerances", "warnings", "note", "grades", "sources")
#: A parcel of another area is another parcel, square metres.
SAME_M2 = 0.5


@dataclass(frozen=True, eq=False)
class Lot:
    """One lot, ready to be designed.

    Parameters
    ----------
    name : str
    plan : Plan
    layers : dict
        In local-frame metres, with frozen windows and places.
    species_table : dict
        The frozen kinds by key.
    """

    name: str
    plan: Plan
    layers: dict[str, Any]
    species_table: dict[str, Species]


def plan_of(lot: str, folder: Path | None) -> Plan:
    """Give the plan that reads a lot: by defaults, with a design."""
    if lot in TOWN_LOTS:
        file, storeys = momepy.datasets.get_path("bubenec"), 2
        layers = {
            "parcels": {"file": file, "layer": "plots", "columns": {"parcel_id": "ID"}},
            "buildings": {"file": file, "layer": "buildings", "columns": {"building_id": "uID"}},
            "roads": {"file": file, "layer": "streets"},
        }
    else:
        file, storeys = str(folder / SUBURB), 1
        layers = {
            "parcels": {"file": file, "layer": "plots"},
            "buildings": {"file": file, "layer": "buildings", "columns": {"building_id": "osm_id"}},
            "roads": {"file": file, "layer": "roads", "columns": {"road_id": "osm_id"}},
        }
    layers["buildings"]["fixed"] = {"storeys": storeys}
    return check_plan(
        {
            "subject": {"id": lot},
            "layers": layers,
            "design": {"wanted": True, "choices": False},
            # The zone for which the frozen kinds were listed: without one fewer kinds are proposed.
            "health": {"zone": MILD_ZONE},
        }
    )


def lots(folder: Path | None = None, only: tuple[str, ...] = ()) -> Iterator[Lot]:
    """Read the frozen lots, those of the suburb if its folder is given."""
    from screenplan.running.pipeline import run_plan

    said = tomllib.loads(FILE.read_text(encoding="utf-8"))
    kinds = {key: _species(key, table) for key, table in said["kinds"].items()}
    for name, frozen in said["lots"].items():
        if (only and name not in only) or (name not in TOWN_LOTS and folder is None):
            continue
        plan = plan_of(name, folder)
        layers = dict(run_plan(plan, only=["sides"]).layers)
        own = layers["parcels"].loc[layers["parcels"]["is_subject"].astype(bool)]
        if abs(own.area.sum() - frozen["area_m2"]) > SAME_M2:
            msg = f"lot {name} is {own.area.sum():.1f} m2, and the frozen one {frozen['area_m2']} m2: these are other data"
            raise ValueError(msg)
        crs = layers["parcels"].crs
        yield Lot(name, plan, layers | _layers(frozen, crs), kinds)


def _layers(frozen, crs) -> dict[str, gpd.GeoDataFrame]:
    windows = [
        {"window_id": name, "derived": False, **dict(zip(OF_WINDOW, values[2:], strict=True))}
        for name, values in frozen["windows"].items()
    ]
    spots = [shapely.Point(values[:2]) for values in frozen["windows"].values()]
    places = [
        {"place_id": name, "eye_seated_m": 1.2, "eye_standing_m": 1.6, "deck_m": 0.0, "weight": 1.0, "derived": False}
        for name in frozen["places"]
    ]  # fmt: skip
    return {
        "windows": layer_of(WINDOWS, windows, spots, crs),
        "private_places": layer_of(
            PRIVATE_PLACES, places, [shapely.from_wkt(text) for text in frozen["places"].values()], crs
        ),
    }  # fmt: skip


def _species(key: str, table) -> Species:
    def as_tuples(value):
        return tuple(map(as_tuples, value)) if isinstance(value, list) else value

    values = {name: as_tuples(value) for name, value in table.items()}
    for name, figures in (("height_curve", HeightFigures), ("width_law", WidthFigures)):
        values[name] = figures(**{k: as_tuples(v) for k, v in table.get(name, {}).items()})
    return Species(key=key, **values)


def write(folder: Path) -> None:
    """Write the file anew: windows that have an open view, places, and the kinds of the short list."""
    from screenplan.design.designing import prepare
    from screenplan.design.kinds import list_options
    from screenplan.running.inputs import species_in
    from screenplan.running.pipeline import run_plan
    from screenplan.running.steps import STEPS
    from screenplan.site.terrain import Terrain
    from screenplan.views.opened import open_rays
    from screenplan.views.sight import lay_sight

    head = [
        "# Windows, places and kinds of real lots, as the defaults laid them on the day that this was written by",
        "# `python -m tests.benchmarks.frozen FOLDER`; do not edit. Metres in the frame of each lot.",
        "# Lots whose name begins with T: made from OpenStreetMap, (c) OpenStreetMap contributors, ODbL.",
        f"# Windows: x, y, {', '.join(OF_WINDOW)}; those that have an open view.",
    ]
    parts: list[str] = []
    kinds: dict[str, Species] = {}
    for lot in (*SUBURB_LOTS, *TOWN_LOTS):
        plan = plan_of(lot, folder)
        table = species_in(plan)
        kinds |= {one.species.key: one.species for one in list_options(plan, table, 10).options}
        kinds.setdefault(FAST_NARROW, table[FAST_NARROW])
        layers = dict(run_plan(plan, only=["sides"]).layers)
        for step in ("windows", "places"):
            arguments = {"terrain": Terrain.flat()} if STEPS[step].resources else {}
            layers |= STEPS[step](layers, plan=plan, **arguments)
        task = prepare(layers, plan, species_table=table)
        layers["private_places"] = task.candidates.private_places
        nothing = next(iter(task.candidates.grounds.values())).lines.iloc[:0]
        rays = open_rays(
            lay_sight({**layers, "planting_lines": nothing}, plan.views), plan.views.threshold
        )
        own = layers["parcels"].loc[layers["parcels"]["is_subject"].astype(bool)]
        seen = layers["windows"].loc[layers["windows"]["window_id"].isin(set(rays.observers))]
        parts += [f"[lots.{lot}]", f"area_m2 = {own.area.sum():.2f}", "", f"[lots.{lot}.places]"]
        for row in layers["private_places"].itertuples():
            parts.append(
                f"{json.dumps(row.place_id)} = {json.dumps(shapely.to_wkt(row.geometry, rounding_precision=3))}"
            )
        parts += ["", f"[lots.{lot}.windows]"]
        for row in seen.itertuples():
            values = [row.geometry.x, row.geometry.y, *(getattr(row, name) for name in OF_WINDOW)]
            parts.append(f"{json.dumps(row.window_id)} = {json.dumps([_plain(v) for v in values])}")
        parts.append("")
        print(lot, len(seen), "windows", len(rays.views), "open views", flush=True)
    written = []
    for key, kind in kinds.items():
        written += _species_lines(key, kind)
    FILE.write_text("\n".join([*head, "", *written, *parts]), encoding="utf-8")


def _species_lines(key: str, kind: Species) -> list[str]:
    table = {
        name: value
        for name, value in asdict(kind).items()
        if name not in (*WORDS, "key") and value is not None
    }
    # Rooting by zone, stem and stock is frozen too.
    table["establishment_years"] = float(
        np.round(establishment_years(kind, kind.stock_height_m, "container"), 4)
    )
    plain = [
        f"{name} = {json.dumps(_plain(value))}"
        for name, value in table.items()
        if not isinstance(value, dict)
    ]
    lines = [f"[kinds.{key}]", *plain, ""]
    for name in ("height_curve", "width_law"):
        figures = {k: v for k, v in table[name].items() if v is not None}
        lines += [
            f"[kinds.{key}.{name}]",
            *(f"{k} = {json.dumps(_plain(v))}" for k, v in figures.items()),
            "",
        ]
    return lines


def _plain(value):
    if isinstance(value, (tuple, list)):
        return [_plain(one) for one in value]
    if isinstance(value, (float, np.floating)):
        return round(float(value), 6)
    return value


if __name__ == "__main__":
    write(Path(sys.argv[1]))
