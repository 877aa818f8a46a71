"""Whether coordinates can lie in the CRS that their file states."""

from __future__ import annotations

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfUse
from pyproj.exceptions import CRSError, ProjError

from screenplan.ground.datum import horizontal, unbind
from screenplan.ground.errors import refuse

#: How far outside its CRS's stated area a layer may lie, degrees.
AREA_MARGIN_DEG = 5.0
#: Longitudes are counted to 180 or to 360.
_MOST_LON, _MOST_LAT = 360.0, 90.0
#: Drawings count in millimetres.
MILLIMETRE_M = 0.001
#: A parcel or row that reaches farther is not planned; a frame's lengths are then off by more than
#: 3 in ten million at its ends.
MOST_ACROSS_M = 10_000.0


def refuse_misfit(layer, bounds: tuple[float, float, float, float] | None, rows=()) -> None:
    """Refuse an opened layer, or rows of it, whose bounds cannot lie in the CRS that it states.

    Raises
    ------
    InputError
        With what `find_misfit` says.
    """
    misfit = find_misfit(layer.crs, bounds)
    if misfit:
        raise refuse(
            misfit, "State the CRS in which the coordinates really are", **layer.where,
            rows=[int(row) for row in rows], key=layer.crs_key, kind="system",
        )  # fmt: skip


def find_misfit(crs: CRS, bounds: tuple[float, float, float, float] | None) -> str | None:
    """Say why bounds cannot lie in a CRS, or None if they can.

    Parameters
    ----------
    crs : pyproj.CRS
        As the file states it.
    bounds : tuple of float or None
        Least x, least y, largest x, largest y in it.

    Returns
    -------
    str or None
        A sentence without a full stop, with a guess at what the coordinates really are.
    """
    if bounds is None:
        return None
    flat = unbind(horizontal(crs))
    if flat.geodetic_crs is None:
        return None  # no place on the earth at all, which is said elsewhere
    x, y = (bounds[0] + bounds[2]) / 2.0, (bounds[1] + bounds[3]) / 2.0
    said = f"Coordinates such as {x:.6g}, {y:.6g} cannot lie in the CRS '{crs.name}'"
    if flat.is_geographic:
        turn = np.degrees(flat.axis_info[0].unit_conversion_factor)
        if max(-bounds[0], bounds[2]) * turn > _MOST_LON or (
            max(-bounds[1], bounds[3]) * turn > _MOST_LAT
        ):
            swapped = max(abs(v) for v in bounds) * turn <= _MOST_LON
            looks = "latitude and longitude swapped" if swapped else "metres or feet, not degrees"
            return f"{said}: they look like {looks}"
        return None
    degrees = max(abs(bounds[0]), abs(bounds[2])) <= 180.0 and (
        max(abs(bounds[1]), abs(bounds[3])) <= _MOST_LAT
    )
    hint = ": they look like degrees" if degrees else ""
    area = _find_area(flat)
    whole_earth = area is not None and area.east - area.west >= 350.0
    if degrees and (whole_earth or _far_from_origin(flat)):
        # Within 180 m of a false origin, or of the Gulf of Guinea, there is no parcel.
        return said + hint
    try:
        to_degrees = Transformer.from_crs(flat, flat.geodetic_crs, always_xy=True)
    except ProjError:
        return f"The projection of the CRS '{crs.name}' cannot be computed here"
    with np.errstate(all="ignore"):
        lon, lat = to_degrees.transform(x, y)
    if not (np.isfinite(lon) and np.isfinite(lat)):
        return said + hint
    if area is None or whole_earth:
        return None
    width = (area.east - area.west) % 360.0 + 2.0 * AREA_MARGIN_DEG
    inside = (lon - area.west + AREA_MARGIN_DEG) % 360.0 <= width and (
        area.south - AREA_MARGIN_DEG <= lat <= area.north + AREA_MARGIN_DEG
    )
    return (
        None
        if inside
        else f"{said}, which is for {(area.name or 'another area').rstrip('.')}{hint}"
    )


def guess_unit(crs: CRS, across_m: float) -> str:
    """Say what a unit that makes a parcel far too large may really be; empty if nobody can tell.

    Drawing programs count in millimetres; degrees are given to coordinates that have none.

    Parameters
    ----------
    crs : pyproj.CRS
        As the file states it.
    across_m : float
        How far the parcel reaches in it, metres.
    """
    flat = unbind(horizontal(crs))
    if flat.is_geographic:
        return "; its coordinates look like metres or feet, not degrees"
    unit = flat.axis_info[0].unit_name
    truly = across_m * MILLIMETRE_M / flat.axis_info[0].unit_conversion_factor
    if truly > MOST_ACROSS_M:
        return ""
    taken = "metres" if unit == "metre" else f"units of {unit}"
    return f"; its coordinates look like millimetres taken for {taken}, it would be {{{truly:.3g} m}} across"


def _find_area(flat: CRS) -> AreaOfUse | None:
    """Find a CRS's area; a file states its CRS without, but says by which number a register has it."""
    number = flat.to_json_dict().get("id")
    named = (number["authority"], number["code"]) if number else flat.to_authority()
    if flat.area_of_use is not None or named is None:
        return flat.area_of_use  # type: ignore[return-value]  # one class under two names
    try:
        return CRS.from_authority(*named).area_of_use  # type: ignore[return-value]
    except CRSError:
        return None


def _far_from_origin(flat: CRS) -> bool:
    """Tell whether the CRS has a false origin, so that no site has coordinates near zero."""
    operation = flat.coordinate_operation
    return operation is not None and any(
        "alse" in parameter.name and abs(float(parameter.value)) > 1000.0
        for parameter in operation.params
    )
