"""A geoprocessing server of others offers the steps: it lists, describes, runs and refuses them.

The server runs in an environment of its own (`make server`), answers on this machine only, on a port
that is free, and ends with the test, or with this process.
"""

import json
import os
import subprocess
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from process_kit import lot_request, request_for, run_chain

from screenplan.processes import describe_process, execute, list_processes
from screenplan.running.steps import STEPS

ROOT = Path(__file__).parent.parent
PLACE = ROOT / ".venv-server" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
#: The server's Python: another one by this variable.
PYTHON = Path(os.environ.get("SCREENPLAN_SERVER_PYTHON", PLACE))

#: Seconds until the server answers: it loads the library and checks its own description first.
START_S = 120
#: Seconds until a request must be answered.
ANSWER_S = 60

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(
        not PYTHON.exists(), reason="the geoprocessing server is not installed (make server)"
    ),
]


def start(folder, log):
    """Start the server; give its process and what it says until it answers."""
    environment = {name: value for name, value in os.environ.items() if "PYTHON" not in name}
    process = subprocess.Popen(
        [PYTHON, ROOT / "tests" / "server" / "serve.py", folder],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, text=True, cwd=folder,
        env=environment,
    )  # fmt: skip
    watch = threading.Timer(START_S, process.kill)  # then reading what it says ends too
    watch.start()
    said = {}
    for line in process.stdout:
        name, _, value = line.strip().partition(" ")
        said[name] = value
        if name == "port":
            break
    watch.cancel()
    return process, said


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """What the server said at its start; it ends when its standard input closes."""
    folder = tmp_path_factory.mktemp("server")
    with (folder / "log.txt").open("w") as log:
        process, said = start(folder, log)
        try:
            assert "port" in said, (folder / "log.txt").read_text()
            yield said
        finally:
            process.stdin.close()
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            process.stdout.close()


def ask(server, path, body=None, *, method=None, headers=()):
    """Send one request to this machine; give the status and the parsed answer."""
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(
        f"http://127.0.0.1:{server['port']}/{path}",
        data=data,
        headers={"Content-Type": "application/json", **dict(headers)},
        method=method,
    )
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))  # no proxy
    try:
        with opener.open(request, timeout=ANSWER_S) as answer:
            server["location"] = answer.headers.get("Location")
            return answer.status, json.loads(answer.read() or b"null")
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.loads(error.read())


def run(server, name, inputs, **more):
    return ask(server, f"processes/{name}/execution", {"inputs": inputs, **more})


def test_its_own_description_of_itself_is_valid(server):
    # Its OpenAPI document, our descriptions within, against the schema of OpenAPI that it brings.
    assert server["openapi"] == "True"


def here_alone(value):
    """Put a plain thing of its kind in the place of what an OpenAPI document takes from elsewhere."""
    if isinstance(value, list):
        return [here_alone(entry) for entry in value]
    if not isinstance(value, dict):
        return value
    whence = value.get("$ref", "")
    if not whence.startswith("http"):
        return {name: here_alone(entry) for name, entry in value.items()}
    if "/parameters/" in whence:
        return {"name": whence.rsplit("/", 1)[1], "in": "query", "schema": {}}
    return {"description": whence} if "/responses/" in whence else {}


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="standard",
    against="The server's OpenAPI document, our descriptions within",
    source="openapi-spec-validator, OpenAPI 3.0",
    status="run",
    tolerance="valid, but for what it takes from the standard's own pages, which is not fetched",
)
def test_its_openapi_document_is_valid_by_another_validator(server):
    validator = pytest.importorskip("openapi_spec_validator")
    status, document = ask(server, "openapi?f=json")
    assert status == 200
    assert document["openapi"].startswith("3.0")
    whole = here_alone(document)
    assert all(f"/processes/{name}/execution" in whole["paths"] for name in STEPS)
    validator.validate(whole)
    spoilt = {**whole, "paths": {"/x": {"get": {"responses": 5}}}}
    with pytest.raises(Exception, match="5 is not of type"):
        validator.validate(spoilt)


def wait_for(server, job):
    """Ask for a job until it has ended."""
    ends = time.monotonic() + ANSWER_S
    while time.monotonic() < ends:
        status, told = ask(server, f"jobs/{job}?f=json")
        assert status == 200
        if told["status"] not in ("accepted", "running"):
            return told
        time.sleep(0.2)
    pytest.fail("the job did not end")


def begin(server, name, inputs):
    status, _ = ask(server, f"processes/{name}/execution", {"inputs": inputs}, headers={"Prefer": "respond-async"})  # fmt: skip
    assert status == 201
    return server["location"].rsplit("/", 1)[1]


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="A process run as a job: accepted, asked for, its results, dismissed",
    source="pygeoapi, OGC API – Processes, part 1",
    status="run",
    tolerance="the same results as at once",
)
def test_a_process_runs_as_a_job(server):
    inputs = request_for("sides", lot_request())
    job = begin(server, "sides", inputs)
    assert wait_for(server, job)["status"] == "successful"
    assert job in [listed["jobID"] for listed in ask(server, "jobs?f=json")[1]["jobs"]]
    assert ask(server, f"jobs/{job}/results?f=json") == run(server, "sides", inputs)
    assert ask(server, f"jobs/{job}", method="DELETE")[0] == 200
    assert ask(server, f"jobs/{job}?f=json")[0] == 404


def test_a_job_that_is_refused_says_why(server):
    inputs = request_for("sides", lot_request()) | {"sides.corner": 500}
    told = wait_for(server, begin(server, "sides", inputs))
    assert told["status"] == "failed"
    assert "key sides.corner: " in told["message"]
    assert "Traceback" not in told["message"]


def test_it_lists_every_step(server):
    status, listed = ask(server, "processes?f=json")
    assert status == 200
    for entry, own in zip(listed["processes"], list_processes()["processes"], strict=True):
        entry.pop("links")
        assert entry == own


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Every process description, as a geoprocessing server gives it",
    source="pygeoapi, OGC API – Processes, part 1",
    status="run",
    tolerance="the same, but for the links that it adds",
)
@pytest.mark.parametrize("name", STEPS)
def test_its_description_is_ours(server, name):
    status, document = ask(server, f"processes/{name}?f=json")
    assert status == 200
    links = document.pop("links")
    assert document == json.loads(json.dumps(describe_process(name)))
    assert any(link["rel"].endswith("execute") for link in links)


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Plants of a small lot, each step run by a geoprocessing server over HTTP",
    source="pygeoapi, OGC API – Processes, part 1",
    status="run",
    tolerance="the same numbers as from the library",
)
def test_it_gives_the_same_plants_as_the_library(server):
    needed = ("sides", "windows", "places", "across", "zones", "lines", "plants")

    def by_server(name, inputs):
        if name not in needed:
            return {}
        status, results = run(server, name, inputs)
        assert status == 200, results
        return results

    def by_library(name, inputs):
        return execute(name, inputs) if name in needed else {}

    served = run_chain(lot_request(), "plants", run=by_server)
    own = run_chain(lot_request(), "plants", run=by_library)
    assert len(served["plants"]["features"]) == len(own["plants"]["features"]) > 10
    assert served == json.loads(json.dumps(own))


def test_it_gives_the_outputs_that_are_asked_for(server):
    inputs = request_for("zones", lot_request())
    status, results = run(server, "zones", inputs, outputs={"plantable_zone": {}})
    assert (status, list(results)) == (200, ["plantable_zone"])
    status, answer = run(server, "zones", inputs, outputs={"trees": {}})
    assert status == 400
    assert "the process has no output 'trees'. Name some of no_plant_zones" in answer["description"]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"parcels": None},
            "process sides needs the layer parcels. Give it; the process needs parcels.",
        ),
        (
            {"parcels": {"type": "FeatureCollection", "features": []}},
            "layer parcels: The layer of parcels is empty. Give a layer that holds the parcel",
        ),
        (
            {"sides.base": "long"},
            "key sides.base: the value 'long' is no number. Give a number of m.",
        ),
        ({"sides.corner": 500}, "key sides.corner: "),
        ({"parcels": {"href": "http://127.0.0.1:9/x"}}, "nothing is fetched for a request"),
        ({"parcels": [1]}, "layer parcels: the input is no GeoJSON FeatureCollection."),
        ({"subject_id": ["7"]}, "key subject_id: ['7'] is no identifier."),
        ({"sides.base": 10**400}, "key sides.base: a number of 401 digits is out of range."),
    ],
)
def test_bad_input_is_answered_with_our_sentence(server, change, sentence):
    status, answer = run(server, "sides", request_for("sides", lot_request()) | change)
    assert status == 400
    assert len(answer["description"].splitlines()) == 1
    assert answer["code"] == "InvalidParameterValue"
    assert sentence in answer["description"]
    assert "Traceback" not in answer["description"]


def test_a_process_that_is_not_there_is_not_found(server):
    assert run(server, "grow", {"parcels": {}})[0] == 404
    assert ask(server, "processes/grow?f=json")[0] == 404


def test_it_ends_with_whoever_started_it(tmp_path):
    with (tmp_path / "log.txt").open("w") as log:
        process, said = start(tmp_path, log)
        process.stdin.close()
        assert process.wait(timeout=10) == 0, (tmp_path / "log.txt").read_text()
        process.stdout.close()
    with pytest.raises(urllib.error.URLError):
        ask(said, "processes")
