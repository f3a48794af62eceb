"""The rows of a list, from a CSV or an xlsx file, as a spreadsheet program shows and counts them."""

import contextlib
import functools
import itertools
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from barfuncs.errors import WorkbookError
from barfuncs.text.csv_text import read_csv
from barfuncs.xlsx import sandbox
from barfuncs.xlsx.package import LARGEST_FILE, OLD_FILE
from barfuncs.xlsx.sheetxml import CellError

MOST_MEMORY = 400_000_000
"""Of the process that reads or calculates an xlsx file."""
READING = sandbox.Work("barfuncs.xlsx.sheet_rows:write_rows", "read", "read", "the reading", 3, MOST_MEMORY)
SECONDS_TO_CALCULATE = 3
"""For the formulas of a list, which are few and simple; a file with more to calculate is better saved with its values."""


def read_rows(path: Path, sheet: str = "") -> Iterator[tuple[int, list[Any]]]:
    """(row number, cells) of the first visible sheet, or of that called `sheet` where a workbook has one that is visible. What the
    file is, its first bytes say, or else its name.

    Raises WorkbookError for a file that can't be read within the limits, naming it.
    """
    if not path.is_file():
        raise WorkbookError(f"{path.name}: there is no such file")
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise WorkbookError(f"{path.name} is larger than {LARGEST_FILE // 1_000_000} MB")
        with path.open("rb") as file:
            is_workbook = file.read(8).startswith((b"PK\x03\x04", OLD_FILE)) or path.suffix.lower() in (".xlsx", ".xlsm")
            file.seek(0)
            data = b"" if is_workbook else file.read(LARGEST_FILE)
    except OSError as error:
        raise WorkbookError(f"{path.name} can't be read ({error.strerror})") from None
    if is_workbook:
        yield from _xlsx_rows(path, sheet)
        return
    try:
        yield from enumerate(read_csv(data), start=1)
    except ValueError as error:
        raise WorkbookError(f"{path.name} {error}") from None


def _xlsx_rows(path: Path, sheet: str) -> Iterator[tuple[int, list[Any]]]:
    with _read_apart(path, path.name, sheet) as (rows, told):
        if not told["without_value"]:
            yield from _values(rows, told)
            return
    with tempfile.TemporaryDirectory(prefix="barfuncs-") as folder:
        book = Path(folder) / "book.xlsx"
        book.write_bytes(_calculated(path, told))
        with _read_apart(book, path.name, sheet) as (rows, told):
            yield from _values(rows, told)


@contextlib.contextmanager
def _read_apart(path: Path, label: str, sheet: str) -> Iterator[tuple[Iterator[bytes], Any]]:
    """The rows as another process reads them, to be taken one by one, and what it says of all of them."""
    with sandbox.answer(READING, label, str(path.absolute()), label, sheet) as file:
        rows, last = -1, b""
        for line in file:
            rows, last = rows + 1, line
        told = json.loads(last)
        if "refused" in told:
            raise WorkbookError(told["refused"])
        file.seek(0)
        yield itertools.islice(file, rows), told


def _values(rows: Iterator[bytes], told: Any) -> Iterator[tuple[int, list[Any]]]:
    for line in rows:
        number, cells = json.loads(line)
        yield number, [_value(cell, told["from_1904"]) if isinstance(cell, dict) else cell for cell in cells]


def _value(cell: dict[str, Any], from_1904: bool) -> Any:
    """An error value, or what a spreadsheet program shows as a date or a time."""
    from openpyxl.utils import datetime as dates

    if "error" in cell:
        return CellError(cell["error"])
    try:
        if "date" in cell:
            return dates.from_ISO8601(cell["date"])  # type: ignore[no-untyped-call]
        days, is_date, is_span = cell["day"], *_date_format(cell["format"])
        if not is_date:
            return days
        return dates.from_excel(days, dates.CALENDAR_MAC_1904 if from_1904 else dates.CALENDAR_WINDOWS_1900, is_span)
    except (ValueError, OverflowError):
        return CellError("#VALUE!")


@functools.cache
def _date_format(code: str | int) -> tuple[bool, bool]:
    """Whether a number format shows a date or time, and whether it shows a span of time."""
    from openpyxl.styles import numbers

    text = numbers.BUILTIN_FORMATS.get(code, "yyyy-mm-dd") if isinstance(code, int) else code
    return numbers.is_date_format(text), numbers.is_timedelta_format(text)


def _calculated(path: Path, told: Any) -> bytes:
    """The file with values for the formulas that have none stored, as files written by a program often have."""
    try:
        return sandbox.calculate(path, SECONDS_TO_CALCULATE, MOST_MEMORY).data
    except WorkbookError as error:
        unknown, sheet = told["without_value"], told["sheet"]
        cells = ", ".join(unknown[:5]) + (f" and {len(unknown) - 5:,} more" if len(unknown) > 5 else "")
        raise WorkbookError(f"{path.name}: no value is stored for the formulas in {sheet}!{cells}, and they can't be "
                            f"calculated here ({error}); open the file in a spreadsheet program and save it") from None
