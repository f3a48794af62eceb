"""The first plan of a week: made at once, right, and not dearer than what a careful buyer does by hand."""

import dataclasses
import math

import pytest
from careful_buyer import by_hand
from weeks import Week, shop_week, small_week

from barfuncs.buying import cutting
from barfuncs.buying import plan as planning
from barfuncs.buying.cutting import Problem, Source, Task
from barfuncs.buying.knapsack import Cut
from barfuncs.buying.starts import first_plan


def begun(week: Week) -> float:
    """Money of the first plans of all kinds of bar."""
    total = week.terms.freight
    for group in planning._groups(week.demands, week.offers, week.rack, week.terms):
        levels = planning._Levels(group)
        levels.begin_by_hand(2)
        total += levels.cost
    return total


@pytest.mark.parametrize("mixed", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_it_costs_less_than_by_hand(seed, mixed):
    week = shop_week(seed)
    if mixed:
        week = dataclasses.replace(week, demands=[dataclasses.replace(demand, mixed_heats=True) for demand in week.demands])
    assert begun(week) < by_hand(week).cost


@pytest.mark.parametrize("seed", range(40))
def test_it_keeps_the_rules_of_its_problem(seed):
    week = small_week(seed)
    for group in planning._groups(week.demands, week.offers, week.rack, week.terms):
        problem = group.problem(group.lowest())
        if found := first_plan(problem, 1):
            patterns, bought = found
            assert cutting.feasible(problem, patterns)
            assert cutting.can_be_bought(problem, bought)
            used = [0] * len(problem.sources)
            for pattern, times in patterns:
                source = problem.sources[pattern.source]
                used[pattern.source] += times
                assert pattern.used(problem) <= source.length + problem.kerf
                assert all(source.takes(job) for job, _ in pattern.blanks)
            assert all(n <= bars for n, bars, source in zip(used, bought, problem.sources, strict=True) if source.offered)


BAR = Source(100, 10.0)
RACK = Source(60, 1.0, 1, False, "H1")


def test_a_job_goes_to_the_rack_where_that_is_enough_for_it():
    job = Task(Cut(25, most_parts=4, single=True), 2, one_heat=True)
    assert first_plan(Problem((BAR, RACK), (job,)), 1)[0][0][0].source == 1
    assert first_plan(Problem((BAR, RACK), (dataclasses.replace(job, demand=3),)), 1)[0][0][0].source == 0


def test_jobs_share_a_bar_that_is_sawn_already():
    """60 and 40 of one bar of 100: by itself each job would take a bar."""
    long, short = (Task(Cut(length, most_parts=100 // length, single=True), 1) for length in (60, 40))
    patterns, bought = first_plan(Problem((BAR,), (short, long)), 1)
    assert bought == [1]
    assert [(sorted(pattern.blanks), times) for pattern, times in patterns] == [([(0, 1), (1, 1)], 1)]


def test_where_bars_lack_there_is_no_first_plan():
    assert first_plan(Problem((RACK,), (Task(Cut(25, most_parts=4, single=True), 3),)), 1) is None


def test_where_no_time_is_left_there_is_none_and_each_job_is_by_itself():
    week = shop_week(0)
    group = next(planning._groups(week.demands, week.offers, week.rack, week.terms))
    assert first_plan(group.problem(group.lowest()), 0) is None
    levels = planning._Levels(group)
    levels.begin()
    levels.begin_by_hand(0)
    assert levels.cost < math.inf


def test_two_jobs_take_no_bar_twice():
    job = Task(Cut(50, most_parts=1, single=True), 1, one_heat=True)
    patterns, _ = first_plan(Problem((RACK, dataclasses.replace(RACK, length=55)), (job, job)), 1)
    assert sorted(pattern.source for pattern, _ in patterns) == [0, 1]
