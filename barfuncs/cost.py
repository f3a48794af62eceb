"""Cost: material, scrap return, price and price breaks."""

import re
from collections.abc import Sequence
from typing import Any

from barfuncs.catalogue import cell_function, read_value
from barfuncs.counting import count_up
from barfuncs.errors import InputError
from barfuncs.kinds import (
    Count,
    Hours,
    Kind,
    Length,
    Margin,
    Markup,
    Money,
    PositiveCount,
    PositiveMoney,
    PositiveSeconds,
    PricePer,
    Quantities,
    Ratio,
    ScrapRate,
    Seconds,
    Table,
    Units,
    Weight,
)
from barfuncs.quantity import starts_for_quantity
from barfuncs.units import KG_PER_LB, MM_PER_INCH

# How many of each price basis one inch / one mm of bar, one lb / one kg of it, or one bar is.
_BY_WEIGHT = {"lb": ("in", 1.0), "100 lb": ("in", 0.01), "kg": ("mm", 1.0), "100 kg": ("mm", 0.01)}
_BY_LENGTH = {"ft": ("in", 1 / 12), "m": ("mm", 0.001)}
_KG = f'IF(units="mm",1,{KG_PER_LB!r})'
_MM = f'IF(units="mm",1,{MM_PER_INCH!r})'

PER_BAR_FORMULA = (
    f'IF(price_per="lb",bar_weight*{_KG}/{KG_PER_LB!r},IF(price_per="100 lb",bar_weight*{_KG}/{KG_PER_LB!r}*0.01,'
    f'IF(price_per="kg",bar_weight*{_KG},IF(price_per="100 kg",bar_weight*{_KG}*0.01,'
    f'IF(price_per="ft",bar_length*{_MM}/{12 * MM_PER_INCH!r},IF(price_per="m",bar_length*{_MM}*0.001,1))))))'
)


def _price_units_per_bar(price_per: str, bar_length: float, bar_weight: float, units: str) -> float:
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
    formula=f"IF(bars=0,0,MAX(minimum_charge,bars*price*{PER_BAR_FORMULA}+cuts*cut_charge))",
    rules=(
        ("bar_weight", 'OR(price_per="ft",price_per="m",price_per="bar",price_per="piece",bar_weight>0)',
         "a price by weight needs the weight of a bar"),
        ("bar_length", 'OR(AND(price_per<>"ft",price_per<>"m"),bar_length>0)',
         "a price by length needs the length of a bar"),
    ),
)
def material_cost(bars: Count, price: Money, price_per: PricePer, bar_length: Length, bar_weight: Weight,
                  cuts: Count = 0, cut_charge: Money = 0, minimum_charge: Money = 0, units: Units = "in") -> Money:
    """Cost of the bars: by weight, length, bar or piece, plus saw cuts, not less than the minimum charge.

    Notes
    -----
    No bars, no cost. "bar" and "piece" both price one of the bars counted.

    Examples
    --------
    >>> material_cost(18, 2.40, "lb", 144, 14.5)
    626.4
    >>> material_cost(2, 3.10, "ft", 144, 0, minimum_charge=150)
    150.0
    """
    if bars == 0:
        return 0.0
    each = _price_units_per_bar(price_per, bar_length, bar_weight, units)
    return max(minimum_charge, bars * price * each + cuts * cut_charge)


@cell_function(
    group="Cost",
    formula="MAX(0,bars*bar_weight-parts_weight-remnant_weight)*chip_price+remnant_weight*remnant_price",
    rules=(("parts_weight", "parts_weight+remnant_weight<=bars*bar_weight*1.000000001",
            "parts and remnants together must not weigh more than the bars"),),
)
def scrap_return(bars: Count, bar_weight: Weight, parts_weight: Weight, remnant_weight: Weight, chip_price: Money = 0,
                 remnant_price: Money = 0) -> Money:
    """What the scrap buyer pays for chips and remnants; chips are what is neither part nor remnant.

    Examples
    --------
    >>> round(scrap_return(18, 14.5, 170, 12, 0.30, 0.45), 2)
    29.1
    """
    chips = max(0.0, bars * bar_weight - parts_weight - remnant_weight)
    return chips * chip_price + remnant_weight * remnant_price


@cell_function(group="Cost", formula="cost/(1-margin)")
def price_at_margin(cost: Money, margin: Margin) -> Money:
    """Price that leaves a margin: profit as a share of the price. cost / (1 - margin).

    Examples
    --------
    >>> price_at_margin(75, 0.25)
    100.0
    """
    return cost / (1 - margin)


@cell_function(group="Cost", formula="cost*(1+markup)")
def price_at_markup(cost: Money, markup: Markup) -> Money:
    """Price with a markup: profit as a share of the cost. cost * (1 + markup).

    Examples
    --------
    >>> price_at_markup(100, 0.25)
    125.0
    """
    return cost * (1 + markup)


@cell_function(group="Cost", formula="(price-cost)/price")
def margin_of(price: PositiveMoney, cost: Money) -> Ratio:
    """Margin that a price leaves; below 0 where it does not cover the cost.

    Examples
    --------
    >>> margin_of(100, 75)
    0.25
    """
    return (price - cost) / price


PRICE_BREAK_COLUMNS = ("quantity", "bars", "material", "machine", "setup", "other", "cost_each", "price_each",
                       "order_total")


TABLE_HEADS: dict[str, tuple[str, ...]] = {"price_breaks": tuple(c.replace("_", " ") for c in PRICE_BREAK_COLUMNS)}
"""The header row over each function's table, as a spreadsheet shows it."""


@cell_function(group="Cost", no_formula="its result is a table, one row for each quantity")
def price_breaks(quantities: Quantities, parts_per_bar: PositiveCount, bar_cost: Money, cycle_time: PositiveSeconds,
                 bar_change_time: Seconds, setup_hours: Hours, machine_rate: Money, scrap_rate: ScrapRate = 0,
                 setup_parts: Count = 0, setup_rate: Money | None = None, other_per_part: Money = 0,
                 other_per_order: Money = 0, minimum_charge: Money = 0, margin: Margin = 0) -> Table:
    """Price at several quantities: rows of quantity, bars, material, machine, set-up, other, cost each, price each, total.

    Notes
    -----
    Machine time is the starts' cycle time and the bar changes between bars. The price each is rounded to the cent, and
    the order total is that price times the quantity, so that both figures on a quote agree.

    Examples
    --------
    >>> for row in price_breaks([100, 1000], 59, 34.8, 45, 30, 1.5, 80, margin=0.2):
    ...     print(row[0], row[1], round(row[6], 4), row[7], row[8])
    100 2 2.9027 3.63 363.0
    1000 17 1.7223 2.15 2150.0
    """
    rows = []
    for quantity in read_quantities(quantities):
        starts = starts_for_quantity.core(quantity, scrap_rate, setup_parts)
        bars = count_up(starts / parts_per_bar)
        material = max(minimum_charge, bars * bar_cost)
        machine = (starts * cycle_time + max(0, bars - 1) * bar_change_time) / 3600 * machine_rate
        setup = setup_hours * (machine_rate if setup_rate is None else setup_rate)
        other = quantity * other_per_part + other_per_order
        cost_each = (material + machine + setup + other) / quantity
        price_each = round(cost_each / (1 - margin) + 1e-9, 2)
        rows.append((quantity, bars, material, machine, setup, other, cost_each, price_each,
                     round(price_each * quantity, 2)))
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
    kind = Kind("count", "count", None, 1, 1e7, whole=True)
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
            number, _ = read_value(kind, q)
            if not kind.allows(number):
                raise ValueError(f"{q!r} given; allowed is {kind.allowed(None)}")
            counts.append(int(number))
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
