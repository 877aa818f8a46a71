"""The help of a form, as the desktop GIS shows it beside the form."""

from __future__ import annotations

from html import escape

CAUTION = (
    "Before any digging, have buried lines located by your local locating service. "
    "Setbacks that come with the library are common practice; your local code decides."
)
CHOICES = (
    "A script or the headless runner gives a choice by its word, such as us, or by its number in the list, "
    "counted from 0."
)
LENGTHS = (
    "Lengths are in metres inside; the form takes other units and changes them. A length that a script "
    "or the headless runner gives is in metres, whatever units of distance are set there. Directions "
    "are degrees clockwise from true north."
)


def step_help(step):
    """Say what a step takes and gives; what it does, the desktop GIS says above."""
    parts = [_list("Input layers", [_layer(layer, source=True) for layer in step["inputs"]])]
    if step["parameters"]:
        parts.append(_list("Parameters", [_value(entry) for entry in step["parameters"]]))
    if step["resources"]:
        parts.append(
            _list("It also uses", [escape(entry["meaning"]) for entry in step["resources"]])
        )
    parts.append(_list("Results", [_layer(layer) for layer in step["outputs"]]))
    parts.append(f"<p>{LENGTHS} {CHOICES}</p><p>{CAUTION}</p>")
    return "\n".join(parts)


def plan_help(lead, values, layers=()):
    """Say what a whole plan takes and gives."""
    parts = [f"<p>{escape(text)}</p>" for text in lead]
    if layers:
        parts.append(_list("Input layers", [_layer(layer, source=True) for layer in layers]))
    if values:
        parts.append(_list("Parameters", [_value(entry) for entry in values]))
    parts.append(f"<p>{LENGTHS} {CHOICES}</p><p>{CAUTION}</p>")
    return "\n".join(parts)


def _list(title, items):
    return f"<h3>{title}</h3><ul>" + "".join(f"<li>{item}</li>" for item in items) + "</ul>"


def _layer(layer, *, source=False):
    said = f"<b>{escape(layer['title'])}</b>"
    kinds = [part["kind"] for part in layer["parts"]]
    notes = ["table" if kinds == ["table"] else " or ".join(kinds)]
    if source:
        notes.append("needed" if layer["needed"] else "optional")
        if not layer["brought"]:
            notes.append(f"from the step {' or '.join(layer['given_by'])}")
    said += f" ({', '.join(notes)}): {escape(layer['meaning'])}."
    columns = [_column(column) for column in layer["columns"]]
    if columns and (layer["brought"] or not source):
        said += " Columns: " + "; ".join(columns) + "."
    return said


def _column(column):
    name = column["name"] + ("_yNN" if column["per_year"] else "")
    notes = [column["type"]]
    if column["unit"]:
        notes.append(column["unit"])
    if column["required"]:
        notes.append("needed")
    if column["default"] is not None:
        notes.append(f"by default {column['default']}")
    if column["choices"]:
        notes.append(" or ".join(column["choices"]))
    return f"<i>{escape(name)}</i> ({escape(', '.join(notes))}) {escape(column['meaning'])}"


def _value(entry):
    said = f"<b>{escape(entry['title'])}</b>: {escape(entry['help'])}{escape(entry['range'])}"
    if entry["suggestions"]:
        said += f": {escape(', '.join(entry['suggestions']))}"
    return said + f". Key of the plan: <i>{escape(entry['key'])}</i>."
