"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.views.kept_low import look_kept as look_kept
from screenplan.views.kinds_lost import tell_kinds_lost as tell_kinds_lost
from screenplan.views.lost import tell_lost as tell_lost
from screenplan.views.missing import find_missing as find_missing
from screenplan.views.needed_height import find_needed_height as find_needed_height
from screenplan.views.own_years import tell_own_years as tell_own_years
from screenplan.views.sections import cut_sections as cut_sections
from screenplan.views.stretches import keep_stretches as keep_stretches
from screenplan.views.views import trace_views as trace_views

__all__ = [
    "cut_sections",
    "find_missing",
    "find_needed_height",
    "keep_stretches",
    "look_kept",
    "tell_kinds_lost",
    "tell_lost",
    "tell_own_years",
    "trace_views",
]
