"""Where plants stand and how they grow: zones, lines, patterns, species, growth."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "close_rows": "closure",
        "draw_lines": "lines",
        "grow_crowns": "crowns",
        "leave_room": "room",
        "mark_zones": "zones",
        "plants_in_hand": "in_hand",
        "set_plants": "rows",
        "set_windows_apart": "apart",
        "tell_own_growth": "own_plants",
    },
)
