"""What a refusal may say of what it refuses, and which paths can be one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from screenplan.ground.errors import MOST_SAID, InputError, Problem, refuse
from screenplan.ground.paths import check_path, check_reachable
from screenplan.ground.texts import LONGEST_QUOTED, clean_text, quoted, shorten

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.binary(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(VALUES)
def test_any_value_is_quoted_on_one_line(value):
    text = quoted(value)
    assert 0 < len(text) <= LONGEST_QUOTED
    assert text.isprintable()


def test_a_number_that_python_does_not_write_is_counted():
    for value in (10**5000, -(10**5000), [10**5000], {"a": 10**5000}):
        assert "a number of 5001 digits" in quoted(value)


def test_a_value_of_some_depth_is_cut():
    value = 1
    for _ in range(10_000):
        value = [value]
    assert quoted(value) == "[[[[…]]]]"


@given(st.text(), st.integers(1, 60))
def test_what_is_shortened_keeps_its_ends(text, most):
    short = shorten(text, most)
    assert len(short) <= max(most, 1)
    assert short == text or (short.count("…") >= 1 and text.startswith(short.partition("…")[0]))


@given(st.text())
def test_clean_text_is_one_line(text):
    assert len(clean_text(text).splitlines()) <= 1


@pytest.mark.parametrize(
    "value", ["x" * 5000, "x " * 2500, "it's " * 1000, "a\nb" * 2000, "\x1b[2J\u202e" * 500]
)
def test_a_sentence_is_short_whatever_a_caller_puts_into_it(value):
    error = refuse(
        f"there is no column '{value}'",
        f"Did you mean {value}?",
        file=value,
        layer=value,
        key=value,
    )
    (problem,) = error.problems
    assert len(problem.what) <= 600
    assert len(str(error)) < 3500
    assert str(error).isprintable()
    if "'" not in value:
        assert len(problem.what) < 100  # what stands between apostrophes is a line


def test_of_very_many_problems_the_first_are_said():
    error = InputError(Problem(f"row {n} is wrong", "Mend it") for n in range(1000))
    assert len(error.problems) == 1000
    assert error.said[-1] == f"{1000 - MOST_SAID} more problems are not listed."
    assert len(str(error).splitlines()) == MOST_SAID + 1


@pytest.mark.parametrize(
    ("path", "message"),
    [
        ("a\0b", "the path holds a NUL character"),
        ("a\ud800b", "a character that no file name can hold"),
        ("ü" * 128, "a name in the path has 256 bytes"),  # NAME_MAX of Linux is 255
        ("/".join(["a" * 200] * 30), "the path has 6029 bytes"),
    ],
)
def test_a_path_that_cannot_be_one_is_refused(path, message):
    with pytest.raises(InputError, match=message):
        check_path(path)
    with pytest.raises(InputError, match=message):
        check_reachable(path)


def test_a_path_that_may_be_one_is_taken(tmp_path):
    check_reachable(tmp_path / ("ü" * 127))
    check_reachable(tmp_path)
    (tmp_path / "file").touch()
    check_reachable(tmp_path / "file" / "below")  # said later: there is none
    (tmp_path / "round").symlink_to("round")
    with pytest.raises(InputError, match="it cannot be looked at"):
        check_reachable(tmp_path / "round")
