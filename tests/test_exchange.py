"""GPX, KML, DXF and CSV of the stake-out, each read back; text from layers stays text."""

import csv
import re
import xml.etree.ElementTree as ET
from functools import cache

import fiona
import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
import works_site as site
from options_kit import plan_with
from pyproj import Geod

from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.outputs import exchange
from screenplan.outputs.calendar_file import write_order_list
from screenplan.works.fence import lay_fence
from screenplan.works.quantities import count_material
from screenplan.works.stakeout import stake_out

NASTY = '=1+1 <script>alert("x")</script> & \x01 Ü'
#: A place in a hand-held receiver: 9 decimals of a degree are 0.1 mm.
SAME_M = 0.0005


@cache
def frame() -> LocalFrame:
    return LocalFrame.around(
        gpd.GeoSeries([shapely.box(5.0, 50.0, 5.001, 50.001)], crs="EPSG:4326")
    )


@cache
def _layers(title: str):
    subject, lines, plants = site.planted(along=("north", "east"), rows=2)
    house = site.buildings()
    house["kind"] = title
    marks = site.layer([shapely.Point(20, 50)], mark_id=["m"], name=[title], kind=["pin"])
    stands, runs, options = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(fence_scheme="perimeter", fence_years=3)
    )
    layers = dict(
        zip(
            ("tape_points", "pegs", "base_lines", "stakes", "stake_checks"),
            stake_out(
                site.layers(
                    subject, lines, plants, buildings=house, marks=marks, fence_posts=stands
                )
            ),
            strict=True,
        )
    )
    layers |= {
        "parcels": subject,
        "planting_lines": lines,
        "plants": plants,
        "fence_posts": stands,
        "fence_wires": runs,
    }
    layers["quantities"] = count_material(
        site.layers(subject, lines, plants, fence_options=options)
    )
    for name, layer in layers.items():
        if isinstance(layer, gpd.GeoDataFrame):
            layers[name] = layer.set_crs(frame().crs)
    return layers


def layers(title="hydrant"):
    return dict(_layers(title))


def write(folder, title="hydrant"):
    return exchange.write_exchange(
        layers(title), folder, send_out=frame().send_out, frame_note="Metres of the local frame"
    )


def points_back(geometry) -> np.ndarray:
    """Metres of the frame from longitude and latitude, by the geodesic from the frame's origin."""
    xy = shapely.get_coordinates(geometry)
    geod = Geod(ellps="WGS84")
    lon0, lat0 = frame().lon0, frame().lat0
    azimuth, _, distance = geod.inv(np.full(len(xy), lon0), np.full(len(xy), lat0), *xy.T)
    angle = np.radians(azimuth)
    return np.column_stack([distance * np.sin(angle), distance * np.cos(angle)])


def named() -> dict[str, tuple[float, float]]:
    own = layers()
    used = own["tape_points"][own["tape_points"]["used"]]
    rows = [
        *zip(used["point_id"], used["x_m"], used["y_m"], strict=True),
        *zip(own["pegs"]["peg_id"], own["pegs"]["x_m"], own["pegs"]["y_m"], strict=True),
        *zip(own["stakes"]["stake_id"], own["stakes"]["x_m"], own["stakes"]["y_m"], strict=True),
    ]
    return {str(name): (x, y) for name, x, y in rows}


def check_places(names, geometry) -> None:
    expected = named()
    assert sorted(names) == sorted(expected)
    # Another library's geodesics put every point where the plan has it: within half a millimetre on
    # a site of 70 m (the frame's own projection differs from a geodesic by less).
    assert points_back(geometry) == pytest.approx(
        np.array([expected[name] for name in names]), abs=SAME_M
    )


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Points for receivers as GPX: read by GDAL, placed by geodesics",
    source="GDAL through pyogrio and fiona; pyproj.Geod",
    status="run",
    tolerance=f"{1000 * SAME_M:g} mm on a site of 70 m",
)
def test_gpx_is_read_back(tmp_path):
    write(tmp_path)
    read = pyogrio.read_dataframe(tmp_path / "stakeout.gpx", layer="waypoints")
    check_places(read["name"], read.geometry)
    assert set(read["type"]) == {"tape point", "peg", "stake"}
    assert read["cmt"].str.contains("plant by the tape").all()
    with fiona.open(tmp_path / "stakeout.gpx", layer="waypoints") as source:  # another GDAL
        assert sum(1 for _ in source) == len(read)
    tree = ET.parse(tmp_path / "stakeout.gpx")
    assert tree.getroot().attrib["version"] == "1.1"


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="The same points as KML",
    source="GDAL through pyogrio; pyproj.Geod",
    status="run",
    tolerance=f"{1000 * SAME_M:g} mm on a site of 70 m",
)
def test_kml_is_read_back(tmp_path):
    write(tmp_path)
    read = pyogrio.read_dataframe(tmp_path / "stakeout.kml")
    check_places(read["Name"], read.geometry)
    assert read["description"].str.contains("Have buried lines located before any digging").all()
    marks = ET.parse(tmp_path / "stakeout.kml").iter("{http://www.opengis.net/kml/2.2}Placemark")
    assert len(list(marks)) == len(read)


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Points and lines for surveyors as DXF",
    source="GDAL through pyogrio and fiona",
    status="run",
    tolerance="1 µm",
)
def test_dxf_is_read_back_in_metres_of_the_frame(tmp_path):
    written = write(tmp_path)
    file = tmp_path / "stakeout.dxf"
    read = pyogrio.read_dataframe(file)
    assert len(read) == written[file]["entities"]
    own = layers()
    pegs = read.loc[read["Layer"] == "PEGS"].geometry
    for row, peg in zip(own["pegs"].itertuples(), pegs, strict=True):
        assert (peg.x, peg.y, peg.z) == pytest.approx((row.x_m, row.y_m, row.ground_m), abs=1e-6)
    stakes = read.loc[read["Layer"] == "STAKES"].geometry
    assert shapely.get_coordinates(stakes) == pytest.approx(
        shapely.get_coordinates(own["stakes"].geometry), abs=1e-6
    )
    outline = read.loc[read["Layer"] == "PARCEL"].geometry.iloc[0]
    assert outline.length == pytest.approx(site.PARCEL.length)
    assert {"BASE_LINE", "FENCE", "PLANTING_LINE"} <= set(read["Layer"])
    head = file.read_text(encoding="utf-8").splitlines()
    assert head[:2] == ["999", "Metres of the local frame"]
    with fiona.open(file) as source:
        assert sum(1 for _ in source) == len(read)


def test_the_list_of_points_holds_both_kinds_of_coordinates(tmp_path):
    write(tmp_path)
    with (tmp_path / "points.csv").open(encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(source))
    expected = named()
    assert {row["name"] for row in rows} == set(expected)
    for row in rows:
        assert (float(row["x_m"]), float(row["y_m"])) == pytest.approx(
            expected[row["name"]], abs=5e-5
        )
    geometry = shapely.points([[float(row["longitude"]), float(row["latitude"])] for row in rows])
    check_places([row["name"] for row in rows], geometry)


def test_sheets_are_written_as_tables(tmp_path):
    written = write(tmp_path)
    own = layers()
    for name in ("stakes", "pegs", "base_lines", "tape_points"):
        with (tmp_path / f"{name}.csv").open(encoding="utf-8", newline="") as source:
            rows = list(csv.DictReader(source))
        assert len(rows) == len(own[name]) == written[tmp_path / f"{name}.csv"][name]
        assert "geometry" not in rows[0]
    assert float(rows[0]["x_m"]) == pytest.approx(own["tape_points"]["x_m"].iloc[0], abs=1e-6)


@pytest.mark.parametrize(
    ("name", "spoil", "lost"),
    [
        ("stakeout.gpx", lambda text: re.sub(r"<name>.*?</name>", "", text), "column name of every"),
        ("stakeout.gpx", lambda text: re.sub(r"<cmt>.*?</cmt>", "<cmt/>", text, count=1), "column cmt"),
        ("stakeout.gpx", lambda text: re.sub(r"<wpt.*?</wpt>", "", text, count=1, flags=re.S), r"\d+ of \d+ rows"),
        ("stakeout.gpx", lambda text: re.sub(r'lat="(\d+)\.', r'lat="\1.0', text), "not every place"),
        ("stakeout.kml", lambda text: re.sub(r"<description>.*?</description>", "", text, flags=re.S), "column Description"),
    ],
)  # fmt: skip
def test_a_file_that_lacks_what_was_written_is_refused(tmp_path, monkeypatch, name, spoil, lost):
    # As pyogrio before 0.13 did: its waypoints had no names, and nothing was said.
    whole = exchange.raw.write

    def write_less(path, *arguments, **options):
        whole(path, *arguments, **options)
        if path.name == name:
            path.write_text(spoil(path.read_text("utf-8")), "utf-8")

    monkeypatch.setattr(exchange.raw, "write", write_less)
    with pytest.raises(
        InputError, match=rf"{name}: What was written did not arrive: it holds .*{lost}"
    ):
        write(tmp_path)


@pytest.mark.parametrize("title", ["", " a  b ", "\u0301\U0001f333", "a\nb", "x" * 3000])
def test_odd_names_arrive(tmp_path, title):
    assert len(write(tmp_path, title)) == 8


def test_text_from_layers_stays_text(tmp_path):
    write(tmp_path, NASTY)
    clean = NASTY.replace("\x01", " ")
    read = pyogrio.read_dataframe(tmp_path / "stakeout.gpx", layer="waypoints")
    own = layers(NASTY)["tape_points"]
    used = own.loc[own["used"], "name"]
    assert read["desc"].iloc[0] == used.iloc[0].replace("\x01", " ")
    assert any(clean in text for text in used.str.replace("\x01", " "))
    for name in ("stakeout.gpx", "stakeout.kml"):
        text = (tmp_path / name).read_text(encoding="utf-8")
        assert "<script>" not in text
        if name.endswith("kml"):  # escaped twice: for XML, and for viewers that show HTML
            assert "&amp;lt;script" in text
        ET.fromstring(text)
    with (tmp_path / "tape_points.csv").open(encoding="utf-8", newline="") as source:
        cells = [row["name"] for row in csv.DictReader(source)]
    assert f"'{clean}" in cells  # no spreadsheet takes it for a formula
    assert not any(cell.startswith("=") for cell in cells)


def test_nothing_staked_writes_nothing(tmp_path):
    assert exchange.write_exchange({}, tmp_path, send_out=frame().send_out, frame_note="") == {}
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(InputError, match=r"could not be written"):
        write(tmp_path / "none")


@pytest.mark.parametrize(("units", "round_litres"), [("metric", " l"), ("us", " gal")])
def test_the_order_list_speaks_the_users_units(tmp_path, units, round_litres):
    file = tmp_path / "order_list.csv"
    material = layers()["quantities"]
    assert write_order_list(material, file, units=units) == len(material)
    with file.open(encoding="utf-8", newline="") as source:
        rows = {row["item"]: row for row in csv.DictReader(source)}
    table = material.set_index("item")
    assert rows["plant"]["order"] == f"{table.loc['plant', 'packs']} × plant"
    assert (
        rows["plant"]["name"] == "Plants: emerald green arborvitae (Thuja occidentalis 'Smaragd')"
    )
    assert rows["plant"]["stock"] == "container"
    # 0.9 m are 2.95 ft.
    assert rows["plant"]["height"] == ("0.90 m" if units == "metric" else "3.0 ft")
    # Those that are planted again are of the same stock.
    assert rows["plant_again"]["stock"] == "container"
    others = rows.keys() - {"plant", "plant_again"}
    assert {rows[item]["stock"] for item in others} == {""}
    assert rows["water_round"]["needed"].endswith(round_litres)
    # 50 l are 1.77 cu ft, 0.05 / 0.3048³.
    size = "50 l" if units == "metric" else "1.8 cu ft"
    assert rows["mulch"]["order"] == f"{table.loc['mulch', 'packs']} × bag of {size}"
    if units == "us":
        for row in rows.values():
            assert " m " not in row["how"] + " "
            assert " cm " not in row["how"]
