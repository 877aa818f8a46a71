"""The process descriptions by OGC API – Processes, part 1, and the processes run from GeoJSON to GeoJSON."""

import json
from typing import Any, Literal

import geopandas
import pytest
from click.testing import CliRunner
from geojson_rules import hold_to_rfc
from geopandas.testing import assert_geodataframe_equal
from process_kit import as_json, lot_layers, lot_request, request_for, run_chain
from pydantic import BaseModel, ConfigDict, Field

import screenplan
from screenplan.commandline.main import main
from screenplan.contracts import OUTPUTS
from screenplan.ground.errors import InputError
from screenplan.processes import describe_process, execute, list_processes, write_processes
from screenplan.processes.configuration import server_configuration, write_configuration
from screenplan.processes.schemas import MOST_FEATURES
from screenplan.running.descriptions import describe_step
from screenplan.running.steps import STEPS

# -- the standard, in models -----------------------------------------------------------------
# Written after the schemas that the standard publishes: descriptionType, processSummary, process,
# inputDescription, outputDescription, schema, metadata (OGC 18-062r2, annex with the OpenAPI
# components). `extra="forbid"` is stricter than most of them; `schema` forbids other members itself.


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class Schema(Strict):
    title: str | None = None
    description: str | None = None
    type: Literal["array", "boolean", "integer", "number", "object", "string"]  # one, no list
    format: str | None = None
    contentMediaType: str | None = None  # noqa: N815
    enum: list[Any] | None = Field(None, min_length=1)
    minimum: float | None = None
    maximum: float | None = None
    exclusiveMinimum: bool | None = None  # noqa: N815
    exclusiveMaximum: bool | None = None  # noqa: N815
    minItems: int | None = Field(None, ge=0)  # noqa: N815
    maxItems: int | None = Field(None, ge=0)  # noqa: N815
    nullable: bool | None = None
    default: Any = None
    required: list[str] | None = Field(None, min_length=1)
    properties: "dict[str, Schema] | None" = None
    additionalProperties: "Schema | bool | None" = None  # noqa: N815
    items: "Schema | dict[Any, Any] | None" = None


class Metadata(Strict):
    title: str
    role: str


class Described(Strict):
    title: str
    description: str
    keywords: list[str] | None = None
    metadata: list[Metadata] | None = None


class Output(Described):
    schema_: Schema = Field(alias="schema")


class Input(Output):
    minOccurs: int = Field(1, ge=0)  # noqa: N815
    maxOccurs: int = Field(1, ge=1)  # noqa: N815


class Summary(Described):
    id: str
    version: str
    jobControlOptions: list[Literal["sync-execute", "async-execute", "dismiss"]]  # noqa: N815
    outputTransmission: list[Literal["value", "reference"]]  # noqa: N815
    links: list[dict] | None = None


class Process(Summary):
    inputs: dict[str, Input]
    outputs: dict[str, Output]


class ProcessList(Strict):
    processes: list[Summary]
    links: list[dict]


@pytest.fixture(params=STEPS)
def name(request):
    return request.param


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="standard",
    against="Every process description: members, types and schema keywords of the standard",
    source="OGC API – Processes, part 1 (OGC 18-062r2), its published schemas",
    status="read",
    tolerance="every member; members that it does not name are not allowed",
)
def test_every_description_is_one_of_the_standard(name):
    document = json.loads(json.dumps(describe_process(name), allow_nan=False))
    process = Process.model_validate(document)
    assert process.id == name
    assert process.version == screenplan.__version__
    assert process.description.startswith(STEPS[name].does)


def test_the_list_is_one_of_the_standard():
    listed = ProcessList.model_validate(json.loads(json.dumps(list_processes())))
    assert [process.id for process in listed.processes] == list(STEPS)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("version"),
        lambda d: d["inputs"]["parcels"].pop("schema"),
        lambda d: d["inputs"]["rows.spacing"]["schema"].update(type=["number", "null"]),
        lambda d: d["inputs"]["rows.spacing"]["schema"].update(unit="m"),
        lambda d: d.update(jobControlOptions=["sync"]),
    ],
)
def test_a_document_that_breaks_the_standard_is_found(spoil):
    document = describe_process("plants")
    spoil(document)
    with pytest.raises(ValueError, match="validation error"):
        Process.model_validate(document)


def test_a_description_says_all_that_the_step_takes_and_gives(name):
    document, step = describe_process(name), describe_step(name)
    tables = {resource.name for resource in step.resources} & {
        "rules",
        "limits",
        "species_table",
        "usual",
    }
    layers = [layer.name for layer in step.inputs]
    values = [parameter.key for parameter in step.parameters]
    names = [*layers, *values, *tables]
    assert len(set(names)) == len(names)  # no two inputs share a name
    assert set(document["inputs"]) - {"parcels", "subject_id", "subject_point"} == set(names) - {
        "parcels"
    }
    assert list(document["outputs"]) == list(STEPS[name].gives)
    needed = {key for key, entry in document["inputs"].items() if entry["minOccurs"]}
    assert needed - {"parcels"} == set(STEPS[name].needs) - {"parcels"}


def test_a_default_keeps_its_own_schema(name):
    for parameter in describe_step(name).parameters:
        entry = describe_process(name)["inputs"][parameter.key]
        schema, default = entry["schema"], entry["schema"].get("default")
        if default is None:
            assert parameter.default is None
            continue
        assert default == parameter.to_dict()["default"]
        if "enum" in schema:
            assert default in schema["enum"]
        if "minimum" in schema:
            strict = schema.get("exclusiveMinimum", False)
            assert default > schema["minimum"] if strict else default >= schema["minimum"]
        if "maximum" in schema:
            assert default <= schema["maximum"]
        assert entry["title"].endswith(f"({parameter.unit})") == bool(parameter.unit)


# -- running ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def chain():
    """All that the processes give on the lot, up to the checks."""
    return run_chain(lot_request(), "checks")


def test_plants_are_those_of_the_library(chain):
    request = request_for("plants", chain)
    layers = {
        key: geopandas.GeoDataFrame.from_features(value["features"], crs="EPSG:4326")
        for key, value in request.items()
        if isinstance(value, dict)
    }
    frame = screenplan.LocalFrame.around(layers["parcels"].iloc[[0]])
    own = screenplan.run_step(
        "plants",
        {name: layers[name] for name in STEPS["plants"].needs},
        frame=frame,
        plan={"rows": {"spacing": "1.8 m"}, "plants": {"species": "thuja_occidentalis"}},
    )["plants"]
    given = chain["plants"]["features"]
    assert len(given) == len(own)
    for feature, plant in zip(given, own.itertuples(), strict=True):
        assert feature["properties"]["plant_id"] == plant.plant_id
        assert feature["properties"]["station_m"] == pytest.approx(plant.station_m, abs=1e-6)
        # 9 decimals of a degree are written.
        assert feature["geometry"]["coordinates"] == pytest.approx(
            [plant.geometry.x, plant.geometry.y], abs=1e-9
        )


def test_plants_stand_where_arithmetic_puts_them(chain):
    # The line of 24.352405 m is divided evenly: of 13 or 14 gaps, 14 are nearest to 1.8 m (1.739 m
    # against 1.873 m), so that 15 plants stand from its beginning to its end.
    (line,) = chain["planting_lines"]["features"]
    length = line["properties"]["plantable_m"]
    plants = geopandas.GeoDataFrame.from_features(chain["plants"]["features"], crs="EPSG:4326")
    gaps = min((13, 14), key=lambda number: abs(length / number - 1.8))
    assert len(plants) == gaps + 1 == 15
    assert plants["station_m"].diff().dropna().to_numpy() == pytest.approx(length / gaps, abs=1e-4)
    # On the ground too: UTM's scale beside its middle meridian is 0.9996.
    steps = plants.to_crs("EPSG:25832").geometry
    distances = steps.iloc[1:].distance(steps.iloc[:-1], align=False) / 0.9996
    assert distances.to_numpy() == pytest.approx(length / gaps, abs=5e-4)


def test_every_process_runs_and_keeps_its_contract(chain, tmp_path):
    for step in STEPS.values():
        for layer in step.gives:
            contract = OUTPUTS[layer]
            if contract.geometry:
                path = tmp_path / f"{layer}.geojson"
                path.write_text(json.dumps(chain[layer]), encoding="utf-8")
                hold_to_rfc(path)
                rows = [feature["properties"] for feature in chain[layer]["features"]]
            else:
                rows = chain[layer]
            for row in rows:
                assert {column.name for column in contract.columns if not column.per_year} <= set(
                    row
                )
                assert all(row[name] is not None for name in contract.required)
    assert {"sides", "plants", "views", "cost", "checks"} <= set(chain)
    assert len(chain["views"]["features"]) > 0
    assert len(chain["checks"]) > 0


def test_a_value_may_be_qualified():
    request = request_for("sides", lot_request())
    wrapped = {name: {"value": value} for name, value in request.items()}
    wrapped["parcels"]["mediaType"] = "application/geo+json"
    assert execute("sides", wrapped) == execute("sides", request)


def test_own_rules_and_species_are_taken():
    request = request_for("zones", lot_request())
    rules = {"boundary": {"fixed": "9 m"}}
    known = execute("zones", request)["no_plant_zones"]["features"]
    assert known
    with pytest.raises(InputError, match=r"nonsense\.feature: this key is missing"):
        execute("zones", {**request, "rules": {"nonsense": {"distance": "1 m"}}})
    with pytest.raises(InputError, match="the input is no table"):
        execute("zones", {**request, "rules": [rules]})


def test_a_request_changes_nothing_of_what_it_was_given():
    request = request_for("sides", lot_request())
    before = json.dumps(request)
    execute("sides", request)
    assert json.dumps(request) == before
    assert_geodataframe_equal(lot_layers()["parcels"], lot_layers()["parcels"])


def spoiled(change):
    request = json.loads(json.dumps(request_for("sides", lot_request())))
    change(request)
    return request


def point(lon, lat):
    return {
        "type": "Feature",
        "properties": {},
        "geometry": {"type": "Point", "coordinates": [lon, lat]},
    }


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda r: r.pop("parcels"),
            r"process sides needs the layer parcels. Give it; the process",
        ),
        (lambda r: r.update(parcels=None), r"process sides needs the layer parcels"),
        (lambda r: r.update(colour="red"), r"has no input 'colour'. Give some of parcels, roads,"),
        (lambda r: r.update(parcels=[]), r"layer parcels: the input is no GeoJSON FeatureColl"),
        (
            lambda r: r.update(parcels={"href": "http://127.0.0.1/x"}),
            r"key parcels: the input is a link",
        ),
        (
            lambda r: r["parcels"].update(features=[7]),
            r"parcels, row 1: the entry is no GeoJSON feat",
        ),
        (lambda r: r["parcels"].update(features=[]), r"The layer of parcels is empty"),
        (
            lambda r: r["parcels"]["features"].append(point(9.0001, 49.6528)),
            r"parcels, row 3: .*oint",
        ),
        (
            lambda r: r["parcels"]["features"].append(point(500000, 50)),
            r"row 3: .*no longitudes and l",
        ),
        (
            lambda r: r["parcels"]["features"].append(point("8", 50)),
            r"row 3: the geometry is no GeoJ",
        ),
        (
            lambda r: r["parcels"]["features"][0]["geometry"].pop("coordinates"),
            r"row 1: the geometry is no GeoJSON geometry",
        ),
        (
            lambda r: r["parcels"].update(
                crs={"type": "name", "properties": {"name": "EPSG:25832"}}
            ),
            r"says that it is in EPSG:25832, and GeoJSON is in WGS 84. Transform it",
        ),
        (
            lambda r: r["parcels"].update(features=r["parcels"]["features"] * MOST_FEATURES),
            rf"a request may bring {MOST_FEATURES}",
        ),
        (lambda r: r.pop("subject_id"), r"parcel"),
        (lambda r: r.update(subject_id="8"), r"8"),
        (lambda r: r.update(subject_point=[8]), r"key subject_point: the point is no pair of numb"),
        (lambda r: r.update({"sides.corner": 500}), r"key sides.corner: .*120"),
        (lambda r: r.update({"sides.corner": "steep"}), r"key sides.corner: "),
        (
            lambda r: r.update({"sides.base": "4 m"}),
            r"key sides.base: the value '4 m' is no number. Give a numb",
        ),
        (lambda r: r.update({"sides.base": -1}), r"key sides.base: "),
        (lambda r: r.update({"sides.base": float("nan")}), r"key sides.base: "),
    ],
)
def test_a_wrong_request_is_refused(change, message):
    with pytest.raises(InputError, match=message):
        execute("sides", spoiled(change))


def test_a_layer_of_another_process_is_held_to_its_contract(chain):
    request = request_for("plants", chain)
    lines = json.loads(json.dumps(request["planting_lines"]))
    del lines["features"][0]["properties"]["line_id"]
    with pytest.raises(InputError, match="layer planting_lines: Column line_id"):
        execute("plants", {**request, "planting_lines": lines})
    lines = json.loads(json.dumps(request["planting_lines"]))
    lines["features"][0]["properties"]["row"] = "first"
    with pytest.raises(InputError, match="layer planting_lines, row 1: Column row holds 'first'"):
        execute("plants", {**request, "planting_lines": lines})
    with pytest.raises(InputError, match=r"layer quantities: the input is no list of rows"):
        execute("cost", {**request_for("cost", chain), "quantities": {}})


def test_a_process_that_is_not_there_is_refused():
    with pytest.raises(InputError, match=r"there is no process 'grow'. Name one of sides, windows"):
        execute("grow", {})
    with pytest.raises(InputError, match="the inputs are no JSON object"):
        execute("sides", [])


# -- files and the command -------------------------------------------------------------------


def call(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_the_command_lists_shows_and_writes(tmp_path):
    listed = call("processes")
    assert listed.exit_code == 0
    assert all(step in listed.output for step in STEPS)
    assert json.loads(call("processes", "--json").stdout) == list_processes()
    assert json.loads(call("processes", "plants").stdout) == describe_process("plants")
    result = call("processes", "--out", tmp_path / "processes")
    assert result.exit_code == 0, result.output
    files = {path.name for path in (tmp_path / "processes").iterdir()}
    assert files == {"processes.json"} | {f"{step}.json" for step in STEPS}
    written = json.loads((tmp_path / "processes" / "views.json").read_text("utf-8"))
    assert written == json.loads(json.dumps(describe_process("views")))
    again = call("processes", "--out", tmp_path / "processes")
    assert again.exit_code == 2
    assert "there is such a folder or file already" in again.output


def test_half_a_folder_is_never_left(tmp_path):
    with pytest.raises(InputError, match="the folder cannot be written"):
        write_processes(tmp_path / "missing" / "processes")
    assert list(tmp_path.iterdir()) == []


def test_the_configuration_offers_every_step_on_this_machine_only(tmp_path):
    path = write_configuration(tmp_path / "server.yml")
    content = json.loads(path.read_text("utf-8"))
    store = tmp_path.resolve() / "server_jobs"
    assert content == server_configuration(store=store)
    # The store of the server's jobs lies beside it, whatever the folder from which it is started.
    assert content["server"]["manager"] == {
        "name": "TinyDB",
        "connection": str(store / "jobs.json"),
        "output_dir": str(store / "results"),
    }
    assert (store / "results").is_dir()
    assert list(content["resources"]) == list(STEPS)
    assert content["server"]["bind"]["host"] == "127.0.0.1"
    with pytest.raises(InputError, match="there is such a file already"):
        write_configuration(path)
    result = call("processes", "--server", tmp_path / "other.yml")
    assert result.exit_code == 0, result.output
    assert (tmp_path / "other.yml").is_file()


def test_as_json_is_that_of_another_library():
    # The requests of these tests are written by GeoPandas, so that ours cannot be wrong twice.
    assert as_json(lot_layers()["parcels"])["features"][0]["properties"] == {"parcel_id": "7"}
