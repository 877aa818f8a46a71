"""What is screened: rays, crowns, obstacles, the kernel and its results."""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(
    __name__,
    {
        "cut_sections": "sections",
        "find_missing": "missing",
        "find_needed_height": "needed_height",
        "keep_stretches": "stretches",
        "look_kept": "kept_low",
        "tell_kinds_lost": "kinds_lost",
        "tell_lost": "lost",
        "tell_own_years": "own_years",
        "trace_views": "views",
    },
)
