"""Noise: what the standard's table says of foliage along a path, and that a row is not enough.

ISO 9613-2, Annex A, counts dense foliage only: it must block the view along the path, and over
less than 10 m of it there is no figure but none. No figure is given here that the table does not
carry; what a solid barrier takes away belongs to a calculation by the standard itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import NOISE_PATHS
from screenplan.contracts.findings import FAILS, PASSES, UNKNOWN, Finding
from screenplan.contracts.tables import has_rows, identifiers, layer_of
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import FoliageNoise, Limit
from screenplan.rules.limits import limit_of

#: The octave band by which a wish is judged, hertz.
JUDGED_HZ = 500.0
#: What is said of a row, whoever asks.
NO_REDUCTION = "A single row gives no measurable reduction of noise"


def foliage_loss(path_m: float, rule: FoliageNoise) -> np.ndarray:
    """Sound that dense foliage takes away along a path, dB by octave band.

    Parameters
    ----------
    path_m : float
        Length of the path inside dense foliage, metres.
    rule : Limit
        Of the kind ``foliage_noise``.

    Notes
    -----
    None below 10 m; from 10 to 20 m a total; above that so much a metre; beyond 200 m as at 200 m.

    Examples
    --------
    >>> from screenplan.rules.limits import load_limits
    >>> rule = load_limits()["foliage_noise"]
    >>> foliage_loss(4.0, rule).tolist()  # one row
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    >>> foliage_loss(100.0, rule).round(9).tolist()
    [2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 9.0, 12.0]
    """
    if path_m < rule.from_m:
        return np.zeros(len(rule.bands_hz))
    if path_m <= rule.per_metre_from_m:
        return np.array(rule.total_db)
    return np.array(rule.db_per_m) * min(path_m, rule.at_most_m)


def belt_for(wanted_db: float, rule: FoliageNoise) -> float:
    """Depth of dense foliage that takes away so many dB in the judged band, metres; infinite if none does."""
    band = rule.bands_hz.index(JUDGED_HZ)
    if wanted_db <= 0:
        return 0.0
    if wanted_db <= rule.total_db[band]:
        return rule.from_m
    # Beyond the first range, for there the total holds.
    depth = max(wanted_db / rule.db_per_m[band], math.nextafter(rule.per_metre_from_m, 1e9))
    return depth if depth <= rule.at_most_m * (1 + 1e-12) else math.inf


def follow_noise(
    plants: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Follow the sound from each road to each private place through the row.

    Parameters
    ----------
    plants, private_places, roads : GeoDataFrame
        Layers in the local frame. The source is the nearest point of the road's centre line.
    plan : Options, optional
        Of it [noise] and [growth].

    Returns
    -------
    GeoDataFrame
        By the contract ``noise_paths``.

    Notes
    -----
    The path is counted in plan: over a site, the standard's arc of 5 km radius is longer by less
    than a millimetre. The crowns are those of the last year, typical growth.
    """
    rule = limit_of(limits, FoliageNoise)
    records, shapes = [], []
    if rule is not None and has_rows(private_places) and has_rows(roads):
        stand = planned_stand(plants, plan, species_table)
        foliage = shapely.union_all(stand.crowns(TYPICAL, -1).areas())
        for place, place_id in zip(
            private_places.geometry, identifiers(private_places, "place_id"), strict=True
        ):
            middle = place.representative_point()
            for road, road_id in zip(roads.geometry, identifiers(roads, "road_id"), strict=True):
                path = shapely.shortest_line(road, middle)
                if not path.length > 0:
                    continue
                inside = shapely.intersection(path, foliage).length
                loss = foliage_loss(inside, rule)
                needed = None if plan.noise.wanted is None else belt_for(plan.noise.wanted, rule)
                records.append(
                    {
                        "path_id": f"{road_id} to {place_id}",
                        "road_id": road_id,
                        "place_id": place_id,
                        "length_m": path.length,
                        "foliage_m": inside,
                        "loss_db": loss[rule.bands_hz.index(JUDGED_HZ)],
                        "by_band": ", ".join(
                            f"{band:g} Hz {less:.3g} dB"
                            for band, less in zip(rule.bands_hz, loss, strict=True)
                        ),
                        "belt_m": None if needed is None or math.isinf(needed) else needed,
                        "says": _say(inside, loss, rule, plan.noise.wanted, needed),
                        "rule": rule.key,
                        "source": rule.source,
                    }
                )
                shapes.append(path)
    return layer_of(NOISE_PATHS, records, shapes, plants.crs)


def _say(inside, loss, rule, wanted, needed) -> str:
    if loss.max() <= 0:
        said = f"{NO_REDUCTION}: {{{inside:.1f} m}} of foliage lie on the way, and below {{{rule.from_m:g} m}} the standard counts none"
    else:
        said = (f"{{{inside:.1f} m}} of foliage lie on the way, up to {loss.max():.3g} dB by the standard, "
                "if one cannot see through them")  # fmt: skip
    if wanted is None or needed == 0:
        return said
    if math.isinf(needed):
        return f"{said}; no belt takes {wanted:g} dB at {JUDGED_HZ:g} Hz away: a solid barrier that breaks the line of sight would be needed"
    return f"{said}; {wanted:g} dB at {JUDGED_HZ:g} Hz would need {{{needed:.0f} m}} of dense belt, or a solid barrier that breaks the line of sight"


def judge_noise(noise_paths, plan) -> Finding:
    """Say what foliage takes away of the noise, in honest words."""
    name, wanted_db = "noise", plan.noise.wanted
    if not has_rows(noise_paths):
        return Finding(name, UNKNOWN, "A single row gives no measurable reduction of noise; no road and private place are given",
                       "roads and private places")  # fmt: skip
    best = noise_paths.loc[noise_paths["foliage_m"].idxmax()]
    if wanted_db is None:
        return Finding(name, UNKNOWN, f"{best['says']}; no reduction is asked for", "noise.wanted")
    worst = noise_paths.loc[noise_paths["loss_db"].idxmin()]
    if worst["loss_db"] + 1e-9 >= wanted_db:
        return Finding(name, PASSES, f"{worst['says']}; {wanted_db:g} dB are asked for")
    return Finding(name, FAILS, f"{worst['says']}", "a solid barrier, worked out by the standard")
