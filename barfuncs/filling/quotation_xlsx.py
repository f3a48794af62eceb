"""A quotation as a workbook for the customer: values and look, built from what the customer may read and from nothing else."""

import io
import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from openpyxl import Workbook
from openpyxl.drawing.image import Image
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, OneCellAnchor
from openpyxl.drawing.xdr import XDRPositiveSize2D
from openpyxl.styles import Alignment, Border, Side
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.filling.quotation_data import FREIGHT, MINIMUM, Quotation, QuotedLine, total_of
from barfuncs.templates import layout
from barfuncs.xlsx import pictures
from barfuncs.xlsx.package import pack
from barfuncs.xlsx.sheetxml import legal_text

_WIDTHS = {"A": 4.5, "B": 48.0, "C": 10.5, "D": 15.0, "E": 14.0}
"""Together narrower than A4 and letter within the margins, so that nothing is made smaller to fit."""
_LAST = "E"
_POINTS_A_UNIT = 5.25  # of a column's width, counted in digits of the workbooks' family at 10 points, in whole pixels
_POINTS_A_DIGIT = 0.556  # of the family, for each point of its size
_LENGTHS = {"A4": 841.9, "letter": 792.0}
_TOP, _BOTTOM, _SIDE = 0.55, 0.75, 0.5
_SLACK = 12
"""Points of a page left free: programs round the heights of rows."""
_EMU = 12_700
_LOGO = (190.0, 54.0)
_SIZE, _SMALL = 10.0, 9.0
_LINE = 1.2
_rule, _strong = Side(style="thin", color=layout.RULE), Side(style="medium", color=layout.ACCENT)
MONEY, PRICE, COUNT = layout.FORMATS["money"], layout.FORMATS["price"], layout.FORMATS["count"]
PRICED = {"part": "Price each"}


def workbook(quotation: Quotation) -> bytes:
    """The bytes of an xlsx file. The same whenever it is written."""
    book = layout.new_workbook(f"Quotation {quotation.number}".strip())
    book.properties.creator = legal_text(quotation.seller)
    book.calculation.fullCalcOnLoad = False
    sheet = _sheet(book, quotation)
    page = _Paper(sheet, _LENGTHS[quotation.paper] - 72 * (_TOP + _BOTTOM) - _SLACK)
    for row in _heading(quotation):
        page.put(row)
    if quotation.logo:
        _put_logo(sheet, quotation.logo)
    alike = len({line.priced_per for line in quotation.lines}) == 1
    page.repeat(_table_head(quotation, alike))
    for number, line in enumerate(quotation.lines, start=1):
        page.together(_line(number, line, alike))
    page.together(_sums(quotation))
    *words, last = [*_words(quotation), _signature(quotation)]
    if words:  # nobody signs a page that says nothing
        last = [*words.pop(), *last]
    for rows in (*words, last):
        page.together(rows)
    sheet.print_area = f"A1:{_LAST}{page.row}"
    return pack(layout.parts_of(book))


# --- rows ----------------------------------------------------------------------------------------------------------


@dataclass
class _Cell:
    columns: str
    value: Any
    size: float = _SIZE
    bold: bool = False
    color: str = layout.INK
    align: str = "left"
    number: str = "General"
    border: Border | None = None

    def height(self) -> float:
        if not isinstance(self.value, str):
            return self.size * _LINE
        first, _, last = self.columns.partition(":")
        width = sum(_WIDTHS[chr(c)] for c in range(ord(first), ord(last or first) + 1))
        return lines_of(self.value, width, self.size * (1.1 if self.bold else 1)) * self.size * _LINE


@dataclass
class _Row:
    cells: list[_Cell] = field(default_factory=list)
    least: float = 13.5
    above: Side | None = None
    below: Side | None = None

    @property
    def height(self) -> float:
        needed = max((cell.height() for cell in self.cells), default=0.0) + 1.75
        return math.ceil(max(self.least, needed) * 4) / 4


def lines_of(text: str, width: float, size: float) -> int:
    """Lines that a text takes in a column of this width, rather one too many than one too few."""
    room = (width * _POINTS_A_UNIT - 6) / (_POINTS_A_DIGIT * size)
    lines = 0
    for paragraph in text.split("\n"):
        lines += 1
        used = 0.0
        for word in paragraph.split(" "):
            wide = _wide(word)
            if used and used + 0.5 + wide > room:
                lines, used = lines + 1, 0.0
            used += wide + (0.5 if used else 0)
            if used > room:  # a word longer than a line is cut
                more = math.ceil(used / room) - 1
                lines, used = lines + more, used - more * room
    return lines


def _wide(word: str) -> float:
    """The width of a word, in digits."""
    return sum(_NARROW.get(c) or (1.9 if c in "W@%\u2014" or unicodedata.east_asian_width(c) in "WF" else 1.55 if c in "mM" else
                                  1.4 if c == "w" or c.isupper() else 1.03) for c in word)


_NARROW = {**dict.fromkeys("iljI|'", 0.5), **dict.fromkeys(".,:;!ft()[]/-", 0.58), **dict.fromkeys("r\"*", 0.68)}


class _Paper:
    """Puts rows onto the sheet from the top down, and begins a page where rows that belong together do not fit any more."""

    def __init__(self, sheet: Worksheet, room: float) -> None:
        self.sheet, self.room = sheet, room
        self.row, self.used, self.repeated = 0, 0.0, 0.0

    def put(self, row: _Row) -> None:
        if self.used + row.height > self.room and self.used > self.repeated:
            self.sheet.row_breaks.append(Break(id=self.row))
            self.used = self.repeated
        self.row += 1
        self.used += row.height
        self.sheet.row_dimensions[self.row].height = row.height
        for cell in row.cells:
            self._put_cell(cell)
        for letter in _WIDTHS:
            if row.above or row.below:
                self.sheet[f"{letter}{self.row}"].border = Border(top=row.above, bottom=row.below)
        for cell in row.cells:
            if cell.border:
                first, _, last = cell.columns.partition(":")
                for c in range(ord(first), ord(last or first) + 1):
                    self.sheet[f"{chr(c)}{self.row}"].border = cell.border

    def _put_cell(self, cell: _Cell) -> None:
        first, _, last = cell.columns.partition(":")
        at = self.sheet[f"{first}{self.row}"]
        if isinstance(cell.value, str):
            at.value = legal_text(cell.value)
            at.data_type = "s"  # a text stays a text, whatever it begins with
        else:
            at.value = cell.value
        at.font = layout.font(cell.size, cell.bold, cell.color)
        at.alignment = Alignment(horizontal=cell.align, vertical="top", wrap_text=isinstance(cell.value, str))
        at.number_format = cell.number
        if last:
            self.sheet.merge_cells(f"{first}{self.row}:{last}{self.row}")

    def repeat(self, row: _Row) -> None:
        """A row that every page begins with."""
        self.put(row)
        self.sheet.print_title_rows = f"{self.row}:{self.row}"
        self.repeated = row.height

    def together(self, rows: Sequence[_Row]) -> None:
        """Rows that stand on one page, if a page holds them."""
        height = sum(row.height for row in rows)
        if self.used + height > self.room and height <= self.room - self.repeated and self.used > self.repeated:
            self.sheet.row_breaks.append(Break(id=self.row))
            self.used = self.repeated
        for row in rows:
            self.put(row)


def _sheet(book: Workbook, quotation: Quotation) -> Worksheet:
    sheet = layout.add_sheet(book, "Quotation", _WIDTHS)
    sheet.sheet_properties.pageSetUpPr.fitToPage = False  # type: ignore[union-attr]
    sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = None
    sheet.page_setup.paperSize = layout.PAPERS[quotation.paper]
    sheet.page_setup.scale = 100
    margins = sheet.page_margins
    margins.left = margins.right = _SIDE
    margins.top, margins.bottom, margins.header, margins.footer = _TOP, _BOTTOM, 0.3, 0.35
    sheet.protection.sheet = False
    footer: Any = sheet.oddFooter
    footer.left.text = f"Quotation {quotation.number}".strip().replace("&", "&&")
    footer.right.text = "Page &P of &N"
    footer.left.size = footer.right.size = 9
    return sheet


# --- what stands on it ----------------------------------------------------------------------------------------------


def _heading(quotation: Quotation) -> list[_Row]:
    sender = "A:B" if quotation.logo else "A:E"
    rows = [_Row([_Cell(sender, quotation.seller, 16, bold=True, color=layout.ACCENT)], 24)]
    rows += [_Row([_Cell(sender, text, color=layout.SOFT)], 15) for text in (quotation.seller_address, quotation.seller_contact) if text]
    if quotation.logo:
        rows.append(_Row(least=max(6.0, _LOGO[1] + 6 - sum(row.height for row in rows))))
    rows += [_Row(least=14), _Row([_Cell("A:E", "Quotation", 18, bold=True)], 30)]
    left = [(text, bold) for text, bold in (
        (quotation.customer, True), *((part, False) for part in quotation.customer_address.split("\n")),
        (f"Attention: {quotation.attention}" if quotation.attention else "", False)) if text]
    right = [(label, text) for label, text in (
        ("Number", quotation.number), ("Date", quotation.date), ("Valid until", quotation.valid_until),
        ("Reference", quotation.reference)) if text]
    for n in range(max(len(left), len(right))):
        row = _Row()
        if n < len(left):
            row.cells.append(_Cell("A:B", left[n][0], 11 if left[n][1] else _SIZE, bold=left[n][1]))
        if n < len(right):
            row.cells += [_Cell("C", right[n][0], color=layout.SOFT), _Cell("D:E", right[n][1])]
        rows.append(row)
    return [*rows, _Row(least=12)]


def _put_logo(sheet: Worksheet, data: bytes) -> None:
    """The logo at the right, above the heading, as large as its place and in its own proportions."""
    size = pictures.size_of(data)
    assert size is not None, "the shop file takes a PNG or a JPEG only"
    scale = min(_LOGO[0] / size[0], _LOGO[1] / size[1])
    width, height = size[0] * scale, size[1] * scale
    left = sum(_WIDTHS.values()) * _POINTS_A_UNIT - width
    column = 0
    for column, letter in enumerate(_WIDTHS):  # noqa: B007 - the column in which the picture begins
        if left < _WIDTHS[letter] * _POINTS_A_UNIT:
            break
        left -= _WIDTHS[letter] * _POINTS_A_UNIT
    picture = _Picture(data)
    picture.anchor = OneCellAnchor(AnchorMarker(column, int(left * _EMU), 0, 0),
                                   XDRPositiveSize2D(int(width * _EMU), int(height * _EMU)))
    sheet.add_image(picture)


class _Picture(Image):
    """A picture as the bytes of its file. openpyxl's own reads them by another package."""

    def __init__(self, data: bytes) -> None:
        self.width, self.height = pictures.size_of(data) or (1, 1)
        self.format = "png" if pictures.is_png(data) else "jpeg"
        self.ref = io.BytesIO(data)
        self._bytes = data

    def _data(self) -> bytes:
        return self._bytes


def price_head(priced_per: str) -> str:
    """What stands over a price."""
    return PRICED.get(priced_per, f"Price for {priced_per}")


def _table_head(quotation: Quotation, alike: bool) -> _Row:
    price = price_head(quotation.lines[0].priced_per) if alike else "Price"
    money = f", {quotation.currency}" if quotation.currency else ""
    heads = (("A", "No.", "left"), ("B", "Part", "left"), ("C", "Quantity", "right"), ("D", price + money, "right"), ("E", "Total" + money, "right"))
    return _Row([_Cell(c, text, bold=True, color=layout.ACCENT, align=align) for c, text, align in heads], below=_strong)


def _line(number: int, line: QuotedLine, alike: bool) -> list[_Row]:
    drawing = ", ".join(text for text in (f"Drawing: {line.drawing}" if line.drawing else "",
                                          f"{'revision' if line.drawing else 'Revision:'} {line.revision}" if line.revision else "") if text)
    times = {quantity.lead_time for quantity in line.quantities}
    one_time = times.pop() if len(times) == 1 else ""
    facts = [_Cell("B", line.description, bold=True)] if line.description else []
    facts += [_Cell("B", text) for text in _joined((
        f"Part number: {line.part_number}" if line.part_number else "", drawing, f"Material: {line.material}" if line.material else "",
        f"Certificate: {line.certificate}" if line.certificate else "",
        f"Lead time: {one_time}" if one_time else "", "" if alike else price_head(line.priced_per)))]
    right: list[list[_Cell]] = []
    for quantity in line.quantities:
        right.append([_Cell("C", quantity.quantity, align="right", number=COUNT),
                      _Cell("D", quantity.price, bold=True, align="right", number=PRICE),
                      _Cell("E", quantity.total, align="right", number=MONEY)])
        small = (f"Lead time: {quantity.lead_time}" if quantity.lead_time and not one_time else "",
                 f"From the same bars: {quantity.offer}" if quantity.offer else "", quantity.note)
        right += [[_Cell("C:E", text, _SMALL, color=layout.SOFT, align="right")] for text in small if text]
    right += [[_Cell("C:D", label, align="right"), _Cell("E", amount, align="right", number=MONEY)]
              for label, amount in (("Set-up, once", line.setup), ("Tooling, once", line.tooling)) if amount]
    rows = [_Row([*(facts[n:n + 1]), *(right[n] if n < len(right) else [])]) for n in range(max(len(facts), len(right)))]
    rows[0].cells.insert(0, _Cell("A", number, align="left"))
    if line.remark:
        rows.append(_Row([_Cell("B:E", line.remark, _SMALL)]))
    return [_Row(least=4), *rows, _Row(least=5, below=_rule)]


def _joined(texts: Sequence[str]) -> list[str]:
    """Texts beside each other as long as they stay on one line."""
    found: list[str] = []
    for text in filter(None, texts):
        together = f"{found[-1]}; {text}" if found else text
        if found and "\n" not in together and lines_of(together, _WIDTHS["B"], _SIZE) == 1:
            found[-1] = together
        else:
            found.append(text)
    return found


def _sums(quotation: Quotation) -> list[_Row]:
    rows = []
    if quotation.minimum:
        rows.append(_Row([_Cell("B", MINIMUM, bold=True), _Cell("E", quotation.minimum, align="right", number=MONEY)], 18, below=_rule))
    if quotation.freight is not None:
        amount: Any = quotation.freight or "free"
        rows.append(_Row([_Cell("B", FREIGHT, bold=True), _Cell("E", amount, align="right", number=MONEY)], 18, below=_rule))
    total = total_of(quotation)
    if total is not None:
        rows.append(_Row([_Cell("B", "Total", bold=True), _Cell("E", total, bold=True, align="right", number=MONEY)], 18, below=_strong))
    return [*rows, _Row(least=12)]


def _words(quotation: Quotation) -> list[list[_Row]]:
    said = (("Delivery", quotation.delivery), ("Terms", quotation.terms), ("Tax", quotation.tax_note), ("Remark", quotation.remark),
            ("Notes", quotation.notes))
    return [[_Row(least=4), _Row([_Cell("A:B", label, color=layout.SOFT, bold=True)], 15), _Row([_Cell("A:E", text)]), _Row(least=3)]
            for label, text in said if text]


def _signature(quotation: Quotation) -> list[_Row]:
    line = Border(bottom=Side(style="thin", color=layout.INK))
    signed = "Signature" + (f", {quotation.seller}" if quotation.seller else "")
    return [_Row([_Cell("A:B", None, border=line), _Cell("C:E", None, border=line)], 46),
            _Row([_Cell("A:B", "Date", _SMALL, color=layout.SOFT), _Cell("C:E", signed, _SMALL, color=layout.SOFT)], 14)]
