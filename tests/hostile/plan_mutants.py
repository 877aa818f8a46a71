"""Plan files that were sound and are changed in one place, as slips of the hand and of programs do.

Each is read and checked: it is a plan still, or it is refused with its key and a remedy. What must
be refused, such as a key that there is none of, is not let pass in silence.
"""

from __future__ import annotations

import contextlib
import copy
import functools
import io
import math
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from screenplan.commandline.checking import check_plan_file
from screenplan.ground.errors import InputError
from screenplan.plan import SECTIONS, read_plan
from screenplan.plan.text import default_text, toml_value

from . import base, damaged_files
from .outcome import Case, FaultError, Outcome, judge, left_alone, share_of

NAME = "plans"
#: How many mutants there are of each kind; 2,000 in all.
KINDS = {
    "sound": 1, "removed": 249, "doubled": 100, "misspelt": 200, "retyped": 350, "huge": 200, "negative": 150, "not a number": 100,
    "reunited": 200, "bytes": 200, "nested": 100, "unicode": 150,
}  # fmt: skip
#: Kinds that cannot be meant, whichever key they befall.
MUST_BE_REFUSED = ("doubled", "misspelt", "nested", "not a number")

#: Values of keys that have no default.
CHOSEN = {
    "subject": {"id": base.SUBJECT},
    "plan": {"title": "A row along the north"},
    "site": {"height": "400 m"},
    "rows": {"along": ["north"], "offset": "4 m", "row_distance": "1.2 m"},
    "plants": {"stock_height": "1 m"},
    "hand": {"plants": 20, "budget": 900.0, "prices": {"0.6 m": 18.0, "1.2 m": 42.0}},
    "goal": {"closed_by": 10},
    "setbacks": {"hole": "0.6 m", "rules": {"boundary_stem": {"distance": "1 m"}, "gate": {"use": False}}},
    "limits": {"rules": {"locate_24in": {"margin": "0.7 m"}}},
    "stakeout": {"measured": [["A", "B", "12.35 m"]]},
    "works": {"caliper": "30 mm"},
    "fence": {"height": "2.1 m", "years": 5, "cage": "1 m"},
    "calendar": {"planting": "2027-04-10"},
    "cost": {"prices": {"plant": 42.0}, "hours": {"hole": 0.5}, "hour": 30.0},
    "alternatives": {"species": ["ilex_opaca"], "spacings": ["1.2 m"], "stock_heights": ["0.8 m"]},
    "light": {"most_sun_lost": 0.2, "most_sky_lost": 0.2},
    "lines": {"allowance": "1 m"},
    "boundary": {"most_height": "6 m"},
    "noise": {"wanted": 3.0},
    "health": {"zone": 6, "most_of_one_species": 1.0, "most_of_one_genus": 1.0, "exposed_to": ["browse"]},
}  # fmt: skip
LAYERS = {
    "parcels": {"file": "site.gpkg", "layer": "lots", "columns": {"parcel_id": "parcel_id"}},
    "buildings": {
        "file": "site.gpkg", "layer": "houses", "units": {"height_m": "m"}, "fixed": {"storeys": 2},
    },
    "windows": {"file": "site.gpkg", "layer": "windows"},
}  # fmt: skip
SPECIES = {
    "own": {
        "like": "thuja_occidentalis",
        "mature_height": ["4 m", "5 m"],
        "growth_class": "slow",
        "leaf_density": [1.0, 3.0],
    },
}

Content = dict[str, Any]
Path_ = tuple[str, ...]


def cases(seed: int, share: float = 1.0) -> Iterator[Case]:
    """Give the mutants: a kind, and what its change is drawn from."""
    every = (
        Case(f"{kind} {number}", (kind, (seed, place, number)))
        for place, (kind, count) in enumerate(KINDS.items())
        for number in range(count)
    )
    return share_of(every, share)


def run(case: Case) -> Outcome:
    """Read and check one mutant."""
    kind, drawn_from = case.what
    text = mutant(kind, np.random.default_rng(drawn_from))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "site.gpkg").write_bytes(_package())
        plan = folder / "plan.toml"
        plan.write_bytes(text)
        outcome = judge(lambda: check(plan))
    if outcome.kind == "refused" and kind == "sound":  # every mutant would be refused for its fault
        return Outcome("fault", f"the plan that is changed is not sound: {outcome.said}")
    if outcome.kind == "done" and kind in MUST_BE_REFUSED:
        return Outcome("fault", f"passed in silence: {_changed(text)}")
    return outcome


def check(plan: Path) -> None:
    """Read a plan and check it as the command does; hold what is refused and what is read."""
    with left_alone(plan.parent):
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                check_plan_file(str(plan), as_json=True)
            _hold_finite(read_plan(plan)[0].model_dump())
        except InputError as error:
            for problem in error.problems:
                if problem.key is None and problem.file is None:
                    raise FaultError(
                        f"a refusal that names neither key nor file: {problem}"
                    ) from None
            raise


def _hold_finite(value: Any) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise FaultError("a plan that holds a number that is none")
    if isinstance(value, Mapping):
        value = list(value.values())
    if isinstance(value, (list, tuple)):
        for entry in value:
            _hold_finite(entry)


@functools.cache
def _package() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "site.gpkg"
        base.write_package(path)
        return path.read_bytes()


@functools.cache
def _sound() -> Content:
    content: Content = {"layers": LAYERS, "species": SPECIES}
    for section, model in SECTIONS.items():
        defaults = {name: default_text(f"{section}.{name}") for name in model.model_fields}
        read = {name: tomllib.loads(f"v = {text}")["v"] for name, text in defaults.items() if text}
        content[section] = read | CHOSEN.get(section, {})
    return content


def sound() -> Content:
    """A plan in which every key has a value, but for files of rules."""
    return copy.deepcopy(_sound())


def write(content: Content) -> str:
    """Write a plan as TOML, a line for each key."""
    return "".join(
        f"[{toml_value(section)}]\n"
        + "".join(f"{toml_value(name)} = {toml_value(value)}\n" for name, value in table.items())
        if isinstance(table, Mapping)
        else f"{toml_value(section)} = {toml_value(table)}\n"
        for section, table in sorted(content.items(), key=lambda item: isinstance(item[1], Mapping))
    )


def _changed(text: bytes) -> str:
    """The lines of a mutant that the sound plan lacks."""
    lines = set(write(sound()).splitlines())
    return " | ".join(
        line for line in text.decode("utf-8", "replace").splitlines() if line not in lines
    )[:300]


# ---- mutants -----------------------------------------------------------------------------------


def mutant(kind: str, rng: np.random.Generator) -> bytes:
    """Change the sound plan in one place; the generator chooses where and how."""
    return MUTATIONS[kind](rng)


def _paths(content: Any, at: Path_ = ()) -> Iterator[tuple[Path_, Any]]:
    if isinstance(content, Mapping):
        for name, value in content.items():
            yield (*at, name), value
            yield from _paths(value, (*at, name))


def _pick(content: Content, rng, wanted=lambda _: True) -> Path_:
    paths = [path for path, value in _paths(content) if wanted(value)]
    return paths[rng.integers(len(paths))]


def _table(content: Content, path: Path_) -> Content:
    for name in path[:-1]:
        content = content[name]
    return content


def _put(content: Content, path: Path_, value: Any) -> bytes:
    _table(content, path)[path[-1]] = value
    return write(content).encode()


def _is_amount(value: Any) -> bool:
    return (isinstance(value, (int, float)) and not isinstance(value, bool)) or _is_measure(value)


def _is_measure(value: Any) -> bool:
    return isinstance(value, str) and value[:1].isdigit() and " " in value


def _one_of(rng, values) -> Any:
    return values[rng.integers(len(values))]


def _removed(rng) -> bytes:
    content = sound()
    for _ in range(rng.integers(1, 4)):
        path = _pick(content, rng)
        del _table(content, path)[path[-1]]
    return write(content).encode()


def _doubled(rng) -> bytes:
    lines = write(sound()).splitlines()
    # An empty table may stand nowhere twice either.
    places = [place for place, line in enumerate(lines) if line]
    place = _one_of(rng, places)
    if lines[place].startswith("["):
        return "\n".join([*lines, lines[place]]).encode()
    return "\n".join([*lines[: place + 1], *lines[place:]]).encode()


def _misspelt(rng) -> bytes:
    content = sound()
    # Names in these tables are the person's own.
    own = (("species",), ("hand", "prices"), ("cost", "prices"), ("cost", "hours"))
    paths = [path for path, _ in _paths(content) if path[:-1] not in own]
    path = paths[rng.integers(len(paths))]
    table, name = _table(content, path), path[-1]
    table[_misspell(name, rng)] = table.pop(name)
    return write(content).encode()


def _misspell(name: str, rng) -> str:
    place = int(rng.integers(len(name)))
    return _one_of(
        rng,
        (
            name[:place] + name[place + 1 :] or "x",
            name[:place] + name[place] + name[place:],
            name[:place] + "q" + name[place + 1 :],
            name.upper(),
            f"{name} ",
            f"{name}_m2",
            name * 60,
        ),
    )


#: Values that a program, a copy or a slip may leave for any other.
OTHERS: tuple[Any, ...] = (
    True, False, 0, 1, 3, -1, 2.5, 1e-300, "", " ", "yes", "none", "1.5", "1.5 m", "5 ft", "five", "2027-02-30",
    [], [[]], [""], ["north", "north"], [1, "a"], ["x"] * 500, {}, {"a": 1}, {"a": {"b": {}}}, [{}], "x" * 5000,
    "../../etc", "a\nb", "a\tb", "=1+1", "%s%n", "{0.__class__}", "${HOME}", "null", "1,5 m", "1.5. m", "5 m 3 ft",
)  # fmt: skip


def _retyped(rng) -> bytes:
    content = sound()
    path = _pick(content, rng)
    if rng.random() < 0.1:
        text = write(content)
        name = f"{toml_value(path[-1])} = "
        date = _one_of(rng, ("2027-04-10", "07:32:00", "1979-05-27T07:32:00Z", "0x7f", "0o17", "1_000"))  # fmt: skip
        lines = [f"{name}{date}" if line.startswith(name) else line for line in text.splitlines()]
        return "\n".join(lines).encode()
    return _put(content, path, _one_of(rng, OTHERS))


def _huge(rng) -> bytes:
    content = sound()
    path = _pick(content, rng, _is_amount)
    was = _table(content, path)[path[-1]]
    digits = _one_of(rng, ("9" * 12, "9" * 40, "9" * 320, "9" * 5000, "1e30", "1e300", "1.8e308"))
    if _is_measure(was):
        unit = was.partition(" ")[2]
        return _put(content, path, f"{digits} {_one_of(rng, (unit, 'km'))}")
    mark = "HUGE"
    return _put(content, path, mark).replace(b'"HUGE"', digits.encode())


def _negative(rng) -> bytes:
    content = sound()
    path = _pick(content, rng, _is_amount)
    was = _table(content, path)[path[-1]]
    return _put(content, path, f"-{was}" if isinstance(was, str) else -was - 1)


def _not_a_number(rng) -> bytes:
    content = sound()
    path = _pick(content, rng, lambda value: not isinstance(value, (Mapping, str)) or _is_measure(value))  # fmt: skip
    was = _table(content, path)[path[-1]]
    word = _one_of(rng, ("nan", "inf", "-inf", "+nan"))
    if isinstance(was, str):
        return _put(content, path, f"{word} m")
    return _put(content, path, "NONE").replace(b'"NONE"', word.encode())


def _reunited(rng) -> bytes:
    """Write a measure in another unit, in none, or as a plain number."""
    content = sound()
    path = _pick(content, rng, _is_measure)
    number, _, unit = _table(content, path)[path[-1]].partition(" ")
    other = _one_of(
        rng,
        (
            f"{number} km", f"{number} mm", f"{number} ft", f"{number} in", f"{number} survey_foot", f"{number} kg",
            f"{number} s", f"{number} °", f"{number}{unit}", number, float(number), f"{number} m m", f"{number} m2",
            f"{unit} {number}", f"{number}'", f"{number}' 6\"", f"{number} l", f"{number} cu ft", f"{number} parsec",
        ),
    )  # fmt: skip
    return _put(content, path, other)


def _bytes(rng) -> bytes:
    return damaged_files.damage(write(sound()).encode(), rng)


def _nested(rng) -> bytes:
    content = sound()
    path = _pick(content, rng)
    depth = int(_one_of(rng, (9, 12, 40, 150, 400, 900, 3000)))
    left, right = _one_of(rng, (("[", "]"), ("{ a = ", " }")))
    deep = left * depth + "1" + right * depth
    return _put(content, path, "DEEP").replace(b'"DEEP"', deep.encode())


#: Letters that look like others, turn the writing round, are none, or have no width.
LETTERS = (
    "\u202e", "\u200b", "\ufeff", "\u0000", "\u0007", "\u001b[2J", "\u2028", "\u0301" * 40, "\U0001f333", "ﷺ", "ß", "İ",
    "\ue000", "\U0010ffff", "\u00a0", "𝟏.𝟓 m", "１.５ m", "1.5\u00a0m", "−1 m", "½ m", "1٫5 m", "Größe & Söhne", "\\", '"',
)  # fmt: skip


def _unicode(rng) -> bytes:
    content = sound()
    path = _pick(content, rng, lambda value: isinstance(value, str))
    letter = _one_of(rng, LETTERS)
    if rng.random() < 0.25:
        table = _table(content, path)
        table[path[-1] + letter] = table.pop(path[-1])
        return write(content).encode()
    was = _table(content, path)[path[-1]]
    return _put(content, path, _one_of(rng, (letter, was + letter, letter + was)))


MUTATIONS = {
    "sound": lambda _: write(sound()).encode(),
    "removed": _removed,
    "doubled": _doubled,
    "misspelt": _misspelt,
    "retyped": _retyped,
    "huge": _huge,
    "negative": _negative,
    "not a number": _not_a_number,
    "reunited": _reunited,
    "bytes": _bytes,
    "nested": _nested,
    "unicode": _unicode,
}
