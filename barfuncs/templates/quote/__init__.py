"""Template quote: cycle time from an operation list, cost build-up at six quantities, what-ifs, a page for the customer."""

from collections.abc import Sequence

from openpyxl import Workbook

from barfuncs.functions.cost import read_quantities
from barfuncs.templates import part_sheet, speeds_sheet
from barfuncs.templates.bar_data_sheet import bar_data_sheet
from barfuncs.templates.every_order import ALL_FIRST_PARTS, NO_WHOLE_PART, PART_TOO_HEAVY, RULES
from barfuncs.templates.materials_sheet import materials_sheet
from barfuncs.templates.model import Problems, Values
from barfuncs.templates.notes_sheet import notes_sheet
from barfuncs.templates.quote.checks import CHECKS, COSTS, CREDIT_TOO_HIGH, MORE_PROBLEMS
from barfuncs.templates.quote.form import FORM, RESULTS
from barfuncs.templates.quote.inputs import BREAKS, QUANTITIES
from barfuncs.templates.quote.pages import (
    costing_sheet,
    customer_sheet,
    more_costs_sheet,
    operations_sheet,
    prices_sheet,
)
from barfuncs.templates.quote.said import SAID_ANSWERS, SAID_INPUTS, SAID_PRICES, said
from barfuncs.templates.shop import Shop
from barfuncs.templates.shop_sheet import shop_sheet, worked_out_with
from barfuncs.templates.template import (
    ForCustomer,
    Head,
    SpreadOption,
    Template,
    Terminal,
    money_shown,
    number_shown,
    status_word,
)
from barfuncs.xlsx.sheetxml import CellError


def _objections(inputs: Values, answers: Values) -> Problems:
    """Why these inputs give no quote: (input, reason)."""
    if answers["parts_per_bar"] == 0:
        return [("part_length", NO_WHOLE_PART)]
    if answers["good_per_bar"] == 0:
        return [("first_parts_scrapped", ALL_FIRST_PARTS)]
    if inputs["part_weight"] is not None and isinstance(answers["each_weight"], CellError):
        return [("part_weight", PART_TOO_HEAVY)]
    if too_heavy := part_sheet.objections(answers, "each_weight"):
        return too_heavy
    if inputs["margin"] is not None and inputs["markup"] is not None and inputs["margin"] * inputs["markup"]:
        return [("markup", "give a margin or a markup, not both")]
    for n in BREAKS:
        if inputs[f"quantity_{n}"] is not None and isinstance(answers[f"price_{n}"], CellError):
            lines = [answers[f"{line}_{n}"] for line in ("scrap_credit", *COSTS)]
            numbers = [line for line in lines if isinstance(line, float)]
            too_high = len(numbers) == len(lines) and numbers[0] > sum(numbers[1:])
            return [(f"quantity_{n}", CREDIT_TOO_HIGH if too_high else "has no price: its bars, hours or costs are beyond all limits")]
    return []


def _draw(book: Workbook, shop: Shop | None) -> None:
    costing_sheet(book, shop)
    prices_sheet(book)
    customer_sheet(book)
    part_sheet.part_sheet(book, FORM)
    operations_sheet(book)
    more_costs_sheet(book)
    shop_sheet(book, FORM, shop)
    materials_sheet(book)
    bar_data_sheet(book)
    speeds_sheet.speeds_sheet(book, shop.speeds if shop else None)
    notes_sheet(book, FORM, (
        "Cost build-up, margin and markup: common practice of the trade, worked out as said above, no source.",
        "Usual passes of a thread: as published by a maker of cutting tools, external metric threads. Idea of parts per edge: v T^n = C with "
        "constants from memory, after M. P. Groover, Fundamentals of Modern Manufacturing. What asks for a second look at an "
        "operation: common practice, no source.",
        "Samples: ISO 2859-1, single sampling plans for normal inspection. Outside work, packing and how a price is shown: common practice, no source.",
        "Half a rounding step goes up. The order total is the rounded price each times the quantity.",
        worked_out_with(shop),
    ), (f"price_{n}" for n in BREAKS), MORE_PROBLEMS, CHECKS)


def _table(lines: Sequence[Values]) -> tuple[list[Head], list[list[str]]]:
    """A column for each quantity where all quotes have the same few; else the prices in one column."""
    prices = [{line[f"quantity_{n}"]: money_shown(line[f"price_{n}"]) for n in BREAKS if line[f"quantity_{n}"] is not None}
              for line in lines]
    alike = len({tuple(by_quantity) for by_quantity in prices}) == 1 and len(prices[0]) <= 4
    columns = [Head(f"Each at\n{q:,.0f}") for q in prices[0]] if alike else [Head("Quantity: price each", False, may_fold=True)]
    rows = []
    for line, by_quantity in zip(lines, prices, strict=True):
        each = [f"{quantity:,.0f}: {price}" for quantity, price in by_quantity.items()]
        cells = list(by_quantity.values()) if alike else ["\n".join("   ".join(each[n:n + 3]) for n in range(0, len(each), 3))]
        rows.append([number_shown(line["cycle"], 1), *cells, status_word(line)])
    return [Head("Cycle\ns"), *columns, Head("Checks", False)], rows


TEMPLATE = Template(
    name="quote",
    title="Quote",
    form=FORM,
    checks=CHECKS,
    draw=_draw,
    pages=("Costing", "Prices", "Quotation"),
    draw_customer_page=customer_sheet,
    for_customer=ForCustomer(SAID_INPUTS, SAID_ANSWERS, said, SAID_PRICES),
    results=RESULTS,
    more_inputs=tuple(item.name for item in QUANTITIES),
    rules=RULES,
    objections=_objections,
    # A plan that a check stops is still of use; a price is not, and nobody may look before it is sent.
    stop_is_problem=True,
    still_sheets=(speeds_sheet.TITLE,),
    spread=(SpreadOption("--quantities", tuple(item.name for item in QUANTITIES), lambda text: read_quantities(text, "quote"),
                   "Quote these quantities for every row: 100,250,500."),),
    done="quoted",
    terminal=Terminal(table=_table),
    help="""\
JOBS may be the list of 'barfuncs plan'. A quote has up to six quantities. The
page for the customer also lies in the folder for_customer, as a file without
your costs: send that one. A row needs a price, a machine rate, a cycle time or an operation
list, and a margin or markup: its own or, with --shop, the shop's. Prices of
all jobs go into results.csv and results.xlsx. --resume and --replace are as
in 'barfuncs plan'.
""",
)
