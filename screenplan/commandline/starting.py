"""``screenplan start``: from what a person has to a plan file.

A person with layers gets a plan that names them; a person with a track, corners, courses or just
a length gets a small layer made of it beside the plan, and a list of what cannot be judged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd

from screenplan.commandline.gathering import Given, beside, gather, name_ids, split_systems
from screenplan.commandline.guessing import Ask
from screenplan.commandline.outlines import Found
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.said import in_units
from screenplan.ground.units import format_length, units_of
from screenplan.plan import check_plan
from screenplan.plan.text import plan_text, short_text
from screenplan.running.inputs import read_inputs
from screenplan.site.sides import find_sides

#: What cannot be judged without a layer.
_WITHOUT = {
    "parcels": "the boundary: setbacks, crowns over the boundary, which houses are the neighbours', sun and light",
    "buildings": "views: without buildings no window can be derived, and nothing stands in the way of a look",
    "utilities": "buried and overhead lines: none is given, which does not mean that there are none",
    "keep_outs": "drives, gates, septic fields and easements: none is given, so none is kept clear. "
    "Give them with --layer keep_outs=FILE; its column kind says which: driveway, gate, septic_field, easement, …",
    "roads": "sight at the road, and which side of the house is the garden side",
    "existing_screens": "trees and walls that stand already",
    "terrain": "slopes: the site is taken as flat",
}


@dataclass(frozen=True)
class Started:
    """A plan file that was written.

    Parameters
    ----------
    said : list of str
        What was done and what cannot be judged, a line each.
    problems : tuple of Problem
        What must be mended in the plan file before its layers can be read.
    """

    said: list[str]
    problems: tuple[Problem, ...] = ()


def check_target(target: str | Path, force: bool) -> Path:
    """Give the path of a plan file that can be written; refused if it cannot be."""
    target = Path(target)
    if target.suffix.lower() != ".toml":
        raise refuse(
            f"{target.name} does not end in .toml",
            "Give the plan file a name such as hedge.toml",
            file=str(target),
        )
    if target.exists() and not force:
        raise refuse(
            "there is such a file already",
            "Choose another name, or add --force to replace it",
            file=str(target),
        )
    if not target.parent.is_dir():
        raise refuse("its folder does not exist", "Make the folder first", file=str(target))
    return target


def start_plan(
    target: str | Path,
    given: Given,
    *,
    us: bool = False,
    force: bool = False,
    ask: Ask | None = None,
) -> Started:
    """Write a commented plan file, and a layer beside it where one had to be made.

    ``ask`` asks the person which of two columns is meant; without it that is to be mended in the file.

    Returns
    -------
    Started
        What was done, and what is to be mended in the file.

    Raises
    ------
    InputError
        If an input cannot be used; nothing is written then.
    """
    target = check_target(target, force)
    # Who measures in feet reads feet.
    us = us or units_of(given.length or f"1 {given.unit}") == "us"
    terrain, found = given.terrain, gather(target, given, ask, us=us)
    if given.id_column is not None:
        name_ids(found, target, given.id_column)
    known = [
        *found.layers,
        *(["terrain"] if terrain else []),
        *(["parcels"] if given.corners else []),
    ]
    crs = split_systems(given.systems, known)
    for name in found.layers:
        found.layers[name]["crs"] = crs.get(name, found.layers[name].get("crs"))
    found.chosen.setdefault("plan", {})["title"] = target.stem.replace("_", " ")
    if us:
        found.chosen["plan"]["units"] = "us"
    if given.subject_id is not None:
        found.chosen.setdefault("subject", {})["id"] = given.subject_id
    if given.point:
        found.chosen.setdefault("subject", {})["point"] = list(given.point)

    made = target.with_name(f"{target.stem}_outline.gpkg")
    for name in found.made:
        found.layers[name] = {"file": made.name, "layer": name}
    if not found.tape and not {"parcels", "planting_line"} & set(found.layers):
        raise refuse(
            "there is no parcel and no row",
            "Give --layer parcels=FILE, --corners, --courses, --track or --length",
            file=str(target),
        )
    missing = [
        text
        for name, text in (_WITHOUT | _without_by_tape(found.tape)).items()
        if text and name not in found.layers and not (name == "terrain" and terrain)
    ]
    ground = {"file": beside(terrain, target)} if terrain else None
    if ground and "terrain" in crs:
        ground["crs"] = crs["terrain"]

    is_made = _write_made(found.made, made, force)
    try:
        sides, problems = _choose_side(found, target, ground, us)
        if found.tape:
            text = _taped_text(found, ground)
            target.write_text(text, encoding="utf-8")
            return _tell(target, None, found, missing, problems, us)
        notes = found.notes | {"rows.along": sides} | _leave_choice(found)
        rounded = ", in feet a round figure near it" if us else ""
        head = [f"A plan for screenplan. Lengths carry their unit: \"2.4 m\", \"7 ft\". A line behind # is a default{rounded}; take the # away to change it.",
                *(["Cannot be judged yet:", *missing] if missing else ())]  # fmt: skip
        text = plan_text(found.chosen, found.layers, head=head, notes=notes, terrain=ground)
        target.write_text(text, encoding="utf-8")
    except BaseException:
        if is_made:
            made.unlink(missing_ok=True)
        raise
    return _tell(target, made if is_made else None, found, missing, problems, us)


def _leave_choice(found: Found) -> dict[str, list[str]]:
    """Let the program choose what is planted where parcel and houses are known, and nobody has plants in hand.

    Without houses nothing can be said of views, a drawn line is meant to be planted, and plants in hand want a row.
    """
    known = {"parcels", "buildings"} <= set(found.layers)
    if not known or "planting_line" in found.layers or "plants" in found.chosen.get("hand", {}):
        return {}
    found.chosen.setdefault("design", {})["wanted"] = True
    found.say.append(
        "The program chooses what is planted, and where; name sides under [rows] or species under [plants], and it "
        "keeps to them; wanted = false under [design] plants rows as the plan says"
    )
    found.say.append(
        "Say the site's hardiness zone, zone under [health]: until then kinds may be chosen that freeze there"
    )
    return {"design.wanted": ["Written by start: false plants rows as [rows] and [plants] say"]}


def _taped_text(found: Found, terrain: Mapping[str, str] | None) -> str:
    """Write the plan of a line that was measured: what was said, and no more."""
    head = (
        'A plan for screenplan. Lengths carry their unit: "2.4 m", "7 ft". The line runs from its zero peg, '
        "its left end as seen from the garden; along is measured from there, beyond and inside square to it.",
        "`screenplan keys` lists every other key with its default, and what else a tape can measure.",
    )
    content: dict[str, Any] = {
        "plan": found.chosen["plan"],
        "tape": found.tape,
        "layers": found.layers,
    }
    content |= {"terrain": terrain} if terrain else {}
    content |= {name: table for name, table in found.chosen.items() if name != "plan"}
    return short_text(content, head=head)


def _without_by_tape(tape: Mapping[str, Any]) -> dict[str, str]:
    """Say what cannot be judged of a line by what was measured beside it, by the layer that lacks."""
    if not tape:
        return {}
    lacking = {"buildings": "houses: none is given, so nothing of them stands in the way of a look"}
    if not tape.get("windows"):
        lacking["windows"] = "views: no window is given, which does not mean that nobody looks in"
    if not tape.get("private_places"):
        lacking["private_places"] = "views: nothing is given that is to be hidden"
    if any("ground" in row for row in tape.get("windows", ())):
        lacking["terrain"] = ""
    return lacking


def _tell(
    target: Path,
    made: Path | None,
    found: Found,
    missing: Sequence[str],
    problems: tuple[Problem, ...],
    us: bool,
) -> Started:
    said = [f"Wrote {target}" + (f" and {made}" if made else "")]
    said += [in_units(told, "us" if us else "metric") for told in found.say]
    if missing:
        said += ["Cannot be judged from this:", *(f"  {text}" for text in missing)]
    if problems:
        said.append(f"Next: mend in {target} what is said below, then screenplan check {target}")
    else:
        said.append(f"Next: screenplan check {target}, then screenplan run {target}")
    return Started(said, problems)


def _write_made(made: Mapping[str, gpd.GeoDataFrame], file: Path, force: bool) -> bool:
    if not made:
        return False
    if file.exists() and not force:
        raise refuse(
            "there is such a file already", "Move it, or add --force to replace it", file=str(file)
        )
    file.unlink(missing_ok=True)
    for name, frame in made.items():
        frame.to_file(file, layer=name, driver="GPKG", engine="fiona")
    return True


def _choose_side(
    found: Found, target: Path, terrain: Mapping[str, str] | None, us: bool
) -> tuple[list[str], tuple[Problem, ...]]:
    """List the sides for the plan file, and choose the longest where no window could choose.

    With houses around, the plan is left to choose the sides that are looked across. Also tells what
    must be mended before the layers can be read.
    """
    content = {"layers": found.layers} | {
        section: found.chosen.get(section, {}) for section in ("subject", "sides")
    }
    content |= {"tape": found.tape} if found.tape else {}
    plan = check_plan(content | ({"terrain": terrain} if terrain else {}), file=str(target))
    try:
        site = read_inputs(plan, target.parent)
    except InputError as error:
        # Without the column that the person is to name no parcel is found; what is told once is enough.
        told = {problem.key for problem in found.problems if problem.key}
        others = [
            problem
            for problem in error.problems
            if not (found.problems and problem.key == "subject.id") and problem.key not in told
        ]
        return [], (*found.problems, *others)
    if found.problems:
        return [], tuple(found.problems)
    where = site.frame
    if where.is_placed:
        what = "parcel" if len(site.layers["parcels"]) else "row"
        found.say.append(
            f"The {what} lies at latitude {where.lat0:z.4f}, longitude {where.lon0:z.4f}"
        )
    if not len(site.layers["parcels"]):
        return [], ()
    sides = find_sides(
        site.layers["parcels"],
        site.layers.get("roads"),
        plan=plan,
    )
    if not {"buildings", "windows", "planting_line"} & set(found.layers):
        longest = sides.loc[sides["length_m"].idxmax(), "side_id"]
        found.chosen.setdefault("rows", {})["along"] = [longest]
        found.say.append(
            f"The longest side, {longest}, is put down for the row; choose others under [rows] along"
        )
    units = "us" if us else "metric"
    listed = "; ".join(
        f"{side.side_id} {format_length(side.length_m, units)}" for side in sides.itertuples()
    )
    return [f"Sides: {listed}"], ()
