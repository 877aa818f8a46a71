"""Where the sample site is: in the checkout, or in the installed package."""

from __future__ import annotations

from pathlib import Path

from screenplan.ground.errors import refuse

PLAN_NAME = "hillside.toml"


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
