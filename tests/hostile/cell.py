"""Cases tried in a process of their own, which may die or hang without harm to the others."""

from __future__ import annotations

import multiprocessing
import signal
import sys
from collections.abc import Iterable, Iterator

from .corpora import load
from .outcome import Case, Outcome

#: Longer than this no case may take, unless its corpus gives a longer time.
LIMIT_S = 60.0
#: A new process imports and may compile before it begins.
START_S = 300.0


class Cell:
    """Tries the cases of one corpus, one after the other, in a process of its own.

    Parameters
    ----------
    corpus : str
        Its name in `corpora.CORPORA`.
    limit_s : float
        Seconds after which a case is taken for one that hangs.
    """

    def __init__(self, corpus: str, limit_s: float = LIMIT_S):
        self.corpus, self.limit_s = corpus, limit_s
        self.process = self.pipe = None

    def __enter__(self) -> Cell:
        return self

    def __exit__(self, *_) -> None:
        self._end()

    def run(self, case: Case) -> Outcome:
        """Try one case; the process is begun anew after one that was killed."""
        if self.process is None:
            self._begin()
        self.pipe.send(case)
        if not self.pipe.poll(self.limit_s):
            self._end()
            return Outcome("fault", f"no end after {self.limit_s:g} s")
        try:
            return self.pipe.recv()
        except EOFError:
            self.process.join()
            code = self.process.exitcode
            self._end()
            return Outcome("fault", f"the process was killed ({_name(code)})")

    def _begin(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, there = context.Pipe()
        self.process = context.Process(
            target=_serve, args=(self.corpus, there, list(sys.path)), daemon=True
        )
        self.process.start()
        there.close()
        if not self.pipe.poll(START_S):
            message = f"the corpus '{self.corpus}' does not load"
            raise RuntimeError(message)
        self.pipe.recv()

    def _end(self) -> None:
        if self.process is not None:
            self.pipe.close()
            self.process.terminate()
            self.process.join()
        self.process = self.pipe = None


def run_all(corpus: str, cases: Iterable[Case]) -> Iterator[tuple[Case, Outcome]]:
    """Try all the cases of a corpus in a cell."""
    with Cell(corpus, getattr(load(corpus), "LIMIT_S", LIMIT_S)) as cell:
        for case in cases:
            yield case, cell.run(case)


def _serve(corpus: str, pipe, path: list[str]) -> None:
    sys.path[:] = path
    module = load(corpus)
    pipe.send("ready")
    while True:
        try:
            case = pipe.recv()
        except EOFError:
            return
        pipe.send(module.run(case))


def _name(code: int | None) -> str:
    if code is not None and code < 0:
        return signal.Signals(-code).name
    return f"exit code {code}"
