"""Drawings in DXF: their own layers by name, closed lines as areas.

GDAL gives a drawing as one layer of all its entities, with the drawing's layer in the column `LAYER`, and a
closed polyline as a line.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.contracts import Contract
from screenplan.ground.errors import refuse
from screenplan.site.closed import as_area, takes_only_areas
from screenplan.site.features import shape_of
from screenplan.site.files import DataFile

#: GDAL's name of the layer of all entities.
ENTITIES = "entities"
LAYER = "Layer"


def read_drawing(
    data: DataFile, asked: str | None, contract: Contract
) -> tuple[gpd.GeoDataFrame, str, tuple[str, ...]]:
    """Read one layer of a drawing.

    Parameters
    ----------
    data : DataFile
        The drawing.
    asked : str or None
        The drawing's layer, in any case; None where there is just one that can be meant.
    contract : Contract
        What the layer must hold: a layer without such geometry is not meant, and closed lines are areas
        where only areas can be.

    Returns
    -------
    entities : GeoDataFrame
        Without a CRS, because a drawing states none.
    layer : str
        The drawing's layer.
    notes : tuple of str
        What was made of its entities.

    Raises
    ------
    InputError
        If there is no such layer, or several could be meant.
    """
    with data.reading(), data.collection(ENTITIES) as collection:
        features = data.features(collection, ENTITIES)
        names = list(collection.schema["properties"])
    columns = {name: [feature.properties[name] for feature in features] for name in names}
    drawing = gpd.GeoDataFrame(
        columns, geometry=[shape_of(feature.geometry) for feature in features]
    )
    areas_only = takes_only_areas(contract)
    shapes = np.array(
        [as_area(shape) if areas_only else shape for shape in drawing.geometry], dtype=object
    )
    held = np.array(
        [shape is not None and shape.geom_type in contract.geometry for shape in shapes], dtype=bool
    )
    held |= not contract.geometry
    layer = _choose(drawing, held, asked, contract, str(data.path))
    there = (
        (drawing[LAYER] == layer).to_numpy()
        if layer != ENTITIES
        else np.ones(len(drawing), dtype=bool)
    )
    notes = []
    closed = int(
        sum(
            a is not b
            for a, b in zip(shapes[there & held], drawing.geometry[there & held], strict=True)
        )
    )
    if closed:
        notes.append(f"{closed} closed lines of the drawing are taken as areas")
    others = int((there & ~held).sum())
    if others and held[there].any():
        notes.append(
            f"{others} entities of its layer that are texts, open lines or the like are left out"
        )
        there = there & held
    return (
        drawing.set_geometry(gpd.GeoSeries(shapes))[there].reset_index(drop=True),
        layer,
        tuple(notes),
    )


def _choose(
    drawing: gpd.GeoDataFrame, held: np.ndarray, asked: str | None, contract: Contract, file: str
) -> str:
    there = list(dict.fromkeys(drawing[LAYER]))
    key = f"layers.{contract.name}.layer"
    if asked is not None:
        match = [name for name in there if name.lower() == asked.lower()]
        if asked in there or match or asked == ENTITIES:
            return asked if asked in there or not match else match[0]
        raise refuse(
            f"There is no layer '{asked}' in the drawing",
            f"Name one of its layers: {', '.join(there) or 'none'}",
            file=file,
            key=key,
        )
    meant = list(dict.fromkeys(drawing[LAYER][held])) or there
    if len(meant) > 1:
        raise refuse(
            f"The drawing holds {len(meant)} layers, and none is named",
            f"Name the one that holds the {contract.name.replace('_', ' ')}: {', '.join(meant)}",
            file=file,
            key=key,
        )
    return meant[0] if meant else ENTITIES
