"""Quotes from a list: `barfuncs quote`, its columns, quantities, bad rows, results."""

import csv
import os
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

import barfuncs as bf
from barfuncs.filling.lists import plan_jobs, read_jobs
from barfuncs.templates import quote, shop
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

ROOT = Path(__file__).parent.parent
GOOD = {"job": "Q1", "part_number": "P", "units": "in", "material": "303", "shape": "round", "size": "1", "part_length": "2 1/4",
        "cutoff_width": ".125", "face_to_cutoff": ".2", "grip_length": "2", "bar_length": "12 ft", "quantity_1": "500", "quantity_2": "100",
        "cycle_time": "45", "machine_rate": "80", "material_price": "3.20", "price_per": "lb", "margin": "20%"}


def write_csv(path: Path, *rows: dict) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys(key for row in rows for key in row)), restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def run(*arguments: object) -> subprocess.CompletedProcess:
    done = subprocess.run([sys.executable, "-m", "barfuncs", *map(str, arguments)], capture_output=True, encoding="utf-8", check=False,
                          env={**os.environ, "PYTHONIOENCODING": "utf-8"})
    assert "Traceback" not in done.stderr + done.stdout
    assert max((len(line) for line in done.stdout.splitlines()), default=0) <= 80
    return done


def results(folder: Path) -> list[dict]:
    return list(csv.DictReader((folder / "results.csv").read_text("utf-8-sig").splitlines()))


@pytest.fixture
def shop_file(tmp_path):
    path = tmp_path / "shop.xlsx"
    path.write_bytes(shop.build())
    return path


def test_the_list_of_the_plan_is_quoted(tmp_path, shop_file):
    """Columns of the plan alone are left aside, and its quantity is the quote's first."""
    done = run("quote", ROOT / "examples" / "jobs.csv", "--out", tmp_path / "quotes", "--shop", shop_file)
    assert done.returncode == 0, done.stdout
    jobs = list(csv.DictReader((ROOT / "examples" / "jobs.csv").read_text("utf-8-sig").splitlines()))
    rows = results(tmp_path / "quotes")
    assert len(rows) == len(jobs) == len(list((tmp_path / "quotes").glob("*.xlsx"))) - 1
    assert f"{len(jobs)} of {len(jobs)} jobs quoted" in done.stdout
    assert [float(r["quantity_1"]) for r in rows] == [float(j["quantity"].replace(",", "")) for j in jobs]
    assert all(float(r["price_1"]) > 0 for r in rows)
    assert {r["price_2"] for r in rows} == {""}


@pytest.mark.slow
def test_the_plan_takes_a_list_of_quotes_aside_columns_and_all(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", {k: v for k, v in GOOD.items() if k != "quantity_1"} | {"quantity": "500", "op_1_note": "x"})
    done = run("plan", path, "--out", tmp_path / "plans")
    assert done.returncode == 0, done.stdout
    assert results(tmp_path / "plans")[0]["bars"] == "9"


@pytest.mark.slow
@pytest.mark.parametrize(("quantities", "counts"), [
    ("100,250,500,1000", [100, 250, 500, 1000]), ("1,000", [1000]), ("2500 100", [2500, 100]), ("1;2;3;4;5;6", [1, 2, 3, 4, 5, 6]),
])
def test_quantities_for_every_row(tmp_path, quantities, counts):
    path = write_csv(tmp_path / "jobs.csv", GOOD | {"quantity_3": "7"}, GOOD | {"job": "Q2", "quantity_1": "", "quantity_2": ""})
    done = run("quote", path, "--out", tmp_path / "out", "--quantities", quantities)
    assert done.returncode == 0, done.stdout
    for row in results(tmp_path / "out"):
        assert [row[f"quantity_{n}"] for n in range(1, 7)] == [*map(str, counts), *[""] * (6 - len(counts))]
        for n, count in enumerate(counts, start=1):
            assert float(row[f"total_{n}"]) == pytest.approx(count * float(row[f"price_{n}"]), abs=0.005)
    for count in counts:
        assert f"{count:,}" in done.stdout


@pytest.mark.slow
@pytest.mark.parametrize(("quantities", "said"), [
    ("1 2 3 4 5 6 7", "quote: --quantities: 7 given; a quote has 6"),
    ("1,500", "quote: quantities: '1,500' may be one quantity or 2"),
    ("100 2.5", "quote: quantities: '2.5' can't be read as a count"),
    ("0", "quote: quantities: '0' given; allowed is a whole number 1 or more"),
    ("-5", "quote: quantities: '-5' can't be read as a count: a sign is not allowed"),
    ("", "quote: quantities: give at least one quantity"),
    ("many", "quote: quantities: 'many' can't be read as a count"),
])
def test_quantities_that_are_refused(tmp_path, quantities, said):
    done = run("quote", write_csv(tmp_path / "jobs.csv", GOOD), "--out", tmp_path / "out", f"--quantities={quantities}")
    assert done.returncode == 1
    assert said in done.stderr
    assert not (tmp_path / "out").exists()


OPERATION = {"cycle_time": "", "op_1_operation": "cut-off", "op_1_start_diameter": "25.4 mm", "op_1_end_diameter": "0", "op_1_surface_speed": "90 m/min",
             "op_1_feed_rate": "0.05 mm/rev", "op_1_top_speed": "3000", "op_1_note": "Cut off"}
BAD_ROWS = [
    ({"material_price": ""}, "material_price", "is missing"), ({"price_per": ""}, "price_per", "is missing"),
    ({"machine_rate": ""}, "machine_rate", "is missing"), ({"margin": ""}, "margin", "is missing (or markup; 0 % counts)"),
    ({"cycle_time": ""}, "cycle_time", "is missing (or the operation list)"),
    ({"markup": "30%"}, "markup", "give a margin or a markup, not both"), ({"margin": "100%"}, "margin", "below 1"),
    ({"quantity_1": ""}, "quantity_1", "is missing"), ({"quantity_2": "2.5"}, "quantity_2", "not a whole number"),
    ({"price_per": "ton"}, "price_per", "allowed is one of lb, kg"), ({"rounding": "cent"}, "rounding", "allowed is one of none"),
    ({"part_length": "13 ft"}, "part_length", "no whole part fits this bar"),
    ({"part_weight": "9"}, "part_weight", "is more than the bar over the length of the part weighs"),
    ({"chip_price": "40", "material_price": ".01", "cycle_time": "1"}, "quantity_1", "chips and remnants would bring more"),
    ({"material_price": "999999", "quantity_2": "9999999"}, "quantity_2", "has no price: its bars, hours or costs are beyond all limits"),
    ({"machine": "Lathe 9"}, "machine", "not on the sheet Shop"),
    (OPERATION | {"op_1_feed_rate": ""}, "op_1_feed_rate", "and other needs a feed"),
    (OPERATION | {"op_1_operation": ""}, "op_1_operation", "is missing"),
    (OPERATION | {"op_1_operation": "welding"}, "op_1_operation", "allowed is one of turning"),
    (OPERATION | {"op_1_top_speed": ""}, "op_1_top_speed", "cut-off need a top speed"),
]


@pytest.mark.slow
def test_bad_rows_are_listed_and_the_others_quoted(tmp_path):
    rows = [GOOD | change | {"job": f"B{n}"} for n, (change, _, _) in enumerate(BAD_ROWS)]
    path = write_csv(tmp_path / "jobs.csv", GOOD, *rows, GOOD | OPERATION | {"job": "Q2"})
    outcome = plan_jobs(read_jobs(path, "quote"), tmp_path / "a", template="quote")
    assert [row for row, _, _ in outcome.done] == [2, len(rows) + 3]
    found = {(p.row, p.column): p.reason for p in outcome.problems}
    for number, (_, column, reason) in enumerate(BAD_ROWS, start=3):
        assert reason in found.get((number, column), f"nothing said; {[p for p in found if p[0] == number]}")
    assert {row for row, _ in found} == {*range(3, len(rows) + 3)}
    done = run("quote", path, "--out", tmp_path / "b")
    assert done.returncode == 1
    assert f"{len(rows)} of {len(rows) + 2} rows in jobs.csv have problems" in done.stdout
    assert f"2 of {len(rows) + 2} jobs quoted" in done.stdout
    assert sorted(p.name for p in (tmp_path / "b").iterdir() if p.name[0] != ".") == [
        "Q1_P.xlsx", "Q2_P.xlsx", "for_customer", "results.csv", "results.xlsx"]


def test_a_list_in_which_no_row_is_good_writes_no_results(tmp_path):
    done = run("quote", write_csv(tmp_path / "jobs.csv", GOOD | {"material_price": ""}), "--out", tmp_path / "out")
    assert done.returncode == 1
    assert "0 of 1 jobs quoted" in done.stdout
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.slow
def test_the_results_hold_quantities_and_prices_and_no_formula(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD | {"customer": "=1+1"}, GOOD | {"job": "Q2", "quantity_2": "", "quantity_6": "40"})
    outcome = plan_jobs(read_jobs(path, "quote"), tmp_path / "out", template="quote")
    rows = results(tmp_path / "out")
    heads = list(rows[0])
    assert [h for h in heads if h.startswith("quantity")] == [f"quantity_{n}" for n in range(1, 7)]
    assert [h for h in heads if h in quote.TEMPLATE.results] == list(quote.TEMPLATE.results)
    sheet = openpyxl.load_workbook(tmp_path / "out" / "results.xlsx").active
    assert [cell.value for cell in sheet[1]] == heads
    assert rows[0]["customer"] == "'=1+1"
    for number, ((_, name, made), row) in enumerate(zip(outcome.done, rows, strict=True), start=2):
        assert row["file"] == name
        book = Workbook(tmp_path / "out" / name, direct=True)
        book.calculate()
        cells = {head: cell.value for head, cell in zip(heads, sheet[number], strict=True)}
        for answer in quote.TEMPLATE.results:
            value, stored = made[answer], book.value(f"quote_{answer}")
            # A dash in a cell is what is not asked for.
            assert (value or None if isinstance(value, str) else value) == (None if isinstance(stored, CellError) or stored in ("-", "") else stored)
            if isinstance(value, float):
                assert float(row[answer]) == pytest.approx(value, rel=1e-9, abs=1e-9)
                assert cells[answer] == pytest.approx(value, rel=1e-14)
            else:
                assert row[answer] == (value or "")
                assert cells[answer] in (None, value or "")
    assert (rows[1]["price_2"], rows[0]["price_6"]) == ("", "")
    assert rows[1]["price_6"]


@pytest.mark.slow
def test_nothing_is_overwritten_without_replace(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD)
    assert run("quote", path, "--out", tmp_path / "out").returncode == 0
    before = {p.name: p.read_bytes() for p in (tmp_path / "out").rglob("Q*.xlsx")}
    again = run("quote", path, "--out", tmp_path / "out", "--quantities", "7")
    assert again.returncode == 1
    assert "Q1_P.xlsx exists already" in " ".join(again.stdout.split())
    assert {p.name: p.read_bytes() for p in (tmp_path / "out").rglob("Q*.xlsx")} == before
    assert results(tmp_path / "out")[0]["note"] == "the list has other values now"
    assert run("quote", path, "--out", tmp_path / "out", "--quantities", "7", "--replace").returncode == 0
    assert (results(tmp_path / "out")[0]["quantity_1"], results(tmp_path / "out")[0]["note"]) == ("7", "")


@pytest.mark.slow
def test_rows_that_lack_what_a_shop_file_gives_point_at_it_once(tmp_path, shop_file):
    bare = {name: value for name, value in GOOD.items() if name not in ("material_price", "machine_rate", "price_per")}
    path = write_csv(tmp_path / "jobs.csv", *(bare | {"job": f"Q{n}"} for n in range(5)), GOOD)
    done = run("quote", path, "--out", tmp_path / "out")
    said = " ".join(done.stdout.split())
    assert done.returncode == 1
    assert said.count("--shop") == 1
    assert "5 of 6 rows lack what a shop file gives all of them (machine_rate, material_price, price_per): give --shop" in said
    few = write_csv(tmp_path / "few.csv", bare, *(GOOD | {"job": f"Q{n}"} for n in range(5)))
    assert "--shop" not in run("quote", few, "--out", tmp_path / "few").stdout
    assert "--shop" not in run("quote", path, "--out", tmp_path / "shop", "--shop", shop_file).stdout


@pytest.mark.slow
@pytest.mark.parametrize("quantities", ["123456 200000 300000 9999999", "123456 200000 300000 400000 5000000 9999999", "1"])
def test_the_table_stays_within_80_columns(tmp_path, quantities):
    rows = [GOOD | {"job": "a very long name of a job " * 4, "cycle_time": "899.9", "material_price": "40", "customer": "C" * 100},
            GOOD | {"job": "Q2"}]
    done = run("quote", write_csv(tmp_path / "jobs.csv", *rows), "--out", tmp_path / "out", "--quantities", quantities)
    assert done.returncode == 0, done.stdout
    for row in results(tmp_path / "out"):
        for n in range(1, len(quantities.split()) + 1):
            price = f"{float(row[f'price_{n}']):,.2f}"
            assert price in done.stdout


@pytest.mark.slow
def test_rows_with_other_quantities_show_them_in_one_column(tmp_path):
    path = write_csv(tmp_path / "jobs.csv", GOOD, GOOD | {"job": "Q2", "quantity_1": "40", "quantity_2": "", "quantity_5": "9"})
    done = run("quote", path, "--out", tmp_path / "out")
    assert re.search(r"500: \d+\.\d\d   100: \d+\.\d\d", done.stdout)
    assert re.search(r"40: \d+\.\d\d   9: \d+\.\d\d", done.stdout)


@pytest.mark.slow
def test_the_shop_fills_what_a_row_leaves_blank(tmp_path, shop_file):
    short = {k: GOOD[k] for k in ("job", "units", "material", "shape", "size", "part_length", "cutoff_width", "bar_length", "quantity_1", "cycle_time")}
    path = write_csv(tmp_path / "jobs.csv", short | {"machine": "Lathe 1"}, short | {"job": "Q2", "machine": "lathe 2"},
                     short | {"job": "Q3", "machine": "Lathe 9"}, short | {"job": "Q4", "machine": ""})
    done = run("quote", path, "--out", tmp_path / "out", "--shop", shop_file)
    assert done.returncode == 1
    assert [r["job"] for r in results(tmp_path / "out")] == ["Q1", "Q2"]
    said = " ".join(done.stdout.split())
    assert "2 of 4 rows in jobs.csv have problems" in said
    assert "Lathe 9" in said
    by_hand = bf.price_at_markup(float(results(tmp_path / "out")[0]["cost_each_1"]), 0.35)
    assert float(results(tmp_path / "out")[0]["price_1"]) == bf.rounded_price(by_hand, "up to next 0.01")


@pytest.mark.slow
def test_a_quote_that_a_check_stops_is_a_problem_and_no_file(tmp_path):
    done = run("quote", write_csv(tmp_path / "jobs.csv", GOOD | {"feeder_longest_bar": "100"}), "--out", tmp_path / "out")
    assert "longer than the feeder" in " ".join(done.stdout.split())
    assert done.returncode == 1
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.slow
@pytest.mark.parametrize(("arguments", "said"), [
    (["--shop", "none.xlsx"], "does not exist"), (["--units", "cm"], "'cm' is not one of"), ([], "Missing option '--out'"),
])
def test_wrong_options_are_refused(tmp_path, arguments, said):
    out = ["--out", tmp_path / "out"] if arguments else []
    done = run("quote", write_csv(tmp_path / "jobs.csv", GOOD), *out, *arguments)
    assert done.returncode == 2
    assert said in done.stderr
