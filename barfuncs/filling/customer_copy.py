"""The page for the customer as a file of its own: values and look, and nothing else of the workbook that it comes from."""

import io
import zipfile
from collections.abc import Mapping

from openpyxl import Workbook
from openpyxl.formatting.formatting import ConditionalFormattingList
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.cell_range import CellRange
from openpyxl.worksheet.datavalidation import DataValidationList

from barfuncs.errors import InputError
from barfuncs.templates import layout
from barfuncs.xlsx.package import pack, part_info
from barfuncs.xlsx.sheetxml import CellError, SheetXML, Value

_SHEET = "xl/worksheets/sheet1.xml"


class CustomerPage:
    """An empty page for the customer, made from a workbook that has only that sheet; `copy` puts the values in."""

    def __init__(self, book: Workbook) -> None:
        sheet = book.worksheets[0]
        self.title: str = sheet.title
        printed = CellRange(sheet.print_area.rpartition("!")[2].replace("$", ""))
        assert (printed.min_col, printed.min_row) == (1, 1), "what is printed begins at A1"
        for column in range(printed.max_col + 1, sheet.max_column + 1):
            sheet.column_dimensions.pop(get_column_letter(column), None)
        sheet.delete_cols(printed.max_col + 1, sheet.max_column)
        sheet.delete_rows(printed.max_row + 1, sheet.max_row)
        book.defined_names.clear()
        sheet.data_validations = DataValidationList()
        sheet.conditional_formatting = ConditionalFormattingList()
        sheet.protection.sheet = False
        cells = [cell for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
        self.cells = frozenset(cell.coordinate for cell in cells)
        """The cells that are worked out, whose values make the copy."""
        for cell in cells:
            cell.value = None
        parts = layout.parts_of(book)
        self._sheet = {paper: SheetXML(xml) for paper, xml in layout.on_papers(parts.pop(_SHEET)).items()}
        self._rest = pack(parts)

    def copy(self, values: Mapping[str, Value], paper: str = "letter") -> bytes:
        """The file with these values on the page, for that paper. Raises InputError where one of them is an error."""
        errors = sorted(ref for ref, value in values.items() if isinstance(value, CellError))
        if errors:
            raise InputError("customer_copy", [("page", f"{', '.join(errors)} can't be worked out")])
        xml = self._sheet[paper].with_values({ref: None if values[ref] == "" else values[ref] for ref in self.cells})
        buffer = io.BytesIO()
        buffer.write(self._rest)
        with zipfile.ZipFile(buffer, "a") as archive:
            archive.writestr(part_info(_SHEET), xml, compresslevel=6)
        return buffer.getvalue()
