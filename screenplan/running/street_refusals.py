"""What a plan of several lots cannot keep to, told before anything is planned."""

from __future__ import annotations

from collections.abc import Sequence

from screenplan.ground.errors import refuse
from screenplan.plan import Plan
from screenplan.plan.design import Design
from screenplan.plan.instead import Instead
from screenplan.plan.street import Street as Agreements


def refuse_of_street(plan: Plan) -> None:
    """Refuse what a plan of several lots cannot keep to.

    Raises
    ------
    InputError
        With the key, and what to do instead.
    """
    for asked, what, mend, key in (
        (
            plan.design.wanted,
            "a design chooses the planting of one lot",
            "Set design.wanted to false, and plant rows along the sides that are looked across; or design each lot by "
            "itself, the others' plants as existing_screens",
            Design.key("wanted"),
        ),
        (
            plan.alternatives.asked,
            "alternatives are compared for one lot",
            "Leave [alternatives] out, and run the street once for each",
            "alternatives",
        ),
        (
            bool(plan.instead.compare),
            "a fence, an awning or a moved place is compared for one lot",
            "Leave [instead] out, or plan that lot by itself",
            Instead.key("compare"),
        ),
        (
            plan.tape is not None,
            "what is measured by tape is of one lot",
            "Leave the section tape out, or plan that lot by itself",
            "tape",
        ),
    ):
        if asked:
            raise refuse(f"{what}, and subject.ids names {len(plan.subject.ids)}", mend, key=key)


def check_agreements(plan: Plan, pairs: Sequence[tuple[str, str]]) -> None:
    """Refuse an agreement about lots that are not planned, or that share no boundary."""
    key = Agreements.key("agreed")
    for agreed in plan.street.agreed:
        for lot in agreed:
            if lot not in plan.subject.ids:
                raise plan.placed(
                    refuse(
                        f"lot '{lot}' is not one of those that are planned",
                        f"Name two of {', '.join(plan.subject.ids)}, or add it to subject.ids",
                        key=key,
                    )
                )
        if not any(set(agreed) == set(pair) for pair in pairs):
            touching = dict.fromkeys(" and ".join(pair) for pair in pairs)
            raise plan.placed(
                refuse(
                    f"lots {' and '.join(agreed)} share no boundary",
                    f"Take the agreement out; boundaries are shared by {'; '.join(touching) or 'no two lots'}",
                    key=key,
                )
            )
