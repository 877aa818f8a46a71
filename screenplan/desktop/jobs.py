"""The jobs that the plugin gives: one step, a plan file, layers and choices made into a plan, or a county."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from screenplan.desktop.county_jobs import run_county_job
from screenplan.desktop.plan_jobs import run_plan_file, run_plan_layers
from screenplan.desktop.step_jobs import Tell, run_step_job

TASKS = {
    "step": run_step_job,
    "plan_file": run_plan_file,
    "plan_layers": run_plan_layers,
    "county": run_county_job,
}


def do_job(job: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Do a job, as the plugin wrote it.

    Parameters
    ----------
    job : mapping
        ``task`` (``step``, ``plan_file``, ``plan_layers`` or ``county``) and what belongs to it.
    tell : callable
        Called with ``{"progress": percent, "doing": text}``, ``{"says": text}`` and ``{"note":
        text}``.

    Returns
    -------
    dict
        What was written.

    Raises
    ------
    InputError
        If an input is wrong; nothing is written then.
    """
    return TASKS[job["task"]](job, tell)
