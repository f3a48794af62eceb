"""The rows of a worksheet, read piece by piece: nothing of the file is kept but what its cells say.

It reads files from outside, so it runs in a process of its own (see `sandbox`) and stops at the first row, column or cell
too many. What it hands out is plain JSON; `rows` makes dates and error values of it.
"""

import contextlib
import json
import re
from collections.abc import Callable, Iterator
from typing import Any, BinaryIO

from barfuncs.errors import WorkbookError
from barfuncs.text import limits
from barfuncs.xlsx.package import (
    DEEPEST_XML,
    BadXML,
    check_depth,
    feed_xml,
    listed_parts,
    local_name,
    open_parts,
    part_chunks,
    read_xml,
    xml_parser,
)

TakeRow = Callable[[int, list[Any]], None]

MOST_CELLS = 1_000_000
"""Cells of the sheet, blank ones too."""
MOST_TEXTS = 400_000
MOST_BYTES = 100_000_000
"""Of one part."""
MOST_STYLES = 70_000
_LAST_ROW, _LAST_COLUMN = 1_048_576, 16_384
_LONGEST_NUMBER = 400
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_WHOLE = re.compile(r"-?[0-9]{1,15}")
_LETTERS = re.compile(r"[A-Z]{1,3}")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
PERCENT = "%"
_PERCENT_FORMATS = (9, 10)
_DAY_FORMATS = (*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59))
_STANDS_FOR_ITSELF = re.compile(r'"[^"]*"|\\.')


def write_rows(out: BinaryIO, path: str, label: str, sheet: str = "") -> None:
    """Write the rows of the first visible sheet as lines of JSON, [row number, cells], and what is said of all of them.

    `label` is what messages call the file; a visible sheet called `sheet` goes before the first one.
    """
    def write(row: int, cells: list[Any]) -> None:
        out.write(json.dumps([row, cells]).encode() + b"\n")

    try:
        reader = SheetReader(path, label, sheet)
        reader.read(write)
        last: dict[str, Any] = {"sheet": reader.sheet, "without_value": reader.without_value,
                                "from_1904": reader.from_1904}
    except WorkbookError as error:
        last = {"refused": str(error)}
    out.write(json.dumps(last).encode() + b"\n")


class SheetReader:
    """The first visible worksheet of a file, or the visible one that is called as `preferred` says.

    Raises WorkbookError, naming the file, for one that can't be read.
    """

    def __init__(self, path: str, label: str = "", preferred: str = "") -> None:
        self.label, self.archive = open_parts(path, label)
        self.infos = {info.filename: info for info in self.archive.infolist()}
        links, workbook = "xl/_rels/workbook.xml.rels", "xl/workbook.xml"
        for part in ("[Content_Types].xml", links, workbook):
            self._read_part(part)
        listed = listed_parts(self.label, self._chunks(links), self._chunks(workbook), self.infos)
        visible = [s for s in listed.sheets if s.visible]
        sheet = next((s for s in visible if s.name == preferred), visible[0] if visible else None)
        if sheet is None:
            raise WorkbookError(f"{self.label} has no visible worksheet")
        self.sheet, self.from_1904 = sheet.name, listed.from_1904
        self.parts = {s.name: s.part for s in listed.sheets}
        self.formats = self._cell_formats(listed.styles) if listed.styles in self.infos else []
        self.texts = self._shared_texts(listed.texts) if listed.texts in self.infos else []
        self.without_value: list[str] = []
        """Cells with a formula but no stored value. A stored blank text is a value."""

    def read(self, take: TakeRow, sheet: str = "") -> None:
        """Hand out the rows of a sheet that have something in them: their number, and their cells up to the last filled one."""
        parser, part = xml_parser(), self.parts[sheet or self.sheet]
        _read_cells(self, parser, take)
        with self._naming(part):
            feed_xml(parser, self._chunks(part))

    def on_formula(self, ref: str, has_value: bool) -> None:
        """Told of each cell with a formula."""
        if not has_value:
            self.without_value.append(ref)

    def _chunks(self, part: str) -> Iterator[bytes]:
        if self.infos[part].file_size > MOST_BYTES:
            raise WorkbookError(f"{self.label}: its part {part} unpacks to more than {MOST_BYTES // 1_000_000} MB")
        return part_chunks(self.label, self.archive, self.infos[part])

    def _read_part(self, part: str, start: Callable[[str, dict[str, str]], None] | None = None,
                   end: Callable[[str], None] | None = None, text: Callable[[str], None] | None = None) -> None:
        with self._naming(part):
            read_xml(self._chunks(part), start, end, text)

    @contextlib.contextmanager
    def _naming(self, part: str) -> Iterator[None]:
        try:
            yield
        except BadXML as error:
            raise WorkbookError(f"{self.label} is damaged: its part {part} {error}") from None

    def too_many(self, what: str) -> WorkbookError:
        return WorkbookError(f"{self.label} has more than {what}")

    def counted(self, count: Callable[..., None], *arguments: int) -> None:
        try:
            count(*arguments)
        except ValueError as error:
            raise WorkbookError(f"{self.label} {error}") from None

    def _cell_formats(self, part: str) -> list[str | int | None]:
        """For each style of a cell: the format of a date or time, % for percent, None for anything else."""
        own: dict[str, str] = {}
        formats: list[str | int | None] = []
        within = ""

        def start(tag: str, attributes: dict[str, str]) -> None:
            nonlocal within
            if tag == "numFmt":
                own[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")[:255]
            elif tag in ("cellXfs", "cellStyleXfs"):
                within = tag
            elif tag == "xf" and within == "cellXfs":
                number = attributes.get("numFmtId", "")
                formats.append(_shown_as(own[number]) if number in own else _built_in(number))
            if len(own) > MOST_STYLES or len(formats) > MOST_STYLES:
                raise self.too_many(f"{MOST_STYLES:,} cell styles")

        self._read_part(part, start)
        return formats

    def _shared_texts(self, part: str) -> list[str]:
        texts: list[str] = []
        pieces: list[str] = []
        phonetic = capture = False
        characters = size = 0

        def start(tag: str, _: dict[str, str]) -> None:
            nonlocal phonetic, capture, size
            if tag == "si":
                pieces.clear()
                size = 0
            elif tag == "rPh":
                phonetic = True
            capture = tag == "t" and not phonetic

        def end(tag: str) -> None:
            nonlocal phonetic, capture
            capture = False
            if tag == "rPh":
                phonetic = False
            elif tag == "si":
                texts.append(_unescaped("".join(pieces)))
                if len(texts) > MOST_TEXTS:
                    raise self.too_many(f"{MOST_TEXTS:,} different texts")

        def text(data: str) -> None:
            nonlocal characters, size
            if capture:
                pieces.append(data)
                characters += len(data)
                size += len(data)
                if size > limits.LONGEST_CELL:
                    raise WorkbookError(f"{self.label} has a text with more than {limits.LONGEST_CELL:,} characters")
                if characters > limits.MOST_CHARACTERS:
                    raise self.too_many(f"{limits.MOST_CHARACTERS:,} characters of text")

        self._read_part(part, start, end, text)
        return texts

    def refusal(self, why: str) -> WorkbookError:
        return WorkbookError(f"{self.label} can't be read as a workbook ({why}); save it anew from a spreadsheet program")

    def value(self, ref: str, kind: str, style: str, text: str) -> Any:
        """What a cell says, as JSON."""
        if kind == "n":
            return self.number(ref, style, text)
        if kind == "s":
            index = int(text) if _WHOLE.fullmatch(text) else -1
            if not 0 <= index < len(self.texts):
                raise self.refusal(f"the text of {ref} is missing")
            return self.texts[index]
        if kind in ("str", "inlineStr"):
            return _unescaped(text)
        if kind == "b" and text in ("0", "1", "true", "false"):
            return text in ("1", "true")
        if kind == "e":
            return {"error": text[:20]}
        if kind == "d":
            return {"date": text[:40]}
        raise self.refusal(f"{ref} holds {text[:20]!r}, which can't be read")

    def plain_number(self, ref: str, text: str) -> float | int:
        if len(text) > _LONGEST_NUMBER or not _NUMBER.fullmatch(text):
            raise self.refusal(f"{ref} holds {text[:20]!r}, which is no number")
        number = int(text) if _WHOLE.fullmatch(text) else float(text)
        if abs(number) == float("inf"):
            raise self.refusal(f"the number in {ref} is too large")
        return number

    def shown_as(self, style: str) -> str | int | None:
        """How a style shows numbers: the format of a date or time, % for percent, None for anything else."""
        return self.formats[int(style)] if style.isdecimal() and int(style) < len(self.formats) else None

    def number(self, ref: str, style: str, text: str) -> Any:
        number, shown_as = self.plain_number(ref, text), self.shown_as(style)
        if shown_as is None:
            return number
        if shown_as == PERCENT:
            return f"{number * 100:.12g}%" if abs(number) < 1e6 else number
        return {"day": number, "format": shown_as}


def _built_in(number: str) -> str | int | None:
    code = int(number) if _WHOLE.fullmatch(number) else 0
    return PERCENT if code in _PERCENT_FORMATS else code if code in _DAY_FORMATS else None


def _shown_as(code: str) -> str | None:
    """Percent, the format itself where it may be that of a date or a time, or None."""
    plain = _STANDS_FOR_ITSELF.sub("", code)
    if "%" in plain:
        return PERCENT
    return code if re.search("[dmyhs]", plain, re.IGNORECASE) else None


def _unescaped(text: str) -> str:
    """With the characters that the file format writes as _x000D_."""
    return _ESCAPED.sub(lambda m: chr(int(m[1], 16)), text) if "_x" in text else text


_CELL, _VALUE, _TEXT, _INLINE, _FORMULA, _PHONETIC, _ROW, _OTHER = range(8)
_KNOWN = {"c": _CELL, "v": _VALUE, "t": _TEXT, "is": _INLINE, "f": _FORMULA, "rPh": _PHONETIC, "row": _ROW}


def _read_cells(reader: SheetReader, parser: Any, take: TakeRow) -> None:
    """Give the parser what makes rows of a worksheet's tags and texts.

    One function with what it remembers in plain variables, since it is called several times for each cell.
    """
    count = limits.Counter()
    codes: dict[str, int] = {}
    columns: dict[str, int] = {}
    filled: dict[int, Any] = {}
    pieces: list[str] = []
    row = column = cells = size = depth = 0
    ref = kind = style = row_text = ""
    in_row = in_cell = in_phonetic = capture = has_formula = has_value = False

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal row, column, cells, size, depth, ref, kind, style, row_text
        nonlocal in_row, in_cell, in_phonetic, capture, has_formula, has_value
        code = codes.get(tag)
        if code is None:
            code = codes[tag] = _KNOWN.get(local_name(tag), _OTHER)
        if code == _CELL and in_row and not in_cell:
            cells += 1
            if cells > MOST_CELLS:
                raise reader.too_many(f"{MOST_CELLS:,} cells, blank ones counted; delete what is not needed, or copy the "
                                      "list to a new file")
            ref = attributes.get("r", "")
            column = column_of(ref) if ref else column + 1
            kind, style = attributes.get("t", "n"), attributes.get("s", "")
            in_cell, in_phonetic, has_formula, has_value = True, False, False, kind == "str"
            size = 0
        elif code == _VALUE and in_cell:
            capture = True
        elif code == _TEXT and in_cell:
            capture = not in_phonetic
        elif code == _FORMULA and in_cell:
            has_formula = True
        elif code == _PHONETIC and in_cell:
            in_phonetic = True
        elif code == _ROW and not in_row:
            before, number = row, attributes.get("r")
            row = row + 1 if number is None else int(number) if _WHOLE.fullmatch(number) else 0
            if not before < row <= _LAST_ROW:
                raise reader.refusal(f"row {str(number)[:20]} comes after row {before}")
            row_text, in_row, column = str(row), True, 0
            reader.counted(count.row)
        # Deeper than a cell's own tags go, nothing is looked for, but it must have an end.
        depth += 1
        if depth > DEEPEST_XML:
            check_depth(depth)

    def column_of(ref: str) -> int:
        letters = ref[:-len(row_text)] if ref.endswith(row_text) else ""
        if letters not in columns:
            number = 0
            for letter in letters if _LETTERS.fullmatch(letters) else "":
                number = number * 26 + ord(letter) - 64
            if not 0 < number <= _LAST_COLUMN:
                raise reader.refusal(f"a cell in row {row} is called {ref[:20]!r}")
            columns[letters] = number
        return columns[letters]

    def text(data: str) -> None:
        nonlocal size, has_value
        if capture:
            has_value = True
            pieces.append(data)
            size += len(data)
            if size > limits.LONGEST_CELL:
                raise WorkbookError(f"{reader.label} has a cell with more than {limits.LONGEST_CELL:,} characters ({place()})")

    def place() -> str:
        return ref or f"row {row}, column {column}"

    def end(tag: str) -> None:
        nonlocal depth, in_row, in_cell, in_phonetic, capture
        depth -= 1
        code = codes[tag]
        if code in (_VALUE, _TEXT):
            capture = False
        elif code == _CELL and in_cell:
            in_cell = False
            if has_formula:
                reader.on_formula(place(), has_value)
            if pieces:
                said = pieces[0] if len(pieces) == 1 else "".join(pieces)
                pieces.clear()
                if kind == "n" and said.isdigit() and said.isascii() and size <= 15 and not style:
                    filled[column] = int(said)
                else:
                    filled[column] = reader.value(place(), kind, style, said)
        elif code == _ROW and in_row:
            in_row = False
            if filled:
                last = max(filled)
                lengths = [len(value) for value in filled.values() if isinstance(value, str)]
                reader.counted(count.filled, row, last, len(filled), sum(lengths), max(lengths, default=0))
                take(row, [filled.get(n) for n in range(1, last + 1)])
                filled.clear()
        elif code == _PHONETIC:
            in_phonetic = False

    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
