"""From the description of a step to the parameters of its form, and from the form to plain values."""

from __future__ import annotations

import re

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessing,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterCrs,
    QgsProcessingParameterDateTime,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterDistance,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterFile,
    QgsProcessingParameterMatrix,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterRasterLayer,
    QgsProcessingParameterString,
    QgsProject,
    QgsUnitTypes,
    QgsWkbTypes,
)

from .words import tr

#: The kinds of geometry that a layer may have, and the filter of the desktop GIS for each.
FILTERS = {
    "areas": QgsProcessing.TypeVectorPolygon,
    "lines": QgsProcessing.TypeVectorLine,
    "points": QgsProcessing.TypeVectorPoint,
    "table": QgsProcessing.TypeVector,
}

#: The kind of a layer that is open, by its type of geometry.
KINDS = {
    QgsWkbTypes.PolygonGeometry: "areas",
    QgsWkbTypes.LineGeometry: "lines",
    QgsWkbTypes.PointGeometry: "points",
}

SUBJECT_ID, SUBJECT_POINT, ID_FIELD = "SUBJECT_ID", "SUBJECT_POINT", "PARCEL_ID"
COLUMNS, TERRAIN, TERRAIN_UNIT = "COLUMNS", "TERRAIN", "TERRAIN_UNIT"
PLAN, CRS, SETTINGS = "PLAN", "CRS", "SETTINGS"

#: Types of values that are numbers.
NUMBERS = ("length", "number", "integer", "volume")

#: How names of columns that differ are written, in every form that reads layers of a person.
COLUMNS_HELP = (
    "If columns of your layers are called otherwise: layer.column = your column, and its unit if "
    "it is not metres, such as buildings.height_m = HGT ft; windows.sill_m = SILL"
)

WGS84 = "EPSG:4326"


def layer_parameters(layer):
    """Make the inputs for a layer: one for each kind of geometry that it may have."""
    made = []
    several = len(layer["parts"]) > 1
    for number, part in enumerate(layer["parts"]):
        parameter = QgsProcessingParameterFeatureSource(
            part["name"].upper(),
            tr(part["title"]),
            [FILTERS[part["kind"]]],
            optional=several or not layer["needed"],
        )
        parameter.setHelp(layer_help(layer))
        parameter.setGuiDefaultValueOverride(_of_that_name(part, several))
        made.append(advanced(parameter) if number and not layer["needed"] else parameter)
    return made


def _of_that_name(part, several):
    """Give the open layer that is called so, for the form to begin with; None if there is none.

    Otherwise the form would begin with any layer of that kind of geometry.
    """
    names = {part["name"], part["name"].rpartition("_")[0] if several else part["name"]}
    for layer in QgsProject.instance().mapLayers().values():
        words = re.findall(r"[^\W_]+", layer.name().lower())
        fits = part["kind"] in ("table", KINDS.get(getattr(layer, "geometryType", lambda: None)()))
        if fits and "_".join(words) in names:
            return layer.id()
    return None


def layer_help(layer):
    """Say what a layer is, and where it comes from."""
    said = layer["meaning"] + "."
    if not layer["brought"]:
        said += f" Given by the step {' or '.join(layer['given_by'])}."
    elif layer["required"]:
        said += f" Needs the columns {', '.join(layer['required'])}."
    return said


def subject_parameters():
    """Make the inputs that say which parcel is planned."""
    return [
        QgsProcessingParameterField(
            ID_FIELD,
            tr("Field with the parcel's identifier; by default parcel_id"),
            parentLayerParameterName="PARCELS",
            optional=True,
        ),
        _helped(
            QgsProcessingParameterString(
                SUBJECT_ID, tr("Identifier of the parcel that is planned"), optional=True
            ),
            "Needed if the layer of parcels holds several, unless a point in it is given.",
        ),
        advanced(
            QgsProcessingParameterPoint(
                SUBJECT_POINT, tr("Or a point in the parcel that is planned"), optional=True
            )
        ),
    ]


def ground_parameters(*, used):
    """Make the inputs for the terrain."""
    name = tr("Terrain") if used else tr("Terrain (for the scale of the local frame)")
    terrain = _helped(
        QgsProcessingParameterRasterLayer(TERRAIN, name, optional=True),
        "A raster of ground heights; without it the site is taken as flat. Give the same to every step.",
    )
    unit = QgsProcessingParameterEnum(
        TERRAIN_UNIT,
        tr("Unit of the terrain's heights, if the raster does not state it"),
        ["m", "ft", "us-ft"],
        defaultValue=None,
        optional=True,
        usesStaticStrings=True,
    )
    return [terrain if used else advanced(terrain), advanced(unit)]


def common_parameters():
    """Make the inputs that every step has: names of columns, a plan file, the results' system."""
    return [
        advanced(columns_parameter()),
        advanced(
            _helped(
                QgsProcessingParameterFile(
                    PLAN,
                    tr("Plan file for all that this form leaves open"),
                    extension="toml",
                    optional=True,
                ),
                "What is not set in this form is taken from it: species, rules and limits of your own, "
                "how the site is known. Its layers are not read.",
            )
        ),
        advanced(
            QgsProcessingParameterCrs(
                CRS,
                tr("Reference system of the results; by default that of the parcels"),
                optional=True,
            )
        ),
    ]


def columns_parameter():
    """Make the input for columns that are called otherwise."""
    return _helped(
        QgsProcessingParameterString(
            COLUMNS, tr("Columns that are called otherwise"), optional=True
        ),
        COLUMNS_HELP,
    )


def value_name(entry):
    """Give the name of a value's input: its key in capitals."""
    return entry["key"].replace(".", "_").upper()


def value_parameter(entry):
    """Make the input for one value, typed, with its unit, range, default and help."""
    name = value_name(entry)
    label = tr(entry["label"])
    default, kind = entry["default"], entry["type"]
    optional = bool(entry["optional"])
    if kind == "length":
        made = QgsProcessingParameterDistance(name, label, defaultValue=default, optional=optional)
        made.setDefaultUnit(QgsUnitTypes.DistanceMeters)
        _limit(made, entry)
    elif kind in NUMBERS:
        which = (
            QgsProcessingParameterNumber.Integer
            if kind == "integer"
            else QgsProcessingParameterNumber.Double
        )
        made = QgsProcessingParameterNumber(name, label, which, default, optional)
        _limit(made, entry)
    elif kind == "boolean":
        made = QgsProcessingParameterBoolean(name, label, default, optional)
    elif kind == "choice" or (kind == "list" and entry["item"] == "choice"):
        several = kind == "list"
        made = QgsProcessingParameterEnum(
            name,
            label,
            [str(choice) for choice in entry["choices"]],
            allowMultiple=several,
            defaultValue=None if several or default is None else str(default),
            optional=several or optional,
            usesStaticStrings=True,
        )
    elif kind == "date":
        made = QgsProcessingParameterDateTime(
            name, label, QgsProcessingParameterDateTime.Date, None, True
        )
    elif kind in ("table", "tables") or entry["item"] == "list":
        made = QgsProcessingParameterMatrix(
            name, label, 0, False, entry["headers"], None, optional=True
        )
    elif entry["suggestions"]:
        # A list to tick; what a plan file adds is named there.
        made = QgsProcessingParameterEnum(
            name,
            label,
            entry["suggestions"],
            allowMultiple=True,
            defaultValue=default,
            optional=True,
            usesStaticStrings=True,
        )
    else:
        shown = ", ".join(str(item) for item in default) if kind == "list" else default
        made = QgsProcessingParameterString(name, label, shown or None, optional=True)
    made.setHelp(tr(entry["help"]))
    return advanced(made) if entry["advanced"] else made


def value_of(algorithm, entry, parameters, context):
    """Read one value from a filled form as text, number, boolean or list; None if it is not set."""
    name = value_name(entry)
    given = parameters.get(name)
    if given is None or given == "" or given == []:
        return None
    kind = entry["type"]
    if kind == "integer":
        return algorithm.parameterAsInt(parameters, name, context)
    if kind in NUMBERS:
        return algorithm.parameterAsDouble(parameters, name, context)
    if kind == "boolean":
        return algorithm.parameterAsBoolean(parameters, name, context)
    if kind == "choice":
        return _chosen(entry, algorithm.parameterAsEnumString(parameters, name, context))
    if kind == "list" and entry["item"] == "choice":
        chosen = algorithm.parameterAsEnumStrings(parameters, name, context)
        return [_chosen(entry, text) for text in chosen]
    if entry["suggestions"]:
        return ", ".join(algorithm.parameterAsEnumStrings(parameters, name, context)) or None
    if kind == "date":
        day = algorithm.parameterAsDateTime(parameters, name, context)
        return day.date().toString("yyyy-MM-dd") if day.isValid() else None
    if kind in ("table", "tables") or entry["item"] == "list":
        cells = [str(cell) for cell in algorithm.parameterAsMatrix(parameters, name, context)]
        width = len(entry["headers"])
        return [cells[start : start + width] for start in range(0, len(cells), width)] or None
    text = algorithm.parameterAsString(parameters, name, context).strip()
    if kind == "list":
        parts = [part.strip() for part in text.replace(";", ",").split(",")]
        return [part for part in parts if part] or None
    return text or None


def subject_of(algorithm, parameters, context):
    """Read which parcel is planned: ``subject_id``, or ``subject_point`` as longitude, latitude."""
    subject = {}
    if parameters.get(SUBJECT_ID):
        subject["subject_id"] = algorithm.parameterAsString(parameters, SUBJECT_ID, context).strip()
    if parameters.get(SUBJECT_POINT):
        point = algorithm.parameterAsPoint(
            parameters, SUBJECT_POINT, context, QgsCoordinateReferenceSystem(WGS84)
        )
        subject["subject_point"] = [point.x(), point.y()]
    if parameters.get(ID_FIELD):
        subject["id_field"] = algorithm.parameterAsFields(parameters, ID_FIELD, context)[0]
    return subject


def advanced(parameter):
    """Put a parameter among the advanced ones, and give it back."""
    parameter.setFlags(parameter.flags() | QgsProcessingParameterDefinition.FlagAdvanced)
    return parameter


def _helped(parameter, text):
    parameter.setHelp(tr(text))
    return parameter


def _limit(parameter, entry):
    if entry["low"] is not None:
        parameter.setMinimum(entry["low"])
    if entry["high"] is not None:
        parameter.setMaximum(entry["high"])


def _chosen(entry, text):
    return next((choice for choice in entry["choices"] if str(choice) == text), text)


def by_word(definitions, parameters):
    """Give the parameters with each choice by its word, where a script gives its number in the list.

    A number that is itself a word of the list stays: it means that word.
    """
    changed = {}
    for definition in definitions:
        given = parameters.get(definition.name())
        if isinstance(definition, QgsProcessingParameterEnum) and given not in (None, ""):
            options = definition.options()
            several = isinstance(given, (list, tuple)) or definition.allowMultiple()
            if several:
                listed = given.split(",") if isinstance(given, str) else given
                listed = listed if isinstance(listed, (list, tuple)) else [listed]
                changed[definition.name()] = [word_of(options, each) for each in listed]
            else:
                changed[definition.name()] = word_of(options, given)
    return {**parameters, **changed}


def word_of(options, given):
    """Give a choice by its word; what is neither a word nor a number of the list stays as it is."""
    text = str(given).strip()
    if text in options or isinstance(given, bool):
        return text
    return options[int(text)] if text.isdigit() and int(text) < len(options) else given
