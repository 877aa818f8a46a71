"""How far a view's shares may be out: by its sampling, and by the cells of the terrain.

A share is an area of the place, cut off by the edges of what stands in the way, counted in cells.
An edge that runs along the grid puts a whole row of cells wrong at once: that error falls in
proportion to the spacing, so a sample with 1.5 times the density along each axis has two thirds of
it, and the difference of the two is a third. An edge at an angle cuts about n^(1/2) of n cells,
each wrong by its own fraction, so that they sum up to about n^(1/4) cells, n^(-3/4) of all; two
samples may differ by less than that by chance, which is why it stands as a floor. What is smaller
than a cell may be missed by both samples: a cell is added for it. Only positions between which a ray
passes count: through a window that is looked through at a slant few eyes may see a place. Of 300 made-up gardens and edges
with a known share the error so stated covers the true one in at least 99 of 100.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from screenplan.site.terrain import Terrain
from screenplan.views.timeline import Timeline

#: Error of the first sample over its difference from the denser one: 3 for edges along the grid,
#: 0.9 for many edges at angles, whose errors are independent; with the floor below, 2 covers.
PER_DIFFERENCE = 2.0
#: Error of n cells that an edge cuts at an angle, in units of n^(-3/4): a straight edge right
#: across a square place cuts up to 1.41 n^(1/2) cells, each out by 0.29 (root mean square of an even
#: spread over one cell); this is twice the root mean square of their sum.
CUT_CELLS = 0.7
#: Shares of light that differ by less are equal: rounding only.
EQUAL_SHARE = 1e-12


def sampling_error(
    sample: Timeline, denser: Timeline, positions: int, eyes: int, *, single: bool
) -> float:
    """Error of a sample's open shares, the greatest over growths, seasons and years.

    Parameters
    ----------
    sample, denser : Timeline
        The sample, and one with 1.5 times its density.
    positions, eyes : int
        Positions in plan of the sample's targets and eyes, of those between which a ray passes.
    single : bool
        Whether the place has one position alone: it is sampled by the eyes, along a line.

    Returns
    -------
    float
    """
    eyes, positions = max(eyes, 1), max(positions, 1)
    # A place of one position is sampled by the eyes alone, along a line, to half a step.
    cell = 0.5 / eyes if single else 1.0 / positions / np.sqrt(eyes)
    floor = cell if single else CUT_CELLS * positions**-0.75 / np.sqrt(eyes)
    one = np.append(sample.open, sample.now)
    two = np.append(denser.open, denser.now)
    cut = ((one > 0.0) & (one < 1.0)) | ((two > 0.0) & (two < 1.0))
    difference = PER_DIFFERENCE * np.abs(one - two) + cell
    error = np.maximum(difference, np.where(cut, floor, 0.0))
    return float(min(error.max(), 1.0))


def other_grounds(terrain: Terrain) -> tuple[Terrain, Terrain]:
    """Give the ground raised and lowered by as much as its cells may leave heights out.

    What stands in the way is raised and lowered, eyes and heads are not: so the shares change by at
    least as much as they would on the true ground, as far as its bends tell (`Terrain.node_errors`).
    """
    around = np.pad(terrain.node_errors(), 1, mode="edge")
    error = sliding_window_view(around, (3, 3)).max(axis=(2, 3))
    return replace(terrain, z=terrain.z + error), replace(terrain, z=terrain.z - error)
