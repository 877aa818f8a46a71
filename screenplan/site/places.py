"""Private places: those that are given, or the garden of the house."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import PRIVATE_PLACES
from screenplan.contracts.tables import has_rows, layer_of_columns, with_notes
from screenplan.ground.faults import Faults
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.site.garden import find_gardens
from screenplan.site.lots import Lots, Many
from screenplan.site.overlay import without
from screenplan.site.ownership import outline_known, sound, subject_outline
from screenplan.site.shaping import column_or

#: What is left of a place beside the buildings in it must be at least this large.
LEAST_PLACE_M2 = 0.5


def lay_places(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    private_places: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> gpd.GeoDataFrame:
    """Complete the private places that are given, or derive one.

    From a given place the buildings in it are cut out, but for those that are no taller than its
    deck: a roof terrace stands on its building. With none given, the derived one is the garden of the
    subject's main house (its largest building that is lived in, else its largest): usable open ground
    within ``places.depth`` of it, and ``places.edge`` off the parcel's line, where the screen would
    stand. Usable is ground in which circles of 5 m fit, or of 3 m where there is no such. What lies
    behind the house, away from the nearest road, is taken if it has 40 m² or half the area of the
    largest; else what lies beside the house, and last what lies before it. Where no road is within
    100 m, it is the ground before the wall that has most before it. Where nothing has room for a table
    (12 m²), the strip along the line is narrowed, quarter by quarter. Where no building stands on the
    subject, or nothing beside it is wide enough, it is the middle of the open ground: what is farther
    from its outline than half the radius of the largest circle within, and ``places.edge`` if that
    leaves room. On a parcel that is built upon all over there is no derived place.

    Parameters
    ----------
    parcels : GeoDataFrame
        Contract ``parcels``, in metres.
    buildings, roads, private_places : GeoDataFrame, optional
        By their contracts, in metres; an empty layer of places counts as none.
    plan : Options, optional
        Of it [places].

    Returns
    -------
    GeoDataFrame
        Contract ``private_places``; given ones keep their index, areas before points, as they
        come back from files. What is doubtful stands in ``attrs["notes"]``.

    Raises
    ------
    InputError
        With every place that has no outline or lies inside a building.
    """
    if has_rows(private_places):
        laid = _complete(private_places, buildings, parcels.crs)
        laid = laid.iloc[np.argsort(laid.geom_type.to_numpy() == "Point", kind="stable")]
        return with_notes(laid, notes_on_places(parcels, buildings, private_places))
    if plan.places.derive and not outline_known(parcels):
        return with_notes(
            _shape([], [], parcels.crs),
            ["there are no private places: none are given, and the parcel's outline is not known"],
        )
    if plan.places.derive:
        subject_outline(parcels)
    given = {"parcels": parcels, "buildings": buildings, "roads": roads}
    lots = Lots.one({name: layer for name, layer in given.items() if layer is not None})
    places, notes = lay_places_each(lots, plan=plan)
    return with_notes(places.layer, notes[0])


def lay_places_each(lots: Lots, *, plan: Options = DEFAULTS) -> tuple[Many, list[list[str]]]:
    """Derive a private place of each of several lots, for which none is given; see `lay_places`.

    Parameters
    ----------
    lots : Lots
        Around them ``buildings`` and ``roads``, if there are some.
    plan : Options, optional
        Of it [places].

    Returns
    -------
    places : Many
        Contract ``private_places``: one row of a lot at most.
    notes : list of list of str
        What should be known about each lot's place, or why it has none.
    """
    crs = lots.around["parcels"].crs
    if not plan.places.derive:
        why = "there are no private places: none are given and deriving them is switched off"
        return Many(_shape([], [], crs), np.empty(0, dtype=int), len(lots)), [[why]] * len(lots)
    gardens = find_gardens(lots, plan.places)
    none = "there are no private places: none are given, and the parcel has no open ground for one"
    notes = [[none if garden is None else garden.why] for garden in gardens]
    own = np.array([k for k, garden in enumerate(gardens) if garden is not None], dtype=int)
    found = [garden for garden in gardens if garden is not None]
    rows = [{"place_id": "garden", "name": one.name, "derived": True} for one in found]
    return Many(_shape([one.place for one in found], rows, crs), own, len(lots)), notes


def notes_on_places(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None,
    private_places: gpd.GeoDataFrame,
) -> tuple[str, ...]:
    """Tell what is doubtful about the places that are given: outside the subject, or cut.

    Parameters
    ----------
    parcels, buildings, private_places : GeoDataFrame
        As `lay_places` takes them.
    """
    known = outline_known(parcels)
    subject = subject_outline(parcels) if known else shapely.Polygon()
    laid = _complete(private_places, buildings, parcels.crs)
    notes = []
    for before, after, number in zip(
        private_places.geometry, laid.geometry, laid["place_id"], strict=True
    ):
        if known and not shapely.intersects(subject, after):
            notes.append(f"place {number} is outside the subject parcel")
        elif known and not shapely.covers(shapely.buffer(subject, 1e-6), after):
            notes.append(f"place {number} is in part outside the subject parcel")
        if before.area - after.area > 1e-6:
            notes.append(
                f"buildings take {{{before.area - after.area:.1f} m²}} of place {number}, "
                "which is cut to the rest"
            )
    return tuple(map(said, notes))


def _shape(geometry: list, records: list[dict], crs) -> gpd.GeoDataFrame:
    columns = {
        column.name: [row.get(column.name, column.default) for row in records]
        for column in PRIVATE_PLACES.columns
    }
    return layer_of_columns(PRIVATE_PLACES, columns, geometry, crs)


def _complete(places: gpd.GeoDataFrame, buildings, crs) -> gpd.GeoDataFrame:
    numbers = [
        str(row if name is None else name)
        for row, name in enumerate(column_or(places, "place_id"), start=1)
    ]
    columns = {
        column.name: column_or(places, column.name, column.default)
        for column in PRIVATE_PLACES.columns
    }
    if buildings is None:
        footprints, heights = np.empty(0, dtype=object), np.empty(0)
    else:
        footprints = sound(buildings.geometry.to_numpy())
        heights = column_or(buildings, "height_m", np.nan).astype(float)
    faults = Faults("private_places")
    faults.note_doubles(numbers, "Give each place its own place_id")
    geometry, records = [], []
    for row, (place, number) in enumerate(zip(places.geometry, numbers, strict=True)):
        try:
            deck = float(columns["deck_m"][row] or 0.0)
            taller = ~(heights <= deck) if deck > 0.0 else np.ones(len(footprints), dtype=bool)
            geometry.append(_free_of(place, footprints[taller]))
        except _TakenError as taken:
            mend = "Draw it where people sit or stand, outside the buildings"
            faults.note(row, f"place {number} {taken}", mend)
            continue
        values = {name: column[row] for name, column in columns.items()}
        values |= {
            "place_id": number,
            "name": values["name"] or f"private place {number}",
            "derived": False,
        }
        records.append(values)
    faults.raise_any()
    laid = _shape(geometry, records, crs)
    laid.index = places.index
    return laid


class _TakenError(Exception):
    """Nothing is left of a place; the text follows its name."""


def _free_of(place, footprints: np.ndarray):
    """Cut the buildings out of a place."""
    if place is None or place.is_empty:
        raise _TakenError("has no outline")
    place = shapely.force_2d(place)
    if place.geom_type == "Point":
        if shapely.contains(footprints, place).any():
            raise _TakenError("is inside a building")
        return place
    touching = footprints[shapely.intersects(footprints, place)]
    rest = _polygons(without(place, shapely.union_all(touching)))
    if rest.area < min(LEAST_PLACE_M2, 0.5 * place.area):
        raise _TakenError("is inside a building")
    return rest


def _polygons(geometry):
    """Keep the areas of a geometry, without slivers."""
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
    if len(parts) > 1:
        parts = [part for part in parts if part.area > 0.01 * LEAST_PLACE_M2]
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
