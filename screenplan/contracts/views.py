"""Views, what is open in them, and how tall the row must be."""

from __future__ import annotations

from screenplan.contracts.columns import (
    KINDS,
    SET_APART,
    boolean,
    integer,
    metres,
    sentence,
    share,
    text,
    year,
    years_by_growth,
)
from screenplan.contracts.model import GROWTHS, Contract
from screenplan.contracts.presentation import SIGHT, Place, Shown
from screenplan.ground.crown_shapes import shape_words

#: With leaves and without.
SEASONS = ("summer", "winter")
#: What becomes of a view through which somebody can look today.
OPEN_TODAY = ("closes", "stays open")
#: How rays pass a line: over a plant, beyond the row's end, through a wide gap, under the crowns, between two plants,
#: or where it has no plant.
HOLE_KINDS = ("over", "beyond", "gap", "under", "between", "bare")
#: A gap is wide, and not the pattern's own, from this multiple of the row's usual one.
WIDE_GAP = 1.5

VIEWS = Contract(
    "views",
    ("LineString",),
    "One view, from a window or from where an onlooker is to a private place",
    key="view_id",
    optional="name closed_by open year_closed_low year_closed year_closed_high year_closed_p10 year_closed_p50 year_closed_p90 chance chance_year evidence opens_again error_share terrain_error_share last_station_m set_apart",
    place=Place("Views", 40, (SIGHT,)),
    columns=(
        text("view_id", "Window and place"),
        text("name", "House, window and place as people call them"),
        text("window_id", "The window, or the onlooker", "Window or onlooker"),
        text("place_id", "The place"),
        text(
            "looks_from",
            "window, or the onlooker's kind (terrace, balcony, road, path, …)",
            "Looked from",
        ),
        integer(
            "rays", "Number of sampled rays that pass the window's opening", "Sampled rays", low=0
        ),
        share("closed_already", "Share of rays that something existing stops"),
        text("closed_by", "What stops most of them: a building's or screen's id, or terrain"),
        share(
            "open_now",
            "Share open on the day of planting, before the plants count and before a new fence is built",
        ),
        share(
            "open",
            "Share open in that year, typical growth, in the season in which more is open",
            per_year=True,
        ),
        *years_by_growth(
            "year_closed",
            "First year from which it stays closed until its plants are grown, low growth; empty if that is not in the years looked at",
        ),
        year(
            "year_closed_p10",
            "Year by which it is closed, and stays so, in 1 of 10 draws of growth, crowns and losses; empty if not in the years looked at",
            "Year closed, 1 of 10 draws",
        ),
        year("year_closed_p50", "The same, in half of the draws", "Year closed, half of the draws"),
        year("year_closed_p90", "The same, in 9 of 10 draws", "Year closed, 9 of 10 draws"),
        share(
            "chance",
            "Share of the draws in which it is closed by the year of the next column; empty if none were made",
            "Chance that it is closed",
        ),
        year("chance_year", "Year by which that chance is told", "Year of the chance"),
        text(
            "evidence",
            "What the growth of the plants rests on: the weakest grade of height and width of all their species",
            "Evidence of the growth",
        ),
        year(
            "opens_again",
            "First year in which it is open after it was closed, typical growth, also after the years looked at (61 stands for all after 60); empty if it is not",
            "Opens again in year",
        ),
        share(
            "error_share",
            "Sampling error of the open shares, by a second, denser sample",
            "Error of the open shares",
            high=None,
        ),
        share(
            "terrain_error_share",
            "Error of the open shares that the terrain's cell size leaves, by ground raised and lowered by what its bends tell; empty on a flat site",
            "Error of the terrain",
            high=None,
        ),
        sentence(
            "status",
            "no view, closed already, closes, stays open",
            "What becomes of it",
            choices=("no view", "closed already", *OPEN_TODAY),
        ),
        sentence(
            "last_station_m",
            "Stations along the planting line through which the last open rays pass, as ranges",
            "Stations of the last light",
        ),
        SET_APART,
    ),
)


VIEW_YEARS = Contract(
    "view_years",
    (),
    "Open share of one view in one year, growth and season",
    columns=(
        text("view_id", "The view"),
        year("year", "Years since planting"),
        text("growth", "Which growth", choices=GROWTHS),
        text("season", "Whether leaves are on", choices=SEASONS),
        share("open", "Share of rays still open"),
    ),
)


BROWSED_VIEWS = Contract(
    "browsed_views",
    (),
    "A view behind a fence, and with the leaves gone that animals reach",
    key="view_id",
    optional="closes_fenced closes_browsed stays_closed",
    report=(
        Shown(
            "fence",
            40,
            title="The views where animals leave no leaf within their reach",
            columns="view_id closes_fenced closes_browsed first_browsed last_browsed stays_closed says",
        ),
    ),
    columns=(
        text("view_id", "The view", "View", form="view"),
        metres("reach_m", "Height up to which leaves are gone", "Reach"),
        year("from_year", "Year from which on they are gone", "Leaves are gone from"),
        year(
            "closes_fenced",
            "Year of closing with all leaves; empty if not in the years looked at",
            "Closes behind a fence",
            heading="closes behind a fence",
            form="never",
        ),
        year(
            "closes_browsed",
            "Year of closing with those leaves gone; empty if not in the years looked at",
            "Closes without a fence",
            heading="without",
            form="never",
        ),
        share("first_fenced", "Open share with all leaves, in the year from which others are gone"),
        share("first_browsed", "Open share without a fence in that year", heading="open then"),
        share("last_fenced", "Open share with all leaves, in the last year looked at"),
        share("last_browsed", "Open share without a fence, in the last year", heading="in the end"),
        share(
            "last_mixed",
            "Open share to be expected in the last year, if each plant is browsed by its chance",
        ),
        share(
            "stays_closed",
            "How likely the view, once closed, stays closed while plants are browsed by chance; empty where it never closes or every plant is browsed",
            "Chance that it stays closed",
            heading="chance that it stays closed",
        ),
        boolean("opens", "True if it is closed behind a fence and open without"),
        sentence("says", "What becomes of it", "In words", heading="what becomes of it"),
    ),
)


#: A year that stands for none where years are compared.
NEVER = -1


LOST_VIEWS = Contract(
    "lost_views",
    (),
    "A view with the plants gone that have died, and with new ones in their places",
    key="view_id",
    optional="closes closes_bare closes_replanted open_from open_until most_open",
    report=(
        Shown(
            "growth",
            8,
            title="The views that open by what was lost",
            columns="view_id closes closes_replanted closes_bare most_open says",
            keep=lambda frame: frame.loc[
                (
                    frame["opens"]
                    | (frame["closes_bare"].fillna(NEVER) != frame["closes"].fillna(NEVER))
                ).to_numpy(bool)
            ],
        ),
    ),
    columns=(
        text("view_id", "The view", "View", form="view"),
        year(
            "closes",
            "Year of closing with every plant; empty if not in the years looked at",
            "Closes with every plant",
            heading="closes with every plant",
            form="never",
        ),
        year(
            "closes_bare",
            "Year of closing if what is lost is not replanted; empty if not in the years looked at",
            "Closes if nothing is replanted",
            heading="if not",
            form="never",
        ),
        year(
            "closes_replanted",
            "Year of closing if it is replanted; empty if not in the years looked at",
            "Closes if replanted",
            heading="if replanted",
            form="never",
        ),
        boolean("opens", "True if, replanted, it is open in a year in which it would be closed"),
        year("open_from", "First such year; empty for none"),
        year("open_until", "Last such year; empty for none"),
        share(
            "most_open",
            "Greatest open share in those years; empty for none",
            heading="open at most",
        ),
        sentence("says", "The same in words", "In words", heading="what becomes of it"),
    ),
)


VIEW_HOLES = Contract(
    "view_holes",
    ("LineString",),
    "A stretch of a planting line through which a view's last open rays pass",
    key="hole_id",
    optional="open_until",
    place=Place("Views", 30, (SIGHT,)),
    columns=(
        text("hole_id", "View and number", "View and number"),
        text("view_id", "The view"),
        text("line_id", "The planting line", "Planting line"),
        year(
            "year",
            "The year that is looked at: the last in which the view is open, or in which it opens again",
            "Last year in which the view is open",
        ),
        metres("from_m", "Station where the stretch begins", "From station"),
        metres("to_m", "Station where it ends", "To station"),
        metres("low_m", "Height above the ground of the lowest open ray there", "Lowest open ray"),
        metres(
            "high_m", "Height above the ground of the highest open ray there", "Highest open ray"
        ),
        integer("rays", "Open rays through it", "Open rays through it"),
        year("open_until", "Last year in which a ray passes there; empty if one does to the end"),
        text(
            "kind",
            "How the rays pass: over plants, beyond the row's end, through a wide gap, under the crowns, between plants, or where the line has no plant",
            "How the rays pass",
            choices=HOLE_KINDS,
        ),
        sentence("cause", "The plants or the gap that leave it open"),
    ),
)


SIGHT_LINES = Contract(
    "sight_lines",
    ("LineString",),
    "The ray that stands for a view, from the window to a head in the private place",
    key="view_id",
    optional="sill_z_m top_z_m line_id station_m above_m",
    place=Place("Views", 50),
    columns=(
        text("view_id", "The view"),
        text("window_id", "The window, or the onlooker", "Window or onlooker"),
        text("place_id", "The place"),
        metres("eye_z_m", "Height at which it leaves the window", "Height at the window"),
        metres("head_z_m", "Height of the head it ends at", "Height of the head"),
        metres("length_m", "Its level length"),
        metres("sill_z_m", "Height of the window's sill", "Height of the sill"),
        metres("top_z_m", "Height of the window's head", "Height of the window's head"),
        text(
            "line_id", "The first planting line that it crosses, if it crosses one", "Planting line"
        ),
        metres("station_m", "Where on that line", "Station where it crosses the line"),
        metres("above_m", "Its height above the ground there", "Above the ground"),
    ),
)


SIGHT_OUTLINES = Contract(
    "sight_outlines",
    (),
    "A corner of the convex outline of all places where a view's rays cross a planting line",
    only_drawn=True,
    columns=(
        text("view_id", "The view"),
        text("line_id", "The planting line", "Planting line"),
        integer("corner", "Number along the outline, from 0"),
        metres("station_m", "Station of the corner"),
        metres("above_m", "Its height above the ground there", "Above the ground"),
    ),
)


SECTIONS = Contract(
    "sections",
    (),
    "Heights along the sight line of one view, at one distance from the window",
    optional="sight_m stands_from_m stands_to_m crown_from crown_to",
    only_drawn=True,
    columns=(
        text("view_id", "The view"),
        metres("distance_m", "Level distance from the window", "Distance from the window"),
        metres("ground_m", "Height of the ground", "Height of the ground"),
        metres("sight_m", "Height of the sight line; empty behind its end", "Sight line"),
        metres(
            "stands_from_m",
            "Lowest height of what stands there already",
            "Stands there already, from",
        ),
        metres(
            "stands_to_m",
            "Highest height of what stands there already",
            "Stands there already, up to",
        ),
        metres(
            "crown_from",
            "Lowest height of a crown there in that year, typical growth",
            per_year=True,
        ),
        metres(
            "crown_to",
            "Highest height of a crown there in that year, typical growth",
            "Crown up to",
            per_year=True,
        ),
    ),
)


KINDS_LOST = Contract(
    "kinds_lost",
    (),
    "One kind of a mixed planting, and the views if all its plants die",
    key="species",
    optional="opened worst_view open open_without",
    report=(
        Shown(
            "growth",
            35,
            title="If one kind dies out",
            columns="species plants share views_opened worst_view open open_without",
        ),
    ),
    columns=(
        text("species", "Key in the species table", heading="plant", form="species"),
        integer("plants", "Its plants, all of which die", low=0),
        share("share", "Their share of all plants"),
        year("year", "The year looked at, typical growth", "Year looked at", heading="in year"),
        integer(
            "views_opened", "Closed views that open without it", heading="closed views that open"
        ),
        text("opened", "Those views, parted by semicolons; empty for none", "Views that open"),
        text(
            "worst_view",
            "The view that opens furthest; empty if none opens further",
            "Worst view",
            form="view",
        ),
        share(
            "open",
            "Open share of that view with every plant",
            "Open with every plant",
            heading="open of it",
        ),
        share("open_without", "The same without this kind", "Open without it", heading="without"),
        sentence("says", "The same in words", "In words"),
    ),
)


KEPT_OPEN = Contract(
    "kept_open",
    (),
    "A view that stays open because the rows are kept so low",
    key="view_id",
    report=(
        Shown(
            "growth", 98, title="Views that the kept height leaves open",
            columns="view_id kept_m least_m last_open",
            lead="The same plants in the same places, typical growth: freely grown they close each of these.",
        ),
    ),
    columns=(
        text("view_id", "The view", "View", form="view"),
        metres("kept_m", "Height at which the plan keeps the rows", "Kept height", heading="kept at"),
        metres("least_m", "Least height, in steps of 0.1 m, at which the plants close all of these views where they stand", "Least height that closes them", heading="closes from"),
        share("last_open", "Open share in the last year looked at, as they are kept", "Open as kept", heading="open as kept"),
        sentence("says", "The same in words", "In words"),
    ),
)  # fmt: skip


MISSING_PLANTS = Contract(
    "missing_plants",
    (),
    "One plant and one view that opens further if that plant alone is missing",
    report=(
        Shown(
            "growth",
            30,
            title="The plants that matter most",
            columns="plant_id view_id year open open_without reopens",
            lead="Lose one of these and a neighbour sees more: replace it first.",
            keep=lambda frame: frame.loc[
                (frame["open_without"] - frame["open"])
                .sort_values(ascending=False, kind="stable")
                .index[:8]
            ],
        ),
    ),
    columns=(
        integer("plant_id", "The plant"),
        text("view_id", "The view", form="view"),
        year("year", "The year looked at", "Year looked at", heading="in year"),
        share(
            "open",
            "Share of the view that is open with every plant, typical growth, leaves on",
            "Open with every plant",
            heading="open with it",
        ),
        share(
            "open_without",
            "Share that is open without this plant",
            "Open without the plant",
            heading="open without it",
        ),
        boolean(
            "reopens",
            "True if the view counts as closed with it and as open without it",
            "Opens the view",
            heading="view opens again",
        ),
    ),
)


NEEDED_HEIGHT = Contract(
    "needed_height",
    ("LineString",),
    "A stretch of a planting line, and how tall an opaque sheet must be there",
    key="needed_id",
    optional="lowest_m view_id year_reached_low year_reached year_reached_high",
    place=Place("Views", 60),
    columns=(
        text("needed_id", "Line and number", "Stretch"),
        text("line_id", "The planting line", "Planting line"),
        metres("from_m", "Station where the stretch begins", "From station"),
        metres("to_m", "Station where it ends", "To station"),
        metres("ground_m", "Height of the ground in its middle", "Height of the ground"),
        integer("rays", "Rays through it that nothing existing stops", "Rays that nothing stops"),
        metres(
            "needed_m",
            "Height above the ground that stops the asked share of them; 0 where none passes",
            "Needed height",
        ),
        metres("needed_for_all_m", "Height that stops all of them", "Height that stops all rays"),
        metres("lowest_m", "Height at which the lowest of them passes", "Lowest ray"),
        text(
            "view_id", "The view that asks for the most height there", "View that asks for the most"
        ),
        *years_by_growth(
            "year_reached",
            "Year from which a row of the planned species at the asked spacing is closed from the lowest ray up to the needed height, low growth; empty if not in the years looked at",
        ),
        sentence("reached", "The same in words", "Reached, in words"),
    ),
)


NEEDED_PROFILE = Contract(
    "needed_profile",
    (),
    "The needed height along a planting line, as the corners of a stepped outline",
    optional="closed",
    only_drawn=True,
    columns=(
        text("line_id", "The planting line", "Planting line"),
        metres("station_m", "Station"),
        metres("ground_m", "Height of the ground there", "Height of the ground"),
        metres("needed_m", "Needed height above it", "Needed height"),
        metres(
            "closed",
            "Height up to which a row of the planned species has closed in that year, typical growth",
            "Closed up to",
            per_year=True,
        ),
    ),
)


NEEDED_YEARS = Contract(
    "needed_years",
    (),
    "When a row of one species at the asked spacing is closed up to a line's needed height",
    optional="shape lowest_m year_reached_low year_reached year_reached_high",
    report=(
        Shown(
            "growth",
            20,
            title="When other species would reach the needed height, the quickest first",
            columns="line_id species planned lowest_m needed_m mature_closed_from_m mature_closed_height_m year_reached reached",
        ),
    ),
    columns=(
        text("line_id", "The planting line", "Planting line", heading="row"),
        KINDS,
        boolean("planned", "True for the row of the plan"),
        text(
            "shape", "Shape of its crown; empty if a mixed row has several", choices=shape_words()
        ),
        metres("spacing_m", "Asked spacing", "Asked spacing"),
        metres(
            "needed_m",
            "Greatest needed height along the line",
            "Greatest needed height",
            heading="up to",
        ),
        metres(
            "lowest_m",
            "Height at which the lowest ray crosses the line; empty if none does",
            "Lowest ray",
            heading="needed from",
        ),
        metres(
            "mature_closed_height_m",
            "Height up to which its row closes in the end, typical growth; 0 if crowns never meet",
            "Closes in the end up to",
            heading="up to",
        ),
        metres(
            "mature_closed_from_m",
            "Height from which it closes then: above 0 with clear stems or rounded crowns",
            "Closes in the end from",
        ),
        *years_by_growth(
            "year_reached",
            "Year from which its row is closed from the lowest ray up to that height, low growth; empty if not in the years looked at",
            heading="in year",
            form="never",
        ),
        sentence("reached", "The same in words", "Reached, in words", heading="in words"),
    ),
)
