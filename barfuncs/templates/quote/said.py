"""What a quote says to the customer, taken from its inputs and answers: nothing else goes into a quotation."""

import datetime
from typing import Any

from barfuncs.catalogue import kinds
from barfuncs.templates.model import Values
from barfuncs.templates.quote.inputs import BREAKS, OF_THE_SHOP
from barfuncs.text.characters import in_words
from barfuncs.xlsx.sheetxml import CellError

_OF_ALL_LINES = {"number": "quote_number", "customer": "customer", "customer_address": "customer_address", "attention": "attention",
                 "reference": "reference", "delivery": "delivery"}
_OF_THE_LINE = {"description": "part_description", "part_number": "part_number", "drawing": "drawing", "revision": "revision",
                "certificate": "certificate_line", "remark": "remark"}
SAID_INPUTS = (*_OF_ALL_LINES.values(), *_OF_THE_LINE.values(), "quote_date", "lead_time", "units", *(f"quantity_{n}" for n in BREAKS))
SAID_ANSWERS = ("currency_shown", "valid_said", "material_said", "priced_said", "paper_said", "freight_line", "minimum_said", "setup_line", "tooling_line",
                *(f"{name}_said" for name in OF_THE_SHOP),
                *(f"{name}_{n}" for n in BREAKS for name in ("shown", "total", "value", "offer")))

SAID_PRICES = (*((f"shown_{n}", f"price at quantity {n}") for n in BREAKS), ("setup_line", "set-up, once"), ("tooling_line", "tooling, once"))


def said(inputs: Values, answers: Values) -> dict[str, Any]:
    """By the names of a quotation: what holds for all of it, and its one line. Raises ValueError with what can't be said."""
    known = {name: inputs.get(name) for name in SAID_INPUTS} | {name: answers[name] for name in SAID_ANSWERS if name in answers}

    def text(name: str) -> str:
        value = known[name]
        if isinstance(value, (CellError, bool)):
            raise ValueError(f"{name.replace('_', ' ')} can't be worked out")
        return in_words(value)

    def number(name: str) -> float:
        value = known[name]
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError(f"{name.replace('_', ' ')} has no number")
        return float(value)

    setup, tooling = number("setup_line"), number("tooling_line")
    quantities = []
    for n in BREAKS:
        if known[f"quantity_{n}"] in (None, ""):
            continue
        price, total = number(f"shown_{n}"), number(f"total_{n}")
        value = number(f"value_{n}")
        least = f"Minimum order value: {value:,.2f}" if value > (total + setup + tooling) * (1 + 1e-9) else ""
        quantities.append({"quantity": number(f"quantity_{n}"), "price": price, "total": total, "lead_time": text("lead_time"),
                           "offer": text(f"offer_{n}"), "note": least})
    line = {name: text(source) for name, source in _OF_THE_LINE.items()} | {
        "material": text("material_said"), "priced_per": text("priced_said"), "setup": setup, "tooling": tooling, "quantities": quantities}
    whole: dict[str, Any] = {name: text(source) for name, source in _OF_ALL_LINES.items()} | {
        name: text(f"{source}_said") for source, name in OF_THE_SHOP.items()}
    whole |= {"date": day_text(known["quote_date"]), "valid_until": day_text(known["valid_said"]), "currency": text("currency_shown"),
              "freight": None if known["freight_line"] in (None, "") else number("freight_line"), "minimum": number("minimum_said"), "paper": text("paper_said"),
              "usual_paper": kinds.PAPERS[inputs.get("units") != "mm"]}
    return {**whole, "lines": [line]}


_FIRST_DAY, _LAST_DAY = 61, 2_958_465
"""Days that every spreadsheet program counts alike: 1900-03-01 to 9999-12-31."""


def day_text(value: Any) -> str:
    """A date as year-month-day; a text as it is.

    >>> day_text(46463.0), day_text("by return"), day_text(None)
    ('2027-03-17', 'by return', '')
    """
    if isinstance(value, (CellError, bool)):
        raise ValueError("a date can't be worked out")
    if isinstance(value, (int, float)):
        if not _FIRST_DAY <= value <= _LAST_DAY:
            raise ValueError(f"{value:g} is no date")
        return (datetime.date(1899, 12, 30) + datetime.timedelta(days=int(value))).isoformat()
    return in_words(value)
