"""What else a quote costs: outside and second operations, inspection, packing; and how its price is shown."""

from barfuncs.catalogue import kinds
from barfuncs.functions.outside import charged
from barfuncs.templates import plausible
from barfuncs.templates.cell_text import UNIT_SUFFIX, fixed_text
from barfuncs.templates.every_order import SIZE_TEXT
from barfuncs.templates.model import LOOK, NOTE, OK, Answer, Check, Missing, RowAnswer, Table, make_column
from barfuncs.templates.plausible import VALID_UNTIL
from barfuncs.templates.quote.brackets import BRACKETS
from barfuncs.templates.quote.inputs import BREAKS, OF_THE_SHOP

_BY_AREA = tuple(per for per in kinds.PROCESS_BASES if per.endswith("2"))
_EACH = "PROCESS_COST(1,proc_rate,proc_rate_per,each_weight,surface_area,proc_time_each,0,0,units)"


def _charged(quantity: str) -> str:
    """Cell expression: what each process costs at a quantity, as `process_cost` has it."""
    return charged(f"(proc_each*{quantity}+proc_lot)", "proc_minimum", "proc_freight")


PROCESSES = Table(
    name="processes",
    item="proc",
    label="Outside and second operations",
    row_label="Process",
    rows=6,
    columns=(
        make_column("note", "What", kinds.Text, "what is done, and by whom: plating, heat treatment, deburring, washing", width=31),
        make_column("rate", "Rate", kinds.Money, needed=True, width=17),
        make_column("rate_per", "Rate is for", kinds.ProcessPer, needed=True, width=13),
        make_column("time_each", "Time for a part", kinds.Seconds, "time that the work takes for one part, where the rate is by the hour",
                    blank=0, width=11),
        make_column("minimum", "Minimum", kinds.Money, unit="the lot", blank=0, width=11),
        make_column("freight", "Freight", kinds.Money, unit="the lot", blank=0, width=11),
    ),
    answers=(
        RowAnswer("first", "At quantity 1", "blank_or_seconds", "the lot", f"IF(proc_filled=0,0,IF(quantity_1>0,{_charged('quantity_1')},NA()))",
                  width=12),
        RowAnswer("each", "For each part", "money_each", "each",
                  f'IF(proc_filled=0,0,IF(ISBLANK(proc_rate_per),NA(),IF(proc_rate_per="lot",0,{_EACH})+proc_sound))', aside=True),
        RowAnswer("lot", "For the lot", "money", "the lot",
                  'IF(proc_filled=0,0,IF(ISBLANK(proc_rate_per),NA(),IF(proc_rate_per="lot",proc_rate,0)+proc_sound))', aside=True),
    ),
    wrong_if=(
        (f"IF(OR({','.join(f'proc_rate_per={chr(34)}{per}{chr(34)}' for per in _BY_AREA)}),IFERROR(surface_area=0,FALSE),FALSE)", "surface of a part is missing"),
        ('IF(proc_rate_per="hour",proc_time_each=0,FALSE)', "time for a part is missing"),
    ),
    looks=(
        ('IF(proc_rate_per="hour",FALSE,proc_time_each>0)', '"! the time counts only where the rate is for an hour"'),
        ("proc_rate+proc_minimum+proc_freight=0", '"! costs nothing"'),
        ("IF(quantity_1>0,proc_minimum>(proc_each*quantity_1+proc_lot)*(1+1E-9),FALSE)", '"i the minimum counts at quantity 1"'),
    ),
    marks_width=34,
)
BOX_TOO_SMALL = Missing("IF(IFERROR(box_weight>0,FALSE),IFERROR(each_weight>box_weight*(1+1E-9),FALSE),FALSE)", "parts in a box weigh at most",
                        "one part weighs more", "box_weight")
INSPECTION_RATE_MISSING = Missing("AND(IFERROR(inspection_time>0,FALSE),ISBLANK(inspection_rate))", "rate for inspection", input="inspection_rate")


def _formulas(tag: str, quantity: str) -> tuple[str, str, str]:
    """Cell expressions: what outside work, inspection and packing of an order cost."""
    return (
        f"IF(process_used=0,0*{quantity},SUMPRODUCT({_charged(quantity)}))",
        f"IF(inspection_time=0,0*{quantity},INSPECTION_COST(PARTS_INSPECTED(parts_to_make_{tag},first_off,every,"
        f"IF(aql=0,0,SAMPLE_SIZE({quantity},aql,inspection_level))),inspection_time,inspection_rate))",
        f"IF(parts_in_box=0,0*{quantity},PACKING_COST({quantity},parts_in_box,box_cost))",
    )


def lines_of(tag: str, quantity: str, of: str) -> tuple[Answer, ...]:
    """What an order costs beside bar, lathe and tools, line by line."""
    labels = ("Outside and second operations", "Inspection", "Packing")
    return tuple(Answer(f"{name}_{tag}", f"{label} {of}", "money", "order", formula)
                 for name, label, formula in zip(LINES, labels, _formulas(tag, quantity), strict=True))


def together(tag: str, quantity: str) -> str:
    """Cell expression: the same in one, where no line is shown. Each cell is felt by every recalculation."""
    return f"IF(more_used=0,0*{quantity},{'+'.join(_formulas(tag, quantity))})"


LINES = ("process_cost", "inspection_cost", "packing_cost")
_ONCE = f'setup_priced="{kinds.SETUP_PRICED[1]}"'


def _once(cost: str) -> str:
    """Cell expression: what is charged for a cost that is a line of its own, to the nearest 0.01."""
    return f"IF({_ONCE},COUNT_DOWN({cost}/(1-margin_counted)*(1+markup)*100+0.5)/100,0)"


STEPS = (
    *(Answer(f"{name}_said", f"{name.replace('_', ' ')} on the customer's page", "text", formula=f"IF(ISBLANK({name}),shop_{name},{name})")
      for name in OF_THE_SHOP),
    Answer("valid_said", "last day on the customer's page", "text",
           formula=VALID_UNTIL),
    Answer("material_said", "material on the customer's page", "text",
           formula='IFERROR(IF(material_line<>"",material_line,IF(material="","",material&", "&shape&" "&' f'{SIZE_TEXT}&{UNIT_SUFFIX})),"")'),
    Answer("priced_said", "parts that the price is for, in words", "text", formula="priced_per"),
    Answer("paper_said", "paper of the quotation", "text", formula='IF(ISBLANK(paper),"",paper)'),
    Answer("freight_line", "freight, or a blank text where none is charged", "text", formula='IF(ISBLANK(freight_charged),"",freight_charged)'),
    Answer("process_used", "0 where no process costs anything", "money", "", "SUM(proc_each)+SUM(proc_lot)+SUM(proc_minimum)+SUM(proc_freight)"),
    Answer("more_used", "0 where there is neither process nor inspection nor packing", "money", "", "process_used+inspection_time+parts_in_box"),
    Answer("parts_in_box", "Parts in a box", "blank_or_count", "parts",
           "IF(box_weight+box_parts=0,0,IF(box_weight=0,box_parts,IF(each_weight<=box_weight*(1+1E-9),PARTS_PER_BOX(each_weight,box_weight,box_parts),NA())))"),
    Answer("priced_parts", "parts that the price shown is for", "count", "parts",
           "".join(f'IF(priced_per="{name}",{count},' for name, count in kinds.PRICED_PER.items()) + "NA()" + ")" * len(kinds.PRICED_PER)),
    Answer("own_lines_cost", "cost of set-up and tooling, where they are lines of their own", "money", "order",
           f"IF({_ONCE},setup_hours*setting_rate+tooling,0)"),
    Answer("setup_line", "set-up as a line of its own", "money", "order", _once("setup_hours*setting_rate")),
    Answer("tooling_line", "tooling as a line of its own", "money", "order", _once("tooling")),
    Answer("more_looks", "rows that ask for a second look", "count", formula=f"{PROCESSES.to_look_at}+{BRACKETS.to_look_at}"),
    Answer("below_minimum", "quantities below the minimum order value", "count", formula="+".join(
        f"IF(ISBLANK(quantity_{n}),0,--(total_{n}+setup_line+tooling_line<minimum_order*(1-1E-9)))" for n in BREAKS)),
    Answer("minimum_said", "minimum order value on the quotation", "money", "order", "minimum_order"),
    Answer("value_said", "what the quotation says of the order total", "text", formula=
           'IF(setup_line+tooling_line>0,"The order total is parts"&IF(setup_line>0,IF(tooling_line>0,", set-up"," and set-up"),"")'
           '&IF(tooling_line>0," and tooling","")&". ","")'
           f'&IF(minimum_order>0,"Minimum order value: "&{fixed_text("minimum_order", 2)}&".","")'),
)


def at_quantity(n: int) -> tuple[Answer, ...]:
    """What is shown at a quantity: the sample and what is inspected, boxes, the price as shown, the order value, the offer."""
    quantity, of = f"quantity_{n}", f"at quantity {n}"
    price = f"price_whole_{n}*priced_parts"
    offered = f'{fixed_text(f"whole_{n}", 0)}&" at "&{fixed_text(price, f"2+2*(ROUND({price},2)<>ROUND({price},4))")}'
    return (
        Answer(f"sample_{n}", f"Sample of the lot {of}", "blank_or_count", "parts", f"IF(aql=0,0*{quantity},SAMPLE_SIZE({quantity},aql,inspection_level))"),
        Answer(f"accepted_{n}", f"Accepted with at most so many bad parts {of}", "count", "parts",
               f"IF(aql=0,\"\",ACCEPTANCE_NUMBER({quantity},aql,inspection_level))"),
        Answer(f"inspected_{n}", f"Parts inspected {of}", "blank_or_count", "parts",
               f"PARTS_INSPECTED(parts_to_make_{n},first_off,every,sample_{n})"),
        Answer(f"boxes_{n}", f"Boxes {of}", "blank_or_count", "boxes", f"IF(parts_in_box=0,0*{quantity},BOXES_NEEDED({quantity},parts_in_box))"),
        Answer(f"shown_{n}", f"Price as shown {of}", "price", "", f"price_{n}*priced_parts"),
        Answer(f"value_{n}", f"Order value {of}", "money", "order",
               f"ORDER_VALUE(total_{n}+setup_line+tooling_line,minimum_order)", needs=quantity),
        Answer(f"offer_{n}", f"Offer from the same bars {of}", "text", "",
               f'IF(IF(ISBLANK({quantity}),FALSE,offer_whole_bars="yes"),IF(whole_{n}>{quantity},{offered},""),"")'),
    )


_GIVEN = "first_off+every+aql"
CHECK = Check("More costs", (
    ("more_looks>0", LOOK, '"Sheet More costs: a row asks for a second look, see the mark beside it."'),
    *plausible.INSPECTION_CASES,
    *plausible.BOX_CASES,
    (f"IF(inspection_time=0,{_GIVEN}>0,FALSE)", LOOK, '"Parts are inspected, but the time for one is not filled in: the inspection costs nothing."'),
    (f"IF(inspection_time>0,{_GIVEN}=0,FALSE)", LOOK, '"There is a time to inspect a part, but no part is inspected."'),
    ("IF(parts_in_box>0,box_cost=0,box_cost>0)", LOOK,
     'IF(box_cost=0,"The boxes cost nothing.","A box has a cost, but what goes into one is not filled in.")'),
    ("below_minimum>0", NOTE, '"Below the minimum order value, which is charged instead: "&below_minimum&IF(below_minimum=1," quantity."," quantities.")'),
    ("COUNT(proc_rate)+inspection_time+parts_in_box=0", NOTE, '"Not counted: outside and second operations, inspection, packing."'),
    ("TRUE", OK, '"In every price: "&IF(COUNT(proc_rate)>0,"outside and second operations with their minimum and freight, ","")'
                 '&IF(inspection_time>0,"inspection, ","")&IF(parts_in_box>0,"packing, ","")&"at each quantity anew."'),
), long=True)
