"""The style of the raster of sun hours: the year with least sun, in six classes from shade to sun."""

from __future__ import annotations

import math
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import pandas as pd

from screenplan.outputs.palette import SUN
from screenplan.outputs.styles.qml import HEADER, VERSION, rgba

OPACITY = 0.8
#: Classes are a whole number of this many hours wide.
STEP_H = 100.0


def write_sun_qml(sun_grid: pd.DataFrame) -> str:
    """Write the raster's style as a QML document.

    Parameters
    ----------
    sun_grid : DataFrame
        The layer of that name, from which the raster is made; not empty.

    Returns
    -------
    str
    """
    worst = darkest_year(sun_grid)
    root = Element(
        "qgis", version=VERSION, styleCategories="AllStyleCategories",
        hasScaleBasedVisibilityFlag="0", minScale="100000000", maxScale="0",
    )  # fmt: skip
    root.append(sun_pipe(1 if worst is None else worst[0], float(sun_grid["sun_now_h"].max())))
    SubElement(root, "blendMode").text = "0"
    indent(root, " ")
    return HEADER + tostring(root, encoding="unicode") + "\n"


def sun_pipe(band: int, most_h: float) -> Element:
    """Make the renderer of one band as the desktop GIS keeps it.

    Parameters
    ----------
    band : int
        Which year is shown, from 1.
    most_h : float
        The most hours of sun a year of any cell.
    """
    pipe = Element("pipe")
    classes = sun_classes(most_h)
    highest = f"{classes[-1][0]:g}"
    renderer = SubElement(
        pipe, "rasterrenderer", type="singlebandpseudocolor", band=str(band), opacity=f"{OPACITY:g}",
        alphaBand="-1", classificationMin="0", classificationMax=highest,
    )  # fmt: skip
    shader = SubElement(
        SubElement(renderer, "rastershader"), "colorrampshader", colorRampType="DISCRETE",
        classificationMode="1", clip="0", minimumValue="0", maximumValue=highest,
    )  # fmt: skip
    ramp = SubElement(shader, "colorramp", type="gradient", name="[source]")
    options = SubElement(ramp, "Option", type="Map")
    for name, colour in (("color1", SUN[0]), ("color2", SUN[-1])):
        SubElement(options, "Option", name=name, type="QString", value=rgba(colour, 1.0))
    SubElement(options, "Option", name="discrete", type="QString", value="0")
    for top, colour, label in classes:
        value = "inf" if top == classes[-1][0] else f"{top:g}"
        SubElement(shader, "item", value=value, color=colour, alpha="255", label=label)
    return pipe


def sun_classes(most_h: float) -> list[tuple[float, str, str]]:
    """Give the top of each class in hours a year, its colour and its label, from shade to sun."""
    step = max(STEP_H * math.ceil(most_h / len(SUN) / STEP_H), STEP_H)
    classes = []
    for number, colour in enumerate(SUN, start=1):
        low, top = step * (number - 1), step * number
        says = (
            f"{low:.0f} h a year and more"
            if number == len(SUN)
            else f"{low:.0f} to {top:.0f} h a year"
        )
        classes.append((top, colour, says))
    return classes


def darkest_year(sun_grid: pd.DataFrame) -> tuple[int, int] | None:
    """Give the band and the year of the raster in which the ground has least sun."""
    years = [name for name in sun_grid.columns if name.startswith("sun_y")]
    if not len(sun_grid) or not years:
        return None
    worst = min(years, key=lambda name: float(sun_grid[name].sum()))
    return 2 + years.index(worst), int(worst.removeprefix("sun_y"))
