"""The customer's copy of a quote: the page's values and look, and not one figure of the costs."""

import io
import random
import re
from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal
from xml.sax.saxutils import unescape

import openpyxl
import pytest
from job_generator import GOOD_INPUTS, good_quote

import barfuncs as bf
from barfuncs.filling import customer_copy
from barfuncs.filling.filler import Filled, customer_page, fill
from barfuncs.templates import shop
from barfuncs.templates.quote.inputs import BREAKS, LETTER
from barfuncs.xlsx.package import read_parts

LETTER_TEXTS = {item.name: f"Sample {item.name.replace('_', ' ')}" for item in LETTER if item.kind.reader == "text"}
NOT_ON_THE_PAGE = {"currency"}
"""Which stands in a heading."""
QUOTE = {**GOOD_INPUTS["quote"], **LETTER_TEXTS, "customer": "A Customer", "part_number": "PN", "currency": "USD", "tooling": 113.37, "freight_charged": 83.0, "paper": "letter",
         "other_per_order": 77.19, "other_per_part": 0.1234, "chip_price": 0.3137, "remnant_price": 0.4173}
PAGE = "xl/worksheets/sheet1.xml"
PRICES = ("price", "total", "shown", "value", "whole", "price_whole")
"""What the page shows of a quantity, or what it is one step from; with the offer from the same bars also that."""
ONCE = ("setup_line", "tooling_line", "minimum_order", "priced_parts", "freight_line", "freight_charged", "valid_days")


def sheet_of(data: bytes):
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.sheetnames == ["Quotation"]
    return book.active


def printed(sheet) -> tuple:
    """The cells of what is printed, row by row."""
    return sheet[sheet.print_area.rpartition("!")[2].replace("$", "")]


def text_of(parts: dict[str, bytes]) -> str:
    return "\n".join(unescape(data.decode()) for data in parts.values())


def spellings(value: float) -> set[str]:
    """A figure as it may be written: as it is, and rounded or cut to 0 to 6 places, with and without commas."""
    exact = Decimal(repr(value))
    rounded = [exact.quantize(Decimal(1).scaleb(-n), how) for n in range(7) for how in (ROUND_HALF_UP, ROUND_DOWN)]
    return {repr(value), f"{value:g}"} | {f"{d:f}" for d in rounded} | {f"{d:,f}" for d in rounded}


def secrets(filled: Filled) -> dict[str, float]:
    """Every number of the quote that the page does not show."""
    shown = {f"{name}_{n}" for n in BREAKS for name in (*PRICES, "quantity")} | set(ONCE)
    shown |= {"size", "thickness", *(f"op_{n}_{name}" for n in range(1, 13) for name in ("start_diameter", "end_diameter", "length"))}
    known = {**filled.inputs, **filled.answers}
    return {name: value for name, value in known.items() if isinstance(value, (int, float)) and name not in shown and value}


def allowed(filled: Filled) -> set[str]:
    """Numbers that the page shows, in the same spellings: a cost that happens to be one of them says nothing."""
    shown = [filled.answers[f"{name}_{n}"] for n in BREAKS for name in PRICES] + [({**filled.inputs, **filled.answers})[name] for name in ONCE]
    shown += [filled.inputs[f"quantity_{n}"] for n in BREAKS] + [filled.inputs["size"], filled.inputs["thickness"]]
    return {spelling for value in shown if isinstance(value, (int, float)) for spelling in spellings(value)} | numbers_in(
        str(filled.inputs["material"]))


def numbers_in(text: str) -> set[str]:
    return {number.rstrip(",.") for number in re.findall(r"(?<![\w.,])\d[\d,]*\.?\d*(?!\w)", text)}


def leaks(filled: Filled, data: bytes) -> list[tuple[str, str]]:
    """Figures of the costs that are found anywhere in the file, as text or number."""
    page = sheet_of(data)
    values = [cell.value for row in page.iter_rows() for cell in row if cell.value is not None]
    numbers = {value for value in values if isinstance(value, (int, float))}
    in_texts = numbers_in(" ".join(value for value in values if isinstance(value, str)))
    anywhere, free = numbers_in(text_of(read_parts(data))), allowed(filled)
    # Short ones are row numbers, widths and years of namespaces too: those count in the cells alone.
    return [(name, spelling) for name, value in secrets(filled).items() for spelling in spellings(value) - free
            if spelling in in_texts or float(spelling.replace(",", "")) in numbers
            or (spelling in anywhere and len(re.sub(r"\D", "", spelling).strip("0")) > 4)]


def ready(values: dict) -> Filled | None:
    try:
        filled = fill("quote", values)
    except bf.InputError:
        return None
    return filled if filled.is_ready else None


def test_no_figure_of_the_costs_is_anywhere_in_the_file():
    filled = fill("quote", QUOTE)
    assert len(secrets(filled)) > 150
    assert leaks(filled, filled.customer_copy()) == []


@pytest.mark.slow
def test_no_figure_of_the_costs_of_any_quote():
    rng = random.Random(3)
    made = [filled for filled in (ready(good_quote(rng) | LETTER_TEXTS) for _ in range(60)) if filled]
    assert len(made) > 25
    assert {n: found for n, filled in enumerate(made) if (found := leaks(filled, filled.customer_copy()))} == {}


@pytest.mark.parametrize("name", ["cost_each_1", "order_cost_2", "margin_1", "machine_rate", "cycle"])
def test_the_search_finds_a_figure_that_is_there(name):
    filled = fill("quote", QUOTE)
    value = {**filled.inputs, **filled.answers}[name]
    page = customer_page("quote")
    for planted in (value, round(value, 2), f"Made at {value:.2f} each"):
        assert leaks(filled, page.copy(filled.page | {"C15": planted}))


def test_the_parts_besides_the_page_are_the_same_for_every_quote():
    one, other = (read_parts(fill("quote", QUOTE | change).customer_copy()) for change in ({}, {"machine_rate": 333.0, "customer": "Another"}))
    assert {name for name in one if one[name] != other[name]} == {PAGE}
    assert set(one) == {"[Content_Types].xml", "_rels/.rels", "docProps/app.xml", "docProps/core.xml", "xl/workbook.xml",
                        "xl/_rels/workbook.xml.rels", "xl/styles.xml", "xl/theme/theme1.xml", PAGE}


def test_there_are_values_alone():
    parts = read_parts(fill("quote", QUOTE).customer_copy())
    page = parts[PAGE].decode()
    for mark in ("<f>", "<f ", "dataValidation", "conditionalFormatting", "sheetProtection", "legacyDrawing", "<hyperlink"):
        assert mark not in page
    names = re.findall(r"<definedName [^>]*>[^<]*", parts["xl/workbook.xml"].decode())
    assert [name.partition(" localSheetId")[0] for name in names] == ['<definedName name="_xlnm.Print_Area"']


def test_the_copy_shows_what_the_page_shows():
    filled = fill("quote", QUOTE)
    original = openpyxl.load_workbook(io.BytesIO(filled.data), data_only=True)["Quotation"]
    page = sheet_of(filled.customer_copy())
    for row in printed(original):
        for cell in row:
            assert (page[cell.coordinate].value or "") == (cell.value or ""), cell.coordinate
    words = {cell.value for row in page.iter_rows() for cell in row if cell.value}
    assert {text for name, text in LETTER_TEXTS.items() if name not in NOT_ON_THE_PAGE} <= words
    assert {"Price each, USD", "A Customer", "PN"} <= words
    for n in BREAKS:
        assert {filled.inputs[f"quantity_{n}"], filled.answers[f"price_{n}"], filled.answers[f"value_{n}"]} <= words


def test_the_copy_looks_like_the_page():
    filled = fill("quote", QUOTE)
    original, page = openpyxl.load_workbook(io.BytesIO(filled.data))["Quotation"], sheet_of(filled.customer_copy())
    for row in printed(original):
        for cell in row:
            mine = page[cell.coordinate]
            for look in ("font", "fill", "border", "alignment", "number_format"):
                assert repr(getattr(mine, look)) == repr(getattr(cell, look)), (cell.coordinate, look)
    columns = {cell.column_letter for cell in printed(original)[-1]}
    assert {c: d.width for c, d in page.column_dimensions.items()} == {c: original.column_dimensions[c].width for c in columns}
    assert {n: d.height for n, d in page.row_dimensions.items() if d.height} == {
        n: d.height for n, d in original.row_dimensions.items() if d.height and n <= len(printed(original))}
    assert sorted(map(str, page.merged_cells.ranges)) == sorted(map(str, original.merged_cells.ranges))
    assert page.print_area == original.print_area
    for what in ("orientation", "paperSize", "fitToWidth", "fitToHeight"):
        assert getattr(page.page_setup, what) == getattr(original.page_setup, what)
    assert page.sheet_properties.pageSetUpPr.fitToPage


def test_the_shops_figures_are_not_in_it(tmp_path):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    mine = shop.read_shop(tmp_path / "shop.xlsx")
    few = ("units", "material", "size", "part_length", "cutoff_width", "bar_length", "quantity_1", "quantity_2")
    filled = fill("quote", {name: QUOTE[name] for name in few if name in QUOTE} | {
        "units": "in", "material": "303", "machine": "Lathe 1", "cycle_time": 47.3, "seller": "Sample Turning"}, shop=mine)
    copy = filled.customer_copy()
    assert leaks(filled, copy) == []
    for text in ("Lathe 1", "invented price", "markup", "Markup", "margin_", "Machine"):
        assert text not in text_of(read_parts(copy))


@pytest.mark.parametrize(("template", "change", "reason"), [
    ("quote", {"feeder_longest_bar": 100.0}, "job: not ready to be sent: See the checks"),
    ("job_plan", {}, "template: job_plan has no page for a customer"),
])
def test_what_is_not_ready_has_no_copy(template, change, reason):
    filled = fill(template, GOOD_INPUTS[template] | change)
    with pytest.raises(bf.InputError, match=re.escape(reason)):
        filled.customer_copy()


def test_a_page_with_an_error_is_no_copy():
    filled = fill("quote", QUOTE)
    with pytest.raises(bf.InputError, match=r"page: C20 can't be worked out"):
        customer_page("quote").copy(filled.page | {"C20": customer_copy.CellError("#N/A")})


def test_the_copy_is_the_same_every_time():
    assert fill("quote", QUOTE).customer_copy() == fill("quote", QUOTE).customer_copy()
