"""Drawings of a plan, each on axes of matplotlib: for a notebook, and for the report."""

from screenplan.outputs.drawings.effects import draw_effects
from screenplan.outputs.drawings.elevation import draw_elevation, draw_needed_height
from screenplan.outputs.drawings.multiples import draw_years
from screenplan.outputs.drawings.plan import draw_growth, draw_plan, plan_sheet
from screenplan.outputs.drawings.section import draw_section, section_ids
from screenplan.outputs.drawings.style import drawing_style
from screenplan.outputs.drawings.sun import draw_sun
from screenplan.outputs.palette import COLOURS

__all__ = [
    "COLOURS",
    "draw_effects",
    "draw_elevation",
    "draw_growth",
    "draw_needed_height",
    "draw_plan",
    "draw_section",
    "draw_sun",
    "draw_years",
    "drawing_style",
    "plan_sheet",
    "section_ids",
]
