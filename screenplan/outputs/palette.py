"""The project's colours: one palette for drawings and for the layers' styles.

Every colour has a role. No role is told by colour alone: lines differ by their dashes and widths,
areas by their hatch, marks by their shape. The ramps run from light to dark or from dark to light
all the way, so that their order is kept in grey and by colour-blind eyes.
"""

from __future__ import annotations

#: Role: colour on a light page. The values differ in grey too.
COLOURS = {
    "ink": "#1d2a2f",
    "quiet": "#5a686d",
    "faint": "#b4bec1",
    "paper": "#fdfefe",
    "ground": "#dcd6c8",
    "built": "#c9cfd1",
    "plant": "#2e6b45",
    "crown": "#a9cfb2",
    "open": "#a4420f",
    "closed": "#74858b",
    "forbid": "#97887b",
    "place": "#2b5a8c",
    "need": "#5b3f92",
    "bar": "#010101",
}
#: Something to look at before anything is dug or planted; always with an ink edge and a sign.
WARN = "#f0b429"
#: Years, from soon to late.
YEARS = ("#0f3d2e", "#27705a", "#4f9d7c", "#93c69b", "#d3e8b8")
#: Crowns by year, from planted to grown.
CROWNS = ("#2e6b45", "#4f8861", "#73a37e", "#9bbf9e", "#c3dcc1", "#e9f4e4")
#: Needed heights, from low to tall.
HEIGHTS = ("#e3d9f1", "#bfa9de", "#9478c4", "#6a4aa3", "#3a2170")
#: Sun that is lost, from little to much.
SHADE = ("#fcf1c8", "#ddcb96", "#b5b5a0", "#8794a0", "#56677c", "#2a3853")
#: Sun that is left, from shade to full sun.
SUN = ("#33434a", "#62737a", "#94a1a4", "#c3c6b8", "#e6dcb0", "#fbeebf")
#: Noise that foliage takes away, from little to much.
QUIETER = ("#d5e3f0", "#8fb3d5", "#2b5a8c")
