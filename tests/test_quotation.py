"""Several quotes as one quotation: what it says, what it must not say, what is refused, how it prints, and what becomes of it in a
folder of quotes when rows change."""

import csv
import dataclasses
import io
import json
import re
import struct
import subprocess
import zlib
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest
from click.testing import CliRunner
from job_generator import GOOD_INPUTS
from judges import content
from libreoffice import convert
from openpyxl.utils import column_index_from_string
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from test_customer_copy import numbers_in, spellings

from barfuncs.cli.main import main
from barfuncs.errors import InputError
from barfuncs.filling import lists, quotation_files, quotations
from barfuncs.filling.filler import Filled, fill
from barfuncs.filling.lists import Outcome, plan_jobs, read_jobs
from barfuncs.filling.quotation_data import Quotation, QuotedLine, QuotedQuantity
from barfuncs.filling.quotation_pdf import pdf
from barfuncs.filling.quotation_xlsx import lines_of, total_of, workbook
from barfuncs.filling.quotations import quote_files, read_quote
from barfuncs.filling.quoted import Source, quotation_of
from barfuncs.tables import speeds_feeds
from barfuncs.templates import quotation as by_hand
from barfuncs.templates import shop
from barfuncs.templates.form import _letters as table_letters
from barfuncs.templates.quote.inputs import BREAKS
from barfuncs.templates.quote.said import SAID_ANSWERS, SAID_INPUTS, said
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack, read_parts

ROOT = Path(__file__).parent.parent
GOOD = {name: value for name, value in GOOD_INPUTS["quote"].items() if name not in ("paper", "valid_days", "freight_charged")}
HEAD = {"quote_number": "Q-17", "customer": "Größl & Söhne", "currency": "EUR", "seller": "Bellwether Turning", "quote_date": "2027-03-01"}
THREE = ({"part_description": "Valve seat", "part_number": "VS-1", "drawing": "D-71", "revision": "B", "certificate_line": "Certificate 3.1",
          "lead_time": "3 weeks"},
         {"part_description": "Bush", "part_number": "BU-2", "lead_time": "5 weeks", "part_length": 1.5, "remark": "Edges broken"},
         {"part_description": "Ring", "units": "mm", "material": "1.4305", "size": 25.0, "part_length": 40.0, "bar_length": 3000.0,
          "supplied_length": None, "kerf": None, "face_to_cutoff": 5.0, "grip_length": 60.0, "cutoff_width": 3.0, "feeder_longest_bar": 3500.0,
          "part_weight": None, "finished_size": None, "surface_area": None, "machine_type": None, "rear_hold": None, "cycle_time": 61.7,
          **{name: None for name in GOOD if name.startswith(("op_", "proc_"))}, "longest_push": None, "tool_changes": None,
          "box_weight": None})
LONG = ("All parts are washed, counted and packed in trays of your own; they go with us by the first delivery and come back full, " * 3)[:296] + "ENDS"
FOUR = {f"quantity_{n}": q for n, q in enumerate((250.0, 500.0, 1000.0, 2500.0), 1)} | {"quantity_5": None, "quantity_6": None}


def filled(**changes: Any) -> Filled:
    return fill("quote", GOOD | FOUR | HEAD | changes)


@pytest.fixture(scope="module")
def three() -> list[Filled]:
    found = [filled(**part, freight_charged=37.0) for part in THREE]
    assert all(quote.is_ready for quote in found), [quote.answers["stops"] for quote in found]
    return found


def together(quotes: list[Filled], letterhead: shop.Letterhead | None = None) -> Quotation:
    return quotation_of([Source(f"Q{n}", said(q.inputs, q.answers)) for n, q in enumerate(quotes, 1)], letterhead)


def many(lines: int = 14, quantities: int = 4, **changes: Any) -> Quotation:
    amounts = tuple(QuotedQuantity(q, round(2 + 40 / q, 4), round(2 * q + 40, 2), "3 weeks") for q in (100, 250, 1000, 5000)[:quantities])
    made = tuple(QuotedLine(f"Part {n:02}", f"PN-{n:02}", f"D-{n:02}", "A", "Brass C36000, round 1 in", "Certificate 3.1", quantities=amounts)
                 for n in range(1, lines + 1))
    return dataclasses.replace(Quotation("Q-5", "2027-03-01", "EUR", made, "Bellwether Turning", customer="Größl", terms="Net 30 days.",
                                         paper="A4"), **changes)


def texts_of(data: bytes) -> list[Any]:
    book = openpyxl.load_workbook(io.BytesIO(data))
    return [cell.value for row in book.active.iter_rows() for cell in row if cell.value is not None]


def png(width: int, height: int) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = (b"\0" + bytes((91, 58, 86)) * width) * height
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)) + chunk(b"IDAT", zlib.compress(rows))
            + chunk(b"IEND", b""))


# --- what it says, and what it must not say ------------------------------------------------------------------------


def test_three_parts_with_four_quantities_are_three_lines(three):
    made = together(three)
    assert (made.number, made.customer, made.currency, made.freight, made.paper) == ("Q-17", "Größl & Söhne", "EUR", 37.0, "letter")
    assert [line.description for line in made.lines] == ["Valve seat", "Bush", "Ring"]
    assert (made.lines[0].drawing, made.lines[0].revision, made.lines[0].certificate) == ("D-71", "B", "Certificate 3.1")
    assert [line.material for line in made.lines] == ["Steel 1215, round 1 in", "Steel 1215, round 1 in", "Stainless 303, round 25 mm"]
    for line, quote in zip(made.lines, three, strict=True):
        assert [q.quantity for q in line.quantities] == [250, 500, 1000, 2500]
        assert [q.price for q in line.quantities] == [quote.answers[f"shown_{n}"] for n in range(1, 5)]
        assert [q.total for q in line.quantities] == [quote.answers[f"total_{n}"] for n in range(1, 5)]
        assert line.setup == quote.answers["setup_line"] > 0
    assert [q.lead_time for q in made.lines[1].quantities] == ["5 weeks"] * 4
    assert [line.remark for line in made.lines] == ["", "Edges broken", ""]


def test_what_it_says_stands_in_the_workbook(three):
    words = texts_of(workbook(together(three)))
    texts = " ".join(str(word) for word in words)
    for text in ("Bellwether Turning", "Größl & Söhne", "Q-17", "2027-03-01", "Price each, EUR", "Total, EUR", "Valve seat",
                 "Part number: VS-1; Drawing: D-71, revision B", "Lead time: 5 weeks", "Edges broken", "Set-up, once", "Freight, once"):
        assert text in texts, text
    numbers = [word for word in words if isinstance(word, (int, float))]
    for line in together(three).lines:
        for quantity in line.quantities:
            assert {quantity.quantity, quantity.price, quantity.total} <= set(numbers)
    assert 37 in numbers


def costs(quotes: list[Filled]) -> dict[str, float]:
    """Every number of the quotes that a quotation does not show."""
    shown = {*SAID_INPUTS, *SAID_ANSWERS, *(f"{name}_{n}" for n in BREAKS for name in ("price", "price_whole", "whole")), "freight_charged",
             "minimum_order", "minimum_said", "priced_parts", "size", "valid_days"}
    return {f"{n} {name}": value for n, quote in enumerate(quotes) for name, value in {**quote.inputs, **quote.answers}.items()
            if isinstance(value, float) and value and name not in shown}


def shown_numbers(made: Quotation) -> set[str]:
    numbers = [float(n) for n in range(1, len(made.lines) + 1)]
    for line in made.lines:
        numbers += [line.setup, line.tooling, *(x for q in line.quantities for x in (q.quantity, q.price, q.total))]
    return {s for n in (*numbers, made.freight or 0, made.minimum) for s in spellings(n)} | {
        s for line in made.lines for s in numbers_in(" ".join((line.material, line.part_number, line.drawing, line.certificate, line.remark, *(
            f"{q.lead_time} {q.offer} {q.note}" for q in line.quantities))))} | numbers_in(f"{made.date} {made.valid_until} {made.number}")


def leaks(quotes: list[Filled], made: Quotation, data: bytes) -> list[tuple[str, str]]:
    """Figures of the costs anywhere in the parts of the file."""
    free = shown_numbers(made)
    values = texts_of(data)
    numbers = {float(value) for value in values if isinstance(value, (int, float))}
    in_texts = numbers_in(" ".join(value for value in values if isinstance(value, str)))
    anywhere = numbers_in("\n".join(part.decode("utf-8", "replace") for part in read_parts(data).values()))
    # Short ones are row numbers, widths and years of namespaces too: those count in the cells alone.
    return [(name, s) for name, value in costs(quotes).items() for s in spellings(value) - free
            if s in in_texts or float(s.replace(",", "")) in numbers or (s in anywhere and len(re.sub(r"\D", "", s).strip("0")) > 4)]


def test_no_figure_of_the_costs_is_in_any_part_of_the_file(three):
    made = together(three)
    assert len(costs(three)) > 500
    assert leaks(three, made, workbook(made)) == []


def test_no_figure_of_the_costs_is_in_the_pdf(three):
    made = together(three)
    reader = pypdf.PdfReader(io.BytesIO(pdf(made)))
    text = " ".join(page.extract_text() for page in reader.pages)
    said, free = numbers_in(text), shown_numbers(made)
    assert {"Größl", "Valve", "5 weeks"} <= {word for word in ("Größl", "Valve", "5 weeks") if word in text}
    assert [(name, s) for name, value in costs(three).items() for s in spellings(value) - free if s in said] == []
    planted = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf(dataclasses.replace(made, terms="made at 80.13")))).pages)
    assert "80.13" in numbers_in(planted)
    assert not numbers_in(" ".join(map(str, (reader.metadata or {}).values()))) - free - numbers_in("2026 2027")


@pytest.mark.parametrize("name", ["cost_each_1", "machine_rate", "margin_1", "order_cost_3", "cycle"])
def test_the_search_finds_a_figure_that_is_planted(three, name):
    value = {**three[1].inputs, **three[1].answers}[name]
    made = together(three)
    for planted in (f"made at {value:.2f}", f"{value!r}"):
        assert leaks(three, made, workbook(dataclasses.replace(made, terms=planted)))


def test_no_word_of_the_shop_but_its_letterhead_is_in_the_file(tmp_path):
    (tmp_path / "shop.xlsx").write_bytes(shop.build())
    mine = shop.read_shop(tmp_path / "shop.xlsx")
    quote = fill("quote", {"units": "in", "material": "303", "size": 1, "part_length": 2, "cutoff_width": 0.125, "bar_length": 144, "machine": "Lathe 1",
                           "cycle_time": 47.3, "quantity_1": 250, "quote_number": "Q-1", "quote_date": "2027-03-01", "part_description": "Pin"}, shop=mine)
    made = together([quote], mine.letterhead)
    assert (made.seller, made.valid_until) == ("Bellwether Turning", "2027-03-31")
    data = workbook(made)
    assert leaks([quote], made, data) == []
    everything = b"\n".join(read_parts(data).values()).decode()
    for text in ("Lathe 1", "invented", "arkup", "argin_", "Machine", "fixed head", "barfuncs", "47.3"):
        assert text not in everything.replace("xdr:", ""), text


def test_there_are_values_alone():
    data = workbook(many(2, remark="=1+1", customer="=cmd|' /C calc'!A0", logo=png(60, 20)))
    parts = read_parts(data)
    sheets = [name for name in parts if name.startswith("xl/worksheets/sheet")]
    assert sheets == ["xl/worksheets/sheet1.xml"]
    for mark in ("<f>", "<f ", "dataValidation", "conditionalFormatting", "sheetProtection", "hidden", "<hyperlink"):
        assert mark not in parts[sheets[0]].decode()
    names = re.findall(r'<definedName name="([^"]*)"', parts["xl/workbook.xml"].decode())
    assert sorted(names) == ["_xlnm.Print_Area", "_xlnm.Print_Titles"]
    assert 'state="hidden' not in parts["xl/workbook.xml"].decode()
    book = openpyxl.load_workbook(io.BytesIO(data))
    typed = {cell.value: cell.data_type for row in book.active.iter_rows() for cell in row if cell.value is not None}
    assert typed["=1+1"] == typed["=cmd|' /C calc'!A0"] == "s"
    assert parts["xl/media/image1.png"] == png(60, 20)
    assert b"barfuncs" not in parts["docProps/core.xml"] + parts["docProps/app.xml"]


def test_the_same_quotation_gives_the_same_bytes():
    assert workbook(many()) == workbook(many())


def test_nothing_is_promised_that_nobody_typed():
    quote = fill("quote", GOOD | FOUR)
    with pytest.raises(InputError, match="currency: is missing: fill it in, or give a shop file that names it"):
        together([fill("quote", GOOD | FOUR | {"part_number": "P", "currency": None})])
    made = together([fill("quote", GOOD | FOUR | {"part_number": "P", "currency": "EUR", "minimum_order": None})])
    assert {name: value for name in ("certificate", "remark") if (value := getattr(made.lines[0], name))} == {}
    assert {f.name for f in dataclasses.fields(made) if getattr(made, f.name) not in ("", None, 0)} == {"currency", "lines", "paper"}
    page = {value for value in quote.page.values() if isinstance(value, str) and value}
    assert not [text for text in page if "request" in text or "Net " in text or "tax" in text.casefold()]


@pytest.mark.parametrize(("lines", "freight", "total"), [(1, None, None), (2, None, 2 * 240), (2, 60.5, 540.5), (1, 60.5, 300.5), (1, 0, None)])
def test_a_total_is_shown_where_nothing_is_left_to_choose(lines, freight, total):
    made = many(lines, 1, freight=freight)
    assert total_of(made) == total
    assert ("Total" in texts_of(workbook(made))) == (total is not None)
    (page,) = pypdf.PdfReader(io.BytesIO(pdf(made))).pages
    assert (re.search(r"^Total\s*[\d,.]+$", page.extract_text(), re.MULTILINE) is not None) == (total is not None)
    assert total is None or f"{total:,.2f}" in page.extract_text()
    assert total_of(many(lines, 2, freight=freight)) is None


def test_no_total_is_shown_where_a_minimum_comes_before_it():
    """The customer would order for less than what is asked for."""
    made = many(2, 1)
    line = made.lines[1]
    small = dataclasses.replace(line, quantities=(dataclasses.replace(line.quantities[0], note="Minimum order value: 500.00"),))
    assert total_of(made) == 480
    assert total_of(dataclasses.replace(made, lines=(made.lines[0], small))) is None


def test_a_minimum_that_all_lines_have_is_said_once():
    """With one of them that has none, or another one, each quantity below it says so."""
    one, two, other, none = (filled(**part, minimum_order=amount) for part, amount in ((THREE[0], 900.0), (THREE[1], 900.0), (THREE[1], 901.0), (THREE[1], 0.0)))
    alike = together([one, two])
    assert (alike.minimum, {q.note for line in alike.lines for q in line.quantities}) == (900, {""})
    xlsx, printed = texts_of(workbook(alike)), " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf(alike))).pages)
    assert (sum("Minimum" in str(text) for text in xlsx), printed.count("Minimum"), 900 in xlsx, "900.00" in printed) == (1, 1, True, True)
    for unlike in (other, none):
        made = together([one, unlike])
        notes = [q.note for q in made.lines[0].quantities]
        assert (made.minimum, notes[0], notes[-1]) == (0, "Minimum order value: 900.00", "")
        assert sum("Minimum" in str(text) for text in texts_of(workbook(made))) == sum(bool(q.note) for line in made.lines for q in line.quantities)


def test_no_total_is_shown_below_a_minimum_of_the_whole_order():
    assert [total_of(many(2, 1, minimum=minimum, freight=30.0)) for minimum in (480, 480.01, 0)] == [510, None, 510]


def test_a_currency_that_nobody_gave_is_not_made_up():
    quote = fill("quote", GOOD | FOUR | HEAD | THREE[0] | {"currency": None})
    assert not [text for text in quote.page.values() if "$" in str(text)]
    assert [text for text in quote.page.values() if "Price each" in str(text)] == ["Price each"]
    assert "! LOOK  Blank on this page: currency." in {quote_page_aside(quote)}
    made = many(2, currency="")
    assert {"Price each", "Total"} <= set(texts_of(workbook(made)))
    page = pypdf.PdfReader(io.BytesIO(pdf(made))).pages[0].extract_text()
    assert "Price each" in page
    assert "Price each," not in page


def quote_page_aside(quote: Filled) -> Any:
    """What stands beside the page for the customer of blanks on it."""
    sheet = openpyxl.load_workbook(io.BytesIO(quote.data), data_only=True)["Quotation"]
    return next(cell.value for row in sheet.iter_rows(min_col=7, max_col=7) for cell in row if "Blank on this page" in str(cell.value))


def test_a_remark_of_all_lines_is_said_once_and_others_with_their_line(three):
    sources = [Source(str(n), said(q.inputs, q.answers)) for n, q in enumerate(three)]
    for source in sources:
        source.said["lines"][0]["remark"] = "All alike"
    made = quotation_of(sources)
    assert (made.remark, {line.remark for line in made.lines}) == ("All alike", {""})


# --- what does not go together -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "field"), [("customer", "customer"), ("currency", "currency"), ("quote_date", "date"), ("terms", "terms"),
                                             ("delivery", "delivery"), ("seller", "your company"), ("reference", "customer's reference")])
def test_what_stands_once_on_a_quotation_must_not_differ(name, field):
    one, other = (filled(**THREE[0] | {name: text}) for text in ("2027-05-05", "2027-05-06"))
    with pytest.raises(InputError) as caught:
        together([one, other])
    assert caught.value.problems == ((field, "differs: '2027-05-05' in Q1; '2027-05-06' in Q2"),)
    assert together([one, one, filled(**THREE[1] | {name: None if name not in HEAD else "2027-05-05"})]).lines


def test_one_freight_for_all():
    one, other = (filled(**THREE[0], freight_charged=amount) for amount in (30.0, 31.0))
    assert together([one, filled(**THREE[1])]).freight == 30
    with pytest.raises(InputError, match=r"freight charged: differs: 30\.0 in Q1; 31\.0 in Q2"):
        together([one, other])
    assert together([filled(**THREE[0], freight_charged=0)]).freight == 0
    assert "free" in texts_of(workbook(together([filled(**THREE[0], freight_charged=0)])))


def test_a_part_without_a_word_of_what_it_is_is_refused():
    with pytest.raises(InputError, match="does not say what the part is"):
        together([filled()])


# --- how it prints --------------------------------------------------------------------------------------------------


def heights(data: bytes) -> tuple[Any, list[float]]:
    sheet = openpyxl.load_workbook(io.BytesIO(data)).active
    return sheet, [sheet.row_dimensions[n].height for n in range(1, sheet.max_row + 1)]


@pytest.mark.parametrize(("paper", "size", "points"), [("A4", "9", 841.9), ("letter", "1", 792.0)])
@pytest.mark.parametrize("count", [1, 3, 9, 14, 40])
def test_no_line_is_broken_and_no_page_is_too_full(paper, size, points, count):
    sheet, rows = heights(workbook(many(count, paper=paper, remark=LONG)))
    assert str(sheet.page_setup.paperSize) == size
    assert sheet.page_setup.scale in (None, 100)
    assert not sheet.sheet_properties.pageSetUpPr.fitToPage
    title = int(sheet.print_title_rows.strip("$").split(":")[0].strip("$"))
    breaks = [b.id for b in sheet.row_breaks.brk]
    room = points - 72 * (sheet.page_margins.top + sheet.page_margins.bottom)
    for n, (first, last) in enumerate(zip([0, *breaks], [*breaks, len(rows)], strict=True)):
        assert sum(rows[first:last]) + (rows[title - 1] if n else 0) <= room - 10
    numbers = {row: cell.value for row, cell in ((r, sheet.cell(r, 1)) for r in range(1, sheet.max_row + 1)) if isinstance(cell.value, (int, float))}
    assert sorted(numbers.values()) == list(range(1, count + 1))
    starts = sorted(numbers)
    for start, end in zip(starts, [s - 1 for s in starts[1:]], strict=False):  # the row before the number is its margin
        assert not [b for b in breaks if start - 1 <= b < end - 1], "a line is broken"
    assert len(breaks) + 1 <= {1: 1, 3: 1 if paper == "A4" else 2, 9: 2, 14: 3, 40: 5 if paper == "A4" else 6}[count]


def test_fourteen_lines_of_two_quantities_stand_on_two_pages():
    sheet, _ = heights(workbook(many(14, 2)))
    assert len(sheet.row_breaks.brk) == 1


def test_nothing_is_smaller_than_8_points_or_shrinks():
    book = openpyxl.load_workbook(io.BytesIO(workbook(many(14, remark=LONG, notes=LONG, customer="X" * 120, customer_address=LONG[:120]))))
    for row in book.active.iter_rows():
        for cell in row:
            assert cell.font.sz >= 8
            assert not cell.alignment.shrink_to_fit


def test_a_text_gets_the_lines_that_it_needs():
    assert lines_of("short", 40, 10) == 1
    assert lines_of("a\nb\nc", 40, 10) == 3
    assert lines_of("W" * 100, 20, 10) >= 9
    assert lines_of(LONG, 92, 10) in (3, 4)


@pytest.mark.libreoffice
@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_printed_every_text_is_whole(tmp_path, paper):
    made = dataclasses.replace(many(14), paper=paper, remark=LONG, notes=LONG.replace("ENDS", "LAST"), seller_address="Mühlweg 4, Nordfurt", logo=png(300, 90),
                lines=(dataclasses.replace(many(1).lines[0], description="W" * 100 + " TAIL", certificate=LONG[:110] + " CERT", remark=LONG[:280] + " LINE"),
                       *many(14).lines[1:]))
    (tmp_path / "q.xlsx").write_bytes(workbook(made))
    convert(tmp_path / "q.xlsx", tmp_path, "pdf")
    pages = subprocess.run(["pdftotext", "-layout", str(tmp_path / "q.pdf"), "-"], capture_output=True, text=True, check=True).stdout.split("\f")
    pages = [page for page in pages if page.strip()]
    everything = " ".join(" ".join(pages).split())
    for word in ("ENDS", "LAST", "TAIL", "CERT", "LINE", "Mühlweg 4, Nordfurt", "Größl", "Signature, Bellwether Turning"):
        assert word in everything, word
    assert len(pages) == len(heights(workbook(made))[0].row_breaks.brk) + 1
    for n, page in enumerate(pages, 1):
        assert f"Page {n} of {len(pages)}" in page
        assert "Price each, EUR" in page
    for n in range(2, 15):
        page = next(page for page in pages if f"Part {n:02}" in page)
        assert f"PN-{n:02}" in page
        assert page.count("PN-") == page.count("5,000")


@pytest.mark.libreoffice
@pytest.mark.gnumeric
def test_other_programs_show_the_same_values(tmp_path, three):
    data = workbook(dataclasses.replace(together(three), remark=LONG, logo=png(90, 30)))
    want = content(data).plain
    assert len(want) > 70
    (tmp_path / "q.xlsx").write_bytes(data)
    (tmp_path / "lo").mkdir()
    saved = convert(tmp_path / "q.xlsx", tmp_path / "lo", "xlsx:Calc MS Excel 2007 XML")[0]
    assert content(saved.read_bytes()).plain == want
    subprocess.run(["ssconvert", str(tmp_path / "q.xlsx"), str(tmp_path / "g.xlsx")], capture_output=True, timeout=300, check=True)
    found = content((tmp_path / "g.xlsx").read_bytes())
    assert ({cell: value for cell, value in found.plain.items() if value != ""}, found.formulas) == (want, {})


# --- from workbooks ------------------------------------------------------------------------------------------------


def by_hand_filled(head: dict[str, Any], rows: list[dict[str, Any]]) -> bytes:
    """The template as office staff fill it in, with the values that a spreadsheet program stores."""
    form = by_hand.TEMPLATE.form
    put = {form.cells[name]: value for name, value in head.items()}
    put |= {form.cells[f"line_{n}_{name}"]: value for n, row in enumerate(rows, 1) for name, value in row.items()}
    book = Workbook(by_hand.TEMPLATE.build(), direct=True)
    for cell, value in put.items():
        book.set(cell, value)
    book.calculate()
    return book.to_bytes(put)


BY_HAND = {"quote_number": "Q-17", "customer": "Größl & Söhne", "currency": "EUR", "seller": "Bellwether Turning", "quote_date": "2027-03-01"}
PIN = {"part": "Pin", "part_number": "P-1", "quantity": 100.0, "price": 1.234, "lead_time": "2 weeks", "setup": 50.0}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two quotes and a quotation filled in by hand, all with one number."""
    for n, part in enumerate(THREE[:2], 1):
        (tmp_path / f"Q{n}.xlsx").write_bytes(filled(**part).data)
    (tmp_path / "hand.xlsx").write_bytes(by_hand_filled(BY_HAND, [PIN, {"quantity": 500.0, "price": 1.0}]))
    return tmp_path


def test_quotes_and_a_quotation_by_hand_become_one(folder):
    done = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx", folder / "hand.xlsx"], folder / "out")
    (made,) = done.made
    assert (made.number, made.problems, made.lines) == ("Q-17", [], 3)
    assert sorted(p.name for p in (folder / "out").iterdir()) == [f"Quotation Q-17{end}" for end in sorted(quotation_files.ENDS)]
    words = texts_of((folder / "out" / "Quotation Q-17.xlsx").read_bytes())
    assert [w for w in words if w in ("Valve seat", "Bush", "Pin")] == ["Valve seat", "Bush", "Pin"]
    assert {100, 1.234, 123.4, 500, 1, 50} <= {w for w in words if isinstance(w, (int, float))}
    again = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx", folder / "hand.xlsx"], folder / "out")
    assert [m.unchanged for m in again.made] == [True]
    (folder / "out" / "Quotation Q-17.pdf").unlink()
    (once_more,) = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx", folder / "hand.xlsx"], folder / "out").made
    assert (once_more.problems, once_more.unchanged, len(list((folder / "out").iterdir()))) == ([], False, 2)


def test_both_files_are_there_or_none(folder, monkeypatch):
    class Full(lists.Staged):
        def place(self) -> None:
            if self.path.suffix == ".pdf":
                raise OSError(28, "No space left on device")
            super().place()

    with monkeypatch.context() as patched:
        patched.setattr(lists, "Staged", Full)
        (made,) = quote_files([folder / "hand.xlsx"], folder / "out").made
        assert made.problems == [("Quotation Q-17.xlsx", "can't be written (No space left on device)")]
        assert list((folder / "out").iterdir()) == []
    assert not quote_files([folder / "hand.xlsx"], folder / "out").made[0].problems


def test_nothing_is_overwritten_without_leave(folder):
    out = folder / "out"
    assert not quote_files([folder / "Q1.xlsx"], out).made[0].problems
    first = (out / "Quotation Q-17.xlsx").read_bytes()
    files = [folder / "Q1.xlsx", folder / "Q2.xlsx"]
    refused = quote_files(files, out).made[0].problems
    assert ("Quotation Q-17.xlsx", "exists already; --replace overwrites it") in refused
    assert (out / "Quotation Q-17.xlsx").read_bytes() == first
    assert not quote_files(files, out, replace=True).made[0].problems
    assert (out / "Quotation Q-17.xlsx").read_bytes() != first


def test_what_a_file_has_stored_does_not_count(folder):
    """A workbook that was changed without being calculated has old prices in it."""
    fresh = read_quote(folder / "Q1.xlsx")[1].said["lines"][0]["quantities"]
    parts = read_parts(folder / "Q1.xlsx")
    sheet = "xl/worksheets/sheet1.xml"
    rate = re.search(rb'<c r="([A-Z]+[0-9]+)"[^>]*><v>80(?:\.0)?</v></c>', parts[sheet])
    assert rate
    parts[sheet] = parts[sheet].replace(rate[0], rate[0].replace(b"<v>80", b"<v>160"))
    (folder / "Q1.xlsx").write_bytes(pack(parts))
    dearer = read_quote(folder / "Q1.xlsx")[1].said["lines"][0]["quantities"]
    stored = openpyxl.load_workbook(folder / "Q1.xlsx", data_only=True)
    assert fresh[0]["price"] in {cell.value for row in stored["Prices"].iter_rows() for cell in row}
    assert [q["price"] for q in dearer] == [filled(**THREE[0], machine_rate=160.0).answers[f"shown_{n}"] for n in range(1, 5)]
    assert dearer[0]["price"] > fresh[0]["price"]
    done = CliRunner().invoke(main, ["quotation", str(folder / "Q1.xlsx"), str(folder / "Q2.xlsx"), "--out", str(folder / "out")])
    assert done.exit_code == 0
    said = [line for line in done.output.splitlines() if line.startswith("! LOOK")]
    assert said == [f"! LOOK Q1.xlsx: price at quantity {n}: {one['price']:,.10g} is stored in it, {other['price']:,.10g} worked out again"
                    for n, (one, other) in enumerate(zip(fresh, dearer, strict=True), 1)]
    book = openpyxl.load_workbook(folder / "Q1.xlsx")
    book.save(folder / "Q1.xlsx")  # the program that saves it stores no values
    assert quote_files([folder / "Q1.xlsx"], folder / "other").made[0].looks == [("Q1.xlsx", "no price is stored in it; all are worked out again")]


def test_prices_that_are_stored_as_they_are_worked_out_ask_for_no_look(folder):
    (made,) = quote_files([folder / "Q1.xlsx", folder / "hand.xlsx"], folder / "out").made
    assert (made.problems, made.looks) == ([], [])


def test_a_price_that_is_typed_over_its_formula_is_refused(folder):
    book = openpyxl.load_workbook(folder / "Q1.xlsx")
    sheet, _, cell = book.defined_names["quote_price_1"].attr_text.rpartition("!")
    book[sheet.strip("'")][cell.replace("$", "")] = 0.01
    book.save(folder / "Q1.xlsx")
    (made,) = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx"], folder / "out").made
    assert made.problems == [("Q1.xlsx", "quote_price_1: a typed value stands in place of a formula, and may be older than the inputs; "
                                         "fill the template anew")]
    assert not (folder / "out").exists()


@pytest.mark.parametrize(("sheet", "cell"), [("Quotation", "C22"), ("More costs", "N6"), ("Operations", "AJ6")])
def test_a_value_over_any_formula_is_refused(folder, sheet, cell):
    """Whoever writes another price on the page must not find the old one in what is sent."""
    book = openpyxl.load_workbook(folder / "Q1.xlsx")
    assert book[sheet][cell].data_type == "f"
    book[sheet][cell] = 0.01
    book.save(folder / "Q1.xlsx")
    (made,) = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx"], folder / "out").made
    assert [said for file, said in made.problems] == [f"{sheet}!{cell}: a typed value stands in place of a formula, and may be older than the "
                                                      "inputs; fill the template anew"]
    assert not (folder / "out").exists()


def test_a_sheet_shop_with_more_rows_and_a_line_typed_beside_the_cells_are_taken(folder):
    lathes = tuple(shop.Machine(f"Lathe {n}", machine_rate=80.0 + n) for n in range(60))
    many_lathes = shop.Shop("in", shop.Rates(), lathes, (), speeds_feeds.builtin())
    book = openpyxl.load_workbook(io.BytesIO(fill("quote", GOOD | FOUR | HEAD | THREE[0], shop=many_lathes).data))
    book["Quotation"]["K40"] = "seen, R. V."
    book.save(folder / "Q1.xlsx")
    assert read_quote(folder / "Q1.xlsx")[2] == []


def test_a_number_that_no_workbook_can_hold_is_refused(folder):
    with pytest.raises(InputError, match="number: has the character U\\+0007"):
        quote_files([folder / "Q1.xlsx"], folder / "out", number="Q\x07")
    (made,) = quote_files([folder / "Q1.xlsx"], folder / "out", number=" Q \n 7 ").made
    assert (made.number, made.files[0].name) == ("Q 7", "Quotation Q 7.xlsx")


def test_the_names_to_read_make_no_long_command_line(folder, monkeypatch):
    """Windows takes 32,767 characters."""
    began: list[int] = []
    popen = subprocess.Popen
    monkeypatch.setattr(subprocess, "Popen", lambda command, **options: began.append(sum(map(len, command))) or popen(command, **options))
    assert read_quote(folder / "Q1.xlsx")[2] == []
    assert began
    assert max(began) < 16_000


def _stopped(path: Path) -> None:
    path.write_bytes(filled(**THREE[0], feeder_longest_bar=100.0).data)


def _without_price(path: Path) -> None:
    form = __import__("barfuncs.templates.quote", fromlist=["TEMPLATE"]).TEMPLATE.form
    book = Workbook(path, direct=True)
    path.write_bytes(book.to_bytes({form.cells["material_price"]: None}))


def _of_another_version(path: Path) -> None:
    parts = read_parts(path)
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b'"quote_terms_said"', b'"quote_terms_once"')
    path.write_bytes(pack(parts))


@pytest.mark.parametrize(("spoil", "reason"), [
    (_stopped, r"Feeder: .*"),
    (_without_price, r"Fill in or correct: material price.*"),
    (_of_another_version, r"has no cell quote_terms_said: it was made by another version.*"),
    (lambda path: path.write_bytes(b"PK\x03\x04 no zip"), r".*damaged.*|.*not.*workbook.*|.*can't be read.*"),
    (lambda path: path.write_bytes(shop.build()), r"is neither a filled quote nor a filled quotation"),
    (lambda path: path.unlink(), r"there is no such file"),
    (lambda path: path.write_bytes(filled(**THREE[0], currency="USD").data), r"differs: 'USD' in Q1.xlsx; 'EUR' in Q2.xlsx"),
    (lambda path: path.write_bytes(filled(**THREE[0], customer="Other").data), r"differs: 'Other' in Q1.xlsx; 'Größl & Söhne' in Q2.xlsx"),
    (lambda path: path.write_bytes(by_hand_filled(BY_HAND | {"currency": None}, [PIN])), r"Fill in or correct: currency\."),
    (lambda path: path.write_bytes(by_hand_filled(BY_HAND, [PIN, {"quantity": 5.0}])), r"Fill in or correct: lines\."),
    (lambda path: path.write_bytes(by_hand_filled(BY_HAND, [PIN, {"part": "Bush", "lead_time": "x"}])), r"Lines: A row has words.*"),
    (lambda path: path.write_bytes(by_hand_filled(BY_HAND, [PIN, {"quantity": 5.0, "price": 1.0, "priced_per": "100 parts"}])),
     r"row 2: the price is for 100 parts, that of the first row of the line for part"),
])
def test_what_is_wrong_is_said_and_nothing_is_written(folder, spoil, reason):
    spoil(folder / "Q1.xlsx")
    (made,) = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx"], folder / "out").made
    assert made.problems
    assert any(re.fullmatch(reason, said, re.DOTALL) for _, said in made.problems), made.problems
    assert not (folder / "out").exists()


def test_one_bad_quotation_does_not_keep_the_others(folder):
    (folder / "Q3.xlsx").write_bytes(filled(**THREE[0], feeder_longest_bar=100.0, quote_number="Q-18").data)
    done = {made.number: made for made in quote_files([folder / f"Q{n}.xlsx" for n in (1, 2, 3)], folder / "out").made}
    assert not done["Q-17"].problems
    assert done["Q-18"].problems
    assert {p.stem for p in (folder / "out").iterdir()} == {"Quotation Q-17"}


def test_a_folder_of_quotes(folder):
    (folder / "results.xlsx").write_bytes(shop.build())
    (folder / "~$Q1.xlsx").write_bytes(b"lock")
    done = quote_files([folder, folder / "Q1.xlsx"], folder / "out")
    assert (done.left_out, done.made[0].sources) == (["results.xlsx"], ["hand.xlsx", "Q1.xlsx", "Q2.xlsx"])


def test_quotes_without_a_number_stay_apart_unless_one_is_given(folder):
    for n in (1, 2):
        (folder / f"Q{n}.xlsx").write_bytes(filled(**THREE[n - 1], quote_number=None).data)
    files = [folder / "Q1.xlsx", folder / "Q2.xlsx"]
    assert [m.files[0].name for m in quote_files(files, folder / "out").made] == ["Quotation Q1.xlsx", "Quotation Q2.xlsx"]
    (made,) = quote_files(files, folder / "out", number="2027/5").made
    assert (made.files[0].name, made.lines) == ("Quotation 2027_5.xlsx", 2)
    assert "2027/5" in texts_of(made.files[0].read_bytes())


def test_two_numbers_with_one_file_name(folder):
    for n, number in ((1, "A/1"), (2, "A_1")):
        (folder / f"Q{n}.xlsx").write_bytes(filled(**THREE[n - 1], quote_number=number).data)
    done = quote_files([folder / "Q1.xlsx", folder / "Q2.xlsx"], folder / "out")
    assert [m.files[0].name for m in done.made] == ["Quotation A_1.xlsx", "Quotation A_1 (2).xlsx"]


@pytest.mark.libreoffice
def test_a_quote_that_a_spreadsheet_program_saved(folder):
    (folder / "saved").mkdir()
    convert([folder / "Q1.xlsx", folder / "hand.xlsx"], folder / "saved", "xlsx:Calc MS Excel 2007 XML")
    for name in ("Q1.xlsx", "hand.xlsx"):
        assert read_quote(folder / "saved" / name)[1].said == read_quote(folder / name)[1].said


def test_dates_are_read_as_the_workbook_counts_them(folder):
    (folder / "h.xlsx").write_bytes(by_hand_filled(BY_HAND | {"quote_date": 46463.0, "valid_days": 14.0}, [PIN]))
    assert [read_quote(folder / "h.xlsx")[1].said[name] for name in ("date", "valid_until")] == ["2027-03-17", "2027-03-31"]
    parts = read_parts(folder / "h.xlsx")
    parts["xl/workbook.xml"] = re.sub(rb"<workbookPr[^>]*>", b'<workbookPr date1904="1" />', parts["xl/workbook.xml"])
    (folder / "h.xlsx").write_bytes(pack(parts))
    assert [read_quote(folder / "h.xlsx")[1].said[name] for name in ("date", "valid_until")] == ["2031-03-18", "2031-04-01"]


def test_the_command(folder):
    files = [str(folder / name) for name in ("Q1.xlsx", "Q2.xlsx")]
    done = CliRunner().invoke(main, ["quotation", *files, "--out", str(folder / "out")])
    assert (done.exit_code, done.output.startswith("Quotation Q-17: 2 lines; ")) == (0, True), done.output
    _stopped(folder / "Q1.xlsx")
    done = CliRunner().invoke(main, ["quotation", *files, "--out", str(folder / "new")])
    assert done.exit_code == 1
    assert "nothing is written for quotation Q-17:\n  Q1.xlsx: Feeder: " in done.output
    assert not (folder / "new").exists()


# --- the template that is filled in by hand ------------------------------------------------------------------------


def hand(head: dict[str, Any], rows: list[dict[str, Any]]) -> Workbook:
    book = Workbook(by_hand_filled(head, rows))
    book.calculate()
    return book


def test_the_blank_template_says_what_is_missing():
    book = hand({}, [])
    assert book.value("quotation_status") == "\u2715 STOP  Fill in or correct: quote number, customer, currency, a line with quantity and price."
    last = column_index_from_string(table_letters(by_hand.LINES)["mark"])
    # Values as used, aside of what is printed, are not known yet.
    assert [book.shown(address) for address, _ in book.errors() if address[0] != book.sheets.index("Notes") and address[2] <= last] == []


@pytest.mark.parametrize(("rows", "marks"), [
    ([PIN, {"quantity": 5.0, "price": 1.0}], ["", ""]),
    ([{"quantity": 5.0, "price": 1.0}], ["\u2715 part is missing"]),
    ([PIN, {"part_number": "P-2", "quantity": 5.0, "price": 1.0}], ["", "\u2715 part is missing: without it the row is a quantity of the line above"]),
    ([{"part": "Pin", "price": 1.0}], ["\u2715 quantity is missing"]),
    ([{"part": "Pin", "quantity": 5.0}], ["\u2715 price is missing"]),
    ([{"part": "Pin", "quantity": 5.0, "price": 0.0}], ["\u2715 price is 0"]),
    ([{"part": "Pin", "quantity": 2.5, "price": 1.0}], ["\u2715 quantity is not allowed here"]),
    ([{"part": "Pin", "quantity": 2.0, "price": -1.0}], ["\u2715 price is not allowed here"]),
    ([{"part": "Pin", "quantity": 2.0, "price": 1.0, "priced_per": "dozen"}], ["\u2715 price is for is not allowed here"]),
    ([PIN, {"quantity": 5.0, "price": 1.0, "setup": 10.0}], ["", "\u2715 set-up and tooling belong into the first row of the line"]),
])
def test_marks_of_the_rows(rows, marks):
    book = hand(BY_HAND, rows)
    assert [book.value(f"line_marks[{n}]") for n in range(1, len(rows) + 1)] == marks
    assert str(book.value("quotation_status")).startswith("\u2715 STOP") == any(marks)


def test_totals_and_the_page_by_hand():
    book = hand(BY_HAND | {"freight_charged": 20.0}, [PIN | {"price": 1.235, "quantity": 3.0}, {"part": "Nut", "quantity": 250.0, "price": 85.5, "priced_per": "100 parts"}])
    assert [book.value(f"quotation_line_total[{n}]") for n in (1, 2, 3)] == [3.71, 213.75, 0]
    assert book.value("quotation_sum_total") == 3.71 + 213.75 + 50 + 20
    page = [book.value_at((book.sheets.index("Page"), row, col)) for row in range(1, 40) for col in range(2, 7)]
    assert {"Bellwether Turning", "Quotation Q-17", "Größl & Söhne", 3.71, 213.75, "Nut", "price for 100 parts", "Freight, once", 20, "Total"} <= set(page)
    stopped = hand(BY_HAND | {"currency": None}, [PIN])
    cells = [stopped.value_at((stopped.sheets.index("Page"), row, col)) for row in range(1, 80) for col in range(2, 7)]
    assert not [value for value in cells if isinstance(value, float)]


def page_of(rows: list[dict[str, Any]], **head: Any) -> tuple[str, list[list[Any]], str]:
    """The page's warning, its rows of the table from the first to the last that is not blank, and the words below."""
    book = hand(BY_HAND | head, rows)
    cells = [[book.value_at((book.sheets.index("Page"), row, col)) for col in range(2, 8)] for row in range(1, 60)]
    heads = next(n for n, row in enumerate(cells) if row[0] == "No.")
    table = cells[heads + 1:heads + 1 + by_hand.PAGE_ROWS]
    while table and not any(cell not in ("", None) for cell in table[-1]):
        table.pop()
    return str(cells[5][0]), table, str(cells[heads + 1 + by_hand.PAGE_ROWS][0])


def test_each_line_of_the_page_has_its_words_beside_its_quantities_and_freight_follows_the_last():
    pin = {"part": "Pin", "part_number": "P-1", "revision": "B", "material": "303", "certificate": "3.1", "lead_time": "4 weeks", "setup": 50.0, "remark": "Ra 0.8."}
    more = [{"quantity": q, "price": 1.0} for q in (200.0, 300.0, 400.0, 500.0)]
    said, table, below = page_of([pin | {"quantity": 100.0, "price": 2.0}, *more, {}, {"part": "Nut", "quantity": 10.0, "price": 3.0, "remark": "Blue."}],
                                 freight_charged=20.0, delivery="To site", quotation_notes=None)
    assert said == ""
    assert table == [
        [1, "Pin", 100, 2, 200, "4 weeks"], ["", "P-1, revision B", 200, 1, 200, ""], ["", "303", 300, 1, 300, ""], ["", "3.1, set-up once 50.00", 400, 1, 400, ""],
        ["", "", 500, 1, 500, ""], [2, "Nut", 10, 3, 30, ""], *[["", "", "", "", "", ""]] * 3, ["", "Freight, once", "", "", 20, ""]]
    assert below.startswith("No. 1: Ra 0.8.\nNo. 2: Blue.\nDelivery: To site\n")


@pytest.mark.parametrize(("lines", "words", "fits"), [(7, 300, True), (8, 0, False), (1, 1000, True), (2, 900, False)])
def test_what_the_page_does_not_hold_is_said_and_no_price_is_shown(lines, words, fits):
    part = {"part": "Pin", "remark": ("word " * 200)[:words], "quantity": 100.0, "price": 2.0}
    said, table, _ = page_of([part | ({"remark": None} if n > 1 else {}) for n in range(lines)], freight_charged=20.0)
    assert (said, bool(table)) == (("", True) if fits else ("\u2715 STOP  More than this page holds: give the file to barfuncs quotation.", False))


@pytest.mark.parametrize(("template", "title"), [("quote", "Quotation"), ("quotation", "Page")])
def test_neither_file_name_nor_day_is_printed_on_a_page_for_the_customer(template, title):
    footer = openpyxl.load_workbook(ROOT / "workbook_templates" / f"{template}.xlsx")[title].oddFooter
    assert not any(part.text for part in (footer.left, footer.center, footer.right))


def test_tab_goes_down_the_inputs_of_the_template_in_their_order():
    sheet = openpyxl.load_workbook(ROOT / "workbook_templates" / "quotation.xlsx")["Fill in"]
    first = [cell.coordinate for row in sheet.iter_rows() for cell in row if not cell.protection.locked and cell.column == 3]
    inputs = [sheet.parent.defined_names[name].attr_text.rpartition("!")[2].replace("$", "").partition(":")[0] for name in by_hand.FORM.inputs]
    assert inputs == first[:len(inputs)]
    assert not [c for row in sheet.iter_rows(max_row=int(inputs[-1][1:])) for c in row if not c.protection.locked and c.column not in (3, 4, 5)]


# --- the letterhead ------------------------------------------------------------------------------------------------


def shop_with(tmp_path: Path, **lines: Any) -> Path:
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    labels = {c.name: c.label for c in shop.LETTERHEAD}
    for row in book["Letterhead"].iter_rows(min_row=5):
        for name, value in lines.items():
            if row[1].value == labels[name]:
                row[2].value = value
    path = tmp_path / "shop.xlsx"
    book.save(path)
    return path


def test_the_shop_gives_sender_terms_and_logo(folder):
    (folder / "logo.png").write_bytes(png(40, 20))
    mine = shop.read_shop(shop_with(folder, logo="logo.png", terms="Net 14 days.", tax_wording="VAT is added.", quotation_notes="Ever yours.", paper="letter"))
    made = quote_files([folder / "hand.xlsx"], folder / "out", shop=mine).made[0]
    data = made.files[0].read_bytes()
    assert {"Net 14 days.", "VAT is added.", "Ever yours.", "4 Mill Lane, Northford", "2027-03-31"} <= set(texts_of(data))
    sent, own = (Image.open(io.BytesIO(picture)).convert("RGB") for picture in (read_parts(data)["xl/media/image1.png"], png(40, 20)))
    assert (sent.size, sent.tobytes()) == (own.size, own.tobytes())
    assert openpyxl.load_workbook(io.BytesIO(data)).active.page_setup.paperSize == 1


@pytest.mark.parametrize(("name", "data", "reason"), [
    ("../logo.png", None, "give the name of a file that lies beside the shop file"),
    ("gone.png", None, "there is no file gone.png"),
    ("a.png", b"GIF89a", "is neither a PNG nor a JPEG"),
    ("b.png", b"\x89PNG\r\n\x1a\n" + b"\0" * 2_000_001, "is larger than 2 MB"),
    ("c.png", png(1, 1)[:16] + struct.pack(">II", 60_000, 60_000) + png(1, 1)[24:], "has 60,000 x 60,000 pixels"),
])
def test_a_logo_that_can_not_be_used_is_named(tmp_path, name, data, reason):
    if data:
        (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError, match=re.escape(reason)) as caught:
        shop.read_shop(shop_with(tmp_path, logo=name))
    assert caught.value.problems[0][0].startswith("Letterhead, C")


def test_what_a_logo_carries_along_does_not_go_to_the_customer():
    words = PngInfo()
    words.add_text("Comment", "markup 22 %")
    buffer = io.BytesIO()
    Image.new("RGB", (200, 80), "red").save(buffer, "PNG", pnginfo=words)
    assert b"markup 22" in buffer.getvalue()
    for data in quotation_files.files_of(many(1, logo=buffer.getvalue())).values():
        parts = read_parts(data).values() if data.startswith(b"PK") else [data, *(image.data for image in pypdf.PdfReader(io.BytesIO(data)).pages[0].images)]
        assert not [part for part in parts if b"markup 22" in part]


def test_a_shop_file_without_a_letterhead_is_taken(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(shop.build()))
    del book["Letterhead"]
    book.save(tmp_path / "shop.xlsx")
    assert shop.read_shop(tmp_path / "shop.xlsx").letterhead == shop.Letterhead()


# --- in a folder of quotes -----------------------------------------------------------------------------------------

HEADS = ("job", "quote_number", "customer", "currency", "part_description", "units", "material", "size", "part_length", "cutoff_width", "bar_length",
         "face_to_cutoff", "grip_length", "cycle_time", "machine_rate", "margin", "material_price", "price_per", "quantity_1")
ROWS = {job: dict(zip(HEADS, (job, number, "Größl", "EUR", f"Part {job}", "in", "303", "1", "2", ".125", "144", ".2", "2", "40", "80", "25%", "3.2", "lb", "100"), strict=True))
        for job, number in (("A", "Q-1"), ("B", "Q-1"), ("C", ""), ("D", "Q-2"))}


def run(place: Path, rows: dict[str, dict[str, str]] | None = None, name: str = "list.csv", **options: Any) -> Outcome:
    with (place / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, HEADS)
        writer.writeheader()
        writer.writerows((rows or ROWS).values())
    return plan_jobs(read_jobs(place / name, "quote"), place / "out", template="quote", source=name, **options)


def changed(job: str, **cells: str) -> dict[str, dict[str, str]]:
    return ROWS | {job: ROWS[job] | cells}


def sent(place: Path) -> dict[str, list[str]]:
    """The quotations that stand to be sent, with the parts on each."""
    found = {}
    for path in sorted((place / "out" / "for_customer").glob("*.xlsx")):
        found[path.stem.removeprefix("Quotation ")] = [w.removeprefix("Part ") for w in texts_of(path.read_bytes()) if re.fullmatch(r"Part [A-Z]", str(w))]
    return found


def old(place: Path) -> list[str]:
    return sorted(p.name for p in (place / "out" / "old").glob("*.xlsx"))


def listed(place: Path) -> dict[str, str]:
    with (place / "out" / "results.csv").open(encoding="utf-8-sig", newline="") as file:
        return {row["file"]: row.get("for_customer", "") for row in csv.DictReader(file)}


EVERY = {"C": ["C"], "Q-1": ["A", "B"], "Q-2": ["D"]}


def test_rows_with_one_number_become_one_quotation(tmp_path):
    outcome = run(tmp_path)
    assert (outcome.problems, len(outcome.done), outcome.copies) == ([], 4, 3)
    assert sent(tmp_path) == EVERY
    assert listed(tmp_path) == {"A.xlsx": "Quotation Q-1.xlsx", "B.xlsx": "Quotation Q-1.xlsx", "C.xlsx": "Quotation C.xlsx", "D.xlsx": "Quotation Q-2.xlsx"}
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in (tmp_path / "out" / "for_customer").iterdir()}
    for resume in (False, True):
        again = run(tmp_path, resume=resume)
        assert (len(again.unchanged), again.copies, again.stale) == (4, 0, [])
        assert {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in (tmp_path / "out" / "for_customer").iterdir()} == before
    assert listed(tmp_path)["B.xlsx"] == "Quotation Q-1.xlsx"


@pytest.mark.parametrize("replace", [False, True])
def test_a_quotation_with_a_line_that_has_a_mistake_does_not_stay(tmp_path, replace):
    run(tmp_path)
    outcome = run(tmp_path, changed("B", part_length=""), replace=replace)
    assert ("quote_number", "the quotation is not written, since B.xlsx is not ready") in [(p.column, p.reason) for p in outcome.problems]
    assert sent(tmp_path) == {"C": ["C"], "Q-2": ["D"]}
    assert listed(tmp_path)["A.xlsx"] == ""
    assert "Quotation Q-1.xlsx" in old(tmp_path) or replace
    outcome = run(tmp_path, replace=replace)
    assert (outcome.problems, sent(tmp_path)) == ([], EVERY)


def test_a_bad_line_at_first_then_mended_alone_from_another_list(tmp_path):
    outcome = run(tmp_path, changed("B", part_length=""))
    assert sent(tmp_path) == {"C": ["C"], "Q-2": ["D"]}
    assert [p.row for p in outcome.problems] == [3, 3]
    run(tmp_path, {"D": ROWS["D"]}, "other.csv")
    assert sent(tmp_path) == {"C": ["C"], "Q-2": ["D"]}, "B is missing still"
    outcome = run(tmp_path, {"B": ROWS["B"]}, "mended.csv")
    assert (outcome.problems, sent(tmp_path)) == ([], EVERY)


def test_a_new_price_waits_for_leave_to_replace(tmp_path):
    run(tmp_path)
    first = (tmp_path / "out" / "for_customer" / "Quotation Q-1.xlsx").read_bytes()
    outcome = run(tmp_path, changed("B", margin="40%"))
    assert "exists already, made from other values" in outcome.problems[0].reason
    assert (tmp_path / "out" / "for_customer" / "Quotation Q-1.xlsx").read_bytes() == first
    outcome = run(tmp_path, changed("B", margin="40%"), replace=True)
    assert (outcome.problems, outcome.copies, sent(tmp_path)) == ([], 1, EVERY)
    assert (tmp_path / "out" / "for_customer" / "Quotation Q-1.xlsx").read_bytes() != first
    assert old(tmp_path) == []


def test_another_line_makes_another_quotation(tmp_path):
    run(tmp_path)
    more = ROWS | {"E": ROWS["A"] | {"job": "E", "part_description": "Part E"}}
    outcome = run(tmp_path, more)
    assert (outcome.problems, sent(tmp_path)["Q-1"], old(tmp_path)) == ([], ["A", "B", "E"], ["Quotation Q-1.xlsx"])
    assert [(s.file, s.why) for s in outcome.stale if s.file.endswith(".xlsx")] == [("for_customer/Quotation Q-1.xlsx", "has other lines now")]


@pytest.mark.parametrize(("number", "wanted"), [
    ("Q-2", {"C": ["C"], "Q-1": ["A"], "Q-2": ["B", "D"]}), ("", {"B": ["B"], "C": ["C"], "Q-1": ["A"], "Q-2": ["D"]}),
    ("q-1", EVERY)])
def test_a_line_goes_to_another_quotation(tmp_path, number, wanted):
    run(tmp_path)
    outcome = run(tmp_path, changed("B", quote_number=number), replace=True)
    assert (outcome.problems, sent(tmp_path)) == ([], wanted)
    outcome = run(tmp_path, replace=True)
    assert (outcome.problems, sent(tmp_path)) == ([], EVERY)


@pytest.mark.parametrize(("cells", "reason"), [({"currency": "USD"}, "currency differs: 'EUR' in A.xlsx; 'USD' in B.xlsx"),
                                               ({"customer": "Other"}, "customer differs: 'Größl' in A.xlsx; 'Other' in B.xlsx"),
                                               ({"part_description": ""}, "does not say what the part is")])
def test_lines_that_do_not_go_together_give_no_quotation(tmp_path, cells, reason):
    outcome = run(tmp_path, changed("B", **cells))
    assert len(outcome.done) == 4
    (problem,) = outcome.problems
    assert reason in problem.reason
    assert sent(tmp_path) == {"C": ["C"], "Q-2": ["D"]}


def test_a_quotation_that_somebody_changed_is_not_lost(tmp_path):
    run(tmp_path)
    path = tmp_path / "out" / "for_customer" / "Quotation Q-1.xlsx"
    book = openpyxl.load_workbook(path)
    book.active["A1"] = "By hand"
    book.save(path)
    mine = path.read_bytes()
    outcome = run(tmp_path)
    assert [p.reason for p in outcome.problems] == ["Quotation Q-1.xlsx exists already; allow replacing (--replace) or choose another folder"]
    assert path.read_bytes() == mine
    outcome = run(tmp_path, replace=True)
    assert (outcome.problems, sent(tmp_path)) == ([], EVERY)
    assert (tmp_path / "out" / "old" / "Quotation Q-1.xlsx").read_bytes() == mine


def test_a_quote_that_somebody_changed_is_named_where_its_quotation_is_made_of_the_list(tmp_path):
    run(tmp_path)
    for job in "AC":
        book = openpyxl.load_workbook(tmp_path / "out" / f"{job}.xlsx")
        book["Costing"]["Z99"] = "dearer, R. V."
        book.save(tmp_path / "out" / f"{job}.xlsx")
    mine = (tmp_path / "out" / "A.xlsx").read_bytes()
    more = ROWS | {"E": ROWS["A"] | {"job": "E", "part_description": "Part E"}}
    outcome = run(tmp_path, more)
    assert (outcome.problems, sent(tmp_path)["Q-1"]) == ([], ["A", "B", "E"])
    assert outcome.by_hand == {"A.xlsx": "Quotation Q-1.xlsx", "C.xlsx": "Quotation C.xlsx"}
    said = CliRunner().invoke(main, ["quote", str(tmp_path / "list.csv"), "--out", str(tmp_path / "out")]).output
    assert "Workbooks changed by hand since, left as they are: 2\n" in said
    assert "A.xlsx: for_customer/Quotation Q-1.xlsx says what the list says, not what" in said
    assert "; 3 were there already, unchanged" in " ".join(said.split())
    assert (tmp_path / "out" / "A.xlsx").read_bytes() == mine
    other = run(tmp_path, {"F": ROWS["A"] | {"job": "F", "part_description": "Part F"}}, "other.csv")
    assert (other.by_hand, sent(tmp_path)["Q-1"]) == ({"A.xlsx": "Quotation Q-1.xlsx"}, ["A", "B", "E", "F"])
    outcome = run(tmp_path, more, replace=True)
    assert (outcome.problems, outcome.by_hand) == ([], {})
    assert (tmp_path / "out" / "old" / "A.xlsx").read_bytes() == mine


def test_a_quotation_that_was_deleted_comes_back(tmp_path):
    run(tmp_path)
    (tmp_path / "out" / "for_customer" / "Quotation Q-1.xlsx").unlink()
    assert run(tmp_path).copies == 1
    assert sent(tmp_path) == EVERY


def test_rows_that_are_gone_leave_their_quotation_alone(tmp_path):
    run(tmp_path)
    run(tmp_path, {"C": ROWS["C"], "D": ROWS["D"]})
    assert sent(tmp_path) == EVERY
    run(tmp_path, {job: ROWS[job] for job in "ACD"})
    assert sent(tmp_path) == EVERY | {"Q-1": ["A"]}


def test_a_run_that_ends_early_leaves_no_quotation_that_is_untrue(tmp_path, monkeypatch):
    run(tmp_path)
    placed = lists._Planner.place

    def once(self, entry, *contents):
        placed(self, entry, *contents)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(lists._Planner, "place", once)
    outcome = run(tmp_path, {job: row | {"margin": "40%"} for job, row in ROWS.items()}, replace=True)
    assert outcome.stopped
    assert "Q-1" not in sent(tmp_path)
    monkeypatch.setattr(lists._Planner, "place", placed)
    run(tmp_path, {job: row | {"margin": "40%"} for job, row in ROWS.items()}, replace=True)
    assert sent(tmp_path) == EVERY


def test_a_record_that_somebody_changed_leads_nowhere(tmp_path):
    run(tmp_path)
    record = tmp_path / "out" / ".barfuncs-record.jsonl"
    (tmp_path / "precious.xlsx").write_bytes(b"mine")
    lie = {"sent": "../../precious.xlsx", "number": "Q-1", "digest": quotations.__name__, "made_from": ""}
    record.write_text(record.read_text() + json.dumps(lie) + "\n")
    run(tmp_path, changed("B", margin="40%"), replace=True)
    assert (tmp_path / "precious.xlsx").read_bytes() == b"mine"
    assert sent(tmp_path) == EVERY


# --- an enquiry by mail --------------------------------------------------------------------------------------------

MAIL = """\
Dear R. Vance, please quote with certificates 3.1 where they apply, delivered to our site, gate 3 (E-4471): valve seat GM-20417 rev. D,
250, 500, 1000, 2500; spindle GM-8-031 rev. B, and spacer ring GM-8-044, each 100, 250, 500, 1000. Edges of the seat broken 0.2 mm. Marta Größl"""


@pytest.fixture(scope="module")
def enquiry(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("enquiry")
    done = CliRunner().invoke(main, ["quote", str(ROOT / "examples" / "enquiry.csv"), "--out", str(place / "quotes"),
                                     "--shop", str(ROOT / "workbook_templates" / "shop.xlsx")])
    assert done.exit_code == 0, done.output
    return place


def test_the_mail_is_answered_from_one_list(enquiry):
    words = texts_of((enquiry / "quotes" / "for_customer" / "Quotation Q-27-031.xlsx").read_bytes())
    texts = " ".join(str(word) for word in words)
    for asked in ("Marta Größl", "E-4471", "Valve seat", "GM-20417, revision D", "Spindle", "GM-8-031, revision B", "Spacer ring", "3.1", "gate 3",
                  "Edges broken 0.2 mm", "2027-04-14", "Bellwether Turning", "Freight, once"):
        assert asked in texts, asked
    quantities = [word for word in words if isinstance(word, int) and word >= 100]
    assert [q for q in quantities if q in (100, 250, 500, 1000, 2500)] == [250, 500, 1000, 2500, 100, 250, 500, 1000, 100, 250, 500, 1000]
    assert {"Valve seat" in MAIL, "gate 3" in MAIL} == {False, True}


def test_by_hand_the_answer_is_the_same(enquiry):
    """The prices of the quotes typed into the template give the same quotation."""
    sources = [read_quote(path)[1] for path in sorted((enquiry / "quotes").glob("27-*.xlsx"))]
    made = quotation_of(sources)
    rows: list[dict[str, Any]] = []
    for line in made.lines:
        for n, quantity in enumerate(line.quantities):
            first = {"part": line.description, "part_number": line.part_number, "drawing": line.drawing, "revision": line.revision,
                     "material": line.material, "certificate": line.certificate, "remark": line.remark, "lead_time": quantity.lead_time}
            rows.append({"quantity": quantity.quantity, "price": quantity.price} | ({k: v for k, v in first.items() if v} if n == 0 else {}))
    head = {"seller": made.seller, "seller_address": made.seller_address, "seller_contact": made.seller_contact, "customer": made.customer,
            "customer_address": made.customer_address, "attention": made.attention, "reference": made.reference, "quote_number": made.number,
            "quote_date": made.date, "valid_until": made.valid_until, "currency": made.currency, "delivery": made.delivery,
            "freight_charged": made.freight, "paper": made.paper}
    path = enquiry / "by hand.xlsx"
    path.write_bytes(by_hand_filled(head, rows))
    number, source, problems = read_quote(path)
    assert (number, problems) == ("Q-27-031", [])
    assert quotation_of([source]) == made
    assert workbook(quotation_of([source])) == workbook(made)
