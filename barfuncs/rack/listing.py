"""Bars from a list: the sheet Bars of rack.xlsx, or any table, workbook or CSV, with its headings."""

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from barfuncs.errors import InputError, WorkbookError, shown
from barfuncs.filling.headings import key
from barfuncs.filling.list_file import read_rows
from barfuncs.rack.bars import COLUMNS, STEPS, Bar, read_bar
from barfuncs.templates.model import Column
from barfuncs.xlsx.engine import column_letters

_T = TypeVar("_T")
UNITS_LABEL = "Units"
MARK_LABEL = "What is wrong"
"""The heading of the marks of rack.xlsx, which are no part of a bar; what is behind it is not read."""
_HEAD_WITHIN = 30
_UNITS = "units"


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
    day = today or datetime.date.today()
    name, found, said = read_list(path, "bars", COLUMNS, ("id", "length"), units, lambda cells, own, _: read_bar(cells, own, day))
    return Listed(name, said, tuple(found))


Read = Callable[[Mapping[str, Any], str, int], tuple[_T | None, list[tuple[str, str]]]]
"""What reads a row: its filled cells by column, its units and its number; None with what is wrong."""


def read_list(path: str | Path, what: str, columns: Sequence[Column], known_by: tuple[str, str], units: str | None,
              read: Read[_T], sheet: str = "") -> tuple[str, list[tuple[int, _T]], str]:
    """The rows of a list below the headings, which are the row that has those it is `known_by`: its name, row numbers and what was
    read of each, and its units. A workbook's list is on its first visible sheet, or on that called `sheet` where there is one.
    Raises as `read_bars` does."""
    path, by_name = Path(path), {c.name: c for c in columns}
    keys = {key(text): c.name for c in columns for text in (c.name, c.label)} | {key(_UNITS): _UNITS}
    rows = [(number, cells) for number, cells in read_rows(path, sheet) if any(not _blank(c) for c in cells)]
    head = next((n for n, (_, cells) in enumerate(rows[:_HEAD_WITHIN]) if {*known_by} <= {keys.get(_key(c)) for c in cells}), None)
    if head is None:
        raise WorkbookError(f"{path.name} is no list of {what}: none of its first {_HEAD_WITHIN} rows has the headings "
                            + " and ".join(by_name[name].label for name in known_by))
    places = _places(path.name, what, rows[head], keys, by_name)
    stated = _stated_units(rows[:head])
    problems: list[Problem] = []
    found: list[tuple[int, _T]] = []
    said: dict[str, int] = {}
    for number, cells in rows[head + 1:]:
        named = {name: cells[at] for name, at in places.items() if at < len(cells) and not _blank(cells[at])}
        if not named:
            continue
        own = str(named.pop(_UNITS, "") or stated or units or "").strip().casefold()
        if own not in STEPS:
            problems.append(Problem(number, UNITS_LABEL, own, "nothing says what the lengths are in: in or mm" if not own else
                                    f"{shown(own)} given; allowed is one of {', '.join(STEPS)}"))
            continue
        said.setdefault(own, number)
        item, wrong = read(named, own, number)
        problems += [_problem(number, by_name[column], named, places, reason) for column, reason in wrong]
        if item is not None:
            found.append((number, item))
    if len(said) > 1:
        problems.append(Problem(max(said.values()), UNITS_LABEL, ", ".join(sorted(said)), "both units in one list; one rack is kept in one of them"))
    if problems:
        raise ListError(path.name, problems)
    if not found:
        raise WorkbookError(f"{path.name} has no {what} below its headings")
    return path.name, found, next(iter(said))


def _blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _key(value: Any) -> str:
    return key(value) if isinstance(value, str) else ""


def _places(name: str, what: str, row: tuple[int, list[Any]], keys: Mapping[str, str], by_name: Mapping[str, Column]) -> dict[str, int]:
    """Where each column stands. Raises InputError for headings that are none of ours, doubled or missing."""
    places: dict[str, int] = {}
    problems = []
    for at, value in enumerate(row[1]):
        if _key(value) == key(MARK_LABEL):
            break
        if _blank(value):
            continue
        where, found = f"row {row[0]}, {column_letters(at + 1)}", keys.get(_key(value))
        if found is None:
            problems.append((where, f"{shown(value)} is not a column of a list of {what}; known are {', '.join(c.label for c in by_name.values())}"))
        elif found in places:
            problems.append((where, f"{shown(value)} stands twice in the headings"))
        else:
            places[found] = at
    problems += [(f"row {row[0]}", f"the column {c.label!r} is missing") for c in by_name.values() if c.needed and c.name not in places]
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


def _problem(row: int, column: Column, cells: Mapping[str, Any], places: Mapping[str, int], reason: str) -> Problem:
    letter = f" ({column_letters(places[column.name] + 1)})" if column.name in places else ""
    value = cells.get(column.name)
    return Problem(row, column.label + letter, "" if value is None else str(value)[:60], reason)
