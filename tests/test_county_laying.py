"""A layer laid out along a curve: every row once, neighbours together, what has no place listed."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
import shapely
from county_kit import CRS, EAST, NORTH, lots
from site_layers import write_circle

import screenplan
from screenplan.county import laying, streams
from screenplan.county.columnar import Columnar
from screenplan.county.laying import ROW, lay_layer, skipped_file
from screenplan.county.streams import hash_source
from screenplan.site.reading import LayerSource


def grid(side=12):
    """Squares of 10 m beside each other, row by row."""
    cells = [shapely.box(x, y, x + 10, y + 10) for y in range(0, 10 * side, 10) for x in range(0, 10 * side, 10)]  # fmt: skip
    names = [f"c{k}" for k in range(len(cells))]
    return gpd.GeoDataFrame({"parcel_id": names}, geometry=cells, crs=CRS)


@pytest.mark.parametrize("form", ["frame", "gpkg", "shp", "geojson", "fgb", "parquet"])
def test_every_form_gives_the_same_rows(tmp_path, form):
    # Invariant: the same squares, whatever holds them; FlatGeobuf keeps an order of its own.
    parcels = grid(6).to_crs("EPSG:4326") if form == "geojson" else grid(6)
    source = parcels
    if form == "parquet":
        source = tmp_path / "in.parquet"
        parcels.to_parquet(source)
    elif form != "frame":
        source = tmp_path / f"in.{form}"
        parcels.to_file(source)
    theirs = "PARCEL_ID"[:10].lower()
    laid = lay_layer("parcels", LayerSource(source, None, {"parcel_id": theirs}), tmp_path / "out")
    rows = Columnar(laid.path).near(None)
    assert sorted(rows["parcel_id"]) == sorted(parcels["parcel_id"])
    by_name = rows.set_index("parcel_id").geometry
    given = parcels.set_index("parcel_id").geometry
    assert all(by_name[name].normalize().equals_exact(given[name].normalize(), 1e-9) for name in by_name.index)  # fmt: skip
    assert rows.crs == parcels.crs
    if form != "fgb":
        assert rows.set_index("parcel_id")[ROW].to_dict() == {f"c{k}": k + 1 for k in range(36)}


def test_buckets_and_chunks_give_the_order_of_the_whole(tmp_path, monkeypatch):
    # Invariant; and neighbours on the curve are neighbours on the ground: Hilbert's curve over a square grid
    # of 16 by 16 goes from each cell to one beside it.
    parcels = grid(16).sample(frac=1.0, random_state=3).reset_index(drop=True)
    whole = Columnar(lay_layer("parcels", LayerSource(parcels), tmp_path / "one").path).near(None)
    monkeypatch.setattr(streams, "CHUNK_ROWS", 30)
    monkeypatch.setattr(laying, "BUCKET_ROWS", 50)
    parts = Columnar(lay_layer("parcels", LayerSource(parcels), tmp_path / "many").path).near(None)
    assert whole["parcel_id"].tolist() == parts["parcel_id"].tolist()
    assert whole[ROW].tolist() == parts[ROW].tolist()
    middles = shapely.get_coordinates(shapely.centroid(whole.geometry.to_numpy()))
    steps = np.hypot(*np.diff(middles, axis=0).T)
    assert np.median(steps) == pytest.approx(10.0)
    assert sorted(parts[ROW]) == list(range(1, 257))


def test_a_box_gives_the_rows_that_meet_it_and_reads_no_more_groups_than_it_must(tmp_path, monkeypatch):  # fmt: skip
    monkeypatch.setattr(laying, "GROUP_ROWS", 16)
    parcels = grid(16)
    file = Columnar(lay_layer("parcels", LayerSource(parcels), tmp_path).path)
    box = (42.0, 42.0, 58.0, 58.0)
    found = file.near([box])
    expected = parcels[parcels.geometry.intersects(shapely.box(*box))]
    assert sorted(found["parcel_id"]) == sorted(expected["parcel_id"])
    meta = pq.read_metadata(file.path)
    assert meta.num_row_groups == 16
    starts, boxes = file._groups
    assert starts.tolist() == [16 * k for k in range(17)]
    groups = [k for k in range(16) if shapely.box(*boxes[k]).intersects(shapely.box(*box))]
    assert len(groups) <= 8
    # Twice the same box gives no row twice, and rows by place are those of the file.
    assert len(file.near([box, box])) == len(found)
    assert file.read(10, 14).index.tolist() == [10, 11, 12, 13]
    assert file.read(250, 999).index.tolist() == [250, 251, 252, 253, 254, 255]
    assert len(file.near([(1e6, 1e6, 2e6, 2e6)])) == 0


def test_what_has_no_place_is_listed_with_its_row(tmp_path):
    shapes = [shapely.box(0, 0, 1, 1), None, shapely.Point(), shapely.Point(3, 4), shapely.box(0, 0, np.inf, 1)]  # fmt: skip
    houses = gpd.GeoDataFrame({"building_id": list("abcde")}, geometry=shapes, crs=CRS)
    laid = lay_layer("buildings", LayerSource(houses), tmp_path)
    told = pd.read_parquet(skipped_file(laid))
    # A building that is a point is another matter: it is told when it is read.
    assert told["source_row"].tolist() == [2, 3, 5]
    assert Columnar(laid.path).near(None)[ROW].tolist() == [1, 4]


def test_identifiers_stay_text_and_one_without_is_called_by_its_row(tmp_path):
    parcels = grid(2).assign(parcel_id=[7.0, None, 12.0, 12.0])
    laid = lay_layer("parcels", LayerSource(parcels), tmp_path)
    rows = Columnar(laid.path).near(None).sort_values(ROW)
    assert rows["parcel_id"].tolist() == ["7", "row 2", "12", "12"]
    assert rows["planned"].tolist() == [True, True, False, False]
    told = pd.read_parquet(skipped_file(laid))
    assert told["source_row"].tolist() == [3, 4]
    assert told["reason"].str.contains("'12' stands for several rows").all()


def test_a_column_in_parts_is_kept(tmp_path):
    parcels = grid(2).rename(columns={"parcel_id": "B"}).assign(A=["x", "x", "y", "y"])
    laid = lay_layer("parcels", LayerSource(parcels, None, {"parcel_id": "A + B"}), tmp_path)
    rows = Columnar(laid.path).near(None).sort_values(ROW)
    assert rows["parcel_id"].tolist() == ["x c0", "x c1", "y c2", "y c3"]


@pytest.mark.parametrize(
    ("source", "says"),
    [
        (LayerSource(grid(2).set_crs(None, allow_override=True)), "has no CRS"),
        (LayerSource(grid(2), None, {"parcel_id": "PIN"}), "no column 'PIN'"),
        (LayerSource(grid(2).iloc[:0]), "layer of parcels is empty"),
    ],
)
def test_a_layer_that_cannot_be_read_is_refused_and_leaves_nothing(tmp_path, source, says):
    with pytest.raises(screenplan.InputError, match=says):
        lay_layer("parcels", source, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_files_that_are_no_geoparquet_are_refused(tmp_path):
    plain, broken = tmp_path / "plain.parquet", tmp_path / "broken.parquet"
    pd.DataFrame({"a": [1]}).to_parquet(plain)
    broken.write_bytes(b"PAR1 and no more")
    for path, says in ((plain, "no entry 'geo'"), (broken, "cannot be read as Parquet"), (tmp_path / "none.parquet", "does not exist")):  # fmt: skip
        with pytest.raises(screenplan.InputError, match=says):
            lay_layer("parcels", LayerSource(path), tmp_path / "out")


def test_a_hash_follows_all_that_a_layer_holds(tmp_path):
    layers = lots(2)
    one = hash_source(LayerSource(layers["parcels"]))
    assert one == hash_source(LayerSource(layers["parcels"].copy()))
    other = layers["parcels"].translate(0.001, 0.0).to_frame("geometry").assign(parcel_id=["p1", "p2"])  # fmt: skip
    assert one != hash_source(LayerSource(other))
    assert one != hash_source(LayerSource(layers["parcels"].assign(parcel_id=["p1", "p3"])))
    path = tmp_path / "parcels.gpkg"
    layers["parcels"].to_file(path)
    file = hash_source(LayerSource(path))
    assert file == hash_source(LayerSource(path))
    assert file != hash_source(LayerSource(path, None, {}, {}, {"parcel_id": "a"}))
    assert file != hash_source(LayerSource(path, None, missing={"parcel_id": "a"}))


def test_an_empty_layer_beside_the_parcels_holds_nothing(tmp_path):
    laid = lay_layer("roads", LayerSource(lots(2)["roads"].iloc[:0]), tmp_path)
    assert len(Columnar(laid.path).near([(EAST, NORTH, EAST + 1, NORTH + 1)])) == 0


def test_arcs_are_short_edges_as_in_a_plan(tmp_path):
    # Closed form: a regular polygon of 90 edges, 4 degrees of arc each, as a plan's reading makes of a circle.
    path = write_circle(tmp_path / "round.gpkg", 10.0)
    laid = lay_layer("parcels", LayerSource(path), tmp_path / "out")
    (shape,) = Columnar(laid.path).near(None).geometry
    assert shape.geom_type == "Polygon"
    assert shape.area == pytest.approx(0.5 * 90 * 10.0**2 * np.sin(np.radians(4.0)), rel=1e-6)
