"""Quantity: parts to make, bars to load, and what the bars give at most."""

import math

from barfuncs.catalogue import cell_function
from barfuncs.counting import count_down, count_up
from barfuncs.errors import InputError
from barfuncs.kinds import Confidence, Count, Length, PositiveCount, PositiveLength, ScrapRate

_TO_MAKE = "PARTS_TO_MAKE(quantity,scrap_rate,setup_parts)"
_BARS = "BARS_FOR_QUANTITY(quantity,parts_per_bar,scrap_rate,setup_parts)"


def _parts_to_make(quantity: int, scrap_rate: float, setup_parts: int) -> int:
    return count_up(quantity / (1 - scrap_rate)) + setup_parts


def _bars(quantity: int, parts_per_bar: int, scrap_rate: float, setup_parts: int) -> int:
    return -(-_parts_to_make(quantity, scrap_rate, setup_parts) // parts_per_bar)


@cell_function(group="Quantity", formula="COUNT_UP(quantity/(1-scrap_rate))+setup_parts")
def parts_to_make(quantity: Count, scrap_rate: ScrapRate = 0, setup_parts: Count = 0) -> Count:
    """Parts that must be started so that, after scrap and set-up pieces, the order is filled.

    Notes
    -----
    ceil(quantity / (1 - scrap rate)) + set-up pieces. Adding the scrap rate to the quantity instead
    (100 at 5% as 105) falls short: 5% of 105 is more than 5.

    Examples
    --------
    >>> parts_to_make(1000, 0.03, 5)
    1036
    """
    return _parts_to_make(quantity, scrap_rate, setup_parts)


@cell_function(group="Quantity", formula=f"COUNT_UP({_TO_MAKE}/parts_per_bar)")
def bars_for_quantity(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                      setup_parts: Count = 0) -> Count:
    """Bars that the order needs, all of the same length.

    Examples
    --------
    >>> bars_for_quantity(1000, 59, 0.03, 5)
    18
    """
    return _bars(quantity, parts_per_bar, scrap_rate, setup_parts)


@cell_function(group="Quantity", formula=f"IF({_TO_MAKE}=0,0,{_TO_MAKE}-({_BARS}-1)*parts_per_bar)")
def last_bar_parts(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                   setup_parts: Count = 0) -> Count:
    """Parts that the order takes from its last bar.

    Examples
    --------
    >>> last_bar_parts(1000, 59, 0.03, 5)
    33
    """
    to_make = _parts_to_make(quantity, scrap_rate, setup_parts)
    return to_make - (_bars(quantity, parts_per_bar, scrap_rate, setup_parts) - 1) * parts_per_bar if to_make else 0


@cell_function(
    group="Quantity",
    formula=f"MAX(quantity,COUNT_DOWN(({_BARS}*parts_per_bar-setup_parts)*(1-scrap_rate)))",
)
def whole_bar_quantity(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                       setup_parts: Count = 0) -> Count:
    """Largest good quantity that the same number of bars gives.

    Examples
    --------
    >>> whole_bar_quantity(1000, 59, 0.03, 5)
    1025
    """
    made = _bars(quantity, parts_per_bar, scrap_rate, setup_parts) * parts_per_bar
    return max(quantity, count_down((made - setup_parts) * (1 - scrap_rate)))


@cell_function(group="Quantity", formula="parts*bar_per_part")
def fed_length(parts: Count, bar_per_part: PositiveLength) -> Length:
    """Length of bar that a number of parts feeds: for a run that is stopped by length fed.

    Examples
    --------
    >>> fed_length(1036, 2.375)
    2460.5
    """
    return parts * bar_per_part


_MOST_PARTS = 100_000  # of one bar; more is a slip of the pen, and would take long to work out
_EXACT_STEPS = 3_000_000
_FEWEST_PARTS = 0.0005  # parts per bar on average; below, the order rests on rare bars and no plan is worth making


@cell_function(
    group="Quantity",
    no_formula="the chance that random lengths add up to the order is a sum over all lengths, not one cell formula",
    rules=(
        ("longest_bar", "shortest_bar<=longest_bar", "the longest bar must not be shorter than the shortest"),
    ),
)
def bars_for_confidence(quantity: Count, shortest_bar: Length, longest_bar: Length, bar_per_part: PositiveLength,
                        min_remnant: Length, end_trim: Length = 0, scrap_rate: ScrapRate = 0,
                        confidence: Confidence = 0.95) -> Count:
    """Bars to buy when the supplier sends random lengths: enough for the order with the stated confidence.

    Notes
    -----
    Every length between the shortest and the longest bar is taken as equally likely and the bars as independent. The
    distribution of the parts from n bars is worked out exactly; where that would take more than some million steps,
    by the normal approximation with continuity correction, which is close then since many bars are added up.

    Examples
    --------
    >>> bars_for_confidence(1000, "10 ft", "12 ft", 2.375, 2.75, units="in")
    19
    >>> bars_for_confidence(1000, 144, 144, 2.375, 2.75)
    17
    """
    to_make = _parts_to_make(quantity, scrap_rate, 0)
    if to_make == 0:
        return 0
    if longest_bar / bar_per_part > _MOST_PARTS:
        raise InputError("bars_for_confidence", [("bar_per_part", f"{bar_per_part!r} given; a bar would give more than {_MOST_PARTS:,} parts")])
    chances = _parts_distribution(shortest_bar, longest_bar, bar_per_part, min_remnant + end_trim)
    mean = sum(k * p for k, p in chances.items())
    if mean < _FEWEST_PARTS:
        raise InputError("bars_for_confidence", [("longest_bar", "hardly a bar gives one whole part: even the longest is "
                                                                 "about as long as end trim, minimum remnant and the bar for one part")])
    most = max(chances)
    fewest = -(-to_make // most)
    width = most - min(chances) + 1
    expected_bars = to_make / mean
    if expected_bars * min(to_make, expected_bars * width) > _EXACT_STEPS:
        return _bars_by_normal(to_make, chances, mean, confidence)
    short = {0: 1.0}  # chance of each number of parts so far that is still short of the order
    low, high = min(chances), most
    inner = chances.get(low + 1, 0.0) if high - low > 1 else 0.0
    for bars in range(1, 10**9):
        short = _add_bar(short, chances, low, high, inner, to_make)
        if bars >= fewest and 1 - sum(short.values()) >= confidence - 1e-12:
            return bars
    raise AssertionError("unreachable")


def _parts_distribution(shortest: float, longest: float, bar_per_part: float, lost: float) -> dict[int, float]:
    """Chance of each number of parts from one bar of uniformly random length."""
    low = max(0, count_down((shortest - lost) / bar_per_part))
    high = max(0, count_down((longest - lost) / bar_per_part))
    if low == high or longest == shortest:
        return {high: 1.0}
    span = longest - shortest
    chances = {}
    for k in range(low, high + 1):
        start = shortest if k == low else max(shortest, lost + k * bar_per_part)
        end = longest if k == high else min(longest, lost + (k + 1) * bar_per_part)
        chances[k] = max(0.0, end - start) / span
    return chances


def _add_bar(short: dict[int, float], chances: dict[int, float], low: int, high: int, inner: float,
             to_make: int) -> dict[int, float]:
    """One more bar. All counts between the two ends are equally likely, so a running sum does the convolution."""
    first, last = min(short), max(short)
    prefix = [0.0]
    for n in range(first, last + 1):
        prefix.append(prefix[-1] + short.get(n, 0.0))

    def between(a: int, b: int) -> float:
        a, b = max(a, first), min(b, last)
        return prefix[b - first + 1] - prefix[a - first] if a <= b else 0.0

    result = {}
    for total in range(first + low, min(last + high, to_make - 1) + 1):
        chance = chances[low] * short.get(total - low, 0.0)
        if high > low:
            chance += chances[high] * short.get(total - high, 0.0)
            chance += inner * between(total - high + 1, total - low - 1)
        result[total] = chance
    return result or {0: 0.0}


def _bars_by_normal(to_make: int, chances: dict[int, float], mean: float, confidence: float) -> int:
    from statistics import NormalDist

    spread = math.sqrt(sum((k - mean) ** 2 * p for k, p in chances.items()))
    z = NormalDist().inv_cdf(confidence)
    # n mean - z spread sqrt(n) >= parts to make - 1/2, solved for sqrt(n)
    root = (z * spread + math.sqrt((z * spread) ** 2 + 4 * mean * (to_make - 0.5))) / (2 * mean)
    return max(count_up(root * root), -(-to_make // max(chances)))
