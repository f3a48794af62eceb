"""Formulas that somebody typed into a workbook: what is worked out here as it was there counts, all else is refused in words."""

import re
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import openpyxl
import pytest
from click.testing import CliRunner
from test_quotation import BY_HAND, PIN, THREE, by_hand_filled, filled

from barfuncs.cli.main import main
from barfuncs.errors import WorkbookError
from barfuncs.filling.lists import read_jobs
from barfuncs.filling.quotations import quote_files, read_quote
from barfuncs.templates import quotation as by_hand
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack, read_parts, worksheets
from barfuncs.xlsx.sheetxml import SheetXML
from barfuncs.xlsx.typed_formulas import is_sure

CELLS = TEMPLATES["quote"].form.cells


def put(path: Path, cells: dict[str, tuple[str, Any]]) -> None:
    """Formulas into cells of a workbook, by name or as Sheet!B2, each with the value that is stored for it, or None for none."""
    book, parts = Workbook(path, direct=True), read_parts(path)
    sheets = {sheet.name: sheet.part for sheet in worksheets(path.name, parts)}
    for name, (formula, stored) in cells.items():
        sheet, _, ref = book.shown(book.address(name)).rpartition("!")
        xml = SheetXML(parts[sheets[sheet]])
        style = f' s="{xml.cells[ref].style}"' if ref in xml.cells and xml.cells[ref].style else ""
        kind = ' t="e"' if str(stored).startswith("#") else ' t="str"' if isinstance(stored, str) else ""
        value = "" if stored is None else f"<v>{stored}</v>"
        made = f'<c r="{ref}"{style}{kind}><f>{escape(formula)}</f>{value}</c>'.encode()
        if ref in xml.cells:
            start, end = xml.cells[ref].start, xml.cells[ref].end
        else:  # a row of its own, below all others
            start = end = xml.xml.index(b"</sheetData>")
            made = b'<row r="%d">%b</row>' % (int(re.sub(r"\D", "", ref)), made)
        parts[sheets[sheet]] = xml.xml[:start] + made + xml.xml[end:]
    path.write_bytes(pack(parts))


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> bytes:
    return filled(**THREE[0]).data


@pytest.fixture
def quote(tmp_path: Path, whole: bytes) -> Path:
    path = tmp_path / "Q1.xlsx"
    path.write_bytes(whole)
    return path


def said_of(path: Path) -> list[str]:
    return [said for _, said in read_quote(path)[2]]


MONEY = ("other_per_part", "other_per_order", "tooling", "chip_price", "remnant_price", "material_freight", "certificate_fee", "minimum_charge", "cut_charge")
"""Cells for one formula each, so that a workbook is read once for all of them."""


UNKNOWN = {"IFERROR(FOO(1),0)": (0, "foo"), "IFERROR(FOO(1),1-1)": (7, "foo"), "IFERROR(FOO(2),0)": (None, "foo"), "IF(1>2,FOO.BAR(1),0.4)": (0.4, "foo.bar"),
           "COUNT(_xll.FOO(1))": (0, "_xll.foo"), "IFERROR(nowhere,0)": (0, "nowhere"), "IFERROR('[1]Prices'!A1,0)": (0, "another file"),
           "ISERROR(FOO(2))*0.4": (0.4, "foo"), "SUM(1,IFERROR(SUM(FOO(2)),0))": (1, "foo")}


def test_what_hides_something_unknown_is_refused_whatever_is_stored(quote):
    put(quote, dict(zip(MONEY, ((formula, stored) for formula, (stored, _) in UNKNOWN.items()), strict=True)))
    said = said_of(quote)
    assert sorted(re.findall(r"and (\S+(?: file)?) is not known here: type the value", " ".join(said))) == sorted(name for _, name in UNKNOWN.values())
    assert all(re.match(r"Costing![A-Z]+\d+ holds =", one) for one in said)
    (made,) = quote_files([quote], quote.parent / "out").made
    assert made.problems == [("Q1.xlsx", one) for one in said]
    assert not (quote.parent / "out").exists()


@pytest.mark.parametrize("stored", [None, 0.4, 9.0])
def test_plain_sums_count_as_they_are_worked_out(quote, stored):
    """Whatever is stored: it may be older than what it rests on."""
    formulas = ("2*0.2", "(1+3)/10", "-0.4*-1", "SUM(0.1,0.3)", "40%", "quantity_1/625", "MAX(quantity_1,1)/625", "2^2/10", "PI()/PI()*0.4")
    put(quote, {cell: (formula, stored) for cell, formula in zip(MONEY, formulas, strict=True)})
    number, source, problems = read_quote(quote)
    assert (number, problems) == ("Q-17", [])
    want = filled(**THREE[0], **dict.fromkeys(MONEY, 0.4)).answers["shown_1"]
    assert source.said["lines"][0]["quantities"][0]["price"] == pytest.approx(want)


@pytest.mark.parametrize("cases", [
    {"ROUND(0.44,1)": (0.4, ""), "IFERROR(1/0,0.4)": (0.4, ""), 'VALUE("0.4")': (0.4, ""), "IF(0.1+0.2=0.3,0.4,0.5)": (0.4, "")},
    {"ROUND(0.44,1)": (0.5, "0.5 is stored in it, 0.4 worked out again; type the value"),
     "IFERROR(1/0,0.4)": (3.0, "3 is stored in it, 0.4 worked out again; type the value"),
     'VALUE("0.4")': ("#VALUE!", "'#VALUE!' is stored in it, 0.4 worked out again; type the value"),
     "ROUND(0.41,1)": (None, "not all programs work out alike, and no value is stored for it: save it in a spreadsheet program, or type the value"),
     "TODAY()/100000": (0.1, "is stored in it")}])
def test_what_may_differ_counts_where_the_stored_value_is_the_same(quote, cases):
    put(quote, dict(zip(MONEY, ((formula, stored) for formula, (stored, _) in cases.items()), strict=False)))
    said = said_of(quote)
    assert len(said) == sum(bool(reason) for _, reason in cases.values())
    for formula, (_, reason) in cases.items():
        assert not reason or any(f"holds ={formula}" in one and reason in one for one in said), (formula, said)


def test_cells_that_a_typed_formula_rests_on_are_looked_at_too(quote):
    """From one to the next, over ranges and whole columns."""
    for n, (column, formula) in enumerate((("X", "IFERROR(FOO(1),0.4)"), ("Y", "2/5"), ("Z", "ROUND(0.44,1)"))):
        first, then = f"Costing!{column}{900 + 10 * n}", f"Costing!{column}{905 + 10 * n}"
        put(quote, {first: (formula, None), then: (f"{first}*1", None), MONEY[n]: (f"SUM({then}:{column}999)", None),
                    MONEY[n + 3]: (f"IFERROR(SUM(Costing!{column}:{column})-{then},0)", 0.4)})
    assert [said.partition(" ")[0] for said in said_of(quote)] == ["Costing!X900", "Costing!Z920"]


def test_formulas_beside_that_nothing_rests_on_are_left_alone(quote):
    put(quote, {"Costing!Z900": ("IFERROR(FOO(1),TODAY())", None)})
    assert said_of(quote) == []


def test_another_formula_over_one_of_the_template_must_be_known_too(quote):
    put(quote, {"quote_price_1": ("IFERROR(FOO(1),3)", 3)})
    (said,) = said_of(quote)
    assert "foo is not known here" in said


def test_a_formula_in_a_table_or_on_the_sheet_shop_is_looked_at_too(quote):
    put(quote, {"op_length[2]": ("IFERROR(FOO(1),1)", 1), "machines_machine_rate[3]": ("IFERROR(FOO(1),80)", 80)})
    assert [re.search(r"([A-Z]\w+)![A-Z]+\d+ holds", said)[1] for said in said_of(quote)] == ["Operations", "Shop"]


def test_a_text_in_a_sum_may_be_read_otherwise_elsewhere(quote):
    """1,5 is one and a half here and a thousand and a half there."""
    put(quote, {"Costing!Z900": ('"0.4"', "0.4"), "other_per_part": ("Costing!Z900*1", None)})
    assert ["*1" in said for said in said_of(quote)] == [True]


def test_formulas_that_share_their_text(quote):
    """As programs write a column that was filled down; two cells beside each other are what they have in common, and nothing here."""
    parts = read_parts(quote)
    sheet = next(s.part for s in worksheets("q", parts) if s.name == "Costing")
    for text, doubted in (("Y900/1000", False), ("Y900 Y900", True)):
        rows = (f'<row r="900"><c r="Y900"><v>400</v></c><c r="Z900"><f t="shared" ref="Z900:Z901" si="77">{text}</f></c></row>'
                '<row r="901"><c r="Y901"><v>400</v></c><c r="Z901"><f t="shared" si="77"/></c></row>').encode()
        quote.write_bytes(pack({**parts, sheet: parts[sheet].replace(b"</sheetData>", rows + b"</sheetData>")}))
        put(quote, {"other_per_part": ("Costing!Z901", None)})
        assert ["Z901" in said for said in said_of(quote)] == [True] * doubted, said_of(quote)


def test_in_a_quotation_by_hand(tmp_path):
    path = tmp_path / "hand.xlsx"
    path.write_bytes(by_hand_filled(BY_HAND, [PIN]))
    put(path, {by_hand.FORM.cells["line_1_price"]: ("IFERROR(FOO(1),1)", 1)})
    (said,) = said_of(path)
    assert "foo is not known here" in said
    put(path, {by_hand.FORM.cells["line_1_price"]: ("1+0.5", 1)})
    assert read_quote(path)[1].said["lines"][0]["quantities"][0]["price"] == 1.5


@pytest.mark.parametrize(("formula", "sure"), [
    ("A1", True), ("'My sheet'!$A$1+Sheet!B2", True), ("1E-3*.5", True), ("-(2+3)%", True), ("SUM(A1:B2,3)", True), ("SUM((A1))", True),
    ("A1:A3", False), ("ABS(A1:A3)", False), ("SUM(A1:A3+1)", False), ("SUM(-A1:A3)", False), ("SUM((A1:A3))", False), ("1 2", False), ("A1 A2", False),
    ('"1"+1', False), ("A1&A2", False), ("A1=A2", False), ("IF(A1,1,2)", False), ("ROUND(A1,0)", False), ("{1,2}", False), ("SUM(A1", False),
    ("1+", False), ("SUM(,1)", False), ("(1,2)", False), ("A1#", False), ("Sheet1:Sheet2!A1", False), ("Table[a]", False), ("1;2", False), ("", False),
    ("rate*2", False), ("SUM(A:A)", False), ("SUM()", False), ("2PI()", False),
])
def test_which_formulas_are_sure(formula, sure):
    assert is_sure(formula) is sure
    assert is_sure("rate*2", names=True)


# --- lists and any workbook ------------------------------------------------------------------------------------------


def book_with(path: Path, formula: str) -> Path:
    book = openpyxl.Workbook()
    book.active.append(["material", "size", "part_length", "cutoff_width", "face_to_cutoff", "grip_length", "bar_length", "quantity"])
    book.active.append(["303", 1, 2, 0.125, 0.25, 2.5, 144, formula])
    book.save(path)
    return path


@pytest.mark.parametrize("formula", ["=IFERROR(FOO(1),500)", "=IF(TRUE,500,FOO(1))", "=IFERROR(nowhere,500)", "=SUM(500,COUNT(FOO(1)))"])
def test_a_list_without_stored_values_hides_nothing_unknown(tmp_path, formula):
    path = book_with(tmp_path / "list.xlsx", formula)
    with pytest.raises(WorkbookError, match=r"no value is stored for the formulas in Sheet!H2, and they can't be calculated here"):
        read_jobs(path)
    done = CliRunner().invoke(main, ["recalc", str(path)])
    assert (done.exit_code, "the engine does not know a function or name in Sheet!H2" in done.output) == (1, True), done.output


@pytest.mark.parametrize("formula", ["=250*2", "=IFERROR(1/0,500)", "=IFERROR(B2*500,1)", '=IF("FOO(1)"="nowhere",1,500)', "=MAX(1E2*5,TRUE*1)", "=SUM(B:B,499)",
                                     '=IFERROR(__xludf.DUMMYFUNCTION("FOO(1)"),500)', "=SUM(Sheet!B2:$B$2,499)", "=LET(x,499,x+1)"])
def test_what_is_known_is_calculated(tmp_path, formula):
    jobs = read_jobs(book_with(tmp_path / "list.xlsx", formula))
    assert jobs[0].values["quantity"] == 500
