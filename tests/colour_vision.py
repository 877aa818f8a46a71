"""How colours look to eyes that lack one kind of cone, and in grey, and how far apart they are.

The simulation is that of Machado, Oliveira and Fernandes, "A Physiologically-based Model for
Simulation of Color Vision Deficiency", IEEE Transactions on Visualization and Computer Graphics
15(6), 2009, at severity 1.0: matrices on linear sRGB. Distances are CIE 1976 in CIELAB under D65.
"""

from __future__ import annotations

import numpy as np

MATRICES = {
    "full": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}  # fmt: skip
#: Linear sRGB to CIE XYZ under D65 (IEC 61966-2-1).
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour):
    """Give a colour ``#rrggbb`` as linear sRGB."""
    parts = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(colour, vision="full"):
    """Give a colour in CIELAB as an eye of that kind sees it."""
    seen = np.clip(MATRICES[vision] @ linear(colour), 0.0, 1.0)
    xyz = TO_XYZ @ seen / (TO_XYZ @ np.ones(3))
    root = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def distance(one, other, vision="full"):
    """Give the distance of two colours; 2.3 is just noticeable side by side."""
    return float(np.linalg.norm(lab(one, vision) - lab(other, vision)))


def lightness(colour):
    """Give CIE lightness, 0 to 100: what is left in grey."""
    return float(lab(colour)[0])
