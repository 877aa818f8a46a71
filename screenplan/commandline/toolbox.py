"""``screenplan desktop``: install, check and remove the toolbox of a desktop GIS."""

from __future__ import annotations

from dataclasses import asdict

import click

from screenplan.commandline.arguments import PathArgument
from screenplan.commandline.exit_codes import EXIT_FAILS

_PROFILE = click.option(
    "--profile",
    metavar="NAME",
    help="Profile; by default the one with which the desktop GIS starts.",
)
_FOLDER = click.option(
    "--profile-folder", metavar="FOLDER", type=PathArgument(), help="Or the folder of the profile."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")


@click.group(short_help="Install the toolbox of a desktop GIS.")
def desktop():
    """Install, check or remove the toolbox of a desktop GIS (QGIS 3.22 or newer)."""


@desktop.command(short_help="Put the toolbox into a profile.")
@_PROFILE
@_FOLDER
@click.option(
    "--python",
    metavar="PATH",
    type=PathArgument(),
    help="Python that runs the library; by default the one that runs this command.",
)
@_JSON
def install(profile, profile_folder, python, as_json):
    """Put the toolbox into a profile of the desktop GIS and enable it.

    An older toolbox is replaced; what else stands in the profile stays.
    """
    from screenplan.commandline.printing import show_json
    from screenplan.desktop.install import install as put_in
    from screenplan.desktop.profile import find_profile

    done = put_in(find_profile(profile, profile_folder), python)
    if as_json:
        show_json(asdict(done))
        return
    came = {None: "Installed", done.version: "Installed again"}.get(
        done.before, f"Upgraded from {done.before}"
    )
    click.echo(f"{came}: the toolbox of screenplan {done.version} with {done.steps} steps.")
    click.echo(f"  plugin       {done.plugin}")
    click.echo(
        f"  enabled in   {done.settings}{'' if done.newly_enabled else ' (as it was before)'}"
    )
    click.echo(f"  runs         {done.python}")
    click.echo(
        "Start the desktop GIS (again, if it is open): the steps are under Screenplan in the "
        "Processing Toolbox. The Python is chosen in Settings, Options, Processing, Providers, "
        "Screenplan."
    )


@desktop.command("zip", short_help="Write the toolbox as a zip file to install from.")
@click.argument("file", type=PathArgument(writes=True))
@click.option(
    "--python",
    metavar="PATH",
    help="Python that runs the library where the toolbox will be installed; by default none is chosen.",
)
@_JSON
def write_zip(file, python, as_json):
    """Write the toolbox into FILE, which the desktop GIS installs by Plugins, Manage and Install, from ZIP.

    The Python in which screenplan is installed is then chosen in Settings, Options, Processing, Providers,
    Screenplan, if --python does not name it.
    """
    from screenplan.commandline.printing import show_json
    from screenplan.desktop.install import write_zip as write

    path = write(file, python)
    if as_json:
        show_json({"file": str(path), "python": python})
        return
    click.echo(f"Written: {path}")


@desktop.command(short_help="Tell whether interpreter, library and versions fit.")
@_PROFILE
@_FOLDER
@_JSON
def check(profile, profile_folder, as_json):
    """Tell whether the toolbox, its Python and the library in it fit together.

    Exit code 0: all fits; 1: something does not, and it is said how to mend it.
    """
    from screenplan.commandline.printing import show_json
    from screenplan.desktop.check import check_installation
    from screenplan.desktop.profile import find_profile

    findings = check_installation(find_profile(profile, profile_folder))
    fits = all(finding.fits for finding in findings)
    if as_json:
        show_json({"fits": fits, "findings": [asdict(finding) for finding in findings]})
    else:
        for finding in findings:
            mark = "fits" if finding.fits else "FAILS"
            click.echo(f"{mark:<6} {finding.what}: {finding.says}")
            if finding.remedy:
                click.echo(f"       {finding.remedy}.")
    click.get_current_context().exit(0 if fits else EXIT_FAILS)


@desktop.command(short_help="Take the toolbox out of a profile.")
@_PROFILE
@_FOLDER
@_JSON
def remove(profile, profile_folder, as_json):
    """Take the toolbox out of a profile of the desktop GIS."""
    from screenplan.commandline.printing import show_json
    from screenplan.desktop.install import remove as take_out
    from screenplan.desktop.profile import find_profile

    chosen = find_profile(profile, profile_folder)
    before = take_out(chosen)
    if as_json:
        show_json({"profile": str(chosen.folder), "removed": before})
    elif before is None:
        click.echo(f"There was no toolbox in {chosen.folder}.")
    else:
        click.echo(f"Removed: the toolbox of screenplan {before} from {chosen.folder}.")
