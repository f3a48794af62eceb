"""From cell values to calls and back, the same for every spreadsheet program.

A spreadsheet hands over raw values: a number, a text, a boolean, nothing for a blank cell, an error, rows of these for
a range. A `CellCall` turns them into a call of the Python function, cell by cell where ranges are given, and gives back
numbers, texts and rows of them. What differs between programs is a `Host`: whether a blank cell can be told from 0, and
how a problem is shown.

>>> from barfuncs.catalogue.entry import find
>>> call = CellCall(find("parts_per_bar"), EXCEL)
>>> call(144.0, 2.25, 0.125, 3.0)
59
>>> call(144.0, ((2.25,), ("2-1/4 in",), (None,)), 0.125, 3.0)[:2]
[[59], [59]]

Calc hands a single blank cell over as 0, and nothing tells it from a 0 that was typed. So a single 0 is refused there
wherever it would count for something else than a blank cell: in an argument that is needed and may be 0, and in one that
may be left out and has another default than 0. A real 0 is written -0, or its cell A2:A2: a range is exact.
"""

import logging
import math
import re
import struct
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from decimal import Decimal
from itertools import chain, repeat
from typing import Any, Literal

import barfuncs
from barfuncs.catalogue.columns import Texts
from barfuncs.catalogue.entry import Argument, Entry, find
from barfuncs.catalogue.kinds import UNITS, PositiveCount, kind_of
from barfuncs.catalogue.reading import CALL, Way, read_arguments, read_in, read_value
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.functions.cost import TABLE_HEADS

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
_MOST_REFUSED = 1000
_I4 = 2**31

WHY_HELP = 'Says in words what is wrong with a function\'s arguments, or "ok".'
WHY_NAME = ("function_name", 'the function\'s name in quotes, such as "PARTS_PER_BAR"')

Cause = Literal["argument", "text", "material", "number"]
"""What a refusal comes from: an argument missing or outside its limits, a text that can't be read, a material that is
not in the table, a result that no number holds."""


@dataclass(frozen=True)
class Problem:
    """Why a cell has no value: the error's name and, where there is more to say, the words."""

    code: str
    words: str = ""
    cause: Cause = "argument"

    def __str__(self) -> str:
        """The error as a text of at most 255 characters."""
        return _cut(f"{self.code} {self.words}".rstrip(), LONGEST_TEXT)


@dataclass(frozen=True)
class _Zero(Problem):
    """A single 0 that may be a blank cell; `stand_in` is what its neighbours are checked with."""

    stand_in: float | None = None


class _Refusal(Problem):
    """A call that the function refused. The words and the cause are worked out only where somebody asks for them."""

    def __init__(self, call: "CellCall", given: Sequence[Any], error: BarfuncsError) -> None:
        self.__dict__.update(code="#VALUE!", asked=(call, error, given))

    @property
    def words(self) -> str:
        call, error, given = self.__dict__["asked"]
        reasons: str = call.reasons(error, given)
        return reasons

    @property
    def cause(self) -> Cause:
        call, error, given = self.__dict__["asked"]
        cause: Cause = call.cause(error, given)
        return cause


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."


# --- what differs between spreadsheet programs ---------------------------------------------------------------------


@dataclass(frozen=True)
class Host:
    """A spreadsheet program: how it takes a problem and a number, what rows are to it, whether a blank cell is a 0."""

    show: Callable[[Problem], Any]
    number: Callable[[float], Any]
    rows: type = list
    blank_is_zero: bool = False


def _excel_number(value: float) -> Any:
    """A 32-bit integer or a float: all that COM takes."""
    if value.__class__ is int:
        return value if -_I4 <= value < _I4 else float(value)
    return float(value)


def error_value(code: int) -> float:
    """The number that Calc shows as an error: a NaN with the error's number in its low bits. Far cheaper than raising."""
    value: float = struct.unpack("<d", struct.pack("<Q", 0x7FF8000000000000 | code))[0]
    return value


_CAUSES = {"argument": error_value(502), "number": error_value(503), "text": error_value(519), "material": error_value(32767)}
_HANDED_ON = {"#N/A": 32767, "#DIV/0!": 532, "#NUM!": 503, "#VALUE!": 519, "#REF!": 524, "#NAME?": 525, "#NULL!": 521}


def _calc_error(problem: Problem) -> float:
    """Err:502 for an argument, #VALUE! for a text, #N/A for a material, #NUM! for a result; or the error handed on."""
    if problem.__class__ is Problem and not problem.words:
        return error_value(_HANDED_ON.get(problem.code, 519))
    return _CAUSES[problem.cause]


EXCEL = Host(show=str, number=_excel_number)
"""Excel over COM, which carries no error values: a problem is a text that begins with #."""
CALC = Host(show=_calc_error, number=float, rows=tuple, blank_is_zero=True)
"""LibreOffice Calc, through the add-in."""


# --- one cell ------------------------------------------------------------------------------------------------------


class _Shown:
    """Stands in for a value in a message, spelled as in a sheet."""

    def __init__(self, text: str) -> None:
        self.text = text

    def __repr__(self) -> str:
        return self.text


# TRUE is no number here, though Python takes it for a 1.
_TRUTH = {True: _Shown("TRUE"), False: _Shown("FALSE")}


def read_cell(value: Any) -> Any:
    """A raw cell value as a number, a text, a date, None for a blank or a Problem for an error.

    >>> read_cell(Decimal("2.40")), read_cell(""), read_cell(MISSING), read_cell(-2146826246).code
    (2.4, None, None, '#N/A')
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
    if kind is bool:
        return _TRUTH[value]
    return float(value) if isinstance(value, Decimal) else value


def _as_in_a_sheet(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, (date, time)):  # a datetime is a date
        return _Shown("a date or a time of day")
    return [_as_in_a_sheet(v) for v in value] if isinstance(value, (list, tuple)) else value


Reader = Callable[[Any], Any]


def _reader(argument: Argument) -> Reader:
    """How one cell of an argument is read."""
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


def zero_is_unclear(argument: Argument) -> bool:
    """Whether a 0 and a blank cell would give different results."""
    if argument.required:
        return argument.kind.is_number and argument.kind.allows(0)
    return bool(argument.default != 0)


def _single_reader(argument: Argument, read: Reader, host: Host) -> Reader:
    """How a single cell is read, where a program shows no difference between 0 and blank."""
    if not host.blank_is_zero or not zero_is_unclear(argument) or read is _table_argument:
        return read
    words = f"{argument.name}: 0 given, or a blank cell, which arrives here as 0; "
    if argument.required:
        problem = _Zero("#VALUE!", words + "fill the cell, or write -0 for a real 0, or A2:A2 for its cell", stand_in=0.0)
    else:
        problem = _Zero("#VALUE!", words + "fill the cell, leave the argument out, or write A2:A2 for its cell")

    as_it_is = read is read_cell

    def single(value: Any) -> Any:
        if value.__class__ is float:
            if value == 0:
                # A blank cell is never the negative zero of floating point, which -0 in a formula gives.
                return problem if math.copysign(1, value) > 0 else read(0.0)
            if as_it_is:
                return value
        return read(value)

    return single


def _way(entry: Entry) -> Way:
    """What a message about units advises in a cell, which has no keywords."""
    if entry.has_units:
        return replace(CALL, add_units='give the last argument, units: "in" or "mm"')
    if entry.result.two_systems:
        return replace(CALL, add_units='give plain numbers in one unit; LENGTH_IN("3 mm","in") makes a number of a text')
    return replace(CALL, add_units="write its unit in the cell too, such as 3 mm")


# --- ranges --------------------------------------------------------------------------------------------------------


def _rows(value: Any) -> Sequence[Sequence[Any]]:
    """A range as rows; a flat sequence is one row."""
    if value and not isinstance(value[0], (tuple, list)):
        return (value,)
    rows: Sequence[Sequence[Any]] = value
    return rows


def _size_words(rows: Sequence[Sequence[Any]]) -> str:
    def some(n: int, word: str) -> str:
        return f"{n} {word}" + ("s" if n != 1 else "")

    return f"{some(len(rows), 'row')} by {some(len(rows[0]), 'column')}"


def _flat(value: Any) -> list[Any]:
    if isinstance(value, (tuple, list)):
        return [read_cell(v) for row in _rows(value) for v in row]
    return [read_cell(value)]


_COUNT = kind_of(PositiveCount)


def _is_count(text: str) -> bool:
    try:
        read_in(_COUNT, text, UNITS[0])
    except ValueError:
        return False
    return True


def _table_argument(value: Any) -> Any:
    """All cells of a range as one list, or the first error among them, or None where all are blank. A text alone
    that is no count may hold several, as in Python."""
    cells = [v for v in _flat(value) if v is not None]
    if len(cells) == 1 and isinstance(cells[0], str) and not _is_count(cells[0]):
        return cells[0]
    return next((v for v in cells if isinstance(v, Problem)), cells or None)


def _rows_argument(value: Any) -> Any:
    """The rows of a range with their blank cells, or the first error among them, or None where all are blank. A single
    text may hold several rows, as in Python."""
    if not isinstance(value, (tuple, list)):
        return read_cell(value)
    rows = tuple(tuple(map(read_cell, row)) for row in _rows(value))
    cells = [v for row in rows for v in row if v is not None]
    if len(rows) == 1 and len(rows[0]) == 1:
        return rows[0][0]
    return next((v for v in cells if isinstance(v, Problem)), rows if cells else None)


_TABLE_READERS = (_table_argument, _rows_argument)


class CellCall:
    """A function of the catalogue, called with raw cell values.

    Gives one value for single cells. For ranges, which must be of one size, it gives one value for each of their cells;
    a single value goes with all of them.
    """

    def __init__(self, entry: Entry, host: Host) -> None:
        self.entry = entry
        self._host = host
        self._number = host.number
        self._function: Callable[..., Any] = getattr(barfuncs, entry.name)
        self._table = entry.result.reader == "table"
        self._way = _way(entry)
        self._readers = tuple(_TABLE_READERS[bool(a.kind.columns)] if a.kind.reader == "table" else _reader(a) for a in entry.arguments)
        self._single = tuple(_single_reader(a, read, host) for a, read in zip(entry.arguments, self._readers, strict=True))
        self._texts = Texts(entry)
        self._lists = any(a.kind.reader == "table" for a in entry.arguments)

    def __call__(self, *args: Any) -> Any:
        """The result, or the problem in the form that the spreadsheet program takes."""
        for value in args:
            if value.__class__ is tuple or value.__class__ is list:
                outcome = self._spread(args, self._one)
                break
        else:
            outcome = self._one([read(value) for read, value in zip(self._single, args)])  # noqa: B905 - as below
        return self._host.show(outcome) if isinstance(outcome, Problem) else outcome

    def why(self, *args: Any) -> Any:
        """In words what is wrong with the arguments, or "ok"; one text for each cell where ranges are given."""
        most = len(self.entry.arguments)
        last = max((n for n, value in enumerate(args, 1) if any(v is not None for v in _flat(value))), default=0)
        if last > most:
            return f"{self.entry.cell_name} takes {most} arguments, {last} were given"
        outcome = self._spread(args[:most], self._words)
        return _cut(outcome.words, _LONGEST_WORDS) if isinstance(outcome, Problem) else outcome

    def _spread(self, args: Sequence[Any], one: Callable[[Sequence[Any]], Any]) -> Any:
        """Call `one` with the values of single cells, or for each cell of the ranges."""
        single: list[Any] = []
        ranges: dict[int, Sequence[Sequence[Any]]] = {}
        for read, value in zip(self._single, args):  # noqa: B905 - strict costs time, and args may be short
            if (value.__class__ is tuple or value.__class__ is list) and read not in _TABLE_READERS:
                rows = _rows(value)
                if len(rows) > 1 or (rows and len(rows[0]) > 1):
                    ranges[len(single)] = rows
                    single.append(None)
                else:
                    single.append(self._readers[len(single)](rows[0][0] if rows and len(rows[0]) else None))
                continue
            single.append(read(value))
        return self._each(single, ranges, one) if ranges else one(single)

    def _each(self, single: Sequence[Any], ranges: dict[int, Sequence[Sequence[Any]]],
              one: Callable[[Sequence[Any]], Any]) -> Any:
        """One result for each cell of the ranges."""
        if problem := self._bad_size(ranges):
            return problem
        many: list[Iterable[Any]] = [repeat(value) for value in single]
        for n, rows in ranges.items():
            read = self._readers[n]
            many[n] = [read(value) for value in chain.from_iterable(rows)]
        show = self._host.show
        # A whole column is mostly blank rows: the same refusal is worked out once.
        refused: dict[tuple[Any, ...], Any] = {}
        flat = []
        for values in zip(*many):  # noqa: B905 - repeat has no end
            result = refused.get(values) if refused else None
            if result is None:
                result = one(values)
                if isinstance(result, Problem):
                    result = show(result)
                    if len(refused) < _MOST_REFUSED and not self._lists:
                        refused[values] = result
            flat.append(result)
        make = self._host.rows
        columns = len(next(iter(ranges.values()))[0])
        return make([make(flat[n : n + columns]) for n in range(0, len(flat), columns)])

    def _bad_size(self, ranges: dict[int, Sequence[Sequence[Any]]]) -> Problem | None:
        names = [a.name for a in self.entry.arguments]
        first, *others = ranges
        if self._table:
            return Problem("#VALUE!", f"{names[first]}: {_size_words(ranges[first])} given; allowed is one cell")
        for n in others:
            if (len(ranges[n]), len(ranges[n][0])) != (len(ranges[first]), len(ranges[first][0])):
                return Problem("#VALUE!", f"{names[n]}: {_size_words(ranges[n])} given next to {_size_words(ranges[first])} "
                                          f"of {names[first]}; ranges must have the same size")
        return None

    def _one(self, given: Sequence[Any]) -> Any:
        """The result for one set of values that were read, or a Problem."""
        last, texts = 0, False
        for n, value in enumerate(given, 1):
            if value is not None:
                last = n
                kind = value.__class__
                if kind is str:
                    texts = True
                elif kind is not float and kind is not int and isinstance(value, Problem):
                    return value
        given = given[:last]
        try:
            if texts:
                stated = given[-1] if self.entry.has_units and len(given) == len(self.entry.arguments) else None
                result = self._function(*self._texts.without(given, stated))
            else:
                result = self._function(*given)
            if self._table:
                return self._table_result(result)
            kind = result.__class__
            return self._number(result) if kind is int or (kind is float and math.isfinite(result)) else self._result(result)
        except BarfuncsError as error:
            return _Refusal(self, given, error)
        except ArithmeticError:
            return Problem("#NUM!", "the numbers are too large or too small to work with", "number")
        except Exception as error:  # a cell must show an error, whatever goes wrong
            _log.exception("%s failed", self.entry.cell_name)
            return Problem("#VALUE!", f"{self.entry.cell_name} failed ({type(error).__name__}: {error})")

    def _words(self, given: Sequence[Any]) -> str:
        named = list(zip(self.entry.arguments, given, strict=False))
        faults = [value.words if isinstance(value, _Zero) else f"{a.name}: the cell shows the error {value}"
                  for a, value in named if isinstance(value, Problem)]
        if any(isinstance(v, Problem) and not isinstance(v, _Zero) for v in given):
            return _cut("; ".join(faults), _LONGEST_WORDS)
        outcome = self._one([v.stand_in if isinstance(v, _Zero) else v for v in given])
        if isinstance(outcome, Problem):
            faults.append(outcome.words)
        return _cut("; ".join(faults), _LONGEST_WORDS) or "ok"

    def reasons(self, error: BarfuncsError, given: Sequence[Any]) -> str:
        """The error in words, values spelled as in a sheet: -2, not -2.0."""
        try:
            values, _, _ = read_arguments(self.entry, [_as_in_a_sheet(value) for value in given], {}, self._way)
            self.entry.core(*values)
        except BarfuncsError as better:
            error = better
        except Exception:
            _log.debug("no better words for %s", error, exc_info=True)
        if not isinstance(error, InputError):
            return str(error)
        return "; ".join(f"{argument}: {reason}" for argument, reason in error.problems)

    def cause(self, error: BarfuncsError, given: Sequence[Any]) -> Cause:
        """What a refusal comes from."""
        named = {argument for argument, _ in error.problems} if isinstance(error, InputError) else set()
        for a, value in zip(self.entry.arguments, given, strict=False):
            if a.name not in named:
                continue
            if a.kind.columns:
                return "text" if isinstance(value, str) else "argument"
            if a.kind.reader == "table" and any(isinstance(cell, str) for cell in value or ()):
                return "text"
            if isinstance(value, str):
                if a.kind.reader == "text":
                    return "text"
                try:
                    read_value(a.kind, value)
                except ValueError:
                    return "material" if a.kind.reader == "material" else "text"
        return "argument"

    def _result(self, value: Any) -> Any:
        if isinstance(value, str):
            return value
        if not math.isfinite(value):
            return Problem("#NUM!", "the result is too large", "number")
        return self._number(value if value.__class__ is int else float(value))

    def _table_result(self, result: Sequence[Any]) -> Any:
        """A table as rows under a header row; a plain list as a column."""
        make = self._host.rows
        rows = [[self._result(v) for v in row] if isinstance(row, (tuple, list)) else [self._result(row)] for row in result]
        for row in rows:
            for value in row:
                if isinstance(value, Problem):
                    return value
        head = TABLE_HEADS.get(self.entry.name)
        return make([make(row) for row in ([head, *rows] if head else rows)])


def why(host: Host, name: Any = None, *args: Any) -> Any:
    """In words what is wrong with the arguments of the function called `name`, or "ok". A Problem for a bad name.

    >>> why(EXCEL, "PARTS_PER_BAR", 144.0, -2.0, 0.125, 3.0)
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
    return CellCall(entry, host).why(*args)


MOST_ARGUMENTS = max(len(entry.arguments) for entry in barfuncs.CATALOGUE.values())
"""The largest number of arguments in the catalogue."""
