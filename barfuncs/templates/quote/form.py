"""Inputs and answers of a quote together."""

from barfuncs.templates import bar_for_part, part_sheet
from barfuncs.templates.form import Form
from barfuncs.templates.part_sheet import SECTIONS
from barfuncs.templates.quote.brackets import BRACKETS
from barfuncs.templates.quote.costs import (
    BREAK_ANSWERS,
    COSTING,
    COSTS_MORE,
    LIMITS,
    PRICE_CHECKS,
    STEPS,
    WHAT_IF_ANSWERS,
    WHOLE_ANSWERS,
)
from barfuncs.templates.quote.inputs import BREAKS, CYCLE_INPUTS, INPUTS, LETTER, MORE_COSTS, QUANTITIES, TOOL, WHAT_IF
from barfuncs.templates.quote.more_costs import PROCESSES
from barfuncs.templates.quote.operations import NOT_COUNTED, OPERATION_LOOKS, OPERATIONS

FORM = Form("quote_", (i for group in (*INPUTS.values(), QUANTITIES, (WHAT_IF, TOOL), CYCLE_INPUTS, *MORE_COSTS.values(), LETTER, bar_for_part.BAR_FOR_PART) for i in group),
            (a for group in (*COSTING.values(), STEPS, *BREAK_ANSWERS.values(),
                             *WHOLE_ANSWERS.values(), *WHAT_IF_ANSWERS.values(), COSTS_MORE, PRICE_CHECKS, (OPERATION_LOOKS, NOT_COUNTED), LIMITS) for a in group),
            (OPERATIONS, PROCESSES, SECTIONS, BRACKETS))
RESULTS = ("parts_per_bar", "bar_weight", "cycle",
           *(f"{name}_{n}" for n in BREAKS for name in ("bars", "whole", "cost_each", "price", "total", "value")),
           *part_sheet.RESULTS, *bar_for_part.RESULTS)
"""The answers that go into a table of results, besides the inputs that say which quote it is."""
ALL_INPUTS = FORM.all_inputs
