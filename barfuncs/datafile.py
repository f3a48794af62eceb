"""CSV tables that come with barfuncs or are a shop's own: read within limits, columns checked by name."""

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from barfuncs.errors import InputError

if TYPE_CHECKING:  # csv and pathlib would be a quarter of the time that importing barfuncs takes
    from pathlib import Path

_LARGEST_FILE = 4_000_000


def parse_table(text: str, what: str, columns: Sequence[str], required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """The rows of a CSV text: line number and every column's text, blank where it is not there.

    Raises InputError for a missing or an unknown column, and for a row with more cells than columns.
    """
    import csv
    import io

    reader = csv.DictReader(io.StringIO(text, newline=""))
    header = reader.fieldnames or []
    missing = [c for c in required if c not in header]
    if missing:
        raise InputError(what, [(c, "this column is missing") for c in missing])
    unknown = [c for c in header if c not in columns]
    if unknown:
        raise InputError(what, [(str(c), "is not a column; known are " + ", ".join(columns)) for c in unknown])
    rows = list(enumerate(reader, start=2))
    shifted = [(f"line {line}", "has more cells than the first row has names") for line, raw in rows
               if any(cell.strip() for cell in raw.get(None, ()))]
    if shifted:
        raise InputError(what, shifted)
    return [(line, {c: (raw.get(c) or "").strip() for c in columns}) for line, raw in rows]


def read_table(path: "str | Path", what: str, columns: Sequence[str],
               required: Sequence[str]) -> list[tuple[int, dict[str, str]]]:
    """The rows of a CSV file in UTF-8. Raises InputError also for a file over 4 MB or one that is no CSV text."""
    import csv

    name = os.path.basename(path)
    if os.path.getsize(path) > _LARGEST_FILE:
        raise InputError(what, [(name, "is larger than 4 MB")])
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            return parse_table(file.read(), what, columns, required)
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(what, [(name, f"is not a CSV text in UTF-8 ({error})")]) from None


def builtin_text(name: str) -> str:
    """The text of a table that comes with barfuncs."""
    with open(os.path.join(os.path.dirname(__file__), name), encoding="utf-8") as file:
        return file.read()
