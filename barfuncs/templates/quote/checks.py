"""What a quote checks."""

from barfuncs.templates import bar_for_part, part_sheet, plausible
from barfuncs.templates.cell_text import number_text
from barfuncs.templates.every_order import (
    KERF_MISSING,
    MATERIAL,
    SAW_STOP,
    SECTION,
    TOO_WIDE,
    WHOLE_PARTS,
    feeder_takes,
)
from barfuncs.templates.model import LOOK, NOTE, OK, STOP, Check, Missing
from barfuncs.templates.quote import brackets, more_costs
from barfuncs.templates.quote.inputs import BREAKS
from barfuncs.templates.shop_sheet import PROBLEMS

COSTS = ("material_used", "machine_cost", "setup_cost", "other_cost", "tool_cost", *more_costs.LINES)
CREDIT_TOO_HIGH = "has no price: chips and remnants would bring more than everything else costs"
_TOO_HIGH = "+".join(f"IFERROR(--(scrap_credit_{n}>{'+'.join(f'{line}_{n}' for line in COSTS)}),0)" for n in BREAKS)
_MOST_TO_MAKE = "MAX(" + ",".join(f"IF(ISBLANK(quantity_{n}),0,parts_to_make_{n})" for n in BREAKS) + ")"

_NO_SCRAP = "The scrap rate is not filled in: no scrap is counted. Where there is none, fill in 0."

CHECKS = (
    WHOLE_PARTS,
    SECTION,
    part_sheet.PART_CHECK,
    plausible.UNITS,
    plausible.LENGTHS,
    bar_for_part.CHECK,
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
        *plausible.TOOL_CHANGE_CASES,
        ('IF(ISBLANK(cycle_time),not_counted<>"",FALSE)', LOOK,
         '"Sheet Operations: the list is not the whole cycle. Not given there or on the sheet Shop: "&LEFT(not_counted,LEN(not_counted)-2)&". Where there is '
         'none, fill in 0."'),
        ("IF(ISBLANK(cycle_time),IF(ISBLANK(tool_changes),FALSE,(tool_changes>0)+(tool_change_time>0)=1),FALSE)", LOOK,
         'IF(tool_changes>0,"Sheet Operations: "&tool_changes&" tool changes at 0 s each.","Sheet Operations: a tool change takes "'
         f'&{number_text("tool_change_time", 1)}&" s, but none is counted.")'),
        ("LEN(not_reached)>0", LOOK, '"Sheet Operations: no row "&not_reached&"."'),
        ("edge_ideas>0", LOOK, '"Sheet Operations: how many parts an edge makes is an idea from usual constants of tool life in "&edge_ideas&" "'
                               '&IF(edge_ideas=1,"row","rows")&": count your own."'),
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
    plausible.prices_check("like_dollars>0", brackets.LOOKS),
    more_costs.CHECK,
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
                                 'little of the last one is used, scrap makes one part more, or more is inspected or packed: see the sheet Prices."'
                                 f'&IF(ISBLANK(scrap_rate)," {_NO_SCRAP}","")'),
        ("ISBLANK(scrap_rate)", LOOK, f'"{_NO_SCRAP}"'),
        ("TRUE", OK, '"No larger quantity costs more each than a smaller one."'),
    ), long=True),
    plausible.QUOTATION,
    MATERIAL,
)
MORE_PROBLEMS = (
    *PROBLEMS,
    KERF_MISSING,
    more_costs.INSPECTION_RATE_MISSING,
    more_costs.BOX_TOO_SMALL,
    Missing("AND(ISBLANK(cycle_time),IFERROR(cutting_time=0,FALSE))", "cycle time",
            "or the operation list", "cycle_time"),
    Missing("AND(ISBLANK(margin),ISBLANK(markup))", "margin", "or markup; 0 % counts", "margin"),
)
