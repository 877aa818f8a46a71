"""A finished run to its folder: layers, tables, report and record, all or nothing."""

from __future__ import annotations

import datetime as dt
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from screenplan.contracts import OUTPUTS, SURROUNDINGS
from screenplan.ground.errors import refuse
from screenplan.ground.said import in_units, said
from screenplan.ground.units import format_length
from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.layers import write_layers
from screenplan.outputs.project import Titles, write_project
from screenplan.outputs.quote_sheet import QUOTE_NAME, write_quote
from screenplan.outputs.rasters import write_sun_hours
from screenplan.outputs.record import RunRecord, describe_output, write_record
from screenplan.outputs.report import REPORT_NAME, About, write_report
from screenplan.outputs.year_sheet import YEARS_NAME, write_years
from screenplan.plan import SECTIONS, is_length, key_field
from screenplan.running.run import Run

#: Folder of the stake-out for receivers and surveyors, and its tables.
STAKEOUT_FOLDER = "stakeout"


def default_folder(plan: str | Path) -> Path:
    """Give the folder that a plan is written to by default: named after it, beside it."""
    plan = Path(plan)
    return plan.with_name(f"{plan.stem}_plan")


@contextmanager
def open_folder(target: str | Path):
    """Hold an output folder, so that it is refused before anything is computed if it cannot be.

    Yields
    ------
    OutputFolder
        For `write_run`.
    """
    with OutputFolder(target) as folder:
        yield folder


def look_at_folder(target: str | Path) -> str | None:
    """Refuse a folder that a run could not write, without touching it; say what it would replace."""
    return OutputFolder(target).look()


def write_run(run: Run, target: str | Path | OutputFolder) -> Path:
    """Write a run: GeoJSON and CSV files, one GeoPackage and its project, the report and ``run.json``.

    Parameters
    ----------
    run : Run
        A finished run.
    target : path or OutputFolder
        The folder; it appears whole or not at all.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If it cannot be written or holds files that no run wrote, or if not every step was run.

    Examples
    --------
    A run of some steps only is no plan, and is not written.

    >>> import screenplan
    >>> run = screenplan.run_plan(screenplan.sample_plan(), only=["sides"])
    >>> write_run(run, "hillside_plan")
    Traceback (most recent call last):
    screenplan.ground.errors.InputError: the run was asked for sides only. Run the whole plan before it is written.
    """
    if run.only:
        raise refuse(
            f"the run was asked for {', '.join(run.only)} only",
            "Run the whole plan before it is written",
        )
    if not isinstance(target, OutputFolder):
        with open_folder(target) as folder:
            return write_run(run, folder)
    frame = run.site.frame
    known = OUTPUTS | SURROUNDINGS
    layers = {
        name: run.layers[name]
        for name, contract in known.items()
        if name in run.layers and (run.plan.plan.drawing_tables or not contract.only_drawn)
    }
    about = about_run(run)
    with target.staged() as beside:
        outputs = write_layers(
            layers, beside, send_out=frame.send_out, crs=frame.source_crs, placed=frame.is_placed
        )
        outputs += _write_works(run, beside)
        outputs += write_sun_hours(run.layers["sun_grid"], beside, frame.crs)
        outputs += _write_project(run, layers, beside, about)
        report = write_report(run.layers, beside / REPORT_NAME, about)
        outputs.append(describe_output(report, {}))
        years = write_years(run.layers, beside / YEARS_NAME, about)
        outputs.append(describe_output(years, {}))
        if run.plan.quote.asked:
            from screenplan.works.quote import make_offer

            offer = make_offer(run.layers, run.plan)
            quote = write_quote(offer, beside / QUOTE_NAME, about, run.plan.quote)
            outputs.append(describe_output(quote, {}))
        record = RunRecord(
            frame=frame.to_dict(),
            inputs=run.site.inputs,
            parameters=run.plan.model_dump(mode="python"),
            transformations=run.site.transformations,
            repairs=run.site.repairs,
            warnings=run.warnings,
            outputs=outputs,
        )
        write_record(record, beside, base=run.folder)
    return target.target


def _write_project(run: Run, layers: dict[str, Any], folder: Path, about: About) -> list[dict]:
    """Write the desktop GIS's project beside the GeoPackage."""
    title = about.title or about.subject or "Screen"
    titles = Titles(title, about.of, dt.date.today().isoformat())
    return write_project(layers, folder, run.site.frame, titles, units=about.units)


def _write_works(run: Run, folder: Path) -> list[dict]:
    """Write the stake-out for other programs, the order list and the calendar."""
    from screenplan.outputs.calendar_file import write_calendar, write_order_list
    from screenplan.outputs.exchange import write_exchange

    frame, about = run.site.frame, run.plan.plan
    stakeout = folder / STAKEOUT_FOLDER
    stakeout.mkdir()
    written = write_exchange(
        run.layers,
        stakeout,
        send_out=frame.send_out if frame.is_placed else None,
        frame_note=frame.note,
        own_crs=frame.source_crs,
    )
    path = folder / "order_list.csv"
    written[path] = {
        "order_list": write_order_list(run.layers["quantities"], path, units=about.units)
    }
    path = folder / "calendar.ics"
    title = about.title or run.site.subject_id
    events = write_calendar(run.layers["schedule"], path, title=title, units=about.units)
    if events:
        written[path] = {"schedule": events}
    return [describe_output(path, rows, base=folder) for path, rows in written.items()]


#: Sections of the plan whose values the report states among its assumptions.
ASSUMED = ("site", "windows", "places", "setbacks", "rows", "plants", "growth", "views")


#: Whether windows or places are derived; None if there are none.
_WHENCE = {True: "derived from footprints, not surveyed", False: "as given", None: "none"}


def about_run(run: Run) -> About:
    """Gather what the report says of a run besides its layers."""
    units = run.plan.plan.units
    return About(
        title=run.plan.plan.title,
        subject=run.site.subject_id,
        lots=len(run.plan.subject.ids) or 1,
        units=units,
        names=run.species_names,
        species=[
            {
                "key": species.key,
                "name": species.called,
                "facts": _facts(species, units),
                "sources": {what: said(text) for what, text in species.sources.items()},
            }
            for species in run.species
        ],
        assumptions=_assumptions(run, units),
        inputs=run.site.inputs,
        transformations=run.site.transformations,
        repairs=run.site.repairs.to_dict("records"),
        warnings=run.warnings,
    )


def _facts(species, units: str) -> str:
    def span(values) -> str:
        return " to ".join(format_length(value, units, 1) for value in (values[0], values[-1]))

    leaves = "evergreen" if species.evergreen else "drops its leaves"
    kept = [
        f"{format_length(size, units, 1)} {way}"
        for size, way in ((species.kept_height_m, "tall"), (species.kept_width_m, "wide"))
        if size is not None
    ]
    return (
        f"{species.latin_name}: {leaves}; crown a {species.shape}; {_grown(species, units)}; "
        f"mature {span(species.mature_height_m)} tall, "
        f"{span(species.mature_spread_m)} wide"
        + _wider(species, units)
        + (f"; kept {' and '.join(kept)} by clipping" if kept else "")
    )


def _wider(species, units: str) -> str:
    """Say how wide measured trees get beyond the published spread."""
    high = species.full_spread("high")
    if species.grades.get("width") != "measured" or high <= species.mature_spread_m[1]:
        return ""
    return f" as published (of the trees that were measured, one in ten gets wider than {format_length(high, units, 1)})"


def _grown(species, units: str) -> str:
    from screenplan.contracts import GROWTHS
    from screenplan.planting.prospects import prospect_of

    told = prospect_of(species, years=(10,))
    low, typical, high = (
        format_length(float(told.height_m[g, 0]), units, 1) for g in range(len(GROWTHS))
    )
    return f"{typical} tall ten years after planting ({low} to {high}); growth: {species.evidence}"


def _assumptions(run: Run, units: str) -> list[tuple[str, str]]:
    """State the plan's own choices in the words of its keys."""
    from screenplan.planting.mixes import with_spacing

    derived = {
        name: None
        if run.layers[layer].empty
        else bool(run.layers[layer]["derived"].astype(bool).any())
        for name, layer in (("windows", "windows"), ("places", "private_places"))
        if layer in run.layers
    }
    records = [
        (
            "Ground",
            "from the terrain"
            if run.plan.terrain is not None
            else "level: no terrain is given"
            if run.site.terrain.is_flat
            else "even slopes between the heights measured by tape",
        ),
        *((name.capitalize(), _WHENCE[some]) for name, some in derived.items()),
    ]
    for section in ASSUMED:
        if derived.get(section, True) is not True:
            continue
        for name in SECTIONS[section].model_fields:
            key = f"{section}.{name}"
            if key == "site.boundary_accuracy" and not run.site.subject_id:
                continue
            value = (
                with_spacing(run.plan).value(key) if key == "rows.spacing" else run.plan.value(key)
            )
            if value is None or value in ((), {}, ""):
                continue
            text = format_length(value, units) if is_length(key) else _said(value)
            records.append((in_units(key_field(key).description or key, units), text))
    return records


def _said(value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (tuple, list)):
        return ", ".join(str(entry) for entry in value)
    if isinstance(value, dict):
        return ", ".join(str(key) for key in value)
    return str(value.name if isinstance(value, Path) else value)
