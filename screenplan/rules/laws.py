"""What the law of a place says about plants at a boundary, as sets that a plan names.

A set holds setbacks, which are laid over the shipped rules, and heights, which hold where the plan
itself gives none. It says which law, where its text was read and on which day, and what must be asked
in the place. A file of the user's and the plan's own rules come after it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, BeforeValidator, ConfigDict

from screenplan.ground.errors import refuse
from screenplan.plan import Options
from screenplan.plan.catalogue import shipped_tables
from screenplan.plan.site import Setbacks
from screenplan.plan.values import TABLE, PlantHeight, Words, instead_of
from screenplan.rules.limit_kinds import read_date


class Law(BaseModel):
    """What holds in a place.

    Parameters
    ----------
    key : str
        Its name in a plan.
    name, law : str
        The place, and the law in its own words.
    read_at, status, date : str
        Where and on which day its text was read, and whether that was the law itself (``read``) or a
        text that quotes it (``second-hand``).
    ask : str
        What must be asked in the place, and whom.
    replaces : tuple of str
        Keys of shipped rules in whose place its own stand.
    most_height_m, most_height_at_road_m : float, optional
        What plants at the boundary may not be taller than, and those at a road, metres.
    complaint_above_m : float, optional
        No limit, but a neighbour may complain of plants that are taller, metres.
    heights_article : str
        Where those heights stand.
    setbacks : mapping
        Tables of rules, as `screenplan.rules.ruleset.load_rules` takes them.
    """

    model_config = TABLE | ConfigDict(frozen=True)

    key: str
    name: Words
    law: Words
    read_at: Words
    status: Literal["read", "second-hand"]
    date: Annotated[str, BeforeValidator(read_date)]
    ask: Words
    replaces: tuple[str, ...] = ()
    most_height_m: PlantHeight | None = None
    most_height_at_road_m: PlantHeight | None = None
    complaint_above_m: PlantHeight | None = None
    heights_article: str = ""
    setbacks: dict[str, dict[str, Any]] = {}

    def rules(self) -> dict[str, dict[str, Any]]:
        """Give its setbacks as tables that are laid over the shipped ones, with those that they replace switched off."""
        return {key: {"use": False} for key in self.replaces} | {
            key: {
                "feature": "boundary",
                "status": self.status,
                "date": self.date,
                "confirm_locally": True,
                "source": f"{self.law}, {table['article']}",
                **{name: value for name, value in table.items() if name != "article"},
            }
            for key, table in self.setbacks.items()
        }

    @property
    def heights_source(self) -> str:
        """Where its heights stand."""
        return f"{self.law}, {self.heights_article}"


@cache
def load_laws() -> Mapping[str, Law]:
    """Read the sets that there are, by key.

    Examples
    --------
    >>> france = load_laws()["france"]
    >>> france.rules()["boundary_tall"]["distance"], france.rules()["boundary_tall"]["source"]
    ('2 m', 'Code civil, article 671')
    """
    tables = shipped_tables("screenplan.rules", "laws.toml")
    return {key: Law.model_validate({**table, "key": key}) for key, table in tables.items()}


def law_of(plan: Options) -> Law | None:
    """Give the set that a plan names; None if it names none.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    name = plan.setbacks.law
    if name is None:
        return None
    laws = load_laws()
    if name not in laws:
        raise refuse(
            f"there are no rules by the law of '{name}'",
            f"{instead_of(name, laws, 'screenplan rules --laws')}, or write your own rules in [setbacks.rules]",
            key=Setbacks.key("law"),
        )
    return laws[name]


class Heights(NamedTuple):
    """Heights that plants at the boundary may have, metres, each None where there is none, and by whom they are set."""

    most_m: float | None
    at_road_m: float | None
    by: str
    road_by: str


#: Who set a height that stands in the plan.
BY_USER = "the user's limit"


def boundary_heights(plan: Options) -> Heights:
    """Give the heights that hold at the boundary: the plan's own, else those of the law that it names.

    Examples
    --------
    >>> from screenplan.plan.reading import check_options
    >>> boundary_heights(check_options({"boundary": {"most_height": "3 m"}})).by
    "the user's limit"
    """
    law, own = law_of(plan), plan.boundary
    most, road = own.most_height, own.most_height_at_road
    by, road_by = BY_USER, BY_USER
    if most is None and law is not None:
        most, by = law.most_height_m, law.heights_source
    if road is None and law is not None:
        road, road_by = law.most_height_at_road_m, law.heights_source
    return Heights(most, road, by, road_by)
