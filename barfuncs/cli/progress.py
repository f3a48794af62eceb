"""How far a long run is: a bar on a terminal, elsewhere a line now and then."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

LEAST_ROWS = 100
"""With fewer nobody waits long enough for a bar."""
SECONDS = 10.0
"""Between two lines, at least; and at least a tenth of the list, unless that takes a minute."""
_SHARE, _LONGEST_SILENCE = 0.1, 60.0
_ALIKE = 1.25
"""How much the last two stretches may differ in speed, so that what is left can be told from them."""


@contextmanager
def shown(total: int) -> Iterator[Callable[[], None]]:
    """A function to call whenever a row is ended."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:
        yield Lines(total, lambda text: click.echo(f"barfuncs: {text}", err=True)).step
        return
    with Progress(console=console, transient=True, disable=total < LEAST_ROWS) as bar:
        task = bar.add_task("Working", total=total)
        yield lambda: bar.advance(task)


class Lines:
    """Says how many rows are ended, and how long the rest takes where the speed has been even."""

    def __init__(self, total: int, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self.total, self._say, self._clock = total, say, clock
        self.ended = 0
        self._began = self._last = clock()
        self._ended_then = 0
        self._pace = 0.0
        """Seconds that a row took in the stretch before the last line."""

    def step(self) -> None:
        self.ended += 1
        now = self._clock()
        gone = now - self._last
        rows = self.ended - self._ended_then
        if gone < SECONDS or self.ended == self.total or (rows < _SHARE * self.total and gone < _LONGEST_SILENCE):
            return
        pace, before = gone / rows, self._pace
        left = ""
        if before and max(pace, before) <= _ALIKE * min(pace, before):
            left = f", about {_time((self.total - self.ended) * pace)} left"
        self._say(f"{self.ended:,} of {self.total:,} rows after {_time(now - self._began)}{left}")
        self._last, self._ended_then, self._pace = now, self.ended, pace


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
