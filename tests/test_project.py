"""The project file: what is in it, and that it opens finished in the desktop GIS, sheets at true scale."""

import datetime as dt
import re
import shutil
import xml.etree.ElementTree as ET
import zipfile

import geopandas
import numpy as np
import pandas as pd
import pytest
from desktop_kit import PLACES, ask_desktop, parcel_at, show_desktop, why_no_window, why_not
from hypothesis import given
from hypothesis import strategies as st
from made_up import make_all
from PIL import Image
from pypdf import PdfReader
from pyproj import CRS, Transformer
from shapely.geometry import LineString, Point, box

from screenplan.contracts import OUTPUTS, SURROUNDINGS, WRITTEN, Contract, as_written
from screenplan.contracts.presentation import THEMES
from screenplan.ground.datum import ground_plane
from screenplan.ground.frame import LocalFrame
from screenplan.ground.units import format_length, format_tape
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import find_surroundings, write_layers
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.plant_list import MOST_KINDS, plant_list
from screenplan.outputs.project import Titles, write_project
from screenplan.outputs.project.document import site_bounds, view_bounds
from screenplan.outputs.project.feet import in_feet
from screenplan.outputs.project.legends import Item, classes_present, fit_legend, legend_items
from screenplan.outputs.project.paper import (
    FEET_PER_INCH,
    INSIDE_MM,
    METRIC_SCALES,
    PAPERS,
    choose_page,
    trade_scale,
)
from screenplan.outputs.project.sheets import _readings
from screenplan.outputs.project.tree import GROUPS, OTHERS, TABLES, Entry, arrange
from screenplan.outputs.rasters import SUN_HOURS_NAME, write_sun_hours
from screenplan.outputs.styles import STYLES, style_qml

KNOWN = WRITTEN | as_written(SURROUNDINGS)
TITLES = Titles("Larkspur Rise 7", "parcel LR-7", "2026-03-21")
MOMENT = dt.datetime(2026, 3, 21, 12, tzinfo=dt.UTC)

#: A pixel of the pictures is 0.085 mm; an outline's edge may be off by one at either end.
ON_PAPER_MM = 0.2
#: The scale bar's outline, 0.2 mm wide, stands out by half at either end.
BAR_MM = 0.35
#: The desktop GIS works a map's extent out anew from its size on paper.
SCALE_SHARE = 1e-6
DPI = 300


#: Enough to see where things lie; the rest is the same everywhere.
SOME = (
    "parcels", "sides", "plants", "crowns", "planting_lines", "private_places", "stakes", "sun_grid",
    "checks", "roads",
)  # fmt: skip


def make_up(parcel, names=None):
    """Make layers up around a parcel, by default all; gives the frame, and the layers in memory."""
    frame, known = LocalFrame.around(parcel), OUTPUTS | SURROUNDINGS
    asked = {name: known[name] for name in names or known}
    return frame, make_all(asked, frame.crs, rows=5, origin=(-20.0, 3.0))


def write_made_up(folder, parcel, names=None, *, units="metric"):
    """Write layers of a made-up plan, and the project beside them."""
    frame, layers = make_up(parcel, names)
    folder.mkdir(exist_ok=True)
    write_layers(layers, folder, send_out=frame.send_out, crs=frame.source_crs, written_at=MOMENT)
    write_project(layers, folder, frame, TITLES, units=units)
    return frame, layers


def written_of(layers):
    given = {name: layers[name] for name in OUTPUTS if name in layers}
    return split_by_kind(given, OUTPUTS) | find_surroundings(layers)


def document_of(folder):
    with zipfile.ZipFile(folder / "plan.qgz") as package:
        assert package.namelist() == ["plan.qgs"]
        return ET.fromstring(package.read("plan.qgs"))


@pytest.fixture(scope="module")
def metric():
    return parcel_at("metres")


@pytest.fixture(scope="module")
def made_up(metric, tmp_path_factory):
    folder = tmp_path_factory.mktemp("plan")
    frame, layers = write_made_up(folder, metric)
    return folder, frame, written_of(layers), document_of(folder)


# What is in the file


def test_every_layer_and_table_has_its_place(made_up):
    folder, _, layers, document = made_up
    sources = {
        layer.findtext("id"): layer.findtext("datasource")
        for layer in document.iter("maplayer")
        if layer.get("type") == "vector"
    }
    named = {re.match(r"\./plan\.gpkg\|layername=(\w+)", source)[1] for source in sources.values()}
    assert named == set(layers)
    # Every layer of the tree is a layer of the project, and the other way round.
    in_tree = [
        leaf.get("id") for leaf in document.find("layer-tree-group").iter("layer-tree-layer")
    ]
    assert sorted(in_tree) == sorted(sources)
    assert len(set(in_tree)) == len(in_tree)
    # The desktop GIS replaces a shorter identifier by its own, and loses the layer.
    assert all(len(own) > 10 for own in in_tree)
    assert str(folder) not in ET.tostring(document, encoding="unicode")


def test_every_layer_that_is_written_belongs_to_a_group():
    empty = {name: pd.DataFrame() for name in KNOWN}
    entries = arrange(empty, KNOWN)
    assert [entry.name for entry in entries if entry.group == OTHERS] == []
    assert {entry.name for entry in entries} == set(KNOWN)
    tables = [entry.name for entry in entries if entry.group == TABLES]
    assert tables == [name for name, contract in KNOWN.items() if not contract.geometry]


def test_a_layer_that_no_group_names_is_not_lost():
    novel = Contract("weather_points_of_old", ("Point",), "A weather station")
    (entry,) = arrange({novel.name: pd.DataFrame()}, {novel.name: novel})
    assert (entry.group, entry.visible) == (OTHERS, False)


def test_areas_stand_below_where_they_would_hide_the_rest():
    entries = {entry.name: entry for entry in arrange(dict.fromkeys(KNOWN, pd.DataFrame()), KNOWN)}
    assert entries["light_lines"].group == "Effects"
    assert entries["light_areas"].group == "Ground"


def test_groups_stand_in_reading_order(made_up):
    groups = made_up[3].findall("layer-tree-group/layer-tree-group")
    assert [group.get("name") for group in groups] == [*GROUPS, TABLES]


def test_crowns_are_shown_one_year_at_a_time(made_up):
    _, _, layers, document = made_up
    group = document.find(".//layer-tree-group[@name='Crowns by year']")
    assert group.get("mutually-exclusive") == "1"
    crowns = layers["crowns"]
    years = sorted(crowns.loc[crowns["growth"] == "typical", "year"].unique())
    leaves = list(group)
    assert [leaf.get("id") for leaf in leaves] == [f"screenplan_crowns_y{y:02d}" for y in years]
    assert [leaf.get("checked") for leaf in leaves].count("Qt::Checked") == 1
    shown = int(group.get("mutually-exclusive-child"))
    assert leaves[shown].get("checked") == "Qt::Checked"
    for year, leaf in zip(years, leaves, strict=True):
        assert leaf.get("source").endswith(f'subset="year" = {year} AND "growth" = \'typical\'')


def test_a_year_near_ten_is_shown_first():
    def shown(*years):
        crowns = pd.DataFrame({"year": years, "growth": "typical"})
        entries = arrange({"crowns": crowns}, {"crowns": KNOWN["crowns"]})
        return [entry.title for entry in entries if entry.visible]

    assert shown(0, 3, 5, 10, 20) == ["Year 10: crowns"]
    assert shown(0, 5, 15) == ["Year 15: crowns"]  # as near as 5: the later one, which is fuller
    assert shown(0) == ["Year 0: crowns"]


def test_few_layers_are_shown_at_first(made_up):
    leaves = list(made_up[3].find("layer-tree-group").iter("layer-tree-layer"))
    shown = {leaf.get("id").removeprefix("screenplan_") for leaf in leaves if leaf.get("checked") == "Qt::Checked"}  # fmt: skip
    assert {"plants", "planting_lines", "windows", "parcels", "plantable_zone"} <= shown
    assert not {"sight_lines", "sun_grid", "needed_height", "stakes", "checks"} & shown
    assert len(shown) < len(leaves) / 2


def test_the_project_is_in_the_local_frame(made_up):
    _, frame, _, document = made_up
    for path in ("projectCrs", "mapcanvas/destinationsrs", "Layouts/Layout/LayoutItem/crs"):
        found = document.find(f"{path}/spatialrefsys")
        assert CRS(found.findtext("wkt")).equals(frame.crs), path
    assert document.findtext("properties/SpatialRefSys/ProjectionsEnabled") == "1"
    layer = document.find("projectlayers/maplayer/srs/spatialrefsys")
    assert layer.findtext("authid") == "EPSG:25832"
    assert CRS(layer.findtext("wkt")).equals(CRS(25832))


def test_layers_are_drawn_by_their_styles(made_up):
    _, _, layers, document = made_up
    for layer in document.iter("maplayer"):
        name = re.search(r"layername=(\w+)", layer.findtext("datasource"))[1]
        style = ET.fromstring(style_qml(name, columns=layers[name].columns))
        for tag in ("renderer-v2", "labeling", "aliases"):
            wanted, found = style.find(tag), layer.find(tag)
            assert (wanted is None) == (found is None), (name, tag)
            if wanted is not None:
                assert canonical(found) == canonical(wanted), (name, tag)
        if KNOWN[name].geometry:
            assert layer.find("renderer-v2") is not None, name


def canonical(element):
    return ET.canonicalize(ET.tostring(element, encoding="unicode"), strip_text=True)


def test_the_same_plan_gives_the_same_bytes(made_up, metric, tmp_path):
    frame, layers = make_up(metric)
    write_project(layers, tmp_path, frame, TITLES)
    again = (tmp_path / "plan.qgz").read_bytes()
    assert again == (made_up[0] / "plan.qgz").read_bytes()


def test_a_row_without_a_parcel_is_said_to_be_one_and_has_no_arrow_without_north(metric, tmp_path):
    _, layers = make_up(metric)
    layers = layers | {"parcels": layers["parcels"].iloc[:0]}
    rows = [layers[name].total_bounds for name in ("planting_lines", "crowns")]
    expected = [*np.min(rows, axis=0)[:2], *np.max(rows, axis=0)[2:]]
    np.testing.assert_allclose(site_bounds(layers), expected, rtol=0, atol=1e-9)
    for north in (True, False):
        plane = LocalFrame.around(
            geopandas.GeoSeries([box(0, 0, 1, 1)], crs=ground_plane(north=north))
        )
        write_project(layers, tmp_path, plane, Titles("A hedge", "", "2026-03-21"))
        items = list(document_of(tmp_path).iter("LayoutItem"))
        texts = [item.get("labelText", "") for item in items]
        # Two sheets, two papers.
        assert sum("A row, its parcel not known" in text for text in texts) == 4
        assert sum(item.get("id") == "north arrow" for item in items) == (4 if north else 0)


def plants_on(folder, theme):
    """Give the list of plants of each layout of a kind."""
    return [
        item.get("labelText")
        for layout in document_of(folder).iter("Layout")
        if layout.get("name").startswith(theme)
        for item in layout.iter("LayoutItem")
        if item.get("id") == "plants"
    ]


def test_the_planting_sheet_names_what_is_planted(metric, tmp_path):
    frame, layers = make_up(metric, ("parcels", "plants", "quantities"))
    kinds = [
        ("northern white cedar (Thuja occidentalis)", "container", 1.2, 21),
        ("American holly (Ilex opaca)", "bare_root", 0.6, 6),
    ]
    for row, kind in enumerate(kinds):
        columns = ["plant_name", "stock", "stock_height_m", "plants", "part", "packs", "pack"]
        layers["quantities"].loc[row, columns] = [
            *kind,
            "plants",
            *((23, "plant"), (1, "tray of 50"))[row],
        ]
    layers["quantities"].loc[2:, "part"] = "water"
    write_layers(layers, tmp_path, send_out=frame.send_out, crs=frame.source_crs, written_at=MOMENT)
    for units, first, second in (("metric", "1.20 m", "0.60 m"), ("us", "3.9 ft", "2.0 ft")):
        write_project(layers, tmp_path, frame, TITLES, units=units)
        said = plants_on(tmp_path, "Planting plan")
        assert len(said) == (2 if units == "metric" else 4)  # papers
        assert set(said) == {
            "To be planted:\n"
            f"21 northern white cedar (Thuja occidentalis), container, {first} high: order 23\n"
            f"6 American holly (Ilex opaca), bare root, {second} high: order 1 × tray of 50"
        }
        assert not plants_on(tmp_path, "Stake-out")


def test_the_stake_out_sheet_says_how_its_numbers_are_read():
    stakes = pd.DataFrame(
        {
            "offset_side": ["on the line", "on the line"],
            "along_m": [0.0, 6.0],
            "slope_along_m": [0.0, 6.12],
        }
    )
    (along,) = _readings({"stakes": stakes})
    assert along.endswith("read on a tape along the ground.")
    (level,) = _readings({"stakes": stakes.assign(slope_along_m=stakes["along_m"])})
    assert level.endswith("read on a tape held level.")
    # An offset is level, and said only where there is one.
    off = _readings({"stakes": stakes.assign(offset_side=["on the line", "left"])})
    assert off[0] == along
    assert off[1].startswith("Offsets are held level")
    assert _readings({}) == _readings({"stakes": stakes.iloc[:0]}) == []


def test_the_first_view_holds_the_houses_from_which_somebody_looks_in():
    """By construction: the parcel, a house north of it with a window, and one far away without."""
    parcels = geopandas.GeoDataFrame({"is_subject": [True]}, geometry=[box(0, 0, 10, 20)])
    houses = geopandas.GeoDataFrame(
        {"building_id": ["near", "far"]}, geometry=[box(-5, 30, 5, 40), box(500, 0, 510, 10)]
    )
    windows = geopandas.GeoDataFrame({"building_id": ["near"]}, geometry=[Point(0, 30)])
    site = {"parcels": parcels, "buildings": houses}
    assert view_bounds(site) == view_bounds(site | {"windows": windows.iloc[:0]}) == (0, 0, 10, 20)
    assert view_bounds(site | {"windows": windows}) == (-5, 0, 10, 40)
    # An onlooker's window without a house is in the view too.
    alone = geopandas.GeoDataFrame({"building_id": [None]}, geometry=[Point(-8, 30)])
    assert view_bounds(site | {"windows": alone}) == (-8, 0, 10, 30)


def test_a_list_of_many_kinds_says_where_the_rest_stands():
    many = pd.DataFrame({"part": "plants", "plants": range(1, 10), "species": "ilex_opaca", "plant_name": "Ilex", "stock": "plug", "stock_height_m": 0.3})  # fmt: skip
    said = plant_list(many)
    assert said[0] == "1 Ilex, plug, 0.30 m high"
    assert len(said) == MOST_KINDS + 1
    assert said[-1] == "and 3 more in the order list"
    assert plant_list(None) == []


def test_awkward_titles_are_words_and_nothing_else(metric, tmp_path):
    title = 'A & B <c> "d" [% 1 + 1 %] \x0b\x00 \ud800 Äpfel 漢'
    frame, layers = make_up(metric)
    titles = Titles(title, "parcel 7 & [%now()%]", "2026-03-21")
    write_project(layers, tmp_path, frame, titles)
    document = document_of(tmp_path)
    texts = [item.get("labelText", "") for item in document.iter("LayoutItem")]
    assert any('A & B <c> "d"' in text and "漢" in text for text in texts)
    # What the desktop GIS would work out is only what the sheet itself asks for.
    assert {found for text in texts for found in re.findall(r"\[%.*?%\]", text)} == {
        "[% round(map_get(item_variables('map'),'map_scale')) %]"
    }


def test_labels_of_a_plan_in_feet_hold_no_metres():
    for name, style in STYLES.items():
        if style.label and style.label.expression:
            said = in_feet(style.label.expression)
            assert not re.search(r"' m\b", said), name
            assert ("0.3048" in said) == ('_m", ' in style.label.expression), name


def test_classes_without_rows_are_not_in_the_legend():
    def labels(name, **columns):
        layer = pd.DataFrame(columns)
        classes = STYLES[name].classes
        return [classes[number].label for number in classes_present(classes, layer)]

    assert labels("plants", existing=[True, True]) == ["Stands already"]
    assert labels("plants", existing=[False, True]) == ["Stands already", "To be planted"]
    # A class without a test takes what no other takes, and nothing else.
    assert labels("planting_lines", row=[1, 1]) == ["First row, next to the boundary"]
    assert labels("planting_lines", row=[2, 3]) == ["Second row", "Another line"]
    assert labels("fence_posts", role=["corner", "line"]) == ["Corner or end post", "Line post"]
    # Years up to a bound, an empty one on its own.
    assert labels("crowns", year=[0, 10]) == ["When planted", "Years 6 to 10"]
    empty = pd.array([None, 4], dtype="Int64")
    assert len(labels("outgrown", year=empty)) == 2
    assert len(labels("outgrown", year=empty[:1])) == 1


def test_layers_of_two_kinds_are_told_apart_in_the_legend():
    """Areas and lines have a symbol each, and would both be called the same."""
    lot, row = box(0, 0, 1, 1), LineString([(0, 0), (1, 1)])
    layers = {
        "keep_outs_areas": geopandas.GeoDataFrame({"name": ["a"]}, geometry=[lot]),
        "keep_outs_lines": geopandas.GeoDataFrame({"name": ["b"]}, geometry=[row]),
        "roads": geopandas.GeoDataFrame({"name": ["c"]}, geometry=[row]),
    }

    def said(names):
        entries = arrange(
            {name: layers[name] for name in names}, {name: KNOWN[name] for name in names}
        )
        return {label for item in legend_items(entries, layers) for _, label in item.classes}

    assert said(layers) == {
        "Kept clear of plants (areas)",
        "Kept clear of plants (lines)",
        "Middle of a road",
    }
    assert said(["keep_outs_lines", "roads"]) == {"Kept clear of plants", "Middle of a road"}


@given(
    lines=st.integers(1, 60),
    letters=st.integers(4, 60),
    width=st.floats(60.0, 200.0),
    height=st.floats(30.0, 200.0),
)
def test_a_legend_that_fits_a_room_fits_a_larger_one_at_no_smaller_size(
    lines, letters, width, height
):
    classes = tuple((number, "n" * letters) for number in range(lines))
    items = [Item(Entry("plants", KNOWN["plants"], "Plants", "Planting"), classes, False)]
    small, large = fit_legend(items, width, height), fit_legend(items, 1.5 * width, 1.5 * height)
    if small is not None:
        assert large is not None
        assert large[1] >= small[1]


# Paper and scale


@given(
    width=st.floats(0.5, 5000.0),
    height=st.floats(0.5, 5000.0),
    paper=st.sampled_from(sorted(PAPERS)),
    units=st.sampled_from(["metric", "us"]),
)
def test_the_scale_is_the_largest_that_holds_the_site(width, height, paper, units):
    page = choose_page(paper, (-width / 2, -height / 2, width / 2, height / 2), units=units)
    scale = page.sheet.scale
    room = (page.map.width - 2 * INSIDE_MM, page.map.height - 2 * INSIDE_MM)
    assert width * 1000 / scale <= room[0] * (1 + 1e-9)
    assert height * 1000 / scale <= room[1] * (1 + 1e-9)
    # The next larger scale of the trade holds it neither upright nor across.
    known = [12 * feet for feet in FEET_PER_INCH] if units == "us" else list(METRIC_SCALES)
    assert scale in known or scale % known[-1] == 0
    larger = [number for number in known if number < scale]
    if larger and scale in known:
        short, long = PAPERS[paper]
        for w, h in ((short, long), (long, short)):
            other = choose_page_as(page, w, h, paper, units)
            assert width * 1000 / larger[-1] > other[0] or height * 1000 / larger[-1] > other[1]
    # The map's middle is the site's, and map and texts lie on the paper beside each other.
    assert abs(page.sheet.west + page.sheet.east) < 1e-6 * scale
    assert {page.width_mm, page.height_mm} == set(PAPERS[paper])
    one, two = (box(b.x, b.y, b.x + b.width, b.y + b.height) for b in (page.map, page.texts))
    assert not one.intersects(two)
    assert box(0, 0, page.width_mm, page.height_mm).contains(one.union(two))


def choose_page_as(page, width, height, paper, units):
    """Give the room on the map when the paper lies this way, by a site that takes it so."""
    wide = width > height
    if wide == page.landscape:
        made = page
    else:
        site = (-1000, -1, 1000, 1) if wide else (-1, -1000, 1, 1000)
        made = choose_page(paper, site, units=units)
        assert made.landscape == wide
    return made.map.width - 2 * INSIDE_MM, made.map.height - 2 * INSIDE_MM


@pytest.mark.parametrize(
    ("needed", "units", "scale"),
    [
        # Closed form: the next in the list; beyond it, multiples of ten thousand, or of 1000 ft an inch.
        (49.0, "metric", 50),
        (200.0, "metric", 200),
        (200.1, "metric", 250),
        (12_001.0, "metric", 20_000),
        (61.0, "us", 120),
        (12_001.0, "us", 24_000),
    ],
)
def test_scales_are_those_of_the_trade(needed, units, scale):
    assert trade_scale(needed, units) == scale


# In the desktop GIS

#: Where parcels are in feet, the plan is too.
FEET = {"US feet", "no code, feet"}


def open_project(folder, home, pictures=None):
    """Open a folder's project in the desktop GIS and give what it saw."""
    styles = {}
    for layer in document_of(folder).iter("maplayer"):
        if layer.get("type") == "vector":
            name = re.search(r"layername=(\w+)", layer.findtext("datasource"))[1]
            styles[layer.findtext("id")] = style_qml(name)
    asked = {
        "project": str(folder / "plan.qgz"),
        "styles": styles,
        "home": str(home),
        "pictures": None if pictures is None else str(pictures),
    }
    return ask_desktop("desktop_open_project.py", asked, home)[0]


@pytest.fixture(scope="module", params=PLACES)
def opened(request, tmp_path_factory):
    reason = why_not()
    if reason:
        pytest.skip(reason)
    units = "us" if request.param in FEET else "metric"
    parcel = parcel_at(request.param)
    # Written in one place, opened in another: a path with blanks and accents.
    first = tmp_path_factory.mktemp("plan") / "plan"
    names = None if request.param == "metres" else SOME
    frame, layers = write_made_up(first, parcel, names, units=units)
    write_sun_hours(layers["sun_grid"], first, frame.crs)
    write_project(layers, first, frame, TITLES, units=units)
    moved = tmp_path_factory.mktemp("moved") / "Büro Größe, côté jardin"
    shutil.move(first, moved)
    return (
        frame,
        written_of(layers),
        moved,
        open_project(moved, tmp_path_factory.mktemp("home")),
        units,
    )


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="plan.qgz, moved to a path with blanks and accents: every layer and its reference system",
    source="QGIS, headless",
    status="run",
    tolerance="every layer valid, with its rows",
)
@pytest.mark.desktop
def test_every_layer_opens_where_the_folder_was_moved_to(opened):
    frame, layers, folder, seen, _ = opened
    assert seen["read"]
    assert seen["title"] == TITLES.title
    found = seen["layers"]
    assert all(layer["valid"] for layer in found.values()), found
    assert (folder / SUN_HOURS_NAME).is_file()
    rasters = {layer["source"] for layer in found.values() if "count" not in layer}
    assert rasters == {str(folder / SUN_HOURS_NAME)}
    code = frame.source_crs.to_authority(min_confidence=100)
    rows = {}
    for layer in found.values():
        if "count" not in layer:
            assert CRS(layer["wkt"]).equals(frame.crs, ignore_axis_order=True)
            continue
        name = re.search(r"layername=(\w+)", layer["source"])[1]
        assert layer["source"].startswith(f"{folder / 'plan.gpkg'}|")
        rows[name] = rows.get(name, 0) + layer["count"]
        assert layer["spatial"] == bool(KNOWN[name].geometry), name
        if layer["spatial"]:
            assert layer["crs_valid"], name
            assert layer["crs"] == (":".join(code) if code else ""), name
            assert CRS(layer["wkt"]).equals(frame.source_crs, ignore_axis_order=True), name
    # Crowns are shown by year, of typical growth.
    crowns = layers["crowns"]
    expected = {name: len(layer) for name, layer in layers.items()}
    expected["crowns"] = int((crowns["growth"] == "typical").sum())
    assert rows == expected


@pytest.mark.desktop
def test_layers_are_drawn_in_the_desktop_as_their_styles_say(opened):
    for own, layer in opened[3]["layers"].items():
        if layer.get("spatial"):
            assert layer["renderer"], own
            assert layer["renderer"] == layer["styled"], own


@pytest.mark.desktop
def test_lengths_are_written_in_the_plans_units(opened):
    _, layers, _, seen, units = opened
    labels = {own: layer.get("label") for own, layer in seen["layers"].items()}
    side, stake = layers["sides"].iloc[0], layers["stakes"].iloc[0]
    length = format_length(side["length_m"], units, 1)
    assert labels["screenplan_sides"] == f"{side['side_id']}  {length}"
    # As on the work sheet: metres to the centimetre, or feet and inches to an eighth.
    tape = format_tape(stake["slope_along_m"], units)
    # The blanks about it hold it off its row.
    assert labels["screenplan_stakes"].strip() == tape.removesuffix(" m")


@pytest.mark.desktop
def test_feet_and_inches_are_those_of_the_work_sheet(tmp_path):
    reason = why_not()
    if reason:
        pytest.skip(reason)
    # Whole feet and inches, half an eighth to either side, a foot less an eighth, and many others.
    values = [0.0, 0.0015, 0.0016, 0.0254, 0.02857, 0.3, 0.304, 0.3048, 0.61, 3.0479, 29.94]
    values += np.random.default_rng(1).uniform(0.0, 120.0, 500).tolist()
    asked = {"expression": in_feet('format_number("v_m", 2)'), "values": values}
    found, _ = ask_desktop("desktop_evaluate.py", asked, tmp_path / "home")
    assert found == [format_tape(value, "us") for value in values]


@pytest.mark.desktop
def test_the_frame_is_the_projects_and_the_sheets_reference_system(opened):
    frame, layers, _, seen, _ = opened
    assert seen["crs_valid"]
    assert CRS(seen["crs_wkt"]).equals(frame.crs, ignore_axis_order=True)
    # Lengths are measured in the plane of the frame, as a tape measures them.
    assert seen["ellipsoid"] == "NONE"
    parcels = layers["parcels"]
    subject = parcels[parcels["is_subject"].fillna(False).astype(bool)].total_bounds
    assert box(*seen["view"]).contains(box(*subject))
    for name, layout in seen["layouts"].items():
        # The crew's sheet is about the stakes: it may leave the rest of the parcel out.
        held = layers["stakes"].total_bounds if name.startswith("Stake-out") else subject
        assert box(*layout["extent"]).contains(box(*held)), name
        assert CRS(layout["crs_wkt"]).equals(frame.crs, ignore_axis_order=True)


def boxes(layout):
    return {
        name: box(x, y, x + w, y + h)
        for name, (x, y, w, h) in layout["items"].items()
        if not name.startswith(("ground of", "edge of", "rule"))
    }


def assert_tidy(layout):
    """Assert that everything is on the paper and nothing lies upon anything else."""
    items = boxes(layout)
    page = box(0, 0, *layout["page"])
    for name, (needed, room) in layout["one_line"].items():
        assert needed <= room, name
    for name, one in items.items():
        assert page.contains(one), name
        for other, two in items.items():
            if name < other:
                assert one.intersection(two).area < 0.5, (name, other)  # mm²


@pytest.mark.desktop
def test_sheets_are_tidy_even_with_every_class_of_every_layer(opened):
    for layout in opened[3]["layouts"].values():
        assert_tidy(layout)


@pytest.mark.desktop
def test_the_tree_and_the_themes_arrive(opened):
    seen = opened[3]
    entries = arrange(opened[1], KNOWN)
    assert [group[0] for group in seen["tree"]] == list(dict.fromkeys(e.group for e in entries))
    assert sorted(seen["themes"]) == sorted(THEMES)
    # What is shown when the project opens is the first theme.
    shown = set()

    def walk(nodes):
        for node in nodes:
            if len(node) == 4:
                walk(node[3])
            elif node[2]:
                shown.add(node[0])

    walk(seen["tree"])
    assert shown == set(seen["themes"][THEMES[0]])
    assert all(own in seen["layers"] for ids in seen["themes"].values() for own in ids)


@pytest.mark.desktop
def test_sheets_are_of_the_papers_and_scales_that_were_chosen(opened):
    layouts, units = opened[3]["layouts"], opened[4]
    papers = ("A4", "A3") if units == "metric" else ("Letter", "Tabloid", "A4", "A3")
    themes = ("Planting plan", "Stake-out")
    assert sorted(layouts) == sorted(f"{theme}, {paper}" for theme in themes for paper in papers)
    for name, layout in layouts.items():
        theme, paper = name.split(", ")
        assert set(layout["page"]) == set(PAPERS[paper])
        scale = round(layout["scale"])
        assert layout["scale"] == pytest.approx(scale, rel=SCALE_SHARE)
        known = METRIC_SCALES if units == "metric" else [12 * feet for feet in FEET_PER_INCH]
        assert scale in known
        assert f"1:{scale}" in layout["scale_text"]
        assert (f"1 in = {scale // 12} ft" in layout["scale_text"]) == (units == "us")
        assert layout["theme"] == theme
        assert layout["follows"]


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """The run that a newcomer makes first, opened and printed."""
    from screenplan.commandline.sample import sample_plan
    from screenplan.outputs.record import read_record
    from screenplan.running.pipeline import run_plan
    from screenplan.running.writing import write_run

    reason = why_not()
    if reason:
        pytest.skip(reason)
    run = run_plan(sample_plan())
    folder = write_run(run, tmp_path_factory.mktemp("sample") / "plan")
    assert read_record(folder).files["plan.qgz"]["layers"] == {}
    pictures = tmp_path_factory.mktemp("pictures")
    return run, folder, open_project(folder, tmp_path_factory.mktemp("home"), pictures)


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Size on paper of the parcel and of the tapes on the sample's sheets, in pixels of the print",
    source="QGIS, headless",
    status="run",
    tolerance=f"{ON_PAPER_MM} mm",
)
@pytest.mark.desktop
def test_the_sample_sheets_are_true_to_scale(sample):
    run, folder, seen = sample
    for name, path in seen["outlines"].items():
        # The extent from the file that was written, by its own way into the frame.
        stakes = name.startswith("Stake-out")
        drawn = geopandas.read_file(
            folder / "plan.gpkg", layer="base_lines" if stakes else "parcels"
        )
        drawn = drawn if stakes else drawn[drawn["is_subject"].astype(bool)]
        way = Transformer.from_crs(drawn.crs, run.site.frame.crs, always_xy=True)
        x, y = way.transform(*drawn.get_coordinates().to_numpy().T)
        size_m = np.array([np.ptp(x), np.ptp(y)])
        assert size_m.min() > 10.0
        scale = round(seen["layouts"][name]["scale"])
        x, y, w, h = (round(v * DPI / 25.4) for v in seen["layouts"][name]["items"]["map"])
        page = np.asarray(Image.open(path).convert("RGB")).astype(int)[y : y + h, x : x + w]
        # The outline is thinner than a pixel: what it touches is more red than anything else.
        rows, columns = np.nonzero(page[..., 0] - page[..., 1:].max(axis=-1) > 60)
        seen_mm = np.array([np.ptp(columns), np.ptp(rows)]) * 25.4 / DPI
        np.testing.assert_allclose(seen_mm, size_m * 1000.0 / scale, rtol=0, atol=ON_PAPER_MM)


@pytest.mark.desktop
def test_the_sample_sheets_are_printed_whole(sample):
    for name, layout in sample[2]["layouts"].items():
        assert layout["printed"] == 0, name
        (page,) = PdfReader(layout["pdf"]).pages
        mm = [float(length) * 25.4 / 72.0 for length in page.mediabox[2:]]
        # A point is 0.35 mm.
        np.testing.assert_allclose(mm, layout["page"], rtol=0, atol=0.36)
        assert_tidy(layout)
        said = " ".join(layout["texts"])
        assert "Larkspur Rise 7" in said
        assert "buried lines" in said
        assert "not a survey" in said
        # By hand: 36 plants of two kinds in threes, counted on round the corner of the two rows.
        listed = [
            "18 eastern red cedar" in said,
            "18 yaupon" in said,
            "balled, 1.80 m high" in said,
        ]
        assert listed == [not name.startswith("Stake-out")] * 3


@pytest.mark.desktop
def test_the_scale_bar_of_the_sample_is_as_long_as_it_says(sample):
    bar = tuple(int(COLOURS["bar"][at : at + 2], 16) for at in (1, 3, 5))
    for name, layout in sample[2]["layouts"].items():
        x, y, w, h = (value * DPI / 25.4 for value in layout["items"]["scale bar"])
        page = np.asarray(Image.open(layout["page_png"]).convert("RGB"))
        part = page[int(y) : int(y + h), int(x) : int(x + w)]
        inked = (part == bar).all(axis=-1)
        # The rows through the bar's outline are those with most ink.
        longest = max(np.ptp(np.nonzero(row)[0]) + 1 for row in inked if row.any())
        length_mm = longest * 25.4 / DPI
        scale = round(layout["scale"])
        # Bars are 1, 2 or 5 times a power of ten metres long.
        length_m = length_mm * scale / 1000.0
        nearest = min((factor * 10**n for factor in (1, 2, 5) for n in range(4)), key=lambda m: abs(m - length_m))  # fmt: skip
        assert length_mm == pytest.approx(nearest * 1000.0 / scale, abs=BAR_MM), name


@pytest.mark.desktop
def test_the_legend_names_what_the_map_shows(sample):
    for layout in sample[2]["layouts"].values():
        layers = sample[2]["layers"]
        shown = {layers[own]["name"] for own in layout["layers"] if layers[own]["count"]}
        assert set(layout["legend"]) <= {layers[own]["name"] for own in layout["layers"]}
        assert {"Parcels", "Buildings"} <= set(layout["legend"]) & shown


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="plan.qgz in four reference systems, opened in a window: no dialog, no warning",
    source="QGIS under a virtual screen, with a new profile",
    status="run",
    tolerance="none shown, but that a grid for degrees may lack",
)
@pytest.mark.desktop
@pytest.mark.slow
@pytest.mark.parametrize("place", ["US feet", "degrees", "web Mercator", "another datum"])
def test_the_project_opens_with_no_dialog(place, tmp_path):
    reason = why_not() or why_no_window()
    if reason:
        pytest.skip(reason)
    units = "us" if place in FEET else "metric"
    parcel = parcel_at(place)
    folder = tmp_path / "Plan für den Garten"
    frame, layers = write_made_up(folder, parcel, SOME, units=units)
    seen = show_desktop(folder / "plan.qgz", tmp_path)
    assert seen["dialogs"] == []
    assert seen["layers"] == sum(1 for _ in document_of(folder).iter("maplayer"))
    # Nothing is said above the map, but that the grid of a change of datum may not be installed:
    # the desktop GIS asks for degrees of its own accord, and no layer needs it.
    said = [text for text in seen["messages"] if not text.startswith("Loading")]
    no_grid = f"Cannot use preferred transform between {frame.crs.name} and EPSG:4326"
    assert said in ([], [no_grid])
    assert seen["crs"] == frame.crs.name
    subject = layers["parcels"][layers["parcels"]["is_subject"].fillna(False).astype(bool)]
    assert box(*seen["extent"]).contains(box(*subject.total_bounds))
