"""The headless engine: reading, calculating, writing values back, and files that must be refused."""

import io
import json
import os
import re
import stat
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.chart import BarChart, Reference
from openpyxl.comments import Comment
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

import barfuncs as bf
from barfuncs.templates import job_plan
from barfuncs.text.characters import is_noncharacter
from barfuncs.xlsx import engine, package, sandbox
from barfuncs.xlsx.engine import Workbook, column_letters, column_number
from barfuncs.xlsx.package import pack, read_parts, write_whole
from barfuncs.xlsx.sheetxml import CellError, SheetXML


def small(**cells) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "It's a sheet"
    for ref, value in ({"A1": 12, "A2": "=A1*2", "A3": '="<&>"&A1', "A4": "=1/0", "A5": "=A1>3", "A6": '=" x "'} | cells).items():
        sheet[ref] = value
    book.defined_names["size"] = DefinedName("size", attr_text="'It''s a sheet'!$A$1")
    book.defined_names["double"] = DefinedName("double", attr_text="'It''s a sheet'!$A$2")
    chart = BarChart()
    chart.add_data(Reference(sheet, min_col=1, min_row=1, max_row=2))
    sheet.add_chart(chart, "C3")
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def test_values_by_cell_and_by_name():
    book = Workbook(small())
    book.calculate()
    assert (book.value("double"), book.value("A2"), book.value("'It''s a sheet'!A3")) == (24, 24, "<&>12")
    assert book.value("A4") == "#DIV/0!"
    assert isinstance(book.value("A4"), CellError)
    assert book.value("A5") is True
    assert {name: book.value(name) for name in book.names} == {"size": 12, "double": 24}
    book.set("size", 5)
    book.calculate()
    assert book.value("double") == 10


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@A1", "12", "TRUE", "#N/A", "'x", "", " lead"])
def test_a_text_stays_text_through_engine_and_file(text):
    book = Workbook(small())
    book.set("A1", text)
    book.calculate()
    again = openpyxl.load_workbook(io.BytesIO(book.to_bytes({"A1": text})), data_only=False)
    value = again.worksheets[0]["A1"].value
    assert (value or "") == text
    assert again.worksheets[0]["A1"].data_type != "f"


def test_written_values_are_what_a_plain_reader_sees(tmp_path):
    path = tmp_path / "x.xlsx"
    book = Workbook(small())
    book.set("A1", 7)
    book.calculate()
    book.save(path)
    sheet = openpyxl.load_workbook(path, data_only=True).worksheets[0]
    assert [sheet[f"A{n}"].value for n in range(2, 7)] == [14, "<&>7", "#DIV/0!", True, " x "]
    before, after = read_parts(small()), read_parts(path)
    assert {n for n in before if before[n] != after[n]} <= {"xl/worksheets/sheet1.xml", "docProps/core.xml"}
    formulas = openpyxl.load_workbook(path).worksheets[0]
    assert formulas["A2"].value == "=A1*2"


def test_saving_never_overwrites_silently(tmp_path):
    path = tmp_path / "x.xlsx"
    path.write_bytes(b"mine")
    book = Workbook(small())
    book.calculate()
    with pytest.raises(FileExistsError, match=r"x\.xlsx exists already"):
        book.save(path)
    assert path.read_bytes() == b"mine"
    assert [p.name for p in tmp_path.iterdir()] == ["x.xlsx"]
    book.save(path, replace=True)
    assert path.read_bytes()[:2] == b"PK"


def test_a_failed_write_leaves_nothing_behind(tmp_path, monkeypatch):
    def fail(*_):
        raise OSError("disk full")
    monkeypatch.setattr(package.os, "replace", fail)
    with pytest.raises(OSError, match="disk full"):
        write_whole(tmp_path / "x.xlsx", b"data", replace=True)
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_name_gets_the_nearest():
    with pytest.raises(bf.WorkbookError, match=r"no cell or name 'dubble'; did you mean 'double'\?"):
        Workbook(small()).value("dubble")


@pytest.mark.parametrize("formula", ["=NOSUCHFUNCTION(A1)", "=no_such_name+1", "=CUBEVALUE(1,2)"])
def test_what_the_engine_does_not_know_is_named(formula):
    book = Workbook(small(B2=formula))
    book.calculate()
    with pytest.raises(bf.WorkbookError, match=r"does not know a function or name in It's a sheet!B2"):
        book.check_supported()


def with_comment() -> bytes:
    book = openpyxl.Workbook()
    book.active["A1"].comment = Comment("x", "y")
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def zipped(**parts: bytes) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name.replace("__", "/"), data)
    return buffer.getvalue()


@pytest.mark.parametrize(("data", "message"), [
    (b"", "is not an xlsx workbook"),
    (b"PK\x03\x04 nothing", "is not an xlsx workbook"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 old", "old .xls file or protected by a password"),
    (zipped(readme=b"x"), "is not an xlsx workbook"),
    (small()[:-300], "is not an xlsx workbook, or is damaged"),
    (with_comment(), "has cell comments"),
])
def test_files_that_are_refused(data, message):
    with pytest.raises(bf.WorkbookError, match=re.escape(message)):
        Workbook(data)


@pytest.mark.parametrize(("formula", "message"), [
    ("=" + "(" * 65 + "1" + ")" * 65, "has a formula nested more than 64 deep"),
    ("=" + "IF(1," * 65 + "1" + ")" * 65, "has a formula nested more than 64 deep"),
    ("=" + "-" * 65 + "1", "has a formula nested more than 64 deep"),
    ("=1" + "+1" * 5000, "has a formula longer than 8,192 characters"),
])
def test_formulas_beyond_the_limits_are_refused(formula, message):
    with pytest.raises(bf.WorkbookError, match=message):
        Workbook(small(B2=formula))


def test_formulas_within_the_limits_are_calculated():
    book = Workbook(small(B2="=" + "(" * 64 + "1" + ")" * 64, B3='="' + "(" * 100 + "-" * 100 + '"', B4="=1" + "+1" * 4000))
    book.calculate()
    assert (book.value("B2"), book.value("B3"), book.value("B4")) == (1, "(" * 100 + "-" * 100, 4001)


def test_too_many_cells_or_formulas_are_refused(monkeypatch):
    monkeypatch.setattr(engine, "MOST_CELLS", 5)
    with pytest.raises(bf.WorkbookError, match=r"has 6 cells and \d+ formulas; the engine takes up to 5 and 200,000"):
        Workbook(small())


def test_errors_in_cells_are_found_circular_ones_too():
    book = Workbook(small(B1="=B2", B2="=B1+1", B3="=NA()"))
    book.calculate()
    assert [(book.shown(address), error) for address, error in book.errors()] == [
        ("It's a sheet!B1", "#CIRC!"), ("It's a sheet!B2", "#CIRC!"), ("It's a sheet!B3", "#N/A"), ("It's a sheet!A4", "#DIV/0!")]


def test_calculating_apart(tmp_path):
    path, data = tmp_path / "x.xlsx", small()
    path.write_bytes(data)
    done = sandbox.calculate(path)
    assert (done.formulas, done.results, done.errors) == (5, {"double": 24}, [("It's a sheet!A4", "#DIV/0!")])
    assert openpyxl.load_workbook(io.BytesIO(done.data), data_only=True).worksheets[0]["A2"].value == 24
    assert path.read_bytes() == data


@pytest.mark.parametrize(("formula", "message"), [
    ("=" + "1^" * 4000 + "1", r"x\.xlsx can't be calculated: the engine gave up"),
    ("=NOSUCHFUNCTION(1)", r"x\.xlsx: the engine does not know a function or name in It's a sheet!B2"),
])
def test_a_workbook_that_ends_the_engine_ends_the_other_process_only(tmp_path, formula, message):
    (tmp_path / "x.xlsx").write_bytes(small(B2=formula))
    with pytest.raises(bf.WorkbookError, match=message):
        sandbox.calculate(tmp_path / "x.xlsx")


def test_a_calculation_without_an_end_is_given_up(tmp_path):
    (tmp_path / "x.xlsx").write_bytes(small(B2="=SUMPRODUCT(A:XFD*A:XFD)"))
    with pytest.raises(bf.WorkbookError, match=r"x\.xlsx takes longer than 0\.5 s to calculate"):
        sandbox.calculate(tmp_path / "x.xlsx", seconds=0.5)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="only there the memory of a process can be limited for sure")
def test_a_calculation_that_fills_the_memory_is_ended(tmp_path):
    (tmp_path / "x.xlsx").write_bytes(small(B2="=SUMPRODUCT(A:XFD*A:XFD)"))
    with pytest.raises(bf.WorkbookError, match=r"x\.xlsx can't be calculated: the engine ran out of memory"):
        sandbox.calculate(tmp_path / "x.xlsx", memory=600_000_000)


WORK_OF_A_TEST = """
import ctypes, os, sys, time

def note(path):
    with open(path + ".new", "w") as file:
        file.write(str(os.getpid()))
    os.replace(path + ".new", path)

def work_on(out, path):  # no other thread gets a turn
    note(path)
    10 ** 10 ** 9

def wait(out, path):
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(1, 0)  # as on a system that does not end it
    note(path)
    time.sleep(600)

def turn(out, path):
    note(path)
    while True:
        pass

def fill(out, path):
    bytearray(10 ** 12)

def leave(out, path):
    import tempfile
    tempfile.mkstemp()
    turn(out, path)
"""


def work_of_a_test(folder, name: str, seconds: float = 60) -> sandbox.Work:
    (folder / "work_of_a_test.py").write_text(WORK_OF_A_TEST)
    return sandbox.Work(f"work_of_a_test:{name}", "read", "read", "the reading", seconds, 400_000_000)


def is_running(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"


def within(seconds: float, is_so) -> bool:
    end = time.monotonic() + seconds
    while not is_so() and time.monotonic() < end:
        time.sleep(0.05)
    return is_so()


@pytest.mark.skipif(sys.platform == "win32", reason="signals are others there")
@pytest.mark.parametrize("name", ["wait", pytest.param("work_on", marks=pytest.mark.skipif(
    sys.platform != "linux", reason="elsewhere it ends when its processor time is used up"))])
def test_the_other_process_dies_with_the_one_that_started_it(tmp_path, name):
    work, noted = work_of_a_test(tmp_path, name), tmp_path / "pid"
    code = f"from barfuncs.xlsx import sandbox\nwith sandbox.answer(sandbox.{work!r}, 'x', {str(noted)!r}): pass"
    path = os.pathsep.join([str(tmp_path), str(Path(bf.__file__).parent.parent)])
    with subprocess.Popen([sys.executable, "-c", code], env=os.environ | {"PYTHONPATH": path}) as parent:
        assert within(60, noted.exists)
        pid = int(noted.read_text())
        assert is_running(pid)
        parent.kill()
    assert within(30, lambda: not is_running(pid))


@pytest.mark.slow
@pytest.mark.parametrize(("name", "message"), [
    ("turn", r"^x\.xlsx takes longer than 1 s to read; it was given up$"),
    pytest.param("fill", r"^x\.xlsx can't be read: the reading ran out of memory \(status 1\)$", marks=pytest.mark.skipif(
        sys.platform != "linux", reason="only there the memory of a process can be limited for sure")),
    ("nothing", r"^x\.xlsx can't be read: the reading gave up \(status 1\)$"),
])
def test_work_that_does_not_get_done_is_said(tmp_path, monkeypatch, name, message):
    monkeypatch.syspath_prepend(str(tmp_path))
    work = work_of_a_test(tmp_path, name, seconds=1)
    with pytest.raises(bf.WorkbookError, match=message), sandbox.answer(work, "x.xlsx", str(tmp_path / "pid")):
        pass


def test_a_process_that_nobody_waits_for_ends_by_itself(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(tmp_path))
    work = work_of_a_test(tmp_path, "wait")
    command = [sys.executable, "-P", "-c", sandbox._START, json.dumps(sys.path), str(os.getpid()), "0.1", "400000000",
               work.function, str(tmp_path / "pid")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        assert process.wait(60) != 0


def test_work_that_is_given_up_leaves_nothing_behind(tmp_path, monkeypatch):
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.setenv(name, str(temporary))
    monkeypatch.syspath_prepend(str(tmp_path))
    work = work_of_a_test(tmp_path, "leave", seconds=1)
    with pytest.raises(bf.WorkbookError, match="takes longer"), sandbox.answer(work, "x", str(tmp_path / "pid")):
        pass
    assert (tmp_path / "pid").exists()
    assert list(temporary.iterdir()) == []


def test_nothing_is_imported_from_the_folder_that_somebody_stands_in(tmp_path, monkeypatch):
    for name in ("json", "zipfile", "ironcalc"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('imported')")
    (tmp_path / "x.xlsx").write_bytes(small())
    monkeypatch.chdir(tmp_path)
    assert sandbox.calculate("x.xlsx").formulas == 5


@pytest.mark.skipif(sys.platform == "win32", reason="files have no such mode there")
def test_a_replaced_file_keeps_its_mode_and_its_links(tmp_path):
    target, link = tmp_path / "target.xlsx", tmp_path / "link.xlsx"
    target.write_bytes(b"old")
    target.chmod(0o600)
    link.symlink_to(target)
    write_whole(link, b"new", replace=True)
    assert link.is_symlink()
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert target.read_bytes() == b"new"


def test_a_file_that_this_user_may_not_write_is_not_replaced(tmp_path, monkeypatch):
    (tmp_path / "x.xlsx").write_bytes(b"old")
    monkeypatch.setattr(package.os, "access", lambda path, mode: mode != package.os.W_OK)  # root may write to all
    with pytest.raises(PermissionError, match="the file is read-only"):
        write_whole(tmp_path / "x.xlsx", b"new", replace=True)
    assert (tmp_path / "x.xlsx").read_bytes() == b"old"


def test_a_missing_file(tmp_path):
    with pytest.raises(bf.WorkbookError, match="is not a file"):
        Workbook(tmp_path)
    with pytest.raises(bf.WorkbookError, match="there is no such file"):
        Workbook(tmp_path / "none.xlsx")


def test_a_zip_bomb_is_refused(monkeypatch):
    monkeypatch.setattr(package, "MOST_BYTES", 1_000_000)
    bomb = zipped(xl__workbook=b"0" * 2_000_000)
    with pytest.raises(bf.WorkbookError, match="unpacks to more than 1 MB"):
        read_parts(bomb)
    monkeypatch.setattr(package, "MOST_PARTS", 3)
    with pytest.raises(bf.WorkbookError, match="has more than 3 parts"):
        read_parts(small())


def test_a_document_type_declaration_is_refused():
    evil = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "b">]><worksheet><sheetData/></worksheet>'
    with pytest.raises(bf.WorkbookError, match="document type declaration"):
        SheetXML(evil)
    with pytest.raises(bf.WorkbookError, match="a sheet is damaged"):
        SheetXML(b"<worksheet><c r='A1'></worksheet>")


@pytest.mark.parametrize("prefix", ["", "x:"])
def test_cells_are_found_whatever_their_spelling(prefix):
    p = prefix
    xml = (f'<?xml version="1.0"?>\n<{p}worksheet xmlns{":x" if p else ""}="urn:s"><{p}sheetData><{p}row r="1">'
           f'<{p}c  r="A1" s="3"/><{p}c r="B1"><{p}f>1&gt;0</{p}f></{p}c><{p}c t="s" r="C1"><{p}v>0</{p}v></{p}c>'
           f'<{p}c r="D1"><{p}f t="shared" si="0"/><{p}v>4</{p}v></{p}c></{p}row></{p}sheetData></{p}worksheet>').encode()
    sheet = SheetXML(xml)
    assert list(sheet.cells) == ["A1", "B1", "C1", "D1"]
    out = sheet.with_values({"A1": 1.5, "B1": True, "D1": "a<b"}).decode()
    assert f'<{p}c r="A1" s="3"><{p}v>1.5</{p}v></{p}c>' in out
    assert f'<{p}c r="B1" t="b"><{p}f>1&gt;0</{p}f><{p}v>1</{p}v></{p}c>' in out
    assert f'<{p}c t="s" r="C1"><{p}v>0</{p}v></{p}c>' in out
    assert f'<{p}c r="D1" t="str"><{p}f t="shared" si="0"/><{p}v>a&lt;b</{p}v></{p}c>' in out


@settings(deadline=None, max_examples=60)
@given(st.one_of(st.floats(allow_nan=False, allow_infinity=False), st.integers(-10**15, 10**15), st.booleans(), st.text(max_size=40)))
def test_any_value_comes_back_from_the_file(value):
    sheet = SheetXML(b'<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
                     b'<sheetData><row r="1"><c r="A1"/></row></sheetData></worksheet>')
    parts = read_parts(small())
    parts["xl/worksheets/sheet1.xml"] = sheet.with_values({"A1": value})
    got = openpyxl.load_workbook(io.BytesIO(pack(parts))).worksheets[0]["A1"].value
    if isinstance(value, str):
        legal = "".join(c for c in value if (c >= " " or c in "\t\n") and not is_noncharacter(ord(c)))
        assert (got or "") == legal
    else:
        assert got == value


def test_sheets_that_only_hold_a_chart_and_array_formulas():
    book = openpyxl.Workbook()
    book.active["A1"] = 2
    chart = BarChart()
    chart.add_data(Reference(book.active, min_col=1, min_row=1))
    book.create_chartsheet("Picture", 0).add_chart(chart)
    last = book.create_sheet("Last")
    last["B1"] = "=Sheet!A1*5"
    last["C1"] = ArrayFormula("C1:C2", "=Sheet!A1*{1;2}")
    last["C2"] = 99
    buffer = io.BytesIO()
    book.save(buffer)
    ours = Workbook(buffer.getvalue())
    ours.calculate()
    got = openpyxl.load_workbook(io.BytesIO(ours.to_bytes()), data_only=True)["Last"]
    assert (got["B1"].value, got["C1"].value, got["C2"].value) == (10, 2, 4)


def test_column_letters_and_numbers():
    for number in (1, 26, 27, 52, 702, 703, 16384):
        assert column_number(column_letters(number)) == number
    assert (column_letters(16384), column_letters(27)) == ("XFD", "AA")


def test_cells_in_the_place_of_names_change_no_value():
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "size b"
    other = book.create_sheet("size")
    sheet["A1"], sheet["A2"], other["A1"] = 3, 4, 5
    for row, formula in enumerate((
        "=Size+b", '=IF(size=3,"size ""b"" is b","b")&size', "='size b'!A2+size!A1", "=SUM(b,size)+ROUND(b,0)+1E+1",
        "=SUM(both)", "=LEN(\"it's size\")+size", "=mine+size", "=twice",
    ), start=1):
        sheet[f"B{row}"] = formula
    names = {"size": "'size b'!$A$1", "b": "'size b'!$A$2", "both": "'size b'!$A$1:$A$2", "twice": "2*size", "mine": "size!$A$1",
             "ROUND": "size!$A$1", "E": "size!$A$1"}
    for name, target in names.items():
        book.defined_names[name] = DefinedName(name, attr_text=target)
    buffer = io.BytesIO()
    book.save(buffer)
    fast, plain = Workbook(buffer.getvalue(), direct=True), Workbook(buffer.getvalue())
    for found in (fast, plain):
        found.calculate()
    values = [fast.value(f"B{row}") for row in range(1, 8)]
    assert values == [7, 'size "b" is b3', 9, 21, 7, 12, 8]
    assert [fast.value(f"B{row}") for row in range(1, 9)] == [plain.value(f"B{row}") for row in range(1, 9)]
    formulas = {fast.shown(address): formula for address, formula in fast.formulas()}
    assert "$A$1" in formulas["size b!B1"]
    assert fast.to_bytes() == plain.to_bytes()  # the file keeps its names


def test_a_prefix_that_stands_for_nothing_is_said_to_be_bad_xml():
    parts = read_parts(job_plan.TEMPLATE.build())
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b' xmlns:r="', b' xmlns:q="').replace(b"r:id=", b"rr:id=")
    with pytest.raises(bf.WorkbookError, match="is no good XML"):
        read_parts(pack(parts))
