"""Labels for bars, eight on a page, to be read on a rack from where one stands."""

from collections.abc import Sequence

from openpyxl.styles import Alignment, Border, Side
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.rack.bars import Bar, length_words
from barfuncs.templates import layout
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


def pages(bars: Sequence[Bar]) -> bytes:
    """A workbook with a label for each of the bars, as the bytes of an xlsx file."""
    book = layout.new_workbook("Labels")
    sheet = layout.add_sheet(book, "Labels", {"A": 0.8, "B": 10, "C": 25.5, "D": 1.5, "E": 10, "F": 25.5})
    sheet.sheet_properties.pageSetUpPr.fitToPage = False  # type: ignore[union-attr]  # with it, breaks between pages are passed over
    rows = len(_HEIGHTS) + 1
    for n, bar in enumerate(bars):
        down, across = divmod(n, ACROSS)
        _label(sheet, bar, down * rows + 1, _COLUMNS[across])
        if across == 0 and down and down % DOWN == 0:
            sheet.row_breaks.append(Break(id=down * rows))
    last = -(-len(bars) // ACROSS) * rows
    sheet.print_area = f"A1:F{max(1, last)}"
    return pack(layout.parts_of(book))


def _label(sheet: Worksheet, bar: Bar, top: int, columns: tuple[str, str]) -> None:
    left, right = columns
    for n, ((heading, text), height) in enumerate(zip(lines_of(bar), _HEIGHTS, strict=True)):
        row = top + n
        sheet.row_dimensions[row].height = height
        size = (30, 15, 19)[n] if n < 3 else 14
        bold = n < 3
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
