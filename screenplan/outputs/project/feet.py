"""Labels in feet, where the plan is in feet: the layers themselves hold metres."""

from __future__ import annotations

import re

from screenplan.ground.said import FOOT_M

#: A length of a label's expression: its column, its decimals, and the unit and words behind it.
_LENGTH = re.compile(r"""format_number\("(\w+_m)", (\d)\)(?: \|\| ' m([^']*)')?""")
#: What is written to the centimetre is read off a tape.
_OF_A_TAPE = "2"
_EIGHTHS = "'1/8','1/4','3/8','1/2','5/8','3/4','7/8'"


def in_feet(expression: str) -> str:
    '''Make a label's expression write feet for metres, and feet and inches where a tape is read.

    Parameters
    ----------
    expression : str
        In the desktop GIS's language. Lengths in it are ``format_number("…_m", decimals)``, with
        ``|| ' m…'`` behind them or without.

    Examples
    --------
    >>> print(in_feet("""format_number("length_m", 1) || ' m high'"""))
    format_number("length_m" / 0.3048, 1) || ' ft high'
    '''

    def write(found: re.Match) -> str:
        column, decimals, rest = found.groups()
        if decimals == _OF_A_TAPE:
            return _tape(column) + (f" || '{rest}'" if rest else "")
        unit = "" if rest is None else f" || ' ft{rest}'"
        return f'format_number("{column}" / {FOOT_M}, {decimals}){unit}'

    return _LENGTH.sub(write, expression)


def _tape(column: str) -> str:
    """Write a length as `screenplan.ground.units.format_tape` does: to an eighth of an inch."""
    feet = "if(@e >= 96, to_int(floor(@e / 96)) || '′ ', '')"
    inches = "if(@e >= 8 or @e % 8 = 0, to_int(floor((@e % 96) / 8)), '')"
    between = "if(@e >= 8 and @e % 8 > 0, ' ', '')"
    part = f"if(@e % 8 > 0, array_get(array({_EIGHTHS}), to_int(@e % 8) - 1), '')"
    length = f'round("{column}" / {FOOT_M} * 96)'
    return f"with_variable('e', {length}, {feet} || {inches} || {between} || {part} || '″')"
