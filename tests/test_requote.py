"""Quotes once more with another shop file: what stays, what changes, and what a change comes from."""

import contextlib
import csv
import dataclasses
import datetime
import io
import os
import random
import shutil
import signal
import subprocess
import sys
import zipfile
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from job_generator import good_quote
from libreoffice import convert

from barfuncs.catalogue import materials
from barfuncs.cli.main import main
from barfuncs.errors import InputError, WorkbookError
from barfuncs.filling import fill, plan_jobs, requote
from barfuncs.filling.customer_copy import CustomerPage
from barfuncs.filling.filler import read_inputs
from barfuncs.filling.lists import Job
from barfuncs.filling.requoting import MATERIAL_RATES, Interrupted, find_quotes, steps
from barfuncs.templates import shop as shop_file
from barfuncs.templates.registry import TEMPLATES
from barfuncs.templates.shop import Machine, Rates, Shop, ShopFile, StockPrice, read_shop
from barfuncs.xlsx import named_cells

PRICES = "Materials and prices"
MACHINES = "Machines"
RATES = shop_file.RATES_SHEET
LATHES = (("Lathe 1", 400, 9, 2.5, 0.2, 35, 6000, 200, 18, 82, 70), ("Lathe 2", 400, 9, 3.25, 0.25, 45, 5000, 200, 10, 88, None))
STOCK = (("Brass C36000", None, None, 4.6, "lb", None, 0.4, 0.5), ("Stainless 303", None, None, 3.4, "lb"), ("Steel 1215", None, None, 1.15, "lb"),
         ("Titanium grade 5", None, None, 24, "lb"))
GIVEN = ("material_price", "price_per", "machine_rate", "setup_rate", "margin", "markup", "rounding", "inspection_rate", "chip_price", "remnant_price",
         "minimum_charge", "cut_charge", "tooling", "other_per_order", "top_speed", "grip_length", "bar_change_time", "currency", "priced_per",
         "minimum_order", "machine_type", "efficiency")


def make_shop(path, *cells):
    """A shop file: lathes that take every bar, a price for the generated materials, and cells that are changed."""
    book = openpyxl.load_workbook(io.BytesIO(shop_file.build()))
    for title, rows in ((MACHINES, LATHES), (PRICES, STOCK)):
        for n in range(6, 14):
            for column in range(2, book[title].max_column + 1):
                values = rows[n - 6] if n - 6 < len(rows) else ()
                book[title].cell(n, column).value = values[column - 2] if column - 2 < len(values) else None
    for label, value in (("Minimum charge", 0), ("Charge per cut", 0), ("Markup", None), ("Margin", 0.2), ("Rate for inspection", 60)):
        rate(book, label).value = value
    for title, ref, value in cells:
        (rate(book, ref) if title == RATES else book[title][ref]).value = value
    book.save(path)
    return path


def rate(book, label):
    sheet = book[RATES]
    row = next(r for r in range(1, 40) if sheet[f"B{r}"].value and str(sheet[f"B{r}"].value).rstrip(" *") == label)
    return sheet[f"C{row}"]


def generated(rng, shop):
    """A quote that takes most of what the shop gives from it, some of it typed."""
    while True:
        job = good_quote(rng)
        for name in GIVEN:
            if rng.random() < 0.8:
                job.pop(name, None)
        if "material_price" not in job or "price_per" not in job:
            job.pop("material_price", None), job.pop("price_per", None)
        if job["material"] == "7.85 g/cm3":
            job["material"] = "Brass C36000"
        job |= {"machine": rng.choice(["Lathe 1", "Lathe 2"]), "customer": "Harrow & Söhne"}
        job.pop("feeder_longest_bar", None)
        try:
            filled = fill("quote", job, shop=shop)
        except InputError:
            continue
        if filled.is_ready:
            return job


def make_quotes(folder, shop, count, seed=1):
    rng = random.Random(seed)
    jobs = [Job(n, {**generated(rng, shop), "job": f"J-{n:03}", "quote_number": f"Q-{n}", "part_description": "Bush"}) for n in range(2, count + 2)]
    outcome = plan_jobs(jobs, folder, template="quote", shop=shop, source="generated")
    assert len(outcome.done) == count
    assert not outcome.problems, outcome.problems[:3]
    return {f"J-{job.row:03}": job.values for job in jobs}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder of quotes with their jobs, and the shop file that they were made with."""
    place = tmp_path_factory.mktemp("made")
    path = make_shop(place / "shop.xlsx")
    return place / "quotes", make_quotes(place / "quotes", read_shop(path), 14), path


def csv_rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline=""), strict=True))


def table(out):
    """The table of a run; both of its files say the same."""
    rows = csv_rows(out / "requote.csv")
    with contextlib.closing(openpyxl.load_workbook(out / "requote.xlsx", read_only=True)) as book:
        heads, *cells = book.active.iter_rows(values_only=True)
    assert list(heads) == list(rows[0])
    for row, line in zip(rows, cells, strict=True):
        for head, cell in zip(heads, line, strict=True):
            assert row[head] == ("" if cell is None else cell) or float(row[head]) == pytest.approx(cell, rel=1e-9, abs=1e-12), head
    return rows


def stored(path, *names):
    book = openpyxl.load_workbook(path, data_only=True)
    found = []
    for name in names:
        sheet, ref = next(iter(book.defined_names[name].destinations))
        found.append(book[sheet][ref].value)
    return found


def reasons_of(done):
    """By file what is wrong with it, but for the quotation that waits for it."""
    return {done.files[p.row - 1].name: p.reason for p in done.outcome.problems if "the quotation is not written" not in p.reason}


def sums_up(row):
    return sum(Decimal(row[name]) for name in ("material", "rate", "other", "rounding")) == Decimal(row["difference"])


def filled_by_hand(path, shop, values):
    """A template from `barfuncs templates --shop` with cells typed in."""
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES["quote"].build(shop)))
    cells = TEMPLATES["quote"].form.cells
    for name, value in values.items():
        column, _, number = cells.get(name, name).rstrip("]").partition("[")
        sheet, ref = next(iter(book.defined_names[column].destinations))
        cell = book[sheet][ref.partition(":")[0].replace("$", "")].offset(int(number or 1) - 1, 0)
        cell.value = value
        if name == "remark":
            cell.data_type = "s"  # a text that begins with an equals sign
        if isinstance(value, datetime.datetime):
            cell.number_format = "yyyy-mm-dd"
    book.save(path)
    return path


BY_HAND = {"units": "in", "material": "Brass C36000", "size": "1 3/8", "part_length": 2.0, "cutoff_width": 0.125, "machine": "Lathe 1",
           "bar_length": 144, "cycle_time": 45, "setup_hours": 1.5, "quantity_1": 500, "quantity_3": 2000, "job": "H-1", "customer": "Söhne & Co"}


# --- which shop file -------------------------------------------------------------------------------------------------


def cells_with(data, words):
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
    return [sheet.title for sheet in book.worksheets for row in sheet.iter_rows(values_only=True) for value in row if value == words]


@pytest.mark.parametrize("template", ["job_plan", "quote"])
def test_a_workbook_says_which_shop_file_it_was_worked_out_with(template, tmp_path):
    path = make_shop(tmp_path / "Werk Süd.xlsx")
    book = openpyxl.load_workbook(path)
    saved = book.properties.modified
    shop = read_shop(path)
    import hashlib

    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    words = f"Worked out with the shop file Werk Süd.xlsx, saved {saved:%Y-%m-%d}, SHA-256 {digest[:12]}."
    first = TEMPLATES[template].build()
    made = TEMPLATES[template].build(shop)
    where = [openpyxl.load_workbook(io.BytesIO(made)).worksheets[0].title, "Shop", "Notes"]
    assert cells_with(made, words) == where
    assert cells_with(first, "Worked out without a shop file.") == where
    without = dataclasses.replace(shop, file=None)
    assert cells_with(TEMPLATES[template].build(without), "Worked out with a shop's data from a program, not from a file.") == where


def test_the_same_file_gives_the_same_words_whatever_the_file_system_says_of_it(tmp_path):
    one = make_shop(tmp_path / "shop.xlsx")
    (tmp_path / "copy").mkdir()
    other = Path(shutil.copy(one, tmp_path / "copy" / "shop.xlsx"))
    os.utime(other, (0, 0))
    assert read_shop(one) == read_shop(other)
    with zipfile.ZipFile(one) as archive:
        parts = {name: archive.read(name) for name in archive.namelist() if name != "docProps/core.xml"}
    with zipfile.ZipFile(tmp_path / "undated.xlsx", "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    undated = read_shop(tmp_path / "undated.xlsx").file
    assert undated.saved == ""
    assert str(undated) == f"undated.xlsx, SHA-256 {undated.digest[:12]}"
    assert len(str(ShopFile("x" * 250 + ".xlsx", "", "0" * 64))) < 90


def test_the_customer_reads_nothing_of_the_shop_file(made):
    folder, _, path = made
    told = read_shop(path).file
    copies = list((folder / "for_customer").iterdir())
    assert copies
    for copy in copies:
        whole = copy.read_bytes()
        if copy.suffix == ".xlsx":
            with zipfile.ZipFile(copy) as archive:
                whole = b"".join(archive.read(name) for name in archive.namelist())
        assert told.digest[:12].encode() not in whole
        assert told.name.encode() not in whole
    assert "Shop" not in CustomerPage(TEMPLATES["quote"].customer_page()).title
    rows = csv_rows(folder / "results.csv")
    assert {row["shop_file"] for row in rows} == {str(told)}


# --- an unchanged shop -----------------------------------------------------------------------------------------------


def check_unchanged(folder, jobs, path, out):
    done = requote([folder], read_shop(path), out)
    assert not done.outcome.problems
    rows = table(out)
    assert {row["file"] for row in rows} == {p.name for p in folder.glob("J-*.xlsx")}
    results = {row["job"]: row for row in csv_rows(folder / "results.csv")}
    seen = 0
    for row in rows:
        assert [row[name] for name in ("difference", "difference_percent", "material", "rate", "other", "rounding")] == ["0"] * 6, row
        assert row["old_price"] == row["new_price"]
        n = next(n for n in range(1, 7) if jobs[row["job"]].get(f"quantity_{n}") == float(row["quantity"]))
        assert float(row["old_price"]) == float(results[row["job"]][f"price_{n}"])
        assert not row["note"], row
        seen += 1
    assert seen == sum(f"quantity_{n}" in job for job in jobs.values() for n in range(1, 7))
    for one in folder.glob("J-*.xlsx"):
        assert (out / one.name).read_bytes() == one.read_bytes()
    sent = {one.name: one.read_bytes() for one in (folder / "for_customer").iterdir()}
    assert sent
    assert {one.name: one.read_bytes() for one in (out / "for_customer").iterdir()} == sent


def test_an_unchanged_shop_changes_nothing(made, tmp_path):
    check_unchanged(*made, tmp_path / "out")


@pytest.mark.slow
def test_an_unchanged_shop_changes_nothing_in_300_quotes(tmp_path):
    path = make_shop(tmp_path / "shop.xlsx")
    jobs = make_quotes(tmp_path / "quotes", read_shop(path), 300, seed=2)
    check_unchanged(tmp_path / "quotes", jobs, path, tmp_path / "out")


@pytest.mark.slow
def test_the_same_shop_in_other_units_changes_no_price(made, tmp_path):
    folder, _, path = made
    done = requote([folder], dataclasses.replace(read_shop(path).in_units("mm"), file=None), tmp_path / "out")
    assert not done.outcome.problems
    for row in table(tmp_path / "out"):
        assert [row[name] for name in ("difference", "material", "rate", "other")] == ["0"] * 4, row


# --- changed prices and rates ----------------------------------------------------------------------------------------


LINES = ("material_used", "scrap_credit", "machine_cost", "setup_cost", "order_cost", "inspection_cost")


def compared_lines(made, out, shop):
    """Each row of the table with its job and the lines of cost that the job has in the old and in the new shop."""
    _, jobs, path = made
    shops = read_shop(path), shop
    lines = {name: [fill("quote", job, shop=one).answers for one in shops] for name, job in jobs.items()}
    for row in table(out):
        job = jobs[row["job"]]
        n = next(n for n in range(1, 7) if job.get(f"quantity_{n}") == float(row["quantity"]))
        yield row, job, *({line: answers[f"{line}_{n}"] for line in LINES} for answers in lines[row["job"]])


def at_margin(job, shop):
    margin, markup = (job.get("margin"), job.get("markup") or 0) if "margin" in job or "markup" in job else (shop.rates.margin, 0)
    return 1 / (1 - (margin or 0)) * (1 + markup)


def test_a_changed_brass_price_changes_the_brass_ones_only(made, tmp_path):
    path = make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.3))
    shop = read_shop(path)
    requote([made[0]], shop, tmp_path / "out")
    changed = 0
    for row, job, old, new in compared_lines(made, tmp_path / "out", shop):
        taken = job["material"] == "Brass C36000" and "material_price" not in job
        assert [row["rate"], row["other"]] == ["0", "0"]
        assert sums_up(row)
        if not taken:
            assert [row[name] for name in ("difference", "material")] == ["0", "0"], row
            continue
        share = (new["material_used"] - old["material_used"] - new["scrap_credit"] + old["scrap_credit"]) / float(row["quantity"]) * at_margin(job, shop)
        assert float(row["material"]) == pytest.approx(share, abs=1e-6)
        assert share >= 0  # 0 where a minimum charge or the job's own brackets hold
        changed += share > 0
    assert changed > 5


def test_the_share_of_the_material_by_hand(tmp_path):
    """1 in brass round, 4.60 then 5.06 a lb: a tenth of the material line, over the quantity, at a margin of 20 %."""
    old, new = make_shop(tmp_path / "old.xlsx", (PRICES, "E6", 4.6)), make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.06))
    job = {"job": "B-1", "units": "in", "material": "Brass C36000", "size": 1, "part_length": 2, "cutoff_width": 0.125, "machine": "Lathe 1",
           "bar_length": 144, "cycle_time": 40, "quantity_1": 1000, "rounding": "nearest 0.0001"}
    fill("quote", job, tmp_path / "B-1.xlsx", shop=read_shop(old))
    requote([tmp_path / "B-1.xlsx"], read_shop(new), tmp_path / "out")
    row, = table(tmp_path / "out")
    material, price = stored(tmp_path / "B-1.xlsx", "quote_material_used_1", "quote_price_1")
    assert float(row["material"]) == pytest.approx(0.1 * material / 1000 / (1 - 0.2), abs=1e-6)
    assert float(row["old_price"]) == price
    assert float(row["difference"]) == pytest.approx(float(row["material"]), abs=1e-4)
    assert float(row["difference_percent"]) == pytest.approx(100 * float(row["difference"]) / price, abs=1e-4)
    assert stored(tmp_path / "out" / "B-1.xlsx", "quote_price_1")[0] == float(row["new_price"])


def test_a_changed_machine_rate_is_a_share_of_its_own(made, tmp_path):
    shop = read_shop(make_shop(tmp_path / "new.xlsx", (MACHINES, "K6", 95), (MACHINES, "L7", 60), (RATES, "Rate for inspection", 75)))
    requote([made[0]], shop, tmp_path / "out")
    changed = 0
    for row, job, old, new in compared_lines(made, tmp_path / "out", shop):
        assert [row["material"], row["other"]] == ["0", "0"]
        assert sums_up(row)
        hours = sum(new[line] - old[line] for line in ("machine_cost", "setup_cost", "inspection_cost"))
        if job.get("setup_priced") == "lines of their own":
            hours -= new["setup_cost"] - old["setup_cost"]
        assert float(row["rate"]) == pytest.approx(hours / float(row["quantity"]) * at_margin(job, shop), abs=1e-6)
        changed += abs(float(row["rate"])) > 0
    assert changed > 5


def test_all_at_once_is_split_in_its_order_and_adds_up(made, tmp_path):
    shop = read_shop(make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.3), (PRICES, "E7", 3), (MACHINES, "K6", 95), (MACHINES, "K7", 90),
                               (RATES, "Margin", 0.3), (RATES, "Minimum charge", 90), (RATES, "Scrap rate", 0.05)))
    requote([made[0]], shop, tmp_path / "out")
    rows = table(tmp_path / "out")
    assert all(map(sums_up, rows))
    for name in ("material", "rate", "other", "rounding"):
        assert sum(float(row[name]) != 0 for row in rows) > 5, name
    old = read_shop(made[2])
    first, second, third, last = steps(old, shop)
    assert (first, last) == (old, shop)
    assert second == dataclasses.replace(old, prices=shop.prices, rates=dataclasses.replace(old.rates, **{n: getattr(shop.rates, n) for n in MATERIAL_RATES}))
    assert [m.machine_rate for m in third.machines] == [m.machine_rate for m in shop.machines]
    assert [m.top_speed for m in third.machines] == [m.top_speed for m in old.machines]


@pytest.mark.slow
def test_what_is_typed_in_the_quote_stays_and_the_table_says_so(tmp_path):
    old = read_shop(make_shop(tmp_path / "old.xlsx"))
    new = read_shop(make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.3), (PRICES, "F6", "kg"), (MACHINES, "K6", 99), (RATES, "Margin", 0.3)))
    job = {"job": "T-1", "units": "in", "material": "Brass C36000", "size": 1, "part_length": 2, "cutoff_width": 0.125, "machine": "Lathe 1", "bar_length": 144,
           "cycle_time": 40, "quantity_1": 1000}
    typed = {"material_price": 4.6, "price_per": "lb", "machine_rate": 82, "setup_rate": 70, "markup": 0.25}
    fill("quote", job | typed, tmp_path / "T-1.xlsx", shop=old)
    fill("quote", job | typed | {"job": "T-2", "machine_rate": None}, tmp_path / "T-2.xlsx", shop=old)
    requote([tmp_path / "T-1.xlsx", tmp_path / "T-2.xlsx"], new, tmp_path / "out")
    one, two = table(tmp_path / "out")
    assert one["typed"] == "material price, machine rate, markup (share of the cost): typed in the quote, not changed"
    assert one["difference"] == "0"
    assert two["typed"] == "material price, markup (share of the cost): typed in the quote, not changed"
    assert float(two["rate"]) > 0


# --- filled by hand --------------------------------------------------------------------------------------------------


@pytest.mark.libreoffice
def test_a_quote_filled_by_hand_and_saved_by_libreoffice(tmp_path):
    old = read_shop(make_shop(tmp_path / "old.xlsx"))
    new = read_shop(make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.06)))
    values = BY_HAND | {"facing": "=3/64", "quote_date": datetime.datetime(2026, 3, 4), "scrap_rate": 0.03, "part_number": 4711, "remark": "=1+1 is two",
                        "op_1_operation": "turning", "op_1_start_diameter": 1.25, "op_1_length": "1 1/2", "op_1_surface_speed": 400, "op_1_feed_rate": 0.006}
    (tmp_path / "saved").mkdir()
    path, = convert(filled_by_hand(tmp_path / "H-1.xlsx", old, values), tmp_path / "saved")
    done = requote([path], new, tmp_path / "out")
    assert not done.outcome.problems
    rows = table(tmp_path / "out")
    assert [row["quantity"] for row in rows] == ["500", "2000"]
    assert [float(row["old_price"]) for row in rows] == stored(path, "quote_price_1", "quote_price_3")
    assert {row["note"] for row in rows} == {"typed as a formula, taken as its value: facing"}
    for row, n in zip(rows, (1, 3), strict=True):
        material, = stored(path, f"quote_material_used_{n}")
        assert float(row["material"]) == pytest.approx(0.1 * material / float(row["quantity"]) / 0.8, abs=1e-6)
        assert sums_up(row)
    by_python = fill("quote", BY_HAND | {"facing": 3 / 64, "quote_date": "2026-03-04", "scrap_rate": 0.03, "part_number": "4711", "remark": "=1+1 is two",
                                         "op_1_operation": "turning", "op_1_start_diameter": 1.25, "op_1_length": 1.5, "op_1_surface_speed": 400,
                                         "op_1_feed_rate": 0.006}, shop=new)
    assert (tmp_path / "out" / path.name).read_bytes() == by_python.data


def test_prices_typed_into_the_sheet_shop_of_the_quote_are_the_old_ones(tmp_path):
    """The template has no shop file: office staff filled its sheet Shop by hand."""
    values = BY_HAND | {"machines_name": "lathe 1", "machines_machine_rate": 80, "machines_grip_length": 2.5, "machines_face_to_cutoff": 0.2,
                        "prices_material": "360 brass", "prices_material_price": 4, "prices_price_per": "lb", "rates_margin": 0.2}
    path = filled_by_hand(tmp_path / "H-2.xlsx", None, values)
    new = read_shop(make_shop(tmp_path / "new.xlsx", (RATES, "Other costs per order", None), (RATES, "Efficiency", None)))
    requote([path], new, tmp_path / "out")
    row = table(tmp_path / "out")[0]
    by_hand = {"machine": None, "machine_rate": 80, "grip_length": 2.5, "face_to_cutoff": 0.2, "material_price": 4, "price_per": "lb", "margin": 0.2}
    assert float(row["old_price"]) == fill("quote", BY_HAND | by_hand).answers["price_1"]
    assert float(row["new_price"]) == fill("quote", BY_HAND, shop=new).answers["price_1"]
    assert row["note"].startswith("! LOOK price at quantity 1: none is stored in it")
    assert "! LOOK no currency then, $ now: compared as the same" in row["note"]
    assert sums_up(row)


@pytest.mark.slow
def test_a_material_of_the_quote_s_own_comes_along(tmp_path):
    old, new = read_shop(make_shop(tmp_path / "old.xlsx")), read_shop(make_shop(tmp_path / "new.xlsx", (MACHINES, "K6", 99)))
    own = materials.builtin().extended([materials.MaterialRow("Werkstoff X", "", (), 8.1, "", None, "", False, "")])
    given = {**BY_HAND, "material": "Werkstoff X", "material_price": 3, "price_per": "lb", "rounding": "nearest 0.0001"}
    before = fill("quote", given, tmp_path / "H-1.xlsx", shop=old, own_materials=own)
    requote([tmp_path / "H-1.xlsx"], new, tmp_path / "out")
    row = table(tmp_path / "out")[0]
    assert float(row["old_price"]) == before.answers["price_1"]
    assert (tmp_path / "out" / "H-1.xlsx").read_bytes() == fill("quote", given, shop=new, own_materials=own).data


# --- what asks for a look, and what can't be done --------------------------------------------------------------------


def test_a_stored_price_that_is_another_asks_for_a_look(made, tmp_path):
    folder, _, path = made
    one = next(folder.glob("J-*.xlsx"))
    cell = next(iter(openpyxl.load_workbook(one).defined_names["quote_price_1"].destinations))
    with zipfile.ZipFile(one) as archive, zipfile.ZipFile(tmp_path / one.name, "w") as other:
        book = openpyxl.load_workbook(one)
        part = f"xl/worksheets/sheet{book.sheetnames.index(cell[0]) + 1}.xml"
        for name in archive.namelist():
            data = archive.read(name)
            if name == part:
                before, mark, rest = data.partition(f'<c r="{cell[1].replace("$", "")}"'.encode())
                value, tag, end = rest.partition(b"<v>")
                data = before + mark + value + tag + b"9" + end
            other.writestr(name, data)
    requote([tmp_path / one.name], read_shop(path), tmp_path / "out")
    first = table(tmp_path / "out")[0]
    assert first["note"].startswith("! LOOK price at quantity 1: 9")
    assert first["difference"] == "0"


@pytest.mark.slow
def test_another_currency_is_not_compared(tmp_path):
    old, new = (read_shop(make_shop(tmp_path / f"{n}.xlsx", (RATES, "Currency symbol", sign))) for n, sign in enumerate("$€"))
    fill("quote", BY_HAND, tmp_path / "H-1.xlsx", shop=old)
    requote([tmp_path / "H-1.xlsx"], new, tmp_path / "out")
    row = table(tmp_path / "out")[0]
    assert (row["currency"], row["difference"], row["material"]) == ("$ €", "", "")
    assert "$ then, € now" in row["note"]


def test_amounts_typed_in_a_quote_are_not_mixed_with_another_currency(tmp_path):
    """An order's tooling for 300 $ is none for 300 €."""
    old, new = (read_shop(make_shop(tmp_path / f"{n}.xlsx", (RATES, "Currency symbol", sign))) for n, sign in enumerate("$€"))
    fill("quote", BY_HAND | {"tooling": 300, "freight_charged": 40, "part_description": "Bush"}, tmp_path / "H-1.xlsx", shop=old)
    done = requote([tmp_path / "H-1.xlsx"], new, tmp_path / "out")
    assert list(reasons_of(done).values()) == ["currency: $ then, € now, but typed in the quote are amounts in $: tooling of this order, freight charged, once; "
                                               "nothing is converted"]
    assert not (tmp_path / "out" / "for_customer").exists()
    assert not requote([tmp_path / "H-1.xlsx"], old, tmp_path / "same").outcome.problems


def test_what_the_new_shop_has_not_is_named_and_nothing_else_is_offered(made, tmp_path):
    folder, jobs, _ = made
    shop = read_shop(make_shop(tmp_path / "less.xlsx", (MACHINES, "B6", "Lathe 3"), *((PRICES, f"{c}7", None) for c in "BCDEFGHI")))
    done = requote([folder], shop, tmp_path / "out")
    reasons = reasons_of(done)
    good = {row["file"] for row in table(tmp_path / "out")}
    for path in folder.glob("J-*.xlsx"):
        job = jobs[path.stem[:5]]
        bad_machine = job["machine"] == "Lathe 1"
        bad_material = job["material"] == "Stainless 303" and "material_price" not in job
        assert (path.name in reasons) == (bad_machine or bad_material) == (path.name not in good), path
        if bad_machine:
            assert "machine: Lathe 1 is not in less.xlsx" in reasons[path.name]
            assert "Lathe 2" not in reasons[path.name]
        if bad_material:
            assert "material: Stainless 303, " in reasons[path.name]
            assert "has no price in less.xlsx" in reasons[path.name]
    assert reasons
    assert good


def bad_files(place, shop):
    """Files that can't be made anew, each with what is said of it."""
    place.mkdir()
    good = fill("quote", BY_HAND, shop=shop)
    (place / "text.xlsx").write_text("no workbook")
    (place / "cut.xlsx").write_bytes(good.data[:60_000])
    flipped = bytearray(good.data)
    flipped[5000:5400] = bytes(400)
    (place / "flipped.xlsx").write_bytes(flipped)
    filled_by_hand(place / "no price.xlsx", shop, BY_HAND | {"material_price": "four"})
    filled_by_hand(place / "stop.xlsx", shop, BY_HAND | {"bar_length": 500})
    filled_by_hand(place / "formula.xlsx", shop, BY_HAND | {"size": "=1+3/8"})
    filled_by_hand(place / "sheet.xlsx", shop, BY_HAND | {"machines_machine_rate": "eighty"})
    filled_by_hand(place / "units.xlsx", shop, BY_HAND | {"shop_units": "cm"})
    book = openpyxl.load_workbook(filled_by_hand(place / "names.xlsx", shop, BY_HAND))
    book.defined_names["size"].attr_text = "#REF!"
    book.save(place / "names.xlsx")
    return {"text.xlsx": "not an xlsx", "cut.xlsx": "damaged", "flipped.xlsx": "damaged", "no price.xlsx": "material_price:",
            "stop.xlsx": "longer than the feeder takes", "formula.xlsx": "no value is stored", "sheet.xlsx": "machine rate: 'eighty' is no number",
            "units.xlsx": "'cm'", "names.xlsx": "the name size does not stand for cells"}


def test_bad_files_are_listed_and_the_others_are_done(made, tmp_path):
    folder, _, path = made
    shop = read_shop(path)
    said = bad_files(tmp_path / "bad", shop)
    good = next(folder.glob("J-*.xlsx"))
    fill("job_plan", {name: value for name, value in BY_HAND.items() if not name.startswith("quantity")} | {"quantity": 5}, tmp_path / "plan.xlsx", shop=shop)
    done = requote([tmp_path / "bad", good, tmp_path / "plan.xlsx", path], shop, tmp_path / "out")
    reasons = reasons_of(done)
    for name, words in said.items():
        assert words in reasons[name], (name, reasons[name])
    assert reasons["plan.xlsx"] == "plan.xlsx is a job plan, not a quote"
    assert reasons["shop.xlsx"] == "shop.xlsx is not a quote workbook: it has none of a quote's cells"
    assert {row["file"] for row in table(tmp_path / "out")} == {good.name}
    assert [file for _, file, _ in done.outcome.done] == [good.name]


def test_what_is_no_quote_in_a_folder_is_left_out(made, tmp_path):
    folder, _, path = made
    (tmp_path / "mixed").mkdir()
    one = next(folder.glob("J-*.xlsx"))
    for source in (one, path, folder / "results.xlsx"):
        shutil.copy(source, tmp_path / "mixed")
    (tmp_path / "mixed" / "~$open.xlsx").write_bytes(b"lock")
    copy = next((folder / "for_customer").glob("*.xlsx"))
    shutil.copy(copy, tmp_path / "mixed")
    done = requote([tmp_path / "mixed", tmp_path / "mixed" / one.name], read_shop(path), tmp_path / "out")
    assert not done.outcome.problems
    assert [p.name for p, _ in done.left_out] == [copy.name, "shop.xlsx"]
    assert len(done.outcome.done) == 1
    (tmp_path / "none").mkdir()
    with pytest.raises(InputError, match="holds no workbooks"):
        find_quotes([tmp_path / "none"])
    with pytest.raises(InputError, match="the quotes lie in this folder"):
        requote([tmp_path / "mixed"], read_shop(path), tmp_path / "mixed")


def test_one_file_that_takes_too_much_does_not_take_the_others_along(made, tmp_path, monkeypatch):
    folder, _, _ = made
    paths = sorted(folder.glob("J-*.xlsx"))[:3]
    read = named_cells._read

    def hostile(some, names):
        if paths[1] in some:
            raise WorkbookError("takes longer than 5 s to read; it was given up")
        return read(some, names)

    monkeypatch.setattr(named_cells, "_read", hostile)
    found = list(named_cells.read_all(paths, ["quote_status", "size"]))
    assert [isinstance(one, WorkbookError) for one in found] == [False, True, False]


def test_a_part_that_bursts_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", b"<workbook>" + b" " * 190_000_000 + b"</workbook>")
        archive.writestr("xl/_rels/workbook.xml.rels", "<Relationships/>")
    found, = named_cells.read_all([tmp_path / "bomb.xlsx"], ["size"])
    assert isinstance(found, WorkbookError)
    assert "unpacks to more" in str(found)


# --- the folder ------------------------------------------------------------------------------------------------------


def test_a_second_run_leaves_what_is_there_and_replace_writes_anew(made, tmp_path):
    folder, _, path = made
    few, out = sorted(folder.glob("J-*.xlsx"))[:3], tmp_path / "out"
    shop, other = read_shop(path), read_shop(make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.3)))
    first = requote(few, shop, out)
    before = table(out)
    again = requote(few, shop, out)
    assert (len(first.outcome.done), len(again.outcome.done), len(again.outcome.unchanged)) == (3, 0, 3)
    assert table(out) == before
    refused = requote(few, other, out)
    assert len(refused.outcome.problems) == 3
    assert all("exists already" in p.reason for p in refused.outcome.problems)
    assert {row["old_shop_file"] for row in table(out)} == {str(shop.file)}
    replaced = requote(few, other, out, replace=True)
    assert len(replaced.outcome.done) == 3
    assert {row["new_shop_file"] for row in table(out)} == {str(other.file)}
    for one in few:
        assert one.read_bytes() == (folder / one.name).read_bytes()
    more = requote(sorted(folder.glob("J-*.xlsx"))[3:4], other, out)
    assert len(more.outcome.done) == 1
    assert len({row["file"] for row in table(out)}) == 4


@pytest.mark.slow
def test_a_table_that_is_not_ours_is_not_overwritten(made, tmp_path):
    folder, _, path = made
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "requote.csv").write_text("mine")
    done = requote([next(folder.glob("J-*.xlsx"))], read_shop(path), tmp_path / "out")
    assert [p.reason for p in done.outcome.problems] == ["requote.csv exists already; allow replacing (--replace) or choose another folder"]
    assert (tmp_path / "out" / "requote.csv").read_text() == "mine"


def test_ctrl_c_leaves_the_table_of_what_is_done(made, tmp_path):
    folder, _, path = made
    count = len(list(folder.glob("J-*.xlsx")))
    calls = 0

    def step():
        nonlocal calls
        calls += 1
        if calls == 2 * count + 4:
            os.kill(os.getpid(), signal.SIGINT)

    with pytest.raises(Interrupted) as stopped:
        requote([folder], read_shop(path), tmp_path / "out", progress=step)
    written = {p.name for p in (tmp_path / "out").glob("J-*.xlsx")}
    assert 0 < len(written) < count
    assert {row["file"] for row in table(tmp_path / "out")} == written
    assert stopped.value.requoted.outcome.stopped == "interrupted"
    rest = requote([folder], read_shop(path), tmp_path / "out")
    assert len(rest.outcome.unchanged) == len(written)
    assert len({row["file"] for row in table(tmp_path / "out")}) == count


def test_ctrl_c_before_anything_is_written_leaves_nothing(made, tmp_path):
    folder, _, path = made

    def step():
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        requote([folder], read_shop(path), tmp_path / "out", progress=step)
    assert not (tmp_path / "out").exists()


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_command_says_what_changed_in_80_columns(made, tmp_path):
    folder, _, _ = made
    make_shop(tmp_path / "new.xlsx", (PRICES, "E6", 5.3), (MACHINES, "K6", 1234))
    done = CliRunner().invoke(main, ["requote", str(folder), "--shop", str(tmp_path / "new.xlsx"), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "Quotes with a higher price: " in done.stdout
    assert "14 of 14 quotes calculated anew" in " ".join(done.stdout.split())
    row = next(row for row in table(tmp_path / "out") if float(row["difference"]))
    assert any(line.startswith(row["file"][:5]) and f"{float(row['quantity']):,.0f}" in line for line in done.stdout.splitlines())


def test_the_command_lists_problems_and_ends_with_1(made, tmp_path):
    folder, _, path = made
    (tmp_path / "text.xlsx").write_text("no workbook")
    one = next(folder.glob("J-*.xlsx"))
    done = CliRunner().invoke(main, ["requote", str(one), str(tmp_path / "text.xlsx"), "--shop", str(path), "--out", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert "1 of 2 quotes have problems" in done.stdout
    assert "is not an xlsx workbook" in " ".join(done.stdout.split())
    assert (tmp_path / "out" / one.name).exists()
    none = CliRunner().invoke(main, ["requote", "--shop", str(path), "--out", str(tmp_path / "out")])
    assert none.exit_code == 2


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals of another process")
def test_ctrl_c_at_the_terminal(made, tmp_path):
    folder, _, path = made
    command = [sys.executable, "-m", "barfuncs", "requote", str(folder), "--shop", str(path), "--out", str(tmp_path / "out")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        while process.poll() is None and not list((tmp_path / "out").glob("J-*.xlsx")):
            pass
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=120)
    assert process.returncode in (0, 130)
    assert {row["file"] for row in table(tmp_path / "out")} == {p.name for p in (tmp_path / "out").glob("J-*.xlsx")}


def test_inputs_go_round_as_they_are(made):
    """What is read of a quote is what was put in, to the last bit."""
    folder, jobs, path = made
    from barfuncs.filling.requoting import _old_quote, _wanted

    shop = read_shop(path)
    paths = sorted(folder.glob("J-*.xlsx"))
    for one, told in zip(paths, named_cells.read_all(paths, _wanted()), strict=True):
        quote = _old_quote(one, told, materials.builtin())
        assert quote.inputs == read_inputs(jobs[one.stem[:5]], "quote", shop=shop)
        assert dataclasses.replace(quote.shop, speeds=shop.speeds, letterhead=shop.letterhead) == shop.without_file()
        assert quote.shop_file == str(shop.file)


@pytest.mark.slow
def test_a_shop_from_python_is_one_too(tmp_path):
    old = Shop("in", Rates(margin=0.2), (Machine("Lathe 1", machine_rate=80.0, grip_length=2.0, face_to_cutoff=0.2),),
               (StockPrice("Brass C36000", 4.0, "lb"),), read_shop(make_shop(tmp_path / "shop.xlsx")).speeds)
    fill("quote", BY_HAND, tmp_path / "H-1.xlsx", shop=old)
    requote([tmp_path / "H-1.xlsx"], dataclasses.replace(old, rates=Rates(margin=0.25)), tmp_path / "out")
    row = table(tmp_path / "out")[0]
    assert float(row["other"]) > 0
    assert row["old_shop_file"] == "with a shop's data from a program, not from a file"
