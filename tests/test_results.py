"""The table of results: nothing in it becomes a formula, and it opens whatever a list's texts hold."""

import csv
import io
import re

import libreoffice
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from barfuncs.filling.filler import fill
from barfuncs.filling.lists import Job, plan_jobs
from barfuncs.filling.record import Entry, Line
from barfuncs.filling.results import csv_cell, result_files
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import read_parts
from barfuncs.xlsx.sheetxml import legal_text

GOOD = {"units": "in", "material": "303", "shape": "round", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.125,
        "face_to_cutoff": 0.2, "grip_length": 2.0, "bar_length": 144.0, "quantity": 100.0}
FORMULAS = ("=1+1", "+1+1", "-1+1", "@SUM(1)", "=1+1;=2+2", "bar;=1+1", "bar;-1+1", "bar; =1+1", 'bar;"=1+1"', "bar\t=1+1", "bar;\t=1+1",
            '"=1+1', "x\r=1+1", "x\n=1+1", "\t=1+1", "bar;\uff1d1+1", 'a"b;=1+1', "a,b;=1+1", ";=1+1", "=cmd|'/C x'!A0;=2")


def table(*texts: str) -> dict[str, bytes]:
    return dict(result_files([
        Entry(f"J{n}.xlsx", "job_plan", "jobs.csv", n, "2026-01-02 03:04:05", "", "", "", Line({"job": text, "bars": 2.5, "status": "x"}))
        for n, text in enumerate(texts, start=2)]))


@pytest.mark.slow
@pytest.mark.libreoffice
@pytest.mark.parametrize("separators", ["44", "59", "9", "44/59/9"])
def test_no_text_becomes_a_formula_whatever_the_file_is_split_at(tmp_path, separators):
    (tmp_path / "results.csv").write_bytes(table(*FORMULAS)["results.csv"])
    (tmp_path / "planted.csv").write_bytes(b"row,file\r\n2,=1+1\r\n3,x;=1+1\r\n4,x\t=1+1\r\n5,y\r\n")
    reading = f"CSV:{separators},34,76,1,,0,false,true,false,false,false,0,true"  # the last one: formulas are worked out
    for path in libreoffice.convert([tmp_path / "results.csv", tmp_path / "planted.csv"], tmp_path / "read", reading=reading):
        cells = [cell for row in openpyxl.load_workbook(path).active.iter_rows() for cell in row]
        formulas = [cell.value for cell in cells if cell.data_type == "f"]
        assert (len(cells) > 20, bool(formulas)) == ((True, False) if path.stem == "results" else (False, True)), formulas


@given(st.lists(st.sampled_from(["=", "-", "+", "@", ";", "\t", ",", '"', "'", " ", "a", "1", "\r", "\n", "\uff1d"]), max_size=12).map("".join))
def test_a_part_behind_any_separator_is_no_formula(text):
    cell = csv_cell(text)
    read = next(csv.reader(io.StringIO(f"x,{cell},y\r\n", newline=""), strict=True))
    assert (read[0], read[2], len(read)) == ("x", "y", 3)
    assert read[1].replace("'", "") == text.replace("'", "")
    for part in re.split("[;\t\r\n]", f"x,{cell},y")[1:]:
        assert not re.match('[\\s"]*[=+@\uff1d-]', part)
    assert not re.match('[\\s"]*[=+@\uff1d-]', read[1])
    assert not read[1].startswith(("\t", "\r"))


@pytest.mark.parametrize(("value", "cell"), [
    ("plain text", "plain text"), ("a, b", '"a, b"'), ("a;b", '"a;b"'), ("1/2-20", "1/2-20"), ("x - y", "x - y"), ("", ""), (None, ""),
    (-2.5, "-2.5"), (3.0, "3"), (1 / 3, "0.3333333333"), (7, "7"), ("'x", "'x"),
])
def test_ordinary_values_stay_as_they_are(value, cell):
    assert csv_cell(value) == cell


NO_CHARACTERS = ["\uffff", "\ufffe", "\ufdd0", "\ufdef", "\U0001fffe", "\U0010ffff", "\x00", "\x07", "\x1f", "\ud800", "\r"]


@pytest.mark.parametrize("character", NO_CHARACTERS)
def test_results_open_whatever_a_text_holds(character):
    made = table(f"bar{character} 7", "plain")
    assert csv.DictReader(io.StringIO(made["results.csv"].decode("utf-8-sig"))).__next__()["job"] == "bar 7"
    read_parts(made["results.xlsx"])  # refuses XML that is no good
    sheet = openpyxl.load_workbook(io.BytesIO(made["results.xlsx"])).active
    assert [row[2].value for row in sheet.iter_rows(min_row=2)] == ["bar 7", "plain"]


@given(st.text())
def test_legal_text_keeps_everything_else(text):
    kept = legal_text(text)
    assert legal_text(kept) == kept
    gone = [c for c in text if c not in kept]
    assert all(ord(c) < 32 or 0xD800 <= ord(c) < 0xE000 or 0xFDD0 <= ord(c) <= 0xFDEF or ord(c) & 0xFFFE == 0xFFFE for c in gone)


def test_a_list_with_such_a_character_gives_files_that_open(tmp_path):
    outcome = plan_jobs([Job(2, {**GOOD, "job": "A", "customer": "Sample\uffff Works\U0001ffff"}), Job(3, {**GOOD, "job": "B"})], tmp_path)
    assert "B.xlsx" in [name for _, name, _ in outcome.done]
    for name in ["results.xlsx", *(name for _, name, _ in outcome.done)]:
        read_parts(tmp_path / name)
        openpyxl.load_workbook(tmp_path / name)


@pytest.mark.slow
def test_the_workbook_and_the_copy_hold_no_such_character():
    made = fill("quote", {**{k: v for k, v in GOOD.items() if k != "quantity"}, "quantity_1": 5.0, "cycle_time": 45.0, "machine_rate": 80.0,
                          "material_price": 3.2, "price_per": "lb", "margin": 0.2, "remark": "soon\U0010fffe"})
    Workbook(made.data)
    read_parts(made.customer_copy())
