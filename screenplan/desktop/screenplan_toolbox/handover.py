"""Layers of the desktop GIS handed over as files, and results taken back into its layers."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsFeature,
    QgsFeatureRequest,
    QgsFeatureSink,
    QgsField,
    QgsFields,
    QgsGeometry,
    QgsProcessingException,
    QgsProcessingFeatureSource,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)
from qgis.PyQt.QtCore import QMetaType, QVariant

#: Qt 6 has the types of values with `QMetaType`, Qt 5 with `QVariant`, and there a field takes those alone.
_OLD = hasattr(QVariant, "Int")
_NAMES = {
    "Bool": "Bool",
    "Int": "Int",
    "UInt": "UInt",
    "LongLong": "LongLong",
    "ULongLong": "ULongLong",
    "Double": "Double",
    "String": "QString",
    "Date": "QDate",
    "DateTime": "QDateTime",
}


def type_named(name):
    """Give the type of a field's values by the name that Qt 5 has for it."""
    return getattr(QVariant, name) if _OLD else getattr(QMetaType.Type, _NAMES[name])


#: Types that a GeoPackage holds; a column of another type is handed over as text.
PLAIN = tuple(map(type_named, _NAMES))
#: Columns of the handed-over file that stand for nothing in the layer.
OWN_FID, OWN_GEOMETRY = "handed_fid", "handed_geom"


def hand_over(source, name, folder, context):
    """Write what a form names as a layer: unsaved edits, a filter and a selection hold.

    Parameters
    ----------
    source : QgsProcessingFeatureSource
        The layer, as the form gives it.
    name : str
        What it is in the library.
    folder : path
        Where the file goes.

    Returns
    -------
    dict
        ``file``, ``layer``, the reference system as ``crs`` (its code) and ``crs_wkt``, and what
        the layer is called here as ``shown``.
    """
    path = Path(folder) / f"{name}.gpkg"
    fields = QgsFields()
    taken = []
    for position, field in enumerate(source.fields()):
        if field.name().lower() in {known.name().lower() for known in fields}:
            continue
        kept = (
            QgsField(field)
            if field.type() in PLAIN
            else QgsField(field.name(), type_named("String"))
        )
        fields.append(kept)
        taken.append((position, field.type() in PLAIN))
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName, options.layerName, options.fileEncoding = "GPKG", name, "UTF-8"
    options.layerOptions = [f"FID={OWN_FID}", f"GEOMETRY_NAME={OWN_GEOMETRY}"]
    crs = source.sourceCrs()
    writer = QgsVectorFileWriter.create(
        str(path),
        fields,
        QgsWkbTypes.linearType(source.wkbType()),
        crs,
        context.transformContext(),
        options,
    )
    try:
        _check(writer, name)
        # Broken geometry is handed over too: the library mends it and says so, row by row.
        rows = source.getFeatures(
            QgsFeatureRequest(), QgsProcessingFeatureSource.FlagSkipGeometryValidityChecks
        )
        for row in rows:
            handed = QgsFeature(fields)
            values = row.attributes()
            handed.setAttributes(
                [
                    values[position] if plain or values[position] is None else str(values[position])
                    for position, plain in taken
                ]
            )
            handed.setGeometry(_straight(row.geometry()))
            if not writer.addFeature(handed, QgsFeatureSink.FastInsert):
                _check(writer, name)
        writer.flushBuffer()
        _check(writer, name)
    finally:
        del writer  # closes the file
    return {
        "file": str(path),
        "layer": name,
        "crs": crs.authid(),
        "crs_wkt": crs.toWkt(crs.WKT2_2019) if crs.isValid() else "",
        "shown": source.sourceName(),
    }


def take_back(algorithm, name, path, layer, parameters, context, crs, feedback):
    """Put one layer of results where the form wants it.

    Returns
    -------
    str or None
        What the desktop GIS calls the layer; None if the form leaves it out.
    """
    result = QgsVectorLayer(f"{path}|layername={layer}", layer, "ogr")
    if not result.isValid():
        raise QgsProcessingException(f"The library's result {layer} cannot be read.")
    fields = QgsFields()
    positions = []
    for position, field in enumerate(result.fields()):
        if field.name() != "fid":
            fields.append(field)
            positions.append(position)
    spatial = result.wkbType() != QgsWkbTypes.NoGeometry
    if parameters.get(name) in (None, ""):
        return None
    try:
        sink, destination = algorithm.parameterAsSink(
            parameters, name, context, fields, result.wkbType(), crs if spatial else type(crs)()
        )
    except QgsProcessingException as error:
        raise _not_written(layer, str(error)) from None
    if sink is None:
        raise _not_written(layer, str(parameters[name]))
    for row in result.getFeatures():
        made = QgsFeature(fields)
        values = row.attributes()
        made.setAttributes([values[position] for position in positions])
        made.setGeometry(row.geometry())
        if not sink.addFeature(made, QgsFeatureSink.FastInsert):
            raise QgsProcessingException(
                f"A row of the result {layer} cannot be written: {sink.lastError()}. "
                "Is the file open in another program, or the disk full?"
            )
    sink.flushBuffer()
    del sink  # closes the file
    feedback.pushInfo(f"{layer}: {result.featureCount()} rows")
    return destination


def _not_written(layer, why):
    return QgsProcessingException(
        f"The result {layer} cannot be written: {why.rstrip('.')}. Close its file in other programs, "
        "make its folder, check the permissions, or choose another place."
    )


def _straight(geometry):
    """Give a geometry without arcs, which the library does not read."""
    part = geometry.constGet()
    if part is None or not part.hasCurvedSegments():
        return geometry
    return QgsGeometry(part.segmentize())


def _check(writer, name):
    if writer.hasError() != QgsVectorFileWriter.NoError:
        raise QgsProcessingException(
            f"The layer {name} cannot be handed over: {writer.errorMessage()}. Is the disk for "
            "temporary files full?"
        )
