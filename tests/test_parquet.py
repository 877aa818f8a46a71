"""GeoParquet files that are written: held against the format's own validator, and what they keep."""

import datetime as dt

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from made_up import make_all
from pyproj import CRS

from screenplan.contracts import OUTPUTS, Column, Contract
from screenplan.ground import extras
from screenplan.ground.errors import InputError
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.other_formats import write_format
from screenplan.outputs.parquet import BOX, write_layer

FEET = CRS(2264)
ROWS = 3


def to_crs(layer, crs):
    return layer.to_crs(crs)


def thing(shapes, kinds=("Point",), crs=FEET):
    contract = Contract(
        "things",
        kinds,
        "A thing",
        columns=(Column("name", "text", "Its name"), Column("day", "date", "A day")),
        optional="name day",
    )
    columns = {"name": ["a"] * len(shapes), "day": ["2026-03-21"] * len(shapes)}
    return contract, geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs)


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="Every layer as GeoParquet 1.1: each test of the format's own validator",
    source="geoparquet-validator, of the format's authors",
    status="run",
    tolerance="no test of its classes core and covering fails",
)
def test_every_layer_passes_the_formats_own_validator(tmp_path):
    validator = pytest.importorskip("geoparquet_validator")
    layers = make_all(OUTPUTS, FEET, rows=ROWS, origin=(1_500_000, 600_000))
    write_format(layers, tmp_path, "geoparquet", send_out=to_crs, crs=FEET)
    files = sorted(tmp_path.glob("*.parquet"))
    parts = split_by_kind(layers, OUTPUTS)
    assert len(files) == sum("geometry" in layer for layer in parts.values())
    for file in files:
        report = validator.check(str(file))
        passed = [told["id"] for told in report["outcomes"] if told["status"] == "pass"]
        # The class "distribution" holds what helps in a store of many files, not the format's rules.
        for rules in ("core", "covering"):
            assert validator.failed(report, rules) == [], (file.name, rules)
        assert len(passed) > 3, report


def test_the_validator_notices_a_file_that_breaks_the_rules(tmp_path):
    validator = pytest.importorskip("geoparquet_validator")
    pq = pytest.importorskip("pyarrow.parquet")
    contract, layer = thing([shapely.Point(1, 2)])
    write_layer(layer, tmp_path / "things.parquet", contract)
    table = pq.read_table(tmp_path / "things.parquet")
    about = table.schema.metadata[b"geo"].replace(b'"WKB"', b'"ABC"')
    pq.write_table(table.replace_schema_metadata({b"geo": about}), tmp_path / "bad.parquet")
    assert validator.failed(validator.check(str(tmp_path / "bad.parquet")))


def test_a_row_without_geometry_has_no_box_and_a_day_is_a_day(tmp_path):
    pq = pytest.importorskip("pyarrow.parquet")
    shapes = [shapely.Point(1, 2), None, shapely.LineString([(3, 4), (5, 7)])]
    contract, layer = thing(shapes, ("Point", "LineString"))
    assert write_layer(layer, tmp_path / "things.parquet", contract) == ROWS
    table = pq.read_table(tmp_path / "things.parquet")
    assert table.column(BOX).to_pylist() == [
        {"xmin": 1.0, "ymin": 2.0, "xmax": 1.0, "ymax": 2.0},
        None,
        {"xmin": 3.0, "ymin": 4.0, "xmax": 5.0, "ymax": 7.0},
    ]
    assert table.column("day").to_pylist() == [dt.date(2026, 3, 21)] * ROWS
    assert not list(tmp_path.glob(".*"))


def test_a_table_without_geometry_is_plain_parquet(tmp_path):
    pq = pytest.importorskip("pyarrow.parquet")
    contract = Contract("sums", (), "Sums", columns=(Column("n", "integer", "A sum"),), optional="n")  # fmt: skip
    write_layer(pd.DataFrame({"n": [1, None]}), tmp_path / "sums.parquet", contract)
    table = pq.read_table(tmp_path / "sums.parquet")
    assert table.column("n").to_pylist() == [1, None]
    assert b"geo" not in (table.schema.metadata or {})


def test_what_the_format_loses_is_told(tmp_path):
    contract, layer = thing([shapely.Point(1, 2)])
    _, losses = write_format(
        {"things": layer}, tmp_path, "geoparquet", send_out=to_crs, crs=FEET,
        contracts={"things": contract},
    )  # fmt: skip
    assert "There are no styles." in losses
    assert any("bbox" in loss for loss in losses)
    back = geopandas.read_parquet(tmp_path / "things.parquet")
    assert CRS(back.crs) == FEET
    assert np.array_equal(back.geometry.to_numpy(), layer.geometry.to_numpy())
    assert "things,things.parquet,name,name" in (tmp_path / "columns.csv").read_text("utf-8")


def test_without_the_library_it_says_what_to_install(tmp_path, monkeypatch):
    def lacking(name):
        raise ImportError(name)

    monkeypatch.setattr(extras, "import_module", lacking)
    contract, layer = thing([shapely.Point(1, 2)])
    with pytest.raises(InputError, match=r"pyarrow, which counties and GeoParquet files need"):
        write_format(
            {"things": layer}, tmp_path, "geoparquet", send_out=to_crs, crs=FEET,
            contracts={"things": contract},
        )  # fmt: skip
