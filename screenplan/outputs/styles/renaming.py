"""A style for a file whose columns are called otherwise, such as a Shapefile's of ten letters."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from xml.etree.ElementTree import fromstring, tostring

from screenplan.outputs.styles.qml import HEADER

#: Attributes that hold the name of a column, or an expression; others hold words for people.
_NAMES = ("field", "attr", "fieldName")
_EXPRESSIONS = ("attr", "fieldName", "filter", "value")
#: A column as an expression names it.
_QUOTED = re.compile(r'"(\w+)"')


#: Yes, as a column of yes and no is read of a Shapefile: a letter, or a number, by age of the reader.
_YES = "('T', '1', 'true')"


def rename_columns(document: str, names: Mapping[str, str], letters: Collection[str] = ()) -> str:
    """Give a QML document for columns of other names.

    Parameters
    ----------
    document : str
        As `screenplan.outputs.styles.style_qml` gives it.
    names : mapping of str to str
        The name in the file, by the name in the layer; others stay as they are.
    letters : collection of str
        The columns of yes and no that the desktop GIS reads as a letter, by the name in the layer.

    Returns
    -------
    str

    Examples
    --------
    >>> from screenplan.outputs.styles import style_qml
    >>> shorter = rename_columns(style_qml("crowns"), {"plant_id": "plant"})
    >>> '<alias field="plant" ' in shorter, "plant_id" in shorter
    (True, False)
    """

    def column(found: re.Match) -> str:
        written = f'"{names.get(found[1], found[1])}"'
        return f"(to_string({written}) IN {_YES})" if found[1] in letters else written

    def renamed(expression: str) -> str:
        return _QUOTED.sub(column, expression)

    root = fromstring(document.removeprefix(HEADER))
    for element in root.iter():
        for attribute in _NAMES:
            if (name := element.get(attribute, "")) in names:
                element.set(attribute, names[name])
        for attribute in _EXPRESSIONS:
            if '"' in (text := element.get(attribute, "")):
                element.set(attribute, renamed(text))
        if element.text and '"' in element.text:
            element.text = renamed(element.text)
    return HEADER + tostring(root, encoding="unicode") + "\n"
