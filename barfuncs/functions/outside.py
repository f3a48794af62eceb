"""What is done to the parts elsewhere or by hand, packing them, and how a price is shown: processes, boxes, price for 100."""

from collections.abc import Mapping

from barfuncs.catalogue.counting import count_down, count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    PRICED_PER,
    Count,
    Margin,
    Markup,
    Money,
    PositiveCount,
    PricedPer,
    PriceRounding,
    ProcessPer,
    Seconds,
    SurfaceArea,
    Units,
    Weight,
)
from barfuncs.catalogue.units import KG_PER_LB, MM_PER_INCH
from barfuncs.functions.cost import quoted_price

_MM2 = MM_PER_INCH * MM_PER_INCH
_COUNTS = {"part": 1, "100 parts": 100, "1000 parts": 1000}
_KGS = {"lb": KG_PER_LB, "kg": 1, "100 lb": 100 * KG_PER_LB, "100 kg": 100}
_AREAS = {"in2": _MM2, "ft2": 144 * _MM2, "dm2": 1e4, "m2": 1e6}
"""How many parts, kg or mm2 one unit of a basis is."""


def _chain(of: str, sizes: Mapping[str, float]) -> str:
    *first, (_, last) = sizes.items()
    return "".join(f'IF({of}="{name}",{size!r},' for name, size in first) + repr(last) + ")" * len(first)


def _any_of(sizes: Mapping[str, float]) -> str:
    return "OR(" + ",".join(f'rate_per="{name}"' for name in sizes) + ")"


def _none_of(sizes: Mapping[str, float]) -> str:
    return ",".join(f'rate_per<>"{name}"' for name in sizes)


def charged(work: str, minimum: str, freight: str) -> str:
    """Cell expression: what is charged for work on a lot that comes to `work`; of columns of such works one for each row, which MAX
    would not give."""
    return f"({work}>{minimum})*{work}+({work}<={minimum})*{minimum}+{freight}"


_WORK = (f'rate*IF(rate_per="lot",1,parts*IF(rate_per="hour",time_each/3600,'
         f'IF({_any_of(_KGS)},part_weight*IF(units="mm",1,{KG_PER_LB!r})/{_chain("rate_per", _KGS)},'
         f'IF({_any_of(_AREAS)},part_area*IF(units="mm",1,{_MM2!r})/{_chain("rate_per", _AREAS)},'
         f'1/{_chain("rate_per", _COUNTS)}))))')


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula=f'IF(parts=0,0,{charged(_WORK, "minimum", "freight")})',
    rules=(
        ("part_weight", f"OR(AND({_none_of(_KGS)}),part_weight>0)", "a rate by weight needs the weight of a part"),
        ("part_area", f"OR(AND({_none_of(_AREAS)}),part_area>0)", "a rate by area needs the surface of a part"),
        ("time_each", 'OR(rate_per<>"hour",time_each>0)', "a rate by the hour needs the time for one part"),
    ),
)
def process_cost(parts: Count, rate: Money, rate_per: ProcessPer, part_weight: Weight = 0, part_area: SurfaceArea = 0,
                 time_each: Seconds = 0, minimum: Money = 0, freight: Money = 0, units: Units = "in") -> Money:
    """Cost of outside or second work on a lot: rate times its basis, not less than the minimum, plus freight.

    Notes
    -----
    The basis is the parts, 100 or 1,000 of them, their weight, their surface, the hours at a time for each part, or the lot.
    Freight comes on top of the minimum. No parts, no cost.

    Examples
    --------
    >>> process_cost(1000, 0.85, "lb", part_weight=0.16, minimum=95, freight=30)
    166.0
    >>> process_cost(100, 0.85, "lb", part_weight=0.16, minimum=95, freight=30)
    125.0
    """
    if parts == 0:
        return 0.0
    if rate_per == "lot":
        basis = 1.0
    elif rate_per == "hour":
        basis = parts * time_each / 3600
    elif rate_per in _KGS:
        basis = parts * part_weight * (1 if units == "mm" else KG_PER_LB) / _KGS[rate_per]
    elif rate_per in _AREAS:
        basis = parts * part_area * (1 if units == "mm" else _MM2) / _AREAS[rate_per]
    else:
        basis = parts / _COUNTS[rate_per]
    return max(minimum, rate * basis) + freight


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula="MIN(IF(box_parts=0,1E7,box_parts),IF(box_weight=0,1E7,COUNT_DOWN(box_weight/MAX(part_weight,1E-9))))",
    rules=(("box_weight", "OR(box_weight>0,box_parts>0)", "give the most that a box may weigh, or the parts that go into one"),
           ("part_weight", "OR(box_weight=0,AND(part_weight>=0.000000001,part_weight<=box_weight*1.000000001))",
            "a box that is filled by weight needs the weight of a part, and must take one part")),
)
def parts_per_box(part_weight: Weight, box_weight: Weight = 0, box_parts: Count = 0) -> Count:
    """Parts that go into a box: as many as weigh no more than it may hold, and no more than there is room for.

    Examples
    --------
    >>> parts_per_box(0.16, 35), parts_per_box(0.16, 35, 200), parts_per_box(0, box_parts=50)
    (218, 200, 50)
    """
    by_weight = count_down(box_weight / part_weight) if box_weight else 10_000_000
    return int(min(box_parts or 10_000_000, by_weight))


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="COUNT_UP(parts/parts_per_box)")
def boxes_needed(parts: Count, parts_per_box: PositiveCount) -> Count:
    """Boxes that the parts need; the last one may be part full.

    Examples
    --------
    >>> boxes_needed(1000, 218), boxes_needed(1090, 218)
    (5, 5)
    """
    return count_up(parts / parts_per_box)


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="BOXES_NEEDED(parts,parts_per_box)*box_cost")
def packing_cost(parts: Count, parts_per_box: PositiveCount, box_cost: Money) -> Money:
    """Cost of packing: the boxes of `boxes_needed`, each at what it costs with filling, closing and label.

    Examples
    --------
    >>> packing_cost(1000, 218, 4.20)
    21.0
    """
    return float(boxes_needed.core(parts, parts_per_box) * box_cost)


_PRICED = _chain("priced_per", PRICED_PER)


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula=f"QUOTED_PRICE(cost*{_PRICED},margin,markup,rounding)",
    rules=(("markup", "OR(margin=0,markup=0)", "give a margin or a markup, not both"),),
)
def price_for(cost: Money, priced_per: PricedPer = "part", margin: Margin | None = None, markup: Markup | None = None,
              rounding: PriceRounding = "nearest 0.01") -> Money:
    """Price for a part, for 100 or for 1,000 parts that cost `cost` each, rounded as it is shown.

    Notes
    -----
    A small part's price is rounded where it is shown: 0.01372 each at the nearest 0.01 is 0.01, for 1,000 parts 13.72.

    Examples
    --------
    >>> price_for(0.01372), price_for(0.01372, "1000 parts"), price_for(0.01372, "1000 parts", margin=0.2)
    (0.01, 13.72, 17.15)
    """
    return float(quoted_price.core(cost * PRICED_PER[priced_per], margin, markup, rounding))


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="MAX(order_total,minimum_order)")
def order_value(order_total: Money, minimum_order: Money = 0) -> Money:
    """What an order is invoiced at: its total, or the shop's minimum order value where that is more.

    Examples
    --------
    >>> order_value(84.5, 150), order_value(363, 150)
    (150, 363)
    """
    return max(order_total, minimum_order)
