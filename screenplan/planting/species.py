"""The species table: reading it with a person's changes, and finding a species in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Annotated, Any

from pydantic import WrapValidator

from screenplan.ground.crown_shapes import POWER
from screenplan.ground.errors import refuse
from screenplan.ground.texts import quoted
from screenplan.plan.catalogue import Catalogue, Entry
from screenplan.plan.values import WrongError, instead_of
from screenplan.planting.hedges import hedge_tables
from screenplan.planting.kinds import shipped_kinds
from screenplan.planting.species_model import OWN, Species

#: Yearly growth of a young rooted plant by class, metres: low, typical, high.
#: Convention of planting guides, from memory: slow under 1 ft, moderate 1 to 2 ft, rapid above;
#: rapid ends at the 0.6 to 0.9 m of vigorous screening conifers (common practice, no source).
GROWTH_CLASSES = {
    "slow": (0.15, 0.225, 0.30),
    "moderate": (0.30, 0.45, 0.60),
    "rapid": (0.60, 0.75, 0.90),
}
#: The command that lists all species.
LISTED_BY = "screenplan species"


def load_species(
    extra: Mapping[str, Mapping] | None = None, *, zone: int | None = None
) -> dict[str, Species]:
    """Read the shipped species and add or change some.

    Parameters
    ----------
    extra : mapping, optional
        Tables by key. The key of a known species changes only what it names; a new key adds one, from
        nothing or from the species that ``like`` names. Lengths are texts with units.
    zone : int, optional
        Hardiness zone of the site, by which plants root; by default a mild one.

    Returns
    -------
    dict
        Species by key.

    Raises
    ------
    InputError
        With every problem found: species, key and remedy.

    Examples
    --------
    >>> table = load_species({"mine": {"like": "thuja_smaragd", "mature_height": ["4 m", "5 m"]}})
    >>> table["mine"].full_height("typical"), table["mine"].shape, table["mine"].grades["height"]
    (4.5, 'power', 'own')

    Notes
    -----
    Own figures become a curve by these rules. A ``mature_height`` takes the place of the asymptotes: low,
    mean, high. A ``yearly_growth`` (or ``growth_class``) gives the curve with m = 1 that starts at this
    rate and slows evenly down towards the mature height, k = g/A. A ``spread_share`` gives a width that
    is this share of the height, up to the mature spread. What is so given has the grade "own".
    """
    table = _CATALOGUE.load(changes=extra)
    if zone is None:
        return table
    return {key: replace(species, rooting_zone=zone) for key, species in table.items()}


def planned_species(plan: Any) -> dict[str, Species]:
    """Read the species of a plan: the shipped ones, its clipped hedges and its own, as they root in the zone of its site.

    Where its weeds are left alone, all that are planted grow slower at first.
    """
    hedges = hedge_tables(plan.design.hedge_height, plan.design.hedge_width)
    table = load_species(hedges | dict(plan.species), zone=plan.health.zone)
    if plan.weeds.neglect:
        slowed = {"slowed_share": plan.weeds.neglect, "slowed_years": float(plan.weeds.years)}
        table = {key: replace(species, **slowed) for key, species in table.items()}
    return keep_size(table, plan) if plan.kept.asked else table


def keep_size(table: Mapping[str, Species], plan: Any) -> dict[str, Species]:
    """Keep the kinds that are planted at the size of the plan; those with a kept size of their own stay as they are.

    Parameters
    ----------
    table : mapping
        Species by key.
    plan : Options
        Of it [kept], and the kinds of [plants]; where a design chooses, all kinds are kept.

    Raises
    ------
    InputError
        If no kind that is planted ever gets so tall, or so wide.

    Examples
    --------
    >>> from screenplan.plan.reading import check_options
    >>> plan = check_options({"kept": {"height": "3 m"}, "plants": {"species": "ilex_opaca"}})
    >>> kept = planned_species(plan)
    >>> kept["ilex_opaca"].final_height("high"), kept["thuja_occidentalis"].is_clipped
    (3.0, False)
    """
    kept = plan.kept
    named = plan.plants.species
    names = (named,) if isinstance(named, str) else tuple(named)
    keys = (
        table.keys()
        if plan.design.wanted
        else {species_of(name, table, key=plan.plants.key("species")).key for name in names}
    )
    free = {key: table[key] for key in keys if not table[key].is_clipped}
    for name, size, most in (
        ("height", kept.height, Species.full_height),
        ("width", kept.width, Species.full_spread),
    ):
        greatest = max((most(kind, "high") for kind in free.values()), default=math.inf)
        if size is not None and size >= greatest:
            grow = "taller" if name == "height" else "wider"
            raise refuse(
                f"the row is to be kept at a {name} of {{{size:g} m}}, but its plants never grow {grow} than "
                f"{{{greatest:.2f} m}}",
                f"Write a smaller kept.{name}, or leave it out: nothing is to be clipped then",
                key=kept.key(name),
            )
    return dict(table) | {
        key: replace(
            kind,
            kept_height_m=kept.height,
            kept_width_m=kept.width,
            stock_height_m=min(kind.stock_height_m, kept.height or math.inf),
        )
        for key, kind in free.items()
    }


def _over(known: Mapping[str, Entry], key: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """Lay a person's table over the species that it is like, or that of its own key."""
    own = {name: value for name, value in table.items() if name != "like"}
    base = known.get(str(table.get("like", key)))
    if base is None and "like" in table:
        raise WrongError(
            f"there is no species {quoted(table['like'])}",
            instead_of(str(table["like"]), known, LISTED_BY),
            "like",
        )
    growth = own.pop("growth_class", None)
    if own.get("shape", POWER) != POWER and base is not None:
        own.setdefault("profile", None)
    if growth is not None and not (isinstance(growth, str) and growth in GROWTH_CLASSES):
        raise WrongError(
            f"{quoted(growth)} is not one of the choices",
            f"Write one of {', '.join(GROWTH_CLASSES)}",
            "growth_class",
        )
    if growth is not None:
        rates = [f"{rate} m" for rate in GROWTH_CLASSES[growth]]
        own.setdefault("yearly_growth", rates)
    if base is None:
        return {"grades": _own_grades(own), **own}
    users = dict.fromkeys(
        _CHANGED_AS.get(name, name)
        for name, value in own.items()
        if name != "sources" and value is not None
    )
    said = [
        base.table.get("sources", {}),
        dict.fromkeys(users, "the user's value"),
        own.get("sources", {}),
    ]
    grades = [base.table.get("grades", {}), _own_grades(own), own.get("grades", {})]
    for name, parts in (
        ("sources", said),
        ("grades", grades),
        ("tolerances", [base.table.get("tolerances", {}), own.get("tolerances", {})]),
        ("height_curve", [_curve_below(base.table, own), own.get("height_curve", {})]),
        ("width_law", [_law_below(base.table, own), own.get("width_law", {})]),
    ):
        if all(isinstance(part, Mapping) for part in parts):
            own[name] = {at: value for part in parts for at, value in part.items()}
    return {**base.table, **own}


#: What a person's figures change the evidence of.
_OF_GRADE = {
    "height": ("mature_height", "yearly_growth", "height_curve", "establishment_years"),
    "width": ("mature_spread", "spread_share", "width_law"),
    "profile": ("shape", "profile"),
    "leaves": ("leaf_density",),
}


def _own_grades(own: Mapping[str, Any]) -> dict[str, str]:
    return {part: OWN for part, names in _OF_GRADE.items() if any(name in own for name in names)}


def _curve_below(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Give what is left of a known curve of the height below a person's own figures."""
    if "yearly_growth" in own:
        return {}
    replaced = {"asymptote", "tallest"} if "mature_height" in own else set()
    if isinstance(own.get("height_curve"), Mapping) and "asymptote" in own["height_curve"]:
        replaced = {"tallest"}
    return {at: value for at, value in base.get("height_curve", {}).items() if at not in replaced}


def _law_below(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Give what is left of a known law of the width below a person's own figures."""
    if "spread_share" in own:
        return {}
    replaced = {"widest"} if "mature_spread" in own else set()
    return {at: value for at, value in base.get("width_law", {}).items() if at not in replaced}


#: What a value is called among the sources, where that is not its key.
_CHANGED_AS = {"latin": "latin_name", "common": "common_name"}


def _read_whole(table: Mapping[str, Any], read: Callable[[Mapping], Species]) -> Species:
    """Read a species, and check what holds between its figures."""
    latin = table.get("latin")
    made = read(
        {
            **({"genus": latin.split()[0]} if isinstance(latin, str) and latin.strip() else {}),
            "winter_share": 0.6 if table.get("evergreen") is False else 1.0,
            "leaf": "deciduous" if table.get("evergreen") is False else "broadleaf",
            **table,
        }
    )
    if made.height_curve.rate is None and made.yearly_growth_m is None:
        raise WrongError(
            "nothing says how fast it grows",
            "Write yearly_growth or growth_class, or height_curve with asymptote and rate",
            "yearly_growth",
        )
    if made.height_curve.rate is None and made.height_curve.exponent not in (0.0, 1.0):
        raise WrongError(
            f"a curve with the exponent {made.height_curve.exponent:g} does not follow from a yearly growth",
            "Write its rate too, or the exponent 1, or 0 for a straight line",
            "height_curve.exponent",
        )
    if made.stock_height_m > made.full_height("high"):
        raise WrongError(
            f"it is planted at {{{made.stock_height_m:g} m}} but never grows above "
            f"{{{made.full_height('high'):g} m}}",
            "Write a smaller stock_height or a greater mature_height",
            "stock_height",
        )
    if made.shape == POWER and made.profile is None:
        raise WrongError(
            f"a crown of the shape {POWER} has no profile",
            "Write the exponent of its radius, such as profile = 0.5 for a paraboloid",
            "profile",
        )
    if made.shape != POWER and made.profile is not None:
        raise WrongError(
            f"the shape {made.shape} has a profile of its own",
            f'Write shape = "{POWER}", or take profile out',
            "profile",
        )
    if made.kept_height_m is not None and made.stock_height_m > made.kept_height_m:
        raise WrongError(
            f"it is planted at {{{made.stock_height_m:g} m}} but kept at {{{made.kept_height_m:g} m}}",
            "Write a smaller stock_height or a greater kept_height",
            "kept_height",
        )
    return made


_CATALOGUE = Catalogue(
    "species",
    shipped_kinds,
    Annotated[Species, WrapValidator(_read_whole)],
    _over,
    at="species.",
    switched=False,
)


def species_of(
    species: str | Species,
    species_table: Mapping[str, Species] | None = None,
    *,
    key: str | None = None,
) -> Species:
    """Find a species by its key, Latin or common name.

    Parameters
    ----------
    species : str or Species
    species_table : mapping, optional
        By default the shipped table.
    key : str, optional
        The plan's key that names it, for the refusal.

    Raises
    ------
    InputError
        If there is none of that name; the known keys are listed.

    Examples
    --------
    >>> species_of("emerald green arborvitae").key
    'thuja_smaragd'
    """
    if isinstance(species, Species):
        return species
    species_table = load_species() if species_table is None else species_table
    if species in species_table:
        return species_table[species]
    asked = str(species).strip().casefold()
    for known in species_table.values():
        names = (known.key, known.latin_name, known.common_name)
        if asked and asked in (name.casefold() for name in names):
            return known
    meant = instead_of(str(species), species_table, LISTED_BY)
    raise refuse(
        f"there is no species {quoted(species)}",
        f"{meant if meant.endswith('?') else meant + '.'} Or add it to the plan's species table",
        key=key,
    )
