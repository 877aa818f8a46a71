"""The drawing for survey software: read by two other libraries, in the local frame and in the parcels' own system."""

import csv

import ezdxf
import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS, Transformer
from test_exchange import frame, layers

from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.outputs import cad, exchange
from screenplan.site.point_lists import is_point_list, read_points

UTM, FEET = CRS(25831), CRS(2264)
#: Half of the last of nine decimals of a degree is 0.056 mm, half of the last of the list's four 0.05 mm; a
#: drawing has sixteen digits.
LIST_M = 1.2e-4
DRAWN_M = 1e-6
FOOT = 1200.0 / 3937.0  # the US survey foot, exact by definition


def write(folder, own_crs=None, at=None):
    at = at or frame()
    own = {
        name: layer.set_crs(at.crs, allow_override=True)
        if isinstance(layer, gpd.GeoDataFrame)
        else layer
        for name, layer in layers().items()
    }
    return own, exchange.write_exchange(
        own, folder, send_out=at.send_out, frame_note="Metres of the local frame", own_crs=own_crs
    )


def texts(document, layer):
    return {
        text.dxf.text: np.array(text.dxf.insert)
        for text in document.modelspace().query(f'TEXT[layer=="{layer}"]')
    }


def points(document, layer):
    found = document.modelspace().query(f'POINT[layer=="{layer}"]')
    return np.array([tuple(point.dxf.location) for point in found])


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="The drawing for surveyors: each stake, peg and tape point with its number beside it",
    source="ezdxf and its audit; GDAL through pyogrio",
    status="run",
    tolerance="1 µm",
)
def test_points_have_their_numbers_beside_them_on_layers_of_their_own(tmp_path):
    own, written = write(tmp_path)
    file = tmp_path / "stakeout.dxf"
    document = ezdxf.readfile(file)
    assert not document.audit().has_errors
    assert document.units == 6  # metres
    stakes = own["stakes"]
    assert points(document, "STAKES") == pytest.approx(
        stakes[["x_m", "y_m", "ground_m"]].to_numpy(float), abs=DRAWN_M
    )
    numbers = texts(document, "STAKE_NUMBERS")
    assert list(numbers) == [str(number) for number in stakes["stake_id"]]
    assert list(texts(document, "PEG_NAMES")) == list(own["pegs"]["peg_id"])
    used = own["tape_points"].loc[own["tape_points"]["used"].to_numpy(bool)]
    assert list(texts(document, "TAPE_POINT_NAMES")) == list(used["point_id"])
    # A number is nearer to its own stake than to any other.
    places = shapely.points(points(document, "STAKES")[:, :2])
    for at, place in enumerate(numbers.values()):
        away = shapely.distance(places, shapely.Point(place[:2]))
        assert int(np.argmin(away)) == at
    colours = {layer.dxf.name: layer.dxf.color for layer in document.layers}
    assert cad.COLOURS.items() <= colours.items()
    # GDAL reads the same.
    read = pyogrio.read_dataframe(file)
    assert len(read) == written[file]["entities"]
    assert read.loc[read["Layer"] == "STAKE_NUMBERS", "Text"].tolist() == list(numbers)
    assert set(read["Layer"]) <= set(cad.COLOURS)


def test_writing_stands_square_to_the_row_and_is_read_from_below_or_the_right(tmp_path):
    own, _ = write(tmp_path)
    document = ezdxf.readfile(tmp_path / "stakeout.dxf")
    ways = own["base_lines"].set_index("base_id").geometry
    found = document.modelspace().query('TEXT[layer=="STAKE_NUMBERS"]')
    for base, text in zip(own["stakes"]["base_id"], found, strict=True):
        (x0, y0), *_, (x1, y1) = shapely.get_coordinates(ways[base])
        turned = np.radians(text.dxf.rotation)
        along = np.array([x1 - x0, y1 - y0])
        assert along @ [np.cos(turned), np.sin(turned)] == pytest.approx(0.0, abs=1e-6)
        assert -90.0 < text.dxf.rotation <= 90.0


def test_numbers_are_lower_than_the_way_to_the_next_stake():
    close = shapely.points([[0.0, 0.0], [0.2, 0.0], [5.0, 0.0]])
    assert cad._text_height(close, 0.25) == pytest.approx(0.2 * cad.TEXT_SHARE)
    assert cad._text_height(close[:1], 0.25) == 0.25
    assert cad._text_height(shapely.points([[0.0, 0.0], [5.0, 0.0]]), 0.25) == 0.25


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Points in the parcels' own system, as a drawing and as a surveyor's list",
    source="pyproj from longitude and latitude of the same run; the list read back as one that a surveyor sends",
    status="run",
    tolerance=f"{LIST_M:g} m",
)
@pytest.mark.parametrize(("crs", "metres", "code"), [(UTM, 1.0, 6), (FEET, FOOT, 21)])
def test_the_same_in_the_parcels_own_system(tmp_path, crs, metres, code):
    lon, lat = (5.0, 50.0) if crs == UTM else (-80.8, 35.2)
    at = LocalFrame.around(
        gpd.GeoSeries([shapely.box(lon, lat, lon + 1e-3, lat + 1e-3)], crs="EPSG:4326")
    )
    _, written = write(tmp_path, crs, at)
    with (tmp_path / "points.csv").open(encoding="utf-8", newline="") as source:
        listed = list(csv.DictReader(source))
    degrees = [[float(row[name]) for name in ("longitude", "latitude")] for row in listed]
    move = Transformer.from_crs(4326, crs, always_xy=True, allow_ballpark=False)
    wanted = np.column_stack(move.transform(*np.array(degrees).T))
    file = tmp_path / exchange.OWN_LIST
    assert is_point_list(file)
    read = read_points(file)
    assert read.has_header
    assert read.points["number"].tolist() == [row["name"] for row in listed]
    assert set(read.points["code"]) == {"STAKE", "PEG", "TAPE POINT"}
    assert shapely.get_coordinates(read.points.geometry) == pytest.approx(
        wanted, abs=LIST_M / metres
    )
    heights = [float(height) for height in read.points["elevation"]]
    assert heights == pytest.approx([float(row["ground_m"]) / metres for row in listed], abs=LIST_M)
    document = ezdxf.readfile(tmp_path / exchange.OWN_DRAWING)
    assert not document.audit().has_errors
    assert document.units == code
    stakes = points(document, "STAKES")
    assert stakes[:, :2] == pytest.approx(wanted[-len(stakes) :], abs=LIST_M / metres)
    assert crs.name in (tmp_path / exchange.OWN_DRAWING).read_text("utf-8").splitlines()[1]
    assert written[tmp_path / exchange.OWN_LIST] == {"points": len(listed)}


def test_in_degrees_or_without_a_place_there_is_no_such_file(tmp_path):
    write(tmp_path, CRS(4326))
    assert not (tmp_path / exchange.OWN_DRAWING).exists()
    assert not (tmp_path / exchange.OWN_LIST).exists()
    assert exchange.unit_of(CRS(4326)) is None
    assert exchange.unit_of(FEET) == pytest.approx(FOOT, rel=1e-12)


def test_every_file_of_the_stake_out_is_described(tmp_path):
    _, written = write(tmp_path, UTM)
    tables = {f"{contract.name}.csv" for contract in exchange.SHEETS}
    made = {path.name for path in written} | {exchange.REQUEST_FILE}  # tests/test_request.py
    assert made == set(exchange.STAKEOUT_FILES) | tables
    assert all(losses for _, losses in exchange.STAKEOUT_FILES.values())


def test_the_same_plan_gives_the_same_drawing(tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write(tmp_path / name)
    one, two = ((tmp_path / name / "stakeout.dxf").read_bytes() for name in ("one", "two"))
    assert one == two


def test_a_drawing_that_lacks_something_is_refused(tmp_path, monkeypatch):
    whole = cad._document
    monkeypatch.setattr(
        cad, "_document", lambda library, drawing, units: whole(library, drawing._replace(marks=drawing.marks[1:]), units)
    )  # fmt: skip
    with pytest.raises(InputError, match=r"stakeout\.dxf: What was written did not arrive"):
        write(tmp_path)
