"""Where a module holds an operator, and what another one there makes of it.

A position is drawn first and its other operator afterwards, so that operators with many others do not
count more. Arithmetic is changed to arithmetic, bits to bits, an order to an order, so that a change
gives another number and not a type error that anything would notice. Annotations are left out: they
are not run.
"""

from __future__ import annotations

import ast
import hashlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator

ARITHMETIC = ("Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow")
BITS = ("RShift", "LShift", "BitOr", "BitAnd", "BitXor")
ORDERS = ("Eq", "NotEq", "Lt", "LtE", "Gt", "GtE")
SAMENESS = ("Is", "IsNot")

#: For each kind of operator its changes, by the names that the mutation library gives them.
CHANGES = [
    tuple(f"core/Replace{kind}Operator_{word}_{other}" for other in group if other != word)
    for kind, groups in (("Binary", (ARITHMETIC, BITS)), ("Comparison", (ORDERS, SAMENESS)))
    for group in groups
    for word in group
]
CHANGES += [
    ("core/ReplaceUnaryOperator_USub_UAdd",),
    ("core/ReplaceUnaryOperator_Delete_Not",),
    ("core/ReplaceUnaryOperator_Delete_Invert",),
    ("core/ReplaceAndWithOr",),
    ("core/ReplaceOrWithAnd",),
]


@dataclass(frozen=True)
class Mutant:
    """One change of one operator of a module: the same one as long as its line is the same.

    Parameters
    ----------
    path, words : str
        The module, and its line.
    operator : str
        What is changed to what.
    number : int
        Which of the like on such lines.
    line, occurrence : int
        Where that is in the module today.
    """

    path: str
    words: str
    operator: str
    number: int
    line: int = field(compare=False)
    occurrence: int = field(compare=False)

    def __str__(self) -> str:
        change = self.operator.rpartition("/")[2]
        return f"{self.path}:{self.line} {change} {self.number}: {self.words}"

    def code(self, root: Path) -> str:
        """Give the module's text with the change."""
        text = (root / self.path).read_text(encoding="utf-8")
        return mutate_code(text, get_operator(self.operator)(), self.occurrence)


def positions(path: Path) -> Iterator[tuple[tuple[str, ...], int, int]]:
    """Give for each operator of a module its changes, its number among its kind, and its line."""
    text = path.read_text(encoding="utf-8")
    said = _annotated(text)
    nodes = list(_walk(get_ast(text)))
    for changes in CHANGES:
        operator, occurrence = get_operator(changes[0])(), 0
        for node in nodes:
            for start, _ in operator.mutation_positions(node):
                if start not in said:
                    yield changes, occurrence, start[0]
                occurrence += 1


def draw(paths: list[Path], root: Path, count: int, seed: int) -> list[Mutant]:
    """Draw so many mutants of some modules, each position once.

    Each position draws its lot from the seed, the module, the words of its line and its place among
    the changes of that line. So a change of other lines leaves the drawn mutants what they are.
    What the library takes for an operator and is none, such as the star of a parameter list, makes no
    Python and is passed over.
    """
    lots = []
    for path in paths:
        name = path.relative_to(root).as_posix()
        words = path.read_text(encoding="utf-8").splitlines()
        alike: Counter = Counter()
        for changes, occurrence, line in positions(path):
            key = (seed, name, words[line - 1].strip(), changes[0])
            alike[key] += 1
            lots.append((_lot(*key, alike[key]), changes, key, alike[key], line, occurrence))
    chosen: list[Mutant] = []
    for lot, changes, (_, name, line_words, _), number, line, occurrence in sorted(lots):
        if len(chosen) == count:
            break
        change = changes[lot % len(changes)]
        mutant = Mutant(name, line_words, change, number, line, occurrence)
        if _is_python(mutant.code(root)):
            chosen.append(mutant)
    return chosen


def _lot(*words) -> int:
    return int(hashlib.sha256(repr(words).encode()).hexdigest(), 16)


def _is_python(code: str) -> bool:
    try:
        compile(code, "mutant", "exec")
    except SyntaxError:
        return False
    return True


def _walk(node):
    yield node
    for child in getattr(node, "children", ()):
        yield from _walk(child)


def _annotated(text: str) -> set[tuple[int, int]]:
    """Line and column of all that stands in annotations."""
    said = set()
    for node in ast.walk(ast.parse(text)):
        for part in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if isinstance(part, ast.AST):
                lines = range(part.lineno, part.end_lineno + 1)
                for line in lines:
                    first = part.col_offset if line == part.lineno else 0
                    last = part.end_col_offset if line == part.end_lineno else 1000
                    said |= {(line, column) for column in range(first, last)}
    return said
