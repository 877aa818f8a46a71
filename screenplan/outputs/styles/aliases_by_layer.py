"""What a column is called where its name means another thing in another layer."""

from __future__ import annotations

_FIRST_YEAR = dict.fromkeys(
    ("hedge_heights", "sight_plants", "wire_plants", "deep_roots", "outgrown"),
    "First year, typical growth",
)
_YEAR = dict.fromkeys(("crowns", "view_years", "schedule", "light_months"), "Year")

#: By column, then by layer in memory, all layers that have it: short words without the unit.
BY_LAYER: dict[str, dict[str, str]] = {
    "along_m": {"pegs": "From A along A to B, level", "stakes": "Along the tape, level"},
    "cost": {
        "plants_in_hand": "Cost of the plants",
        "fence_options": "Cost of the fence's material",
        "cost": "Cost",
        "alternatives": "Cost of all material",
    },
    "distance_m": {
        "no_plant_zones": "Distance kept clear",
        "sections": "Distance from the window",
        "hedge_heights": "Distance of the row",
        "sight_areas": "Leg, or distance along the road",
        "wire_plants": "Distance from the line",
        "deep_roots": "Distance from the field",
        "outgrown": "Distance from line or building",
    },
    "error_share": {"views": "Error of the open shares", "light": "Error of the sun lost"},
    "floor_m": {"buildings": "Height of the ground floor", "windows": "Height of the room's floor"},
    "height_m": {
        "buildings": "Height of the eaves",
        "utilities": "Height of the wire",
        "existing_screens": "Height today",
        "sun_places": "Height of its middle",
        "crowns": "Height",
        "windows": "Height of the opening",
        "fence_posts": "Height of the fence",
        "fence_wires": "Height of the fence",
        "fence_options": "Height of the fence",
        "wire_plants": "Height in the last year",
    },
    "hole_id": {"view_holes": "View and number", "holes_at_lines": "Plant and line"},
    "keep_out_id": {"keep_outs": "Ground kept clear", "deep_roots": "Septic field"},
    "kind": {
        "buildings": "Kind of building",
        "onlookers": "Where they are",
        "utilities": "Kind of line",
        "keep_outs": "Kind of ground kept clear",
        "existing_screens": "Kind of screen",
        "sun_places": "Kind of place",
        "view_holes": "How the rays pass",
        "tape_points": "Kind of point",
        "stake_checks": "Kind of check",
        "light": "What the light falls on, by kind",
        "hedge_heights": "Window or garden",
        "sight_areas": "Kind of area",
        "sight_plants": "Kind of area",
        "locate_zones": "What runs in it",
        "rules": "Kind of rule",
    },
    "limit_m": {"sight_plants": "In the way above", "outgrown": "Radius or height allowed"},
    "moved_m": {"plants": "Moved along the line", "tape_points": "Moved by the refit"},
    "needed_m": {
        "needed_height": "Needed height",
        "needed_profile": "Needed height",
        "needed_years": "Greatest needed height",
        "deep_roots": "Distance needed",
    },
    "offset_m": {
        "planting_lines": "Offset from the boundary",
        "plants": "Offset from the boundary",
        "pegs": "Offset from the line A to B",
        "stakes": "Offset from the tape",
    },
    "open": {
        "views": "Open",
        "view_years": "Open",
        "missing_plants": "Open with every plant",
    },
    "plants": {
        "quantities": "Plants that are set",
        "alternatives": "Plants that are set",
        "sight_areas": "Plants that grow into it",
    },
    "rays": {
        "needed_height": "Rays that nothing stops",
        "views": "Sampled rays",
        "view_holes": "Open rays through it",
    },
    "reason": {
        "no_plant_zones": "Why no plant may stand here",
        "sight_areas": "What it is for",
        "locate_zones": "What it is for",
        "rules": "What it is for",
    },
    "slope_along_m": {
        "pegs": "From A along A to B, on the ground",
        "stakes": "Along the tape, on the ground",
    },
    "slope_m": {"base_lines": "Length on the ground", "stake_checks": "On a taut tape"},
    "source_id": {
        "no_plant_zones": "Identifier of the thing",
        "tape_points": "Mark, building or parcel",
    },
    "spacing_m": {
        "needed_years": "Asked spacing",
        "closure": "Widest gap between neighbours",
        "alternatives": "Spacing",
    },
    "station_m": {
        "needed_profile": "Station",
        "plants": "Station",
        "dropped_stations": "Station",
        "sight_lines": "Station where it crosses the line",
        "sight_outlines": "Station",
        "fence_posts": "Station along the fence",
        "fence_wires": "Station along the fence",
    },
    "status": {
        "views": "What becomes of it",
        "hedge_heights": "How the factors are known",
        "sight_areas": "How the figures are known",
        "rules": "How the figure is known",
    },
    "stock_height_m": {
        "plants": "Height when planted, or today",
        "plants_in_hand": "Tallest that the budget buys",
        "quantities": "Height when planted",
        "alternatives": "Height when planted",
    },
    "sun_now_h": {
        "light": "Sun a year today",
        "light_months": "Sun without the row",
        "sun_grid": "Sun without the row",
    },
    "view_id": {
        "needed_height": "View that asks for the most",
        **dict.fromkeys(
            ("views", "view_holes", "view_years", "sight_lines", "sight_outlines", "sections",
             "missing_plants"),
            "View",
        ),
    },
    "what": {"wire_plants": "What it comes near", "outgrown": "What it outgrows"},
    "width_m": {
        "roads": "Width between its edges",
        "existing_screens": "Thickness or spread",
        "crowns": "Width across the row",
        "windows": "Width of the opening",
        "locate_zones": "Width of the zone",
    },
    "window_id": {
        "windows": "Window",
        "views": "Window or onlooker",
        "sight_lines": "Window or onlooker",
    },
    "year": {
        **_YEAR,
        **_FIRST_YEAR,
        "view_holes": "Last year in which the view is open",
        "missing_plants": "Year looked at",
    },
}  # fmt: skip

#: Columns of several layers whose meanings differ in detail only: one word is right in all of them.
SHARED = frozenset({
    "area_id", "base_id", "bearing_deg", "braces", "building_id", "caution", "facing_deg",
    "ground_m", "item", "length_m", "light_id", "line_id", "lowest_m", "mature_closed_height_m",
    "name", "needs", "parcel_id", "place_id", "plant_id", "reached", "road_id", "role", "row",
    "rule", "says", "shape", "side_id", "source", "species", "stock", "sun", "target_id",
    "tolerance_m", "utility_id", "x_m", "year_closed", "year_closed_high", "year_closed_low",
    "year_reached", "year_reached_high", "year_reached_low",
})  # fmt: skip
