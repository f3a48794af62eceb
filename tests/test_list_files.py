"""The files that lists come in: how shops write their headings, what is left out, and files made to hang a machine."""

import codecs
import csv
import datetime
import io
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from hostile_lists import CELLS, GOOD, HEADS, JOB, LISTS, ROW, formulas, write_xlsx
from hypothesis import given, settings
from hypothesis import strategies as st

import barfuncs as bf
from barfuncs.cli.main import main
from barfuncs.filling import headings, list_file
from barfuncs.filling.filler import fill, names_of, read_inputs
from barfuncs.filling.list_file import read_rows
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.templates.registry import TEMPLATES
from barfuncs.text import csv_text, datafile, limits
from barfuncs.text.characters import escaped, unfit
from barfuncs.text.csv_text import read_csv
from barfuncs.xlsx import package, sheet_rows
from barfuncs.xlsx.package import BadXML, read_xml
from barfuncs.xlsx.sheetxml import CellError

PLAN, QUOTE = names_of("job_plan"), names_of("quote")


def csv_list(tmp_path: Path, text: str) -> Path:
    tmp_path.mkdir(exist_ok=True)
    path = tmp_path / "jobs.csv"
    path.write_text(text, "utf-8", newline="")
    return path


# --- headings ------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("heading", "name"), [
    ("Qty", "quantity"), ("QTY.", "quantity"), ("Order Qty", "quantity"), ("Qty req'd", "quantity"), ("Pcs", "quantity"),
    ("Mat'l", "material"), ("MATL", "material"), ("Material grade", "material"), ("Dia", "size"), ("Dia.", "size"), ("OD", "size"),
    ("O.D.", "size"), ("Diameter", "size"), ("Bar dia.", "size"), ("\u00d8", "size"), ("A/F", "size"), ("P/N", "part_number"),
    ("Part #", "part_number"), ("Part No.", "part_number"), ("Cust", "customer"), ("Cust.", "customer"), ("Bar length", "bar_length"),
    ("BAR-LENGTH", "bar_length"), ("Part length", "part_length"), ("OAL", "part_length"), ("Cut-off", "cutoff_width"),
    ("Cutoff width", "cutoff_width"), ("Cut off", "cutoff_width"), ("Parting tool", "cutoff_width"), ("WO #", "job"),
    ("Cycle", "cycle_time"), ("Setup time", "setup_hours"), ("Grip", "grip_length"), ("Wall", "thickness"),
    ("Face to cutoff", "face_to_cutoff"), ("Saw kerf", "kerf"), ("Supplied length", "supplied_length"), ("Shop rate", "machine_rate"),
    ("Units *", "units"), ("Efficiency", "efficiency"),
])
def test_everyday_headings_are_read(heading, name):
    assert PLAN.find(heading) == headings.Column(name, "", heading)


@pytest.mark.parametrize(("heading", "name"), [
    ("Rev", "revision"), ("Rev.", "revision"), ("Dwg", "drawing"), ("Dwg #", "drawing"), ("Drawing", "drawing"), ("Print No.", "drawing"),
    ("Qty", "quantity_1"), ("Qty 1", "quantity_1"), ("Quantity 3", "quantity_3"), ("Order quantity", "quantity_1"),
    ("Description", "part_description"), ("Mark-up", "markup"), ("Max RPM", "top_speed"), ("Material", "material"),
])
def test_everyday_headings_of_a_quote_are_read_and_left_aside_by_a_plan(heading, name):
    assert QUOTE.find(heading).name == name
    assert PLAN.find(heading).name in (headings.ASIDE, name, "quantity")


@pytest.mark.parametrize(("heading", "candidates"), [
    ("Length", ("part_length", "bar_length")), ("Length (mm)", ("part_length", "bar_length")), ("LEN", ("part_length", "bar_length")),
    ("Length mm", ("part_length", "bar_length")), ("Price", ("material_price", "leave the column out")),
    ("Unit price (USD)", ("material_price", "leave the column out")), ("Collet", ("grip_length", "leave the column out")),
    ("Kerf", ("kerf", "cutoff_width")), ("Kerf (in)", ("kerf", "cutoff_width")), ("Rate", ("machine_rate", "scrap_rate")),
    ("Setup", ("setup_hours", "setup_parts", "setup_rate")), ("Setup ($)", ("setup_hours", "setup_parts", "setup_rate")),
    ("Blank length", ("bar_length", "part_length")), ("Stock length", ("bar_length", "supplied_length")),
    ("Weight (lb)", ("part_weight", "leave the column out")), ("Part", ("part_number", "part_description")),
    ("Max bar", ("feeder_longest_bar", "longest_random_bar")), ("Remnant", ("grip_length", "face_to_cutoff")),
])
def test_headings_with_two_meanings_are_refused_with_both(heading, candidates):
    for called in (PLAN, QUOTE):
        said = called.problem(heading)
        assert called.find(heading) is None
        assert said.startswith(("can mean two things: write ", "can mean several things: write "))
        assert all(candidate in said for candidate in candidates)


@pytest.mark.parametrize(("heading", "name", "unit"), [
    ("Part length (mm)", "part_length", "mm"), ("Dia [in]", "size", "in"), ("Dia., in", "size", "in"), ("Size in mm", "size", "mm"),
    ("Bar length (ft)", "bar_length", "ft"), ("Part length inches", "part_length", "inches"), ("Cycle time (s)", "cycle_time", "s"),
    ("Cycle (min)", "cycle_time", "min"), ("Setup (min)", "setup_hours", "min"), ("Scrap %", "scrap_rate", "%"),
    ("% scrap", "scrap_rate", "%"), ("Scrap (percent)", "scrap_rate", "%"), ("Rate (%)", "scrap_rate", "%"),
    ("Rate ($/hr)", "machine_rate", ""), ("Machine rate ($/h)", "machine_rate", ""), ("Qty (pcs)", "quantity", ""),
    ("Price ($/lb)", "material_price", "per lb"), ("Price/lb", "material_price", "per lb"), ("$/kg", "material_price", "per kg"),
    ("Material price per 100 lb", "material_price", "per 100 lb"), ("Part weight (kg)", "part_weight", "kg"),
    ("Part number (ours)", "part_number", ""), ("Sec/pc", "cycle_time", "sec"), ("Min per part", "cycle_time", "min"),
    ("Mat'l $/lb", "material_price", "per lb"), ("Matl price (lb)", "material_price", "per lb"),
])
def test_a_unit_in_a_heading_is_read(heading, name, unit):
    assert PLAN.find(heading) == headings.Column(name, unit, heading)


@pytest.mark.parametrize(("heading", "reason"), [
    ("Part length (kg)", "is part_length, but 'kg' is no unit that it is read in; write the heading without it"),
    ("Qty (kg)", "is quantity, but 'kg' is no unit that it is read in"),
    ("Machine rate ($/min)", "is machine_rate, but '$/min' is no unit that it is read in"),
    ("Credit for chips ($/lb)", "is chip_price, but '$/lb' is no unit that it is read in"),
])
def test_a_unit_that_does_not_fit_is_refused(tmp_path, heading, reason):
    with pytest.raises(headings.HeadingError) as caught:
        read_jobs(csv_list(tmp_path, f"{HEADS},{heading}\n{JOB},1\n"))
    assert [said[:len(reason)] for name, said in caught.value.problems if name == heading] == [reason]


def test_no_everyday_name_hides_an_input_or_another_name():
    for template in TEMPLATES.values():
        called = headings.names(template.inputs, [i for t in TEMPLATES.values() for i in t.inputs.values()])
        for name, item in template.inputs.items():
            for text in (name, item.label):
                other = headings.AMBIGUOUS.get(headings.key(text))
                assert other or called.find(text).name in (name, "material")  # two of a quote have the label Material
    spread = [(headings.key(text), name) for name, texts in headings.EVERYDAY.items() for text in texts.split(", ")]
    assert len({text for text, _ in spread}) == len(set(spread))
    assert not {text for text, _ in spread} & headings.AMBIGUOUS.keys()
    inputs = {name for t in TEMPLATES.values() for name in t.inputs}
    assert headings.EVERYDAY.keys() <= inputs
    assert {name for meanings in headings.AMBIGUOUS.values() for _, name in meanings if name} <= inputs


def test_kerf_is_that_of_the_saw_where_the_cutoff_width_has_a_column(tmp_path):
    assert read_jobs(csv_list(tmp_path, f"{HEADS},kerf\n{JOB},.1\n"))[0].values["kerf"] == ".1"
    without = HEADS.replace("cutoff_width", "Kerf")
    with pytest.raises(headings.HeadingError, match=r"Kerf: can mean two things: write kerf \(of the saw\), or cutoff_width"):
        read_jobs(csv_list(tmp_path, f"{without}\n{JOB}\n"))


def test_bare_numbers_take_the_unit_of_their_heading(tmp_path):
    heads = "Job,Mat'l,Dia (in),Part length [mm],Cut-off (in),Face to cut-off (in),Grip (in),Bar length (ft),Qty,Scrap %,Cycle (min),Price ($/lb)"
    path = csv_list(tmp_path, f"{heads}\nA,303,3/4,57.15,.125,.2,2,12,100,3,1.5,4\nB,303,19 mm,2 1/4 in,.125,.2,2,144 in,100,3 %,90 s,4\n")
    first, second = read_jobs(path)
    assert first.values == {"job": "A", "material": "303", "size": "3/4 in", "part_length": "57.15 mm", "cutoff_width": ".125 in",
                            "face_to_cutoff": ".2 in", "grip_length": "2 in", "bar_length": "12 ft", "quantity": "100",
                            "scrap_rate": "3 %", "cycle_time": "1.5 min", "material_price": "4", "price_per": "lb"}
    assert second.values["size"] == "19 mm"
    assert [p.column for p in plan_jobs([first, second], tmp_path / "out").problems] == ["units", "units"]  # a heading says nothing of results
    outcome = plan_jobs([first, second], tmp_path / "out", units="in")
    assert not outcome.problems
    one, two = (done.values for done in outcome.done)
    assert one["parts_per_bar"] == two["parts_per_bar"] == bf.parts_per_bar(144, 2.25, 0.125, 2.2)
    read = read_inputs(first.values, units="in")
    assert (read["scrap_rate"], read["cycle_time"], read["price_per"]) == (0.03, 90, "lb")


def test_numbers_of_a_workbook_take_the_unit_also_with_a_decimal_comma(tmp_path):
    cells = "".join(f"<c><v>{text}</v></c>" for text in ("1.375", "57.125", "2"))
    heads = "".join(f'<c t="inlineStr"><is><t>{text}</t></is></c>' for text in ("Dia (in)", "Part length (mm)", "Qty"))
    write_xlsx(tmp_path / "jobs.xlsx", f"<row>{heads}</row><row>{cells}</row>")
    values = read_jobs(tmp_path / "jobs.xlsx")[0].values
    for comma in (False, True):
        with pytest.raises(bf.InputError) as caught:  # what is missing, and nothing that can't be read
            fill("job_plan", values, units="in", decimal_comma=comma)
        assert {reason for _, reason in caught.value.problems} == {"is missing"}


@pytest.mark.parametrize(("heads", "cells", "problem"), [
    ("Scrap %", "0.5", "Scrap %: 0.5 under a heading in % can mean 0.5 % or 0.5 of all; write it with its % sign"),
    ("Scrap %", "0", ""), ("Scrap %", "0.5%", ""), ("Scrap %", "2", ""),
    ("Price ($/lb),price_per", "4,kg", "Price ($/lb): the heading says per lb and price_per 'kg'"),
    ("Price ($/lb),price_per", "4,lb", ""), ("Price ($/lb),price_per", ",kg", ""),
])
def test_what_contradicts_its_heading_is_a_problem_of_the_row(tmp_path, heads, cells, problem):
    assert [job.problem for job in read_jobs(csv_list(tmp_path, f"{HEADS},{heads}\n{JOB},{cells}\n"))] == [problem]


def test_wrong_headings_are_listed_one_a_line(tmp_path):
    path = csv_list(tmp_path, "Job,Length,part_lenght,Kerf,OD,Dia,Torque,Qty,Qty\n1,2,3,4,5,6,7,8,9\n")
    shown_ = CliRunner().invoke(main, ["plan", str(path), "--out", str(tmp_path / "out")])
    assert shown_.exit_code == 1
    assert shown_.stderr.splitlines() == [
        "barfuncs: jobs.csv: these columns can't be read:",
        "  Length: can mean two things: write part_length (of the part), or bar_length (of the bar)",
        "  Kerf: can mean two things: write kerf (of the saw), or cutoff_width (of the cut-off tool)",
        "  Dia: means the same as OD (size); keep one of them",
        "  Qty: stands twice in the row of headings",
        "  part_lenght: is not an input of this template; did you mean 'part_length'?",
        "  Torque: is not an input of this template",
        "  a job needs: material, bar_length, part_length, cutoff_width too, which no heading names"]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("heading", "nearest"), [
    ("part_lenght", "part_length"), ("Partlenght", "part_length"), ("Quanity", "quantity"), ("Materail", "material"),
    ("Part weigth", "part_weight"), ("Cutof width", "cutoff_width"), ("Bar lenth", "bar_length"), ("Custmer", "customer"),
])
def test_a_slip_in_a_heading_is_refused_also_in_a_list_that_has_all(tmp_path, heading, nearest):
    assert PLAN.mistyped(heading)
    with pytest.raises(headings.HeadingError, match=f"{heading}: is not an input of this template; did you mean '{nearest}'"):
        read_jobs(csv_list(tmp_path, f"{HEADS},{heading}\n{JOB},1\n"))


@pytest.mark.parametrize("heading", ["Buyer", "Ship via", "Customer PO", "Material cert", "Order date", "Finish", "Heat treat", "Job type",
                                     "Routing", "Bin", "Promise date", "Ship Date", "Plating", "Supplier", "Priority", "Due", "UOM", "Comments", "Sales rep", "Tax code", "CustomerPO", "Notes"])
def test_a_column_that_resembles_no_input_is_left_out_and_said(tmp_path, heading):
    jobs = read_jobs(csv_list(tmp_path, f"{heading},{HEADS}\nx,{JOB}\n"))
    assert jobs[0].values == dict(zip(HEADS.split(","), JOB.split(","), strict=True))
    assert [(n.row, n.value, n.reason) for n in jobs.notes] == [(1, heading, "1 column left out: no input is called so")]


def test_a_list_of_75_columns(tmp_path):
    more = [f"Field {n} of the system" for n in range(64)]
    path = csv_list(tmp_path, ",".join([*more[:30], HEADS, *more[30:]]) + "\n" + ",".join(["x"] * 30 + [JOB] + ["y"] * 34) + "\n")
    jobs = read_jobs(path)
    assert jobs[0].values == dict(zip(HEADS.split(","), JOB.split(","), strict=True))
    assert jobs.notes[0].reason == "64 columns left out: no input is called so"
    assert jobs.notes[0].value == ", ".join([*more[:20], "..."])


def test_unknown_headings_are_refused_where_a_job_lacks_something(tmp_path):
    heads = HEADS.replace("size", "Bore of spindle")
    with pytest.raises(headings.HeadingError) as caught:
        read_jobs(csv_list(tmp_path, f"{heads}\n{JOB}\n"))
    assert dict(caught.value.problems) == {"Bore of spindle": "is not an input of this template",
                                           "a job needs": "size too, which no heading names"}


def test_a_nearest_name_is_sought_for_the_first_twenty_only(tmp_path, monkeypatch):
    sought = []
    monkeypatch.setattr(headings.difflib, "get_close_matches", lambda word, *_: sought.append(word) or [])
    with pytest.raises(headings.HeadingError) as caught:
        read_jobs(csv_list(tmp_path, ",".join(f"Thing {n}" for n in range(400)) + "\n1\n"))
    assert len(sought) == 20
    assert caught.value.problems[20] == ("380 more", "are not inputs of this template either")
    sought.clear()
    with pytest.raises(bf.InputError) as caught:
        fill("job_plan", {f"thing {n}": 1 for n in range(5000)})
    assert len(sought) == 20
    assert ("4,980 more", "are not inputs of this template either") in caught.value.problems


@pytest.mark.parametrize(("given", "nearest"), [("qty", "quantity"), ("Dia", "size"), ("part_lenght", "part_length"), ("p/n", "part_number")])
def test_everyday_names_are_what_fill_suggests(given, nearest):
    with pytest.raises(bf.InputError, match=f"{given}: is not an input of this template; did you mean '{nearest}'"):
        fill("job_plan", {given: 1})


@settings(deadline=None, max_examples=300)
@given(st.text(max_size=30) | st.lists(st.sampled_from(["part", "length", "(mm)", "%", "/", "Qty", "price", "per", "lb", "[", "]", "in", ","]),
                                       max_size=6).map(" ".join))
def test_any_heading_is_an_input_or_has_a_reason(text):
    for called in (PLAN, QUOTE):
        column = called.find(text)
        if column is None:
            assert called.problem(text)
        else:
            assert column.name == headings.ASIDE or column.name in called.known


# --- what is left out ----------------------------------------------------------------------------------------------

def test_titles_and_totals_are_left_out_and_said(tmp_path):
    path = csv_list(tmp_path, f"Jobs for week 12,,,,,,,,,,\n\nLathe 3,late shift,,,,,,,,,\n{HEADS}\n{JOB}\n{HEADS}\n{JOB.replace('J1', 'J2')}\n"
                              "Subtotal,,,,,,,,,,200\nTotal parts:,,,,,,,,,,\"1,200\"\n")
    jobs = read_jobs(path)
    assert [(job.row, job.values["job"]) for job in jobs] == [(5, "J1"), (7, "J2")]
    assert [(n.row, n.value, n.reason) for n in jobs.notes] == [
        (1, "Jobs for week 12", "left out: above the headings in row 4"), (3, "Lathe 3 | late shift", "left out: above the headings in row 4"),
        (6, " | ".join(HEADS.split(","))[:60], "left out: the headings once more"),
        (8, "Subtotal | 200", "left out: a total of the rows above"), (9, "Total parts: | 1,200", "left out: a total of the rows above")]
    done = CliRunner().invoke(main, ["plan", str(path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0
    assert "Row 1 of jobs.csv: left out: above the headings in row 4: Jobs for week 12" in done.stdout
    assert "Row 8 of jobs.csv: left out: a total of the rows above: Subtotal | 200" in done.stdout


@pytest.mark.parametrize("row", [
    "Total,,303,,1,2,.125,.2,2,144,100",  # a job that is called so
    "Total Valve Co,,,,,,,,,,100", "Total,,for the customer,,,,,,,,100", "J9,,,,,,,,,,100"])
def test_what_is_no_total_stays_a_job(tmp_path, row):
    jobs = read_jobs(csv_list(tmp_path, f"{HEADS}\n{JOB}\n{row}\n"))
    assert len(jobs) == 2
    assert jobs.notes == ()


def test_a_total_in_the_midst_stays_a_job(tmp_path):
    assert len(read_jobs(csv_list(tmp_path, f"{HEADS}\n{JOB}\nTotal,,,,,,,,,,100\n{JOB}\n"))) == 3


def test_a_total_in_a_workbook_with_a_formula(tmp_path):
    formulas("Total", *[None] * 8, "=SUM(A3:H3)+1200")(tmp_path / "jobs")
    jobs = read_jobs(tmp_path / "jobs.xlsx")
    assert [job.values["job"] for job in jobs] == ["J1"]
    assert [(n.row, n.value) for n in jobs.notes] == [(3, "Total | 1200")]


def test_a_block_of_data_above_the_headings_is_not_taken_for_them(tmp_path):
    path = csv_list(tmp_path, f"Customer,Acme,Units,mm,Material,303,,,,,\nPrinted,Monday,,,,,,,,,\n{HEADS}\n{JOB}\n")
    assert [job.row for job in read_jobs(path)] == [4]


def test_a_title_with_commas_above_headings_with_semicolons(tmp_path):
    path = csv_list(tmp_path, "Week 12, late shift\n" + f"{HEADS}\n{JOB}\n".replace(",", ";"))
    assert read_jobs(path)[0].values["job"] == "J1"


def test_headings_are_looked_for_in_the_first_twenty_rows(tmp_path):
    assert len(read_jobs(csv_list(tmp_path, "title\n" * 19 + f"{HEADS}\n{JOB}\n"))) == 1
    with pytest.raises(headings.HeadingError):
        read_jobs(csv_list(tmp_path, "title\n" * 20 + f"{HEADS}\n{JOB}\n"))


# --- characters ----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("character", "escape"), [
    ("\x00", "\\x00"), ("\x1b", "\\x1b"), ("\n", "\\x0a"), ("\x7f", "\\x7f"), ("\x9b", "\\x9b"), ("\u200b", "\\u200b"),
    ("\u202e", "\\u202e"), ("\u2066", "\\u2066"), ("\u2028", "\\u2028"), ("\ufeff", "\\ufeff"), ("\uffff", "\\uffff"),
    ("\ud800", "\\ud800"), ("\U000e0001", "\\U000e0001"), ("\U0001ffff", "\\U0001ffff")])
def test_unseen_characters_are_shown_as_escapes(character, escape):
    assert escaped(f"a{character}b") == f"a{escape}b"


@given(st.text())
def test_what_is_shown_can_be_seen_and_letters_stay(text):
    assert all(c.isprintable() or c.isspace() for c in escaped(text))
    assert escaped("M\u00fcller \u00d8 3\u00be \u2013 \u65e5\u672c") == "M\u00fcller \u00d8 3\u00be \u2013 \u65e5\u672c"


@pytest.mark.parametrize(("character", "name"), [
    ("\uffff", "U+FFFF"), ("\ufffe", "U+FFFE"), ("\ufdd0", "U+FDD0"), ("\U0010ffff", "U+10FFFF"), ("\x07", "U+0007"), ("\x1c", "U+001C"),
    ("\x85", "U+0085"), ("\x9b", "U+009B")])
def test_what_no_workbook_can_hold_is_refused_by_name(tmp_path, character, name):
    assert unfit(f"a{character}") == name
    path = csv_list(tmp_path, f"{HEADS}\n{JOB.replace('J1', f'J{character}1')}\n{JOB}\n")
    outcome = plan_jobs(read_jobs(path), tmp_path / "out")
    assert [(p.row, p.reason) for p in outcome.problems] == [
        (2, f"job has the character {name}, which can't be seen and which no workbook can hold; remove it")]
    assert [row for row, *_ in outcome.done] == [3]


def test_nothing_of_a_list_reaches_the_terminal_as_it_is(tmp_path):
    evil = "\x1b[2J\u202e\x9b\x07"
    path = csv_list(tmp_path, f"{evil}title,,\n{HEADS},{evil}\n{JOB.replace('303', evil)},x\n{JOB.replace(',100', f',{evil}')},x\n")
    named = path.with_name("jobs\u202e.csv")
    named.write_bytes(b"")
    lists = {path: "above the headings", csv_list(tmp_path / "a", f"job{evil},size{evil},x\n1,2,3\n"): "is not an input", named: "is empty",
             csv_list(tmp_path / "b", f"{HEADS}\n{JOB.replace(',100', f',{chr(0x202e)}100')}\n"): "can't be read as a count"}
    for file, about in lists.items():
        said = CliRunner().invoke(main, ["plan", str(file), "--out", str(tmp_path / "out"), "--replace"])
        assert said.exit_code == 1
        assert all(c.isprintable() or c == "\n" for c in said.output)
        assert "\\u202e" in said.output
        assert about in " ".join(said.output.split())


# --- CSV within limits ---------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("limit", "value", "text", "message"), [
    ("MOST_ROWS", 5, "a\n" * 6, "has more than 5 rows, blank ones counted"), ("MOST_ROWS", 5, "\n" * 60, "has more than 5 rows"),
    ("MOST_ROWS", 5, "\r" * 60, "has more than 5 rows"), ("MOST_COLUMNS", 3, "a,b,c\n1,2,3,4\n", r"has more than 3 columns \(row 2\)"),
    ("MOST_CELLS", 5, "a,b\n1,2\n1,2\n", "has more than 5 filled cells"),
    ("LONGEST_CELL", 5, "a,b\n1,123456\n", r"has a cell with more than 5 characters \(row 2\)"),
    ("MOST_CHARACTERS", 9, "abc,def\nghi,jkl\n", "has more than 9 characters"),
])
def test_a_csv_is_read_no_further_than_the_limit(monkeypatch, limit, value, text, message):
    monkeypatch.setattr(limits, limit, value)
    with pytest.raises(ValueError, match=message):
        list(read_csv(text.encode()))


def test_blank_cells_at_the_end_of_a_row_are_no_columns(monkeypatch):
    monkeypatch.setattr(limits, "MOST_COLUMNS", 3)
    assert list(read_csv(b"a,b,c,,,,\n,,,,,,\n1,,,,,\n")) == [["a", "b", "c"], [], ["1"]]


@pytest.mark.parametrize("text", ["x" * 2_000_000, 'a,b\n"' + "x\n" * 1_000_000, "a,b\n" + '"\n",' * 300_000, "," * 1_000_001])
def test_a_row_without_an_end_is_refused(text):
    with pytest.raises(ValueError, match=r"has a row with more than 1,000,000 characters|can't be read from row 2 on \(field larger"):
        list(read_csv(text.encode()))


def test_only_a_row_may_not_be_too_long(monkeypatch):
    monkeypatch.setattr(csv_text, "LONGEST_ROW", 10)
    assert len(list(read_csv(b"a,b\n" + b'"1\n2",34\n' * 50))) == 51
    with pytest.raises(ValueError, match="has a row with more than 10 characters"):
        list(read_csv(b"a,b\n" * 50 + b'"1\n2\n3\n4",5\n'))


@pytest.mark.parametrize("data", [
    b"job\0,1\n", "job,size\n".encode("utf-32"), "job,size\n".encode("utf-16-le"), codecs.BOM_UTF16_LE + b"a\0\0\0b\0"])
def test_a_text_with_nul_bytes_is_refused(data):
    with pytest.raises(ValueError, match=r"is not a CSV text; save it as CSV UTF-8"):
        list(read_csv(data))


@pytest.mark.parametrize(("data", "line"), [
    (b"a\n" * 9_000 + b"\xff,b\n", "line 9001"), ("a\n".encode("utf-16") + b"\x00\xd8x\x00", "line 2"), (codecs.BOM_UTF16_BE + b"\0a\0", "line 1")])
def test_bytes_that_are_no_text_are_told_with_their_line(data, line):
    with pytest.raises(ValueError, match=rf"is not a CSV text in UTF-8 \({line} has other bytes\)"):
        list(read_csv(data))


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0\ufeff"), max_size=6), min_size=2, max_size=4),
                min_size=1, max_size=5), st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_rows_come_back_as_they_were_written(table, encoding):
    table = [["first", "row", "of", "it"], *table]
    text = io.StringIO(newline="")
    csv.writer(text).writerows(table)
    read = list(read_csv(text.getvalue().encode(encoding)))
    assert [row + [""] * (len(full) - len(row)) for row, full in zip(read, table, strict=True)] == table


def test_a_table_of_the_shops_own_names_twenty_columns_at_most():
    with pytest.raises(bf.InputError) as caught:
        datafile.table_rows(",".join(f"c{n}" for n in range(400)).encode(), "table", ["name"], [])
    assert len(caught.value.problems) == 21
    assert caught.value.problems[-1] == ("380 more", "are not columns either")


# --- xlsx piece by piece -------------------------------------------------------------------------------------------

def read(path: Path) -> list[tuple[int, list]]:
    """The rows as the other process reads them, read in this one."""
    out = io.BytesIO()
    sheet_rows.write_rows(out, str(path), path.name)
    *found, told = map(json.loads, out.getvalue().splitlines())
    if "refused" in told:
        raise bf.WorkbookError(told["refused"])
    return [(row, cells) for row, cells in found]


def test_cells_in_all_their_spellings(tmp_path):
    texts = (b"<si><t>plain</t></si><si><r><t>rich </t></r><r><rPr><b/></rPr><t>text</t></r><rPh><t>not this</t></rPh></si>"
             b"<si><t>two_x000D_lines</t></si>")
    cells = ('<row r="2" spans="1:3"><c r="B2" t="s"><v>0</v></c><c r="D2" t="s"><v>1</v></c></row><row r="5"><c t="s"><v>2</v></c>'
             '<c t="inlineStr"><is><r><t>in</t></r><r><t>line</t></r><rPh><t>no</t></rPh></is></c><c t="b"><v>1</v></c><c t="e"><v>#N/A</v></c>'
             '<c><v>12</v></c><c t="n"><v>1.5</v></c><c><v>-1E-3</v></c><c t="str"><f>A1</f><v></v></c><c><v>12345678901234567</v></c>'
             '<c s="1"><v>45000</v></c><c t="d"><v>2026-03-08</v></c><c/><c s="1"/><c r="Z5"><f>1</f><v>2</v></c></row>')
    write_xlsx(tmp_path / "x.xlsx", cells, texts=texts)
    assert list(read_rows(tmp_path / "x.xlsx")) == [
        (2, [None, "plain", None, "rich text"]),
        (5, ["two\rlines", "inline", True, CellError("#N/A"), 12, 1.5, -0.001, None, 1.2345678901234568e16,
             datetime.datetime(2023, 3, 15), datetime.date(2026, 3, 8), *[None] * 14, 2])]


@pytest.mark.slow
@pytest.mark.parametrize(("code", "number", "value"), [
    ("0.00", 1.5, 1.5), ("0%", 0.03, "3%"), ("0.00%", 0.0325, "3.25%"), ("m/d/yyyy", 45000, datetime.datetime(2023, 3, 15)),
    ("d-mmm", 0.5, datetime.time(12)), ("[h]:mm", 1.5, datetime.timedelta(hours=36)), ('0 "days"', 3, 3), ("[Red]0.0", 3, 3),
    ("[$-409]d mmm", 45000, datetime.datetime(2023, 3, 15)), ("yyyy", 1e300, CellError("#VALUE!")), ("0\\d", 4, 4),
])
def test_number_formats_make_dates_and_percents(tmp_path, code, number, value):
    styles = ('<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts><numFmt numFmtId="170" '
              f'formatCode="{code.replace(chr(34), "&quot;")}"/></numFmts><cellStyleXfs><xf numFmtId="14"/></cellStyleXfs>'
              '<cellXfs><xf numFmtId="0"/><xf numFmtId="170"/></cellXfs></styleSheet>')
    write_xlsx(tmp_path / "x.xlsx", f'<row><c s="1"><v>{number!r}</v></c></row>', extra={"xl/styles.xml": styles.encode()})
    assert list(read_rows(tmp_path / "x.xlsx")) == [(1, [value])]


def test_days_that_count_from_1904(tmp_path):
    write_xlsx(tmp_path / "x.xlsx", '<row><c s="1"><v>1</v></c></row>')
    book = package.read_parts(tmp_path / "x.xlsx")["xl/workbook.xml"].replace(b"<sheets>", b'<workbookPr date1904="1"/><sheets>')
    write_xlsx(tmp_path / "x.xlsx", '<row><c s="1"><v>1</v></c></row>', extra={"xl/workbook.xml": book})
    assert list(read_rows(tmp_path / "x.xlsx")) == [(1, [datetime.datetime(1904, 1, 2)])]


@pytest.mark.parametrize(("rows_", "message"), [
    ('<row r="3"/><row r="2"/>', "row 2 comes after row 3"), ('<row r="3"/><row r="3"/>', "row 3 comes after row 3"),
    ('<row r="0"/>', "row 0 comes after row 0"), ('<row r="1048577"/>', "row 1048577 comes after"), ('<row r="x"/>', "row x comes after"),
    ('<row r="2"><c r="B3"/></row>', "a cell in row 2 is called 'B3'"), ('<row><c r="XFE1"/></row>', "a cell in row 1 is called 'XFE1'"),
    ('<row><c r="1"/></row>', "a cell in row 1 is called '1'"), ('<row><c r="a1"/></row>', "is called 'a1'"),
    ('<row><c t="s"><v>0</v></c></row>', "the text of row 1, column 1 is missing"), ('<row><c t="s"><v>-1</v></c></row>', "the text of"),
    ('<row><c r="A1"><v>x</v></c></row>', "A1 holds 'x', which is no number"), ("<row><c><v>nan</v></c></row>", "which is no number"),
    ("<row><c><v>1_0</v></c></row>", "which is no number"), ("<row><c><v>1E400</v></c></row>", "the number in row 1, column 1 is too large"),
    (f"<row><c><v>{'9' * 500}</v></c></row>", "which is no number"), ('<row><c t="b"><v>2</v></c></row>", '[:-3] + "</row>", "can't be read"),
    ('<row><c t="zz"><v>2</v></c></row>', "which can't be read"),
])
def test_cells_that_are_damaged_are_named(tmp_path, rows_, message):
    write_xlsx(tmp_path / "x.xlsx", rows_)
    with pytest.raises(bf.WorkbookError, match=r"x\.xlsx can't be read as a workbook .*") as caught:
        read(tmp_path / "x.xlsx")
    assert message in str(caught.value)


@pytest.mark.parametrize(("module", "limit", "value", "made", "message"), [
    (limits, "MOST_ROWS", 1, {}, "has more than 1 rows, blank ones counted"),
    (limits, "MOST_COLUMNS", 10, {}, r"has more than 10 columns \(row 1\)"),
    (limits, "MOST_CELLS", 15, {}, "has more than 15 filled cells"),
    (limits, "LONGEST_CELL", 13, {}, r"has a cell with more than 13 characters \(row 1, column 8\)"),
    (limits, "LONGEST_CELL", 20, {"texts": b"<si><t>" + b"x" * 21 + b"</t></si>"}, "has a text with more than 20 characters"),
    (limits, "MOST_CHARACTERS", 80, {}, "has more than 80 characters"),
    (limits, "MOST_CHARACTERS", 20, {"texts": b"<si><t>" + b"x" * 21 + b"</t></si>"}, "has more than 20 characters of text"),
    (sheet_rows, "MOST_CELLS", 15, {}, "has more than 15 cells, blank ones counted"),
    (sheet_rows, "MOST_TEXTS", 2, {"texts": b"<si/>" * 3}, "has more than 2 different texts"),
    (sheet_rows, "MOST_STYLES", 1, {}, "has more than 1 cell styles"),
    (sheet_rows, "MOST_BYTES", 900, {}, r"its part xl/worksheets/sheet1\.xml unpacks to more than 0 MB"),
    (package, "MOST_PARTS", 5, {}, "has more than 5 parts"),
    (package, "MOST_BYTES", 900, {}, "unpacks to more than 0 MB"),
    (package, "LONGEST_TAG", 50, {"before": b"<!--" + b"x" * 70_000 + b"-->"}, "is damaged: its part .* has a tag or comment of more than 50 bytes"),
    (package, "LARGEST_FILE", 100, {}, "is larger than 0 MB"),
])
def test_an_xlsx_is_read_no_further_than_the_limit(tmp_path, monkeypatch, module, limit, value, made, message):
    write_xlsx(tmp_path / "x.xlsx", **made)
    assert len(read(tmp_path / "x.xlsx")) == 2
    monkeypatch.setattr(module, limit, value)
    with pytest.raises(bf.WorkbookError, match=rf"^x\.xlsx:? {message}"):
        read(tmp_path / "x.xlsx")


@pytest.mark.parametrize(("xml", "reason"), [
    (b"<a>" * 201 + b"</a>" * 201, "is nested more than 200 deep"), (b"<!DOCTYPE a []><a/>", "has a document type declaration"),
    (b"<a><b></a>", "is no good XML"), (b"<a b:c='1'/>", "is no good XML"), (b"", "is no good XML"), (b"<a", "is no good XML"),
    (b"<?xml version='1.0' encoding='no-such'?><a/>", "is no good XML"),
])
def test_xml_beyond_the_limits(xml, reason):
    with pytest.raises(BadXML, match=reason):
        read_xml([xml])


@pytest.mark.parametrize("rows_", ["<a>" * 250 + "</a>" * 250, "<row><c>" + "<c>" * 250 + "</c>" * 250 + "</c></row>"])
def test_a_sheet_that_is_nested_too_deep(tmp_path, rows_):
    write_xlsx(tmp_path / "x.xlsx", rows_)
    with pytest.raises(bf.WorkbookError, match=r"^x\.xlsx is damaged: its part xl/worksheets/sheet1\.xml is nested more than 200 deep$"):
        read(tmp_path / "x.xlsx")


def test_xml_in_pieces_is_read_as_in_one():
    xml = "<a xmlns='urn:x' xmlns:y='urn:y'><b c='1'>t\u00e9xt</b><y:d/></a>".encode()
    heard: list = []
    for chunks in ([xml], [xml[n:n + 1] for n in range(len(xml))]):
        heard.append([])
        read_xml(chunks, lambda tag, attributes: heard[-1].append((tag, attributes)), heard[-1].append, heard[-1].append)
    whole, pieces = heard
    pieces[2:6] = ["".join(pieces[2:6])]
    assert whole == [("a", {}), ("b", {"c": "1"}), "t\u00e9xt", "b", ("d", {}), "d", "a"]
    assert pieces == whole


def test_a_workbook_with_formulas_is_calculated_within_the_limits_of_a_list(tmp_path, monkeypatch):
    formulas("=1+1")(tmp_path / "jobs")
    assert list(read_rows(tmp_path / "jobs.xlsx"))[2] == (3, [2])
    asked = {}

    def calculate(path, seconds, memory):
        asked.update(seconds=seconds, memory=memory)
        raise bf.WorkbookError("no")

    monkeypatch.setattr(list_file.sandbox, "calculate", calculate)
    with pytest.raises(bf.WorkbookError, match=r"jobs\.xlsx: no value is stored for the formulas in Sheet!A3, and they can't be calculated here \(no\)"):
        list(read_rows(tmp_path / "jobs.xlsx"))
    assert asked == {"seconds": 3, "memory": 400_000_000}


def test_parts_packed_in_another_way_are_refused(tmp_path):
    write_xlsx(tmp_path / "x.xlsx", method=zipfile.ZIP_LZMA)  # unpacking it may take as much memory as it says itself
    with pytest.raises(bf.WorkbookError, match=r"^x\.xlsx is not an xlsx workbook, or is damaged \(its part .* is packed in another way\)$"):
        list(read_rows(tmp_path / "x.xlsx"))


def test_a_workbook_with_other_sheets_that_are_large_is_read(tmp_path):
    other = b"<worksheet>" + b" " * 50_000_000 + b"</worksheet>"
    write_xlsx(tmp_path / "x.xlsx", extra={"xl/worksheets/sheet2.xml": other})
    assert [row for row, _ in read_rows(tmp_path / "x.xlsx")] == [1, 2]


# --- real sizes ----------------------------------------------------------------------------------------------------

QUICK = ("xlsx: a million blank rows", "xlsx: 0.9 MB, rows of 16,384 columns, filled", "xlsx: one text of 90 MB", "xlsx: 60,000 defined names",
         "xlsx: XML 100,000 deep", "xlsx: entities that double", "csv: 49 MB of line ends", "csv: 49 MB in one line", "csv: 100,000 columns",
         "csv: a quotation mark never closed", "csv: NUL bytes")
READ = """
import resource, sys
from pathlib import Path
from barfuncs.filling import lists
try:
    print(len(lists.read_jobs(Path(sys.argv[1]))), "read")
except ValueError as error:
    print(error)
for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN):
    print(resource.getrusage(who).ru_maxrss)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="memory is counted in another way elsewhere")
@pytest.mark.parametrize("name", QUICK)
def test_hostile_lists_of_real_size_take_little_memory(tmp_path, name):
    resource = pytest.importorskip("resource")
    # Made in a process of its own: one that is started by a large one is counted as large.
    here = Path(__file__).parent
    subprocess.run([sys.executable, str(here / "hostile_lists.py"), "--make", name, str(tmp_path / "list")], check=True,
                   env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)})
    path, = tmp_path.glob("list.*")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    done = subprocess.run([sys.executable, "-c", READ, str(path)], capture_output=True, text=True, check=True)
    said, own, apart_ = done.stdout.splitlines()
    assert said.startswith(path.name) or said == "1 read"
    assert max(int(own), int(apart_)) < max(500_000, before + 50_000)


def test_the_lists_of_the_proof_are_all_made_anew_each_time(tmp_path):
    LISTS["csv: a NUL byte in a cell"](tmp_path / "list")
    assert "\0" in (tmp_path / "list.csv").read_text()
    assert ROW in GOOD
    assert CELLS in GOOD
