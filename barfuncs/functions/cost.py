"""Cost: material, scrap credit, what an order costs, price and price breaks.

An order's cost is built up from single functions with a cell formula each; `price_breaks` calls the same functions.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Any

from barfuncs.catalogue.counting import count_down, count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    ROUNDINGS,
    UNITS,
    Count,
    Efficiency,
    Hours,
    Length,
    Margin,
    Markup,
    Money,
    PositiveCount,
    PositiveMoney,
    PositiveSeconds,
    PriceByWeight,
    PricePer,
    PriceRounding,
    Quantities,
    Ratio,
    ScrapRate,
    Seconds,
    Table,
    Units,
    Weight,
    kind_of,
)
from barfuncs.catalogue.reading import broken_rules, read_in
from barfuncs.catalogue.units import KG_PER_LB, MM_PER_INCH
from barfuncs.errors import InputError
from barfuncs.functions.quantity import bars_for_quantity, parts_to_make, whole_bar_quantity
from barfuncs.functions.times import run_hours

PACKS = {"lb": ("lb", 1), "100 lb": ("lb", 100), "kg": ("kg", 1), "100 kg": ("kg", 100), "112 lb": ("lb", 112), "tonne": ("kg", 1000),
         "2000 lb": ("lb", 2000)}
"""What a price basis by weight is counted in, and how many of that it is."""
# How many of each price basis one inch / one mm of bar, one lb / one kg of it, or one bar is.
_BY_WEIGHT = {basis: ("in" if unit == "lb" else "mm", 1 / pack) for basis, (unit, pack) in PACKS.items()}
_BY_LENGTH = {"ft": ("in", 1 / 12), "m": ("mm", 0.001)}
_KG = f'IF(units="mm",1,{KG_PER_LB!r})'
_MM = f'IF(units="mm",1,{MM_PER_INCH!r})'


def _weight_formula() -> str:
    """Cell expression: how many units of a price basis by weight one kg is."""
    *most, (_, (system, last)) = _BY_WEIGHT.items()
    formula = f"{last / (KG_PER_LB if system == 'in' else 1):.17g}"
    for basis, (system, share) in reversed(most):
        formula = f'IF(price_per="{basis}",{share / (KG_PER_LB if system == "in" else 1):.17g},{formula})'
    return formula


PER_BAR_FORMULA = (
    f'IF(OR(price_per="bar",price_per="blank"),1,IF(price_per="ft",bar_length*{_MM}/{12 * MM_PER_INCH!r},'
    f'IF(price_per="m",bar_length*{_MM}*0.001,bar_weight*{_KG}*{_weight_formula()})))'
)


PRICE_RULES = (
    ("bar_weight", 'OR(price_per="ft",price_per="m",price_per="bar",price_per="blank",bar_weight>0)',
     "a price by weight needs the weight of a bar"),
    ("bar_length", 'OR(AND(price_per<>"ft",price_per<>"m"),bar_length>0)',
     "a price by length needs the length of a bar"),
)


def price_units_per_bar(price_per: str, bar_length: float, bar_weight: float, units: str) -> float:
    """How many units of the price basis one bar is."""
    if price_per in _BY_WEIGHT:
        system, share = _BY_WEIGHT[price_per]
        factor = 1.0 if system == units else (KG_PER_LB if system == "mm" else 1 / KG_PER_LB)
        return bar_weight * factor * share
    if price_per in _BY_LENGTH:
        system, share = _BY_LENGTH[price_per]
        factor = 1.0 if system == units else (MM_PER_INCH if system == "mm" else 1 / MM_PER_INCH)
        return bar_length * factor * share
    return 1.0


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula=f"IF(bars=0,0,MAX(minimum_charge,bars*price*{PER_BAR_FORMULA}+cuts*cut_charge))",
    rules=PRICE_RULES,
)
def material_cost(bars: Count, price: Money, price_per: PricePer, bar_length: Length, bar_weight: Weight,
                  cuts: Count = 0, cut_charge: Money = 0, minimum_charge: Money = 0, units: Units = "in") -> Money:
    """Cost of the bars: by weight, length, bar or blank, plus saw cuts, not less than the minimum charge.

    Notes
    -----
    No bars, no cost. "bar" and "blank" both price one of the bars counted: bars as supplied, or blanks bought cut to length.

    Examples
    --------
    >>> material_cost(18, 2.40, "lb", 144, 14.5)
    626.4
    >>> material_cost(2, 3.10, "ft", 144, 0, minimum_charge=150)
    150.0
    """
    if bars == 0:
        return 0.0
    each = price_units_per_bar(price_per, bar_length, bar_weight, units)
    return max(minimum_charge, bars * price * each + cuts * cut_charge)


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula="MAX(0,bars*bar_weight-parts_weight-remnant_weight-rack_weight)*chip_price+remnant_weight*remnant_price",
    rules=(("parts_weight", "parts_weight+remnant_weight+rack_weight<=bars*bar_weight*1.000000001",
            "parts, remnants and what goes back on the rack must not weigh more than the bars"),),
)
def scrap_credit(bars: Count, bar_weight: Weight, parts_weight: Weight, remnant_weight: Weight, chip_price: PriceByWeight = 0,
                 remnant_price: PriceByWeight = 0, rack_weight: Weight = 0) -> Money:
    """What the scrap buyer pays for chips and remnants; chips are what is neither part, remnant nor goes back on the rack.

    Examples
    --------
    >>> round(scrap_credit(18, 14.5, 170, 12, 0.30, 0.45), 2)
    29.1
    """
    chips = max(0.0, bars * bar_weight - parts_weight - remnant_weight - rack_weight)
    return chips * chip_price + remnant_weight * remnant_price


@cell_function(group="Cost", source="definition of margin: Centennial College, business math guide", formula="cost/(1-margin)")
def price_at_margin(cost: Money, margin: Margin) -> Money:
    """Price that leaves a margin: profit as a share of the price. cost / (1 - margin).

    Examples
    --------
    >>> price_at_margin(75, 0.25)
    100.0
    """
    return cost / (1 - margin)


@cell_function(group="Cost", source="definition of markup: Centennial College, business math guide", formula="cost*(1+markup)")
def price_at_markup(cost: Money, markup: Markup) -> Money:
    """Price with a markup: profit as a share of the cost. cost * (1 + markup).

    Examples
    --------
    >>> price_at_markup(100, 0.25)
    125.0
    """
    return cost * (1 + markup)


@cell_function(group="Cost", source="definition of margin: Centennial College, business math guide", formula="(price-cost)/price")
def margin_of(price: PositiveMoney, cost: Money) -> Ratio:
    """Margin that a price leaves; below 0 where it does not cover the cost.

    Examples
    --------
    >>> margin_of(100, 75)
    0.25
    """
    return (price - cost) / price


_NEAREST = [name for name, (steps, up) in ROUNDINGS.items() if steps and not up]


def _any_rounding(names: Iterable[str]) -> str:
    conditions = [f'rounding="{name}"' for name in names]
    return conditions[0] if len(conditions) == 1 else f"OR({','.join(conditions)})"


def _steps_formula() -> str:
    """Cell expression: the steps of the rounding rule in one unit of the currency."""
    *most, last = dict.fromkeys(steps for steps, _ in ROUNDINGS.values() if steps)
    formula = str(last)
    for steps in reversed(most):
        formula = f"IF({_any_rounding(n for n, rule in ROUNDINGS.items() if rule[0] == steps)},{steps},{formula})"
    return formula


_STEPS = _steps_formula()


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula=f'IF(rounding="none",price,IF({_any_rounding(_NEAREST)},COUNT_DOWN(price*{_STEPS}+0.5),'
            f"COUNT_UP(price*{_STEPS}))/{_STEPS})",
)
def rounded_price(price: Money, rounding: PriceRounding = "nearest 0.01") -> Money:
    """Price by a rounding rule: to the nearest step, or up to the next one.

    Notes
    -----
    Half a step goes up: 2.675 is 2.68. A price that is a whole number of steps stays as it is, whatever floating point
    makes of it. The steps are in the currency of the price, so 0.05 is a nickel as well as 5 of any other cents.

    Examples
    --------
    >>> rounded_price(2.675), rounded_price(3.63, "up to next 0.01"), rounded_price(3.63, "up to next 0.25")
    (2.68, 3.63, 3.75)
    """
    steps, up = ROUNDINGS[rounding]
    if not steps:
        return price
    # A division, for 268 * 0.01 is not always the float nearest to 2.68.
    return (count_up(price * steps) if up else count_down(price * steps + 0.5)) / steps


@cell_function(
    group="Cost",
    source="definitions of margin and markup, as of `price_at_margin` and `price_at_markup`",
    formula="ROUNDED_PRICE(cost/(1-margin)*(1+markup),rounding)",
    rules=(("markup", "OR(margin=0,markup=0)", "give a margin or a markup, not both"),),
)
def quoted_price(cost: Money, margin: Margin | None = None, markup: Markup | None = None,
                 rounding: PriceRounding = "nearest 0.01") -> Money:
    """Price for a cost, at a margin or with a markup, rounded by the shop's rule.

    Notes
    -----
    The same as `price_at_margin` or `price_at_markup`, then `rounded_price`. With neither the price is the cost, rounded.

    Examples
    --------
    >>> quoted_price(2.9027, margin=0.2), quoted_price(2.9027, markup=0.25, rounding="up to next 0.05")
    (3.63, 3.65)
    """
    price = cost / (1 - (margin or 0)) * (1 + (markup or 0))
    return float(rounded_price.core(price, rounding))


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="COUNT_DOWN(quantity*price*100+0.5)/100")
def order_total(quantity: Count, price: Money) -> Money:
    """What an order costs: the price each, as quoted, times the quantity, to the nearest 0.01.

    Examples
    --------
    >>> order_total(100, 3.63), order_total(137, 0.0825)
    (363.0, 11.3)
    """
    return float(rounded_price.core(quantity * price))


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula="RUN_HOURS(parts_to_make,cycle_time,parts_per_bar,bar_change_time,efficiency)*machine_rate",
)
def machine_cost(parts_to_make: Count, cycle_time: PositiveSeconds, parts_per_bar: PositiveCount, machine_rate: Money,
                 bar_change_time: Seconds = 0, efficiency: Efficiency = 1) -> Money:
    """Cost of the run: the hours of `run_hours` at the machine rate, set-up not counted.

    Examples
    --------
    >>> round(machine_cost(1036, 45, 59, 80, 30), 2)
    1047.33
    """
    return float(run_hours.core(parts_to_make, cycle_time, parts_per_bar, bar_change_time, efficiency) * machine_rate)


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="setup_hours*setup_rate")
def setup_cost(setup_hours: Hours, setup_rate: Money) -> Money:
    """Cost of setting the lathe up, once for an order.

    Examples
    --------
    >>> setup_cost(1.5, 70)
    105.0
    """
    return float(setup_hours * setup_rate)


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="quantity*other_per_part+other_per_order+tooling")
def other_cost(quantity: Count, other_per_part: Money = 0, other_per_order: Money = 0, tooling: Money = 0) -> Money:
    """All other costs of an order: for each good part, once for the order, and its tooling.

    Examples
    --------
    >>> other_cost(1000, 0.1, 20, 150)
    270.0
    """
    return float(quantity * other_per_part + other_per_order + tooling)


_PARTS_WEIGH_LESS = ("part_weight", "part_weight<=gross_weight",
                     "a part must not weigh more than the bar it is made of, cut-off and facing included")


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula="SCRAP_CREDIT(bars,bar_weight,parts_to_make*part_weight,MAX(0,bars*(bar_weight-trim_weight)-parts_to_make*gross_weight-rack_weight),"
            "chip_price,remnant_price,rack_weight)",
    rules=(_PARTS_WEIGH_LESS,
           ("gross_weight", "parts_to_make*gross_weight+bars*trim_weight+rack_weight<=bars*bar_weight*1.000000001",
            "the parts, the end trim and what goes back on the rack must not weigh more than the bars")),
)
def order_credit(parts_to_make: Count, bars: Count, bar_weight: Weight, gross_weight: Weight, part_weight: Weight,
                 trim_weight: Weight = 0, chip_price: PriceByWeight = 0, remnant_price: PriceByWeight = 0, rack_weight: Weight = 0) -> Money:
    """What the scrap buyer pays for an order's chips and remnants, from the weights of one bar and one part.

    Notes
    -----
    `scrap_credit` with the parts' weight parts to make * part weight, and for remnants what the parts and the end trim leave of
    the bars, the rest of the last bar included unless it goes back on the rack. End trim counts as chips.

    Examples
    --------
    >>> round(order_credit(1036, 18, 14.5, 0.239, 0.16, chip_price=0.30, remnant_price=0.45), 2)
    30.58
    """
    remnants = max(0.0, bars * (bar_weight - trim_weight) - parts_to_make * gross_weight - rack_weight)
    return float(scrap_credit.core(bars, bar_weight, parts_to_make * part_weight, remnants, chip_price, remnant_price,
                                   rack_weight))


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula="MAX(0,material_cost-scrap_credit+machine_cost+setup_cost+other_cost)",
    rules=(("scrap_credit", "scrap_credit<=material_cost+machine_cost+setup_cost+other_cost",
            "the credit must not be more than everything else costs"),),
)
def order_cost(material_cost: Money, machine_cost: Money, setup_cost: Money, other_cost: Money = 0,
               scrap_credit: Money = 0) -> Money:
    """Cost of an order: material less scrap credit, machine, set-up and other. Divided by the quantity, the cost each.

    Examples
    --------
    >>> order_cost(626.4, 1047.6, 105, 270, 30)
    2019.0
    """
    return max(0.0, material_cost - scrap_credit + machine_cost + setup_cost + other_cost)


PRICE_BREAK_COLUMNS = ("quantity", "bars", "material", "machine", "setup", "other", "cost_each", "price_each",
                       "order_total", "whole_bar_quantity", "whole_bar_price")


TABLE_HEADS: dict[str, tuple[str, ...]] = {
    "price_breaks": tuple(c.replace("_", " ") for c in PRICE_BREAK_COLUMNS),
    "stock_choice": ("length", "parts per bar", "blanks per bar", "bars", "cuts", "left over each", "left over last", "cost", "cost each",
                     "cheapest", "note"),
}
"""The header row over each function's table, as a spreadsheet shows it; a column has none."""

_NO_CREDIT = "chip_price=0,remnant_price=0"


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    no_formula="its result is a table, one row for each quantity",
    rules=(
        ("markup", "OR(margin=0,markup=0)", "give a margin or a markup, not both"),
        ("bar_weight", f"OR(AND({_NO_CREDIT}),bar_weight>0)", "a credit needs the weights of a bar, of what one part uses of it, and of a part"),
        ("gross_weight", f"OR(AND({_NO_CREDIT}),gross_weight>0)", "a credit needs the weights of a bar, of what one part uses of it, and of a part"),
        ("part_weight", f"OR(AND({_NO_CREDIT}),part_weight>0)", "a credit needs the weights of a bar, of what one part uses of it, and of a part"),
        _PARTS_WEIGH_LESS,
        ("gross_weight", f"OR(AND({_NO_CREDIT}),parts_per_bar*gross_weight+trim_weight<=bar_weight*1.000000001)",
         "the parts of one bar and its end trim must not weigh more than the bar"),
    ),
)
def price_breaks(quantities: Quantities, parts_per_bar: PositiveCount, bar_cost: Money, cycle_time: PositiveSeconds,
                 bar_change_time: Seconds, setup_hours: Hours, machine_rate: Money, scrap_rate: ScrapRate = 0,
                 setup_parts: Count = 0, setup_rate: Money | None = None, other_per_part: Money = 0,
                 other_per_order: Money = 0, minimum_charge: Money = 0, margin: Margin | None = None,
                 markup: Markup | None = None, rounding: PriceRounding = "nearest 0.01", efficiency: Efficiency = 1,
                 cuts_per_bar: Count = 0, cut_charge: Money = 0, tooling: Money = 0, chip_price: PriceByWeight = 0,
                 remnant_price: PriceByWeight = 0, bar_weight: Weight = 0, gross_weight: Weight = 0, part_weight: Weight = 0,
                 trim_weight: Weight = 0) -> Table:
    """Price at several quantities: a row of costs, price each and order total for each.

    Notes
    -----
    The columns are quantity, bars, material, machine, set-up, other, cost each, price each, order total, and the
    largest quantity that the same bars give with its price each. Material is less the credit for chips and remnants,
    so that material + machine + set-up + other is the cost of the order. Each figure is that of one function:
    `parts_to_make`, `bars_for_quantity`, `material_cost` of bars priced by the bar, `order_credit`,
    `machine_cost`, `setup_cost`, `other_cost`, `order_cost`, `quoted_price` of the cost each, `order_total`,
    `whole_bar_quantity`. The order total is the rounded price each times the quantity, so that a quote agrees with itself.

    Examples
    --------
    >>> for row in price_breaks([100, 1000], 59, 34.8, 45, 30, 1.5, 80, margin=0.2):
    ...     print(row[0], row[1], round(row[6], 4), *row[7:])
    100 2 2.9027 3.63 363.0 118 3.27
    1000 17 1.7223 2.15 2150.0 1003 2.15
    """
    rate = machine_rate if setup_rate is None else setup_rate

    def costs(quantity: int) -> tuple[int, float, float, float, float, float]:
        """Bars, material less credit, machine, set-up, other and cost each."""
        to_make = parts_to_make.core(quantity, scrap_rate, setup_parts)
        bars = bars_for_quantity.core(quantity, parts_per_bar, scrap_rate, setup_parts)
        lines = (material_cost.core(bars, bar_cost, "bar", 0, 0, bars * cuts_per_bar, cut_charge, minimum_charge),
                 machine_cost.core(to_make, cycle_time, parts_per_bar, machine_rate, bar_change_time, efficiency),
                 setup_cost.core(setup_hours, rate),
                 other_cost.core(quantity, other_per_part, other_per_order, tooling))
        back = order_credit.core(to_make, bars, bar_weight, gross_weight, part_weight, trim_weight, chip_price, remnant_price)
        if broken_rules(order_cost.entry, (*lines, back)):
            raise InputError("price_breaks", [("quantities", f"{quantity:,}: the credit would be more than everything else "
                                                             "costs")])
        material, machine, setup, other = lines
        return bars, material - back, machine, setup, other, order_cost.core(*lines, back) / quantity

    rows = []
    for quantity in read_quantities(quantities):
        *figures, cost_each = costs(quantity)
        price = quoted_price.core(cost_each, margin, markup, rounding)
        whole = whole_bar_quantity.core(quantity, parts_per_bar, scrap_rate, setup_parts)
        rows.append((quantity, *figures, cost_each, price, order_total.core(quantity, price), whole,
                     quoted_price.core(costs(whole)[-1], margin, markup, rounding)))
    return rows


def read_quantities(quantities: Any, where: str = "price_breaks") -> list[int]:
    """Order quantities from a number, a sequence of them, or one text.

    In a text, quantities stand apart by blanks or semicolons. Commas are read where they can mean one thing only:
    "100,250,1000" can't be thousands, and "1,000" can't be two quantities.

    Raises InputError naming every bad quantity.

    >>> read_quantities("100 250 1000"), read_quantities("1,500; 2,500"), read_quantities("100,250,1000")
    ([100, 250, 1000], [1500, 2500], [100, 250, 1000])
    >>> read_quantities("1,500")
    Traceback (most recent call last):
    ...
    barfuncs.errors.InputError: price_breaks: quantities: '1,500' may be one quantity or 2; write 1500, or 1;500
    """
    kind = kind_of(PositiveCount)
    if not isinstance(quantities, str) and hasattr(quantities, "tolist") and not hasattr(quantities, "units"):
        quantities = quantities.tolist()  # a numpy array
    counts, problems = [], []
    try:
        if isinstance(quantities, str):
            quantities = _quantity_texts(quantities)
    except ValueError as error:
        raise InputError(where, [("quantities", str(error))]) from None
    several = isinstance(quantities, Sequence) and not isinstance(quantities, (bytes, bytearray))
    flat = [q for item in (quantities if several else [quantities])
            for q in (item if isinstance(item, (list, tuple)) else [item])]
    for q in flat:
        if q is None or q == "":
            continue
        try:
            counts.append(read_in(kind, q, UNITS[0]))
        except ValueError as error:
            problems.append(("quantities", str(error)))
    if not counts and not problems:
        problems.append(("quantities", "give at least one quantity"))
    if problems:
        raise InputError(where, problems)
    return counts


def _quantity_texts(text: str) -> list[str]:
    """One text for each quantity."""
    if not text.strip():
        return []
    if ";" in text:
        pieces = [piece.strip() for piece in text.split(";")]
    else:
        # A blank of another kind (no-break, thin) groups thousands and parts nothing.
        pieces = [p for piece in re.split(r",?[ \t\r\n]+", text.strip(" \t\r\n")) for p in _at_commas(piece)]
    if "" in pieces:
        raise ValueError(f"{text[:60]!r} has nothing between two separators; write for example 100 250 500")
    return pieces


def _at_commas(piece: str) -> list[str]:
    groups = piece.split(",")
    if len(groups) == 1 or not re.fullmatch(r"[1-9][0-9]{0,2}(,[0-9]{3})+", piece):
        return groups
    if any(group.startswith("0") for group in groups):
        return [piece]
    raise ValueError(f"{piece!r} may be one quantity or {len(groups)}; write {''.join(groups)}, or {';'.join(groups)}")
