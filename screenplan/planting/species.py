"""The species table: what grows, how fast, how large, in which shape, and how that is known."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from types import MappingProxyType

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.units import parse_length

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

_TEXTS = {"latin": "latin_name", "common": "common_name", "genus": "genus"}
_SHARES = {"spread_share": (0.02, 5.0), "clear_stem_share": (0.0, 0.9), "winter_share": (0.0, 1.0)}
KEYS = (
    *_TEXTS,
    "like",
    "evergreen",
    "shape",
    "stock_height",
    "establishment_years",
    "growth_class",
    "yearly_growth",
    "mature_height",
    "mature_spread",
    *_SHARES,
    "clear_stem",
    "kept_height",
    "kept_width",
    "leaf_density",
    "hardiness_zones",
    "tolerances",
    "sources",
)
_NEEDED = {
    "latin_name": "latin",
    "shape": "shape",
    "yearly_growth_m": "growth_class",
    "mature_height_m": "mature_height",
    "mature_spread_m": "mature_spread",
}


@dataclass(frozen=True)
class Species:
    """One kind of plant.

    Parameters
    ----------
    key : str
        Its name in the table.
    latin_name, common_name, genus : str
    shape : str
        Shape of the crown, one of `SHAPES`; a box is a clipped hedge.
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

    key: str
    latin_name: str
    shape: str
    yearly_growth_m: tuple[float, float, float]
    mature_height_m: tuple[float, float]
    mature_spread_m: tuple[float, float]
    common_name: str = ""
    genus: str = ""
    evergreen: bool = True
    stock_height_m: float = 0.9
    establishment_years: float = 2.0
    spread_share: float = 0.4
    clear_stem_m: float = 0.0
    clear_stem_share: float = 0.0
    leaf_density: tuple[float, float] = (1.0, 4.0)
    kept_height_m: float | None = None
    kept_width_m: float | None = None
    winter_share: float = 1.0
    hardiness_zones: tuple[int, int] | None = None
    tolerances: Mapping[str, str] = field(default_factory=dict, compare=False)
    sources: Mapping[str, str] = field(default_factory=dict, compare=False)

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


_GROWTH_INDEX = {"low": 0, "typical": 1, "high": 2}


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
    table = dict(_shipped())
    if extra:
        _add(table, extra)
    return table


def species_of(species: str | Species, table: Mapping[str, Species] | None = None) -> Species:
    """Find a species by its key, Latin or common name.

    Parameters
    ----------
    species : str or Species
    table : mapping, optional
        By default the shipped table.

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
    table = _shipped() if table is None else table
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
        key="species",
    )


@cache
def _shipped() -> Mapping[str, Species]:
    text = resources.files("screenplan.planting").joinpath("species.toml").read_text("utf-8")
    table: dict[str, Species] = {}
    _add(table, tomllib.loads(text))
    return MappingProxyType(table)


def _add(table: dict[str, Species], extra: Mapping[str, Mapping]) -> None:
    problems: list[Problem] = []
    for key, values in extra.items():
        if not isinstance(values, Mapping):
            problems.append(
                Problem(
                    f"species {key} is {quoted(values)}, not a table",
                    f"Write [species.{key}] and below it latin, shape, mature_height and so on",
                    key=f"species.{key}",
                )
            )
            continue
        reader = _Reader(key, problems)
        found = reader.read(values, table)
        if found is not None:
            table[key] = found
    if problems:
        raise InputError(problems)


class _Reader:
    """Reads one species' table and notes what is wrong with it."""

    def __init__(self, key: str, problems: list[Problem]):
        self.key, self.problems, self.before = key, problems, len(problems)

    def wrong(self, name: str, what: str, mend: str) -> None:
        self.problems.append(
            Problem(f"species {self.key}: {what}", mend, key=f"species.{self.key}.{name}")
        )

    def read(self, values: Mapping, table: Mapping[str, Species]) -> Species | None:
        base = table.get(self.key)
        if "like" in values:
            base = table.get(str(values["like"]))
            if base is None:
                self.wrong(
                    "like",
                    f"there is no species {quoted(values['like'])}",
                    f"Write one of {', '.join(table)}",
                )
        new: dict = {}
        for name, value in values.items():
            if name not in KEYS:
                self.wrong(
                    name,
                    f"{quoted(name)} is not a key of a species",
                    f"Write one of {', '.join(KEYS)}",
                )
            elif name != "like":
                self._value(name, value, new)
        if len(self.problems) > self.before:
            return None
        if base is None:
            missing = [word for name, word in _NEEDED.items() if name not in new]
            if missing:
                self.wrong(
                    missing[0],
                    f"a new species needs {', '.join(missing)}",
                    'Add what is missing, or start from a known one with like = "..."',
                )
                return None
            new.setdefault("genus", new["latin_name"].split()[0])
            new.setdefault("winter_share", 1.0 if new.get("evergreen", True) else 0.6)
            made = Species(key=self.key, **new)
        else:
            said = new.pop("sources", {})
            if "tolerances" in new:
                new["tolerances"] = {**base.tolerances, **new["tolerances"]}
            changed = {name.removesuffix("_m"): "the user's value" for name in new}
            made = replace(base, key=self.key, **new, sources={**base.sources, **changed, **said})
        return self._consistent(made)

    def _value(self, name: str, value: object, new: dict) -> None:
        if name in _TEXTS:
            if isinstance(value, str) and value.strip():
                new[_TEXTS[name]] = value.strip()
            else:
                self.wrong(name, f"{name} is {quoted(value)}, not a text", "Write a name in quotes")
        elif name == "evergreen":
            if isinstance(value, bool):
                new[name] = value
            else:
                self.wrong(
                    name, f"evergreen is {quoted(value)}", "Write true or false, without quotes"
                )
        elif name == "shape":
            if value in SHAPES:
                new[name] = value
            else:
                self.wrong(
                    name, f"shape {quoted(value)} is not known", f"Write one of {', '.join(SHAPES)}"
                )
        elif name == "growth_class":
            if isinstance(value, str) and value in GROWTH_CLASSES:
                new.setdefault("yearly_growth_m", GROWTH_CLASSES[value])
            else:
                self.wrong(
                    name,
                    f"growth_class {quoted(value)} is not known",
                    f"Write one of {', '.join(GROWTH_CLASSES)}",
                )
        elif name == "yearly_growth":
            self._lengths(name, value, 3, "yearly_growth_m", new, "low, typical and high", 3.0)
        elif name in ("mature_height", "mature_spread"):
            self._lengths(name, value, 2, f"{name}_m", new, "low and high", HIGHEST_PLANT_M)
        elif name in ("kept_height", "kept_width"):
            length = self._length(name, value)
            if length is not None and not 0 < length <= HIGHEST_PLANT_M:
                self.wrong(name, f"{name} is {quoted(value)}", "Write a length above 0")
            elif length is not None:
                new[f"{name}_m"] = length
        elif name in ("stock_height", "clear_stem"):
            length = self._length(name, value)
            if length is None:
                return
            if name == "stock_height" and not 0 < length <= HIGHEST_PLANT_M:
                self.wrong(name, f"stock_height is {quoted(value)}", "Write a height above 0")
            elif not 0 <= length <= HIGHEST_PLANT_M:
                self.wrong(name, f"clear_stem is {quoted(value)}", "Write a length of 0 or more")
            else:
                new[f"{name}_m"] = length
        elif name == "establishment_years":
            if self._number(name, value, 0.0, 20.0):
                new[name] = float(value)
        elif name in _SHARES:
            if self._number(name, value, *_SHARES[name]):
                new[name] = float(value)
        elif name == "leaf_density":
            self._pair(name, value, 0.0, 30.0, float, new)
        elif name == "hardiness_zones":
            self._pair(name, value, 1, 13, int, new)
        elif name == "tolerances":
            self._tolerances(value, new)
        elif isinstance(value, Mapping) and all(isinstance(text, str) for text in value.values()):
            new["sources"] = dict(value)
        else:
            self.wrong(name, "sources is not a table of texts", 'Write shape = "seen on site"')

    def _tolerances(self, value: object, new: dict) -> None:
        good = isinstance(value, Mapping) and all(
            what in TOLERANCES and level in TOLERANCE_LEVELS for what, level in value.items()
        )
        if good:
            new["tolerances"] = dict(value)
        else:
            self.wrong(
                "tolerances",
                f"tolerances is {quoted(value)}",
                f"Write of {', '.join(TOLERANCES)} one of {', '.join(TOLERANCE_LEVELS)}, such as "
                '{ shade = "intermediate" }',
            )

    def _length(self, name: str, value: object) -> float | None:
        try:
            return parse_length(value, key=name)
        except InputError as error:
            self.wrong(name, error.problems[0].what, error.problems[0].mend)
            return None

    def _lengths(
        self, name: str, value: object, count: int, to: str, new: dict, words: str, most: float
    ) -> None:
        if not isinstance(value, (list, tuple)) or len(value) != count:
            self.wrong(name, f"{name} is {quoted(value)}", f"Write {count} lengths: {words}")
            return
        lengths = [self._length(name, item) for item in value]
        if None in lengths:
            return
        if sorted(lengths) != lengths:
            self.wrong(name, f"{name} is not in rising order ({quoted(value)})", f"Write {words}")
        elif not lengths[0] > 0 or lengths[-1] > most:
            self.wrong(
                name, f"{name} is {quoted(value)}", f"Write lengths above 0 and up to {most:g} m"
            )
        else:
            new[to] = tuple(lengths)

    def _number(self, name: str, value: object, low: float, high: float) -> bool:
        good = (
            isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
        )
        if not good:
            self.wrong(
                name, f"{name} is {quoted(value)}", f"Write a number from {low:g} to {high:g}"
            )
        return good

    def _pair(self, name: str, value: object, low: float, high: float, kind: type, new) -> None:
        if not isinstance(value, (list, tuple)) or len(value) != 2:
            self.wrong(name, f"{name} is {quoted(value)}", "Write two numbers, low and high")
        elif all(self._number(name, item, low, high) for item in value):
            if value[0] > value[1]:
                self.wrong(
                    name, f"{name} is not in rising order ({quoted(value)})", "Write low, then high"
                )
            else:
                new[name] = (kind(value[0]), kind(value[1]))

    def _consistent(self, made: Species) -> Species | None:
        if made.stock_height_m > made.mature_height_m[1]:
            self.wrong(
                "stock_height",
                f"it is planted at {made.stock_height_m:g} m but never grows above "
                f"{made.mature_height_m[1]:g} m",
                "Write a smaller stock_height or a greater mature_height",
            )
            return None
        kept = made.kept_height_m is not None or made.kept_width_m is not None
        if kept and not SHAPES[made.shape].along_row:
            self.wrong(
                "kept_height",
                f"a {made.shape} is not clipped",
                'Write shape = "box" for a clipped hedge, or take kept_height and kept_width out',
            )
            return None
        if made.kept_height_m is not None and made.stock_height_m > made.kept_height_m:
            self.wrong(
                "kept_height",
                f"it is planted at {made.stock_height_m:g} m but kept at {made.kept_height_m:g} m",
                "Write a smaller stock_height or a greater kept_height",
            )
            return None
        return made
