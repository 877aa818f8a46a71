"""Where the sample site is: in the checkout, or in the installed package."""

from __future__ import annotations

from pathlib import Path

from screenplan.ground.errors import refuse

PLAN_NAME = "hillside.toml"
#: The plan of the demo: the same site, and the program chooses what is planted.
DEMO_NAME = "proposal.toml"


def sample_folder() -> Path:
    """Find the folder of the sample data.

    Raises
    ------
    InputError
        If this installation came without it.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "sample_data", package.parent / "sample_data"):
        if (folder / PLAN_NAME).is_file():
            return folder
    raise refuse(
        "the sample data did not come with this installation",
        "Install screenplan again, or work in a checkout",
    )


def sample_plan() -> Path:
    """Give the sample's plan file.

    Examples
    --------
    >>> sample_plan().name
    'hillside.toml'
    """
    return sample_folder() / PLAN_NAME


def demo_plan() -> Path:
    """Give the plan file of the demo, which leaves the choice to the program.

    Examples
    --------
    >>> demo_plan().name
    'proposal.toml'
    """
    return sample_folder() / DEMO_NAME
