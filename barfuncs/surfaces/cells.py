"""From cell values to calls and back, the same for every spreadsheet program.

A spreadsheet hands over raw values: a number, a text, a boolean, nothing for a blank cell, an error, rows of these for
a range. A `CellCall` turns them into a call of the Python function, row by row where a column is given, and gives back
numbers, texts and `Problem`s. How a problem is shown, as text or as a real error value, is the program's matter.

>>> from barfuncs.catalogue import find
>>> call = CellCall(find("parts_per_bar"))
>>> call(144.0, 2.25, 0.125, 3.0)
59
>>> call(144.0, ((2.25,), ("2-1/4 in",), (None,)), 0.125, 3.0)[:2]
[[59], [59]]
"""

import logging
import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from itertools import repeat
from typing import Any

import barfuncs
from barfuncs.catalogue import UNITS_HINT, Argument, Entry, find
from barfuncs.cost import TABLE_HEADS
from barfuncs.errors import BarfuncsError, InputError

_log = logging.getLogger(__name__)

MISSING = -2147352572
"""What a left-out argument is over COM (DISP_E_PARAMNOTFOUND)."""

_ERROR_BASE = -2146828288
_ERRORS = {
    2000: "#NULL!", 2007: "#DIV/0!", 2015: "#VALUE!", 2023: "#REF!", 2029: "#NAME?", 2036: "#NUM!", 2042: "#N/A",
    2043: "#GETTING_DATA", 2045: "#SPILL!", 2046: "#CONNECT!", 2047: "#BLOCKED!", 2048: "#UNKNOWN!", 2049: "#FIELD!",
    2050: "#CALC!",
}
"""Error cells over COM, as an offset from `_ERROR_BASE`."""
_ERROR_TEXT = re.compile(r"(#N/A|#GETTING_DATA|#[A-Z/0]+[!?])(?: (.*))?", re.DOTALL)

LONGEST_TEXT = 255
_LONGEST_WORDS = 2000
_I4 = 2**31


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a cell has no value: the error's name and, where there is more to say, the words."""

    code: str
    words: str = ""

    def __str__(self) -> str:
        """The error as a text of at most 255 characters."""
        return _cut(f"{self.code} {self.words}" if self.words else self.code, LONGEST_TEXT)


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."


# --- one cell ------------------------------------------------------------------------------------------------------


def read_cell(value: Any) -> Any:
    """A raw cell value as a number, a text, a boolean, a date, None for a blank or a Problem for an error.

    >>> read_cell(Decimal("2.40")), read_cell(""), read_cell(MISSING), read_cell(-2146826246)
    (2.4, None, None, Problem(code='#N/A', words=''))
    """
    kind = value.__class__
    if kind is float or value is None:
        return value
    if kind is str:
        if not value:
            return None
        if value[0] == "#" and (match := _ERROR_TEXT.fullmatch(value)):
            return Problem(match[1], match[2] or "")
        return value
    if kind is int:
        if value == MISSING:
            return None
        if 2000 <= value - _ERROR_BASE < 2100:
            return Problem(_ERRORS.get(value - _ERROR_BASE, "#VALUE!"))
        return value
    return float(value) if isinstance(value, Decimal) else value


class _Shown:
    """Stands in for a value in a message, spelled as in a sheet."""

    def __init__(self, text: str) -> None:
        self.text = text

    def __repr__(self) -> str:
        return self.text


def _as_in_a_sheet(value: Any) -> Any:
    if isinstance(value, bool):
        return _Shown(str(value).upper())
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, (date, time)):  # a datetime is a date
        return _Shown("a date or a time of day")
    return [_as_in_a_sheet(v) for v in value] if isinstance(value, list) else value


def _result(value: Any) -> Any:
    """A result that every spreadsheet takes: a 32-bit integer, a finite float or a text."""
    kind = value.__class__
    if kind is int:
        return value if -_I4 <= value < _I4 else float(value)
    if kind is float:
        return value if math.isfinite(value) else Problem("#NUM!", "the result is too large")
    if kind is str:
        return value
    return _result(float(value))


# --- ranges --------------------------------------------------------------------------------------------------------


def _rows(value: Any) -> Sequence[Sequence[Any]]:
    """A range as rows; a flat sequence is one row."""
    if value and not isinstance(value[0], (tuple, list)):
        return (value,)
    rows: Sequence[Sequence[Any]] = value
    return rows


def _shape_words(rows: Sequence[Sequence[Any]]) -> str:
    def some(n: int, word: str) -> str:
        return f"{n} {word}" + ("s" if n != 1 else "")

    return f"{some(len(rows), 'row')} by {some(len(rows[0]), 'column')}"


def _flat(value: Any) -> list[Any]:
    if isinstance(value, (tuple, list)):
        return [read_cell(v) for row in _rows(value) for v in row]
    return [read_cell(value)]


class CellCall:
    """A function of the catalogue, called with raw cell values.

    Gives one value for single cells, and for columns a list of rows of one value each. `show` turns a Problem into
    what the spreadsheet program is handed.
    """

    def __init__(self, entry: Entry, show: Callable[[Problem], Any] = lambda problem: problem) -> None:
        self.entry = entry
        self._show = show
        self._function: Callable[..., Any] = getattr(barfuncs, entry.name)
        self._table = entry.result.reader == "table"
        self._readers = tuple(_reader(a) for a in entry.arguments)

    def __call__(self, *args: Any) -> Any:
        outcome = self._spread(args, self._one)
        if outcome.__class__ is Problem:
            return self._show(outcome)
        if outcome.__class__ is list:
            show = self._show
            return [[show(v) if v.__class__ is Problem else v for v in row] for row in outcome]
        return outcome

    def why(self, *args: Any) -> Any:
        """In words what is wrong with the arguments, or "ok"; one text for each row where a column is given."""
        most = len(self.entry.arguments)
        last = max((n for n, value in enumerate(args, 1) if any(v is not None for v in _flat(value))), default=0)
        if last > most:
            return f"{self.entry.cell_name} takes {most} arguments, {last} were given"
        outcome = self._spread(args[:most], self._words)
        return _cut(outcome.words, _LONGEST_WORDS) if isinstance(outcome, Problem) else outcome

    def _spread(self, args: Sequence[Any], one: Callable[[Sequence[Any]], Any]) -> Any:
        """Call `one` with the cells of each row, a single value beside every row of a column."""
        single: list[Any] = []
        columns: dict[int, Sequence[Sequence[Any]]] = {}
        for read, value in zip(self._readers, args):  # noqa: B905 - strict costs time, and args may be short
            if read is None:
                single.append(_table_argument(value))
                continue
            if value.__class__ is tuple or value.__class__ is list:
                rows = _rows(value)
                if len(rows) > 1 or (rows and len(rows[0]) > 1):
                    columns[len(single)] = rows
                    value = None
                else:
                    value = rows[0][0] if rows and len(rows[0]) else None
            single.append(read(value))
        if not columns:
            return one(single)
        if problem := self._bad_shape(columns):
            return problem
        many: list[Iterable[Any]] = [repeat(value) for value in single]
        for n, rows in columns.items():
            read = self._readers[n]
            assert read is not None
            many[n] = [read(row[0]) for row in rows]
        return [[one(row)] for row in zip(*many)]  # noqa: B905 - repeat has no end

    def _bad_shape(self, columns: dict[int, Sequence[Sequence[Any]]]) -> Problem | None:
        names = [a.name for a in self.entry.arguments]
        first = next(iter(columns))
        for n, rows in columns.items():
            if self._table:
                return Problem("#VALUE!", f"{names[n]}: {_shape_words(rows)} given; allowed is one cell")
            if len(rows[0]) > 1:
                return Problem("#VALUE!", f"{names[n]}: {_shape_words(rows)} given; allowed is one cell or one column")
            if len(rows) != len(columns[first]):
                return Problem("#VALUE!", f"{names[n]}: {len(rows)} rows given next to {len(columns[first])} rows of "
                                          f"{names[first]}; columns must be equally long")
        return None

    def _one(self, given: Sequence[Any]) -> Any:
        """The result for one row of values that were read, or a Problem."""
        last = 0
        for n, value in enumerate(given, 1):
            if value is not None:
                last = n
                if value.__class__ is Problem:
                    return value
        given = given[:last]
        try:
            result = self._function(*given)
            return self._table_result(result) if self._table else _result(result)
        except BarfuncsError as error:
            return Problem("#VALUE!", self._reasons(error, given))
        except ArithmeticError:
            return Problem("#NUM!", "the numbers are too large or too small to work with")
        except Exception as error:  # a cell must show an error, whatever goes wrong
            _log.exception("%s failed", self.entry.cell_name)
            return Problem("#VALUE!", f"{self.entry.cell_name} failed ({type(error).__name__}: {error})")

    def _words(self, given: Sequence[Any]) -> str:
        if faults := [f"{a.name}: the cell shows the error {value}" for a, value in
                      zip(self.entry.arguments, given, strict=False) if isinstance(value, Problem)]:
            return _cut("; ".join(faults), _LONGEST_WORDS)
        outcome = self._one(given)
        return _cut(outcome.words, _LONGEST_WORDS) if isinstance(outcome, Problem) else "ok"

    def _reasons(self, error: BarfuncsError, given: Sequence[Any]) -> str:
        """The error in words, values spelled as in a sheet: -2, not -2.0."""
        try:
            self._function(*[_as_in_a_sheet(value) for value in given])
        except BarfuncsError as better:
            error = better
        except Exception:
            _log.debug("no better words for %s", error, exc_info=True)
        if not isinstance(error, InputError):
            return str(error)
        words = "; ".join(f"{argument}: {reason}" for argument, reason in error.problems)
        if not self.entry.has_units:
            words = words.replace(UNITS_HINT, ": write its unit in the cell too, such as 3 mm")
        return words

    def _table_result(self, result: Sequence[Any]) -> Any:
        """A table as rows under a header row; a plain list as a column."""
        rows = [[_result(v) for v in row] if isinstance(row, (tuple, list)) else [_result(row)] for row in result]
        head = TABLE_HEADS.get(self.entry.name)
        for row in rows:
            for value in row:
                if value.__class__ is Problem:
                    return value
        return [list(head), *rows] if head else rows


def _reader(argument: Argument) -> Callable[[Any], Any] | None:
    """How one cell of an argument is read; None where the argument takes a whole range."""
    if argument.kind.reader == "table":
        return None
    # A blank counts as the default. Whether units were stated matters, and whether a length came without a unit: those
    # stay blank.
    default = None if argument.required or argument.name == "units" else argument.default
    if argument.kind.dimension in ("length", "weight") and default:
        default = None
    if not argument.kind.whole:
        if default is None:
            return read_cell

        def read(value: Any) -> Any:
            value = read_cell(value)
            return default if value is None else value

        return read

    def read_whole(value: Any) -> Any:
        # Spreadsheets have no integers, and the quick path of the Python call wants one for a count.
        value = read_cell(value)
        if value.__class__ is float and value.is_integer() and -1e15 < value < 1e15:
            return int(value)
        return default if value is None else value

    return read_whole


def _table_argument(value: Any) -> Any:
    """All cells of a range as one list, or the first error among them, or None where all are blank."""
    cells = [v for v in _flat(value) if v is not None]
    return next((v for v in cells if v.__class__ is Problem), cells or None)


def why(name: Any, *args: Any) -> Any:
    """In words what is wrong with the arguments of the function called `name`, or "ok". A Problem for a bad name.

    >>> why("PARTS_PER_BAR", 144.0, -2.0, 0.125, 3.0)
    'part_length: -2 given; allowed is a number more than 0 and at most 1,000,000 (in)'
    """
    names = _flat(name)
    if len(names) != 1:
        return Problem("#VALUE!", f"function_name: {len(names)} cells given; allowed is one")
    if isinstance(names[0], Problem):
        return names[0]
    if names[0] is None:
        return Problem("#VALUE!", 'function_name is missing; write for example "PARTS_PER_BAR"')
    try:
        entry = find(names[0])
    except BarfuncsError:
        import difflib

        close = difflib.get_close_matches(str(names[0]).upper(), [n.upper() for n in barfuncs.CATALOGUE], n=1)
        hint = f"; did you mean {close[0]}?" if close else ""
        return Problem("#NAME?", f"{_as_in_a_sheet(names[0])!r} is not a function of barfuncs{hint}")
    return CellCall(entry).why(*args)


MOST_ARGUMENTS = max(len(entry.arguments) for entry in barfuncs.CATALOGUE.values())
"""The largest number of arguments in the catalogue."""
