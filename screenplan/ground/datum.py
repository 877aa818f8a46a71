"""Changes of datum: which one is taken, how accurate it is, and when it is refused.

A ballpark transformation (one that takes two datums for the same) is never taken, and nothing is
fetched from a network: a transformation counts only if all its grids are on this machine.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, cached_property

import pyproj
import pyproj.network
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import ProjError
from pyproj.transformer import TransformerGroup

from screenplan.ground.errors import InputError, refuse

#: Half the size in degrees of the area for which a transformation is chosen.
AREA_HALF_DEG = 0.02

#: Length of a degree of latitude is at most this, at the poles of any ellipsoid in use.
METRES_PER_DEGREE = 111_700.0

#: Where the plan states the tolerance.
TOLERANCE_KEY = "site.datum_tolerance"

#: Longitude and latitude as receivers and web maps give them. By way of it two datums are joined that have no change
#: of their own.
WGS84 = "EPSG:4326"

#: How layers are mended of which one has a place on earth and the other has none.
STATE_BOTH = (
    "State the CRS in which its coordinates are with the key crs of the layer: a code, WKT, or "
    '"as parcels" for that of the parcels'
)

#: A site with swapped coordinates may lie on another continent, where nothing leads from one system to the other.
_LOOK_THERE = (
    "Look whether the parcel or row lies there: its latitude and longitude may be swapped, or its CRS be another. "
    "If it does, "
)

#: Name of the system of a site of which nobody said where on earth it lies.
GROUND_NAME = "Ground of the site, metres, its place on earth not known"
_GROUND = (
    'ENGCRS["{name}",EDATUM["Ground of the site"],CS[Cartesian,2],AXIS["{0}",{1},ORDER[1]],'
    'AXIS["{2}",{3},ORDER[2]],LENGTHUNIT["metre",1]]'
)


def ground_plane(*, north: bool) -> CRS:
    """Give the system of a site without a place on earth; with or without a known north.

    Examples
    --------
    >>> is_ground(ground_plane(north=True)), knows_north(ground_plane(north=False))
    (True, False)
    """
    axes = ("east", "east", "north", "north") if north else ("x", "unspecified", "y", "unspecified")
    return CRS.from_wkt(_GROUND.format(*axes, name=GROUND_NAME))


def is_ground(crs: CRS | None) -> bool:
    """Tell whether a system is that of a site without a place on earth."""
    return crs is not None and CRS(crs).is_engineering and CRS(crs).name == GROUND_NAME


def knows_north(crs: CRS | None) -> bool:
    """Tell whether up in a system is north; a layer without a system is taken as the local frame."""
    return not is_ground(crs) or CRS(crs).axis_info[1].direction == "north"


@dataclass(frozen=True)
class Transformation:
    """The way from one horizontal CRS to another, with its accuracy.

    Parameters
    ----------
    source, target : str
        Names of the two CRS.
    operation : str
        The operation's name, or ``none`` where both lie on one datum and no change is needed.
    accuracy_m : float or None
        Stated accuracy in metres, 0 on one datum; None where nobody states it.
    better_m : float or None
        Accuracy of a better operation that was left out because its grids are missing.
    missing_grids : tuple of str
        Those grids' file names.
    transformer : pyproj.Transformer
        Takes x (east or longitude) before y, whatever the CRS says.
    """

    source: str
    target: str
    operation: str
    accuracy_m: float | None
    better_m: float | None = None
    missing_grids: tuple[str, ...] = ()
    transformer: Transformer = field(repr=False, compare=False, kw_only=True)

    @cached_property
    def from_crs(self) -> CRS:
        """The CRS from which it comes, unbound and horizontal."""
        crs = self.transformer.source_crs
        assert crs is not None  # it was made of two
        return unbind(horizontal(CRS(crs)))

    @cached_property
    def unit_m(self) -> float:
        """Length of a unit of the CRS from which it comes, metres; that of a degree, at most, where it is an angle."""
        factor = self.from_crs.axis_info[0].unit_conversion_factor
        angle = self.from_crs.is_geographic
        return METRES_PER_DEGREE * math.degrees(factor) if angle else factor

    @cached_property
    def turn(self) -> float:
        """A whole turn in the unit of the CRS from which it comes; 0 if that counts no degrees."""
        if not self.from_crs.is_geographic:
            return 0.0
        return 2.0 * math.pi / self.from_crs.axis_info[0].unit_conversion_factor

    def to_record(self) -> dict[str, object]:
        """Give plain values for a run record."""
        return {
            "source": self.source,
            "target": self.target,
            "operation": self.operation,
            "accuracy_m": self.accuracy_m,
            "better_m": self.better_m,
            "missing_grids": list(self.missing_grids),
        }


def horizontal(crs: CRS) -> CRS:
    """Strip the vertical part of a CRS; the towgs84 part of a bound one stays.

    Parameters
    ----------
    crs : pyproj.CRS
        Any CRS.

    Returns
    -------
    pyproj.CRS
        A two-dimensional CRS; the very same object if it was one already.
    """
    if crs.is_compound:
        return horizontal(CRS(crs.sub_crs_list[0]))
    if len(crs.axis_info) > 2 and not crs.is_geocentric:
        return crs.to_2d()
    return crs


def unbind(crs: CRS) -> CRS:
    """Give the horizontal CRS that a bound one changes; any other as it is."""
    source = crs.source_crs if crs.is_bound else None
    return crs if source is None else horizontal(source)


def is_on_earth(crs: CRS) -> bool:
    """Tell whether a CRS gives a place on a map: a site grid or a geocentric one does not."""
    bare = unbind(crs)
    return bare.geodetic_crs is not None and not bare.is_geocentric


@cache
def knows_place(crs: CRS) -> bool:
    """Tell whether anybody states how the datum of a CRS lies on the earth.

    Nobody does for a site grid, or for a datum that is called unknown. A change to WGS 84 that needs
    a grid which is not on this machine counts as known.

    Examples
    --------
    >>> knows_place(CRS("EPSG:25832")), knows_place(CRS("+proj=tmerc +ellps=GRS80 +lon_0=9"))
    (True, False)
    """
    flat = horizontal(crs)
    if not is_on_earth(flat):
        return False
    group = _list_operations(flat, CRS(WGS84), None)
    return bool(group.transformers or group.unavailable_operations)


@cache
def _unchanged(crs: CRS) -> Transformer:
    """Give the way from a CRS to itself."""
    return Transformer.from_crs(crs, crs, always_xy=True)


def find_transformation(
    source: CRS,
    target: CRS,
    *,
    area: tuple[float, float, float, float] | None = None,
    tolerance_m: float | None = None,
    file: str | None = None,
    layer: str | None = None,
) -> Transformation:
    """Choose the transformation between two CRS, or refuse.

    Parameters
    ----------
    source, target : pyproj.CRS
        The two CRS; vertical parts are left out.
    area : tuple of float, optional
        West, south, east, north of the site, degrees from Greenwich: national datums have several
        transformations, each for its own area.
    tolerance_m : float, optional
        Refuse what is less accurate. None only states the accuracy.
    file, layer : str, optional
        Whose CRS ``source`` is, for the message.

    Returns
    -------
    Transformation

    Raises
    ------
    InputError
        If only a ballpark transformation is at hand, or none as accurate as asked; the accuracy
        and the missing grids are named.
    """
    source, target = horizontal(source), horizontal(target)
    for crs in (source, target):
        if not is_on_earth(crs):
            raise refuse(
                f"The CRS '{crs.name}' gives no place on a map of the earth",
                STATE_BOTH,
                file=file,
                layer=layer,
                kind="system",
            )
    if source.equals(target, ignore_axis_order=True):
        return Transformation(source.name, target.name, "none", 0.0, transformer=_unchanged(target))
    try:
        group = _list_operations(source, target, area)
    except (ProjError, IndexError):  # pyproj looks for the grids of an operation that is none
        raise refuse(
            f"The projection of the CRS '{source.name}' cannot be computed here",
            f"Save this layer in the CRS '{target.name}'",
            file=file,
            layer=layer,
            kind="system",
        ) from None
    better_m, missing = _find_missing(group)
    if knows_place(source) != knows_place(target):
        of = "" if knows_place(target) else " of the parcels"
        lost, other = (source, target) if knows_place(target) else (target, source)
        raise refuse(
            f"The datum of the CRS '{lost.name}'{of} is not known, so nobody can tell how "
            f"'{other.name}' lies to it",
            STATE_BOTH,
            file=file,
            layer=layer,
            kind="system",
        )
    best = _take_best(group, source, target, area)
    if best is None:
        raise refuse(
            f"No transformation from '{source.name}' to '{target.name}' can be used"
            + (
                f": it needs {_name_grids(missing)}, {_lacking(missing)} here"
                if missing
                else _at(area)
            ),
            _mend_by_hand(missing, target)
            if missing or area is None
            else _LOOK_THERE + _mend_by_hand(missing, target, first=False),
            file=file,
            layer=layer,
            kind="system",
        )
    accuracy_m = None if best.accuracy < 0 else float(best.accuracy)
    if accuracy_m is None and not _changes_datum(source, target):
        # PROJ from 9.6 on tells one epoch of an ensemble such as WGS 84 from the ensemble, and gives
        # the step between two spellings of the same system no accuracy.
        accuracy_m = 0.0
    if accuracy_m is not None and better_m is not None and better_m >= accuracy_m:
        better_m, missing = None, ()
    if tolerance_m is not None and accuracy_m is None:
        raise refuse(
            f"The change of datum from '{source.name}' to '{target.name}' has no stated accuracy",
            f"Save this layer in the CRS '{target.name}' with a transformation that you trust",
            file=file,
            layer=layer,
            kind="system",
        )
    if tolerance_m is not None and accuracy_m is not None and accuracy_m > tolerance_m:
        grids = (
            f"; {_name_grids(missing)}, good to {{{better_m:g} m}}, {_lacking(missing)[6:]}"
            if missing
            else ""
        )
        raise refuse(
            f"The change of datum from '{source.name}' to '{target.name}' is good to "
            f"{{{accuracy_m:g} m}} only, the tolerance is {{{tolerance_m:g} m}}{grids}",
            f'Go on by {TOLERANCE_KEY}="{accuracy_m:g} m", in the plan or behind --set: this layer may then '
            f"lie up to {{{accuracy_m:g} m}} "
            "beside where it belongs among the others. To do better, "
            + _mend_by_hand(missing, target, first=False),
            file=file,
            layer=layer,
            key=TOLERANCE_KEY,
            kind="system",
        )
    operation = best.description
    if accuracy_m == 0.0 and not _changes_datum(source, target):
        operation = "none"
    return Transformation(
        source.name,
        target.name,
        operation,
        accuracy_m,
        better_m,
        missing,
        transformer=best,
    )


@dataclass(frozen=True)
class _TwoSteps:
    """A change of datum by way of WGS 84, under the face of a transformer."""

    first: Transformation
    second: Transformation

    @property
    def source_crs(self) -> CRS | None:
        return self.first.transformer.source_crs

    @property
    def description(self) -> str:
        return f"{self.first.operation} + {self.second.operation}"

    @property
    def accuracy(self) -> float:
        """Sum of both, as nobody knows how their errors go together; -1 where one is not stated."""
        first, second = self.first.accuracy_m, self.second.accuracy_m
        return -1.0 if first is None or second is None else first + second

    def transform(self, x, y, direction: str = "FORWARD"):
        steps = (self.first, self.second) if direction == "FORWARD" else (self.second, self.first)
        for step in steps:
            x, y = step.transformer.transform(x, y, direction=direction)
        return x, y


def _take_best(group: TransformerGroup, source: CRS, target: CRS, area):
    """Give the first of the transformations, or one by way of WGS 84; None where there is none."""
    if group.transformers:
        # PROJ sorts them by the area that they cover, then by accuracy.
        return group.transformers[0]
    wgs84 = CRS(WGS84)
    if any(crs.equals(wgs84, ignore_axis_order=True) for crs in (source, target)):
        return None
    try:
        return _TwoSteps(
            find_transformation(source, wgs84, area=area),
            find_transformation(wgs84, target, area=area),
        )
    except InputError:
        return None


def _changes_datum(source: CRS, target: CRS) -> bool:
    if source.is_bound or target.is_bound:
        return True
    one, other = source.geodetic_crs, target.geodetic_crs
    assert one is not None  # `is_on_earth`
    return not one.equals(other, ignore_axis_order=True)


def _list_operations(source: CRS, target: CRS, area) -> TransformerGroup:
    with warnings.catch_warnings(), _no_network():
        # "Best transformation is not available": said in our own words, with the grids' names.
        warnings.simplefilter("ignore", UserWarning)
        return TransformerGroup(
            source,
            target,
            always_xy=True,
            allow_ballpark=False,
            area_of_interest=AreaOfInterest(*area) if area else None,  # type: ignore[arg-type]  # one class under two names
        )


def _find_missing(group: TransformerGroup) -> tuple[float | None, tuple[str, ...]]:
    """Accuracy and missing grids of the best operation that cannot be used."""
    options = [
        (op.accuracy, len(names), names)
        for op in group.unavailable_operations
        if (names := tuple(grid.short_name for grid in op.grids if not grid.available))
        and op.accuracy >= 0
    ]
    if not options:
        return None, ()
    accuracy, _, names = min(options)
    return float(accuracy), names


def _at(area: tuple[float, float, float, float] | None) -> str:
    """Say at which place; an operation holds in an area, and a site that lies elsewhere than it should has none."""
    if area is None:
        return ""
    west, south, east, north = area
    return f" at latitude {(south + north) / 2.0:.2f}, longitude {(west + east) / 2.0:.2f}, where the parcel or row lies"


def _name_grids(names: tuple[str, ...]) -> str:
    word = "the grid" if len(names) == 1 else "the grids"
    return f"{word} {', '.join(names)}"


def fetch_command(names: Sequence[str]) -> str:
    """Give the command that fetches grids.

    Examples
    --------
    >>> fetch_command(["us_noaa_conus.tif"])
    'pyproj sync --file us_noaa_conus.tif'
    """
    return " && ".join(f"pyproj sync --file {name}" for name in names)


def _lacking(names: tuple[str, ...]) -> str:
    return "which is missing" if len(names) == 1 else "which are missing"


def _mend_by_hand(missing: tuple[str, ...], target: CRS, *, first: bool = True) -> str:
    """Tell how a layer gets an accurate change: by fetching the grids, or by another program."""
    save = f"save this layer in the CRS '{target.name}' with a program that has an accurate transformation"
    if not missing:
        return save[0].upper() + save[1:] if first else save
    it = "it" if len(missing) == 1 else "them"
    said = (
        f"fetch {_name_grids(missing)} with {fetch_command(missing)}, "
        f"or save this layer in the CRS '{target.name}' with a program that has {it}"
    )
    return said[0].upper() + said[1:] if first else said


@contextmanager
def _no_network() -> Iterator[None]:
    before = pyproj.network.is_network_enabled()
    pyproj.network.set_network_enabled(False)
    try:
        yield
    finally:
        if before:
            pyproj.network.set_network_enabled(True)
