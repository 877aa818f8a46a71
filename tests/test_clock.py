"""The clock of work, by which the design's seconds go."""

import time

import pytest

from screenplan.design.clock import MOST_PACE, Clock


@pytest.fixture
def times(monkeypatch):
    """Set the time on the wall and that of the processor, seconds."""
    now = {"wall": 100.0, "work": 7.0}
    monkeypatch.setattr(time, "monotonic", lambda: now["wall"])
    monkeypatch.setattr(time, "thread_time", lambda: now["work"])
    return now


@pytest.mark.parametrize(
    ("wall", "work", "expected"),
    [(2.0, 2.0, 3.0), (5.0, 2.0, 7.5), (1.0, 2.0, 3.0), (1000.0, 1.0, 3.0 * MOST_PACE)],
)
def test_work_takes_as_much_longer_as_the_machine_is_busy(times, wall, work, expected):
    """The closed form: time on the wall is work times the pace until now, from 1 up to the most."""
    clock = Clock()
    times["wall"] += wall
    times["work"] += work
    assert clock.worked() == pytest.approx(work)
    assert clock.wall(3.0) == pytest.approx(expected)


def test_a_pace_that_is_not_known_yet_is_that_of_an_idle_machine(times):
    clock = Clock()
    times["wall"] += 50.0
    assert clock.wall(3.0) == 3.0
