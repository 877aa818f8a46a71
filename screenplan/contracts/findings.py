"""One line of the checks, and the cautions that stand on several."""

from __future__ import annotations

from dataclasses import dataclass

from screenplan.ground.said import said

PASSES, FAILS, UNKNOWN = "passes", "fails", "cannot be judged"

LOCATE = (
    "Before any digging have buried lines located by the local locating service; "
    "maps and this plan do not replace it"
)
SURVEY = "Where the boundary matters, have it marked by a licensed surveyor"
WIRES = "Ask the owner of the wires what may grow there; keep yourself and tools away from them"
ROAD_SIGHT = "Ask the road authority which heights and distances hold at the drive and the corner"

TALK = "Show this to the neighbour before anything is bought, and ask the local code"


@dataclass(frozen=True)
class Finding:
    """One line of the checks."""

    check: str
    result: str
    says: str
    needs: str = ""
    caution: str = ""

    def __post_init__(self):
        for name in ("says", "needs", "caution"):
            object.__setattr__(self, name, said(getattr(self, name)))
