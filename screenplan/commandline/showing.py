"""What the commands print: tables for people, JSON for programs.

Tables go to standard output, progress to standard error; with ``--json`` nothing but JSON is on
standard output.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import pandas as pd
from rich.console import Console
from rich.padding import Padding
from rich.table import Table

from screenplan.ground.datum import is_ground
from screenplan.ground.said import in_units
from screenplan.ground.told_years import (
    all_evidence,
    chance_in_words,
    is_drawn,
    year_range,
    years_of_view,
)
from screenplan.ground.units import format_length

#: What is longer than this is no figure, but a sentence that begins with one.
LONGEST_FIGURE = 20
#: A number and what may follow it, such as a unit; ``9-low`` is a name.
_FIGURE = re.compile(r"[-−]?\d[\d.,]*(%|\s|$)")


def show_table(
    title: str, columns: Sequence[str], rows: Iterable[Sequence[Any]], *, note: str = ""
) -> None:
    """Print a table; numbers stand to the right."""
    console = _console()
    rows = [list(row) for row in rows]
    table = Table(
        title=title or None,
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        header_style="underline",
    )
    widths = _widths(columns, rows, console.width)
    for place, column in enumerate(columns):
        figures = bool(rows) and all(_is_figure(row[place]) for row in rows)
        table.add_column(
            column,
            justify="right" if figures else "left",
            overflow="fold",
            no_wrap=place == 0 and widths is None,
            width=None if widths is None else widths[place],
        )
    for row in rows:
        table.add_row(*(_cell(value) for value in row))
    console.print(table)
    if note:
        console.print(note, style="dim")


def _widths(columns: Sequence[str], rows: Sequence[Sequence[Any]], width: int) -> list[int] | None:
    """Share out the console's width so that no word is broken; None if that cannot be.

    A column of single words, such as identifiers, keeps its whole width, and so does the first one if that
    is at most half of the console; the others are as wide as each other, or as they need.
    """
    held = [[column, *(_cell(row[place]) for row in rows)] for place, column in enumerate(columns)]
    least = [max(len(word) for cell in cells for word in cell.split() or [""]) for cells in held]
    most = [max(len(line) for cell in cells for line in cell.split("\n")) for cells in held]
    room = width - 2 * (len(held) - 1)  # two spaces stand between columns
    if sum(most) <= room:
        return most
    if least and most[0] <= 0.5 * room and most[0] + sum(least[1:]) <= room:
        least[0] = most[0]
    given, level = None, 0
    while (
        sum(shared := [min(max(low, level), high) for low, high in zip(least, most, strict=True)])
        <= room
    ):
        given, level = shared, level + 1
    return given


def show_json(value: Any) -> None:
    """Print JSON that any reader accepts: no NaN, empty values as null."""
    print(json.dumps(value, indent=2, ensure_ascii=False, default=_plain, allow_nan=False))


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give a layer's rows without their geometry, empty values as None."""
    columns = [
        name for name in frame.columns if name != getattr(frame, "_geometry_column_name", None)
    ]
    return [
        {name: _plain_value(row[name]) for name in columns}
        for row in frame[columns].to_dict("records")
    ]


def show_sides(sides, units: str, *, as_json: bool) -> None:
    """Show the sides of a parcel."""
    if as_json:
        show_json(records(sides))
        return
    looked = bool(sides["looked_across"].notna().any())
    columns = ["side", "length", "bearing", "faces", "across it"] + ["of the looks across"] * looked
    rows = []
    for side in sides.itertuples():
        across = (
            f"{side.across_kind} {side.across}" if pd.notna(side.across) and side.across else "–"
        )
        row = [
            side.side_id,
            format_length(side.length_m, units),
            f"{round(side.bearing_deg, 1) % 360:.1f}°",
            f"{round(side.facing_deg, 1) % 360:.1f}°",
            across,
        ]
        rows.append(row + [f"{side.looked_across:.0%}"] * looked)
    show_table("Sides of the parcel, anticlockwise", columns, rows,
               note=f"Bearings are {'from up in the drawing' if is_ground(sides.crs) else 'true'}. Choose sides in the plan: [rows] along = [\"" + str(sides["side_id"].iloc[0]) + "\"]")  # fmt: skip


def show_site(site, units: str, *, replaces: str | None = None, as_json: bool) -> None:
    """Show what was read, repaired and changed, in the plan's units."""
    if as_json:
        show_json({
            "subject": site.subject_id, "layers": {name: len(frame) for name, frame in site.layers.items()},
            "repairs": records(site.repairs), "transformations": site.transformations, "warnings": site.warnings, "replaces": replaces,
        })  # fmt: skip
        return
    show_table(
        f"Read for parcel {site.subject_id}",
        ["layer", "rows"],
        [[name, len(frame)] for name, frame in site.layers.items()],
    )
    if len(site.repairs):
        shown = site.repairs.assign(
            row=["all" if pd.isna(number) else int(number) for number in site.repairs["row"]],
            repair=[in_units(text, units) for text in site.repairs["repair"]],
        )
        show_table("Repaired", list(shown.columns), shown.itertuples(index=False))
    if site.transformations:
        show_table(
            "Changes of coordinates",
            ["layer", "from", "to", "good to"],
            [
                [
                    change["layer"],
                    change["source"],
                    change["target"],
                    "as it is"
                    if change["operation"] == "none"
                    else in_units(_metres(change["accuracy_m"]), units),
                ]
                for change in site.transformations
            ],
        )
    _show_notes([in_units(note, units) for note in site.warnings])


def _metres(accuracy: float | None) -> str:
    return "not known" if accuracy is None else f"{{{accuracy:g} m}}"


#: What a person opens first of the folder of a run.
TO_OPEN = {
    "report.html": "the plan and the work sheet, for a browser and to print",
    "plan.qgz": "the map, for QGIS",
    "plan.gpkg": "every layer and table, for any GIS",
}


#: Blocks of the report's first screen with which a run ends in the terminal.
ENDS_WITH = ("order", "where", "closed", "open", "cost")


def show_run(run, written, *, as_json: bool, everything: bool = False) -> None:
    """Show a finished run: what to order, where it goes, who sees in, what fails, where the files are.

    Parameters
    ----------
    run : Run
    written : Path
    as_json : bool
    everything : bool
        Whether the long lists come first: the summary, all views, all checks and notes.
    """
    views, checks = run.layers["views"], run.layers["checks"]
    units = run.plan.plan.units
    if as_json or everything:
        from screenplan.outputs.summary import summarise

        layers = {name: layer for name, layer in run.layers.items() if name != "checks"}
        rows = summarise(layers, units=units, names=run.species_names)
    if as_json:
        show_json({"folder": str(written), "summary": dict(rows),
                   "views": records(views), "checks": records(checks), "warnings": run.warnings, "fails": run.fails})  # fmt: skip
        return
    if everything:
        show_table("Summary", ["", ""], rows)
        if len(views):
            print()
            show_views(views, run.plan.growth.show_years)
        print()
        _show_checks(checks, units)
        print()
        _show_notes([in_units(note, units) for note in run.warnings])
        print()
    _show_answer(run)
    _show_failing(checks, units, len(run.warnings), everything=everything)
    print()
    _console().print(f"Written to {written}:")
    for name, holds in TO_OPEN.items():
        _console().print(f"  {name:<12} {holds}")


def _show_answer(run) -> None:
    """Show the report's first screen in short."""
    from screenplan.outputs.answer import answer, headline
    from screenplan.running.writing import about_run

    console, about = _console(), about_run(run)
    console.print(about.title or f"Screen on parcel {about.subject}", style="bold")
    console.print(headline(run.layers))
    for block in answer(run.layers, about):
        if block.key not in ENDS_WITH:
            continue
        console.print(f"\n{block.title}", style="bold")
        for line in block.lines:
            console.print(Padding(line, (0, 0, 0, 2)))
        if block.table is not None:
            show_table("", [heading.text for heading in block.table.headings], block.table.rows)
        if block.more:
            console.print(Padding(f"{block.more}.", (0, 0, 0, 2)), style="dim")


def _show_failing(checks, units: str, notes: int, *, everything: bool) -> None:
    """Show which checks fail and what they say, how many cannot be judged, and what comes before digging."""
    console, counts = _console(), checks["result"].value_counts()
    failing = checks.loc[checks["result"] == "fails"]
    passes, unknown = (int(counts.get(result, 0)) for result in ("passes", "cannot be judged"))
    told = f"{len(failing)} of {len(checks)} fail{'s' * (len(failing) == 1)}, {passes} pass{'es' * (passes == 1)}, {unknown} cannot be judged"
    console.print("\nChecks", style="bold")
    console.print(Padding(told, (0, 0, 0, 2)))
    for row in failing.itertuples():
        console.print(Padding(f"FAILS {row.check}: {in_units(row.says, units)}", (0, 0, 0, 2)))
    for caution in _cautions(checks):
        console.print(Padding(f"Caution: {in_units(caution, units)}.", (0, 0, 0, 2)))
    if not everything:
        some = f" and {notes} notes" if notes > 1 else " and a note" if notes else ""
        console.print(
            Padding(f"With --all come every view, every check{some}.", (0, 0, 0, 2)), style="dim"
        )


def _cautions(checks) -> list[str]:
    return list(dict.fromkeys(_text(caution) for caution in checks["caution"] if _text(caution)))


def _show_checks(checks, units: str) -> None:
    """Show what fails first, then what passes, then what would be needed to judge the rest."""
    ranked = [("fails", "FAILS"), ("passes", "passes")]
    rows = [
        [row.check, mark, in_units(row.says, units)]
        for result, mark in ranked
        for row in checks.itertuples()
        if row.result == result
    ]
    show_table("Checks", ["check", "result", "finding"], rows)
    open_ones = checks.loc[checks["result"] == "cannot be judged"]
    if len(open_ones):
        print()
        show_table("Cannot be judged", ["check", "needs", "what is known"],
                   [[row.check, in_units(_text(row.needs), units), in_units(row.says, units)] for row in open_ones.itertuples()])  # fmt: skip


def show_views(views, show_years: Sequence[int], most: int = 30) -> None:
    """Show the views that are open today, the ones that stay open longest first."""
    from screenplan.contracts import year_column
    from screenplan.contracts.apart import tell_set_apart

    open_today = views.loc[views["status"].isin(["closes", "stays open"])]
    ranked = open_today.sort_values(
        ["year_closed", "open_now"], ascending=[False, False], na_position="first"
    )
    years = [year for year in show_years if year_column("open", year) in views and year > 0][:4]
    drawn = len(ranked) and is_drawn(ranked.iloc[0])
    by = []
    if drawn:
        asked = int(ranked["chance_year"].iloc[0])
        # On 80 columns there is room for one year beside the chance.
        years = [year for year in years if year >= asked][:1] or years[-1:]
        by = [f"by year {asked}"]
    rows = [
        [
            view["window_id"],
            view["place_id"],
            f"{view['open_now']:.0%}",
            *(f"{view[year_column('open', year)]:.0%}" for year in years),
            _span(view),
            *([chance_in_words(view["chance"])] if by else []),
        ]
        for _, view in ranked.head(most).iterrows()
    ]
    shut = int((views["status"] == "closed already").sum())
    none = int((views["status"] == "no view").sum())
    notes = [f"{shut} more are closed already by what stands there"] * (shut > 0)
    notes += [f"from {none} windows the place cannot be seen at all"] * (none > 0)
    note = f"{'; '.join(notes).capitalize()}." if notes else ""
    if apart := tell_set_apart(open_today):
        note += f" Of those that are open today {apart}."
    if len(ranked) > most:
        note = f"{len(ranked) - most} more views are in the layer views. " + note
    evidence = all_evidence(ranked["evidence"]) if "evidence" in ranked else ""
    if evidence:
        note += f" Growth: {evidence}."
    show_table(
        "Views open today: share open, typical growth",
        ["window", "place", "now", *(f"year {year}" for year in years), "closed in year", *by],
        rows,
        note=note.strip(),
    )


def show_layers(layers: Mapping[str, Any], *, as_json: bool) -> None:
    """Show what one step gave."""
    if as_json:
        show_json({name: records(frame) for name, frame in layers.items()})
        return
    show_table("Written", ["layer", "rows"], [[name, len(frame)] for name, frame in layers.items()])


def show_export(exported, *, as_json: bool) -> None:
    """Print the layers that were written in another format, and what it does not keep."""
    if as_json:
        show_json(
            {
                "folder": str(exported.folder),
                "layers": exported.rows,
                "losses": list(exported.losses),
                "replaced": exported.replaced,
            }
        )
        return
    show_table("Layers", ["layer", "rows"], exported.rows.items())
    _console().print("\nThese files do not keep everything:", style="bold")
    for sentence in exported.losses:
        _console().print(f"- {sentence}", highlight=False)
    _console().print(f"\nWritten: {exported.folder}", highlight=False)
    if exported.replaced is not None:
        _console().print(f"Note: {exported.replaced}.")


def show_steps(name: str | None, *, as_json: bool) -> None:
    """Show the steps, or one of them."""
    from screenplan.plan import key_field
    from screenplan.plan.text import default_text, range_text
    from screenplan.running.steps import STEPS

    if as_json:
        chosen = STEPS.values() if name is None else [STEPS[name]]
        show_json([{"step": step.name, "does": step.does, "needs": step.needs, "takes": step.takes, "gives": step.gives,
                    "parameters": {key: key_field(key).description for key in step.keys}} for step in chosen])  # fmt: skip
    elif name is None:
        show_table(
            "Steps, in the order in which they run",
            ["step", "does", "gives"],
            [[step.name, step.does, ", ".join(step.gives)] for step in STEPS.values()],
        )
    else:
        step = STEPS[name]
        show_table(
            f"{step.name}: {step.does}",
            ["layers", ""],
            [
                ["needs", ", ".join(step.needs)],
                ["takes", ", ".join(step.takes) or "–"],
                ["gives", ", ".join(step.gives)],
            ],
        )
        if step.keys:
            show_table("Keys of the plan that it uses", ["key", "default", "what it is"],
                       [[key, default_text(key) or "–", key_field(key).description + range_text(key)] for key in step.keys])  # fmt: skip


def show_processes(
    name: str | None, folder: str | None, server: str | None, *, as_json: bool
) -> None:
    """Print a process description or the list of them, and write what is asked for."""
    from screenplan.processes import describe_process, list_processes, write_processes
    from screenplan.processes.configuration import write_configuration
    from screenplan.running.steps import STEPS

    written = []
    if folder is not None:
        written.append(f"{len(write_processes(folder))} descriptions: {folder}")
    if server is not None:
        written.append(f"Configuration of a server: {write_configuration(server)}")
    if written:
        for line in written:
            _console().print(line, highlight=False)
    elif name is not None:
        show_json(describe_process(name))
    elif as_json:
        show_json(list_processes())
    else:
        note = "Layers are GeoJSON in WGS 84. 'screenplan processes STEP' shows a description."
        rows = [(step.name, step.does) for step in STEPS.values()]
        show_table("Processes", ["id", "what it does"], rows, note=note)


def show_keys(*, as_json: bool) -> None:
    """Show every key of a plan file."""
    from screenplan.plan import SECTIONS, TAPE_TABLES, Ground, LayerSource
    from screenplan.plan.text import default_text, range_text

    rows = [(f"{table}.{key}", "", field.description)
            for table, model in (("layers.NAME", LayerSource), ("terrain", Ground), *TAPE_TABLES.items()) for key, field in model.model_fields.items()]  # fmt: skip
    rows += [(f"{section}.{key}", default_text(f"{section}.{key}"), field.description + range_text(f"{section}.{key}"))
            for section, model in SECTIONS.items() for key, field in model.model_fields.items()]  # fmt: skip
    if as_json:
        show_json(
            [{"key": key, "default": default or None, "help": text} for key, default, text in rows]
        )
    else:
        show_table(
            "Keys of a plan file",
            ["key", "default", "what it is"],
            [[key, default or "–", text] for key, default, text in rows],
        )


@contextmanager
def progress_bar(stream):
    """Show the steps of a run as they go; gives the function to call before each."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=stream)
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    ) as bar:
        task = bar.add_task("starting")

        def tell(name: str, number: int, total: int) -> None:
            bar.update(task, description=name, completed=number - 1, total=total)

        yield tell


def _show_notes(notes: Iterable[str]) -> None:
    for note in notes:
        _console().print(f"Note: {note[0].upper()}{note[1:].rstrip('.')}.")


def _console() -> Console:
    return Console(markup=False, highlight=False)


def _span(view) -> str:
    """Say a year of closing with its range."""
    years = years_of_view(view)
    return "stays open" if all(year is None for year in years) else year_range(years)


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else value


def _is_figure(value: Any) -> bool:
    text = _cell(value)
    return text in ("", "–") or (len(text) <= LONGEST_FIGURE and bool(_FIGURE.match(text)))


def _cell(value: Any) -> str:
    if value is None or (not isinstance(value, (str, list, tuple, dict)) and pd.isna(value)):
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _plain_value(value: Any) -> Any:
    if value is None or (not isinstance(value, (list, tuple, dict)) and pd.isna(value)):
        return None
    return value.item() if hasattr(value, "item") else value


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else str(value)
