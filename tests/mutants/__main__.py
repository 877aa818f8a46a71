"""Change one operator at a time, and count how often the module's own tests notice.

python -m tests.mutants                        300 mutants with the seed of the project
python -m tests.mutants --rooms works site --count 40 --seed 7
"""

from __future__ import annotations

import argparse
import json
import queue
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

from .own import ROOMS, ROOT, modules, own_tests
from .positions import Mutant, draw
from .tree import Tree

COUNT, SEED, WANTED_SHARE = 300, 20261129, 0.85


def main(arguments: list[str] | None = None) -> int:
    """Try the mutants; 1 if fewer are noticed than is wanted."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutants",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--rooms", nargs="+", default=ROOMS, choices=ROOMS)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--log", type=Path, help="a file of results; those in it are not tried again"
    )
    chosen = parser.parse_args(arguments)
    drawn = draw(modules(ROOMS), ROOT, chosen.count, chosen.seed)
    mutants = [mutant for mutant in drawn if Path(mutant.path).parent.name in chosen.rooms]
    known = _known(chosen.log)
    noticed = {mutant: known[mutant] for mutant in mutants if mutant in known}
    left = [mutant for mutant in mutants if mutant not in noticed]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(chosen.jobs) as pool:
        trees: queue.Queue[Tree] = queue.Queue()
        for number in range(chosen.jobs):
            trees.put(Tree(Path(folder) / str(number)))
        usual: dict[tuple[str, ...], float] = {}
        tried = {pool.submit(_try, trees, mutant, usual): mutant for mutant in left}
        for done in as_completed(tried):
            if done.exception() is not None:
                pool.shutdown(wait=False, cancel_futures=True)
                sys.exit(str(done.exception()))
            mutant = tried[done]
            noticed[mutant] = done.result()
            print(
                f"{len(noticed):4d} {'noticed ' if noticed[mutant] else 'SURVIVES'} {mutant}",
                flush=True,
            )
            if chosen.log:
                with chosen.log.open("a", encoding="utf-8") as log:
                    print(
                        json.dumps({"mutant": asdict(mutant), "noticed": noticed[mutant]}), file=log
                    )
    return _report(noticed)


def _try(trees: queue.Queue[Tree], mutant: Mutant, usual: dict[tuple[str, ...], float]) -> bool:
    tests, tree = own_tests(mutant.path), trees.get()
    try:
        if tuple(tests) not in usual:
            usual[tuple(tests)] = _time_unchanged(tree, tests)
        return tree.notices(mutant, tests, usual[tuple(tests)])
    finally:
        trees.put(tree)


def _time_unchanged(tree: Tree, tests: list[str]) -> float:
    """Time some tests without a change, seconds; those that fail then could notice nothing."""
    start = time.perf_counter()
    failure = tree.failure(tests)
    if failure:
        raise RuntimeError(f"These tests fail without a change: {' '.join(tests)}\n{failure}")
    return time.perf_counter() - start


def _known(log: Path | None) -> dict[Mutant, bool]:
    if log is None or not log.exists():
        return {}
    rows = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    return {Mutant(**row["mutant"]): row["noticed"] for row in rows}


def _report(noticed: dict[Mutant, bool]) -> int:
    rooms, seen = Counter(), Counter()
    for mutant, is_seen in noticed.items():
        room = Path(mutant.path).parent.name
        rooms[room] += 1
        seen[room] += is_seen
    for room, count in rooms.items():
        print(f"{room}: {seen[room]} of {count} noticed")
    share = sum(noticed.values()) / max(len(noticed), 1)
    print(
        f"{sum(noticed.values())} of {len(noticed)} noticed, {share:.0%} (wanted {WANTED_SHARE:.0%})"
    )
    return 0 if share >= WANTED_SHARE else 1


if __name__ == "__main__":
    sys.exit(main())
