"""Points as surveyors send them."""

import json
import zipfile

import pytest
from click.testing import CliRunner
from site_layers import EAST, NORTH, UTM, parcels, write
from test_openstreetmap import SUBURB, extract

from screenplan.commandline.main import main
from screenplan.ground.errors import InputError
from screenplan.plan import Options
from screenplan.site.point_lists import codes_of, is_point_list, read_points
from screenplan.site.reading import LayerSource, read_site

#: Trees and a pin at the site: number, east and north from its middle in metres, height, code.
POINTS = (
    (101, -10.0, 5.5, 88.2, "TREE OAK 12"),
    (102, 10.0, -5.25, 88.9, "TREE"),
    (7, 20.0, 20.0, 87.0, "PIN"),
)


def lines(order="PNEZD", mark=",", decimal="."):
    """The points as text in an order of fields."""
    for number, east, north, height, code in POINTS:
        fields = {"P": number, "N": NORTH + north, "E": EAST + east, "Z": height, "D": code}
        numbers = {
            key: f"{value:.3f}".replace(".", decimal)
            for key, value in fields.items()
            if key in "NEZ"
        }
        yield mark.join(str({**fields, **numbers}[key]) for key in order)


def write_list(path, head=(), **how):
    path.write_text("\n".join((*head, *lines(**how))) + "\n", encoding="utf-8")
    return path


HOW = {
    "commas": ("points.csv", (), {}),
    "blanks": ("points.txt", ("# job 12",), {"mark": "  "}),
    "tabs": ("points.asc", (), {"mark": "\t"}),
    "decimal commas": ("points.txt", (), {"mark": ";", "decimal": ","}),
    "header": ("points.csv", ("Point,Northing,Easting,Elevation,Description",), {}),
    "header in another order": (
        "points.txt",
        ("pt\teast\tnorth\tz\tcode",),
        {"order": "PENZD", "mark": "\t"},
    ),
}


@pytest.mark.parametrize("case", HOW)
def test_a_list_is_read_however_its_fields_are_parted(tmp_path, case):
    # Evidence: the order number, northing, easting, elevation, description is the customary one (PNEZD).
    name, head, how = HOW[case]
    file = write_list(tmp_path / name, head, **how)
    assert is_point_list(file)
    found = read_points(file)
    assert found.has_header == bool(head and head[0][0] != "#")
    assert found.points["number"].tolist() == ["101", "102", "7"]
    assert found.points["code"].tolist() == ["TREE OAK 12", "TREE", "PIN"]
    assert found.points.geometry.x.tolist() == [EAST - 10.0, EAST + 10.0, EAST + 20.0]
    assert found.points.geometry.y.tolist() == [NORTH + 5.5, NORTH - 5.25, NORTH + 20.0]
    assert [float(height.replace(",", ".")) for height in found.points["elevation"]] == [
        88.2,
        88.9,
        87.0,
    ]
    assert codes_of(found.points) == ["TREE", "PIN"]


@pytest.mark.parametrize(
    "text",
    ["x,y\n1,2\n", "name,east,north\na,1,2\n", "kind,height_m,east,north,z\ntree,4,1,2,3\n", "some words\n", "", "a,b,c,d\n1,x,y,z\n", "1,2\n", "500000.1 5540000.2 88.1\n500001.1 5540000.2 88.3\n"],
)  # fmt: skip
def test_a_table_is_no_list(tmp_path, text):
    (tmp_path / "table.csv").write_text(text)
    assert not is_point_list(tmp_path / "table.csv")


def test_lines_that_are_no_points_are_refused_by_number(tmp_path):
    file = write_list(tmp_path / "points.txt")
    file.write_text(file.read_text() + "8,north,east,1,PIN\n")
    with pytest.raises(
        InputError,
        match=r"points\.txt, row 4: The line is no point: north and east must be numbers",
    ):
        read_points(file)


def read(**sources):
    lots = LayerSource(parcels(), columns={"parcel_id": "PIN"})
    return read_site({"parcels": lots, **sources}, plan=Options().about("A-2", None))


@pytest.mark.parametrize("order", ["PNEZD", "PENZD"])
def test_codes_are_its_layers_and_only_the_order_that_lies_here_is_meant(tmp_path, order):
    file = write_list(tmp_path / "points.csv", order=order)
    trees = LayerSource(
        file,
        layer="tree",
        crs=UTM,
        columns={"screen_id": "number"},
        fixed={"kind": "tree", "height_m": 6.0},
    )
    site = read(existing_screens=trees)
    found = site.layers["existing_screens"]
    assert found["screen_id"].tolist() == ["101", "102"]
    # Evidence: closed form; UTM's scale at the middle meridian is 0.9996, and the frame's is 1.
    assert found.geometry.x.tolist() == pytest.approx([-10.0 / 0.9996, 10.0 / 0.9996], abs=0.01)
    turned = "only with east before north it lies here" in " ".join(map(str, site.warnings))
    assert turned == (order == "PENZD")
    with pytest.raises(
        InputError,
        match=r"No point has the code 'HEDGE'\. Name one of the codes, as the layer: TREE, PIN",
    ):
        read(existing_screens=LayerSource(file, layer="HEDGE", crs=UTM))
    with pytest.raises(InputError, match=r"key layers\.marks\.crs: The layer has no CRS"):
        read(marks=LayerSource(file))


def test_a_cadastre_without_a_system_an_extract_and_a_list_end_in_a_plan_by_what_start_says(
    tmp_path,
):
    lots = parcels().rename(columns={"PIN": "APN"}).set_crs(None, allow_override=True)
    write(lots, tmp_path / "lots.shp", driver="ESRI Shapefile", engine="fiona")
    points = write_list(tmp_path / "points.txt")
    plan = tmp_path / "hedge.toml"
    layers = (
        f"parcels={tmp_path / 'lots.shp'}",
        f"existing_screens={points}:TREE",
        f"marks={points}:PIN",
        f"buildings={extract(tmp_path / 'suburb.osm', *SUBURB)}",
    )
    given = [part for layer in layers for part in ("--layer", layer)]
    systems = [
        "--crs",
        f"parcels={UTM}",
        "--crs",
        "existing_screens=as parcels",
        "--crs",
        "marks=as parcels",
    ]
    started = CliRunner().invoke(main, ["start", str(plan), *given, *systems, "--id", "A-2"])
    assert "took 'number' as screen_id" in started.output
    assert "kind = tree for all rows, as the code TREE says" in " ".join(started.output.split())
    # Nobody but the person knows how high the trees are, and the refusal says how to tell it.
    assert started.exit_code == 2
    assert "The column height_m is missing" in started.stderr
    assert "fixed = { height_m" in started.stderr
    text = plan.read_text(encoding="utf-8")
    plan.write_text(
        text.replace('"kind" = "tree"', '"kind" = "tree", "height_m" = 6.0'), encoding="utf-8"
    )
    checked = CliRunner().invoke(main, ["check", str(plan)])
    assert checked.exit_code == 0, checked.output


@pytest.mark.parametrize("head", [(), ("no,north,east,height,code",)])
def test_a_surveyors_list_is_the_parcels_outline_where_it_lies(tmp_path, head):
    corners = [(-20, -20), (20, -20), (20, 10), (-20, 10)]
    rows = [f"{n},{NORTH + y},{EAST + x},88.1,PIN" for n, (x, y) in enumerate(corners, start=1)]
    (tmp_path / "corners.txt").write_text("\n".join((*head, *rows)), encoding="utf-8")
    plan, corners = tmp_path / "hedge.toml", tmp_path / "corners.txt"
    started = CliRunner().invoke(
        main, ["start", str(plan), "--corners", str(corners), "--crs", f"parcels={UTM}"]
    )
    assert started.exit_code == 0, started.output
    said = " ".join(started.output.split())
    assert ("its fields taken for number, north, east, height, code; a list with east" in said) == (
        not head
    )
    # Evidence: the middle meridian of the zone, 9° east; closed form of the lengths at UTM's scale 0.9996.
    assert "longitude 9.0000" in said
    sides = json.loads(CliRunner().invoke(main, ["sides", str(plan), "--json"]).stdout)
    lengths = sorted(side["length_m"] for side in sides)
    assert lengths == pytest.approx([30 / 0.9996] * 2 + [40 / 0.9996] * 2, abs=0.01)


def test_zipped_shapefiles_are_started_from(tmp_path):
    write(parcels(), tmp_path / "lots.shp", driver="ESRI Shapefile", engine="fiona")
    with zipfile.ZipFile(tmp_path / "lots.zip", "w") as packed:
        for part in sorted(tmp_path.glob("lots.*")):
            if part.suffix != ".zip":
                packed.write(part, part.name)
    started = CliRunner().invoke(
        main,
        [
            "start",
            str(tmp_path / "hedge.toml"),
            "--layer",
            f"parcels={tmp_path / 'lots.zip'}",
            "--id",
            "A-2",
        ],
    )
    assert started.exit_code == 0, started.output
