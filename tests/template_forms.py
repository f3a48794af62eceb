"""What the tests of the templates share: inputs put into a sheet, and what rests on an input."""

import re
from functools import cache
from typing import Any

from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Address, Workbook
from barfuncs.xlsx.sheetxml import Value


class _Sheet(Workbook):
    """A template that remembers what its cells held, so that it needs to be read only once."""

    def __init__(self, source: bytes) -> None:
        super().__init__(source)
        self._before: dict[Address, Value] = {}

    def set_at(self, address: Address, value: Value) -> None:
        if address not in self._before:
            assert not self._model.get_cell_formula(*address), f"{self.shown(address)} is a formula"
            self._before[address] = self.value_at(address)
        super().set_at(address, value)

    def clean(self) -> "_Sheet":
        for address, value in self._before.items():
            super().set_at(address, value)
        return self


@cache
def _sheet(template: str, number: int) -> _Sheet:
    return _Sheet(TEMPLATES[template].build())


_handed_out = dict.fromkeys(TEMPLATES, 0)


def in_the_sheet(template: str, inputs: dict[str, Any]) -> Workbook:
    """The template with inputs typed into its cells, unread and unchecked. The last but one that was given out is used again."""
    _handed_out[template] += 1
    book = _sheet(template, _handed_out[template] % 2).clean()
    for name, value in inputs.items():
        book.set(TEMPLATES[template].form.cells[name], value)
    book.calculate()
    return book


@cache
def _words(template: str) -> dict[str, set[str]]:
    """The words in the formula of each answer."""
    form = TEMPLATES[template].form
    return {a: set(re.findall(r"[a-z_]\w*", form.formula(answer))) for a, answer in form.answers.items()}


def resting_on(template: str, name: str) -> set[str]:
    """The answers that are worked out from an input, straight or through other answers."""
    form, words = TEMPLATES[template].form, _words(template)
    if name not in form.inputs:  # a cell of a table: its row's answers, and all that rests on a column of them
        table = next(t for t in form.tables if name.startswith(f"{t.item}_"))
        columns = {f"{form.prefix}{table.item}_{a.name}" for a in table.answers} | {f"use_{table.item}_{c.name}" for c in table.columns}
        found = {a for a in words if words[a] & columns}
    else:
        item = form.inputs[name]
        density = f"{form.prefix}density"
        cell = density if item.kind.reader == "material" else item.used
        found = {a for a in words if cell in words[a] or (cell == density and a == "density")}
    while True:
        more = {a for a in words if words[a] & {form.prefix + f for f in found}} - found
        if not more:
            return found
        found |= more
