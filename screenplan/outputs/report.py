"""The work sheet: one HTML file with drawings, stake-out, quantities, calendar, cautions, sources.

It needs nothing but itself: no network, no fonts, no other file. A policy in its head forbids it
to load anything and to run any script but its own. Every text from a layer is escaped.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from screenplan._version import __version__
from screenplan.contracts.findings import FAILS, PASSES, UNKNOWN
from screenplan.contracts.presentation import WORK, Part
from screenplan.contracts.tables import records_of
from screenplan.ground.said import in_units
from screenplan.ground.units import format_length
from screenplan.outputs.answer import answer
from screenplan.outputs.drawings.style import clean, year_words
from screenplan.outputs.report_cells import LONGEST_TEXT, text_of
from screenplan.outputs.report_choices import make_choices
from screenplan.outputs.report_figures import make_figures
from screenplan.outputs.report_repeats import not_said, say_once
from screenplan.outputs.report_tables import Table, plain_table, stakes_by_line, tables_of
from screenplan.outputs.report_views import table_names, views_table, year_sentences
from screenplan.outputs.who_sees import view_counts

REPORT_NAME = "report.html"
#: So many open views are printed, as the style of the print says too.
MOST_PRINTED = 24
#: Tables of so many rows are kept on one page of paper where they fit one.
MOST_TOGETHER = 40
#: The year that the page shows first, or the nearest one that is drawn.
FIRST_SHOWN = 5


@dataclass(frozen=True)
class About:
    """What the report says of the plan besides its layers; all of it plain data.

    Parameters
    ----------
    title : str
    subject : str
        Identifier of the parcel, of a street those of its lots; empty if only the row is known.
    lots : int
        How many lots are planned.
    units : {"metric", "us"}
    names : mapping of str to str
        What the keys of species stand for.
    species : sequence of mapping
        ``key``, ``name``, ``facts`` (text) and ``sources`` (mapping of text to text) of each.
    assumptions : sequence of (str, str)
        What was assumed, and its value, in words.
    inputs, transformations, repairs : sequence of mapping
        As in ``run.json``.
    warnings : sequence of str
    """

    title: str = ""
    subject: str = ""
    units: str = "metric"
    names: Mapping[str, str] = field(default_factory=dict)
    species: Sequence[Mapping] = ()
    assumptions: Sequence[tuple[str, str]] = ()
    inputs: Sequence[Mapping] = ()
    transformations: Sequence[Mapping] = ()
    repairs: Sequence[Mapping] = ()
    warnings: Sequence[str] = field(default=())
    lots: int = 1

    @property
    def of(self) -> str:
        """What is planned: the parcel, or the lots of a street; nothing if only the row is known."""
        return (
            f"{'parcel' if self.lots == 1 else 'lots'} {clean(self.subject)}"
            if self.subject
            else ""
        )


def write_report(layers: Mapping[str, Any], path: str | Path, about: About) -> Path:
    """Write the report of a run.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, inputs included, in the local frame.
    path : path
        The file.
    about : About

    Returns
    -------
    Path
    """
    path = Path(path)
    path.write_text(make_report(layers, about), encoding="utf-8", newline="\n")
    return path


def make_report(layers: Mapping[str, Any], about: About) -> str:
    """Give the report of a run as HTML; the same layers give the same text."""
    from markupsafe import Markup

    script = template("report.js")
    years = _years(layers)
    shown = min(years, key=lambda year: abs(year - FIRST_SHOWN)) if years else 0
    figures = make_figures(layers, years=years, shown=shown, units=about.units)

    shown_once = {**layers, "quantities": _without_cautions(layers)}
    names = table_names(layers, about.names)

    def tables(part: Part) -> list[Table]:
        return tables_of(part, shown_once, units=about.units, names=names)

    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    title = clean(about.title, 120) or (f"Screen on {about.of}" if about.subject else "Screen")
    stakes = stakes_by_line(next(iter(tables("stakes")), None))
    checks, passed = _checks(layers.get("checks"), about.units)
    work = {key: _work_tables(key, tables, stakes, checks) for key in WORK_WORDS}
    once = iter(say_once([table for found in work.values() for table in found]))
    work = {key: [next(once) for _ in found] for key, found in work.items()}
    growth = tables("growth")
    blocks = answer(layers, about)
    first = {line for block in blocks for line in block.lines}
    notes = (clean(in_units(note, about.units), LONGEST_TEXT) for note in about.warnings)
    return environment().get_template("report.html.jinja").render(
        title=title,
        subject=about.of,
        most_together=MOST_TOGETHER,
        most_printed=MOST_PRINTED,
        version=__version__,
        style=Markup(template("report.css") + _running_title(title)),
        script=Markup(script),
        digest=digest,
        headline=view_counts(layers.get("views"), layers.get("new_screens")),
        blocks=blocks,
        years=[(year, year_words(year)) for year in years],
        shown=shown,
        sentences=year_sentences(layers, years, about.units) if years else {},
        figures=figures,
        svg=Markup,
        views=views_table(layers, years, about.units),
        work=[(key, WORK_WORDS[key], found) for key, found in work.items() if found],
        choices=make_choices(
            layers, years=years, shown=shown, units=about.units, names=about.names
        ),
        choice_tables=tables("choices"),
        effects=say_once(tables("effects")),
        growth=growth,
        cost=tables("cost"),
        sources=[
            t
            for t in (
                *(tables("sources") or (_rules(layers.get("no_plant_zones"), about.units),)),
                _species(about.species, about.units),
                plain_table("assumptions", "Assumptions", ("what", "value"), about.assumptions),
                *_inputs(about),
                passed,
            )
            if t
        ],
        notes=not_said((note for note in notes if note not in first), growth),
    )  # fmt: skip


#: What the parts of the work are called, in their order.
WORK_WORDS = {key: key.capitalize().replace("-", " ") for key in WORK}


def _work_tables(part: Part, tables, stakes, checks) -> list[Table]:
    """Give the tables of a part of the work; the stakes stand with their tapes, the checks come last."""
    if part == "stake-out":
        return [*tables(part), *tables("setting"), *stakes, *tables("proofs")]
    return [*tables(part), *(checks if part == "check" else [])]


def _running_title(title: str) -> str:
    """Write the rule that prints the plan's name at the foot of each page: a text of CSS, whatever it holds."""
    text = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in title)
    return f'@page {{ @bottom-left {{ content: "{text}"; }} }}\n'


def _without_cautions(layers):
    """Give the quantities without the cautions that stand at their tasks in the calendar."""
    quantities, schedule = layers.get("quantities"), layers.get("schedule")
    if quantities is None or schedule is None:
        return quantities
    told = quantities["caution"].isin(schedule["caution"].dropna())
    return quantities.assign(caution=quantities["caution"].mask(told))


def _years(layers) -> list[int]:
    crowns = layers.get("crowns")
    return [] if crowns is None else sorted(int(year) for year in crowns["year"].unique())


def environment():
    """Give the environment in which the templates of pages are filled: every text is escaped."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FunctionLoader(template),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def template(name: str) -> str:
    """Give the text of a file among the templates."""
    return resources.files("screenplan.outputs").joinpath("templates", name).read_text("utf-8")


def _checks(checks, units: str) -> tuple[list[Table], Table | None]:
    """Lay out what fails, what could not be judged, and apart from them what passes."""
    if checks is None:
        return [], None
    rows = checks.to_dict("records")
    fails, unjudged, passed = (
        [row for row in rows if row["result"] == result] for result in (FAILS, UNKNOWN, PASSES)
    )
    first = _findings("checks", "Checks that fail", fails, units) or Table(
        "checks", "No check fails", [], []
    )
    first.lead = f"{len(passed)} of {len(rows)} checks pass; the appendix tells each."
    second = _findings("unjudged", "Checks that could not be judged", unjudged, units)
    if second is not None:
        first.lead += f" {len(unjudged)} could not be judged."
        second.on_paper = False
    return [first, *filter(None, [second])], _findings("passed", "Checks that pass", passed, units)


def _findings(key: str, title: str, rows, units: str) -> Table | None:
    marks = {"fails": "✗ FAILS", "cannot be judged": "? not judged", "passes": "✓ passes"}
    return plain_table(
        key, title, ("check", "result", "finding", "needs"),
        [
            (
                row["check"],
                marks.get(row["result"], row["result"]),
                *(in_units(text_of(row[name]), units) for name in ("says", "needs")),
            )
            for row in rows
        ],
    )  # fmt: skip


def _rules(zones, units: str) -> Table | None:
    if zones is None or zones.empty:
        return None
    rules = zones.drop_duplicates(["rule", "distance_m"])
    return plain_table(
        "rules",
        "Where no plant may stand, and why",
        ("rule", "distance", "why", "source", "confirm"),
        [
            (
                str(row["rule"]).replace("_", " "),
                format_length(float(row["distance_m"]), units),
                *(in_units(text_of(row[name]), units) for name in ("reason", "source")),
                "local code" if row["confirm_locally"] else "",
            )
            for row in records_of(rules)
        ],
    )


def _species(species, units: str) -> Table | None:
    rows = []
    for kind in species:
        rows.append((kind["name"], "size and growth", kind["facts"]))
        rows += [(kind["name"], f"source: {what.replace('_', ' ')}", in_units(text, units)) for what, text in kind["sources"].items()]  # fmt: skip
    return plain_table("species", "Plants", ("plant", "what", ""), rows)


def _fingerprint(source: Mapping) -> str:
    """Show the beginning of an input's hash: of the file, or of what was read of a large one."""
    if source.get("read_sha256"):
        return f"{source['read_sha256'][:12]} (of what was read)"
    return str(source.get("sha256") or "")[:12]


def _inputs(about: About) -> list[Table | None]:
    return [
        plain_table(
            "inputs", "What was read", ("layer", "file", "rows", "reference system", "SHA-256"),
            [
                (source.get("name"), Path(str(source.get("file", ""))).name, source.get("rows"), source.get("crs"),
                 _fingerprint(source))
                for source in about.inputs
            ],
        ),
        plain_table(
            "changes", "Changes of coordinates", ("layer", "operation", "accuracy"),
            [
                (way.get("layer"), way.get("operation"), _accuracy(way.get("accuracy_m"), about.units))
                for way in about.transformations
                if way.get("operation") != "none"
            ],
        ),
        plain_table(
            "repairs", "Repairs", ("layer", "row", "repair"),
            [(repair.get("layer"), text_of(repair.get("row")) or "all", in_units(text_of(repair.get("repair")), about.units)) for repair in about.repairs],
        ),
    ]  # fmt: skip


def _accuracy(metres: float | None, units: str) -> str:
    return "not known" if metres is None else in_units(f"{{{metres:g} m}}", units)
