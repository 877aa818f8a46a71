"""A whole county: layers laid out, partitions shared out, parts written, a map and a record made of them."""

from __future__ import annotations

import datetime as dt
import json
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from screenplan.contracts import (
    COUNTY,
    COUNTY_LINES,
    COUNTY_PLANTS,
    COUNTY_SIDES,
    COUNTY_SKIPPED,
    INPUTS,
)
from screenplan.contracts.county import COUNTED_YEARS
from screenplan.contracts.model import year_column
from screenplan.contracts.tables import give_types
from screenplan.county.around import Task
from screenplan.county.columnar import Columnar
from screenplan.county.ground import settle_ground
from screenplan.county.laying import Laid, lay_layer, skipped_file
from screenplan.county.map import MAP_NAME, write_map
from screenplan.county.partition import plan_partition
from screenplan.county.planner import Planner
from screenplan.county.sharing import share_out
from screenplan.county.spacing import MEASURED
from screenplan.county.state import Begun, CountyFolder, hash_plan, write_whole
from screenplan.county.streams import hash_source
from screenplan.ground.errors import refuse
from screenplan.ground.extras import need
from screenplan.outputs.lock import Held, Lock
from screenplan.outputs.parquet import write_layer
from screenplan.outputs.record import RunRecord, describe_output, file_sha256, write_record
from screenplan.outputs.tables import write_csv
from screenplan.plan import Plan
from screenplan.plan.design import Design
from screenplan.plan.instead import Instead
from screenplan.plan.planting import KeptSize, Rows
from screenplan.plan.reading import find_plan
from screenplan.plan.site import Subject
from screenplan.running.inputs import sources_of, terrain_of
from screenplan.site.files import check_file
from screenplan.site.frames import name_crs
from screenplan.site.sources import LayerSource, hash_unless_large
from screenplan.site.systems import find_system
from screenplan.site.terrain import TerrainSource

#: Parcels of a partition: enough that what is made once for them does not count, and not so many that a run that is
#: killed loses more than some minutes.
AT_ONCE = 250
#: Layers that a county reads: those around a parcel, but for what is measured or drawn for one plan.
READ = tuple(
    name
    for name, contract in INPUTS.items()
    if contract.geometry and name not in ("planting_line", "marks", "sun_places")
)
#: What is written if it is asked for, by the word by which it is.
WANTED = {"lines": COUNTY_LINES.name, "plants": COUNTY_PLANTS.name}
#: What parts are added up in.
_SUMMED = (
    "plants",
    "windows",
    "views_open",
    *(year_column("closed", year) for year in COUNTED_YEARS),
)
SKIPPED_FILE = "county_skipped.csv"

#: Called with what is done, the parcels that are planned, and how many there are.
CountyProgress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class CountyRun:
    """A county that was run.

    Parameters
    ----------
    folder : Path
        Where its files are.
    parcels : int
        Parcels that the layer holds, those that were set aside included.
    skipped : DataFrame
        What was set aside, by `COUNTY_SKIPPED`.
    totals : dict
        Sums over all sides: plants, windows, open views, those closed by years, the cost of what has a price, the
        plants that have none; and parcels planned.
    parts : int
        Partitions.
    done_before : int
        Those of them that an earlier run into this folder had done.
    seconds : float
        Time of this run.
    warnings : list of str
        What a person should know.
    """

    folder: Path
    parcels: int
    skipped: pd.DataFrame
    totals: dict[str, float] = field(default_factory=dict)
    parts: int = 0
    done_before: int = 0
    seconds: float = 0.0
    warnings: list[str] = field(default_factory=list)

    def sides(self) -> Iterator:
        """Give the sides part by part, as GeoDataFrames in the CRS of the parcels."""
        for path in sorted((self.folder / COUNTY_SIDES.name).glob("part-*.parquet")):
            yield Columnar(path).near(None)


@dataclass(frozen=True)
class CountyOptions:
    """How a county is run; none of it changes what is planned.

    Parameters
    ----------
    at_once : int
        Parcels of a partition.
    workers : int
        Processes of this machine.
    wanted : tuple of str
        ``lines``, ``plants``: what is written beside the sides.
    """

    at_once: int = AT_ONCE
    workers: int = 1
    wanted: tuple[str, ...] = ()

    def __post_init__(self):
        for name, value in (("at_once", self.at_once), ("workers", self.workers)):
            if value < 1:
                raise refuse(f"{name} is {value}", "Give 1 or more")
        for name in self.wanted:
            if name not in WANTED:
                raise refuse(
                    f"'{name}' is not written of a county", f"Ask for {' or '.join(WANTED)}"
                )


def run_county(
    plan: Plan | Mapping[str, Any] | Path | str,
    folder: Path | str | None = None,
    *,
    layers: Mapping[str, Any] | None = None,
    out: Path | str,
    settings: Sequence[str] = (),
    client: Any = None,
    progress: CountyProgress | None = None,
    options: CountyOptions | Mapping[str, Any] | None = None,
) -> CountyRun:
    """Plan every parcel of a layer by one plan, and write what comes of it.

    Parameters
    ----------
    plan : path, mapping or Plan
        What holds for every parcel: its section [county] says which sides are planted.
    folder : path, optional
        The folder to which the paths of a mapping or a `Plan` are relative; by default the current one.
    layers : mapping of str to GeoDataFrame, path or LayerSource, optional
        By contract name, in place of the plan's files of the same name; ``parcels`` is needed.
    out : path
        The folder to write. One that an earlier run of the same plan and layers began is gone on with.
    settings : sequence of str
        ``KEY=VALUE``, values that replace those of the file or mapping.
    client : distributed.Client, optional
        Whose workers plan the partitions; each must reach the folder under the same path.
    progress : callable, optional
        Called with what is done, the parcels planned so far, and all.
    options : CountyOptions or mapping, optional
        Parcels at once, processes, what else is written.

    Returns
    -------
    CountyRun

    Raises
    ------
    InputError
        If the plan, a layer or the folder cannot be used. A row that cannot be used is set aside and listed.

    Examples
    --------
    Four lots on a grid, of which nobody knows a house: rows only.

    >>> import geopandas, shapely, tempfile
    >>> lots = geopandas.GeoDataFrame(
    ...     {"parcel_id": list("abcd")},
    ...     geometry=[shapely.box(500000 + 40 * k, 5500000, 500040 + 40 * k, 5500050) for k in range(4)],
    ...     crs="EPSG:25832",
    ... )
    >>> with tempfile.TemporaryDirectory() as here:
    ...     run = run_county({}, layers={"parcels": lots}, out=f"{here}/county")
    ...     run.parcels, len(run.skipped), run.totals["views_open"]
    (4, 0, 0)
    """
    begun_at, tell = time.monotonic(), progress or (lambda *_: None)
    need("pyarrow")
    chosen = options if isinstance(options, CountyOptions) else CountyOptions(**(options or {}))
    content, folder = find_plan(plan, folder, settings, layers or {})
    folder = folder.resolve()
    sources, terrain = _sources(content, folder, layers or {})
    _check_plan(content)
    Planner(content, folder)  # refuses what no parcel could be planned by
    place = CountyFolder(Path(out))
    place.check()
    place.target.mkdir(exist_ok=True)
    lock = Lock(place.target.parent / f".{place.target.name}~lock")
    try:
        lock.acquire()
    except Held:
        raise refuse(
            "Another run is writing this folder", "Wait until it has ended, or choose another folder to write to",
            file=str(place.target),
        ) from None  # fmt: skip
    try:
        tell("reading the layers", 0, 0)
        wanted = tuple(WANTED[name] for name in WANTED if name in chosen.wanted)
        hashes = {name: hash_source(source) for name, source in sources.items()}
        if terrain is not None:
            check_file(Path(terrain.file), "the terrain", key="terrain.file")
            hashes["terrain"] = json.dumps(hash_unless_large(Path(terrain.file)), sort_keys=True)
        goes_on = place.begin(
            Begun(hash_plan(content, folder), hashes, chosen.at_once, list(wanted))
        )
        try:
            laid = _lay(sources, place)
            if terrain is not None:
                terrain = settle_ground(terrain, sources, laid, content)
        except BaseException:
            if not goes_on:
                place.forget()
            raise
        task = Task(content, folder, laid, terrain, wanted)
        before = len(place.done())
        _plan_all(task, place, chosen, client, tell)
        tell("writing the map and the record", 0, 0)
        return _finish(task, place, hashes, before, begun_at)
    finally:
        lock.release()


def _sources(
    plan: Plan, folder: Path, given: Mapping[str, Any]
) -> tuple[dict[str, LayerSource], TerrainSource | None]:
    """Give each layer's source: those that are given, and the plan's files for the others."""
    found = sources_of(plan, folder)
    for name, layer in given.items():
        found[name] = layer if isinstance(layer, LayerSource) else LayerSource(
            Path(layer) if isinstance(layer, (str, Path)) else layer
        )  # fmt: skip
    for name in found:
        if name not in READ:
            raise refuse(
                f"A county reads no layer {name.replace('_', ' ')}", f"Leave it out; it reads {', '.join(READ)}",
                file=None if name in given else plan.file, key=f"layers.{name}",
            )  # fmt: skip
    ordered = {name: found[name] for name in ("parcels", *READ) if name in found}
    return ordered, terrain_of(plan, folder)


def _check_plan(plan: Plan) -> None:
    """Refuse what a plan for one parcel says and a county cannot keep to."""
    for key, asked, mend in (
        (Design.key("wanted"), plan.design.wanted, "Set design.wanted to false: a county plants fixed rows"),
        (Rows.key("along"), bool(plan.rows.along), "Leave rows.along out, and name classes of sides in county.planted"),
        (KeptSize.key("in_place"), plan.kept.in_place, "Write the height at which rows are kept (kept.height), and leave kept.in_place out"),
        ("alternatives", plan.alternatives.asked, "Leave [alternatives] out, and run the county once for each"),
        (Instead.key("compare"), bool(plan.instead.compare), "Leave [instead] out: it compares for a single parcel"),
        (Instead.key("design"), plan.instead.design, "Leave [instead] out: a county designs nothing"),
        ("tape", plan.tape is not None, "Leave the section tape out"),
        ("subject", plan.subject != Subject(), "Leave the section subject out: every parcel is planned"),
    ):  # fmt: skip
        if asked:
            raise refuse("this is for a single parcel", mend, file=plan.file, key=key)


def _lay(sources: Mapping[str, LayerSource], place: CountyFolder) -> dict[str, Laid]:
    """Lay out each layer, in the CRS that the plan states for it or its own."""
    laid: dict[str, Laid] = {}
    stated = {name: source.crs for name, source in sources.items()}
    for name, source in sources.items():
        known = {other: Columnar(done.path) for other, done in laid.items()}
        crs = find_system(source.crs, known, stated, key=f"layers.{name}.crs", own=name)
        laid[name] = lay_layer(name, source, place.layers, crs)
    return laid


def write_partition(task: Task, target: Path, number: int, first: int, last: int) -> dict[str, Any]:
    """Plan a partition and write its parts, and at last the mark that it is done; gives what the mark says."""
    place = CountyFolder(target)
    tables = plan_partition(task, first, last)
    sides = tables[COUNTY_SIDES.name]
    told: dict[str, Any] = {"number": number, "first": first, "last": last, "rows": {}}
    for name, table in tables.items():
        path = (
            place.part(name, number)
            if name != COUNTY_SKIPPED.name
            else place.mark(number).with_suffix(".parquet")
        )
        path.parent.mkdir(exist_ok=True)
        told["rows"][name] = write_layer(table, path, COUNTY[name])
    told["planned"] = int(sides["parcel_row"].nunique())
    told["totals"] = {name: int(sides[name].sum()) for name in _SUMMED}
    told["totals"]["cost"] = float(sides["cost"].astype("Float64").sum())
    told["totals"]["unpriced"] = int(sides.loc[sides["cost"].isna().to_numpy(bool), "plants"].sum())
    write_whole(place.mark(number), json.dumps(told, indent=1) + "\n")
    return told


def _plan_all(
    task: Task, place: CountyFolder, options: CountyOptions, client, tell: CountyProgress
) -> None:
    total = Columnar(task.layers["parcels"].path).rows
    done = place.done()
    planned = sum(told["last"] - told["first"] for told in done.values())
    missing = [
        (task, place.target, number, first, min(first + options.at_once, total))
        for number, first in enumerate(range(0, total, options.at_once))
        if number not in done
    ]
    tell("planning", planned, total)
    for told in share_out(write_partition, missing, workers=options.workers, client=client):
        planned += told["last"] - told["first"]
        tell("planning", planned, total)


def _finish(task: Task, place: CountyFolder, hashes, before: int, begun_at: float) -> CountyRun:
    done = place.done()
    totals: Counter = Counter(dict.fromkeys(("planned", *_SUMMED, "cost", "unpriced"), 0))
    for told in done.values():
        totals.update(told["totals"])
        totals["planned"] += told["planned"]
    skipped = _all_skipped(task, place, done)
    parcels = task.layers["parcels"]
    file = Columnar(parcels.path)
    outputs = []
    parts = {}
    for name in (COUNTY_SIDES.name, *task.wanted):
        parts[name] = [place.part(name, number) for number in done]
        outputs += [
            describe_output(path, {name: done[number]["rows"][name]}, base=place.target)
            for number, path in zip(done, parts[name], strict=True)
        ]
    if done:
        path = place.target / MAP_NAME
        rows = write_map(parts, path, file.laid_crs)
        # By its plain hash: the other one holds the whole file in memory.
        outputs.append({"file": path.name, "sha256": file_sha256(path), "layers": rows})
    path = place.target / SKIPPED_FILE
    outputs.append(
        describe_output(path, {COUNTY_SKIPPED.name: write_csv(skipped, path, COUNTY_SKIPPED)})
    )
    warnings = _warnings(task, skipped, totals)
    record = RunRecord(
        inputs=[
            {"name": name, "rows": Columnar(laid.path).rows, "crs": name_crs(Columnar(laid.path).laid_crs), "sha256": hashes[name]}
            for name, laid in task.layers.items()
        ],
        parameters=task.plan.model_dump(mode="python") | {"totals": dict(totals)},
        warnings=warnings,
        outputs=outputs,
    )  # fmt: skip
    write_record(record, place.target, base=task.folder, written_at=dt.datetime.now(dt.UTC))
    aside = _parcels_in(skipped)["source_row"].nunique()
    return CountyRun(
        place.target, int(totals["planned"]) + aside, skipped, dict(totals), len(done), before,
        time.monotonic() - begun_at, warnings,
    )  # fmt: skip


def _all_skipped(task: Task, place: CountyFolder, done) -> pd.DataFrame:
    """Gather what was set aside, each once, in the order of layers and rows."""
    pq = need("pyarrow.parquet")
    files = [skipped_file(laid) for laid in task.layers.values()]
    files += [place.mark(number).with_suffix(".parquet") for number in done]
    table = pd.concat([pq.read_table(file).to_pandas() for file in files], ignore_index=True)
    order = {name: place for place, name in enumerate(task.layers)}
    table = table.drop_duplicates(ignore_index=True)
    table = table.sort_values(["layer", "source_row"], key=lambda cells: cells.map(order) if cells.name == "layer" else cells, kind="stable", ignore_index=True)  # fmt: skip
    return give_types(table, COUNTY_SKIPPED)


def _parcels_in(skipped: pd.DataFrame) -> pd.DataFrame:
    return skipped[(skipped["layer"] == "parcels").to_numpy(bool)]


def _warnings(task: Task, skipped: pd.DataFrame, totals: Mapping[str, Any]) -> list[str]:
    told = []
    if "buildings" not in task.layers and "windows" not in task.layers:
        told.append("No buildings are given: nobody looks in, and there are rows only.")
    if task.terrain is None:
        told.append("No terrain is given; the ground is taken as level.")
    if task.plan.county.rays:
        told.append(
            f"Each parcel was looked at with about {task.plan.county.rays:,} rays at most, and the column target_spacing_m says how closely; {MEASURED}."
        )
    aside = _parcels_in(skipped).drop_duplicates("source_row")
    if len(aside):
        reason, often = Counter(aside["reason"].astype(str)).most_common(1)[0]
        told.append(
            f"{len(aside)} parcels were set aside, {often} of them because {reason[:1].lower()}{reason[1:]}."
        )
    if not totals["planned"]:
        told.append("No parcel was planned.")
    return told
