"""Time: how long the lathe runs, and how long it runs alone."""

from barfuncs.catalogue.counting import count_up
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import Count, Efficiency, Hours, PositiveCount, PositiveSeconds, Seconds


@cell_function(
    group="Time",
    source=COMMON_PRACTICE,
    formula="(parts_to_make*cycle_time/efficiency+MAX(0,COUNT_UP(parts_to_make/parts_per_bar)-1)*bar_change_time)/3600",
)
def run_hours(parts_to_make: Count, cycle_time: PositiveSeconds, parts_per_bar: PositiveCount,
              bar_change_time: Seconds = 0, efficiency: Efficiency = 1) -> Hours:
    """Hours that the run takes, set-up not counted.

    Notes
    -----
    parts_to_make * cycle time / efficiency + (bars - 1) * bar change: the first bar belongs to the set-up.

    Examples
    --------
    >>> round(run_hours(1036, 45, 59, 30), 3)
    13.092
    """
    bars = count_up(parts_to_make / parts_per_bar)
    return (parts_to_make * cycle_time / efficiency + max(0, bars - 1) * bar_change_time) / 3600


@cell_function(
    group="Time",
    source=COMMON_PRACTICE,
    formula="(bars_loaded*parts_per_bar*cycle_time+MAX(0,bars_loaded-1)*bar_change_time)/3600",
)
def unattended_hours(bars_loaded: Count, parts_per_bar: PositiveCount, cycle_time: PositiveSeconds,
                     bar_change_time: Seconds = 0) -> Hours:
    """Hours that the lathe runs alone on the bars that are loaded; then it stands.

    Examples
    --------
    >>> round(unattended_hours(12, 59, 45, 30), 3)
    8.942
    """
    return (bars_loaded * parts_per_bar * cycle_time + max(0, bars_loaded - 1) * bar_change_time) / 3600


@cell_function(
    group="Time",
    source=COMMON_PRACTICE,
    formula="IF(hours=0,0,COUNT_UP((hours*3600+bar_change_time)/(parts_per_bar*cycle_time+bar_change_time)))",
)
def bars_for_hours(hours: Hours, parts_per_bar: PositiveCount, cycle_time: PositiveSeconds,
                   bar_change_time: Seconds = 0) -> Count:
    """Bars to load so that the lathe runs alone for so many hours.

    Examples
    --------
    >>> bars_for_hours(8, 59, 45, 30)
    11
    """
    if hours == 0:
        return 0
    return count_up((hours * 3600 + bar_change_time) / (parts_per_bar * cycle_time + bar_change_time))
