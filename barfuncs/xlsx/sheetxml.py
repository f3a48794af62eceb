"""A worksheet's XML cut at its cells, so that values are put in and every other byte stays as it was."""

import functools
import re
from dataclasses import dataclass
from xml.parsers import expat
from xml.sax.saxutils import escape

from barfuncs.errors import WorkbookError
from barfuncs.text.characters import is_noncharacter

Value = float | int | bool | str | None


class CellError(str):
    """An error value of a cell, such as #N/A."""

    __slots__ = ()


ERRORS = ("#N/A", "#VALUE!", "#NUM!", "#DIV/0!", "#REF!", "#NAME?", "#NULL!")


_ARRAY = re.compile(rb'<[\w:]*f\b(?=[^>]*\bt="array")[^>]*\bref="([A-Z]+[0-9]+):([A-Z]+[0-9]+)"')


def _split(ref: str) -> tuple[str, int]:
    letters = ref.rstrip("0123456789")
    return letters, int(ref[len(letters):])


@dataclass
class Cell:
    """Where one cell stands in the XML, and its formula element as it is."""

    ref: str
    style: str | None
    start: int
    end: int
    formula: bytes | None
    tag: str

    @functools.cached_property
    def around(self) -> tuple[bytes, bytes, bytes]:
        """What is before and behind the type of a cell with a value, and behind that value. Once asked for, it stays."""
        style = f' s="{self.style}"' if self.style is not None else ""
        prefix = self.tag[:-1]
        return (f'<{self.tag} r="{self.ref}"{style}'.encode(), b">%b<%bv>" % (self.formula or b"", prefix.encode()),
                f"</{prefix}v></{self.tag}>".encode())


class SheetXML:
    """The cells of one worksheet part.

    Parsing is strict: a document type declaration, which could hold entities, is refused.
    """

    def __init__(self, xml: bytes) -> None:
        self.xml = xml
        self.cells: dict[str, Cell] = {}
        self.without_value: set[str] = set()
        """Cells with a formula but no stored value. A stored blank text is a value."""
        self._parse()
        self._order = sorted(self.cells.values(), key=lambda c: c.start)

    def _parse(self) -> None:
        parser = expat.ParserCreate()
        parser.buffer_text = True
        current: list[Cell] = []
        formula_start = [0]
        value_start = [0]
        valued = [False]

        def refuse(*_: object) -> None:
            raise WorkbookError("the sheet has a document type declaration, which is not allowed")

        def start(tag: str, attributes: dict[str, str]) -> None:
            local = tag.rpartition(":")[2]
            if local == "c" and "r" in attributes:
                current.append(Cell(attributes["r"], attributes.get("s"), parser.CurrentByteIndex, 0, None, tag))
                valued[0] = attributes.get("t") == "str"
            elif local == "v":
                value_start[0] = parser.CurrentByteIndex
            elif local == "f" and current:
                formula_start[0] = parser.CurrentByteIndex

        def end(tag: str) -> None:
            local = tag.rpartition(":")[2]
            if local == "f" and current:
                stop = self._end_of(tag, parser.CurrentByteIndex)
                current[-1].formula = self.xml[formula_start[0]:stop]
            elif local == "v":
                valued[0] |= not self.xml[value_start[0]:parser.CurrentByteIndex].rstrip().endswith(b">")
            elif local == "c" and current:
                cell = current.pop()
                if cell.formula is not None and not valued[0]:
                    self.without_value.add(cell.ref)
                cell.end = self._end_of(tag, parser.CurrentByteIndex)
                self.cells[cell.ref] = cell

        parser.StartDoctypeDeclHandler = refuse
        parser.StartElementHandler = start
        parser.EndElementHandler = end
        try:
            parser.Parse(self.xml, True)
        except expat.ExpatError as error:
            raise WorkbookError(f"a sheet is damaged ({error})") from None

    def _end_of(self, tag: str, index: int) -> int:
        """Where an element ends: behind its end tag at `index`; for an empty element `index` is behind it already."""
        closing = f"</{tag}".encode()
        return self.xml.index(b">", index) + 1 if self.xml.startswith(closing, index) else index

    def calculated(self) -> set[str]:
        """Cells whose value comes from a formula, those that an array formula fills included."""
        refs = {ref for ref, cell in self.cells.items() if cell.formula is not None}
        for cell in self._order:
            area = _ARRAY.match(cell.formula) if cell.formula else None
            if area:
                refs |= self._within(area[1].decode(), area[2].decode())
        return refs

    def _within(self, first: str, last: str) -> set[str]:
        (left, top), (right, bottom) = _split(first), _split(last)
        return {ref for ref in self.cells
                if (len(left), left) <= (len(_split(ref)[0]), _split(ref)[0]) <= (len(right), right)
                and top <= _split(ref)[1] <= bottom}

    def with_values(self, values: dict[str, Value]) -> bytes:
        """The XML with these cells' values; formulas and styles are kept, cells that are not there are left out."""
        out, last = [], 0
        for cell in self._order:
            if cell.ref in values:
                out += [self.xml[last:cell.start], cell_xml(cell, values[cell.ref])]
                last = cell.end
        out.append(self.xml[last:])
        return b"".join(out)

    def slots(self, refs: set[str]) -> tuple[list[bytes], list[Cell]]:
        """The XML in pieces around the given cells: piece, cell, piece, cell, ..., piece."""
        pieces, cells, last = [], [], 0
        for cell in self._order:
            if cell.ref in refs:
                pieces.append(self.xml[last:cell.start])
                cells.append(cell)
                last = cell.end
        pieces.append(self.xml[last:])
        return pieces, cells


def cell_xml(cell: Cell, value: Value) -> bytes:
    """One cell's XML. Text is written as text, whatever it begins with, and never becomes a formula."""
    head, middle, tail = cell.around
    if value is None:
        return b"%b>%b</%b>" % (head, cell.formula, cell.tag.encode()) if cell.formula else head + b"/>"
    if isinstance(value, bool):
        kind, text = b' t="b"', "1" if value else "0"
    elif isinstance(value, CellError):
        kind, text = b' t="e"', str(value)
    elif isinstance(value, str):
        text = escape(legal_text(value))
        if not cell.formula:
            prefix = cell.tag[:-1]
            space = ' xml:space="preserve"' if text != text.strip() or "\n" in text else ""
            return head + (f' t="inlineStr"><{prefix}is><{prefix}t{space}>{text}</{prefix}t></{prefix}is></{cell.tag}>').encode()
        kind = b' t="str"'
    else:
        kind, text = b"", repr(float(value)) if not float(value).is_integer() else str(int(value))
    return head + kind + middle + text.encode() + tail


def legal_text(text: str) -> str:
    """Without the characters that a workbook can't hold: control characters, halves of a pair, noncharacters.

    >>> legal_text("bar" + chr(0xFFFF) + " 7" + chr(0x1FFFE) + chr(7))
    'bar 7'
    """
    if text.isprintable():
        return text
    return "".join(c for c in text if (c >= " " and not "\ud800" <= c <= "\udfff" and not is_noncharacter(ord(c))) or c in "\t\n")
