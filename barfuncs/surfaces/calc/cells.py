"""What a Calc function does with the values of cells. Runs inside LibreOffice and knows nothing of it.

Calc hands over floats (dates and TRUE too), texts, None for an argument that is left out, and a tuple of rows for a range.
In a range a blank cell is an empty text, so an empty text counts as blank everywhere. Back goes a float, a text or a tuple
of rows.

A single blank cell is handed over as 0, like everywhere in Calc, and nothing tells it from a 0 that was typed. So a single 0
counts as left out where an optional argument can't be 0 or has no number as its default (`efficiency`, `thickness`,
`setup_rate`, `units`); it is refused where a required argument can't be 0; it is 0 elsewhere. A range of one cell
(A2:A2) is exact.

An error goes back as a NaN with Calc's error number in its low bits, which is far cheaper than raising:

====== ========= ==================================================================================================
number in a cell means
====== ========= ==================================================================================================
502    Err:502   an argument is missing or outside its limits, or ranges don't have the same size
503    #NUM!     the result is beyond what a number can hold
519    #VALUE!   a text can't be read: not a length, not one of the choices
32767  #N/A      a material is in no table and is no density
====== ========= ==================================================================================================

WHY says the same in words.
"""

import math
import struct
from collections.abc import Callable, Sequence
from itertools import chain, repeat
from typing import Any

import barfuncs
from barfuncs.catalogue import CATALOGUE, UNITS_HINT, Argument, Entry, find, read_value
from barfuncs.cost import TABLE_HEADS
from barfuncs.errors import BarfuncsError

BAD_ARGUMENT = 502
BAD_NUMBER = 503
BAD_TEXT = 519
NOT_FOUND = 32767

WHY_HELP = 'Say in words what is wrong with a function\'s arguments, or "ok".'
WHY_ARGUMENTS = {"function": 'name of the function as a text, such as "PARTS_PER_BAR"',
                 "arguments": "the function's arguments, in their order"}

CellCall = Callable[..., Any]


def error_value(code: int) -> float:
    """The number that Calc shows as an error."""
    value: float = struct.unpack("<d", struct.pack("<Q", 0x7FF8000000000000 | code))[0]
    return value


def cell_call(entry: Entry) -> CellCall:
    """The function of a catalogue entry on values of cells.

    >>> call = cell_call(CATALOGUE["parts_per_bar"])
    >>> call(144.0, 2.25, 0.125, 3.0, None, None)
    59.0
    >>> call((("12 ft",), (120.0,)), 2.25, 0.125, 3.0, None, None)
    ((59.0,), (49.0,))
    """
    if entry.result.reader == "table":
        return _table_call(entry)
    one = _one_call(entry)
    zeros = _blank_zeros(entry)

    def call(*args: Any) -> Any:
        if zeros:
            args = _without_zeros(args, zeros)
        for value in args:
            if value.__class__ is tuple:
                return _spread(one, args)
        return one(args)

    return call


def _blank_zeros(entry: Entry) -> tuple[int, ...]:
    """The arguments for which a single 0 counts as left out."""
    return tuple(n for n, a in enumerate(entry.arguments)
                 if not a.required and (a.default is None or not a.kind.is_number or not a.kind.allows(0)))


def _without_zeros(args: tuple[Any, ...], zeros: tuple[int, ...]) -> tuple[Any, ...]:
    for n in zeros:
        if n < len(args) and args[n] == 0:
            args = (*args[:n], None, *args[n + 1 :])
    return args


def _one_call(entry: Entry) -> Callable[[Sequence[Any]], float]:
    function = getattr(barfuncs, entry.name)
    whole = tuple(n for n, a in enumerate(entry.arguments) if a.kind.whole)
    # Units stay blank: the catalogue cares whether they were stated.
    defaults = tuple((n, a.default) for n, a in enumerate(entry.arguments)
                     if not a.required and a.default is not None and a.name != "units")

    def one(args: Sequence[Any]) -> float:
        count = len(args)
        while count and (args[count - 1] is None or args[count - 1] == ""):
            count -= 1
        values = [None if value == "" else value for value in args[:count]]
        # Whole floats as ints and defaults written out: both keep a plain call on the catalogue's quick path.
        for n in whole:
            if n >= count:
                break
            value = values[n]
            if value.__class__ is float and value.is_integer():
                values[n] = int(value)
        for n, default in defaults:
            if n >= count:
                break
            if values[n] is None:
                values[n] = default
        try:
            result = float(function(*values))
        except (ValueError, TypeError):
            return error_value(_code(entry.arguments, values))
        except ArithmeticError:
            return error_value(BAD_NUMBER)
        return result if math.isfinite(result) else error_value(BAD_NUMBER)

    return one


def _code(arguments: Sequence[Argument], values: Sequence[Any]) -> int:
    """Which error a refused call shows."""
    for a, value in zip(arguments, values, strict=False):
        if isinstance(value, str):
            try:
                if a.kind.reader == "text":
                    barfuncs.length_in(value, "in")
                else:
                    read_value(a.kind, value)
            except ValueError:
                return NOT_FOUND if a.kind.reader == "material" else BAD_TEXT
    return BAD_ARGUMENT


class _UnequalError(Exception):
    """Ranges of unequal size."""


def _rows(args: Sequence[Any]) -> tuple[list[Any], int, int]:
    """Single cells taken out of their ranges, and the one size of all other ranges (0, 0 where there is none)."""
    plain = [a[0][0] if a.__class__ is tuple and len(a) == 1 and len(a[0]) == 1 else a for a in args]
    sizes = list(dict.fromkeys((len(a), len(a[0])) for a in plain if a.__class__ is tuple))
    if len(sizes) > 1:
        raise _UnequalError("ranges of unequal size: " + " and ".join(f"{r} x {c} cells" for r, c in sizes)
                            + "; give ranges of the same size, or single values")
    return plain, *(sizes[0] if sizes else (0, 0))


def _spread(one: Callable[[Sequence[Any]], Any], args: Sequence[Any]) -> Any:
    """One result for each row of the ranges; a single value goes with every row."""
    try:
        plain, rows, columns = _rows(args)
    except _UnequalError:
        return error_value(BAD_ARGUMENT)
    if not rows:
        return one(plain)
    sources = [chain.from_iterable(a) if a.__class__ is tuple else repeat(a) for a in plain]
    # A whole column is mostly blank rows: the same refusal is worked out once.
    refused: dict[tuple[Any, ...], Any] = {}
    flat = []
    for row in zip(*sources, strict=False):
        result = refused.get(row) if refused else None
        if result is None:
            result = one(row)
            if result != result and len(refused) < 1000:
                refused[row] = result
        flat.append(result)
    if columns == 1:
        return tuple([(value,) for value in flat])
    return tuple([tuple(flat[n : n + columns]) for n in range(0, len(flat), columns)])


def _table_call(entry: Entry) -> CellCall:
    """A function whose result is a table: the argument of kind table takes a range, all others one value."""
    function = getattr(barfuncs, entry.name)
    zeros = _blank_zeros(entry)
    heads = [TABLE_HEADS[entry.name]] if entry.name in TABLE_HEADS else []

    def call(*args: Any) -> Any:
        try:
            values = _table_values(entry, _without_zeros(args, zeros))
            rows = [row if isinstance(row, (tuple, list)) else (row,) for row in function(*values)]
            return (*heads, *[tuple([_table_cell(cell) for cell in row]) for row in rows])
        except _UnequalError:
            return error_value(BAD_ARGUMENT)
        except (ValueError, TypeError):
            return error_value(_table_code(entry, values))
        except ArithmeticError:
            return error_value(BAD_NUMBER)

    return call


def _table_values(entry: Entry, args: Sequence[Any]) -> list[Any]:
    values: list[Any] = []
    for a, value in zip(entry.arguments, args, strict=False):
        if a.kind.reader == "table":
            cells = chain.from_iterable(value) if isinstance(value, tuple) else [value]
            values.append([_plain(cell) for cell in cells if cell is not None and cell != ""])
            continue
        if isinstance(value, tuple):
            if len(value) != 1 or len(value[0]) != 1:
                raise _UnequalError(f"{a.name}: a single value is allowed, not {len(value)} x {len(value[0])} cells")
            value = value[0][0]
        values.append(None if value == "" else _plain(value))
    return values


def _table_cell(value: Any) -> Any:
    if isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else error_value(BAD_NUMBER)


def _table_code(entry: Entry, values: Sequence[Any]) -> int:
    for a, value in zip(entry.arguments, values, strict=False):
        if (a.kind.reader == "table" and any(isinstance(cell, str) for cell in value)
                and f"{a.name}: " in barfuncs.why(entry.name, *values)):
            return BAD_TEXT
    return _code(entry.arguments, values)


def _plain(value: Any) -> Any:
    """Whole floats as ints, which read better in a message."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def why(name: Any = None, *args: Any) -> Any:
    """WHY in a cell: what is wrong with a function's arguments, or "ok"; one text for each row of ranges.

    >>> why("PARTS_PER_BAR", 144.0, -2.0, 0.125, 3.0)
    'part_length: -2 given; allowed is a number more than 0 and at most 1,000,000 (in)'
    """
    name = name[0][0] if isinstance(name, tuple) else name
    if name is None or name == "":
        return 'function: is missing; write its name as a text, such as "PARTS_PER_BAR"'
    try:
        entry = find(_plain(name))
    except BarfuncsError as error:
        return str(error)
    if len(args) > len(entry.arguments):
        return f"{entry.cell_name} takes {len(entry.arguments)} arguments, {len(args)} were given"
    args = _without_zeros(args, _blank_zeros(entry))
    try:
        if entry.result.reader == "table":
            return _words(entry, _table_values(entry, args))
        _rows(args)
    except _UnequalError as error:
        return str(error)
    return _spread(lambda values: _words(entry, [None if v == "" else _plain(v) for v in values]), args)


def _words(entry: Entry, values: Sequence[Any]) -> str:
    try:
        words = barfuncs.why(entry.name, *values)
    except ArithmeticError:
        return "the result is beyond what a number can hold"
    if not entry.has_units:
        words = words.replace(UNITS_HINT, ": write its unit too, such as 3 mm")
    return words


def calls() -> dict[str, CellCall]:
    """Every function under its name in a cell, WHY aside."""
    return {entry.cell_name: cell_call(entry) for entry in CATALOGUE.values()}
