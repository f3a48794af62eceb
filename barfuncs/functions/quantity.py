"""Quantity: parts to make, bars to load, and what the bars give at most."""

from barfuncs.catalogue.counting import count_down, count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Confidence, Count, Length, PositiveCount, PositiveLength, ScrapRate
from barfuncs.errors import InputError

_TO_MAKE = "PARTS_TO_MAKE(quantity,scrap_rate,setup_parts)"
_BARS = "BARS_FOR_QUANTITY(quantity,parts_per_bar,scrap_rate,setup_parts)"


def _parts_to_make(quantity: int, scrap_rate: float, setup_parts: int) -> int:
    return count_up(quantity / (1 - scrap_rate)) + setup_parts


def _bars(quantity: int, parts_per_bar: int, scrap_rate: float, setup_parts: int) -> int:
    return -(-_parts_to_make(quantity, scrap_rate, setup_parts) // parts_per_bar)


def _confident_formula() -> str:
    """Cell expression: good and scrapped parts with a confidence, without set-up pieces.

    With few scrapped parts, a guess from below and the chances of the four counts from there on. With many, the spreadsheet
    programs' own chances are not exact enough; there an expansion about the normal distribution is. DEVELOPERS.md says more.
    """
    z, mean = "NORMSINV(confidence)", "quantity*scrap_rate"
    start = f"{mean}+SQRT({mean})*{z}+(1+scrap_rate)*({z}^2-1)/6"
    second = f"{z}*((1+scrap_rate*(scrap_rate-4))*{z}^2+2+scrap_rate*(10+2*scrap_rate))/72"
    third = f"(scrap_rate-2)*(1+scrap_rate)*(2*scrap_rate-1)*((3*{z}^2+7)*{z}^2-16)/1620"
    fourth = (f"{z}*((207+scrap_rate*(-360+scrap_rate*(270+scrap_rate*(207*scrap_rate-360))))*{z}^4"
              f"+(548+scrap_rate*(-580+scrap_rate*(-960+scrap_rate*(548*scrap_rate-580))))*{z}^2"
              "-2684+scrap_rate*(5320+scrap_rate*(-3540+scrap_rate*(5320-2684*scrap_rate))))/155520")
    near = f"2.5E-12*SQRT({mean})*EXP({z}^2/2)"  # 1E-12 of the chance
    many = f"-INT(0.5-({start}-{second}/SQRT({mean})+{third}/({mean})-{fourth}/({mean})^1.5-{near})/(1-scrap_rate))"
    guess = f"MAX(0,INT(({start}-{second}/SQRT({mean}+0.3+3*scrap_rate^3))/(1-scrap_rate)-2.65))"
    few = guess + "".join(f"+(BETADIST(1-scrap_rate,quantity,{guess}+{n})<confidence-1E-11)" for n in range(1, 5))
    return f"quantity+IF({mean}=0,0,IF({mean}<500,{few},{many}))"


@cell_function(
    group="Quantity",
    source="on average good / (1 - scrap rate): Tompkins, Facilities Planning, type of example; with a confidence the binomial distribution",
    formula=f"IF(confidence=0,COUNT_UP(quantity/(1-scrap_rate)),{_confident_formula()})+setup_parts",
)
def parts_to_make(quantity: Count, scrap_rate: ScrapRate = 0, setup_parts: Count = 0,
                  confidence: Confidence | None = None) -> Count:
    """Parts that must be made so that, after scrap and set-up pieces, the order is filled: on average, or with a confidence.

    Notes
    -----
    On average it is ceil(quantity / (1 - scrap rate)) + set-up pieces. That is right for a cost, but such a run falls
    short of the order in nearly half of all cases. With a confidence it is the fewest parts of which, each scrapped with
    the chance of the scrap rate, at least the quantity is good with at least that chance, + set-up pieces. Adding the
    scrap rate to the quantity instead (100 at 5% as 105) falls short: 5% of 105 is more than 5.

    Examples
    --------
    >>> parts_to_make(1000, 0.03, 5)
    1036
    >>> parts_to_make(1000, 0.03, 5, confidence=0.95)
    1045
    """
    if confidence is None:
        return _parts_to_make(quantity, scrap_rate, setup_parts)
    from barfuncs.functions.chances import (
        parts_for_confidence,  # here, since it takes longer to import than most calls take
    )

    return parts_for_confidence(quantity, scrap_rate, confidence) + setup_parts


@cell_function(group="Quantity", source=COMMON_PRACTICE, formula=f"COUNT_UP({_TO_MAKE}/parts_per_bar)")
def bars_for_quantity(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                      setup_parts: Count = 0) -> Count:
    """Bars that the order needs on average, all of the same length.

    Notes
    -----
    For bars with a confidence divide `parts_to_make` with that confidence by the parts per bar and round up.

    Examples
    --------
    >>> bars_for_quantity(1000, 59, 0.03, 5)
    18
    """
    return _bars(quantity, parts_per_bar, scrap_rate, setup_parts)


@cell_function(group="Quantity", source=COMMON_PRACTICE, formula=f"IF({_TO_MAKE}=0,0,{_TO_MAKE}-({_BARS}-1)*parts_per_bar)")
def last_bar_parts(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                   setup_parts: Count = 0) -> Count:
    """Parts that the order takes from its last bar, on average.

    Examples
    --------
    >>> last_bar_parts(1000, 59, 0.03, 5)
    33
    """
    to_make = _parts_to_make(quantity, scrap_rate, setup_parts)
    return to_make - (_bars(quantity, parts_per_bar, scrap_rate, setup_parts) - 1) * parts_per_bar if to_make else 0


@cell_function(
    group="Quantity",
    source=COMMON_PRACTICE,
    formula=f"MAX(quantity,COUNT_DOWN(({_BARS}*parts_per_bar-setup_parts)*(1-scrap_rate)))",
)
def whole_bar_quantity(quantity: Count, parts_per_bar: PositiveCount, scrap_rate: ScrapRate = 0,
                       setup_parts: Count = 0) -> Count:
    """Largest good quantity that the same number of bars gives, on average.

    Examples
    --------
    >>> whole_bar_quantity(1000, 59, 0.03, 5)
    1025
    """
    made = _bars(quantity, parts_per_bar, scrap_rate, setup_parts) * parts_per_bar
    return max(quantity, count_down((made - setup_parts) * (1 - scrap_rate)))


_MOST_PARTS = 10_000  # of one bar; more is a slip of the pen, and would take long to work out
_FEWEST_PARTS = 0.0005  # parts per bar on average; below, the order rests on rare bars and no plan is worth making


@cell_function(
    group="Quantity",
    source=f"probability theory, a sum of equally likely lengths; that they are equally likely: {COMMON_PRACTICE}",
    no_formula="the chance that random lengths add up to the order is a sum over all lengths, not one cell formula",
    rules=(
        ("longest_bar", "shortest_bar<=longest_bar", "the longest bar must not be shorter than the shortest"),
    ),
)
def bars_for_confidence(quantity: Count, shortest_bar: Length, longest_bar: Length, bar_per_part: PositiveLength,
                        min_remnant: Length, end_trim: Length = 0, scrap_rate: ScrapRate = 0, setup_parts: Count = 0,
                        confidence: Confidence = 0.95) -> Count:
    """Bars to buy when the supplier sends random lengths: enough for the order with the stated confidence.

    Notes
    -----
    Every length between the shortest and the longest bar is taken as equally likely and the bars as independent, and each
    part is scrapped with the chance of the scrap rate. The chance is worked out exactly, at any size.

    Examples
    --------
    >>> bars_for_confidence(1000, "10 ft", "12 ft", 2.375, 2.75, units="in")
    19
    >>> bars_for_confidence(1000, 144, 144, 2.375, 2.75)
    17
    >>> bars_for_confidence(1000, 144, 144, 2.375, 2.75, scrap_rate=0.03, confidence=0.99)
    18
    """
    if quantity + setup_parts == 0:
        return 0
    if longest_bar / bar_per_part > _MOST_PARTS:
        raise InputError("bars_for_confidence", [
            ("bar_per_part", f"{bar_per_part:g} given; a bar would give more than {_MOST_PARTS:,} parts")])
    from fractions import Fraction

    from barfuncs.functions.chances import bars_for, parts_of_a_bar

    low, high = (max(0, count_down((bar - end_trim - min_remnant) / bar_per_part)) for bar in (shortest_bar, longest_bar))
    parts = parts_of_a_bar(low, high, shortest_bar, longest_bar, bar_per_part, Fraction(min_remnant) + Fraction(end_trim))
    if parts.mean < _FEWEST_PARTS:
        raise InputError("bars_for_confidence", [
            ("longest_bar", "hardly a bar gives one whole part: even the longest is about as long as end trim, minimum "
                            "remnant and the bar for one part")])
    return bars_for(parts, quantity, scrap_rate, setup_parts, confidence)
