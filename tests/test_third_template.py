"""A template that barfuncs does not know, through fill, lists, results and the command line: nothing there knows one by name."""

import csv
import io

import openpyxl
import pytest
from click.testing import CliRunner

from barfuncs.cli.main import list_command, main
from barfuncs.errors import InputError
from barfuncs.filling.filler import fill
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.templates import lines
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook

GOOD = {"job": "L1", "units": "in", "material": "303", "size": 1}
ROWS = [{"heat": "=A1", "parts": 59, "scrapped": 2, "left": "3 1/4"}, {"parts": 58, "left": 3.5}]


@pytest.fixture(autouse=True)
def run_log(monkeypatch):
    line = lines.Line("run_log", "log", "run_log", "Fill a log for every row of JOBS (CSV or xlsx).")
    monkeypatch.setattr(lines, "LINES", [*lines.LINES, line])
    monkeypatch.setitem(main.commands, "log", list_command(line))


def test_rows_are_filled_counted_and_weighed():
    filled = fill("run_log", {**GOOD, "bars": ROWS})
    assert filled.is_ready
    assert filled.answers["good"] == 57 + 58
    assert filled.answers["left_weight"] == pytest.approx(6.75 * 0.7853981633974483 * filled.answers["density"], rel=1e-12)
    assert [filled.answers[f"bar_{n}_good"] for n in (1, 2, 3, 40)] == [57, 58, 0, 0]
    book = openpyxl.load_workbook(io.BytesIO(filled.data))["Log"]
    assert [c.value for c in next(r for r in book.iter_rows(min_col=2, max_col=6) if r[1].value == 59)] == ["=A1", 59, 2, 3.25, None]


def test_a_column_is_one_named_range_and_marks_say_what_is_wrong():
    book = Workbook(TEMPLATES["run_log"].build(), direct=True)
    for name, value in GOOD.items():
        book.set(name, value)
    rows = {"bar_parts[1]": 10.0, "bar_left[2]": 2.0, "bar_parts[3]": 8.0, "bar_left[3]": "3 x", "bar_parts[4]": 8.0, "bar_scrapped[4]": 9.0,
            "bar_parts[5]": 8.0, "bar_scrapped[5]": 4.0, "bar_parts[6]": 8.0, "bar_left[6]": "1 3/8", "bar_parts[7]": -1.0}
    for ref, value in rows.items():
        book.set(ref, value)
    book.calculate()
    assert [book.value(f"bar_marks[{n}]") for n in range(1, 9)] == [
        "", "\u2715 parts is missing", "\u2715 left over can't be read", "\u2715 more scrapped than made", "! 4 of 8 scrapped", "",
        "\u2715 parts is not allowed here", ""]
    assert book.value("use_bar_left[6]") == 1.375
    assert book.value("log_status") == "\u2715 STOP  Fill in or correct: bars."


@pytest.mark.parametrize(("bars", "name", "reason"), [
    ([{"left": 2}], "bar_1_parts", "is missing"),
    ([{"parts": 5}, {"parts": "many"}], "bar_2_parts", "'many' can't be read as a count"),
    ([{"parts": 5, "color": "red"}], "bar_1_color", "is not a column of bars; it has heat, left, parts, scrapped, stop"),
    ([{"parts": 5}] * 41, "bars", "41 rows given; there is room for 40"),
    ([{"parts": 5}, 7], "bar_2", "7 given; a row is a mapping from column to value"),
    ({"parts": 5}, "bars", "{'parts': 5} given; give a list of rows, each a mapping from column to value"),
    ("5", "bars", "'5' given; give a list of rows, each a mapping from column to value"),
    ([{"parts": 5, "scrapped": 6}], "bar_1", "more scrapped than made"),
])
def test_rows_that_are_wrong_are_named(bars, name, reason):
    with pytest.raises(InputError) as caught:
        fill("run_log", {**GOOD, "bars": bars})
    assert [(n, r) for n, r in caught.value.problems if n == name and reason in r], caught.value.problems


def test_a_row_that_is_given_twice_is_refused():
    with pytest.raises(InputError, match="is given twice, here and in bars"):
        fill("run_log", {**GOOD, "bars": ROWS, "bar_1_parts": 5})


def test_a_list_and_its_results(tmp_path):
    path = tmp_path / "logs.csv"
    path.write_text("job,units,material,size,bar_1_parts,bar_1_scrapped,bar_2_parts,bar_2_left\n"
                    "A,in,303,1,59,2,58,3 1/4\nB,in,303,1,59,60,,\nC,mm,C36000,20 mm,10,,,\n", "utf-8")
    outcome = plan_jobs(read_jobs(path, "run_log"), tmp_path / "out", template="run_log")
    assert [(p.row, p.column, p.reason) for p in outcome.problems] == [(3, "bar_1", "more scrapped than made")]
    with open(tmp_path / "out" / "results.csv", encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(r["job"], r["units"], r["good"], r["status"][:4]) for r in rows] == [("A", "in", "115", "\u2713 OK"), ("C", "mm", "10", "\u2713 OK")]


def test_the_command_line_has_its_command(tmp_path):
    path = tmp_path / "logs.csv"
    path.write_text("Log No,units,material,size,Parts of the first bar\nA,in,303,1,59\n", "utf-8")
    done = CliRunner().invoke(main, ["log", str(path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert "1 of 1 jobs logged" in done.output
    assert "Good" in done.output
    assert "Fill a log for every row" in CliRunner().invoke(main, ["--help"]).output
    assert "The first row of JOBS names the inputs." in CliRunner().invoke(main, ["log", "--help"]).output
