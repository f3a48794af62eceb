"""The rows of a list worked on by several processes, or by any `concurrent.futures.Executor`: sent in chunks, few of them
under way at a time, answered in their order.

Nothing rests on fork: a process is started anew, and gets what it needs with its chunks.
"""

import itertools
import multiprocessing
import os
import pickle
import sys
import threading
import traceback
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor, wait
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol

from barfuncs.filling.one_row import Answer, Setup, Task, work_on
from barfuncs.filling.record import digest_of
from barfuncs.filling.stopping import leave_stops_to_the_parent, unheard_by_children

ROWS_IN_A_CHUNK = 8
"""Some 50 ms of work: much more than sending costs, and little for the others to wait for at the end of a list."""
MOST_PROCESSES = 61 if sys.platform == "win32" else 1_000
"""More Windows can't wait for."""
_CHUNKS_FOR_A_WORKER = 2
_A_MOMENT = 0.2
"""Seconds between two looks for Ctrl-C, which on Windows is not heard while a thread waits."""


class WorkersGone(Exception):  # noqa: N818 - what happened, not an error of this program
    """A process that worked on rows has ended, or the pool gave the work back."""


class Held(Protocol):
    """What `stopping.Stopping` offers: work that a stop does not cut in two."""

    def held(self) -> AbstractContextManager[None]: ...


Crew = Callable[[Iterable[Task]], Generator[Answer, None, None]]
"""What works on tasks and gives their answers, in their order."""


def work_here(setup: Setup, tasks: Iterable[Task]) -> Generator[Answer, None, None]:
    """The answers to all tasks, worked out one by one as they are asked for."""
    for task in tasks:
        yield work_on(setup, task)


@contextmanager
def processes(setup: Setup, workers: int, stopping: Held) -> Iterator[Crew]:
    """Processes to work on tasks, as `work_in` does. They are started when there is work, and end with this one."""
    workers = min(workers, MOST_PROCESSES)
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), _begin)
    try:
        yield lambda tasks: work_in(pool, setup, tasks, workers, stopping)
    finally:
        pool.shutdown(cancel_futures=True)


def work_in(pool: Executor, setup: Setup, tasks: Iterable[Task], workers: int, stopping: Held) -> Generator[Answer, None, None]:
    """The answers to all tasks, in their order, from an executor that keeps so many chunks going. It is not shut down.

    Raises WorkersGone where the executor fails.
    """
    packed = pickle.dumps(setup)
    key = digest_of(packed)
    under_way: deque[Future[list[Answer]]] = deque()
    try:
        for chunk in _chunks(tasks):
            with stopping.held(), unheard_by_children():
                under_way.append(_submitted(pool, key, packed, chunk))
            if len(under_way) > _CHUNKS_FOR_A_WORKER * workers:
                yield from _answers(under_way.popleft())
        while under_way:
            yield from _answers(under_way.popleft())
    finally:
        for future in under_way:
            future.cancel()


def _chunks(tasks: Iterable[Task]) -> Iterator[list[Task]]:
    tasks = iter(tasks)
    while chunk := list(itertools.islice(tasks, ROWS_IN_A_CHUNK)):
        yield chunk


def _submitted(pool: Executor, key: str, packed: bytes, chunk: list[Task]) -> "Future[list[Answer]]":
    try:
        return pool.submit(_work_on_chunk, key, packed, chunk)
    except Exception as error:  # whatever the executor raises when it can't work any more
        raise WorkersGone(_gone(error)) from error


def _answers(future: "Future[list[Answer]]") -> Iterator[Answer]:
    while not future.done():
        wait([future], _A_MOMENT)
    # What goes wrong in the work itself comes back as an answer: an error here is the executor's own.
    error = CancelledError() if future.cancelled() else future.exception()
    if error is not None:
        raise WorkersGone(_gone(error)) from error
    for answer in future.result():
        if answer.crash is not None:
            raise answer.crash
        yield answer


def _gone(error: BaseException) -> str:
    return f"a worker ended before its work was done ({type(error).__name__})"


# --- in the worker --------------------------------------------------------------------------------------------------


def _work_on_chunk(key: str, packed: bytes, chunk: list[Task]) -> list[Answer]:
    setup = _unpacked(key, packed)
    answers = []
    for task in chunk:
        try:
            answers.append(work_on(setup, task))
        except Exception as error:
            error.add_note(f"while working on row {task.row}:\n{traceback.format_exc()}")
            return [*answers, Answer(task.row, crash=error)]
    return answers


_setups: dict[str, Setup] = {}
_MOST_SETUPS = 4


def _unpacked(key: str, packed: bytes) -> Setup:
    setup = _setups.get(key)
    if setup is None:
        if len(_setups) >= _MOST_SETUPS:
            _setups.clear()
        setup = _setups[key] = pickle.loads(packed)  # noqa: S301 - packed by `work_in`
    return setup


def _begin() -> None:
    """In a new process: leave Ctrl-C to the one that started it, and end when that one ends, however it ends."""
    leave_stops_to_the_parent()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
