"""Fit the figures of plants: ``python -m tests.fitting PATH_TO_DATA [--write]``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from screenplan.planting import curves

from .coverage import leave_one_region_out, summary
from .figures import PROFILE_SOURCE, Fitting, read_kinds
from .heights import Fit, Spread, interval, interval_score, planted_spread
from .output import HEAD, POINTS_HEAD, as_toml
from .points import all_points
from .reading import Data, read_data
from .rows import all_rows

ROOT = Path(__file__).parents[2]
FIGURES = ROOT / "screenplan/planting/measured.toml"
ROWS = Path(__file__).parent / "rows.toml"
POINTS = Path(__file__).parent / "points.toml"
#: Ways to share a spread between A and k. The one with the best interval score on every second region
#: left out is `SHARE_OF_ASYMPTOTE` and `SHARE_OF_RATE` in `screenplan.planting.curves`; the other regions judge.
PAIRS = ((0.5, 0.5), (0.7, 0.3), (1.0, 0.0), (1.0, 0.3), (1.0, 0.5), (1.0, 0.7))


def work_out(data: Data, kinds: dict) -> tuple[str, str, pd.DataFrame, Fitting]:
    """Fit all; texts of the figures and of the tests' rows, and the trees foretold."""
    fitting = Fitting(data, kinds)
    found = leave_one_region_out(fitting.street, fitting.starts)
    held = {key: round(value, 3) for key, value in summary(found).items()}
    judged = {k: round(v, 3) for k, v in summary(chosen_and_judged(found)[1]).items()}
    figures = {
        "about": {
            "sources": [
                "McPherson, van Doorn and Peper 2016, Urban tree database, doi 10.2737/RDS-2016-0005",
                "Falster et al. 2015, Biomass and allometry database: Brown 1978, Claveau et al. 2002",
                "Carmean, Hahn and Jacobs 1989, GTR NC-128; Kurucz 1985; Nigh 2000",
                PROFILE_SOURCE,
            ],
            "spread_reached_at_share_of_height": round(fitting.reach(), 3),
            "site_m_at_50": {leaf: round(top, 2) for leaf, top in fitting.sites.items()},
            "left_out_by_region": held,
            "left_out_regions_that_judge": judged,
            "stems": fitting.stems(),
        },
        "kinds": fitting.all_kinds(),
    }
    return HEAD + "\n" + as_toml(figures), as_toml(all_rows(fitting, found)), found, fitting


def chosen_and_judged(found: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Trees of every second region, which the shares are chosen on, and of the others, which judge."""
    regions = sorted(set(found["region"]))
    chosen = found["region"].isin(regions[::2])
    return found[chosen], found[~chosen]


def shares_tried(found: pd.DataFrame, start_log_sd: float) -> dict[tuple[float, float], float]:
    """Interval score of each pair on the regions left out."""
    before = curves.SHARE_OF_ASYMPTOTE, curves.SHARE_OF_RATE
    figures = ["asymptote_m", "rate", "exponent", "start_m", "log_sd"]
    made = {}
    try:
        for pair in PAIRS:
            curves.SHARE_OF_ASYMPTOTE, curves.SHARE_OF_RATE = pair
            scores = []
            for (top, rate, m, start, log_sd), own in found.groupby(figures):
                fit = Fit(curves.HeightCurve(top, rate, m), start, 0, (), (0.0, 0.0), "", 0.0)
                ends = interval(fit, Spread(0.0, log_sd), own["age"], start_log_sd)
                scores.append(interval_score(own["h"], *ends))
            made[pair] = round(float(np.mean(np.concatenate(scores))), 4)
    finally:
        curves.SHARE_OF_ASYMPTOTE, curves.SHARE_OF_RATE = before
    return made


def _print(found: pd.DataFrame, fitting: Fitting) -> None:
    chosen, judged = chosen_and_judged(found)
    print(
        "interval score by shares of A and k:", shares_tried(chosen, planted_spread(fitting.street))
    )
    print("the regions that judge:", {key: round(v, 3) for key, v in summary(judged).items()})
    for key, value in summary(found).items():
        print(f"{key:24} {value:.3f}")
    inside = (found["h"] >= found["low"]) & (found["h"] <= found["high"])
    table = found.assign(inside=inside).groupby(["by", "name"])
    for (by, name), of in table:
        few = "" if len(of) >= 40 else "  (n below 40: shown, not judged)"
        print(f"{by:10}{name:42}{len(of):5d}{of['inside'].mean():7.2f}{few}")


def main(arguments: list[str] | None = None) -> int:
    """Fit, and compare with the checked-in figures or write them; 1 if they differ."""
    parser = argparse.ArgumentParser(prog="python -m tests.fitting", description=__doc__)
    parser.add_argument("path", type=Path, help="the folder of the open data")
    parser.add_argument("--write", action="store_true", help="write the figures and the rows")
    chosen = parser.parse_args(arguments)
    if not (chosen.path / "utd").is_dir():
        parser.error(f"{chosen.path} is not the folder of the data: it has no folder utd")
    figures, rows, found, fitting = work_out(read_data(chosen.path), read_kinds())
    points = POINTS_HEAD + "\n" + as_toml(all_points(fitting))
    _print(found, fitting)
    texts = {FIGURES: figures, ROWS: rows, POINTS: points}
    if chosen.write:
        for path, text in texts.items():
            path.write_text(text, encoding="utf-8")
        return 0
    same = all(
        path.exists() and path.read_text(encoding="utf-8") == text for path, text in texts.items()
    )
    print("the checked-in figures are these" if same else "the checked-in figures differ")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
