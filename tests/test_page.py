"""Pages hand out each cell and each name once, and what a template says of its problems grows by cells, not by length."""

import dataclasses
import io

import openpyxl
import pytest
from printed import area

from barfuncs.catalogue import kinds
from barfuncs.templates import layout
from barfuncs.templates.form import Form
from barfuncs.templates.model import make_input
from barfuncs.templates.page import add_page
from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Workbook


def test_a_page_hands_each_cell_out_once():
    page = add_page(layout.new_workbook("x"), "Page", {})
    assert [page.next_row(), page.next_row(20)] == [1, 2]
    assert page.put("B", "one") == "B2"
    assert page.put("C:D", "two") == "C2:D2"
    assert page.take("F:G", 3) == "F2:G4"
    for columns in ("B", "A:C", "D", "E:F"):
        with pytest.raises(ValueError, match=r"^Page: [BCDF]2 is taken$"):
            page.put(columns, "again")
    page.next_row()
    with pytest.raises(ValueError, match=r"^Page: G3 is taken$"):
        page.take("G")
    assert page.put("B", "three") == "B3"
    assert (page.sheet["B2"].value, page.sheet["C2"].value, page.sheet.row_dimensions[2].height) == ("one", "two", 20)
    assert [str(r) for r in page.sheet.merged_cells.ranges] == ["C2:D2"]


def test_a_page_beside_takes_of_the_same_cells():
    page = add_page(layout.new_workbook("x"), "Page", {})
    page.next_row()
    page.put("B", "one")
    right = page.beside(0)
    assert right.next_row() == 1
    right.put("F", "two")
    with pytest.raises(ValueError, match=r"^Page: B1 is taken$"):
        right.put("B", "again")
    page.next_row()
    right.next_row()
    right.put("B", "there")
    with pytest.raises(ValueError, match=r"^Page: B2 is taken$"):
        page.put("A:C", "again")


def test_a_name_is_given_once():
    page = add_page(layout.new_workbook("x"), "Page", {})
    page.next_row()
    page.name("width", page.put("B", 1))
    with pytest.raises(ValueError, match=r"^Page: width is named already, 'Page'!\$B\$1$"):
        page.name("width", page.put("C", 2))


def test_an_input_that_is_put_twice_is_noticed():
    form = Form("x_", (make_input("size", "Size", kinds.Size),), ())
    page = add_page(layout.new_workbook("x"), "Page", {})
    page.next_row()
    form.put_input(page, "size", "BCD")
    page.next_row()
    with pytest.raises(ValueError, match="size is named already"):
        form.put_input(page, "size", "BCD")


@pytest.mark.parametrize("name", TEMPLATES)
def test_no_formula_grows_with_the_inputs(name):
    """What is wrong stands in a cell beside each input, and each list goes on from the cell above."""
    template = TEMPLATES[name]
    book = Workbook(template.build())
    formulas = {book.shown(address): formula for address, formula in book.formulas()}
    assert max(map(len, formulas.values())) < 8192
    for what in ("problems", "not_known", "stops", "status"):
        assert len(formulas[book.shown(book.address(f"{template.form.prefix}{what}"))]) < 900, what
    marked = [n for n, _ in template.form.marked]
    assert {n for n, item in template.form.inputs.items() if item.kind.reader != "text"} <= set(marked)
    first = book.first_cell(f"{template.form.prefix}marks")
    assert all(len(formulas[book.shown((first[0], first[1] + n, first[2]))]) < 900 for n in range(len(marked)))


def test_a_name_that_no_cell_has_is_refused(monkeypatch):
    template = TEMPLATES["job_plan"]

    def draw(book, shop):
        template.draw(book, shop)
        book["Plan"]["A1"] = '=IF(ISBLANK(bar_lenght),"bar_lenth",1)'

    with pytest.raises(NameError, match=r"^Plan!A1 speaks of bar_lenght, which is no input, answer or name of this workbook$"):
        dataclasses.replace(template, draw=draw).build()


def test_an_input_without_a_meaning_is_refused():
    with pytest.raises(ValueError, match=r"^bundle_limit is not in the glossary: give help_text$"):
        make_input("bundle_limit", "Bundle", kinds.Count)


@pytest.mark.parametrize("name", TEMPLATES)
def test_marks_are_printed(name):
    template = TEMPLATES[name]
    book = openpyxl.load_workbook(io.BytesIO(template.build()))
    for table in template.form.tables:
        sheet, _, ref = book.defined_names[table.marks].attr_text.rpartition("!")
        column = openpyxl.utils.cell.range_boundaries(ref.replace("$", ""))[0]
        assert column <= area(book, book[sheet.strip("'")])[2], table.name


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_that_is_built_again_says_the_same_of_its_marks(name):
    template = TEMPLATES[name]
    before = (list(template.form.marked), list(template.form.stops))
    again = dataclasses.replace(template)  # not the one that is kept
    again.build()
    assert (template.form.marked, template.form.stops) == before
