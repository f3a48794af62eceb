"""A template as an object: all that filling, lists and the command line ask of it, so that none of them knows it by name."""

import functools
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from openpyxl import Workbook

from barfuncs.templates import layout
from barfuncs.templates.form import Form
from barfuncs.templates.model import LOOK, STOP, Across, Check, Input, Problems, Values
from barfuncs.templates.shop import Shop, paper_for
from barfuncs.xlsx.package import pack
from barfuncs.xlsx.sheetxml import CellError

CHECKS_SAID = {"checks_stop": STOP, "checks_look": LOOK}
"""Heads of the results under which the topics of checks stand, and the word that those say."""
_IDENTITY = ("job", "customer", "part_number", "units", "material", "shape", "size")


@dataclass(frozen=True)
class Head:
    """The head of a column on the terminal; a line break in it is kept."""

    text: str
    right: bool = True
    may_fold: bool = False


@dataclass(frozen=True)
class TerminalColumn:
    """A column of a template's table on the terminal: its head, and the text of a cell from a line of the results."""

    head: str
    text: Callable[[Values], str]
    right: bool = True


@dataclass(frozen=True)
class Terminal:
    """How the jobs of a list look on the terminal: one column for each of `columns`, or heads and cells as `table` makes
    them of all lines of the results."""

    columns: tuple[TerminalColumn, ...] = ()
    table: Callable[[Sequence[Values]], tuple[list[Head], list[list[str]]]] | None = None

    def table_of(self, lines: Sequence[Values]) -> tuple[list[Head], list[list[str]]]:
        if self.table:
            return self.table(lines)
        return [Head(c.head, c.right) for c in self.columns], [[c.text(line) for c in self.columns] for line in lines]


@dataclass(frozen=True)
class SpreadOption:
    """Inputs that one option of the command line gives for every row of a list, one after the other: 100,250,500."""

    option: str
    inputs: tuple[str, ...]
    read: Callable[[str], Sequence[Any]]
    help: str


@dataclass(frozen=True)
class ForCustomer:
    """What a filled template says to the customer: `said` makes it of these inputs and answers, by the names of a quotation, with
    its lines as `lines`. It raises ValueError with what can't be said."""

    inputs: tuple[str, ...]
    answers: tuple[str, ...]
    said: Callable[[Values, Values], dict[str, Any]]
    prices: tuple[tuple[str, str], ...] = ()
    """Of the answers those that are amounts of money, each with what it is called."""
    number: str = "quote_number"
    """The input by which several become one quotation."""


def no_problems(*_: Any) -> Problems:
    return []


@dataclass(frozen=True, eq=False)
class Template:
    """One template workbook.

    `draw` puts its sheets into an empty workbook, filled with a shop's data where there is one. `results` are the answers that
    go into a table of results, `more_inputs` the inputs that stand there besides those that say which job it is.
    `rules` hold between inputs and are asked before anything is calculated, `objections` what the answers tell.
    """

    name: str
    title: str
    form: Form
    checks: tuple[Check, ...]
    draw: Callable[[Workbook, Shop | None], None]
    results: tuple[str, ...]
    terminal: Terminal
    help: str
    """What the command says of itself: one line, a blank line, the rest."""
    done: str = "filled"
    """What a job of a list is when it is done: planned, quoted."""
    more_inputs: tuple[str, ...] = ()
    rules: tuple[Across, ...] = ()
    objections: Callable[[Values, Values], Problems] = no_problems
    more_results: Callable[[Values, Values, Shop | None], dict[str, Any]] = lambda inputs, answers, shop: {}
    """Results of a list that no cell works out."""
    stop_is_problem: bool = False
    """Whether a list leaves out a job at which a check says stop: what goes to a customer is not looked at again."""
    pages: tuple[str, ...] = ()
    """The sheets that are printed with the workbook, the others only when they are asked for; none: all. They come first in it,
    since Excel leaves out blank pages at the end."""
    still_sheets: tuple[str, ...] = ()
    """Sheets with formulas that no input bears on: they are calculated once."""
    draw_customer_page: Callable[[Workbook], None] | None = None
    """Draws the page that goes to the customer as a file of its own."""
    for_customer: ForCustomer | None = None
    """What goes into a quotation."""
    spread: tuple[SpreadOption, ...] = ()
    names_file: tuple[str, ...] = ("job", "part_number")
    """Inputs that a workbook of a list is called by."""
    aliases: Mapping[str, str] = field(default_factory=dict)
    """Everyday names of its own inputs over a column of a list, separated by ", "."""

    @property
    def inputs(self) -> Mapping[str, Input]:
        """Every input that a job may give, by name; those of a table's rows too."""
        return self.form.all_inputs

    @property
    def identity(self) -> tuple[str, ...]:
        """The inputs that say in a table of results which job a line is."""
        return tuple(name for name in (*_IDENTITY, *self.more_inputs) if name in self.inputs)

    def build(self, shop: Shop | None = None) -> bytes:
        """The template as the bytes of an xlsx file, without calculated values. The same on every day and machine.

        `shop` fills its sheet Shop, from which a job picks its machine, prices and rates.
        """
        return _built(self, shop)

    def customer_page(self) -> Workbook | None:
        """A workbook that has the customer's page alone, or None where there is no such page."""
        if self.draw_customer_page is None:
            return None
        book = layout.new_workbook(self.title)
        self.draw_customer_page(book)
        book.properties.title = book.worksheets[0].title
        return book

    def values_for_results(self, inputs: Values, answers: Values, checks: Mapping[str, str], shop: Shop | None) -> dict[str, Any]:
        """What a workbook shows in its line of a table of results; what is not known is blank. `checks` has by topic the word of each."""
        known = {**inputs, **{name: answers[name] for name in (*self.results, "status")}}
        shown = {name: known.get(name) for name in (*self.identity, *self.results, "status")}
        shown |= self.more_results(inputs, answers, shop)
        shown |= {head: ", ".join(topic for topic, said in checks.items() if said == word) or None for head, word in CHECKS_SAID.items()}
        if shop and shop.file:
            shown["shop_file"] = str(shop.file)
        return {name: None if value == "-" or isinstance(value, CellError) else value for name, value in shown.items()}


@functools.lru_cache(maxsize=16)
def _built(template: Template, shop: Shop | None) -> bytes:
    book = layout.new_workbook(template.title)
    template.draw(book, shop)
    _refuse_unknown_names(book)
    for sheet in book.worksheets:
        if template.pages and sheet.title not in template.pages and sheet.sheet_state == "visible":
            layout.print_when_asked_for(book, sheet)
        sheet.page_setup.paperSize = layout.PAPERS[paper_for(shop.units if shop else "in", shop)]
    layout.select_first_inputs(book)
    return pack(layout.parts_of(book))


_QUOTED = re.compile("\"[^\"]*\"|'[^']*'")
_NAME = re.compile(r"\b[a-z_][a-z_0-9]*\b(?!\()")


def _refuse_unknown_names(book: Workbook) -> None:
    """Raise NameError for a formula that speaks of a name which no cell has: it would be an error that a check may hide."""
    known = {name.lower() for name in book.defined_names}
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    unknown = set(_NAME.findall(_QUOTED.sub("", str(cell.value)))) - known
                    if unknown:
                        raise NameError(f"{sheet.title}!{cell.coordinate} speaks of {', '.join(sorted(unknown))}, "
                                        "which is no input, answer or name of this workbook")


def number_shown(value: Any, digits: int = 0) -> str:
    """A number on the terminal; what is not known is a dash."""
    return "-" if value is None or isinstance(value, (CellError, str)) else f"{value:,.{digits}f}"


def money_shown(value: float) -> str:
    """An amount with two decimals; small prices have up to four."""
    text = f"{value:,.2f}"
    return text if value >= 100 or float(f"{value:.4f}") == float(f"{value:.2f}") else f"{value:,.4f}"


def status_word(answers: Values) -> str:
    """The sign and the word that a status begins with."""
    return " ".join(str(answers["status"]).split()[:2])
