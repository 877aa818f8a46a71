"""What a person has, as the options of ``screenplan start`` give it, taken as the layers and choices of a plan."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

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
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.paths import check_path
from screenplan.ground.units import units_of
from screenplan.plan import DEFAULTS
from screenplan.site.composed import is_held
from screenplan.site.loose import sample_rows
from screenplan.site.point_columns import find_point_columns
from screenplan.site.reading import LayerSource


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


def split_source(text: str) -> tuple[Path, str | None]:
    """Split ``FILE:LAYER``; a drive letter's colon belongs to the file."""
    check_path(text)
    file, colon, layer = text.rpartition(":")
    if not colon or len(file) == 1 or "/" in layer or "\\" in layer:
        return Path(text), None
    return Path(file), layer


def gather(target: Path, given: Given, ask: Ask | None, *, us: bool) -> Found:
    """Take the layers, the parcel's outline, what was measured and what is wished for; ``ask`` as in `start_plan`."""
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
        found.layers[name] = {"file": beside(file, target), "layer": layer, **said}
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


def name_ids(found: Found, target: Path, column: str) -> None:
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


def split_systems(texts: Sequence[str], known: Sequence[str]) -> dict[str, str]:
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


def beside(file: str | Path, target: Path) -> str:
    """Write a path relative to the plan file where that is possible."""
    try:
        return Path(os.path.relpath(Path(file).resolve(), target.parent.resolve())).as_posix()
    except ValueError:  # another drive
        return Path(file).resolve().as_posix()
