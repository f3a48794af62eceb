"""Tools: how long an edge lasts, how many parts it makes, and what it adds to the cost and the cycle of a part.

Times in the cut are in minutes where tool life is meant, as everywhere in the trade; the time of a change is in seconds.
"""

from barfuncs.catalogue.counting import count_down
from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    Count,
    CuttingTool,
    Minutes,
    Money,
    PositiveCount,
    PositiveMinutes,
    PositiveMoney,
    PositiveSeconds,
    Ratio,
    Seconds,
    SurfaceSpeed,
    TaylorExponent,
    Units,
    Work,
)
from barfuncs.tables.taylor import SOURCE, TAYLOR

_TAYLOR = "F. W. Taylor, On the Art of Cutting Metals, 1907: v T^n = C"
_GROOVER = "M. P. Groover, Fundamentals of Modern Manufacturing, chapter on economics of machining"
_LOOKED_UP = {(row.tool, row.work): row for row in TAYLOR}


def _choice(value: str) -> str:
    """Cell expression: a figure of the row for `tool` and `work`."""
    formula = "NA()"
    for row in reversed(TAYLOR):
        formula = f'IF(AND(tool="{row.tool}",work="{row.work}"),{getattr(row, value):g},{formula})'
    return formula


@cell_function(group="Tools", source=SOURCE, formula=_choice("exponent"))
def taylor_exponent(tool: CuttingTool, work: Work) -> Ratio:
    """Usual n of v T^n = C, where to start: from memory. Your own counts come first.

    Examples
    --------
    >>> taylor_exponent("carbide", "mild steel")
    0.25
    """
    return _LOOKED_UP[tool, work].exponent


@cell_function(group="Tools", source=SOURCE, formula=f'IF(units="mm",{_choice("m_min")},{_choice("ft_min")})')
def taylor_constant(tool: CuttingTool, work: Work, units: Units = "in") -> SurfaceSpeed:
    """Usual C of v T^n = C, where to start: from memory. Your own counts come first.

    Notes
    -----
    The table rounds its ft/min and its m/min each by itself, so the two are not quite the same speed.

    Examples
    --------
    >>> taylor_constant("carbide", "mild steel")
    1500
    >>> taylor_constant("high-speed steel", "brass or aluminum", "mm")
    120
    """
    row = _LOOKED_UP[tool, work]
    return row.m_min if units == "mm" else row.ft_min


@cell_function(group="Tools", source=_TAYLOR, formula="(taylor_constant/surface_speed)^(1/taylor_exponent)")
def tool_life(surface_speed: SurfaceSpeed, taylor_constant: SurfaceSpeed, taylor_exponent: TaylorExponent,
              units: Units = "in") -> Minutes:
    """Minutes in the cut that an edge lasts: (C / v)^(1 / n), v T^n = C.

    Notes
    -----
    C and n hold for one tool, work, feed and depth, and only about the speeds they were found at: an idea, where the
    shop has no count of its own. Speed and C are in the same unit, which the constant's source must tell.

    Examples
    --------
    >>> round(tool_life(200, 300, 0.25), 2)
    5.06
    >>> round(tool_life("47.69 m/min", "80 m/min", 0.13, units="mm"), 1)
    53.5
    """
    return float((taylor_constant / surface_speed) ** (1 / taylor_exponent))


@cell_function(group="Tools", source=_TAYLOR, formula="taylor_constant/edge_life^taylor_exponent")
def speed_for_life(edge_life: PositiveMinutes, taylor_constant: SurfaceSpeed, taylor_exponent: TaylorExponent,
                   units: Units = "in") -> SurfaceSpeed:
    """Surface speed at which an edge lasts so many minutes in the cut: C / T^n.

    Examples
    --------
    >>> round(speed_for_life(53.49, 80, 0.13, units="mm"), 2)
    47.69
    """
    return float(taylor_constant / edge_life ** taylor_exponent)


@cell_function(group="Tools", source=_GROOVER, formula="(1/taylor_exponent-1)*edge_change_time/60")
def life_for_most_parts(taylor_exponent: TaylorExponent, edge_change_time: Seconds) -> Minutes:
    """Minutes in the cut after which edges are changed where the most parts an hour are made: (1 / n - 1) * change time.

    Examples
    --------
    >>> round(life_for_most_parts(0.13, 180), 2)
    20.08
    """
    return (1 / taylor_exponent - 1) * edge_change_time / 60


@cell_function(
    group="Tools",
    source=_GROOVER,
    formula="(1/taylor_exponent-1)*(edge_change_time/60+60*edge_cost/machine_rate)",
)
def life_for_least_cost(taylor_exponent: TaylorExponent, edge_change_time: Seconds, edge_cost: Money,
                        machine_rate: PositiveMoney) -> Minutes:
    """Minutes in the cut after which edges are changed where a part costs least: (1 / n - 1) * (change time + edge cost / rate).

    Notes
    -----
    The cost of machine time and of edges together is least at this life; `speed_for_life` gives the speed. The rate is
    that of machine and operator, per hour. Always longer than the life for the most parts.

    Examples
    --------
    >>> round(life_for_least_cost(0.13, 180, 3.33, 0.667 * 60), 2)
    53.49
    """
    return (1 / taylor_exponent - 1) * (edge_change_time / 60 + 60 * edge_cost / machine_rate)


@cell_function(
    group="Tools",
    source=COMMON_PRACTICE,
    formula="IF(parts_counted>0,parts_counted,COUNT_DOWN(edge_life*60/cut_time))",
    rules=(
        ("parts_counted", "OR(parts_counted>0,AND(edge_life>0,cut_time>0))",
         "give the shop's own count, or the life of an edge and the time that it is in the cut for one part"),
    ),
)
def parts_per_edge(parts_counted: PositiveCount | None = None, edge_life: PositiveMinutes | None = None,
                   cut_time: PositiveSeconds | None = None) -> Count:
    """Parts that one edge makes: the shop's own count, or else its life / its time in the cut for one part.

    Notes
    -----
    The count comes first whatever the life says. Whole parts; 0 where an edge does not last one part.

    Examples
    --------
    >>> parts_per_edge(400)
    400
    >>> parts_per_edge(edge_life=15, cut_time=4)
    225
    """
    if parts_counted:
        return parts_counted
    assert edge_life is not None
    assert cut_time is not None
    return count_down(edge_life * 60 / cut_time)


@cell_function(group="Tools", source=COMMON_PRACTICE, formula="(tool_price+regrinds*regrind_cost)/(edges*(1+regrinds))")
def edge_cost(tool_price: Money, edges: PositiveCount = 1, regrinds: Count = 0, regrind_cost: Money = 0) -> Money:
    """Cost of one edge: the price of an insert / its edges, or that of a drill with its regrinds / the lives it has.

    Notes
    -----
    (price + regrinds * cost of one) / (edges * (1 + regrinds)).

    Examples
    --------
    >>> edge_cost(12, 4)
    3.0
    >>> edge_cost(40, 1, 4, 5)
    12.0
    """
    return (tool_price + regrinds * regrind_cost) / (edges * (1 + regrinds))


@cell_function(group="Tools", source=COMMON_PRACTICE, formula="(edge_cost+edge_change_time/3600*machine_rate)/parts_per_edge")
def tool_cost(edge_cost: Money, parts_per_edge: PositiveCount, edge_change_time: Seconds = 0, machine_rate: Money = 0) -> Money:
    """What a tool's edges cost for one part: (edge cost + its change at the machine rate) / parts per edge.

    Notes
    -----
    Where the change is in the cycle time already (`edge_change_per_part`), leave it out here, or it counts twice.

    Examples
    --------
    >>> tool_cost(3, 400)
    0.0075
    >>> round(tool_cost(3, 400, 180, 80), 4)
    0.0175
    """
    return (edge_cost + edge_change_time / 3600 * machine_rate) / parts_per_edge


@cell_function(group="Tools", source=COMMON_PRACTICE, formula="edge_change_time/parts_per_edge")
def edge_change_per_part(edge_change_time: Seconds, parts_per_edge: PositiveCount) -> Seconds:
    """Seconds to add to the cycle time for the changes of an edge, spread over the parts that it makes.

    Examples
    --------
    >>> edge_change_per_part(180, 400)
    0.45
    """
    return edge_change_time / parts_per_edge
