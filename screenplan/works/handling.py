"""How each kind of stock is handled when it is set, and whence that is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from screenplan.works.kinds import Kind

_FILL = "fill with the earth that came out, and water in"


@dataclass(frozen=True)
class Handling:
    """What is done with one kind of stock.

    Parameters
    ----------
    says : str
        How it is set.
    source : str
    """

    says: str
    source: str


#: By kind of stock.
HANDLING = {
    "plug": Handling(
        "Wet the plugs; leave the roots whole; top of the plug just under the ground; " + _FILL,
        "common practice, no source",
    ),
    "bare_root": Handling(
        "Keep the roots wet and covered until each is set; soak them 3 to 6 hours before; cut broken "
        "ends; spread them over a mound of firm earth, the topmost root level with the ground; " + _FILL,
        "City of Apple Valley, Minnesota, planting of bare roots (read); the mound: common practice, no source",
    ),
    "container": Handling(
        "Take the pot off; cut roots that circle, at the sides and below, and straighten the others; the "
        "topmost root level with the ground; " + _FILL,
        "University of Florida IFAS, roots that circle (read); " "the level: common practice, no source",
    ),
    "balled": Handling(
        "Lift by the ball, never by the stem; root flare level with the ground; fill half of the hole, "
        "then cut all twine and take wire and cloth off the upper third to half of the ball; " + _FILL,
        "Iowa State University Extension, balled and burlapped trees, 2024 (read); the level: common "
        "practice, no source",
    ),
}  # fmt: skip


def handling_of(kinds: Sequence[Kind]) -> Handling:
    """Say how the plants of a plan are set; each stock is named if there are several."""
    stocks = list(dict.fromkeys(kind.stock.key for kind in kinds))
    if len(stocks) == 1:
        return HANDLING[stocks[0]]
    named = {stock: stock.replace("_", " ") for stock in stocks}
    return Handling(
        ". ".join(f"{word[0].upper()}{word[1:]}: {HANDLING[key].says}" for key, word in named.items()),
        ". ".join(f"{word}: {HANDLING[key].source}" for key, word in named.items()),
    )  # fmt: skip


#: Over what is watered, where the stock has no root ball.
_WATERED = {"plug": "plug", "bare_root": "roots"}


def watered_of(kinds: Sequence[Kind]) -> str:
    """Name what is watered: a pot's plant has a root ball too, once it is out."""
    return " or ".join(dict.fromkeys(_WATERED.get(kind.stock.key, "root ball") for kind in kinds))


def roots_of(kinds: Sequence[Kind]) -> str:
    """Name what goes into the holes: root ball, pot and so on."""
    return " or ".join(dict.fromkeys(kind.stock.roots for kind in kinds))
