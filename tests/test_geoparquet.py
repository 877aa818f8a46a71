"""GeoParquet files."""

import pandas as pd
import pytest
from site_layers import UTM, parcels

from screenplan.ground.errors import InputError
from screenplan.plan import Options, check_plan
from screenplan.running.inputs import read_inputs
from screenplan.site.geoparquet import is_parquet
from screenplan.site.reading import LayerSource, read_site

PIN = {"parcel_id": "PIN"}


def read(source):
    return read_site({"parcels": source}, plan=Options().about("A-2", None))


def test_lots_are_read_as_from_memory(tmp_path):
    file = tmp_path / "lots.parquet"
    parcels().assign(owners=[["a", "b"], [], None, ["c"]]).to_parquet(file)
    assert is_parquet(file)
    site = read(LayerSource(file, columns=PIN))
    # Evidence: invariant; the same lots in memory.
    same = read(LayerSource(parcels(), columns=PIN))
    assert (
        site.layers["parcels"].geometry.to_wkb().tolist()
        == same.layers["parcels"].geometry.to_wkb().tolist()
    )
    (record,) = site.inputs
    assert (record["crs"], record["rows"], record["file"]) == (UTM, 4, str(file))
    assert len(record["sha256"]) == 64


def test_a_plan_may_state_its_system(tmp_path):
    parcels().set_crs(4326, allow_override=True).to_parquet(tmp_path / "lots.parquet")
    layer = {"file": "lots.parquet", "columns": PIN}
    content = {"layers": {"parcels": layer}, "subject": {"id": "A-2"}}
    with pytest.raises(
        InputError, match=r"lots\.parquet, row 2, key layers\.parcels\.crs: Coordinates such as"
    ):
        read_inputs(check_plan(content), tmp_path)
    layer["crs"] = UTM
    assert len(read_inputs(check_plan(content), tmp_path).layers["parcels"]) == 3


def test_a_file_that_is_none_is_refused(tmp_path):
    pd.DataFrame({"a": [1]}).to_parquet(tmp_path / "table.parquet")
    with pytest.raises(
        InputError, match=r"table\.parquet: .*it says of no column that it holds shapes"
    ):
        read(LayerSource(tmp_path / "table.parquet"))
    whole = tmp_path / "lots.parquet"
    parcels().to_parquet(whole)
    whole.write_bytes(whole.read_bytes()[:-40])
    with pytest.raises(InputError, match=r"lots\.parquet: .*it is damaged"):
        read(LayerSource(whole))


def test_without_its_reader_the_extra_is_named(tmp_path, monkeypatch):
    parcels().to_parquet(tmp_path / "lots.parquet")
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(
        InputError,
        match=r'pyarrow, which is not installed\. Install it with pip install "screenplan\[county\]"',
    ):
        read(LayerSource(tmp_path / "lots.parquet"))
