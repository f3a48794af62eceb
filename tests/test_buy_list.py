"""buy_list.xlsx: what it says is what the plan says, its checks speak, its order pages keep quiet, other programs calculate the same."""

import dataclasses
import datetime
import functools
import io
import itertools
import re
import time

import openpyxl
import pytest
from judges import JUDGES, MARKED, content, named_cells, without_values
from libreoffice import convert
from openpyxl.utils.cell import range_boundaries
from printed import INCHES, WIDER, load
from test_pages import pages_of
from weeks import TODAY, small_week

from barfuncs.buying import workbook
from barfuncs.buying.check import faults
from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import (
    BarStock,
    Blank,
    BuyingError,
    BuyingPlan,
    Demand,
    Offer,
    OrderLine,
    RackBar,
    Sawing,
    Terms,
)
from barfuncs.buying.saw_sheets import BOXES, SAWING
from barfuncs.buying.workbook import Sizes, build, buy_list
from barfuncs.errors import BarfuncsError
from barfuncs.rack.goods_in import GOODS_IN, compare, read_came, read_ordered
from barfuncs.templates.layout import PAPERS
from barfuncs.templates.model import LOOK, NOTE, OK, STOP
from barfuncs.xlsx.engine import Workbook

BRASS = BarStock("Brass C36000", "round", 0.75, condition="drawn, h9")
STEEL = BarStock("12L14", "round", 1.0)
DEMANDS = (
    Demand("=1+1", BRASS, 100, bar_per_part=2.375, blank_extra=3, shortest_blank=10, longest_blank=48, certificate="3.1", customer="+Kestrel",
           need_by=datetime.date(2027, 1, 20)),
    Demand("J-2, rings: 7", STEEL, 7, piece_length=17.25, customer="Harrow", mixed_heats=True, need_by=datetime.date(2027, 1, 18)),
)
OFFERS = (
    Offer(BRASS, 144, ((0, 60.0), (150, 54.0)), 12, "3.1", 20, bundle=5, lead_days=5, supplier="Alder Metals"),
    Offer(STEEL, 120, ((0, 20.0),), 26, line_minimum=100, lead_days=3, supplier="=Birch"),
)
RACK = (
    RackBar("R-1", BRASS, 80, "H1", "3.1", "+Kestrel", place="A1"),
    RackBar("R-2", STEEL, 60, "0012", "2.1", value=9.37, place="B7"),
    RackBar("R-3", BRASS, 30.5, value=4.43, count=2),
)
TERMS = Terms(kerf=0.1, trim=0.25, cut_cost=1.57, least_left=12, freight=31, order_date=datetime.date(2027, 1, 11))
PLAN = BuyingPlan(
    (OrderLine(0, 5, 60, 60, 320, 3), OrderLine(1, 1, 26, 20, 100)),
    (Sawing(1, 0, None, (Blank(0, 18, 45.75),) * 3, 5.95, False, 3), Sawing(1, 0, None, (Blank(0, 18, 45.75), Blank(0, 10, 26.75), Blank(0, 18, 45.75)), 24.95, True, 3),
     Sawing(1, None, 1, (Blank(1, 1, 17.25),) * 3, 7.45, False, 3), Sawing(1, 1, None, (Blank(1, 1, 17.25),) * 4, 50.1, True, 4)),
    31, 13 * 1.57, 9.37, 24.95 * 0.5 * 60 / 144 + 3 * 143.5 * 0.5 * 60 / 144 + 50.1 * 0.5 * 20 / 120, 350.25, 1.234, ("=a note",))
"""Made by hand: every bar sawn, left over and paid as said here."""
CASE = (PLAN, DEMANDS, OFFERS, RACK, TERMS)


@functools.cache
def by_hand() -> bytes:
    return buy_list(*CASE, buyer="-Shop", order_number="27-0101", deliver_to="Gate 2")


@functools.cache
def weeks(least: int = 8) -> dict[int, tuple]:
    """Small weeks with a plan."""
    found = {}
    for seed in range(40):
        week = small_week(seed, seconds=0.15)
        try:
            plan = plan_here(week.demands, week.offers, week.rack, week.terms)
        except BuyingError:
            continue
        found[seed] = (plan, week.demands, week.offers, week.rack, week.terms)
        if len(found) == least:
            return found
    raise AssertionError("too few weeks have a plan")


@functools.lru_cache(maxsize=40)
def stored(data: bytes) -> openpyxl.Workbook:
    """The workbook with its stored values."""
    return openpyxl.load_workbook(io.BytesIO(data), data_only=True)


def value(data: bytes, name: str):
    """The stored value of a named cell, or the stored values of a named column."""
    sheet, _, ref = stored(data).defined_names[name].attr_text.replace("$", "").rpartition("!")
    cells = stored(data)[sheet.strip("'")][ref]
    return [row[0].value for row in cells] if isinstance(cells, tuple) else cells.value


CHECKS = ("Order", "Dates", "Saw", "Jobs", "Rack", "Money")


def checks_of(book: bytes | Workbook) -> dict[str, str]:
    """What each check says."""
    cells = [f"G{row}" for row in range(5, 11)]
    said = [book.value(f"Money!{cell}") for cell in cells] if isinstance(book, Workbook) else [stored(book)["Money"][cell].value for cell in cells]
    return dict(zip(CHECKS, map(str, said), strict=True))


def at(place: str, sizes: Sizes | None = None) -> str:
    """The cell of what is typed, counted from 0: "line 0 price", "page 0 size", "way 0 bars", "blank 0 1 length", "job 1 need", "rack 2 id", "money kerf"."""
    places = workbook._built(sizes or workbook._Filled(*CASE).sizes(), "letter")[1]
    what, *numbers, name = place.split()
    sheet, cells = {"line": ("Order", places.order.lines), "page": ("Order", places.order.pages), "way": ("Saw", places.saw.rows), "blank": ("Saw", places.saw.blanks),
                    "job": ("Jobs", places.jobs.rows), "rack": ("Rack", places.rack.rows), "money": ("Money", places.money.cells)}[what]
    for number in numbers:
        cells = cells[int(number)]
    return f"{sheet}!{cells[name]}"


def changed(typed: dict[str, object], data: bytes | None = None, sizes: Sizes | None = None) -> Workbook:
    """The workbook after somebody types into some places."""
    book = Workbook(data or by_hand(), direct=True)
    for place, what in typed.items():
        book.set(at(place, sizes), what)
    book.calculate()
    return book


# --- what it says --------------------------------------------------------------------------------------------------


def test_the_plan_by_hand_keeps_all_rules():
    assert faults(*CASE[1:], PLAN) == []


def test_money_is_reckoned_as_by_hand():
    figures = {"cost_metal": 5 * 60 + 20, "cost_minimums": 80, "cost_certificates": 20, "cost_freight": 31, "cost_cuts": 13 * 1.57, "cost_rack_taken": 9.37,
               "cost_left_back": -(24.95 * 30 / 144 + 50.1 * 10 / 120), "cost_left_whole": -3 * 30 * 143.5 / 144, "total": PLAN.cost,
               "gap": (PLAN.cost - 350.25) / PLAN.cost, "all_bars": 6, "all_lengths": 840, "all_weights": 86, "all_money": 420,
               "length_in": 468, "length_blanks": -(3 * 45.75 + 2 * 45.75 + 26.75 + 7 * 17.25), "length_kerfs": -1.3, "length_trims": -2, "length_kept": -75.05,
               "length_scrap": -13.4, "length_rest": 0}
    assert {name: value(by_hand(), f"buy_{name}") for name in figures} == pytest.approx(figures, abs=1e-9)
    assert PLAN.cost == pytest.approx(320 + 100 + 31 + 20.41 + 9.37 - 5.197917 - 89.6875 - 4.175, abs=1e-5)


def test_the_rack_balances():
    found = {(row, what): value(by_hand(), f"buy_{row}_{what}") for row in ("before", "taken", "back", "whole", "after") for what in ("bars", "length", "theirs", "value")}
    assert [found[row, "bars"] for row in ("before", "taken", "back", "whole", "after")] == [4, 1, 2, 3, 8]
    assert [found[row, "length"] for row in ("before", "taken", "back", "whole", "after")] == pytest.approx([121, 60, 75.05, 432, 568.05])
    assert (found["before", "theirs"], found["taken", "theirs"], found["after", "theirs"]) == (80, 0, 80)
    assert found["before", "value"] == pytest.approx(9.37 + 2 * 4.43)
    assert found["after", "value"] == pytest.approx(2 * 4.43 + PLAN.left_money)


def test_every_check_that_can_be_made_is_made():
    assert checks_of(by_hand()) == {
        "Order": f"{LOOK}  3 bars are ordered that no row of the saw uses.",
        "Dates": f"{OK}  2 lines come, by their days of delivery, when they are needed or before.",
        "Saw": f"{OK}  Bar = blanks + kerf + trim + left over in each way to saw, 4 bars.",
        "Jobs": f"{OK}  2 jobs: each gets its parts; heats, certificates, owners and lengths of blanks are right.",
        "Rack": f"{OK}  No bar is taken twice: 1 of 4 is taken.",
        "Money": f"{OK}  Order, freight, cuts and rack less left-overs come to what the plan said, to the cent.",
    }
    assert value(by_hand(), "buy_status") == f"{LOOK}  1 check to look at"


@pytest.mark.slow
def test_generated_weeks_come_to_the_cent_and_pass_every_check():
    for seed, case in weeks().items():
        plan, demands, _, rack, terms = case
        data = buy_list(*case)
        assert value(data, "buy_total") == pytest.approx(plan.cost, abs=0.005), seed
        said = checks_of(data)
        assert [text for text in said.values() if text.startswith(STOP)] == [], seed
        made = [n for n in value(data, "buy_job_made") if n not in (None, "")]
        assert [m >= d.quantity for m, d in zip(made, demands, strict=True)] == [True] * len(demands), seed
        bars = value(data, "buy_after_bars")
        taken = sum(row.bars for row in plan.sawing if row.rack is not None)
        assert bars == sum(b.count for b in rack) - taken + sum(row.bars for row in plan.sawing if row.back) + sum(line.spare for line in plan.lines), seed
        assert -1e-6 <= value(data, "buy_length_rest") <= sum(row.bars for row in plan.sawing) * (terms.kerf + 0.02), seed


def test_the_proof_is_said():
    def proof(cost_above: float) -> str:
        data = buy_list(dataclasses.replace(PLAN, bound=PLAN.cost - cost_above), *CASE[1:])
        return next(c.value for row in stored(data)["Money"].iter_rows() for c in row if "best" in str(c.value))

    assert proof(0.001) == "Proved best: no plan costs less by these terms."
    assert proof(PLAN.cost / 100) == "Within 1.00 % of the best possible by these terms."


def test_texts_stay_texts():
    """The formulas of a filled workbook are those of the blank one of that size, whatever jobs and customers are called."""
    sizes = workbook._Filled(*CASE).sizes()
    filled, blank = content(by_hand()), content(build(sizes))
    assert filled.formulas == blank.formulas
    texts = [v for v in filled.plain.values() if isinstance(v, str)]
    assert {"=1+1", "+Kestrel", "-Shop", "=Birch", "=a note", "0012"} <= set(texts)
    assert value(by_hand(), "buy_job_name")[0] == "=1+1"
    sawn = stored(by_hand())["Saw"]
    assert "=1+1" in [c.value for row in sawn.iter_rows() for c in row]


def test_only_what_is_typed_is_open():
    book = load(by_hand())
    for sheet in book.worksheets:
        assert sheet.protection.sheet
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.protection.locked or cell.data_type != "f", f"{sheet.title}!{cell.coordinate}"
    for place in ("line 0 price", "page 0 size", "way 0 bars", "blank 3 1 length", "job 1 need", "rack 2 id", "money kerf"):
        sheet, _, ref = at(place).partition("!")
        assert not book[sheet][ref].protection.locked


# --- the pages -----------------------------------------------------------------------------------------------------


def printed_texts(data: bytes, title: str) -> list[tuple[int, object]]:
    """Row and stored value of every cell that is printed of a sheet."""
    sheet = stored(data)[title]
    left, top, right, bottom = range_boundaries(str(sheet.print_area).rpartition("!")[2].replace("$", ""))
    return [(c.row, c.value) for row in sheet.iter_rows(top, bottom, left, right) for c in row if c.value is not None]


SECRET = {"a job": ("=1+1", "J-2", "rings"), "a customer": ("Kestrel", "Harrow"), "the shop's money": ("1.57", "9.37", "4.43", "350.25", "31"),
          "what it saves": ("best", "bound", "gap", "margin", "left over", "rack")}


def order_texts(data: bytes) -> str:
    return "\n".join(f"{v:.10g}" if isinstance(v, float) else str(v) for _, v in printed_texts(data, "Order"))


@pytest.mark.parametrize("what", SECRET)
def test_the_order_says_nothing_of(what):
    text = order_texts(by_hand())
    assert [word for word in SECRET[what] if re.search(rf"(?<![\w.-]){re.escape(word)}(?![\w])", text)] == []
    assert {"60", "320", "Alder Metals", "3.1", "full bundles of 5"} <= set(text.split("\n"))


def test_a_price_of_the_shop_on_an_order_page_is_noticed():
    """The search above finds what it looks for."""
    data = buy_list(dataclasses.replace(PLAN, lines=(dataclasses.replace(PLAN.lines[0], price=1.57, money=320), PLAN.lines[1])), *CASE[1:])
    assert re.search(r"(?<![\w.-])1\.57(?![\w])", order_texts(data))


def test_an_order_of_two_suppliers_has_a_page_each():
    offers = (OFFERS[0], dataclasses.replace(OFFERS[0], length=120, supplier="Cedar"), OFFERS[1])
    plan = dataclasses.replace(PLAN, lines=(PLAN.lines[0], OrderLine(1, 5, 50, 50, 250, 5), OrderLine(2, 1, 26, 20, 100)),
                               sawing=(*PLAN.sawing[:3], dataclasses.replace(PLAN.sawing[3], offer=2)))
    book = stored(buy_list(plan, DEMANDS, offers, RACK, TERMS))
    breaks = [b.id for b in book["Order"].row_breaks.brk]
    suppliers = [(c.row, c.value) for row in book["Order"].iter_rows() for c in row if c.value in ("Alder Metals", "Cedar", "=Birch")]
    pages = [(sum(row > b for b in breaks), name) for row, name in suppliers]
    assert pages == [(0, "=Birch"), (1, "Alder Metals"), (2, "Cedar"), (3, "=Birch"), (3, "Alder Metals"), (3, "Cedar")]


def test_an_order_that_does_not_hold_says_so_on_its_pages():
    book = changed({"line 0 bars": 0.5})
    assert str(book.value("Order!H1")).startswith(f"{STOP}  Not ready to send")
    assert str(book.value("Saw!AN1")).startswith(f"{STOP}  Do not saw")
    assert (stored(by_hand())["Order"]["H1"].value or "", stored(by_hand())["Saw"]["AN1"].value or "") == ("", "")


def boxes(data: bytes, number: int) -> list[object]:
    """The drawing of a row of the saw."""
    book = stored(data)
    row = next(r for r, v in enumerate(value(data, "buy_saw_no"), 8) if v == number)
    return [book["Saw"].cell(row + 1, n + 2).value for n in range(BOXES)]


def test_a_bar_is_drawn_to_scale():
    """96 boxes are 144 in: 1.5 in each. The first way to saw: trim, three blanks of 45.75 in, 5.95 in of scrap."""
    drawn = boxes(by_hand(), 3)
    assert value(by_hand(), "buy_saw_text")[0] == "bought, 120 in, order line 1"
    assert drawn[0] == 3
    kinds = ["A" if isinstance(b, str) and b.isalpha() and b != "x" else b for b in drawn]
    assert kinds.count("x") == pytest.approx(5.95 / 1.5, abs=1.1)
    assert kinds.count(3) == 2
    assert [b for b in drawn if b == "A"] == ["A"] * 3
    assert [n for n, b in enumerate(drawn) if b == "A"] == [int((0.25 + 45.85 * n + 22.875) / 1.5) for n in range(3)]
    assert kinds.count(1) + kinds.count(2) + 3 == pytest.approx(3 * 45.85 / 1.5, abs=2)
    short = boxes(by_hand(), 1)
    assert sum(b != 0 for b in short) == 120 / 1.5
    assert short.count("/") == pytest.approx(50.1 / 1.5, abs=1.1)
    assert sum(b != 0 for b in boxes(by_hand(), 2)) == 60 / 1.5


def test_the_saw_goes_by_kind_of_bar_and_length():
    """Kinds of bar one after the other, long blanks before short ones, bought bars before those of the rack."""
    way = [{c.name: stored(by_hand())["Saw"][cells[c.name]].value for c in SAWING} for cells in workbook._built(workbook._Filled(*CASE).sizes(), "letter")[1].saw.rows]
    assert [(w["bars"], w["line"], w["rack"]) for w in way] == [(1, 1, None), (1, None, 2), (1, 2, None), (1, 2, None)]
    blanks = [[stored(by_hand())["Saw"][cells["length"]].value for cells in rows] for rows in workbook._built(workbook._Filled(*CASE).sizes(), "letter")[1].saw.blanks]
    assert blanks == [[17.25], [17.25], [45.75], [45.75, 26.75]]


def test_the_page_of_the_saw_says_all_that_is_done():
    text = [str(v) for _, v in printed_texts(by_hand(), "Saw")]
    assert "Kerf 0.1 in; first trim 0.25 in off each end of every bar, its cut included. A, B, C: blanks as listed, drawn to one scale on all pages; dark: trim; / goes back on the rack; x scrap." in text
    assert "rack bar R-2, 60 in  \u2014  12L14, round 1; heat 0012; place B7" in text
    assert "bought, 144 in, order line 2  \u2014  Brass C36000, round 0.75, drawn, h9" in text
    assert "24.95 in of each bar goes back on the rack: label it, with the heat of its bar" in text
    assert "7.45 in: scrap" in text
    assert "3 pieces, 54 parts; job of one heat" in text
    assert "4 pieces, 4 parts" in text, "the job that may mix heats"
    assert sum("manual" in line for line in text) == 1


@pytest.mark.parametrize(("bars", "said"), [(1, "Tick off each bar:  \u25a1 "), (12, "Tick off each bar:  " + "\u25a1 " * 12), (41, "Tick off one box for 10 bars:  " + "\u25a1 " * 5),
                                            (401, "Tick off one box for 100 bars:  " + "\u25a1 " * 5)])
def test_there_is_a_box_for_each_bar(bars, said):
    book = changed({"way 0 bars": bars})
    row = next(r for r in range(9, 20) if str(book.value(f"Saw!B{r}")).startswith("Tick"))
    assert str(book.value(f"Saw!B{row}")).startswith(said)
    assert str(book.value(f"Saw!B{row}")).count("\u25a1") == said.count("\u25a1")


def widths_of(sheet, right: int) -> float:
    """Inches of the printed columns in full size, in the program that makes them widest."""
    wide = {n: d.width for letter, d in sheet.column_dimensions.items() for n in range(d.min or 0, (d.max or 0) + 1)}
    return sum(7 * wide.get(n, 9.14) for n in range(1, right + 1)) * WIDER / 96


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_fit_their_paper_and_can_be_read(paper):
    book = load(build(paper=paper))
    assert [s.title for s in book.worksheets] == ["Order", "Saw", "Jobs", "Rack", "Book", "Money", "Notes", GOODS_IN]
    for sheet in book.worksheets[:6]:
        assert int(sheet.page_setup.paperSize) == PAPERS[paper]
        assert sheet.page_setup.orientation == "landscape"
        left, top, right, bottom = range_boundaries(str(sheet.print_area).rpartition("!")[2].replace("$", ""))
        scale = sheet.page_setup.scale / 100
        height, width = INCHES[PAPERS[paper]]
        assert widths_of(sheet, right) * scale <= width - 0.6 + 1e-6, sheet.title
        sizes = {c.font.sz for row in sheet.iter_rows(top, bottom, left, right) for c in row if c.value is not None and not sheet.row_dimensions[c.row].hidden}
        assert 10 * scale >= 7
        assert min(sizes) * scale >= 5.8, (sheet.title, min(sizes) * scale)
        # Between two breaks there is never more than a page holds, with the rows that stand on each.
        titles = int(str(sheet.print_title_rows).rpartition("$")[2])
        marks = [titles, *(b.id for b in sheet.row_breaks.brk), bottom]
        heads = sum(0 if sheet.row_dimensions[n].hidden else sheet.row_dimensions[n].height or 15 for n in range(1, titles + 1))
        for above, below in itertools.pairwise(marks):
            used = heads + sum(0 if sheet.row_dimensions[n].hidden else sheet.row_dimensions[n].height or 15 for n in range(above + 1, below + 1))
            assert used * scale <= (height - 0.7) * 72, (sheet.title, below)
    assert str(book[GOODS_IN].print_area).endswith("!$A$1")


def test_no_number_is_wider_than_its_cell():
    """A figure that does not fit shows as ###: the widest that are likely, in ten points."""
    book = load(by_hand())
    for title, columns, digits in (("Order", "DEFGHIJK", 9), ("Jobs", "L", 7), ("Rack", "EKN", 8), ("Money", "CHIJM", 9)):
        for letter in columns:
            assert book[title].column_dimensions[letter].width >= digits, (title, letter)


def metric() -> tuple:
    """The case by hand in mm, on A4."""
    def mm(x):
        return round(x * 25.4, 2) if x is not None else None

    stocks = {s: dataclasses.replace(s, size=s.size * 25.4) for s in (BRASS, STEEL)}
    demands = [Demand("M-1", stocks[BRASS], 100, bar_per_part=60.33, blank_extra=76.2, certificate="3.1", longest_blank=1220)]
    offers = [dataclasses.replace(OFFERS[0], stock=stocks[BRASS], length=3000, bundle=1)]
    rack = [dataclasses.replace(bar, stock=stocks[bar.stock], length=mm(bar.length)) for bar in RACK]
    terms = Terms("mm", 2.5, 5, 1, 300, seconds=0.3)
    return plan_here(demands, offers, rack, terms), demands, offers, rack, terms


def test_in_mm_it_is_for_a4_and_says_so():
    case = metric()
    data = buy_list(*case, currency="EUR")
    book = stored(data)
    assert {int(s.page_setup.paperSize) for s in book.worksheets} == {PAPERS["A4"]}
    assert value(data, "buy_total") == pytest.approx(case[0].cost, abs=0.005)
    text = [str(v) for _, v in printed_texts(data, "Order")]
    assert {"mm", "kg", "EUR"} <= set(text)
    assert "in" not in text
    assert any("3000 mm" in str(v) for _, v in printed_texts(data, "Saw"))


@pytest.mark.libreoffice
@pytest.mark.slow
def test_it_prints_a_page_for_each_kind_of_bar(tmp_path):
    (tmp_path / "hand.xlsx").write_bytes(by_hand())
    (tmp_path / "mm.xlsx").write_bytes(buy_list(*metric()))
    (tmp_path / "blank.xlsx").write_bytes(build())
    found = {pdf.stem: pages_of(pdf) for pdf in convert([tmp_path / f"{n}.xlsx" for n in ("hand", "mm", "blank")], tmp_path, "pdf")}
    pages = found["hand"]
    heads = [next(line.strip() for line in page.splitlines() if line.strip()) for page in pages]
    assert [h.split("  ")[0] for h in heads] == ["Order 27-0101"] * 3 + ["Saw, order 27-0101"] + ["Jobs", "Rack, before and after", "Book, when it is sawn", "Money and checks", "Notes"]
    assert [("12L14, round 1" in p, "Brass C36000, round 0.75, drawn, h9" in p) for p in pages[:2]] == [(True, False), (False, True)]
    for page in pages[:2]:
        assert not re.search(r"=1\+1|rings|Kestrel|Harrow|1\.57|9\.37|4\.43|hand\.xlsx", page)
    assert "###" not in "".join("".join(p) for p in found.values())
    assert len(found["mm"]) == 8
    assert sum(p.lstrip().startswith("Order") for p in found["blank"]) == len(Sizes().pages) + 1


# --- the checks ----------------------------------------------------------------------------------------------------

# The ways to saw: 4 x 17.25 in of order line 1, 3 x 17.25 in of rack row 2, then brass. Jobs and rack stand as above.
FAULTS = {
    "a blank that is too long": ({"blank 0 0 length": 30.0}, "Saw", "blanks and kerfs are longer than the bar"),
    "another left-over": ({"way 0 left": 49.0}, "Saw", "does not add up"),
    "a left-over that is not said": ({"way 1 left": 0}, "Saw", "does not add up"),
    "a blank without parts": ({"blank 0 0 parts": None}, "Saw", "a blank lacks pieces, length, parts or job"),
    "half a bar": ({"way 0 bars": 1.5}, "Saw", "bars: a whole number"),
    "two bars for one": ({"way 0 rack": 1}, "Saw", "say an order line or a rack row"),
    "a bar that is not there": ({"way 0 line": 77}, "Saw", "there is no such bar"),
    "a job that is not there": ({"blank 0 0 job": 9}, "Saw", "a blank lacks"),
    "a blank less": ({"blank 0 0 pieces": 3, "way 0 left": 67.45}, "Jobs", "1 parts short"),
    "more to make": ({"job 0 need": 101}, "Jobs", "1 parts short"),
    "another heat": ({"job 1 heats": "one"}, "Jobs", "another heat"),
    "a better certificate": ({"job 1 certificate": "2.2"}, "Jobs", "certificate is less than wanted"),
    "a heat that is not known": ({"way 2 line": None, "way 2 rack": 1, "rack 0 heat": None, "rack 0 length": 144, "rack 0 owner": "own"}, "Jobs", "no heat is known"),
    "a part that takes more": ({"job 0 each": 2.5}, "Jobs", "too short for its parts"),
    "a shorter feeder": ({"job 0 longest": 40}, "Jobs", "too long for the feeder"),
    "a longer shortest blank": ({"job 0 shortest": 27}, "Jobs", "too short for the feeder"),
    "another customer's bar": ({"rack 1 owner": "Kestrel"}, "Jobs", "another customer's bar"),
    "a bar taken twice": ({"way 1 bars": 2}, "Rack", "more taken than there are"),
    "an id twice": ({"rack 2 id": "r-2"}, "Rack", "this bar id stands twice"),
    "too few ordered": ({"way 0 bars": 2}, "Order", "More bars are sawn than ordered"),
    "no price": ({"line 0 price": None}, "Order", "the price is missing"),
    "a size of nothing": ({"page 0 size": 0}, "Order", "size: a number above 0"),
    "too late": ({"line 0 lead_days": 8}, "Dates", "1 line comes after the day on which it is needed."),
    "another price": ({"line 0 price": 101}, "Money", "the plan said"),
    "another cut": ({"money cut_cost": 1.571}, "Money", "the plan said"),
    "another value": ({"rack 1 value": 9.38}, "Money", "the plan said"),
    "a text for a sum": ({"money plan_total": "x"}, "Money", "is no number"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_said(fault):
    cells, check, words = FAULTS[fault]
    book = changed(cells)
    said = checks_of(book)[check]
    assert said.startswith(STOP), said
    assert words in said
    assert str(book.value("Money!B2")).startswith(STOP)


def test_what_is_typed_like_a_formula_or_not_at_all_stops_nothing_else():
    """A fault in one place leaves the checks of the other places as they were."""
    said = checks_of(changed({"money cut_cost": 1.6}))
    assert [name for name, text in said.items() if text.startswith(STOP)] == ["Money"]
    said = checks_of(changed({"money plan_total": None}))
    assert said["Money"].startswith(NOTE)


# --- by hand -------------------------------------------------------------------------------------------------------


def test_the_blank_workbook_shows_no_error_and_says_that_it_is_blank():
    book = Workbook(build(), direct=True)
    book.calculate()
    assert book.errors() == []
    assert book.value("Money!B2") == "nothing is typed yet"
    assert {name: text.split("  ")[0] for name, text in checks_of(book).items()} == dict.fromkeys(("Order", "Dates", "Saw", "Jobs", "Rack", "Money"), NOTE)


def test_a_buyer_fills_it_by_hand():
    """An order line, a job, a way to saw, with the left-over left blank."""
    typed = {"page 0 material": "12L14", "page 0 shape": "round", "page 0 size": 1.0, "line 0 bars": 2, "line 0 length": 120, "line 0 price": 20.0, "job 0 name": "J",
             "job 0 need": 12, "way 0 bars": 2, "way 0 line": 1, "blank 0 0 pieces": 6, "blank 0 0 length": 17.25, "blank 0 0 parts": 1, "blank 0 0 job": 1,
             "money kerf": 0.1, "money trim": 0.25, "money cut_cost": 1.5, "money least": 12, "money left_share": 0.5}
    book = changed(typed, build(), Sizes())
    said = checks_of(book)
    assert [name for name, text in said.items() if text.startswith(OK)] == ["Order", "Saw", "Jobs"]
    left = 120 - 0.5 - 6 * 17.25 - 5 * 0.1 - 0.1
    names = named_cells(build())
    assert book.value(names["buy_total"]) == pytest.approx(40 + 12 * 1.5 - 2 * left * 0.5 * 20 / 120)
    assert book.value(names["buy_after_length"]) == pytest.approx(2 * left)


# --- goods in ------------------------------------------------------------------------------------------------------

CAME_HEAD = "Order line,Bar id,Bars,Material,Shape,Size,Length,Heat,Certificate,Finish,Tolerance class,Smallest size,Largest size,Units\n"


def test_goods_in_reads_it_as_what_was_ordered(tmp_path):
    (tmp_path / "buy.xlsx").write_bytes(by_hand())
    units, lines = read_ordered(tmp_path / "buy.xlsx")
    assert units == "in"
    assert [(line.line, line.bar.bars, line.bar.material, line.bar.size, line.bar.finish, line.bar.tolerance, line.bar.length, line.bar.certificate, line.shortest, line.jobs)
            for line in lines] == [
        ("1", 1, "Steel 12L14", 1.0, "", "standard", 120_000, "none", 69_900, (("J-2; rings: 7", 1),)),
        ("2", 5, "Brass C36000", 0.75, "drawn", "h9", 144_000, "3.1", 138_050, (("'=1+1", 2),)),
    ]
    (tmp_path / "came.csv").write_text(CAME_HEAD + "1,N1,1,12L14,round,1,120,K1,,,,1,1,in\n2,N2,1,Brass C36000,round,0.75,144,K2,3.1,drawn,h9,0.75,0.75,in\n", encoding="utf-8")
    delivery = compare(lines, read_came(tmp_path / "came.csv", lines, units)[1])
    assert [f.text for f in delivery.findings if f.word == STOP] == ["4 bars short of 5: job '=1+1 gets 1 of 2 bars."]


@pytest.mark.slow
def test_generated_weeks_go_through_goods_in(tmp_path):
    for seed, case in list(weeks().items())[:5]:
        plan, _, offers, _, terms = case
        if not plan.lines:
            continue
        (tmp_path / f"{seed}.xlsx").write_bytes(buy_list(*case))
        units, lines = read_ordered(tmp_path / f"{seed}.xlsx")
        assert units == terms.units
        assert sorted((line.bar.bars, line.bar.size) for line in lines) == sorted((o.bars, offers[o.offer].stock.size) for o in plan.lines)


def test_shared_bars_and_many_jobs_are_named_within_what_a_cell_takes(tmp_path):
    demands = [dataclasses.replace(DEMANDS[0], job=f"A rather long name of a job {n}", quantity=10, need_by=TODAY + datetime.timedelta(n)) for n in range(8)]
    sawing = tuple(Sawing(1, 0, None, (Blank(n, 10, 26.75), Blank((n + 1) % 8, 1, 10.0)), 106.5 - 0.05, True, 2) for n in range(8))
    plan = dataclasses.replace(PLAN, lines=(OrderLine(0, 10, 120, 60, 620, 2),), sawing=sawing)
    (tmp_path / "buy.xlsx").write_bytes(buy_list(plan, demands, OFFERS, (), TERMS))
    _, (line,) = read_ordered(tmp_path / "buy.xlsx")
    assert line.jobs[0] == ("A rather long name of a job 0 + A rather long name of a job 1", 1)
    assert line.jobs[-1][0] == "other jobs"
    assert sum(n for _, n in line.jobs) == 8


def test_an_order_on_the_first_sheet_is_read_as_before(tmp_path):
    book = openpyxl.Workbook()
    for row in (("Order line", "Bars", "Material", "Shape", "Size", "Length", "Units"), ("9", 2, "303", "round", 1, 144, "in")):
        book.active.append(row)
    book.create_sheet("Other").append(("Order line", "Length"))
    book.save(tmp_path / "order.xlsx")
    assert [line.line for line in read_ordered(tmp_path / "order.xlsx")[1]] == ["9"]
    book["Other"].title = GOODS_IN
    book[GOODS_IN].sheet_state = "hidden"
    book.save(tmp_path / "order.xlsx")
    assert [line.line for line in read_ordered(tmp_path / "order.xlsx")[1]] == ["9"]


# --- limits and size -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("more", "message"), [
    ({"lines": (OrderLine(0, 5, 60, 60, 320),) * 301}, "the plan has 301 order lines; a workbook takes at most 300"),
    ({"sawing": (PLAN.sawing[0],) * 401}, "the plan has 401 ways to saw a bar; a workbook takes at most 400"),
    ({"sawing": (dataclasses.replace(PLAN.sawing[0], blanks=tuple(Blank(0, 1, 5.375 + n / 1000) for n in range(21))),) * 200},
     "the plan has 4,200 rows of blanks; a workbook takes at most 3,000"),
])
def test_a_plan_that_is_too_large_is_refused(more, message):
    with pytest.raises(BarfuncsError, match=re.escape(message)):
        buy_list(dataclasses.replace(PLAN, **more), *CASE[1:])
    with pytest.raises(BarfuncsError, match=re.escape("the plan has 2,001 jobs; a workbook takes at most 2,000")):
        buy_list(PLAN, DEMANDS * 1000 + DEMANDS[:1], *CASE[2:])


def large(ways: int, jobs: int, bars: int) -> tuple:
    """So many jobs, half of them with two blanks, of which each way to saw serves some, and so many rows of the rack."""
    demands = [dataclasses.replace(DEMANDS[0], job=f"J-{n}", quantity=1, mixed_heats=True, longest_blank=None) for n in range(jobs)]
    sawing = []
    for n in range(ways):
        blanks = tuple(Blank(job, 1, 10.0 + job % 7 / 10 + twice / 20) for job in range(n, jobs, ways) for twice in range(1 + job // ways % 2))
        left = round(143.5 - sum(b.length for b in blanks) - 0.1 * len(blanks), 3)
        sawing.append(Sawing(1, 0, None, blanks, left, left >= 12, len(blanks)))
    plan = BuyingPlan((OrderLine(0, ways, 12.0 * ways, 54, 54 * ways + 20),), tuple(sawing), 0, 0, 0, 0, 0, 1)
    rack = [RackBar(f"R-{n}", BRASS, 80, f"H{n}", "3.1", value=5) for n in range(bars)]
    return plan, demands, OFFERS, rack, dataclasses.replace(TERMS, cut_cost=0, left_share=0, freight=0)


@pytest.mark.slow
def test_a_large_plan_is_built_in_reasonable_time():
    case = large(300, workbook.MOST_JOBS, 60)
    started = time.process_time()
    data = buy_list(*case)
    spent = time.process_time() - started
    assert value(data, "buy_total") == pytest.approx(case[0].cost)
    assert [t for t in checks_of(data).values() if t.startswith(STOP)] == []
    assert spent < 90


# --- other programs ------------------------------------------------------------------------------------------------


def tiny(*, buy: bool = True) -> bytes:
    """One job from one bar that is bought, or from one of the rack."""
    offers, rack = (OFFERS[1:], ()) if buy else ((), RACK[1:2])
    sawing = (Sawing(1, 0 if buy else None, None if buy else 0, (Blank(0, 1, 17.25),) * 2, 84.8 if buy else 24.8, True, 2),)
    plan = BuyingPlan((OrderLine(0, 1, 26, 20, 100),) if buy else (), sawing, 0, 0, 0 if buy else 9.37, 84.8 * 10 / 120 if buy else 24.8 * 9.37 / 60, 0, 1)
    return buy_list(plan, (dataclasses.replace(DEMANDS[1], quantity=2),), offers, rack, dataclasses.replace(TERMS, freight=0, cut_cost=0))


@pytest.mark.parametrize("buy", [True, False])
def test_one_job_from_one_bar(buy):
    assert [text for text in checks_of(tiny(buy=buy)).values() if text.startswith(STOP)] == []
    assert value(tiny(buy=buy), "buy_total") == pytest.approx(100 - 84.8 / 12 if buy else 9.37 - 24.8 * 9.37 / 60)


@functools.cache
def judged() -> dict[str, bytes]:
    """By hand, blank, in mm, with faults, and generated weeks."""
    books = {"hand": by_hand(), "mm": buy_list(*metric()), "bought": tiny(), "rack": tiny(buy=False)}
    for name in ("a blank that is too long", "a bar that is not there", "no price", "another customer's bar"):
        typed = FAULTS[name][0]
        books[name] = changed(typed).to_bytes({at(place): what for place, what in typed.items()})
    blank = Workbook(build(Sizes((2, 1), (2,) * 3, (2,) * 3, 3, 3, 1, 1)), direct=True)
    blank.calculate()
    books["blank"] = blank.to_bytes()
    return books | {f"week {seed}": buy_list(*case) for seed, case in list(weeks().items())[:4]}


@pytest.mark.parametrize("label", ["tiny", pytest.param("all", marks=pytest.mark.slow)])
@pytest.mark.parametrize("program", MARKED)
def test_other_programs_calculate_the_same(program, label):
    books = judged() if label == "all" else {"tiny": tiny()}
    theirs = JUDGES[program]({name: without_values(data) for name, data in books.items()})
    for name, data in books.items():
        ours = content(data).stored
        assert len(ours) > 400
        wrong = [(cell, v, theirs[name].get(cell)) for cell, v in ours.items()
                 if theirs[name].get(cell) != v and not (isinstance(v, float) and theirs[name].get(cell) == pytest.approx(v, rel=1e-9, abs=1e-7))]
        assert wrong[:5] == [], name


@pytest.mark.slow
def test_every_formula_has_a_value_that_is_no_error():
    for name, data in judged().items():
        stored = content(data).stored
        assert None not in stored.values(), name
        assert [(c, v) for c, v in stored.items() if isinstance(v, str) and v.startswith("#")] == [], name


def test_a_name_that_no_cell_has_stops_the_build():
    book = load(build())
    book["Money"]["B3"].value = "=buy_unheard_of"
    with pytest.raises(ValueError, match=r"Money!B3: no cell is named buy_unheard_of"):
        workbook._check_names(book)
