"""The folder that a list is written into: held by one run at a time, swept of what a killed run left, with space kept
aside for the results.
"""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from barfuncs.errors import WorkbookError
from barfuncs.filling.record import FOR_CUSTOMER as FOR_CUSTOMER
from barfuncs.filling.record import RUN
from barfuncs.xlsx.package import PART, TEMPORARY, usual_mode

OLD = "old"
LOCK = ".barfuncs.lock"
RESERVE = f"{RUN}reserve{PART}"
SOON = 1.0
LONGEST_WAIT = 120.0
"""Seconds until a second run says that it waits for the first, and until it gives up."""
_FORGOTTEN = 3600.0
_RESERVE_FOR_ALL, _RESERVE_A_ROW = 200_000, 4_000


@contextmanager
def held(folder: Path, tell: Callable[[str], None] | None = None) -> Iterator[None]:
    """Make the folder and hold it for one run; another run waits.

    Raises WorkbookError where another run holds it for longer than `LONGEST_WAIT`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with locked(folder / LOCK, f"another run is writing into {folder}", f"another run is still writing into {folder}", tell):
        _sweep(folder)
        yield


@contextmanager
def locked(path: Path, waits: str, gives_up: str, tell: Callable[[str], None] | None = None) -> Iterator[None]:
    """Hold a lock, by a file that is there for that alone. Who comes second says that it `waits`, and why it `gives_up`.

    Raises WorkbookError where another holds it for longer than `LONGEST_WAIT`.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(path, mode=usual_mode())
    try:
        try:
            lock.acquire(timeout=SOON)
        except Timeout:
            if tell:
                tell(f"{waits}; waiting for it (at most {LONGEST_WAIT:g} s)")
            lock.acquire(timeout=LONGEST_WAIT)
    except Timeout:
        raise WorkbookError(f"{gives_up}; start again when it is done") from None
    try:
        yield
    finally:
        # The system lets go of the lock of a killed run, so that a file left behind blocks nobody. A run that waits for a
        # file that is taken away here notices, and takes a new one.
        with suppress(OSError):
            path.unlink()
        lock.release()


def _sweep(folder: Path) -> None:
    """Take away what runs left that were killed."""
    for place in (folder, folder / FOR_CUSTOMER):
        for path in place.glob(f"{TEMPORARY}*{PART}"):
            with suppress(OSError):
                # Without the mark of a run it may be a file that another program is writing right now.
                if path.name.startswith(RUN) or time.time() - path.stat().st_mtime > _FORGOTTEN:
                    path.unlink()


def reserve(folder: Path, rows: int) -> None:
    """Take up the space that the results of so many rows need, until `release`. Raises OSError where there is none."""
    path = folder / RESERVE
    try:
        with path.open("wb") as file:
            left = _RESERVE_FOR_ALL + rows * _RESERVE_A_ROW
            while left > 0:
                # No zeros, which some file systems store without taking up space.
                left -= file.write(os.urandom(min(left, 1_000_000)))
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        release(folder)
        raise


def release(folder: Path) -> None:
    """Give the space back. Without a reserve nothing happens."""
    with suppress(OSError):
        (folder / RESERVE).unlink()


def move_aside(path: Path, into: Path) -> Path:
    """Move a file into a folder under a name that is free there."""
    into.mkdir(exist_ok=True)
    target, again = into / path.name, 1
    while target.exists() or target.is_symlink():
        again += 1
        target = into / f"{path.stem} ({again}){path.suffix}"
    path.rename(target)
    return target
