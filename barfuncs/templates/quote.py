"""Template quote: cycle time from an operation list, cost build-up at six quantities, what-ifs, a page for the customer."""

import dataclasses
import functools
from collections.abc import Iterable, Mapping
from typing import Any

from openpyxl import Workbook
from openpyxl.chart import Reference, ScatterChart, Series
from openpyxl.chart.marker import Marker
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.worksheet.worksheet import Worksheet

from barfuncs.catalogue import kinds
from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.formula import cell_formula
from barfuncs.catalogue.glossary import ARGUMENTS
from barfuncs.catalogue.units import MM_PER_INCH
from barfuncs.templates import every_order, layout, plausible, speeds_sheet
from barfuncs.templates.every_order import (
    ACROSS_CORNERS,
    BAR,
    BAR_WEIGHT,
    BLANKS_PER_SUPPLIED,
    DENSITY,
    EACH_WEIGHT,
    JOB,
    KERF_MISSING,
    LATHE,
    MATERIAL,
    MATERIAL_CAUTION,
    MATERIAL_NAME,
    MATERIAL_ROW,
    NO_WHOLE_PART,
    ORDER,
    OWN_PROBLEMS,
    PART,
    PART_TOO_HEAVY,
    PRICE,
    RACK,
    SAW_STOP,
    SECTION,
    SECTION_AREA,
    SECTION_WEIGHT,
    SETTING_RATE,
    SIZE_TEXT,
    SUPPLY,
    TOO_WIDE,
    WEIGHT_PER_LENGTH,
    WHOLE_PARTS,
    YIELD,
    bought_formula,
    bought_length_formula,
    cuts_each_formula,
    cuts_formula,
    feeder_takes,
    longer_than_feeder,
    rack_value_formula,
    rest_formula,
)
from barfuncs.templates.materials_sheet import materials_sheet
from barfuncs.templates.model import (
    LOOK,
    NOTE,
    OK,
    STOP,
    UNIT_SUFFIX,
    Answer,
    Check,
    Form,
    Input,
    fixed_text,
    make_input,
    number_text,
    put_framed,
    unit_text,
)
from barfuncs.templates.notes_sheet import notes_sheet
from barfuncs.templates.shop import Shop
from barfuncs.templates.shop_sheet import (
    LARGEST_SIZE,
    MACHINE_ROW,
    MACHINE_WRONG,
    PROBLEMS,
    SHOP_PROBLEMS,
    shop_sheet,
)
from barfuncs.templates.speeds_sheet import row_of, suggested_feed, suggested_speed
from barfuncs.xlsx.package import pack
from barfuncs.xlsx.sheetxml import CellError

BREAKS = range(1, 7)
OPERATIONS = range(1, 13)
OPERATION_COLUMNS = {"operation": "Operation", "start_diameter": "Start dia.", "end_diameter": "End dia.", "length": "Length",
                     "surface_speed": "Surface speed", "feed_rate": "Feed per rev.", "top_speed": "Max. speed",
                     "passes": "Passes", "extra_time": "Extra time"}


def _needed(items: Iterable[Input], *names: str) -> tuple[Input, ...]:
    """What a plan can do without and a quote can't."""
    return tuple(dataclasses.replace(i, needed=True) if i.name in names else i for i in items)


INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": JOB,
    "Bar": tuple(i for i in BAR if i.name != "longest_random_bar"),
    "Part": (
        *PART,
        make_input("scrap_rate", "Scrap rate", kinds.ScrapRate, 0, from_shop=True),
        make_input("setup_parts", "Set-up pieces", kinds.Count, 0, unit="parts"),
        next(i for i in ORDER if i.name == "confidence"),
    ),
    "Lathe": _needed((i for i in LATHE if i.name != "feeder_bars"), "machine_rate"),
    "Material price": _needed(PRICE, "material_price", "price_per"),
    "Other costs and price": (
        make_input("other_per_part", "Other costs each good part", kinds.Money, 0, unit="each", from_shop=True),
        make_input("other_per_order", "Other costs of the order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("tooling", "Tooling of this order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("margin", "Margin (share of the price)", kinds.Margin, blank=0, from_shop=True,
                   help_text="profit as a share of the price; give this or the markup"),
        make_input("markup", "Markup (share of the cost)", kinds.Markup, blank=0, from_shop=True,
                   help_text="profit as a share of the cost; give this or the margin"),
        make_input("rounding", "Rounding of the price each", kinds.PriceRounding, "nearest 0.01", from_shop=True),
    ),
}
QUANTITIES = tuple(make_input(f"quantity_{n}", f"Quantity {n}", kinds.PositiveCount, needed=n == 1, unit="parts",
                              help_text="good parts to quote") for n in BREAKS)
WHAT_IF = make_input("what_if_quantity", "Quantity for the what-ifs", kinds.PositiveCount, unit="parts",
                     help_text="left blank, the first quantity")
TOOL = make_input("tool", "Cutting edge (for the suggestions)", speeds_sheet.Tool, "carbide", help_text="what the tools' edges are made of")
CYCLE_INPUTS = (
    make_input("max_feed", "Max. feed of the lathe", kinds.FeedSpeed, from_shop=True),
    make_input("tool_changes", "Tool changes", kinds.Count, 0, unit="each"),
    make_input("tool_change_time", "Time of a tool change", kinds.Seconds, 0),
    make_input("rapid_time", "Rapid moves together", kinds.Seconds, 0),
    make_input("bar_feed_time", "Bar feed", kinds.Seconds, 0),
)
_OPERATION_KINDS = (kinds.Operation, kinds.Diameter, kinds.Length, kinds.PositiveLength, kinds.SurfaceSpeed, kinds.FeedRate,
                    kinds.SpindleSpeed, kinds.PositiveCount, kinds.Seconds)
# Tested by the formula of their row, since what an operation needs depends on what it is.
OPERATION_INPUTS = tuple(
    make_input(f"op_{n}_{name}", f"Operation {n}, {head.lower()}", alias, help_text=ARGUMENTS[name])
    for n in OPERATIONS for (name, head), alias in zip(OPERATION_COLUMNS.items(), _OPERATION_KINDS, strict=True))
OPERATION_NOTES = tuple(make_input(f"op_{n}_note", f"Operation {n}, what", kinds.Text, help_text="what is done, in words")
                        for n in OPERATIONS)

LETTER: tuple[Input, ...] = (
    make_input("seller", "Your company", kinds.Text, help_text="your company, as it stands on the customer's page"),
    make_input("seller_address", "Address", kinds.Text, help_text="your address, in one line"),
    make_input("seller_contact", "Contact", kinds.Text, help_text="who to ask: name, telephone, mail"),
    make_input("attention", "For the attention of", kinds.Text, help_text="the customer's person"),
    make_input("quote_number", "Quote number", kinds.Text, help_text="your number of this quote"),
    make_input("quote_date", "Date", kinds.Text, help_text="date of this quote"),
    make_input("valid_until", "Valid until", kinds.Text, help_text="the day on which the prices lapse"),
    make_input("currency", "Currency", kinds.Text, from_shop=True, help_text="symbol or letters of the currency"),
    make_input("part_description", "Part", kinds.Text, help_text="what the part is called"),
    make_input("material_line", "Material", kinds.Text, help_text="left blank, material, shape and size of the bar"),
    make_input("certificate_line", "Certificates", kinds.Text, "Material certificate on request",
               help_text="what comes along: material certificate, inspection report"),
    make_input("delivery", "Delivery", kinds.Text, help_text="when and how you deliver"),
    make_input("terms", "Terms", kinds.Text, "Net 30 days. Prices without tax.",
               help_text="terms of payment and delivery"),
    make_input("remark", "Remark", kinds.Text, help_text="anything else that the customer should read"),
)


def _chain(tag: str, quantity: str, of: str, **other: str) -> tuple[Answer, ...]:
    """The cost build-up of one quantity. `other` says which cells stand for arguments that this one changes."""
    used = {name: other.get(name, name) for name in ("parts_per_bar", "bar_length", "blanks_each", "cuts_per_supplied",
                                                      "bought_length", "bought_weight")}
    used["price"] = other.get("price", "material_price")

    def a(name: str, label: str, number: str, unit: str = "", formula: str = "", calls: str = "", **refs: str) -> Answer:
        return Answer(f"{name}_{tag}", f"{label} {of}", number, unit, formula, calls,
                      tuple({"quantity": quantity, "cycle_time": "cycle", "price": used["price"], **other, **refs}.items()))

    def mine(*names: str) -> dict[str, str]:
        return {name: f"{name}_{tag}" for name in names}

    lines = {**mine("scrap_credit", "machine_cost", "setup_cost", "other_cost"), "material_cost": f"material_used_{tag}"}
    return (
        a("parts_to_make", "Parts to make, on average", "count", "parts", calls="parts_to_make", confidence="0"),
        a("bars", "Bars to load", "count", "bars", calls="bars_for_quantity"),
        a("bought", "Bars to buy", "count", "bars", formula=bought_formula(f"bars_{tag}", used["blanks_each"])),
        a("cuts", "Saw cuts", "count", formula=cuts_formula(f"bars_{tag}", f"bought_{tag}", used["blanks_each"],
                                                            used["cuts_per_supplied"])),
        a("material_cost", "Material", "money", "order", calls="material_cost", **mine("cuts"), bars=f"bought_{tag}",
          bar_length=used["bought_length"], bar_weight=used["bought_weight"]),
        a("last_rest", "Left of the last bar", "length", "length",
          formula=f"{used['bar_length']}-end_trim-(parts_to_make_{tag}-(COUNT_UP(parts_to_make_{tag}/{used['parts_per_bar']})-1)"
                  f"*{used['parts_per_bar']})*bar_per_part"),
        a("rest_length", "Rest of the last bar that goes back", "length", "length", formula=rest_formula(f"last_rest_{tag}")),
        a("rack_length", "Length that goes back on the rack", "length", "length",
          formula=f"rest_length_{tag}+IF({RACK},1,0)*(bought_{tag}*{used['blanks_each']}-bars_{tag})*{used['bar_length']}"),
        a("rack_value", "Less: back on the rack", "money", "order",
          formula=rack_value_formula(f"rack_length_{tag}", used["price"], used["bought_length"], used["bought_weight"])),
        a("material_used", "Material for this order", "money", "order", formula=f"material_cost_{tag}-rack_value_{tag}"),
        a("rack_weight", "Weight of the rest that goes back", "weight", "weight", formula=f"section_weight*rest_length_{tag}"),
        a("scrap_credit", "Less: chips and remnants sold", "money", "order", calls="order_credit",
          **mine("parts_to_make", "bars", "rack_weight"), part_weight="each_weight"),
        a("machine_cost", "Machine time", "money", "order", calls="machine_cost", **mine("parts_to_make")),
        a("setup_cost", "Set-up", "money", "order", calls="setup_cost", setup_rate="setting_rate"),
        a("other_cost", "Other and tooling", "money", "order", calls="other_cost"),
        a("order_cost", "Total cost", "money", "order", calls="order_cost", **lines),
        a("cost_each", "Cost each", "money_each", "each", formula=f"order_cost_{tag}/{quantity}"),
    )


def _priced(tag: str, quantity: str, of: str) -> tuple[Answer, ...]:
    return (
        *_chain(tag, quantity, of),
        Answer(f"price_{tag}", f"Price each {of}", "price", "each", calls="quoted_price",
               refs=(("cost", f"cost_each_{tag}"), ("margin", "margin_counted")), needs=quantity if quantity.startswith("quantity") else ""),
        Answer(f"total_{tag}", f"Order total {of}", "money", "order", calls="order_total",
               refs=(("quantity", quantity), ("price", f"price_{tag}"))),
    )


def _break(n: int) -> tuple[Answer, ...]:
    quantity, of = f"quantity_{n}", f"at quantity {n}"
    return (
        *_priced(str(n), quantity, of),
        Answer(f"sure_{n}", f"Parts to make, with confidence {of}", "count", "parts", calls="parts_to_make",
               refs=(("quantity", quantity),)),
        Answer(f"whole_{n}", f"Most good parts from these bars {of}", "count", "parts", calls="whole_bar_quantity",
               refs=(("quantity", quantity), ("parts_per_bar", "parts_per_bought"))),
        Answer(f"margin_{n}", f"Margin after rounding {of}", "percent", "", calls="margin_of",
               refs=(("price", f"price_{n}"), ("cost", f"cost_each_{n}"))),
    )


def _of_other_bar(tag: str) -> dict[str, str]:
    return {name: f"{name}_{tag}" for name in ("bar_length", "bar_weight", "parts_per_bar", "blanks_each", "cuts_per_supplied",
                                               "bought_length", "bought_weight", "price")}


WHAT_IFS: dict[str, tuple[str, dict[str, str]]] = {
    "now": ("As it is", {}),
    "cycle": ("Cycle 1 second longer", {"cycle_time": "cycle_longer"}),
    "scrap": ("1 % more scrap", {"scrap_rate": "scrap_more"}),
    "price": ("Material +10 %", {"price": "price_more"}),
    "longer": ("Bar longer by one part", _of_other_bar("longer")),
    "shorter": ("Bar shorter by one part", _of_other_bar("shorter")),
    "bar": ("One bar more used up", {}),
}


def _kept_to(length: str) -> str:
    """Cell expression: the length, unless it is longer than the feeder takes."""
    return f"IF({longer_than_feeder(length)},NA(),{length})"


def _other_bar(tag: str, sign: str) -> tuple[Answer, ...]:
    return (
        Answer(f"bar_length_{tag}", f"bar {tag} by one part", "length", "length", formula=_kept_to(f"bar_length{sign}bar_per_part")),
        Answer(f"bar_weight_{tag}", f"weight of a bar {tag} by one part", "weight", "weight",
               formula=f"section_weight*bar_length_{tag}"),
        Answer(f"parts_per_bar_{tag}", f"parts of a bar {tag} by one part", "count", "parts", calls="parts_per_bar",
               refs=(("bar_length", f"bar_length_{tag}"),)),
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
        Answer(f"price_{tag}", f"price of the material, bar {tag} by one part", "money_each", "price_per",
               formula=f'IF(bought_length_{tag}>0,IF(OR(price_per="bar",price_per="blank"),'
                       f'material_price*bought_length_{tag}/bought_length,material_price),NA())'),
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
    chain = _chain(f"if_{tag}", "what_if", f"if {label[0].lower()}{label[1:]}", **other)
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


_UNITS_KIND = next(i.kind for i in BAR if i.name == "units")


def _operation(n: int) -> tuple[Answer, ...]:
    """The top speed that holds for a row of the operation list, 0 for none; the row's time, and its spindle speed at the start."""
    cells = {name: f"op_{n}_{name}" for name in OPERATION_COLUMNS} | {"top_speed": f"quote_op_{n}_limit", "units": "use_units"}
    own = next(i for i in OPERATION_INPUTS if i.name == f"op_{n}_top_speed")
    others = ",".join(f"op_{n}_{name}" for name in list(OPERATION_COLUMNS)[1:])
    time = cell_formula(CATALOGUE["operation_time"], cells, known={"use_units": _UNITS_KIND, f"quote_op_{n}_limit": own.kind})
    cell, turns = f"op_{n}_", f"op_{n}_limit"
    stated = f"IF(ISBLANK({own.name}),speed_allowed,{own.used_formula()})"
    followed = f"MIN(1E6,feed_allowed/{cell}feed_rate)"  # with more turns the lathe could not follow
    return (
        Answer(turns, f"Max. speed of operation {n}", "count", "rpm",
               f'IF(OR(feed_allowed=0,ISBLANK({cell}feed_rate),{cell}operation="facing",{cell}operation="cut-off"),{stated},'
               f"IF({stated}>0,MIN({stated},{followed}),{followed}))"),
        Answer(f"op_{n}_time", f"Time of operation {n}", "general", "seconds",
               f"IF(ISBLANK({cell}operation),IF(COUNTA({others})=0,0,NA()),{time})"),
        Answer(f"op_{n}_speed", f"Spindle speed of operation {n}, at its start", "count", "rpm",
               f'IF(OR(ISBLANK({cell}operation),{cell}operation="other"),0*op_{n}_time,0*op_{n}_time+MIN(IF({turns}>0,{turns},1E99),'
               f'IF(units="mm",1000,12)*{cell}surface_speed/(PI()*{cell}start_diameter)))'),
        Answer(f"op_{n}_mark", f"mark of operation {n}", "text", formula=_operation_mark(n)),
    )


# Passes for an external thread by pitch in mm, each up to the middle between two published pitches. Source: Sumitomo
# technical guidance page, external metric threads: 0.75 4, 1 5, 1.25 7, 1.5 8, 1.75 10, 2 12, 2.5 14, 3 16.
THREAD_PASSES = ((0.875, 4), (1.125, 5), (1.375, 7), (1.625, 8), (1.875, 10), (2.25, 12), (2.75, 14))
_MOST_PASSES = 16
# Common practice, no source: what no lathe for bar is taken to do without being asked.
_FAST_THREAD, _FAST_SPINDLE, _DEEP_HOLE = 200, 6000, 10  # in/min, rpm, diameters


def _usual_passes(n: int) -> str:
    """Cell expression: how many passes a thread of this pitch usually takes; an empty text for other operations."""
    pitch = f'op_{n}_feed_rate*IF(units="mm",1,{MM_PER_INCH!r})'
    passes = str(_MOST_PASSES)
    for widest, count in reversed(THREAD_PASSES):
        passes = f"IF({pitch}<={widest},{count},{passes})"
    return f'IF(op_{n}_operation="threading",IF(ISNUMBER(op_{n}_feed_rate),{passes},""),"")'


def _operation_mark(n: int) -> str:
    """Cell expression: what is wrong with a row of the operation list, or does not look like this part, or else what holds it back."""
    c = f"op_{n}_"
    kind, start, feed, speed, limit = f"{c}operation", f"{c}start_diameter", f"{c}feed_rate", f"{c}speed", f"{c}limit"
    usual_speed, usual_feed, usual_passes = (f"usual_{what}_{n}" for what in ("speed", "feed", "passes"))
    way, inch = f"{speed}*{feed}", f'IF(units="mm",{MM_PER_INCH!r},1)'
    width = 'IF(shape="flat",MAX(size,thickness),size)'
    one_pass = f"IF(ISBLANK({c}passes),1,{c}passes)"
    # A tap, a die and a rolling head need one pass; a taper is none of them.
    what = f'SUBSTITUTE(LOWER({c}note),"taper","")'
    not_single = "+".join(f'ISNUMBER(SEARCH("{word}",{what}))' for word in ("tap", "die", "roll"))
    # Blank cells count as 0 here. Each condition stands in an IF of its own, since AND works out all its parts.
    cases = (
        (f"ISERROR({c}time)", f'IF(ISBLANK({kind}),"{STOP} pick an operation","{STOP} fill in or correct")'),
        (f"ISBLANK({kind})", '""'),
        (f'IF({kind}="drilling",{start}>=IF(shape="flat",MIN(size,thickness),size)*(1-1E-9),FALSE)', '"! drill as large as the bar"'),
        (f"{start}>across_corners*1.002", '"! larger than the bar"'),
        (f"{c}length>2*part_length", '"! longer than the part"'),
        (f"IF(speed_allowed>0,{c}top_speed>speed_allowed,FALSE)", '"! above the max. speed"'),
        (f'IF({kind}="threading",OR({feed}>0.35*{start},{feed}<0.006*{inch}),FALSE)', '"! pitch in the right unit?"'),
        (f"IF(ISNUMBER({usual_feed}),OR({feed}>5*{usual_feed},{feed}*20<{usual_feed}),FALSE)",
         f'"! feed "&IF({feed}>{usual_feed},{number_text(f"{feed}/{usual_feed}", 0)}&" x the suggestion","a "&{number_text(f"{usual_feed}/{feed}", 0)}&"th of the suggestion")'
         '&": right unit?"'),
        (f"IF(ISNUMBER({usual_speed}),{c}surface_speed>3*{usual_speed},FALSE)",
         f'"! speed "&{number_text(f"{c}surface_speed/{usual_speed}", 1)}&" x the suggestion: right unit?"'),
        (f"IF(ISNUMBER({usual_passes}),IF({one_pass}*2<{usual_passes},{not_single}=0,FALSE),FALSE)",
         f'"! passes: single point usually "&{usual_passes}&" at this pitch"'),
        (f'IF({kind}="threading",IF(feed_allowed=0,{way}>{_FAST_THREAD}*{inch},FALSE),FALSE)',
         f'"! threading at "&{number_text(way, 0)}&IF(units="mm"," mm/min"," in/min")&": can the lathe?"'),
        (f"IF({limit}=0,{speed}>{_FAST_SPINDLE},FALSE)", f'"! "&{number_text(speed, 0)}&" rpm: max. speed?"'),
        (f'IF({kind}="drilling",IF({c}length>{_DEEP_HOLE}*{start},IF({one_pass}=1,{c}extra_time=0,FALSE),FALSE),FALSE)',
         f'"! "&{number_text(f"{c}length/{start}", 0)}&" diameters deep: time for pecks?"'),
        (f'IF(OR({kind}="facing",{kind}="cut-off",{kind}="turning"),IF({start}>={width}*(1-1E-6),{start}<across_corners*0.99,FALSE),FALSE)',
         f'"! starts at the corners: "&{number_text("across_corners", 3)}'),
        (f"IF({limit}>0,{speed}>={limit},FALSE)",
         f'"i held at "&{number_text(speed, 0)}&" rpm by the max. "&IF(feed_allowed=0,"speed",IF({way}>=feed_allowed*(1-1E-9),"feed","speed"))'),
    )
    mark = '""'
    for condition, words in reversed(cases):
        mark = f"IF({condition},{words},{mark})"
    return mark


OPERATION_LOOKS = Answer("operation_looks", "rows of the operation list that do not look like this part", "count",
                         formula="+".join(f'(LEFT(op_{n}_mark,1)="!")' for n in OPERATIONS))
_BESIDE_CUTS = "tool_changes*tool_change_time+rapid_time+bar_feed_time"
NOT_COUNTED = Answer("not_counted", "what the operation list leaves out beside the cuts", "text", formula="&".join(
    f'IF({condition},"{words}, ","")' for condition, words in (
        ("tool_changes*tool_change_time=0", "tool changes"), ("rapid_time=0", "rapid moves"), ("bar_feed_time=0", "bar feed"))))
LIMITS = (
    Answer("speed_allowed", "max. speed of the job, 0 for none", "count", "rpm", "IF(ISBLANK(top_speed),0,top_speed)"),
    Answer("feed_allowed", "max. feed of the job, 0 for none", "general", "feed_speed", "IF(ISBLANK(max_feed),0,max_feed)"),
)
CYCLE = (
    Answer("cutting_time", "Operations", "rate", "seconds", formula="+".join(f"op_{n}_time" for n in OPERATIONS)),
    Answer("listed_cycle", "Cycle time from the operation list", "rate", "seconds",
           formula="IF(cutting_time>0,CYCLE_TIME_OF(cutting_time,tool_changes,tool_change_time,rapid_time,bar_feed_time),NA())"),
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
    Answer("like_dollars", "1 where the currency is worth about a dollar", "count",
           formula="IF(OR(" + ",".join(f'currency_shown="{c}"' for c in plausible.LIKE_A_DOLLAR) + "),1,0)"),
    Answer("each_weight", "weight of a finished part", "weight_per_length", "weight",
           formula=EACH_WEIGHT),
    Answer("gross_weight", "weight of what one part uses of the bar", "weight_per_length", "weight",
           formula="section_weight*bar_per_part"),
    Answer("trim_weight", "weight of one end trim", "weight_per_length", "weight", formula="section_weight*end_trim"),
    Answer("currency_shown", "currency on the quote", "text",
           formula='IF(ISBLANK(currency),IF(shop_currency="","$",shop_currency),currency)'),
    SETTING_RATE,
    Answer("margin_counted", "margin, where either margin or markup is given", "percent",
           formula="IF(OR(AND(ISBLANK(margin),ISBLANK(markup)),margin*markup>0),NA(),margin)"),
    Answer("what_if", "quantity for the what-ifs", "count", "parts",
           formula="IF(ISBLANK(what_if_quantity),quantity_1,what_if_quantity)"),
    Answer("parts_per_bought", "parts from a bar that is bought", "count", "parts", formula="parts_per_bar*blanks_each"),
    Answer("cycle_longer", "cycle time and 1 second", "rate", "seconds", formula="cycle+1"),
    Answer("scrap_more", "scrap rate and 1 %", "percent", "", formula="scrap_rate+0.01"),
    Answer("price_more", "price of the material and 10 %", "money_each", "price_per", formula="material_price*1.1"),
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

FORM = Form("quote_", (i for group in (*INPUTS.values(), QUANTITIES, (WHAT_IF, TOOL), CYCLE_INPUTS, LETTER) for i in group),
            (a for group in (*COSTING.values(), STEPS, *(_operation(n) for n in OPERATIONS), *BREAK_ANSWERS.values(),
                             *WHOLE_ANSWERS.values(), *WHAT_IF_ANSWERS.values(), COSTS_MORE, PRICE_CHECKS, (OPERATION_LOOKS, NOT_COUNTED), LIMITS) for a in group))
RESULTS = ("parts_per_bar", "bar_weight", "cycle",
           *(f"{name}_{n}" for n in BREAKS for name in ("bars", "whole", "cost_each", "price", "total")))
"""The answers that go into a table of results, besides the inputs that say which quote it is."""
STILL_SHEETS: tuple[str, ...] = (speeds_sheet.TITLE,)
"""Sheets with formulas that no input bears on: they are calculated once."""
ALL_INPUTS: dict[str, Input] = {**FORM.inputs, **{i.name: i for i in (*OPERATION_INPUTS, *OPERATION_NOTES)}}
RULES = every_order.RULES


_COSTS = ("material_used", "machine_cost", "setup_cost", "other_cost")
CREDIT_TOO_HIGH = "has no price: chips and remnants would bring more than everything else costs"
_TOO_HIGH = "+".join(f"IFERROR(--(scrap_credit_{n}>{'+'.join(f'{line}_{n}' for line in _COSTS)}),0)" for n in BREAKS)
_MOST_TO_MAKE = "MAX(" + ",".join(f"IF(ISBLANK(quantity_{n}),0,parts_to_make_{n})" for n in BREAKS) + ")"

CHECKS = (
    WHOLE_PARTS,
    SECTION,
    plausible.UNITS,
    plausible.LENGTHS,
    plausible.STICKOUT,
    Check("Feeder", (
        TOO_WIDE,
        SAW_STOP,
        *feeder_takes("bar_length"),
    )),
    Check("Part weight", (
        ("IF(ISBLANK(part_weight),FALSE,part_weight>section_weight*part_length*(1+1E-9))", STOP,
         '"A finished part can\'t weigh more than the bar over its length."'),
        ("ISBLANK(part_weight)", NOTE, '"Not filled in: the credit for chips is reckoned with parts as heavy as the bar over '
                                       'their length, so it is on the low side."'),
        ("TRUE", OK, f'"A finished part weighs "&{number_text("100*part_weight/(section_weight*part_length)", 0)}&" % of the bar over its length."'),
    ), long=True),
    Check("Operations", (
        ("operation_looks>0", LOOK, '"Sheet Operations: a row does not look like this part, see the mark beside it."'),
        ("cutting_time=0", NOTE, '"There is no operation list; the cycle time is as filled in."'),
        (f"IF(ISBLANK(cycle_time),{_BESIDE_CUTS}+SUM(operation_extra_times)=0,FALSE)", LOOK,
         '"Sheet Operations: the list counts cuts alone. Missing: "&LEFT(not_counted,LEN(not_counted)-2)&"."'),
        ("IF(ISBLANK(cycle_time),(tool_changes>0)+(tool_change_time>0)=1,FALSE)", LOOK,
         'IF(tool_changes>0,"Sheet Operations: "&tool_changes&" tool changes at 0 s each.","Sheet Operations: a tool change takes "'
         f'&{number_text("tool_change_time", 1)}&" s, but none is counted.")'),
        ("TRUE", OK, '"Diameters, lengths and spindle speeds were held against bar, part and machine"&IF(material_group="","; no speeds '
                     'and feeds to compare with are known for this material.",", speeds and feeds against the sheet Speeds.")'
                     '&IF(not_counted="",""," Not counted: "&LEFT(not_counted,LEN(not_counted)-2)&".")'),
    ), long=True),
    plausible.times_check(
        "cycle", "ISERROR(cycle)",
        ("IF(OR(setup_hours>0,ISERROR(cycle)),0,2)", LOOK, '"No set-up time is counted."'),
        ("IF(ISBLANK(cycle_time),0,IF(ISNUMBER(listed_cycle),2,0))", LOOK,
         f'"The cycle time that is filled in counts, "&{number_text("cycle_time", 1)}&" s; the operation list gives "'
         f'&{number_text("listed_cycle", 1)}&" s."'),
    ),
    plausible.prices_check("like_dollars>0"),
    Check("Price", (
        ("margin*markup>0", STOP, '"Give a margin or a markup, not both."'),
        (f"{_TOO_HIGH}>0", STOP, f'"A quantity {CREDIT_TOO_HIGH}."'),
        ("price_is_nothing>0", STOP, '"The price each is rounded down to nothing: choose a finer rounding."'),
        ("material_price*machine_rate=0", LOOK, '"The price of the material or the machine rate is 0."'),
        ('AND(currency<>"",shop_currency<>"",currency<>shop_currency)', LOOK,
         '"The quote is in "&currency&", the sheet Shop in "&shop_currency&": nothing is converted."'),
        ("below_cost>0", LOOK, '"Rounding brings a price below the cost."'),
        *plausible.PROFIT_CASES,
        ('rounding="none"', LOOK, '"The price each is not rounded: what is shown times the quantity may differ from the total."'),
        ("margin+markup=0", LOOK, '"Neither margin nor markup: the price is the cost."'),
        ("TRUE", OK, '"No price each is below its cost. "&IF(margin>0,"The margin is a share of the price.","The markup is a share of the cost.")'),
    )),
    Check("Quantities", (
        ("IFERROR(MODE(quote_quantities),0)>0", LOOK, '"Quantity "&MODE(quote_quantities)&" stands twice."'),
        *plausible.SCRAP_CASES,
        ("IF(COUNT(quote_quantities)>0,setup_parts>MIN(quote_quantities),NA())", LOOK,
         '"Set-up pieces, "&setup_parts&", are more than the smallest quantity, "&MIN(quote_quantities)&"."'),
        *plausible.more_than_ordered("MAX(quote_quantities)", _MOST_TO_MAKE),
        ("costs_more>0", LOOK, '"A larger quantity costs more each than a smaller one, because whole bars are bought and '
                                 'little of the last one is used, or scrap makes one part more: see the sheet Prices."'),
        ("TRUE", OK, '"No larger quantity costs more each than a smaller one."'),
    ), long=True),
    plausible.QUOTATION,
    MATERIAL,
)
_MORE_PROBLEMS = (
    *PROBLEMS,
    KERF_MISSING,
    ("AND(ISERROR(cutting_time),NOT(ISERROR(units)))", "operation list"),
    ("AND(ISBLANK(cycle_time),NOT(ISERROR(cutting_time)),ISERROR(listed_cycle))", "cycle time (or the operation list)"),
    ("AND(ISBLANK(margin),ISBLANK(markup))", "margin (or markup; 0 % counts)"),
)


def _costing_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Costing", {"A": 1.5, "B": 29, "C": 21, "D": 17, "E": 2.5, "F": 34, "G": 13, "H": 11})
    layout.put(sheet, "B1", "Quote: costing", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "Fill the framed cells; those marked * are needed. For the customer print the sheet Quotation "
                            "alone, not the workbook.", color=layout.SOFT, size=9)
    layout.put(sheet, "F1", '=IFERROR(IF(job="","",job&"   ")&IF(part_number="","",part_number),"")', size=12, bold=True,
               shrink=True)
    sheet.merge_cells("F1:H1")
    FORM.put_status(book, sheet, "B3", "quote")
    sheet.merge_cells("B3:H3")
    sheet.row_dimensions[3].height = 30
    row = 5
    for title, items in INPUTS.items():
        layout.heading(sheet, "B", "D", row, title)
        row += 1
        for item in items:
            FORM.put_input(book, sheet, item.name, "BCD", row)
            row += 1
    inputs_end = row
    row = 5
    layout.heading(sheet, "F", "H", row, "Quantities, and the price each")
    for n in BREAKS:
        row += 1
        item = FORM.inputs[f"quantity_{n}"]
        layout.put(sheet, f"F{row}", item.label + (" *" if item.needed else ""))
        put_framed(book, sheet, item, f"G{row}")
        layout.style_answer(sheet, f"H{row}", "price", bold=True)
        sheet[f"H{row}"].value = f'=IF(ISBLANK(quantity_{n}),"",quote_price_{n})'
    layout.name_cell(book, "quote_quantities", sheet, f"G6:G{row}")
    layout.quiet_errors(sheet, f"H6:H{row}")
    row += 1
    for title, answers in COSTING.items():
        layout.heading(sheet, "F", "H", row, title)
        row += 1
        for answer in answers:
            FORM.put_answer(book, sheet, answer.name, "FGH", row)
            row += 1
    layout.quiet_errors(sheet, f"G13:G{row}")
    for line in range(5, inputs_end):
        sheet.row_dimensions[line].height = 15.5
    row = FORM.put_checks(book, sheet, CHECKS, inputs_end + 1)
    layout.put(sheet, f"B{row + 1}", "Times and prices are for planning. Before parts are made, the machine's manual, the shop's "
               "rules, local codes and licensed engineers come first.", italic=True, color=layout.SOFT, size=9)
    sheet.print_area = f"A1:H{row + 1}"


def _operations_sheet(book: Workbook) -> None:
    widths = {"A": 1.5, "B": 31, "C": 12, **dict.fromkeys("DEF", 9.5), "G": 10, "H": 9.5, "I": 9, "J": 8, "K": 8, "L": 9, "M": 9.5,
              **dict.fromkeys("NO", 11), "P": 10, "Q": 40}
    sheet = layout.add_sheet(book, "Operations", widths, landscape=True)
    layout.put(sheet, "B1", "Operation list", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "One row for each operation of one part, in any order; leave the rest blank. The cycle time below "
                            "counts unless one is filled in on the sheet Costing.", color=layout.SOFT, size=9)
    layout.heading(sheet, "B", "Q", 4, "")
    sheet.row_dimensions[4].height = 28
    units = ("", "length", "length", "length", "surface_speed", "feed_rate", "rpm", "", "seconds")
    heads = [("B", "What", ""), *zip("CDEFGHIJK", OPERATION_COLUMNS.values(), units, strict=True), ("L", "Time", "seconds"), ("M", "Spindle speed", "rpm"),
             ("N", "Suggested speed", "surface_speed"), ("O", "Suggested feed", "feed_rate"), ("P", "Usual passes", ""), ("Q", "Mark", "")]
    for column, head, unit in heads:
        layout.put(sheet, f"{column}4", head, bold=True, color=layout.ACCENT, align="left" if column in "BCQ" else "right", wrap=True,
                   indent=int(column == "Q"))
        layout.put(sheet, f"{column}5", unit_text(unit) or None, color=layout.SOFT, size=9, align="right")
    first, last = 6, 5 + len(OPERATIONS)
    inputs = {i.name: i for i in (*OPERATION_INPUTS, *OPERATION_NOTES)}
    for n, row in zip(OPERATIONS, range(first, last + 1), strict=True):
        put_framed(book, sheet, inputs[f"op_{n}_note"], f"B{row}")
        for column, name in zip("CDEFGHIJK", OPERATION_COLUMNS, strict=True):
            put_framed(book, sheet, inputs[f"op_{n}_{name}"], f"{column}{row}")
        for column, name, number in (("L", "time", "0.00;-0.00;"), ("M", "speed", "#,##0;-#,##0;")):
            FORM.put_value(book, sheet, f"op_{n}_{name}", f"{column}{row}")
            sheet[f"{column}{row}"].number_format = number
        layout.put(sheet, f"R{row}", "=" + FORM.expression(row_of(f"op_{n}_operation")), size=1, color="FFFFFF")
        layout.name_cell(book, f"speeds_row_{n}", sheet, f"R{row}")
        suggestions = (("N", "speed", suggested_speed(f"speeds_row_{n}")), ("P", "passes", _usual_passes(n)),
                       ("O", "feed", suggested_feed(f"speeds_row_{n}", f"op_{n}_operation", f"op_{n}_start_diameter")))
        for column, what, formula in suggestions:
            layout.put(sheet, f"{column}{row}", "=" + FORM.expression(formula), size=9, color=layout.SOFT, align="right")
            layout.name_cell(book, f"usual_{what}_{n}", sheet, f"{column}{row}")
        FORM.put_value(book, sheet, f"op_{n}_mark", f"Q{row}")
        layout.put(sheet, f"Q{row}", sheet[f"Q{row}"].value, bold=True, color=layout.ACCENT, size=9, indent=1)
        sheet[f"Q{row}"].border = Border()
        sheet.row_dimensions[row].height = 17
    layout.name_cell(book, "operation_marks", sheet, f"Q{first}:Q{last}")
    layout.name_cell(book, "operation_extra_times", sheet, f"K{first}:K{last}")
    layout.quiet_errors(sheet, f"L{first}:M{last}")
    row = last + 2
    layout.heading(sheet, "B", "D", row, "Cycle time")
    row += 1
    FORM.put_input(book, sheet, TOOL.name, "BCD", row)
    for item in CYCLE_INPUTS:
        row += 1
        FORM.put_input(book, sheet, item.name, "BCD", row)
    for name in ("cutting_time", "listed_cycle", "cycle"):
        row += 1
        layout.put(sheet, f"B{row}", FORM.answers[name].label)
        layout.style_answer(sheet, f"C{row}", "rate")
        sheet[f"C{row}"].value = f"=quote_{name}"
        layout.put(sheet, f"D{row}", "s", color=layout.SOFT, size=9, indent=1)
    layout.quiet_errors(sheet, f"C{row - 2}:C{row}")
    row = last + 2
    layout.heading(sheet, "G", "Q", row, "What each operation needs")
    for text in (
        "turning: start diameter, length, surface speed, feed. For boring give the finished bore as the start diameter: the largest that is cut.",
        "facing and cut-off: start and end diameter (0 = to the center), surface speed, feed, max. speed.",
        '="A bar that is not round starts at its corners"&IFERROR(IF(quote_across_corners>use_size*(1+1E-9),": this one at "&'
        f'{number_text("quote_across_corners", 3)}&{UNIT_SUFFIX},""),"")&"."',
        "drilling: start diameter = the drill's, length = full depth (a 118 degree point is added), surface speed, feed.",
        "threading: start diameter, length with run-in and run-out, surface speed, feed = the pitch, passes. A tap or a die: say so under What.",
        "other: extra time alone. Extra time counts for each pass. Max. speed, where given, holds for all; so does the max. feed for a thread.",
        "Suggested speeds and feeds come from the sheet Speeds, for the material's group: where to start, and yours to change there.",
        "Usual passes: for external threads with a single-point tool, as published by a maker of such tools.",
        "Never above the speed limits of workholding, feeder and bar; the machine's manual comes first.",
    ):
        row += 1
        layout.put(sheet, f"G{row}", text, size=9)
    sheet.print_area = f"A1:Q{row + 1}"


_LINES = ("parts_to_make", "sure", "bars", "bought", "material_cost", "rack_value", "scrap_credit", "machine_cost", "setup_cost", "other_cost", "order_cost",
          "cost_each", "margin", "price", "total")
_STRONG = ("order_cost", "price", "total")


def _prices_sheet(book: Workbook) -> None:
    sheet = layout.add_sheet(book, "Prices", {"A": 1.5, "B": 35, **dict.fromkeys("CDEFGH", 14.5), "I": 10}, landscape=True)
    layout.put(sheet, "B1", "Prices at six quantities", size=18, bold=True, color=layout.ACCENT)
    sheet.row_dimensions[1].height = 26
    layout.put(sheet, "B2", "=quote_status", bold=True, wrap=True)
    sheet.merge_cells("B2:I2")
    sheet.row_dimensions[2].height = 28
    layout.heading(sheet, "B", "I", 4, "Cost and price of an order")
    layout.put(sheet, "I4", "=quote_currency_shown", color=layout.SOFT, indent=1, shrink=True)
    columns = dict(zip(BREAKS, "CDEFGH", strict=True))
    layout.put(sheet, "B5", "Quantity", bold=True)
    for n, column in columns.items():
        layout.style_answer(sheet, f"{column}5", "count", bold=True)
        sheet[f"{column}5"].value = f'=IF(ISBLANK(quantity_{n}),"",use_quantity_{n})'
    row = price_row = 5
    for name in _LINES:
        row += 1
        answer = FORM.answers[f"{name}_1"]
        layout.put(sheet, f"B{row}", answer.label.removesuffix(" at quantity 1"), bold=name in _STRONG)
        price_row = row if name == "price" else price_row
        for n, column in columns.items():
            FORM.put_value(book, sheet, f"{name}_{n}", f"{column}{row}", bold=name in _STRONG)
    row += 1
    layout.put(sheet, f"B{row}", "Note")
    for n, column in columns.items():
        layout.put(sheet, f"{column}{row}", f'=IF(IFERROR(quote_costs_more_{n},0)>0,"{LOOK} costs more each","")', size=9, bold=True,
                   color=layout.ACCENT, align="right")
    row += 2
    layout.heading(sheet, "B", "I", row, "The same bars used up")
    for name, label in (("whole", "Most good parts from these bars"), ("cost_each_whole", "Cost each"),
                        ("price_whole", "Price each"), ("total_whole", "Order total")):
        row += 1
        layout.put(sheet, f"B{row}", label, bold=name == "price_whole")
        for n, column in columns.items():
            FORM.put_value(book, sheet, f"{name}_{n}", f"{column}{row}", bold=name == "price_whole")
    for n, column in columns.items():
        # A quantity that is not asked for leaves its column blank.
        sheet.conditional_formatting.add(f"{column}6:{column}{row}", layout.rule_where(
            f"ISBLANK(quantity_{n})", font=Font(color="FFFFFF"), stopIfTrue=True))
        layout.quiet_errors(sheet, f"{column}6:{column}{row}")
    row += 2
    first = row
    layout.heading(sheet, "B", "F", row, "What if, before rounding")
    row += 1
    FORM.put_input(book, sheet, WHAT_IF.name, "BCD", row)
    row += 1
    for column, head in zip("CDEF", ("Price each", "Change", "Change in %", "Bars to buy"), strict=True):
        layout.put(sheet, f"{column}{row}", head, size=9, color=layout.SOFT, align="right")
    for tag, (label, _) in WHAT_IFS.items():
        row += 1
        layout.put(sheet, f"B{row}", label)
        FORM.put_value(book, sheet, f"price_if_{tag}", f"C{row}")
        FORM.put_value(book, sheet, f"change_{tag}", f"D{row}")
        sheet[f"D{row}"].number_format = "+#,##0.0000;-#,##0.0000;0"
        FORM.put_value(book, sheet, f"change_share_{tag}", f"E{row}")
        sheet[f"E{row}"].number_format = "+0.0%;-0.0%;0.0%"
        FORM.put_value(book, sheet, f"bars_said_{tag}", f"F{row}")
        sheet[f"F{row}"].alignment = Alignment(horizontal="right", vertical="center")
    layout.quiet_errors(sheet, f"C{first + 3}:E{row}")
    _price_chart(sheet, first, price_row)
    sheet.print_area = f"A1:I{max(row, first + 14)}"


def _price_chart(sheet: Worksheet, row: int, price_row: int) -> None:
    """Price each against quantity, from the smallest quantity to the largest whatever the order they are filled in."""
    layout.put(sheet, f"K{row}", "For the chart", size=9, color=layout.SOFT)
    layout.put(sheet, f"K{row + 1}", "quantity", size=9, color=layout.SOFT)
    layout.put(sheet, f"L{row + 1}", "price each", size=9, color=layout.SOFT)
    first, last = row + 2, row + 1 + len(BREAKS)
    for n, line in zip(BREAKS, range(first, last + 1), strict=True):
        sheet[f"K{line}"].value = f"=IF(ISERROR(SMALL(quote_quantities,{n})),NA(),SMALL(quote_quantities,{n}))"
        sheet[f"L{line}"].value = f"=INDEX($C${price_row}:$H${price_row},1,MATCH(K{line},quote_quantities,0))"
        for column in "KL":
            sheet[f"{column}{line}"].font = layout.font(9, color=layout.SOFT)
    layout.quiet_errors(sheet, f"K{first}:L{last}")
    chart = ScatterChart()
    chart.style = 2
    chart.scatterStyle = "lineMarker"
    series = Series(Reference(sheet, min_col=12, min_row=first, max_row=last),
                    Reference(sheet, min_col=11, min_row=first, max_row=last), title="Price each")
    series.marker = Marker("circle", size=8)
    series.marker.graphicalProperties.solidFill = layout.ACCENT
    series.marker.graphicalProperties.line.solidFill = layout.INK
    series.graphicalProperties.line.solidFill = layout.INK
    series.graphicalProperties.line.width = 15875
    series.smooth = False
    chart.series.append(series)
    chart.legend = None
    chart.x_axis.title, chart.y_axis.title = "Quantity", "Price each"
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.scaling.min = chart.y_axis.scaling.min = 0
    chart.x_axis.number_format, chart.y_axis.number_format = "#,##0", "#,##0.00"
    chart.x_axis.majorGridlines = None
    chart.width, chart.height = 8.3, 6.6  # type: ignore[assignment]
    sheet.add_chart(chart, f"G{row}")


def _customer_sheet(book: Workbook) -> None:
    """One page for the customer. What is filled in for it stands beside the page, outside what is printed."""
    widths = {"A": 1.5, "B": 22, "C": 20, "D": 20, "E": 26, "F": 3, "G": 22, "H": 44, "I": 4}
    sheet = layout.add_sheet(book, "Quotation", widths)
    layout.heading(sheet, "G", "I", 2, "Fill in for this page (not printed)")
    for row, item in enumerate(LETTER, start=3):
        FORM.put_input(book, sheet, item.name, "GHI", row)
        sheet[f"H{row}"].number_format = "yyyy-mm-dd" if item.name in ("quote_date", "valid_until") else "General"
    layout.put(sheet, "G18", "Print or export this sheet alone, then send that: the workbook holds your costs.", bold=True, color=layout.ACCENT)
    layout.put(sheet, "B1", _shown("seller"), size=16, bold=True, color=layout.ACCENT, shrink=True)
    sheet.row_dimensions[1].height = 24
    layout.put(sheet, "B2", _shown("seller_address"), color=layout.SOFT, shrink=True)
    layout.put(sheet, "B3", _shown("seller_contact"), color=layout.SOFT, shrink=True)
    for row in (1, 2, 3):
        sheet.merge_cells(f"B{row}:E{row}")
    layout.put(sheet, "B5", "Quotation", size=18, bold=True)
    sheet.row_dimensions[5].height = 26
    layout.put(sheet, "B6", f'=IF(quote_problems<>"","{STOP}  Not ready to send. Fill in or correct: "&LEFT(quote_problems,'
                            f'LEN(quote_problems)-2)&".",IF(LEFT(quote_status,{len(STOP)})="{STOP}","{STOP}  Not ready to send: '
                            'see the sheet Costing.",""))', bold=True, color=layout.ACCENT, wrap=True)
    sheet.merge_cells("B6:E6")
    sheet.row_dimensions[6].height = 44
    described = '=IFERROR(IF(ISBLANK(material_line),IF(ISBLANK(material),"",material&", "&shape&" "&' \
                f'{SIZE_TEXT}&{UNIT_SUFFIX}),material_line),"")'
    facts = (("Number", _shown("quote_number")), ("Date", _shown("quote_date")), ("Valid until", _shown("valid_until")),
             ("Customer", _shown("customer")), ("Attention", _shown("attention")),
             ("Part", _shown("part_description")), ("Part number", _shown("part_number")),
             ("Drawing", '=IF(drawing="","",drawing&IF(revision="",""," revision "&revision))'),
             ("Material", described), ("Certificates", _shown("certificate_line")))
    row = 7
    for label, formula in facts:
        layout.put(sheet, f"B{row}", f'=IF(C{row}="","","{label}")', size=11, color=layout.SOFT)
        layout.put(sheet, f"C{row}", formula, size=11, shrink=True)
        sheet.merge_cells(f"C{row}:E{row}")
        sheet.row_dimensions[row].height = 18
        if label in ("Date", "Valid until"):
            sheet[f"C{row}"].number_format = "yyyy-mm-dd"
        row += 1
    row += 1
    money = '", "&quote_currency_shown'
    for column, head in (("B", '="Quantity"'), ("C", f'="Price each"&{money}'), ("D", f'="Total"&{money}')):
        layout.put(sheet, f"{column}{row}", head, size=11, bold=True, color=layout.ACCENT, align="right", shrink=True)
    for column in "BCD":
        sheet[f"{column}{row}"].border = Border(bottom=Side(style="medium", color=layout.ACCENT))
    for n in BREAKS:
        row += 1
        sheet.row_dimensions[row].height = 20
        wanted = f'IF(OR(ISBLANK(quantity_{n}),$B$6<>""),"",'
        for column, formula, number in (("B", f"use_quantity_{n}", "count"), ("C", f"quote_price_{n}", "price"),
                                        ("D", f"quote_total_{n}", "money")):
            layout.put(sheet, f"{column}{row}", f"={wanted}{formula})", size=11, align="right", number=number,
                       bold=column == "C")
    layout.quiet_errors(sheet, f"B{row - len(BREAKS) + 1}:D{row}")
    row += 2
    for label, name in (("Delivery", "delivery"), ("Terms", "terms"), ("Remark", "remark")):
        layout.put(sheet, f"B{row}", f'=IF(C{row}="","","{label}")', size=11, color=layout.SOFT, wrap=True)
        layout.put(sheet, f"C{row}", _shown(name), size=11, wrap=True)
        sheet.merge_cells(f"C{row}:E{row}")
        sheet.row_dimensions[row].height = 30
        row += 1
    sheet.print_area = f"A1:E{row}"


def _shown(name: str) -> str:
    return f'=IF(ISBLANK({name}),"",{name})'


def customer_page() -> Workbook:
    """A workbook that has the customer's page alone."""
    book = layout.new_workbook("Quotation")
    _customer_sheet(book)
    return book


def objections(inputs: Mapping[str, Any], answers: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Why these inputs give no quote: (input, reason)."""
    if answers["parts_per_bar"] == 0:
        return [("part_length", NO_WHOLE_PART)]
    if inputs["part_weight"] is not None and isinstance(answers["each_weight"], CellError):
        return [("part_weight", PART_TOO_HEAVY)]
    if inputs["margin"] is not None and inputs["markup"] is not None and inputs["margin"] * inputs["markup"]:
        return [("markup", "give a margin or a markup, not both")]
    for n in BREAKS:
        if inputs[f"quantity_{n}"] is not None and isinstance(answers[f"price_{n}"], CellError):
            lines = [answers[f"{line}_{n}"] for line in ("scrap_credit", *_COSTS)]
            numbers = [line for line in lines if isinstance(line, float)]
            too_high = len(numbers) == len(lines) and numbers[0] > sum(numbers[1:])
            return [(f"quantity_{n}", CREDIT_TOO_HIGH if too_high else "has no price: its bars, hours or costs are beyond all limits")]
    return []


@functools.lru_cache(maxsize=8)
def build(shop: Shop | None = None) -> bytes:
    """The template as the bytes of an xlsx file, without calculated values. The same on every day and machine.

    `shop` fills its sheet Shop, from which a job picks its machine, prices and rates.
    """
    book = layout.new_workbook("Quote")
    _costing_sheet(book)
    _operations_sheet(book)
    _prices_sheet(book)
    _customer_sheet(book)
    shop_sheet(book, FORM, shop)
    materials_sheet(book)
    speeds_sheet.speeds_sheet(book, shop.speeds if shop else None)
    notes_sheet(book, FORM, (
        "Cost build-up, margin and markup: common practice of the trade, worked out as said above, no source.",
        "Usual passes of a thread: as published by a maker of cutting tools, external metric threads. What asks for a second look at an "
        "operation: common practice, no source.",
        "Half a rounding step goes up. The order total is the rounded price each times the quantity.",
    ), (f"price_{n}" for n in BREAKS), _MORE_PROBLEMS)
    return pack(layout.parts_of(book))
