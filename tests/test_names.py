"""The functions as names in a workbook, calculated by ironcalc."""

import doctest
import io
import math
import random
import re

import openpyxl
import pytest
from formula_cases import OWN_FILE, OWN_NAME, bad_cases, good_cases
from openpyxl.workbook.defined_name import DefinedName

import barfuncs as bf
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.surfaces import names
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import pack, read_parts
from barfuncs.xlsx.sheetxml import CellError


def blank(**formulas: str) -> bytes:
    book = openpyxl.Workbook()
    for ref, formula in formulas.items():
        book.active[ref] = formula
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def literal(value) -> str:
    if value is None:
        return ""
    return '"' + value.replace('"', '""') + '"' if isinstance(value, str) else repr(value)


def evaluate(calls: list[str]) -> list:
    book = Workbook(pack(names.add_names(blank(**{f"A{n}": "=" + c for n, c in enumerate(calls, start=1)}))))
    book.calculate()
    return [book.value(f"A{n}") for n in range(1, len(calls) + 1)]


def docstring_examples() -> list[tuple[str, tuple, dict]]:
    """Every call in the functions' examples, taken apart."""
    found = []
    for name, entry in CATALOGUE.items():
        if entry.formula is None:
            continue
        for example in doctest.DocTestParser().get_examples(getattr(bf, name).__doc__):
            match = re.search(rf"{name}(\(.*\))", example.source)
            if match:
                args, keywords = eval("take" + _outer(match[1]), {"take": lambda *a, **k: (a, k)})
                found.append((name, args, keywords))
    return found


def _outer(text: str) -> str:
    depth = 0
    for n, mark in enumerate(text):
        depth += (mark == "(") - (mark == ")")
        if depth == 0:
            return text[: n + 1]
    raise AssertionError(text)


def in_order(name: str, args: tuple, keywords: dict) -> list:
    values = dict(zip([a.name for a in CATALOGUE[name].arguments], args, strict=False)) | keywords
    last = max(n for n, a in enumerate(CATALOGUE[name].arguments) if a.name in values)
    return [values.get(a.name) for a in CATALOGUE[name].arguments[: last + 1]]


def test_every_function_with_a_formula_is_a_name_and_gives_its_example():
    examples = [e for e in docstring_examples()
                if not any(isinstance(v, str) and re.match(r"[\d.]", v) and v not in ("1.4305",) for v in (*e[1], *e[2].values()))]
    assert {name for name, _, _ in examples} == {e.name for e in names.named_functions()} - {"bar_weight", "weight_per_length"}
    calls = [f"{name.upper()}({','.join(literal(v) for v in in_order(name, a, k))})" for name, a, k in examples]
    for (name, a, k), call, got in zip(examples, calls, evaluate(calls), strict=True):
        want = getattr(bf, name)(*a, **k)
        if isinstance(want, str):
            assert got == want, call
            continue
        assert isinstance(got, float), (call, got)
        assert math.isclose(got, want, rel_tol=1e-12), call


def test_materials_by_name_designation_and_density():
    calls = ['MATERIAL_DENSITY("brass c36000","mm")', 'MATERIAL_DENSITY("1.4305","mm")', "MATERIAL_DENSITY(0.3)",
             'BAR_WEIGHT("C36000","hexagon",19,3000,,"mm")', 'BAR_WEIGHT("303","tube",1.5,144,0.125)']
    want = [bf.material_density("Brass C36000", "mm"), bf.material_density("1.4305", "mm"), 0.3,
            bf.bar_weight("C36000", "hexagon", 19, 3000, units="mm"), bf.bar_weight("303", "tube", 1.5, 144, 0.125)]
    assert evaluate(calls) == pytest.approx(want, rel=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize("call", [
    "PARTS_PER_BAR(144,0,0.125,3)", 'PARTS_PER_BAR(144,"x",0.125,3)', "PARTS_PER_BAR(Z99,2,0.125,3)",
    "PARTS_PER_BAR(-1,2,0.125,3)", "PARTS_PER_BAR(144,2,0.125,3,-1)", 'MATERIAL_DENSITY("unobtainium")',
    'MATERIAL_DENSITY("*")', 'SECTION_AREA("tube",1)', 'SECTION_AREA("round",1,0.1)', 'SECTION_AREA("rhombus",1)',
    "MATERIAL_DENSITY(1.4305)", 'MATERIAL_DENSITY(1.4305,"mm")', "PARTS_TO_MAKE(2.5)", "PRICE_AT_MARGIN(10,1)",
    'BAR_WEIGHT("303","round",1,144,,"cm")', "PARTS_PER_BAR(1/0,2,0.125,3)",
])
def test_a_bad_argument_gives_an_error_value(call):
    assert isinstance(evaluate([call])[0], CellError)


def test_blank_cells_of_optional_arguments_are_defaults():
    assert evaluate(["PARTS_PER_BAR(144,2.25,0.125,3,Z98,Z99)", "RUN_HOURS(100,45,50,30,Z99)"]) == pytest.approx(
        [bf.parts_per_bar(144, 2.25, 0.125, 3), bf.run_hours(100, 45, 50, 30)])


def test_definitions_fit_a_name():
    for name, text in names.definitions().items():
        assert len(text) <= 8192, name
        assert all(len(t) <= 255 for t in re.findall(r'"((?:[^"]|"")*)"', text)), name
        assert not re.fullmatch(r"[A-Z]{1,3}\d+|R\d*C\d*", name)
        for parameter in re.findall(r"_xl[po][mp]\.(\w+)", text):
            assert not re.fullmatch(r"[a-zA-Z]{1,3}\d+|[rR]\d*[cC]\d*", parameter), (name, parameter)
        assert text.count("(") == text.count(")")


# --- WHY -----------------------------------------------------------------------------------------------------------


def test_why_says_in_words_what_is_wrong():
    length = "allowed is a number more than 0 and at most 1,000,000 (in or mm)"
    cases = {
        'WHY("PARTS_PER_BAR",144,2.25,0.125,3)': "ok",
        'WHY("parts_per_bar",144,2.25,0.125,3,Z1)': "ok",
        'WHY("PARTS_PER_BAR",144,0,0.125,3)': f"part_length: 0 given; {length}",
        'WHY("PARTS_PER_BAR",144,-2,0.125)': f"part_length: -2 given; {length}; min_remnant: is missing; allowed is a "
                                             "number 0 or more and at most 1,000,000 (in or mm)",
        'WHY("BAR_PER_PART",1/0,1)': f"part_length: the cell shows an error; {length}",
        'WHY("BAR_PER_PART","abc",1)': f"part_length: abc given; {length}",
        'WHY("BAR_WEIGHT","unobtainium","round",1,144)':
            "material: unobtainium given; allowed is a material's name or designation, or a density",
        'WHY("BAR_WEIGHT","303","tube",1,144,0.6)': "thickness: the wall must be thinner than half the size",
        'WHY("BAR_WEIGHT","303","round",1,144,,"cm")': "units: cm given; allowed is one of in, mm",
        'WHY("REMNANT_LENGTH",1,2,0,0,0,5)': "end_trim: the end trim must not be longer than the bar",
        'WHY("PARTS_LEFT",1,1,1,1)': "PARTS_LEFT takes 3 arguments, 4 were given",
        'WHY("LENGTH_IN","12 ft","in")': f"LENGTH_IN needs an add-in: {CATALOGUE['length_in'].no_formula}",
        'WHY("PARTS_PR_BAR",1)': "PARTS_PR_BAR is not a function of barfuncs",
        'WHY("PARTS*",1)': "PARTS* is not a function of barfuncs",
        'WHY("BAR?PER_PART",1)': "BAR?PER_PART is not a function of barfuncs",
        'WHY(7,1)': "7 is not a function of barfuncs",
    }
    assert dict(zip(cases, evaluate(list(cases)), strict=True)) == cases


@pytest.fixture
def own_material(tmp_path):
    (tmp_path / "own.csv").write_text(OWN_FILE, encoding="utf-8")
    bf.use_materials(tmp_path / "own.csv")
    yield
    bf.use_materials(None)


@pytest.mark.usefixtures("own_material")
def test_why_of_every_function_is_ok_where_there_is_a_number_and_names_the_argument_where_not():
    calls, wanted = [], []
    for entry in names.named_functions():
        rng = random.Random(f"why {entry.name}")
        cases = good_cases(entry, rng, 6) + bad_cases(entry, rng, 14)
        for case in cases:
            if any(isinstance(v, bool) for v in case.values) or OWN_NAME.lower() in [str(v).lower() for v in case.values]:
                continue
            text = ",".join(literal(v) for v in case.values)
            calls += [f'WHY("{entry.cell_name}",{text})', f"{entry.cell_name}({text})"]
            wanted.append(bf.why(entry.name, *case.values))
    shown = evaluate(calls)
    for call, words, number, python in zip(calls[::2], shown[::2], shown[1::2], wanted, strict=True):
        assert (words == "ok") == (python == "ok") == (not isinstance(number, CellError)), (call, words, python)
        named = {part.split(": ")[0] for part in words.split("; ") if ": " in part}
        assert named == {part.split(": ")[0] for part in python.split("; ") if ": " in part}, (call, words, python)


def test_the_helpers_of_why_are_hidden():
    book = openpyxl.load_workbook(io.BytesIO(pack(names.add_names(blank()))))
    hidden = {name for name, defined in book.defined_names.items() if defined.hidden}
    lists = {name for name in hidden if re.fullmatch(r"WHY_LIST_\d+", name)}
    assert lists
    assert hidden - lists == {"WHY_TELL"} | {f"WHY_{e.cell_name}" for e in names.named_functions()}


def test_everything_else_in_the_workbook_stays():
    before = read_parts(blank(A1="=1+1"))
    after = names.add_names(before)
    changed = {n for n in before if before[n] != after[n]}
    assert changed == {"xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"}
    assert set(after) - set(before) == {"xl/worksheets/barfuncs_materials.xml"}


def test_adding_twice_renews_and_adds_nothing():
    once = names.add_names(blank())
    twice = names.add_names(once)
    assert once == twice


def test_a_name_in_the_way_is_said():
    book = openpyxl.Workbook()
    book.defined_names["parts_per_bar"] = DefinedName("parts_per_bar", attr_text="Sheet!$A$1")
    buffer = io.BytesIO()
    book.save(buffer)
    with pytest.raises(bf.InputError, match="parts_per_bar: is a name of this workbook already"):
        names.add_names(buffer.getvalue())


def test_the_table_of_a_job_plan_is_used_where_it_is():
    from barfuncs.templates import job_plan

    parts = names.add_names(job_plan.TEMPLATE.build())
    assert "xl/worksheets/barfuncs_materials.xml" not in parts
    book = Workbook(pack(parts))
    book.calculate()
    book.check_supported()


def test_the_ready_workbook_calculates_and_lists_every_function():
    from barfuncs.surfaces import functions_workbook

    book = Workbook(functions_workbook.build())
    book.set("A1", 144.0)
    model_call = "=PARTS_PER_BAR(A1,2.25,0.125,3)"
    book._model.update_cell_with_formula(0, 2, 1, model_call)
    book.calculate()
    assert book.value("A2") == 59
    listed = {c.value for c in openpyxl.load_workbook(io.BytesIO(functions_workbook.build()))["Functions"]["B"]}
    assert {entry.cell_name for entry in CATALOGUE.values()} <= listed
