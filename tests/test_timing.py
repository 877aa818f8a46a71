"""What a request may take: it is given up, and nothing else is."""

import contextlib
import threading
import time

import pytest

from screenplan.ground.errors import InputError
from screenplan.processes import describe_process, timing
from screenplan.processes.documents import list_processes
from screenplan.processes.schemas import MOST_FEATURES, MOST_POSITIONS
from screenplan.processes.timing import MOST_SECONDS, within
from screenplan.running.steps import STEPS

SHORT_S, LONG_S = 0.2, 30.0


def work(seconds):
    """Work in Python until the time is over."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        sum(range(100))


def test_what_takes_too_long_is_given_up_with_a_sentence():
    begun = time.monotonic()
    refused = r"given up after 0\.2 s\. Send what lies near"
    with pytest.raises(InputError, match=refused):
        within(SHORT_S, lambda: work(LONG_S))
    assert time.monotonic() - begun < LONG_S / 2


def test_nothing_on_the_way_takes_it_for_an_error_of_its_own():
    def swallow():
        while True:
            try:
                work(LONG_S)
            except Exception:
                continue

    with pytest.raises(InputError, match="given up"):
        within(SHORT_S, swallow)


def test_it_holds_in_a_thread_and_for_that_thread_alone():
    said = []

    def answer(seconds, does):
        try:
            within(seconds, lambda: work(does))
            said.append("done")
        except InputError:
            said.append("given up")

    threads = [
        threading.Thread(target=answer, args=(SHORT_S, LONG_S)),
        threading.Thread(target=answer, args=(LONG_S, 2 * SHORT_S)),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=LONG_S)
    assert sorted(said) == ["done", "given up"]


def test_what_ends_in_time_is_left_alone():
    for _ in range(50):
        # Where both end at about the same time either may win, but nothing is raised later.
        with contextlib.suppress(InputError):
            within(1e-3, lambda: work(1e-3))
        work(5e-3)
    value = within(LONG_S, lambda: 7)
    work(2 * SHORT_S)
    assert value == 7


def test_its_own_errors_pass():
    with pytest.raises(ZeroDivisionError):
        within(LONG_S, lambda: 1 / 0)


def test_the_limits_are_told_in_every_description():
    for name in STEPS:
        document = describe_process(name)
        for figure in (MOST_FEATURES, MOST_POSITIONS, MOST_SECONDS):
            assert (
                f"{figure:g}" in document["description"] or str(figure) in document["description"]
            )
        for told in document["inputs"].values():
            if told["schema"].get("format") == "geojson-feature-collection":
                assert f"At most {MOST_FEATURES} rows and {MOST_POSITIONS} positions." in told["description"]  # fmt: skip
    assert "after 20 s" in describe_process("sides", 20.0)["description"]
    for entry in list_processes()["processes"]:
        assert entry["jobControlOptions"] == ["sync-execute", "async-execute"]
    assert timing.MOST_SECONDS == MOST_SECONDS
