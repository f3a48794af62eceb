"""The headless engine: read an xlsx, calculate every formula, hand out values, write them into the file.

ironcalc does the calculating. The values are put into the original file's own XML, so charts, validations and styles
stay as they are, and any reader sees the numbers, also one that never calculates.
"""

import re
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, unescape

from barfuncs.errors import WorkbookError
from barfuncs.xlsx.package import pack, read_parts, worksheets, write_whole
from barfuncs.xlsx.sheetxml import ERRORS, CellError, SheetXML, Value

Address = tuple[int, int, int]
_REF = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7})")
_SINGLE_NAME = re.compile(r"(?:'((?:[^']|'')+)'|([^'!]+))!\$?([A-Z]{1,3})\$?(\d{1,7})")

_PLAIN_TARGET = re.compile(r"(?:'(?:[^']|'')+'|\w+)!\$[A-Z]{1,3}\$\d{1,7}(?::\$[A-Z]{1,3}\$\d{1,7})?")
# Texts and quoted sheets are matched whole, so that no name is found within them; a function or a sheet is no name.
_WORD = re.compile(r"""'(?:[^']|'')*'|"(?:[^"]|"")*"|(?<![\w.$\\])[A-Za-z_\\][\w.\\]*(?![\w.\\!(])""")
_OWN_NAMES = re.compile(r"\b(?:LET|LAMBDA)\(", re.IGNORECASE)  # within these a word may be a name of their own

# The engine writes a function that it does not know in small letters; a name is a word that is no cell and no function.
_NOT_KNOWN = re.compile(r"""'(?:[^']|'')*'!?|"(?:[^"]|"")*"|#[A-Z/0!?]+|\$?\b[A-Z]{1,3}\$?\d{1,7}\b(?![\w.(!])"""
                        r"""|\$?\b[A-Z]{1,3}:\$?[A-Z]{1,3}\b|\b\d[\d.]*(?:[eE][-+]?\d+)?|[^\W\d][\w.]*!|[A-Z][A-Z0-9.]*\(|([^\W\d][\w.]*)""")
_TEXTS = re.compile(r'"(?:[^"]|"")*"')
_OTHER_FILE = re.compile(r"\[[^\]]*\][^!]*!")
_NEVER_KNOWN = "__xludf.dummyfunction"
"""What a program writes for a function that no other one has: it is not known anywhere, and gives what is put in its place."""


def column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def column_letters(number: int) -> str:
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


MOST_CELLS = 2_000_000
MOST_FORMULAS = 200_000
LONGEST_FORMULA = 8_192
DEEPEST_FORMULA = 64
"""Parentheses within each other, and signs in a row; the engine's own reading of a formula is not safe far beyond that."""

_FORMULA = re.compile(rb"<(?:[\w]+:)?(?:f|definedName|formula|formula1|formula2)\b[^<>]*(?<!/)>([^<]*)")
_SIGNS = re.compile(rb"[-+ ]{%d}" % (DEEPEST_FORMULA + 1))


def check_limits(label: str, parts: Mapping[str, bytes]) -> None:
    """Raise WorkbookError for a workbook with more, longer or deeper formulas than the engine safely takes."""
    cells = formulas = 0
    for name, data in parts.items():
        if not name.startswith("xl/") or not name.endswith(".xml"):
            continue
        cells += len(re.findall(rb"<(?:\w+:)?c\b", data)) if name.startswith("xl/worksheets/") else 0
        for match in _FORMULA.finditer(data):
            formulas += 1
            formula = match[1]
            if len(formula) > LONGEST_FORMULA * 6 or len(unescape(formula.decode("utf-8", "replace"), _QUOTES)) > LONGEST_FORMULA:  # 6: &quot;
                raise WorkbookError(f"{label} has a formula longer than {LONGEST_FORMULA:,} characters ({_start(formula)})")
            if _depth(formula) > DEEPEST_FORMULA:
                raise WorkbookError(f"{label} has a formula nested more than {DEEPEST_FORMULA} deep ({_start(formula)})")
    if cells > MOST_CELLS or formulas > MOST_FORMULAS:
        raise WorkbookError(f"{label} has {cells:,} cells and {formulas:,} formulas; the engine takes up to "
                            f"{MOST_CELLS:,} and {MOST_FORMULAS:,}")


def _start(formula: bytes) -> str:
    return formula[:40].decode("utf-8", "replace") + "..."


def _depth(formula: bytes) -> int:
    """How deep a formula is nested; texts in it are left out."""
    if formula.count(b"(") <= DEEPEST_FORMULA and not _SIGNS.search(formula):
        return 0
    plain = re.sub(rb'"[^"]*"', b"", formula.replace(b"&quot;", b'"'))
    depth = deepest = 0
    for mark in re.findall(rb"[()]", plain):
        depth += 1 if mark == b"(" else -1
        deepest = max(deepest, depth)
    return DEEPEST_FORMULA + 1 if _SIGNS.search(plain) else deepest


_NUMBERED = re.compile(r"([A-Za-z_]\w*)\[([1-9][0-9]*)\]")
_EMPTY_NUMBER = re.compile(rb'(<c\b[^<>]*?) t="n"([^<>]*?)(/>|></c>|><v ?/></c>|><v></v></c>)')


_NO_VALUE = re.compile(rb"(<f\b[^<>]*>[^<]*</f>)(?:<v ?/>|<v></v>)?</c>")


def _with_blank_cells_blank(parts: Mapping[str, bytes]) -> dict[str, bytes]:
    """The parts in a form that the engine reads right and in silence.

    openpyxl marks a blank, styled cell as a number; the engine would read that as 0, and blank is not 0. For a formula
    without a stored value it prints a line to the terminal, so such a formula gets a 0, which `calculate` replaces.
    """
    return {name: _EMPTY_NUMBER.sub(rb"\1\2/>", _NO_VALUE.sub(rb"\1<v>0</v></c>", data))
            if name.startswith("xl/worksheets/") else data for name, data in parts.items()}


_NAME = re.compile(rb"<definedName\b([^<>]*)(?<!/)>([^<]*)</definedName>")
_NAMED = re.compile(rb'\bname="([^"]*)"')
_CELL_FORMULA = re.compile(rb"(<f\b[^<>]*(?<!/)>)([^<]*)</f>")
_QUOTES = {"&quot;": '"', "&apos;": "'"}


def _with_cells_for_names(parts: Mapping[str, bytes]) -> dict[str, bytes]:
    """The parts with cells in the formulas where names stand for them.

    The engine looks through all names for each one it meets. In a sheet with hundreds that takes nine tenths of reading it
    and most of a recalculation.
    """
    names: dict[str, str] = {}
    for attributes, target in _NAME.findall(parts["xl/workbook.xml"]):
        found = _NAMED.search(attributes)
        name, cells = unescape(found[1].decode(), _QUOTES).lower() if found else "", unescape(target.decode(), _QUOTES)
        known = b"localSheetId" not in attributes and name not in names and _PLAIN_TARGET.fullmatch(cells)
        names[name] = cells if known else ""  # a name that is not of the whole workbook stays

    def with_cells(match: re.Match[bytes]) -> bytes:
        formula = unescape(match[2].decode(), _QUOTES)
        if "&#" in formula or _OWN_NAMES.search(formula):
            return match[0]
        return match[1] + escape(_WORD.sub(lambda word: names.get(word[0].lower()) or word[0], formula)).encode() + b"</f>"

    return {name: _CELL_FORMULA.sub(with_cells, data) if name.startswith("xl/worksheets/") else data for name, data in parts.items()}


_FROM_1904 = re.compile(rb"""<[\w:]*workbookPr\b[^>]*\bdate1904\s*=\s*["'](?:1|true|on)["']""")
_REFERENCE = re.compile(r"(?:'((?:[^']|'')+)'!|(\w+)!)?\$?([A-Z]{1,3})\$?(\d{1,7})(?::\$?([A-Z]{1,3})\$?(\d{1,7}))?(?![\w(.])")
_ANY_FORMULA = re.compile(rb"<(?:f|formula)\b[^<>]*(?<!/)>([^<]*)<")
_ANY_CELL = re.compile(rb'<c r="([A-Z]{1,3})(\d{1,7})"[^<>]*?(?:/>|>(.*?)</c>)', re.DOTALL)


def _without_idle_cells(label: str, parts: Mapping[str, bytes]) -> dict[str, bytes]:
    """The parts without the cells that are neither worked out nor spoken of by a formula: labels, sources, blank frames.

    A recalculation looks at every cell that there is, and in a filled template seven of eight hold nothing for a formula.
    """
    titles = {sheet.part: sheet.name for sheet in worksheets(label, parts)}
    spoken_of = {title: set[tuple[int, int]]() for title in titles.values()}
    found: set[tuple[str, ...]] = set()
    for part, title in titles.items():
        for formula in _ANY_FORMULA.findall(parts[part]):
            found.update((quoted.replace("''", "'") or plain or title, *cells)
                         for quoted, plain, *cells in _REFERENCE.findall(unescape(formula.decode(), _QUOTES)))
    for attributes, target in _NAME.findall(parts["xl/workbook.xml"]):
        if b"_xlnm." not in attributes:  # what is printed
            found.update((quoted.replace("''", "'") or plain, *cells) for quoted, plain, *cells in _REFERENCE.findall(unescape(target.decode(), _QUOTES)))
    for title, column, row, last_column, last_row in found:
        if title in spoken_of:
            columns = range(column_number(column), column_number(last_column or column) + 1)
            spoken_of[title].update((r, c) for r in range(int(row), int(last_row or row) + 1) for c in columns)
    kept = dict(parts)
    for part, title in titles.items():
        cells = spoken_of[title]

        def needed(match: re.Match[bytes], cells: set[tuple[int, int]] = cells) -> bytes:
            worked_out = b"<f" in (match[3] or b"")
            return match[0] if worked_out or (match[3] and (int(match[2]), column_number(match[1].decode())) in cells) else b""

        kept[part] = _ANY_CELL.sub(needed, parts[part])
    return kept


def address_on(sheet: int, ref: str) -> Address:
    """Address of a cell such as B2 on a sheet."""
    match = _REF.fullmatch(ref)
    if match is None:
        raise WorkbookError(f"{ref!r} is not a cell")
    return (sheet, int(match[2]), column_number(match[1]))


class Workbook:
    """A workbook that is being calculated.

    >>> import io, openpyxl
    >>> made, file = openpyxl.Workbook(), io.BytesIO()
    >>> made.active["B1"] = "=2*A1"
    >>> made.save(file)
    >>> book = Workbook(file.getvalue())
    >>> book.set("A1", 50)
    >>> book.calculate()
    >>> book.value("B1")
    100.0
    """

    def __init__(self, source: str | Path | bytes, direct: bool = False, every_cell: bool = False) -> None:
        """Read a workbook from a path or from the bytes of an xlsx file.

        With `direct`, cells stand in the place of names in the engine, not in the file, which is several times faster where
        there are hundreds. A message then shows the cells. Cells that no formula speaks of are then left out, which a workbook from
        outside may be written to make endless work of: for such a one say `every_cell`.

        Raises WorkbookError where the file can't be read, is too large, or the engine can't take it.
        """
        self.label = "workbook" if isinstance(source, bytes) else Path(source).name
        self.parts = read_parts(source)
        check_limits(self.label, self.parts)
        self._model = self._load(direct, every_cell)
        self.sheets: tuple[str, ...] = tuple(s["name"] for s in self._model.get_worksheets_properties())
        self.names: dict[str, Address] = {}
        self._targets: dict[str, str] = {}
        for item in self._model.get_defined_name_list():
            self._targets.setdefault(item["name"], item["formula"].lstrip("="))
            match = _SINGLE_NAME.fullmatch(item["formula"].lstrip("="))
            if match and item["scope"] is None:
                sheet = (match[1] or match[2]).replace("''", "'")
                if sheet in self.sheets:
                    self.names[item["name"]] = (self.sheets.index(sheet), int(match[4]), column_number(match[3]))
        self._words = {*map(str.casefold, self._targets), "true", "false", _NEVER_KNOWN}

    def _load(self, direct: bool, every_cell: bool) -> Any:
        import ironcalc

        self._error_type = ironcalc.CellType.ErrorValue
        comments = [p for p in self.parts if re.fullmatch(r"xl/(?:worksheets/)?comments.*\.xml", p)]
        if comments:
            raise WorkbookError(f"{self.label} has cell comments (notes), which the engine can't read; remove them first")
        # A scratch copy, since the engine reads from a path and the file may change while it is read.
        with tempfile.TemporaryDirectory(prefix="barfuncs-") as folder:
            path = Path(folder) / "book.xlsx"
            parts = _with_blank_cells_blank(self.parts)
            if direct:
                parts = _with_cells_for_names(parts)
                parts = parts if every_cell else _without_idle_cells(self.label, parts)
            path.write_bytes(pack(parts, level=1))
            try:
                return ironcalc.load_from_xlsx(str(path))
            except BaseException as error:  # the engine's panics are not Exceptions
                if isinstance(error, (KeyboardInterrupt, SystemExit, MemoryError)):
                    raise
                raise WorkbookError(f"{self.label} can't be read by the calculation engine ({error})") from None

    def address(self, ref: str) -> Address:
        """Address of a defined name, of the n-th cell of a named column, written as name[3], or of a cell written as
        Sheet!B2, or B2 on the first sheet."""
        if ref in self.names:
            return self.names[ref]
        numbered = _NUMBERED.fullmatch(ref)
        if numbered:
            sheet, row, column = self.first_cell(numbered[1])
            return sheet, row + int(numbered[2]) - 1, column
        sheet_name, mark, cell = ref.rpartition("!")
        match = _REF.fullmatch(cell.upper())
        sheet_name = sheet_name.strip("'").replace("''", "'")
        if match and (not mark or sheet_name in self.sheets):
            return (self.sheets.index(sheet_name) if mark else 0, int(match[2]), column_number(match[1]))
        import difflib

        close = difflib.get_close_matches(ref, self.names, n=1)
        hint = f"; did you mean {close[0]!r}?" if close else ""
        raise WorkbookError(f"{self.label} has no cell or name {ref!r}{hint}")

    def has_name(self, name: str) -> bool:
        """Whether the workbook has this defined name."""
        return name in self._targets

    def is_formula(self, ref: str) -> bool:
        """Whether a formula stands in a cell."""
        return bool(self._model.get_cell_formula(*self.address(ref)))

    @property
    def targets(self) -> dict[str, str]:
        """By defined name what it stands for, as it is written in the file."""
        return dict(self._targets)

    def formulas_by_sheet(self) -> dict[str, list[str]]:
        """By sheet the cells with a formula, such as B2."""
        found: dict[str, list[str]] = {}
        for (sheet, row, column), _ in self.formulas():
            found.setdefault(self.sheets[sheet], []).append(f"{column_letters(column)}{row}")
        return found

    @property
    def from_1904(self) -> bool:
        """Whether a day is counted from 1904 and not from 1900."""
        return bool(_FROM_1904.search(self.parts["xl/workbook.xml"]))

    def first_cell(self, name: str) -> Address:
        """Address of the first cell of a defined name that stands for a range."""
        if name not in self._targets:
            raise WorkbookError(f"{self.label} has no name {name!r}")
        return self.address(self._targets[name].split(":")[0])

    def set(self, ref: str, value: Value) -> None:
        """Put a plain value into a cell. A text stays text, also one that begins with an equals sign."""
        self.set_at(self.address(ref), value)

    def set_at(self, address: Address, value: Value) -> None:
        model, (sheet, row, column) = self._model, address
        if value is None:
            model.clear_cell_contents(sheet, row, column)
        elif isinstance(value, bool):
            model.update_cell_with_bool(sheet, row, column, value)
        elif isinstance(value, str):
            model.update_cell_with_text(sheet, row, column, value)
        else:
            model.update_cell_with_number(sheet, row, column, float(value))

    def calculate(self) -> None:
        """Work out every formula."""
        try:
            self._model.evaluate()
        except BaseException as error:
            if isinstance(error, (KeyboardInterrupt, SystemExit, MemoryError)):
                raise
            raise WorkbookError(f"{self.label} can't be calculated ({error})") from None

    def value(self, ref: str) -> Value:
        """Value of a cell; an error value comes as `CellError`."""
        return self.value_at(self.address(ref))

    def value_at(self, address: Address) -> Value:
        value: Value = self._model.get_cell_value(*address)
        return self._error_at(address, value) if value.__class__ is str and value[:1] == "#" else value

    def values_at(self, addresses: Iterable[Address]) -> list[Value]:
        """Values of many cells, as `value_at` gives each."""
        read = self._model.get_cell_value
        return [self._error_at(address, value) if value.__class__ is str and value[:1] == "#" else value
                for address in addresses for value in (read(*address),)]

    def _error_at(self, address: Address, value: str) -> str:
        """What a text that begins as an error does is: a text, or an error."""
        if self._model.get_cell_type(*address) != self._error_type:
            return value
        return CellError(value if value in ERRORS else "#VALUE!")

    def shown(self, address: Address) -> str:
        """A cell as people write it: Sheet!B2."""
        sheet, row, column = address
        return f"{self.sheets[sheet]}!{column_letters(column)}{row}"

    def errors(self) -> list[tuple[Address, str]]:
        """Cells whose formula gives an error, with the error as the engine calls it (#CIRC! for a circular reference)."""
        found = ((address, str(self._model.get_cell_value(*address))) for address, _ in self.formulas()
                 if self._model.get_cell_type(*address) == self._error_type)
        return sorted(found)

    def formulas(self) -> Iterator[tuple[Address, str]]:
        """Every cell with a formula."""
        for address in self._model.get_all_cells():
            formula = self._model.get_cell_formula(*address)
            if formula:
                yield tuple(address), formula

    def cells(self) -> Iterator[Address]:
        """Every cell that there is."""
        return map(tuple, self._model.get_all_cells())

    def unknown_in(self, formula: str) -> str:
        """The first function or name of a formula, as `formulas` gives it, that the engine does not know, or an empty text. The formula
        may hide that, and have a value all the same."""
        if _OTHER_FILE.search(_TEXTS.sub("", formula)):
            return "another file"
        if _OWN_NAMES.search(formula):
            return ""
        return next((word for word in _NOT_KNOWN.findall(formula) if word and word.casefold() not in self._words), "")

    def check_supported(self) -> None:
        """Raise WorkbookError naming the cells whose formulas the engine does not know; call after `calculate`."""
        unknown = []
        for address, formula in self.formulas():
            value = self._model.get_cell_value(*address)
            if value in ("#NAME?", "#N/IMPL!") or (isinstance(value, str) and value.startswith("#ERROR")) or self.unknown_in(formula):
                unknown.append(f"{self.shown(address)} {formula[:60]}")
        if unknown:
            more = f" and {len(unknown) - 5} more" if len(unknown) > 5 else ""
            raise WorkbookError(f"{self.label}: the engine does not know a function or name in "
                                + "; ".join(unknown[:5]) + more)

    def sheet_parts(self) -> dict[int, str]:
        """Worksheet parts by the number of their sheet. Sheets that only hold a chart are left out."""
        return {self.sheets.index(sheet.name): sheet.part for sheet in worksheets(self.label, self.parts)
                if sheet.name in self.sheets}

    def to_bytes(self, inputs: Mapping[str, Value] | None = None) -> bytes:
        """The file with the calculated value in every formula cell, and with `inputs` (by name or cell) put in."""
        put: dict[int, dict[str, Value]] = {}
        for ref, value in (inputs or {}).items():
            sheet, row, column = self.address(ref)
            put.setdefault(sheet, {})[f"{column_letters(column)}{row}"] = value
        parts = dict(self.parts)
        for index, part in self.sheet_parts().items():
            xml = SheetXML(parts[part])
            values = put.get(index, {})
            for ref in xml.calculated():
                values[ref] = self.value_at(address_on(index, ref))
            parts[part] = xml.with_values(values)
        return pack(parts)

    def save(self, path: str | Path, replace: bool = False) -> None:
        """Write the file with its calculated values, whole or not at all. Never overwrites without `replace`."""
        write_whole(path, self.to_bytes(), replace)
