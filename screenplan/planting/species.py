"""The species table: what grows, how fast, how large, in which shape, and how that is known."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WrapValidator

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.ground.crown_shapes import POWER, CrownShape, shape_of, shape_words
from screenplan.ground.errors import refuse
from screenplan.ground.texts import quoted
from screenplan.plan.catalogue import Catalogue, Entry
from screenplan.plan.values import (
    TABLE,
    Flag,
    Length,
    Number,
    Whole,
    Words,
    WrongError,
    read_number,
    rising,
)

#: Yearly growth of a young rooted plant by class, metres: low, typical, high.
#: Convention of planting guides, from memory: slow under 1 ft, moderate 1 to 2 ft, rapid above;
#: rapid ends at the 0.6 to 0.9 m of vigorous screening conifers (common practice, no source).
GROWTH_CLASSES = {
    "slow": (0.15, 0.225, 0.30),
    "moderate": (0.30, 0.45, 0.60),
    "rapid": (0.60, 0.75, 0.90),
}
#: A species of the shipped table that a plan takes when it names none.
DEFAULT_SPECIES = "thuja_occidentalis"

#: What a site may do to a plant, and how well it may stand it.
TOLERANCES = ("browse", "salt", "shade", "wet")
TOLERANCE_LEVELS = ("intolerant", "intermediate", "tolerant")

Height = Annotated[Length, Field(gt=0, le=HIGHEST_PLANT_M)]
YearlyGrowth = Annotated[Length, Field(gt=0, le=3)]
Density = Annotated[Number, Field(ge=0, le=30)]
Zone = Annotated[Whole, Field(ge=1, le=13)]


def _by_growth(value: object) -> object:
    """Let one exponent stand for those of all growths."""
    several = isinstance(value, (list, tuple))
    if several and len(value) != len(_GROWTH_INDEX):
        raise WrongError(
            f"{quoted(value)} is not a list of {len(_GROWTH_INDEX)}",
            "Write one number, or three: for low, typical and high growth",
        )
    if several:
        return tuple(value)
    if not 0.0 <= read_number(value) <= 1.0:  # said once, and not for each growth
        raise WrongError(f"{quoted(value)} is out of range", "Write a number from 0 to 1")
    return (value,) * len(_GROWTH_INDEX)


def _falling(values: tuple) -> tuple:
    if sorted(values, reverse=True) != list(values):
        raise WrongError(
            f"{quoted(list(values))} is not in falling order",
            "Write the greatest, for the most pointed crown, first: low growth is the cautious one",
        )
    return values


_GROWTH_INDEX = {"low": 0, "typical": 1, "high": 2}
Exponent = Annotated[Number, Field(ge=0, le=1)]
Profile = Annotated[
    tuple[Exponent, Exponent, Exponent], BeforeValidator(_by_growth), AfterValidator(_falling)
]


@dataclass(frozen=True)
class Species:
    """One kind of plant.

    Parameters
    ----------
    key : str
        Its name in the table.
    latin_name, common_name, genus : str
    shape : str
        Shape of the crown, one of `shape_words`; a box is a clipped hedge.
    profile : tuple of 3 floats, optional
        Exponent of the radius of a crown of the shape "power" (`screenplan.ground.crown_shapes`) at
        low, typical and high growth, falling: low growth has the most pointed crown.
    yearly_growth_m : tuple of 3 floats
        Growth in a year of a young rooted plant, low, typical, high, metres.
    mature_height_m, mature_spread_m : tuple of 2 floats
        Low and high, metres. Growth "typical" takes their mean.
    evergreen : bool
    stock_height_m : float
        Usual height when planted, metres.
    establishment_years : float
        Years until it grows at its full rate.
    spread_share : float
        Diameter of the crown as a share of the height, until the mature spread is reached.
    clear_stem_m, clear_stem_share : float
        The bare stem is that share of the height, up to so many metres.
    leaf_density : tuple of 2 floats
        One-sided leaf area per volume of crown, low and high, m²/m³.
    kept_height_m, kept_width_m : float, optional
        Height, and width across the row, at which a box is kept by clipping, metres.
    winter_share : float
        Share of the screening that is left after leaf fall, 1 for evergreens.
    hardiness_zones : tuple of 2 ints, optional
        Coldest and warmest USDA zone, if known.
    tolerances : mapping
        Of `TOLERANCES`, one of `TOLERANCE_LEVELS`; those that are known.
    sources : mapping
        Per value, where it comes from and how it is known.
    """

    __pydantic_config__ = TABLE
    beside: ClassVar = ("like", "growth_class")

    key: str
    latin_name: Words
    shape: Literal[shape_words()]
    yearly_growth_m: rising("low", "typical", "high", of=YearlyGrowth)
    mature_height_m: rising("low", "high", of=Height)
    mature_spread_m: rising("low", "high", of=Height)
    common_name: Words = ""
    genus: Words = ""
    evergreen: Flag = True
    stock_height_m: Height = 0.9
    establishment_years: Annotated[Number, Field(ge=0, le=20)] = 2.0
    spread_share: Annotated[Number, Field(ge=0.02, le=5)] = 0.4
    clear_stem_m: Annotated[Length, Field(ge=0, le=HIGHEST_PLANT_M)] = 0.0
    clear_stem_share: Annotated[Number, Field(ge=0, le=0.9)] = 0.0
    leaf_density: rising("low", "high", of=Density) = (1.0, 4.0)
    kept_height_m: Height | None = None
    kept_width_m: Height | None = None
    profile: Profile | None = None
    winter_share: Annotated[Number, Field(ge=0, le=1)] = 1.0
    hardiness_zones: rising("coldest", "warmest", of=Zone) | None = None
    tolerances: dict[Literal[TOLERANCES], Literal[TOLERANCE_LEVELS]] = field(
        default_factory=dict, compare=False
    )
    sources: dict[str, Words] = field(default_factory=dict, compare=False)

    @property
    def called(self) -> str:
        """Common name; the Latin one if there is no other."""
        return self.common_name or self.latin_name

    @property
    def both_names(self) -> str:
        """Common and Latin name, as an order gives them; the Latin one alone if there is no other."""
        if not self.common_name:
            return self.latin_name
        return f"{self.common_name} ({self.latin_name})"

    def yearly_growth(self, growth: str) -> float:
        """Yearly growth of that class, metres."""
        return self.yearly_growth_m[_GROWTH_INDEX[growth]]

    def full_height(self, growth: str) -> float:
        """Mature height of that growth class: low, mean, high, metres."""
        return _low_mean_high(self.mature_height_m, growth)

    def full_spread(self, growth: str) -> float:
        """Mature spread of that growth class: low, mean, high, metres."""
        return _low_mean_high(self.mature_spread_m, growth)

    def exponent(self, growth: str) -> float | None:
        """Exponent of the crown's radius at that growth; None where the shape has none."""
        return None if self.profile is None else self.profile[_GROWTH_INDEX[growth]]

    def crown(self, growth: str) -> CrownShape:
        """Shape of the crown at that growth."""
        return shape_of(self.shape, self.exponent(growth))

    def unclipped(self) -> Species:
        """Give the same species as it grows where nobody clips it."""
        return replace(self, kept_height_m=None, kept_width_m=None)

    def final_height(self, growth: str) -> float:
        """Height that it has in the end: the mature one, or that at which it is kept, metres."""
        return min(self.full_height(growth), _or_more(self.kept_height_m))

    def final_spread(self, growth: str) -> float:
        """Spread, of a hedge along its row, that it has in the end, metres.

        That of a plant kept at a height is the spread of a plant of that height.
        """
        kept = self.spread_share * _or_more(self.kept_height_m)
        return min(self.full_spread(growth), kept)

    def final_width(self, growth: str) -> float:
        """Width across its row that it has in the end: the spread, or what it is kept at, metres."""
        return min(self.final_spread(growth), _or_more(self.kept_width_m))


def _or_more(kept_m: float | None) -> float:
    return math.inf if kept_m is None else kept_m


def _low_mean_high(pair: tuple[float, float], growth: str) -> float:
    return (pair[0], (pair[0] + pair[1]) / 2.0, pair[1])[_GROWTH_INDEX[growth]]


def load_species(extra: Mapping[str, Mapping] | None = None) -> dict[str, Species]:
    """Read the shipped species and add or change some.

    Parameters
    ----------
    extra : mapping, optional
        Tables as in the shipped file. The key of a known species changes only what it names; a new
        key adds one, from nothing or from the species that ``like`` names. Lengths are texts with
        units.

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
    >>> table["mine"].mature_height_m, table["mine"].shape
    ((4.0, 5.0), 'paraboloid')
    """
    return _CATALOGUE.load(changes=extra)


def _over(known: Mapping[str, Entry], key: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """Lay a person's table over the species that it is like, or that of its own key."""
    own = {name: value for name, value in table.items() if name != "like"}
    base = known.get(str(table.get("like", key)))
    if base is None and "like" in table:
        raise WrongError(
            f"there is no species {quoted(table['like'])}",
            f"Write one of {', '.join(known)}",
            "like",
        )
    growth = own.pop("growth_class", None)
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
        return own
    users = dict.fromkeys(_CHANGED_AS.get(name, name) for name in own if name != "sources")
    said = [
        base.table.get("sources", {}),
        dict.fromkeys(users, "the user's value"),
        own.get("sources", {}),
    ]
    for name, parts in (
        ("sources", said),
        ("tolerances", [base.table.get("tolerances", {}), own.get("tolerances", {})]),
    ):
        if all(isinstance(part, Mapping) for part in parts):
            own[name] = {at: value for part in parts for at, value in part.items()}
    whole = {**base.table, **own}
    if own.get("shape", POWER) != POWER and "profile" not in own:
        # The exponent of the species that it is like belongs to the shape that is given up.
        whole.pop("profile", None)
    return whole


#: What a value is called among the sources, where that is not its key.
_CHANGED_AS = {"latin": "latin_name", "common": "common_name"}


def _read_whole(table: Mapping[str, Any], read: Callable[[Mapping], Species]) -> Species:
    """Read a species, and check what holds between its figures."""
    latin = table.get("latin")
    made = read(
        {
            **({"genus": latin.split()[0]} if isinstance(latin, str) and latin.strip() else {}),
            "winter_share": 0.6 if table.get("evergreen") is False else 1.0,
            **table,
        }
    )
    if made.stock_height_m > made.mature_height_m[1]:
        raise WrongError(
            f"it is planted at {{{made.stock_height_m:g} m}} but never grows above "
            f"{{{made.mature_height_m[1]:g} m}}",
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
            f"a {made.shape} has a profile of its own",
            f'Write shape = "{POWER}", or take profile out',
            "profile",
        )
    kept = made.kept_height_m is not None or made.kept_width_m is not None
    if kept and made.shape != "box":
        raise WrongError(
            f"a {made.shape} is not clipped",
            'Write shape = "box" for a clipped hedge, or take kept_height and kept_width out',
            "kept_height",
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
    ("screenplan.planting", "species.toml"),
    Annotated[Species, WrapValidator(_read_whole)],
    _over,
    at="species.",
    switched=False,
)


def species_of(
    species: str | Species, table: Mapping[str, Species] | None = None, *, key: str | None = None
) -> Species:
    """Find a species by its key, Latin or common name.

    Parameters
    ----------
    species : str or Species
    table : mapping, optional
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
    table = load_species() if table is None else table
    if species in table:
        return table[species]
    asked = str(species).strip().casefold()
    for one in table.values():
        if (
            asked in (one.key.casefold(), one.latin_name.casefold(), one.common_name.casefold())
            and asked
        ):
            return one
    raise refuse(
        f"there is no species {quoted(species)}",
        f"Write one of {', '.join(table)}, or add it to the plan's species table",
        key=key,
    )
