"""The help of a form, as the desktop GIS shows it beside the form."""

from __future__ import annotations

from html import escape


def step_help(step, tr=str):
    """Say what a step takes and gives; what it does, the desktop GIS says above.

    ``tr`` gives a text in another language; by default it stays as it is.
    """
    inputs = [_layer(layer, tr, source=True) for layer in step["inputs"]]
    parts = [_list(tr("Input layers"), inputs)]
    if step["parameters"]:
        values = [_value(entry, tr) for entry in step["parameters"]]
        parts.append(_list(tr("Parameters"), values))
    if step["resources"]:
        used = [escape(tr(entry["meaning"])) for entry in step["resources"]]
        parts.append(_list(tr("It also uses"), used))
    parts.append(_list(tr("Results"), [_layer(layer, tr) for layer in step["outputs"]]))
    parts.append(_at_the_end(tr))
    return "\n".join(parts)


def plan_help(lead, values, layers=(), tr=str):
    """Say what a whole plan takes and gives; the sentences of ``lead`` are translated already."""
    parts = [f"<p>{escape(text)}</p>" for text in lead]
    if layers:
        inputs = [_layer(layer, tr, source=True) for layer in layers]
        parts.append(_list(tr("Input layers"), inputs))
    if values:
        parts.append(_list(tr("Parameters"), [_value(entry, tr) for entry in values]))
    parts.append(_at_the_end(tr))
    return "\n".join(parts)


def _at_the_end(tr):
    lengths = tr(
        "Lengths are in metres inside; the form takes other units and changes them. A length that a script "
        "or the headless runner gives is in metres, whatever units of distance are set there. Directions "
        "are degrees clockwise from true north."
    )
    choices = tr(
        "A script or the headless runner gives a choice by its word, such as us, or by its number in the list, "
        "counted from 0."
    )
    caution = tr(
        "Before any digging, have buried lines located by your local locating service. "
        "Setbacks that come with the library are common practice; your local code decides."
    )
    return f"<p>{lengths} {choices}</p><p>{caution}</p>"


def _list(title, items):
    return f"<h3>{title}</h3><ul>" + "".join(f"<li>{item}</li>" for item in items) + "</ul>"


def _layer(layer, tr, *, source=False):
    said = f"<b>{escape(tr(layer['title']))}</b>"
    kinds = [part["kind"] for part in layer["parts"]]
    either = f" {tr('or')} "
    notes = [tr("table") if kinds == ["table"] else either.join(kinds)]
    if source:
        notes.append(tr("needed") if layer["needed"] else tr("optional"))
        if not layer["brought"]:
            notes.append(f"{tr('from the step')} {either.join(layer['given_by'])}")
    said += f" ({', '.join(notes)}): {escape(tr(layer['meaning']))}."
    columns = [_column(column, tr) for column in layer["columns"]]
    if columns and (layer["brought"] or not source):
        said += f" {tr('Columns')}: " + "; ".join(columns) + "."
    return said


def _column(column, tr):
    name = column["name"] + ("_yNN" if column["per_year"] else "")
    notes = [column["type"]]
    if column["unit"]:
        notes.append(column["unit"])
    if column["required"]:
        notes.append(tr("needed"))
    if column["default"] is not None:
        notes.append(f"{tr('by default')} {column['default']}")
    if column["choices"]:
        notes.append(f" {tr('or')} ".join(column["choices"]))
    return f"<i>{escape(name)}</i> ({escape(', '.join(notes))}) {escape(tr(column['meaning']))}"


def _value(entry, tr):
    said = (
        f"<b>{escape(tr(entry['title']))}</b>: {escape(tr(entry['help']))}{escape(entry['range'])}"
    )
    if entry["suggestions"]:
        said += f": {escape(', '.join(entry['suggestions']))}"
    return said + f". {tr('Key of the plan')}: <i>{escape(entry['key'])}</i>."
