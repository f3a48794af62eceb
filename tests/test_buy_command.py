"""`barfuncs buy` as a person types it: the plan on the terminal, the workbook, and every mistake with exit status 1 and no file."""

import csv
import datetime
import io
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import openpyxl
import pytest
import week_files
from click.testing import CliRunner

from barfuncs.buying import from_files
from barfuncs.buying.job_list import read_needs
from barfuncs.buying.stocks import Stocks
from barfuncs.buying.supply import rack_bars
from barfuncs.buying.workbook import MOST_SAWING
from barfuncs.cli.main import main
from barfuncs.rack.goods_in import read_ordered
from barfuncs.rack.listing import read_bars
from barfuncs.templates.shop import BUYING, RATES_SHEET, SUPPLIED, SUPPLIED_SHEET, read_shop

HEAD = "job,customer,machine,units,material,shape,size,part length,cutoff width,qty,certificate,mixed heats,need by,piece length\n"
GOOD = "J-1,Harrow Pump Works,Lathe 1,in,303,round,1,2.25,.125,100,3.1,,,\nJ-2,Tarn Valve,Lathe 2,in,Brass C36000,hex,3/4,1 3/8,.125,300,,yes,,\n"
BARS = "Bar id,Bars,Material,Shape,Size,Length,Heat,Certificate,Owner,Value,Units\n"
SHOP = "workbook_templates/shop.xlsx"


def typed(*words, **options):
    return CliRunner().invoke(main, [str(word) for word in words], **options)


@pytest.fixture
def bought(tmp_path):
    """A function that types the command for a list of these rows: what came of it, and the file that it should write."""
    def buy(rows=GOOD, *words, shop=SHOP, rack="", out="buy.xlsx", seconds=1, head=HEAD):
        jobs, target = tmp_path / "jobs.csv", tmp_path / out
        jobs.write_text(head + rows, "utf-8")
        if rack:
            (tmp_path / "bars.csv").write_text(BARS + rack, "utf-8")
            words = (*words, "--rack", tmp_path / "bars.csv")
        if shop:
            words = (*words, "--shop", shop)
        return typed("buy", jobs, "--out", target, "--seconds", seconds, *words), target

    return buy


def money(output, label):
    return float(re.search(rf"^{label}[^\n]*?(-?[\d,]+\.\d\d)\b", output, re.MULTILINE)[1].replace(",", ""))


# --- what it does --------------------------------------------------------------------------------------------------


def test_a_list_is_bought_for(bought):
    rack = "B1,2,303,round,1,144,H7,3.1,own,50,in\nB2,1,303,round,1,60,,none,Tarn Valve,,in\n"
    done, out = bought(rack=rack)
    assert done.exit_code == 0, done.output
    assert out.exists()
    text = done.output
    assert all(len(line) <= 80 for line in text.splitlines())
    for words in ("To buy (1 line)", "Brass C36000, hexagon 0.75", "From the rack", "B1", "J-1", "Goes back on the rack", "Saw: ", "No plan costs less than",
                  "CAUTION: clamp both sides of the cut", "Contains lead", "2 jobs of jobs.csv: order, saw, blanks and rack are in"):
        assert words in text, words
    assert "B2" not in text
    assert re.search(r"proved best|within [\d.]+% of the\s+best possible", text)
    cost = money(text, "Order") + money(text, "Saw") + money(text, "Bars of the rack") + money(text, "Less")
    assert money(text, "Cost") == pytest.approx(cost, abs=0.03)
    assert money(text, "No plan") <= money(text, "Cost")


def test_nothing_to_buy(bought):
    done, out = bought("J-1,,Lathe 1,in,303,round,1,2.25,.125,20,,,,\n", rack="B1,2,303,round,1,144,H7,3.1,own,20,in\n")
    assert done.exit_code == 0
    assert out.exists()
    assert "Nothing is to be bought: the rack has it." in done.output


def test_metric_with_a_decimal_comma(bought):
    head = "job;units;material;shape;size;part_length;cutoff_width;grip_length;face_to_cutoff;quantity;supplied_length;material_price;price_per\n"
    done, out = bought("A;mm;1.4305;round;19,05;34,5;3;60;5;100;3 m;7,5;kg\n", "--decimal-comma", "--kerf", "2,5", shop="", head=head)
    assert done.exit_code == 0, done.output
    assert out.exists()
    assert "Each (mm)" in done.output
    assert "Weight (kg)" in done.output
    plain, _ = bought("A;mm;1.4305;round;19,05;34,5;3;60;5;100;3 m;7,5;kg\n", "--kerf", "2.5", "--replace", shop="", head=head)
    assert plain.exit_code == 1
    assert "--decimal-comma" in " ".join(plain.output.split())


def test_a_file_that_is_there_stays(bought, tmp_path, monkeypatch):
    (tmp_path / "buy.xlsx").write_bytes(b"of last week")
    with monkeypatch.context() as nothing_planned:
        nothing_planned.setattr(from_files, "plan_buying", None)
        again, out = bought()
    assert again.exit_code == 1
    assert "exists already; use --replace to overwrite it" in again.output
    assert out.read_bytes() == b"of last week"
    assert bought(GOOD, "--replace")[0].exit_code == 0
    assert openpyxl.load_workbook(out).sheetnames[0] == "Order"


@pytest.mark.parametrize(("out", "words"), [("buy.csv", "the workbook is an .xlsx file"), ("no/buy.xlsx", "there is no folder"), (" ", "a name is needed")])
def test_a_place_that_can_not_be_written_to_is_said_first(bought, out, words, monkeypatch, tmp_path):
    monkeypatch.setattr(from_files, "plan_buying", None)
    monkeypatch.chdir(tmp_path)
    root = Path(__file__).parent.parent
    done, target = bought(out=out, shop=root / SHOP)
    if out.strip():
        assert done.exit_code == 1
        assert words in " ".join(done.output.split())
    else:
        assert typed("buy", tmp_path / "jobs.csv", "--out", out).exit_code == 2
    assert not target.exists()


def test_a_list_is_not_overwritten_by_its_own_plan(tmp_path):
    book = openpyxl.Workbook()
    for line in csv.reader(io.StringIO(HEAD + GOOD)):
        book.active.append(line)
    path = tmp_path / "jobs.xlsx"
    book.save(path)
    before = path.read_bytes()
    done = typed("buy", path, "--shop", SHOP, "--out", path, "--replace")
    assert done.exit_code == 1
    assert "is read here too" in " ".join(done.output.split())
    assert path.read_bytes() == before


@pytest.mark.slow
def test_what_was_ordered_comes_in_and_is_on_the_rack(bought, tmp_path):
    """The workbook is the list of what was ordered; once all of it is booked the same jobs need nothing more."""
    done, out = bought(GOOD + "J-3,,Lathe 2,in,12L14,round,1,3,.125,40,2.1,,,\n", seconds=3)
    assert done.exit_code == 0, done.output
    units, ordered = read_ordered(out)
    assert units == "in"
    assert sum(line.bar.bars for line in ordered) == int(re.search(r"Order: (\d+) bar", done.output)[1])
    assert {name for line in ordered for name, _ in line.jobs} == {"J-1", "J-2", "J-3"}
    (tmp_path / "came.csv").write_text(week_files.csv_of({
        "Order line": line.line, "Bars": line.bar.bars, "Material": line.bar.material, "Shape": line.bar.shape, "Size": line.bar.size,
        "Length": line.bar.length / 1000, "Heat": f"H{n}", "Certificate": line.bar.certificate, "Value": 100, "Smallest size": line.bar.size,
        "Largest size": line.bar.size} for n, line in enumerate(ordered)), "utf-8")
    history = tmp_path / "rack.csv"
    first = typed("rack", "receive", "--rack", history, "--units", "in", "--material", "303", "--shape", "round", "--size", "2", "--length", "40")
    assert first.exit_code == 0, first.output
    booked = typed("rack", "goods-in", out, tmp_path / "came.csv", "--rack", history, "--book")
    assert booked.exit_code == 0, booked.output
    assert "as ordered" in booked.output
    again, _ = bought(GOOD + "J-3,,Lathe 2,in,12L14,round,1,3,.125,40,2.1,,,\n", "--rack", history, out="again.xlsx", shop=cheap_rack(tmp_path), seconds=3)
    assert again.exit_code == 0, again.output
    assert "Nothing is to be bought: the rack has it." in again.output


def test_what_the_sheet_book_says_brings_the_rack_to_what_the_sheet_rack_says(bought, tmp_path):
    history = tmp_path / "rack.csv"
    (tmp_path / "first.csv").write_text(BARS + "B1,3,303,round,1,144,H7,3.1,own,90,in\nB2,2,303,round,1,50,,none,Tarn Valve,,in\n", "utf-8")
    assert typed("rack", "receive", "--rack", history, "--from", tmp_path / "first.csv").exit_code == 0
    jobs = GOOD + "J-3,Tarn Valve,,in,303,round,1,,,9,,,,8 1/4\nJ-4,,Lathe 2,in,12L14,round,1,3,.125,40,2.1,yes,,\nJ-5,Harrow,,in,12L14,round,1,,,3,,yes,,9\n"
    done, out = bought(jobs, "--rack", history, shop=cheap_rack(tmp_path), seconds=2)
    assert done.exit_code == 0, done.output
    _, ordered = read_ordered(out)
    (tmp_path / "came.csv").write_text(week_files.csv_of({
        "Order line": line.line, "Bar id": f"L{line.line}", "Bars": line.bar.bars, "Material": line.bar.material, "Shape": line.bar.shape, "Size": line.bar.size,
        "Length": line.bar.length / 1000, "Heat": f"N{n}", "Certificate": line.bar.certificate, "Value": 100, "Smallest size": line.bar.size,
        "Largest size": line.bar.size} for n, line in enumerate(ordered)), "utf-8")
    booked = typed("rack", "goods-in", out, tmp_path / "came.csv", "--rack", history, "--book")
    assert booked.exit_code == 0, booked.output
    book = openpyxl.load_workbook(out, data_only=True)
    rows = [row for row in book["Book"].iter_rows(min_row=9, min_col=2, max_col=13, values_only=True) if row[5]]
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    assert {row[1].startswith("order line") for row in rows} == {True, False}
    assert any(row[7] for row in rows), "no bar that two jobs share"
    assert {row[6] for row in rows} | {name for row in rows for name in (row[7] or "").split(", ")} - {""} == {"J-1", "J-2", "J-3", "J-4", "J-5"}
    for _, bar, _, _, owner, taken, job, _, back, length, _, box in rows:
        assert box == "\u25a1"
        bar = bar.replace("order line ", "L")
        one = typed("rack", "take", bar, "--bars", taken, "--job", job, "--rack", history, *(() if owner == "own" else ("--customer", owner)))
        assert one.exit_code == 0, one.output
        if back:
            one = typed("rack", "return", bar, "--bars", back, "--job", job, "--length", f"{length} in", "--rack", history)
            assert one.exit_code == 0, one.output
    bars = rack_bars(history, Stocks("in"), datetime.date.today()).bars
    after = [book[sheet.strip("'")][cell.replace("$", "")].value for name in ("buy_after_bars", "buy_after_length", "buy_after_theirs")
             for sheet, _, cell in [book.defined_names[name].attr_text.rpartition("!")]]
    assert after == [sum(bar.count for bar in bars), *(pytest.approx(sum(bar.count * bar.length for bar in bars if (bar.owner == "own") == mine), abs=1e-3)
                                                      for mine in (True, False))]


def cheap_rack(tmp_path):
    """The example shop file, in which bars on the rack count as nothing."""
    book = openpyxl.load_workbook(SHOP)
    label = next(column.label for column in BUYING if column.name == "rack_worth")
    row = next(row for row in book[RATES_SHEET].iter_rows(min_col=2, max_col=3) if row[0].value == label)
    row[1].value = "nothing"
    book.save(tmp_path / "shop.xlsx")
    return tmp_path / "shop.xlsx"


def test_the_order_says_the_money_of_the_terminal(bought):
    done, out = bought(seconds=2)
    book = openpyxl.load_workbook(out, data_only=True)
    assert book.sheetnames[0] == "Order"
    values = [cell.value for row in book["Money"].iter_rows() for cell in row if isinstance(cell.value, float)]
    for label in ("Order", "Cost"):
        assert any(value == pytest.approx(money(done.output, label), abs=0.005) for value in values), label


# --- mistakes ------------------------------------------------------------------------------------------------------


PIECE = "J-3,,,in,303,round,1,,,5,,,,{}\n"


@pytest.mark.parametrize(("row", "rack", "row_number", "column", "words"), [
    (PIECE.format(300), "", 4, "piece_length", "a piece takes 300 in; the longest bar of Stainless 303, round 1 is 240"),
    ("J-3,,Lathe 1,in,Steel 4140,round,1,2,.125,50,,,,\n", "", 4, "size", "no bar of Steel 4140, round 1 in is on offer or on the rack"),
    ("J-3,,Lathe 1,in,303,round,1,2,.125,0,,,,\n", "", 4, "quantity", "'0' given; allowed is a whole number 1 or more"),
    ("", "B1,1,303,round,1,144,H7,3.1,,,in\nB1,1,303,round,1,60,H7,3.1,,,in\n", 3, "id", "B1 is in row 2 too"),
    ("", "B1,1,303,round,1,144,H7,3.1,,,in\nB2,1,12L14,round,1,60,H7,3.1,,,in\n", 3, "heat", "H7 is Steel 12L14 here and Stainless 303 at B1"),
    ("", "B1,1,303,round,1,144,,3.1,,,in\n", 2, "Heat (G)", "a certificate 3.1 of EN 10204 is of one heat"),
    ("J-3,,Lathe 1,cm,303,round,1,2,.125,5,,,,\n", "", 4, "units", "'cm' given; allowed is one of in, mm"),
    ("J-3,,Lathe 1,mm,303,round,1,2,.125,5,,,,\n", "", 4, "size", "no bar of Stainless 303, round 0.0393701 in is on offer or on the rack"),
    ("J-3,,Lathe 1,in,303,round,1,2,.125,5,3.2,,,\n", "", 4, "certificate", "no bar of Stainless 303, round 1 with 3.2 is on offer or on the rack"),
    ("J-3,,Lathe 1,in,303,round,1,2,.125,5,,,2027-01-03,\n", "", 4, "need_by", "2027-01-03 is too soon: ordered on 2027-01-01"),
    ("J-3,,Lathe 1,in,303,round,1,2,.125,5,,,soon,\n", "", 4, "need_by", "'soon' given; write a day as 2026-03-31"),
    ("J-3,,Lathe 9,in,303,round,1,2,.125,5,,,,\n", "", 4, "machine", "'Lathe 9' is not a machine of the shop file"),
])
def test_a_mistake_is_named_and_nothing_is_written(bought, row, rack, row_number, column, words):
    done, out = bought(GOOD + row, "--order-date", "2027-01-01", rack=rack)
    assert done.exit_code == 1
    assert not out.exists()
    table, said = done.output.partition("barfuncs: ")[::2]
    table = table.partition("What can be bought")[0]
    heads, line, *more = table.splitlines()
    assert "What is wrong" in heads
    assert line.split()[0] == str(row_number)
    whole = re.sub(r"\s+", "", "".join((line, *more)))
    # The columns are folded into one another, so that what is left after taking each one's words away is looked at in pieces.
    assert re.sub(r"\s+", "", column)[:8] in whole
    reason = [text[heads.index("What is wrong"):].rstrip() for text in (line, *more)]
    assert words in " ".join(" ".join(reason).split()), reason
    assert "1 row has problems; nothing is planned or written" in said
    assert ("in supplied_length, material_price and price_per" in " ".join(done.output.split())) == ("on the rack" in words)


def test_a_bar_without_a_price(bought, tmp_path):
    book = openpyxl.load_workbook(SHOP)
    letter = next(chr(65 + n) for n, column in enumerate(SUPPLIED, start=1) if column.name == "price")
    book[SUPPLIED_SHEET][f"{letter}6"] = None
    book.save(tmp_path / "shop.xlsx")
    done, out = bought(shop=tmp_path / "shop.xlsx")
    assert done.exit_code == 1
    assert f"Supplied bars, {letter}6 (Price): is blank" in " ".join(done.output.split())
    assert not out.exists()


def test_what_no_row_is_wrong_about_is_not_counted_in_rows(bought):
    done, out = bought("J-1,Me,,in,303,round,1,2.25,.125,100,,,,,.25,2.5,12 ft,4,lb\n", shop="",
                       head=HEAD.strip() + ",face_to_cutoff,grip_length,supplied_length,material_price,price_per\n")
    assert done.exit_code == 1
    assert not out.exists()
    assert "kerf" in done.output
    assert "rows" not in done.output
    assert done.output.endswith("barfuncs: nothing is planned or written\n")


def test_mistakes_of_several_files_say_which(bought):
    done, out = bought(GOOD.replace(",100,", ",0,"), rack="B1,1,303,round,1,wide,,,,,in\n")
    assert done.exit_code == 1
    assert "File" in done.output
    assert "bars.csv" in done.output
    assert "2 rows have problems" in done.output
    assert not out.exists()


@pytest.mark.parametrize(("words", "said"), [
    (("--kerf", "wide"), "'wide' can't be read as a length"), (("--order-date", "1.1.2027"), "--order-date: '1.1.2027' given; write a day as 2026-03-31"),
])
def test_a_wrong_option(bought, words, said):
    done, out = bought(GOOD, *words)
    assert done.exit_code == 1
    assert said in " ".join(done.output.split())
    assert not out.exists()
    assert bought(GOOD, seconds=0)[0].exit_code == 2


@pytest.mark.slow
def test_more_than_a_workbook_holds(bought):
    """The plan is made, but its pages would not be read: nothing is written, and it is said what to do."""
    rows = "".join(f"J-{n},,,in,303,round,1,,,{1 + n % 5},,yes,,{6 + n % 40}\n" for n in range(2000))
    done, out = bought(rows)
    assert done.exit_code == 1
    assert re.search(rf"the plan has [\d,]+ ways to saw a bar; a workbook takes at most {MOST_SAWING}; split the list, or give it more --seconds",
                     " ".join(done.output.split()))
    assert f"draws {MOST_SAWING} ways to saw a bar" in " ".join(Path("README.md").read_text("utf-8").split())
    assert not out.exists()
    too_many, _ = bought(rows + rows[:rows.index("\n") + 1])
    assert too_many.exit_code == 1
    assert "2,001 given; at most 2,000" in too_many.output


@pytest.mark.slow
def test_a_list_of_two_hundred_rows(bought):
    rows = "".join(f"J-{n},,Lathe 2,in,303,round,1,{1 + n % 7 / 4},.125,{20 + n % 50},,yes,,\n" for n in range(200))
    done, out = bought(rows, seconds=5)
    assert done.exit_code == 0, done.output
    assert "200 jobs of jobs.csv" in done.output
    assert out.exists()


def test_without_the_solver_it_is_said_what_to_install(bought, monkeypatch):
    for name in [name for name in sys.modules if name.startswith("barfuncs.buying")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "highspy", None)
    done, out = bought()
    assert done.exit_code == 1
    assert 'pip install "barfuncs[buying]"' in done.output
    assert not out.exists()


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_run_leaves_nothing(tmp_path, number):
    """The list and the shop file are read in a second or two; the plan would take a minute."""
    out = tmp_path / "buy.xlsx"
    run = subprocess.Popen([sys.executable, "-m", "barfuncs", "buy", "examples/week.csv", "--shop", "examples/week_shop.xlsx", "--out", str(out),
                            "--seconds", "60", "--order-date", "2027-01-11"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    time.sleep(8)
    assert run.poll() is None
    run.send_signal(number)
    said, _ = run.communicate(timeout=60)
    assert run.returncode == 128 + number
    assert "interrupted; nothing is written" in said
    assert list(tmp_path.iterdir()) == []


# --- the example week ----------------------------------------------------------------------------------------------


def test_the_files_of_the_week_are_what_the_script_writes():
    assert (week_files.EXAMPLES / week_files.JOBS).read_text("utf-8") == week_files.csv_of(week_files.jobs())
    assert (week_files.EXAMPLES / week_files.RACK).read_text("utf-8") == week_files.csv_of(week_files.rack())


@pytest.mark.slow
def test_the_shop_file_of_the_week_is_what_the_script_writes(tmp_path):
    (tmp_path / week_files.SHOP).write_bytes(week_files.week_shop())
    new, kept = read_shop(tmp_path / week_files.SHOP), read_shop(week_files.EXAMPLES / week_files.SHOP)
    assert (new.without_file(), new.supplied, new.buying) == (kept.without_file(), kept.supplied, kept.buying)


def test_the_week_is_a_shops_week():
    needs = read_needs(week_files.EXAMPLES / week_files.JOBS, shop=read_shop(week_files.EXAMPLES / week_files.SHOP))
    assert needs.problems == []
    assert (len(needs.rows), len({(n.values["material"], n.values.get("shape"), n.values["size"]) for n in needs.rows})) == (30, 12)
    assert len(read_bars(week_files.EXAMPLES / week_files.RACK).bars) == 60


@pytest.mark.slow
def test_the_example_of_the_readme(tmp_path):
    """As it stands there, in less time and into another folder."""
    text = Path("README.md").read_text("utf-8")
    line, = re.findall(r"^barfuncs (buy examples/week\.csv .*?)(?:\s+#.*)?$", text, re.MULTILINE)
    words = [str(tmp_path / "week.xlsx") if word == "week.xlsx" else word for word in line.split()]
    done = typed(*words, "--seconds", 2)
    assert done.exit_code == 0, done.output
    assert "30 jobs of week.csv" in done.output
    assert (tmp_path / "week.xlsx").exists()
