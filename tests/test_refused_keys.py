"""Every key that a refusal or a finding names is a key of the plan, an option or an input.

The keys are found in the source: in what is given as ``key=`` and in the words of the messages.
"""

import ast
import re
from fnmatch import fnmatchcase
from pathlib import Path

import click
import pytest

from screenplan.commandline.main import main
from screenplan.plan import SECTIONS, TAPE_TABLES, Ground, LayerSource
from screenplan.processes.documents import SUBJECT
from screenplan.running.descriptions import describe_keys

PACKAGE = Path(__file__).parent.parent / "screenplan"
#: Calls that make what a person reads of a fault: their texts may name keys.
SPEAKS = {"refuse", "Problem", "Finding", "InputError", "click.echo", "echo", "wrong"}
#: Calls whose ``key`` is no key of a plan: a layer's identifier, a place in the report, an attribute of XML.
OTHER_KEYS = {
    "Contract",
    "Shown",
    "SubElement",
    "Element",
    "sorted",
    "min",
    "max",
    "sort_values",
    "replace",
}
#: A figure of a rule or limit: [rules.KEY] in a plan, [KEY] in a rule file; what a key may be is the
#: user's, and the name is the loader's own.
RULE_ROOM = "rules"
#: A key in running text; ``[rows] along`` too.
IN_TEXT = re.compile(rf"\b({'|'.join([*SECTIONS, 'terrain', 'layers', 'tape'])})\.([a-z_]+)\b")
IN_BRACKETS = re.compile(r"\[([a-z]+)\] ([a-z_]+) ?=")
#: File names and words of other things that look like keys.
NO_KEYS = {"plan.gpkg", "plan.qgz", "species.toml", "species.py", "site.gpkg"}


def plan_keys() -> set[str]:
    keys = {
        f"{section}.{name}" for section, model in SECTIONS.items() for name in model.model_fields
    }
    keys |= set(SECTIONS) | {"species", "layers", "terrain"}
    keys |= {f"terrain.{name}" for name in Ground.model_fields}
    keys |= {
        f"{table}.{name}" for table, model in TAPE_TABLES.items() for name in model.model_fields
    } | {"tape"}
    return keys


def options() -> set[str]:
    """Every option of the command line."""
    found, left = set(), [main]
    while left:
        command = left.pop()
        left += getattr(command, "commands", {}).values()
        found |= {
            opt
            for parameter in command.params
            if isinstance(parameter, click.Option)
            for opt in parameter.opts
        }
    return found


KEYS = plan_keys()
#: Keys in which a name of the user's stands.
OPEN = ["species.*", "species.*.*", "layers.*", "layers.*.columns.*", "layers.*.fixed.*"]
OPEN += [f"layers.*.{name}" for name in LayerSource.model_fields]
KNOWN = KEYS | options() | set(SUBJECT)


def exists(key: str) -> bool:
    """Tell whether a key exists; ``*`` stands for what is only known when it is said."""
    if "*" in key and key not in OPEN:
        return any(fnmatchcase(known, key) for known in KNOWN) or any(
            fnmatchcase(key, known) for known in OPEN
        )
    return key in KNOWN or any(fnmatchcase(key, known) for known in OPEN)


def in_loops(tree: ast.AST):
    """Give every call with the words that the loops around it go through, by name."""

    def look(node: ast.AST, words: dict[str, list[str]]):
        if isinstance(node, ast.For):
            words = words | _words_of(node)
        if isinstance(node, ast.Call):
            yield node, words
        for child in ast.iter_child_nodes(node):
            yield from look(child, words)

    yield from look(tree, {})


def _words_of(loop: ast.For) -> dict[str, list[str]]:
    if not isinstance(loop.iter, (ast.Tuple, ast.List)):
        return {}
    found: dict[str, list[str]] = {}
    targets = loop.target.elts if isinstance(loop.target, ast.Tuple) else [loop.target]
    for row in loop.iter.elts:
        cells = row.elts if isinstance(loop.target, ast.Tuple) and isinstance(row, ast.Tuple) else [row]  # fmt: skip
        for target, cell in zip(targets, cells, strict=False):
            if isinstance(cell, ast.Constant) and isinstance(cell.value, str):
                found.setdefault(getattr(target, "id", ""), []).append(cell.value)
    return found


def texts_of(node: ast.AST, words: dict[str, list[str]]) -> list[str]:
    """The texts that a string may be, with * for what is only known when it is said."""
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else []
    if isinstance(node, ast.Name):
        return words.get(node.id, [])
    if isinstance(node, ast.IfExp):
        return [*texts_of(node.body, words), *texts_of(node.orelse, words)]
    if isinstance(node, ast.FormattedValue):
        return texts_of(node.value, words) if isinstance(node.value, ast.Name) and node.value.id in words else ["*"]  # fmt: skip
    if isinstance(node, ast.JoinedStr):
        said = [""]
        for part in node.values:
            said = [before + more for before in said for more in texts_of(part, words)]
        return said
    return []


def called(node: ast.Call) -> str:
    function = node.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def named_keys(tree: ast.AST):
    """Give (line, key) of every key that is given to a call or stands in a message."""
    for node, words in in_loops(tree):
        if called(node) not in OTHER_KEYS:
            for word in node.keywords:
                if word.arg == "key":
                    yield from ((node.lineno, key) for key in texts_of(word.value, words))
        if called(node) in SPEAKS:
            for text in messages(node, words):
                for found in IN_TEXT.finditer(text):
                    yield node.lineno, found[0]
                for section, key in IN_BRACKETS.findall(text):
                    yield node.lineno, f"{section}.{key}"


def messages(call: ast.Call, words) -> list[str]:
    """The texts in a call's own arguments."""
    given = [*call.args, *(word.value for word in call.keywords if word.arg != "key")]
    return [text for part in given for inner in ast.walk(part) for text in texts_of(inner, words)]


FILES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_key_that_a_message_names_exists(path):
    in_rules = path.relative_to(PACKAGE).parts[0] == RULE_ROOM
    wrong = [
        (line, key)
        for line, key in named_keys(ast.parse(path.read_text(encoding="utf-8")))
        if key not in NO_KEYS and not exists(key) and not (in_rules and key.startswith("*"))
    ]
    assert not wrong


#: The sections by the names of their classes and by those in a plan.
BY_NAME = {model.__name__: model for model in SECTIONS.values()} | SECTIONS


def sections_asked(tree: ast.AST):
    """Give (line, section or None, field) of every ``Rows.key("spacing")`` and ``plan.rows.key("spacing")``.

    The section is None where a variable of another name holds it.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and called(node) == "key" and len(node.args) == 1:
            holder = node.func.value if isinstance(node.func, ast.Attribute) else None
            name = getattr(holder, "attr", getattr(holder, "id", ""))
            for field in texts_of(node.args[0], {}):
                yield node.lineno, BY_NAME.get(name), field


def literal_keys(tree: ast.AST):
    """Give (line, key) of every key of a section that is given to a call as ``key`` in letters."""
    for node, words in in_loops(tree):
        for word in node.keywords:
            if word.arg == "key":
                for key in texts_of(word.value, words):
                    section, _, field = key.partition(".")
                    if section in SECTIONS and field:
                        yield node.lineno, key


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_refusals_key_is_its_sections_field(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not list(literal_keys(tree))
    every = {
        field
        for model in (*SECTIONS.values(), *TAPE_TABLES.values())
        for field in model.model_fields
    }
    wrong = [
        (line, field)
        for line, section, field in sections_asked(tree)
        if field not in (every if section is None else section.model_fields)
    ]
    assert not wrong


def test_the_search_for_sections_finds_faults():
    tree = ast.parse('refuse("a", "b", key=Rows.key("alonk"))\nrefuse("a", "b", key="rows.along")')
    assert list(sections_asked(tree)) == [(1, SECTIONS["rows"], "alonk")]
    assert list(literal_keys(tree)) == [(2, "rows.along")]
    asked = [
        section
        for path in FILES
        for section in sections_asked(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert len(asked) > 30
    assert sum(section is not None for _, section, _ in asked) > 25


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_message_speaks_of_a_parameter_as_python_calls_it(path):
    """A plan says ``rows.spacing``; ``spacing_m`` is what a function within might call it."""
    suffixes = {"m": "_m", "m3": "_m3", "deg": "_deg", "min": "_minutes"}
    names = {key.key.split(".")[1] + suffixes[key.unit] for key in describe_keys() if key.unit in suffixes}  # fmt: skip
    python = re.compile(rf"(?<!column )\b({'|'.join(sorted(names))})\b")
    wrong = [
        (call.lineno, found[0])
        for call, words in in_loops(ast.parse(path.read_text(encoding="utf-8")))
        if called(call) in SPEAKS
        for text in messages(call, words)
        for found in python.finditer(text)
    ]
    assert not wrong


def test_the_search_finds_keys_and_faults():
    source = (
        'refuse("a", "Set rows.spacing", key="rows.pattern")\n'
        'refuse("b", f"Write [rows] alonk = {x}", key=f"fence.{name}")\n'
    )
    source += 'for name in ("step", "cel"):\n refuse(f"{name} is 0", "c", key=f"light.{name}")\n'
    found = dict.fromkeys(key for _, key in named_keys(ast.parse(source)))
    assert set(found) == {
        "rows.pattern", "rows.spacing", "rows.alonk", "fence.*", "light.step", "light.cel",
    }  # fmt: skip
    assert [key for key in found if not exists(key)] == ["rows.pattern", "rows.alonk", "light.cel"]
    assert exists("layers.parcels.columns.height_m")
    assert exists("--python")
    assert not exists("light.step_minutes")
    # The plan's own text names real keys only, so many that the search does not run dry.
    assert (
        sum(len(list(named_keys(ast.parse(path.read_text(encoding="utf-8"))))) for path in FILES)
        > 60
    )
