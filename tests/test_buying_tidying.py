"""Plans made easier to work by: each aim by hand, against all plans there are, and never at more money or against a rule."""

import itertools
import math
import random
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from test_buying import every_way, tiny, week
from weeks import Week, shop_week, small_week

from barfuncs.buying import plan as planning
from barfuncs.buying.check import faults
from barfuncs.buying.cutting import Pattern, Plan, Problem, Source, Task, cost_of, feasible, least_bought, solve
from barfuncs.buying.knapsack import Cut
from barfuncs.buying.plan import plan_here
from barfuncs.buying.records import BuyingPlan
from barfuncs.buying.tidying import Aims, aims_of, tidied, usable_left


def piece(length: int, demand: int, one_heat: bool = False) -> Task:
    return Task(Cut(length, most_parts=100 // length, single=True), demand, one_heat)


def bar(heat: str, count: int = 1, value: float = 10, **changes) -> Source:
    return Source(100, value, count, offered=False, heat=heat, least_left=10, **changes)


def plan_of(problem: Problem, *patterns: tuple[int, str, int], bought: tuple[int, ...] | None = None) -> Plan:
    """A plan of sources, blanks as letters (a: job 0) of one part each, and times."""
    rows = tuple((Pattern(source, tuple((ord(letter) - ord("a"), 1) for letter in blanks)), times) for source, blanks, times in patterns)
    bought = bought or tuple(least_bought(problem, rows))
    return Plan(rows, bought, cost_of(problem, rows, bought), 0.0)


def rows_of(plan: Plan) -> list[tuple[int, tuple[tuple[int, int], ...], int]]:
    return [(pattern.source, pattern.blanks, times) for pattern, times in plan.patterns]


def test_a_job_is_made_from_one_heat_rather_than_two():
    problem = Problem((bar("H1", 2), bar("H2", 2)), (piece(50, 4),))
    plan = plan_of(problem, (0, "aa", 1), (1, "aa", 1))
    assert aims_of(problem, plan) == Aims(2, 2, 0)
    new = tidied(problem, plan, 5)
    assert (aims_of(problem, new), new.cost) == (Aims(1, 1, 0), 20)


def test_another_heat_is_not_worth_a_cent():
    problem = Problem((bar("H1", 2, 10.01), bar("H2", 1)), (piece(50, 4),))
    plan = plan_of(problem, (0, "aa", 1), (1, "aa", 1))
    assert rows_of(tidied(problem, plan, 5)) == rows_of(plan)


def test_fewer_heats_count_more_than_fewer_patterns():
    """Each job from one heat takes three patterns, the second job from both heats two."""
    problem = Problem((bar("H1", 2), bar("H2", 1)), (piece(50, 2), piece(25, 5)))
    mixed = plan_of(problem, (0, "abb", 2), (1, "b", 1))
    new = tidied(problem, mixed, 5)
    assert (aims_of(problem, mixed).heats, aims_of(problem, mixed).patterns) == (3, 2)
    assert (aims_of(problem, new).heats, aims_of(problem, new).patterns, new.cost) == (2, 3, 30)


@pytest.mark.parametrize(("patterns", "most"), [
    # Three bars hold six of 30 and three of 20 in many ways: all alike.
    ((("aaa", 1), ("aab", 1), ("abb", 1)), 1),
    # Six of 30 and two of 20: the three bars can't be alike.
    ((("aaa", 1), ("aab", 1), ("ab", 1)), 2),
])
def test_fewer_ways_to_saw_a_bar(patterns, most):
    count = Counter("".join(blanks * times for blanks, times in patterns))
    problem = Problem((Source(100, 7.0),), (piece(30, count["a"]), piece(20, count["b"])))
    plan = plan_of(problem, *((0, blanks, times) for blanks, times in patterns))
    new = tidied(problem, plan, 5)
    assert (len(new.patterns), new.cost, new.bought) == (most, 21, (3,))
    assert feasible(problem, new.patterns)


def test_equal_rows_are_one():
    problem = Problem((Source(100, 7.0),), (piece(30, 4), piece(20, 4)))
    assert rows_of(tidied(problem, plan_of(problem, (0, "aabb", 1), (0, "bbaa", 1)), 5)) == [(0, ((0, 1), (0, 1), (1, 1), (1, 1)), 2)]


def test_blanks_of_parts_are_made_alike():
    """Four bars with 3 * 22 parts and one with 36 hold 300: so do five with 60."""
    problem = Problem((Source(1444, 50.0, least_left=700),), (Task(Cut(20, 31, 1, 22, 3), 300, longest=471),), 1)
    plan = Plan(((Pattern(0, ((0, 22),) * 3), 4), (Pattern(0, ((0, 22), (0, 14))), 1)), (5,), 250.0, 0.0)
    new = tidied(problem, plan, 5)
    assert rows_of(new) == [(0, ((0, 20), (0, 20), (0, 20)), 5)]
    assert new.cost == 250


def test_what_is_left_over_is_one_long_piece():
    """Six pieces of 20 from two bars of the rack leave 40 and 40, or 80 and nothing."""
    problem = Problem((bar("H1", left_value=0.1), bar("H1", left_value=0.1)), (piece(20, 6),))
    plan = plan_of(problem, (0, "aaa", 1), (1, "aaa", 1))
    new = tidied(problem, plan, 5)
    assert sorted(pattern.left(problem) for pattern, _ in new.patterns) == [0, 80]
    assert (usable_left(problem, plan), usable_left(problem, new), new.cost) == (80, 80, pytest.approx(plan.cost))


def test_what_goes_back_on_the_rack_does_so_where_it_is_worth_nothing_too():
    """Two bars sawn alike would leave 40 and 40, both too short for the rack, in place of 70."""
    problem = Problem((Source(100, 7.0, least_left=60),), (piece(30, 4),))
    plan = plan_of(problem, (0, "aaa", 1), (0, "a", 1))
    assert usable_left(problem, plan) == 70
    assert sorted(rows_of(tidied(problem, plan, 5))) == sorted(rows_of(plan))


def test_a_job_of_one_heat_keeps_one():
    """Its third piece beside the other job's would save a pattern and a bar, but that bar is of another heat."""
    problem = Problem((bar("H1", 2, jobs=frozenset({0})), bar("H2", 1)), (piece(50, 3, one_heat=True), piece(50, 1)))
    plan = plan_of(problem, (0, "aa", 1), (0, "a", 1), (1, "b", 1))
    assert sorted(rows_of(tidied(problem, plan, 5))) == sorted(rows_of(plan))


def best_of_all(problem: Problem, most_bars: int) -> tuple[float, Aims | None]:
    """The least money, and the best aims at it, of all plans with so many bars that buy no more than they need."""
    patterns = []
    for number, source in enumerate(problem.sources):
        ways = [every_way(task.cut, source.length + problem.kerf, task.demand) for task in problem.tasks]
        for choice in itertools.product(*ways):
            pattern = Pattern(number, tuple((job, parts) for job, way in enumerate(choice) for parts in way))
            if pattern.blanks and pattern.used(problem) <= source.length + problem.kerf:
                patterns.append(pattern)
    best: tuple[float, Aims | None] = (math.inf, None)
    for bars in range(1, most_bars + 1):
        for chosen in itertools.combinations_with_replacement(range(len(patterns)), bars):
            rows = tuple((patterns[n], times) for n, times in Counter(chosen).items())
            if feasible(problem, rows):
                bought = tuple(least_bought(problem, rows))
                cost = round(cost_of(problem, rows, bought), 6)
                aims = aims_of(problem, Plan(rows, bought, cost, 0.0))
                if best[1] is None or (cost, aims) < best:
                    best = cost, aims
    return best


def few_bars(seed: int) -> Problem:
    draw = random.Random(seed)
    tasks = tuple(piece(draw.choice([15, 20, 25, 30, 35]), draw.randint(1, 3)) for _ in range(2))
    return Problem((bar("H1", 2, left_value=0.05), bar("H2", 2, left_value=0.05), bar("H2", 1, left_value=0.05)), tasks)


def test_the_best_of_all_plans_is_found_mostly_and_never_surpassed():
    reached = []
    for seed in range(16):
        problem = few_bars(seed)
        cost, aims = best_of_all(problem, 3)
        plan = solve(problem, 5)
        assert plan.cost == pytest.approx(cost)
        new = tidied(problem, plan, 5)
        assert new.cost <= plan.cost + 1e-5
        found = aims_of(problem, new)
        assert found >= aims
        reached.append(found == aims)
    assert sum(reached) >= 15


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny())
def test_never_dearer_never_worse(problem):
    plan = solve(problem, 0.2)
    new = tidied(problem, plan, 1)
    assert cost_of(problem, new.patterns, new.bought) == new.cost <= plan.cost + 1e-5
    assert feasible(problem, new.patterns)
    assert aims_of(problem, new) <= aims_of(problem, plan)
    assert usable_left(problem, new) >= usable_left(problem, plan)
    assert new.bound == plan.bound


def seen_before(monkeypatch) -> list[BuyingPlan]:
    """Plans before they are tidied, as they are made."""
    before: list[BuyingPlan] = []
    made = planning._tidied

    def spy(demands, offers, rack, terms, solved, plan, end):
        before.append(plan)
        return made(demands, offers, rack, terms, solved, plan, end)

    monkeypatch.setattr(planning, "_tidied", spy)
    return before


def shop_aims(demands, rack, plan: BuyingPlan) -> tuple[int, int]:
    """Heats of each job, added up, and rows of the saw."""
    def heat(row):
        return ("offer", row.offer) if row.rack is None else rack[row.rack].heat.casefold() or ("bar", row.rack)

    return len({(blank.demand, heat(row)) for row in plan.sawing for blank in row.blanks}), len(plan.sawing)


def records(one: Week) -> tuple:
    return one.demands, one.offers, one.rack, one.terms


@pytest.mark.parametrize("weeks", [
    [week(1)],
    pytest.param([records(small_week(seed)) for seed in range(30)], marks=pytest.mark.slow),
    pytest.param([records(shop_week(1, seconds=6)), records(shop_week(2, mixed_heats=True, seconds=6))], marks=pytest.mark.slow)])
def test_weeks_cost_no_more_and_keep_every_rule(monkeypatch, weeks):
    before = seen_before(monkeypatch)
    for demands, offers, rack, terms in weeks:
        plan = plan_here(demands, offers, rack, terms)
        old = before.pop()
        assert plan.cost <= old.cost + 1e-5
        assert plan.proof == old.proof or plan.cost < old.cost
        assert shop_aims(demands, rack, plan) <= shop_aims(demands, rack, old)
        assert faults(demands, offers, rack, terms, plan) == []
