"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.site.overlooked import count_sight_lines as count_sight_lines
from screenplan.site.places import lay_places as lay_places
from screenplan.site.sides import find_sides as find_sides
from screenplan.site.windows import lay_windows as lay_windows

__all__ = [
    "count_sight_lines",
    "find_sides",
    "lay_places",
    "lay_windows",
]
