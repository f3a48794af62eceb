"""Price brackets of the material: from which quantity on another price holds, and what each quantity of a quote buys."""

from barfuncs.catalogue import kinds
from barfuncs.functions.cost import PACKS
from barfuncs.templates.cell_text import fixed_text
from barfuncs.templates.model import LOOK, Answer, RowAnswer, Table, make_column
from barfuncs.templates.quote.inputs import BREAKS

_NEAR = "*(1+1E-9)"
BRACKETS = Table(
    name="brackets",
    item="bracket",
    label="Price brackets of the material",
    row_label="Bracket",
    rows=6,
    columns=(
        make_column("from", "Material price from", kinds.Amount, "quantity of material from which the price beside it holds: lb or kg, also where the "
                    "price is for 100 of them, ft or m, or bars or blanks", needed=True, unit="bracket_unit", width=31),
        make_column("price", "Price", kinds.Money, "price of the material from this quantity on, for the same as the material price", needed=True,
                    unit="price_per", width=17),
    ),
    answers=(
        # Where a row is wrong no row is known: which of the brackets holds rests on all of them.
        RowAnswer("bars", "Bars from there", "blank_or_count", "bars",
                  'IF(bracket_from="",0,IF(brackets_used>0,COUNT_UP(bracket_from/brackets_each),NA()))'),
        RowAnswer("cost", "They cost", "blank_or_seconds", "", 'IF(bracket_from="",0,bracket_bars*({}))'.format(
            "bracket_price*brackets_each/brackets_pack+material_surcharge*bought_weight")),
    ),
    wrong_if=(
        ("above_bracket_filled=0", "stands below a blank row"),
        ("IF(above_bracket_from>0,bracket_from<=above_bracket_from,FALSE)", "not more than the row above"),
    ),
    looks=(
        ("IF(above_bracket_price>0,bracket_price>=above_bracket_price,IFERROR(bracket_price>=material_price,FALSE))",
         '"! no less than the price before"'),
        ("IFERROR(bracket_price<0.5*material_price,FALSE)", '"! less than half the material price"'),
    ),
    counted=False,
    marks_width=11,
)


def price_at(tag: str, price: str, factor: str = "", each: str = "brackets_each") -> str:
    """Cell expression: the price of the material for the bars that are bought; below the first bracket it is `price`, without which
    there is none."""
    buys = f"bought_{tag}*{each}{_NEAR}"
    row = f"SUMPRODUCT((bracket_from>0)*(bracket_from<={buys}))"
    return f"IF(brackets_used=0,{price},IF({buys}<INDEX(bracket_from,1),{price},INDEX(bracket_price,{row}){factor}+0*{price}))"


def each_formula(length: str, weight: str) -> str:
    """Cell expression: how much of what the brackets count in a bar that is bought is; 0 where there are no brackets."""
    return f"IF(brackets_used=0,0,MATERIAL_COST(1,1,price_per,{length},{weight},0,0,0,units)*brackets_pack)"


def _pack_formula() -> str:
    """Cell expression: how many lb or kg a price by weight is for; 1 for a price of anything else."""
    bases: dict[int, list[str]] = {}
    for basis, (_, pack) in PACKS.items():
        bases.setdefault(pack, []).append(f'price_per="{basis}"')
    formula = "1"
    for pack, named in sorted(bases.items(), reverse=True):
        if pack != 1:
            formula = f"IF({named[0] if len(named) == 1 else 'OR(' + ','.join(named) + ')'},{pack},{formula})"
    return formula


STEPS = (
    Answer("brackets_used", "price brackets of the material", "count", formula=f"IF({BRACKETS.wrong}>0,NA(),COUNT(bracket_from))"),
    Answer("brackets_pack", "lb or kg that the price is for, 1 for all else", "count",
           formula=f"IF(brackets_used=0,1,{_pack_formula()})"),
    Answer("brackets_each", "what the brackets count, in a bar that is bought", "general", formula=each_formula("bought_length", "bought_weight")),
)


def at_quantity(n: int) -> tuple[Answer, ...]:
    """What is bought at a quantity, what it costs at the price that holds, and the brackets that would cost less in total."""
    of = f"at quantity {n}"
    return (
        Answer(f"buys_{n}", f"Material bought {of}", "money", "", f"bought_{n}*brackets_each"),
        Answer(f"bars_cost_{n}", f"Bars and surcharge {of}", "money", "order",
               f"IF(brackets_used=0,0*bought_{n},bought_{n}*(material_at_{n}*brackets_each/brackets_pack+material_surcharge*bought_weight))"),
        # What is not more than the minimum can't be had for less.
        Answer(f"cheaper_{n}", f"Larger brackets that cost less {of}", "count", "",
               f"IF(ISBLANK(quantity_{n}),0,IF(brackets_used=0,0,IF(bars_cost_{n}+cuts_{n}*cut_charge>minimum_charge{_NEAR},"
               f"SUMPRODUCT((bracket_bars>bought_{n})*(bracket_cost<bars_cost_{n}*(1-1E-9))),0)))"),
    )


CHEAPER = Answer("cheaper_said", "quantities at which more material costs less", "text", "", 'IF(brackets_used=0,"",' + "&".join(
    f'IF(cheaper_{n}>0,{fixed_text(f"quantity_{n}", 0)}&" and ","")' for n in BREAKS) + ")")
LOOKS = (('IF(cheaper_said="",0,2)', LOOK, '"To buy more material costs less in total at quantity "&LEFT(cheaper_said,LEN(cheaper_said)-5)&": see the price '
                                          'brackets on the sheet More costs."'),)
"""As a case of the check on prices."""
