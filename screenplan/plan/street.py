"""A street: several lots planned together, and who plants the boundaries that they share."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from screenplan.plan.values import Identifier, Section, WrongError


class Street(Section):
    """Who plants a boundary that two of the lots of `subject.ids` share: it is planted once."""

    agreed: tuple[tuple[Identifier, Identifier], ...] = Field(
        (),
        max_length=500,
        description='Shared boundaries that are agreed on, the lot that plants first: [["12", "14"]] lets 12 plant along 14',
    )
    shared: Literal["halves", "first"] = Field(
        "halves",
        description="Who plants all others: each of the two lots half of it, or the one that stands first in subject.ids",
    )

    @model_validator(mode="after")
    def _once_each(self):
        seen: set[frozenset[str]] = set()
        for planter, neighbour in self.agreed:
            if planter == neighbour:
                raise WrongError(
                    f"lot {planter} shares no boundary with itself",
                    "Name the lot that plants, then the one beside it",
                    self.key("agreed"),
                )
            pair = frozenset((planter, neighbour))
            if pair in seen:
                raise WrongError(
                    f"the boundary of {planter} and {neighbour} is agreed on twice",
                    "Keep the agreement that holds",
                    self.key("agreed"),
                )
            seen.add(pair)
        return self

    def planter_of(self, pair: frozenset[str]) -> str | None:
        """Give the lot that plants the boundary of two lots by agreement; None if nothing is agreed.

        Examples
        --------
        >>> Street(agreed=[["12", "14"]]).planter_of(frozenset(("14", "12")))
        '12'
        """
        return next((lots[0] for lots in self.agreed if frozenset(lots) == pair), None)
