"""Every cell formula against its Python function: in the headless engine, and in other programs as a second opinion."""

import io
import random
import re
import zipfile
from itertools import groupby

import openpyxl
import pytest
from agreement import on_the_edge
from formula_cases import (
    OWN_DENSITY,
    OWN_FILE,
    OWN_NAME,
    WITH_FORMULA,
    Case,
    all_cases,
    bad_cases,
    bad_values,
    blank_book,
    book_of,
    differences,
    good_cases,
    saved,
    scale,
)
from judges import JUDGES, without_values
from libreoffice import convert
from openpyxl.workbook.defined_name import DefinedName

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.errors import InputError
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

IDS = [e.name for e in WITH_FORMULA]


@pytest.fixture(autouse=True)
def own_material(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text(OWN_FILE, encoding="utf-8")
    bf.use_materials(path)
    yield
    bf.use_materials(None)


def calculated(cases):
    book = Workbook(book_of(cases))
    book.calculate()
    return [book.value_at((0, row, 1)) for row in range(1, len(cases) + 1)]


def engine_error(value):
    return isinstance(value, CellError)


def seeded(entry, what):
    return random.Random(f"{what} {entry.name}")


# --- the headless engine ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("entry", WITH_FORMULA, ids=IDS)
def test_formula_gives_what_python_gives(entry):
    cases = good_cases(entry, seeded(entry, "good"), 300)
    assert differences(cases, calculated(cases), engine_error) == []


@pytest.mark.slow
@pytest.mark.parametrize("entry", WITH_FORMULA, ids=IDS)
def test_bad_argument_is_an_error_in_the_cell_where_python_refuses(entry):
    cases = bad_cases(entry, seeded(entry, "bad"), 120)
    accepted = [str(c) for c in cases if c.expected() is not InputError]
    assert accepted == []
    assert differences(cases, calculated(cases), engine_error) == []


@pytest.mark.slow
@pytest.mark.parametrize("entry", WITH_FORMULA, ids=IDS)
def test_every_kind_of_bad_value_of_every_argument(entry):
    good = good_cases(entry, seeded(entry, "each"), 1)[0].values
    cases = [Case(entry, (*good[:n], bad, *good[n + 1:])) for n, a in enumerate(entry.arguments)
             for bad in bad_values(a.kind, a.required)]
    assert [str(c) for c in cases if c.expected() is not InputError] == []
    assert differences(cases, calculated(cases), engine_error) == []


def test_error_in_an_argument_stays_an_error():
    book = blank_book()
    sheet, where = book.worksheets[0], []
    sheet["Z1"] = "=NA()"
    for entry in WITH_FORMULA:
        good = good_cases(entry, seeded(entry, "error"), 1)[0].values
        for argument in entry.arguments:
            row = len(where) + 1
            refs = {a.name: f"{chr(66 + k)}{row}" for k, a in enumerate(entry.arguments)}
            for k, value in enumerate(good, start=2):
                sheet.cell(row, k, value)
            refs[argument.name] = "Z1"
            sheet.cell(row, 1, "=" + cell_formula(entry, refs))
            where.append(f"{entry.name}, {argument.name}")
    calc = Workbook(saved(book))
    calc.calculate()
    hidden = [name for row, name in enumerate(where, start=1) if not engine_error(calc.value_at((0, row, 1)))]
    assert hidden == []


def test_formula_over_cells_named_like_the_arguments():
    book = blank_book()
    sheet = book.worksheets[0]
    for row, name in enumerate(ARGUMENTS, start=1):
        book.defined_names[name] = DefinedName(name, attr_text=f"Sheet!$B${row}")
    for row, entry in enumerate(WITH_FORMULA, start=1):
        sheet.cell(row, 3, "=" + cell_formula(entry))
    calc, wrong = Workbook(saved(book)), []
    for row, entry in enumerate(WITH_FORMULA, start=1):
        rng = seeded(entry, "named")
        for case in good_cases(entry, rng, 3) + bad_cases(entry, rng, 3):
            for argument, value in zip(entry.arguments, case.values, strict=True):
                calc.set(argument.name, value)
            calc.calculate()
            wrong += differences([case], [calc.value_at((0, row, 3))], engine_error)
    assert wrong == []


def test_every_material_and_designation_is_found_in_the_cell():
    texts = [text for row in materials.active().rows for text in row.texts]
    assert len(texts) > 100
    assert OWN_NAME in texts
    cases = [Case(CATALOGUE["material_density"], (text, units)) for text in texts for units in ("mm", "in")]
    values = calculated(cases)
    assert differences(cases, values, engine_error) == []
    assert values[texts.index(OWN_NAME) * 2] == OWN_DENSITY


def test_designation_that_became_a_number_is_no_density():
    codes = {text for row in materials.builtin().rows for text in row.texts if re.fullmatch(r"1\.\d{4}", text)}
    assert len(codes) > 10
    cases = [Case(CATALOGUE["material_density"], (float(code), "mm")) for code in sorted(codes)]
    assert {c.expected() for c in cases} == {InputError}
    assert differences(cases, calculated(cases), engine_error) == []


@pytest.mark.slow
def test_blank_optional_argument_is_its_default():
    cases, full = [], []
    for entry in WITH_FORMULA:
        for case in good_cases(entry, seeded(entry, "blank"), 40):
            filled = [a.default if v is None and not a.required else v
                      for a, v in zip(entry.arguments, case.values, strict=True)]
            cases.append(case)
            full.append(Case(entry, tuple(filled)))
    assert any(None in c.values for c in cases)
    assert [str(c) for c, a, b in zip(cases, calculated(cases), calculated(full), strict=True) if a != b] == []


def test_counts_at_exact_fits_in_the_cell():
    ppb, left = CATALOGUE["parts_per_bar"], CATALOGUE["parts_left"]
    through_mm = 12.6 * 25.4 / 25.4
    fits = [(12, 0.1, 120), (3.6, 0.05, 72), (12.6, 0.1, 126), (through_mm, 0.1, 126), (0.3, 0.1, 3),
            (144, 144 / 59, 59), (1e6, 0.1, 10_000_000), (4.35, 0.01, 435)]
    cases = [Case(ppb, (bar, part, 0, 0, None, None)) for bar, part, _ in fits]
    cases += [Case(left, (bar, part, 0)) for bar, part, _ in fits]
    assert calculated(cases) == [n for _, _, n in fits] * 2
    assert [c.expected() for c in cases] == [n for _, _, n in fits] * 2


@pytest.mark.parametrize(("name", "sets"), [
    ("parts_per_bar", {(7 - 5e-10, 1, 0, 0, None, None): 7, (7 - 5e-9, 1, 0, 0, None, None): 6}),
    ("parts_left", {(7 - 5e-10, 1, 0): 7, (7 - 5e-9, 1, 0): 6}),
    ("bars_for_hours", {(7 + 5e-10, 1, 3600, 0): 7, (7 + 5e-9, 1, 3600, 0): 8}),
])
def test_tolerance_of_a_count_is_the_same_in_the_cell(name, sets):
    cases = [Case(CATALOGUE[name], values) for values in sets]
    assert [c.expected() for c in cases] == list(sets.values())
    assert calculated(cases) == list(sets.values())


def test_sets_have_blanks_limits_and_rule_breaks():
    seen_blank, seen_high, seen_rule = False, False, False
    for entry in WITH_FORMULA:
        for case in good_cases(entry, seeded(entry, "good"), 300):
            seen_blank |= None in case.values
            seen_high |= any(a.kind.is_number and v == a.kind.high
                             for a, v in zip(entry.arguments, case.values, strict=True))
        for case in bad_cases(entry, seeded(entry, "bad"), 120):
            try:
                getattr(bf, entry.name)(*case.values)
            except InputError as error:
                seen_rule |= any(reason == rule.message for _, reason in error.problems for rule in entry.rules)
    assert (seen_blank, seen_high, seen_rule) == (True, True, True)


# --- Gnumeric and formulon ----------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("program", [pytest.param("Gnumeric", marks=pytest.mark.gnumeric), "formulon"])
def test_another_program_gives_what_python_gives(program):
    # Where a hair decides whether a rule is kept, a program that calculates with more digits may decide in another way.
    cases = [case for case in all_cases(good=20, bad=10, seed=75) if not on_the_edge(case)]
    data = without_values(book_of(cases))
    title = openpyxl.load_workbook(io.BytesIO(data), read_only=True).sheetnames[0]
    values = JUDGES[program]({"formulas": data})["formulas"]
    shown = [values[f"{title}!A{row}"] for row in range(1, len(cases) + 1)]
    assert differences(cases, shown, engine_error) == []
    assert len([v for v in shown if isinstance(v, float)]) > 400
    assert len([v for v in shown if engine_error(v)]) > 400


# --- LibreOffice --------------------------------------------------------------------------------------------------


def stored(data):
    """Values of column A as a file stores them."""
    sheet = openpyxl.load_workbook(io.BytesIO(data), data_only=True).worksheets[0]
    return [sheet.cell(row, 1).value for row in range(1, sheet.max_row + 1)]


def stored_error(value):
    return isinstance(value, str) and value in ("#N/A", "#VALUE!", "#DIV/0!", "#NUM!")


@pytest.fixture(scope="module")
def second_opinion(tmp_path_factory):
    """Cases of all functions, the file without values, and the file that LibreOffice made of it."""
    folder = tmp_path_factory.mktemp("libreoffice")
    own = folder / "own.csv"
    own.write_text(OWN_FILE, encoding="utf-8")
    bf.use_materials(own)
    try:
        cases = all_cases(good=20, bad=10, seed=74)
    finally:
        bf.use_materials(None)
    without = book_of(cases)
    (folder / "formulas.xlsx").write_bytes(without)
    (folder / "out").mkdir()
    converted, = convert(folder / "formulas.xlsx", folder / "out")
    return cases, without, converted.read_bytes()


def cell_value_parts(data):
    """What stands between the formula and the end of its cell in column A of the first sheet."""
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        xml = file.read("xl/worksheets/sheet1.xml").decode()
    return re.findall(r'<c r="A\d+"[^>]*><f[^>]*>[^<]*</f>(.*?)</c>', xml)


@pytest.mark.slow
@pytest.mark.libreoffice
def test_libreoffice_gives_what_python_gives(second_opinion):
    cases, _, converted = second_opinion
    assert {c.entry.name for c in cases} == set(IDS)
    assert differences(cases, stored(converted), stored_error) == []


@pytest.mark.slow
@pytest.mark.libreoffice
def test_libreoffice_refuses_a_logical_value(tmp_path):
    """ISNUMBER(TRUE) is TRUE in LibreOffice, where a logical value is a number with a format."""
    cases = []
    for entry in WITH_FORMULA:
        good = good_cases(entry, seeded(entry, "logical"), 1)[0].values
        cases += [Case(entry, (*good[:n], value, *good[n + 1:])) for n in range(len(good)) for value in (True, False)]
    assert {c.expected() for c in cases} == {InputError}
    (tmp_path / "logical.xlsx").write_bytes(book_of(cases))
    (tmp_path / "out").mkdir()
    converted, = convert(tmp_path / "logical.xlsx", tmp_path / "out")
    assert differences(cases, stored(converted.read_bytes()), stored_error) == []


@pytest.mark.libreoffice
def test_libreoffice_had_no_values_to_copy(second_opinion):
    cases, without, converted = second_opinion
    parts = cell_value_parts(without)
    assert len(parts) == len(cases)
    assert set(parts) <= {"<v />", "<v/>", "<v></v>", ""}
    assert stored(without) == [None] * len(cases)
    assert len([p for p in cell_value_parts(converted) if "<v>" in p]) == len(cases)


@pytest.mark.slow
@pytest.mark.libreoffice
def test_cross_check_fails_on_a_wrong_stored_value(second_opinion, tmp_path):
    """Stored values are shown as they are: a wrong one comes through LibreOffice and the comparison names it."""
    cases, without, _ = second_opinion
    book = Workbook(without)
    book.calculate()
    row = next(n for n, c in enumerate(cases, start=1) if c.entry.name == "parts_per_bar" and c.expected() is not InputError)
    right = cases[row - 1].expected()
    book.set_at((0, row, 1), right + 1)
    (tmp_path / "planted.xlsx").write_bytes(book.to_bytes())
    (tmp_path / "out").mkdir()
    converted, = convert(tmp_path / "planted.xlsx", tmp_path / "out")
    found = differences(cases, stored(converted.read_bytes()), stored_error)
    assert found == [f"{cases[row - 1]}: Python {right!r}, cell {right + 1!r}"]


@pytest.mark.slow
@pytest.mark.libreoffice
def test_cross_check_fails_on_a_wrong_formula(second_opinion, tmp_path):
    cases, without, _ = second_opinion
    book = openpyxl.load_workbook(io.BytesIO(without))
    planted = {}
    for name, cases_of in groupby(enumerate(cases, start=1), key=lambda pair: pair[1].entry.name):
        row, case = next((n, c) for n, c in cases_of
                         if c.expected() is not InputError and (isinstance(c.expected(), str) or abs(c.expected()) > scale(c) / 20))
        formula = book.worksheets[0].cell(row, 1).value
        book.worksheets[0].cell(row, 1).value = f'=({formula[1:]}){"&CHAR(46)" if isinstance(case.expected(), str) else "*(1+1E-10)"}'
        planted[name] = case
    book.save(tmp_path / "planted.xlsx")
    (tmp_path / "out").mkdir()
    converted, = convert(tmp_path / "planted.xlsx", tmp_path / "out")
    found = differences(cases, stored(converted.read_bytes()), stored_error)
    assert [line.split(": Python")[0] for line in found] == [str(c) for c in planted.values()]


@pytest.mark.libreoffice
def test_missing_libreoffice_is_a_failure(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(AssertionError, match=r"LibreOffice .* is not on the PATH"):
        convert(tmp_path / "a.xlsx", tmp_path)


@pytest.mark.parametrize("number", [2.0401, 3.1645, 1.4828, 1.4305, 1.431, 0.6025, 0.284])
def test_a_number_that_may_be_a_designation_or_a_density_in_another_unit_is_refused(number):
    entry = CATALOGUE["material_density"]
    with pytest.raises(InputError, match="a designation"):
        bf.material_density(number, "mm")
    with pytest.raises(InputError, match="a designation"):
        bf.bar_weight(number, "round", 20, 3000, units="mm")
    assert engine_error(calculated([Case(entry, (number, "mm"))])[0])


def test_a_bad_row_of_the_shops_own_is_an_error_and_not_the_table_s_value():
    name = materials.builtin().rows[0].name
    for rows in ([(name, 8500)], [(name, "8.5")], [(name, None)], [(name, 8.5), (name, 8.5)]):
        book = blank_book()
        for row, (own_name, density) in enumerate(rows, start=1):
            book["Materials"].cell(row, 1).value = own_name
            book["Materials"].cell(row, 2).value = density
        sheet = book.worksheets[0]
        sheet["A1"], sheet["B1"] = "=" + cell_formula(CATALOGUE["material_density"], {"material": "B1", "units": '"mm"'}), name
        engine = Workbook(saved(book))
        engine.calculate()
        assert engine_error(engine.value_at((0, 1, 1))), rows
