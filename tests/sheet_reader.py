"""Rebuilds every stake's position from nothing but the text of the printed sheet, as a crew would.

The tape points' places are taken from their table; each peg from two taped distances and the side, from
an offset, or from its coordinates if it needs an instrument; each stake from its running distance and offset along the tape between two pegs.
"""

import math
import re

LENGTH = r"(-?\d+\.\d\d m|-?(?:\d+′ )?(?:\d+ )?\d+(?:/\d)?″)"
#: A tape point, or a peg that is set before.
FROM = r"([A-Z]+|P\d+)"
POINT = re.compile(rf"^([A-Z]{{1,2}}) (.+?) {LENGTH} {LENGTH}(?: {LENGTH})?$")
PEG = re.compile(
    rf"^(P\d+) (?:zero|end|fence) {FROM} {LENGTH} (?:{LENGTH} )?{FROM} {LENGTH} (?:{LENGTH} )?(left|right) "
)
PEG_BY_OFFSET = re.compile(
    rf"^(P\d+) (?:zero|end|fence) {FROM} {FROM} {LENGTH} (?:{LENGTH} )?{LENGTH} (left|right|on the line) "
)
PEG_BY_INSTRUMENT = re.compile(rf"^(P\d+) (?:zero|end|fence) {LENGTH} {LENGTH} $")
BASE = re.compile(rf"^(L\d+) (P\d+) (P\d+) {LENGTH} (?:{LENGTH} )?")
STAKE = re.compile(
    rf"^(\d+) {LENGTH} (?:(?:{LENGTH} )?{LENGTH} (left|right|on the line) (?:{LENGTH}|–) )?"
)
#: The head of the stakes of one base line.
STAKES_ON = re.compile(r"^Stakes on (L\d+) $")
#: The head of what follows the stakes.
PROOFS = "Distances that prove"


def metres(text: str) -> float:
    """Read a length as the sheet writes it."""
    if text.endswith(" m"):
        return float(text[:-2])
    feet, whole, top, bottom = re.fullmatch(
        r"-?(?:(\d+)′ )?(?:(\d+)(?: |(?=″)))?(?:(\d+)/(\d))?″", text
    ).groups("0")
    inches = 12.0 * float(feet) + float(whole) + (float(top) / float(bottom) if top != "0" else 0.0)
    return (-1.0 if text.startswith("-") else 1.0) * inches * 0.0254


def meet(a, b, from_a: float, from_b: float, side: str):
    """Point at two distances from two points, on a side of the way from the first to the second."""
    way = (b[0] - a[0], b[1] - a[1])
    apart = math.hypot(*way)
    along = (apart**2 + from_a**2 - from_b**2) / (2.0 * apart)
    across = math.sqrt(max(from_a**2 - along**2, 0.0)) * (1.0 if side == "left" else -1.0)
    unit = (way[0] / apart, way[1] / apart)
    return (
        a[0] + along * unit[0] - across * unit[1],
        a[1] + along * unit[1] + across * unit[0],
    )


def set_off(zero, end, along: float, offset: float, side: str):
    """Point at a distance along the way from one point to another, and square to it."""
    apart = math.hypot(end[0] - zero[0], end[1] - zero[1])
    unit = ((end[0] - zero[0]) / apart, (end[1] - zero[1]) / apart)
    left = -offset if side == "right" else offset
    return (
        zero[0] + along * unit[0] - left * unit[1],
        zero[1] + along * unit[1] + left * unit[0],
    )


def sheet_words(tables) -> str:
    """Write tables of the sheet as the lines that a person reads."""
    return "\n".join(
        line for table in tables for line in (table.title, *(" ".join(row) for row in table.rows))
    )


def rebuild(text: str) -> dict[int, tuple[float, float]]:
    """Give the position of every stake, east and north, by its number."""
    lines = [" ".join(line.split()) + " " for line in text.splitlines()]
    points = {
        found[1]: (metres(found[3]), metres(found[4]))
        for line in lines
        if (found := POINT.match(line.strip()))
    }
    points |= {
        found[1]: (metres(found[2]), metres(found[3]))
        for line in lines
        if (found := PEG_BY_INSTRUMENT.match(line))
    }
    # A peg may be measured from pegs that are set before it, wherever they stand on the sheet.
    waiting = [line for line in lines if PEG.match(line) or PEG_BY_OFFSET.match(line)]
    while waiting:
        left = [line for line in waiting if not _set_peg(line, points)]
        assert len(left) < len(waiting), f"nothing on the sheet sets {left}"
        waiting = left
    bases, stakes, base = {}, {}, ""
    for line in lines:
        if found := STAKES_ON.match(line):
            base = found[1]
        elif line.startswith(PROOFS):
            base = ""
        elif found := BASE.match(line):
            bases[found[1]] = (points[found[2]], points[found[3]])
        elif base and (found := STAKE.match(line)):
            number, along, _, offset, side, _ = found.groups()
            stakes[int(number)] = set_off(
                *bases[base], metres(along), metres(offset) if offset else 0.0, side
            )
    return stakes


def _set_peg(line: str, points: dict) -> bool:
    """Set a peg if the points from which it is measured are known; tell whether it was."""
    if found := PEG.match(line):
        name, a, tape_a, _, b, tape_b, _, side = found.groups()
        if known := a in points and b in points:
            points[name] = meet(points[a], points[b], metres(tape_a), metres(tape_b), side)
        return known
    name, a, b, along, _, offset, side = PEG_BY_OFFSET.match(line).groups()
    if known := a in points and b in points:
        points[name] = set_off(points[a], points[b], metres(along), metres(offset), side)
    return known
