"""Files as other people publish them, made by hand after the descriptions of their formats, read by what `start` says."""

import json

import geopandas as gpd
import pytest
import shapely
from click.testing import CliRunner
from site_layers import EAST, NORTH, UTM, box, buildings, parcels, write

from screenplan.commandline.main import main
from screenplan.ground.errors import InputError
from screenplan.site.loose import sample_rows
from screenplan.site.point_columns import find_shape_column
from screenplan.site.reading import LayerSource

NAMES = (
    'xmlns="http://www.opengis.net/wfs/2.0" xmlns:gml="http://www.opengis.net/gml/3.2" '
    'xmlns:cp="http://inspire.ec.europa.eu/schemas/cp/4.0" xmlns:base="http://inspire.ec.europa.eu/schemas/base/3.3" '
    'xmlns:bu="http://inspire.ec.europa.eu/schemas/bu-ext2d/4.0" xmlns:core="http://inspire.ec.europa.eu/schemas/bu-core2d/4.0"'
)


def surface(shape, number):
    """A gml:Surface of one patch, GML 3.2.1."""
    places = " ".join(f"{x!r} {y!r}" for x, y in shape.exterior.coords)
    return (
        f'<gml:Surface gml:id="S.{number}" srsName="http://www.opengis.net/def/crs/EPSG/0/32632"><gml:patches>'
        f"<gml:PolygonPatch><gml:exterior><gml:LinearRing><gml:posList>{places}</gml:posList></gml:LinearRing>"
        "</gml:exterior></gml:PolygonPatch></gml:patches></gml:Surface>"
    )


def identifier(prefix, text):
    return (
        f"<{prefix}:inspireId><base:Identifier><base:localId>{text}</base:localId>"
        f"<base:namespace>XX.CADASTRE</base:namespace></base:Identifier></{prefix}:inspireId>"
    )


def inspire_parcels(path):
    """Parcels by INSPIRE's schema of cadastral parcels 4.0."""
    rows = "".join(
        f'<member><cp:CadastralParcel gml:id="CP.{pin}"><cp:geometry>{surface(shape, pin)}</cp:geometry>'
        f"{identifier('cp', f'L{pin}')}<cp:label>7</cp:label>"
        f"<cp:nationalCadastralReference>{pin}</cp:nationalCadastralReference></cp:CadastralParcel></member>"
        for pin, shape in zip(parcels()["PIN"], parcels().geometry, strict=True)
    )
    path.write_text(
        f'<?xml version="1.0"?><FeatureCollection {NAMES}>{rows}</FeatureCollection>',
        encoding="utf-8",
    )
    return path


def inspire_buildings(path):
    """Parts of buildings by INSPIRE's schema of buildings: two storeys, none above the ground, and one that is not said."""
    parts = (
        (box(-50, -5, -40, 5), 2),
        (box(-50, 8, -40, 18), 0),
        (box(24, -5, 34, 5), 2),
        (box(24, 8, 34, 18), None),
    )
    rows = "".join(
        f'<member><bu:BuildingPart gml:id="BU.{number}">{identifier("core", f"b{number}_part1")}'
        f"<bu:geometry><core:BuildingGeometry><core:geometry>{surface(shape, number)}</core:geometry>"
        "</core:BuildingGeometry></bu:geometry>"
        + (
            ""
            if floors is None
            else f"<bu:numberOfFloorsAboveGround>{floors}</bu:numberOfFloorsAboveGround>"
        )
        + "</bu:BuildingPart></member>"
        for number, (shape, floors) in enumerate(parts)
    )
    path.write_text(
        f'<?xml version="1.0"?><FeatureCollection {NAMES}>{rows}</FeatureCollection>',
        encoding="utf-8",
    )
    return path


def start(folder, *layers, more=()):
    plan = folder / "hedge.toml"
    given = [part for layer in layers for part in ("--layer", layer)]
    result = CliRunner().invoke(main, ["start", str(plan), *given, "--id", "A-2", "--force", *more])
    return result, " ".join(result.output.split()), plan


def check(plan):
    result = CliRunner().invoke(main, ["check", str(plan)])
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_parcels_and_buildings_of_inspire(tmp_path):
    lots, houses = inspire_parcels(tmp_path / "cp.gml"), inspire_buildings(tmp_path / "bu.gml")
    started, said, plan = start(tmp_path, f"parcels={lots}", f"buildings={houses}")
    assert started.exit_code == 0, started.output
    assert "took 'nationalCadastralReference' as parcel_id" in said
    assert "took 'numberOfFloorsAboveGround' as storeys" in said
    assert (
        "1 of 3 rows have neither a height nor a number of storeys: wrote missing = { storeys = 2 }"
        in said
    )
    told = check(plan)
    assert "no floor above the ground: row left out" in told
    assert "storeys 2 taken, which the plan gives for rows without" in told
    assert "buildings 3" in told


def test_footprints_as_a_query_of_openstreetmap_gives_them(tmp_path):
    # Evidence: published, the form in which the Overpass API's GeoJSON exports name ids and tags.
    shapes = buildings().iloc[:2].to_crs(4326).geometry
    features = [
        {
            "type": "Feature",
            "id": f"way/{number}",
            "properties": {"@id": f"way/{number}", "building": "yes", "building:levels": levels},
            "geometry": shapely.geometry.mapping(shape),
        }
        for number, (shape, levels) in enumerate(zip(shapes, ("2", "1.5"), strict=True), start=1)
    ]
    houses = tmp_path / "export.geojson"
    houses.write_text(
        json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8"
    )
    started, said, plan = start(
        tmp_path, f"parcels={write(parcels(), tmp_path / 'lots.gpkg')}", f"buildings={houses}"
    )
    assert started.exit_code == 0, started.output
    assert "took '@id' as building_id" in said
    assert "1.5 storeys counted as 2" in check(plan)


@pytest.mark.parametrize(("mark", "name"), [(",", "the_geom"), (";", "WKT"), ("\t", "geometry")])
def test_a_table_with_shapes_as_text(tmp_path, mark, name):
    # Evidence: well-known text, ISO 19125-1; the names are those that open data portals and databases write.
    lots = parcels().to_crs(4326)
    rows = [
        f'"{shape.wkt}"{mark}{pin}' for shape, pin in zip(lots.geometry, lots["PIN"], strict=True)
    ]
    file = tmp_path / "lots.csv"
    file.write_text("\n".join((f"{name}{mark}APN", *rows)), encoding="utf-8")
    refused, _, _ = start(tmp_path, f"parcels={file}")
    assert refused.exit_code == 2
    assert "key layers.parcels.crs: The layer has no CRS" in refused.stderr
    started, said, plan = start(tmp_path, f"parcels={file}", more=("--crs", "parcels=EPSG:4326"))
    assert started.exit_code == 0, started.output
    assert "took 'APN' as parcel_id" in said
    assert "parcels 3" in check(plan)


def test_a_column_that_is_only_called_so_holds_no_shapes():
    assert find_shape_column(["geometry", "x"], ["round", "1"]) is None
    assert find_shape_column(["shape"], ["POINT (1 2)"]) is None
    assert find_shape_column(["Geom"], ["SRID=4326;MULTIPOLYGON (((0 0"]) == "Geom"
    assert find_shape_column(["the_geom"], []) is None


def test_closed_lines_are_areas_where_only_areas_can_be(tmp_path):
    lines = parcels().set_geometry(parcels().geometry.exterior.apply(shapely.LineString))
    file = write(lines, tmp_path / "lots.gpkg")
    started, _, plan = start(tmp_path, f"parcels={file}")
    assert started.exit_code == 0, started.output
    assert "The layer of parcels: 4 closed lines of it are taken as areas" in check(plan)
    # By a point, which lies in none of the lines.
    middle = gpd.GeoSeries.from_xy([EAST], [NORTH], crs=UTM).to_crs(4326)[0]
    place = (str(middle.x), str(middle.y))
    by_point = CliRunner().invoke(main, ["sides", str(file), "--point", *place])
    assert by_point.exit_code == 0, by_point.output
    opened = lines.set_geometry([shapely.LineString(line.coords[:-1]) for line in lines.geometry])
    refused, _, _ = start(tmp_path, f"parcels={write(opened, tmp_path / 'open.gpkg')}")
    assert "takes Polygon or MultiPolygon, and this is a LineString" in refused.stderr


def test_waypoints_are_the_marks_of_a_track_file(tmp_path):
    point = gpd.GeoSeries.from_xy([EAST + 20], [NORTH + 20], crs=UTM).to_crs(4326)[0]
    file = tmp_path / "pins.gpx"
    file.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="by hand" xmlns="http://www.topografix.com/GPX/1/1">'
        f'<wpt lat="{point.y!r}" lon="{point.x!r}"><name>pin</name></wpt></gpx>',
        encoding="utf-8",
    )
    lots = write(parcels(), tmp_path / "lots.gpkg")
    started, _, plan = start(tmp_path, f"parcels={lots}", f"marks={file}")
    assert started.exit_code == 0, started.output
    assert "marks 1" in check(plan)


def test_a_file_that_cannot_even_be_listed_is_refused_for_its_own_reason(tmp_path):
    write(parcels(), tmp_path / "all.gpkg", layer="lots")
    write(buildings(), tmp_path / "all.gpkg", layer="houses", mode="a")
    with pytest.raises(InputError, match=r"Name the one that holds the parcels: lots, houses"):
        sample_rows("parcels", LayerSource(tmp_path / "all.gpkg"))
