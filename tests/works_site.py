"""A small invented site with a staked and fenced row, for the tests of works and exchange."""

from functools import cache

import geopandas as gpd
import shapely
from options_kit import plan_with

from screenplan.planting.lines import draw_lines
from screenplan.planting.rows import set_plants
from screenplan.planting.zones import mark_zones
from screenplan.site.sides import find_sides

PARCEL = shapely.box(0.0, 0.0, 40.0, 60.0)
HOUSE = shapely.box(12.0, 15.0, 26.0, 25.0)


def layer(geometries, **columns) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(geometries))


def layers(parcels, planting_lines, plants, buildings=None, **more) -> dict:
    """Layers as the steps of the works take them; None where there is none."""
    named = {"parcels": parcels, "planting_lines": planting_lines, "plants": plants}
    return named | {"buildings": buildings} | more


def parcels(shape=PARCEL) -> gpd.GeoDataFrame:
    return layer([shape], parcel_id=["7"], is_subject=[True])


def buildings(shape=HOUSE) -> gpd.GeoDataFrame:
    return layer([shape], building_id=["h1"], parcel_id=["7"], kind=["house"])


@cache
def _planted(shape, along, rows, spacing, species, stock, height, offset):
    subject = parcels(shape)
    plan = plan_with(
        rows_along=along, rows_rows=rows, rows_spacing=spacing, rows_offset=offset,
        plants_species=species, plants_stock=stock, plants_stock_height=height,
    )  # fmt: skip
    zones, free = mark_zones({"parcels": subject, "buildings": buildings()}, plan=plan)
    lines = draw_lines(subject, find_sides(subject), free, zones, plan=plan)
    plants, _ = set_plants(lines, free, zones, plan=plan)
    return subject, lines, plants


def planted(
    *, shape=PARCEL, along=("north",), rows=1, spacing=1.5, species="thuja_smaragd",
    stock="container", height=0.9, offset=None,
):  # fmt: skip
    """Parcels, planting lines and plants of a row."""
    subject, lines, plants = _planted(shape, along, rows, spacing, species, stock, height, offset)
    return subject.copy(), lines.copy(), plants.copy()
