"""A drawing of the stake-out for survey software, as DXF: points with their numbers, on layers with colours.

A point stands at the height of its ground, its number or name beside it, on a layer of its own kind, so
that numbers can be shown and hidden. Lines of writing stand square to the row, where they do not run
into each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from pyogrio import raw

from screenplan.ground.errors import refuse
from screenplan.ground.texts import clean_text
from screenplan.ground.units import SAME_UNIT
from screenplan.outputs.vector import explain_failure

#: Height of the numbers, metres: 2.5 mm on a sheet at 1 : 100, as ISO 3098 has it for small writing.
TEXT_M = 0.25
#: They are never higher than this share of the way to the next stake, so that they stay apart.
TEXT_SHARE = 0.6
#: Direction of the names of pegs and tape points, degrees.
NAME_DEG = 45.0
#: Layers and their colours by the number that every CAD program knows: 7 is black or white, and all are read on
#: either ground (looked at on black and on white).
COLOURS = {
    "PARCEL": 7,
    "NO_PLANT_ZONE": 1,
    "PLANTING_LINE": 3,
    "BASE_LINE": 150,
    "FENCE": 30,
    "TAPE_POINTS": 6,
    "TAPE_POINT_NAMES": 6,
    "PEGS": 150,
    "PEG_NAMES": 150,
    "STAKES": 3,
    "STAKE_NUMBERS": 7,
}
#: Units of a drawing by metres in one: the code of its head, which is 6 for metres, 2 for feet, 21 for survey feet.
UNITS = ((1.0, 6), (0.3048, 2), (1200.0 / 3937.0, 21))

#: Layers of the plan that are drawn as lines, and where.
LINES = (
    ("PARCEL", "parcels"),
    ("PLANTING_LINE", "planting_lines"),
    ("BASE_LINE", "base_lines"),
    ("FENCE", "fence_posts"),
    ("FENCE", "fence_wires"),
    ("FENCE", "new_screens"),
    ("NO_PLANT_ZONE", "no_plant_zones"),
)
#: Layers of points: theirs, that of their writing, and the column that is written.
POINTS = (
    ("tape_points", "TAPE_POINTS", "TAPE_POINT_NAMES", "point_id"),
    ("pegs", "PEGS", "PEG_NAMES", "peg_id"),
    ("stakes", "STAKES", "STAKE_NUMBERS", "stake_id"),
)


#: Every layer of the plan that a drawing takes.
DRAWN = frozenset(name for _, name in LINES) | {name for name, *_ in POINTS}


class Mark(NamedTuple):
    """A point of a drawing: its layer, that of its name, place, height, name, and direction of writing in degrees."""

    layer: str
    named_on: str
    x: float
    y: float
    z: float
    name: str
    turned_deg: float


class Drawing(NamedTuple):
    """What a drawing holds, in its own units: lines with their layers, marks, and the height of writing.

    A line of one place is a point without a name, such as a post.
    """

    lines: list[tuple[str, np.ndarray]]
    marks: list[Mark]
    text_height: float

    @property
    def entities(self) -> int:
        """How many things are drawn; a mark is a point and its name."""
        return len(self.lines) + 2 * len(self.marks)


def draw(layers: Mapping[str, pd.DataFrame], metres_in_unit: float = 1.0) -> Drawing:
    """Lay out a drawing.

    Parameters
    ----------
    layers : mapping
        Layers of a run, all in the drawing's reference system.
    metres_in_unit : float
        Metres in one of its units; heights are given in it too.
    """
    lines = [
        (label, xy)
        for label, name in LINES
        if layers.get(name) is not None
        for shape in _drawn(name, layers[name]).geometry
        for xy in _ways(shape)
    ]
    bearing = _bearings(layers["base_lines"])
    marks = []
    for name, layer, named_on, key in POINTS:
        own = _drawn(name, layers[name])
        for row, shape in zip(own.to_dict("records"), own.geometry, strict=True):
            # A peg stands where the first stake does: its name is aslant, so that both are read.
            along = bearing.get(row.get("base_id"))
            turned = NAME_DEG if along is None else _readable(along + 90.0)
            height = row["ground_m"] / metres_in_unit
            marks.append(Mark(layer, named_on, shape.x, shape.y, height, str(row[key]), turned))
    return Drawing(lines, marks, _text_height(layers["stakes"].geometry, TEXT_M / metres_in_unit))


def write_dxf(drawing: Drawing, path: Path, notes: Iterable[str], metres_in_unit: float) -> None:
    """Write a drawing; the notes stand in comments on top, which readers pass over.

    Raises
    ------
    InputError
        If the file cannot be written, or does not hold what was drawn.
    """
    import ezdxf

    with explain_failure(path):
        # Without a date and a number by chance, so that the same plan gives the same file.
        fixed = ezdxf.options.write_fixed_meta_data_for_testing
        ezdxf.options.write_fixed_meta_data_for_testing = True
        try:
            document = _document(ezdxf, drawing, unit_code(metres_in_unit))
            with path.open("w", encoding="utf-8", newline="\n") as sink:
                for note in notes:
                    sink.write(f"999\n{clean_text(note).encode('ascii', 'replace').decode()}\n")
                document.write(sink)
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = fixed
        # Read by another library, for a full disk takes the end of a file.
        meta, _, _, fields = raw.read(path, read_geometry=False)
        held = list(fields[list(meta["fields"]).index("Layer")])
    expected = [layer for layer, _ in drawing.lines]
    expected += [name for mark in drawing.marks for name in (mark.layer, mark.named_on)]
    if held != expected:
        raise refuse(
            f"What was written did not arrive: it holds {len(held)} of {len(expected)} things, or not on their layers",
            "Look whether there is room on the disk, and run again",
            file=path.name,
        )


def unit_code(metres_in_unit: float) -> int | None:
    """Give the code of a unit in a drawing's head; None if it has none.

    Examples
    --------
    >>> unit_code(0.3048006096012192), unit_code(0.3048), unit_code(20.0)
    (21, 2, None)
    """
    return next(
        (code for metres, code in UNITS if math.isclose(metres, metres_in_unit, rel_tol=SAME_UNIT)),
        None,
    )


def _document(ezdxf, drawing: Drawing, units: int | None):
    document = ezdxf.new("R2010", setup=False)
    document.units = units or 0  # 0 is a drawing without a unit
    # Points as a circle with a cross, as large as the writing.
    document.header["$PDMODE"] = 34
    document.header["$PDSIZE"] = drawing.text_height
    for layer, colour in COLOURS.items():
        document.layers.add(layer, color=colour)
    space = document.modelspace()
    for layer, xy in drawing.lines:
        if len(xy) == 1:
            space.add_point(xy[0], dxfattribs={"layer": layer})
        else:
            space.add_lwpolyline(xy.tolist(), dxfattribs={"layer": layer})
    for mark in drawing.marks:
        space.add_point((mark.x, mark.y, mark.z), dxfattribs={"layer": mark.layer})
        turn = math.radians(mark.turned_deg)
        beside = drawing.text_height
        at = (mark.x + beside * math.cos(turn), mark.y + beside * math.sin(turn), mark.z)
        space.add_text(
            clean_text(mark.name),
            height=drawing.text_height,
            rotation=mark.turned_deg,
            dxfattribs={"layer": mark.named_on, "insert": at},
        )
    return document


def _drawn(name: str, layer: pd.DataFrame) -> pd.DataFrame:
    """Give the rows that are drawn: the subject alone, and tape points that are used."""
    column = {"parcels": "is_subject", "tape_points": "used"}.get(name)
    return layer if column is None else layer.loc[layer[column].to_numpy(bool)]


def _ways(shape: shapely.Geometry) -> Iterable[np.ndarray]:
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon":
            yield from (shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors))
        else:
            yield shapely.get_coordinates(part)


def _bearings(base_lines: pd.DataFrame) -> dict[str, float]:
    """Give the direction of each base line, degrees anticlockwise from the drawing's x axis."""
    found = {}
    for name, shape in zip(base_lines["base_id"], base_lines.geometry, strict=True):
        (x0, y0), *_, (x1, y1) = shapely.get_coordinates(shape)
        found[name] = math.degrees(math.atan2(y1 - y0, x1 - x0))
    return found


def _readable(turned_deg: float) -> float:
    """Turn writing so that it is read from below or from the right.

    Examples
    --------
    >>> _readable(180.0), _readable(90.0), _readable(-90.0)
    (0.0, 90.0, 90.0)
    """
    turned = turned_deg % 180.0
    return turned if turned <= 90.0 else turned - 180.0


def _text_height(stakes: Sequence[shapely.Point], most: float) -> float:
    if len(stakes) < 2:
        return most
    tree = shapely.STRtree(np.asarray(stakes))
    _, apart = tree.query_nearest(np.asarray(stakes), exclusive=True, return_distance=True)
    apart = apart[apart > 0.0]
    return min(most, TEXT_SHARE * float(apart.min())) if len(apart) else most
