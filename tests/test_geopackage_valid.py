"""The GeoPackage against its standard, by GDAL's own validator in the system's Python."""

import re
import shutil
import sqlite3
import subprocess
from pathlib import Path

import pytest
from made_up import make_all
from pyproj import CRS

from screenplan.contracts import OUTPUTS
from screenplan.outputs.layers import GEOPACKAGE_NAME, write_layers
from screenplan.running.pipeline import run_plan
from screenplan.running.writing import write_run

SAMPLE = Path(__file__).parent.parent / "sample_data" / "hillside.toml"
PYTHON = "/usr/bin/python3"
VALIDATOR = "osgeo_utils.samples.validate_gpkg"


def system_python(*arguments):
    """Run the system's Python with nothing of this environment in it."""
    return subprocess.run(
        [PYTHON, *arguments], capture_output=True, text=True, check=False, timeout=120,
        env={"PATH": "/usr/bin:/bin", "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip


def has_validator():
    return bool(shutil.which(PYTHON)) and not system_python("-c", f"import {VALIDATOR}").returncode


pytestmark = pytest.mark.skipif(
    not has_validator(), reason="GDAL's validator is not there (Debian package python3-gdal)"
)


def validate(path):
    """Give what the validator complains of, its extra checks and warnings included."""
    done = system_python("-m", VALIDATOR, "-k", "--extra", "--warning-as-error", str(path))
    return (done.stdout + done.stderr).strip().splitlines(), done.returncode


SYSTEMS = {
    "US feet": (CRS(2264), 1.0),
    "metres": (CRS(25832), 1.0),
    "degrees": (CRS(4326), 1e-4),
    "web Mercator": (CRS(3857), 1.0),
    "feet without a code": (
        CRS("+proj=lcc +lat_1=36 +lat_2=34 +lat_0=33.7 +lon_0=-79 +x_0=609601 +datum=NAD83 +units=ft"),
        1.0,
    ),
    "local without a code": (CRS("+proj=tmerc +lat_0=50 +lon_0=8 +k=1.00003 +ellps=GRS80"), 1.0),
    "with a datum shift": (
        CRS("+proj=tmerc +lon_0=9 +x_0=3500000 +ellps=bessel +towgs84=598.1,73.7,418.2,0.2,0,-2.5,6.7"),
        1.0,
    ),
    "with heights": (CRS("EPSG:2264+6360"), 1.0),
}  # fmt: skip


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="plan.gpkg of made-up layers in eight reference systems: no error, no warning",
    source="OGC GeoPackage, by GDAL's validator with its extra checks",
    status="run",
    tolerance="every requirement that it checks",
)
@pytest.mark.parametrize(("system", "rows"), [*((system, 3) for system in SYSTEMS), ("US feet", 0)])
def test_made_up_layers_make_a_valid_file(system, rows, tmp_path):
    crs, unit = SYSTEMS[system]
    layers = make_all(OUTPUTS, crs, rows=rows, unit=unit)
    write_layers(layers, tmp_path, send_out=lambda layer, crs: layer.to_crs(crs), crs=crs)
    assert validate(tmp_path / GEOPACKAGE_NAME) == ([], 0)


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="plan.gpkg of the sample run: no error, no warning",
    source="OGC GeoPackage, by GDAL's validator with its extra checks",
    status="run",
    tolerance="every requirement that it checks",
)
def test_the_sample_run_makes_a_valid_file(tmp_path):
    path = write_run(run_plan(SAMPLE), tmp_path / "plan") / GEOPACKAGE_NAME
    assert validate(path) == ([], 0)
    with sqlite3.connect(path) as database:
        tables = {name for (name,) in database.execute("SELECT table_name FROM gpkg_contents")}
        own = database.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    database.close()
    # Every table of ours is registered; the others belong to the format or to SQLite.
    rest = {name for (name,) in own} - tables
    assert all(re.match(r"(gpkg|sqlite|rtree)_", name) for name in rest), rest
    assert {"plants", "buildings", "layer_styles"} <= tables


@pytest.mark.parametrize(
    ("spoil", "complaint"),
    [
        ("PRAGMA application_id = 0", "Req 2: "),
        ("UPDATE gpkg_contents SET data_type = 'thing'", "Req "),
        ("DELETE FROM gpkg_spatial_ref_sys WHERE srs_id = -1", "Req 11: "),
        ("INSERT INTO gpkg_geometry_columns VALUES ('nothing','geom','POINT',4326,0,0)", "Req "),
    ],
)
def test_the_validator_finds_what_is_wrong(spoil, complaint, tmp_path):
    crs = CRS(25832)
    layers = make_all({"plants": OUTPUTS["plants"]}, crs)
    write_layers(layers, tmp_path, send_out=lambda layer, crs: layer.to_crs(crs), crs=crs)
    path = tmp_path / GEOPACKAGE_NAME
    database = sqlite3.connect(path)
    database.execute("PRAGMA foreign_keys = OFF")
    database.execute(spoil)
    database.commit()
    database.close()
    lines, code = validate(path)
    assert code == 1
    assert any(line.startswith(complaint) for line in lines), lines
