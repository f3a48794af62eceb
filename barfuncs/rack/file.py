"""The history as a file, rack.csv: read row by row and reckoned again, grown by whole bookings, never changed."""

import datetime
import os
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from decimal import Decimal
from pathlib import Path
from typing import Any

from barfuncs.errors import BarfuncsError, InputError, WorkbookError, shown
from barfuncs.filling.folder import locked
from barfuncs.filling.results import csv_cell
from barfuncs.rack.bars import STEPS
from barfuncs.rack.ledger import (
    COUNTS,
    DATES,
    ENTRY_FIELDS,
    LENGTHS,
    MONEY,
    MOST_ENTRIES,
    SIZES,
    Entry,
    Rack,
    differing,
)
from barfuncs.text.datafile import table_rows
from barfuncs.text.limits import MOST_CELLS
from barfuncs.xlsx.package import PART, TEMPORARY, Staged

LARGEST = 20_000_000
_HEAD = (",".join(ENTRY_FIELDS) + "\r\n").encode("utf-8-sig")
_FEW = 3
"""So many columns that are missing or unknown are named."""
_SAVED_OTHERWISE = "the file was changed outside of barfuncs; take the last copy that nobody changed"


class Ledger:
    """A history and the rack by it. Bookings are made by `rack` and kept by `book`."""

    def __init__(self) -> None:
        self.rack = Rack()
        self.entries: list[Entry] = []
        self.new: list[Entry] = []
        self.kept = False
        """Whether the new rows are in the file."""

    def book(self, entry: Entry) -> Entry:
        self.new.append(entry)
        return entry


def read_ledger(path: str | Path) -> Ledger:
    """The history of a file, every row of it reckoned again.

    Raises InputError naming row and column where it is not what comes of the rows before, WorkbookError where it can't be read.
    """
    path = Path(path)
    ledger = Ledger()
    data = _bytes_of(path)
    if data is None:
        raise WorkbookError(f"{path}: there is no such rack; 'barfuncs rack receive' begins one")
    _reckon(ledger, path.name, data)
    return ledger


def is_history(path: str | Path) -> bool:
    """Whether a file begins as a history does, whatever is wrong behind that; otherwise it may be a list of bars.

    Raises WorkbookError for a file that can't be read.
    """
    try:
        with Path(path).open("rb") as file:
            first = file.read(200)
    except OSError as error:
        raise WorkbookError(f"{Path(path).name} can't be read ({error.strerror})") from None
    head = re.split(r"[,;\t]", first.decode("utf-8-sig", "replace").partition("\n")[0].replace('"', ""))
    return [name.strip().casefold() for name in head[:3]] == list(ENTRY_FIELDS[:3])


def _bytes_of(path: Path) -> bytes | None:
    """What is in the file, None where there is none."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise WorkbookError(f"{path.name} can't be read ({error.strerror})") from None
    if len(data) > LARGEST:
        raise WorkbookError(f"{path.name} is larger than {LARGEST // 1_000_000} MB")
    return data


def _reckon(ledger: Ledger, name: str, data: bytes) -> None:
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise WorkbookError(f"{name} is a workbook; a history is a CSV. 'barfuncs rack receive --from' takes bars from a workbook")
    try:
        rows, problems = table_rows(data, name, ENTRY_FIELDS, ENTRY_FIELDS)
    except InputError as error:
        if len(error.problems) > _FEW:
            raise WorkbookError(f"{name} is no history of a rack: its first row has other columns") from None
        raise InputError(name, error.problems) from None
    except ValueError as error:
        raise WorkbookError(f"{name} {error}") from None
    if problems:
        raise InputError(name, problems)
    for number, cells in rows:
        row = _entry(name, number, cells)
        try:
            reckoned = ledger.rack.again(row)
        except InputError as error:
            raise InputError(name, [(f"row {number}, {column}", reason) for column, reason in error.problems]) from None
        wrong = [(f"row {number}, {column}", f"says {_shown(column, said, row.units)}, where the rows before give "
                                             f"{_shown(column, found, row.units)}; {_SAVED_OTHERWISE}")
                 for column, said, found in differing(row, reckoned)]
        if wrong:
            raise InputError(name, wrong[:3])
        ledger.entries.append(reckoned)


def _shown(column: str, value: Any, units: str) -> str:
    return _written(column, value, units) or "nothing"


def _written(column: str, value: Any, units: str) -> str:
    """One cell of the history."""
    if value is None:
        return ""
    if column in LENGTHS:
        return f"{Decimal(value) / STEPS[units]:f}"
    if column in MONEY:
        return f"{Decimal(value) / 100:.2f}"
    if column in DATES:
        return str(value)
    return csv_cell(float(value) if column in SIZES else value)


def line_of(entry: Entry) -> bytes:
    """A row of the file."""
    return (",".join(_written(name, getattr(entry, name), entry.units) for name in ENTRY_FIELDS) + "\r\n").encode()


def _entry(name: str, number: int, cells: dict[str, str]) -> Entry:
    """A row as it is written. Raises InputError naming what can't be read."""
    values: dict[str, Any] = {}
    problems = []
    units = cells["units"]
    if units not in STEPS:
        raise InputError(name, [(f"row {number}, units", f"{shown(units)} given; allowed is one of {', '.join(STEPS)}")])
    for column, text in cells.items():
        try:
            values[column] = _read(column, text, units)
        except (ValueError, ArithmeticError):  # what Decimal raises is an arithmetic error
            problems.append((f"row {number}, {column}", f"{shown(text)} can't be read; {_SAVED_OTHERWISE}"))
    if problems:
        raise InputError(name, problems)
    if values["entry"] is None or values["date"] is None:
        raise InputError(name, [(f"row {number}, {'date' if values['entry'] else 'entry'}", "is missing")])
    return Entry(**values)


def _read(column: str, text: str, units: str) -> Any:
    if column in COUNTS:
        return _whole(text, 1)
    if column in LENGTHS:
        return _whole(text, STEPS[units])
    if column in MONEY:
        return _whole(text, 100)
    if column in DATES:
        return datetime.date.fromisoformat(text) if text else None
    if column in SIZES:
        return float(text) if text else None
    return text


def _whole(text: str, parts: int) -> int | None:
    if not text:
        return None
    if len(text) > 20 or not text.isascii():
        raise ValueError
    number = Decimal(text) * parts
    if not number.is_finite() or number < 0 or number != int(number):
        raise ValueError
    return int(number)


@contextmanager
def changing(path: str | Path, tell: Callable[[str], None] | None = None, must_exist: bool = True,
             held: Callable[[], AbstractContextManager[None]] = nullcontext) -> Iterator[Ledger]:
    """Hold the history while bookings are made; at the end all of them are written, or none. `held` is around the writing.

    A second one waits, and says so by `tell`. Raises as `read_ledger` does, and BarfuncsError where it can't be written.
    """
    path = Path(path)
    try:
        real = path.resolve()
        lock = real.with_name(f".{real.name}.lock")
        with locked(lock, f"another command is writing {path.name}", f"another command is still writing {path.name}", tell):
            _sweep(real)
            ledger, data = Ledger(), _bytes_of(real)
            if data is None and must_exist:
                raise WorkbookError(f"{path}: there is no such rack; 'barfuncs rack receive' begins one")
            if data is not None:
                _reckon(ledger, path.name, data)
            yield ledger
            if ledger.new:
                with held():
                    _write(real, data, ledger)
                    ledger.kept = True
    except OSError as error:
        raise BarfuncsError(f"{path} can't be written ({error.strerror or error}); nothing is booked") from None


def _beginning(path: Path) -> str:
    """How the names of files begin that are to become this one."""
    return f"{TEMPORARY}{path.name}-"


def _sweep(path: Path) -> None:
    """Take away what a killed command left. No other writes there, since this one has the lock."""
    for left in path.parent.glob(f"{TEMPORARY}*{PART}"):
        if left.name.startswith(_beginning(path)):
            with suppress(OSError):
                left.unlink()


def _write(path: Path, data: bytes | None, ledger: Ledger) -> None:
    """The rows so far as they are and the new ones behind them: in another file, which then takes the name."""
    every: Sequence[Entry] = [*ledger.entries, *ledger.new]
    filled = sum(getattr(entry, name) not in (None, "") for entry in every for name in ENTRY_FIELDS)
    if len(every) > MOST_ENTRIES or filled > MOST_CELLS:
        raise BarfuncsError(f"{path.name} would have more than {MOST_ENTRIES:,} rows or {MOST_CELLS:,} filled cells: begin a new one with what "
                            "is there (rack list --out FILE.xlsx, then rack receive --from FILE.xlsx --rack NEW.csv)")
    as_written = data is not None and data.startswith(_HEAD) and data.endswith(b"\r\n")
    before = data if as_written and data is not None else _HEAD + b"".join(map(line_of, ledger.entries))
    staged = Staged(path, [before, *map(line_of, ledger.new)], replace=data is not None, beginning=_beginning(path))
    try:
        _to_disk(staged.temporary, os.O_RDWR)
        staged.place()
        with suppress(OSError):  # a folder can't be opened everywhere
            _to_disk(path.parent, os.O_RDONLY)
    finally:
        staged.drop()


def _to_disk(path: str | Path, how: int) -> None:
    """Have the system write what it may still keep in memory, so that a power cut finds the one file or the other."""
    handle = os.open(path, how)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
