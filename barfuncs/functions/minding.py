"""One lathe among several that few people mind: how many run, how long one waits, and what an hour of a lathe costs.

Lathes that call for a person, few of them and each again and again, are a queue with a finite source: a lathe that waits makes
no further call. All figures are exact for times that are spread as random calls are (exponentially).
"""

from barfuncs.catalogue.entry import COMMON_PRACTICE
from barfuncs.catalogue.function import cell_function
from barfuncs.catalogue.kinds import (
    HoursAYear,
    Lathes,
    LathesMinded,
    Money,
    PositiveSeconds,
    Ratio,
    Seconds,
    Share,
    Years,
    kind_of,
)

_MOST = int(kind_of(Lathes).high)
_QUEUE = ("queue with a finite source (machine interference), as in Stevenson, Operations Management, whose tables are for one or "
          "more servers; solved exactly")
_RULES = (("service_time", "service_time<=1000*run_time", "a lathe that is served a thousand times longer than it runs is no lathe "
           "that runs: check the units of both times"),)


def _nested(leading: str, first: int, lathes: str) -> str:
    """Sum over n = 0, 1, ... of `leading` of n * the product of (lathes - first - k) * r / min(k + 1, people) for k < n.

    Nested as in Horner's scheme: where no lathe is left, a factor is 0, and all behind it counts for nothing.
    """
    text = leading.replace("{n}", str(_MOST))
    for n in range(_MOST - 1, -1, -1):
        text = (f"{leading.replace('{n}', str(n))}+({lathes}-{first + n})*service_time/run_time/MIN({n + 1},people)*({text})")
    return text


def _chances(lathes: int, load: float, people: int) -> list[float]:
    """Chance of 0, 1, ... lathes that stand, waiting or served; not yet divided by their sum."""
    found = [1.0]
    for n in range(lathes):
        found.append(found[-1] * (lathes - n) * load / min(n + 1, people))
    return found


def _mean_running(lathes: int, load: float, people: int) -> float:
    chances = _chances(lathes, load, people)
    return sum((lathes - n) * chance for n, chance in enumerate(chances)) / sum(chances)


# lathes * the sum of a queue with one lathe fewer, in which the standing lathes of the others are counted.
_RUNNING = f"(lathes*({_nested('1', 1, 'lathes')})/({_nested('1', 0, 'lathes')}))"


@cell_function(group="Time", source=_QUEUE, formula=_RUNNING, rules=_RULES)
def lathes_running(lathes: Lathes, run_time: PositiveSeconds, service_time: Seconds, people: Lathes = 1) -> Ratio:
    """How many of the lathes that one or more people mind run, on average.

    Examples
    --------
    >>> round(lathes_running(5, 70, 10), 3)
    4.027
    """
    return _mean_running(lathes, service_time / run_time, people)


@cell_function(group="Time", source=_QUEUE, formula="MAX(0,lathes-LATHES_RUNNING(lathes,run_time,service_time,people)*(1+service_time/run_time))",
               rules=_RULES)
def lathes_waiting(lathes: Lathes, run_time: PositiveSeconds, service_time: Seconds, people: Lathes = 1) -> Ratio:
    """How many of the lathes stand because nobody is free for them, on average; those being served do not count.

    Examples
    --------
    >>> round(lathes_waiting(5, 70, 10), 3)
    0.398
    """
    load = service_time / run_time
    return max(0.0, lathes - _mean_running(lathes, load, people) * (1 + load))


@cell_function(group="Time", source=_QUEUE, formula="MIN(1,LATHES_RUNNING(lathes,run_time,service_time,people)*(1+service_time/run_time)/lathes)",
               rules=_RULES)
def minding_efficiency(lathes: Lathes, run_time: PositiveSeconds, service_time: Seconds, people: Lathes = 1) -> Share:
    """Share of the time in which a lathe does not wait for a person: it runs or is being served.

    Notes
    -----
    1 less it is what sharing the person costs each lathe. The lathe runs for less: `lathes_running` / lathes.

    Examples
    --------
    >>> round(minding_efficiency(5, 70, 10), 3), round(minding_efficiency(4, 30, 5), 3)
    (0.92, 0.928)
    """
    load = service_time / run_time
    return min(1.0, _mean_running(lathes, load, people) * (1 + load) / lathes)


@cell_function(group="Time", source=_QUEUE, formula="MAX(0,lathes/LATHES_RUNNING(lathes,run_time,service_time,people)*run_time-run_time-service_time)",
               rules=_RULES)
def waiting_time(lathes: Lathes, run_time: PositiveSeconds, service_time: Seconds, people: Lathes = 1) -> Seconds:
    """How long a lathe that calls waits until somebody comes, on average over all calls.

    Examples
    --------
    >>> round(waiting_time(5, 70, 10), 3)
    6.914
    """
    return max(0.0, lathes / _mean_running(lathes, service_time / run_time, people) * run_time - run_time - service_time)


@cell_function(
    group="Time",
    source=_QUEUE,
    formula=f"({_nested('({n}>=people)', 0, '(lathes-1)')})/({_nested('1', 0, '(lathes-1)')})",
    rules=_RULES,
)
def waiting_chance(lathes: Lathes, run_time: PositiveSeconds, service_time: Seconds, people: Lathes = 1) -> Share:
    """Chance that a lathe that calls finds everybody busy with another one.

    Notes
    -----
    It is less than the share of their time in which the people are busy, since the lathe that calls is none of those served.

    Examples
    --------
    >>> round(waiting_chance(5, 70, 10), 3)
    0.473
    """
    chances = _chances(lathes - 1, service_time / run_time, people)
    return sum(chances[people:]) / sum(chances)


@cell_function(group="Time", source=_QUEUE, rules=_RULES,
               no_formula="it tries one lathe after the other, and a cell can't repeat a calculation")
def lathes_minded(run_time: PositiveSeconds, service_time: Seconds, most_waiting: Share, people: Lathes = 1) -> Lathes:
    """Most lathes that so many people can mind: each waits for at most this share of the time. No more than 20, no fewer than 1.

    Examples
    --------
    >>> lathes_minded(70, 10, 0.08), lathes_minded(600, 20, 0.02)
    (5, 13)
    """
    found = 1
    for lathes in range(2, _MOST + 1):
        if 1 - minding_efficiency.core(lathes, run_time, service_time, people) > most_waiting * (1 + 1e-9):
            break
        found = lathes
    return found


@cell_function(
    group="Cost",
    source="scheme of VDI 3258: depreciation, interest on half the replacement value, space, energy and maintenance over the hours; "
           "as shown at abwl-camp.de and haufe.de",
    formula="(replacement_value/life_years+replacement_value/2*interest_rate+floor_area*floor_cost+yearly_maintenance+yearly_other)"
            "/hours_a_year+power*energy_price",
)
def machine_hour_rate(replacement_value: Money, life_years: Years, hours_a_year: HoursAYear, interest_rate: Share = 0,
                      floor_area: Ratio = 0, floor_cost: Money = 0, power: Ratio = 0, energy_price: Money = 0,
                      yearly_maintenance: Money = 0, yearly_other: Money = 0) -> Money:
    """What an hour of the lathe costs the shop, without anybody at it.

    Notes
    -----
    Depreciation is the replacement value over the life, interest that on half of it, which is what is tied up on average. Floor
    area and its cost a year are in one unit of area, power (kW drawn on average) and energy price in kWh.

    Examples
    --------
    >>> machine_hour_rate(240000, 8, 3000, 0.06, 20, 110, 9, 0.22, 7200)
    17.513333333333332
    """
    yearly = (replacement_value / life_years + replacement_value / 2 * interest_rate + floor_area * floor_cost + yearly_maintenance
              + yearly_other)
    return yearly / hours_a_year + power * energy_price


@cell_function(group="Cost", source=COMMON_PRACTICE, formula="hour_rate+attended_share*wage_rate/lathes_shared")
def lathe_rate(hour_rate: Money, wage_rate: Money, attended_share: Share = 1, lathes_shared: LathesMinded = 1) -> Money:
    """Rate of a lathe with its part of the person who minds it: only while somebody is there, and shared among the lathes.

    Examples
    --------
    >>> lathe_rate(17.5, 42, 0.6, 3), lathe_rate(17.5, 42)
    (25.9, 59.5)
    """
    return hour_rate + attended_share * wage_rate / lathes_shared
