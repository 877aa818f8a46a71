"""``screenplan start`` and ``screenplan sides``: from what a person has to a plan file.

A person with layers gets a plan that names them; a person with a track, corners, courses or just
a length gets a small layer made of it beside the plan, and a list of what cannot be judged.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd

from screenplan.commandline.answers import (
    read_budget,
    read_day,
    read_kinds,
    read_place,
    read_plants,
    read_window,
)
from screenplan.commandline.guessing import Ask, guess_columns, guess_kind, guess_missing
from screenplan.commandline.outlines import (
    Found,
    from_corners,
    from_courses,
    from_length,
    from_track,
)
from screenplan.contracts import INPUTS
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.paths import check_path
from screenplan.ground.said import in_units
from screenplan.ground.units import format_length, units_of
from screenplan.plan import DEFAULTS, Plan, check_plan, read_plan
from screenplan.plan.text import plan_text, short_text
from screenplan.running.inputs import (
    read_inputs,
    refuse_several,
    rows_of_files,
    step_arguments,
)
from screenplan.running.steps import STEPS
from screenplan.site.composed import is_held
from screenplan.site.loose import sample_rows
from screenplan.site.point_columns import find_point_columns
from screenplan.site.reading import LayerSource
from screenplan.site.sides import find_sides

#: What cannot be judged without a layer.
_WITHOUT = {
    "parcels": "the boundary: setbacks, crowns over the boundary, which houses are the neighbours', sun and light",
    "buildings": "views: without buildings no window can be derived, and nothing stands in the way of a look",
    "utilities": "buried and overhead lines: none is given, which does not mean that there are none",
    "keep_outs": "drives, gates, septic fields and easements: none is given, so none is kept clear",
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


@dataclass(frozen=True)
class Given:
    """What a person has, as the options of ``screenplan start`` are called; their help says what each is."""

    layers: Sequence[str] = ()
    terrain: str | None = None
    systems: Sequence[str] = ()
    subject_id: str | None = None
    id_column: str | None = None
    point: Sequence[float] | None = None
    track: str | None = None
    corners: str | None = None
    courses: str | None = None
    length: str | None = None
    at: Sequence[float] | None = None
    bearing: str | None = None
    garden: str | None = None
    hidden: Sequence[str] = ()
    windows: Sequence[str] = ()
    species: str | None = None
    planting: str | None = None
    plants: int | None = None
    budget: str | None = None
    unit: str = "m"


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
    terrain, found = given.terrain, _gather(target, given, ask, us=us)
    if given.id_column is not None:
        _name_ids(found, target, given.id_column)
    known = [
        *found.layers,
        *(["terrain"] if terrain else []),
        *(["parcels"] if given.corners else []),
    ]
    crs = _split_systems(given.systems, known)
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
    ground = {"file": _beside(terrain, target)} if terrain else None
    if ground and "terrain" in crs:
        ground["crs"] = crs["terrain"]

    beside = _write_made(found.made, made, force)
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
        if beside:
            made.unlink(missing_ok=True)
        raise
    return _tell(target, made if beside else None, found, missing, problems, us)


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


def sides_of(
    source: str,
    *,
    subject_id: str | None = None,
    id_column: str | None = None,
    crs: str | None = None,
    point: Sequence[float] | None = None,
    us: bool = False,
):
    """Find the sides of the parcel in a plan file, or in a file of parcels.

    Returns
    -------
    sides : GeoDataFrame
    units : str
    """
    asked = {"id": subject_id, "point": point or None}
    subject = {key: value for key, value in asked.items() if value is not None}
    if source.lower().endswith(".toml"):
        plan, folder = read_plan(source)
        if subject and "parcels" in plan.layers:
            parcels = {"file": plan.layers["parcels"].file}
            chosen = check_plan({"layers": {"parcels": parcels}, "subject": subject}).subject
            plan = plan.model_copy(update={"subject": chosen})
        plan = _change_parcels(plan, id_column, crs)
    else:
        file, layer = split_source(source)
        sample = sample_rows("parcels", LayerSource(file, layer, crs=crs))
        theirs = list(map(str, sample.columns))
        columns: dict[str, str | None] = {"parcel_id": id_column}
        if not id_column:
            guess = guess_columns("parcels", sample, wanted=subject_id)
            if guess.problems and subject_id is not None:
                raise InputError(
                    replace(problem, file=str(file), layer=layer) for problem in guess.problems
                )
            columns = dict(guess.columns)
        if subject_id is not None and not columns and "parcel_id" not in theirs:
            raise refuse(
                f"no column is known to hold the parcels' ids, so parcel '{subject_id}' cannot be found",
                f"Name it with --id-column; the columns are {', '.join(theirs) or 'none'}",
                file=str(file),
                layer=layer,
            )
        given = {"file": file, "layer": layer, "columns": columns, "crs": crs}
        plan = check_plan({"layers": {"parcels": given}, "subject": subject})
        folder = Path.cwd()
    refuse_several(plan, "sides are listed of", f"Name it: --id {next(iter(plan.subject.ids), '')}")
    site = read_inputs(plan, folder)
    layers = dict(site.layers)
    if not len(layers["parcels"]):
        raise refuse(
            "the plan knows only its row, and a row has no sides",
            "Give the parcel: name a file that holds it under layers.parcels",
            key="layers.parcels",
        )
    names = (
        ("sides", "windows", "places", "across")
        if "buildings" in layers or "windows" in layers
        else ("sides",)
    )
    for name in names:
        with rows_of_files(layers, site.inputs, plan):
            layers |= STEPS[name](layers, **step_arguments(STEPS[name], plan, folder, site.terrain))
    return layers["sides"], "us" if us else plan.plan.units


def _change_parcels(plan: Plan, id_column: str | None, crs: str | None) -> Plan:
    """Give a plan whose parcels have another column of ids or another CRS."""
    parcels = plan.layers.get("parcels")
    if parcels is None or (id_column is None and crs is None):
        return plan
    columns = parcels.columns if id_column is None else {**parcels.columns, "parcel_id": id_column}
    changed = parcels.model_copy(update={"columns": columns, "crs": crs or parcels.crs})
    return plan.model_copy(update={"layers": {**plan.layers, "parcels": changed}})


def split_source(text: str) -> tuple[Path, str | None]:
    """Split ``FILE:LAYER``; a drive letter's colon belongs to the file."""
    check_path(text)
    file, colon, layer = text.rpartition(":")
    if not colon or len(file) == 1 or "/" in layer or "\\" in layer:
        return Path(text), None
    return Path(file), layer


def _gather(target: Path, given: Given, ask: Ask | None, *, us: bool) -> Found:
    found = Found()
    systems = dict(text.partition("=")[::2] for text in given.systems)
    for text in given.layers:
        name, equals, source = text.partition("=")
        if not equals or name not in INPUTS:
            raise refuse(
                f"--layer {text} names no layer of a plan",
                f"Write NAME=FILE or NAME=FILE:LAYER, NAME one of {', '.join(INPUTS)}",
            )
        file, layer = split_source(source)
        sample = sample_rows(name, LayerSource(file, layer, crs=systems.get(name)))
        theirs, is_parcels = [str(column) for column in sample.columns], name == "parcels"
        guess = guess_columns(
            name,
            sample,
            named={"parcel_id": given.id_column} if is_parcels and given.id_column else {},
            wanted=given.subject_id if is_parcels else None,
            ask=ask,
            us=us,
        )
        found.problems += [
            replace(problem, file=str(file), layer=layer) for problem in guess.problems
        ]
        said: dict[str, Any] = {"columns": guess.columns, "units": guess.units}
        if name == "buildings":
            storeys = guess_missing(sample, guess, DEFAULTS.site.storey_height)
            said["missing"] = {} if storeys is None else {"storeys": storeys}
        if name == "existing_screens" and (kind := guess_kind(layer, guess, sample)):
            said["fixed"] = {"kind": kind}
        found.notes[f"layers.{name}"] = [
            f"Columns of the file: {', '.join(theirs)}",
            f"Columns that are used: {', '.join(column.name for column in INPUTS[name].columns)}",
            *_how_to_name(name, theirs),
        ]
        found.layers[name] = {"file": _beside(file, target), "layer": layer, **said}
        if given.length:
            found.layers[name]["points"] = find_point_columns(theirs)
        if guess.said:
            told = "; ".join(guess.said)
            lengths = any(column.endswith("_m") for column in guess.columns)
            check = "check this, and the units of heights," if lengths else "check this"
            found.say.append(f"{name}: {told}; {check} in the plan file")
    ways = [] if found.layers.get("parcels") is None else ["--layer parcels"]
    ways += [f"--{way}" for way in ("track", "corners", "courses", "length") if getattr(given, way)]
    if len(ways) > 1:
        raise refuse(f"the parcel is given twice, by {' and '.join(ways)}", "Keep one of them")
    place = tuple(given.at) if given.at else None
    if given.bearing is not None and not given.length:
        raise refuse(
            "a bearing is given without a length", "Give --length too, or leave --bearing out",
            key="--bearing",
        )  # fmt: skip
    needs_place = bool(given.courses)
    if given.track:
        from_track(found, Path(given.track))
    elif given.corners:
        needs_place = from_corners(
            found, Path(given.corners), place, given.unit, systems.get("parcels")
        )
    elif given.courses:
        from_courses(found, Path(given.courses), place, given.unit)
    elif given.length:
        from_length(found, given.length, place, given.bearing)
    _say_measured(found, given)
    _say_wishes(found, given)
    if needs_place and place is None:
        found.say.append(
            "The site's place on earth is not known: no positions for a receiver or a map, no sun and no light. Give --at LON LAT to place it"
        )
    return found


def _say_wishes(found: Found, given: Given) -> None:
    """Take what is to be planted, when, and what is at hand."""
    if given.species:
        found.chosen["plants"] = {"species": read_kinds(given.species)}
    if given.planting:
        found.chosen["calendar"] = {"planting": read_day(given.planting)}
    hand = {}
    if given.plants is not None:
        hand["plants"] = read_plants(str(given.plants))
    if given.budget:
        us = given.length is not None and units_of(given.length) == "us"
        hand |= read_budget(given.budget, "ft" if us else "m")
    if hand:
        found.chosen["hand"] = hand


def _say_measured(found: Found, given: Given) -> None:
    """Take what was measured beside the line."""
    if not given.length:
        for option, texts in (("--window", given.windows), ("--hide", given.hidden)):
            if texts:
                raise refuse(
                    f"{option} is measured from a line, and none is given",
                    'Give --length too, or a layer, or write it into the plan file under [tape] with side = "north"',
                    key=option,
                )
        if given.garden:
            raise refuse(
                "--garden is a side of a line, and none is given",
                "Give --length too",
                key="--garden",
            )
        return
    if given.garden:
        found.tape["garden"] = given.garden
    for table, option, texts, read in (
        ("private_places", "--hide", given.hidden, read_place),
        ("windows", "--window", given.windows, read_window),
    ):
        rows = []
        for number, text in enumerate(texts, start=1):
            try:
                rows.append(read(text, given.length))
            except InputError as error:
                refusal = InputError(
                    replace(problem, key=option, rows=(number,)) for problem in error.problems
                )
                refusal.units = units_of(given.length)
                raise refusal from None
        if rows:
            found.tape[table] = rows
    for source in found.layers.values():
        file, named = source["file"], source.pop("points", None)
        if named is not None and not named[2] and file.lower().endswith(".csv"):
            # Places in a table are measured as the line is: from its zero peg.
            source["crs"] = "as planting_line"


def _name_ids(found: Found, target: Path, column: str) -> None:
    """Take a column of the parcels' file as the one of their ids."""
    parcels = found.layers.get("parcels")
    if parcels is None:
        raise refuse(
            "--id-column names a column of the parcels, and no file of parcels is given",
            "Give --layer parcels=FILE, or leave --id-column out",
        )
    source = LayerSource(target.parent / parcels["file"], parcels["layer"])
    theirs = list(map(str, sample_rows("parcels", source, 1).columns))
    if not is_held(column, theirs):
        raise refuse(
            f"the parcels have no column '{column}'",
            f"Name one of {', '.join(theirs) or 'none'}",
            file=parcels["file"],
            layer=parcels["layer"],
            key="--id-column",
        )
    parcels["columns"] = {**parcels["columns"], "parcel_id": column}


def _split_systems(texts: Sequence[str], known: Sequence[str]) -> dict[str, str]:
    """Split ``NAME=CRS``; WKT holds no sign of equality."""
    crs = {}
    for text in texts:
        name, equals, system = text.partition("=")
        if not equals or name not in known:
            raise refuse(
                f"--crs {text} names no layer that is given",
                f"Write NAME=CRS, NAME one of {', '.join(known) or 'none'}",
            )
        crs[name] = system
    return crs


def _how_to_name(name: str, theirs: Sequence[str]) -> list[str]:
    """Tell how a column of another name or in another unit is given."""
    ours = [column.name for column in INPUTS[name].columns]
    if set(theirs) <= set(ours):
        return []
    said = ["A column of another name: columns = { " + ours[0] + ' = "its name" }']
    lengths = [column for column in ours if column.endswith("_m")]
    if lengths:
        said.append(f'A column in feet: units = {{ {lengths[0]} = "ft" }}')
        value = "storeys = 2" if name == "buildings" else f'{lengths[0]} = "1.8 m"'
        said.append(f"A value for rows that lack one: missing = {{ {value} }}")
    return said


def _beside(file: str | Path, target: Path) -> str:
    """Write a path relative to the plan file where that is possible."""
    try:
        return Path(os.path.relpath(Path(file).resolve(), target.parent.resolve())).as_posix()
    except ValueError:  # another drive
        return Path(file).resolve().as_posix()


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
        # Without the column that the person is to name no parcel is found.
        others = [
            problem
            for problem in error.problems
            if not (found.problems and problem.key == "subject.id")
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
