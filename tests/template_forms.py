"""What the tests of the templates share: inputs put into a sheet, and what rests on an input."""

import re
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from barfuncs.templates.registry import TEMPLATES
from barfuncs.xlsx.engine import Address, Workbook
from barfuncs.xlsx.sheetxml import Value


class _Sheet(Workbook):
    """A template that remembers what its cells held, so that it needs to be read only once."""

    def __init__(self, source: bytes) -> None:
        super().__init__(source, direct=True)
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
def _rests_on(template: str) -> dict[str, set[str]]:
    """By answer, those of a table's rows too: the inputs and answers that its formula speaks of."""
    form = TEMPLATES[template].form
    meant: dict[str, set[str]] = {item.used: {name} for name, item in form.inputs.items()}
    # Of the other inputs that the part stands in for, the good inputs have one of their own.
    meant |= {f"use_{name}": {name, drawn} for name, drawn in (("part_length", "drawn_length"), ("part_weight", "finished_weight"))}
    meant |= {form.prefix + name: {name} for name in form.answers}
    found: dict[str, set[str]] = {}
    for table in form.tables:
        rows = range(1, table.rows + 1)
        meant |= {f"{'use_' if table.counted else ''}{table.item}_{c.name}": {table.row_name(n, c.name) for n in rows} for c in table.columns}
        meant |= {f"{form.prefix}{table.item}_{a.name}": {table.row_name(n, a.name) for n in rows} for a in table.answers}
        for answer in table.answers:
            words = _names(answer.formula) if answer.formula else {*dict(answer.refs).values(), "units"}
            for n in rows:
                found[table.row_name(n, answer.name)] = {
                    table.row_name(n, word.removeprefix(f"{table.item}_")) if word.startswith(f"{table.item}_") else word
                    for word in words}
    for name, answer in form.answers.items():
        found[name] = set().union(*(meant.get(word, set()) for word in _names(form.formula(answer))))
        if f"{form.prefix}density" in _names(form.formula(answer)) or name == "density":
            found[name].add("material")
    return found


def _names(formula: str) -> set[str]:
    return set(re.findall(r"[a-z_]\w*", re.sub(r'"[^"]*"', "", formula)))


def resting_on(template: str, name: str) -> set[str]:
    """The answers that are worked out from an input, straight or through other answers."""
    rests_on = _rests_on(template)
    found, more = set(), {name}
    while more:
        more = {answer for answer, words in rests_on.items() if words & more} - found
        found |= more
    return found


def never_given(template: str, jobs: Iterable[Mapping[str, Any]]) -> set[str]:
    """Inputs that are no text, and columns of tables, that none of the jobs gives: no comparison sees what rests on them."""
    form = TEMPLATES[template].form
    given = {name for job in jobs for name, value in job.items() if value is not None}
    wanted = {name: {name} for name, item in form.inputs.items() if item.kind.reader != "text"}
    wanted |= {f"{table.name}: {c.name}": {table.row_name(n, c.name) for n in range(1, table.rows + 1)}
               for table in form.tables for c in table.columns if c.kind.reader != "text"}
    return {name for name, spelled in wanted.items() if not spelled & given}


def answer_cell(template: str, name: str) -> str:
    """The reference of an answer's cell."""
    return TEMPLATES[template].form.answer_cells()[name]
