"""Where a module holds an operator, and what another one there makes of it.

A position is drawn first and its other operator afterwards, so that operators with many others do not
count more. Arithmetic is changed to arithmetic, bits to bits, an order to an order, so that a change
gives another number and not a type error that anything would notice. Annotations are left out: they
are not run.
"""

from __future__ import annotations

import ast
import random
from collections.abc import Iterator
from dataclasses import dataclass
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
    tuple(f"core/Replace{kind}Operator_{one}_{other}" for other in group if other != one)
    for kind, groups in (("Binary", (ARITHMETIC, BITS)), ("Comparison", (ORDERS, SAMENESS)))
    for group in groups
    for one in group
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
    """One change of one operator of a module."""

    path: str
    line: int
    operator: str
    occurrence: int

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
    """Draw so many mutants of some modules, each position once, in an order that the seed fixes.

    What the library takes for an operator and is none, such as the star of a parameter list, makes no
    Python and is passed over.
    """
    chance = random.Random(seed)
    found = [
        (path.relative_to(root).as_posix(), *place)
        for path in sorted(paths)
        for place in positions(path)
    ]
    chance.shuffle(found)
    chosen: list[Mutant] = []
    for path, changes, occurrence, line in found:
        if len(chosen) == count:
            break
        mutant = Mutant(path, line, chance.choice(changes), occurrence)
        if _is_python(mutant.code(root)):
            chosen.append(mutant)
    return chosen


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
