"""Other spreadsheet programs calculate our workbooks anew: what each of them makes of every formula.

A judge gets workbooks without stored values, so that it has none to show, and gives back the value of every formula.
"""

import io
import os
import re
import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from xml.etree import ElementTree

import pytest
from calc_office import Office

from barfuncs.xlsx.engine import address_on
from barfuncs.xlsx.package import worksheets
from barfuncs.xlsx.sheetxml import CellError, Value

Values = dict[str, Value]
"""Values by cell, written Sheet!B2."""
Judge = Callable[[Mapping[str, bytes]], dict[str, Values]]
"""Workbooks by label to the values of their formulas."""


# --- what a file holds ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Content:
    """The cells of a workbook: formulas, their stored values, and what is no formula."""

    formulas: dict[str, str]
    stored: Values
    plain: Values


_CALCULATED = re.compile(rb'(<c\b[^<>]*?)(?: t="\w+")?((?: s="\d+")?>)(<f\b[^<>]*(?:/>|>[^<]*</f>))(?:<v>[^<]*</v>|<v ?/>)?')


def without_values(data: bytes) -> bytes:
    """One of our workbooks without the value of any formula."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new:
        for name in old.namelist():
            part = old.read(name)
            new.writestr(name, _CALCULATED.sub(rb"\1\2\3", part) if name.startswith("xl/worksheets/sheet") else part)
    return buffer.getvalue()


def content(data: bytes, title: str = "") -> Content:
    """Every cell that is not blank, of one sheet or of all. A formula without a stored value has the value None."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist() if name.endswith((".xml", ".rels"))}
    shared = tuple(_text(item) for item in _elements(parts.get("xl/sharedStrings.xml"), "si"))
    found = Content({}, {}, {})
    for sheet in (s for s in worksheets("workbook", parts) if title in ("", s.name)):
        one = _sheet(sheet.name, parts[sheet.part], shared)
        found.formulas.update(one.formulas)
        found.stored.update(one.stored)
        found.plain.update(one.plain)
    return found


@lru_cache(maxsize=128)
def _sheet(title: str, xml: bytes, shared: tuple[str, ...]) -> Content:
    """The cells of one sheet; most sheets are the same in many workbooks."""
    found = Content({}, {}, {})
    for cell in _elements(xml, "c"):
        name, children = f"{title}!{cell.get('r')}", {child.tag[-1]: child for child in cell}  # f, v or is
        value = _text(children["s"]) if "s" in children else _value(cell.get("t", "n"), children.get("v"), shared)
        if "f" in children:
            found.formulas[name], found.stored[name] = children["f"].text or "", value
        elif value is not None:
            found.plain[name] = value
    return found


def named_cells(data: bytes) -> dict[str, str]:
    """The cell, written Sheet!B2, or the range that each name of the workbook stands for."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = _elements(archive.read("xl/workbook.xml"), "definedName")
    return {n.get("name", ""): (n.text or "").replace("$", "").replace("'", "") for n in names}


def _elements(xml: bytes | None, name: str) -> list[ElementTree.Element]:
    if not xml:
        return []
    root = ElementTree.fromstring(xml)
    return list(root.iter(root.tag.rpartition("}")[0] + "}" + name))


def _text(element: ElementTree.Element) -> str:
    return "".join(e.text or "" for e in element.iter() if e.tag.endswith("}t"))


def _value(kind: str, element: ElementTree.Element | None, shared: Sequence[str]) -> Value:
    text = element.text or "" if element is not None else ""
    if kind == "str":
        return text
    if not text:
        return None
    if kind == "s":
        return shared[int(text)]
    if kind == "b":
        return text == "1"
    return CellError(text) if kind == "e" else float(text)


# --- the judges ----------------------------------------------------------------------------------------------------

_LIBREOFFICE_ERRORS = {32767: "#N/A", 503: "#NUM!", 519: "#VALUE!", 524: "#REF!", 525: "#NAME?", 532: "#DIV/0!"}
_FORMULON_ERRORS = ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A")


def libreoffice(books: Mapping[str, bytes]) -> dict[str, Values]:
    """One LibreOffice opens them all, and its values are read from its cells, not from a file."""
    found: dict[str, Values] = {}
    with tempfile.TemporaryDirectory(prefix="barfuncs-lo-") as folder, Office() as office:
        for label, data in books.items():
            path = Path(folder) / "book.xlsx"
            path.write_bytes(data)
            values = office.do("every_formula", url=path.as_uri())
            for cell, value in content(data).plain.items():
                if isinstance(value, bool):  # read as the formula =TRUE()
                    values.pop(cell)
            found[label] = {cell: CellError(_LIBREOFFICE_ERRORS.get(value["error"], f"Err:{value['error']}"))
                            if isinstance(value, dict) else value for cell, value in values.items()}
    return found


def gnumeric(books: Mapping[str, bytes]) -> dict[str, Values]:
    """Gnumeric's converter reads each workbook, calculates it and writes it with the values."""
    program = shutil.which("ssconvert")
    assert program, "Gnumeric (ssconvert) is not on the PATH; the tests marked gnumeric need it"

    def one(data: bytes) -> Values:
        with tempfile.TemporaryDirectory(prefix="barfuncs-gnumeric-") as folder:
            book, out = Path(folder) / "book.xlsx", Path(folder) / "out.xlsx"
            book.write_bytes(data)
            done = subprocess.run([program, "--recalc", str(book), str(out)], capture_output=True, text=True, timeout=600, check=False,
                                  stdin=subprocess.DEVNULL, env={**os.environ, "LC_ALL": "C.UTF-8", "HOME": folder})
            assert out.is_file(), f"ssconvert wrote nothing: {done.stderr[-1000:]}"
            return content(out.read_bytes()).stored

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return dict(zip(books, pool.map(one, books.values()), strict=True))


def formulon(books: Mapping[str, bytes]) -> dict[str, Values]:
    """A package for Python that means to give what Excel gives, to the last kind of error.

    Opening takes it ten times as long as calculating: a workbook with the formulas of one that is open already gets its
    own numbers and texts put into that one.
    """
    found: dict[str, Values] = {}
    opened: list[_Opened] = []
    for label, data in books.items():
        now = content(data)
        book = next((b for b in opened if b.content.formulas == now.formulas), None)
        if book is None:
            book = _Opened(data, now)
            opened.append(book)
        found[label] = book.values(now)
    for book in opened:
        book.book.close()
    return found


class _Opened:
    """A workbook that is open in formulon."""

    def __init__(self, data: bytes, content: Content) -> None:
        import formulon

        self.book, self.content = formulon.Workbook.load(data), content
        self._sheets = {self.book.sheet_name(n): n for n in range(self.book.sheet_count())}

    def values(self, now: Content) -> Values:
        """Put other numbers and texts in and calculate."""
        for cell in {**self.content.plain, **now.plain}:
            value = now.plain.get(cell)
            if value != self.content.plain.get(cell):
                self._put(cell, value)
        self.content = now
        self.book.recalc()
        return {cell: self._value(cell) for cell in now.formulas}

    def _place(self, cell: str) -> tuple[int, int, int]:
        title, _, ref = cell.rpartition("!")
        sheet, row, column = address_on(self._sheets[title], ref)
        return sheet, row - 1, column - 1

    def _put(self, cell: str, value: Value) -> None:
        if value is None:
            self.book.set_blank(*self._place(cell))
        elif isinstance(value, bool):
            self.book.set_bool(*self._place(cell), value)
        elif isinstance(value, str):
            self.book.set_text(*self._place(cell), value)
        else:
            self.book.set_number(*self._place(cell), value)

    def _value(self, cell: str) -> Value:
        value = self.book.get_value(*self._place(cell))
        return value.to_python() if value.error_code is None else CellError(_FORMULON_ERRORS[value.error_code])


_FORMUALIZER_ERRORS = {"Null": "#NULL!", "Div": "#DIV/0!", "Value": "#VALUE!", "Ref": "#REF!", "Name": "#NAME?", "Num": "#NUM!",
                       "Na": "#N/A"}


def formualizer(books: Mapping[str, bytes]) -> dict[str, Values]:
    """A package for Python with an engine of its own, which takes names as they stand."""
    import formualizer as engine

    found: dict[str, Values] = {}
    for label, data in books.items():
        book = engine.load_workbook_bytes(data)
        book.evaluate_all()
        found[label] = {}
        for cell in content(data).formulas:
            title, _, ref = cell.rpartition("!")
            _, row, column = address_on(0, ref)
            value = book.get_value(title, row, column)
            found[label][cell] = CellError(_FORMUALIZER_ERRORS[value["kind"]]) if isinstance(value, dict) else value
    return found


JUDGES: dict[str, Judge] = {"LibreOffice": libreoffice, "Gnumeric": gnumeric, "formulon": formulon, "formualizer": formualizer}
PROGRAMS = ("LibreOffice", "Gnumeric")
"""Those that must be installed by themselves; the others are packages for Python."""
QUICK = "formulon"
"""The judge of the quick run; the others are marked slow."""
MARKED = [pytest.param(name, marks=[*([getattr(pytest.mark, name.lower())] if name in PROGRAMS else []),
                                    *([] if name == QUICK else [pytest.mark.slow])]) for name in JUDGES]
"""The judges as parameters of a test."""
