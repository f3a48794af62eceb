"""What holds for every template and every ready-made workbook: built files, plain formulas, limits, locks."""

import io
import re
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pytest
from job_generator import GOOD_INPUTS

from barfuncs.filling.filler import fill
from barfuncs.surfaces.ready_made import READY_MADE
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.package import read_parts

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("name", READY_MADE)
def test_the_committed_template_is_a_fresh_build(name):
    committed = read_parts(ROOT / "workbook_templates" / f"{name}.xlsx")
    fresh = read_parts(READY_MADE[name]())
    assert list(committed) == list(fresh)
    for part in fresh:
        # Canonical XML, since namespaces are declared in other places where lxml is installed.
        assert ElementTree.canonicalize(committed[part], rewrite_prefixes=True) == ElementTree.canonicalize(
            fresh[part], rewrite_prefixes=True), f"{part}: run barfuncs templates workbook_templates --replace"


@pytest.mark.parametrize("name", TEMPLATES)
def test_filling_leaves_everything_but_values_as_it_was(name):
    """Charts, validations and styles: the file with its values taken out again is the template."""
    template, filled = read_parts(TEMPLATES[name].build()), read_parts(fill(name, GOOD_INPUTS[name]).data)
    assert set(template) == set(filled)
    for part, xml in template.items():
        if not part.startswith("xl/worksheets/sheet"):
            assert filled[part] == xml
            continue
        assert skeleton(filled[part]) == skeleton(xml), part


def skeleton(xml: bytes) -> bytes:
    """A sheet without the values of its cells."""
    xml = re.sub(rb"<(v|is)>.*?</\1>", b"", xml)
    xml = re.sub(rb'(<c [^<>]*?) t="\w+"', rb"\1", xml)
    return re.sub(rb"<c ([^<>]*)></c>", rb"<c \1/>", xml)


HALF = {"job_plan": {"units": "in", "size": 1.0, "part_length": 2.0, "quantity": 100.0, "tool_1_what": "drill", "section_1_size": 1.0},
        "quote": {"units": "mm", "size": 20.0, "quantity_1": 100.0, "quantity_2": 5.0, "machine_rate": 80.0, "aql": 1.0, "box_parts": 10.0,
                  "op_1_start_diameter": 20.0, "op_2_operation": "turning", "proc_1_rate": 2.0}}


@pytest.mark.parametrize("inputs", ["none", "half", "all needed"])
@pytest.mark.parametrize("name", TEMPLATES)
def test_an_error_is_written_in_the_colour_of_the_ground(name, inputs):
    """What is not known or not asked for shows nothing; the cell stays an error."""
    form = TEMPLATES[name].form
    needed = {i.name: GOOD_INPUTS[name][i.name] for i in form.inputs.values() if i.needed and i.default is None}
    given = {"none": {}, "half": HALF[name], "all needed": needed}[inputs]
    book = Workbook(TEMPLATES[name].build())
    for item, value in given.items():
        book.set(form.cells[item], value)
    book.calculate()
    assert shown_errors(book.to_bytes()) == []


def test_an_error_elsewhere_would_be_seen():
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES["job_plan"].build()))
    plan = book["Plan"]
    plan["J5"] = "=NA()"
    at = book.defined_names["plan_parts_per_bar"].attr_text.rpartition("!")[2].replace("$", "")
    plan[at].fill = openpyxl.styles.PatternFill("solid", start_color="FBF4E4")
    buffer = io.BytesIO()
    book.save(buffer)
    calculated = Workbook(buffer.getvalue())
    calculated.calculate()
    assert shown_errors(calculated.to_bytes()) == ["Plan!J5", f"Plan!{at}"]


def shown_errors(data: bytes) -> list[str]:
    """Cells whose error somebody sees: with no rule that writes it in white, or on another ground."""
    found = []
    for sheet in openpyxl.load_workbook(io.BytesIO(data), data_only=True):
        hidden = set()
        for area in sheet.conditional_formatting:
            for rule in area.rules:
                if rule.dxf.font and rule.dxf.font.color and rule.dxf.font.color.rgb == "00FFFFFF" and "ISERROR" in rule.formula[0]:
                    hidden |= {cell for cells in area.sqref.ranges for row in cells.rows for cell in row}
        for row in sheet.iter_rows():
            found += [f"{sheet.title}!{cell.coordinate}" for cell in row if cell.data_type == "e"
                      and ((cell.row, cell.column) not in hidden or cell.fill.fill_type)]
    return found


VOLATILE = ("NOW", "TODAY", "RAND", "RANDBETWEEN", "RANDARRAY", "OFFSET", "INDIRECT", "CELL", "INFO")
"""Functions whose value depends on when or where the sheet is opened."""
NEW = ("LET", "LAMBDA", "XLOOKUP", "XMATCH", "IFS", "SWITCH", "TEXTJOIN", "CONCAT", "MAXIFS", "MINIFS", "FILTER", "SORT", "UNIQUE",
       "SEQUENCE")
"""Functions that a spreadsheet program of some years ago does not have."""


def functions_of(name: str) -> set[str]:
    """Every function that a workbook calls, in cells, names, checks of inputs and conditional formats."""
    found: set[str] = set()
    for part, xml in read_parts(READY_MADE[name]()).items():
        if part.startswith("xl/worksheets/") or part == "xl/workbook.xml":
            for formula in re.findall(rb"<(?:f|formula|formula1|formula2|definedName)\b[^<>]*>([^<]*)<", xml):
                text = re.sub(r'"(?:[^"]|"")*"', "", formula.decode().replace("&quot;", '"'))
                found |= {word.upper() for word in re.findall(r"([A-Za-z_][\w.]*)\(", text)}
    return found


@pytest.mark.parametrize("name", READY_MADE)
def test_no_value_depends_on_when_or_how_the_workbook_is_opened(name):
    assert not functions_of(name) & set(VOLATILE)
    for part, xml in read_parts(READY_MADE[name]()).items():
        if part == "xl/workbook.xml":
            assert b'iterate="1"' not in xml
            assert b'fullPrecision="0"' not in xml


@pytest.mark.parametrize("name", TEMPLATES)
def test_the_template_is_plain_enough_for_old_programs(name):
    used = functions_of(name)
    assert len(used) > 15
    assert not used & set(NEW)
    assert not [f for f in used if f.startswith("_XL")]
    parts = read_parts(TEMPLATES[name].build())
    assert not any("comments" in n or "vba" in n or "externalLink" in n for n in parts)


def test_no_template_calls_a_function_that_the_job_plan_does_not():
    known = functions_of("job_plan")
    # The chart's order of quantities, the point of a drill, the row of the speeds, words of a note, dates of the customer's page,
    # the plan of a sample.
    more = {"SMALL", "COUNT", "SUM", "TAN", "LOG", "LOWER", "MODE", "DATE", "YEAR", "MONTH", "DAY", "CHOOSE"}
    assert functions_of("quote") <= known | more


@pytest.mark.parametrize("name", TEMPLATES)
def test_formulas_stay_within_the_limits_of_a_spreadsheet(name):
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES[name].build()))
    formulas = [c.value for sheet in book for row in sheet.iter_rows() for c in row if c.data_type == "f"]
    assert len(formulas) > 100
    for formula in formulas:
        assert len(formula) <= 8192
        assert all(len(text) <= 255 for text in re.findall(r'"((?:[^"]|"")*)"', formula)), formula
        depth = most = 0
        for mark in re.sub(r'"(?:[^"]|"")*"', "", formula):
            depth += (mark == "(") - (mark == ")")
            most = max(most, depth)
        assert most <= 64
        assert depth == 0
    for sheet in book:
        for check in sheet.data_validations.dataValidation:
            assert len(check.prompt) <= 255
            assert len(check.promptTitle) <= 32
            assert len(check.error) <= 255
            assert not check.formula1.startswith("=")


@pytest.mark.parametrize("name", TEMPLATES)
def test_inputs_are_open_and_formulas_locked_without_a_password(name):
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES[name].build()))
    open_cells = set()
    for sheet in book:
        assert sheet.protection.sheet
        assert sheet.protection.password is None
        for row in sheet.iter_rows():
            for cell in row:
                if not cell.protection.locked:
                    open_cells.add((sheet.title, cell.coordinate))
                    assert cell.data_type != "f"
    form = TEMPLATES[name].form
    for item in (*form.inputs, *(f"{table.item}_{c.name}" for table in form.tables for c in table.columns)):
        sheet, _, ref = book.defined_names[item].attr_text.rpartition("!")
        for cells in openpyxl.utils.cell.rows_from_range(ref.replace("$", "")):
            assert {(sheet.strip("'"), cell) for cell in cells} <= open_cells


@pytest.mark.parametrize("name", TEMPLATES)
def test_names_and_the_cells_in_their_place_give_the_same(name):
    """`fill` has cells in the place of names while it calculates; the file has the names."""
    filled = fill(name, GOOD_INPUTS[name]).data
    fast, plain = Workbook(filled, direct=True), Workbook(filled)
    values, formulas = [], []
    for book in (fast, plain):
        book.calculate()
        formulas.append(dict(book.formulas()))
        values.append({address: book.value_at(address) for address in formulas[-1]})
    assert values[0] == values[1]
    assert sum(formulas[0][address] != formula for address, formula in formulas[1].items()) > 300


@pytest.mark.parametrize("name", TEMPLATES)
def test_every_answer_is_named_once_and_hides_no_function(name):
    from barfuncs.catalogue.entry import CATALOGUE

    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES[name].build()))
    names = [n.lower() for n in book.defined_names]
    assert len(set(names)) == len(names)
    assert not set(names) & set(CATALOGUE)
    form = TEMPLATES[name].form
    assert {form.prefix + a for a in form.answers} <= set(names)
