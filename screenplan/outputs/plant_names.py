"""What people call plants, by their keys in the species table."""

from __future__ import annotations

from collections.abc import Mapping


def names_in(keys: str, names: Mapping[str, str]) -> str:
    """Name the kinds of a row; a key without a name stands for itself.

    Parameters
    ----------
    keys : str
        A key of the species table; of a mixed row several, parted by commas.
    names : mapping of str to str
        What people call each species, by its key.

    Examples
    --------
    >>> names_in("ilex_opaca, mine", {"ilex_opaca": "American holly"})
    'American holly, mine'
    """
    return ", ".join(names.get(key, key) for key in keys.split(", "))
