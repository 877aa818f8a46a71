"""Partitions shared out: in this process, to processes of this machine, or to the workers of a caller's Dask client."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from multiprocessing import get_context
from typing import Any

from screenplan.county.memory import kept_meanwhile
from screenplan.county.nearness import is_compiled
from screenplan.ground.errors import refuse
from screenplan.ground.extras import need

#: Partitions that are handed out to each worker at once, so that none waits for the next.
AHEAD = 2
#: In a process the compiled loops run for one partition at a time: their threads know one caller alone.
_ALONE = threading.Lock()


def share_out(
    work: Callable[..., Any], parts: Iterable[tuple], *, workers: int = 1, client=None
) -> Iterator[Any]:
    """Do a piece of work for each of some parts, and give what it gives as soon as it is done.

    Parameters
    ----------
    work : callable
        Called with each part's values; of a module, so that other processes find it.
    parts : iterable of tuple
        No more than a few for each worker are looked at ahead.
    workers : int
        Processes of this machine; with 1 all is done in this one.
    client : distributed.Client, optional
        In place of them.

    Raises
    ------
    InputError
        If a process ended without an answer, such as for want of memory; and what the work raises.
    """
    if client is None and workers == 1:
        for part in parts:
            yield alone(work, *part)
        return
    waiting = iter(parts)
    if not is_compiled():
        # One process compiles the loops, and the others begin when they lie ready: each would take the time and the
        # memory for all of them. Its own memory goes with it.
        yield from _by_others(work, islice(waiting, 1), 1, client)
    yield from _by_others(work, waiting, workers, client)


def alone(work: Callable[..., Any], *values: Any) -> Any:
    """Do a piece of work by one thread, while no other does one in this process."""
    import numba

    with _ALONE:
        before = numba.get_num_threads()
        numba.set_num_threads(1)
        # What is there already stays: to look again and again for what may go of it takes a sixth of the time.
        gc.freeze()
        try:
            with kept_meanwhile():
                return work(*values)
        finally:
            gc.unfreeze()
            numba.set_num_threads(before)


def _by_others(work, parts: Iterator[tuple], workers: int, client) -> Iterator[Any]:
    if client is not None:
        return _by_client(work, parts, client)
    return _by_processes(work, parts, workers)


def _by_processes(work, waiting: Iterator[tuple], workers: int) -> Iterator[Any]:
    # A new interpreter each: a copy of this one would hold the locks of threads that are not in it.
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
    try:
        running: set[Future] = {
            pool.submit(alone, work, *part) for part in islice(waiting, AHEAD * workers)
        }
        while running:
            done, running = wait(running, return_when=FIRST_COMPLETED)
            running |= {pool.submit(alone, work, *part) for part in islice(waiting, len(done))}
            for future in done:
                yield future.result()
    except BrokenProcessPool:
        raise refuse(
            "a process ended without an answer, most likely for want of memory",
            "Run the same again, it goes on with what is missing; with fewer workers, or fewer parcels at once in a new folder",
        ) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _by_client(work, waiting: Iterator[tuple], client) -> Iterator[Any]:
    distributed = need("distributed")
    workers = max(1, len(client.nthreads()))
    first = [
        client.submit(alone, work, *part, pure=False) for part in islice(waiting, AHEAD * workers)
    ]
    running = distributed.as_completed(first)
    for future in running:
        for part in islice(waiting, 1):
            running.add(client.submit(alone, work, *part, pure=False))
        yield future.result()
        future.release()
