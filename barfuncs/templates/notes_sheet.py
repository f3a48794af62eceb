"""The last sheet of a template: what inputs mean, how answers are worked out, sources, and the steps between."""

from collections.abc import Iterable, Sequence

from openpyxl import Workbook
from openpyxl.styles import Alignment

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.templates import layout
from barfuncs.templates.model import Form

_SOURCES = (
    "Sections from geometry with sharp corners. Densities: the source stands beside each value on the sheet Materials.",
    "Inch 25.4 mm and pound 0.45359237 kg, both exact (yard and pound agreement of 1959).",
    "Whole numbers are rounded with a tolerance of a billionth, so that 12.6 / 0.1 counts as 126.",
)


def notes_sheet(book: Workbook, form: Form, sources: Sequence[str], asked_for: Iterable[str],
                missing: Sequence[tuple[str, str]]) -> None:
    """Everything that no other sheet shows, with all answers that have no cell yet.

    `asked_for` are the answers that must be known where the inputs they need are filled in; `missing` is what else may
    be missing: (condition, label).
    """
    sheet = layout.add_sheet(book, "Notes", {"A": 1.5, "B": 46, "C": 92, "D": 10})
    sheet.page_setup.fitToHeight = 0
    layout.put(sheet, "B1", "Notes", size=18, bold=True, color=layout.ACCENT)
    row = 3
    layout.heading(sheet, "B", "C", row, "What each input means")
    for item in form.inputs.values():
        row += 1
        layout.put(sheet, f"B{row}", item.label)
        layout.put(sheet, f"C{row}", item.help[:1].upper() + item.help[1:] + ".", size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "How the answers are worked out")
    for name in dict.fromkeys(a.calls for a in form.answers.values() if a.calls):
        row += 1
        layout.put(sheet, f"B{row}", CATALOGUE[name].cell_name, size=9)
        layout.put(sheet, f"C{row}", CATALOGUE[name].summary, size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "Sources")
    for text in (*_SOURCES, *sources):
        row += 1
        layout.put(sheet, f"B{row}", text, size=9)
    row += 2
    layout.heading(sheet, "B", "C", row, "Steps between")
    first = row + 1
    for name in form.answers:
        if form.prefix + name not in book.defined_names:
            row += 1
            form.put_answer(book, sheet, name, "BCD", row)
            sheet[f"B{row}"].font = layout.font(9, color=layout.SOFT)
            sheet[f"C{row}"].alignment = Alignment(horizontal="left")
    for name, label, formula in (
        ("stops", "checks that say stop", form.stops),
        ("problems", "inputs to fill in or correct", form.problems(*missing)),
        ("not_known", "answers that can't be worked out", f'IF({form.prefix}problems="",{form.not_known(asked_for)},"")'),
    ):
        row += 1
        layout.put(sheet, f"B{row}", label, size=9, color=layout.SOFT)
        layout.style_answer(sheet, f"C{row}", "text")
        sheet[f"C{row}"].value = f"={formula}"
        sheet[f"C{row}"].alignment = Alignment(horizontal="left", vertical="top", wrap_text=True)
        layout.name_cell(book, form.prefix + name, sheet, f"C{row}")
    row += 2
    layout.heading(sheet, "B", "C", row, "Inputs as used: the default where one is blank, an error where it is out of its limits")
    row = form.put_used(book, sheet, "BCEF", row + 1)
    layout.quiet_errors(sheet, f"C{first}:C{row}")
    sheet.print_area = f"A1:D{row}"
