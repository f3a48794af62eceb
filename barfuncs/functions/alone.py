"""Running alone: what stops the lathe first, after how many parts and hours at most, and how likely it gets that far."""

import math

from barfuncs.catalogue.counting import count_down, count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    BinVolume,
    BulkFactor,
    Count,
    Efficiency,
    Hours,
    PositiveCount,
    PositiveHours,
    PositiveSeconds,
    PositiveVolume,
    PositiveWeight,
    Ratio,
    Seconds,
    Text,
    Units,
    Weight,
)

_BIN_UNITS = {"in": 231, "mm": 1_000_000}
"""in3 in a gallon of the US, mm3 in a liter."""
_BIN_UNIT = f'IF(units="mm",{_BIN_UNITS["mm"]},{_BIN_UNITS["in"]})'
_STOPS = ("order done", "bars used up", "tool edge", "parts bin full", "chip bin full")
_LIMITS = {
    "order done": "IF(parts_to_make=0,1E15,parts_to_make)",
    "bars used up": "bars_loaded*parts_per_bar",
    "tool edge": "IF(parts_per_edge=0,1E15,MAX(0,parts_per_edge-parts_on_edge))",
    "parts bin full": "IF(parts_bin=0,1E15,parts_bin)",
    "chip bin full": "IF(chip_bin_parts=0,1E15,chip_bin_parts)",
}
"""Parts until each stop, and more than any lathe makes where it is not known."""

_UNTIL = "PARTS_UNTIL_STOP(bars_loaded,parts_per_bar,parts_to_make,parts_per_edge,parts_on_edge,parts_bin,chip_bin_parts)"
_EDGE_RULE = ("parts_per_edge", "OR(parts_on_edge=0,parts_per_edge>0)",
              "parts made on the edge say nothing without the parts that it makes")
_EXPONENTIAL = ("exponential distribution of the time to a stop, as for any machine with a constant rate of failures "
                "(Kececioglu, Reliability Engineering Handbook 1, chapter 5)")


def _limits(bars_loaded: int, parts_per_bar: int, parts_to_make: int | None, parts_per_edge: int | None, parts_on_edge: int,
            parts_bin: int | None, chip_bin_parts: int | None) -> dict[str, int]:
    """Parts until each stop that is known."""
    edge = None if parts_per_edge is None else edge_parts_left.core(parts_per_edge, parts_on_edge)
    limits = (parts_to_make, bars_loaded * parts_per_bar, edge, parts_bin, chip_bin_parts)
    return {stop: limit for stop, limit in zip(_STOPS, limits, strict=True) if limit is not None}


@cell_function(group="Time", source=COMMON_PRACTICE, formula="MAX(0,parts_per_edge-parts_on_edge)")
def edge_parts_left(parts_per_edge: PositiveCount, parts_on_edge: Count = 0) -> Count:
    """Parts that a tool's edge still makes before it is changed.

    Notes
    -----
    The parts that one edge makes are the shop's own count. With sister tools it is the parts of all their edges together.

    Examples
    --------
    >>> edge_parts_left(400, 150)
    250
    """
    return max(0, parts_per_edge - parts_on_edge)


@cell_function(group="Time", source=COMMON_PRACTICE, formula="COUNT_DOWN(bin_load/part_weight)")
def parts_bin_by_weight(bin_load: Weight, part_weight: PositiveWeight) -> Count:
    """Parts that the parts bin holds, by the weight that it takes.

    Examples
    --------
    >>> parts_bin_by_weight(40, 0.42)
    95
    """
    return count_down(bin_load / part_weight)


@cell_function(
    group="Time",
    source="geometry; the fill share of parts poured into a bin: common practice, no source",
    formula=f"COUNT_DOWN(bin_volume*{_BIN_UNIT}*fill_share/part_volume)",
)
def parts_bin_by_volume(bin_volume: BinVolume, part_volume: PositiveVolume, fill_share: Efficiency, units: Units = "in") -> Count:
    """Parts that the parts bin holds, by its volume and the share of it that metal fills.

    Notes
    -----
    The fill share is the volume of metal in a full bin over the volume of the bin. It depends on the shape, is lower for hollow
    parts, and there is no figure for all: weigh one full bin. The count of the shop's own, or `parts_bin_by_weight`, is better.
    A gallon is that of the US, 231 in3.

    Examples
    --------
    >>> parts_bin_by_volume(5, 0.9, 0.5)
    641
    """
    return count_down(bin_volume * _BIN_UNITS[units] * fill_share / part_volume)


@cell_function(
    group="Time",
    source="geometry; the bulk factor of loose chips: common practice, no source, the shop's own figure goes first",
    formula=f"COUNT_DOWN(chip_bin*{_BIN_UNIT}/(chip_volume*bulk_factor))",
)
def chip_bin_parts(chip_bin: BinVolume, chip_volume: PositiveVolume, bulk_factor: BulkFactor, units: Units = "in") -> Count:
    """Parts until the chip bin is full: its volume over that of the loose chips of one part.

    Notes
    -----
    Loose chips take many times the volume that they had in the bar. A maker of chip conveyors prints, in lb/ft3 for steel of
    490: broken chips 55 to 75, light turnings 10 to 25, which are bulk factors of about 7 to 9 and of 20 to 49. Long
    strings take more. Empty the bin, run a day, and reckon the shop's own. A gallon is that of the US, 231 in3.

    Examples
    --------
    >>> chip_bin_parts(55, 1.4, 9)
    1008
    """
    return count_down(chip_bin * _BIN_UNITS[units] / (chip_volume * bulk_factor))


@cell_function(group="Time", source=COMMON_PRACTICE, formula=f"MIN({','.join(_LIMITS.values())})", rules=(_EDGE_RULE,))
def parts_until_stop(bars_loaded: Count, parts_per_bar: PositiveCount, parts_to_make: PositiveCount | None = None,
                     parts_per_edge: PositiveCount | None = None, parts_on_edge: Count = 0,
                     parts_bin: PositiveCount | None = None, chip_bin_parts: PositiveCount | None = None) -> Count:
    """Parts, at most, until the lathe stops by itself: the bars, the order, a tool's edge, the parts bin or the chip bin.

    Notes
    -----
    What is left out is not reckoned with. With several tools give their parts as columns and take the least of the results.
    Nothing here knows of a broken tool, a jammed chip or a bar that does not feed: it is never later, and may be sooner.

    Examples
    --------
    >>> parts_until_stop(12, 59, 1036, 400, 150)
    250
    >>> parts_until_stop(12, 59, 1036)
    708
    """
    return min(_limits(bars_loaded, parts_per_bar, parts_to_make, parts_per_edge, parts_on_edge, parts_bin, chip_bin_parts).values())


@cell_function(
    group="Time",
    source=COMMON_PRACTICE,
    formula=f"({_UNTIL}*cycle_time+MAX(0,COUNT_UP({_UNTIL}/parts_per_bar)-1)*bar_change_time)/3600",
    rules=(_EDGE_RULE,),
)
def hours_until_stop(bars_loaded: Count, parts_per_bar: PositiveCount, cycle_time: PositiveSeconds, bar_change_time: Seconds = 0,
                     parts_to_make: PositiveCount | None = None, parts_per_edge: PositiveCount | None = None,
                     parts_on_edge: Count = 0, parts_bin: PositiveCount | None = None,
                     chip_bin_parts: PositiveCount | None = None) -> Hours:
    """Hours, at most, until the lathe stops by itself: those of the parts that `parts_until_stop` gives.

    Notes
    -----
    The count starts with a full first bar at the cut; each further bar that is begun costs one bar change.

    Examples
    --------
    >>> round(hours_until_stop(12, 59, 45, 30, 1036, 400, 150), 3)
    3.158
    """
    parts = min(_limits(bars_loaded, parts_per_bar, parts_to_make, parts_per_edge, parts_on_edge, parts_bin, chip_bin_parts).values())
    return (parts * cycle_time + max(0, count_up(parts / parts_per_bar) - 1) * bar_change_time) / 3600


@cell_function(
    group="Time",
    source=COMMON_PRACTICE,
    formula="MID(" + "&".join(f'IF({limit}={_UNTIL},", {stop}","")' for stop, limit in _LIMITS.items()) + ",3,99)",
    rules=(_EDGE_RULE,),
)
def first_stop(bars_loaded: Count, parts_per_bar: PositiveCount, parts_to_make: PositiveCount | None = None,
               parts_per_edge: PositiveCount | None = None, parts_on_edge: Count = 0, parts_bin: PositiveCount | None = None,
               chip_bin_parts: PositiveCount | None = None) -> Text:
    """What stops the lathe first: order done, bars used up, tool edge, parts bin full, chip bin full; all that come together.

    Notes
    -----
    Only what is given can be named. See `parts_until_stop` for the parts.

    Examples
    --------
    >>> first_stop(12, 59, 1036, 400, 150)
    'tool edge'
    >>> first_stop(12, 59, 1036)
    'bars used up'
    """
    limits = _limits(bars_loaded, parts_per_bar, parts_to_make, parts_per_edge, parts_on_edge, parts_bin, chip_bin_parts)
    first = min(limits.values())
    return ", ".join(stop for stop, limit in limits.items() if limit == first)


@cell_function(group="Time", source=_EXPONENTIAL, formula="EXP(-hours/mean_time_between_stops)")
def chance_to_run(hours: Hours, mean_time_between_stops: PositiveHours) -> Ratio:
    """Chance that the lathe runs so many hours alone without a stop that nobody planned.

    Notes
    -----
    It assumes that such stops come at random and as often in the last hour as in the first: exp(-hours / mean time). Tools
    that wear together, or a bar stock that feeds badly, make it worse. The mean time is the shop's own, from its log.

    Examples
    --------
    >>> round(chance_to_run(8, 20), 4)
    0.6703
    """
    return math.exp(-hours / mean_time_between_stops)


@cell_function(
    group="Time",
    source=_EXPONENTIAL,
    formula="mean_time_between_stops*(1-EXP(-hours/mean_time_between_stops))",
)
def expected_hours(hours: Hours, mean_time_between_stops: PositiveHours) -> Hours:
    """Hours that the lathe runs alone on average, of so many hours at most, until a stop that nobody planned.

    Notes
    -----
    The same assumption as in `chance_to_run`. Nobody starts the lathe again before somebody is back.

    Examples
    --------
    >>> round(expected_hours(8, 20), 3)
    6.594
    """
    return -mean_time_between_stops * math.expm1(-hours / mean_time_between_stops)
