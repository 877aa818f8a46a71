"""Whole runs of odd but legal plans: computed and written, or refused with a remedy.

The exit code is what is promised: 0 if every check passes, 1 if one fails, 2 if the plan is refused;
what a run refuses, `check` refuses too. What is written is held against its contracts, and the
folder of the inputs is left as it was.
"""

from __future__ import annotations

import contextlib
import copy
import io
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np

from screenplan.commandline.main import EXIT_FAILS, EXIT_INPUT, main
from screenplan.contracts import HIGHEST_PRICE
from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.errors import InputError
from screenplan.plan import (
    SECTIONS,
    has_lengths,
    is_length,
    is_volume,
    key_choices,
    key_field,
    key_limits,
)
from screenplan.planting.species import load_species
from screenplan.rules.ruleset import load_rules
from screenplan.running.pipeline import run_plan

from . import base, odd_sites
from .outcome import Case, FaultError, Outcome, judge, left_alone, share_of
from .plan_mutants import write
from .written_folder import failing_checks, hold_folder

NAME = "runs"
#: How many runs there are of each kind; 300 in all.
KINDS = {
    "everything": 24, "ends": 86, "species": 50, "outlines": 50, "lengths": 20, "standing": 20, "works": 30, "alternatives": 20,
}  # fmt: skip
#: A run with everything takes half a minute of a busy machine, or more.
LIMIT_S = 900.0

#: Settings with which a run takes little time and misses no step.
CHEAP = {
    "windows": {"spacing": "8 m", "reach": "40 m"},
    "views": {"target_spacing": "3 m", "eyes_across": 2, "needed_step": "4 m", "onlooker_spacing": "15 m"},
    "light": {"step": 240, "cell": "10 m", "reach": "15 m"},
}  # fmt: skip
#: Keys that name something else, or that a generator of its own chooses.
_APART = {
    "plan.title", "subject.id", "subject.point", "subject.assumed", "setbacks.file", "setbacks.rules", "limits.file",
    "limits.rules", "rows.along", "plants.species", "hand.prices", "cost.prices", "cost.hours", "stakeout.measured",
    "calendar.planting", "calendar.request", "calendar.nesting", "alternatives.species", "alternatives.stock",
    "alternatives.stock_heights", "alternatives.spacings", "alternatives.rows", "light.time_zone", "road.drive",
    "road.corner", "lines.wires", "lines.locate", "lines.walls", "health.exposed_to", "windows.derive", "places.derive",
}  # fmt: skip
#: The end of a key's range that takes long: only a tiny site has it.
_DEAR = {
    "rows.spacing": "low", "windows.spacing": "low", "views.target_spacing": "low", "views.needed_step": "low",
    "views.onlooker_spacing": "low", "views.eyes_across": "high", "light.step": "low", "light.days": "high", "light.cell": "low",
    "light.reach": "high", "fence.post_spacing": "low", "growth.years": "high", "places.depth": "high", "windows.reach": "high",
}  # fmt: skip
Content = dict[str, Any]


def cases(seed: int, share: float = 1.0) -> Iterator[Case]:
    """Give the runs: a kind, and what its plan and site are drawn from."""
    every = (
        Case(f"{kind} {number}", (kind, (seed, place, number)))
        for place, (kind, count) in enumerate(KINDS.items())
        for number in range(count)
    )
    return share_of(every, share)


def run(case: Case) -> Outcome:
    """Make the site and the plan of one case, run it, and hold what it wrote."""
    kind, drawn_from = case.what
    with tempfile.TemporaryDirectory() as name:
        folder, out = Path(name) / "in", Path(name) / "out"
        folder.mkdir()
        plan = MAKERS[kind](np.random.default_rng(drawn_from), folder)
        return judge(lambda: run_and_hold(plan, out))


def run_and_hold(plan: Path, out: Path) -> str:
    """Run a plan by the command; raise what is wrong, or the refusal."""
    with left_alone(plan.parent):
        try:
            code = command("run", plan, "--out", out)
        except InputError:
            with _quiet():
                checked = main.main(["check", str(plan)], standalone_mode=False)
            if checked != EXIT_INPUT:
                raise FaultError(f"run refuses what check lets pass ({checked})") from None
            raise
        fails = failing_checks(out)
        if code != (EXIT_FAILS if fails else 0):
            raise FaultError(f"exit code {code} with {len(fails)} checks that fail")
        rows = hold_folder(out)
    return f"{rows['plants']} plants, {rows['views']} views, fails: {', '.join(fails) or 'none'}"


def command(*words: object) -> int:
    """Run a command without its words; give its exit code, and let a refusal and a crash through."""
    with _quiet(), main.make_context("screenplan", [str(word) for word in words]) as context:
        try:
            click.Group.invoke(main, context)
        except click.exceptions.Exit as end:
            return end.exit_code
    return 0


@contextlib.contextmanager
def _quiet():
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        yield


# ---- plans ------------------------------------------------------------------------------------


def _one_of(rng, choices):
    choices = list(choices)
    return choices[rng.integers(len(choices))]


def _choose_sides(rng, folder: Path, content: Content) -> None:
    """Plant along some of the sides that the outline has, or leave that to the library."""
    with contextlib.suppress(InputError):
        sides = run_plan(content, folder, only=["sides"]).layers["sides"]["side_id"]
        count = int(rng.integers(1, min(len(sides), 5) + 1))
        along = sorted(rng.choice(sides.astype(str), size=count, replace=False))
        content.setdefault("rows", {})["along"] = [str(side) for side in along]


def _save(folder: Path, content: Content) -> Path:
    path = folder / "plan.toml"
    path.write_text(write(content), encoding="utf-8")
    return path


def _plan(sections: dict[str, dict], **more: dict) -> Content:
    content = copy.deepcopy(CHEAP)
    content |= {"subject": {"id": odd_sites.SUBJECT}, "layers": sections}
    content["site"] = {"boundary_accuracy": "0.1 m"}
    for section, values in more.items():
        content[section] = content.get(section, {}) | values
    return content


def _site(rng, folder: Path, *, outline: str, system: str = "zone", lit: int | None = 6, more=(), loose=0.2) -> Content:  # fmt: skip
    """Write a site and give a plan of it.

    ``lit`` is the number of windows that are given, none at all for None; ``more`` names further layers;
    ``loose`` is how often most of the shipped rules are switched off, so that there is room.
    """
    shape = odd_sites.OUTLINES[outline](rng)
    homes = odd_sites.houses(rng, shape)
    layers = {
        "parcels": odd_sites.lots(rng, shape),
        "buildings": homes,
        "private_places": odd_sites.places(rng, shape, homes),
    }
    if lit is not None:
        layers["windows"] = odd_sites.windows(rng, lit, homes)
    around = odd_sites.surroundings(rng, shape)
    layers |= {name: around[name] for name in more}
    content = _plan(odd_sites.write_site(layers, folder, system))
    if outline in ("tiny", "needle", "star", "court") or rng.random() < loose:
        off = [
            rule.key for rule in load_rules() if rule.key != "boundary_stem" and rng.random() < 0.9
        ]
        content["setbacks"] = {"rules": {key: {"use": False} for key in off}}
    if outline == "huge":
        content["rows"] = {"spacing": "12 m"}
        content["light"] |= {"cell": "20 m"}
        content["views"] |= {"needed_step": "20 m"}
    return content


def _sloped(rng, folder: Path, content: Content, reach: float = 180.0) -> None:
    odd_sites.write_ground(folder / "ground.tif", rng, reach)
    content["terrain"] = {"file": "ground.tif", "extend": bool(rng.random() < 0.9)}


def _everything(rng, folder: Path) -> Path:
    """All layers, a slope, and every section chosen; the usual settings, which take longer."""
    content = _site(
        rng,
        folder,
        outline=_one_of(rng, ("rectangle", "angle", "tiny", "triangle", "round")),
        system=_one_of(rng, odd_sites.SYSTEMS),
        lit=_one_of(rng, (None, 0, 4, 25)),
        more=[name for name in odd_sites.SURROUNDINGS if rng.random() < 0.85],
        loose=0.8,
    )
    if rng.random() < 0.5:
        del content["layers"]["private_places"]
    _sloped(rng, folder, content)
    for section in CHEAP:
        del content[section]
    stock = _one_of(rng, key_choices("plants.stock"))
    content |= {
        "plan": {"title": 'Größe & "Söhne"; <b>1 = 2</b>', "units": _one_of(rng, ("metric", "us"))},
        "rows": {"spacing": _one_of(rng, ("0.8 m", "1.5 m", "9 ft")), "rows": _one_of(rng, (1, 2))},
        "plants": {"species": _one_of(rng, load_species()), "stock": stock},
        "views": {"leaves": _one_of(rng, key_choices("views.leaves"))},
        "hand": {"plants": int(rng.integers(1, 60)), "budget": 900.0, "prices": {"0.6 m": 18.0, "1.2 m": 42.0}},
        "goal": {"closed_by": int(rng.integers(0, 30)), "share": 0.5},
        "fence": {"scheme": _one_of(rng, ("none", "cages", "outer_side")), "animal": "rabbit", "years": 2},
        "calendar": {"planting": "2027-04-10" if stock == "bare_root" else _one_of(rng, ("2028-02-29", "2027-09-15"))},
        "cost": {"prices": {"plant": 42.0, "mulch": 4.5}, "hours": {"hole": 0.5}, "hour": 30.0},
        "light": {"time_zone": _one_of(rng, ("Europe/Berlin", "Asia/Kathmandu")), "hedge_guidance": True, "most_sun_lost": 0.1,
                  "most_sky_lost": 0.2},
        "lines": {"allowance": "1 m"},
        "boundary": {"most_height": "3 m"},
        "noise": {"wanted": 3.0},
        "health": {"zone": 6, "most_of_one_species": 0.5, "most_of_one_genus": 0.5, "exposed_to": ["browse", "salt"]},
    }  # fmt: skip
    _choose_sides(rng, folder, content)
    return _save(folder, content)


def _end(rng, key: str, *, tiny: bool):
    """Give a key one end of its range, or one of its choices; None if it has neither."""
    if choices := key_choices(key):
        return _one_of(rng, choices)
    if key_field(key).annotation is bool:
        return bool(rng.integers(2))
    limits = key_limits(key)
    low = limits.get("ge", limits.get("gt", -np.inf) * 1.0 + 0.01)
    high = limits.get("le", limits.get("lt", np.inf))
    ends = {"low": low, "high": high}
    if not tiny:
        ends.pop(_DEAR.get(key, ""), None)
    value = _one_of(rng, ends.values())
    if not np.isfinite(value) or has_lengths(key):
        return None
    if is_length(key):
        return f"{value} m"
    if is_volume(key):
        return f"{value} m3"
    return int(value) if "int" in str(key_field(key).annotation) else float(value)


def _ends(rng, folder: Path) -> Path:
    """Keys at the ends of their ranges, one to twelve at a time."""
    tiny = bool(rng.random() < 0.5)
    content = _site(
        rng,
        folder,
        outline="tiny" if tiny else _one_of(rng, ("rectangle", "angle")),
        lit=_one_of(rng, (None, 1, 2)) if tiny else _one_of(rng, (None, 6)),
        more=[name for name in odd_sites.SURROUNDINGS if rng.random() < 0.3],
    )
    if rng.random() < 0.3:
        _sloped(rng, folder, content)
    _choose_sides(rng, folder, content)
    keys = [
        f"{section}.{name}" for section, model in SECTIONS.items() for name in model.model_fields
    ]
    keys = [key for key in keys if key not in _APART]
    for key in rng.choice(keys, size=rng.integers(1, 13), replace=False):
        value = _end(rng, str(key), tiny=tiny)
        section, name = str(key).split(".")
        if key in ("views.report_years", "growth.show_years"):
            value = _one_of(rng, ([0], [0, 1], [1, 0, 1], [100], list(range(31))))
        if value is not None:
            content.setdefault(section, {})[name] = value
    return _save(folder, content)


def _own_species(rng) -> dict[str, Any]:
    """A species of the user's own in one of the shapes that there are, clipped or not."""
    shape = _one_of(rng, tuple(SHAPES))
    tall = float(rng.choice([1.0, 5.0, 40.0]))
    own = {
        "like": _one_of(rng, load_species()),
        "shape": shape,
        "mature_height": [f"{tall} m", f"{1.2 * tall:g} m"],
        "growth_class": _one_of(rng, ("slow", "moderate", "rapid")),
        "establishment_years": float(rng.choice([0.0, 2.0, 5.0])),
        "winter_share": float(rng.choice([0.0, 0.5, 1.0])),
        "clear_stem_share": float(rng.choice([0.0, 0.3, 0.9])),
        "clear_stem": str(rng.choice(["0 m", "1 m"])),
    }
    if shape == "box":
        own |= {"kept_height": str(rng.choice(["0.5 m", "2 m", "4 m"])), "kept_width": str(rng.choice(["0.2 m", "0.6 m", "3 m"]))}  # fmt: skip
    return own


def _species(rng, folder: Path) -> Path:
    """Each species and shapes of the user's own, clipped hedges among them, in one row or two."""
    content = _site(
        rng,
        folder,
        outline=_one_of(rng, ("rectangle", "triangle", "angle", "slit")),
        lit=_one_of(rng, (None, 6, 20)),
        more=["onlookers"] if rng.random() < 0.3 else [],
    )
    if rng.random() < 0.4:
        _sloped(rng, folder, content)
    if rng.random() < 0.5:
        content["species"] = {"own": _own_species(rng)}
    content["rows"] = {
        "rows": _one_of(rng, (1, 2)),
        "spacing": str(_one_of(rng, ("0.3 m", "0.9 m", "1.5 m", "12 ft"))),
        "fit": _one_of(rng, key_choices("rows.fit")),
        "move": _one_of(rng, ("0 m", "0.4 m")),
    }
    content["plants"] = {"species": "own" if "species" in content else _one_of(rng, load_species())}
    content["plants"] |= {"stock": _one_of(rng, key_choices("plants.stock"))}
    if rng.random() < 0.4:
        content["plants"]["stock_height"] = _one_of(rng, ("0.1 m", "0.5 m", "2 m", "6 m"))
    content["views"] |= {"leaves": _one_of(rng, key_choices("views.leaves"))}
    content["growth"] = {"curve": _one_of(rng, key_choices("growth.curve"))}
    _choose_sides(rng, folder, content)
    return _save(folder, content)


def _outlines(rng, folder: Path) -> Path:
    """Outlines of all kinds, in every system, level and sloped, without windows and with many."""
    content = _site(
        rng,
        folder,
        outline=_one_of(rng, odd_sites.OUTLINES),
        system=_one_of(rng, odd_sites.SYSTEMS),
        lit=_one_of(rng, (None, 0, 3, 120)),
        more=["keep_outs", "roads"] if rng.random() < 0.4 else [],
    )
    if rng.random() < 0.4:
        _sloped(rng, folder, content, 600.0 if rng.random() < 0.3 else 180.0)
    if rng.random() < 0.3:
        content["windows"] |= {"derive": False}
    if rng.random() < 0.3:
        del content["layers"]["private_places"]
        content["places"] = {"derive": bool(rng.random() < 0.7)}
    if rng.random() < 0.8:
        _choose_sides(rng, folder, content)
    content["plan"] = {"units": _one_of(rng, ("metric", "us"))}
    content["site"] = {"boundary_accuracy": _one_of(rng, ("0 m", "0.3 m", "1 m"))}
    return _save(folder, content)


def _lengths(rng, folder: Path) -> Path:
    """Plans that know only how long the row is, or a line that was walked."""
    path = folder / "plan.toml"
    words = ["--us"] if rng.random() < 0.5 else []
    if rng.random() < 0.3:
        words += [
            "--at",
            _one_of(rng, (9.0, -74.0, 179.99999)),
            _one_of(rng, (50.0, -33.0, 0.0, 69.0)),
        ]
        words += ["--bearing", _one_of(rng, (0, 90, 359.9))]
    if rng.random() < 0.25:
        track = folder / "walked.gpx"
        base.write_track(track)
        points = track.read_text(encoding="utf-8").splitlines()
        track.write_text("\n".join(points[:2] + points[2 : 2 + int(rng.integers(2, 4))] + points[-2:]), encoding="utf-8")  # fmt: skip
        words = ["--track", track]
    else:
        words += ["--length", _one_of(rng, ("3 m", "12.5 m", "120 ft", "66' 3\"", "400 m"))]
    code = command("start", path, *words)
    if code:
        raise AssertionError(f"start ends with {code}: {words}")
    values = {"rows.spacing": _one_of(rng, ("0.5 m", "1.5 m", "8 ft")), "rows.rows": _one_of(rng, (1, 2)), "plants.species": _one_of(rng, load_species())}  # fmt: skip
    text = path.read_text(encoding="utf-8")
    for key, value in values.items():
        text = _set_line(text, key, value)
    path.write_text(text, encoding="utf-8")
    return path


def _set_line(text: str, key: str, value) -> str:
    """Choose a value in the commented plan, as a person would."""
    section, name = key.split(".")
    lines, at = text.splitlines(), None
    for number, line in enumerate(lines):
        if line.startswith("["):
            at = line.strip("[]")
        bare = line.removeprefix("# ")
        if at == section and bare.startswith(f"{name} ="):
            lines[number] = f"{name} = {value!r}".replace("'", '"')
    if f"[{section}]" not in lines:  # a plan that holds only what was said
        lines += [f"[{section}]", f"{name} = {value!r}".replace("'", '"')]
    elif not any(line.startswith(f"{name} =") for line in lines):
        lines.insert(lines.index(f"[{section}]") + 1, f"{name} = {value!r}".replace("'", '"'))
    return "\n".join(lines) + "\n"


def _standing(rng, folder: Path) -> Path:
    """Rows, hedges and trees that stand already, and a line that the person drew."""
    more = ["existing_screens", *(name for name in ("keep_outs", "marks", "planting_line") if rng.random() < 0.5)]  # fmt: skip
    content = _site(rng, folder, outline=_one_of(rng, ("rectangle", "angle", "wavy")), more=more)
    content["rows"] = {
        "spacing": _one_of(rng, ("0.6 m", "1.5 m", "3 m")),
        "fill_existing": bool(rng.random() < 0.7),
        "fit": _one_of(rng, key_choices("rows.fit")),
    }
    if rng.random() < 0.7:
        _choose_sides(rng, folder, content)
    return _save(folder, content)


def _works(rng, folder: Path) -> Path:
    """Fences, stake-outs, budgets, calendars and costs."""
    more = [name for name in ("utilities", "keep_outs", "marks", "roads") if rng.random() < 0.6]
    content = _site(rng, folder, outline=_one_of(rng, ("rectangle", "angle", "star", "court", "tiny")), more=more)  # fmt: skip
    if rng.random() < 0.4:
        _sloped(rng, folder, content)
    stock = _one_of(rng, key_choices("plants.stock"))
    content |= {
        "rows": {"rows": _one_of(rng, (1, 2))},
        "plants": {"stock": stock, "species": _one_of(rng, load_species())},
        "fence": {
            "scheme": _one_of(rng, key_choices("fence.scheme")),
            "animal": _one_of(rng, key_choices("fence.animal")),
            "gates": _one_of(rng, (0, 1, 10)),
            "years": _one_of(rng, (1, 3, 20)),
        },
        "stakeout": {"tape": _one_of(rng, ("5 m", "30 m", "200 m"))},
        "works": {"mulch": _one_of(rng, key_choices("works.mulch")), "losses": _one_of(rng, (0.0, 0.1, 1.0))},
        "hand": {"plants": _one_of(rng, (1, 7, 1_000_000))},
        "calendar": {"planting": _one_of(rng, ("2027-04-10", "2028-02-29", "2027-09-30", "2024-11-01", "2049-12-31"))},
        "cost": {"prices": {"plant": _one_of(rng, (0.0, 42.0, HIGHEST_PRICE))}, "hours": {"hole": 0.5}, "hour": 30.0},
    }  # fmt: skip
    if rng.random() < 0.5:
        content["hand"] |= {"budget": _one_of(rng, (0.01, 900.0, 1e9)), "prices": {"0.6 m": 18.0, "1.2 m": 42.0}}  # fmt: skip
    _choose_sides(rng, folder, content)
    if stock == "balled" and rng.random() < 0.5:
        content["works"]["caliper"] = "30 mm"
    return _save(folder, content)


def _alternatives(rng, folder: Path) -> Path:
    """Plans that are compared with others."""
    content = _site(rng, folder, outline=_one_of(rng, ("rectangle", "triangle")), lit=3)
    lists = {
        "species": [str(name) for name in rng.choice(list(load_species()), size=2, replace=False)],
        "spacings": ["0.9 m", "2.4 m"],
        "stock": ["plug", "balled"],
        "stock_heights": ["0.3 m", "2 m"],
        "rows": [1, 2],
    }
    _choose_sides(rng, folder, content)
    asked = rng.choice(list(lists), size=rng.integers(1, 3), replace=False)
    content["alternatives"] = {str(name): lists[str(name)] for name in asked}
    if rng.random() < 0.5:
        content["hand"] = {"budget": 500.0, "prices": {"0.6 m": 18.0, "1.2 m": 42.0}}
        content["cost"] = {"prices": {"plant": 30.0}}
    return _save(folder, content)


MAKERS = {
    "everything": _everything,
    "ends": _ends,
    "species": _species,
    "outlines": _outlines,
    "lengths": _lengths,
    "standing": _standing,
    "works": _works,
    "alternatives": _alternatives,
}
