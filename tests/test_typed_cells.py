"""What is typed into a cell of a template and is no plain number: fractions as text, dates, everyday names of materials."""

import dataclasses
import io
import re

import openpyxl
import pytest
from formula_cases import Case, book_of, differences
from judges import JUDGES, MARKED, without_values
from openpyxl.workbook.defined_name import DefinedName
from template_forms import in_the_sheet
from test_reading import EVERYDAY

import barfuncs as bf
from barfuncs.catalogue import materials
from barfuncs.catalogue.kinds import LONGEST_ON_A_FORM
from barfuncs.catalogue.units import parse_length
from barfuncs.filling.filler import fill
from barfuncs.templates import job_plan
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook
from barfuncs.xlsx.sheetxml import CellError

READ = {
    "in": ["3/4", "1 3/8", "1-3/8", "1 - 3/8", "1\u20133/8", "10-1/2", "12 127/128", "1/64", "3/32", "2.25", ".75", "5.", "0.0625", "0", "7", '3/4"',
           '1-1/2"', '2"', "1 3/8 in", "3/4in", "2.25 in", " 3/4 ", "1  3/8"],
    "mm": ["12 1/2", "12-1/2", "19", "19.05", "19 mm", "19.05mm", "1/2"],
}
REFUSED = {
    "in": ["-3/4", "\u20133/4", "-5", "1 13/8", "3/0", "1/2/3", "1 2 3/8", "1.5 3/8", "12:30", "5%", "TRUE", "$5", "abc", " ", "2-5", "2 5", "3/4 mm",
           "3/4/26", "Jan 5", "March 4", "12 ft", "12,5", "1,375", "+5", "5/", "/5", "(5)", "=1", "1\u00b3/8", "\uff13/4", "2.3.26", "1e", "in", '"'],
    "mm": ['3/4"', "3/4 in", "19 cm", "-19", "19 x"],
}


def book_of_lengths() -> tuple[bytes, dict[str, tuple[str, str]]]:
    """Each text in a cell of its own, with the formulas that read it as in a template; the cell with the number by what it reads."""
    book = openpyxl.Workbook()
    places = {}
    size = job_plan.TEMPLATE.inputs["size"]
    for units in ("in", "mm"):
        sheet = book.create_sheet(units)
        sheet["Z1"] = units
        for row, text in enumerate((*READ[units], *REFUSED[units]), start=1):
            sheet.cell(row, 1, text).data_type = "s"
            cell = dataclasses.replace(size, name=f"A{row}")
            sheet.cell(row, 2, "=" + cell.tidy_formula().replace("use_units", "$Z$1"))
            sheet.cell(row, 3, "=" + cell.typed_formula(f"B{row}"))
            places[f"{units}!C{row}"] = (units, text)
    book.remove(book.worksheets[0])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue(), places


def misread(places, values):
    """Texts that a program reads unlike Python, or that it should refuse and does not."""
    found = []
    for cell, (units, text) in places.items():
        value = values[cell]
        if text in REFUSED[units]:
            # A date or a time that a program makes of a text is no length of a job either.
            fine = isinstance(value, CellError) or not isinstance(value, float) or value >= LONGEST_ON_A_FORM["in"]
        else:
            fine = isinstance(value, float) and value == pytest.approx(parse_length(text)[0], rel=1e-15)
        if not fine:
            found.append((text, units, value))
    return found


def test_a_text_is_read_as_a_length_in_the_engine():
    data, places = book_of_lengths()
    book = Workbook(data)
    book.calculate()
    assert misread(places, {cell: book.value(cell) for cell in places}) == []


@pytest.mark.parametrize("judge", MARKED)
def test_a_text_is_read_as_a_length_in_other_programs(judge):
    data, places = book_of_lengths()
    values = JUDGES[judge]({"book": without_values(data)})["book"]
    assert misread(places, {cell: values[cell] for cell in places}) == []


GOOD = {"material": "Steel 1215", "size": 1.0, "part_length": 2.0, "cutoff_width": 0.1, "face_to_cutoff": 0.2, "grip_length": 2.0,
        "bar_length": 144.0, "quantity": 100.0, "units": "in"}


@pytest.mark.parametrize("template", TEMPLATES)
def test_every_length_of_a_template_may_be_typed_as_a_fraction(template):
    form = TEMPLATES[template].form
    names = [name for name, item in form.inputs.items() if item.may_be_text]
    assert len(names) >= 9
    good = {name: value for name, value in GOOD.items() if name in form.inputs}
    book = in_the_sheet(template, good | dict.fromkeys(names, "1-3/8"))
    assert [book.value(f"use_{name}") for name in names] == [1.375] * len(names)
    book = in_the_sheet(template, good | dict.fromkeys(names, "three"))
    assert [str(book.value(f"use_{name}")) for name in names] == ["#N/A"] * len(names)


def test_a_plan_of_typed_fractions_is_the_plan_of_the_numbers():
    typed = in_the_sheet("job_plan", GOOD | {"size": '3/4"', "part_length": "1 3/8", "cutoff_width": "1/8", "facing": "1/64", "bar_length": "144"})
    plain = in_the_sheet("job_plan", GOOD | {"size": 0.75, "part_length": 1.375, "cutoff_width": 0.125, "facing": 1 / 64})
    assert typed.value("plan_parts_per_bar") == plain.value("plan_parts_per_bar") == bf.parts_per_bar(144, 1.375, 0.125, 2.2, 1 / 64)
    for answer in ("bars", "bar_weight", "remnant", "status"):
        assert typed.value(f"plan_{answer}") == plain.value(f"plan_{answer}")


@pytest.mark.parametrize("template", TEMPLATES)
@pytest.mark.parametrize(("units", "value", "words"), [
    ("in", 46085.0, r"\bsize \(longer than any bar; where 3/4 became a date type =3/4 or 0 3/4\)"),  # 3/4 typed in 2026
    ("in", 11749.0, r"\bsize \(longer than any bar; "),  # 3/32 typed: March 1932
    ("mm", 46085.0, r"\bsize \(longer than any bar; "),
    ("in", "12 ft", r"\bsize \(can't be read; write a number or a fraction such as 1 3/8\)"),
    ("in", -1.0, r"\bsize[,.]"), ("in", True, r"\bsize[,.]"), ("in", None, r"\bsize[,.]"),
])
def test_what_is_no_length_is_told(template, units, value, words):
    book = in_the_sheet(template, {k: v for k, v in GOOD.items() if k in TEMPLATES[template].inputs} | {"units": units, "size": value})
    form = TEMPLATES[template].form
    assert isinstance(book.value("use_size"), CellError)
    assert re.search(words, str(book.value(f"{form.prefix}status")))


def test_a_bar_of_a_metric_shop_is_no_date():
    assert in_the_sheet("job_plan", GOOD | {"units": "mm", "bar_length": 12000.0}).value("use_bar_length") == 12000
    assert max(LONGEST_ON_A_FORM.values()) < 36526  # 2000-01-01 as a spreadsheet counts days


def test_a_list_is_told_too():
    job = {name: value for name, value in GOOD.items() if name != "units"}
    with pytest.raises(bf.InputError, match=r"bar_length: is not allowed here \(longer than any bar; "):
        fill("job_plan", job | {"bar_length": 46085})


@pytest.mark.parametrize("template", TEMPLATES)
def test_the_check_of_a_length_cell_lets_a_text_through_and_stops_a_date(template):
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATES[template].build()))
    form = TEMPLATES[template].form
    names = [name for name, item in form.inputs.items() if item.may_be_text]
    checked = 0
    for name in names:
        title, ref = book.defined_names[name].attr_text.replace("'", "").replace("$", "").split("!")
        check = next(v for v in book[title].data_validations.dataValidation if ref in v.sqref)
        assert (check.type, check.showErrorMessage) == ("custom", True)
        assert "becomes a date" in check.error
        assert check.prompt.endswith("(3/4 alone becomes a date)"), name
        sheet = openpyxl.Workbook()
        sheet.defined_names["longest_length"] = DefinedName("longest_length", attr_text="Sheet!$Z$1")
        sheet.active["Z1"] = LONGEST_ON_A_FORM["in"]
        for row, value in enumerate((0.75, "3/4", 46085, 11749, -1, 9999), start=1):
            sheet.active.cell(row, 1, value)
            sheet.active.cell(row, 2, "=" + check.formula1.replace(ref, f"A{row}"))
        buffer = io.BytesIO()
        sheet.save(buffer)
        calc = Workbook(buffer.getvalue())
        calc.calculate()
        assert [calc.value(f"B{row}") for row in range(1, 7)] == [True, True, False, False, False, True], name
        checked += 1
    assert checked >= 9


# --- materials -----------------------------------------------------------------------------------------------------

IN_THE_SHEET = ["303 stainless", "SS303", "Stainless Steel 303", "X8CrNiS18-9", "17-4 PH", "17-4PH", "360 brass", "C360", "Ti-6Al-4V", "6061-T6",
                "6061 aluminum", "nickel 718", "12L14 steel", "1018 CRS", "304/304L", "316L", "4140 prehard", "440C", "A2", "acetal", "nylon", "PEEK",
                "bronze 932", "C93200", "naval brass", "C464", "2024-T351", "7075-T6", "Grade 5 titanium", "CP titanium grade 2", "alloy 36", "K93600",
                "uns s30300", "1.4305"]
NUMBERS = {303.0: "Stainless 303", 304.0: "Stainless 304", 316.0: "Stainless 316", 1018.0: "Steel 1018", 4140.0: "Steel 4140",
           6061.0: "Aluminum 6061", 360.0: "Brass C36000"}
NO_MATERIAL = ["303 brass", "30*", "3?3", "303~", "Stainless*", "174", "630", "unobtainium", "", " ", "1.4600", 174.0, 630.0, 303.5, 1.4305, 99.0]


def test_everyday_names_are_found_in_the_sheet():
    book = in_the_sheet("job_plan", GOOD)
    for text in IN_THE_SHEET:
        book.set("material", text)
        book.calculate()
        assert book.value("plan_material_name") == materials.builtin()[text].name, text
        assert book.value("plan_density") == pytest.approx(bf.material_density(text), rel=1e-12)
    assert {name for text in IN_THE_SHEET for name, texts in EVERYDAY.items() if text in texts.split("|")} <= set(EVERYDAY)


@pytest.mark.parametrize("units", ["in", "mm"])
def test_a_number_in_the_material_cell_is_a_designation_or_a_density(units):
    book = in_the_sheet("job_plan", GOOD | {"units": units})
    for number, name in NUMBERS.items():
        book.set("material", number)
        book.calculate()
        assert book.value("plan_material_name") == name
        assert book.value("plan_density") == pytest.approx(bf.material_density(name, units), rel=1e-12)
    book.set("material", 7.85 if units == "mm" else 0.2836)
    book.calculate()
    assert book.value("plan_material_row") == 0
    assert book.value("plan_density") == (7.85 if units == "mm" else 0.2836)


def test_what_names_no_material_has_no_density_in_the_sheet():
    book = in_the_sheet("job_plan", GOOD | {"units": "mm"})
    for value in NO_MATERIAL:
        book.set("material", value)
        book.calculate()
        assert isinstance(book.value("plan_density"), CellError), value
        assert "material" in str(book.value("plan_status"))


@pytest.mark.parametrize("judge", MARKED)
def test_other_programs_find_the_same_materials(judge):
    """In the formula of the function, over the same table of spellings."""
    values = [*IN_THE_SHEET, *NUMBERS, *(value for value in NO_MATERIAL if value)]  # a text of no length is a blank to some
    cases = [Case(bf.CATALOGUE["material_density"], (value, units)) for value in values for units in ("in", "mm")]
    found = JUDGES[judge]({"book": without_values(book_of(cases))})["book"]
    assert differences(cases, [found[f"Sheet!A{row}"] for row in range(1, len(cases) + 1)], lambda v: isinstance(v, CellError)) == []
    assert len({case.expected() for case in cases}) > 20


def test_a_row_of_the_shops_own_counts_whatever_the_spelling():
    book = in_the_sheet("job_plan", GOOD | {"material": "360 brass"})
    assert book.value("plan_density") == pytest.approx(bf.material_density("C36000"), rel=1e-12)
    sheet, row, column = book.first_cell("own_material_names")
    book.set_at((sheet, row, column), "Brass C36000")
    book.set_at((sheet, row, book.first_cell("own_material_densities")[2]), 8.0)
    for text in ("360 brass", "Brass C36000", "C360"):
        book.set("material", text)
        book.calculate()
        assert book.value("plan_density") == pytest.approx(8.0 * bf.material_density("Steel 1215") / 7.87, rel=1e-12)


@pytest.mark.parametrize(("material", "word", "sentence"), [
    (0.284, "! LOOK", "Not in the materials table: cautions are not known here. Ask for the safety data sheet."),
    ("Shop alloy", "! LOOK", "Not in the materials table: cautions are not known here"),
    ("Steel 1215", "\u2713 OK", "No caution in the materials table"),
    ("naval brass", "! LOOK", "May hold up to 0.2 % lead (REACH names 0.1 %), which its standard allows: ask the supplier"),
    ("C360", "! LOOK", "Contains lead"),
])
@pytest.mark.parametrize("template", TEMPLATES)
def test_what_is_known_of_the_material_is_said(template, material, word, sentence):
    good = {name: value for name, value in GOOD.items() if name in TEMPLATES[template].inputs}
    book = in_the_sheet(template, good | {"material": material})
    sheet, row, column = book.first_cell("own_material_names")
    book.set_at((sheet, row, column), "Shop alloy")
    book.set_at((sheet, row, book.first_cell("own_material_densities")[2]), 8.0)
    book.calculate()
    prefix = TEMPLATES[template].form.prefix
    first = book.first_cell(f"{prefix}check_words")
    found = [(book.value_at((first[0], line, first[2])), str(book.value_at((first[0], line, first[2] + 1)))) for line in range(first[1], first[1] + 40)]
    assert any(said == word and sentence in text for said, text in found if text.startswith("Material: ")), found
