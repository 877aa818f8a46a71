"""Draws traced anew: a stand with the sizes of one draw, followed by the library's own kernel."""

from dataclasses import replace

import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.planting.draws import HEIGHTS, PROFILES, WIDTHS
from screenplan.planting.growth import clear_stem_at, spread_at, width_at
from screenplan.views.chance import NEVER
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.grown import runs_of
from screenplan.views.leaves import LEAF_PROJECTION
from screenplan.views.timeline import Scene, follow, sum_up, year_closed


def drawn_stand(drawing, draw):
    """Stand of which each plant has the crown, and the height by year, of one draw; who is dead has none."""
    stand, drawn = drawing.stand, drawing.drawn
    height = drawing.height(draw)
    starts, sizes = [], np.zeros((4, len(height), len(GROWTHS), len(stand.years)))
    for plant, start in enumerate(stand.start):
        species = stand.starts[start].species.at_quantile(
            width=float(WIDTHS[drawn.width[plant, draw]]),
            profile=float(PROFILES[drawn.profile[plant, draw]]),
            leaves=float(HEIGHTS[drawn.leaves[plant, draw]]),
        )
        starts.append(stand.starts[start]._replace(species=species))
        h = height[plant]
        sizes[:, plant] = np.stack(
            [h, spread_at(species, h), width_at(species, h), clear_stem_at(species, h)]
        )[:, None]
    return replace(stand, starts=tuple(starts), start=np.arange(len(starts)), sizes=sizes)


def trace_stand(sight, stand, years, threshold, dim=None):
    """Years in which the views of a sight close behind a stand, by the kernel; ``dim`` as in `Scene`."""
    kinds = [start.species for start in stand.starts]
    height, spread, width, clear = np.moveaxis(stand.sizes[:, :, :1], 1, -1)
    crowns = tabulate_crowns(
        [kind.crown("typical") for kind in kinds], height, 0.5 * spread, clear,
        [1.0 if kind.evergreen else kind.winter_share for kind in kinds], across=0.5 * width,
        extinction=LEAF_PROJECTION * np.array([[kind.leaf_density[1] for kind in kinds]]),
    )  # fmt: skip
    scene = Scene(sight.obstacles, runs_of(stand, crowns), crowns, dim)
    found = []
    for look in sight.looks():
        timeline = sum_up(follow(look.opening, look.eyes, look.heads, scene), scene)
        year = year_closed(timeline.open[0].max(axis=0), threshold) if timeline.rays else None
        found.append(NEVER if year is None or year > years else year)
    return found


def traced_years(sight, drawing, draw, years, threshold, dim=None):
    """Years in which the views of a sight close in one draw, by the kernel."""
    return trace_stand(sight, drawn_stand(drawing, draw), years, threshold, dim)
