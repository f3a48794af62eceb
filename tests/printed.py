"""What of a sheet is printed, and how large: reckoned from the file alone."""

import io

import openpyxl
from openpyxl.utils import get_column_letter
from openpyxl.utils.cell import range_boundaries

INCHES = {1: (8.5, 11.0), 9: (210 / 25.4, 297 / 25.4)}
"""By number of a paper its width and height, upright."""
WIDER = 1.06
"""One program makes a digit of the standard font 7 pixels wide, another 7.41."""


def area_of(book: openpyxl.Workbook, sheet) -> str:
    """What is printed of a sheet, if only when it is asked for."""
    name = next((n for n, item in book.defined_names.items()
                 if n.startswith("print_") and item.attr_text.rpartition("!")[0].strip("'") == sheet.title), None)
    return (book.defined_names[name].attr_text if name else str(sheet.print_area)).rpartition("!")[2].replace("$", "")


def area(book: openpyxl.Workbook, sheet) -> tuple[int, int, int, int]:
    """The same as first column, first row, last column, last row."""
    return range_boundaries(area_of(book, sheet))


def size(book: openpyxl.Workbook, sheet) -> tuple[float, float]:
    """Width and height of what is printed, in inches."""
    left, top, right, bottom = area(book, sheet)
    widths = {}
    for letter, dimension in sheet.column_dimensions.items():
        for column in range(dimension.min or 0, (dimension.max or 0) + 1):
            widths[column] = dimension.width
        widths.setdefault(openpyxl.utils.column_index_from_string(letter), dimension.width)
    pixels = sum(7 * widths.get(column, 9.14) for column in range(left, right + 1))
    points = sum(sheet.row_dimensions[row].height or 15 for row in range(top, bottom + 1))
    return pixels * WIDER / 96, points / 72


def scale(book: openpyxl.Workbook, sheet, paper: int | None = None) -> float:
    """How large a sheet is printed that is fitted to its pages, 1 for as it is."""
    setup, margins = sheet.page_setup, sheet.page_margins
    across, down = INCHES[paper or int(setup.paperSize)]
    if setup.orientation == "landscape":
        across, down = down, across
    width, height = size(book, sheet)
    assert sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.title
    fits = [1.0]
    if setup.fitToWidth:
        fits.append((across - margins.left - margins.right) * setup.fitToWidth / width)
    if setup.fitToHeight:
        fits.append((down - margins.top - margins.bottom) * setup.fitToHeight / height)
    return min(fits)


def load(data: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(data))


def open_cells(sheet) -> list[str]:
    """The cells that take an input, row by row, as Tab goes through them."""
    return [f"{get_column_letter(cell.column)}{cell.row}" for row in sheet.iter_rows() for cell in row if not cell.protection.locked]
