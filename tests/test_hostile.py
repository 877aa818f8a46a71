"""A fixed tenth of each corpus of hostile inputs: a plan or a refusal, and nothing else.

The whole of them: ``python -m tests.hostile``.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hostile.cell import run_all
from hostile.corpora import CORPORA, load
from hostile.outcome import LONGEST_SAID, judge, left_alone

from screenplan.ground.errors import refuse

SEED, SHARE = 1, 0.1


@pytest.mark.parametrize("corpus", CORPORA)
def test_a_tenth_ends_in_a_plan_or_a_refusal(corpus):
    # Evidence: invariant; what is damaged is sound, said, or refused.
    faults = [
        f"{case.name}: {outcome.said}"
        for case, outcome in run_all(corpus, load(corpus).cases(SEED, SHARE))
        if outcome.is_fault
    ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("corpus", CORPORA)
def test_a_corpus_is_the_same_by_its_seed(corpus):
    module = load(corpus)
    whole = list(module.cases(SEED, 1.0))
    assert len({case.name for case in whole}) == len(whole)
    assert list(module.cases(SEED, 1.0)) == whole
    assert list(module.cases(SEED, SHARE)) == whole[::10]
    assert list(module.cases(SEED + 1, 1.0)) != whole


def test_drawn_shapes_are_the_same_whatever_else_is_loaded(tmp_path):
    # Evidence: invariant; a process of its own that has loaded a module full of numbers draws the same.
    (tmp_path / "numbers_of_ours.py").write_text(
        f"ALL = {[7.0 + n / 16.0 for n in range(400)]}", encoding="utf-8"
    )
    draw = "import sys; from hostile.drawn_shapes import draw_shapes; print([draw_shapes(n, 5) for n in range(12)])"
    path = {"PYTHONPATH": os.pathsep.join([str(tmp_path), str(Path(__file__).parent)])}
    said = [
        subprocess.run(
            [sys.executable, "-c", start + draw],
            env=os.environ | path,
            cwd=tmp_path,
            check=True,
            capture_output=True,
        ).stdout
        for start in ("", "import numbers_of_ours; ")
    ]
    assert said[0] == said[1]
    assert len(said[0]) > 1000


def test_there_are_as_many_cases_as_are_told():
    counts = {name: len(list(load(name).cases(SEED, 1.0))) for name in CORPORA}
    assert counts["files"] == 500
    assert counts["plans"] == 2000
    assert counts["runs"] == 300
    sites = load("geometries").SITES
    assert counts["geometries"] == sum(sites.values())
    # A parcel is tried alone, all else by the handful in one layer.
    each = load("geometries").EACH
    assert sum(n * (1 if role == "parcel" else each) for role, n in sites.items()) == 10_000


def test_whatever_is_no_refusal_is_a_fault(tmp_path):
    def traceback():
        return 1 / 0

    def refusal(what, mend="Mend it"):
        raise refuse(what, mend)

    def spoiled(**changes):
        error = refuse("It is wrong", "Mend it")
        vars(error.problems[0]).update(changes)
        raise error

    def silent():
        with left_alone(tmp_path):
            (tmp_path / "new.aux").write_text("x")

    assert judge(traceback).said.startswith("ZeroDivisionError: division by zero")
    assert judge(lambda: refusal("It is wrong")).kind == "refused"
    # What would be a fault in a refusal's words is kept out of every one; the judge looks all the same.
    assert "\x07" not in judge(lambda: refusal("It is \x07 wrong")).said
    assert len(judge(lambda: refusal("x" * 5000)).said) < LONGEST_SAID
    assert judge(lambda: spoiled(what="It is \x07 wrong")).is_fault
    assert judge(lambda: spoiled(what="x " * 2500)).is_fault
    assert judge(lambda: refusal("It is wrong", "")).is_fault
    assert judge(silent).said == "files beside the input were changed: new.aux"
    assert judge(lambda: 27).kind == "done"
