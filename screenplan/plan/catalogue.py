"""Tables of figures by name: the shipped ones, over them a file's, over them a plan's.

A table with the key of a known one changes only what it names. What comes of it is read whole by
its model, so that nothing holds between figures of which one was never looked at.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import resources
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import TypeAdapter, ValidationError

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.toml_files import read_toml
from screenplan.plan.findings import problems_of
from screenplan.plan.values import WrongError


class Entry(NamedTuple):
    """A table as it is written, and what was read of it."""

    table: Mapping[str, Any]
    read: Any


@dataclass(frozen=True)
class Catalogue:
    """How tables of one sort are read.

    Parameters
    ----------
    called : str
        What one is, such as ``rule``.
    shipped : (str, str) or callable
        The package and the file of those that are shipped, or what gives their tables.
    model : type
        What a table is read into; it has a field ``key`` for the table's name.
    over : callable
        Gives the table that comes of laying one of a person's over the known ones, by key.
    at : str
        The key of the table in which they stand in a plan, with a full stop; empty in a file of
        their own.
    switched : bool
        Whether ``use = false`` switches one off.
    """

    called: str
    shipped: tuple[str, str] | Callable[[], Mapping[str, Any]]
    model: Any
    over: Callable[[Mapping[str, Entry], str, Mapping[str, Any]], Mapping[str, Any]]
    at: str = ""
    switched: bool = True

    def load(
        self,
        path: str | Path | None = None,
        changes: Mapping[str, Any] | None = None,
        named: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        """Read the shipped tables, then a named set that comes with the library, a file of the user's, and those from a plan.

        Raises
        ------
        InputError
            With every problem found: file, table, key and remedy.
        """
        found = self._shipped
        if named:
            found = self._laid_over(found, named, f"the named set of {self.called}s")
        if path is not None:
            found = self._laid_over(found, read_rule_file(Path(path)), str(path))
        if changes:
            found = self._laid_over(found, changes, None)
        return {key: entry.read for key, entry in found.items()}

    @cached_property
    def _shipped(self) -> Mapping[str, Entry]:
        if callable(self.shipped):
            return self._laid_over({}, self.shipped(), f"the shipped {self.called}")
        return self._laid_over({}, shipped_tables(*self.shipped), f"the shipped {self.shipped[1]}")

    @cached_property
    def _adapter(self) -> TypeAdapter:
        return TypeAdapter(self.model)

    def _laid_over(
        self, known: Mapping[str, Entry], tables: Mapping[str, Any], file: str | None
    ) -> dict[str, Entry]:
        found, problems = dict(known), []
        for key, table in tables.items():
            try:
                entry = self._entry(found, key, table)
            except InputError as error:
                problems += [replace(problem, file=file) for problem in error.problems]
                continue
            if entry is None:
                del found[key]
            else:
                found[key] = entry
        if problems:
            raise InputError(problems)
        return found

    def _entry(self, known: Mapping[str, Entry], key: str, table: Any) -> Entry | None:
        """Read one table; None if it switches a known one off."""
        place = f"{self.at}{key}"
        if not isinstance(table, Mapping):
            raise refuse(
                f"{quoted(key)} is not a {self.called} but {quoted(table)}",
                f"Write a table: [{place}], and its keys below it",
                key=place,
            )
        try:
            if "key" in table:
                raise WrongError("there is no such key", "Take it out", "key")
            used = table.get("use", True) if self.switched else True
            if not isinstance(used, bool):
                raise WrongError(
                    f"{quoted(used)} is neither true nor false",
                    "Write true or false, without quotes",
                    "use",
                )
            if not used and key not in known:
                raise WrongError(
                    f"there is no {self.called} '{key}' to switch off",
                    f"Write one of {', '.join(known)}, or take this table out",
                    "use",
                )
            whole = self.over(known, key, table)
            made = self._adapter.validate_python({**whole, "key": key})
        except WrongError as error:
            where = f"{place}.{error.key}" if error.key else place
            raise InputError(Problem(error.what, error.mend, key=where)) from None
        except ValidationError as error:
            raise InputError(problems_of(error, self.model, table=place)) from None
        return Entry(whole, made) if used else None


def read_rule_file(path: Path) -> dict[str, Any]:
    """Read a TOML file of rules; refused with a sentence if it cannot be."""
    return read_toml(path, "rules file", "Check the path, or leave the rules file out")


def shipped_tables(package: str, name: str) -> dict[str, Any]:
    """Read a TOML file that lies beside the code."""
    return tomllib.loads(resources.files(package).joinpath(name).read_text(encoding="utf-8"))


def lay_over(
    entry: Entry | None, table: Mapping[str, Any], said: Collection[str]
) -> dict[str, Any]:
    """Lay a table over a known one; figures that are changed without a source are the user's.

    Parameters
    ----------
    entry : Entry, optional
        None for a new table.
    table : mapping
    said : collection of str
        Keys of what is said of the figures.
    """
    own = {key: value for key, value in table.items() if key != "use"}
    if entry is None:
        return own
    whole = {**entry.table, **own}
    if own.keys() - set(said) and "source" not in own:
        before = {key: value for key, value in whole.items() if key != "date"}
        whole = {
            **before,
            "source": f"changed by the user; before: {entry.read.source}",
            "status": "user",
            **own,
        }
    return whole
