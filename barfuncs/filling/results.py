"""The table of results of a folder, as CSV and as a workbook."""

import re
from collections.abc import Sequence
from typing import Any

from barfuncs.filling.record import Entry
from barfuncs.xlsx.sheetxml import Value, legal_text

_WIDE = ("file", "customer", "material", "note")
_FORMATS = "#,##0.00##"


def result_files(entries: Sequence[Entry]) -> dict[str, bytes]:
    """The files of results, by name."""
    heads = list(dict.fromkeys(name for entry in entries for name in entry.values))
    heads.sort(key=lambda name: name == "status")  # a head that only some rows have goes before it
    customer = ["for_customer"] if any(entry.copy for entry in entries) else []
    rows = [(entry.row, entry.file, *(entry.values.get(head) for head in heads), *([entry.copy or None] if customer else []),
             entry.list, entry.run, entry.note or None) for entry in entries]
    lines = [[legal_text(value) if isinstance(value, str) else value for value in row] for row in rows]
    heads = ["row", "file", *heads, *customer, "list", "run", "note"]
    return {"results.csv": _csv(heads, lines), "results.xlsx": _xlsx(heads, lines)}


def _csv(heads: Sequence[str], lines: Sequence[Sequence[Value]]) -> bytes:
    return "".join(",".join(map(csv_cell, line)) + "\r\n" for line in (heads, *lines)).encode("utf-8-sig", "replace")


# Signs that begin a formula, the wide ones of some keyboards too.
_FORMULA = re.compile("(^|[;\t\r\n])(?=[\\s\"]*[=+@\uff1d\uff0b\uff0d\uff20-])|^(?=[\t\r])")
_SPLIT = re.compile("[\",;\t\r\n]")


def csv_cell(value: Value) -> str:
    """One cell of a CSV. A text that a spreadsheet would take for a formula gets an apostrophe in front; so does what stands
    behind a semicolon or a tab, where a program set to another separator begins a new cell, quotation marks or not.

    >>> csv_cell("=1+1"), csv_cell("bar;=1+1"), csv_cell(2.50), csv_cell(None)
    ("'=1+1", '"bar;\\'=1+1"', '2.5', '')
    """
    if isinstance(value, str):
        text = _FORMULA.sub(lambda found: (found[1] or "") + "'", value)
        return '"' + text.replace('"', '""') + '"' if _SPLIT.search(text) else text
    if isinstance(value, float):
        return str(int(value) if value.is_integer() and abs(value) < 1e15 else round(value, 10))
    return "" if value is None else str(value)


def _xlsx(heads: Sequence[str], lines: Sequence[Sequence[Value]]) -> bytes:
    from openpyxl.worksheet.table import Table, TableStyleInfo

    from barfuncs.templates import layout
    from barfuncs.xlsx.package import pack

    book = layout.new_workbook("Results")
    sheet: Any = book.create_sheet("Results")
    sheet.append(heads)
    for row, line in enumerate(lines, start=2):
        for column, value in enumerate(line, start=1):
            cell = sheet.cell(row, column, value)
            if isinstance(value, str):
                cell.data_type = "s"
            elif isinstance(value, float) and not value.is_integer():
                cell.number_format = _FORMATS
    for column, head in enumerate(heads, start=1):
        sheet.cell(1, column).font = layout.font(bold=True, color=layout.ACCENT)
        width = 28 if head in _WIDE else max(11, min(34, len(head) + 2))
        sheet.column_dimensions[sheet.cell(1, column).column_letter].width = width
    table = Table(displayName="results", ref=f"A1:{sheet.cell(1, len(heads)).column_letter}{len(lines) + 1}")
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    sheet.add_table(table)
    sheet.freeze_panes = "C2"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    return pack(layout.parts_of(book))
