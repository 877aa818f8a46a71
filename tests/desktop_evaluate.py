"""Run by the system's Python: work an expression of the desktop GIS out for some numbers.

Read from standard input: ``expression``, in which ``"v_m"`` stands for the number, and ``values``.
"""

import json
import sys

from qgis.core import QgsApplication, QgsExpression

asked = json.load(sys.stdin)
application = QgsApplication([], False)
application.initQgis()
texts = [asked["expression"].replace('"v_m"', repr(value)) for value in asked["values"]]
json.dump([QgsExpression(text).evaluate() for text in texts], sys.stdout)
sys.stdout.flush()
