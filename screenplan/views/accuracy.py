"""How far a view's shares may be out: by its sampling, and by the cells of the terrain.

A share is an area of the place, cut off by the edges of what stands in the way, counted in cells.
An edge that runs along the grid puts a whole row of cells wrong at once: that error falls in
proportion to the spacing, so a sample with 1.5 times the density along each axis has two thirds of
it, and the difference of the two is a third. An edge at an angle cuts about n^(1/2) of n cells,
each wrong by its own fraction, so that they sum up to about n^(1/4) cells, n^(-3/4) of all; two
samples may differ by less than that by chance, which is why it stands as a floor. What is smaller
than a cell may be missed by both samples: half a cell is added for it. Of a thousand random places
and edges with a known share the error so stated covers the true one in all but one or two.
"""

from __future__ import annotations

import numpy as np

from screenplan.site.terrain import Terrain
from screenplan.views.timeline import Timeline

#: Error of the first sample over its difference from the denser one: 3 for edges along the grid,
#: 0.9 for many edges at angles, whose errors are independent; with the floor below, 2 covers.
PER_DIFFERENCE = 2.0
#: Error of n cells that an edge cuts at an angle, in units of n^(-3/4): a straight edge right
#: across a square place cuts up to 1.41 n^(1/2) cells, each out by 0.29 (root mean square of an even
#: spread over one cell); this is twice the root mean square of their sum.
CUT_CELLS = 0.7


def sampling_error(sample: Timeline, denser: Timeline, positions: int, eyes: int) -> float:
    """Error of a sample's open shares, the greatest over growths, seasons and years.

    Parameters
    ----------
    sample, denser : Timeline
        The sample, and one with 1.5 times its density.
    positions, eyes : int
        Positions in plan of the sample's targets and eyes.

    Returns
    -------
    float
    """
    eyes = max(eyes, 1)
    # A place of one position is sampled by the eyes alone, along a line.
    half_cell = 0.5 / eyes if positions == 1 else 0.5 / positions / np.sqrt(eyes)
    floor = half_cell if positions == 1 else CUT_CELLS * positions**-0.75 / np.sqrt(eyes)
    one = np.append(sample.open, sample.now)
    two = np.append(denser.open, denser.now)
    cut = ((one > 0.0) & (one < 1.0)) | ((two > 0.0) & (two < 1.0))
    difference = PER_DIFFERENCE * np.abs(one - two) + half_cell
    error = np.maximum(difference, np.where(cut, floor, 0.0))
    return float(min(error.max(), 1.0))


def coarser_ground(terrain: Terrain) -> Terrain | None:
    """Give the ground by every second node only; None where too few would be left.

    Between nodes heights are bilinear, so their error falls with the square of the cell: by larger
    cells one sees at least what these cells leave, about three times as much where it is smooth.
    """
    z = terrain.z[::2, ::2]
    if min(z.shape) < 2:
        return None
    return Terrain(z, terrain.x0, terrain.y0, 2.0 * terrain.dx, 2.0 * terrain.dy)
