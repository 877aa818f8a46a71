"""Column names of at most ten letters, as a dBASE table takes them."""

from __future__ import annotations

from collections.abc import Iterable

#: A dBASE field name has 11 bytes, the last of which is NUL (dBASE level 5 table header).
LONGEST_NAME = 10
VOWELS = "aeiou"
#: Words of so many letters keep their vowels.
SHORT_WORD = 3
#: Ends of names that say what the value is, and stay whole.
ENDS = ("id", "m", "deg", "h", "lux", "db")


def short_names(names: Iterable[str], longest: int = LONGEST_NAME) -> dict[str, str]:
    """Shorten names so that they stay legible and differ from each other.

    The longest word gives up its last vowel until the name fits, then, when there are no vowels
    left but those of short words, its last letter; a unit or a year at the end stays. Names that would be the same get a figure.

    Parameters
    ----------
    names : iterable of str
        All of one layer, in lower case.
    longest : int
        Letters at most.

    Returns
    -------
    dict of str to str
        Short name by name, in the same order; a name that fits stays as it is.

    Examples
    --------
    >>> short_names(["plant_id", "slope_station_m", "year_closed_low", "year_closed_high"])
    {'plant_id': 'plant_id', 'slope_station_m': 'slp_sttn_m', 'year_closed_low': 'yr_cls_low', 'year_closed_high': 'yr_cls_hgh'}
    """
    names = list(names)
    short = {name: name for name in names if len(name) <= longest}
    taken = set(short)
    for name in names:
        if name in short:
            continue
        shorter = _shorten(name, longest)
        number = 2
        while shorter in taken:
            shorter = _shorten(name, longest, str(number))
            number += 1
        short[name] = shorter
        taken.add(shorter)
    return {name: short[name] for name in names}


def _shorten(name: str, longest: int, figure: str = "") -> str:
    longest -= len(figure)
    words = name.split("_")
    last = words[-1]
    whole = last in ENDS or (last[:1] == "y" and last[1:].isdigit())
    end = [words.pop()] if whole and len(words) > 1 else []
    long = [len(word) > SHORT_WORD for word in words]
    while len("_".join(words + end)) > longest and any(words):
        vowels = [
            [place for place, letter in enumerate(word) if place and letter in VOWELS]
            for word in words
        ]
        yields = [index for index in range(len(words)) if long[index] and vowels[index]]
        index = max(yields or range(len(words)), key=lambda index: (len(words[index]), index))
        place = vowels[index][-1] if yields else len(words[index]) - 1
        words[index] = words[index][:place] + words[index][place + 1 :]
    head = "_".join(word for word in words if word)
    return "_".join([head + figure, *end])
