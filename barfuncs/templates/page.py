"""A page hands out the cells of a sheet from the top down, each of them once, and names them, each name once."""

from typing import Any, Self

from openpyxl import Workbook
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.templates import layout


class Page:
    """A sheet with a cursor. Rows are gone to one after the other; on each, columns are taken.

    >>> book = layout.new_workbook("Example")
    >>> page = Page(book, layout.add_sheet(book, "Page", {}))
    >>> page.next_row(), page.put("B", "Width"), page.take("C:D", rows=2)
    (1, 'B1', 'C1:D2')
    >>> page.next_row(), page.take("D")
    Traceback (most recent call last):
    ValueError: Page: D2 is taken
    """

    def __init__(self, book: Workbook, sheet: Worksheet) -> None:
        self.book, self.sheet, self.row = book, sheet, 0
        self._taken: set[tuple[int, int]] = set()

    def beside(self, row: int) -> Self:
        """Another cursor on the same sheet, whose next row is the one after `row`."""
        other = object.__new__(type(self))
        other.__dict__.update(self.__dict__)
        other.row = row
        return other

    def next_row(self, height: float | None = None) -> int:
        """Go on to the next row, which gets this height or keeps its own."""
        self.row += 1
        if height is not None:
            self.sheet.row_dimensions[self.row].height = height
        return self.row

    def skip(self, rows: int = 1) -> None:
        """Leave rows blank."""
        self.row += rows

    def take(self, columns: str, rows: int = 1) -> str:
        """The reference of cells that begin on this row: "C3", or "C3:E3" for the columns "C:E".

        Raises ValueError where one of them is taken already.
        """
        first, _, last = columns.partition(":")
        left, right = (column_index_from_string(letters) for letters in (first, last or first))
        bottom = self.row + rows - 1
        cells = {(row, column) for row in range(self.row, bottom + 1) for column in range(left, right + 1)}
        twice = min(cells & self._taken, default=None)
        if twice:
            raise ValueError(f"{self.sheet.title}: {get_column_letter(twice[1])}{twice[0]} is taken")
        self._taken |= cells
        return f"{first}{self.row}:{last or first}{bottom}" if len(cells) > 1 else f"{first}{self.row}"

    def put(self, columns: str, value: Any, rows: int = 1, **look: Any) -> str:
        """A value with the look that `layout.put` gives it, in one cell or in several that are merged."""
        ref = self.take(columns, rows)
        layout.put(self.sheet, ref.partition(":")[0], value, **look)
        if ":" in ref:
            self.sheet.merge_cells(ref)
        return ref

    def name(self, name: str, ref: str) -> None:
        """Give cells a name of the workbook. Raises ValueError where it is taken."""
        layout.name_cell(self.book, name, self.sheet, ref)

    def name_rows(self, name: str, column: str, first: int, last: int | None = None) -> None:
        """Name the cells of a column from one row to another, or to this one."""
        self.name(name, f"{column}{first}:{column}{last or self.row}")

    def title(self, text: str) -> None:
        """The title of the sheet, on a row of its own."""
        self.next_row(26)
        self.put("B", text, size=18, bold=True, color=layout.ACCENT)

    def remark(self, text: str, column: str = "B") -> None:
        """What the sheet is for, small, on a row of its own."""
        self.next_row()
        self.put(column, text, size=9, color=layout.SOFT)

    def heading(self, columns: str, text: str, height: float | None = None, size: float = 11) -> None:
        """A heading on a row of its own, ruled over these columns."""
        self.next_row(height)
        self.take(columns)
        first, _, last = columns.partition(":")
        layout.heading(self.sheet, first, last or first, self.row, text, size)

    def print_to(self, column: str) -> None:
        """Print from the first cell to this column of the last row."""
        self.sheet.print_area = f"A1:{column}{self.row}"


def add_page(book: Workbook, title: str, widths: dict[str, float], landscape: bool = False) -> Page:
    """A new sheet, as a page."""
    return Page(book, layout.add_sheet(book, title, widths, landscape))
