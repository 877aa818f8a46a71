"""What the screen does to others: light, roads, lines and pipes, boundary, noise, health."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "count_light": "light",
        "draw_sight_triangles": "roads",
        "follow_noise": "noise",
        "guide_heights": "hedge_height",
        "judge_health": "health",
        "list_rules": "applied",
        "mark_buried": "buried",
        "outgrow_boundary": "boundary",
        "reach_drains": "buried",
        "reach_wires": "overhead",
    },
)
