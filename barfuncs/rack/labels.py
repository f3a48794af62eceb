"""Labels for bars, eight on a page, to be read on a rack from where one stands: as a workbook or a PDF."""

import io
from collections.abc import Sequence
from typing import Any

from openpyxl.styles import Alignment, Border, Side
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.errors import BarfuncsError
from barfuncs.filling.quotation_pdf import PAPERS
from barfuncs.filling.strips import characters, clipped, typeface, width
from barfuncs.rack.bars import Bar, length_words
from barfuncs.templates import layout
from barfuncs.templates.shop import paper_for
from barfuncs.xlsx.package import pack
from barfuncs.xlsx.sheetxml import legal_text

ACROSS, DOWN = 2, 4
_EDGE = Side(style="medium", color=layout.INK)
_COLUMNS = (("B", "C"), ("E", "F"))
_HEIGHTS = (36, 22, 28, 20, 20, 20, 20)
"""Four labels and their gaps are 704 points high: a page of A4 or Letter, less its margins."""
_GAP = 10


def lines_of(bar: Bar) -> tuple[tuple[str, str], ...]:
    """What a label says: a heading and a text for each line but the first two, which speak for themselves."""
    number = f"{bar.bars} bars, each " if bar.bars > 1 else ""
    return (("", bar.id), ("", bar.described()), ("Length", number + length_words(bar.length, bar.units)), ("Heat", bar.heat or "not known"),
            ("Certificate", bar.certificate), ("Owner", bar.owner),
            ("Place", (f"{bar.place}   " if bar.place else "") + f"received {bar.received}"))


def made(bars: Sequence[Bar], name: str) -> bytes:
    """Labels as the name of their file wants them: a PDF, or else a workbook."""
    return pdf(bars) if name.lower().endswith(".pdf") else pages(bars)


_SIZES = (30, 15, 19, 14, 14, 14, 14)
_BOLD = 3
"""So many lines are bold."""


def pages(bars: Sequence[Bar]) -> bytes:
    """A workbook with a label for each of the bars, as the bytes of an xlsx file."""
    book = layout.new_workbook("Labels")
    sheet = layout.add_sheet(book, "Labels", {"A": 0.8, "B": 12.5, "C": 34, "D": 2, "E": 12.5, "F": 34})
    sheet.sheet_properties.pageSetUpPr.fitToPage = False  # type: ignore[union-attr]  # with it, breaks between pages are passed over
    rows = len(_HEIGHTS) + 1
    for n, bar in enumerate(bars):
        down, across = divmod(n, ACROSS)
        _label(sheet, bar, down * rows + 1, _COLUMNS[across])
        if across == 0 and down and down % DOWN == 0:
            sheet.row_breaks.append(Break(id=down * rows))
    if bars:
        sheet.page_setup.paperSize = layout.PAPERS[paper_for(bars[0].units, None)]
    last = -(-len(bars) // ACROSS) * rows
    sheet.print_area = f"A1:F{max(1, last)}"
    return pack(layout.parts_of(book))


def _label(sheet: Worksheet, bar: Bar, top: int, columns: tuple[str, str]) -> None:
    left, right = columns
    for n, ((heading, text), height) in enumerate(zip(lines_of(bar), _HEIGHTS, strict=True)):
        row = top + n
        sheet.row_dimensions[row].height = height
        size, bold = _SIZES[n], n < _BOLD
        at = left if not heading else right
        if heading:
            _put(sheet, f"{left}{row}", heading, 10, False, layout.SOFT)
        _put(sheet, f"{at}{row}", text, size, bold, layout.INK)
        if not heading:
            sheet.merge_cells(f"{left}{row}:{right}{row}")
        sheet[f"{at}{row}"].alignment = Alignment(horizontal="left", vertical="center", indent=1 if at == left else 0, shrink_to_fit=True)
        for column in columns:
            sheet[f"{column}{row}"].border = Border(
                left=_EDGE if column == left else None, right=_EDGE if column == right else None,
                top=_EDGE if n == 0 else None, bottom=_EDGE if n == len(_HEIGHTS) - 1 else None)
    sheet.row_dimensions[top + len(_HEIGHTS)].height = _GAP


def _put(sheet: Worksheet, ref: str, text: str, size: float, bold: bool, color: str) -> None:
    layout.put(sheet, ref, None, size=size, bold=bold, color=color, indent=1)
    cell = sheet[ref]
    cell.value = legal_text(text)
    cell.data_type = "s"  # also where it begins as a formula
    cell.number_format = layout.FORMATS["text"]


# --- the same as a PDF ---------------------------------------------------------------------------------------------

_SIDE, _TOP, _BETWEEN, _INDENT, _HEADINGS = 30.0, 36.0, 10.0, 8.0, 62.0
_CAPITALS = 0.73
"""Height of a capital letter, of that of the type."""
_LEAST = 6.0
"""No type is smaller; what is longer still, such as an owner of 80 letters, ends with three points."""


def pdf(bars: Sequence[Bar]) -> bytes:
    """A PDF with a label for each of the bars; the same bars give the same bytes.

    Raises BarfuncsError for a text in letters that the font has not.
    """
    from reportlab.lib.colors import HexColor
    from reportlab.pdfgen.canvas import Canvas

    strange = {c for bar in bars for _, text in lines_of(bar) for c in text if ord(c) not in characters()}
    if strange:
        raise BarfuncsError(f"the font of the PDF has no {', '.join(f'{c} U+{ord(c):04X}' for c in sorted(strange)[:5])}; write labels as a workbook")
    paper = PAPERS[paper_for(bars[0].units if bars else "in", None).lower()]
    buffer = io.BytesIO()
    first: Any = typeface().fontName  # or the file names a font that it does not hold
    canvas = Canvas(buffer, pagesize=(paper.width, paper.height), pageCompression=1, invariant=1, lang="en", initialFontName=first)
    canvas.setTitle("Labels")
    canvas.setCreator("barfuncs")
    wide, high = (paper.width - 2 * _SIDE - _BETWEEN) / ACROSS, sum(_HEIGHTS)
    for n, bar in enumerate(bars):
        down, across = divmod(n % (ACROSS * DOWN), ACROSS)
        if n and not (down or across):
            canvas.showPage()
        x, y = _SIDE + across * (wide + _BETWEEN), paper.height - _TOP - down * (high + _BETWEEN)
        canvas.setLineWidth(1.5)
        canvas.rect(x, y - high, wide, high)
        for (heading, text), height, size, bold in zip(lines_of(bar), _HEIGHTS, _SIZES, (n < _BOLD for n in range(len(_SIZES))), strict=True):
            y -= height
            start = x + _INDENT + (_HEADINGS if heading else 0)
            room = x + wide - 4 - start
            fits = max(_LEAST, min(size, size * room / max(width(text, size, bold), 1)))
            canvas.setFillColor(HexColor(f"#{layout.SOFT}"))
            canvas.setFont(typeface().fontName, 10)
            canvas.drawString(x + _INDENT, y + (height - _CAPITALS * fits) / 2, heading)
            canvas.setFillColor(HexColor(f"#{layout.INK}"))
            canvas.setFont(typeface(bold).fontName, fits)
            canvas.drawString(start, y + (height - _CAPITALS * fits) / 2, clipped(text, room, fits) if fits == _LEAST else text)
    canvas.save()
    return buffer.getvalue()
