"""Lists of jobs: reading, bad rows, file names, results."""

import contextlib
import csv
import datetime
import importlib
import io
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.filling.filler import fill
from barfuncs.filling.lists import plan_jobs, read_jobs, safe_name
from barfuncs.xlsx import sandbox
from barfuncs.xlsx.package import pack, read_parts

ROOT = Path(__file__).parent.parent
GOOD = {"job": "J1", "part_number": "P", "units": "in", "material": "303", "shape": "round", "size": "1", "part_length": "2",
        "cutoff_width": ".125", "face_to_cutoff": ".2", "grip_length": "2", "bar_length": "12 ft", "quantity": "100"}


def _good_parts() -> dict[str, bytes]:
    buffer = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(list(GOOD))
    book.active.append([float(v) if v.isdigit() else v for v in GOOD.values()])
    book.save(buffer)
    return read_parts(buffer.getvalue())


_GOOD_PARTS = _good_parts()


def write_csv(path: Path, *rows: dict, delimiter: str = ",", encoding: str = "utf-8") -> Path:
    heads = list(dict.fromkeys(key for row in rows for key in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, heads, delimiter=delimiter, restval="")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode(encoding))
    return path


def shown(folder: Path) -> list[str]:
    """What a person sees in a folder."""
    return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))


@pytest.mark.parametrize(("delimiter", "encoding"), [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-8")])
def test_csv_in_its_spellings(tmp_path, delimiter, encoding):
    path = write_csv(tmp_path / "jobs.csv", GOOD, delimiter=delimiter, encoding=encoding)
    assert [job.values for job in read_jobs(path)] == [GOOD]


def test_xlsx_with_labels_and_numbers(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Job", "Units *", "Material *", "Size", "Part length", "Cut-off width", "Face to cut-off tool", "Grip length",
                        "Bar length", "Order quantity", None])
    book.active.append([17, "in", "Steel 1215", 1, 2.0, 0.125, 0.2, 2, "12 ft", 100])
    book.active.append([None] * 10)
    book.save(tmp_path / "jobs.xlsx")
    jobs = read_jobs(tmp_path / "jobs.xlsx")
    assert len(jobs) == 1
    outcome = plan_jobs(jobs, tmp_path / "out")
    assert [(row, name) for row, name, _ in outcome.done] == [(2, "17.xlsx")]
    assert outcome.done[0].values["parts_per_bar"] == bf.parts_per_bar(144, 2, 0.125, 2.2)


@pytest.mark.parametrize(("text", "error", "message"), [
    ("job,part_lenght\n1,2\n", bf.InputError, "part_lenght: is not an input of this template; did you mean 'part_length'?"),
    ("job,Job\n1,2\n", bf.InputError, "Job: stands twice in the row of headings"),
    ("", bf.WorkbookError, "is empty: the first row must name the inputs"),
    ("\0\0", bf.WorkbookError, "is not a CSV text"),
    ("job,quantity\n\n , \n", bf.WorkbookError, "jobs.csv has no jobs, only the row with the names"),
    ('job,size\nA,"3/4 in\nB,1\n', bf.WorkbookError, "jobs.csv can't be read from row 2 on"),
])
def test_lists_that_are_refused(tmp_path, text, error, message):
    path = tmp_path / "jobs.csv"
    path.write_text(text)
    with pytest.raises(error, match=re.escape(message)):
        read_jobs(path)


def test_a_list_that_is_no_text_or_not_there(tmp_path):
    (tmp_path / "jobs.csv").write_bytes(b"job,customer\n1,M\xfcller\n")
    with pytest.raises(bf.WorkbookError, match=r"jobs\.csv is not a CSV text in UTF-8 \(line 2 .*\); save it as CSV UTF-8"):
        read_jobs(tmp_path / "jobs.csv")
    with pytest.raises(bf.WorkbookError, match="there is no such file"):
        read_jobs(tmp_path / "none.csv")
    (tmp_path / "x.xlsx").write_bytes(b"nonsense")
    with pytest.raises(bf.WorkbookError, match="is not an xlsx workbook"):
        read_jobs(tmp_path / "x.xlsx")


def test_bad_rows_are_listed_and_good_rows_done(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD, GOOD | {"job": "J2", "size": "12,5", "shape": "rhombus"},
                     GOOD | {"job": "J3", "part_length": "200"}, GOOD | {"job": "J4"})
    outcome = plan_jobs(read_jobs(path), tmp_path / "out", source=path.name)
    assert [row for row, _, _ in outcome.done] == [2, 5]
    assert [(p.file, p.row, p.column, p.value) for p in outcome.problems] == [
        ("jobs.csv", 3, "shape", "rhombus"), ("jobs.csv", 3, "size", "12,5"), ("jobs.csv", 4, "part_length", "200")]
    assert shown(tmp_path / "out") == ["J1_P.xlsx", "J4_P.xlsx", "results.csv", "results.xlsx"]


def test_a_row_with_too_many_cells_is_refused(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("job,quantity\nJ,100,extra\n")
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert [p.reason for p in outcome.problems] == ["the row has more cells than there are headings"]


def test_a_value_under_a_blank_head_is_refused(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("job,,quantity,\nJ,5,100,\nK,,100,\n")
    assert [job.problem for job in read_jobs(path)] == ["has a value in column B, which has no heading", ""]
    outcome = plan_jobs(read_jobs(path)[:1], tmp_path / "out")
    assert [(p.row, p.reason) for p in outcome.problems] == [(2, "has a value in column B, which has no heading")]


def test_rows_are_counted_as_a_spreadsheet_counts_them(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text('job,customer\n1,"two\nlines"\n\n2,x\n')
    assert [job.row for job in read_jobs(path)] == [2, 4]


@pytest.mark.parametrize("data", [
    b"sep=;\njob;size\nA;1\n", "job,size\nA,1\n".encode("utf-16"), b"\xfe\xff" + "job;size\r\nA;1\r\n".encode("utf-16-be"),
    b"job\tsize\rA\t1\r", b"SEP=,\r\njob,size\r\nA,1\r\n"])
def test_other_spellings_of_csv(tmp_path, data):
    (tmp_path / "jobs.csv").write_bytes(data)
    assert [(job.row, job.values) for job in read_jobs(tmp_path / "jobs.csv")] == [(2, {"job": "A", "size": "1"})]


def xlsx(path: Path, *rows: list, change=None) -> Path:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    if change:
        change(book)
    book.save(path)
    return path


HEADS, CELLS = list(GOOD), list(GOOD.values())


def with_cell(column: str, value: object) -> list:
    return [value if head == column else cell for head, cell in GOOD.items()]


def test_formulas_without_stored_values_are_calculated(tmp_path):
    path = xlsx(tmp_path / "jobs.xlsx", HEADS, with_cell("quantity", "=40+60"), with_cell("size", '=IF(1=1,"3/4 in","")'),
                with_cell("part_length", "=1/0"))
    first, second, third = read_jobs(path)
    assert (first.values["quantity"], second.values["size"]) == (100, "3/4 in")
    outcome = plan_jobs([first, second, third], tmp_path / "out")
    assert [row for row, _, _ in outcome.done] == [2, 3]
    assert [(p.row, p.column, p.reason) for p in outcome.problems] == [(4, "part_length", "the cell shows the error #DIV/0!")]


def test_formulas_that_cannot_be_calculated_are_refused(tmp_path):
    path = xlsx(tmp_path / "jobs.xlsx", HEADS, with_cell("quantity", "=NOSUCH(4)"))
    with pytest.raises(bf.WorkbookError, match=r"jobs\.xlsx: no value is stored for the formulas in Sheet!L2, and they can't "):
        read_jobs(path)


def test_a_formula_with_a_stored_value_is_read_as_it_stands(tmp_path):
    path = xlsx(tmp_path / "jobs.xlsx", HEADS, with_cell("quantity", "=NOSUCH(4)"))
    parts = read_parts(path)
    parts["xl/worksheets/sheet1.xml"] = re.sub(rb"</f>(<v></v>|<v ?/>)", rb"</f><v>250</v>", parts["xl/worksheets/sheet1.xml"])
    path.write_bytes(pack(parts))
    assert read_jobs(path)[0].values["quantity"] == 250


def test_the_first_visible_worksheet_is_read(tmp_path):
    def change(book):
        hidden = book.create_sheet("Lists", 0)
        hidden.append(["nonsense"])
        hidden.sheet_state = "hidden"
        book.create_chartsheet("Picture", 0)

    assert [job.values["job"] for job in read_jobs(xlsx(tmp_path / "a.xlsx", HEADS, CELLS, change=change))] == ["J1"]
    path = xlsx(tmp_path / "b.xlsx", HEADS, CELLS)
    parts = read_parts(path)
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b'state="visible"', b'state="hidden"')
    path.write_bytes(pack(parts))
    with pytest.raises(bf.WorkbookError, match=r"b\.xlsx has no visible worksheet"):
        read_jobs(path)


def test_a_list_is_read_whole_whatever_size_its_file_states(tmp_path):
    path = xlsx(tmp_path / "jobs.xlsx", HEADS, CELLS, CELLS)
    parts = read_parts(path)
    parts["xl/worksheets/sheet1.xml"] = re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:B2"', parts["xl/worksheets/sheet1.xml"])
    path.write_bytes(pack(parts))
    assert [job.values for job in read_jobs(path)] == [GOOD, GOOD]


@pytest.mark.parametrize(("column", "value", "reason"), [
    ("size", datetime.datetime(2026, 3, 8), "the spreadsheet made the date 2026-03-08 of it, as it does of 3/8"),
    ("part_number", datetime.datetime(2026, 3, 8), "the spreadsheet made the date 2026-03-08 of it"),
    ("cycle_time", datetime.time(0, 1, 20), "the spreadsheet made the time 00:01:20 of it: write for example 80 s"),
    ("material", 99, "99 given; a number is a density, from 0.0181 to 0.903 lb/in3"),
    ("material", 1.4305, "1.4305 is a number here; for the material 1.4305, format the cell as text"),
])
def test_what_a_spreadsheet_made_of_a_value_is_said(tmp_path, column, value, reason):
    path = xlsx(tmp_path / "jobs.xlsx", [*HEADS, "cycle_time"], [*with_cell(column, value), value if column == "cycle_time" else None])
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert [p.column for p in outcome.problems] == [column]
    assert outcome.problems[0].reason.startswith(reason)
    assert "datetime" not in outcome.problems[0].value
    assert not outcome.problems[0].value.endswith("00:00:00")


def damaged() -> dict[str, tuple[bytes, str]]:
    buffer = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(HEADS)
    book.active.append(CELLS)
    book.save(buffer)
    good = buffer.getvalue()
    parts = read_parts(good)
    sheet = parts["xl/worksheets/sheet1.xml"]
    sheet_at = good.index(b"xl/worksheets/sheet1.xml") + 60

    def with_part(name: str, data: bytes | None) -> bytes:
        return pack({n: d for n, d in (parts | {name: data}).items() if d is not None})

    return {
        "cut zip": (good[:len(good) // 2], "is not an xlsx workbook, or is damaged"),
        "bytes within": (good[:sheet_at] + b"\xff" * 40 + good[sheet_at + 40:], "is not an xlsx workbook, or is damaged"),
        "cut sheet": (with_part("xl/worksheets/sheet1.xml", sheet[:-200]), "is damaged: its part xl/worksheets/sheet1.xml is no good XML"),
        "no sheet": (with_part("xl/worksheets/sheet1.xml", None), "sheet Sheet is missing from the file"),
        "no links": (with_part("xl/_rels/workbook.xml.rels", None), "or is damaged (xl/_rels/workbook.xml.rels missing)"),
        "no types": (with_part("[Content_Types].xml", None), "or is damaged ([Content_Types].xml missing)"),
        "cut styles": (with_part("xl/styles.xml", b"<styleSheet"), "its part xl/styles.xml is no good XML"),
        "no texts": (with_part("xl/worksheets/sheet1.xml", re.sub(rb'<c r="A1".*?</c>', b'<c r="A1" t="s"><v>7</v></c>', sheet)),
                     "can't be read as a workbook"),
        "declaration": (with_part("xl/worksheets/sheet1.xml", b'<!DOCTYPE x [<!ENTITY a "b">]>' + sheet[sheet.index(b"<worksheet"):]),
                        "has a document type declaration"),
        "deep": (with_part("xl/worksheets/sheet1.xml", b"<a>" * 50_000 + b"</a>" * 50_000), "is nested more than 200 deep"),
        "bad number": (with_part("xl/worksheets/sheet1.xml", re.sub(rb'<c r="A1".*?</c>', b'<c r="A1"><v>x</v></c>', sheet)),
                       "can't be read as a workbook"),
        "old or protected": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "is an old .xls file or protected by a password"),
        "OpenDocument": (pack({"mimetype": b"x", "content.xml": b"<x/>"}), "is an OpenDocument file; save it as .xlsx"),
        "binary": (pack({"xl/workbook.bin": b"x"}), "is a binary workbook (.xlsb); save it as .xlsx"),
        "text": (b"job,size\n1,2\n", "is not an xlsx workbook"),
        "nothing": (b"", "is not an xlsx workbook"),
    }


@pytest.mark.parametrize("case", damaged())
def test_damaged_workbooks_are_named_and_refused(tmp_path, case):
    data, said = damaged()[case]
    path = tmp_path / "list of jobs.xlsx"
    path.write_bytes(data)
    with pytest.raises(bf.WorkbookError, match=re.escape("list of jobs.xlsx") + ".*" + re.escape(said)):
        read_jobs(path)


@contextlib.contextmanager
def answer_here(work, label, *arguments):
    """The work of the other process in this one, which is faster; what it may raise there, it may not raise here."""
    module, _, name = work.function.partition(":")
    out = io.BytesIO()
    getattr(importlib.import_module(module), name)(out, *arguments)
    out.seek(0)
    yield out


@pytest.mark.slow
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_mutated_workbook_gives_jobs_or_one_clear_error(tmp_path, monkeypatch, data):
    monkeypatch.setattr(sandbox, "answer", answer_here)
    parts = read_parts(pack(_GOOD_PARTS))
    name = data.draw(st.sampled_from(sorted(parts)))
    old = parts[name]
    start = data.draw(st.integers(0, len(old)))
    stop = data.draw(st.integers(start, min(len(old), start + 60)))
    parts[name] = old[:start] + data.draw(st.binary(max_size=12) | st.sampled_from([b"", b"<", b'"', b"0", b"99999999999"])) + old[stop:]
    path = tmp_path / "jobs.xlsx"
    path.write_bytes(pack(parts))
    try:
        read_jobs(path)
    except bf.BarfuncsError as error:
        assert "jobs.xlsx" in str(error)  # noqa: PT017


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.binary(max_size=80), st.lists(st.sampled_from(
    ["job", "size", "units", ",", ";", "\t", '"', "\n", "\r", "1,5", "mm", "sep=", " ", "\ufeff", "é"]), max_size=30)
    .map(lambda texts: "".join(texts).encode())))
def test_any_bytes_as_csv_give_jobs_or_one_clear_error(tmp_path, data):
    path = tmp_path / "jobs.csv"
    path.write_bytes(data)
    try:
        jobs = read_jobs(path)
    except bf.BarfuncsError as error:
        assert "jobs.csv" in str(error)  # noqa: PT017
    else:
        assert jobs


BARE = {k: v for k, v in GOOD.items() if k != "units"} | {"bar_length": "144"}


def test_a_row_that_does_not_say_its_unit_next_to_metric_rows_is_refused(tmp_path):
    metric = GOOD | {"job": "M", "units": "mm", "size": "20", "part_length": "30", "cutoff_width": "3", "bar_length": "3000"}
    for other in (metric, metric | {"size": "20 mm", "part_length": "30 mm", "cutoff_width": "3 mm",
                                    "face_to_cutoff": "3 mm", "grip_length": "50 mm", "bar_length": "3 m"}):
        path = write_csv(tmp_path / "jobs.csv", BARE, other)
        outcome = plan_jobs(read_jobs(path), tmp_path / "out", replace=True)
        assert [(p.row, p.column) for p in outcome.problems] == [(2, "units")]
        assert "nothing says whether the numbers are inch or mm, and row 3 is in mm" in outcome.problems[0].reason
        assert [done.values["units"] for done in outcome.done] == ["mm"]
        assert not outcome.taken_as_inch
    assert not plan_jobs(read_jobs(path), tmp_path / "in", units="in").problems


def test_a_list_without_a_word_on_units_is_inch_and_says_so(tmp_path):
    outcome = plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", BARE)), tmp_path / "out")
    assert outcome.taken_as_inch
    assert outcome.done[0].values["units"] == "in"
    for said in ({"units": "in"}, {"bar_length": "12 ft"}):
        assert not plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", BARE | said)), tmp_path / "out", replace=True).taken_as_inch


def test_the_message_for_a_comma_names_the_option(tmp_path):
    outcome = plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", GOOD | {"size": "12,5"})), tmp_path / "out")
    assert outcome.problems[0].reason.endswith("(--decimal-comma reads 12,5 as twelve and a half)")


def test_results_that_cannot_be_written_are_a_problem(tmp_path):
    (tmp_path / "out" / "results.csv").mkdir(parents=True)
    outcome = plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", GOOD)), tmp_path / "out", replace=True)
    assert len(outcome.done) == 1
    assert [p.reason.split(" (")[0] for p in outcome.problems] == ["results.csv can't be written"]


@pytest.mark.parametrize(("values", "message"), [
    (GOOD | {"units": 0}, r"units: 0 given; allowed is one of in, mm"),
    (GOOD | {"units": False}, r"units: False given; allowed is one of in, mm"),
    (GOOD | {"units": []}, r"units: \[\] given; allowed is one of in, mm"),
    ({1: 2}, r"1: is not an input of this template"),
    ([("job", 1)], r"values: \[\('job', 1\)\] given; give input names with their values"),
    (GOOD | {"job": ["x"]}, r"job: \['x'\] given; allowed is a text"),
    (GOOD | {"job": float("nan")}, r"job: nan given; allowed is a text"),
    (GOOD | {"job": True}, r"job: True given; allowed is a text"),
    (GOOD | {"size": datetime.date(2026, 3, 8)}, r"size: the spreadsheet made the date 2026-03-08 of it"),
])
def test_fill_refuses_what_is_no_input(values, message):
    with pytest.raises(bf.InputError, match=message):
        fill("job_plan", values)


def test_the_public_names_of_filling_and_what_they_import():
    import barfuncs.filling as filling

    assert all(callable(getattr(filling, name)) for name in filling.__all__)
    assert (filling.fill, filling.plan_jobs) == (fill, plan_jobs)
    with pytest.raises(AttributeError, match=r"^module 'barfuncs\.filling' has no attribute 'fil'$"):
        _ = filling.fil
    code = "import sys, barfuncs, barfuncs.filling; print('openpyxl' in sys.modules, barfuncs.filling.fill.__module__, 'openpyxl' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True).stdout
    assert said == "False barfuncs.filling.filler True\n"


def test_fill_refuses_what_is_no_template_or_table():
    with pytest.raises(bf.InputError, match=r"template: \['job_plan'\] given; allowed is one of job_plan"):
        fill(["job_plan"], GOOD)
    with pytest.raises(bf.InputError, match=r"own_materials: give a table"):
        fill("job_plan", GOOD, own_materials="own.csv")


def test_results_hold_no_formula_and_every_answer(tmp_path):
    evil = GOOD | {"job": "=1+1", "customer": "+cmd|calc", "part_number": "@x"}
    outcome = plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", evil)), tmp_path / "out")
    rows = list(csv.DictReader((tmp_path / "out" / "results.csv").read_text("utf-8-sig").splitlines()))
    assert (rows[0]["job"], rows[0]["customer"], rows[0]["part_number"]) == ("'=1+1", "'+cmd|calc", "'@x")
    assert float(rows[0]["parts_per_bar"]) == outcome.done[0].values["parts_per_bar"]
    assert rows[0]["run_hours"] == ""
    sheet = openpyxl.load_workbook(tmp_path / "out" / "results.xlsx").active
    cells = {head.value: cell for head, cell in zip(sheet[1], sheet[2], strict=True)}
    assert (cells["job"].value, cells["job"].data_type) == ("=1+1", "s")
    assert cells["bars"].value == outcome.done[0].values["bars"]


def test_one_row_never_stops_the_list(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD, GOOD | {"job": "bell \a"},
                     GOOD | {"job": "tiny", "part_length": "0.001", "cutoff_width": "0.01", "longest_random_bar": "150"},
                     GOOD | {"job": "locked"}, GOOD | {"job": "last"})
    (tmp_path / "out" / "locked_P.xlsx").mkdir(parents=True)
    outcome = plan_jobs(read_jobs(path), tmp_path / "out", replace=True)
    assert [row for row, _, _ in outcome.done] == [2, 6]
    assert {p.row for p in outcome.problems} == {3, 4, 5}
    assert (tmp_path / "out" / "results.xlsx").is_file()


def test_two_jobs_never_share_a_file(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", *(GOOD | {"job": j, "part_number": ""} for j in ("A", "A row 4", "A")))
    outcome = plan_jobs(read_jobs(path), tmp_path / "out", replace=True)
    assert len({name for _, name, _ in outcome.done}) == 3


def test_two_jobs_of_one_name_get_two_files(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD, GOOD, GOOD | {"job": "", "part_number": ""},
                     GOOD | {"job": "results", "part_number": ""})
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert [name for _, name, _ in outcome.done] == ["J1_P.xlsx", "J1_P row 3.xlsx", "row 4.xlsx", "results row 5.xlsx"]


@pytest.mark.slow
@given(st.text(max_size=200))
def test_safe_names_are_safe(text):
    name = safe_name(text)
    assert not set(name) & set('/\\:*?"<>|\0')
    assert len(name) <= 81
    assert name == name.strip(" .")
    assert not re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", name, re.IGNORECASE)


@pytest.mark.parametrize(("text", "name"), [("../../etc/passwd", "etc_passwd"), ("CON", "_CON"), ("nul.txt", "_nul.txt"),
                                            ("a\nb", "a_b"), ("...", ""), ("Ä 3/8", "Ä 3_8")])
def test_safe_name_table(text, name):
    assert safe_name(text) == name


def test_the_examples(tmp_path):
    jobs = read_jobs(ROOT / "examples" / "jobs.csv")
    assert len(jobs) >= 25
    outcome = plan_jobs(jobs, tmp_path / "a")
    assert not outcome.problems
    assert {d.values["shape"] for d in outcome.done} == {"round", "hexagon", "square", "octagon", "flat", "tube", "hexagon tube"}
    assert {d.values["units"] for d in outcome.done} == {"in", "mm"}
    mistakes = plan_jobs(read_jobs(ROOT / "examples" / "jobs_with_mistakes.csv"), tmp_path / "b")
    assert (len(mistakes.done), {p.row for p in mistakes.problems}) == (3, {3, 4, 6, 7, 8})
