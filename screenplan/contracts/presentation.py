"""Where a layer is shown: in the project's tree of layers, and in the report."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

#: Groups of the project's tree, from the top. What is higher up is drawn later.
Group = Literal["Planting", "Stake-out", "Views", "Effects", "Site", "Ground"]
#: Themes: sets of layers that are looked at together. The first is shown when the project opens.
PLAN, STAKE_OUT, SIGHT, EFFECTS, MAY_STAND = THEMES = (
    "Planting plan",
    "Stake-out",
    "Views",
    "Effects",
    "Where plants may stand",
)
#: Parts of the report that hold tables of layers.
Part = Literal[
    "stake-out", "setting", "stakes", "proofs", "order", "dig", "plant", "fence", "water", "check",
    "choices", "growth", "effects", "cost", "sources",
]  # fmt: skip
#: Parts of the work, in the order in which it is done; each is a part of the report.
WORK: tuple[Part, ...] = ("stake-out", "order", "dig", "plant", "fence", "water", "check")
#: How a cell of the report is written (`screenplan.outputs.report_cells`): as it is, as a sentence with
#: lengths, as words of a key, as the name of a species, of a view or of what light falls on, as yes or no, as a year that may not come, of several
#: columns (``when``, ``often``, ``packs``), or as a kind of number.
Form = Literal[
    "text", "sentence", "words", "species", "view", "target", "yes", "never", "when", "often", "packs",
    "tape", "length", "amount", "degrees", "hours", "share", "money", "number",
]  # fmt: skip


@dataclass(frozen=True)
class Place:
    """A layer's place in the project's tree.

    Parameters
    ----------
    group : str
    order : int
        From the top of the group; what stands higher up is drawn over what stands lower down.
    themes : tuple of str
        In which it is shown.
    """

    group: Group
    order: int
    themes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shown:
    """A table of the report that shows a layer.

    Parameters
    ----------
    part : str
        The part of the report in which it stands.
    order : int
        From the top of that part.
    title, lead : str
        Its caption, by default the layer's meaning, and a sentence before it.
    columns : str
        Names of the columns, parted by blanks; by default all but those by year.
    headings : mapping of str to str
        Headings that are other here than the columns' own.
    tick : bool
        Whether each row has a box to tick on paper.
    keep : callable, optional
        Gives the rows that are shown.
    told : bool
        Whether the cells stand as sentences in place of a table: the first column's, then others with
        their headings.
    notes : tuple of str, optional
        Columns of a name and of what is said of it, which become sentences under the table.
    key : str
        Its identifier, letters and hyphens; by default made of the layer's name.
    joined : str
        Name of a column of cautions, each of which ends the sentence of its row's last other column.
    whole : bool
        Whether columns stay whose cells are all equal, because every row is read by itself.
    """

    part: Part
    order: int
    title: str = ""
    lead: str = ""
    columns: str = ""
    headings: Mapping[str, str] = field(default_factory=dict, hash=False)
    tick: bool = False
    keep: Callable[[pd.DataFrame], pd.DataFrame] | None = None
    told: bool = False
    notes: tuple[str, ...] | None = None
    key: str = ""
    joined: str = ""
    whole: bool = False
