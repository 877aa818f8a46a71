"""What is done of a county, in its folder: so that a run that was killed goes on with what is missing.

A part is done when its mark is there, which is written last and appears whole. What a folder was begun with is
written before anything else; another plan or other layers do not go on in it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from screenplan._version import __version__
from screenplan.ground.errors import refuse
from screenplan.outputs.record import RECORD_NAME, file_sha256, plain
from screenplan.plan import Plan

#: Folder of what a run needs to go on, and the file that says what it was begun with.
WORK, STATE, LAYERS, DONE = "work", "begun.json", "layers", "done"
#: Sections that say how a file is read, which the layers' own hashes tell, or what sheets are called.
_NOT_COMPUTED = ("layers", "terrain", "plan")


@dataclass(frozen=True)
class Begun:
    """What a run was begun with.

    Parameters
    ----------
    plan : str
        A hash of all that the plan chooses, its rule files included.
    layers : mapping of str to str
        A hash of each layer, and of the terrain.
    at_once : int
        Parcels of a partition.
    wanted : list of str
        Layers that are written beside the sides.
    version : str
        Of this library.
    """

    plan: str
    layers: Mapping[str, str]
    at_once: int
    wanted: list[str]
    version: str = __version__


#: How a person calls each of these, and what to do about it.
_CALLED = {
    "plan": "another plan",
    "layers": "other layers",
    "at_once": "another number of parcels at once",
    "wanted": "other layers wanted",
    "version": "another version of screenplan",
}


def hash_plan(plan: Plan, folder: Path) -> str:
    """Give a SHA-256 of what a plan computes by."""
    content = plan.model_dump(mode="python", exclude=set(_NOT_COMPUTED))
    files = [path for path in (plan.setbacks.file, plan.limits.file) if path is not None]
    text = json.dumps(
        [
            plain(content, folder),
            [file_sha256(folder / path) for path in files if (folder / path).is_file()],
        ],
        sort_keys=True,
    )
    return hashlib.sha256(text.encode()).hexdigest()


class CountyFolder:
    """The folder of a county.

    Parameters
    ----------
    target : Path
    """

    def __init__(self, target: Path):
        self.target = Path(target).resolve()
        self.work = self.target / WORK
        self.layers = self.work / LAYERS
        self._done = self.work / DONE

    def check(self) -> None:
        """Refuse a folder that holds something else, or cannot be made.

        Raises
        ------
        InputError
            With the remedy.
        """
        if self.target.exists() and not self.target.is_dir():
            raise refuse("It is a file", "Name a folder to write to", file=str(self.target))
        if not self.target.parent.is_dir():
            raise refuse(
                f"The folder above it, {self.target.parent.name}, does not exist",
                "Make it first, or choose another folder to write to", file=str(self.target),
            )  # fmt: skip
        inside = [path.name for path in self.target.iterdir()] if self.target.is_dir() else []
        if inside and not (self.work / STATE).is_file():
            raise refuse(
                f"It holds files that no county run wrote ({', '.join(sorted(inside)[:3])})",
                "Choose another folder to write to", file=str(self.target),
            )  # fmt: skip

    def begin(self, begun: Begun) -> bool:
        """Write what a run is begun with, or see that it is the same; tell whether one goes on.

        Raises
        ------
        InputError
            If the folder was begun with something else.
        """
        state = self.work / STATE
        if not state.is_file():
            self._done.mkdir(parents=True, exist_ok=True)
            self.layers.mkdir(parents=True, exist_ok=True)
            write_whole(state, json.dumps(asdict(begun), indent=2) + "\n")
            return False
        try:
            before = Begun(**json.loads(state.read_text(encoding="utf-8")))
        except (ValueError, TypeError):
            raise refuse(
                "What the folder was begun with cannot be read",
                "Choose another folder to write to", file=str(state),
            ) from None  # fmt: skip
        other = [name for name in _CALLED if getattr(before, name) != getattr(begun, name)]
        if other:
            which = sorted(
                name
                for name in {*before.layers, *begun.layers}
                if before.layers.get(name) != begun.layers.get(name)
            )
            told = [
                f"{_CALLED[name]} ({', '.join(which)})" if name == "layers" else _CALLED[name]
                for name in other
            ]
            raise refuse(
                f"It was begun with {' and '.join(told)}, so that its parts do not go with this run",
                "Give what it was begun with to go on, or choose another folder to write to",
                file=str(self.target),
            )
        self._done.mkdir(exist_ok=True)
        return True

    def forget(self) -> None:
        """Take away what was begun, where no layer could be laid out: nothing is done yet."""
        shutil.rmtree(self.work, ignore_errors=True)
        with suppress(OSError):  # files of somebody else stay
            self.target.rmdir()

    def mark(self, number: int) -> Path:
        """Give the mark of a partition."""
        return self._done / f"{number:06d}.json"

    def done(self) -> dict[int, dict]:
        """Give what is told of each partition that is done, by its number."""
        return {
            int(path.stem): json.loads(path.read_text(encoding="utf-8"))
            for path in sorted(self._done.glob("[0-9]*.json"))
        }

    def part(self, name: str, number: int) -> Path:
        """Give the file of a layer's part."""
        return self.target / name / f"part-{number:06d}.parquet"

    @property
    def record(self) -> Path:
        """The record of a run that is over."""
        return self.target / RECORD_NAME


def write_whole(path: Path, text: str) -> None:
    """Write a text so that the file appears whole."""
    beside = path.with_name(f".{path.name}~")
    beside.write_text(text, encoding="utf-8", newline="\n")
    beside.replace(path)
