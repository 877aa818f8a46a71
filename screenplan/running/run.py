"""What a run hands on to the outputs."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from screenplan.ground.errors import refuse
from screenplan.plan import Plan
from screenplan.running.inputs import species_in, species_on


@dataclass
class Run:
    """A finished run, all layers in the local frame.

    Parameters
    ----------
    plan : Plan
        The plan that was run.
    folder : Path
        The folder to which the plan's paths are relative.
    site : Site
        What was read.
    layers : dict
        Every layer and table by its contract's name, those that were read included.
    notes : list of str
        What the steps found doubtful.
    only : tuple of str
        The layers that were asked for; empty if every step was run.
    frames : dict
        The layers that were given in memory, by name.
    """

    plan: Plan
    folder: Path
    site: Any
    layers: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    only: tuple[str, ...] = ()
    frames: dict[str, Any] = field(default_factory=dict)

    @property
    def fails(self) -> bool:
        """True if a check fails.

        Raises
        ------
        InputError
            If the run was asked for other layers only, so that nothing was checked.
        """
        if "checks" not in self.layers:
            raise refuse(
                f"the run was asked for {', '.join(self.only)} only, and nothing was checked",
                "Run the whole plan, or ask for the layer checks too",
            )
        return bool((self.layers["checks"]["result"] == "fails").any())

    @property
    def warnings(self) -> list[str]:
        """What a person should know before they trust the result."""
        return list(dict.fromkeys([*self.site.warnings, *self.notes]))

    @property
    def species_names(self) -> dict[str, str]:
        """What people call each species of the plan's table, by its key."""
        return {key: species.called for key, species in species_in(self.plan).items()}

    @property
    def species(self) -> list[Any]:
        """The species of the plants as they grow on the site, in the order in which they stand."""
        table = species_on(self.site, self.plan)
        keys = dict.fromkeys(self.layers["plants"]["species"].astype(str))
        return [table[key] for key in keys if key in table]
