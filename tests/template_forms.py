"""What the tests of the templates share: inputs put into a sheet, what rests on an input, values as another program sees them."""

import io
import re
from pathlib import Path
from typing import Any

import openpyxl

from barfuncs.workbooks.engine import Workbook
from barfuncs.workbooks.fill import TEMPLATES
from barfuncs.workbooks.sheetxml import CellError


def in_the_sheet(template: str, inputs: dict[str, Any]) -> Workbook:
    """The template with inputs typed into its cells, unread and unchecked."""
    book = Workbook(TEMPLATES[template].build())
    for name, value in inputs.items():
        book.set(name, value)
    book.calculate()
    return book


def resting_on(template: str, name: str) -> set[str]:
    """The answers that are worked out from an input, straight or through other answers."""
    form = TEMPLATES[template].FORM
    item = TEMPLATES[template].ALL_INPUTS[name]
    density = f"{form.prefix}density"
    cell = density if item.kind.reader == "material" else item.used if name in form.inputs else name
    words = {a: set(re.findall(r"[a-z_]\w*", form.formula(answer))) for a, answer in form.answers.items()}
    found = {a for a in words if cell in words[a] or (cell == density and a == "density")}
    while True:
        more = {a for a in words if words[a] & {form.prefix + f for f in found}} - found
        if not more:
            return found
        found |= more


def stripped(data: bytes) -> bytes:
    """The workbook without any calculated value, so that a program that shows stored values has none to show."""
    book = openpyxl.load_workbook(io.BytesIO(data))
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def named(template: str, path: Path) -> dict[str, Any]:
    """The stored values of a template's answers, by name."""
    book = openpyxl.load_workbook(path, data_only=True)
    prefix, values = TEMPLATES[template].FORM.prefix, {}
    for name, item in book.defined_names.items():
        sheet, _, ref = item.attr_text.rpartition("!")
        if name.startswith(prefix) and ":" not in ref:
            value = book[sheet.strip("'")][ref.replace("$", "")].value
            value = float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value
            values[name.removeprefix(prefix)] = CellError(value) if str(value).startswith("#") else value
    return values
