"""CSV tables that come with barfuncs or are a shop's own: read within limits, columns checked by name."""

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from barfuncs.errors import InputError

if TYPE_CHECKING:  # csv and pathlib would be a quarter of the time that importing barfuncs takes
    from pathlib import Path

_LARGEST_FILE = 4_000_000


def parse_table(data: bytes, what: str, columns: Sequence[str], required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """The filled rows of a CSV text: row number and every column's text, blank where it is not there.

    Raises InputError for a missing, unknown or doubled column, and for rows with more cells than columns; ValueError for
    what is no CSV text.
    """
    from barfuncs.csv_text import read_csv

    rows = [(n, [" ".join(cell.split()) for cell in cells]) for n, cells in enumerate(read_csv(data), start=1)]
    rows = [(n, cells) for n, cells in rows if any(cells)]
    header = [c.casefold() for c in rows[0][1]] if rows else []
    while header and not header[-1]:
        header.pop()
    problems = [(c, "this column is missing") for c in required if c not in header]
    problems += [(c or "a blank name", "is not a column; known are " + ", ".join(columns)) for c in header if c not in columns]
    problems += [(c, "stands twice in the first row") for c in columns if header.count(c) > 1]
    if not problems:
        problems = [(f"row {n}", "has more cells than the first row has names") for n, cells in rows[1:]
                    if any(cells[len(header):])]
    if problems:
        raise InputError(what, problems)
    return [(n, dict.fromkeys(columns, "") | dict(zip(header, cells, strict=False))) for n, cells in rows[1:]]


def read_table(path: "str | Path", what: str, columns: Sequence[str],
               required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """The filled rows of a CSV file. Raises InputError also for a file over 4 MB or one that is no CSV text."""
    name = os.path.basename(path)
    with open(path, "rb") as file:
        data = file.read(_LARGEST_FILE + 1)  # a device has no size, and no end
    if len(data) > _LARGEST_FILE:
        raise InputError(what, [(name, "is larger than 4 MB")])
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise InputError(what, [(name, "is a workbook; save it as CSV UTF-8")])
    try:
        return parse_table(data, f"{what} {name}", columns, required)
    except InputError:
        raise
    except ValueError as error:
        raise InputError(what, [(name, str(error))]) from None


def builtin_table(name: str, columns: Sequence[str], required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """The rows of a table that comes with barfuncs."""
    with open(os.path.join(os.path.dirname(__file__), name), "rb") as file:
        return parse_table(file.read(), name, columns, required)
