"""Being told to stop: Ctrl-C, a request to end, a closed terminal. What must not be cut in two is finished first."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

_ASKED = ("SIGINT", "SIGTERM", "SIGHUP")
"""SIGHUP is missing on Windows."""


class Stopping:
    """While this holds, being told to stop raises KeyboardInterrupt once: at once, or at the end of `held`.

    Handlers that the program has set itself are left alone, and so is everything outside the main thread.
    """

    def __init__(self) -> None:
        self.signal = 0
        """The number of the first signal that came, 0 for none."""
        self._depth = 0
        self._raised = False
        self._before: dict[int, Any] = {}

    def __enter__(self) -> "Stopping":
        if threading.current_thread() is threading.main_thread():
            for number in (getattr(signal, name) for name in _ASKED if hasattr(signal, name)):
                if signal.getsignal(number) in (signal.SIG_DFL, signal.default_int_handler):
                    self._before[number] = signal.signal(number, self._came)
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _came(self, number: int, _: FrameType | None) -> None:
        self.signal = self.signal or number
        self._heed()

    def _heed(self) -> None:
        if self.signal and not self._depth and not self._raised:
            self._raised = True
            raise KeyboardInterrupt

    @contextmanager
    def held(self) -> Iterator[None]:
        """Work that is done to its end before a stop is heeded."""
        self._depth += 1
        try:
            yield
        finally:
            self._depth -= 1
        self._heed()


@contextmanager
def unheard_by_children() -> Iterator[None]:
    """A process that is started now does not hear Ctrl-C, not even before its first line of Python."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def leave_stops_to_the_parent() -> None:
    """In a process started by another: what a terminal sends to both is for that one."""
    for name in ("SIGINT", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
