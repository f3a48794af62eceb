"""The last sheet of a template: what inputs mean, how answers are worked out, sources, and the steps between."""

from collections.abc import Iterable, Sequence

from openpyxl import Workbook
from openpyxl.styles import Alignment

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.templates import layout
from barfuncs.templates.form import Form
from barfuncs.templates.model import Check, Missing
from barfuncs.templates.page import Page, add_page

_SOURCES = (
    "Sections from geometry with sharp corners. Densities: the source stands beside each value on the sheet Materials.",
    "Inch 25.4 mm and pound 0.45359237 kg, both exact (yard and pound agreement of 1959).",
    "Whole numbers are rounded with a tolerance of a billionth, so that 12.6 / 0.1 counts as 126.",
)


def notes_sheet(book: Workbook, form: Form, sources: Sequence[str], asked_for: Iterable[str],
                missing: Sequence[Missing], checks: Sequence[Check] = ()) -> None:
    """Everything that no other sheet shows, with all answers that have no cell yet.

    `asked_for` are the answers that must be known where the inputs they need are filled in; `missing` is what else may
    be missing. `checks` are worked out here where another sheet shows them.
    """
    page = begin_notes(book, form)
    page.heading("B:C", "How the answers are worked out")
    for name in dict.fromkeys(a.calls for a in form.answers.values() if a.calls):
        page.next_row()
        page.put("B", CATALOGUE[name].cell_name, size=9)
        page.put("C", CATALOGUE[name].summary, size=9)
    page.skip()
    page.heading("B:C", "Sources")
    for text in (*_SOURCES, *sources):
        page.next_row()
        page.put("B", text, size=9)
    page.skip()
    if checks:
        form.put_checks(page, checks, "C")
        page.skip()
    end_notes(page, book, form, asked_for, missing)


def begin_notes(book: Workbook, form: Form) -> Page:
    """The sheet with what each input means."""
    page = add_page(book, "Notes", {"A": 1.5, "B": 56, "C": 110, "D": 12}, landscape=True)
    page.sheet.page_setup.fitToHeight = 0
    page.title("Notes")
    page.skip()
    page.heading("B:C", "What each input means")
    for item in form.inputs.values():
        page.next_row()
        page.put("B", item.label)
        page.put("C", item.help[:1].upper() + item.help[1:] + ".", size=9)
    page.skip()
    return page


def end_notes(page: Page, book: Workbook, form: Form, asked_for: Iterable[str], missing: Sequence[Missing]) -> None:
    """The answers that have no cell yet, and the inputs as used."""
    sheet = page.sheet
    page.heading("B:C", "Steps between")
    first = page.row + 1
    for name in form.answers:
        if form.prefix + name not in book.defined_names:
            page.next_row()
            form.put_answer(page, name, "BCD")
            sheet[f"B{page.row}"].font = layout.font(9, color=layout.SOFT)
            sheet[f"C{page.row}"].alignment = Alignment(horizontal="left")
    page.skip()
    page.heading("B:C", "Inputs as used: the default where one is blank, an error where it is out of its limits")
    form.put_used(page, asked_for, missing)
    page.next_row()
    layout.quiet_errors(sheet, f"C{first}:C{page.row}")
    page.print_to("D")
