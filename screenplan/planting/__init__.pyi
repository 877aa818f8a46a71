"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.planting.apart import set_windows_apart as set_windows_apart
from screenplan.planting.closure import close_rows as close_rows
from screenplan.planting.crowns import grow_crowns as grow_crowns
from screenplan.planting.in_hand import plants_in_hand as plants_in_hand
from screenplan.planting.lines import draw_lines as draw_lines
from screenplan.planting.own_plants import tell_own_growth as tell_own_growth
from screenplan.planting.room import leave_room as leave_room
from screenplan.planting.rows import set_plants as set_plants
from screenplan.planting.zones import mark_zones as mark_zones

__all__ = [
    "close_rows",
    "draw_lines",
    "grow_crowns",
    "leave_room",
    "mark_zones",
    "plants_in_hand",
    "set_plants",
    "set_windows_apart",
    "tell_own_growth",
]
