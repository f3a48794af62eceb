"""The rows of a list, from a CSV or an xlsx file, as a spreadsheet program shows and counts them."""

import io
import re
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from barfuncs.csv_text import read_csv
from barfuncs.errors import WorkbookError
from barfuncs.workbooks.package import LARGEST_FILE, OLD_FILE, pack, read_parts, worksheets
from barfuncs.workbooks.sheetxml import CellError, SheetXML

_NAMES = re.compile(rb"<(?:\w+:)?definedNames\b.*</(?:\w+:)?definedNames>", re.DOTALL)
_LAST_ROW = 1_048_576


def read_rows(path: Path) -> Iterator[tuple[int, list[Any]]]:
    """(row number, cells) of the first visible sheet. What the file is, its first bytes say, or else its name.

    Raises WorkbookError for a file that can't be read, naming it.
    """
    if not path.is_file():
        raise WorkbookError(f"{path.name}: there is no such file")
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise WorkbookError(f"{path.name} is larger than {LARGEST_FILE // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise WorkbookError(f"{path.name} can't be read ({error.strerror})") from None
    if path.suffix.lower() in (".xlsx", ".xlsm") or data.startswith((b"PK\x03\x04", OLD_FILE)):
        yield from _xlsx_rows(path)
        return
    try:
        yield from enumerate(read_csv(data), start=1)
    except ValueError as error:
        raise WorkbookError(f"{path.name} {error}") from None


def _xlsx_rows(path: Path) -> Iterator[tuple[int, list[Any]]]:
    parts = read_parts(path)
    sheets = worksheets(path.name, parts)
    sheet = next((s for s in sheets if s.visible), None)
    if sheet is None:
        raise WorkbookError(f"{path.name} has no visible worksheet")
    unknown = sorted(SheetXML(parts[sheet.part]).without_value, key=lambda ref: (len(ref), ref))
    if unknown:
        parts = read_parts(_calculated(path, sheet.name, unknown))
    # Only what the one sheet needs: openpyxl stumbles over some charts, and over names for sheets it can't read.
    others = {s.part for s in sheets} - {sheet.part} | {p for p in parts if p.startswith("xl/chartsheets/")}
    parts = {name: data for name, data in parts.items() if name not in others}
    parts["xl/workbook.xml"] = _NAMES.sub(b"", parts["xl/workbook.xml"])
    try:
        rows = list(_cells(pack(parts, level=1), sheet.name))
    except Exception as error:  # openpyxl lets through whatever it stumbles over
        raise WorkbookError(f"{path.name} can't be read as a workbook ({error}); save it anew from a spreadsheet program") from None
    yield from rows


def _cells(data: bytes, name: str) -> Iterator[tuple[int, list[Any]]]:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what openpyxl leaves out: charts, validations
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
        sheet = book[name]
        sheet.reset_dimensions()  # what the file says of its size may be wrong, and would cut the list
        for number, cells in enumerate(sheet.iter_rows(max_row=_LAST_ROW), start=1):
            if cells:
                yield number, [CellError(c.value) if c.data_type == "e" and c.value else c.value for c in cells]


def _calculated(path: Path, sheet: str, unknown: list[str]) -> bytes:
    """The file with values for the formulas that have none stored, as files written by a program often have."""
    from barfuncs.workbooks import apart

    try:
        return apart.calculate(path).data
    except WorkbookError as error:
        cells = ", ".join(unknown[:5]) + (f" and {len(unknown) - 5} more" if len(unknown) > 5 else "")
        raise WorkbookError(f"{path.name}: no value is stored for the formulas in {sheet}!{cells}, and they can't be "
                            f"calculated here ({error}); open the file in a spreadsheet program and save it") from None
