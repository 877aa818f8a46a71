"""Plans of which only the row is known, and sites without a place on earth: nothing is made up."""

import csv
import math
import re
from pathlib import Path

import fiona
import geopandas as gpd
import numpy as np
import pytest
import shapely
import sheet_reader
from pyproj import CRS, Geod
from reading_kit import read_frames

from screenplan.commandline.gathering import Given
from screenplan.commandline.listing_sides import sides_of
from screenplan.commandline.starting import start_plan
from screenplan.ground.datum import ground_plane, is_ground, knows_north
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.report_figures import make_figures
from screenplan.outputs.report_tables import make_table, stakes_by_line, tables_of
from screenplan.running.exporting import export_run
from screenplan.running.pipeline import run_plan
from screenplan.running.writing import write_run
from screenplan.site.terrain import TerrainSource

#: Files that give places on earth.
PLACED = ("stakeout.gpx", "stakeout.kml")
#: The north arrow's letter.
NORTH_ARROW = re.compile(r">\s*N\s*</text>")
#: A degree of longitude and of latitude near 60.2° north, metres (arithmetic; good to a hundredth).
EAST_M, NORTH_M = 55_500.0, 111_400.0
LON, LAT = 24.0, 60.2


def planned(folder: Path, *settings, **given):
    """Start a plan from what is given, run it, and write it."""
    started = start_plan(folder / "plan.toml", Given(**given))
    assert not started.problems
    run = run_plan(folder / "plan.toml", settings=settings)
    write_run(run, folder / "out")
    return started.said, run, folder / "out"


def track(folder: Path, points) -> str:
    """Write a GPS track of points in metres east and north of the place."""
    marks = "".join(
        f'<trkpt lat="{LAT + y / NORTH_M}" lon="{LON + x / EAST_M}"/>' for x, y in points
    )
    text = f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{marks}</trkseg></trk></gpx>'
    (folder / "walk.gpx").write_text(text, encoding="utf-8")
    return str(folder / "walk.gpx")


def near(folder: Path, layer: str, shape, **columns) -> str:
    """Write a layer in metres east and north of the place as degrees; give it as an option."""
    placed = shapely.transform(shape, lambda xy: xy / (EAST_M, NORTH_M) + (LON, LAT))
    frame = gpd.GeoDataFrame({k: [v] for k, v in columns.items()}, geometry=[placed], crs=4326)
    frame.to_file(folder / f"{layer}.geojson", engine="fiona")
    return f"{layer}={folder / layer}.geojson"


def results(run) -> dict[str, str]:
    return run.layers["checks"].set_index("check")["result"].to_dict()


def check_nothing_is_made_up(run) -> None:
    """What was not given is in no layer, no drawing and no check."""
    assert not any(len(run.layers[name]) for name in ("parcels", "sides", "plantable_zone"))
    assert not any(len(run.layers[name]) for name in ("light", "light_months", "sun_grid"))
    zones = run.layers["no_plant_zones"]
    assert "boundary" not in set(zones["feature"])
    judged = results(run)
    for check in ("setbacks", "crowns inside the parcel", "clipping at the boundary", "light"):
        assert judged[check] == "cannot be judged"
    rules = run.layers["rules"]
    assert not (rules["applies"] & rules["rule"].str.startswith("boundary")).any()


def rebuilt(run) -> None:
    """Every stake stands within its tolerance by the words of the sheet alone."""
    own = run.layers
    tables = tables_of("setting", own)
    tables += stakes_by_line(make_table("stakes", own["stakes"]))
    words = sheet_reader.sheet_words(tables)
    stakes = own["stakes"].set_index("stake_id")
    found = sheet_reader.rebuild(words)
    assert set(found) == set(stakes.index)
    for number, (x, y) in found.items():
        row = stakes.loc[number]
        assert math.hypot(x - row["x_m"], y - row["y_m"]) <= max(row["tolerance_m"], 0.02)


@pytest.fixture(scope="module")
def row(tmp_path_factory):
    """A plan made of a length alone."""
    return planned(tmp_path_factory.mktemp("row"), length="24 m")


def test_of_a_length_only_the_line_is_known(row):
    _, run, _ = row
    check_nothing_is_made_up(run)
    # Arithmetic: 24 m at 1.5 m are 17 plants; the line's ends are the pegs.
    assert len(run.layers["plants"]) == 17
    pegs = run.layers["pegs"]
    assert pegs["method"].tolist() == ["own end", "own end"]
    assert pegs[["point_a", "tape_a_m", "point_b", "tape_b_m"]].isna().all().all()
    apart = np.diff(shapely.get_coordinates(pegs.geometry.to_numpy()), axis=0)
    assert math.hypot(*apart[0]) == pytest.approx(24.0, abs=1e-9)
    assert not len(run.layers["tape_points"])
    rebuilt(run)


def test_a_length_has_no_bearing_and_no_position(row):
    said, run, folder = row
    assert run.layers["base_lines"]["bearing_deg"].isna().all()
    assert run.site.frame.position_deg is None
    assert any("not known where, and in which direction" in line for line in said)
    written = {path.name for path in folder.rglob("*")}
    assert not written & set(PLACED)
    assert not [name for name in written if name.endswith(".geojson")]
    with (folder / "stakeout" / "points.csv").open(newline="") as source:
        points = list(csv.DictReader(source))
    assert len(points) == 2 + 17
    assert all(point["longitude"] == point["latitude"] == "" for point in points)
    # None of the layers that are written lies anywhere on earth.
    file = folder / "plan.gpkg"
    for layer in fiona.listlayers(file):
        with fiona.open(file, layer=layer) as collection:
            if collection.schema["geometry"] != "None":
                crs = CRS(collection.crs_wkt)
                assert is_ground(crs)
                assert not knows_north(crs)
    note = (folder / "stakeout" / "stakeout.dxf").read_text(encoding="utf-8")[:300]
    assert "x along the row" in note
    assert "longitude" not in note


def test_the_drawings_of_a_length_show_no_boundary_and_no_north(row):
    _, run, folder = row
    figures = make_figures(run.layers, years=[0, 5], shown=5, units="metric")
    (plan,) = figures.of("plan")
    assert not NORTH_ARROW.search(plan.svg)
    assert "boundary" not in plan.caption
    assert "north up" not in plan.svg
    assert "of the parcel" not in plan.svg
    report = (folder / "report.html").read_text(encoding="utf-8")
    assert "bearing, true" not in report
    assert "How far the boundary line may be out" not in report


def test_a_length_cannot_be_mixed_with_what_has_a_place(row, tmp_path):
    _, run, folder = row
    houses = gpd.GeoDataFrame(
        {"building_id": ["h"], "height_m": [6.0]}, geometry=[shapely.box(9, 50, 9.0001, 50.0001)], crs=4326
    )  # fmt: skip
    line = run.site.layers["planting_line"]
    with pytest.raises(InputError, match=r"not known where on earth the site lies, and this layer has a place"):  # fmt: skip
        read_frames({"planting_line": line, "buildings": houses})
    with pytest.raises(InputError):
        read_frames({"planting_line": line}, terrain=TerrainSource(tmp_path / "none.tif"))
    with pytest.raises(InputError, match="A parcel is chosen, and no layer of parcels is given"):
        read_frames({"planting_line": line}, subject_id="7")
    with pytest.raises(InputError, match="knows only its row, and a row has no sides"):
        sides_of(str(folder.parent / "plan.toml"))
    with pytest.raises(InputError, match="knows only its row, and a row has no sides"):
        sides_of(str(folder.parent / "plan.toml"), point=(9.0, 50.0))
    with pytest.raises(InputError, match="the file would hold places on earth"):
        export_run(folder, "kml", tmp_path / "kml")
    assert export_run(folder, "shapefile", tmp_path / "shp").rows["stakes"] == 17


def test_a_length_with_a_place_and_a_direction_has_both(tmp_path):
    _, run, folder = planned(tmp_path, length="24 m", at=(10.0, 50.0), bearing="N 45 E")
    check_nothing_is_made_up(run)
    # Evidence: other software; pyproj's geodesic from the place, 24 m at 45° on the ellipsoid.
    lon, lat, _ = Geod(ellps="WGS84").fwd(10.0, 50.0, 45.0, 24.0)
    with (folder / "stakeout" / "points.csv").open(newline="") as source:
        first, second = list(csv.DictReader(source))[:2]
    assert float(first["longitude"]) == pytest.approx(10.0, abs=1e-8)
    assert float(second["longitude"]) == pytest.approx(lon, abs=2e-8)
    assert float(second["latitude"]) == pytest.approx(lat, abs=2e-8)
    assert run.layers["base_lines"]["bearing_deg"][0] == pytest.approx(45.0, abs=0.001)
    assert {path.name for path in (folder / "stakeout").iterdir()} >= set(PLACED)


def test_an_open_track_is_judged_by_what_is_given_beside_it(tmp_path):
    walked = track(tmp_path, [(0, 0), (6, 3), (12, 6), (18, 0), (24, -6)])
    layers = [
        near(tmp_path, "buildings", shapely.box(5, -30, 15, -20), building_id="h", height_m=6.0),
        near(tmp_path, "windows", shapely.Point(10, -20), window_id="w", building_id="h", sill_m=3.7),
        near(tmp_path, "private_places", shapely.box(6, 12, 12, 16), place_id="p", name="terrace"),
        near(tmp_path, "utilities", shapely.LineString([(3, -30), (3, 30)]), utility_id="u",
             kind="gas", position="buried", diameter_m=0.05),
        near(tmp_path, "roads", shapely.LineString([(-50, -40), (60, -40)]), road_id="r", speed_kmh=50.0),
    ]  # fmt: skip
    settings = ("rows.rows=2", 'rows.spacing="0.9 m"', 'fence.scheme="perimeter"')
    said, run, folder = planned(tmp_path, *settings, track=walked, layers=layers)
    assert any("taken as the line of the row" in line for line in said)
    check_nothing_is_made_up(run)
    # A window that is given looks onto a place that is given; a house of nobody's gives none.
    assert run.layers["windows"]["window_id"].tolist() == ["w"]
    assert len(run.layers["views"]) == 1
    # A line that is given is kept clear of, and there the rows have no plant.
    assert "buried" in set(run.layers["no_plant_zones"]["feature"])
    assert results(run)["buried lines"] == "passes"
    lines = run.layers["planting_lines"]
    assert (lines["plantable_m"] < lines["length_m"] - 0.5).all()
    assert results(run)["sight at the road"] == "cannot be judged"
    # Its ends are pegs, and the others are measured from them; it has a place and directions.
    pegs = run.layers["pegs"]
    assert (pegs["method"] == "own end").sum() == 2
    first, last = pegs.loc[pegs["method"] == "own end", "peg_id"]
    checks = run.layers["stake_checks"]
    told = checks.loc[(checks["from_name"] == first) & (checks["to_name"] == last)]
    assert len(told) == 1
    assert "before all others" in told["says"].iloc[0]
    assert run.layers["base_lines"]["bearing_deg"].notna().all()
    assert {path.name for path in (folder / "stakeout").iterdir()} >= set(PLACED)
    rebuilt(run)


def test_houses_alone_give_no_windows_where_nobody_knows_whose_they_are(tmp_path):
    walked = track(tmp_path, [(0, 0), (24, 0)])
    house = near(tmp_path, "buildings", shapely.box(5, -30, 15, -20), building_id="h", height_m=6.0)
    _, run, _ = planned(tmp_path, track=walked, layers=[house])
    assert not len(run.layers["windows"])
    assert not len(run.layers["private_places"])
    assert any(
        "nobody can tell which houses are the neighbours'" in note.lower() for note in run.warnings
    )


@pytest.mark.parametrize("way", ["corners", "courses"])
def test_a_parcel_without_a_place_has_sides_and_bearings_but_no_sun_and_no_positions(way, tmp_path):
    text = {
        "corners": "x,y\n0,0\n30,0\n30,40\n0,40\n",
        "courses": "bearing,distance\n90,30\n0,40\n270,30\n180,40\n",
    }[way]
    (tmp_path / "lot.csv").write_text(text, encoding="utf-8")
    said, run, folder = planned(tmp_path, **{way: str(tmp_path / "lot.csv")})
    assert any("no positions for a receiver or a map, no sun and no light" in line for line in said)
    assert set(run.layers["sides"]["side_id"]) == {"north", "west", "south", "east"}
    assert run.layers["base_lines"]["bearing_deg"].notna().all()
    assert results(run)["setbacks"] == "passes"
    assert results(run)["light"] == "cannot be judged"
    assert not len(run.layers["light"])
    assert not {path.name for path in folder.rglob("*")} & set(PLACED)
    (plan,) = make_figures(run.layers, years=[0, 5], shown=5, units="metric").of("plan")
    assert NORTH_ARROW.search(plan.svg)
    assert "north up" in plan.svg
    assert "the boundary" in plan.caption


def test_the_plane_of_a_site_without_a_place_leaves_coordinates_as_they_are():
    for north in (True, False):
        crs = ground_plane(north=north)
        line = gpd.GeoDataFrame(geometry=[shapely.LineString([(1, 2), (25, 2)])], crs=crs)
        frame = LocalFrame.around(line)
        assert not frame.is_placed
        assert knows_north(frame.crs) is north
        assert frame.bring_in(line).geometry[0].equals_exact(line.geometry[0], 0.0)
        assert frame.send_out(line, crs).geometry[0].equals_exact(line.geometry[0], 0.0)
        again = LocalFrame.from_dict(frame.to_dict())
        assert (again.is_placed, knows_north(again.crs)) == (False, north)
        with pytest.raises(InputError, match="the file would hold places on earth"):
            frame.send_out(line, "EPSG:4326")
