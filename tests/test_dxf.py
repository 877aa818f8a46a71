"""Drawings in DXF, by the layers that the drawing has."""

from itertools import chain

import pytest
from site_layers import EAST, NORTH, UTM

from screenplan.ground.errors import InputError
from screenplan.site.reading import LayerSource, read_site


def polyline(layer, *points, closed=False):
    """A POLYLINE with its vertices, as group codes and values, after the published description of the format (R12)."""
    pairs = [(0, "POLYLINE"), (8, layer), (66, 1), (70, int(closed))]
    for x, y in points:
        pairs += [(0, "VERTEX"), (8, layer), (10, EAST + x), (20, NORTH + y)]
    return [*pairs, (0, "SEQEND")]


def write_dxf(path, *entities):
    pairs = [(0, "SECTION"), (2, "ENTITIES"), *chain(*entities), (0, "ENDSEC"), (0, "EOF")]
    path.write_text("".join(f"{code}\n{value}\n" for code, value in pairs), encoding="ascii")
    return path


LOT = polyline("PARCEL", (-20, -20), (20, -20), (20, 20), (-20, 20), closed=True)
LABEL = [(0, "TEXT"), (8, "PARCEL"), (10, EAST), (20, NORTH), (40, 1.0), (1, "A-2")]
FENCE = polyline("Fence", (-20, 19), (20, 19))
HOUSE = polyline("HOUSES", (-50, -5), (-40, -5), (-40, 5), (-50, 5), (-50, -5))


def test_closed_lines_of_a_layer_by_name_are_parcels(tmp_path):
    file = write_dxf(tmp_path / "survey.dxf", LOT, LABEL, FENCE, HOUSE)
    sources = {
        "parcels": LayerSource(file, layer="PARCEL", crs=UTM),
        "buildings": LayerSource(file, layer="houses", crs="as parcels", fixed={"storeys": 2}),
        "existing_screens": LayerSource(
            file, layer="FENCE", crs="as parcels", fixed={"kind": "fence", "height_m": 1.8}
        ),
    }
    site = read_site(sources)
    # Evidence: closed form; UTM's scale at the middle meridian is 0.9996, and the frame's is 1.
    assert site.layers["parcels"].geometry.area.tolist() == pytest.approx(
        [1600.0 / 0.9996**2], rel=1e-4
    )
    assert site.layers["buildings"].geometry.area.tolist() == pytest.approx(
        [100.0 / 0.9996**2], rel=1e-4
    )
    assert site.layers["existing_screens"].geometry.length.tolist() == pytest.approx(
        [40.0 / 0.9996], rel=1e-4
    )
    said = " ".join(map(str, site.warnings))
    assert "1 closed lines of the drawing are taken as areas" in said
    assert "1 entities of its layer that are texts, open lines or the like are left out" in said


def test_the_only_layer_that_can_be_meant_need_not_be_named(tmp_path):
    file = write_dxf(tmp_path / "survey.dxf", LOT, FENCE)
    assert read_site({"parcels": LayerSource(file, crs=UTM)}).layers["parcels"].shape[0] == 1
    file = write_dxf(tmp_path / "more.dxf", LOT, HOUSE)
    with pytest.raises(
        InputError,
        match=r"The drawing holds 2 layers, and none is named\. Name the one that holds the parcels: PARCEL, HOUSES",
    ):
        read_site({"parcels": LayerSource(file, crs=UTM)})
    with pytest.raises(
        InputError,
        match=r"There is no layer 'LOTS' in the drawing\. Name one of its layers: PARCEL, HOUSES",
    ):
        read_site({"parcels": LayerSource(file, layer="LOTS", crs=UTM)})
    with pytest.raises(
        InputError, match=r"more\.dxf, layer PARCEL, key layers\.parcels\.crs: The layer has no CRS"
    ):
        read_site({"parcels": LayerSource(file, layer="PARCEL")})


def test_open_lines_are_no_parcels(tmp_path):
    file = write_dxf(tmp_path / "survey.dxf", FENCE)
    with pytest.raises(InputError, match=r"layer Fence.*LineString"):
        read_site({"parcels": LayerSource(file, crs=UTM)})
