"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.effects.applied import list_rules as list_rules
from screenplan.effects.boundary import outgrow_boundary as outgrow_boundary
from screenplan.effects.buried import mark_buried as mark_buried
from screenplan.effects.buried import reach_drains as reach_drains
from screenplan.effects.health import judge_health as judge_health
from screenplan.effects.hedge_height import guide_heights as guide_heights
from screenplan.effects.light import count_light as count_light
from screenplan.effects.noise import follow_noise as follow_noise
from screenplan.effects.overhead import reach_wires as reach_wires
from screenplan.effects.roads import draw_sight_triangles as draw_sight_triangles

__all__ = [
    "count_light",
    "draw_sight_triangles",
    "follow_noise",
    "guide_heights",
    "judge_health",
    "list_rules",
    "mark_buried",
    "outgrow_boundary",
    "reach_drains",
    "reach_wires",
]
