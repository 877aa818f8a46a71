"""Run hostile inputs: ``python -m tests.hostile [PART ...] [--seed N] [--share X]``."""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

from .cell import run_all
from .corpora import CORPORA, load

#: Faults shown of each corpus.
SHOWN = 20


def main(arguments: list[str] | None = None) -> int:
    """Run the parts that are named, or all; 1 if there is a fault."""
    parser = argparse.ArgumentParser(prog="python -m tests.hostile", description=__doc__)
    parser.add_argument(
        "parts", nargs="*", metavar="PART", help=f"{', '.join(CORPORA)}; all by default"
    )
    parser.add_argument("--seed", type=int, default=1, help="another corpus of the same kind")
    parser.add_argument("--share", type=float, default=1.0, help="0.1 is a fixed tenth")
    parser.add_argument("--show", action="store_true", help="say what came of each case")
    chosen = parser.parse_args(arguments)
    unknown = sorted(set(chosen.parts) - set(CORPORA))
    if unknown or not 0.0 < chosen.share <= 1.0:
        parser.error(f"there is no part {unknown[0]}" if unknown else "a share is from 0 to 1")
    return 1 if sum(_run(part, chosen) for part in chosen.parts or CORPORA) else 0


def _run(part: str, chosen: argparse.Namespace) -> int:
    start, kinds, faults = time.perf_counter(), Counter(), []
    for case, outcome in run_all(part, load(part).cases(chosen.seed, chosen.share)):
        kinds[outcome.kind] += 1
        if outcome.is_fault:
            faults.append(f"  {case.name}: {outcome.said}")
        if chosen.show:
            print(f"{case.name}: {outcome.kind} {outcome.said}")
    print(
        f"{part}: {sum(kinds.values())} cases, {kinds['done']} done, {kinds['refused']} refused, "
        f"{kinds['fault']} faults, {time.perf_counter() - start:.0f} s"
    )
    print(*faults[:SHOWN], sep="\n", end="\n" if faults else "")
    if len(faults) > SHOWN:
        print(f"  and {len(faults) - SHOWN} more")
    return len(faults)


if __name__ == "__main__":
    sys.exit(main())
