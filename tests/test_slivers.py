"""Rings, holes and parts thinner than a millimetre: taken out and said, or refused by row."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from reading_kit import read_frames
from site_layers import EAST, NORTH, UTM, box

from screenplan.contracts import INPUTS
from screenplan.ground.errors import InputError
from screenplan.site.repair import SAME_VERTEX_M, Findings, mend

#: Narrower than `SAME_VERTEX_M`.
THIN = 0.0005
FIXED = {
    "buildings": {"height_m": 5.0},
    "existing_screens": {"kind": "wall", "height_m": 2.0},
    "keep_outs": {"kind": "pond"},
    "utilities": {"kind": "gas"},
    "windows": {"sill_m": 1.0},
}
POLYGON_LAYERS = [name for name, contract in INPUTS.items() if "Polygon" in contract.geometry]
LINE_LAYERS = [name for name, contract in INPUTS.items() if "LineString" in contract.geometry]
SOUND = box(22, -15, 38, 15)


def holed(*holes):
    return shapely.Polygon(SOUND.exterior.coords, [hole.exterior.coords for hole in holes])


def triangle(size):
    return shapely.Polygon(
        [(EAST + x, NORTH + y) for x, y in ((22, 0), (22 + size, 0), (22, size))]
    )


#: What is left of each is the sound rectangle alone.
MENDED = {
    "long hole": (holed(box(25, 5, 25 + THIN, 10)), "1 hole thinner than 1 mm taken out"),
    "dot of a hole": (holed(box(25, 5, 25 + THIN, 5 + THIN)), "1 hole thinner than 1 mm taken out"),
    "two holes": (
        holed(box(25, 5, 25 + THIN, 5 + THIN), box(28, 5, 28 + THIN, 9)),
        "2 holes thinner than 1 mm taken out",
    ),
    "long part": (
        shapely.multipolygons([SOUND, box(50, 0, 50 + THIN, 10)]),
        "1 part thinner than 1 mm taken out",
    ),
    "dot of a part": (
        shapely.multipolygons([box(50, 0, 50 + THIN, THIN), SOUND]),
        "1 part thinner than 1 mm taken out",
    ),
}  # fmt: skip
REFUSED = {
    "long ring": box(22, 0, 22 + THIN, 10),
    "longer ring of more than the least area": box(22, -50, 22 + THIN, 50),
    "dot": box(22, 0, 22 + THIN, THIN),
    "triangle": triangle(THIN),
    "parts": shapely.multipolygons([box(22, 0, 22 + THIN, 9), box(50, 0, 50 + THIN, THIN)]),
    "spike there and back": shapely.Polygon(
        [(EAST + x, NORTH) for x in (22, 30, 26, 28)]
    ),
}  # fmt: skip


def read(layer, shape):
    neighbour = shape if layer == "parcels" else box(20, -20, 60, 20)
    lots = gpd.GeoDataFrame(
        {"parcel_id": ["A", "B"]}, geometry=[box(-20, -20, 20, 20), neighbour], crs=UTM
    )
    layers = {"parcels": lots}
    if layer != "parcels":
        layers[layer] = gpd.GeoDataFrame({"note": ["x"]}, geometry=[shape], crs=UTM)
    fixed = {layer: FIXED[layer]} if layer in FIXED else {}
    return read_frames(layers, subject_id="A", fixed=fixed)


def mended(layer, shape):
    """What `mend` makes of one row, and its findings."""
    findings = Findings(layer)
    rows = gpd.GeoDataFrame(geometry=[shape], crs=UTM, index=[7])
    return mend(rows, INPUTS[layer], findings), findings


@pytest.mark.parametrize("layer", POLYGON_LAYERS)
@pytest.mark.parametrize("case", MENDED)
def test_a_thin_hole_or_part_is_taken_out_and_said(layer, case):
    shape, said = MENDED[case]
    left, findings = mended(layer, shape)
    assert (layer, 7, said) in findings.repairs
    assert not findings.problems
    # Evidence: trivial by construction, the sound rectangle is left.
    assert shapely.normalize(left.geometry.iloc[0]).equals(shapely.normalize(SOUND))
    assert left.geometry.iloc[0].geom_type == "Polygon"


@pytest.mark.parametrize("layer", POLYGON_LAYERS)
@pytest.mark.parametrize("case", REFUSED)
def test_a_thin_ring_is_refused_by_row(layer, case):
    left, findings = mended(layer, REFUSED[case])
    assert left.empty
    (problem,) = findings.problems
    assert problem.rows == (7,)
    thinner = "more than the least area" in case
    assert problem.what == (
        "The polygon is thinner than 1 mm"
        if thinner
        else "The polygon has no area (less than 0.01 m²)"
    )


@pytest.mark.parametrize("layer", POLYGON_LAYERS)
def test_a_site_is_read_whatever_its_layer_of_slivers(layer):
    shape, said = MENDED["dot of a hole"]
    site = read(layer, shape)
    assert said in site.repairs.loc[site.repairs["layer"] == layer, "repair"].tolist()
    row = 2 if layer == "parcels" else 1
    with pytest.raises(InputError, match=rf"row {row}: The polygon has no area"):
        read(layer, REFUSED["dot"])


def test_a_thin_subject_is_refused():
    lots = gpd.GeoDataFrame({"parcel_id": ["A"]}, geometry=[box(0, 0, THIN, THIN)], crs=UTM)
    with pytest.raises(InputError, match="row 1: The polygon has no area"):
        read_frames({"parcels": lots}, subject_id="A")


def test_a_bow_tie_is_no_sliver():
    # Its two halves cancel: net area 0, and yet 200 m² of it are there.
    tie = shapely.Polygon(
        [(EAST + x, NORTH + y) for x, y in ((22, 0), (42, 20), (42, 0), (22, 20))]
    )
    _, findings = mended("keep_outs", tie)
    assert "The polygon is invalid (self-intersection)" in findings.problems[0].what


@pytest.mark.parametrize("width", [1.5, 3.0])
def test_what_is_wider_stays(width):
    # Evidence: closed form, the mean width of a long strip is its width.
    gap = width * SAME_VERTEX_M
    left, findings = mended("keep_outs", holed(box(25, 5, 25 + gap, 10)))
    assert len(left.geometry.iloc[0].interiors) == 1
    assert not [said for _, _, said in findings.repairs if "thinner" in said]


@pytest.mark.parametrize("layer", LINE_LAYERS)
@pytest.mark.parametrize(
    ("points", "is_left_out"),
    [([0, THIN], True), ([0, THIN / 2, THIN], True), ([0, THIN / 2, 0], True), ([0, 5, 5 + THIN], False)],
)  # fmt: skip
def test_a_line_of_no_length_is_left_out_by_row(layer, points, is_left_out):
    left, findings = mended(layer, shapely.LineString([(EAST + 22 + x, NORTH) for x in points]))
    assert ((layer, 7, "line without length: row left out") in findings.repairs) == is_left_out
    assert left.empty == is_left_out


def test_a_short_part_of_a_line_is_taken_out():
    long = shapely.LineString([(EAST + 22, NORTH), (EAST + 30, NORTH)])
    short = shapely.LineString([(EAST + 40, NORTH), (EAST + 40 + THIN, NORTH)])
    left, findings = mended("roads", shapely.multilinestrings([long, short]))
    assert left.geometry.iloc[0].equals(long)
    assert findings.repairs == [("roads", 7, "1 part shorter than 1 mm taken out")]


def test_no_outline_of_a_few_millimetres_ends_in_a_traceback():
    # Evidence: invariant over random outlines; refused by row, or valid.
    for seed in range(60):
        hold_small_outlines(np.random.default_rng(seed))


def hold_small_outlines(rng):
    turns = np.sort(rng.uniform(0.0, 2 * np.pi, rng.integers(3, 40)))
    radius = 10.0 ** rng.uniform(-4.0, -0.5) * rng.uniform(0.2, 1.0, len(turns))
    ring = np.column_stack([radius * np.cos(turns), radius * np.sin(turns) * rng.choice([1, 100])])
    alone, hole = (
        shapely.Polygon(np.add(ring, (EAST + 25, NORTH))),
        shapely.linearrings(np.add(ring, (EAST + 30, NORTH))),
    )
    for shape in (
        alone,
        shapely.Polygon(SOUND.exterior, [hole]),
        shapely.multipolygons([SOUND, alone]),
    ):
        left, findings = mended("keep_outs", shape)
        assert left.empty == bool(findings.problems)
        assert left.is_valid.all()
