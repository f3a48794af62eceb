"""How workbooks open and print: first input, what stays in view, the way of Tab and Enter, pages, paper, printed size."""

import dataclasses
import io
import re
import shutil
import subprocess

import openpyxl
import pytest
from job_generator import GOOD_INPUTS
from libreoffice import convert
from printed import area, area_of, load, open_cells, scale, size

from barfuncs.filling.filler import fill
from barfuncs.templates import shop
from barfuncs.templates.job_plan import INPUTS as PLAN_INPUTS
from barfuncs.templates.layout import PAPERS
from barfuncs.templates.model import LOOK
from barfuncs.templates.quote.inputs import INPUTS as QUOTE_INPUTS
from barfuncs.templates.quote.inputs import QUANTITIES
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook

PRINTED = {"job_plan": ["Plan", "Set-up"], "quote": ["Costing", "Prices", "Quotation"]}
"""The sheets of which the printed workbook has a page each."""
FIRST = {"job_plan": PLAN_INPUTS, "quote": QUOTE_INPUTS}
BOOKS = {name: TEMPLATES[name].build for name in PRINTED} | {"shop": shop.build}
SMALLEST_BODY, SMALLEST = 7.0, 6.2
"""In points: of text of the usual size, and of units and remarks."""
LAPTOP = 1366 - 40 - 25
"""Pixels beside the row numbers and the bar for scrolling."""

GOOD = {"units": "in", "material": "Brass C36000", "shape": "round", "size": 0.75, "part_length": 2.25, "cutoff_width": 0.125, "face_to_cutoff": 0.2,
        "grip_length": 2.5, "bar_length": 144}
PLAN = GOOD | {"quantity": 1000}
QUOTE = GOOD | {"quantity_1": 100, "cycle_time": 40, "machine_rate": 80, "material_price": 4.6, "price_per": "lb", "margin": 0.3}
SECTIONS = [{"shape": "round", "size": 0.5, "length": 1}, {"shape": "round", "size": 0.25, "length": 0.5}]
METRIC = {"units": "mm", "size": 20, "part_length": 40, "cutoff_width": 3, "face_to_cutoff": 5, "grip_length": 60, "bar_length": 3000}
FILLED = {"job_plan": PLAN, "quote": QUOTE}


def filled(template: str, **more) -> openpyxl.Workbook:
    return load(fill(template, FILLED[template] | more).data)


def blank_and_filled(template: str) -> list[openpyxl.Workbook]:
    return [load(TEMPLATES[template].build()), filled(template)]


# --- opening -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PRINTED)
def test_a_workbook_opens_on_its_first_input_with_status_and_headline_in_view(name):
    first = next(iter(next(iter(FIRST[name].values())))).name
    prefix = TEMPLATES[name].form.prefix
    for book in blank_and_filled(name):
        sheet = book.active
        assert sheet is book.worksheets[0]
        place = book.defined_names[first].attr_text.rpartition("!")[2].replace("$", "")
        assert [s.activeCell for s in sheet.sheet_view.selection] == [place] == [s.sqref for s in sheet.sheet_view.selection]
        pane = sheet.sheet_view.pane
        assert (pane.state, pane.topLeftCell, pane.ySplit, pane.xSplit) == ("frozen", "A4", 3, None)
        status = book.defined_names[f"{prefix}status"].attr_text.replace("$", "")
        assert status == f"'{sheet.title}'!B2"
        assert sheet["B3"].value.startswith("=")
        assert sum(sheet.row_dimensions[row].height for row in (1, 2, 3)) < 80
        # A few rows of inputs are seen without scrolling, the first among them.
        assert int(place[1:]) <= 6
        assert sum(s.sheet_view.tabSelected or 0 for s in book.worksheets) <= 1


@pytest.mark.parametrize("name", BOOKS)
def test_each_sheet_opens_on_its_first_framed_cell(name):
    for sheet in load(BOOKS[name]()).worksheets:
        if sheet.sheet_state == "visible":
            first = next(iter(open_cells(sheet)), "A1")
            assert {s.activeCell for s in sheet.sheet_view.selection} == {first}, sheet.title


@pytest.mark.parametrize("name", BOOKS)
def test_the_first_sheet_fits_a_small_laptop(name):
    book = load(BOOKS[name]())
    sheet = book.worksheets[0]
    assert size(book, sheet)[0] * 96 * (sheet.sheet_view.zoomScale or 100) / 100 <= LAPTOP
    assert (sheet.sheet_view.zoomScale or 100) >= 85


def test_the_headline_of_a_quote_says_the_prices():
    book = fill("quote", QUOTE | {"quantity_3": 1000})
    sheet = openpyxl.load_workbook(io.BytesIO(book.data), data_only=True)["Costing"]
    assert re.fullmatch(rf"100 at {book.answers['price_1']:.2f} +1,000 at {book.answers['price_3']:.2f} +", sheet["B3"].value)
    assert not re.search(r"\d", str(Workbook(TEMPLATES["quote"].build()).value("Costing!B3") or ""))


# --- Tab and Enter -------------------------------------------------------------------------------------------------


def cells_in_order(book: openpyxl.Workbook, names: list[str]) -> list[str]:
    return [book.defined_names[name].attr_text.rpartition("!")[2].replace("$", "") for name in names]


@pytest.mark.parametrize("name", PRINTED)
def test_tab_and_enter_go_from_input_to_input(name):
    """One column without a gap: Tab goes to the next open cell of the sheet, row by row, Enter to the cell below."""
    groups = {title: [item.name for item in items] for title, items in FIRST[name].items()}
    job, *others = groups.values()
    wanted = [*job, *(q.name for q in QUANTITIES if name == "quote"), *(n for names in others for n in names)]
    for book in blank_and_filled(name):
        sheet = book.worksheets[0]
        found = open_cells(sheet)
        assert found == cells_in_order(book, wanted)
        first = int(found[0][1:])
        assert found == [f"{found[0][0]}{first + n}" for n in range(len(found))]
        assert sheet.protection.sheet
        assert not sheet.protection.selectUnlockedCells


@pytest.mark.parametrize("name", PRINTED)
def test_tab_goes_through_a_table_row_by_row(name):
    book = load(TEMPLATES[name].build())
    for table in TEMPLATES[name].form.tables:
        columns = cells_in_order(book, [f"{table.item}_{c.name}" for c in table.columns])
        wanted = [f"{ref[0]}{row}" for row in range(int(columns[0].split(":")[0][1:]), int(columns[0].split(":")[1][1:]) + 1) for ref in columns]
        sheet = book[book.defined_names[table.marks].attr_text.rpartition("!")[0].strip("'")]
        found = open_cells(sheet)
        at = found.index(wanted[0])
        assert found[at:at + len(wanted)] == wanted, table.name


# --- pages ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PRINTED)
def test_other_sheets_are_printed_only_when_they_are_asked_for(name):
    for book in blank_and_filled(name):
        visible = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        assert [sheet.title for sheet in visible][:len(PRINTED[name])] == PRINTED[name], "blank pages are left out at the end alone"
        for sheet in visible:
            said = [str(cell.value) for row in sheet.iter_rows(max_row=6) for cell in row if "Printed when asked for" in str(cell.value)]
            if sheet.title in PRINTED[name]:
                assert area_of(book, sheet) == str(sheet.print_area).rpartition("!")[2].replace("$", "")
                assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight, said) == (1, 1, [])
            else:
                assert str(sheet.print_area).endswith("!$A$1")
                assert sheet["A1"].value is None
                assert len(said) == 1
                named = re.search(r"print_\w+", said[0])[0]
                assert book.defined_names[named].attr_text.replace("$", "") == f"'{sheet.title}'!{area_of(book, sheet)}"
                left, top, right, bottom = area(book, sheet)
                assert (left, top) == (1, 1)
                assert right > 2
                assert bottom > 20


@pytest.mark.parametrize(("name", "sheet", "inputs"), [("job_plan", "Plan", PLAN_INPUTS), ("quote", "Costing", QUOTE_INPUTS)])
def test_no_figure_beside_an_input_is_cut_off(name, sheet, inputs):
    book = load(BOOKS[name]())
    places = {item.name: book.defined_names[item.name].attr_text.replace("'", "").replace("$", "") for group in inputs.values() for item in group if item.origin}
    there = [place.rpartition("!")[2] for place in places.values() if place.startswith(f"{sheet}!")]
    assert len(there) > 10
    assert [place for place in there if not book[sheet][place].offset(column=1).alignment.shrink_to_fit] == []


@pytest.mark.parametrize("paper", PAPERS.values())
@pytest.mark.parametrize("name", BOOKS)
def test_nothing_is_printed_smaller_than_can_be_read(name, paper):
    book = load(BOOKS[name]())
    for sheet in book.worksheets:
        if sheet.sheet_state != "visible":
            continue
        left, top, right, bottom = area(book, sheet)
        sizes = {cell.font.sz for row in sheet.iter_rows(top, bottom, left, right) for cell in row if cell.value is not None and cell.font.sz > 1}
        factor = scale(book, sheet, paper)
        assert factor * 10 >= SMALLEST_BODY, f"{sheet.title}: text of 10 points is printed at {factor * 10:.1f}"
        assert factor * min(sizes) >= SMALLEST, f"{sheet.title}: {min(sizes)} points are printed at {factor * min(sizes):.1f}"


def test_a_page_that_grows_too_wide_or_too_long_is_noticed():
    book = load(TEMPLATES["quote"].build())
    sheet = book["Costing"]
    before = scale(book, sheet)
    sheet.column_dimensions["C"].width = 90
    assert scale(book, sheet) * 10 < SMALLEST_BODY <= before * 10
    sheet.column_dimensions["C"].width = 30
    sheet.row_dimensions[20].height = 400
    assert scale(book, sheet) * 10 < SMALLEST_BODY


# --- paper ---------------------------------------------------------------------------------------------------------


def papers(book: openpyxl.Workbook) -> set[int]:
    return {int(sheet.page_setup.paperSize) for sheet in book.worksheets}


@pytest.mark.parametrize("name", PRINTED)
def test_paper_follows_the_units(name):
    assert papers(load(TEMPLATES[name].build())) == {PAPERS["letter"]}
    one, two = fill(name, FILLED[name] | {"material": "303"}), fill(name, FILLED[name] | METRIC | {"material": "8.1 g/cm3"})
    for job, paper in ((one, "letter"), (two, "A4"), (fill(name, FILLED[name]), "letter")):
        assert papers(load(job.data)) == {PAPERS[paper]}
        assert job.paper == paper
        if name == "quote":
            assert papers(load(job.customer_copy())) == {PAPERS[paper]}


def test_a_metric_shops_templates_are_for_a4(tmp_path):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    metric = shop.read_shop(tmp_path / "shop.xlsx").in_units("mm")
    assert papers(load(TEMPLATES["job_plan"].build(metric))) == {PAPERS["A4"]}


@pytest.mark.parametrize("paper", PAPERS)
def test_a_shop_chooses_its_paper(tmp_path, paper):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    own = shop.read_shop(tmp_path / "shop.xlsx")
    own = dataclasses.replace(own, letterhead=dataclasses.replace(own.letterhead, paper=paper))
    for units in ({}, METRIC):
        assert papers(load(fill("job_plan", PLAN | units, shop=own).data)) == {PAPERS[paper]}


# --- the customer's page -------------------------------------------------------------------------------------------


def test_what_is_blank_on_the_customers_page_is_said_beside_it():
    def said(**given: str) -> tuple[list[str], bool]:
        data = fill("quote", QUOTE | given).data
        book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
        sheet = book["Quotation"]
        cells = [cell for row in sheet.iter_rows() for cell in row if "Blank on this page" in str(cell.value)]
        return [cell.value for cell in cells], all(cell.column > area(book, sheet)[2] for cell in cells)

    assert said() == ([f"{LOOK}  Blank on this page: customer, number, date, currency."], True)
    assert said(customer="Harrow", quote_date="2027-03-01", currency="EUR") == ([f"{LOOK}  Blank on this page: number."], True)
    assert said(customer="Harrow", quote_date="2027-03-01", quote_number="Q-1", currency="EUR") == ([], True)


# --- in a spreadsheet program --------------------------------------------------------------------------------------


def pages_of(pdf) -> list[str]:
    program = shutil.which("pdftotext")
    if not program:
        pytest.skip("pdftotext is missing")
    text = subprocess.run([program, "-layout", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    return text.split("\f")[:-1]


@pytest.mark.libreoffice
def test_a_printed_plan_has_two_pages_and_a_quote_three(tmp_path):
    jobs = {"plan": ("job_plan", {}), "sections": ("job_plan", {"sections": SECTIONS, "tool_1_parts_per_edge": 50}),
            "quote": ("quote", {"seller": "Harrow"}), "metric": ("quote", METRIC | {"sections": [{"shape": "round", "size": 12, "length": 40}]})}
    for name, (template, more) in jobs.items():
        (tmp_path / f"{name}.xlsx").write_bytes(fill(template, FILLED[template] | more).data)
    for name in PRINTED:
        (tmp_path / f"{name}.xlsx").write_bytes(TEMPLATES[name].build())
    names = [*jobs, *(name for name in PRINTED if name not in jobs)]
    found = {pdf.stem: pages_of(pdf) for pdf in convert([tmp_path / f"{name}.xlsx" for name in names], tmp_path, "pdf")}
    for name in names:
        template = jobs[name][0] if name in jobs else name
        heads = {"job_plan": ["Job plan", "Set-up sheet"], "quote": ["Quote: costing", "Price by quantity", "Quotation"]}[template]
        assert len(found[name]) == len(heads), name
        for head, page in zip(heads, found[name], strict=True):
            assert head in page, name


def test_good_inputs_print_as_many_pages_too():
    """The print areas do not depend on what is filled in."""
    for name in PRINTED:
        book, blank = load(fill(name, GOOD_INPUTS[name]).data), load(TEMPLATES[name].build())
        assert [str(s.print_area) for s in book.worksheets] == [str(s.print_area) for s in blank.worksheets]
