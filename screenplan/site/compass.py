"""Directions and their names: degrees clockwise from north, the eight points of the compass."""

from __future__ import annotations

import numpy as np

#: The eight points, from north clockwise, each 45° wide and centred on its direction.
POINTS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def bearing_deg(dx, dy):
    """Give the direction of a vector in degrees clockwise from north, 0 to below 360.

    Parameters
    ----------
    dx, dy : float or ndarray
        Components to the east and to the north, of one shape.

    Returns
    -------
    float or ndarray
        The direction; that of a null vector is 0.
    """
    angle = np.degrees(np.arctan2(dx, dy)) % 360.0
    # A tiny negative angle is rounded up to 360 by the modulus.
    return np.where(angle >= 360.0, 0.0, angle)[()]


def unit_vector(direction_deg):
    """Give the vector of length 1 in a direction, as (to the east, to the north)."""
    angle = np.radians(direction_deg)
    return np.sin(angle), np.cos(angle)


def turn_deg(before_deg, after_deg):
    """Give the change from one direction to another, above -180 to 180, anticlockwise positive."""
    return -((np.asarray(after_deg) - before_deg + 180.0) % 360.0 - 180.0)[()]


def apart_deg(one_deg, other_deg):
    """Give the angle between two directions, 0 to 180."""
    return np.abs(turn_deg(one_deg, other_deg))


def compass_point(direction_deg):
    """Give the nearest of the eight `POINTS` by its number.

    A direction that is exactly half-way, such as 22.5°, takes the point that follows clockwise.

    Parameters
    ----------
    direction_deg : float or ndarray

    Returns
    -------
    int or ndarray of int
    """
    number = (np.asarray(direction_deg) % 360.0 + 22.5) // 45.0
    return number.astype(int)[()] % 8


def compass_name(direction_deg: float) -> str:
    """Name the nearest of the eight points of the compass; see `compass_point`."""
    return POINTS[compass_point(direction_deg)]
