"""What a species is: how its plants grow, how wide and in which shape, and how that is known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, get_args

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Field

from screenplan.contracts import GROWTHS, HIGHEST_PLANT_M
from screenplan.ground.crown_shapes import CrownShape, is_along_row, shape_of, shape_words
from screenplan.ground.errors import refuse
from screenplan.ground.texts import quoted
from screenplan.plan.effects import Exposure
from screenplan.plan.values import (
    TABLE,
    Flag,
    Length,
    Number,
    PlantHeight,
    Whole,
    Words,
    WrongError,
    read_number,
    rising,
)
from screenplan.planting.curves import HeightCurve, WidthLaw
from screenplan.planting.curves import width_at as width_by_law
from screenplan.planting.measured import GRADED, TENTH, Grade, Graded

#: What a site may do to a plant, and how well it may stand it.
Tolerance = Exposure
ToleranceLevel = Literal["intolerant", "intermediate", "tolerant"]
TOLERANCES: tuple[str, ...] = get_args(Tolerance)
TOLERANCE_LEVELS: tuple[str, ...] = get_args(ToleranceLevel)

#: Leaves by which relatives and stems are told.
Leaf = Literal["needle", "scale", "broadleaf", "deciduous", "bamboo"]
LEAVES: tuple[str, ...] = get_args(Leaf)
#: Grade of a figure that a person gives.
OWN = "own"
#: Grades as they are told, the best first. Nothing is known of own figures but that somebody gave them.
GRADE_WORDS = {
    "measured": "measured",
    "relatives": "measured on relatives",
    OWN: "own figures",
    "group": "measured on its group",
    "published": "published range",
    "memory": "from memory",
}
#: Zone by which plants root where the site's is not known: a mild one.
MILD_ZONE = 7
#: Exponent of the width by the height of a new species of which only mature sizes are given: the middle of
#: those fitted to groups of leaves (0.93 to 0.98); and the share of its height at which it is as wide as it gets.
USUAL_WIDTH_EXPONENT = 0.95
WIDEST_AT_SHARE = 0.825
#: Distance between plants of a row as a share of the mature spread, and its least and greatest, metres:
#: custom where no source gives one. Closely planted conifers are set up to 1.8 m apart, below their free
#: spread, so that they grow into each other (common practice, no source).
CUSTOM_SHARE, CUSTOM_SPACING_M = 0.45, (0.6, 1.8)

Size = Annotated[Length, Field(gt=0, le=4 * HIGHEST_PLANT_M)]
YearlyGrowth = Annotated[Length, Field(gt=0, le=3)]
Coefficient = Annotated[Number, Field(gt=0, le=20)]
Rate = Annotated[Number, Field(gt=0, le=3)]
Density = Annotated[Number, Field(ge=0, le=30)]
Exponent = Annotated[Number, Field(ge=0, le=1)]
Zone = Annotated[Whole, Field(ge=1, le=13)]
#: A list with an entry for each growth.
BY_GROWTH = rising(*GROWTHS)
if TYPE_CHECKING:
    ShapeWord = str
else:  # the words are known once the shapes are
    ShapeWord = Literal[shape_words()]


def _with_middle(pair: Any) -> Any:
    """Put the mean between a low and a high value where no typical one is given."""
    if not isinstance(pair, (list, tuple)) or len(pair) != 2:
        return pair
    low, high = (read_number(value) for value in pair)
    if low > high:
        raise WrongError(f"{quoted(list(pair))} is not in rising order", "Write low, then high")
    return (low, 0.5 * (low + high), high)


def _by_growth(value: Any) -> Any:
    """Let one exponent stand for those of all growths."""
    several = isinstance(value, (list, tuple))
    if several and len(value) != len(GROWTHS):
        raise WrongError(
            f"{quoted(value)} is not a list of {len(GROWTHS)}",
            "Write one number, or three: for low, typical and high growth",
        )
    if several:
        return tuple(value)
    if not 0.0 <= read_number(value) <= 1.0:  # said once, and not for each growth
        raise WrongError(f"{quoted(value)} is out of range", "Write a number from 0 to 1")
    return (value,) * len(GROWTHS)


def _falling(values: tuple) -> tuple:
    if sorted(values, reverse=True) != list(values):
        raise WrongError(
            f"{quoted(list(values))} is not in falling order",
            "Write the greatest, for the most pointed crown, first: low growth is the cautious one",
        )
    return values


Profile = Annotated[
    tuple[Exponent, Exponent, Exponent], BeforeValidator(_by_growth), AfterValidator(_falling)
]


@dataclass(frozen=True)
class HeightFigures:
    """Figures of a curve of the height, h(t) = A (1 − exp(−k (t + t₀)))^m.

    Parameters
    ----------
    asymptote_m : tuple of 3 floats, optional
        A at low, typical, high growth, metres; by default the mature height: low, mean, high.
    rate : tuple of 3 floats, optional
        k, a year; by default that at which a young plant grows by its yearly growth.
    exponent : float
        m; 0 is a straight line, that rises by k A a year.
    tallest_m : tuple of 3 floats, optional
        Where the growth stops, metres; by default at A.
    planted_m : float, optional
        The curve's years are years since a plant of this height was set, so that they hold its rooting.
    """

    __pydantic_config__ = TABLE

    asymptote_m: Annotated[tuple[Size, ...], BY_GROWTH] | None = None
    rate: Annotated[tuple[Rate, ...], BY_GROWTH] | None = None
    exponent: Annotated[Number, Field(ge=0, le=5)] = 1.0
    tallest_m: Annotated[tuple[Size, ...], BY_GROWTH] | None = None
    planted_m: PlantHeight | None = None


@dataclass(frozen=True)
class WidthFigures:
    """Figures of the width by the height, w = a hᵇ up to the widest.

    Parameters
    ----------
    coefficient : tuple of 3 floats, optional
        a at low, typical, high growth; by default that of ``spread_share``, or that through the mature size.
    exponent : float, optional
        b; by default 1 with a ``spread_share``, 0.95 without.
    widest_m : tuple of 3 floats, optional
        Metres; by default the mature spread: low, mean, high.
    """

    __pydantic_config__ = TABLE

    coefficient: Annotated[tuple[Coefficient, ...], BY_GROWTH] | None = None
    exponent: Annotated[Number, Field(gt=0, le=1)] | None = None
    widest_m: Annotated[tuple[Size, ...], BY_GROWTH] | None = None


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
    mature_height_m, mature_spread_m : tuple of 2 floats
        As published or stated, low and high, metres.
    height_curve : HeightFigures
        By it the plant grows taller.
    width_law : WidthFigures
        By it the crown grows wider as the plant grows taller.
    profile : tuple of 3 floats, optional
        Exponent p of the radius of a crown of the shape "power" (`screenplan.ground.crown_shapes`) at low,
        typical and high growth, falling: low growth has the most pointed crown. 1 is a cone, 0.5 a
        paraboloid, 0 a column. One number holds for all three.
    yearly_growth_m : tuple of 3 floats, optional
        Growth in a year of a young rooted plant, low, typical, high, metres; turned into a curve where
        none is given.
    spread_share : float, optional
        Diameter of the crown as a share of the height; turned into a law of the width.
    leaf : str
        Of `LEAVES`; by default broadleaf, or deciduous.
    evergreen : bool
    stock_height_m : float
        Usual height when planted, metres.
    establishment_years : float, optional
        Years until it grows at its full rate; by default by zone, stem and stock.
    rooting_zone : int
        Hardiness zone by which it roots: that of the site, if it is known.
    slowed_share, slowed_years : float
        Share of the growth of so many first years that is lost, because weeds are left alone.
    clear_stem_m, clear_stem_share : float
        The bare stem is that share of the height, up to so many metres.
    leaf_density : tuple of 3 floats
        One-sided leaf area per volume of crown, low, typical and high, m²/m³; of two the mean is typical.
    kept_height_m, kept_width_m : float, optional
        Height and width at which it is kept by clipping, metres. A box is kept narrow across its row alone; any
        other crown is held in the shape and width that it has when it reaches the height.
    winter_share : float
        Share of the screening that is left after leaf fall, 1 for evergreens.
    spacing_m : float, optional
        Usual distance between plants of a row, metres, if a source gives it.
    hardiness_zones : tuple of 2 ints, optional
        Coldest and warmest USDA zone, if known.
    tolerances : mapping
        Of `TOLERANCES`, one of `TOLERANCE_LEVELS`; those that are known.
    warnings : tuple of str
        Poison, roots that run, bans: what one must know before planting it.
    poisonous_to : tuple of str
        Animals that grow ill if they eat of it; none if nobody knows.
    note : str
        What is known or not known of it besides.
    grades : mapping
        Of height, width, profile and leaves, how good their evidence is.
    sources : mapping
        Per value, where it comes from and how it is known.
    """

    __pydantic_config__ = TABLE
    beside: ClassVar = ("like", "growth_class")

    key: str
    latin_name: Words
    shape: ShapeWord
    mature_height_m: Annotated[tuple[PlantHeight, ...], rising("low", "high")]
    mature_spread_m: Annotated[tuple[PlantHeight, ...], rising("low", "high")]
    height_curve: HeightFigures = HeightFigures()
    width_law: WidthFigures = WidthFigures()
    profile: Profile | None = None
    yearly_growth_m: Annotated[tuple[YearlyGrowth, ...], BY_GROWTH] | None = None
    spread_share: Annotated[Number, Field(ge=0.02, le=5)] | None = None
    common_name: Words = ""
    genus: Words = ""
    leaf: Leaf = "broadleaf"
    evergreen: Flag = True
    stock_height_m: PlantHeight = 0.9
    establishment_years: Annotated[Number, Field(ge=0, le=20)] | None = None
    rooting_zone: Zone = MILD_ZONE
    slowed_share: Annotated[Number, Field(ge=0, le=0.9)] = 0.0
    slowed_years: Annotated[Number, Field(ge=0, le=20)] = 0.0
    clear_stem_m: Annotated[Length, Field(ge=0, le=HIGHEST_PLANT_M)] = 0.0
    clear_stem_share: Annotated[Number, Field(ge=0, le=0.9)] = 0.0
    leaf_density: Annotated[tuple[Density, ...], BY_GROWTH, BeforeValidator(_with_middle)] = (
        1.0,
        2.5,
        4.0,
    )
    kept_height_m: PlantHeight | None = None
    kept_width_m: PlantHeight | None = None
    winter_share: Annotated[Number, Field(ge=0, le=1)] = 1.0
    spacing_m: Annotated[Length, Field(ge=0.1, le=30)] | None = None
    hardiness_zones: Annotated[tuple[Zone, ...], rising("coldest", "warmest")] | None = None
    tolerances: dict[Tolerance, ToleranceLevel] = field(default_factory=dict, compare=False)
    warnings: tuple[Words, ...] = field(default=(), compare=False)
    poisonous_to: tuple[Words, ...] = field(default=(), compare=False)
    note: Words = field(default="", compare=False)
    grades: dict[Graded, Literal[Grade, "own"]] = field(default_factory=dict, compare=False)
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

    def curve(self, growth: str) -> HeightCurve:
        """Curve of the height at that growth.

        Raises
        ------
        InputError
            If neither a rate nor a yearly growth is known.
        """
        k, of = _GROWTH_INDEX[growth], self.height_curve
        asymptote = (of.asymptote_m or _low_mean_high(self.mature_height_m))[k]
        if of.rate is not None:
            return HeightCurve(asymptote, of.rate[k], of.exponent)
        if self.yearly_growth_m is None:
            raise refuse(
                f"nothing says how fast {self.called} grows", "Give it a yearly growth, or a rate"
            )
        return HeightCurve(asymptote, self.yearly_growth_m[k] / asymptote, of.exponent)

    def width(self, growth: str) -> WidthLaw:
        """Law of the width at that growth."""
        k, of = _GROWTH_INDEX[growth], self.width_law
        widest = (of.widest_m or _low_mean_high(self.mature_spread_m))[k]
        if not is_along_row(self.shape):
            widest = min(widest, _or_more(self.kept_width_m))
        if of.coefficient is not None:
            return WidthLaw(of.coefficient[k], of.exponent or USUAL_WIDTH_EXPONENT, widest)
        if self.spread_share is not None:
            return WidthLaw(self.spread_share, 1.0, widest)
        exponent = of.exponent or USUAL_WIDTH_EXPONENT
        through = sorted(
            wide / (WIDEST_AT_SHARE * self.full_height(tall)) ** exponent
            for wide, tall in zip(_low_mean_high(self.mature_spread_m), GROWTHS, strict=True)
        )
        return WidthLaw(through[k], exponent, widest)

    def exponent(self, growth: str) -> float | None:
        """Exponent of the crown's radius at that growth; None where the shape has none."""
        return None if self.profile is None else self.profile[_GROWTH_INDEX[growth]]

    def crown(self, growth: str) -> CrownShape:
        """Shape of the crown at that growth."""
        return shape_of(self.shape, self.exponent(growth))

    def full_height(self, growth: str) -> float:
        """Height at which that growth stops, metres."""
        tallest = self.height_curve.tallest_m
        stops = math.inf if tallest is None else tallest[_GROWTH_INDEX[growth]]
        return min(self.curve(growth).asymptote_m, stops)

    def full_spread(self, growth: str) -> float:
        """Spread that it has at its full height, metres."""
        return float(width_by_law(self.width(growth), self.full_height(growth)))

    @property
    def usual_spacing_m(self) -> float:
        """Usual distance between plants of a row, metres: of a source, or custom."""
        if self.spacing_m is not None:
            return self.spacing_m
        share = CUSTOM_SHARE * sum(self.mature_spread_m) / 2.0
        return round(min(max(share, CUSTOM_SPACING_M[0]), CUSTOM_SPACING_M[1]), 1)

    @property
    def spacing_source(self) -> str:
        """Where the usual spacing comes from, "custom" if there is no source."""
        return (
            "custom" if self.spacing_m is None else self.sources.get("spacing", "no source given")
        )

    def hardy_in(self, zone: int | None) -> bool:
        """Tell whether it is hardy in a zone; in any where no zone is asked, in none if nobody knows."""
        if zone is None:
            return True
        hardy = self.hardiness_zones
        return hardy is not None and hardy[0] <= zone <= hardy[1]

    @property
    def has_clear_stem(self) -> bool:
        """True if its crown begins above the ground, by a length or by a share of the height."""
        return self.clear_stem_m > 0.0 or self.clear_stem_share > 0.0

    @property
    def evidence(self) -> str:
        """What its growth rests on, in words: the weaker of the grades of height and width."""
        return GRADE_WORDS[self.grade("height", "width")]

    def grade(self, *parts: Graded) -> str:
        """Grade of the evidence, of several parts the weakest."""
        asked: tuple[Graded, ...] = parts or GRADED
        graded = (self.grades.get(part, OWN) for part in asked)
        return max(graded, key=list(GRADE_WORDS).index)

    def at_quantile(
        self, height: float = 0.0, width: float = 0.0, profile: float = 0.0, leaves: float = 0.0
    ) -> Species:
        """Give the species with the figures that lie so many standard deviations from the middle.

        The low, typical and high figures are those of the plant that one in ten stays below, of the middle,
        and of one that one in ten grows above. So a figure at z standard deviations is

            middle (high / middle)^(z / 1.2816)  above the middle,  middle (low / middle)^(-z / 1.2816)  below

        and for shipped species that is exactly the law to which they were fitted. Sizes at which growth stops,
        and the exponent of the profile, do not leave the range from low to high.

        Parameters
        ----------
        height, width, profile, leaves : float
            Numbers of standard deviations; a greater profile is a blunter crown.

        Returns
        -------
        Species
            Its low, typical and high figures are the same.

        Examples
        --------
        >>> from screenplan.planting.species import load_species
        >>> spruce = load_species()["picea_pungens"]
        >>> drawn, low = spruce.at_quantile(height=-1.2816).curve("typical"), spruce.curve("low")
        >>> abs(drawn.asymptote_m / low.asymptote_m - 1.0) < 1e-9, abs(drawn.rate / low.rate - 1.0) < 1e-9
        (True, True)
        """
        laws = [self.width(growth) for growth in GROWTHS]
        curve, stops = self.curve_at(height)
        figures = HeightFigures(
            (float(curve.asymptote_m),) * 3,
            (float(curve.rate),) * 3,
            self.height_curve.exponent,
            (float(stops),) * 3,
            self.height_curve.planted_m,
        )
        law = WidthFigures(
            (float(_beyond([law.coefficient for law in laws], width)),) * 3,
            laws[0].exponent,
            (float(_within([law.widest_m for law in laws], width)),) * 3,
        )
        return replace(
            self,
            height_curve=figures,
            width_law=law,
            profile=self.profile and (_between(self.profile, profile),) * 3,
            leaf_density=(self.density_at(leaves),) * 3,
        )

    def curve_at(self, height: float | np.ndarray) -> tuple[HeightCurve, np.ndarray]:
        """Give the curve of the height that lies so many standard deviations from the middle, and where it stops, metres.

        Parameters
        ----------
        height : float or ndarray
            Numbers of standard deviations; the curve's asymptote and rate, and where it stops, are of its shape.
        """
        curves = [self.curve(growth) for growth in GROWTHS]
        asymptotes = [curve.asymptote_m for curve in curves]
        law = HeightCurve(
            _beyond(asymptotes, height),
            _beyond([curve.rate for curve in curves], height),
            self.height_curve.exponent,
        )
        return law, np.minimum(
            law.asymptote_m, _within(self.height_curve.tallest_m or asymptotes, height)
        )

    def density_at(self, leaves: float) -> float:
        """Give the leaf area density that lies so many standard deviations from the middle, m²/m³."""
        law = _beyond if min(self.leaf_density) > 0.0 else _between
        return float(law(self.leaf_density, leaves))

    @property
    def is_clipped(self) -> bool:
        """Whether it is kept at a height or a width."""
        return self.kept_height_m is not None or self.kept_width_m is not None

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
        return float(width_by_law(self.width(growth), self.final_height(growth)))

    def final_width(self, growth: str) -> float:
        """Width across its row that it has in the end: the spread, or what it is kept at, metres."""
        return min(self.final_spread(growth), _or_more(self.kept_width_m))


def _beyond(values, z):
    """Figure at z standard deviations, which may be an array; beyond the range it goes on as within."""
    low, middle, high = values
    return middle * (np.where(np.greater(z, 0.0), high, low) / middle) ** (np.abs(z) / TENTH)


def _within(values, z):
    """Figure at z; it stays in its range."""
    return _beyond(values, np.clip(z, -TENTH, TENTH))


def _between(values, z: float) -> float:
    """Figure at z on straight lines; it stays in its range."""
    low, middle, high = values
    end, far = (high, z) if z > 0.0 else (low, -z)
    return middle + (end - middle) * min(far / TENTH, 1.0)


_GROWTH_INDEX = {growth: number for number, growth in enumerate(GROWTHS)}


def _or_more(kept_m: float | None) -> float:
    return math.inf if kept_m is None else kept_m


def _low_mean_high(pair: Sequence[float]) -> tuple[float, float, float]:
    return (pair[0], (pair[0] + pair[1]) / 2.0, pair[1])


def evidence_of(kinds: Iterable[Species]) -> str:
    """Say what the growth of several species rests on: the weakest of theirs; empty for none.

    Examples
    --------
    >>> from screenplan.planting.species import load_species
    >>> table = load_species()
    >>> evidence_of([table["picea_pungens"], table["thuja_occidentalis"]])
    'published range'
    """
    order = list(GRADE_WORDS)
    weakest = max(kinds, key=lambda kind: order.index(kind.grade("height", "width")), default=None)
    return "" if weakest is None else weakest.evidence
