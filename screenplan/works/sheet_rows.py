"""The rows of the stake-out sheet: control points, pegs, tapes, stakes and checks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from screenplan.works.bases import Base
from screenplan.works.pegging import OWN_END, Setting
from screenplan.works.refit import TAPE_M
from screenplan.works.taping import ON_TAPE_M, READING_M, TwoTapes

#: A residual above this many times the tape's own accuracy is told.
LARGE_RESIDUAL = 3.0
_CORNER = "a parcel corner counts only where its pin or stone is found: never measure from a fence"


def peg_rows(pegs, bases, settings, ground) -> list[dict]:
    """Write how each peg is set, with another distance for the check."""
    numbers = {id(base): f"L{number}" for number, base in enumerate(bases, 1)}
    return [
        {
            "peg_id": peg.name,
            "role": peg.role,
            "base_id": ", ".join(numbers[id(base)] for base, _ in peg.ends) or None,
            "x_m": float(peg.xy[0]),
            "y_m": float(peg.xy[1]),
            "ground_m": float(ground.height(peg.xy)[0]),
            "method": setting.method,
            **_measures(peg, setting, ground),
            "tolerance_m": setting.tolerance_m,
            "says": "; ".join(_peg_says(peg, setting, numbers)) or None,
        }
        for peg, setting in zip(pegs, settings, strict=True)
    ]


def _measures(peg, setting: Setting, ground) -> dict:
    by, origins = setting.by, setting.origins
    if by is None:
        return {}
    a, b = origins[by.a], origins[by.b]
    row: dict[str, object] = {"point_a": a.name, "point_b": b.name, "side": by.side}
    if isinstance(by, TwoTapes):
        row |= {
            "tape_a_m": by.tape_a_m,
            "slope_a_m": ground.taut(a.xy, peg.xy),
            "tape_b_m": by.tape_b_m,
            "slope_b_m": ground.taut(b.xy, peg.xy),
            "crossing_deg": by.crossing_deg,
        }
    else:
        line = Base(a.xy, b.xy)
        row |= {
            "along_m": by.along_m,
            "slope_along_m": float(ground.along(line, np.array([by.along_m]))[0]),
            "offset_m": by.offset_m,
        }
    if setting.check is not None:
        c = origins[setting.check]
        row |= {
            "point_c": c.name,
            "tape_c_m": float(math.hypot(*(c.xy - peg.xy))),
            "slope_c_m": ground.taut(c.xy, peg.xy),
        }
    return row


def _peg_says(peg, setting: Setting, numbers) -> list[str]:
    says = []
    if setting.method == OWN_END:
        says.append("an end of the line that was given: set it where you want the row")
    elif setting.by is None:
        says.append(
            "no two free tapes cross well here and no offset can be taped: set it by an instrument, "
            "or give found points of the ground in a layer marks"
        )
    else:
        origins = [setting.origins[point] for point in (setting.by.a, setting.by.b)]
        before = [origin.name for origin in origins if origin.kind == "peg"]
        if before:
            says.append(f"set it after {' and '.join(before)}")
        if setting.long:
            says.append("a tape is too short: measure it in two parts in line")
        if any(origin.kind == "parcel corner" for origin in origins):
            says.append(_CORNER)
    if len(peg.ends) > 1:
        says += (f"{role} of {numbers[id(base)]}" for base, role in peg.ends)
    return says + peg.marks


def base_rows(bases, pegs, stretches, ground, north: bool) -> list[dict]:
    """Describe each tape after the fit; without a known north it has no bearing."""
    records = []
    for number, (base, stretch) in enumerate(zip(bases, stretches, strict=True), 1):
        ends = {role: peg for peg in pegs for own, role in peg.ends if own is base}
        here = Base(ends["zero"].xy, ends["end"].xy)
        length = here.length * stretch
        bearing = math.degrees(math.atan2(*here.direction)) % 360.0
        records.append(
            {
                "base_id": f"L{number}",
                "line_ids": ", ".join(base.lines),
                "from_peg": ends["zero"].name,
                "to_peg": ends["end"].name,
                "length_m": length,
                "slope_m": float(ground.along(here, np.array([here.length]))[0]) * stretch,
                "bearing_deg": bearing if north else None,
                "stretch": stretch,
                "stakes": len(base.stakes),
            }
        )
    return records


def stake_rows(bases, base_rows, staked, out, plants, mark, ground, way) -> list[dict]:
    """Give each stake its running distance and offset after the fit."""
    planted = plants[["plant_id", "line_id", "row", "species"]].to_dict("records")
    records = []
    for base, own, places in zip(bases, base_rows, staked, strict=True):
        length = own["length_m"]
        t0, t1 = out[own["from_peg"]], out[own["to_peg"]]
        here = Base(*_ends(places, own, base.direction))
        slopes = ground.along(here, places[:, 0])
        heights = ground.height(places[:, 2:])
        seen = way.free(here.start, places[:, 2:])
        for (position, _, _), (along, offset, x, y), slope, z, free in zip(
            base.stakes, places, slopes, heights, seen, strict=True
        ):
            plant = planted[position]
            off = abs(offset) > ON_TAPE_M
            share = along / length
            # Across the tape the pegs' errors are shared out, along it the zero peg's counts; an
            # offset turns with the tape.
            across = (1.0 - share) * t0 + share * t1
            along_error = t0 + abs(offset) * (t0 + t1) / length
            tolerance = math.hypot(across, along_error) + READING_M * math.sqrt(2.0 if off else 1.0)
            records.append(
                {
                    "stake_id": int(plant["plant_id"]),
                    "plant_id": int(plant["plant_id"]),
                    "line_id": plant["line_id"],
                    "row": int(plant["row"]),
                    "base_id": own["base_id"],
                    "along_m": float(along),
                    "slope_along_m": float(slope),
                    "offset_m": abs(float(offset)) if off else 0.0,
                    "offset_side": "on the line" if not off else "left" if offset > 0 else "right",
                    "diagonal_m": math.hypot(along, offset) if off and free else None,
                    "x_m": float(x),
                    "y_m": float(y),
                    "ground_m": float(z),
                    "tolerance_m": tolerance,
                    "mark": mark,
                    "species": plant["species"],
                    "xy": (x, y),
                }
            )
    return records


def _ends(places: np.ndarray, own: dict, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pegs of a tape, from any of its stakes and its direction, which no fit turns."""
    along, offset, *xy = places[0]
    start = np.array(xy) - along * u - offset * np.array([-u[1], u[0]])
    return start, start + own["length_m"] * u


def check_rows(bases, base_rows, stake_rows, pegs, own_ends, ground, way) -> list[dict]:
    """List the closing distances, diagonals and distances between tapes, and of a row's own ends."""
    records = []
    for base, own in zip(bases, base_rows, strict=True):
        records.append(
            {
                "base_id": own["base_id"],
                "kind": "closing",
                "from_name": own["from_peg"],
                "to_name": own["to_peg"],
                "planned_m": base.length,
                "refit_m": own["length_m"],
                "slope_m": own["slope_m"],
                "says": "The tape must read this at the end peg; if it does not, set both pegs anew "
                "or give the reading as a measured distance and run the plan again",
            }
        )
        offsets = [
            row
            for row in stake_rows
            if row["base_id"] == own["base_id"] and row["diagonal_m"] is not None
        ]
        for row in offsets[:: max(1, len(offsets) - 1)] if offsets else []:
            zero = next(peg for peg in pegs if peg.name == own["from_peg"])
            records.append(
                {
                    "base_id": own["base_id"],
                    "kind": "diagonal",
                    "from_name": own["from_peg"],
                    "to_name": str(row["stake_id"]),
                    "planned_m": row["diagonal_m"],
                    "refit_m": row["diagonal_m"],
                    "slope_m": ground.taut(zero.xy, row["xy"], row["diagonal_m"]),
                    "says": "Proves that the offset is square to the tape: the square of this is the "
                    "sum of the squares of running distance and offset",
                }
            )
    named = {peg.name: peg for peg in pegs}
    along = {frozenset((own["from_peg"], own["to_peg"])) for own in base_rows}
    for a, b in pairwise(named[name] for name in own_ends):
        if frozenset((a.name, b.name)) in along or not way.free(a.xy, b.xy)[0]:
            continue
        records.append(
            _between(
                a,
                b,
                ground,
                "Set these two so far apart before all others: the other pegs are measured from them",
            )
        )
    for first, second in pairwise(base_rows):
        a = named[first["from_peg"]]
        b = named[second["to_peg"]]
        if a is b:
            a, b = named[first["to_peg"]], named[second["from_peg"]]
        told = {frozenset((row["from_name"], row["to_name"])) for row in records}
        if a is b or {a.name, b.name} in told or not way.free(a.xy, b.xy)[0]:
            continue
        records.append(_between(a, b, ground, "Proves two tapes against each other"))
    return [{"check_id": f"C{number}", **row} for number, row in enumerate(records, 1)]


def built_rows(legs, before: int, ground) -> list[dict]:
    """List the distances between the pegs of what is built first, numbered after other checks."""
    return [
        {"check_id": f"C{number}"}
        | _between(a, b, ground, f"Proves the two pegs between which {name} stands")
        for number, (a, b, name) in enumerate(legs, before + 1)
    ]


def _between(a, b, ground, says: str) -> dict:
    """Give the check of the distance between two pegs."""
    level = math.hypot(*(b.xy - a.xy))
    return {
        "kind": "between",
        "from_name": a.name,
        "to_name": b.name,
        "planned_m": level,
        "refit_m": level,
        "slope_m": ground.taut(a.xy, b.xy),
        "says": says,
    }


def measured_rows(readings, fit, stretches, bases, pegs, stake_rows, ground) -> list[dict]:
    """Set what the user measured beside the fit."""
    xy = {("point", number): place for number, place in enumerate(fit.points)}
    xy |= {("peg", number): peg.xy for number, peg in enumerate(pegs)}
    xy |= {("stake", row["stake_id"]): np.array(row["xy"]) for row in stake_rows}
    records = []
    for number, reading in enumerate(readings, 1):
        refit = float(math.hypot(*(xy[reading.start] - xy[reading.end])))
        base_id = None
        if reading.base is not None:
            at = next(index for index, base in enumerate(bases) if base is reading.base)
            refit, base_id = reading.planned_m * fit.scale * stretches[at], f"L{at + 1}"
        residual = reading.level_m - refit
        fitted = reading.between_points or reading.base is not None
        says = (
            "The stake-out was fitted to it"
            if fitted
            else "Only compared: pegs and stakes are fitted by their own tape, and the map by tape points"
        )
        if abs(residual) > LARGE_RESIDUAL * TAPE_M:
            says += f"; it does not agree by {{{abs(residual):.2f} m}}: measure it again"
        records.append(
            {
                "check_id": f"M{number}",
                "base_id": base_id,
                "kind": "measured",
                "from_name": reading.names[0],
                "to_name": reading.names[1],
                "planned_m": reading.planned_m,
                "refit_m": refit,
                "slope_m": ground.taut(xy[reading.start], xy[reading.end], refit),
                "measured_m": reading.level_m,
                "residual_m": residual,
                "says": says,
            }
        )
    return records


def point_rows(places, on_map, fitted, peg_rows, ground) -> list[dict]:
    """Describe the control points after the fit."""
    used = {row.get(key) for row in peg_rows for key in ("point_a", "point_b", "point_c")}
    moved = np.hypot(*(fitted - on_map).T)
    return [
        {
            "point_id": place.point_id,
            "name": place.name,
            "kind": place.kind,
            "source_id": place.source_id,
            "x_m": float(xy[0]),
            "y_m": float(xy[1]),
            "ground_m": float(z),
            "moved_m": float(shift),
            "used": place.point_id in used,
        }
        for place, xy, z, shift in zip(places, fitted, ground.height(fitted), moved, strict=True)
    ]
