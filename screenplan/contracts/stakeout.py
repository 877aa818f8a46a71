"""What the crew lays out with tapes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from screenplan.contracts.columns import (
    boolean,
    degrees,
    integer,
    metres,
    number,
    sentence,
    tape,
    text,
)
from screenplan.contracts.model import Contract
from screenplan.contracts.presentation import STAKE_OUT, Place, Shown

if TYPE_CHECKING:
    import pandas as pd


def _used_points(points: pd.DataFrame) -> pd.DataFrame:
    """Give the points from which a tape starts; without a column of what no fit has moved."""
    used = points.loc[points["used"].astype(bool)]
    return used if (used["moved_m"] > 0.0).any() else used.drop(columns="moved_m")


TAPE_POINTS = Contract(
    "tape_points",
    ("Point",),
    "A point that can be found on the ground, from which tapes start",
    key="point_id",
    place=Place("Stake-out", 30, (STAKE_OUT,)),
    report=(
        Shown(
            "setting",
            10,
            whole=True,
            title="Tape points",
            columns="point_id name x_m y_m moved_m",
            lead="Find these on the ground first. East and north are counted from the site's origin: distances between two points can be worked out from them as a check.",
            keep=_used_points,
        ),
    ),
    columns=(
        text("point_id", "Letter on the stake-out sheet: A, B, …"),
        text("name", "What it is, in words", heading="what it is"),
        text(
            "kind",
            "mark (found monument), house corner or parcel corner",
            "Kind of point",
            choices=("mark", "house corner", "parcel corner"),
        ),
        text("source_id", "Identifier of the mark, building or parcel", "Mark, building or parcel"),
        tape("x_m", "East of the site's origin, after the refit", "East"),
        tape("y_m", "North of it", "North"),
        metres("ground_m", "Height of the ground there", "Height of the ground"),
        tape(
            "moved_m",
            "How far the refit to the measured distances moved it from its place on the map",
            "Moved by the refit",
            heading="moved by the fit",
        ),
        boolean("used", "True if a peg's tape starts here"),
    ),
)


PEGS = Contract(
    "pegs",
    ("Point",),
    "A peg: an end of a base line, or a corner post of the fence, and how it is set",
    key="peg_id",
    optional="base_id point_a tape_a_m slope_a_m point_b tape_b_m slope_b_m along_m slope_along_m offset_m side crossing_deg point_c tape_c_m slope_c_m says",
    place=Place("Stake-out", 20, (STAKE_OUT,)),
    report=(
        Shown(
            "setting",
            20,
            whole=True,
            title="Pegs at the ends of the row",
            columns="peg_id role x_m y_m",
            headings={"x_m": "x", "y_m": "y"},
            lead="Only the row is known, so nothing is measured to its ends: set the first peg where the row is to begin, the other in the direction in which it is to run. The base lines, or the proofs below, give the distance between them; x and y are counted from the plan's own origin.",
            tick=True,
            keep=lambda frame: frame.loc[frame["method"] == "own end"],
            key="pegs-of-the-row",
        ),
        Shown(
            "setting",
            21,
            whole=True,
            title="Pegs",
            columns="peg_id role point_a tape_a_m slope_a_m point_b tape_b_m slope_b_m side crossing_deg point_c slope_c_m tolerance_m",
            headings={"side": "side of 1→2"},
            lead="Hook a tape on each of the two points and swing both until they meet: the peg stands there, on the side that is named, seen from the first point towards the second. Hold the tapes level. Where a second distance is given, you may pull them taut over the ground and read that one.",
            tick=True,
            keep=lambda frame: frame.loc[frame["method"] == "two tapes"],
            notes=("peg_id", "says"),
        ),
        Shown(
            "setting",
            22,
            whole=True,
            title="Pegs by offset",
            columns="peg_id role point_a point_b along_m slope_along_m offset_m side point_c slope_c_m tolerance_m",
            headings={"point_a": "line from", "point_b": "towards"},
            lead="No two tapes cross well at these pegs. Lay one tape from the first point towards the second, and sight it on past that if the distance asks for it. At the distance set off the offset square to it, on the side that is named, seen from the first point.",
            tick=True,
            keep=lambda frame: frame.loc[frame["method"] == "offset"],
            notes=("peg_id", "says"),
            key="pegs-by-offset",
        ),
        Shown(
            "setting",
            23,
            whole=True,
            title="Pegs that need an instrument",
            columns="peg_id role x_m y_m",
            lead="Something is in the way of every tape. Have these set by a total station or a survey receiver from their coordinates, which are counted as those of the tape points are, or find a mark that sees them.",
            tick=True,
            keep=lambda frame: frame.loc[frame["method"] == "instrument"],
            notes=("peg_id", "says"),
            key="pegs-by-instrument",
        ),
    ),
    columns=(
        text("peg_id", "Number on the stake-out sheet: P1, P2, …"),
        text(
            "role",
            "zero (where the running distance starts), end, or fence",
            heading="is",
            choices=("zero", "end", "fence"),
        ),
        text("base_id", "The base lines of which it is an end; empty for the fence", "Base line"),
        tape("x_m", "East of the site's origin", "East"),
        tape("y_m", "North of it", "North"),
        metres("ground_m", "Height of the ground there", "Height of the ground"),
        text(
            "method",
            "How it is set: two tapes; offset (along the line from point a towards point b, and square to it); instrument (no tape reaches it); own end (of a line that was given without a parcel)",
            "Set by",
            choices=("two tapes", "offset", "instrument", "own end"),
        ),
        text(
            "point_a",
            "Tape point, or peg that is set before, from which the first tape starts; empty for an instrument, as are the distances that the method does not use",
            "Tape point A",
            heading="tape 1 from",
        ),
        tape("tape_a_m", "Level distance from it", "Tape A, level", heading="level"),
        tape(
            "slope_a_m",
            "What a taut tape from ground to ground reads",
            "Tape A, taut",
            heading="taut tape",
            same_as="tape_a_m",
        ),
        text(
            "point_b",
            "Point from which the second tape starts, or to which one sights",
            "Tape point B",
            heading="tape 2 from",
        ),
        tape("tape_b_m", "Level distance from it", "Tape B, level", heading="level"),
        tape(
            "slope_b_m",
            "What a taut tape reads",
            "Tape B, taut",
            heading="taut tape",
            same_as="tape_b_m",
        ),
        tape(
            "along_m",
            "Level distance from point a along its line to point b",
            "From A along A to B, level",
            heading="level",
        ),
        tape(
            "slope_along_m",
            "The same as a tape on the ground reads it",
            "From A along A to B, on the ground",
            heading="along the ground",
            same_as="along_m",
        ),
        tape(
            "offset_m",
            "Distance from that line, square to it",
            "Offset from the line A to B",
            heading="offset",
            low=0.0,
        ),
        text(
            "side",
            "Side of the line from point a to point b on which the peg stands, seen from a",
            "Side of the line A to B",
            heading="to the",
            choices=("left", "right", "on the line"),
        ),
        degrees(
            "crossing_deg",
            "Angle at which the two tapes cross at the peg; good from 30 to 150",
            "Tapes cross at",
            high=180.0,
        ),
        text(
            "point_c",
            "Another point, for the check; empty if there is none",
            "Tape point C",
            heading="check from",
        ),
        metres("tape_c_m", "Level distance from it", "Tape C, level"),
        tape("slope_c_m", "What a taut tape reads", "Tape C, taut", heading="taut tape"),
        tape(
            "tolerance_m",
            "How far the peg can be out if every distance is read to a centimetre",
            "May be out by",
            heading="within",
        ),
        sentence("says", "What to watch at this peg", "In words"),
    ),
)


BASE_LINES = Contract(
    "base_lines",
    ("LineString",),
    "A straight line between two pegs along which a tape is laid",
    key="base_id",
    optional="bearing_deg",
    place=Place("Stake-out", 40, (STAKE_OUT,)),
    report=(
        Shown(
            "setting",
            30,
            whole=True,
            title="Base lines",
            columns="base_id from_peg to_peg length_m slope_m bearing_deg stakes line_ids",
            lead="Lay one tape from the zero peg to the end peg and leave it there: every stake is read on it, never measured from the stake before.",
            tick=True,
        ),
    ),
    columns=(
        text("base_id", "Its identifier: L1, L2, …", "Base line", heading="line"),
        text(
            "line_ids", "Planting lines that are staked from it", "Planting lines", heading="rows"
        ),
        text("from_peg", "Its zero peg", heading="from peg (zero)"),
        text("to_peg", "Its end peg"),
        tape("length_m", "Level distance between the pegs", heading="level"),
        tape(
            "slope_m",
            "The same along the ground, as a tape reads it",
            "Length on the ground",
            heading="along the ground",
            same_as="length_m",
        ),
        degrees(
            "bearing_deg",
            "Direction from the zero peg, true; empty where north is not known",
            heading="bearing, true",
        ),
        number(
            "stretch",
            "Measured length per planned length along this tape; 1 if it was not measured",
        ),
        integer("stakes", "Stakes along it"),
    ),
)


STAKES = Contract(
    "stakes",
    ("Point",),
    "A flag or paint mark where a plant goes",
    key="stake_id",
    optional="diagonal_m",
    place=Place("Stake-out", 10, (STAKE_OUT,)),
    report=(
        Shown(
            "stakes",
            10,
            whole=True,
            title="Stakes",
            columns="stake_id base_id along_m slope_along_m offset_m offset_side diagonal_m tolerance_m species mark",
            lead="Hold the tape level. Where a second distance is given, read that one on a tape that lies on the ground. A stake without an offset stands at the tape; an offset is square to it, and its diagonal proves the right angle.",
            tick=True,
        ),
    ),
    columns=(
        integer("stake_id", "Number, the same as the plant's"),
        integer("plant_id", "The plant"),
        text("line_id", "Its planting line", "Planting line"),
        integer("row", "Row, counted from the boundary"),
        text("base_id", "The base line along which the tape lies", "Base line", heading="line"),
        tape(
            "along_m",
            "Running distance along the tape from the zero peg, level",
            "Along the tape, level",
            heading="level from zero",
        ),
        tape(
            "slope_along_m",
            "The same as a tape on the ground reads it",
            "Along the tape, on the ground",
            heading="along the ground",
            same_as="along_m",
        ),
        tape(
            "offset_m",
            "Distance from the tape, square to it; 0 on the tape",
            "Offset from the tape",
            heading="offset",
            low=0.0,
        ),
        text(
            "offset_side",
            "left or right, seen from the zero peg towards the end peg; on the line if on the tape",
            "Offset to the",
            heading="to the",
            choices=("left", "right", "on the line"),
        ),
        tape(
            "diagonal_m",
            "Level distance from the zero peg straight to a stake off the tape: it proves the right angle; empty on the tape",
            "Diagonal from the zero peg",
            heading="diagonal from zero",
        ),
        metres("x_m", "East of the site's origin", "East"),
        metres("y_m", "North of it", "North"),
        metres("ground_m", "Height of the ground there", "Height of the ground"),
        tape(
            "tolerance_m",
            "How far the stake can be out if every distance is read to a centimetre",
            "May be out by",
            heading="within",
        ),
        text("mark", "Flag or paint, in the user's words", "Flag or paint", heading="mark"),
        text("species", "Key in the species table", heading="plant", form="species"),
    ),
)


STAKE_CHECKS = Contract(
    "stake_checks",
    (),
    "A distance that proves the stake-out, or that the user measured",
    key="check_id",
    optional="base_id measured_m residual_m",
    report=(
        Shown(
            "proofs",
            10,
            whole=True,
            title="Distances that prove the stake-out",
            columns="check_id kind from_name to_name refit_m slope_m measured_m residual_m says",
            tick=True,
        ),
    ),
    columns=(
        text("check_id", "Its identifier"),
        text("base_id", "The base line; empty if it is about tape points", "Base line"),
        text(
            "kind",
            "closing (zero peg to end peg), diagonal (a right angle), between (two pegs of different base lines), measured (given by the user)",
            "Kind of check",
            heading="kind",
            choices=("closing", "diagonal", "between", "measured"),
        ),
        text("from_name", "Where the tape starts: a peg, stake or tape point", "From"),
        text("to_name", "Where it ends", "To"),
        metres("planned_m", "Level distance on the map", "On the map"),
        tape(
            "refit_m",
            "Level distance after the refit: what to read today",
            "After the refit",
            heading="level",
        ),
        tape(
            "slope_m",
            "The same on a taut tape on the ground",
            "On a taut tape",
            heading="taut tape",
            same_as="refit_m",
        ),
        tape("measured_m", "What the user measured, level", heading="you measured"),
        tape("residual_m", "Measured less refit", "Measured less refit", heading="off by"),
        sentence(
            "says",
            "What it proves, and what to do if it does not agree",
            "In words",
            heading="what it proves",
        ),
    ),
)
