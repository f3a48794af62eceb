"""Material price: a supplier's line with all that comes on top, prices by quantity, and the quantity that costs least."""

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    UNITS,
    Count,
    Length,
    Money,
    PositiveCount,
    PriceBrackets,
    PriceByWeight,
    PricePer,
    Share,
    Units,
    Weight,
    kind_of,
)
from barfuncs.catalogue.reading import read_in
from barfuncs.errors import InputError, shown
from barfuncs.functions.cost import PER_BAR_FORMULA, PRICE_RULES, price_units_per_bar


@cell_function(
    group="Cost",
    source=COMMON_PRACTICE,
    formula=f"IF(bars=0,0,MAX(minimum_charge,bars*(price*{PER_BAR_FORMULA}+material_surcharge*bar_weight)+cuts*cut_charge)"
            "+certificate_fee+material_freight)",
    rules=(*PRICE_RULES, ("material_surcharge", "OR(material_surcharge=0,bar_weight>0)", "a surcharge by weight needs the weight of a bar")),
)
def material_line_cost(bars: Count, price: Money, price_per: PricePer, bar_length: Length, bar_weight: Weight, cuts: Count = 0,
                       cut_charge: Money = 0, minimum_charge: Money = 0, material_surcharge: PriceByWeight = 0,
                       certificate_fee: Money = 0, material_freight: Money = 0, units: Units = "in") -> Money:
    """Cost of a line of a supplier's invoice: bars, surcharge and cuts, not less than the minimum, and certificate and freight.

    Notes
    -----
    `material_cost` with a surcharge for each lb or kg of the bars, whatever the price is per. The minimum of the line covers
    bars, surcharge and cuts; certificate and freight come on top. No bars, no cost.

    Examples
    --------
    >>> round(material_line_cost(18, 2.40, "lb", 144, 14.5, material_surcharge=0.35, certificate_fee=25, material_freight=60), 2)
    802.75
    >>> material_line_cost(1, 2.40, "lb", 144, 14.5, minimum_charge=75, certificate_fee=25)
    100.0
    """
    if bars == 0:
        return 0.0
    each = price * price_units_per_bar(price_per, bar_length, bar_weight, units) + material_surcharge * bar_weight
    return max(minimum_charge, bars * each + cuts * cut_charge) + certificate_fee + material_freight


_NO_FORMULA = "the brackets are a list of any length; a sheet looks a price up in its own"
_MOST_UNITS = 10**7


@cell_function(group="Cost", source=COMMON_PRACTICE, no_formula=_NO_FORMULA)
def price_from_brackets(quantity: PositiveCount, price_brackets: PriceBrackets) -> Money:
    """Price for one unit at a quantity, where larger quantities have another price for all of their units.

    Examples
    --------
    >>> price_from_brackets(120, "1: 53; 50: 51.5; 100: 49.5; 200: 48"), price_from_brackets(49, [[1, 53], [50, 51.5]])
    (49.5, 53.0)
    """
    return _price_at(quantity, price_brackets, "price_from_brackets")


@cell_function(group="Cost", source="order quantity with holding by value and a price for all units: common textbooks of operations management",
               no_formula=_NO_FORMULA)
def yearly_order_cost(quantity: PositiveCount, demand: PositiveCount, ordering_cost: Money, holding_share: Share,
                      price_brackets: PriceBrackets) -> Money:
    """Cost of a year's demand where so much is ordered at a time: the goods, the orders, and keeping half of an order on average.

    Examples
    --------
    >>> yearly_order_cost(200, 800, 60, 0.3, "1: 53; 50: 51.5; 100: 49.5; 200: 48; 500: 47")
    40080.0
    """
    price = _price_at(quantity, price_brackets, "yearly_order_cost")
    return _yearly(quantity, demand, ordering_cost, holding_share, price)


@cell_function(group="Cost", source="as of `yearly_order_cost`", no_formula=_NO_FORMULA)
def cheapest_order_quantity(demand: PositiveCount, ordering_cost: Money, holding_share: Share, price_brackets: PriceBrackets) -> Count:
    """Quantity to order at a time that costs least in a year, where larger quantities have another price for all of their units.

    Notes
    -----
    The least of `yearly_order_cost` over whole quantities; in the last bracket at most a year's demand, or the bracket's
    first quantity where that is more. Within a bracket it lies where ordering and holding cost the same, or at one end.

    Examples
    --------
    >>> cheapest_order_quantity(800, 60, 0.3, "1: 53; 50: 51.5; 100: 49.5; 200: 48; 500: 47")
    200
    """
    brackets = read_brackets(price_brackets, "cheapest_order_quantity")
    most = max(demand, brackets[-1][0])
    best: tuple[float, int] | None = None
    for n, (start, price) in enumerate(brackets):
        end = brackets[n + 1][0] - 1 if n + 1 < len(brackets) else most
        held = holding_share * price
        even = math.sqrt(2 * demand * ordering_cost / held) if held else math.inf
        for quantity in {min(max(q, start), end) for q in (math.floor(min(even, _MOST_UNITS)), math.ceil(min(even, _MOST_UNITS)))}:
            cost = _yearly(quantity, demand, ordering_cost, holding_share, price)
            if best is None or (cost, quantity) < best:
                best = cost, quantity
    assert best is not None
    return best[1]


def _price_at(quantity: int, price_brackets: Any, where: str) -> float:
    brackets = read_brackets(price_brackets, where)
    prices = [price for start, price in brackets if start <= quantity]
    if not prices:
        raise InputError(where, [("quantity", f"{quantity:,} given; the first price holds from {brackets[0][0]:,} on")])
    return prices[-1]


def _yearly(quantity: int, demand: float, ordering_cost: float, holding_share: float, price: float) -> float:
    return demand * price + demand / quantity * ordering_cost + quantity / 2 * holding_share * price


def read_brackets(brackets: Any, where: str) -> list[tuple[int, float]]:
    """Quantity from which a price holds, and the price, ascending: from rows, from a flat list of both in turn, or from a text.

    >>> read_brackets("1: 53; 1,000: $51.50", "here")
    [(1, 53.0), (1000, 51.5)]
    """
    if not isinstance(brackets, str) and hasattr(brackets, "tolist") and not hasattr(brackets, "units"):
        brackets = brackets.tolist()  # a numpy array
    problems: list[tuple[str, str]] = []
    flat: list[Any] = []
    try:
        flat = list(_both_in_turn(brackets))
    except ValueError as error:
        problems.append(("price_brackets", str(error)))
    found: list[tuple[int, float]] = []
    if not problems and (not flat or len(flat) % 2):
        problems.append(("price_brackets", f"{len(flat)} values given; give quantity and price in turn"))
    kinds = kind_of(PositiveCount), kind_of(Money)
    for pair in zip(flat[::2], flat[1::2], strict=False):
        values = []
        for kind, value in zip(kinds, pair, strict=True):
            try:
                values.append(read_in(kind, value, UNITS[0]))
            except ValueError as error:
                problems.append(("price_brackets", str(error)))
        if len(values) == 2:
            found.append((values[0], float(values[1])))
    found.sort()
    problems += [("price_brackets", f"two prices from {one[0]:,} on") for one, after in itertools.pairwise(found) if one[0] == after[0]]
    if problems:
        raise InputError(where, problems)
    return found


def _both_in_turn(brackets: Any) -> Iterator[Any]:
    if isinstance(brackets, str):
        for piece in brackets.split(";"):
            start, mark, price = piece.partition(":")
            if not mark:
                raise ValueError(f"{shown(piece.strip())} is no quantity and price; write for example 1: 53; 50: 51.5")
            yield from (start.strip(), price.strip())
    elif isinstance(brackets, Sequence) and not isinstance(brackets, (bytes, bytearray)):
        for item in brackets:
            if isinstance(item, (list, tuple)):
                yield from _both_in_turn(item)
            elif item is not None and item != "":
                yield item
    else:
        yield brackets
