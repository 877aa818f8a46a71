"""``screenplan check``: read a plan's layers, and refuse what a run would refuse."""

from __future__ import annotations

from collections.abc import Sequence

from screenplan.commandline.showing import show_site
from screenplan.plan import read_plan
from screenplan.running.inputs import read_inputs
from screenplan.running.pipeline import rehearse_plan
from screenplan.running.writing import default_folder, look_at_folder


def check_plan_file(
    file: str, out: str | None = None, settings: Sequence[str] = (), *, as_json: bool = False
) -> None:
    """Show what was read, and refuse what a run would refuse before it computes.

    Parameters
    ----------
    file : str
        The plan file.
    out : str, optional
        The folder that would be written; by default that of the plan.
    settings : sequence of str
        ``KEY=VALUE``, other values for keys of the plan.
    as_json : bool
        Print JSON; then nothing is printed of a plan that is refused.

    Raises
    ------
    InputError
        With every problem of what is at fault.
    """
    plan, folder = read_plan(file, settings)
    site, units = read_inputs(plan, folder), plan.plan.units
    target = default_folder(file) if out is None else out
    if as_json:
        rehearse_plan(plan, folder, site)
        show_site(site, units, replaces=look_at_folder(target), as_json=True)
        return
    show_site(site, units, as_json=False)
    rehearse_plan(plan, folder, site)
    if (replaced := look_at_folder(target)) is not None:
        print(f"Note: {target}: {replaced}.")
