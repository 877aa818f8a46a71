"""The data dictionary: what each layer and table holds, from their contracts."""

from __future__ import annotations

from collections.abc import Mapping

from docs.generate.markdown import code, codes, link, page, plain, section, span, table, value
from screenplan.contracts import COUNTY, INPUTS, OUTPUTS, Column, Contract
from screenplan.contracts.written import written_parts
from screenplan.outputs.exchange import STAKEOUT_FILES
from screenplan.outputs.other_formats import FORMATS
from screenplan.running.descriptions import describe_layer

_INTRO = """\
Inside layers every length is in metres and every direction in degrees clockwise from true north;
[the conventions](#page-conventions) say the rest. The same contracts check what is read and what is
written. `share` is from 0 to 1, `year` counts from planting. A column whose name ends in `_yNN`
stands once for each reported year, as `open_y05`."""

_IN = """\
What a person may bring; only `parcels` is needed. Columns of other names or units are told in
[`[layers.NAME]`](#section-layers) of the plan. A needed column that is missing, and a value outside
its range, is refused by row."""

_OUT = """\
What a run writes: layers as GeoJSON and in a GeoPackage, tables as CSV and in the same GeoPackage. What
has no row is in the GeoPackage alone.
A column marked *always* holds a value in every row; the others may be empty."""


def layers_page() -> str:
    """Write the page."""
    return page(
        "The layers: data dictionary",
        "layers",
        _INTRO,
        section("What is read", 2, "layers-in"),
        _IN,
        *_contents(INPUTS, "in"),
        *(part for contract in INPUTS.values() for part in _layer(contract, "in")),
        section("What is written", 2, "layers-out"),
        _OUT,
        *_contents(OUTPUTS, "out"),
        *(part for contract in OUTPUTS.values() for part in _layer(contract, "out")),
        section("Other formats, and what they do not keep", 2, "formats"),
        _FORMATS,
        table(
            ["Format", "By", "What it does not keep"],
            [
                [form.title, code(f"screenplan export --as {name}"), plain(" ".join(form.losses))]
                for name, form in FORMATS.items()
            ],
        ),
        "The stake-out, in the run's folder `stakeout`:",
        table(
            ["File", "What it holds", "What it does not keep"],
            [
                [code(name), plain(f"{holds}."), plain(" ".join(losses))]
                for name, (holds, losses) in STAKEOUT_FILES.items()
            ],
        ),
        section("What a county gives", 2, "layers-county"),
        _COUNTY,
        *_contents(COUNTY, "county"),
        *(part for contract in COUNTY.values() for part in _layer(contract, "county")),
    )


_FORMATS = """\
GeoPackage and GeoJSON are written by each run and hold everything. For programs that read neither,
`screenplan export` writes the layers of a run in another format, and beside them `read_me.txt` and
`columns.csv`, which say what was lost of which column. Each format is written and read back in the tests."""

_COUNTY = (
    "GeoParquet in parts, in the system of the parcels; `county.gpkg` holds the same for a map."
)


def _contents(contracts: Mapping[str, Contract], way: str) -> list[str]:
    return [
        table(
            ["Layer", "Geometry", "A row is"],
            [
                [link(code(contract.name), f"{way}-{contract.name}"), _geometry(contract), plain(_lower(contract.meaning))]
                for contract in contracts.values()
            ],
        )
    ]  # fmt: skip


def _layer(contract: Contract, way: str) -> list[str]:
    given = describe_layer(contract).given_by if way == "out" else ()
    facts = [f"{plain(contract.meaning)}.", f"Geometry: {_geometry(contract)}."]
    if contract.key:
        facts.append(f"A row is named by {code(contract.key)}.")
    parts = written_parts(contract) if way == "out" else ()
    if len(parts) > 1:
        facts.append(f"Written as {codes(parts)}, one kind of geometry in each.")
    if contract.only_drawn:
        facts.append(
            f"Only drawings are made of it: written if {code('plan.drawing_tables')} is true."
        )
    if given:
        facts.append(f"Given by {', '.join(link(name, f'step-{name}') for name in given)}.")
    if way == "in":
        head = ["Column", "Type", "Needed, or default", "Range", "What it is"]
        rows = [
            [_name(c), _type(c), _default(c), _range(c), plain(c.meaning + _usual(c))]
            for c in contract.columns
        ]
    else:
        head = ["Column", "Type", "Filled", "Values", "What it is"]
        rows = [[_name(c), _type(c), "always" if c.required else "", _range(c), plain(c.meaning)]
                for c in contract.columns]  # fmt: skip
    return [
        section(code(contract.name), 3, f"{way}-{contract.name}"),
        " ".join(facts),
        table(head, rows),
    ]


def _usual(column: Column) -> str:
    return f". Also taken, in any case: {', '.join(column.usual)}" if column.usual else ""


def _name(column: Column) -> str:
    return code(f"{column.name}_yNN" if column.per_year else column.name)


def _type(column: Column) -> str:
    return f"{column.type}, {column.unit}" if column.unit else column.type


def _default(column: Column) -> str:
    return "needed" if column.required or column.expected else value(column.default)


def _range(column: Column) -> str:
    return codes(column.choices) if column.choices else span(column.low, column.high)


def _geometry(contract: Contract) -> str:
    if not contract.geometry:
        return "none: a table"
    kinds = dict.fromkeys(kind.removeprefix("Multi") for kind in contract.geometry)
    words = {"LineString": "line", "Polygon": "polygon", "Point": "point"}
    return " or ".join(words[kind] for kind in kinds)


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
