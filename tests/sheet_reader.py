"""Rebuilds every stake's position from nothing but the text of the printed sheet, as a crew would.

The tape points' places are taken from their table; each peg from two taped distances and the side;
each stake from its running distance and offset along the tape between two pegs.
"""

import math
import re

LENGTH = r"(-?\d+\.\d\d m|-?(?:\d+′ )?(?:\d+ )?\d+(?:/\d)?″)"
POINT = re.compile(rf"^([A-Z]{{1,2}}) (.+?) {LENGTH} {LENGTH} {LENGTH}$")
PEG = re.compile(
    rf"^(P\d+) (?:zero|end|fence) ([A-Z]+) {LENGTH} {LENGTH} ([A-Z]+) {LENGTH} {LENGTH} (left|right) "
)
BASE = re.compile(rf"^(L\d+) (P\d+) (P\d+) {LENGTH} {LENGTH} ")
STAKE = re.compile(
    rf"^(\d+) (L\d+) {LENGTH} {LENGTH} (?:{LENGTH} (left|right|on the line) (?:{LENGTH}|–) )?{LENGTH} "
)


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


def rebuild(text: str) -> dict[int, tuple[float, float]]:
    """Give the position of every stake, east and north, by its number."""
    points, pegs, bases, stakes = {}, {}, {}, {}
    for line in (" ".join(one.split()) + " " for one in text.splitlines()):
        if found := POINT.match(line.strip()):
            points[found[1]] = (metres(found[3]), metres(found[4]))
        elif found := PEG.match(line):
            name, a, tape_a, _, b, tape_b, _, side = found.groups()
            pegs[name] = meet(points[a], points[b], metres(tape_a), metres(tape_b), side)
        elif found := BASE.match(line):
            bases[found[1]] = (pegs[found[2]], pegs[found[3]])
        elif found := STAKE.match(line):
            number, base, along, _, offset, side, *_ = found.groups()
            zero, end = bases[base]
            apart = math.hypot(end[0] - zero[0], end[1] - zero[1])
            unit = ((end[0] - zero[0]) / apart, (end[1] - zero[1]) / apart)
            left = metres(offset) if offset else 0.0
            left = -left if side == "right" else left
            stakes[int(number)] = (
                zero[0] + metres(along) * unit[0] - left * unit[1],
                zero[1] + metres(along) * unit[1] + left * unit[0],
            )
    return stakes
