"""The output folder: it appears whole or not at all.

A run writes into a folder beside the target, marks it complete by a rename, and swaps it in by
two more: the old folder aside, the new one into its place. Whatever moment a run is killed at,
the next start finds one of these states and mends it (names are those beside a target ``plan``):

================  ==============  ==============  ================================================
``plan``          ``.plan~new``   ``.plan~old``   what is done
================  ==============  ==============  ================================================
there             any             any             new and old are removed: the swap was not begun,
                                                  or is over
absent            there           any             new, which is complete, becomes ``plan``
absent            absent          there           old becomes ``plan`` again
================  ==============  ==============  ================================================

``.plan~part``, which is not complete, is always removed. Only a folder that holds nothing but
files of an earlier run, unchanged since, is replaced.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.request import pathname2url

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.paths import check_reachable
from screenplan.ground.texts import first_few
from screenplan.outputs.lock import Held, Lock
from screenplan.outputs.record import RECORD_NAME, is_unchanged, read_record

#: What systems and desktops leave in any folder.
LITTER = {".DS_Store", "Thumbs.db", "desktop.ini"}
#: What SQLite keeps beside a database while it is open.
SQLITE_SIDE_FILES = ("-wal", "-shm", "-journal")
#: Windows takes no longer path without special settings (its MAX_PATH, with the final NUL).
WINDOWS_LONGEST = 259
#: Room left for the longest file name inside the folder.
LONGEST_INSIDE = 40
#: A virus scanner may hold a new file for a moment: the rename is tried again, in seconds.
RENAME_PAUSES = (0.05, 0.2, 0.5)

#: Words that hold for an option of the command line and for a field of a form.
_ELSEWHERE = "choose another folder to write to"


class OutputFolder:
    """A folder that is written beside its place and swapped in whole.

    Parameters
    ----------
    target : str or Path
        The folder to be. Its parent must exist.
    replace_changed : bool
        Whether files of an earlier run that were edited since may be replaced.

    Examples
    --------
    The target is checked when the folder is opened, and what fails half way leaves nothing there.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as here:
    ...     try:
    ...         with OutputFolder(Path(here) / "plan") as folder, folder.staged() as beside:
    ...             _ = (beside / "views.csv").write_text("view_id")
    ...             raise KeyboardInterrupt
    ...     except KeyboardInterrupt:
    ...         (Path(here) / "plan").exists()
    False
    """

    def __init__(self, target: str | Path, *, replace_changed: bool = False):
        check_reachable(target, writes=True)
        self.shown = str(target)
        self.target = Path(target).resolve()
        self.replace_changed = replace_changed
        self._lock = Lock(self._beside("lock"))

    def _beside(self, what: str) -> Path:
        return self.target.parent / f".{self.target.name}~{what}"

    def __enter__(self) -> OutputFolder:
        self._check_place()
        try:
            self._lock.acquire()
        except Held:
            raise self._refuse(
                "Another run is writing this folder",
                f"Wait until it has ended, or {_ELSEWHERE}",
            ) from None
        except OSError as error:
            raise self._refuse(
                f"The folder above it cannot be written ({error.strerror})",
                f"Check its permissions and the length of its name, or {_ELSEWHERE}",
            ) from None
        try:
            self._check_content()
            self._recover()
            self._check_movable()
        except BaseException:
            self._lock.release()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._lock.release()

    def check(self) -> None:
        """Refuse a target that could not be written, and mend what a killed run left.

        Raises
        ------
        InputError
            If the target is a file, holds files that no run wrote or that were changed since, is
            held open by another program, is being written by another run, has too long a path,
            has no parent, or cannot be written.

        Notes
        -----
        On POSIX systems a program that only reads leaves no trace, and loses nothing: it goes on
        seeing the old file until it opens it anew. A GeoPackage is found to be in use if its
        database is locked or in write-ahead mode, as when its layers are being edited. Windows
        refuses to rename a folder with any file open in it, and that is tried.
        """
        with self:
            pass

    def look(self) -> str | None:
        """Refuse a target that holds other files, as `check` does, without touching anything.

        Returns
        -------
        str or None
            What a run into it would replace, as a sentence without a full stop; None if nothing.
        """
        self._check_place()
        self._check_content()
        return self.replaces

    @property
    def replaces(self) -> str | None:
        """Whose files a run into it replaces, as a sentence without a full stop; None if nobody's."""
        if not (self.target / RECORD_NAME).is_file():
            return None
        record = read_record(self.target)
        title = _title_of(record)
        of = f" of the plan '{title}'" if title else ""
        return f"It holds the run{of} of {record.written_at}, and its files are replaced"

    @contextmanager
    def staged(self) -> Iterator[Path]:
        """Give an empty folder to write into; swap it in when the block ends without an error.

        Raises
        ------
        InputError
            If the files cannot be written or the swap is not possible; the target is then as it
            was.
        """
        part = self._beside("part")
        try:
            part.mkdir()
            yield part
            listed = set(read_record(part).files) | {RECORD_NAME}
            if listed != _files(part):
                message = f"run.json and the folder disagree: {listed ^ _files(part)}"
                raise RuntimeError(message)
            self._check_content()
            self._swap(part)
        except OSError as error:
            raise self._refuse(
                f"It could not be written ({error.strerror})",
                f"Free some space on the disk, or {_ELSEWHERE}",
            ) from error
        finally:
            shutil.rmtree(part, ignore_errors=True)

    def _swap(self, part: Path) -> None:
        new, old = self._beside("new"), self._beside("old")
        _rename(part, new)
        aside = False
        try:
            if self.target.exists():
                _rename(self.target, old)
                aside = True
            _rename(new, self.target)
        except OSError as error:
            if aside and not self.target.exists():
                _rename(old, self.target)
            shutil.rmtree(new, ignore_errors=True)
            raise self._held_open(error) from error
        shutil.rmtree(old, ignore_errors=True)

    def _recover(self) -> None:
        new, old = self._beside("new"), self._beside("old")
        try:
            _remove(self._beside("part"))
            if self.target.is_dir() and not _files(self.target) and (new.exists() or old.exists()):
                _remove(self.target)  # empty: nothing is lost, and the earlier run comes back
            if not self.target.exists():
                if new.exists():
                    _rename(new, self.target)
                elif old.exists():
                    _rename(old, self.target)
            _remove(new)
            _remove(old)
        except OSError as error:
            raise self._refuse(
                f"What a broken-off run left beside it cannot be removed ({error.strerror})",
                f"Remove {self._beside('*').name} there, or {_ELSEWHERE}",
            ) from error

    def _check_place(self) -> None:
        target, parent = self.target, self.target.parent
        if target == parent or os.path.ismount(target):
            raise self._refuse("It is the top of a disk", "Name a folder on it")
        if not parent.is_dir():
            what = "is a file" if parent.exists() else "does not exist"
            raise self._refuse(
                f"The folder above it, {parent.name}, {what}", f"Make it first, or {_ELSEWHERE}"
            )
        if os.name == "nt" and len(str(target)) + LONGEST_INSIDE > WINDOWS_LONGEST:
            raise self._refuse(
                f"Its path has {len(str(target))} characters, too many for its files",
                "Write to a folder nearer to the top of the disk",
            )
        if target.exists() and not target.is_dir():
            raise self._refuse("It is a file", f"{_ELSEWHERE.capitalize()}, or remove it")

    def _check_content(self) -> None:
        if not self.target.is_dir():
            return
        found = _files(self.target)
        if not found:
            return
        if RECORD_NAME not in found:
            raise self._refuse(
                f"It holds files of your own ({_name(found)}) and no run record",
                f"Move them away, or {_ELSEWHERE}",
            )
        try:
            written = read_record(self.target).files
        except InputError as error:
            raise self._refuse(
                f"Which files are your own cannot be told: {error.problems[0].what}",
                f"Move the folder away, or {_ELSEWHERE}",
            ) from None
        for name in sorted(written):
            if name.endswith(".gpkg") and name in found:
                self._check_database(self.target / name)
        side = {name + end for name in written for end in SQLITE_SIDE_FILES}
        own = _files(self.target) - set(written) - {RECORD_NAME} - side
        if own:
            raise self._refuse(
                f"It holds files that no run wrote ({_name(own)})",
                f"Move them away, or {_ELSEWHERE}",
            )
        if self.replace_changed:
            return
        changed = {
            name
            for name, entry in written.items()
            if name in found and not is_unchanged(self.target / name, entry)
        }
        if changed:
            raise self._refuse(
                f"It holds files that were changed since they were written ({_name(changed)})",
                f"Keep a copy and remove the folder, or {_ELSEWHERE}",
            )

    def _check_database(self, path: Path) -> None:
        in_use = self._refuse(
            f"{path.name} is open in another program",
            f"Close it there and run again, or {_ELSEWHERE}",
        )
        try:
            database = sqlite3.connect(
                f"file:{pathname2url(str(path))}?mode=rw", uri=True, timeout=0, isolation_level=None
            )
            try:
                database.execute("BEGIN EXCLUSIVE")
                database.execute("ROLLBACK")
            finally:
                database.close()
        except sqlite3.OperationalError as error:
            if "locked" in str(error) or "busy" in str(error):
                raise in_use from None
        except sqlite3.DatabaseError:
            return  # damaged: the comparison with the record says so
        # The last program to close a database in write-ahead mode removes these.
        if any(path.with_name(path.name + end).exists() for end in ("-wal", "-shm")):
            raise in_use

    def _check_movable(self) -> None:
        """Move the target aside and back: Windows refuses it while a file in it is open."""
        if not self.target.exists():
            return
        old = self._beside("old")
        try:
            _rename(self.target, old)
            _rename(old, self.target)
        except OSError as error:
            raise self._held_open(error) from None

    def _held_open(self, error: OSError) -> InputError:
        return self._refuse(
            f"It cannot be replaced ({error.strerror})",
            f"Close the programs that have its files open and check its permissions, "
            f"or {_ELSEWHERE}",
        )

    def _refuse(self, what: str, mend: str) -> InputError:
        return refuse(what, mend, file=self.shown)


def _title_of(record) -> str | None:
    about = record.parameters.get("plan")
    title = about.get("title") if isinstance(about, dict) else None
    return title if isinstance(title, str) and title else None


def _files(folder: Path) -> set[str]:
    """Names of all files below a folder, with slashes; an empty folder in it counts too."""
    found = set()
    for path in folder.rglob("*"):
        empty = path.is_dir() and not path.is_symlink() and not any(path.iterdir())
        if (not path.is_dir() or path.is_symlink() or empty) and path.name not in LITTER:
            found.add(path.relative_to(folder).as_posix())
    return found


def _name(files: set[str], most: int = 3) -> str:
    return first_few(sorted(files), most)


def _remove(folder: Path) -> None:
    if folder.exists():
        shutil.rmtree(folder)


def _rename(source: Path, goal: Path) -> None:
    for pause in RENAME_PAUSES:
        with suppress(PermissionError):
            source.rename(goal)
            return
        time.sleep(pause)
    source.rename(goal)
