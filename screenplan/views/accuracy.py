"""How far a view's shares may be out: by its sampling, and by the cells of the terrain."""

from __future__ import annotations

from screenplan.site.terrain import Terrain
from screenplan.views.timeline import Timeline


def sampling_error(sample: Timeline, denser: Timeline) -> float:
    """Error of a sample's open shares."""
    return denser.differs_from(sample)


def coarser_ground(terrain: Terrain) -> Terrain | None:
    """Give the ground by every second node only; None where too few would be left.

    Between nodes heights are bilinear, so their error falls with the square of the cell: by larger
    cells one sees at least what these cells leave, about three times as much where it is smooth.
    """
    z = terrain.z[::2, ::2]
    if min(z.shape) < 2:
        return None
    return Terrain(z, terrain.x0, terrain.y0, 2.0 * terrain.dx, 2.0 * terrain.dy)
