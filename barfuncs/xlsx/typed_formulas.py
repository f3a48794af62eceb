"""Whether a formula that somebody typed gives here what it gives where it was typed.

The engine knows fewer functions than a spreadsheet program, and some of them it works out otherwise. A formula that hides what goes wrong,
such as =IFERROR(FOO(1),0), then has another value here, and no error tells.
"""

import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import unescape

from barfuncs.xlsx.engine import Address, Workbook, address_on, column_number
from barfuncs.xlsx.sheet_rows import SheetReader
from barfuncs.xlsx.sheetxml import CellError, SheetXML, Value

_OF_CELLS = frozenset({"SUM", "PRODUCT", "MIN", "MAX", "AVERAGE"})
_SURE = _OF_CELLS | {"ABS", "SQRT", "POWER", "PI"}
"""Functions of numbers that every program works out alike: none rounds, compares, counts, looks up or hides an error."""
_TOKEN = re.compile(r"""\s*(?:
    (?P<number> (?:[0-9]+\.?[0-9]* | \.[0-9]+) (?:[eE][-+]?[0-9]+)? )
  | (?P<cells> (?:(?:'(?:[^']|'')+'|[A-Za-z_]\w*)!)? \$?[A-Z]{1,3}\$?[0-9]{1,7} (?P<more>:\$?[A-Z]{1,3}\$?[0-9]{1,7})? ) (?![\w(.:!\[])
  | (?P<call> [A-Z]+ )\(
  | (?P<name> [A-Za-z_][\w.]* ) (?![\w(!:\[])
  | (?P<mark> [-+*/^%(),] )
)\s*""", re.VERBOSE)
_TEXT = re.compile(r'"(?:[^"]|"")*"')
_AREA = re.compile(r"(?:(?:'((?:[^']|'')+)'|([A-Za-z_]\w*))!)?(?:\$?([A-Z]{1,3})\$?([0-9]{1,7})(?::\$?([A-Z]{1,3})\$?([0-9]{1,7}))?"
                   r"|\$?([A-Z]{1,3}):\$?([A-Z]{1,3})|\$?([0-9]{1,7}):\$?([0-9]{1,7}))(?![\w(!])")
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384
_ALIKE = 1e-9


def is_sure(formula: str, names: bool = False) -> bool:
    """Whether a formula, without its equals sign, has nothing but numbers, cells, operators and functions that all programs work out
    alike; `names` allows names for cells too.

    >>> is_sure("2*(A1+SUM(B1:B9))/3"), is_sure("IFERROR(A1,0)"), is_sure("SUM(A1:A3*2)"), is_sure("A1 B1")
    (True, False, False, False)
    """
    opened: list[str] = []
    wanted, at, before, area = True, 0, "", False
    while at < len(formula):
        token = _TOKEN.match(formula, at)
        if token is None:
            return False
        at = token.end()
        kind, mark = token.lastgroup, token["mark"] or ""
        if area and mark not in (",", ")"):
            return False  # a range that is reckoned with: which of its cells count differs
        area = False
        if kind == "call":
            if not wanted or token["call"] not in _SURE:
                return False
            opened.append(token["call"])
        elif not mark:
            if not wanted or (token["name"] and not names):
                return False
            area = bool(token["more"])
            if area and not (opened and opened[-1] in _OF_CELLS and before in ("(", ",")):
                return False
            wanted = False
        elif mark == "(":
            if not wanted:
                return False
            opened.append("")
        elif mark == ")":
            if not opened or (wanted and not (before == "(" and opened[-1] == "PI")):
                return False
            opened.pop()
            wanted = False
        elif mark == ",":
            if wanted or not opened or not opened[-1]:
                return False
            wanted = True
        elif mark in "+-":
            wanted = True
        elif wanted:
            return False
        else:
            wanted = mark != "%"
        before = "(" if kind == "call" else mark
    return not wanted and not opened and not area


@dataclass(frozen=True)
class Doubt:
    """A cell whose formula may be worked out otherwise elsewhere: what of it is not known here at all, the value that the file has stored
    for it, the one worked out, and whether a cell that people fill in rests on it."""

    sheet: str
    ref: str
    formula: str
    unknown: str
    has_value: bool
    stored: Value
    worked_out: Value
    counts: bool

    @property
    def is_settled(self) -> bool:
        """Whether both values are the same, and nothing is unknown."""
        return not self.unknown and self.has_value and alike(self.stored, self.worked_out)

    def __str__(self) -> str:
        cell = f"{self.sheet}!{self.ref} holds ={self.formula[:60]}{'...' if len(self.formula) > 60 else ''}"
        if self.unknown:
            return f"{cell}, and {self.unknown} is not known here: type the value"
        if not self.has_value:
            return f"{cell}, which not all programs work out alike, and no value is stored for it: save it in a spreadsheet program, or type the value"
        return f"{cell}: {stored_otherwise(self.stored, self.worked_out)}; type the value"


def alike(one: Value, other: Value) -> bool:
    """Whether two values of a cell are the same but for the last digits.

    >>> alike(0.1 + 0.2, 0.3), alike(None, ""), alike(None, 0.0), alike(True, 1.0)
    (True, True, False, False)
    """
    one, other = ("" if value is None else value for value in (one, other))
    if any(isinstance(one, kind) != isinstance(other, kind) for kind in (bool, CellError, str)):
        return False
    return math.isclose(one, other, rel_tol=_ALIKE) if isinstance(one, (int, float)) and isinstance(other, (int, float)) else one == other


def shown(value: Value) -> str:
    """A value of a cell in a message."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{value:,.10g}"
    return "none" if value in (None, "") else repr(str(value)[:60])


def stored_otherwise(stored: Value, worked_out: Value) -> str:
    """What is said of a stored value that is another one than the one worked out; an empty text where they are alike."""
    return "" if alike(stored, worked_out) else f"{shown(stored)} is stored in it, {shown(worked_out)} worked out again"


class Stored:
    """The values that a file has stored, those of formulas too; a sheet is read when a cell of it is asked for."""

    def __init__(self, path: str) -> None:
        self._reader = _Reader(path)
        self._sheets: dict[str, tuple[dict[tuple[int, int], Any], set[str]]] = {}

    def at(self, sheet: str, ref: str) -> tuple[bool, Value]:
        """Whether a value is stored, and the value."""
        if sheet not in self._sheets:
            self._sheets[sheet] = self._reader.values(sheet)
        values, empty = self._sheets[sheet]
        _, row, column = address_on(0, ref)
        value = values.get((row, column))
        if isinstance(value, dict):  # an error, or a day as a text
            value = CellError(value["error"]) if "error" in value else str(value.get("date"))
        return ref not in empty, value


class _Reader(SheetReader):
    """Reads numbers as they are, days and shares too."""

    def number(self, ref: str, style: str, text: str) -> Any:
        return self.plain_number(ref, text)

    def values(self, sheet: str) -> tuple[dict[tuple[int, int], Any], set[str]]:
        found: dict[tuple[int, int], Any] = {}
        self.without_value = []

        def take(row: int, values: list[Any]) -> None:
            found.update(((row, column), value) for column, value in enumerate(values, start=1) if value is not None)

        self.read(take, sheet)
        return found, set(self.without_value)


def doubts(book: Workbook, stored: Stored, names: Collection[str]) -> Iterator[Doubt]:
    """The doubts that a calculated workbook gives: of all cells with something unknown in them, and of those that the cells with these
    names rest on, from formula to formula."""
    formulas = dict(book.formulas())
    by_sheet: dict[int, list[Address]] = {}
    for address in formulas:
        by_sheet.setdefault(address[0], []).append(address)
    cells: dict[int, list[Address]] = {}
    for address in book.cells():
        cells.setdefault(address[0], []).append(address)
    written: dict[int, Mapping[str, str]] = {}

    def within(area: tuple[int, int, int, int, int], of: Mapping[int, list[Address]]) -> list[Address]:
        sheet, top, left, bottom, right = area
        if top == bottom and left == right:
            return [(sheet, top, left)] if of is cells or (sheet, top, left) in formulas else []
        return [a for a in of.get(sheet, ()) if top <= a[1] <= bottom and left <= a[2] <= right]

    def sure(address: Address, areas: list[tuple[int, int, int, int, int]]) -> bool:
        sheet, ref = address[0], book.shown(address).rpartition("!")[2]
        if sheet not in written:
            written[sheet] = _written(book, sheet)
        if not is_sure(formulas[address][1:].replace("@", "")) or not is_sure(written[sheet].get(ref, "?"), names=True):
            return False
        values = (book.value_at(cell) for area in areas for cell in within(area, cells))
        return all(value is None or (isinstance(value, (CellError, float, int)) and not isinstance(value, bool)) for value in values)

    waiting = [address for name in names if book.has_name(name) for area in _areas(book, book.targets[name], 0) for address in within(area, by_sheet)]
    counts: set[Address] = set()
    doubtful: set[Address] = set()
    while waiting:
        address = waiting.pop()
        if address in counts:
            continue
        counts.add(address)
        areas = list(_areas(book, formulas[address], address[0]))
        if not sure(address, areas):
            doubtful.add(address)
        waiting += [cell for area in areas for cell in within(area, by_sheet)]
    for address, formula in formulas.items():
        unknown = book.unknown_in(formula)
        if unknown or address in doubtful:
            sheet, _, ref = book.shown(address).rpartition("!")
            yield Doubt(sheet, ref, formula[1:], unknown, *stored.at(sheet, ref), book.value_at(address), address in counts)


def _areas(book: Workbook, formula: str, sheet: int) -> Iterator[tuple[int, int, int, int, int]]:
    """The cells that a formula speaks of: sheet, first row and column, last row and column."""
    for quoted, plain, column, row, to_column, to_row, first, last, top, bottom in _AREA.findall(_TEXT.sub("", formula)):
        title = quoted.replace("''", "'") or plain
        if title and title not in book.sheets:
            continue
        on = book.sheets.index(title) if title else sheet
        if column:
            yield on, int(row), column_number(column), int(to_row or row), column_number(to_column or column)
        elif first:
            yield on, 1, column_number(first), _LAST_ROW, column_number(last)
        else:
            yield on, int(top), 1, int(bottom), _LAST_COLUMN


_SHARED = re.compile(rb'\bsi="([0-9]+)"')


def _written(book: Workbook, sheet: int) -> dict[str, str]:
    """The formulas of a sheet as they stand in the file; of those that share one, the one that they share."""
    found: dict[str, str] = {}
    shared: dict[bytes, str] = {}
    followers: dict[str, bytes] = {}
    for ref, cell in SheetXML(book.parts[book.sheet_parts()[sheet]]).cells.items():
        if cell.formula is None:
            continue
        tag, _, rest = cell.formula.partition(b">")
        text = unescape(rest.rpartition(b"</")[0].decode("utf-8", "replace"), {"&quot;": '"', "&apos;": "'"})
        number = _SHARED.search(tag)
        if text:
            found[ref] = text
        if number:
            shared.setdefault(number[1], text)
            followers[ref] = number[1]
    return {**{ref: shared[number] for ref, number in followers.items()}, **found}
