"""Lists of jobs: reading, bad rows, file names, results."""

import csv
import io
import re
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.workbooks.jobs import plan_jobs, read_jobs, safe_name

ROOT = Path(__file__).parent.parent
GOOD = {"job": "J1", "part_number": "P", "units": "in", "material": "303", "shape": "round", "size": "1", "part_length": "2",
        "cutoff_width": ".125", "standoff": ".2", "grip_length": "2", "bar_length": "12 ft", "quantity": "100"}


def write_csv(path: Path, *rows: dict, delimiter: str = ",", encoding: str = "utf-8") -> Path:
    heads = list(dict.fromkeys(key for row in rows for key in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, heads, delimiter=delimiter, restval="")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode(encoding))
    return path


@pytest.mark.parametrize(("delimiter", "encoding"), [(",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-8")])
def test_csv_in_its_spellings(tmp_path, delimiter, encoding):
    path = write_csv(tmp_path / "jobs.csv", GOOD, delimiter=delimiter, encoding=encoding)
    assert [job.values for job in read_jobs(path)] == [GOOD]


def test_xlsx_with_labels_and_numbers(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Job", "Units *", "Material *", "Size", "Part length", "Cut-off width", "Standoff", "Grip length",
                        "Bar length", "Order quantity", None])
    book.active.append([17, "in", "Steel 1215", 1, 2.0, 0.125, 0.2, 2, "12 ft", 100])
    book.active.append([None] * 10)
    book.save(tmp_path / "jobs.xlsx")
    jobs = read_jobs(tmp_path / "jobs.xlsx")
    assert len(jobs) == 1
    outcome = plan_jobs(jobs, tmp_path / "out")
    assert [(row, name) for row, name, _ in outcome.done] == [(2, "17.xlsx")]
    assert outcome.done[0][2].answers["parts_per_bar"] == bf.parts_per_bar(144, 2, 0.125, 2.2)


@pytest.mark.parametrize(("text", "error", "message"), [
    ("job,part_lenght\n1,2\n", bf.InputError, "part_lenght: is not an input of this template; did you mean 'part_length'?"),
    ("job,Job\n1,2\n", bf.InputError, "Job: stands twice in the first row"),
    ("", bf.WorkbookError, "is empty: the first row must name the inputs"),
    ("\0\0", bf.WorkbookError, "is not a CSV text"),
])
def test_lists_that_are_refused(tmp_path, text, error, message):
    path = tmp_path / "jobs.csv"
    path.write_text(text)
    with pytest.raises(error, match=re.escape(message)):
        read_jobs(path)


def test_a_list_that_is_no_text_or_not_there(tmp_path):
    (tmp_path / "jobs.csv").write_bytes(b"\xff\xfe\x00x")
    with pytest.raises(bf.WorkbookError, match=r"neither an \.xlsx file nor a CSV text in UTF-8"):
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
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["J1_P.xlsx", "J4_P.xlsx", "results.csv", "results.xlsx"]


def test_a_row_with_too_many_cells_is_refused(tmp_path):
    path = tmp_path / "jobs.csv"
    path.write_text("job,quantity\nJ,100,extra\n")
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert [p.reason for p in outcome.problems] == ["the row has more cells than the first row has names"]


def test_nothing_is_overwritten_without_replace(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD)
    plan_jobs(read_jobs(path), tmp_path / "out")
    before = {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()}
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert not outcome.done
    assert "J1_P.xlsx exists already" in outcome.problems[0].reason
    assert {p.name: p.read_bytes() for p in (tmp_path / "out").iterdir()} == before
    again = plan_jobs(read_jobs(path), tmp_path / "out", replace=True)
    assert len(again.done) == 1
    assert not again.problems


def test_results_hold_no_formula_and_every_answer(tmp_path):
    evil = GOOD | {"job": "=1+1", "customer": "+cmd|calc", "part_number": "@x"}
    outcome = plan_jobs(read_jobs(write_csv(tmp_path / "jobs.csv", evil)), tmp_path / "out")
    rows = list(csv.DictReader((tmp_path / "out" / "results.csv").read_text("utf-8-sig").splitlines()))
    assert (rows[0]["job"], rows[0]["customer"], rows[0]["part_number"]) == ("'=1+1", "'+cmd|calc", "'@x")
    assert float(rows[0]["parts_per_bar"]) == outcome.done[0][2].answers["parts_per_bar"]
    assert rows[0]["run_hours"] == ""
    sheet = openpyxl.load_workbook(tmp_path / "out" / "results.xlsx").active
    cells = {head.value: cell for head, cell in zip(sheet[1], sheet[2], strict=True)}
    assert (cells["job"].value, cells["job"].data_type) == ("=1+1", "s")
    assert cells["bars"].value == outcome.done[0][2].answers["bars"]


def test_one_row_never_stops_the_list(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD, GOOD | {"job": "bell \a"},
                     GOOD | {"job": "many", "quantity": "9900000", "longest_bar": "150", "scrap_rate": "2%"},
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
    assert {f.inputs["shape"] for _, _, f in outcome.done} == {"round", "hexagon", "square", "octagon", "flat", "tube", "hexagon tube"}
    assert {f.inputs["units"] for _, _, f in outcome.done} == {"in", "mm"}
    mistakes = plan_jobs(read_jobs(ROOT / "examples" / "jobs_with_mistakes.csv"), tmp_path / "b")
    assert (len(mistakes.done), {p.row for p in mistakes.problems}) == (3, {3, 4, 6, 7, 8})
