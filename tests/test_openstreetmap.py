"""Extracts of OpenStreetMap and tables made of them, read by their tags."""

import geopandas as gpd
import pytest
from click.testing import CliRunner
from site_layers import EAST, NORTH, UTM, box, parcels, write

from screenplan.commandline.main import main
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.plan import Options
from screenplan.site.facades import is_lived_in
from screenplan.site.openstreetmap import given_by_tags
from screenplan.site.reading import LayerSource, read_site


def extract(path, *things):
    """Write an extract by hand: nodes, and ways of nodes, with their tags, after the wiki's page "OSM XML".

    A thing is a list of points in metres from the middle of the site, and its tags; a closed list is an area.
    """
    nodes, ways, number = [], [], 0
    for shape, tags in things:
        points = (
            gpd.GeoSeries.from_xy(*zip(*shape, strict=True), crs=UTM)
            .translate(500_000, 5_540_000)
            .to_crs(4326)
        )
        marks = "".join(f'<tag k="{key}" v="{value}"/>' for key, value in tags.items())
        refs = []
        for point in points[: -1 if len(shape) > 1 and shape[0] == shape[-1] else None]:
            number += 1
            refs.append(number)
            own = marks if len(shape) == 1 else ""
            nodes.append(
                f'<node id="{number}" lat="{point.y!r}" lon="{point.x!r}" version="1">{own}</node>'
            )
        if len(shape) > 1:
            refs += refs[:1] if shape[0] == shape[-1] else []
            listed = "".join(f'<nd ref="{ref}"/>' for ref in refs)
            ways.append(f'<way id="{9000 + number}" version="1">{listed}{marks}</way>')
    body = "".join(nodes + ways)
    path.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?><osm version="0.6">{body}</osm>', encoding="utf-8"
    )
    return path


def varint(number):
    """A number as protocol buffers write it: seven bits a byte, the lowest first."""
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes([*out, number])


def zigzag(number):
    return varint(number << 1 if number >= 0 else (-number << 1) - 1)


def field(number, value):
    """A field of a message: a number, or bytes with their length."""
    if isinstance(value, int):
        return varint(number << 3) + varint(value)
    return varint(number << 3 | 2) + varint(len(value)) + value


def packed_extract(path):
    """Write a packed extract by hand, a house of four nodes, after the wiki's page "PBF Format"."""
    texts = [b"", b"building", b"house", b"building:levels", b"2"]
    corners = (
        gpd.GeoSeries.from_xy([-50, -40, -40, -50], [-5, -5, 5, 5], crs=UTM)
        .translate(EAST, NORTH)
        .to_crs(4326)
    )
    nodes = b"".join(
        field(
            1,
            varint(1 << 3)
            + zigzag(number)
            + varint(8 << 3)
            + zigzag(round(at.y * 1e7))
            + varint(9 << 3)
            + zigzag(round(at.x * 1e7)),
        )
        for number, at in enumerate(corners, start=1)
    )
    steps = b"".join(map(zigzag, (1, 1, 1, 1, -3)))  # each node's number less the one before
    way = (
        field(1, 9)
        + field(2, varint(1) + varint(3))
        + field(3, varint(2) + varint(4))
        + field(8, steps)
    )
    table = b"".join(field(1, text) for text in texts)
    data = field(1, table) + field(2, nodes) + field(2, field(3, way))
    content = b""
    for name, block in ((b"OSMHeader", field(4, b"OsmSchema-V0.6")), (b"OSMData", data)):
        blob = field(1, block)
        head = field(1, name) + field(3, len(blob))
        content += len(head).to_bytes(4, "big") + head + blob
    path.write_bytes(content)
    return path


def ring(west, south, east, north):
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


SUBURB = (
    (ring(-50, -5, -40, 5), {"building": "house", "building:levels": "2"}),
    (ring(22, -5, 32, 5), {"building": "yes", "height": "9 m", "roof:height": "3"}),
    (ring(40, 10, 46, 14), {"building": "garage", "building:levels": "1"}),
    (ring(-60, -60, 90, -40), {"landuse": "grass"}),
    ([(-60, -30), (60, -30)], {"highway": "residential", "name": "Lane", "maxspeed": "30 mph", "width": "6 m"}),
    ([(-60, 30), (60, 30)], {"highway": "footway"}),
    ([(-20, 19), (20, 19)], {"barrier": "hedge", "height": "1.8"}),
    ([(-19, -19), (-19, 19)], {"barrier": "fence", "fence_type": "chain_link", "height": "4 ft"}),
    ([(19, -19), (19, 19)], {"barrier": "fence"}),
    ([(0, 0)], {"natural": "tree", "height": "7", "diameter_crown": "4"}),
    ([(5, 5)], {"barrier": "gate"}),
    ([(-60, 40), (60, 40)], {"power": "minor_line"}),
)  # fmt: skip


def read(**sources):
    lots = LayerSource(parcels(), columns={"parcel_id": "PIN"})
    return read_site({"parcels": lots, **sources}, plan=Options().about("A-2", None))


def told_of(site, layer):
    told = site.repairs[site.repairs["layer"] == layer]
    return [in_units(text, "metric") for text in told["repair"]]


def test_barriers_and_trees_are_standing_screens(tmp_path):
    file = extract(tmp_path / "suburb.osm", *SUBURB)
    site = read(existing_screens=LayerSource(file, missing={"height_m": 1.5}))
    found = site.layers["existing_screens"].sort_values("height_m").set_index("kind")
    assert found.index.tolist() == ["fence", "fence", "hedge", "tree"]
    # Evidence: closed form; 4 feet of 0.3048 m.
    assert found["height_m"].tolist() == pytest.approx([1.2192, 1.5, 1.8, 7.0])
    assert found["opacity"].tolist() == [0.0, 1.0, 1.0, 1.0]
    assert found.loc["tree", "width_m"] == 4.0
    told = told_of(site, "existing_screens")
    assert "a fence that one looks through: it stops no look" in told
    assert (
        "nobody says what the fence is made of: it counts as one that nobody looks through" in told
    )
    with pytest.raises(
        InputError, match=r"The column height_m is empty .*missing = \{ height_m = … \}"
    ):
        read(existing_screens=LayerSource(file))


def test_its_roads_are_roads_and_its_wires_are_wires(tmp_path):
    file = extract(tmp_path / "suburb.osm", *SUBURB)
    site = read(roads=LayerSource(file), utilities=LayerSource(file))
    (road,) = site.layers["roads"].itertuples()
    # Evidence: the mile is 1.609344 km by definition.
    assert (road.name, road.width_m, road.speed_kmh) == ("Lane", 6.0, pytest.approx(30 * 1.609344))
    (wire,) = site.layers["utilities"].itertuples()
    assert (wire.kind, wire.position) == ("electric", "overhead")


def test_an_extract_ends_in_a_plan_by_what_start_writes(tmp_path):
    file = extract(tmp_path / "suburb.osm", *SUBURB)
    lots = write(parcels(), tmp_path / "lots.gpkg")
    plan = tmp_path / "hedge.toml"
    layers = [f"{name}={file}" for name in ("buildings", "roads")]
    given = [part for layer in (f"parcels={lots}", *layers) for part in ("--layer", layer)]
    started = CliRunner().invoke(main, ["start", str(plan), *given, "--id", "A-2"])
    assert started.exit_code == 0, started.output
    said = " ".join(started.output.split())
    assert (
        "took 'other_tags:building:levels' as storeys (storeys above the ground, by OpenStreetMap)"
        in said
    )
    assert "took 'other_tags:height - other_tags:roof:height' as height_m" in said
    assert CliRunner().invoke(main, ["check", str(plan)]).exit_code == 0


def test_a_table_made_of_an_extract_is_read_by_its_tags_too(tmp_path):
    rows = {
        "osm_id": ["1", "2", "3", "4", "5"],
        "building": ["yes", "garages", None, None, None],
        "landuse": [None, None, "grass", "grass", "grass"],
        "building:levels": [2, 1, None, None, None],
    }
    lawns = [box(-60, -60 - 9 * number, 90, -52 - 9 * number) for number in range(3)]
    shapes = [box(-50, -5, -40, 5), box(22, -5, 32, 5), *lawns]
    file = write(gpd.GeoDataFrame(rows, geometry=shapes, crs=UTM), tmp_path / "houses.gpkg")
    site = read(buildings=LayerSource(file, columns={"storeys": "building:levels"}))
    assert site.layers["buildings"]["kind"].tolist() == ["house", "garages"]
    assert "3 rows near that are no buildings by their tags left out" in told_of(site, "buildings")


def test_a_packed_extract_is_read_too(tmp_path):
    columns = {"storeys": "other_tags:building:levels"}
    site = read(buildings=LayerSource(packed_extract(tmp_path / "house.osm.pbf"), columns=columns))
    (house,) = site.layers["buildings"].itertuples()
    # Evidence: closed form; places are written to 1e-7 of a degree, a centimetre.
    assert (house.kind, house.height_m, house.geometry.area) == (
        "house",
        pytest.approx(5.6),
        pytest.approx(100, rel=2e-3),
    )


def test_a_file_of_other_data_has_no_tags():
    assert given_by_tags("buildings", ["osm_id", "HEIGHT"]) == ()
    assert given_by_tags("buildings", ["id", "building"]) == ()
    assert given_by_tags("keep_outs", ["osm_id", "other_tags"]) == ()


def test_nobody_lives_in_its_outbuildings():
    kinds = ["yes", "house", "apartments", "garages", "farm_auxiliary", "shed", "Annexe", None]
    assert is_lived_in(kinds).tolist() == [True, True, True, False, False, False, False, True]


def test_an_extract_has_no_rows_of_other_layers(tmp_path):
    file = extract(tmp_path / "suburb.osm", *SUBURB)
    with pytest.raises(
        InputError,
        match=r"no rows that are keep outs of themselves\. Name one of its layers: points",
    ):
        read(keep_outs=LayerSource(file))
    fixed = {"kind": "garden"}
    site = read(keep_outs=LayerSource(file, layer="multipolygons", fixed=fixed))
    assert len(site.layers["keep_outs"]) == 4
