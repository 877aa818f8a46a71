"""Files held against the schemas of their formats, as far as packages carry them.

GPX 1.1 by the package gpx, which has the schema's rules as a table, KML 2.2 by the schema that the package fastkml
carries. No package of the index was found that carries the schemas of SLD 1.1 or of OGC API Processes; GeoParquet
has a validator of its own (`test_parquet.py`), and the server's OpenAPI document another (`test_openapi.py`).
"""

import importlib.util
from pathlib import Path

import pytest
from made_up import make_all
from pyproj import CRS
from test_exchange import layers, write

from screenplan.contracts import OUTPUTS
from screenplan.outputs.other_formats import write_format


def check_gpx(path):
    """Give what is wrong in a GPX file."""
    gpx = pytest.importorskip("gpx")
    return [str(issue) for issue in gpx.validate(path).issues]


def kml_schema():
    """Give the schema of KML 2.2."""
    xmlschema = pytest.importorskip("xmlschema")
    found = importlib.util.find_spec("fastkml")
    if found is None:
        pytest.skip("fastkml is not installed")
    folder = Path(found.origin).parent / "schema"
    return xmlschema.XMLSchema(str(folder / "ogckml22.xsd"), allow="local", base_url=str(folder))


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="The points for receivers: the rules of the schema of GPX 1.1",
    source="the package gpx",
    status="run",
    tolerance="no issue",
)
def test_the_points_keep_the_schema_of_gpx(tmp_path):
    write(tmp_path)
    assert check_gpx(tmp_path / "stakeout.gpx") == []


def test_the_rules_of_gpx_notice_what_is_wrong(tmp_path):
    write(tmp_path)
    file = tmp_path / "stakeout.gpx"
    file.write_text(file.read_text("utf-8").replace("<name>", "<nmae>", 1).replace("</name>", "</nmae>", 1), "utf-8")  # fmt: skip
    assert check_gpx(file)


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="The points and the layers as KML: the schema of KML 2.2",
    source="the schema ogckml22.xsd as the package fastkml carries it, by xmlschema",
    status="run",
    tolerance="valid",
)
def test_both_kml_files_keep_the_schema_of_kml(tmp_path):
    schema = kml_schema()
    write(tmp_path)
    schema.validate(str(tmp_path / "stakeout.kml"))
    crs = CRS(2264)
    made = make_all(OUTPUTS, crs, rows=2, origin=(1_500_000, 600_000))
    write_format(made, tmp_path, "kml", send_out=lambda layer, to: layer.to_crs(to), crs=crs)
    schema.validate(str(tmp_path / "plan.kml"))


def test_the_schema_of_kml_notices_what_is_wrong(tmp_path):
    schema = kml_schema()
    assert len(layers()["stakes"])
    write(tmp_path)
    file = tmp_path / "stakeout.kml"
    file.write_text(file.read_text("utf-8").replace("Placemark", "Placemrak"), "utf-8")
    assert not schema.is_valid(str(file))
