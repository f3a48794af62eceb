"""The named cells of workbooks from outside: what is typed into them, and the values that are stored for formulas. No formula is
worked out.

It runs in a process of its own (see `sandbox`) and hands out plain JSON, a line for each file.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from barfuncs.errors import WorkbookError
from barfuncs.xlsx import sandbox
from barfuncs.xlsx.engine import column_letters, column_number
from barfuncs.xlsx.sheet_rows import PERCENT, SheetReader

_TARGET = re.compile(r"=?(?:'((?:[^']|'')+)'|([^'!,:()]+))!\$([A-Z]{1,3})\$([0-9]{1,7})(?::\$([A-Z]{1,3})\$([0-9]{1,7}))?")
_MOST_NAMES, _MOST_ROWS = 20_000, 5_000
_TOGETHER = 16
"""Files that one process reads, so that its start is paid for once."""
_SECONDS, _MEMORY = 5, 400_000_000

Named = Mapping[str, Sequence[Any]]
"""By name what its cells hold, from the first to the last: plain values, {"error": ...}, {"day": ..., "format": ...}."""


class NamedCells:
    """What was read of a workbook: the cells of those names that it has, and which of these hold formulas."""

    def __init__(self, told: Mapping[str, Any]) -> None:
        self.cells: Named = told["cells"]
        self.formulas: frozenset[tuple[str, int]] = frozenset((name, n) for name, n in told["formulas"])
        self.from_1904: bool = told["from_1904"]
        self.sheets: tuple[str, ...] = tuple(told["sheets"])


def read_all(paths: Sequence[Path], names: Sequence[str], each: Callable[[], None] = lambda: None) -> Iterator[NamedCells | WorkbookError]:
    """Of each workbook the cells of these names, or why it can't be read; in the order of `paths`."""
    for n in range(0, len(paths), _TOGETHER):
        few = paths[n:n + _TOGETHER]
        try:
            told = _read(few, names)
        except WorkbookError:  # one of them took too much: each by itself then, so that the others are read
            told = [_alone(path, names) for path in few]
        for one in told:
            each()
            yield WorkbookError(one["refused"]) if "refused" in one else NamedCells(one)


def _alone(path: Path, names: Sequence[str]) -> Mapping[str, Any]:
    try:
        return _read([path], names)[0]
    except WorkbookError as error:
        return {"refused": str(error)}


def _read(paths: Sequence[Path], names: Sequence[str]) -> list[Mapping[str, Any]]:
    work = sandbox.Work("barfuncs.xlsx.named_cells:write_cells", "read", "read", "the reading", _SECONDS * len(paths), _MEMORY)
    label = paths[0].name if len(paths) == 1 else "one of the workbooks"
    with sandbox.answer(work, label, json.dumps(list(names)), *(str(path.absolute()) for path in paths)) as file:
        return [json.loads(line) for line in file]


def write_cells(out: BinaryIO, names: str, *paths: str) -> None:
    """Write a line of JSON for each workbook."""
    wanted = {name.casefold(): name for name in json.loads(names)}
    for path in paths:
        try:
            told = _Reader(path, wanted).told()
        except WorkbookError as error:
            told = {"refused": str(error)}
        out.write(json.dumps(told).encode() + b"\n")


class _Reader(SheetReader):
    """Reads by name instead of row by row. A share stays a number, since it is put into a cell again as it is."""

    def __init__(self, path: str, wanted: Mapping[str, str]) -> None:
        super().__init__(path)
        self._with_formula: set[str] = set()
        self._targets = self._named(wanted)

    def number(self, ref: str, style: str, text: str) -> Any:
        return self.plain_number(ref, text) if self.shown_as(style) == PERCENT else super().number(ref, style, text)

    def on_formula(self, ref: str, has_value: bool) -> None:
        self._with_formula.add(ref)

    def _named(self, wanted: Mapping[str, str]) -> dict[str, tuple[str, str, int, int]]:
        """By name its sheet, column, first and last row."""
        found: dict[str, tuple[str, str, int, int]] = {}
        name = ""
        pieces: list[str] = []

        def start(tag: str, attributes: dict[str, str]) -> None:
            nonlocal name
            pieces.clear()
            name = ""
            if tag == "definedName" and "localSheetId" not in attributes:
                name = wanted.get(attributes.get("name", "").casefold(), "")

        def end(tag: str) -> None:
            if tag == "definedName" and name:
                target = _TARGET.fullmatch("".join(pieces).strip())
                if target is None:
                    raise WorkbookError(f"{self.label}: the name {name} does not stand for cells any more")
                sheet, column, first = (target[1] or target[2]).replace("''", "'"), target[3], int(target[4])
                last = int(target[6] or first)
                if sheet not in self.parts or (target[5] or column) != column or not 0 <= last - first < _MOST_ROWS:
                    raise WorkbookError(f"{self.label}: the name {name} does not stand for cells of one column any more")
                found[name] = sheet, column, first, last

        def text(data: str) -> None:
            if name and len(pieces) < _MOST_NAMES:
                pieces.append(data)

        self._read_part("xl/workbook.xml", start, end, text)
        return found

    def told(self) -> dict[str, Any]:
        cells: dict[str, list[Any]] = {name: [None] * (last - first + 1) for name, (_, _, first, last) in self._targets.items()}
        formulas: list[tuple[str, int]] = []
        for sheet in dict.fromkeys(sheet for sheet, *_ in self._targets.values()):
            here: dict[int, list[tuple[int, str, int]]] = {}
            for name, (of, column, first, last) in self._targets.items():
                if of == sheet:
                    for row in range(first, last + 1):
                        here.setdefault(row, []).append((column_number(column), name, row - first))
            self._with_formula.clear()

            def take(row: int, values: list[Any], here: dict[int, list[tuple[int, str, int]]] = here) -> None:
                for number, name, n in here.get(row, ()):
                    cells[name][n] = values[number - 1] if number <= len(values) else None

            self.read(take, sheet)
            formulas += [(name, n) for row, those in here.items() for number, name, n in those
                         if f"{column_letters(number)}{row}" in self._with_formula]
        return {"cells": cells, "formulas": formulas, "from_1904": self.from_1904, "sheets": list(self.parts)}
