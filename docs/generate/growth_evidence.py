"""The page of what plants were measured to do, beside what the curves make of them, and its pictures."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from functools import cache, partial
from pathlib import Path

import numpy as np

from docs.generate.markdown import code, link, page, plain, section, table
from docs.generate.small_pictures import Panel, Points, picture
from screenplan.contracts import GROWTHS
from screenplan.ground.units import parse_length
from screenplan.planting import curves
from screenplan.planting.measured import (
    GRADED,
    GRADES,
    load_establishment,
    load_kinds,
    load_measured,
)
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species

TESTS = Path(__file__).parents[2] / "tests"
#: Folder of the pictures, beside the page.
PICTURES = "growth"
#: Years and heights that the pictures show.
LAST_YEAR = 50.0
TALLEST_M = 12.0
#: Height at which a curve starts whose years are years since seed.
SEEDLING_M = 0.05
#: Height at which a curve of small stock starts: a foot.
SMALL_STOCK_M = 0.3048
#: The kind of which a planted row was measured, and the height at which it was set.
ROW, ROW_STOCK_M = "thuja_standishii_plicata", 3.25 * 0.3048
#: Pictures side by side.
BESIDE = 2
FOOT_M = 0.3048

_HEAD = """\
How the curves of [the species](#page-species) lie beside what was measured or published, where they miss too.
Nothing is tuned to a check: curves were fitted to trees of all regions but one and held against those of
that one, in turn; published curves that are checks were not fitted to. A check that misses stands here as
one that holds does. The trees are street trees, alone and unclipped: **they do not test hedges.** Of
clipped hedges of laurel, yew, privet, photinia, beech and hornbeam no height by year was found."""

_READ = """\
A picture shows height by year on the left, width by height on the right: the line is typical growth, the
band reaches from low to high, of one plant in ten and of nine in ten. A filled point is the median of the trees
of a region in a class of ages (of heights), five or more, its bar their quartiles; the legend says how many
trees there are, of the heights and then of the widths. Years of rooting are left out. The shipped figures rest on
these very trees, so that a picture shows how well a curve bends and how far regions differ; what holds
where it was not fitted is the business of the checks below. Hollow points are published ones to which ours was
fitted; filled ones without a number of trees are published ones to which it was not: curves of plantations, the
height at 20 years of the open plant data (USDA PLANTS), crowns of trees that grew in the open. Regions: {regions}."""

#: Regions of the Urban Tree Database by their short names, and the city that was measured.
REGIONS = {
    "CenFla": "central Florida (Orlando)", "GulfCo": "Gulf coast (Charleston)", "InlEmp": "inland empire (Claremont)",
    "InlVal": "inland valleys (Modesto)", "InterW": "interior West (Albuquerque)", "LoMidW": "lower Midwest (Indianapolis)",
    "MidWst": "Midwest (Minneapolis)", "NMtnPr": "northern mountains and prairie (Fort Collins)",
    "NoCalC": "northern California coast (Berkeley)", "NoEast": "Northeast (Queens, New York)",
    "PacfNW": "Pacific Northwest (Longview)", "Piedmt": "Piedmont (Charlotte)", "SacVal": "Sacramento valley (Sacramento)",
    "SoCalC": "southern California coast (Santa Monica)", "SWDsrt": "desert Southwest (Glendale, Arizona)",
    "TpIntW": "temperate interior West (Boise)", "Tropic": "tropics (Honolulu)",
}  # fmt: skip


def growth_page() -> str:
    """Write the page."""
    from tests import plant_checks

    checks = plant_checks.plant_checks()
    missed = [check for check in checks if not check.holds]
    drawn = list(growth_pictures())
    keys = [Path(name).stem for name in drawn]
    known = load_species()
    bare = [key for key in known if key not in keys]
    sorts = list(dict.fromkeys(check.what for check in checks))
    return page(
        "Growth beside what was measured",
        "growth",
        _HEAD,
        section("How many checks there are", 2, "growth-count"),
        f"{len(checks)} figures of sources are held against ours; {len(missed)} miss.",
        table(
            ["What", "Checks", "Of these miss", "Trees"],
            [
                [
                    link(what, f"growth-{what.replace(' ', '-')}"),
                    str(len(of)),
                    str(sum(not check.holds for check in of)),
                    str(sum(check.n or 0 for check in of) or ""),
                ]
                for what in sorts
                for of in [[check for check in checks if check.what == what]]
            ],
        ),
        section("What misses", 3, "growth-misses"),
        table(
            ["What", "Of", "Told", "Made", "Why, as far as it is known"],
            [
                [check.what, _named(check.name), plain(check.told), check.made, plain(check.misses)]
                for check in missed
            ],
        ),
        section("Curves and points", 2, "growth-pictures"),
        _READ.format(regions=_regions()),
        _grid(drawn),
        _widths_end(plant_checks),
        "How many of the filled points lie within the band:",
        table(
            ["Kind", "Heights within", "Widths within"],
            [
                [
                    _named(key),
                    _share(*_within(_height_points(key), partial(_heights, key))),
                    _share(*_within(_width_points(key), partial(_widths, key))),
                ]
                for key in keys
            ],
        ),
        f"Of these kinds nothing was found to draw, and their growth rests on relatives, on their group or on "
        f"their size: {', '.join(_named(key) for key in bare)}.",
        section("Crowding in a row", 2, "growth-crowding"),
        "Neighbours of a row share the room. What is known of it: "
        f"{plain(load_establishment()['crowding']['source'])}. So none is taken: a plant of a row grows as "
        "tall and as wide as one that stands alone, and crowns that meet grow into each other.",
        section("How good the evidence is", 2, "growth-grades"),
        *_grades(),
        *(
            part
            for what in sorts
            for part in (
                section(f"Checks: {what}", 2, f"growth-{what.replace(' ', '-')}"),
                table(
                    ["Of", "n", "Told", "Made", "Must come within", "Source"],
                    [
                        [
                            _named(check.name),
                            str(check.n or ""),
                            plain(check.told),
                            plain(check.made) + ("" if check.holds else " **misses**"),
                            plain(check.allowed),
                            plain(check.source),
                        ]
                        for check in checks
                        if check.what == what
                    ],
                ),
            )
        ),
        section("Range by kind", 2, "growth-coverage"),
        *_coverage(plant_checks),
    )


def growth_pictures() -> dict[str, str]:
    """Draw the picture of each kind of which there is any point, by its file's name."""
    known = load_species()
    return {
        f"{PICTURES}/{key}.svg": _picture(key, known[key])
        for key in known
        if any(_height_points(key)) or any(_width_points(key))
    }


def _picture(key: str, species: Species) -> str:
    kind = load_measured()[key]
    years, heights = np.linspace(0.0, LAST_YEAR, 26), np.linspace(0.0, TALLEST_M, 25)
    since = _clock(key)[0]
    grades = ", ".join(f"{what} {kind.grades[what]}" for what in ("height", "width"))
    return picture(
        species.common_name,
        f"{species.latin_name} ({grades})",
        [
            Panel("height", f"years since {since}", "height, m", years, *_heights(key, years), list(_height_points(key))),
            Panel("width", "height, m", "width, m", heights, *_widths(key, heights), list(_width_points(key))),
        ],
    )  # fmt: skip


def _clock(key: str) -> tuple[str, float]:
    """Say since when the years of a picture are counted, and the height at which its curve starts, metres."""
    of = load_measured()[key].figures["height"]
    if key == ROW:
        return "planting", ROW_STOCK_M
    if of["clock"] == "since seed":
        return "seed", SEEDLING_M
    if "heights_by_year" in load_kinds()[key]:
        return "a cutting", SMALL_STOCK_M
    return "planting", of["planted_m"] if _points_of(key).get("heights") else SMALL_STOCK_M


def _heights(key: str, years) -> list[np.ndarray]:
    """Height at low, typical and high growth, as a species has it and without rooting, metres."""
    species, start = load_species()[key], _clock(key)[1]
    return [
        np.minimum(curves.height_at(species.curve(growth), years, start), max(start, species.full_height(growth)))
        for growth in GROWTHS
    ]  # fmt: skip


def _widths(key: str, heights) -> list[np.ndarray]:
    species = load_species()[key]
    return [curves.width_at(species.width(growth), heights) for growth in GROWTHS]


def _within(points: Iterator[Points], law) -> tuple[int, int]:
    """Count the filled points within low to high, and all of them."""
    checked = [(x, y) for series in points if not series.hollow for x, y in zip(series.x, series.y, strict=True)]  # fmt: skip
    if not checked:
        return 0, 0
    x, y = np.array(checked).T
    low, _, high = law(x)
    return int(((y >= low) & (y <= high)).sum()), len(checked)


def _height_points(key: str) -> Iterator[Points]:
    from tests import plant_checks

    found = _points_of(key)
    yield from _by_region(found.get("heights", []), LAST_YEAR)
    # The years of the row are years since planting, those of the curve since seed.
    for which, ages, tops in found.get("curves", []) if key != ROW else []:
        yield Points(f"curve {which}, fitted to", ages, tops, hollow=True)
    for row in plant_checks.ROWS["plantations"].values():
        if row["key"] == key:
            yield Points(f"curve {row['curve']}, not fitted to", row["ages"], row["heights_m"])
    told = load_kinds()[key].get("heights_by_year", [])
    if told:
        years = [float(year) for year, _ in told]
        tops = [parse_length(text, key="heights_by_year") for _, text in told]
        yield Points("published, fitted to", years, tops, hollow=True)
    if key in plant_checks.AT_20_FT:
        yield Points("open plant data", [20.0], [plant_checks.AT_20_FT[key] * FOOT_M])
    if key == ROW:
        ends = (18.0 * FOOT_M, 20.0 * FOOT_M)
        yield Points("arboretum's row", [10.0], [sum(ends) / 2.0], [ends])


def _width_points(key: str) -> Iterator[Points]:
    from tests import plant_checks

    yield from _by_region(_points_of(key).get("widths", []), TALLEST_M)
    for check in plant_checks.checks_of(plant_checks.OPEN):
        if check.name == key:
            yield Points("open-grown, published", [plant_checks.OPEN_HEIGHT_M], [float(check.told.split()[0])])  # fmt: skip
    if key == ROW:
        yield Points("arboretum's row", [19.0 * FOOT_M], [8.0 * FOOT_M])


def _by_region(rows, last: float) -> Iterator[Points]:
    for region in dict.fromkeys(row[0] for row in rows):
        own = [row for row in rows if row[0] == region and row[2] <= last]
        if own:
            yield Points(
                region,
                [row[2] for row in own],
                [row[4] for row in own],
                [(row[3], row[5]) for row in own],
                n=sum(row[1] for row in own),
            )


@cache
def _points() -> dict:
    return tomllib.loads((TESTS / "fitting/points.toml").read_text(encoding="utf-8"))


def _points_of(key: str) -> dict:
    return _points().get(key, {})


def _regions() -> str:
    shown = {row[0] for of in _points().values() for rows in ("heights", "widths") for row in of.get(rows, [])}  # fmt: skip
    return "; ".join(f"{name}, {REGIONS[name]}" for name in sorted(shown & set(REGIONS)))


def _grid(names: list[str]) -> str:
    """Set the pictures side by side, in a table without words."""
    known = load_species()
    shown = [
        f"![{known[Path(name).stem].common_name}: height by year and width by height, curve and points]({name})"
        for name in names
    ]
    shown += [""] * (-len(shown) % BESIDE)
    return table([" "] * BESIDE, [shown[k : k + BESIDE] for k in range(0, len(shown), BESIDE)])


def _widths_end(plant_checks) -> str:
    rows = plant_checks.ROWS["widths"].values()
    trees = sum(row["n"] for row in rows)
    share = {side: sum(row[side] for row in rows) / trees for side in ("narrower", "wider", "wider_than_published")}  # fmt: skip
    return (
        "A width ends where taller trees are no wider, if enough of them were measured; else at the published mature "
        f"spread, or at the width of the tallest tree if that is more. Of {trees} trees left out by fifths {share['narrower']:.0%} are "
        f"narrower than low growth and {share['wider']:.0%} wider than high growth, of which one in ten should be; if widths "
        f"ended at the published spread, {share['wider_than_published']:.0%} would be wider."
    )


def _share(inside: int, of: int) -> str:
    return f"{inside} of {of}" if of else ""


def _named(name: str) -> str:
    """Link a kind to its figures, alone or at the head of some words."""
    key, comma, rest = name.partition(",")
    if key in load_species():
        return f"[{code(key)}](#species-{key}){comma}{plain(rest)}"
    return plain(name)


def _grades() -> list[str]:
    kinds = load_measured()
    counts = {what: Counter(kind.grades[what] for kind in kinds.values()) for what in GRADED}
    all_of = sum(counts.values(), Counter())
    weak = all_of["group"] + all_of["published"] + all_of["memory"]
    memory = {
        what: [key for key, kind in kinds.items() if kind.grades[what] == "memory"]
        for what in GRADED
    }
    return [
        f"Of {all_of.total()} grades {weak} ({weak / all_of.total():.0%}) are of a group, a published range or memory, "
        f"and {all_of['memory']} ({all_of['memory'] / all_of.total():.0%}) are memory. Wherever a year is told, the weaker "
        "grade of height and width is told with it.",
        table(
            ["What", *GRADES],
            [[what, *(str(counts[what][grade]) for grade in GRADES)] for what in GRADED],
        ),
        *(
            f"From memory, {what}: {', '.join(_named(key) for key in keys)}."
            for what, keys in memory.items()
            if keys
        ),
        "Profiles are scores of Purves, Lichstein and Pacala (2007) as the package fastfuels-core carries them, "
        "read there and not in the paper; of forest trees.",
    ]


def _coverage(plant_checks) -> list[str]:
    held = plant_checks.ABOUT["left_out_by_region"]
    return [
        f"Every region was left out in turn, and each of its trees foretold from the others: {held['inside']:.1%} of {held['n']} "
        f"trees lie in the range from low to high, which should hold 80 %; of {held['n_own']} that were foretold by their own "
        f"kind {held['inside_own']:.1%}. The interval score is {held['score']:.2f}, that of one range for all conifers "
        f"and one for all broadleaves {held['score_of_one_range']:.2f}; less is better. By kind it is shown and, below 40 trees, not "
        "judged: a kind in one or two regions tells of these alone.",
        table(
            ["Kind", "Foretold by", "Trees", "In the range"],
            [
                [
                    f"*{plain(row['kind'])}*",
                    {"own": "itself", "relatives": "relatives", "group": "its group"}[row["by"]],
                    str(row["n"]),
                    f"{row['inside'] / row['n']:.0%}" + ("" if row["n"] >= 40 else ", few"),
                ]
                for row in sorted(
                    plant_checks.ROWS["coverage"].values(), key=lambda row: row["kind"]
                )
            ],
        ),
    ]
