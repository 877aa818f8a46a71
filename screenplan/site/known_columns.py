"""What cadastres and open data call the columns that a plan needs, as data.

Names are those of published schemas and of customary use in the trade. Where a line names no source, the name
is from memory: a wrong one costs a guess that a person is told of, and can take back.

- INSPIRE data specifications on cadastral parcels and on buildings (inspire.ec.europa.eu): ``nationalCadastralReference``,
  ``localId``, ``numberOfFloorsAboveGround``, ``heightAboveGround``, ``currentUse``.
- The French cadastre's open data (cadastre.data.gouv.fr): ``section`` and ``numero``, within a commune.
- OpenStreetMap's wiki on ``building:levels``, ``height``, ``roof:height`` and ``building``: levels above the ground,
  metres unless a unit stands behind the number.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from screenplan.site.usual_names import UNITS

#: Shapefiles cut the names of their columns to this length.
SHORT_NAME = 10


@dataclass(frozen=True)
class Known:
    """A name by which a column is known.

    Parameters
    ----------
    names : str
        Names parted by bars; one may be composed, see `screenplan.site.composed`.
    why : str
        What the column is, as it is told.
    unit : str
        Unit of its lengths, where its publisher says one other than metres.
    """

    names: str
    why: str
    unit: str = ""


@dataclass(frozen=True)
class Match:
    """A file's column that may be one of ours.

    Parameters
    ----------
    theirs : str
        As a plan names it.
    why : str
        What it is.
    unit : str
        The unit that its name, or its publisher, says; empty if none.
    tier : int
        Place of its group; what stands earlier is better.
    """

    theirs: str
    why: str
    unit: str
    tier: int


_FLOORS = "storeys above the ground"
_USE = "what the building is used for"
_HEIGHT = "the height, which may be that of the roof's top"
#: Layer: our column: groups, the better ones first; of names in one group two would do as well as each other.
KNOWN: dict[str, dict[str, tuple[tuple[Known, ...], ...]]] = {
    "parcels": {
        "parcel_id": (
            (Known("parcel_id", "the parcel's identifier by its name"),),
            (
                Known("nationalCadastralReference", "the reference in the national cadastre, by INSPIRE"),
                Known("APN|AIN", "an assessor's parcel number"),
                Known("PIN|PIDN|PID|PARCEL_PIN", "a parcel identification number"),
                Known("PARCEL_NO|PARCEL_NUM|PARCEL_NUMBER|PARNO", "a parcel number"),
                Known("MAP_PAR_ID|MAPLOT|ML|MAP + LOT", "an assessor's map and lot"),
                Known("LOTPLAN", "lot and plan"),
                Known("CAPAKEY", "the key of a parcel in the Belgian cadastre"),
                Known("IDU|SECTION + NUMERO", "section and number in the French cadastre"),
                Known("REFCAT", "the reference in the Spanish cadastre"),
                Known("FLSTKENNZ|FLURSTUECKSKENNZEICHEN", "the mark of a parcel in German cadastres"),
                Known("EGRID|EGRIS_EGRID", "the identifier of a property in Switzerland"),
                Known("UPRN", "a unique property reference number"),
                Known("TITLE_NO", "a title's number"),
            ),
            (
                Known("localId|inspireId_localId|INSPIREID", "the data set's own identifier, by INSPIRE"),
            ),
            (Known("id", "an identifier"), Known("gml_id|osm_id|osm_way_id", "an identifier of the file")),
            (Known("objectid|gid|ogc_fid", "a row's number, which may change with the next export"),),
        ),
    },
    "buildings": {
        "building_id": (
            (Known("building_id|bldg_id|id", "the building's identifier by its name"),),
            (Known("EGID|UPRN|cleabs|localId|inspireId_localId", "the building's identifier"),),
            (Known("osm_id|osm_way_id|gml_id", "an identifier of the file"),),
        ),
        "storeys": (
            (Known("storeys", _FLOORS),),
            (
                Known("building:levels", f"{_FLOORS}, by OpenStreetMap"),
                Known("numberOfFloorsAboveGround", f"{_FLOORS}, by INSPIRE"),
                Known("storeysAboveGround|NB_ETAGES|nombre_d_etages|GASTW|AOG", _FLOORS),
                Known("BLDG_FLRS|NUM_FLOORS|FLOORS|NO_FLOORS|N_FLOORS|NUM_STORIES|STORIES|NO_STORIES|STORY|LEVELS", _FLOORS),
            ),
        ),
        "height_m": (
            (
                Known("eaves|eave|eaves_height|eave_height|eaves_ht|eave_ht|height_eaves", "the height of the eaves"),
                Known("HAUTEUR", "the height of the gutter, in the French topographic base", "m"),
                Known("height - roof:height", "the height less that of the roof, by OpenStreetMap", "m"),
            ),
            (
                Known("height|HGT|HT|BLDG_HEIGHT|BLDG_HGT|BLDG_HT|BUILDING_HEIGHT", _HEIGHT),
                Known("heightAboveGround|measuredHeight", _HEIGHT),
                Known("heightroof", _HEIGHT, "ft"),
            ),
        ),
        "kind": (
            (Known("kind", _USE),),
            (
                Known("currentUse|building:use", _USE),
                Known("USAGE1|usage|use|bldg_type|building_type", _USE),
                Known("building", _USE),
            ),
        ),
    },
    "marks": {
        "mark_id": ((Known("number", "the point's number"),),),
        "name": ((Known("code|description", "the point's code"),),),
    },
    "existing_screens": {
        "screen_id": ((Known("number", "the point's number"),),),
        "height_m": ((Known("height|HGT|HT|HAUTEUR|tree_height|est_height", "the height"),),),
        "width_m": ((Known("width|spread|crown_width|diameter_crown", "thickness or spread"),),),
    },
    "roads": {
        "road_id": ((Known("road_id|id", "an identifier"),), (Known("localId|osm_id", "an identifier"),)),
        "name": ((Known("name|street|street_name|road_name|fullname|label|nom_voie", "its name"),),),
        "width_m": ((Known("width|largeur", "the width"),),),
    },
}  # fmt: skip


def find_known(
    layer: str, column: str, present: Sequence[str], tags: Sequence[str] = ()
) -> list[Match]:
    """Find the columns of a file by which a column of ours is known, the best ones first.

    Case, blanks and marks between words do not count, nor what a shapefile cuts off.

    Parameters
    ----------
    layer, column : str
        By contract.
    present : sequence of str
        The file's columns.
    tags : sequence of str
        Tags that stand inside a column of them, each as a plan names it (``other_tags:height``).

    Examples
    --------
    >>> find_known("parcels", "parcel_id", ["Shape_Area", "Apn"])[0].why
    "an assessor's parcel number"
    """
    plain: dict[str, str] = {}
    for theirs in (*tags, *present):  # a column of its own before a tag of the same name
        plain[_plain(theirs.partition(":")[2] if theirs in tags else theirs)] = theirs
    found: list[Match] = []
    for tier, group in enumerate(KNOWN.get(layer, {}).get(column, ())):
        for known in group:
            found += _match(known, plain, tier, has_unit=column.endswith("_m"))
    return found


def _match(known: Known, plain: dict[str, str], tier: int, *, has_unit: bool) -> Iterator[Match]:
    for name in known.names.split("|"):
        sign = next((sign for sign in (" + ", " - ") if sign in name), None)
        wanted = name.split(sign) if sign else [name]
        parts = [part for part in (_find(part, plain) for part in wanted) if part]
        if len(parts) == len(wanted):
            theirs = sign.join(parts) if sign else parts[0]
            yield Match(theirs, known.why, known.unit, tier)
        elif has_unit and sign is None:
            for unit_name, unit in UNITS.items():
                own = plain.get(_plain(name) + unit_name)
                # "Ht_ft" says its unit as a word of its own.
                if own is not None and re.search(rf"[\W_]{unit_name}\W*$", own, re.IGNORECASE):
                    yield Match(own, known.why, unit, tier)


def _find(name: str, plain: dict[str, str]) -> str | None:
    """Find a file's column by a name, whole or cut as a shapefile does."""
    whole = _plain(name)
    if whole in plain:
        return plain[whole]
    cut = name[:SHORT_NAME].lower()
    return next(
        (theirs for theirs in plain.values() if len(name) > SHORT_NAME and theirs.lower() == cut),
        None,
    )


def _plain(name: str) -> str:
    return "".join(re.findall(r"[^\W_]+", name.lower()))
