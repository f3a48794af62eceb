"""The functions in Excel: real xlwings code on the way in and out, values as Excel sends them."""

import ctypes
import datetime as dt
import inspect
import random
import re
import subprocess
import sys
from decimal import Decimal
from typing import Any

import pytest

import barfuncs
from barfuncs import CATALOGUE
from barfuncs.catalogue.entry import GROUPS, Argument, Entry, find
from barfuncs.errors import BarfuncsError, InputError
from barfuncs.functions.cost import PRICE_BREAK_COLUMNS, TABLE_HEADS
from barfuncs.surfaces import cells

pytest.importorskip("xlwings")

from excel_stub import ERRORS, MISSING, MODULE, Cells, check_variant, excel

R = Cells


@pytest.fixture(scope="module")
def host():
    with excel() as host:
        yield host


def column(*values):
    return R(tuple((v,) for v in values))


# --- the stub ------------------------------------------------------------------------------------------------------


def test_stub_leaves_nothing_behind():
    watched = [n for n in sys.modules if n.split(".")[0] in ("xlwings", "pythoncom", "win32com", "win32api")] + [MODULE]
    before = {n: sys.modules.get(n) for n in watched}
    for _ in range(2):
        with excel() as inner:
            assert sys.modules["xlwings"] is inner.xlwings
            assert inner.call("PARTS_PER_BAR", 144.0, 2.25, 0.125, 3.0) == 59
    assert {n: sys.modules.get(n) for n in watched} == before
    assert not hasattr(ctypes, "windll")
    assert isinstance(ctypes.PyDLL, type)
    assert sys.platform != "win32" or sys.getwindowsversion()


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), Decimal(1), {1}, 2**31, [], [[1, 2], [3, {4}]], None])
def test_stub_refuses_what_pywin32_refuses(bad):
    with pytest.raises(AssertionError):
        check_variant(bad)


# --- the wrappers --------------------------------------------------------------------------------------------------


def test_real_decorators_ran(host):
    assert host.xlwings.func is host.xlwings.udfs.xlfunc
    assert not host.xlwings.__pro__
    info = host.module.PARTS_PER_BAR.__xlfunc__
    assert [a["name"] for a in info["args"]] == [a.name for a in CATALOGUE["parts_per_bar"].arguments]
    assert info["category"] == "Barfuncs Yield"


def test_nothing_public_but_the_functions(host):
    names = {e.cell_name for e in CATALOGUE.values()} | {"WHY"}
    assert {n for n in vars(host.module) if not n.startswith("_")} == names == set(host.module.__all__)
    assert {n for n in dir(host.module) if hasattr(getattr(host.module, n), "__xlfunc__")} == names


def test_no_annotations_and_the_catalogue_signature(host):
    for entry in CATALOGUE.values():
        function = getattr(host.module, entry.cell_name)
        assert function.__name__ == entry.cell_name
        assert not function.__annotations__
        parameters = inspect.signature(function).parameters.values()
        assert [(p.name, p.default is p.empty) for p in parameters] == [(a.name, a.required) for a in entry.arguments]


VBA_RESERVED = set(re.findall(r"\w+", """
    abs addressof alias and any appactivate array as attribute base binary boolean byref byte byval call case cbool
    cbyte ccur cdate cdbl cdec cdecl chdir cint circle close clng clnglng clngptr compare const csng cstr currency
    cvar cverr date debug decimal declare defbool defbyte defcur defdate defdbl defint deflng defobj defsng defstr
    defvar dim do doevents double each else elseif empty end endif enum eqv erase error event exit explicit false fix
    for friend function get global go gosub goto if imp implements in input inputb int integer is lbound len lenb let
    lib like line linput local lock long longlong longptr loop lset me mid mod module name new next not nothing null
    object on open option optional or output paramarray preserve print private property pset public put raiseevent
    random read redim rem reset resume return rset scale seek select set sgn shared single spc static step stop string
    sub tab then to true type typeof ubound unlock until variant wend while width with withevents write xor
    caller k argsarray failed xlpy app
"""))


def test_generated_vba(host):
    book = host.import_functions()
    found = {name: [a.strip() for a in arguments.split(",")]
             for name, arguments in re.findall(r"^Function (\w+)\((.*)\)", book.vba, re.MULTILINE)}
    assert len(re.findall(r"^(?:Function|Sub) ", book.vba, re.MULTILINE)) == len(found) == len(CATALOGUE) + 1
    for entry in CATALOGUE.values():
        assert found[entry.cell_name] == [a.name if a.required else f"Optional {a.name}" for a in entry.arguments]
    assert found["WHY"] == ["function_name"] + [f"Optional argument_{n + 1}" for n in
                                                range(max(len(e.arguments) for e in CATALOGUE.values()))]
    for name, arguments in found.items():
        names = [a.removeprefix("Optional ").lower() for a in arguments]
        assert not re.fullmatch(r"[A-Z]{1,3}\d+|R\d*(C\d*)?|C\d*", name), f"{name} reads as a cell"
        assert len(set(names)) == len(names)
        assert len(names) < 60
        for word in (*names, name.lower()):
            assert re.fullmatch(r"[a-z]\w{0,254}", word)
            assert word not in VBA_RESERVED
        assert name.lower() not in names, f"{name} has an argument of its own name"
    assert max(map(len, book.vba.splitlines())) < 1023
    assert book.vba.isascii()


def test_two_imports_give_the_same_text(host):
    first, second = host.import_functions(), host.import_functions()
    assert first.vba == second.vba
    assert first.wizard == second.wizard
    assert "ActiveWorkbook" in host.import_functions("Bars.xlam").vba


def test_wizard(host):
    wizard = host.import_functions().wizard
    assert set(wizard) == {e.cell_name for e in CATALOGUE.values()} | {"WHY"}
    for name, texts in wizard.items():
        assert 0 < len(texts["Description"]) <= 255
        assert all(0 < len(text) <= 255 for text in texts["ArgumentDescriptions"]), name
        assert texts["Category"] in {f"Barfuncs {g}" for g in (*GROUPS, "Help")}
    texts = dict(zip([a.name for a in CATALOGUE["parts_per_bar"].arguments],
                     wizard["PARTS_PER_BAR"]["ArgumentDescriptions"], strict=True))
    assert texts["facing"] == "stock faced off the front of every part [in or mm]; 0 where left out"
    for entry in CATALOGUE.values():
        for a, text in zip(entry.arguments, wizard[entry.cell_name]["ArgumentDescriptions"], strict=True):
            assert text.startswith(a.help_with_unit())


@pytest.mark.parametrize("block", ["", "sys.modules['xlwings'] = None; "])
def test_imports_without_excel(block):
    code = (f"import sys; {block}import {MODULE} as m; "
            "print(m.PARTS_PER_BAR(144, 2.25, 0.125, 3), m.WHY('PARTS_PER_BAR', 144, -2, 0.125, 3)[:22], "
            "any(n in sys.modules for n in ('pythoncom', 'win32com', 'pint')))")
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "59 part_length: -2 given; False\n"
    assert done.stderr == ""


def test_core_needs_no_xlwings():
    code = "import sys, barfuncs.cli.main, barfuncs.surfaces.cells; print('xlwings' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


# --- single cells --------------------------------------------------------------------------------------------------

ALLOWED = "allowed is a number more than 0 and at most 1,000,000 (in)"


@pytest.mark.parametrize(("args", "wanted"), [
    ((144.0, 2.25, 0.125, 3.0), 59),
    ((R(144.0), R(2.25), R(0.125), R(3.0)), 59),
    ((R(144.0), R(2.25), R(0.125), R(3.0), MISSING, MISSING), 59),
    ((R(144.0), R(2.25), R(0.125), R(3.0), R(None), R("")), 59),
    ((R(144.0), R(2.25), R(0.125), R(3.0), MISSING, R(2.5)), 58),
    ((R(Decimal("144")), R(Decimal("2.25")), 0.125, 3.0), 59),
    (("12 ft", R("57.15 mm"), R("1/8 in"), "3 in"), 59),
    ((((144.0,),), R(((2.25,),)), 0.125, 3.0), 59),
    ((144.0, -2.0, 0.125, 3.0), f"#VALUE! part_length: -2 given; {ALLOWED}"),
    ((144.0, R(None), 0.125, 3.0), f"#VALUE! part_length: is missing; {ALLOWED}"),
    ((144.0, MISSING, 0.125, 3.0), f"#VALUE! part_length: is missing; {ALLOWED}"),
    ((144.0, R("  "), 0.125, 3.0), "#VALUE! part_length: is blank"),
    ((144.0, R(True), 0.125, 3.0), "#VALUE! part_length: TRUE given; allowed is a number more than 0 and at most "
                                   "1,000,000 (in or mm)"),
    ((144.0, R(dt.datetime(2026, 1, 5)), 0.125, 3.0),
     "#VALUE! part_length: a date or a time of day given; allowed is a number more than 0 and at most 1,000,000 "
     "(in or mm)"),
    ((R(ERRORS["#N/A"]), R(ERRORS["#DIV/0!"]), -1.0, 3.0), "#N/A"),
    ((-1.0, R(ERRORS["#DIV/0!"]), R(ERRORS["#N/A"]), 3.0), "#DIV/0!"),
    ((144.0, R(ERRORS["#SPILL!"]), 0.125, 3.0), "#SPILL!"),
    ((144.0, R("#VALUE! bars: -1 given"), 0.125, 3.0), "#VALUE! bars: -1 given"),
    ((R("3 m"), 57.0, R("3 mm"), R("75 mm")),
     "#VALUE! part_length: has no unit next to values in metric units: write its unit in the cell too, such as 3 mm"),
    ((1e6, 5e-324, 0.0, 0.0), "#VALUE! part_length: 5e-324 given; allowed is a number more than 0 and at most 1,000,000 (in)"),
])
def test_single_cells(host, args, wanted):
    assert host.call("PARTS_PER_BAR", *args) == wanted


def test_every_error_cell_is_handed_on(host):
    for text, code in ERRORS.items():
        assert host.call("BAR_PER_PART", R(2.0), R(code)) == text
        assert host.call("BAR_PER_PART", column(2.0, code), 1.0) == [[3.0], [text]]
        assert host.call("BAR_WEIGHT", R(code), "round", 1.0, 144.0) == text
        assert host.call("LENGTH_IN", R(code), "in") == text


def test_large_counts_are_floats(host):
    result = host.call("PARTS_PER_BAR", 1e6, 1e-6, 0.0, 0.0)
    assert result == 1e12
    assert isinstance(result, float)


@pytest.mark.parametrize(("count", "kind"), [(2**31 - 1, int), (2**31, float), (-(2**31), int), (-(2**31) - 1, float)])
def test_integers_of_32_bits_stay_integers(count, kind):
    call = cells.CellCall(find("parts_left"), cells.EXCEL)
    call._function = lambda *_: count
    assert call(1.0, 1.0, 1.0) == count
    assert type(call(1.0, 1.0, 1.0)) is kind


def test_results_beyond_all_floats_are_errors():
    call = cells.CellCall(find("price_at_markup"), cells.EXCEL)
    call._function = lambda *_: float("inf")
    assert call(1.0, 1.0) == "#NUM! the result is too large"
    call._function = lambda *_: float("nan")
    assert call(1.0, 1.0) == "#NUM! the result is too large"


def test_a_failure_inside_is_an_error_text(caplog):
    call = cells.CellCall(find("price_at_markup"), cells.EXCEL)
    call._function = lambda *_: {}["x"]
    assert call(1.0, 1.0) == "#VALUE! PRICE_AT_MARKUP failed (KeyError: 'x')"
    assert "PRICE_AT_MARKUP failed" in caplog.text


def test_long_texts_are_cut(host):
    text = host.call("PARTS_PER_BAR", "x" * 50, "y" * 50, "z" * 50, "w" * 50)
    assert len(text) == 255
    assert text.startswith("#VALUE! bar_length: 'xxx")
    assert text.endswith("...")


# --- columns -------------------------------------------------------------------------------------------------------


def test_a_column_spills_one_result_a_row(host):
    lengths = column(2.25, "2-1/4 in", None, -2.0, ERRORS["#N/A"])
    assert host.call("PARTS_PER_BAR", R(144.0), lengths, 0.125, R("3 in")) == [
        [59], [59], [f"#VALUE! part_length: is missing; {ALLOWED}"], [f"#VALUE! part_length: -2 given; {ALLOWED}"],
        ["#N/A"]]
    assert host.call("BAR_PER_PART", column(1.0, 2.0), column(0.5, 0.25), column(None, 1.0)) == [[1.5], [3.25]]


def test_an_error_beside_a_column_is_in_every_row(host):
    assert host.call("BAR_PER_PART", column(1.0, -2.0), R(ERRORS["#REF!"])) == [["#REF!"], ["#REF!"]]


@pytest.mark.parametrize(("args", "wanted"), [
    ((R(((144.0, 120.0),)), 2.25, 0.125, 3.0), [59, 49]),  # an array of one dimension is a row
    (((144.0, 120.0), 2.25, 0.125, 3.0), [59, 49]),
    ((R(((144.0, 120.0), (-1.0, 60.0))), R(((2.25, 4.5), (2.25, 4.5))), 0.125, 3.0),
     [[59, 25], ["#VALUE! bar_length: -1 given; allowed is a number 0 or more and at most 1,000,000 (in)", 12]]),
])
def test_a_row_or_a_block_spills_in_its_own_form(host, args, wanted):
    assert host.call("PARTS_PER_BAR", *args) == wanted


@pytest.mark.parametrize(("args", "wanted"), [
    ((column(1.0, 2.0), column(1.0, 2.0, 3.0)),
     "#VALUE! cutoff_width: 3 rows by 1 column given next to 2 rows by 1 column of part_length; ranges must have the same size"),
    ((column(1.0, 2.0), R(((1.0, 2.0),))),
     "#VALUE! cutoff_width: 1 row by 2 columns given next to 2 rows by 1 column of part_length; ranges must have the same size"),
])
def test_never_an_outer_product(host, args, wanted):
    assert host.call("BAR_PER_PART", *args) == wanted
    assert host.call("WHY", "bar_per_part", *args) == wanted.removeprefix("#VALUE! ")


BREAKS = (59.0, 34.8, 45.0, 30.0, 1.5, 80.0)


def test_price_breaks_spill_a_table(host):
    wanted = [list(row) for row in barfuncs.price_breaks([100, 1000], *BREAKS, margin=0.2)]
    rest = [R(v) for v in BREAKS] + [MISSING] * 6 + [0.2]
    for quantities in (column(100.0, 1000.0), column(100.0, None, Decimal(1000), None), R(((100.0, 1000.0),)),
                       R(((100.0, None), (None, 1000.0))), (100.0, 1000.0)):
        head, *rows = host.call("PRICE_BREAKS", quantities, *rest)
        assert head == [c.replace("_", " ") for c in PRICE_BREAK_COLUMNS]
        assert rows == wanted
    assert host.call("PRICE_BREAKS", R(100.0), *rest)[1:] == wanted[:1]


def test_offers_are_a_range_and_blanks_spill_down(host):
    offers = R((("Length", "Price", "From quantity"), (144.0, 2.4, None), (None, None, None), (144.0, 1.75, 180.0), ("20 ft", 2.4, None)))
    rest = (160.0, "lb", 47.5, 0.125, 2.375, 3.0)
    wanted = barfuncs.stock_choice("144: 2.4; 144 from 180: 1.75; 240: 2.4", *rest[:-1], 3, weight_per_length=4)
    head, *rows = host.call("STOCK_CHOICE", offers, *rest, *[MISSING] * 4, 4.0)
    assert (head, rows) == (list(TABLE_HEADS["stock_choice"]), list(map(list, wanted)))
    assert [row[-2:] for row in rows] == [["cheapest", "buy 1 bar (48 lb) more than needed and pay 9.60 less"], ["", ""]]
    assert host.call("BLANK_LENGTHS", R(144.0), *rest[2:]) == [[36.25]] * 3 + [[33.875]]
    assert host.call("BLANK_PARTS", R(144.0), *rest[2:]) == [[14]] * 3 + [[13]]


@pytest.mark.parametrize("text", ["100 250 1000", "100;250;1000", "100,250,1000"])
def test_quantities_in_one_text_are_those_of_python(host, text):
    from barfuncs.surfaces import cells

    for call in (lambda *args: host.call("PRICE_BREAKS", *args), cells.CellCall(CATALOGUE["price_breaks"], cells.CALC)):
        table = call(text, *BREAKS)
        assert [row[0] for row in table[1:]] == [100, 250, 1000]


@pytest.mark.parametrize(("quantities", "wanted"), [
    (column(100.0, -5.0), "#VALUE! quantities: -5 given; allowed is a whole number 1 or more and at most 10,000,000"),
    (column(100.0, ERRORS["#N/A"], "x"), "#N/A"),
    (column(None, None), "#VALUE! quantities: is missing; allowed is one or more order quantities"),
    (MISSING, "#VALUE! quantities: is missing; allowed is one or more order quantities"),
    (column(100.0, True),
     "#VALUE! quantities: TRUE given; allowed is a whole number 1 or more and at most 10,000,000"),
])
def test_price_breaks_with_bad_quantities(host, quantities, wanted):
    assert host.call("PRICE_BREAKS", quantities, *BREAKS) == wanted
    assert host.call("WHY", "PRICE_BREAKS", quantities, *BREAKS).endswith(wanted.removeprefix("#VALUE! "))


def test_price_breaks_take_columns_for_quantities_only(host):
    assert host.call("PRICE_BREAKS", R(100.0), column(59.0, 60.0), *BREAKS[1:]) == (
        "#VALUE! parts_per_bar: 2 rows by 1 column given; allowed is one cell")


def test_every_table_has_a_header():
    assert {e.name for e in CATALOGUE.values() if e.result.name == "table"} == set(TABLE_HEADS)


# --- WHY -----------------------------------------------------------------------------------------------------------


def test_why(host):
    good = (144.0, 2.25, 0.125, 3.0)
    assert host.call("WHY", "PARTS_PER_BAR", *good) == "ok"
    assert host.call("WHY", R("parts_per_bar"), *map(R, good), *[MISSING] * 10) == "ok"
    bad = host.call("WHY", "PARTS_PER_BAR", R("abc"), -2.0, R(True), *[MISSING] * 11)
    assert bad.startswith("bar_length: 'abc' can't be read as a length")
    assert "; part_length: -2 given; " in bad
    assert "; cutoff_width: TRUE given; " in bad
    assert "; min_remnant: is missing; " in bad
    assert host.call("WHY", "PARTS_PER_BAR", *good, ERRORS["#N/A"], R("#VALUE! x: y")) == (
        "facing: the cell shows the error #N/A; end_trim: the cell shows the error #VALUE! x: y")
    assert host.call("WHY", "PARTS_PER_BAR", 144.0, column(2.25, -2.0), 0.125, 3.0) == [
        ["ok"], [f"part_length: -2 given; {ALLOWED}"]]


def test_why_takes_every_function(host):
    for entry in CATALOGUE.values():
        values = [a.kind.choices[0] if a.kind.choices else "12 ft" if a.name == "text" else "1.4305"
                  if a.name == "material" else 0.5 if a.kind.reader == "fraction" else 1.0 for a in entry.arguments]
        words = host.call("WHY", entry.cell_name, *values, *[MISSING] * (cells.MOST_ARGUMENTS - len(values)))
        result = host.call(entry.cell_name, *values)
        assert (words == "ok") == (not str(result).startswith("#"))
        assert host.call("WHY", entry.cell_name).count("is missing") == sum(a.required for a in entry.arguments)


def test_python_names_a_missing_argument_once():
    assert barfuncs.why("BAR_PER_PART", None, 0.125) == f"part_length: is missing; {ALLOWED}"


def test_why_with_a_text_that_is_read_inside():
    assert barfuncs.why("LENGTH_IN", "abc", "in").startswith("text: 'abc' can't be read")
    assert barfuncs.why("PRICE_BREAKS", [0], 59, 30, 45, 30, 1, 80).startswith("quantities: 0 given")


@pytest.mark.parametrize(("args", "wanted"), [
    (("PARTS_PER_BARS", 1.0), "#NAME? 'PARTS_PER_BARS' is not a function of barfuncs; did you mean PARTS_PER_BAR?"),
    ((12.0,), "#NAME? 12 is not a function of barfuncs"),
    ((None,), '#VALUE! function_name is missing; write for example "PARTS_PER_BAR"'),
    ((column("A", "B"),), "#VALUE! function_name: 2 cells given; allowed is one"),
    ((R(ERRORS["#NAME?"]),), "#NAME?"),
    (("MARGIN_OF", 1.0, 2.0, 3.0), "MARGIN_OF takes 2 arguments, 3 were given"),
    (("MARGIN_OF", 1.0, 2.0, None, MISSING), "ok"),
])
def test_why_with_a_bad_call(host, args, wanted):
    assert host.call("WHY", *args) == wanted


# --- the same as Python --------------------------------------------------------------------------------------------

SETS = 400
SECTION_TEXTS = ("1/2 x 3/4; hex 3/4 x 1/4", "round 0.4 to 0.3 x 1 bore 0.1", "0.5 x 0.5", "many", "1 x 1 bore 1", "hex 12 mm x 5 mm")
OFFER_TEXTS = ("144: 2.4; 240: 2.2", "12 ft: 2.4; 12 ft from 5: 1.9; 400: 2", "144: 2; 144: 3", "many", "200 from 100: 30", "-1: 2")
ROWS_TEXTS = {"rows of sections": SECTION_TEXTS, "rows of offers": OFFER_TEXTS}
TEXTS = {
    "length": ("12 ft", "57.15 mm", "1 3/8", "2-1/4 in", "3.66 m", "825 thou", "12' 6-1/2\"", "8 mil", "12,5", "abc"),
    "weight": ("250 lb", "120 kg", "40", "1 ton", "x"),
    "count": ("1,200 pcs", "12.0", "12.5", "many"),
    "fraction": ("3%", "0.03", "3 percent"),
    "seconds": ("1 min 20 s", "45", "1:30"),
    "hours": ("1 h 30 min", "8", "8 m"),
    "number": ("$1,250.00", "12.5", "1,375"),
    "material": ("1.4305", "7.85 g/cm3", "0.284 lb/in3", "unobtainium", "2", "99 g/cm3"),
    "text": ("12 ft", "57.15 mm", "1 3/8", "abc", "8 mil"),
}


def some_value(rng: random.Random, entry: Entry, a: Argument) -> Any:
    """A value as Excel sends it: mostly good, sometimes at the limit, bad, text, blank or missing."""
    kind, sort = a.kind, rng.random()
    high = min(kind.high, 1e9)
    if sort < 0.02:
        return rng.choice(list(ERRORS.values()))
    if sort < (0.06 if a.required else 0.4):
        return rng.choice([None, MISSING, ""])
    if sort < 0.08:
        return rng.choice([True, False])
    if kind.choices:
        word = rng.choice(kind.choices)
        return rng.choice([word] * 8 + [word.upper(), f" {word} ", "nothing", 3.0])
    if kind.reader == "text" or (kind.reader == "material" and sort < 0.85):
        return rng.choice((*TEXTS[kind.reader], 7.0) if sort < 0.5 else TEXTS[kind.reader][:2])
    if kind.reader == "material":
        return rng.choice([0.1, 0.284, 7.85, 26.0, 0.0, -1.0])
    if sort < 0.13 and kind.reader in TEXTS:
        return rng.choice(TEXTS[kind.reader])
    if sort < 0.18:
        return rng.choice([-1.0, -0.001, 1e10, 1e300, 1.5, 0.0])
    limits = [v for v in (kind.low, kind.closed_low, high, kind.closed_high) if 1e-3 <= v <= high or v == kind.low]
    if sort < 0.25:
        return float(rng.choice(limits))
    value = rng.choice([rng.uniform(kind.low, min(high, 10)), rng.uniform(kind.low, min(high, 1000)),
                        10 ** rng.uniform(-2, 2)])
    value = float(round(value)) if kind.whole or sort < 0.5 else round(value, 4)
    return Decimal(str(value)) if sort > 0.95 else value


def fit(rng: random.Random, entry: Entry, values: list[Any]) -> None:
    """Leave most of many optional arguments out, since a table is refused where any one of them is bad."""
    if entry.name == "chips_per_part" and rng.random() < 0.5:
        values[2:6] = ["round", 1.0, 2.5, MISSING]  # a bar that takes the parts
    elif entry.result.reader == "table" and "longest_blank" in (names := [a.name for a in entry.arguments]):
        for n, a in enumerate(entry.arguments):
            if not a.required and rng.random() < 0.8:
                values[n] = MISSING
        if rng.random() < 0.5:
            usual = {"supplied_length": 144.0, "longest_blank": 47.5, "kerf": 0.125, "bar_per_part": 2.375, "min_remnant": 3.0, "price_per": "ft"}
            values[:] = [usual.get(name, value) for name, value in zip(names, values, strict=True)]
    elif any(kind.reader == "table" for kind in (entry.result, *(a.kind for a in entry.arguments))):
        for n, a in enumerate(entry.arguments):
            if not a.required and rng.random() < 0.8:
                values[n] = MISSING


def as_python(value: Any, nice: bool) -> Any:
    """The value for the Python call; `nice` for messages: 2, where a sheet has nothing but 2.0."""
    if isinstance(value, list):
        return [p for p in (as_python(v, nice) for v in value) if p is not None] or None
    if value is None or value == "" or (type(value) is int and value == MISSING):
        return None
    if isinstance(value, Decimal):
        value = float(value)
    if nice and isinstance(value, float) and value == round(value) and abs(value) < 1e15:
        return int(value)
    return value


def wanted(entry: Entry, values: list[Any]) -> Any:
    """What the cell must show, from the Python call."""
    flat = [v for value in values for v in (value if isinstance(value, list) else [value])]
    names = {code: text for text, code in ERRORS.items()}
    if errors := [names[v] for v in flat if type(v) is int and v in names]:
        return errors[0]

    def python(nice: bool) -> Any:
        args = [as_python(v, nice) for v in values]
        while args and args[-1] is None:
            args.pop()
        return getattr(barfuncs, entry.name)(*args)

    try:
        result = python(False)
    except ArithmeticError:
        return "#VALUE! part_length: 5e-324 given; allowed is a number more than 0 and at most 1,000,000 (in)"
    except BarfuncsError:
        with pytest.raises(InputError) as raised:
            python(True)
        words = "; ".join(f"{argument}: {reason}" for argument, reason in raised.value.problems)
        words = re.sub(r"\b(True|False) given", lambda m: m[0].replace(m[1], m[1].upper()), words)
        words = words.replace('add units="in" or units="mm"', 'give the last argument, units: "in" or "mm"' if entry.has_units else
                              'give plain numbers in one unit; LENGTH_IN("3 mm","in") makes a number of a text' if entry.result.two_systems
                              else "write its unit in the cell too, such as 3 mm")
        text = "#VALUE! " + words
        return text if len(text) <= 255 else text[:252] + "..."
    if isinstance(result, list) and entry.name in TABLE_HEADS:
        return [list(TABLE_HEADS[entry.name]), *map(list, result)]
    if isinstance(result, list):
        return result[0] if len(result) == 1 else [[value] for value in result]
    return result


def as_excel(rng: random.Random, value: Any) -> Any:
    if isinstance(value, list):
        return column(*value)
    return value if rng.random() < 0.3 or (type(value) is int and value == MISSING) else R(value)


@pytest.mark.parametrize("name", sorted(CATALOGUE))
def test_agrees_with_python(host, name):
    rng = random.Random(name)
    entry = CATALOGUE[name]
    good = bad = 0
    for _ in range(SETS):
        values = [rng.choice(ROWS_TEXTS[a.kind.name]) if a.kind.columns else [some_value(rng, entry, Argument("quantities", find("whole_bar_quantity").arguments[0].kind, "", 1))
                   for _ in range(rng.randint(2, 4))] if a.kind.reader == "table" else some_value(rng, entry, a)
                  for a in entry.arguments]
        fit(rng, entry, values)
        result = host.call(entry.cell_name, *[as_excel(rng, v) for v in values])
        expected = wanted(entry, values)
        assert result == expected, values
        words = host.call("WHY", entry.cell_name, *[as_excel(rng, v) for v in values])
        failed = isinstance(expected, str) and expected.startswith("#")
        assert (words == "ok") is not failed, values
        if failed and expected.startswith("#VALUE! ") and len(expected) < 255 and "shows the error" not in words:
            assert words == expected.removeprefix("#VALUE! ")
        good, bad = good + (not failed), bad + failed
    assert good > SETS / 20
    assert bad > SETS / 20


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(n for n, e in CATALOGUE.items() if e.result.reader != "table"))
def test_columns_agree_with_python(host, name):
    rng = random.Random(name)
    entry = CATALOGUE[name]
    for _ in range(SETS // 4):
        rows = rng.randint(2, 5)
        values = [rng.choice(ROWS_TEXTS[a.kind.name]) if a.kind.columns else MISSING if a.kind.reader == "table"
                  else [some_value(rng, entry, a) for _ in range(rows)] if rng.random() < 0.5 else some_value(rng, entry, a)
                  for a in entry.arguments]
        result = host.call(entry.cell_name, *[as_excel(rng, v) for v in values])
        if not any(isinstance(v, list) for v in values):
            assert result == wanted(entry, values)
            continue
        assert result == [[wanted(entry, [v[n] if isinstance(v, list) else v for v in values])] for n in range(rows)]
