"""Sheets of many rows that are written block by block: cells in a few looks, fields of several columns, breaks between pages."""

from collections.abc import Iterable
from copy import copy
from typing import Any

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.cell_range import CellRange, MultiCellRange
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.templates import layout
from barfuncs.templates.model import Column
from barfuncs.templates.shop import number_format, validate

ROW = 15.0
"""Height of a row, in points."""
_PAGE = 535.0
"""Points of rows that a page across takes in full size, of A4 as of letter, with a little to spare."""
DAY = "yyyy-mm-dd"


class Pen:
    """Writes cells of one workbook; a look is worked out once, since these sheets have tens of thousands of cells."""

    def __init__(self, book: Workbook) -> None:
        self.book = book
        self._scratch = book.create_sheet("scratch")
        self._looks: dict[tuple[Any, ...], Any] = {}

    def done(self) -> None:
        """Take the scratch sheet out."""
        self.book.remove(self._scratch)

    def _look(self, kind: str, **look: Any) -> Any:
        key = (kind, *sorted(look.items()))
        if key not in self._looks:
            cell: Any = self._scratch.cell(len(self._looks) + 1, 1)
            number_code = look.pop("code", None)
            if kind == "put":
                layout.put(self._scratch, cell.coordinate, None, **look)
            elif kind == "head":
                left = look["left"]
                layout.put(self._scratch, cell.coordinate, None, size=9, bold=True, color=layout.ACCENT, align="left" if left else "right", indent=int(left), shrink=True)
                cell.border = Border(bottom=Side(style="medium", color=layout.ACCENT))
            elif kind == "input":
                words = look["number"] in ("text", "typed")
                layout.style_input(self._scratch, cell.coordinate, look["number"])
                if words:
                    cell.alignment = Alignment(horizontal=look.get("align", "left"), vertical="center", indent=1, shrink_to_fit=True)
            else:
                layout.style_answer(self._scratch, cell.coordinate, look["number"], look.get("bold", False))
                if look["number"] == "text":
                    cell.alignment = Alignment(horizontal="left", vertical="center", indent=1, shrink_to_fit=True)
            if number_code:
                cell.number_format = number_code
            self._looks[key] = cell._style
        return self._looks[key]

    def _write(self, sheet: Worksheet, row: int, columns: tuple[int, int], value: Any, style: Any) -> str:
        first, last = columns
        for column in range(first, last + 1):
            cell: Any = sheet.cell(row, column)
            cell._style = copy(style)
        if value is not None:
            sheet.cell(row, first).value = value
        if last > first:  # openpyxl's own way makes an object of each merged cell that then has no look
            sheet.merged_cells.ranges.add(CellRange(min_col=first, max_col=last, min_row=row, max_row=row))
        return f"{get_column_letter(first)}{row}"

    def put(self, sheet: Worksheet, row: int, columns: int | tuple[int, int], value: Any, **look: Any) -> str:
        """A value with the look of `layout.put`, in one column or in several that are merged; its reference."""
        return self._write(sheet, row, _pair(columns), value, self._look("put", **look))

    def head(self, sheet: Worksheet, row: int, column: int, label: str, left: bool) -> None:
        """The label above a column of a table, on a row that `layout.heading` has ruled."""
        self._write(sheet, row, (column, column), label, self._look("head", left=left))

    def framed(self, sheet: Worksheet, row: int, columns: int | tuple[int, int], column: Column) -> str:
        """The framed cell of what is typed; its reference."""
        number = number_format(column)
        code = {"date": DAY}.get(column.instead)
        if code:
            return self._write(sheet, row, _pair(columns), None, self._look("input", number=number, code=code))
        if column.kind.reader == "text" or "certificate" in column.name:
            return self._write(sheet, row, _pair(columns), None, self._look("input", number=number, code=layout.FORMATS["text"]))
        return self._write(sheet, row, _pair(columns), None, self._look("input", number=number))

    def answer(self, sheet: Worksheet, row: int, columns: int | tuple[int, int], formula: str, number: str, bold: bool = False,
               code: str | None = None) -> str:
        """A calculated cell with the look of an answer; its reference."""
        more = {"code": code} if code else {}
        return self._write(sheet, row, _pair(columns), f"={formula}", self._look("answer", number=number, bold=bold, **more))


def _pair(columns: int | tuple[int, int]) -> tuple[int, int]:
    return columns if isinstance(columns, tuple) else (columns, columns)


def validate_all(sheet: Worksheet, refs: Iterable[str], column: Column) -> None:
    """A prompt, and a list where there are choices, for framed cells of one column wherever they stand."""
    refs = list(refs)
    if refs:
        validate(sheet, refs[0], column)
        sheet.data_validations.dataValidation[-1].sqref = MultiCellRange(" ".join(refs))


def scaled(sheet: Worksheet, percent: int) -> None:
    """Print at this scale and not fitted to the page: where pages are fitted, programs pass over the breaks between them."""
    sheet.sheet_properties.pageSetUpPr.fitToPage = False  # type: ignore[union-attr]
    sheet.page_setup.scale = percent


def break_pages(sheet: Worksheet, blocks: Iterable[tuple[int, int]], titles: int, alone: bool = False) -> None:
    """Breaks before the blocks of rows (first, last) that have no room left on their page, or before each of them; the first
    `titles` rows stand on every page."""
    def height(first: int, last: int) -> float:
        return sum(ROW if (high := sheet.row_dimensions[row].height) is None else 0 if sheet.row_dimensions[row].hidden else high
                   for row in range(first, last + 1))

    room = _PAGE * 100 / (sheet.page_setup.scale or 100) - height(1, titles)
    used = 0.0
    for first, last in blocks:
        high = height(first, last)
        if used and (alone or used + high > room):
            sheet.row_breaks.append(Break(id=first - 1))
            used = 0.0
        used = (used + high) % room if used + high > room else used + high
