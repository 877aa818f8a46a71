"""What the crew lays out with tapes."""

from __future__ import annotations

from screenplan.contracts.model import Column, Contract

TAPE_POINTS = Contract(
    "tape_points",
    ("Point",),
    "A point that can be found on the ground, from which tapes start",
    key="point_id",
    columns=(
        Column("point_id", "text", "Letter on the stake-out sheet: A, B, …", required=True),
        Column("name", "text", "What it is, in words", required=True),
        Column(
            "kind",
            "text",
            "mark (found monument), house corner or parcel corner",
            required=True,
            choices=("mark", "house corner", "parcel corner"),
        ),
        Column("source_id", "text", "Identifier of the mark, building or parcel", required=True),
        Column(
            "x_m", "number", "East of the site's origin, after the refit", unit="m", required=True
        ),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column(
            "moved_m",
            "number",
            "How far the refit to the measured distances moved it from its place on the map",
            unit="m",
            required=True,
        ),
        Column("used", "boolean", "True if a peg's tape starts here", required=True),
    ),
)


PEGS = Contract(
    "pegs",
    ("Point",),
    "A peg: an end of a base line, or a corner post of the fence, and how it is set",
    key="peg_id",
    columns=(
        Column("peg_id", "text", "Number on the stake-out sheet: P1, P2, …", required=True),
        Column(
            "role",
            "text",
            "zero (where the running distance starts), end, or fence",
            required=True,
            choices=("zero", "end", "fence"),
        ),
        Column("base_id", "text", "The base lines of which it is an end; empty for the fence"),
        Column("x_m", "number", "East of the site's origin", unit="m", required=True),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column(
            "method",
            "text",
            "How it is set: two tapes; offset (along the line from point a towards point b, and square "
            "to it); instrument (no tape reaches it); own end (of a line that was given without a parcel)",
            required=True,
            choices=("two tapes", "offset", "instrument", "own end"),
        ),
        Column(
            "point_a",
            "text",
            "Tape point, or peg that is set before, from which the first tape starts; empty for an "
            "instrument, as are the distances that the method does not use",
        ),
        Column("tape_a_m", "number", "Level distance from it", unit="m"),
        Column("slope_a_m", "number", "What a taut tape from ground to ground reads", unit="m"),
        Column(
            "point_b", "text", "Point from which the second tape starts, or to which one sights"
        ),
        Column("tape_b_m", "number", "Level distance from it", unit="m"),
        Column("slope_b_m", "number", "What a taut tape reads", unit="m"),
        Column(
            "along_m", "number", "Level distance from point a along its line to point b", unit="m"
        ),
        Column("slope_along_m", "number", "The same as a tape on the ground reads it", unit="m"),
        Column("offset_m", "number", "Distance from that line, square to it", unit="m", low=0.0),
        Column(
            "side",
            "text",
            "Side of the line from point a to point b on which the peg stands, seen from a",
            choices=("left", "right", "on the line"),
        ),
        Column(
            "crossing_deg",
            "number",
            "Angle at which the two tapes cross at the peg; good from 30 to 150",
            unit="deg",
            low=0.0,
            high=180.0,
        ),
        Column("point_c", "text", "Another point, for the check; empty if there is none"),
        Column("tape_c_m", "number", "Level distance from it", unit="m"),
        Column("slope_c_m", "number", "What a taut tape reads", unit="m"),
        Column(
            "tolerance_m",
            "number",
            "How far the peg can be out if every distance is read to a centimetre",
            unit="m",
            required=True,
        ),
        Column("says", "text", "What to watch at this peg"),
    ),
)


BASE_LINES = Contract(
    "base_lines",
    ("LineString",),
    "A straight line between two pegs along which a tape is laid",
    key="base_id",
    columns=(
        Column("base_id", "text", "Its identifier: L1, L2, …", required=True),
        Column("line_ids", "text", "Planting lines that are staked from it", required=True),
        Column("from_peg", "text", "Its zero peg", required=True),
        Column("to_peg", "text", "Its end peg", required=True),
        Column("length_m", "number", "Level distance between the pegs", unit="m", required=True),
        Column(
            "slope_m",
            "number",
            "The same along the ground, as a tape reads it",
            unit="m",
            required=True,
        ),
        Column(
            "bearing_deg",
            "number",
            "Direction from the zero peg, true; empty where north is not known",
            unit="deg",
            low=0.0,
            high=360.0,
        ),
        Column(
            "stretch",
            "number",
            "Measured length per planned length along this tape; 1 if it was not measured",
            required=True,
        ),
        Column("stakes", "integer", "Stakes along it", required=True),
    ),
)


STAKES = Contract(
    "stakes",
    ("Point",),
    "A flag or paint mark where a plant goes",
    key="stake_id",
    columns=(
        Column("stake_id", "integer", "Number, the same as the plant's", required=True),
        Column("plant_id", "integer", "The plant", required=True),
        Column("line_id", "text", "Its planting line", required=True),
        Column("row", "integer", "Row, counted from the boundary", required=True),
        Column("base_id", "text", "The base line along which the tape lies", required=True),
        Column(
            "along_m",
            "number",
            "Running distance along the tape from the zero peg, level",
            unit="m",
            required=True,
        ),
        Column(
            "slope_along_m",
            "number",
            "The same as a tape on the ground reads it",
            unit="m",
            required=True,
        ),
        Column(
            "offset_m",
            "number",
            "Distance from the tape, square to it; 0 on the tape",
            unit="m",
            required=True,
            low=0.0,
        ),
        Column(
            "offset_side",
            "text",
            "left or right, seen from the zero peg towards the end peg; on the line if on the tape",
            required=True,
            choices=("left", "right", "on the line"),
        ),
        Column(
            "diagonal_m",
            "number",
            "Level distance from the zero peg straight to a stake off the tape: it proves the right "
            "angle; empty on the tape",
            unit="m",
        ),
        Column("x_m", "number", "East of the site's origin", unit="m", required=True),
        Column("y_m", "number", "North of it", unit="m", required=True),
        Column("ground_m", "number", "Height of the ground there", unit="m", required=True),
        Column(
            "tolerance_m",
            "number",
            "How far the stake can be out if every distance is read to a centimetre",
            unit="m",
            required=True,
        ),
        Column("mark", "text", "Flag or paint, in the user's words", required=True),
        Column("species", "text", "Key in the species table", required=True),
    ),
)


STAKE_CHECKS = Contract(
    "stake_checks",
    (),
    "A distance that proves the stake-out, or that the user measured",
    key="check_id",
    columns=(
        Column("check_id", "text", "Its identifier", required=True),
        Column("base_id", "text", "The base line; empty if it is about tape points"),
        Column(
            "kind",
            "text",
            "closing (zero peg to end peg), diagonal (a right angle), between (two pegs of different "
            "base lines), measured (given by the user)",
            required=True,
            choices=("closing", "diagonal", "between", "measured"),
        ),
        Column(
            "from_name", "text", "Where the tape starts: a peg, stake or tape point", required=True
        ),
        Column("to_name", "text", "Where it ends", required=True),
        Column("planned_m", "number", "Level distance on the map", unit="m", required=True),
        Column(
            "refit_m",
            "number",
            "Level distance after the refit: what to read today",
            unit="m",
            required=True,
        ),
        Column(
            "slope_m", "number", "The same on a taut tape on the ground", unit="m", required=True
        ),
        Column("measured_m", "number", "What the user measured, level", unit="m"),
        Column("residual_m", "number", "Measured less refit", unit="m"),
        Column(
            "says", "text", "What it proves, and what to do if it does not agree", required=True
        ),
    ),
)
