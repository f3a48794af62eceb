"""Bars from a list: the sheet Bars of rack.xlsx, or any table, workbook or CSV, with its headings."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from barfuncs.errors import InputError, WorkbookError, shown
from barfuncs.filling.headings import key
from barfuncs.filling.list_file import read_rows
from barfuncs.rack.bars import BY_NAME, COLUMNS, STEPS, Bar, read_bar
from barfuncs.xlsx.engine import column_letters

UNITS_LABEL = "Units"
MARK_LABEL = "What is wrong"
"""The heading of the marks of rack.xlsx, which are no part of a bar; what is behind it is not read."""
_HEAD_WITHIN = 30
_KEYS = {key(text): c.name for c in COLUMNS for text in (c.name, c.label)} | {key("bar"): "id", key("units"): "units"}
_NEEDED = tuple(c.name for c in COLUMNS if c.needed)


@dataclass(frozen=True)
class Problem:
    """What is wrong with one cell of a list."""

    row: int
    column: str
    value: str
    reason: str


class ListError(InputError):
    """A list of bars in which something is wrong; nothing of it is used."""

    def __init__(self, name: str, problems: list[Problem]) -> None:
        super().__init__(name, [(f"row {p.row}, {p.column}", p.reason) for p in problems])
        self.cells = problems


@dataclass(frozen=True)
class Listed:
    """Bars of a list, each with its row, and the units that the list says."""

    name: str
    units: str
    bars: tuple[tuple[int, Bar], ...]


def read_bars(path: str | Path, units: str | None = None, today: datetime.date | None = None) -> Listed:
    """The bars of a list. Its units are those said in a cell beside "Units" or in a column of that name, or else `units`.

    Raises
    ------
    ListError
        Names every bad cell with its row and column.
    InputError
        The headings can't be read, or nothing says what the lengths are in.
    WorkbookError
        The file can't be read.
    """
    path, today = Path(path), today or datetime.date.today()
    rows = [(number, cells) for number, cells in read_rows(path) if any(not _blank(c) for c in cells)]
    head = next((n for n, (_, cells) in enumerate(rows[:_HEAD_WITHIN]) if {"id", "length"} <= {_KEYS.get(_key(c)) for c in cells}), None)
    if head is None:
        raise WorkbookError(f"{path.name} is no list of bars: none of its first {_HEAD_WITHIN} rows has the headings "
                            f"{BY_NAME['id'].label} and {BY_NAME['length'].label}")
    places = _places(path.name, rows[head])
    stated = _stated_units(rows[:head])
    problems: list[Problem] = []
    bars: list[tuple[int, Bar]] = []
    for number, cells in rows[head + 1:]:
        named = {name: cells[at] for name, at in places.items() if at < len(cells) and not _blank(cells[at])}
        if not named:
            continue
        own = str(named.pop("units", "") or stated or units or "").strip().casefold()
        if own not in STEPS:
            problems.append(Problem(number, UNITS_LABEL, own, "nothing says what the lengths are in: in or mm" if not own else
                                    f"{shown(own)} given; allowed is one of {', '.join(STEPS)}"))
            continue
        bar, wrong = read_bar(named, own, today)
        problems += [_problem(number, column, named, places, reason) for column, reason in wrong]
        if bar is not None:
            bars.append((number, bar))
    found = {bar.units for _, bar in bars}
    if len(found) > 1:
        problems.append(Problem(bars[0][0], UNITS_LABEL, ", ".join(sorted(found)), "both units in one list; one rack is kept in one of them"))
    if problems:
        raise ListError(path.name, problems)
    if not bars:
        raise WorkbookError(f"{path.name} has no bars below its headings")
    return Listed(path.name, bars[0][1].units, tuple(bars))


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _key(value: Any) -> str:
    return key(value) if isinstance(value, str) else ""


def _places(name: str, row: tuple[int, list[Any]]) -> dict[str, int]:
    """Where each column stands. Raises InputError for headings that are none of ours, doubled or missing."""
    places: dict[str, int] = {}
    problems = []
    for at, value in enumerate(row[1]):
        if _key(value) == key(MARK_LABEL):
            break
        if _blank(value):
            continue
        where, found = f"row {row[0]}, {column_letters(at + 1)}", _KEYS.get(_key(value))
        if found is None:
            problems.append((where, f"{shown(value)} is not a column of a list of bars; known are {', '.join(c.label for c in COLUMNS)}"))
        elif found in places:
            problems.append((where, f"{shown(value)} stands twice in the headings"))
        else:
            places[found] = at
    problems += [(f"row {row[0]}", f"the column {BY_NAME[n].label!r} is missing") for n in _NEEDED if n not in places]
    if problems:
        raise InputError(name, problems)
    return places


def _stated_units(rows: list[tuple[int, list[Any]]]) -> str:
    """What stands beside a cell "Units" above the headings."""
    for _, cells in rows:
        for at, value in enumerate(cells):
            if _key(value) == key(UNITS_LABEL):
                return next((str(c) for c in cells[at + 1:at + 3] if not _blank(c)), "")
    return ""


def _problem(row: int, column: str, cells: Mapping[str, Any], places: Mapping[str, int], reason: str) -> Problem:
    letter = f" ({column_letters(places[column] + 1)})" if column in places else ""
    value = cells.get(column)
    return Problem(row, BY_NAME[column].label + letter, "" if value is None else str(value)[:60], reason)
