"""How a run ends in the terminal: what to order, where it goes, who sees in, what fails, where the files are."""

from __future__ import annotations

from rich.padding import Padding

from screenplan.commandline.printing import (
    console,
    records,
    show_json,
    show_notes,
    show_table,
    text_of,
)
from screenplan.ground.said import in_units

#: What a person opens first of the folder of a run.
TO_OPEN = {
    "report.html": "the plan and the work sheet, for a browser and to print",
    "years.html": "a page to print for each of ten years",
    "quote.html": "the quote for a customer",
    "plan.qgz": "the map, for QGIS",
    "plan.gpkg": "every layer and table, for any GIS",
}


#: Blocks of the report's first screen with which a run ends in the terminal.
ENDS_WITH = ("build", "order", "where", "shared", "closed", "open", "cost")


def show_run(run, written, *, as_json: bool, everything: bool = False) -> None:
    """Show a finished run: what to order, where it goes, who sees in, what fails, where the files are.

    Parameters
    ----------
    run : Run
    written : Path
    as_json : bool
    everything : bool
        Whether the long lists come first: all views, how the rows grow, all checks and notes.
    """
    views, checks = run.layers["views"], run.layers["checks"]
    units = run.plan.plan.units
    if as_json:
        show_json({"folder": str(written), "answer": _answer(run),
                   "views": records(views), "checks": records(checks), "warnings": run.warnings, "fails": run.fails})  # fmt: skip
        return
    if everything:
        _show_tables(run, units)
        print()
        _show_checks(checks, units)
        print()
        show_notes([in_units(note, units) for note in run.warnings])
        print()
    _show_answer(run)
    _show_failing(checks, units, len(run.warnings), everything=everything)
    print()
    console().print(f"Written to {written}:")
    for name, holds in TO_OPEN.items():
        if not (written / name).exists():
            continue
        console().print(f"  {name:<12} {holds}")


def _answer(run) -> dict[str, list[str]]:
    """Give the report's first screen, by its titles."""
    from screenplan.outputs.answer import answer, answer_lines
    from screenplan.running.writing import about_run

    return {block.title: answer_lines(block) for block in answer(run.layers, about_run(run))}


def _show_tables(run, units: str) -> None:
    """Show every view that is open today, and how the rows grow, as the report has them.

    Shares by year are in the report: 80 columns have no room for them.
    """
    from screenplan.outputs.report_tables import tables_of
    from screenplan.outputs.report_views import table_names, views_table

    tables = [views_table(run.layers, (), units, most=None)]
    tables += tables_of(
        "growth", run.layers, units=units, names=table_names(run.layers, run.species_names)
    )
    for table in filter(None, tables):
        heads = [head.text for head in table.headings]
        show_table(
            table.title, heads, table.rows, note=" ".join([table.lead, *table.notes]).strip()
        )
        print()


def _show_answer(run) -> None:
    """Show the report's first screen in short."""
    from screenplan.outputs.answer import answer
    from screenplan.outputs.who_sees import view_counts
    from screenplan.running.writing import about_run

    there, about = console(), about_run(run)
    there.print(about.title or f"Screen on {about.of}", style="bold")
    there.print(view_counts(run.layers["views"], run.layers.get("new_screens")))
    for block in answer(run.layers, about):
        if block.key not in ENDS_WITH:
            continue
        there.print(f"\n{block.title}", style="bold")
        for line in block.lines:
            there.print(Padding(line, (0, 0, 0, 2)))
        if block.table is not None:
            show_table("", [heading.text for heading in block.table.headings], block.table.rows)
        if block.more:
            there.print(Padding(f"{block.more}.", (0, 0, 0, 2)), style="dim")


def _show_failing(checks, units: str, notes: int, *, everything: bool) -> None:
    """Show which checks fail and what they say, how many cannot be judged, and what comes before digging."""
    there, counts = console(), checks["result"].value_counts()
    failing = checks.loc[checks["result"] == "fails"]
    passes, unknown = (int(counts.get(result, 0)) for result in ("passes", "cannot be judged"))
    told = f"{len(failing)} of {len(checks)} fail{'s' * (len(failing) == 1)}, {passes} pass{'es' * (passes == 1)}, {unknown} cannot be judged"
    there.print("\nChecks", style="bold")
    there.print(Padding(told, (0, 0, 0, 2)))
    for row in failing.itertuples():
        needs = f" To mend it: {in_units(row.needs, units)}." if text_of(row.needs) else ""
        there.print(
            Padding(f"FAILS {row.check}: {in_units(row.says, units)}.{needs}", (0, 0, 0, 2))
        )
    for caution in _cautions(checks):
        there.print(Padding(f"Caution: {in_units(caution, units)}.", (0, 0, 0, 2)))
    if not everything:
        some = f" and {notes} notes" if notes > 1 else " and a note" if notes else ""
        there.print(
            Padding(f"With --all come every view, every check{some}.", (0, 0, 0, 2)), style="dim"
        )


def _cautions(checks) -> list[str]:
    return list(
        dict.fromkeys(text_of(caution) for caution in checks["caution"] if text_of(caution))
    )


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
                   [[row.check, in_units(text_of(row.needs), units), in_units(row.says, units)] for row in open_ones.itertuples()])  # fmt: skip
