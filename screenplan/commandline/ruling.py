"""The rules and limits of a plan, and a rule file tried by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from screenplan.commandline.laws_list import show_laws
from screenplan.commandline.printing import records, show_json, show_table
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.said import in_units
from screenplan.plan import read_plan
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.steps import STEPS


def show_rules(
    plan: str | None, files: Sequence[str], *, every: bool, us: bool, as_json: bool
) -> None:
    """List what applies to a plan and why, or all shipped rules, or what a rule file says.

    Raises
    ------
    InputError
        If the plan, a layer or a rule file cannot be used.
    """
    if plan is not None and files:
        raise refuse(
            "a plan and a rule file are both named",
            "Name the file in the plan, [setbacks] file or [limits] file, or try it without the plan",
        )
    step = STEPS["rules"]
    units = "us" if us else "metric"
    if plan is not None:
        content, folder = read_plan(plan)
        units = "us" if us else content.plan.units
        site = read_inputs(content, folder)
        arguments = step_arguments(step, content, folder, site.terrain, site.frame)
        table = step(site.layers, **arguments)["rules"]
        table = table if every else table.loc[table["applies"]]
        title = "Rules and limits that apply" if not every else "Rules and limits"
    else:
        table = step({}, **_of_files(files))["rules"]
        title = "All rules and limits"
        if files:
            from screenplan.plan.catalogue import read_rule_file

            keys = {key for file in files for key in read_rule_file(Path(file))}
            table = table.loc[table["rule"].isin(keys)]
            title = f"Rules of {', '.join(Path(file).name for file in files)}"
    if as_json:
        show_json(records(table))
        return
    applies = plan is not None
    columns = [
        "rule",
        "kind",
        *(["why"] if applies else []),
        "figures",
        "known by",
        "confirm locally",
    ]
    rows = [
        [
            row.rule,
            row.kind.replace("_", " "),
            *([in_units(row.why if row.applies else f"not: {row.why}", units)] if applies else []),
            in_units(row.says, units),
            row.status if pd.isna(row.date) else f"{row.status}, {row.date}",
            "yes" if row.confirm_locally else "no",
        ]
        for row in table.itertuples()
    ]
    show_table(title, columns, rows,
               note="These are examples and customs, not the law where you are; --json gives reasons and sources.")  # fmt: skip
    if plan is None and not files:
        show_laws(us=us, as_json=False)


def _of_files(files: Sequence[str]) -> dict:
    """Read rule files: a table that names a feature, or a shipped setback, is one; else a limit."""
    from screenplan.plan.catalogue import read_rule_file
    from screenplan.planting.species import load_species
    from screenplan.rules.limits import load_limits
    from screenplan.rules.ruleset import load_rules

    shipped = {rule.key for rule in load_rules()}
    setbacks: dict = {}
    limits: dict = {}
    problems: list[Problem] = []
    for file in files:
        ours: tuple[dict, dict] = ({}, {})
        for key, table in read_rule_file(Path(file)).items():
            is_setback = key in shipped or (isinstance(table, dict) and "measured_to" in table)
            is_setback |= isinstance(table, dict) and "feature" in table and "kind" not in table
            ours[not is_setback][key] = table
        for load, mine in ((load_rules, ours[0]), (load_limits, ours[1])):
            try:
                load(None, mine)
            except InputError as error:
                problems += [replace(problem, file=file) for problem in error.problems]
        setbacks |= ours[0]
        limits |= ours[1]
    if problems:
        raise InputError(problems)
    return {
        "rules": load_rules(None, setbacks),
        "limits": load_limits(None, limits),
        "species_table": load_species(),
    }
