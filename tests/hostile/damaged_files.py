"""Files that were sound and are damaged: bytes flipped, lost, doubled, moved, or cut off.

Each must be read as if it were sound, read with the loss said, or be refused. A file is neither
changed nor given a new neighbour by it.
"""

from __future__ import annotations

import functools
import json
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import shapely

from screenplan.commandline.outlines import Found, from_corners, from_courses, from_track
from screenplan.plan import Options, read_plan
from screenplan.rules.ruleset import load_rules
from screenplan.site.reading import LayerSource, TerrainSource, read_site

from . import base
from .outcome import Case, FaultError, Outcome, judge, left_alone, share_of

NAME = "files"
#: How many damaged files there are of each kind; 500 in all.
KINDS = {
    "lots.gpkg": 160, "windows.geojson": 100, "lots.zip": 80, "ground.tif": 60, "plan.toml": 30,
    "rules.toml": 15, "corners.csv": 20, "courses.csv": 15, "track.gpx": 20,
}  # fmt: skip
WRITERS = {
    "lots.gpkg": base.write_package,
    "windows.geojson": base.write_geojson,
    "lots.zip": base.write_zip,
    "ground.tif": base.write_ground,
    "plan.toml": base.write_plan,
    "rules.toml": base.write_rules,
    "corners.csv": base.write_corners,
    "courses.csv": base.write_courses,
    "track.gpx": base.write_track,
}
#: What is read of the plan: the subject alone.
ABOUT = Options().about(base.SUBJECT)
#: A block of a file, as a disk or a transfer loses it.
BLOCK = 512


def cases(seed: int, share: float = 1.0) -> Iterator[Case]:
    """Give the damaged files: a kind, and what its damage is drawn from."""
    every = (
        Case(f"{kind} {number}", (kind, (seed, place, number)))
        for place, (kind, count) in enumerate(KINDS.items())
        for number in range(count)
    )
    return share_of(every, share)


def run(case: Case) -> Outcome:
    """Read one damaged file as a plan would."""
    kind, drawn_from = case.what
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / kind).write_bytes(damage(_sound(kind), np.random.default_rng(drawn_from)))
        if kind != "lots.gpkg":
            (folder / "site.gpkg").write_bytes(_sound("lots.gpkg"))
        return judge(lambda: _read_alone(kind, folder))


def _read_alone(kind: str, folder: Path) -> str | None:
    with left_alone(folder):
        return READERS[kind](folder / kind)


@functools.cache
def _sound(kind: str) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / kind
        WRITERS[kind](path)
        return path.read_bytes()


# ---- damage ------------------------------------------------------------------------------------


def damage(sound: bytes, rng: np.random.Generator) -> bytes:
    """Damage a file in one way; the generator chooses which, where and how much."""
    ways = (_flip_few, _flip_many, _flip_head, _cut, _blank, _double, _lose, _swap, _reletter)
    return ways[rng.integers(len(ways))](bytearray(sound), rng)


def _flip(content: bytearray, places, rng) -> bytes:
    for place in places:
        content[place] = rng.integers(256)
    return bytes(content)


def _flip_few(content: bytearray, rng) -> bytes:
    return _flip(content, rng.integers(len(content), size=rng.integers(1, 9)), rng)


def _flip_many(content: bytearray, rng) -> bytes:
    share = 10.0 ** rng.uniform(-4.5, -1.5)
    return _flip(content, rng.integers(len(content), size=int(share * len(content)) + 1), rng)


def _flip_head(content: bytearray, rng) -> bytes:
    """Flip bytes at the beginning, where a file says what it is and where all else lies."""
    reach = min(len(content), 200)
    return _flip(content, rng.integers(reach, size=rng.integers(1, 5)), rng)


def _cut(content: bytearray, rng) -> bytes:
    return bytes(content[: rng.integers(len(content))])


def _stretch(content: bytearray, rng) -> tuple[int, int]:
    start = int(rng.integers(len(content)))
    return start, min(start + int(rng.integers(1, 4 * BLOCK)), len(content))


def _blank(content: bytearray, rng) -> bytes:
    start, end = _stretch(content, rng)
    content[start:end] = bytes(end - start)
    return bytes(content)


def _double(content: bytearray, rng) -> bytes:
    start, end = _stretch(content, rng)
    return bytes(content[:end] + content[start:])


def _lose(content: bytearray, rng) -> bytes:
    start, end = _stretch(content, rng)
    return bytes(content[:start] + content[end:])


def _swap(content: bytearray, rng) -> bytes:
    blocks = [bytes(content[at : at + BLOCK]) for at in range(0, len(content), BLOCK)]
    one, other = rng.integers(len(blocks), size=2)
    blocks[one], blocks[other] = blocks[other], blocks[one]
    return b"".join(blocks)


def _reletter(content: bytearray, rng) -> bytes:
    """Put other letters, digits and signs in the place of some, as a slip of the hand does."""
    places = rng.integers(len(content), size=rng.integers(1, 6))
    for place in places:
        content[place] = b'0123456789.,:;-+eE"{}[]<>/=abcxyzNaN \n'[rng.integers(38)]
    return bytes(content)


# ---- reading -----------------------------------------------------------------------------------


def _read_package(path: Path) -> str:
    sources = {
        "parcels": LayerSource(path, "lots"),
        "buildings": LayerSource(path, "houses"),
        "windows": LayerSource(path, "windows"),
    }
    return _check(read_site(sources, plan=ABOUT), parcels=base.LOTS, windows=base.WINDOWS)  # fmt: skip


def _read_windows(path: Path) -> str:
    sources = _sound_layers(path.parent) | {"windows": LayerSource(path)}
    site = read_site(sources, plan=ABOUT)
    # What was cut out so that a sound text is left, nobody can miss: it holds fewer windows.
    return _check(site, windows=len(json.loads(path.read_bytes())["features"]))


def _read_lots(path: Path) -> str:
    return _check(read_site({"parcels": LayerSource(path)}, plan=ABOUT), parcels=base.LOTS)


def _read_ground(path: Path) -> str:
    site = read_site(_sound_layers(path.parent), plan=ABOUT, terrain=TerrainSource(path))
    heights = site.terrain.z
    if not np.isfinite(heights).all():
        raise FaultError("heights of the ground that are no numbers")
    return _check(site)


def _sound_layers(folder: Path) -> dict[str, LayerSource]:
    package = folder / "site.gpkg"
    return {
        "parcels": LayerSource(package, "lots"),
        "buildings": LayerSource(package, "houses"),
    }


def _check(site, **expected: int) -> str:
    """Hold a site against the sound one: what is missing must be said."""
    said = " ".join([*site.warnings, *site.repairs["repair"]])
    for name, layer in site.layers.items():
        if not np.isfinite(shapely.get_coordinates(layer.geometry.array)).all():
            raise FaultError(f"coordinates of {name} that are no numbers")
    for name, rows in expected.items():
        held = len(site.layers[name])
        if held != rows and not any(word in said for word in SAID):
            raise FaultError(f"{held} of {rows} rows of {name}, and nothing is said of the others")
    return said


#: Words of which one stands in what is said of rows that were not read.
SAID = ("row left out", "can be read", "holds nothing within", "is empty", "announced")


def _read_track(path: Path) -> None:
    _hold(from_track, path)


def _read_corners(path: Path) -> None:
    _hold(from_corners, path, (8.0, 50.0), "m")


def _read_courses(path: Path) -> None:
    _hold(from_courses, path, (8.0, 50.0), "m")


def _hold(work: Callable, path: Path, *more) -> None:
    found = Found()
    work(found, path, *more)
    for name, layer in found.made.items():
        if not np.isfinite(shapely.get_coordinates(layer.geometry.array)).all():
            raise FaultError(f"coordinates of {name} that are no numbers")


READERS: dict[str, Callable[[Path], str | None]] = {
    "lots.gpkg": _read_package,
    "windows.geojson": _read_windows,
    "lots.zip": _read_lots,
    "ground.tif": _read_ground,
    "plan.toml": lambda path: str(read_plan(path)[0].plan.title),
    "rules.toml": lambda path: str(len(load_rules(path))),
    "corners.csv": _read_corners,
    "courses.csv": _read_courses,
    "track.gpx": _read_track,
}
