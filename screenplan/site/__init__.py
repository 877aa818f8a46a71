"""Everything that comes in: reading and checking layers, terrain, sides, windows, places."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "count_sight_lines": "overlooked",
        "find_sides": "sides",
        "lay_places": "places",
        "lay_windows": "windows",
    },
)
