"""What the process of the solver does in tests, beside planning. Each plan that it tells has the number of its process in a note."""

import os
import pickle
import signal
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import BuyingPlan


def _begun(out: BinaryIO, path: str) -> Callable[[BuyingPlan], None]:
    """Ready to plan: what tells a plan that was found."""
    pickle.dump(("begun", None), out)
    out.flush()

    def found(plan: BuyingPlan) -> None:
        pickle.dump(("found", replace(plan, notes=(*plan.notes, f"process {os.getpid()}"))), out)
        out.flush()

    return found


def _plan(path: str) -> BuyingPlan:
    return plan_here(*pickle.loads(Path(path).read_bytes()))


def hangs(out: BinaryIO, path: str) -> None:
    """It finds a plan, then hears nothing and works on and on."""
    _begun(out, path)(_plan(path))
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    while True:
        pass


def waits(out: BinaryIO, path: str) -> None:
    """It finds nothing at all."""
    _begun(out, path)
    time.sleep(600)


def crashes(out: BinaryIO, path: str) -> None:
    """It finds a plan, begins to tell another, and dies."""
    _begun(out, path)(_plan(path))
    out.write(pickle.dumps(("found", _plan(path)))[:50])
    out.flush()
    os.kill(os.getpid(), signal.SIGSEGV)


def crashes_at_once(out: BinaryIO, path: str) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def fills_the_memory(out: BinaryIO, path: str) -> None:
    _begun(out, path)(_plan(path))
    kept = []
    while True:
        kept.append(bytearray(10_000_000))


def is_wrong(out: BinaryIO, path: str) -> None:
    """A plan that sells a bar for less than it costs."""
    plan = _plan(path)
    _begun(out, path)(replace(plan, lines=tuple(replace(line, money=line.money - 1) for line in plan.lines)))
