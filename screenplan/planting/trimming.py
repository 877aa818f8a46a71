"""Planting lines trimmed to where plants may stand, and what is said where none is left.

A line starts at the first point where a plant may stand (the zero peg) and ends at the last. In
between it goes on through gaps, so that the tape stays on one zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.ground.errors import InputError, refuse
from screenplan.plan import Options
from screenplan.plan.planting import Rows
from screenplan.planting.spans import SAME_M, cut_out_each, plantable_stretches_each
from screenplan.site.lots import Many, united
from screenplan.site.ragged import firsts

#: Pieces of a line shorter than this are rounding.
CRUMB_M = 0.002


@dataclass(frozen=True, eq=False)
class Drawn:
    """Lines before they are trimmed, (lines,) each: their group, side, row, part of the side, geometry and offset.

    What is drawn for one group knows nothing of the lines of another one. A group is a lot with its chosen sides.
    """

    group: np.ndarray
    side: np.ndarray
    row: np.ndarray
    part: np.ndarray
    line: np.ndarray
    offset_m: np.ndarray

    def only(self, some: np.ndarray) -> Drawn:
        """Give some of the lines, in their order."""
        return Drawn(*(values[some] for values in vars(self).values()))


def trim(
    drawn: Drawn,
    ground: np.ndarray,
    zones: Many,
    plan: Options,
    keep_whole: bool = False,
    bound: Sequence[str] | None = None,
) -> tuple[dict[str, Sequence], dict[int, InputError]]:
    """Trim lines to where plants may stand.

    Parameters
    ----------
    drawn : Drawn
    ground : ndarray of Geometry, (groups,)
        Where plants may stand.
    zones : Many
        The no-plant zones of each group.
    plan : Options
        Of it the number of rows.
    keep_whole : bool
        Lines stay as they are.
    bound : sequence of str, optional
        By group, the rules that set the offset of the first row.

    Returns
    -------
    found : dict of str to sequence
        By column of the layer, ``group`` and ``geometry``.
    errors : dict of int to InputError
        By group, why it has no line; of these nothing is found.
    """
    of, low, high = plantable_stretches_each(drawn.line, ground[drawn.group])
    count = np.bincount(of, minlength=len(drawn.line))
    first, some = firsts(count), np.flatnonzero(count)
    ends = np.zeros((len(count), 2))
    ends[some] = np.stack([low[first[some]], high[first[some] + count[some] - 1]], axis=1)
    kept = np.arange(len(count)) if keep_whole else np.flatnonzero((count > 0) & (ends[:, 1] - ends[:, 0] >= CRUMB_M))  # fmt: skip
    errors = _refused(drawn, kept, zones, plan)
    kept = kept[~np.isin(drawn.group[kept], list(errors))]
    plantable = np.bincount(of, high - low, minlength=len(count))
    lines = drawn.line[kept]
    if not keep_whole:
        lines = cut_out_each(lines, *ends[kept].T)
    keys = list(zip(drawn.group.tolist(), drawn.side, drawn.row.tolist(), strict=True))
    several = {key for key, part in zip(keys, drawn.part.tolist(), strict=True) if part > 1}
    names, bounds = [], []
    for number in kept.tolist():
        group, side, row = keys[number]
        part = f"-part{drawn.part[number]}" if keys[number] in several else ""
        names.append(f"{side}-row{row}{part}")
        bounds.append((bound[group] or None) if bound is not None and row == 1 else None)
    found = {
        "group": drawn.group[kept],
        "line_id": names,
        "side_id": drawn.side[kept].tolist(),
        "row": drawn.row[kept],
        "offset_m": drawn.offset_m[kept],
        "length_m": shapely.length(lines),
        "plantable_m": plantable[kept],
        "bound_by": bounds,
        "geometry": lines,
    }
    return found, errors


def _refused(drawn: Drawn, kept: np.ndarray, zones: Many, plan: Options) -> dict[int, InputError]:
    """Give the refusals of groups of which a line was drawn, and none is kept, or none of the second row."""
    groups = zones.lots
    has, left, second = (
        np.bincount(some, minlength=groups) > 0
        for some in (
            drawn.group,
            drawn.group[kept],
            drawn.group[kept[drawn.row[kept] == 2]],
        )
    )
    errors = _nowhere(drawn, np.flatnonzero(has & ~left), zones)
    if plan.rows.rows == 2:
        for group in np.flatnonzero(left & ~second).tolist():
            errors[group] = refuse(
                "there is no room for a second row",
                "Plant one row, or give a smaller row distance",
                key=Rows.key("rows"),
                kind="room",
            )
    return errors


def _nowhere(drawn: Drawn, groups: np.ndarray, zones: Many) -> dict[int, InputError]:
    """Say of groups why no plant may stand on any of their lines."""
    if not len(groups):
        return {}
    mine = np.isin(drawn.group, groups)
    lines = united(drawn.line[mine], drawn.group[mine], zones.lots)
    group, zone = zones.beside(groups)
    of = groups[group]
    on = shapely.length(shapely.intersection(zones.shapes[zone], lines[of]))
    total = np.maximum(shapely.length(lines), SAME_M)
    rules, features = (zones.layer[name].to_numpy(object) for name in ("rule", "feature"))
    shares: dict[int, dict[str, float]] = {number: {} for number in groups.tolist()}
    for number, row, length in zip(of.tolist(), zone.tolist(), on.tolist(), strict=True):
        if length > CRUMB_M:
            told, name = shares[number], f"{rules[row]} ({features[row]})"
            told[name] = min(1.0, told.get(name, 0.0) + length / float(total[number]))
    return {number: _forbidden(told) for number, told in shares.items()}


def _forbidden(shares: Mapping[str, float]) -> InputError:
    """Refuse a line by the shares of its length that rules forbid."""
    names = ", ".join(
        f"{name} on {share:.0%}" for name, share in sorted(shares.items(), key=lambda x: -x[1])
    )
    if not names:
        return refuse(
            "no plant may stand on the line: it lies outside the subject parcel",
            "Draw the line inside the parcel",
            layer="planting_line",
            kind="room",
        )
    smaller = "draw the private place smaller, " if "(private_place)" in names else ""
    return refuse(
        f"no plant may stand anywhere on the line; forbidden by {names} of its length",
        f"Give a greater offset, another side, a smaller species, {smaller}or change the rule after "
        "asking the local authority",
        key=Rows.key("along"),
        kind="room",
    )
