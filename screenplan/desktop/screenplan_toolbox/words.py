"""The texts of the forms in the language of the desktop GIS, where somebody has translated them.

``i18n/screenplan.ts`` lists every text; Qt's own tools make ``screenplan_de.qm`` of a translated one, which is
read from the same folder.
"""

from __future__ import annotations

from qgis.PyQt.QtCore import QCoreApplication, QTranslator

from .toolbox import HERE

#: Under which the texts stand in a translation.
CONTEXT = "Screenplan"


def tr(text):
    """Give a text in the language of the desktop GIS; itself if nobody has translated it."""
    return QCoreApplication.translate(CONTEXT, text)


def load_translation(language):
    """Read the translation for a language such as ``de_AT``; None if there is none."""
    for name in (language, language.split("_")[0]):
        file = HERE / "i18n" / f"screenplan_{name}.qm"
        if file.is_file():
            translator = QTranslator()
            if translator.load(str(file)) and QCoreApplication.installTranslator(translator):
                return translator
    return None
