"""CSV tables that come with barfuncs or are a shop's own: read within limits, columns checked by name."""

import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from barfuncs.errors import InputError

if TYPE_CHECKING:  # csv and pathlib would be a quarter of the time that importing barfuncs takes
    from pathlib import Path

T = TypeVar("T")
_LARGEST_FILE = 4_000_000
_MOST_NAMED = 20

Problems = list[tuple[str, str]]
Rows = list[tuple[int, dict[str, str]]]


def table_rows(data: bytes, what: str, columns: Sequence[str], required: Sequence[str]) -> tuple[Rows, Problems]:
    """The filled rows of a CSV table, row number and every column's text, and the rows that are too long.

    Raises InputError for a missing, unknown or doubled column, ValueError where the data is no CSV text.
    """
    from barfuncs.text.csv_text import read_csv

    rows = [(n, [" ".join(cell.split()) for cell in cells]) for n, cells in enumerate(read_csv(data), start=1)]
    rows = [(n, cells) for n, cells in rows if any(cells)]
    header = [c.casefold() for c in rows[0][1]] if rows else []
    while header and not header[-1]:
        header.pop()
    problems = [(c, "this column is missing") for c in required if c not in header]
    unknown = [c or "a blank name" for c in header if c not in columns]
    problems += [(c, "is not a column; known are " + ", ".join(columns)) for c in unknown[:_MOST_NAMED]]
    if len(unknown) > _MOST_NAMED:
        problems.append((f"{len(unknown) - _MOST_NAMED:,} more", "are not columns either"))
    problems += [(c, "stands twice in the first row") for c in columns if header.count(c) > 1]
    if problems:
        raise InputError(what, problems)
    long = [n for n, cells in rows[1:] if any(cells[len(header):])]
    return ([(n, dict.fromkeys(columns, "") | dict(zip(header, cells, strict=False))) for n, cells in rows[1:] if n not in long],
            [(f"row {n}", "has more cells than the first row has names") for n in long])


def read_file(path: "str | Path", what: str, parse: Callable[[bytes], T]) -> T:
    """What `parse` makes of a file of the shop's own. Raises InputError also for a file over 4 MB or one that is no CSV text."""
    name = os.path.basename(path)
    with open(path, "rb") as file:
        data = file.read(_LARGEST_FILE + 1)  # a device has no size, and no end
    if len(data) > _LARGEST_FILE:
        raise InputError(what, [(name, "is larger than 4 MB")])
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise InputError(what, [(name, "is a workbook; save it as CSV UTF-8")])
    try:
        return parse(data)
    except InputError as error:
        raise InputError(f"{what} {name}", error.problems) from None
    except ValueError as error:
        raise InputError(what, [(name, str(error))]) from None


def builtin_data(module: str, name: str) -> bytes:
    """A table that comes with barfuncs, beside the module with this `__file__`."""
    with open(os.path.join(os.path.dirname(module), name), "rb") as file:
        return file.read()
