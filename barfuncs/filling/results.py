"""The table of results of a folder, as CSV and as a workbook."""

import io
import itertools
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from barfuncs.filling.record import REQUOTE_FILES, Entry
from barfuncs.xlsx.engine import column_letters
from barfuncs.xlsx.package import pack, part_info
from barfuncs.xlsx.sheetxml import Cell, Value, cell_xml, legal_text

_WIDE = ("file", "customer", "material", "note", "typed")
_FORMATS = "[>=0.1]#,##0.00##;[>0]0.00######;#,##0.00##"
"""Small ones with more digits: the weight of a part may be some milligrams."""


def result_files(entries: Sequence[Entry]) -> Iterator[tuple[str, bytes]]:
    """The files of results with their names, one after the other."""
    heads = list(dict.fromkeys(itertools.chain.from_iterable(dict.fromkeys(entry.values.heads for entry in entries))))
    heads.sort(key=lambda name: name == "status")  # a head that only some rows have goes before it
    customer = ["for_customer"] if any(entry.copy or entry.sent for entry in entries) else []

    def lines() -> Iterator[list[Value]]:
        for entry in entries:
            values = entry.values.plain()
            row = (entry.row, entry.file, *(values.get(head) for head in heads), *([entry.copy or entry.sent or None] if customer else []),
                   entry.list, entry.run, entry.note or None)
            yield [legal_text(value) if isinstance(value, str) else value for value in row]

    all_heads = ["row", "file", *heads, *customer, "list", "run", "note"]
    yield "results.csv", _csv(all_heads, lines())
    yield "results.xlsx", _xlsx(all_heads, lines(), len(entries))
    if any(entry.told() for entry in entries):
        yield from _requote_files(entries)


def _requote_files(entries: Iterable[Entry]) -> Iterator[tuple[str, bytes]]:
    """The table of old and new prices, a row for each quantity of each quote that was made anew."""
    rows = []
    for entry in entries:
        if told := entry.told():
            for line in told["lines"]:
                values = {**told, **dict(zip(REQUOTE_LINE, line, strict=True)), "file": entry.file, "old_file": told["quote"],
                          "old_shop_file": told["shop_file"], "new_shop_file": entry.values.get("shop_file"), "run": entry.run}
                row = [values.get(head) for head in _REQUOTE_HEADS]
                rows.append([legal_text(value) if isinstance(value, str) else value for value in row])
    yield REQUOTE_FILES[0], _csv(_REQUOTE_HEADS, rows)
    yield REQUOTE_FILES[1], _xlsx(_REQUOTE_HEADS, rows, len(rows), "Requote")


REQUOTE_LINE = ("quantity", "old_price", "new_price", "difference", "difference_percent", "material", "rate", "other", "rounding", "old_total",
                "new_total")
"""What the table of old and new prices says of each quantity."""
_REQUOTE_HEADS = ("file", "job", "quote_number", "customer", "part_number", *REQUOTE_LINE[:1], "currency", *REQUOTE_LINE[1:], "typed", "note",
                  "old_file", "old_shop_file", "new_shop_file", "run")


def _csv(heads: Sequence[str], lines: Iterable[Sequence[Value]]) -> bytes:
    text = io.StringIO(newline="")
    for line in itertools.chain([heads], lines):
        text.write(",".join(map(csv_cell, line)) + "\r\n")
    return text.getvalue().encode("utf-8-sig", "replace")


# Signs that begin a formula, the wide ones of some keyboards too.
_FORMULA = re.compile("(^|[;\t\r\n])(?=[\\s\"]*[=+@\uff1d\uff0b\uff0d\uff20-])|^(?=[\t\r])")
_SPLIT = re.compile("[\",;\t\r\n]")


def csv_cell(value: Value) -> str:
    """One cell of a CSV; a text is made harmless by `csv_text`.

    >>> csv_cell("=1+1"), csv_cell("bar;=1+1"), csv_cell(2.50), csv_cell(None)
    ("'=1+1", '"bar;\\'=1+1"', '2.5', '')
    """
    if isinstance(value, str):
        text = csv_text(value)
        return '"' + text.replace('"', '""') + '"' if _SPLIT.search(text) else text
    if isinstance(value, float):
        return str(int(value) if value.is_integer() and abs(value) < 1e15 else round(value, 10))
    return "" if value is None else str(value)


def csv_text(text: str) -> str:
    """A text that a spreadsheet would take for a formula gets an apostrophe in front; so does what stands behind a semicolon or a
    tab, where a program set to another separator begins a new cell, quotation marks or not. Done twice, it is as done once.

    >>> csv_text("=1+1"), csv_text(csv_text("-5;=1"))
    ("'=1+1", "'-5;'=1")
    """
    return _FORMULA.sub(lambda found: (found[1] or "") + "'", text)


_SHEET = "xl/worksheets/sheet1.xml"
_TABLE = "xl/tables/table1.xml"
_SAMPLE = re.compile(rb'<row r="2".*?<c r="A2"(?: s="([0-9]+)")?.*?</row>', re.DOTALL)


def _xlsx(heads: Sequence[str], lines: Iterable[Sequence[Value]], count: int, title: str = "Results") -> bytes:
    """The table as a workbook. openpyxl makes all of it but the rows, of which it would keep every cell in memory."""
    parts = _empty_table(heads, count, title)
    sheet = parts.pop(_SHEET)
    sample = _SAMPLE.search(sheet)
    assert sample is not None, "the sample row is there"
    number_style = (sample[1] or b"0").decode()
    letters = [column_letters(n) for n in range(1, len(heads) + 1)]
    buffer = io.BytesIO()
    buffer.write(pack(parts))
    with zipfile.ZipFile(buffer, "a") as archive, archive.open(part_info(_SHEET), "w") as out:
        out.write(sheet[:sample.start()])
        for row, line in enumerate(lines, start=2):
            cells = [b'<row r="%d">' % row]
            for letter, value in zip(letters, line, strict=True):
                if value is not None:
                    style = number_style if isinstance(value, float) and not value.is_integer() else None
                    cells.append(cell_xml(Cell(f"{letter}{row}", style, 0, 0, None, "c"), value))
            out.write(b"".join(cells) + b"</row>")
        out.write(sheet[sample.end():])
    return buffer.getvalue()


def _empty_table(heads: Sequence[str], count: int, title: str) -> dict[str, bytes]:
    """The parts of the workbook, with a sample of a number in place of its rows."""
    from openpyxl.worksheet.table import Table, TableStyleInfo

    from barfuncs.templates import layout

    book = layout.new_workbook(title)
    sheet: Any = book.create_sheet(title)
    sheet.append(heads)
    sheet["A2"] = 0.5
    sheet["A2"].number_format = _FORMATS
    for column, head in enumerate(heads, start=1):
        sheet.cell(1, column).font = layout.font(bold=True, color=layout.ACCENT)
        width = 28 if head in _WIDE else max(11, min(34, len(head) + 2))
        sheet.column_dimensions[column_letters(column)].width = width
    last = column_letters(len(heads))
    table = Table(displayName=title.casefold(), ref=f"A1:{last}2")
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    sheet.add_table(table)
    sheet.freeze_panes = "C2"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    parts = layout.parts_of(book)
    # Only now: openpyxl makes a cell object of every cell of a table.
    for part in (_SHEET, _TABLE):
        parts[part] = re.sub(rb'(?<= ref=")A1:[A-Z]+2(?=")', f"A1:{last}{count + 1}".encode(), parts[part])
    return parts
