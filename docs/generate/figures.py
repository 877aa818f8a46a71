"""The pages of the rules and of the species: every figure with its source and status."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from docs.generate.markdown import code, codes, number, page, plain, section, table
from screenplan.contracts import GROWTHS
from screenplan.ground.crown_shapes import shape_words
from screenplan.ground.said import FOOT_M
from screenplan.ground.told_years import tell_year
from screenplan.plan.findings import names_of
from screenplan.plan.values import key_of
from screenplan.planting import own_growth
from screenplan.planting.own_growth import READING_LOG_SD, STOCK_LOG_SD
from screenplan.planting.own_plants import OWN_FROM
from screenplan.planting.prospects import prospect_of
from screenplan.planting.species import GROWTH_CLASSES, load_species
from screenplan.planting.species_model import TOLERANCES, Species
from screenplan.rules.laws import Law, load_laws
from screenplan.rules.limit_kinds import KINDS, Limit
from screenplan.rules.limits import load_limits
from screenplan.rules.ruleset import STATUSES, Rule, load_rules
from screenplan.rules.told import setback_text

#: What each status means, for `STATUSES` of the rules.
STATUS_MEANS = {
    "read": "the figure was read in a stored copy of the source",
    "code": "several independent programs or an open data set agree on it",
    "arithmetic": "it follows exactly from definitions",
    "second-hand": "another text quotes the source",
    "memory": "written down from memory, unverified",
    "common practice": "customary, no source",
    "user": "a plan or a rule file says so",
}

#: A figure stays beside its unit.
NO_BREAK = "\u00a0"
#: Units of figures that are no lengths, by the end of their names.
_UNITS = {"_s": "s", "_hz": "Hz", "_db": "dB"}

_RULES = """\
**These are examples and customs, not the law where you are.** Your local code, the utility and the
road authority decide; `confirm` in the last column marks what to ask them. `screenplan rules` lists
what applies to a plan and why. Lengths are metres."""

_LAWS = """\
A plan names one in `[setbacks] law`; its distances then stand in the place of the shipped one of the same
thing, its heights where `[boundary]` gives none, and your own rules come after both. What is here was read
in the texts on the day that is named. **It is no advice on the law where you are**: laws change, local
rules often come first, and whether a row counts as a hedge or as trees is decided there. A row that is
clipped is taken as a hedge; where a law gives trees a distance of their own, a row that grows freely is
taken as trees, which is the safe side."""

_OVERRIDE = """\
A plan changes a rule in `[setbacks.rules.KEY]` or `[limits.rules.KEY]`, or names a file of its own in
`[setbacks] file` or `[limits] file`: a table with a known key changes only what it names,
`use = false` switches a rule off, a new key adds one. A figure that is changed without a source is
marked as the user's."""

_SPECIES = """\
A pair is low and high; three figures are those of low, typical and high growth. Height follows the curve
h(t) = A (1 - exp(-k t))^m from the height of the stock on (m 0 is a straight line that rises by k A a year),
width a power of the height, and the crown's radius its height below the tip to the power of its profile.
Low growth is that of a plant that one in ten stays below: short, narrow, pointed and thin; high growth tall,
wide, blunt and dense. Profiles were published of forest trees: the published exponent is the best that can
be hoped for, a paraboloid (0.5) the cautious end; typical is the middle, for nothing says where between
the two a young tree in the open lies. Each figure says how good its evidence is: measured on this kind; on
relatives of the same genus, leaf and habit; on its group of leaves; published curves; memory.
[Curves beside points](#page-growth) show how far they miss, kind by kind. Plants of a row grow as those that
stand alone: [of crowding too little is known](#growth-crowding). Whether a plant thrives, is allowed or
spreads where you are, a local nursery or extension service knows."""
_OWN = """\
Give a height by `yearly_growth` (or `growth_class`: {classes} metres a year, a convention of planting guides,
from memory) and `mature_height`: they become the curve with m = 1 that starts with this growth and
slows down evenly towards the mature height. Or give `height_curve` with `asymptote`, `rate` and
`exponent`. A `spread_share` is a width in proportion to the height; `width_law` has `coefficient`,
`exponent` and `widest`. With `like` you change a known kind: a `mature_height` takes the place of its
asymptote. What you give is graded "own"."""


_OWN_PLANTS = """\
Measure plants of your own, or of a neighbour's row that is not clipped, some years after they were planted:
heights and, if you can, widths square to their row. Write them into a table, as CSV or any other file that is
read ([its columns](#in-measured_plants)), and name it in the plan, `[layers.measured_plants]`; or give a
plant, tree or hedge of `existing_screens` its `age_years`. The growth is then drawn towards them, by how many
they are and how old, and what a plan tells of years stands beside what it would tell without them (`own_years`,
`own_growth`). From a weight of {from_} on the evidence of a year is called that of your own plants.

Where nobody gives the height of the stock, the log spread {stock} of it is custom, without a source; that of
a height read from a pole, {reading}, too. The years of establishment have the log spread of the stems of
their type of leaf, because they go by the stem."""


def _as_text(docstring: str) -> str:
    """Write the docstring of a module: its paragraphs, and formulas as they stand."""
    paragraphs = docstring.replace("``", "`").strip().split("\n\n")[1:]
    return "\n\n".join(
        f"```text\n{part}\n```" if part.startswith("    ") else part for part in paragraphs
    )


def rules_page() -> str:
    """Write the page of the rules."""
    kinds: dict[str, list[Limit]] = {}
    for limit in load_limits().values():
        kinds.setdefault(limit.kind, []).append(limit)
    return page(
        "Rules and limits",
        "rules",
        _RULES,
        section("How a figure is known", 2, "statuses"),
        table(["Status", "What it means"], [[status, STATUS_MEANS[status]] for status in STATUSES]),
        section("Setbacks", 2, "setbacks"),
        "How far a plant stays away from things.",
        table(
            ["Rule", "Distance", "Why", "Source", "Known by"],
            [[_named(rule), _distance(rule), plain(rule.reason), plain(rule.source), _known(rule)]
             for rule in load_rules()],
        ),
        section("Laws of places", 2, "laws"),
        _LAWS,
        *(part for law in load_laws().values() for part in _law(law)),
        section("Limits on what the screen does to others", 2, "limits"),
        *(
            part
            for kind, limits in kinds.items()
            for part in (
                section(kind.replace("_", " ").capitalize(), 3),
                table(
                    ["Limit", "Figures", "Why", "Source", "Known by"],
                    [[_named(limit), plain(_figures(limit)), plain(limit.reason), plain(limit.source), _known(limit)]
                     for limit in limits],
                ),
            )
        ),
        section("Your own", 2, "own-rules"),
        _OVERRIDE,
        f"Keys of a setback: {codes(names_of(Rule))}.",
        "Keys of a limit: `kind`, which decides its figures, `reason`, `source`, `status`, `date`, "
        "`confirm_locally`, `use`, and",
        table(["Kind", "Its figures"], [[code(kind), codes(map(key_of, model.figure_names()))] for kind, model in KINDS.items()]),
    )  # fmt: skip


def _law(law: Law) -> Iterator[str]:
    """Write what the law of a place says."""
    rules = [rule for rule in load_rules(named=law.rules()) if rule.key in law.setbacks]
    heights = (
        ("plants at the boundary at most {} tall", law.most_height_m),
        ("at a road at most {} tall", law.most_height_at_road_m),
        ("a neighbour may complain of what is taller than {}", law.complaint_above_m),
    )
    told = [text.format(_length(metres)) for text, metres in heights if metres is not None]
    yield section(code(law.key), 3)
    yield f"{law.name}: {law.law}, {law.status} on {law.date} at {code(law.read_at)}."
    if told:
        yield f"{'; '.join(told)} ({law.heights_article}).".capitalize()
    if rules:
        yield table(
            ["Rule", "Distance", "Why", "Source"],
            [
                [_named(rule), _distance(rule), plain(rule.reason), plain(rule.source)]
                for rule in rules
            ],
        )
    yield f"{plain(law.ask)}."


def _named(rule: Rule | Limit) -> str:
    return code(rule.key)


def _distance(rule: Rule) -> str:
    said = [_both(setback_text(rule))]
    if rule.passage_m:
        said.append(f"the way through is kept clear for {_length(rule.passage_m)}")
    return "; ".join(said)


def _figures(limit: Limit) -> str:
    """Write the figures of a limit in one line."""
    said = []
    for name, figure in limit.figures.items():
        is_length = key_of(name) != name
        unit = next((word for end, word in _UNITS.items() if name.endswith(end)), "")
        word = re.sub("_(m|s|hz|db)$", "", name) if is_length or unit else name
        write = _length if is_length else number
        if isinstance(figure, Mapping):
            text = ", ".join(f"{at} {number(part)}" for at, part in figure.items())
        elif isinstance(figure, tuple):
            text = ", ".join(write(part) for part in figure)
        else:
            text = write(figure)
        said.append(f"{word.replace('_', ' ')} {text} {unit}".strip())
    return "; ".join(said)


def _length(metres: float) -> str:
    """Write a length in metres, and in the feet or inches in which a source gives it."""
    feet, inches = metres / FOOT_M, 12.0 * metres / FOOT_M
    for count, unit, within in ((feet, "ft", 0.01), (inches, "in", 0.01), (10 * feet, "", 1e-6)):
        if count >= 0.5 and abs(count - round(count)) < within and (unit != "in" or count < 36.5):
            said = f"{round(count)} {unit}" if unit else f"{round(count) / 10:g} ft"
            return f"{metres:.3g} m ({said})".replace(" ", NO_BREAK)
    return f"{number(metres)} m".replace(" ", NO_BREAK)


def _both(text: str) -> str:
    return re.sub(r"(\d[\d.]*) m\b", lambda found: _length(float(found[1])), text)


def _known(rule: Rule | Limit) -> str:
    # A date does not break at its hyphen.
    parts = [
        rule.status,
        rule.date.replace("-", "\u2011"),
        "confirm" if rule.confirm_locally else "",
    ]
    return ", ".join(part for part in parts if part)


def species_page() -> str:
    """Write the page of the species."""
    shipped = load_species()
    classes = "; ".join(
        f"{name} {' / '.join(number(rate) for rate in rates)}"
        for name, rates in GROWTH_CLASSES.items()
    )
    return page(
        "Species",
        "species",
        _SPECIES,
        table(
            ["Key", "Plant", "Height in 5, 10, 20 years", "Width", "Row closed up to 1.8 m", "Growth"],
            [_listed(key, species) for key, species in shipped.items()],
        ),
        "Shapes: " + ", ".join(shape_words()) + ".",
        *(part for key, species in shipped.items() for part in _species(key, species)),
        section("Your own plants", 2, "own-plants"),
        _OWN_PLANTS.format(
            stock=number(STOCK_LOG_SD), reading=number(READING_LOG_SD), from_=f"{OWN_FROM:.0%}"
        ),
        _as_text(own_growth.__doc__),
        section("Your own", 2, "own-species"),
        _OWN.format(classes=classes),
        f"Keys of a species table: {codes(names_of(Species))}. Lengths are text with their unit. "
        f"Tolerances: {', '.join(TOLERANCES)}.",
    )  # fmt: skip


def _listed(key: str, species: Species) -> list[str]:
    told, typical = prospect_of(species), GROWTHS.index("typical")
    height, width = (
        ", ".join(f"{size:.1f}" for size in sizes[typical]) + f"{NO_BREAK}m"
        for sizes in (told.height_m, told.width_m)
    )
    return [
        f"[{code(key)}](#species-{key})", f"{plain(species.common_name)}, *{plain(species.latin_name)}*",
        height, width, f"{tell_year(told.closes)}, set {_length(told.spacing_m)} apart", species.evidence,
    ]  # fmt: skip


def _by_growth(values) -> str:
    return " / ".join(f"{value:.3g}" for value in values)


def _species(key: str, species: Species) -> list[str]:
    curves, laws = ([of(growth) for growth in GROWTHS] for of in (species.curve, species.width))
    stops = " / ".join(f"{species.full_height(growth):.3g}" for growth in GROWTHS)
    planted = species.height_curve.planted_m
    clock = (
        "years of growth" if planted is None else f"years since a plant of {planted:g} m was set"
    )
    figures = {
        "height_curve": f"A {_by_growth(curve.asymptote_m for curve in curves)} m, k "
        f"{_by_growth(curve.rate for curve in curves)} a year, m {number(curves[0].exponent)}, up to {stops} m; {clock}",
        "width_law": f"{_by_growth(law.coefficient for law in laws)} times the height to the power "
        f"{number(laws[0].exponent)}, up to {_by_growth(law.widest_m for law in laws)} m",
        "profile": f"{' / '.join(number(species.exponent(growth)) for growth in GROWTHS)}"
        if species.profile else "",
        "spacing": f"{_length(species.usual_spacing_m)} between plants of a row",
        "mature_height": _lengths(species.mature_height_m),
        "mature_spread": _lengths(species.mature_spread_m),
        "stock_height": f"{_length(species.stock_height_m)} when planted",
        "shape": species.shape,
        "clear_stem": _clear_stem(species),
        "kept_height": _length(species.kept_height_m) if species.kept_height_m else "",
        "kept_width": _length(species.kept_width_m) if species.kept_width_m else "",
        "leaf_density": f"{_by_growth(species.leaf_density)} m²/m³",
        "winter_share": f"{species.winter_share:.0%} of the screening is left in winter",
        "hardiness_zones": _pair(species.hardiness_zones) if species.hardiness_zones else "",
        "tolerances": ", ".join(f"{name} {level}" for name, level in species.tolerances.items()),
    }  # fmt: skip
    sources = {"spacing": "custom", **species.sources}
    rows = [
        [name.replace("_", " "), figure, plain(sources.pop(name, ""))]
        for name, figure in figures.items()
        if figure
    ]
    rows += [[name.replace("_", " "), "", plain(text)] for name, text in sources.items()]
    known = [
        _capital(plain(text)).rstrip(".") + "."
        for text in (*species.warnings, species.note)
        if text
    ]
    return [
        section(_capital(plain(species.common_name or species.latin_name)), 2, f"species-{key}"),
        f"{code(key)}, *{plain(species.latin_name)}*, {'evergreen' if species.evergreen else 'deciduous'}.",
        *([" ".join(known)] if known else []),
        table(["Value", "Figure", "Where it comes from, and how it is known"], rows),
    ]


def _clear_stem(species: Species) -> str:
    if not species.clear_stem_m:
        return "none"
    return f"{species.clear_stem_share:.0%} of the height, up to {_length(species.clear_stem_m)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lengths(pair) -> str:
    return " to ".join(_length(end) for end in pair)


def _pair(pair) -> str:
    low, high = pair
    return number(low) if low == high else f"{number(low)} to {number(high)}"
