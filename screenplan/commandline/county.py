"""``screenplan county``: every parcel of a file by one plan."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import click

from screenplan.commandline.arguments import PathArgument

#: Layers with an option of their own.
OWN = ("parcels", "buildings", "roads")
#: Without a terminal a line is written after so many seconds at least.
BETWEEN_S = 30.0
#: A scheduler that has not answered by then is not there, seconds.
ANSWERS_S = 20


def _file_option(name: str, what: str):
    return click.option(f"--{name}", metavar="FILE[:LAYER]", help=what)


@click.command(short_help="Plan every parcel of a file by one plan.")
@click.argument("plan", type=PathArgument())
@_file_option(
    "parcels", "The parcels, in any vector format or GeoParquet; by default those of PLAN."
)
@_file_option("buildings", "The houses around them.")
@_file_option("roads", "The roads around them.")
@click.option(
    "--layer",
    "others",
    multiple=True,
    metavar="NAME=FILE[:LAYER]",
    help="Another layer, such as existing_screens=trees.gpkg. May be repeated.",
)
@click.option(
    "--id-column",
    help="Column of the parcels that holds their identifiers; by default it is guessed.",
)
@click.option(
    "--terrain",
    metavar="FILE",
    type=PathArgument(),
    help="A raster of ground heights; it is read by window.",
)
@click.option(
    "--out",
    required=True,
    type=PathArgument(writes=True),
    help="Folder to write. One that was begun by the same command is gone on with.",
)
@click.option(
    "--workers",
    type=click.IntRange(1, 1024),
    default=1,
    show_default=True,
    help="Processes of this machine.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Or a Dask scheduler whose workers reach the folder under the same path, such as tcp://10.0.0.5:8786.",
)
@click.option(
    "--at-once",
    type=click.IntRange(1, 1_000_000),
    help="Parcels of a partition; it changes no answer.",
)
@click.option("--plants", is_flag=True, help="Write every plant too.")
@click.option("--lines", is_flag=True, help="Write every row's line too.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help='Another value for a key of the plan, such as county.planted=["rear"]. May be repeated.',
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs instead of tables.")
def county(plan, as_json, **given):
    """Plan every parcel of a file by PLAN, whose section [county] says which sides are planted.

    Parcels go in partitions to processes, or to the workers of a scheduler. Each partition is written when it is
    done, so that the same command after an interrupt goes on with what is missing. A parcel that cannot be planned
    is set aside and listed, and stops nothing. Nothing is designed: sides are planted from end to end.

    Exit code 0: all was looked at; 2: an input is wrong; 130: interrupted.
    """  # fmt: skip
    from screenplan.commandline.printing import show_json

    run = run_from(plan, given)
    if as_json:
        show_json(told(run))
    else:
        show_county(run)


def run_from(plan: str, given: Mapping[str, Any]):
    """Run a county by what the command line says."""
    from dataclasses import replace

    from screenplan.county.whole import CountyOptions, run_county
    from screenplan.ground.extras import need

    need("pyarrow")
    layers = layers_from(plan, given)
    settings = list(given["settings"])
    if given["terrain"]:
        from screenplan.plan.text import toml_value

        settings.append(f"terrain.file={toml_value(_absolute(given['terrain']))}")
    options = CountyOptions(
        workers=given["workers"],
        wanted=tuple(name for name in ("lines", "plants") if given[name]),
    )
    if given["at_once"] is not None:
        options = replace(options, at_once=given["at_once"])
    with client_at(given["scheduler"]) as client, progress_of_parcels(sys.stderr) as tell:
        return run_county(
            plan,
            layers=layers,
            out=given["out"],
            settings=settings,
            client=client,
            progress=tell,
            options=options,
        )


def layers_from(plan: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Give the source of each layer that an option names.

    Columns are called as the plan says for a layer of that name; where it says nothing they are guessed, as
    ``start`` does.
    """
    from dataclasses import replace
    from pathlib import Path

    from screenplan.commandline.gathering import split_source
    from screenplan.county.whole import READ
    from screenplan.ground.errors import refuse
    from screenplan.plan import read_plan
    from screenplan.running.inputs import sources_of

    named = {name: given[name] for name in OWN if given[name]}
    for text in given["others"]:
        name, equals, source = text.partition("=")
        if not equals or name not in READ:
            raise refuse(
                f"--layer {text} names no layer that a county reads",
                f"Write NAME=FILE or NAME=FILE:LAYER, NAME one of {', '.join(READ)}",
            )
        named[name] = source
    content, folder = read_plan(plan, given["settings"], named)
    said, found = sources_of(content, folder), {}
    for name, text in named.items():
        file, layer = split_source(text)
        file = Path(_absolute(file))
        if name in said:
            found[name] = replace(said[name], file=file, layer=layer)
            continue
        own = {"parcel_id": given["id_column"]} if name == "parcels" and given["id_column"] else {}
        found[name] = _guess(name, file, layer, own)
    return found


def _guess(name: str, file, layer: str | None, own: Mapping[str, str]):
    from dataclasses import replace

    from screenplan.commandline.guessing import guess_columns, guess_missing
    from screenplan.county.laying import first_rows
    from screenplan.ground.errors import InputError, refuse
    from screenplan.plan import DEFAULTS
    from screenplan.site.composed import is_held
    from screenplan.site.sources import LayerSource

    sample = first_rows(name, LayerSource(file, layer))
    for theirs in own.values():
        if not is_held(theirs, sample.columns):
            raise refuse(
                f"There is no column '{theirs}'",
                f"Name one of {', '.join(map(str, sample.columns)) or 'another file'}",
                file=str(file), layer=layer, key="--id-column",
            )  # fmt: skip
    guess = guess_columns(name, sample, named=own)
    if guess.problems:
        raise InputError(
            [replace(problem, file=str(file), layer=layer) for problem in guess.problems]
        )
    missing = {}
    if name == "buildings":
        storeys = guess_missing(sample, guess, DEFAULTS.site.storey_height)
        missing = {} if storeys is None else {"storeys": storeys}
    for line in guess.said:
        click.echo(f"screenplan: {name.replace('_', ' ')}: {line}.", err=True)
    return LayerSource(file, layer, guess.columns, guess.units, missing=missing)


def _absolute(path) -> str:
    from pathlib import Path

    return str(Path(path).resolve())


@contextmanager
def client_at(address: str | None) -> Iterator[Any]:
    """Hold a client of a scheduler; None without an address."""
    if address is None:
        yield None
        return
    from screenplan.ground.errors import refuse
    from screenplan.ground.extras import need

    distributed = need("distributed")
    try:
        client = distributed.Client(address, timeout=ANSWERS_S)
    except (OSError, ValueError) as error:
        raise refuse(
            f"no scheduler answers at {address} ({type(error).__name__})",
            "Start one (dask scheduler) with workers, or correct the address",
            key="--scheduler",
        ) from None
    with client:
        yield client


@contextmanager
def progress_of_parcels(stream) -> Iterator[Any]:
    """Show how many parcels are planned, how fast, and how long it still takes."""
    pace = Pace()
    if not stream.isatty():
        yield lambda what, done, total: _write_line(stream, pace, what, done, total)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    with Progress(
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[pace]}"),
        console=Console(file=stream), transient=True,
    ) as bar:  # fmt: skip
        task = bar.add_task("starting", pace="")

        def tell(what: str, done: int, total: int) -> None:
            bar.update(
                task,
                description=what,
                completed=done,
                total=total or None,
                pace=pace.told(done, total),
            )

        yield tell


def _write_line(stream, pace: Pace, what: str, done: int, total: int) -> None:
    """Write a line to a file of messages, now and then."""
    text = pace.told(done, total)
    if total and pace.is_due(done == total):
        stream.write(f"{what}: {text}\n")
        stream.flush()


class Pace:
    """How fast parcels are planned in this run; those of an earlier one do not count.

    Parameters
    ----------
    now : callable
        Gives seconds.
    """

    def __init__(self, now=time.monotonic):
        self._now, self._first, self._said = now, None, None

    def told(self, done: int, total: int) -> str:
        """Say how many are planned, how many a second, and how long the others take; empty before there are any.

        Examples
        --------
        Of 1,000 parcels 100 were planned before; 50 more took 10 seconds.

        >>> seconds = iter([0.0, 10.0])
        >>> pace = Pace(lambda: next(seconds))
        >>> pace.told(100, 1000)
        '100 of 1000 parcels'
        >>> pace.told(150, 1000)
        '150 of 1000 parcels, 5 a second, 2 min 50 s left'
        """
        if not total:
            return ""
        now, counted = self._now(), f"{done} of {total} parcels"
        if self._first is None:
            self._first = now, done
            return counted
        since, before = self._first
        if done <= before or now <= since:
            return counted
        rate = (done - before) / (now - since)
        return f"{counted}, {rate:.2g} a second, {_span((total - done) / rate)} left"

    def is_due(self, last: bool) -> bool:
        """Tell whether a line is to be written: now and then, and at the end."""
        now = self._now()
        if self._said is None or last or now - self._said >= BETWEEN_S:
            self._said = now
            return True
        return False


def _span(seconds: float) -> str:
    """Write a time in the two largest units that it has."""
    whole = round(seconds)
    days, hours, minutes = whole // 86_400, whole // 3600 % 24, whole // 60 % 60
    parts = [(days, "d"), (hours, "h"), (minutes, "min"), (whole % 60, "s")]
    first = next((k for k, (count, _) in enumerate(parts) if count), 3)
    return " ".join(f"{count} {unit}" for count, unit in parts[first : first + 2] if count) or "0 s"


def told(run) -> dict[str, Any]:
    """Give what a county came to, as plain values."""
    from screenplan.commandline.printing import records

    return {
        "folder": str(run.folder),
        "parcels": run.parcels,
        "partitions": run.parts,
        "partitions_done_before": run.done_before,
        "totals": run.totals,
        "skipped": records(run.skipped),
        "warnings": run.warnings,
    }


def show_county(run) -> None:
    """Show what a county came to: what is planned, what was set aside and why, where it is."""
    from screenplan.commandline.printing import console, show_notes, show_table

    totals = run.totals
    rows = [
        ["parcels planned", int(totals.get("planned", 0))],
        ["plants", int(totals.get("plants", 0))],
        ["views that are open today", int(totals.get("views_open", 0))],
        *(
            [f"of them closed by year {int(name.removeprefix('closed_y'))}", int(count)]
            for name, count in totals.items()
            if name.startswith("closed_y")
        ),
    ]
    if totals.get("cost"):
        rows.append(["cost of the plants that have a price", f"{totals['cost']:.2f}"])
        rows.append(["plants without a price", int(totals["unpriced"])])
    show_table("The county", ["", "number"], rows)
    if len(run.skipped):
        counted = (
            run.skipped.groupby(["layer", "reason"], sort=False)
            .size()
            .sort_values(ascending=False, kind="stable")
        )
        show_table(
            "Set aside, the most frequent reasons",
            ["layer", "rows", "reason"],
            [[layer, int(count), reason] for (layer, reason), count in list(counted.items())[:8]],
        )
    show_notes(run.warnings)
    if run.done_before:
        console().print(f"{run.done_before} of {run.parts} partitions were done by an earlier run.")
    console().print(
        f"Written to {run.folder}: county.gpkg for a map, county_sides/ for programs, county_skipped.csv, run.json."
    )
