"""Run inside the desktop GIS itself: say which dialogs and messages are open, take a picture, leave.

Started with ``qgis --code``; the environment tells where the answer and the picture go.
"""

import json
import os
from pathlib import Path

from qgis.core import QgsProject
from qgis.PyQt.QtCore import QTimer
from qgis.PyQt.QtWidgets import QApplication, QDialog
from qgis.utils import iface

#: Milliseconds after which the project must be there and drawn.
WAIT = 400
tries = 0


def look():
    global tries
    tries += 1
    canvas = iface.mapCanvas()
    dialogs = [
        widget.windowTitle()
        for widget in QApplication.topLevelWidgets()
        if isinstance(widget, QDialog) and widget.isVisible()
    ]
    opened = bool(QgsProject.instance().mapLayers())
    if not dialogs and (not opened or canvas.isDrawing() or tries < 4) and tries < 60:
        QTimer.singleShot(WAIT, look)
        return
    messages = [item.text() for item in iface.messageBar().items()]
    extent = canvas.extent()
    iface.mainWindow().grab().save(os.environ["SHOW_PICTURE"])
    answer = {
        "dialogs": dialogs,
        "messages": messages,
        "layers": len(QgsProject.instance().mapLayers()),
        "title": iface.mainWindow().windowTitle(),
        "crs": canvas.mapSettings().destinationCrs().description(),
        "extent": [extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()],
    }
    Path(os.environ["SHOW_ANSWER"]).write_text(json.dumps(answer), encoding="utf-8")
    os._exit(0)


QTimer.singleShot(WAIT, look)
