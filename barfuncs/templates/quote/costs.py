"""The cost build-up of a quote: at each quantity, with the same bars used up, and what if."""

from collections.abc import Mapping

from barfuncs.templates import bar_for_part, part_sheet, plausible, speeds_sheet
from barfuncs.templates.cell_text import fixed_text
from barfuncs.templates.every_order import (
    ACROSS_CORNERS,
    BAR_WEIGHT,
    BLANKS_PER_SUPPLIED,
    DENSITY,
    EACH_WEIGHT,
    FRONT,
    MATERIAL_CAUTION,
    MATERIAL_NAME,
    MATERIAL_ROW,
    OWN_PROBLEMS,
    RACK,
    SECTION_AREA,
    SECTION_WEIGHT,
    SETTING_RATE,
    SUPPLY,
    WEIGHT_PER_LENGTH,
    YIELD,
    bought_formula,
    bought_length_formula,
    cuts_each_formula,
    cuts_formula,
    longer_than_feeder,
    parts_formula,
    rack_value_formula,
    rest_formula,
    with_first_parts,
)
from barfuncs.templates.model import Answer
from barfuncs.templates.quote import brackets, more_costs
from barfuncs.templates.quote.inputs import BREAKS
from barfuncs.templates.quote.operations import CYCLE_STEPS, LISTED_CYCLE
from barfuncs.templates.shop_sheet import LARGEST_SIZE, MACHINE_ROW, MACHINE_WRONG, SHOP_PROBLEMS


def _chain(tag: str, quantity: str, of: str, bars_in_use: str = "", in_lines: bool = False, bracket: Mapping[str, str] | None = None, **other: str) -> tuple[Answer, ...]:
    """The cost build-up of one quantity. `other` says which cells stand for arguments that this one changes, `bars_in_use` the
    bars that parts come from where one more is used up, `in_lines` that each of the costs beside the lathe has a line of its own, `bracket` what
    changes a price by bracket."""
    used = {name: other.get(name, name) for name in ("parts_per_bar", "good_per_bar", "bar_length", "blanks_each", "cuts_per_supplied",
                                                      "bought_length", "bought_weight")}
    used["price"] = f"material_at_{tag}"
    used["surcharge"] = other.get("material_surcharge", "material_surcharge")

    def a(name: str, label: str, number: str, unit: str = "", formula: str = "", calls: str = "", **refs: str) -> Answer:
        return Answer(f"{name}_{tag}", f"{label} {of}", number, unit, formula, calls,
                      tuple({"quantity": quantity, "cycle_time": "cycle", **other, "price": used["price"], **refs}.items()))

    def mine(*names: str) -> dict[str, str]:
        return {name: f"{name}_{tag}" for name in names}

    lines = {**mine("scrap_credit", "machine_cost", "setup_cost"), "material_cost": f"material_used_{tag}", "other_cost": f"beside_lathe_{tag}"}
    return (
        a("parts_to_make", "Parts to make, on average", "count", "parts", calls="parts_to_make",
          formula=f"PARTS_TO_MAKE({quantity},{other.get('scrap_rate', 'scrap_rate')},setup_parts,0)"
                  f"+IF(first_parts_scrapped=0,0,first_parts_scrapped*{bars_in_use or f'bars_{tag}'})"),
        a("bars", "Bars to load", "count", "bars", calls="bars_for_quantity", parts_per_bar=used["good_per_bar"]),
        a("bought", "Bars to buy", "count", "bars", formula=bought_formula(f"bars_{tag}", used["blanks_each"])),
        a("cuts", "Saw cuts", "count", formula=cuts_formula(f"bars_{tag}", f"bought_{tag}", used["blanks_each"],
                                                            used["cuts_per_supplied"])),
        a("material_at", "Price of the material", "money_each", "price_per",
          formula=brackets.price_at(tag, other.get("price", "material_price"), **(bracket or {}))),
        a("material_cost", "Material", "money", "order", calls="material_line_cost", **mine("cuts"), bars=f"bought_{tag}",
          bar_length=used["bought_length"], bar_weight=used["bought_weight"]),
        a("last_rest", "Left of the last bar", "length", "length",
          formula=f"{used['bar_length']}-end_trim-(parts_to_make_{tag}-(COUNT_UP(parts_to_make_{tag}/{used['parts_per_bar']})-1)"
                  f"*{used['parts_per_bar']})*bar_per_part"),
        a("rest_length", "Rest of the last bar that goes back", "length", "length", formula=rest_formula(f"last_rest_{tag}")),
        a("rack_length", "Length that goes back on the rack", "length", "length",
          formula=f"rest_length_{tag}+IF({RACK},1,0)*(bought_{tag}*{used['blanks_each']}-bars_{tag})*{used['bar_length']}"),
        a("rack_value", "Less: back on the rack", "money", "order",
          formula=rack_value_formula(f"rack_length_{tag}", used["price"], used["bought_length"], used["bought_weight"],
                                     used["surcharge"])),
        a("material_used", "Material for this order", "money", "order", formula=f"material_cost_{tag}-rack_value_{tag}"),
        a("rack_weight", "Weight of the rest that goes back", "weight", "weight", formula=f"section_weight*rest_length_{tag}"),
        a("scrap_credit", "Less: chips and remnants sold", "money", "order", calls="order_credit",
          **mine("parts_to_make", "bars", "rack_weight"), part_weight="each_weight"),
        a("machine_cost", "Machine time", "money", "order", calls="machine_cost", **mine("parts_to_make")),
        a("setup_cost", "Set-up", "money", "order", calls="setup_cost", setup_rate="setting_rate"),
        a("other_cost", "Other and tooling", "money", "order", calls="other_cost"),
        a("tool_cost", "Edges of the tools", "money", "order", formula=f"parts_to_make_{tag}*tool_each"),
        *(more_costs.lines_of(tag, quantity, of) if in_lines else ()),
        a("beside_lathe", "other costs, edges and what is not done on the lathe", "money", "order",
          formula=f"other_cost_{tag}+tool_cost_{tag}+" + ("+".join(f"{line}_{tag}" for line in more_costs.LINES) if in_lines
                                                          else more_costs.together(tag, quantity))),
        a("order_cost", "Total cost", "money", "order", calls="order_cost", **lines),
        # Of what is a line of its own the price each bears nothing.
        a("cost_each", "Cost each", "money_each", "each",
          formula=f"IF(order_cost_{tag}>=own_lines_cost,(order_cost_{tag}-own_lines_cost)/{quantity},NA())"),
    )


def _priced(tag: str, quantity: str, of: str, in_lines: bool = False) -> tuple[Answer, ...]:
    return (
        *_chain(tag, quantity, of, in_lines=in_lines),
        Answer(f"price_{tag}", f"Price each {of}", "price", "each", calls="price_for",
               formula=f"IF(cost_each_{tag}<=1E9,QUOTED_PRICE(cost_each_{tag}*priced_parts,margin_counted,markup,rounding)/priced_parts,NA())",
               needs=quantity if quantity.startswith("quantity") else ""),
        Answer(f"total_{tag}", f"Order total {of}", "money", "order", calls="order_total",
               refs=(("quantity", quantity), ("price", f"price_{tag}"))),
    )


def _break(n: int) -> tuple[Answer, ...]:
    quantity, of = f"quantity_{n}", f"at quantity {n}"
    return (
        *_priced(str(n), quantity, of, in_lines=True),
        *more_costs.at_quantity(n),
        *brackets.at_quantity(n),
        Answer(f"sure_{n}", f"Parts to make, with confidence {of}", "count", "parts", calls="parts_to_make",
               formula=with_first_parts(f"order_parts_{n}")),
        Answer(f"order_parts_{n}", f"Parts to make, with confidence, before those at the front of every bar {of}", "count", "parts",
               calls="parts_to_make", refs=(("quantity", quantity),)),
        Answer(f"whole_{n}", f"Most good parts from these bars {of}", "count", "parts", calls="whole_bar_quantity",
               refs=(("quantity", quantity), ("parts_per_bar", "parts_per_bought"))),
        Answer(f"margin_{n}", f"Margin after rounding {of}", "percent", "", calls="margin_of",
               refs=(("price", f"price_{n}"), ("cost", f"cost_each_{n}"))),
    )


def _of_other_bar(tag: str) -> dict[str, str]:
    return {name: f"{name}_{tag}" for name in ("bar_length", "bar_weight", "parts_per_bar", "good_per_bar", "blanks_each", "cuts_per_supplied",
                                               "bought_length", "bought_weight", "price")}


WHAT_IFS: dict[str, tuple[str, dict[str, str]]] = {
    "now": ("As it is", {}),
    "cycle": ("Cycle 1 second longer", {"cycle_time": "cycle_longer"}),
    "scrap": ("1 % more scrap", {"scrap_rate": "scrap_more"}),
    "price": ("Material +10 %", {"price": "price_more", "material_surcharge": "surcharge_more"}),
    "longer": ("Bar longer by one part", _of_other_bar("longer")),
    "shorter": ("Bar shorter by one part", _of_other_bar("shorter")),
    "bar": ("One bar more used up", {}),
}
_BRACKETS_IF = {"price": {"factor": "*1.1"}} | {tag: {"factor": f"*factor_{tag}", "each": f"brackets_each_{tag}"} for tag in ("longer", "shorter")}


def _kept_to(length: str) -> str:
    """Cell expression: the length, unless it is longer than the feeder takes."""
    return f"IF({longer_than_feeder(length)},NA(),{length})"


def _other_bar(tag: str, sign: str) -> tuple[Answer, ...]:
    return (
        Answer(f"bar_length_{tag}", f"bar {tag} by one part", "length", "length", formula=_kept_to(f"bar_length{sign}bar_per_part")),
        Answer(f"bar_weight_{tag}", f"weight of a bar {tag} by one part", "weight", "weight",
               formula=f"section_weight*bar_length_{tag}"),
        Answer(f"parts_per_bar_{tag}", f"parts of a bar {tag} by one part", "count", "parts", calls="parts_per_bar",
               formula=f"IF(bar_length_{tag}>=0,{parts_formula(f'bar_length_{tag}')},NA())"),
        Answer(f"good_per_bar_{tag}", f"parts of a bar {tag} by one part without the first ones", "count", "parts", calls="good_parts_per_bar",
               refs=(("parts_per_bar", f"parts_per_bar_{tag}"),)),
        Answer(f"blanks_each_{tag}", f"blanks {tag} by one part from a bar that is bought", "count", "blanks",
               formula=f"IF(bar_length_{tag}>0,IF(OR(ISBLANK(supplied_length),bought_as_blanks=1),1,"
                       f"BLANKS_PER_SUPPLIED_BAR(supplied_length,bar_length_{tag},kerf)),NA())"),
        Answer(f"cuts_per_supplied_{tag}", f"cuts for blanks {tag} by one part", "count", "cuts",
               formula=cuts_each_formula(f"bar_length_{tag}")),
        Answer(f"bought_length_{tag}", f"length of a bar to buy, {tag} by one part", "length", "length",
               formula=bought_length_formula(f"bar_length_{tag}", f"blanks_each_{tag}")),
        Answer(f"bought_weight_{tag}", f"weight of a bar to buy, {tag} by one part", "weight", "weight",
               formula=f"section_weight*bought_length_{tag}"),
        # What is priced by the bar costs more where it is longer.
        Answer(f"factor_{tag}", f"price of a bar {tag} by one part over that of this bar", "ratio", "",
               formula=f'IF(bought_length_{tag}>0,IF(OR(price_per="bar",price_per="blank"),bought_length_{tag}/bought_length,1),NA())'),
        Answer(f"price_{tag}", f"price of the material, bar {tag} by one part", "money_each", "price_per", formula=f"material_price*factor_{tag}"),
        Answer(f"brackets_each_{tag}", f"what the brackets count, bar {tag} by one part", "general",
               formula=brackets.each_formula(f"bought_length_{tag}", f"bought_weight_{tag}")),
    )


def _bars_said(tag: str) -> str:
    """Cell expression: the bars to buy in words, so that a change, or none, explains itself."""
    bars = f'{fixed_text(f"bought_if_{tag}", 0)}&IF(bought_if_{tag}=1," bar"," bars")'
    if tag == "now":
        return bars
    said = f'IF(bought_if_{tag}=bought_if_now,"still "&{bars},{bars})'
    if tag != "longer":
        return said
    return (f'IF({longer_than_feeder("bar_length+bar_per_part")},"the feeder takes no longer bar",'
            f'IF(blanks_each_longer=0,"longer than the supplied bar",{said}))')


def _what_if(tag: str) -> tuple[Answer, ...]:
    label, other = WHAT_IFS[tag]
    chain = _chain(f"if_{tag}", "what_if", f"if {label[0].lower()}{label[1:]}", "bars_if_now" if tag == "bar" else "", False,
                   _BRACKETS_IF.get(tag), **other)
    if tag == "bar":
        chain = tuple(Answer(a.name, a.label, a.number, a.unit, "bars_if_now+1") if a.name == "bars_if_bar" else a
                      for a in chain)
    return (
        *chain,
        Answer(f"price_if_{tag}", label, "money_each", "each", formula=f"cost_each_if_{tag}/(1-margin_counted)*(1+markup)"),
        Answer(f"change_{tag}", f"Change: {label}", "money_each", "each", formula=f"price_if_{tag}-price_if_now"),
        Answer(f"change_share_{tag}", f"Change in %: {label}", "percent", "", formula=f"change_{tag}/price_if_now"),
        Answer(f"bars_said_{tag}", f"Bars: {label}", "text", "", formula=_bars_said(tag)),
    )


LIMITS = (
    Answer("speed_allowed", "max. speed of the job, 0 for none", "count", "rpm", "IF(ISBLANK(top_speed),0,top_speed)"),
    Answer("feed_allowed", "max. feed of the job, 0 for none", "general", "feed_speed", "IF(ISBLANK(max_feed),0,max_feed)"),
)
CYCLE = (
    Answer("cutting_time", "Operations", "rate", "seconds", formula="SUM(op_time)"),
    LISTED_CYCLE,
    Answer("cycle", "Cycle time used", "rate", "seconds", formula="IF(ISBLANK(cycle_time),listed_cycle,cycle_time)"),
)
STEPS = (
    MATERIAL_ROW,
    MATERIAL_NAME,
    OWN_PROBLEMS,
    *SUPPLY,
    MATERIAL_CAUTION,
    speeds_sheet.MATERIAL_GROUP,
    MACHINE_ROW,
    MACHINE_WRONG,
    LARGEST_SIZE,
    SHOP_PROBLEMS,
    ACROSS_CORNERS,
    DENSITY,
    SECTION_AREA,
    SECTION_WEIGHT,
    *plausible.STEPS,
    *FRONT,
    *CYCLE_STEPS,
    *part_sheet.TOTALS,
    *part_sheet.steps("quote_"),
    *bar_for_part.STEPS,
    *bar_for_part.ANSWERS,
    *part_sheet.STARTS,
    Answer("like_dollars", "1 where the currency is worth about a dollar", "count",
           formula="IF(OR(" + ",".join(f'currency_shown="{c}"' for c in ("", *plausible.LIKE_A_DOLLAR)) + "),1,0)"),
    Answer("each_weight", "weight of a finished part", "part_weight", "weight",
           formula=EACH_WEIGHT),
    Answer("gross_weight", "weight of what one part uses of the bar", "part_weight", "weight",
           formula="section_weight*bar_per_part"),
    Answer("trim_weight", "weight of one end trim", "weight_per_length", "weight", formula="section_weight*end_trim"),
    Answer("currency_shown", "currency on the quote", "text",
           formula='IF(ISBLANK(currency),shop_currency&"",currency)'),
    SETTING_RATE,
    Answer("margin_counted", "margin, where either margin or markup is given", "percent",
           formula="IF(OR(AND(ISBLANK(margin),ISBLANK(markup)),margin*markup>0),NA(),margin)"),
    Answer("what_if", "quantity for the what-ifs", "count", "parts",
           formula="IF(ISBLANK(what_if_quantity),quantity_1,what_if_quantity)"),
    Answer("parts_per_bought", "good parts from a bar that is bought", "count", "parts", formula="good_per_bar*blanks_each"),
    Answer("cycle_longer", "cycle time and 1 second", "rate", "seconds", formula="cycle+1"),
    Answer("scrap_more", "scrap rate and 1 %", "percent", "", formula="scrap_rate+0.01"),
    Answer("price_more", "price of the material and 10 %", "money_each", "price_per", formula="material_price*1.1"),
    *more_costs.STEPS,
    *brackets.STEPS,
    brackets.CHEAPER,
    Answer("surcharge_more", "surcharge of the material and 10 %", "money_each", "per_weight", formula="material_surcharge*1.1"),
    *_other_bar("longer", "+"),
    *_other_bar("shorter", "-"),
)
BREAK_ANSWERS = {n: _break(n) for n in BREAKS}
# The same bars, used up: what a part would cost if all of them were ordered.
WHOLE_ANSWERS = {n: _priced(f"whole_{n}", f"whole_{n}", f"for all parts of the bars at quantity {n}") for n in BREAKS}
COSTS_MORE = (
    *(Answer(f"costs_more_{n}", f"smaller quantities that cost less each than quantity {n}", "count", formula="+".join(
        f"IF(OR(ISBLANK(quantity_{m}),ISBLANK(quantity_{n})),0,(quantity_{m}<quantity_{n})*(cost_each_{m}<cost_each_{n}*(1-1E-9)))"
         for m in BREAKS if m != n)) for n in BREAKS),
    Answer("costs_more", "pairs of quantities of which the larger costs more each", "count",
           formula="+".join(f"costs_more_{n}" for n in BREAKS)),
)
PRICE_CHECKS = (
    Answer("price_is_nothing", "quantities whose price each is 0", "count",
           formula="+".join(f"IF(ISBLANK(quantity_{n}),0,--(price_{n}=0))" for n in BREAKS)),
    Answer("below_cost", "quantities whose price each is below the cost", "count",
           formula="+".join(f"IF(ISBLANK(quantity_{n}),0,(price_{n}<cost_each_{n}*(1-1E-9))*(margin+markup>0))" for n in BREAKS)),
)
WHAT_IF_ANSWERS = {tag: _what_if(tag) for tag in WHAT_IFS}
COSTING = {"Bar": (*YIELD, WEIGHT_PER_LENGTH, BAR_WEIGHT, BLANKS_PER_SUPPLIED), "Cycle time": CYCLE}
