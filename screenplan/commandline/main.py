"""The command line: thin commands over the steps, the plan and the pipeline.

Nothing heavy is imported before a command runs, so that ``--help`` answers at once.
"""

from __future__ import annotations

import gc
import os
import sys
from typing import Any

import click

from screenplan._version import __version__
from screenplan.commandline.arguments import PathArgument
from screenplan.commandline.county import county
from screenplan.commandline.exit_codes import (
    EXIT_FAILS,
    EXIT_INPUT,
    EXIT_INTERRUPTED,
    EXIT_OURS,
    EXIT_UNREAD,
)
from screenplan.commandline.toolbox import desktop
from screenplan.ground.errors import InputError
from screenplan.running.steps import STEPS

#: New objects before Python looks for cycles among them, during a run; 700 otherwise.
FEW_COLLECTIONS = 50_000


class _Commands(click.Group):
    """Commands in the order in which a person needs them, and errors without a traceback."""

    def list_commands(self, ctx):  # noqa: ARG002
        return list(self.commands)

    def invoke(self, ctx):
        try:
            return super().invoke(ctx)
        except InputError as error:
            for line in error.said:
                click.echo(f"screenplan: {line}", err=True)
            ctx.exit(EXIT_INPUT)
        except BrokenPipeError:
            # Such as head, which has read enough: what is still to be flushed goes nowhere.
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            ctx.exit(EXIT_UNREAD)

    def main(self, *args: Any, standalone_mode: bool = True, **extra: Any) -> Any:
        """Run a command, and end with the exit code that says how it ended."""
        if not standalone_mode:
            # Of the modes click types one each: here it may be given among the others.
            return super().main(*args, standalone_mode=False, **extra)  # type: ignore[call-overload]
        try:
            code = super().main(*args, standalone_mode=False, **extra)  # type: ignore[call-overload]
        except click.ClickException as error:
            error.show()
            code = EXIT_INPUT
        except (click.Abort, KeyboardInterrupt):
            click.echo("screenplan: interrupted", err=True)
            code = EXIT_INTERRUPTED
        except Exception as error:
            from screenplan.commandline.failure import explain_failure

            for line in explain_failure(error):
                click.echo(line, err=True)
            code = EXIT_OURS
        sys.exit(code if isinstance(code, int) else 0)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="screenplan %(version)s")
def main():
    """Plan a living screen along a boundary: where plants may stand, which views they close, when.

    Begin with 'screenplan demo' to see a plan, or with 'screenplan start' to make your own.
    """


_PLAN = click.argument("plan", type=PathArgument())
_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON for programs instead of tables."
)
_ALL = click.option(
    "--all", "everything", is_flag=True, help="Show every view, check and note before the answer."
)
_OUT = click.option(
    "--out",
    type=PathArgument(writes=True),
    help="Folder to write; by default one named after the plan, beside it.",
)


_SET = click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help='Another value for a key of the plan, such as rows.spacing="2.2 m" or rows.offset="7 ft". May be repeated.',
)


_IDS = click.option(
    "--ids",
    metavar="ID,ID…",
    help="Lots that are planned together in place of the plan's own: boundaries that two of them share are planted once.",
)


@main.command(short_help="Make a commented plan file from what you have.")
@click.argument("target", required=False, type=PathArgument(writes=True))
@click.option(
    "--layer",
    "layers",
    multiple=True,
    metavar="NAME=FILE[:LAYER]",
    help="A layer that you have, such as parcels=county.gpkg:lots; of a drawing its own layer, of a list of points a code: parcels=survey.dxf:LOTS, marks=points.txt:PIN. May be repeated.",
)
@click.option("--terrain", metavar="FILE", help="A raster of ground heights.")
@click.option(
    "--crs",
    "systems",
    multiple=True,
    metavar="NAME=CRS",
    help="Reference system of a layer or of the terrain whose file states none or a wrong one: a code "
    'such as EPSG:2249, WKT, or "as" and the name of another layer. May be repeated.',
)
@click.option("--id", "subject_id", help="Identifier of the parcel to plan.")
@click.option("--id-column", help="Column of the parcels that holds it; by default it is guessed.")
@click.option("--point", nargs=2, type=float, metavar="LON LAT", help="Or a point in it.")
@click.option(
    "--track",
    metavar="FILE",
    help="A GPS track round the parcel, or along the row if it does not close.",
)
@click.option(
    "--corners",
    metavar="CSV",
    help="Corners in order: columns lon, lat or x, y; or a surveyor's list of points: number, north, east, height, code. With --crs parcels=CODE they lie in that system.",
)
@click.option("--courses", metavar="CSV", help="A survey's courses: columns bearing, distance.")
@click.option("--length", metavar="LENGTH", help='Just the length of the row, such as "120 ft".')
@click.option(
    "--at",
    nargs=2,
    type=float,
    metavar="LON LAT",
    help="Where on earth corners in metres, courses or a length begin.",
)
@click.option(
    "--bearing",
    metavar="DEGREES",
    help='In which direction a length runs from its zero peg: degrees from true north, "N 45 E" or NE.',
)
@click.option(
    "--garden",
    type=click.Choice(["left", "right"]),
    help="Which side of a length is the garden's, as seen from the zero peg; by default the right.",
)
@click.option(
    "--hide",
    "hidden",
    multiple=True,
    metavar="NAME,FAR,…",
    help='What is to be hidden beside a length: name, how far from the line, and if you like how far along, how wide, how deep: "terrace, 4 m, 15 m, 4 m, 3 m". May be repeated.',
)
@click.option(
    "--window",
    "windows",
    multiple=True,
    metavar="NAME,FAR,…",
    help='A window that looks over a length: name, how far beyond the line, how far along it, sill, head, and how much higher its ground is: "No. 9 bedroom, 15 m, 12 m, 3.5 m, 4.7 m, 0 m". May be repeated.',
)
@click.option("--species", metavar="KEY[,KEY…]", help="What is planted; several for a mixed row.")
@click.option("--planting", metavar="DATE", help="Day of planting, such as 2027-04-10.")
@click.option("--plants", type=int, help="Plants that you have at hand.")
@click.option(
    "--budget",
    metavar="MONEY,PRICE,HEIGHT",
    help='Money for plants, the price of one, and how tall it is at that price: "600, 12.50, 0.6 m".',
)
@click.option(
    "--unit", default="m", show_default=True, help="Unit of x, y and distances in a CSV file."
)
@click.option("--us", is_flag=True, help="Show lengths in feet.")
@click.option("--force", is_flag=True, help="Replace the plan file if it is there.")
def start(target, us, force, **given):
    """Make a plan file TARGET from the layers, track, corners or courses that you have, or of a line.

    Without options it asks, in a terminal, for what a plan of a line needs: ten questions at most. What
    cannot be judged from what is given is listed; the rest of the plan works without it.

    Exit code 0: the plan can be checked; 2: an input is wrong. If it is one that is mended in the
    plan file, the file is written all the same.
    """
    from screenplan.commandline.gathering import Given
    from screenplan.commandline.starting import start_plan

    made = Given(**given)
    if made == Given(layers=(), systems=(), hidden=(), windows=()):
        target, made = _ask(target, us, force)
    elif target is None:
        raise click.UsageError("Name the plan file to write, such as hedge.toml")
    ask = _ask_which if sys.stdin.isatty() else None
    started = start_plan(target, made, us=us, force=force, ask=ask)
    for line in started.said:
        click.echo(line)
    if started.problems:
        raise InputError(started.problems)


def _ask_which(question, options):
    """Ask which of a file's columns is meant."""
    click.echo(question)
    return click.prompt("Which one", type=click.Choice(list(options)))


def _ask(target, us, force):
    """Ask for what a plan of a line needs; without a terminal that is refused."""
    from screenplan.commandline.asking import EndedError, ask_for_plan
    from screenplan.ground.errors import refuse

    if not sys.stdin.isatty():
        raise refuse(
            "there is no parcel and no row, and no terminal in which to ask for them",
            "Give --layer parcels=FILE, --corners, --courses, --track or --length",
            file=target,
        )
    try:
        return ask_for_plan(target, us=us, force=force)
    except EndedError:
        click.echo("screenplan: ended, and nothing was written", err=True)
        click.get_current_context().exit(EXIT_INTERRUPTED)


@main.command(short_help="List the sides of a parcel, to choose those to plant.")
@click.argument("source", metavar="PLAN|FILE[:LAYER]")
@click.option("--id", "subject_id", help="Identifier of the parcel.")
@click.option("--id-column", help="Column that holds it; by default parcel_id, or the only one.")
@click.option(
    "--crs", help="Reference system of the parcels, if the file states none or a wrong one."
)
@click.option("--point", nargs=2, type=float, metavar="LON LAT", help="Or a point in the parcel.")
@click.option("--us", is_flag=True, help="Show lengths in feet.")
@_JSON
def sides(source, as_json, **options):
    """List the sides of the parcel in a plan, or in a file of parcels."""
    from screenplan.commandline.listing_sides import sides_of
    from screenplan.commandline.showing import show_sides

    frame, units = sides_of(source, **options)
    show_sides(frame, units, as_json=as_json)


@main.command(short_help="Read and check the inputs of a plan.")
@_PLAN
@_IDS
@_OUT
@_SET
@_JSON
def check(plan, ids, out, settings, as_json):
    """Read the layers of PLAN, and list what was repaired, changed or may be wrong.

    What 'run' would refuse is refused here too, without its long computations.

    Exit code 0: it can be run; 2: the input is wrong.
    """
    from screenplan.commandline.checking import check_plan_file

    check_plan_file(plan, out, _with_ids(settings, ids), as_json=as_json)


@main.command(short_help="Run a plan and write its layers.")
@_PLAN
@_IDS
@_OUT
@_SET
@_ALL
@_JSON
@click.pass_context
def run(ctx, plan, ids, out, settings, everything, as_json):
    """Run PLAN and write its layers, tables and record.

    With --ids several lots are one plan, a street: one order, one calendar and one stake-out, costs by lot.
    Who plants a boundary that two of them share is said in the section street of PLAN.

    Exit code 0: every check that can be judged passes; 1: one fails; 2: the input is wrong; 70: an
    error of screenplan; 130: interrupted.
    """
    _run(ctx, plan, out, _with_ids(settings, ids), everything=everything, as_json=as_json)


def _with_ids(settings, ids):
    """Give the settings with the lots that were named as one more."""
    import json

    if ids is None:
        return settings
    names = [name.strip() for name in ids.split(",") if name.strip()]
    if not names:
        raise click.UsageError("--ids names no lot: write identifiers of parcels, such as 12,14,16")
    return (*settings, f"subject.ids={json.dumps(names, ensure_ascii=False)}")


@main.command(short_help="Write a run's layers as Shapefile, FlatGeobuf, GeoParquet or KML.")
@click.argument("folder", type=PathArgument())
@click.option(
    "--as",
    "form",
    required=True,
    type=click.Choice(["shapefile", "flatgeobuf", "geoparquet", "kml"]),
    help="The format.",
)
@click.option(
    "--out",
    type=PathArgument(writes=True),
    help="Folder to write; by default FOLDER_shapefile and so on, beside it.",
)
@click.option(
    "--layer", "names", multiple=True, metavar="NAME", help="Only this layer. May be repeated."
)
@_JSON
def export(folder, form, out, names, as_json):
    """Write the layers of FOLDER, which a run wrote, for programs that read no GeoPackage.

    What these formats do not keep is listed, and written beside the layers. Tables without
    geometry are written as CSV.
    """
    from screenplan.commandline.showing import show_export
    from screenplan.running.exporting import export_run

    show_export(export_run(folder, form, out, names=names), as_json=as_json)


@main.command(short_help="Run one step.")
@click.argument("name", metavar="STEP", type=click.Choice(list(STEPS)))
@_PLAN
@_SET
@click.option(
    "--in",
    "replaced",
    multiple=True,
    metavar="NAME=FILE[:LAYER]",
    help="Another file for an input layer. May be repeated.",
)
@click.option(
    "--out",
    required=True,
    type=PathArgument(writes=True),
    help="File to write: .gpkg, .geojson or .csv.",
)
@_JSON
def step(name, plan, settings, replaced, out, as_json):
    """Run STEP of PLAN on the layers that an earlier run of it wrote.

    Layers that the run did not write are read anew; --in takes a layer from elsewhere.
    """
    from screenplan.commandline.showing import show_layers
    from screenplan.commandline.single import run_single

    show_layers(run_single(name, plan, settings, replaced, out), as_json=as_json)


@main.command(short_help="List the steps, or the parameters of one.")
@click.argument("name", metavar="[STEP]", required=False, type=click.Choice(list(STEPS)))
@_JSON
def steps(name, as_json):
    """List the steps, or the layers and parameters of STEP."""
    from screenplan.commandline.showing import show_steps

    show_steps(name, as_json=as_json)


@main.command(short_help="Describe the steps as processes of a geoprocessing server.")
@click.argument("name", metavar="[STEP]", required=False, type=click.Choice(list(STEPS)))
@click.option(
    "--out", type=PathArgument(writes=True), help="Folder to write every description to, as JSON."
)
@click.option(
    "--server",
    type=PathArgument(writes=True),
    help="File to write the configuration of a pygeoapi server to.",
)
@_JSON
def processes(name, out, server, as_json):
    """Describe the steps by OGC API - Processes, part 1: list them, or show STEP as JSON.

    A server that offers them needs pygeoapi beside screenplan; see screenplan/processes/server.py.
    """
    from screenplan.commandline.showing import show_processes

    show_processes(name, out, server, as_json=as_json)


@main.command(short_help="List the species table.")
@click.option("--us", is_flag=True, help="Show lengths in feet.")
@click.option(
    "--zone", type=click.IntRange(1, 13), help="Only species that are hardy in this zone."
)
@click.option(
    "--height",
    metavar="LENGTH",
    help="Only species whose row closes up to this height, such as '3 m'; by default told up to 1.8 m.",
)
@_JSON
def species(us, zone, height, as_json):
    """List the species that a plan can name: size by year, when a row of them closes, what they stand."""
    from screenplan.commandline.species_list import show_species

    show_species("us" if us else "metric", zone=zone, height=height, as_json=as_json)


@main.command(short_help="List the rules and limits, and which apply to a plan.")
@click.argument("plan", required=False, type=PathArgument())
@click.option(
    "--file",
    "files",
    multiple=True,
    type=PathArgument(),
    help="A rule file of setbacks or limits to try by itself. May be repeated.",
)
@click.option("--all", "every", is_flag=True, help="List those too that do not apply.")
@click.option("--laws", is_flag=True, help="List the laws of places that a plan can name.")
@click.option(
    "--law",
    metavar="NAME",
    help="List what the law of that place says, with its articles and what to ask there.",
)
@click.option("--us", is_flag=True, help='Show lengths in feet, as a plan with units = "us" does.')
@_JSON
def rules(plan, files, every, laws, law, us, as_json):
    """List the rules and limits that apply to PLAN and why; without a plan all of them, and the laws of places.

    With --file a rule file is read by itself, and what is wrong in it is listed.
    """
    from screenplan.commandline.laws_list import show_law, show_laws
    from screenplan.commandline.ruling import show_rules
    from screenplan.ground.errors import refuse

    if (laws or law is not None) and (plan is not None or files):
        raise refuse(
            "a law is listed by itself",
            "Leave the plan and the rule files out; a plan names a law in [setbacks] law",
        )
    if law is not None:
        show_law(law, us=us, as_json=as_json)
        return
    if laws:
        show_laws(us=us, as_json=as_json)
        return
    show_rules(plan, files, every=every, us=us, as_json=as_json)


@main.command(short_help="List the keys of a plan file.")
@_JSON
def keys(as_json):
    """List every key of a plan file with its default and range."""
    from screenplan.commandline.showing import show_keys

    show_keys(as_json=as_json)


@main.command(short_help="Design a planting for the sample site.")
@click.option(
    "--out",
    type=PathArgument(writes=True),
    default="demo_plan",
    show_default=True,
    help="Folder to write.",
)
@_ALL
@_JSON
@click.pass_context
def demo(ctx, out, everything, as_json):
    """Design a planting for the invented site that comes with screenplan, and write its layers."""
    from screenplan.commandline.sample import demo_plan

    _run(ctx, demo_plan(), out, everything=everything, as_json=as_json)


main.add_command(county)
main.add_command(desktop)


def _run(ctx, plan, out, settings=(), *, everything, as_json):
    # The layers of a run hold few cycles; looking for them at Python's own pace takes a twelfth of it.
    gc.set_threshold(FEW_COLLECTIONS)
    from screenplan.plan import read_plan
    from screenplan.running.writing import default_folder, open_folder, write_run

    content, folder = read_plan(plan, settings)
    with open_folder(default_folder(plan) if out is None else out) as target:
        from screenplan.commandline.ending import show_run
        from screenplan.commandline.printing import progress_bar

        if (replaced := target.replaces) is not None:
            click.echo(f"screenplan: {target.shown}: {replaced}.", err=True)
        from screenplan.running.pipeline import run_plan

        with progress_bar(sys.stderr) as tell:
            finished = run_plan(content, folder, progress=tell)
        written = write_run(finished, target)
    show_run(finished, written, as_json=as_json, everything=everything)
    ctx.exit(EXIT_FAILS if finished.fails else 0)


if __name__ == "__main__":
    main()
