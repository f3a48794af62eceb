"""Which of several supplied lengths a job is made from at the least cost."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from barfuncs.catalogue.counting import count_down, count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    BarWeightPerLength,
    Count,
    Length,
    Money,
    NoYes,
    Offers,
    PositiveCount,
    PositiveLength,
    PriceByWeight,
    PricePer,
    ScrapRate,
    Table,
    Units,
)
from barfuncs.errors import InputError
from barfuncs.functions.cost import PACKS, price_units_per_bar
from barfuncs.functions.material_price import material_line_cost
from barfuncs.functions.quantity import parts_to_make
from barfuncs.functions.sawing import blank_for, split

_MOST_BARS = 10**7
_CLOSE = 1e-9


@dataclass(frozen=True)
class _Sawn:
    """One supplied bar: saw cuts, and what is left of it beside its blanks."""

    cuts: int
    left_over: float


@dataclass(frozen=True)
class _Bought:
    """What is bought of one length."""

    length: float
    parts: int
    blanks: int
    bars: int
    cuts: int
    left_over: float
    last_left_over: float
    cost: float
    note: str


@cell_function(
    group="Sawing",
    source=f"parts as of `parts_per_supplied_bar`, cost as of `material_line_cost`; a larger bracket where it costs less: {COMMON_PRACTICE}",
    no_formula="its result is a table, one row for each length on offer",
    rules=(
        ("shortest_blank", "shortest_blank<=longest_blank", "the shortest blank must not be longer than the longest"),
        ("price_per", 'price_per<>"blank"', "bars are bought as supplied: give their price per bar"),
        ("weight_per_length", 'OR(price_per="ft",price_per="m",price_per="bar",price_per="blank",weight_per_length>0)',
         "a price by weight needs the weight of the bar per length"),
        ("material_surcharge", "OR(material_surcharge=0,weight_per_length>0)", "a surcharge by weight needs the weight of the bar per length"),
    ),
)
def stock_choice(offers: Offers, quantity: PositiveCount, price_per: PricePer, longest_blank: PositiveLength, kerf: Length,
                 bar_per_part: PositiveLength, min_remnant: Length, end_trim: Length = 0, shortest_blank: Length = 0, trim: Length = 0,
                 equal_blanks: NoYes = "no", weight_per_length: BarWeightPerLength = 0, scrap_rate: ScrapRate = 0, setup_parts: Count = 0,
                 cut_charge: Money = 0, minimum_charge: Money = 0, material_surcharge: PriceByWeight = 0, certificate_fee: Money = 0,
                 material_freight: Money = 0, units: Units = "in") -> Table:
    """The lengths on offer for a job: parts, bars, cuts, left over and cost of each, and which is the cheapest.

    Notes
    -----
    The columns are length, parts and blanks per bar, bars to buy, cuts in all, left over of each bar and of the last one, cost of the
    material, the same for each good part, a mark at the cheapest length, and a note. The last bar is sawn no further than the order
    needs. Left over is beside blanks, kerfs and trim; a bar that the feeder takes whole is not sawn. A price holds for all that is
    bought from its quantity on, counted in what it is per: in lb or kg for 100 lb, 100 kg, 112 lb, 2000 lb and tonne. Where more
    bars than needed cost less, they are bought and stay whole, and the note says so. The minimum covers bars, surcharge and cuts.

    Examples
    --------
    >>> for row in stock_choice("144: 2.40; 144 from 180: 1.75", 160, "lb", 47.5, 0.125, 2.375, 3, weight_per_length=4):
    ...     print(*row[:5], round(row[7], 2), *row[9:])
    144.0 55 4 4 11 336.0 cheapest buy 1 bar (48 lb) more than needed and pay 9.60 less
    """
    to_make = parts_to_make.core(quantity, scrap_rate, setup_parts)
    found, problems = [], []
    for length, (row, prices) in _by_length(offers).items():
        given = (length, longest_blank, kerf, bar_per_part, min_remnant, end_trim, shortest_blank, trim, equal_blanks)
        parts, blanks = split(*given)
        if not parts:
            problems.append(("offers", f"row {row}, length: no whole part comes from {length:.10g} in blanks that the feeder takes"))
            continue
        needed = -(-to_make // parts)
        rest = to_make - (needed - 1) * parts
        full = _sawn(given, parts, blanks, whole_bar=True)
        most = max(1, count_down((longest_blank - min_remnant - end_trim) / bar_per_part)) if equal_blanks == "no" else parts // blanks
        last = full if rest == parts else _sawn(given, rest if equal_blanks == "no" else -(-rest // most) * most, -(-rest // most))
        cuts = (needed - 1) * full.cuts + last.cuts
        bars, cost, note = _cheapest(prices, needed, length, length * weight_per_length / (12 if units == "in" else 1000), price_per, cuts,
                                     cut_charge, minimum_charge, material_surcharge, certificate_fee, material_freight, units)
        if math.isinf(cost):
            problems.append(("offers", f"row {row}: no price holds for up to {_MOST_BARS:,} bars of {length:.10g}"))
        found.append(_Bought(length, parts, blanks, bars, cuts, full.left_over, last.left_over, cost, note))
    if problems:
        raise InputError("stock_choice", problems)
    best = min(found, key=lambda b: (b.cost, b.bars, b.cuts))
    return [(b.length, b.parts, b.blanks, b.bars, b.cuts, b.left_over, b.last_left_over, b.cost, b.cost / quantity,
             "cheapest" if b is best else "", b.note) for b in found]


def _by_length(offers: Sequence[tuple[int, tuple[Any, ...]]]) -> dict[float, tuple[int, list[tuple[float, float]]]]:
    """By length, in the order given: the first row that has it, and from which quantity on which price holds, ascending."""
    found: dict[float, tuple[int, list[tuple[float, float]]]] = {}
    problems = []
    for row, (length, price, start) in offers:
        first, prices = next((v for k, v in found.items() if math.isclose(k, length, rel_tol=_CLOSE)), (row, []))
        if first == row:
            found[length] = (row, prices)
        if any(start == other for other, _ in prices):
            problems.append(("offers", f"row {row}: two prices for {length:.10g} from {start:,.10g} on"))
        prices.append((start, price))
        prices.sort()
    if problems:
        raise InputError("stock_choice", problems)
    return found


def _sawn(given: tuple[Any, ...], parts: int, blanks: int, whole_bar: bool = False) -> _Sawn:
    """A bar that is sawn into so many blanks for so many parts. `whole_bar`: all that it gives."""
    length, longest, kerf, bar_per_part, min_remnant, end_trim, shortest, trim, _ = given
    usable, ends = length - 2 * trim, 2 if trim else 0
    lengths = [blank_for(n, bar_per_part, min_remnant, end_trim, shortest) for n in (-(-parts // blanks), parts // blanks)]
    longer = parts % blanks
    rest = usable - longer * lengths[0] - (blanks - longer) * lengths[1] - (blanks - 1) * kerf
    if blanks == 1 and usable <= longest * (1 + _CLOSE):
        return _Sawn(ends, 0.0 if whole_bar else max(0.0, rest))
    if rest / (lengths[0] + kerf) > _CLOSE:
        return _Sawn(blanks - 1 + max(ends, 1), max(0.0, rest - kerf))
    return _Sawn(blanks - 1 + ends, 0.0)


def _cheapest(prices: Sequence[tuple[float, float]], needed: int, length: float, weight: float, price_per: str, cuts: int, cut_charge: float,
              minimum: float, surcharge: float, fee: float, freight: float, units: str) -> tuple[int, float, str]:
    """Bars of one length that cost least, no fewer than needed; what they cost; and what is to be said of it."""
    counted = PACKS[price_per][0] if price_per in PACKS else price_per
    each = price_units_per_bar(counted, length, weight, units)

    def cost(bars: int) -> float:
        holds = [price for start, price in prices if start <= bars * each * (1 + _CLOSE)]
        return math.inf if not holds else float(material_line_cost.core(
            bars, holds[-1], price_per, length, weight, cuts, cut_charge, minimum, surcharge, fee, freight, units))

    bars, least, plain = needed, cost(needed), cost(needed)
    for start, _ in prices:
        more = count_up(start / each) if start < each * _MOST_BARS else 0
        if more > needed and (now := cost(more)) < least * (1 - _CLOSE):
            bars, least = more, now
    notes = []
    if bars > needed:
        extra = f"buy {_bars(bars - needed)}" + ("" if counted == "bar" else f" ({_short((bars - needed) * each)} {counted})")
        notes.append(f"{extra} more than needed and pay {plain - least:,.2f} less" if math.isfinite(plain)
                     else f"{extra} more than needed: sold from {_bars(math.ceil(prices[0][0])) if counted == 'bar' else f'{_short(prices[0][0])} {counted}'} on")
    if minimum > 0 and least <= (minimum + fee + freight) * (1 + _CLOSE):
        free = _free_bars(cost, bars)
        notes.append(f"the minimum of {minimum:,.2f} is charged" + (f": {_bars(free)} more cost no more" if free else ""))
    return bars, least, "; ".join(notes)


def _free_bars(cost: Callable[[int], float], bars: int) -> int:
    """Bars on top that cost nothing, since the line's minimum covers them; 0 where any number does, at no price."""
    least = cost(bars)
    return next((free for free in range(1000) if cost(bars + free + 1) > least * (1 + _CLOSE)), 0)


def _bars(count: int) -> str:
    return f"{count:,} bar" + ("" if count == 1 else "s")


def _short(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 or value == int(value) else f"{value:,.1f}"
