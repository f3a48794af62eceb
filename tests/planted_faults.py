"""Faults put into the planner one at a time, and who sees them: python tests/planted_faults.py

Who looks: the planner's own check (which is asked apart, and kept from stopping the plan), the rules reckoned apart (`plan_rules`), and
the comparison with all plans there are (`attack_buying`).
"""

import contextlib
import functools
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from unittest import mock

sys.path.insert(0, str(Path(__file__).parent))
from attack_buying import WRONG, compared, tiny_week
from exhaustion import least_cost
from plan_rules import broken
from weeks import limit_processor_time

from barfuncs.buying import plan
from barfuncs.buying.check import faults
from barfuncs.buying.heats import Heats
from barfuncs.buying.records import CERTIFICATES, OWN, BuyingError

_problem, _price, _task_of = plan._Group.problem, plan._Group.price, plan.task_of
_may_take, _may_buy = plan.may_take, plan.may_buy
_suits, _cheapest = plan.suits, Heats._cheapest


def with_terms(change: Callable[[Any], dict[str, Any]]) -> Any:
    """The problem of a group as if the shop reckoned otherwise."""
    return mock.patch.object(plan._Group, "problem", lambda group, *rest, **more: _problem(
        replace(group, terms=replace(group.terms, **change(group.terms))), *rest, **more))


def with_sources(**changes: Any) -> Any:
    def problem(group: Any, *rest: Any, **more: Any) -> Any:
        right = _problem(group, *rest, **more)
        return replace(right, sources=tuple(replace(source, **changes) for source in right.sources))

    return mock.patch.object(plan._Group, "problem", problem)


def with_records(name: str, function: Any, change: Callable[[Any, Any], tuple[Any, Any]]) -> Any:
    """Whether a job may be made from a bar, asked with other records."""
    return mock.patch.object(plan, name, lambda demand, bar, *rest: function(*change(demand, bar), *rest))


def _too_high(heats: Heats, *given: Any) -> tuple[float, Any]:
    """Where a bound is above the cost of the plan that is known, a cheaper one is not looked for."""
    total, chosen = _cheapest(heats, *given)
    return total + abs(total) / 3, chosen


FAULTS: dict[str, Callable[[], Any]] = {
    "kerf ignored": lambda: with_terms(lambda terms: {"kerf": 0}),
    "trim at one end only": lambda: with_terms(lambda terms: {"trim": terms.trim / 2}),
    "cuts cost nothing": lambda: with_terms(lambda terms: {"cut_cost": 0}),
    "shortest left-over ignored": lambda: with_terms(lambda terms: {"least_left": 0}),
    "left-overs worth all that they cost": lambda: with_terms(lambda terms: {"left_share": 1}),
    "owner ignored": lambda: with_records("may_take", _may_take, lambda demand, bar: (demand, replace(bar, owner=OWN))),
    "certificate ignored": lambda: with_records("may_buy", _may_buy, lambda demand, bar: (replace(demand, certificate=CERTIFICATES[0]), bar)),
    "certificate ignored on the rack": lambda: with_records(
        "may_take", _may_take, lambda demand, bar: (replace(demand, certificate=CERTIFICATES[0]), bar)),
    "need-by ignored": lambda: with_records("may_buy", _may_buy, lambda demand, bar: (replace(demand, need_by=None), bar)),
    "any larger size": lambda: mock.patch.object(plan, "suits", lambda demand, stock: _suits(replace(demand, larger_up_to=99.0), stock)),
    "heats mixed": lambda: mock.patch.object(plan, "task_of", lambda *given: replace(_task_of(*given), one_heat=False)),
    "feeds parted": lambda: mock.patch.object(plan, "task_of", lambda demand, *rest: _task_of(replace(demand, parts_per_feed=1), *rest)),
    "shortest blank ignored": lambda: mock.patch.object(plan, "task_of", lambda demand, *rest: _task_of(replace(demand, shortest_blank=0), *rest)),
    "bracket too early": lambda: mock.patch.object(plan._Group, "price", lambda group, number, level: _price(
        group, number, None if level is None else tuple(start + 25 for start in level))),
    "brackets ignored": lambda: mock.patch.object(plan._Group, "level_at", lambda group, weights: group.lowest()),
    "bundle ignored": lambda: with_sources(bundle=1),
    "line minimum ignored": lambda: with_sources(line_minimum=0.0),
    "certificate's fee forgotten": lambda: with_sources(line_fee=0.0),
    "more bars than there are": lambda: with_sources(count=None),
    "bounds a third too high": lambda: mock.patch.object(Heats, "_cheapest", _too_high),
    "a bar of the rack overlooked": lambda: mock.patch.object(plan, "may_take", lambda demand, bar: bar.id != "R-0" and _may_take(demand, bar)),
    "an offer overlooked": lambda: mock.patch.object(plan, "may_buy", lambda demand, offer, terms: offer.supplier != "0" and _may_buy(demand, offer, terms)),
}


RARE = ("certificate ignored", "need-by ignored", "any larger size", "bounds a third too high")
"""Seen in few weeks."""


@functools.cache
def _least(seed: int) -> Fraction | None:
    return least_cost(tiny_week(seed))


def seen(fault: str | None, seeds: range, seconds: float = 0.3) -> Counter[str]:
    """By who looks how many plans with the fault it finds wrong."""
    found = Counter[str]()
    with contextlib.ExitStack() as planted:
        planted.enter_context(mock.patch.object(plan, "faults", return_value=[]))
        if fault is not None:
            fault_of = FAULTS[fault]
            planted.enter_context(fault_of())
        for seed in seeds:
            for who in _who_sees(seed, seconds):
                found[who] += 1
    return found


def _who_sees(seed: int, seconds: float) -> Iterator[str]:
    week = tiny_week(seed, seconds)
    try:
        made = plan.plan_here(week.demands, week.offers, week.rack, week.terms)
    except BuyingError:
        if _least(seed) is not None:
            yield "all plans"
        return
    except (AssertionError, ArithmeticError, LookupError, ValueError):
        yield "crash"
        return
    if faults(week.demands, week.offers, week.rack, week.terms, made):
        yield "own check"
    if broken(week, made):
        yield "rules apart"
    if compared(made, _least(seed))[0] in WRONG:
        yield "all plans"


WHO = ("own check", "rules apart", "all plans", "crash")


if __name__ == "__main__":
    limit_processor_time()
    print(f"{'fault':<40}" + "".join(f"{who:>14}" for who in WHO) + "   of 100 tiny weeks")
    for name in [None, *FAULTS]:
        number = seen(name, range(100))
        print(f"{name or 'none':<40}" + "".join(f"{number[who]:>14}" for who in WHO), flush=True)
