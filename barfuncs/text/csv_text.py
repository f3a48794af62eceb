"""CSV as spreadsheet programs write it: encoding, separator and rows, or a sentence that says what is wrong."""

import csv
import io
import itertools
import re
from collections.abc import Iterator

from barfuncs.text import limits

SAVE_AS = "save it as CSV UTF-8"
LONGEST_ROW = 1_000_000
"""Characters of one row, line breaks within cells counted."""
_LOOKED_AT, _SEVERAL = 20, 3


def read_csv(data: bytes) -> Iterator[list[str]]:
    """All rows in order, blank ones too, so that row n is row n as a spreadsheet counts it.

    Read are UTF-8, and UTF-16 that begins with its mark; the separator is a comma, a semicolon or a tab, or what a first
    line `sep=;` says, which is no row. Rows are read one by one, without the blank cells at their end, and no further
    than the first that is too many.

    Raises ValueError with the reason, without the file's name.

    >>> list(read_csv(b'sep=;' + bytes([10]) + b'name;note' + bytes([10]) + b'A;"1,5"'))
    [['name', 'note'], ['A', '1,5']]
    """
    lines = _Lines(data)
    leading = list(_leading(lines))
    stated = re.fullmatch(r"sep=([,;\t|])?[\r\n]*", leading[0], re.IGNORECASE) if leading else None
    if stated:
        leading, separator = leading[1:], stated[1] or ","
    else:
        separator = _separator([line for line in leading if line.strip()])
    count, row = limits.Counter(), 0
    reader = csv.reader(itertools.chain(leading, lines), delimiter=separator, strict=True)
    try:
        for row, cells in enumerate(reader, start=1):
            lines.of_row = 0
            count.row()
            del cells[_filled_up_to(cells):]
            if cells:
                characters = len("".join(cells))
                longest = max(map(len, cells)) if characters > limits.LONGEST_CELL else 0
                count.filled(row, len(cells), len(cells) - cells.count(""), characters, longest)
            yield cells
    except csv.Error as error:
        raise ValueError(f"can't be read from row {row + 1} on ({error}): a cell that begins with a quotation mark "
                         "must end with one, and one within it is written twice") from None


def _filled_up_to(cells: list[str]) -> int:
    return next((n for n in range(len(cells), 0, -1) if cells[n - 1]), 0) if any(cells) else 0


def _leading(lines: "_Lines") -> Iterator[str]:
    """The lines up to the last of those that show what the separator is."""
    filled = 0
    for number, line in enumerate(lines):
        lines.of_row = 0
        yield line
        filled += bool(line.strip())
        if filled == _LOOKED_AT or number > limits.MOST_ROWS:
            return


def _separator(lines: list[str]) -> str:
    """What parts the cells: in the first line, or where that is a title, in the first line that has it several times.

    >>> _separator(["name;note", "A, B, C, D;1"]), _separator(["Week 12, late shift", "job;size;shape;units", "1,5;2,5;3,5;4,5"])
    (';', ';')
    """
    counted = [(max(",;\t", key=line.count), line) for line in lines]
    first = next((sign for sign, line in counted if sign in line), ",")
    if not counted or counted[0][1].count(first) >= _SEVERAL:
        return first
    return next((sign for sign, line in counted if line.count(sign) >= _SEVERAL and first not in line), first)


class _Lines:
    """The lines of a CSV text with their ends, decoded as they are asked for."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
        self.text = io.TextIOWrapper(io.BytesIO(data), self.encoding, newline="")
        self.of_row = 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        try:
            line = self.text.readline(LONGEST_ROW + 1)
        except UnicodeError:  # also where a UTF-16 text ends within a character
            raise ValueError(f"is not a CSV text in UTF-8 ({self._bad_line()} has other bytes); {SAVE_AS}") from None
        if not line:
            raise StopIteration
        if "\0" in line:
            raise ValueError(f"is not a CSV text; {SAVE_AS}")
        self.of_row += len(line)
        if self.of_row > LONGEST_ROW:
            raise ValueError(f"has a row with more than {LONGEST_ROW:,} characters; is a quotation mark never closed?")
        return line

    def _bad_line(self) -> str:
        try:
            self.data.decode(self.encoding)
        except UnicodeDecodeError as error:
            return f"line {self.data.count(bytes([10]), 0, error.start) + 1}"
        return "its end"
