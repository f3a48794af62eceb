"""The solver in a process of its own, so that it can be stopped: it may overrun its time, crash or fill the memory, and the best plan
that it had found by then is kept.

The other process tells each better plan as it finds it. It is started anew (nothing rests on fork, and a program needs no guard of its
main module), and ends with the one that started it.
"""

import contextlib
import importlib.util
import pickle
import queue
import subprocess
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO

from barfuncs.buying.check import faults
from barfuncs.buying.reading import problems_of
from barfuncs.buying.records import BuyingError, BuyingPlan, Demand, Offer, RackBar, SolverError, Terms
from barfuncs.filling.stopping import Stopping, leave_stops_to_the_parent, unheard_by_children
from barfuncs.xlsx.sandbox import MOST_MEMORY, Work, start, why_it_ended

_WORK = "barfuncs.buying.apart:_work"
_NEEDED = ("highspy", "numpy")
_START_SECONDS = 60.0
"""To get ready, which takes 0.3 s of a quiet processor."""
_GRACE = 5.0
"""Seconds, and a quarter of its time limit besides, that the solver may overrun before it is stopped."""
_ENDING = 2.0
"""Seconds that a process that is asked to end is waited for."""
_A_MOMENT = 0.2
"""Seconds between two looks for Ctrl-C, which on Windows is not heard while a thread waits."""
_USUAL = Terms()


def plan_buying(demands: Sequence[Demand], offers: Sequence[Offer] = (), rack: Sequence[RackBar] = (), terms: Terms = _USUAL, *,
                found: Callable[[BuyingPlan], None] | None = None, keep_best: bool = False, memory: int = MOST_MEMORY) -> BuyingPlan:
    """What to take from the rack, what to buy and how to saw it, at the least money, with a bound on how much less could do.

    The solver works in a process of its own. Where that overruns `terms.seconds` by far, crashes, or needs more than `memory` bytes (not
    limited on Windows), the best plan found until then is returned, and a note of it says so. `found` is told each better plan.

    On Ctrl-C, and where the program has no handler of its own on a request to end, KeyboardInterrupt is raised; with `keep_best` the best
    plan found until then is returned, if there is one. In either case the other process has ended.

    Raises BuyingError that names every row and column that keeps it from being planned; nothing is planned then. Raises SolverError where
    the solver is not installed, or was stopped or crashed before it had found a plan. Each plan has passed an independent check, in
    this process, before it is told or returned.
    """
    demands, offers, rack = tuple(demands), tuple(offers), tuple(rack)
    if problems := problems_of(demands, offers, rack, terms):
        raise BuyingError(problems)
    if missing := [name for name in _NEEDED if importlib.util.find_spec(name) is None]:
        raise SolverError(f'{" and ".join(missing)} not installed; planning needs: pip install "barfuncs[buying]"')
    best: BuyingPlan | None = None
    solver = _Solver((demands, offers, rack, terms), terms.seconds, memory)
    with Stopping() as stopping:
        try:
            # What is started here ends here too: a stop is heeded between two messages, and raised when all is over.
            with stopping.held(), solver:
                for plan in solver.plans(stopping):
                    if broken := faults(demands, offers, rack, terms, plan):
                        raise AssertionError("a plan that breaks its own rules: " + "; ".join(broken))
                    best = plan
                    if found is not None and not solver.done:
                        found(plan)
        except KeyboardInterrupt:
            if best is None or not keep_best:
                raise
            solver.ended_by("was interrupted")
    if best is None:
        raise SolverError(f"{solver.stopped} before it had found a plan")
    return replace(best, notes=(*best.notes, f"{solver.stopped}; this is the best plan that it had found")) if solver.stopped else best


class _Solver:
    """The other process, there while this is entered."""

    def __init__(self, records: tuple[object, ...], seconds: float, memory: int) -> None:
        self.records, self.seconds, self.memory = records, seconds, memory
        self.done = False
        """Whether the last plan is its answer."""
        self.stopped = ""
        """What ended it before it was done."""
        self._messages: queue.SimpleQueue[tuple[str, Any]] = queue.SimpleQueue()
        self._ending = contextlib.ExitStack()

    def __enter__(self) -> "_Solver":
        with self._ending:
            folder = self._ending.enter_context(tempfile.TemporaryDirectory(prefix="barfuncs-"))
            self._said = self._ending.enter_context(tempfile.TemporaryFile())
            # In a file: Windows takes no command line of that length.
            records = Path(folder) / "records"
            records.write_bytes(pickle.dumps(self.records))
            work = Work(_WORK, "plan", "planned", "the solver", self._most + _START_SECONDS, self.memory)
            with unheard_by_children():
                self._process = start(work, [str(records)], subprocess.PIPE, self._said, folder)
            self._ending.callback(self._end)
            self._reader = threading.Thread(target=self._read, daemon=True)
            self._reader.start()
            self._ending = self._ending.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.close()

    @property
    def _most(self) -> float:
        """Seconds that it may work."""
        return 1.25 * self.seconds + _GRACE

    def ended_by(self, what: str) -> None:
        """Note what ended it, unless it was done."""
        if not self.done:
            self.stopped = f"the solver {what}"

    def plans(self, stopping: Stopping) -> Iterator[BuyingPlan]:
        """Each plan that it finds, the last of them its answer where it is `done`; until it ends or is stopped."""
        end = time.monotonic() + _START_SECONDS
        while not self.done and not self.stopped:
            kind, value = self._next(end, stopping)
            if kind == "begun":
                end = time.monotonic() + self._most
            elif kind in ("found", "done"):
                self.done = kind == "done"
                yield value
            elif kind == "refused":
                raise BuyingError(value)
            elif kind == "failed":
                error = RuntimeError("the solver failed")
                error.add_note(value)
                raise error
            elif kind == "ended":
                self.ended_by(why_it_ended(self._said, self._process.wait()))
            else:
                self.ended_by("was interrupted" if kind == "stop" else f"was stopped since it overran its {self.seconds:g} s")

    def _next(self, end: float, stopping: Stopping) -> tuple[str, Any]:
        while (left := end - time.monotonic()) > 0:
            if stopping.signal:
                return "stop", None
            with contextlib.suppress(queue.Empty):
                return self._messages.get(timeout=min(left, _A_MOMENT))
        return "late", None

    def _read(self) -> None:
        """In a thread: what the other process tells, until it ends."""
        assert self._process.stdout is not None
        # A message that is cut off is none.
        with contextlib.suppress(EOFError, pickle.UnpicklingError):
            while True:
                self._messages.put(pickle.load(self._process.stdout))  # noqa: S301 - from `_work`
        self._messages.put(("ended", None))

    def _end(self) -> None:
        with self._process:
            try:
                self._process.terminate()
                self._process.wait(_ENDING)
            except subprocess.TimeoutExpired:
                pass
            finally:
                self._process.kill()
            self._reader.join()


def _work(out: BinaryIO, path: str) -> None:
    """In the other process."""
    leave_stops_to_the_parent()
    packed = Path(path).read_bytes()
    Path(path).unlink()

    def tell(kind: str, value: object = None) -> None:
        pickle.dump((kind, value), out)
        out.flush()

    try:
        demands, offers, rack, terms = pickle.loads(packed)  # noqa: S301 - from `_Solver`
        from barfuncs.buying.plan import plan_here

        tell("begun")
        tell("done", plan_here(demands, offers, rack, terms, lambda plan: tell("found", plan)))
    except BuyingError as error:
        tell("refused", list(error.problems))
    except MemoryError:
        raise
    except Exception:
        tell("failed", traceback.format_exc())
